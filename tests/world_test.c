#include <criterion/criterion.h>
#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "particle.h"
#include "small_setup.h"

static small_setup setup;

static void end(void)
{
    small_setup_clear(&setup);
}

TestSuite(world, .fini = end);

static nrw_status create(size_t count, uint64_t seed, nrw_world **world, nrw_errors *errors)
{
    const nrw_draw nominal = {1.0, 1.0, 1.0, 1.0};
    nrw_errors_init(errors);
    return nrw_world_create(setup.scenario, setup.channel, &nominal, seed, count, false, world,
                            errors);
}

/* --- placing in the release circle --------------------------------------------------- */

static double closest(size_t n, const double *x, const double *y)
{
    double least = INFINITY;
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < i; j++)
            least = fmin(least, hypot(x[i] - x[j], y[i] - y[j]));
    return least;
}

static void assert_placed(size_t n, double radius_um, double apart_um)
{
    double *x = calloc(n, sizeof *x), *y = calloc(n, sizeof *y);
    const double centre[2] = {120.0, -30.0};
    cr_assert(nrw_place_in_circle(setup.channel, centre, radius_um, apart_um, 1.5, 3, n, x, y));
    cr_assert_geq(closest(n, x, y), apart_um - 1e-9);
    for (size_t i = 0; i < n; i++)
        cr_assert_leq(hypot(x[i] - centre[0], y[i] - centre[1]), radius_um - 0.5 * apart_um + 1e-9);
    free(x);
    free(y);
}

Test(world, loose_and_dense_swarms_fit_into_the_circle_without_overlap)
{
    setup = small_setup_open(1, NULL);
    assert_placed(150, 34.0, 3.06);  /* 0.30 of the circle: random */
    assert_placed(150, 24.0, 3.06);  /* 0.61: only a lattice does it */
    assert_placed(1000, 55.0, 3.06); /* 0.77 */
    assert_placed(2, 4.0, 3.06);
}

Test(world, one_particle_starts_in_the_middle)
{
    setup = small_setup_open(1, NULL);
    double x, y;
    const double centre[2] = {7.0, 8.0};
    cr_assert(nrw_place_in_circle(setup.channel, centre, 0.1, 3.06, 1.5, 3, 1, &x, &y));
    cr_assert_eq(x, 7.0);
    cr_assert_eq(y, 8.0);
}

Test(world, what_cannot_fit_is_refused)
{
    setup = small_setup_open(1, NULL);
    double x[200], y[200];
    const double centre[2] = {0.0, 0.0};
    cr_assert_not(nrw_place_in_circle(setup.channel, centre, 20.0, 3.06, 1.5, 3, 200, x, y));
    setup.scenario->particles.count = 200;
    setup.scenario->release.radius_um = 20.0;
    nrw_world *world;
    nrw_errors errors;
    cr_assert_eq(create(200, 1, &world, &errors), NRW_REFUSED);
    cr_assert_null(world);
    cr_assert_eq(errors.n_items, 1u);
    cr_assert_not_null(strstr(errors.items[0].what, "release circle"));
    nrw_errors_clear(&errors);
}

Test(world, start_keeps_clear_of_side_walls)
{
    setup = small_setup_of("format: narrows-scenario/1\n"
                           "title: a straight channel\n"
                           "fluid: {medium: water, temperature_C: 25}\n"
                           "particles:\n"
                           "  count: 60\n"
                           "  diameter_um: 3.0\n"
                           "  density_kg_m3: 1800\n"
                           "  magnetics: {kind: induced, susceptibility: 0.30}\n"
                           "channel:\n"
                           "  depth_um: 60\n"
                           "  nodes: {a: {at_um: [0, 0]}, b: {at_um: [300, 0]}}\n"
                           "  vessels: [{from: a, to: b, width_um: 40}]\n"
                           "release: {at_um: [100, 0], radius_um: 18}\n"
                           "target: {node: b, radius_um: 15}\n"
                           "deadline_s: 10\n");
    /* a circle that sticks out of the channel, loosely and densely filled */
    double x[150], y[150];
    const double centre[2] = {100.0, 5.0};
    for (size_t n = 60; n <= 150; n += 90) {
        cr_assert(nrw_place_in_circle(setup.channel, centre, 30.0, 3.06, 1.6, 3, n, x, y));
        for (size_t i = 0; i < n; i++)
            cr_assert_leq(fabs(y[i]), 20.0 - 1.6 + 0.05, "particle %zu at y = %g", i, y[i]);
    }
}

Test(world, the_same_seed_places_alike_and_another_does_not)
{
    setup = small_setup_open(1, NULL);
    setup.scenario->particles.count = 40;
    setup.scenario->particles.diameter_cv = 0.05;
    nrw_world *worlds[3];
    nrw_errors errors;
    for (int k = 0; k < 3; k++)
        cr_assert_eq(create(40, k < 2 ? 5 : 6, &worlds[k], &errors), NRW_OK);
    cr_assert_eq(memcmp(worlds[0]->x, worlds[1]->x, 40 * sizeof(double)), 0);
    cr_assert_eq(memcmp(worlds[0]->radius, worlds[1]->radius, 40 * sizeof(float)), 0);
    cr_assert_neq(memcmp(worlds[0]->x, worlds[2]->x, 40 * sizeof(double)), 0);
    cr_assert_neq(memcmp(worlds[0]->radius, worlds[2]->radius, 40 * sizeof(float)), 0);
    for (int k = 0; k < 3; k++)
        nrw_world_destroy(worlds[k]);
}

/* --- given positions ------------------------------------------------------------------- */

static void assert_refused(size_t n, const double (*at_um)[3], const char *why)
{
    setup = small_setup_open(n, at_um);
    setup.scenario->map.depth_um = 20.0;
    nrw_world *world;
    nrw_errors errors;
    cr_assert_eq(create(n, 1, &world, &errors), NRW_BAD_INPUT);
    cr_assert_eq(errors.n_items, 1u);
    cr_assert_not_null(strstr(errors.items[0].what, why), "%s", errors.items[0].what);
    nrw_errors_clear(&errors);
    small_setup_clear(&setup);
}

Test(world, positions_that_cannot_be_are_errors)
{
    const double overlapping[2][3] = {{0.0, 0.0, 2.0}, {2.0, 0.0, 2.0}};
    assert_refused(2, overlapping, "overlaps position 0: they are 2 µm apart, and touch at 3 µm");
    const double sunk[1][3] = {{0.0, 0.0, 1.2}};
    assert_refused(1, sunk, "z = 1.2");
    const double high[1][3] = {{0.0, 0.0, 19.0}};
    assert_refused(1, high, "20 µm deep");
    setup = small_setup_open(1, NULL);
}

Test(world, particles_drawn_larger_than_the_channel_is_deep_are_refused)
{
    setup = small_setup_open(1, NULL);
    setup.scenario->particles.count = 50;
    setup.scenario->particles.diameter_cv = 0.3;
    /* the largest of fifty is about 3 exp(0.294 x 2.25 - 0.043) = 5.5 µm */
    setup.scenario->map.depth_um = 4.0;
    nrw_world *world;
    nrw_errors errors;
    cr_assert_eq(create(50, 1, &world, &errors), NRW_BAD_INPUT);
    cr_assert_eq(errors.n_items, 1u);
    cr_expect_str_eq(errors.items[0].key, "particles.diameter_cv");
    cr_expect(errors.items[0].line > 0, "an error about a file has its place");
    cr_expect(strstr(errors.items[0].what, "channel 4 µm deep"), "%s", errors.items[0].what);
    nrw_errors_clear(&errors);
}

Test(world, heights_left_out_are_the_resting_height)
{
    const double at[2][3] = {{0.0, 0.0, NAN}, {10.0, 0.0, 7.0}};
    setup = small_setup_open(2, at);
    nrw_world *world = small_world(&setup, false);
    const double gap = nrw_particle_gap_um(setup.scenario, 3.0,
                                           nrw_particle_weight_pN(setup.scenario, 3.0), false);
    cr_assert_float_eq(world->z[0], 1.5 + gap, 1e-9);
    cr_assert_eq(world->z[1], 7.0);
    nrw_world_destroy(world);
}

Test(world, without_a_floor_heights_left_out_are_zero_and_any_sign_is_good)
{
    const double at[2][3] = {{0.0, 0.0, NAN}, {10.0, 0.0, -70.0}};
    setup = small_setup_open(2, at);
    setup.scenario->map.has_floor = false;
    nrw_world *world = small_world(&setup, false);
    cr_assert_eq(world->z[0], 0.0);
    cr_assert_eq(world->z[1], -70.0);
    cr_assert_eq(world->body.floor.mt, 1.0);
    nrw_world_destroy(world);
}

/* --- sizes and moments ------------------------------------------------------------------ */

Test(world, sizes_have_the_mean_and_spread_asked_for_and_moments_go_with_volume)
{
    enum { N = 4000 };
    setup = small_setup_open(1, NULL);
    setup.scenario->particles.count = N;
    setup.scenario->particles.diameter_cv = 0.10;
    setup.scenario->release.radius_um = 250.0;
    nrw_world *world = small_world(&setup, false);
    double diameters[N];
    for (size_t i = 0; i < N; i++) {
        diameters[i] = 2.0 * (double)world->radius[i];
        const double volume = pow(diameters[i] / 3.0, 3.0);
        cr_assert_float_eq((double)world->moment[i], volume, 1e-6 * volume);
        cr_assert_float_eq((double)world->inverse_drag[i],
                           1.0 /
                               nrw_drag_pN_s_um(diameters[i], setup.scenario->fluid.viscosity_Pa_s),
                           1e-5 * (double)world->inverse_drag[i]);
    }
    /* standard errors: 0.1/sqrt(N) of the mean, 1/sqrt(2N) of the spread; four of them */
    cr_assert_float_eq(gsl_stats_mean(diameters, 1, N), 3.0, 3.0 * 4.0 * 0.1 / sqrt(N));
    cr_assert_float_eq(gsl_stats_sd(diameters, 1, N) / 3.0, 0.10, 0.10 * 4.0 / sqrt(2.0 * N));
    /* log-normal: the logarithm is not skewed, the size is (by 3 cv) */
    double logs[N];
    for (int i = 0; i < N; i++)
        logs[i] = log(diameters[i]);
    cr_assert_float_eq(gsl_stats_skew(logs, 1, N), 0.0, 4.0 * sqrt(6.0 / N));
    nrw_world_destroy(world);
}

Test(world, permanent_moments_spread_by_their_own_coefficient)
{
    enum { N = 4000 };
    setup = small_setup_open(1, NULL);
    small_setup_permanent(&setup, 30.0, NULL);
    setup.scenario->particles.count = N;
    setup.scenario->particles.moment_cv = 0.2;
    setup.scenario->release.radius_um = 250.0;
    nrw_world *world = small_world(&setup, true);
    double moments[N];
    nrw_vec3 sum = {0.0, 0.0, 0.0};
    for (size_t i = 0; i < N; i++) {
        moments[i] = (double)world->moment[i];
        sum = nrw_vec3_add(sum, (nrw_vec3){world->ux[i], world->uy[i], world->uz[i]});
        cr_assert_float_eq(hypot(world->ux[i], world->uy[i]), 1.0, 1e-12);
    }
    cr_assert_float_eq(gsl_stats_mean(moments, 1, N), 1.0, 4.0 * 0.2 / sqrt(N));
    cr_assert_float_eq(gsl_stats_sd(moments, 1, N), 0.2, 0.2 * 6.0 / sqrt(2.0 * N));
    /* headings are random: their mean is no longer than four standard errors */
    cr_assert_lt(nrw_vec3_norm(sum) / N, 4.0 / sqrt(2.0 * N));
    nrw_world_destroy(world);
}

Test(world, start_headings_are_those_given)
{
    const double at[2][3] = {{0.0, 0.0, NAN}, {10.0, 0.0, NAN}}, headings[2] = {30.0, -90.0};
    setup = small_setup_open(2, at);
    small_setup_permanent(&setup, 30.0, headings);
    nrw_world *world = small_world(&setup, true);
    cr_assert_float_eq(world->ux[0], cos(30.0 * NRW_DEGREE), 1e-15);
    cr_assert_float_eq(world->uy[0], 0.5, 1e-15);
    cr_assert_float_eq(world->uy[1], -1.0, 1e-15);
    nrw_world_destroy(world);
}

Test(world, padding_has_no_moment_and_stands_far_away)
{
    setup = small_setup_open(1, NULL);
    nrw_world *world = small_world(&setup, false);
    cr_assert_eq(world->padded % NRW_LANES, 0u);
    for (size_t i = world->n; i < world->padded; i++) {
        cr_assert_eq(world->moment[i], 0.0f);
        cr_assert_gt(world->fx0[i], 1e6f);
    }
    nrw_world_destroy(world);
}

Test(world, fewer_particles_than_the_scenario_s_are_made_on_request)
{
    setup = small_setup_open(1, NULL);
    setup.scenario->particles.count = 100;
    nrw_world *world;
    nrw_errors errors;
    cr_assert_eq(create(25, 1, &world, &errors), NRW_OK);
    cr_assert_eq(world->n, 25u);
    nrw_world_destroy(world);
}
