"""The averaged dipole forces within a cutoff with SciPy's tree: the tree and its pairs
anew for each evaluation ("fresh"), as one writes it, or the pairs of a list with a skin
that is used again ("reused"). Talks to script.c, see serve.py."""
import numpy as np
from scipy.spatial import cKDTree

import serve

SKIN_UM = 2.0
kept = {}


def pairs_within(at, distance):
    return cKDTree(at).query_pairs(distance, output_type="ndarray")


def sums(swarm, pairs):
    at, moment, n = swarm.at, swarm.moment, len(swarm.at)
    i, j = pairs[:, 0], pairs[:, 1]
    d = at[i] - at[j]
    r2 = np.einsum("ij,ij->i", d, d)
    near = r2 <= swarm.cutoff**2
    i, j, d, r2 = i[near], j[near], d[near], np.maximum(r2[near], swarm.core2)
    a = d @ swarm.tensor
    along = np.einsum("ij,ij->i", a, d)
    strength = moment[i] * moment[j] / (r2 * r2 * np.sqrt(r2))
    radial = np.trace(swarm.tensor) - 5.0 * along / r2
    f = (2.0 * strength)[:, None] * a + (strength * radial)[:, None] * d
    return np.stack(
        [
            np.bincount(i, f[:, k], minlength=n) - np.bincount(j, f[:, k], minlength=n)
            for k in range(3)
        ],
        axis=1,
    )


def fresh(swarm):
    return sums(swarm, pairs_within(swarm.at, swarm.cutoff))


def reused(swarm):
    if "pairs" not in kept:
        kept["pairs"] = pairs_within(swarm.at, swarm.cutoff + SKIN_UM)
    return sums(swarm, kept["pairs"])


def listing(swarm):
    pairs_within(swarm.at, swarm.cutoff + SKIN_UM)


serve.serve({"": fresh, "reused": reused, "listing": listing})
