#include <criterion/criterion.h>
#include <math.h>

#include "vec3.h"

/* A few roundings of numbers of order 1. */
#define ROUNDING 1e-14

static void assert_near(nrw_vec3 a, nrw_vec3 b, double tolerance)
{
    const nrw_vec3 difference = nrw_vec3_add(a, nrw_vec3_scale(b, -1.0));
    cr_assert_leq(nrw_vec3_norm(difference), tolerance, "(%g, %g, %g) against (%g, %g, %g)", a.x,
                  a.y, a.z, b.x, b.y, b.z);
}

Test(vec3, cross_product_is_right_handed_and_normal_to_both)
{
    const nrw_vec3 x = {1.0, 0.0, 0.0}, y = {0.0, 1.0, 0.0};
    assert_near(nrw_vec3_cross(x, y), (nrw_vec3){0.0, 0.0, 1.0}, 0.0);
    const nrw_vec3 a = {1.0, -2.0, 0.5}, b = {0.3, 0.7, -1.1};
    const nrw_vec3 c = nrw_vec3_cross(a, b);
    cr_assert_float_eq(nrw_vec3_dot(a, c), 0.0, ROUNDING);
    cr_assert_float_eq(nrw_vec3_dot(b, c), 0.0, ROUNDING);
    /* |a × b|² = a²b² − (a·b)² (Lagrange) */
    const double dot = nrw_vec3_dot(a, b);
    cr_assert_float_eq(nrw_vec3_dot(c, c), nrw_vec3_dot(a, a) * nrw_vec3_dot(b, b) - dot * dot,
                       10.0 * ROUNDING);
}

Test(vec3, turning_is_anticlockwise_seen_from_above)
{
    assert_near(nrw_vec3_turn((nrw_vec3){1.0, 0.0, 7.0}, NRW_PI / 2.0), (nrw_vec3){0.0, 1.0, 7.0},
                ROUNDING);
}

Test(vec3, turning_a_tensor_is_turning_the_vectors_that_it_is_made_of)
{
    const nrw_vec3 a = {0.4, -1.3, 0.8};
    const double angle = 0.77;
    const nrw_sym3 turned = nrw_sym3_turn(nrw_sym3_outer(a), angle);
    const nrw_sym3 expected = nrw_sym3_outer(nrw_vec3_turn(a, angle));
    cr_assert_float_eq(turned.xx, expected.xx, ROUNDING);
    cr_assert_float_eq(turned.xy, expected.xy, ROUNDING);
    cr_assert_float_eq(turned.xz, expected.xz, ROUNDING);
    cr_assert_float_eq(turned.yy, expected.yy, ROUNDING);
    cr_assert_float_eq(turned.yz, expected.yz, ROUNDING);
    cr_assert_float_eq(turned.zz, expected.zz, ROUNDING);
}

Test(vec3, outer_product_times_a_vector_projects_it)
{
    const nrw_vec3 a = {0.4, -1.3, 0.8}, b = {2.0, 0.1, -0.5};
    assert_near(nrw_sym3_times(nrw_sym3_outer(a), b), nrw_vec3_scale(a, nrw_vec3_dot(a, b)),
                10.0 * ROUNDING);
}

Test(vec3, solving_undoes_multiplying)
{
    /* unit tensor plus two dyads: positive definite, condition about 5 */
    nrw_sym3 m = {1.0, 0.0, 0.0, 1.0, 0.0, 1.0};
    m = nrw_sym3_add_scaled(m, nrw_sym3_outer((nrw_vec3){0.4, -1.3, 0.8}), 1.0);
    m = nrw_sym3_add_scaled(m, nrw_sym3_outer((nrw_vec3){1.1, 0.2, 0.3}), 0.5);
    const nrw_vec3 x = {0.7, -0.2, 1.9};
    assert_near(nrw_sym3_solve(m, nrw_sym3_times(m, x)), x, 100.0 * ROUNDING);
}
