#include "doublet_mobility.h"

#include <math.h>
#include <string.h>

#include "mobility.h"

/* S (along aaᵀ + across (1 − aaᵀ)) S with S = diag(planar, planar, normal)^½. */
static void uniaxial(nrw_vec3 axis, double along, double across, double planar, double normal,
                     double tensor[3][3])
{
    const double a[3] = {axis.x, axis.y, axis.z};
    const double s[3] = {sqrt(planar), sqrt(planar), sqrt(normal)};
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++)
            tensor[i][j] = s[i] * s[j] * ((along - across) * a[i] * a[j] + (i == j ? across : 0.0));
}

/* Adds drag Z against the motion v + ω × ρ of a point of the body. */
static void add_point_drag(double z[3][3], nrw_vec3 rho, nrw_mat6 *matrix)
{
    double(*r)[6] = matrix->at;
    /* c v = ρ × v */
    const double c[3][3] = {{0.0, -rho.z, rho.y}, {rho.z, 0.0, -rho.x}, {-rho.y, rho.x, 0.0}};
    double cz[3][3];
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++)
            cz[i][j] = c[i][0] * z[0][j] + c[i][1] * z[1][j] + c[i][2] * z[2][j];
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++) {
            r[i][j] += z[i][j];
            r[3 + i][j] += cz[i][j];
            r[j][3 + i] += cz[i][j];
            r[3 + i][3 + j] += cz[i][0] * c[j][0] + cz[i][1] * c[j][1] + cz[i][2] * c[j][2];
        }
}

static void add_lobe(const nrw_doublet_medium *medium, double radius, double z, nrw_vec3 axis,
                     double side, nrw_mat6 *r)
{
    const nrw_doublet_shape *shape = &medium->shape;
    const nrw_spheroid_friction *f = &shape->friction;
    const double lobe = shape->lobe * radius, half = shape->half * radius;
    nrw_vec3 arm = nrw_vec3_scale(axis, side * half);
    nrw_floor_mobility floor = {1.0, 1.0, 1.0, 1.0, 0.0, 0.0};
    if (medium->has_floor)
        floor = nrw_floor_mobility_at(nrw_floor_table_get(), (z + arm.z - lobe) / lobe);
    /* mt is that of a sphere free to turn, which the coupling gives back */
    const double held = floor.mt - 0.75 * floor.rolling * floor.rolling * floor.mr;
    const double drag = 3.0 * NRW_PI * medium->viscosity_Pa_s * radius;
    double tensor[3][3];
    uniaxial(axis, drag * f->along, drag * f->across, 1.0 / held, 1.0 / floor.mz, tensor);
    arm.z -= medium->rolling_factor * floor.rolling * lobe;
    add_point_drag(tensor, arm, r);
    /* what of the turning drag is not that of the lobes moving round the middle */
    const double turning = 4.0 * NRW_PI * medium->viscosity_Pa_s * radius * radius * radius;
    const double lever = drag * f->across * half * half;
    uniaxial(axis, turning * f->spin, turning * f->tumble - lever, 1.0 / floor.mr, 1.0 / floor.ms,
             tensor);
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++)
            r->at[3 + i][3 + j] += tensor[i][j];
}

void nrw_doublet_resistance(const nrw_doublet_medium *medium, double radius_um, double z_um,
                            nrw_vec3 axis, nrw_mat6 *resistance)
{
    memset(resistance, 0, sizeof *resistance);
    add_lobe(medium, radius_um, z_um, axis, 1.0, resistance);
    add_lobe(medium, radius_um, z_um, axis, -1.0, resistance);
}

bool nrw_cholesky6(nrw_mat6 *matrix)
{
    double(*m)[6] = matrix->at;
    for (int j = 0; j < 6; j++) {
        for (int k = 0; k < j; k++)
            m[j][j] -= m[j][k] * m[j][k];
        if (!(m[j][j] > 0.0))
            return false;
        m[j][j] = sqrt(m[j][j]);
        for (int i = j + 1; i < 6; i++) {
            for (int k = 0; k < j; k++)
                m[i][j] -= m[i][k] * m[j][k];
            m[i][j] /= m[j][j];
        }
    }
    return true;
}

void nrw_cholesky6_solve_upper(const nrw_mat6 *factor, double v[6])
{
    for (int i = 5; i >= 0; i--) {
        for (int k = i + 1; k < 6; k++)
            v[i] -= factor->at[k][i] * v[k];
        v[i] /= factor->at[i][i];
    }
}

void nrw_cholesky6_solve(const nrw_mat6 *factor, double v[6])
{
    for (int i = 0; i < 6; i++) {
        for (int k = 0; k < i; k++)
            v[i] -= factor->at[i][k] * v[k];
        v[i] /= factor->at[i][i];
    }
    nrw_cholesky6_solve_upper(factor, v);
}

void nrw_cholesky6_inverse(const nrw_mat6 *factor, nrw_mat6 *inverse)
{
    for (int j = 0; j < 6; j++) {
        double column[6] = {0.0};
        column[j] = 1.0;
        nrw_cholesky6_solve(factor, column);
        for (int i = 0; i < 6; i++)
            inverse->at[i][j] = column[i];
    }
}
