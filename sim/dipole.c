#include "dipole.h"

#include <math.h>

#include "particle.h"
#include "vec3.h"

/* Unit vector of r; length by the way. */
static nrw_vec3 unit(nrw_vec3 r, double *length)
{
    *length = sqrt(nrw_vec3_dot(r, r));
    return (nrw_vec3){r.x / *length, r.y / *length, r.z / *length};
}

nrw_vec3 nrw_dipole_field_mT(nrw_vec3 moment, nrw_vec3 r)
{
    double length;
    nrw_vec3 n = unit(r, &length);
    double scale = NRW_MU0_4PI / (length * length * length);
    double along = 3.0 * nrw_vec3_dot(moment, n);
    return (nrw_vec3){scale * (along * n.x - moment.x), scale * (along * n.y - moment.y),
                      scale * (along * n.z - moment.z)};
}

double nrw_dipole_energy_pN_um(nrw_vec3 moment_1, nrw_vec3 moment_2, nrw_vec3 r)
{
    return -nrw_vec3_dot(moment_2, nrw_dipole_field_mT(moment_1, r));
}

nrw_vec3 nrw_dipole_force_pN(nrw_vec3 moment_1, nrw_vec3 moment_2, nrw_vec3 r)
{
    double length;
    nrw_vec3 n = unit(r, &length);
    double scale = 3.0 * NRW_MU0_4PI / (length * length * length * length);
    double a = nrw_vec3_dot(moment_1, n), b = nrw_vec3_dot(moment_2, n);
    double radial = nrw_vec3_dot(moment_1, moment_2) - 5.0 * a * b;
    return (nrw_vec3){scale * (a * moment_2.x + b * moment_1.x + radial * n.x),
                      scale * (a * moment_2.y + b * moment_1.y + radial * n.y),
                      scale * (a * moment_2.z + b * moment_1.z + radial * n.z)};
}

nrw_vec3 nrw_dipole_torque_pN_um(nrw_vec3 moment_1, nrw_vec3 moment_2, nrw_vec3 r)
{
    return nrw_vec3_cross(moment_2, nrw_dipole_field_mT(moment_1, r));
}

double nrw_averaged_energy_pN_um(nrw_sym3 tensor, nrw_vec3 r)
{
    double length;
    nrw_vec3 n = unit(r, &length);
    double trace = tensor.xx + tensor.yy + tensor.zz;
    return NRW_MU0_4PI / (length * length * length) *
           (trace - 3.0 * nrw_vec3_dot(n, nrw_sym3_times(tensor, n)));
}

nrw_vec3 nrw_averaged_force_pN(nrw_sym3 tensor, nrw_vec3 r)
{
    double length;
    nrw_vec3 n = unit(r, &length), t = nrw_sym3_times(tensor, n);
    double scale = 3.0 * NRW_MU0_4PI / (length * length * length * length);
    double radial = tensor.xx + tensor.yy + tensor.zz - 5.0 * nrw_vec3_dot(n, t);
    return (nrw_vec3){scale * (2.0 * t.x + radial * n.x), scale * (2.0 * t.y + radial * n.y),
                      scale * (2.0 * t.z + radial * n.z)};
}

double nrw_sphere_polarisability_fAm2_mT(double diameter_um, double susceptibility)
{
    return nrw_sphere_volume_um3(diameter_um) * nrw_sphere_susceptibility(susceptibility) /
           (4.0 * NRW_PI * NRW_MU0_4PI);
}
