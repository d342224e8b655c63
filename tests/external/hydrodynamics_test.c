/* Hydrodynamics without walls against values of the world outside (rows HYD-...).
 * SI there: drag 1 kg/s = 1e6 pN·s/µm, rotational drag 1 N·m·s = 1e18 pN·µm·s. */
#include "external_row.h"

#include <gsl/gsl_errno.h>
#include <gsl/gsl_linalg.h>

#include "mobility.h"
#include "particle.h"
#include "random.h"
#include "spheroid.h"
#include "vec3.h"

static const double eta = 8.9e-4;

/* Stokes 1851; Kirchhoff 1876 (Happel & Brenner, chapter 5; from memory). */
Test(external_hydrodynamics, drag_of_a_sphere)
{
    assert_row("HYD-01", 1e-6 * nrw_drag_pN_s_um(2, eta), 1.677610477e-08, PRINTED);
    assert_row("HYD-02", 1e-18 * nrw_spin_drag_pN_um_s(2, eta), 2.236813969e-20, PRINTED);
}

/* Perrin 1934; Kim & Karrila 1991, Table 3.4 (from memory); the values were
 * cross-checked with Carlson integrals, HYD-18 in 30-digit arithmetic. */
Test(external_hydrodynamics, spheroid_friction)
{
    static const struct {
        const char *ids[3];
        double aspect, along, across, spin;
    } rows[] = {
        {{"HYD-04-1.5-t_par", "HYD-04-1.5-t_perp", "HYD-04-1.5-r_axis"},
         1.5,
         0.9623923904,
         1.043245521,
         0.8691662984},
        {{"HYD-04-2-t_par", "HYD-04-2-t_perp", "HYD-04-2-r_axis"},
         2,
         0.9555685968,
         1.094432907,
         0.8066766993},
        {{"HYD-04-3-t_par", "HYD-04-3-t_perp", "HYD-04-3-r_axis"},
         3,
         0.9738011893,
         1.197866349,
         0.7479790714},
        {{"HYD-04-5-t_par", "HYD-04-5-t_perp", "HYD-04-5-r_axis"},
         5,
         1.043762474,
         1.386549653,
         0.7060807806},
        {{"HYD-04-10-t_par", "HYD-04-10-t_perp", "HYD-04-10-r_axis"},
         10,
         1.228691691,
         1.769154787,
         0.6804706121},
        {{"HYD-18-t_par", "HYD-18-t_perp", "HYD-18-r_axis"},
         1.001,
         0.9998668335,
         1.00006673,
         0.9996004167},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        nrw_spheroid_friction f = nrw_spheroid_friction_of(rows[i].aspect);
        assert_row(rows[i].ids[0], f.along, rows[i].along, PRINTED);
        assert_row(rows[i].ids[1], f.across, rows[i].across, PRINTED);
        assert_row(rows[i].ids[2], f.spin, rows[i].spin, PRINTED);
    }
    /* Perrin 1936 (tabulated 1.044, from memory). */
    assert_row("HYD-05", nrw_spheroid_mean_friction(2), 1.043867568, PRINTED);
}

/* Jeffery 1922, Proc. R. Soc. A 102:161. */
Test(external_hydrodynamics, jeffery_orbit)
{
    assert_row("HYD-06", nrw_jeffery_period_s(2, 10), 1.570796327, PRINTED);
}

/* Tirado, López Martínez & García de la Torre 1984 (coefficients from memory). */
Test(external_hydrodynamics, rod)
{
    assert_row("HYD-07", 1e-18 * nrw_rod_tumble_drag_pN_um_s(10, 10, eta), 5.381763732e-19,
               PRINTED);
}

/* Rotne & Prager 1969; Yamakawa 1970. */
Test(external_hydrodynamics, rotne_prager_yamakawa)
{
    static const struct {
        const char *along_id;
        double r, along;
        const char *across_id; /* NULL: no row */
        double across;
    } rows[] = {
        {"HYD-09-2-par", 2, 0.625, "HYD-09-2-perp", 0.4375},
        {"HYD-09-2.5-par", 2.5, 0.536, NULL, 0},
        {"HYD-09-4-par", 4, 0.359375, "HYD-09-4-perp", 0.1953125},
        {"HYD-09-1.5-par", 1.5, 0.71875, NULL, 0},
        {"HYD-09-1-par", 1, 0.8125, "HYD-09-1-perp", 0.71875},
        {"HYD-09-0.5-par", 0.5, 0.90625, NULL, 0},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        double along, across;
        nrw_rpy_pair(rows[i].r, &along, &across);
        assert_row(rows[i].along_id, along, rows[i].along, ROUNDING);
        if (rows[i].across_id)
            assert_row(rows[i].across_id, across, rows[i].across, ROUNDING);
    }
    double along, across;
    nrw_rpy_pair(3, &along, &across); /* r = (1, 2, 2) µm, a = 1 µm */
    double xy = (along - across) * 1.0 * 2.0 / 9.0 / nrw_drag_pN_s_um(2, eta);
    assert_row("HYD-10", 1e6 * xy, 2575679.941, PRINTED);
}

/* Rotne & Prager 1969: positive definite, overlapping spheres too. */
Test(external_hydrodynamics, rpy_mobility_is_positive_definite)
{
    enum { SPHERES = 12, SIZE = 3 * SPHERES };
    double at[SPHERES][3];
    gsl_matrix *grand = gsl_matrix_alloc(SIZE, SIZE);
    for (uint32_t trial = 0; trial < 20; trial++) {
        for (uint32_t i = 0; i < SIZE; i++)
            at[i / 3][i % 3] = 3.0 * nrw_uniform(1, NRW_STREAM_START, i, trial);
        gsl_matrix_set_identity(grand);
        for (int i = 0; i < SPHERES; i++)
            for (int j = 0; j < SPHERES; j++) {
                double r[3], r2 = 0, along, across;
                for (int k = 0; k < 3; k++) {
                    r[k] = at[i][k] - at[j][k];
                    r2 += r[k] * r[k];
                }
                if (i == j)
                    continue;
                nrw_rpy_pair(sqrt(r2), &along, &across);
                for (size_t k = 0; k < 3; k++)
                    for (size_t l = 0; l < 3; l++)
                        gsl_matrix_set(grand, 3 * (size_t)i + k, 3 * (size_t)j + l,
                                       (k == l ? across : 0) + (along - across) * r[k] * r[l] / r2);
            }
        gsl_error_handler_t *before = gsl_set_error_handler_off();
        int status = gsl_linalg_cholesky_decomp1(grand);
        gsl_set_error_handler(before);
        cr_assert_eq(status, GSL_SUCCESS, "HYD-11: trial %u", trial);
    }
    gsl_matrix_free(grand);
}

/* Blake & Chwang 1974 (rotlet, unbounded); Kim & Karrila 1991 (from memory). */
Test(external_hydrodynamics, torque_drives_neighbours)
{
    nrw_vec3 torque = {0, 0, 10}, r = {4, 0, 0};
    nrw_vec3 u = nrw_rotlet_unbounded_um_s(torque, r, eta);
    assert_row("HYD-12", 1e-6 * nrw_vec3_norm(u), 2.794152793e-05, PRINTED);
    cr_assert_gt(u.y, 0, "a point ahead of an anticlockwise rotor is driven to its left");
    nrw_vec3 spin = nrw_rotlet_unbounded_spin_rad_s(torque, r, eta);
    assert_row("HYD-14", spin.z, -3.492690991, PRINTED);
}

/* Two equal spheres falling side by side in Oseen's order: velocity over that of
 * a lone one, for a pair along n, force along z. Smoluchowski 1911. */
static nrw_vec3 pair_velocity(nrw_vec3 r_over_a)
{
    double g[3][3];
    nrw_stokeslet_unbounded(r_over_a, g);
    const double ratio = 6.0 / 8.0; /* 6πηa over 8πη, a = 1 */
    return (nrw_vec3){ratio * g[0][2], ratio * g[1][2], 1.0 + ratio * g[2][2]};
}

/* Happel & Brenner, chapter 6 (from memory). */
Test(external_hydrodynamics, sedimenting_pairs)
{
    assert_row("HYD-15a", pair_velocity((nrw_vec3){0, 0, 6}).z, 1.25, ROUNDING);
    assert_row("HYD-15b", pair_velocity((nrw_vec3){6, 0, 0}).z, 1.125, ROUNDING);
    double c = 6 * sqrt(0.5);
    nrw_vec3 u = pair_velocity((nrw_vec3){c, 0, c});
    assert_row("HYD-15d", atan2(u.x, u.z) / NRW_DEGREE, 3.012787504, PRINTED);
}

/* Identities in the rotlets' order; cf. Leoni & Liverpool 2010 (from memory). */
Test(external_hydrodynamics, rotors_orbit_one_another)
{
    double rate = 3.0; /* of spin, rad/s; a = 1 µm, d = 2 µm */
    nrw_vec3 torque = {0, 0, rate * nrw_spin_drag_pN_um_s(2, eta)};
    nrw_vec3 u = nrw_rotlet_unbounded_um_s(torque, (nrw_vec3){2, 0, 0}, eta);
    assert_row("HYD-16", u.y / 1.0 / rate, 0.25, ROUNDING);

    nrw_vec3 outer = {1, 0, 0}, sum = {0, 0, 0}, unit = {0, 0, 8.0 * NRW_PI * eta};
    for (int i = 0; i < 6; i++) {
        nrw_vec3 at = {cos(i * NRW_PI / 3), sin(i * NRW_PI / 3), 0};
        if (i == 0)
            at.x = 0; /* the rotor in the middle stands in for the outer one itself */
        sum = nrw_vec3_add(
            sum, nrw_rotlet_unbounded_um_s(unit, nrw_vec3_add(outer, nrw_vec3_scale(at, -1)), eta));
    }
    assert_row("HYD-17", sum.y, 2.827350269, PRINTED);
}
