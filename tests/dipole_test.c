/* Dipoles: forces against the slope of the energy, averages against sums, mutual
 * induction against a dense solve. */
#include <criterion/criterion.h>
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <string.h>

#include "dipole.h"
#include "random.h"

static const nrw_vec3 m1 = {3, -7, 4}, m2 = {-2, 5, 6}, r = {1.4, -2.2, 0.9};

static nrw_vec3 difference(nrw_vec3 a, nrw_vec3 b)
{
    return nrw_vec3_add(a, nrw_vec3_scale(b, -1));
}

Test(dipole, head_to_tail_attracts_twice_side_by_side)
{
    nrw_vec3 m = {0, 0, 5};
    double ahead = nrw_dipole_force_pN(m, m, (nrw_vec3){0, 0, 3}).z;
    double beside = nrw_dipole_force_pN(m, m, (nrw_vec3){3, 0, 0}).x;
    cr_assert_lt(ahead, 0);
    cr_assert_float_eq(ahead / beside, -2, 1e-14);
}

Test(dipole, force_is_the_slope_of_the_energy)
{
    const double e = 1e-5;
    nrw_vec3 f = nrw_dipole_force_pN(m1, m2, r), slope;
    double *parts = &slope.x;
    for (int k = 0; k < 3; k++) {
        nrw_vec3 a = r, b = r;
        (&a.x)[k] += e;
        (&b.x)[k] -= e;
        parts[k] =
            -(nrw_dipole_energy_pN_um(m1, m2, a) - nrw_dipole_energy_pN_um(m1, m2, b)) / (2 * e);
    }
    /* central differences: e² of the third derivative and rounding over e, 1e-10 */
    cr_assert_float_eq(nrw_vec3_norm(difference(f, slope)), 0, 1e-8 * nrw_vec3_norm(f));
}

Test(dipole, torque_is_the_slope_of_the_energy_by_angle)
{
    const double e = 1e-5;
    nrw_vec3 t = nrw_dipole_torque_pN_um(m1, m2, r);
    double a = nrw_dipole_energy_pN_um(m1, nrw_vec3_turn(m2, e), r);
    double b = nrw_dipole_energy_pN_um(m1, nrw_vec3_turn(m2, -e), r);
    cr_assert_float_eq(t.z, -(a - b) / (2 * e), 1e-8 * fabs(t.z));
}

Test(dipole, forces_are_opposite)
{
    nrw_vec3 back = nrw_vec3_scale(r, -1);
    nrw_vec3 sum = nrw_vec3_add(nrw_dipole_force_pN(m1, m2, r), nrw_dipole_force_pN(m2, m1, back));
    cr_assert_float_eq(nrw_vec3_norm(sum), 0, 1e-15);
}

Test(dipole, averaged_force_is_the_mean_of_the_instantaneous_ones)
{
    enum { PHASES = 16 }; /* two harmonics: exact from 5 on */
    nrw_vec3 sum = {0, 0, 0};
    nrw_sym3 tensor = {0};
    for (int i = 0; i < PHASES; i++) {
        double phase = 2 * NRW_PI * i / PHASES;
        nrw_vec3 m = nrw_vec3_add(nrw_vec3_scale(m1, cos(phase)), nrw_vec3_scale(m2, sin(phase)));
        m = nrw_vec3_add(m, (nrw_vec3){1, 2, -1});
        sum = nrw_vec3_add(sum, nrw_vec3_scale(nrw_dipole_force_pN(m, m, r), 1.0 / PHASES));
        tensor = nrw_sym3_add_scaled(tensor, nrw_sym3_outer(m), 1.0 / PHASES);
    }
    nrw_vec3 f = nrw_averaged_force_pN(tensor, r);
    cr_assert_float_eq(nrw_vec3_norm(difference(f, sum)), 0, 1e-14 * nrw_vec3_norm(f));
}

Test(dipole, averaged_force_is_the_slope_of_the_averaged_energy)
{
    const double e = 1e-5;
    nrw_sym3 tensor = nrw_sym3_add_scaled(nrw_sym3_outer(m1), nrw_sym3_outer(m2), 0.3);
    nrw_vec3 f = nrw_averaged_force_pN(tensor, r);
    for (int k = 0; k < 3; k++) {
        nrw_vec3 a = r, b = r;
        (&a.x)[k] += e;
        (&b.x)[k] -= e;
        double slope =
            -(nrw_averaged_energy_pN_um(tensor, a) - nrw_averaged_energy_pN_um(tensor, b)) /
            (2 * e);
        cr_assert_float_eq((&f.x)[k], slope, 1e-8 * nrw_vec3_norm(f));
    }
}

/* M = ½ hh + ½ cos² δ pp + ½ sin² δ zz, heading h = x, p = y. */
static double side_by_side_force(double tilt_deg)
{
    double c = cos(tilt_deg * NRW_DEGREE), s = sin(tilt_deg * NRW_DEGREE);
    nrw_sym3 tensor = {.xx = 0.5, .yy = 0.5 * c * c, .zz = 0.5 * s * s};
    return nrw_averaged_force_pN(tensor, (nrw_vec3){0, 1, 0}).y;
}

Test(dipole, side_by_side_attraction_vanishes_at_tilt_35_degrees)
{
    cr_assert_lt(side_by_side_force(35.2), 0);
    cr_assert_gt(side_by_side_force(35.3), 0);
    cr_assert_float_eq(side_by_side_force(acos(sqrt(2.0 / 3)) / NRW_DEGREE), 0, 1e-15);
}

Test(dipole, precession_attracts_along_its_axis_only_inside_the_magic_angle)
{
    for (double cone = 54.0; cone < 56; cone += 1) {
        double c = cos(cone * NRW_DEGREE), s = sin(cone * NRW_DEGREE);
        nrw_sym3 tensor = {.xx = c * c, .yy = 0.5 * s * s, .zz = 0.5 * s * s};
        double force = nrw_averaged_force_pN(tensor, (nrw_vec3){1, 0, 0}).x;
        cr_assert_eq(force < 0, cone < 54.7356, "cone %g: %g", cone, force);
    }
}

/* --- mutual induction ------------------------------------------------------ */

enum { COUNT = 40 };

typedef struct cluster {
    double positions[COUNT][3], polarisabilities[COUNT], moments[COUNT][3];
    double workspace[9 * COUNT];
} cluster;

/* A loose heap of spheres of different sizes that don't overlap. */
static void fill_cluster(cluster *c)
{
    memset(c, 0, sizeof *c);
    for (uint32_t i = 0; i < COUNT; i++) {
        double u[3];
        for (uint32_t k = 0; k < 3; k++)
            u[k] = nrw_uniform(1, NRW_STREAM_START, i, k);
        c->positions[i][0] = 2.2 * (i % 4) + 0.1 * u[0];
        c->positions[i][1] = 2.2 * (i / 4 % 5) + 0.1 * u[1];
        c->positions[i][2] = 2.2 * (i / 20) + 0.1 * u[2];
        c->polarisabilities[i] = nrw_sphere_polarisability_fAm2_mT(1.6 + 0.4 * u[0], 5);
    }
}

static nrw_status solve(cluster *c, size_t n, nrw_vec3 field, nrw_errors *errors)
{
    return nrw_mutual_induction(n, (const double(*)[3])c->positions, c->polarisabilities, field,
                                1e-12, c->moments, c->workspace, errors);
}

Test(dipole, mutual_induction_agrees_with_a_dense_solve)
{
    static cluster c;
    const nrw_vec3 field = {3, -1, 2};
    fill_cluster(&c);
    cr_assert_eq(solve(&c, COUNT, field, NULL), NRW_OK);

    gsl_matrix *a = gsl_matrix_alloc(3 * COUNT, 3 * COUNT);
    gsl_vector *b = gsl_vector_alloc(3 * COUNT), *x = gsl_vector_alloc(3 * COUNT);
    for (size_t j = 0; j < 3 * COUNT; j++) {
        nrw_vec3 unit = {j % 3 == 0, j % 3 == 1, j % 3 == 2};
        gsl_vector_set(b, j, (&field.x)[j % 3]);
        for (size_t i = 0; i < COUNT; i++) {
            const double *p = c.positions[i], *q = c.positions[j / 3];
            nrw_vec3 g = {0, 0, 0};
            if (i == j / 3)
                g = nrw_vec3_scale(unit, -1 / c.polarisabilities[i]);
            else
                g = nrw_dipole_field_mT(unit, (nrw_vec3){p[0] - q[0], p[1] - q[1], p[2] - q[2]});
            for (size_t k = 0; k < 3; k++)
                gsl_matrix_set(a, 3 * i + k, j, -(&g.x)[k]);
        }
    }
    gsl_permutation *permutation = gsl_permutation_alloc(3 * COUNT);
    int sign;
    gsl_linalg_LU_decomp(a, permutation, &sign);
    gsl_linalg_LU_solve(a, permutation, b, x);
    for (size_t i = 0; i < 3 * COUNT; i++)
        cr_assert_float_eq(c.moments[i / 3][i % 3], gsl_vector_get(x, i), 1e-9);
    gsl_matrix_free(a);
    gsl_vector_free(b);
    gsl_vector_free(x);
    gsl_permutation_free(permutation);
}

Test(dipole, mutual_induction_started_from_the_solution_stays_there)
{
    static cluster c;
    const nrw_vec3 field = {3, -1, 2};
    fill_cluster(&c);
    cr_assert_eq(solve(&c, COUNT, field, NULL), NRW_OK);
    double before[COUNT][3];
    memcpy(before, c.moments, sizeof before);
    cr_assert_eq(nrw_mutual_induction(COUNT, (const double(*)[3])c.positions, c.polarisabilities,
                                      field, 1e-11, c.moments, c.workspace, NULL),
                 NRW_OK);
    cr_assert_eq(memcmp(before, c.moments, sizeof before), 0);
}

Test(dipole, lone_sphere_has_its_plain_moment)
{
    static cluster c;
    fill_cluster(&c);
    cr_assert_eq(solve(&c, 1, (nrw_vec3){0, 2, 0}, NULL), NRW_OK);
    cr_assert_float_eq(c.moments[0][1], 2 * c.polarisabilities[0], 1e-14);
    cr_assert_eq(solve(&c, COUNT, (nrw_vec3){0, 0, 0}, NULL), NRW_OK);
}

/* m/m0 = 1/(1 - ζ(3) K/2) inside a long touching chain; 400 spheres lack the
 * far neighbours, whose share falls as 1/n². */
Test(dipole, middle_of_a_long_chain_is_an_infinite_one)
{
    enum { LONG = 401 };
    static double positions[LONG][3], polarisabilities[LONG], moments[LONG][3];
    static double workspace[9 * LONG];
    for (int i = 0; i < LONG; i++) {
        positions[i][0] = 2.0 * i;
        polarisabilities[i] = nrw_sphere_polarisability_fAm2_mT(2, 10);
    }
    cr_assert_eq(nrw_mutual_induction_workspace(LONG), 9 * LONG);
    cr_assert_eq(nrw_mutual_induction(LONG, (const double(*)[3])positions, polarisabilities,
                                      (nrw_vec3){1, 0, 0}, 1e-10, moments, workspace, NULL),
                 NRW_OK);
    double k = 10.0 / 13;
    double infinite = 1 / (1 - 1.2020569031595942 * k / 2);
    cr_assert_float_eq(moments[LONG / 2][0] / polarisabilities[0] / infinite, 1, 1e-4);
}

Test(dipole, overlapping_spheres_are_refused_with_the_reason)
{
    static cluster c;
    nrw_errors errors;
    nrw_errors_init(&errors);
    fill_cluster(&c);
    for (int k = 0; k < 3; k++)
        c.positions[1][k] = c.positions[0][k];
    c.positions[1][0] += 0.5;
    cr_assert_eq(solve(&c, 2, (nrw_vec3){1, 0, 0}, &errors), NRW_DIVERGED);
    cr_assert_eq(errors.n_items, 1);
    cr_assert_not_null(strstr(errors.items[0].what, "mutual induction"));
    nrw_errors_clear(&errors);
}
