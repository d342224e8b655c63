#include <criterion/criterion.h>
#include <math.h>

#include "coil.h"
#include "units.h"

/* Biot and Savart, straight from the line integral: a twin without any
 * elliptic integral. Converges exponentially away from the wire. */
static void loop_by_quadrature(double radius, double rho, double z, double *b_rho, double *b_z)
{
    enum { N = 4000 };
    *b_rho = *b_z = 0.0;
    for (int i = 0; i < N; i++) {
        const double a = 2.0 * NRW_PI * i / N;
        const double dx = rho - radius * cos(a), dy = -radius * sin(a);
        const double r3 = pow(dx * dx + dy * dy + z * z, 1.5);
        /* dl × r with dl = R(−sin a, cos a, 0) */
        *b_rho += radius * cos(a) * z / r3;
        *b_z += radius * (-sin(a) * dy - cos(a) * dx) / r3;
    }
    *b_rho *= NRW_MU0_MT_MM_A / (4.0 * NRW_PI) * 2.0 * NRW_PI / N;
    *b_z *= NRW_MU0_MT_MM_A / (4.0 * NRW_PI) * 2.0 * NRW_PI / N;
}

Test(coil, loop_agrees_with_the_line_integral_on_and_off_axis)
{
    const double points[][2] = {{0.0, 3.0},  {1e-7, 3.0}, {1e-3, 3.0}, {5.0, 5.0},
                                {9.0, -4.0}, {30.0, 2.0}, {15.0, 0.0}};
    for (size_t i = 0; i < sizeof points / sizeof *points; i++) {
        double b_rho, b_z, q_rho, q_z;
        nrw_coil_loop_mT(10.0, 1.0, points[i][0], points[i][1], &b_rho, &b_z);
        loop_by_quadrature(10.0, points[i][0], points[i][1], &q_rho, &q_z);
        const double size = hypot(q_rho, q_z);
        cr_assert_float_eq(b_rho, q_rho, 1e-12 * size, "both round at about 1e-14: point %zu", i);
        cr_assert_float_eq(b_z, q_z, 1e-12 * size, "both round at about 1e-14: point %zu", i);
    }
}

Test(coil, radial_part_near_the_axis_does_not_cancel)
{
    /* −ρ/2 dBz/dz, next order (ρ/R)² */
    const double radius = 10.0, z = 4.0;
    for (double rho = 1e-2; rho > 1e-9; rho /= 10.0) {
        double b_rho, b_z;
        nrw_coil_loop_mT(radius, 1.0, rho, z, &b_rho, &b_z);
        const double leading = NRW_MU0_MT_MM_A * 3.0 * radius * radius * z * rho /
                               (4.0 * pow(radius * radius + z * z, 2.5));
        cr_assert_float_eq(b_rho, leading, leading * 10.0 * rho * rho / 100.0 + 1e-15 * b_z);
    }
}

Test(coil, wire_itself_has_no_value)
{
    double b_rho, b_z;
    nrw_coil_loop_mT(10.0, 1.0, 10.0, 0.0, &b_rho, &b_z);
    cr_assert(isnan(b_rho) && isnan(b_z));
    cr_assert(isnan(nrw_coil_mutual_coaxial_uH(10.0, 10.0, 0.0)));
}

Test(coil, solenoid_agrees_with_a_stack_of_loops)
{
    enum { LOOPS = 20000 };
    const double points[][2] = {{0.0, 0.0}, {3.0, 10.0}, {7.0, -20.0}, {30.0, 5.0}, {12.0, 40.0}};
    for (size_t i = 0; i < sizeof points / sizeof *points; i++) {
        double rho_sum = 0.0, z_sum = 0.0, b_rho, b_z;
        for (int k = 0; k < LOOPS; k++) {
            const double z = -20.0 + 40.0 * (k + 0.5) / LOOPS;
            nrw_coil_loop_mT(10.0, 100.0 / LOOPS, points[i][0], points[i][1] - z, &b_rho, &b_z);
            rho_sum += b_rho;
            z_sum += b_z;
        }
        nrw_coil_solenoid_mT(10.0, 40.0, 100.0, 1.0, points[i][0], points[i][1], &b_rho, &b_z);
        /* midpoint rule: (spacing/distance)²/24 of it */
        cr_assert_float_eq(b_rho, rho_sum, 1e-6 * hypot(rho_sum, z_sum));
        cr_assert_float_eq(b_z, z_sum, 1e-6 * hypot(rho_sum, z_sum));
    }
}

Test(coil, field_points_along_the_axis_wherever_it_points)
{
    const nrw_coil coil = {
        .centre_mm = {1, 2, 3}, .axis = {1, 2, -2}, .radius_mm = 20, .turns = 10};
    double field[3], loop_rho, loop_z;
    nrw_coil_field_mT(&coil, 2.0, (const double[3]){1 + 4, 2 + 8, 3 - 8}, field);
    nrw_coil_loop_mT(20.0, 20.0, 0.0, 12.0, &loop_rho, &loop_z);
    for (int i = 0; i < 3; i++)
        cr_assert_float_eq(field[i], loop_z * coil.axis[i] / 3.0, 1e-13);
}

Test(coil, helmholtz_spacing_is_the_most_uniform)
{
    const double centre[3] = {0, 0, 0}, axis[3] = {1, 0, 0};
    nrw_coil pair[2];
    nrw_coil_pair(50.0, 50.0, 100.0, centre, axis, pair);
    const double best = nrw_coil_group_nonuniformity(pair, 2, centre, 5.0);
    nrw_coil_pair(50.0, 45.0, 100.0, centre, axis, pair);
    cr_assert_gt(nrw_coil_group_nonuniformity(pair, 2, centre, 5.0), 5.0 * best);
    nrw_coil_pair(50.0, 55.0, 100.0, centre, axis, pair);
    cr_assert_gt(nrw_coil_group_nonuniformity(pair, 2, centre, 5.0), 5.0 * best);
}

Test(coil, neumann_integral_agrees_with_maxwell_for_coaxial_loops)
{
    const nrw_coil a = {.axis = {0, 0, 1}, .radius_mm = 50, .turns = 1};
    nrw_coil b = {.centre_mm = {0, 0, 30}, .axis = {0, 0, 1}, .radius_mm = 40, .turns = 1};
    const double closed = nrw_coil_mutual_coaxial_uH(50, 40, 30);
    cr_assert_float_eq(nrw_coil_mutual_uH(&a, &b), closed, 1e-10 * closed);
    b.turns = -3;
    cr_assert_float_eq(nrw_coil_mutual_uH(&a, &b), -3 * closed, 1e-9 * closed);
}

Test(coil, crossed_pairs_do_not_couple)
{
    const nrw_coil a = {.centre_mm = {25, 0, 0}, .axis = {1, 0, 0}, .radius_mm = 50, .turns = 1};
    const nrw_coil b = {.axis = {0, 0, 1}, .radius_mm = 30, .turns = 1};
    cr_assert_float_eq(nrw_coil_mutual_uH(&a, &b), 0.0, 1e-12);
}

Test(coil, copper_warms_by_four_tenths_of_a_percent_a_degree)
{
    const double cold = nrw_coil_copper_ohm(50, 100, 1.0, 20), warm = nrw_coil_warm_ohm(cold, 70);
    cr_assert_float_eq(cold, 1.68e-8 * 2 * NRW_PI * 0.05 * 100 / 1e-6, 1e-12);
    cr_assert_float_eq(warm / cold, 1.1965, 1e-12);
}

Test(coil, self_inductance_grows_with_the_square_of_the_turns)
{
    cr_assert_float_eq(nrw_coil_self_uH(50, 200, 5, 5) / nrw_coil_self_uH(50, 100, 5, 5), 4.0,
                       1e-12);
}
