/* Flows of point forces and torques, unbounded and above a no-slip floor, and
 * the pair mobility of spheres (docs/physics.md, eqs. 5.6-5.8, 5.13, 5.14). */
#include "mobility.h"

#include <math.h>

nrw_vec3 nrw_rotlet_unbounded_um_s(nrw_vec3 torque, nrw_vec3 r, double viscosity_Pa_s)
{
    double r2 = r.x * r.x + r.y * r.y + r.z * r.z;
    double scale = 1.0 / (8.0 * NRW_PI * viscosity_Pa_s * r2 * sqrt(r2));
    return (nrw_vec3){scale * (torque.y * r.z - torque.z * r.y),
                      scale * (torque.z * r.x - torque.x * r.z),
                      scale * (torque.x * r.y - torque.y * r.x)};
}

nrw_vec3 nrw_rotlet_unbounded_spin_rad_s(nrw_vec3 torque, nrw_vec3 r, double viscosity_Pa_s)
{
    double r2 = r.x * r.x + r.y * r.y + r.z * r.z;
    double scale = 1.0 / (16.0 * NRW_PI * viscosity_Pa_s * r2 * sqrt(r2));
    double along = 3.0 * (torque.x * r.x + torque.y * r.y + torque.z * r.z) / r2;
    return (nrw_vec3){scale * (along * r.x - torque.x), scale * (along * r.y - torque.y),
                      scale * (along * r.z - torque.z)};
}

nrw_vec3 nrw_rotlet_floor_um_s(nrw_vec3 torque, double h_um, nrw_vec3 at, double viscosity_Pa_s)
{
    double below = at.z - h_um, above = at.z + h_um;
    double flat2 = at.x * at.x + at.y * at.y;
    double r2 = flat2 + below * below, image2 = flat2 + above * above;
    double image3 = image2 * sqrt(image2);
    double k = 1.0 / (r2 * sqrt(r2)) - 1.0 / image3;
    /* q: where a wheel of this torque would roll, times its size. */
    double qx = torque.y, qy = -torque.x;
    double ahead = qx * at.x + qy * at.y;
    double source = 6.0 * ahead * at.z / (image3 * image2);
    double scale = 1.0 / (8.0 * NRW_PI * viscosity_Pa_s);
    return (nrw_vec3){scale * (below * k * qx + source * at.x - torque.z * k * at.y),
                      scale * (below * k * qy + source * at.y + torque.z * k * at.x),
                      scale * (source * above - ahead * k)};
}

nrw_vec3 nrw_rotlet_floor_faxen_um_s(nrw_vec3 torque, double h_um, double radius_um, nrw_vec3 at,
                                     double viscosity_Pa_s)
{
    nrw_vec3 u = nrw_rotlet_floor_um_s(torque, h_um, at, viscosity_Pa_s);
    double above = at.z + h_um;
    double image2 = at.x * at.x + at.y * at.y + above * above;
    double image5 = image2 * image2 * sqrt(image2);
    double qx = torque.y, qy = -torque.x;
    double ahead = qx * at.x + qy * at.y;
    /* 2a² ∇(ahead·Z/R⁵), Z = z + h. */
    double scale = 2.0 * radius_um * radius_um / (8.0 * NRW_PI * viscosity_Pa_s * image5);
    double inward = 5.0 * ahead * above / image2;
    u.x += scale * (qx * above - inward * at.x);
    u.y += scale * (qy * above - inward * at.y);
    u.z += scale * (ahead - inward * above);
    return u;
}

void nrw_stokeslet_unbounded(nrw_vec3 r, double tensor[3][3])
{
    double v[3] = {r.x, r.y, r.z};
    double r2 = r.x * r.x + r.y * r.y + r.z * r.z;
    double inverse = 1.0 / sqrt(r2);
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++)
            tensor[i][j] = ((i == j ? 1.0 : 0.0) + v[i] * v[j] / r2) * inverse;
}

void nrw_stokeslet_floor(double h_um, nrw_vec3 at, double tensor[3][3])
{
    double v[3] = {at.x, at.y, at.z + h_um}; /* from the image */
    double v2 = v[0] * v[0] + v[1] * v[1] + v[2] * v[2];
    double i1 = 1.0 / sqrt(v2), i3 = i1 / v2, i5 = i3 / v2;
    double image[3][3];
    nrw_stokeslet_unbounded((nrw_vec3){at.x, at.y, at.z - h_um}, tensor);
    nrw_stokeslet_unbounded((nrw_vec3){v[0], v[1], v[2]}, image);
    for (int i = 0; i < 3; i++) {
        double i_is_z = i == 2 ? 1.0 : 0.0;
        for (int j = 0; j < 3; j++) {
            double same = i == j ? 1.0 : 0.0, j_is_z = j == 2 ? 1.0 : 0.0;
            /* ∂/∂R_j of h R_i/R³ and of δ_iz/R + R_i R_z/R³ (Blake 1971). */
            double doublet = h_um * (same * i3 - 3.0 * v[i] * v[j] * i5);
            double stokeslet =
                (same * v[2] + v[i] * j_is_z - i_is_z * v[j]) * i3 - 3.0 * v[i] * v[2] * v[j] * i5;
            double sign = j == 2 ? -1.0 : 1.0;
            tensor[i][j] += 2.0 * h_um * sign * (doublet - stokeslet) - image[i][j];
        }
    }
}

void nrw_rpy_pair(double r_over_a, double *along, double *across)
{
    double s = r_over_a;
    if (s >= 2.0) {
        double far = 3.0 / (4.0 * s), s2 = s * s;
        *along = far * (2.0 - 4.0 / (3.0 * s2));
        *across = far * (1.0 + 2.0 / (3.0 * s2));
    } else { /* overlapping spheres */
        *along = 1.0 - 3.0 * s / 16.0;
        *across = 1.0 - 9.0 * s / 32.0;
    }
}
