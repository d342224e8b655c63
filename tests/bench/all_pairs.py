"""The averaged dipole forces of all pairs, as one writes them with NumPy: whole arrays
of pairs at a time. Talks to script.c, see serve.py."""
import numpy as np

import serve


def forces(swarm):
    at, moment = swarm.at, swarm.moment
    d = at[:, None, :] - at[None, :, :]
    r2 = np.einsum("ijk,ijk->ij", d, d)
    np.maximum(r2, swarm.core2, out=r2)
    a = d @ swarm.tensor
    along = np.einsum("ijk,ijk->ij", a, d)
    strength = moment[:, None] * moment[None, :] / (r2 * r2 * np.sqrt(r2))
    radial = np.trace(swarm.tensor) - 5.0 * along / r2
    return 2.0 * np.einsum("ij,ijk->ik", strength, a) + np.einsum(
        "ij,ijk->ik", strength * radial, d
    )


serve.serve({"": forces})
