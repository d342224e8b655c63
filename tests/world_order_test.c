/* Large worlds are kept by place; nothing but memory may notice. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "run.h"
#include "small_setup.h"
#include "world_order.h"

enum { N = 1216, COLUMNS = 38, STRIDE = 453 }; /* no common factor with N */

static double start[N][3];

/* A jittered lattice whose neighbours have numbers far from each other. */
static small_setup lattice(void)
{
    for (size_t k = 0; k < N; k++) {
        const size_t i = k * STRIDE % N, row = k / COLUMNS, column = k % COLUMNS;
        start[i][0] = 3.3 * ((double)column + 0.5 * (double)(row % 2)) + 0.1 * sin(3.0 * (double)k);
        start[i][1] = 2.9 * (double)row + 0.1 * cos(5.0 * (double)k);
        start[i][2] = NAN;
    }
    small_setup setup = small_setup_open(N, (const double(*)[3])start);
    setup.scenario->model.pair_flow = true;
    return setup;
}

/* Stays in the order of the numbers. */
static void leave_in_order(nrw_world *world)
{
    world->by_place = true;
    world->next_order = UINT64_MAX;
}

static double apart_um(const nrw_world *world, size_t i, const double at[3])
{
    const double dx = world->x[i] - at[0], dy = world->y[i] - at[1], dz = world->z[i] - at[2];
    return sqrt(dx * dx + dy * dy + dz * dz);
}

static void places_by_number(const nrw_world *world, double at[N][3])
{
    for (size_t i = 0; i < N; i++) {
        double *to = at[world->ids[i]];
        to[0] = world->x[i];
        to[1] = world->y[i];
        to[2] = world->z[i];
    }
}

/* Mean distance of particles that are kept next to each other. */
static double spread_um(const nrw_world *world)
{
    double sum = 0.0;
    for (size_t i = 1; i < N; i++)
        sum += hypot(world->x[i] - world->x[i - 1], world->y[i] - world->y[i - 1]);
    return sum / (N - 1);
}

static void assert_numbers_are_a_permutation(const nrw_world *world)
{
    static bool seen[N];
    memset(seen, 0, sizeof seen);
    for (size_t i = 0; i < N; i++) {
        cr_assert_lt(world->ids[i], (uint32_t)N);
        cr_assert_not(seen[world->ids[i]]);
        seen[world->ids[i]] = true;
    }
}

Test(world_order, a_large_swarm_moves_the_same_however_it_is_kept)
{
    static double by_number[N][3];
    small_setup setup = lattice();
    nrw_world *plain = small_world(&setup, false), *world = small_world(&setup, false);
    const nrw_field field = small_rotating(10.0, 50.0, 30.0);
    const nrw_excitation excitation = small_excitation(world, &field);
    leave_in_order(plain);
    small_advance(plain, &excitation, 0.1, 0.02);
    small_advance(world, &excitation, 0.1, 0.02);
    places_by_number(plain, by_number);
    cr_assert_eq(plain->ids[5], 5);
    assert_numbers_are_a_permutation(world);
    cr_assert_gt(spread_um(plain), 20.0);
    cr_assert_lt(spread_um(world), 8.0);
    double largest = 0.0, moved = 0.0;
    for (size_t i = 0; i < N; i++) {
        largest = fmax(largest, apart_um(world, i, by_number[world->ids[i]]));
        moved = fmax(moved, hypot(world->x[i] - start[world->ids[i]][0],
                                  world->y[i] - start[world->ids[i]][1]));
    }
    cr_log_info("largest difference %.3g of %.3g um moved", largest, moved);
    cr_assert_gt(moved, 0.3);
    /* sums in another order: measured 2e-5 */
    cr_assert_leq(largest, 2e-4, "%.3g", largest);
    nrw_world_destroy(plain);
    nrw_world_destroy(world);
    small_setup_clear(&setup);
}

Test(world_order, sizes_and_moments_go_with_their_particles)
{
    small_setup setup = lattice();
    setup.scenario->particles.diameter_cv = 0.02;
    nrw_world *plain = small_world(&setup, false), *world = small_world(&setup, false);
    nrw_world_keep_by_place(world);
    for (size_t i = 0; i < N; i++) {
        const uint32_t id = world->ids[i];
        cr_assert_eq(world->radius[i], plain->radius[id]);
        cr_assert_eq(world->moment[i], plain->moment[id]);
        cr_assert_eq(world->inverse_drag[i], plain->inverse_drag[id]);
        cr_assert_eq(world->ceiling[i], plain->ceiling[id]);
        cr_assert_eq(world->ux[i], plain->ux[id]);
        cr_assert_eq(world->z[i], plain->z[id]);
        cr_assert_eq(world->seen_wall[i], plain->seen_wall[id]);
        cr_assert_eq(apart_um(world, i, (double[3]){start[id][0], start[id][1], plain->z[id]}),
                     0.0);
    }
    nrw_world_destroy(plain);
    nrw_world_destroy(world);
    small_setup_clear(&setup);
}

Test(world_order, a_step_is_taken_back_across_a_sorting)
{
    static double before[N][3];
    small_setup setup = lattice();
    setup.scenario->model.brownian = true;
    nrw_world *world = small_world(&setup, false);
    const nrw_field field = small_rotating(10.0, 50.0, 30.0);
    const nrw_excitation excitation = small_excitation(world, &field);
    leave_in_order(world);
    small_advance(world, &excitation, 0.04, 0.02);
    places_by_number(world, before);
    nrw_world_keep(world);
    world->by_place = false;
    small_advance(world, &excitation, 0.02, 0.02);
    cr_assert_lt(spread_um(world), 8.0);
    nrw_world_go_back(world);
    assert_numbers_are_a_permutation(world);
    for (size_t i = 0; i < N; i++)
        cr_assert_eq(apart_um(world, i, before[world->ids[i]]), 0.0);
    small_advance(world, &excitation, 0.02, 0.02);
    nrw_world_destroy(world);
    small_setup_clear(&setup);
}

Test(world_order, particles_that_are_exchanged_keep_what_is_theirs)
{
    small_setup setup = lattice();
    setup.scenario->particles.diameter_cv = 0.02;
    nrw_world *world = small_world(&setup, false);
    nrw_world_keep_by_place(world);
    const uint32_t first = world->ids[3], second = world->ids[1100];
    const float radius = world->radius[3];
    world->stuck[3] = 1;
    world->views[3].near = 7.0;
    nrw_world_swap(world, 3, 1100);
    nrw_world_swap(world, 8, 8);
    cr_assert_eq(world->ids[1100], first);
    cr_assert_eq(world->ids[3], second);
    cr_assert_eq(world->radius[1100], radius);
    cr_assert_eq(world->stuck[1100], 1);
    cr_assert_eq(world->stuck[3], 0);
    cr_assert_eq(world->views[1100].near, 7.0);
    cr_assert_eq(world->x[1100], start[first][0]);
    cr_assert_eq(world->y[3], start[second][1]);
    assert_numbers_are_a_permutation(world);
    /* fewer, as when some left through an outlet: those behind stay where they are */
    world->n -= 16;
    world->contacts.n = world->n;
    world->by_place = false;
    const double x = world->x[N - 1];
    const uint32_t id = world->ids[N - 1];
    nrw_world_keep_by_place(world);
    cr_assert_eq(world->x[N - 1], x);
    cr_assert_eq(world->ids[N - 1], id);
    assert_numbers_are_a_permutation(world);
    nrw_world_destroy(world);
    small_setup_clear(&setup);
}

Test(world_order, small_swarms_stay_in_the_order_of_their_numbers)
{
    small_setup setup = lattice();
    setup.scenario->particles.count = NRW_WORLD_BY_PLACE_LEAST - 1;
    nrw_world *world = small_world(&setup, false);
    nrw_world_keep_by_place(world);
    for (size_t i = 0; i < world->n; i++)
        cr_assert_eq(world->ids[i], i);
    nrw_world_destroy(world);
    small_setup_clear(&setup);
}

Test(world_order, frames_and_results_go_by_the_particles_numbers)
{
    small_setup setup = lattice();
    setup.scenario->model.brownian = true;
    setup.scenario->deadline_s = 0.2;
    nrw_leg leg = nrw_leg_defaults();
    leg.drive.main.field_mT = 10.0;
    leg.drive.main.frequency_Hz = 50.0;
    leg.timeout_s = 0.2;
    const nrw_schedule schedule = {.legs = &leg, .n_legs = 1};
    nrw_run_config config = nrw_run_config_defaults();
    config.record = true;
    config.trajectory_every_s = 0.1;
    nrw_run_result result;
    nrw_errors errors;
    memset(&result, 0, sizeof result);
    nrw_errors_init(&errors);
    cr_assert_eq(nrw_run(setup.scenario, setup.channel, &schedule, &config, &result, &errors),
                 NRW_OK);
    cr_assert_geq(result.n_stored, 2);
    /* in a fifth of a second nobody comes as far as the next site but one */
    for (size_t k = 0; k < result.n_stored; k++)
        for (size_t i = 0; i < N; i++) {
            const float *at = result.trajectory_um + 3 * (k * N + i);
            cr_assert_lt(hypot((double)at[0] - start[i][0], (double)at[1] - start[i][1]), 4.0);
        }
    for (size_t i = 0; i < N; i++)
        cr_assert_lt(hypot(result.x_um[i] - start[i][0], result.y_um[i] - start[i][1]), 4.0);
    nrw_run_result_clear(&result);
    nrw_errors_clear(&errors);
    small_setup_clear(&setup);
}
