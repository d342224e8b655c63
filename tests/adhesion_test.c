#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "adhesion.h"
#include "run.h"
#include "small_setup.h"

/* Sticking to side walls: docs/physics.md, equation 6.13. */

enum { MANY = 300 };

static small_setup setup;

static void end(void)
{
    small_setup_clear(&setup);
}

TestSuite(adhesion, .fini = end);

/* A straight channel of 40 µm along x with particles at at_um (n x 2), still. */
static void channel_with(size_t n, const double (*at_um)[2], double rate_per_s, double release_pN)
{
    char yaml[900];
    (void)snprintf(yaml, sizeof yaml,
                   "format: narrows-scenario/1\n"
                   "title: particles at a wall\n"
                   "fluid: {medium: water, temperature_C: 25}\n"
                   "particles:\n"
                   "  count: 1\n"
                   "  diameter_um: 3.0\n"
                   "  density_kg_m3: 1800\n"
                   "  magnetics: {kind: induced, susceptibility: 0.30,\n"
                   "              relaxation_time_s: 1.03e-5}\n"
                   "  adhesion: {rate_per_s: %g, release_pN: %g}\n"
                   "channel:\n"
                   "  depth_um: 60\n"
                   "  nodes: {west: {at_um: [-20, 0]}, east: {at_um: [3100, 0]}}\n"
                   "  vessels: [{from: west, to: east, width_um: 40}]\n"
                   "release: {at_um: [1000, 0], radius_um: 4}\n"
                   "target: {at_um: [2000, 0], radius_um: 4}\n"
                   "deadline_s: 100\n"
                   "model: {brownian: false, pair_flow: false}\n",
                   rate_per_s, release_pN);
    setup = small_setup_of(yaml);
    nrw_particles *particles = &setup.scenario->particles;
    particles->count = n;
    particles->positions_um = malloc(n * sizeof *particles->positions_um);
    cr_assert_not_null(particles->positions_um);
    for (size_t i = 0; i < n; i++) {
        particles->positions_um[i][0] = at_um[i][0];
        particles->positions_um[i][1] = at_um[i][1];
        particles->positions_um[i][2] = NAN;
    }
}

/* MANY in a row, `gap` µm from the wall and 10 µm from each other. */
static void row_at_wall(double gap, double rate_per_s)
{
    static double at[MANY][2];
    for (size_t i = 0; i < MANY; i++) {
        at[i][0] = 10.0 * (double)i;
        at[i][1] = 20.0 - 1.5 - gap;
    }
    channel_with(MANY, (const double(*)[2])at, rate_per_s, 0.5);
}

static double share_stuck(const nrw_world *world)
{
    size_t n = 0;
    for (size_t i = 0; i < world->n; i++)
        n += world->stuck[i];
    return (double)n / (double)world->n;
}

static nrw_excitation no_field(const nrw_world *world)
{
    const nrw_field none = {{0.0, 0.0, 0.0}, {0.0, 0.0, 0.0}, {0.0, 0.0, 0.0}, 0.0};
    return small_excitation(world, &none);
}

Test(adhesion, free_ones_at_a_wall_decay_exponentially_whatever_the_steps)
{
    static const double steps_s[] = {0.02, 0.1};
    for (int k = 0; k < 2; k++) {
        row_at_wall(0.05, 0.5);
        nrw_world *world = small_world(&setup, false);
        const nrw_excitation excitation = no_field(world);
        for (int second = 1; second <= 4; second++) {
            small_advance(world, &excitation, 1.0, steps_s[k]);
            const double expected = 1.0 - exp(-0.5 * second);
            /* three standard deviations of a binomial share of 300 */
            const double spread = 3.0 * sqrt(expected * (1.0 - expected) / MANY);
            cr_assert_float_eq(share_stuck(world), expected, spread, "%g after %d s",
                               share_stuck(world), second);
        }
        nrw_world_destroy(world);
        small_setup_clear(&setup);
    }
    row_at_wall(0.05, 0.0);
}

Test(adhesion, only_those_at_a_wall_stick_and_only_with_a_rate)
{
    row_at_wall(0.5, 100.0);
    nrw_world *world = small_world(&setup, false);
    const nrw_excitation excitation = no_field(world);
    small_advance(world, &excitation, 1.0, 0.02);
    cr_assert_eq(share_stuck(world), 0.0);
    nrw_world_destroy(world);
    small_setup_clear(&setup);
    row_at_wall(0.05, 0.0);
    world = small_world(&setup, false);
    small_advance(world, &excitation, 1.0, 0.02);
    cr_assert_eq(share_stuck(world), 0.0);
    nrw_world_destroy(world);
}

/* Two in line along the wall in a steady field along it pull each other with
 * 0.6 m²/r⁴ (docs/physics.md, equation 4.1, pN, fA·m², µm). */
static double pull_of(const nrw_excitation *excitation, double r)
{
    return 0.6 * excitation->size2 / pow(r, 4.0);
}

/* Distance that the stuck first of two moves in half a second, with a release force of
 * `share` of the pull on it. */
static double moves_with_release(double share)
{
    static const double at[2][2] = {{0.0, 18.45}, {6.0, 18.45}};
    channel_with(2, at, 1e-9, 0.5);
    nrw_world *world = small_world(&setup, false);
    const nrw_field field = {{10.0, 0.0, 0.0}, {0.0, 0.0, 0.0}, {0.0, 0.0, 0.0}, 0.0};
    const nrw_excitation excitation = small_excitation(world, &field);
    world->stuck[0] = world->stuck[1] = 1;
    setup.scenario->particles.adhesion_release_pN = share * pull_of(&excitation, 6.0);
    small_advance(world, &excitation, 0.5, 0.005);
    const double moved = world->x[0];
    nrw_world_destroy(world);
    small_setup_clear(&setup);
    return moved;
}

Test(adhesion, a_stuck_particle_is_torn_off_at_the_release_force)
{
    /* kernels sum in single precision */
    cr_assert_leq(fabs(moves_with_release(1.001)), 1e-4);
    cr_assert_gt(moves_with_release(0.999), 0.5);
    row_at_wall(0.05, 0.0);
}

Test(adhesion, what_presses_against_the_wall_does_not_tear_off)
{
    /* the second hangs off the wall, the pair's line across it: the wall's own one is
     * pulled straight away from it, or with a field along it pushed against it */
    static const double at[2][2] = {{0.0, 18.45}, {0.0, 13.0}};
    for (int k = 0; k < 2; k++) {
        channel_with(2, at, 1e-9, 1e-3);
        nrw_world *world = small_world(&setup, false);
        const nrw_field field = {
            {k == 0 ? 0.0 : 10.0, k == 0 ? 10.0 : 0.0, 0.0}, {0.0, 0.0, 0.0}, {0.0, 0.0, 0.0}, 0.0};
        const nrw_excitation excitation = small_excitation(world, &field);
        world->stuck[0] = 1;
        small_advance(world, &excitation, 0.02, 0.005);
        cr_assert_eq(world->stuck[0], k == 0 ? 0 : 1);
        nrw_world_destroy(world);
        small_setup_clear(&setup);
    }
    row_at_wall(0.05, 0.0);
}

Test(adhesion, a_stuck_particle_neither_moves_nor_turns)
{
    static const double at[2][2] = {{0.0, 18.45}, {30.0, 0.0}};
    channel_with(2, at, 1e-9, 1e3);
    setup.scenario->model.brownian = true;
    nrw_world *world = small_world(&setup, false);
    const nrw_field field = small_rotating(10.0, 50.0, 30.0);
    const nrw_excitation excitation = small_excitation(world, &field);
    world->stuck[0] = 1;
    const double z = world->z[0];
    small_advance(world, &excitation, 2.0, 0.016);
    const size_t row = world->contacts.row_of[0], other = world->contacts.row_of[1];
    cr_assert_eq(world->spin_z[row], 0.0f);
    cr_assert_gt(world->spin_z[other], 1.0f);
    /* a millionth of a mobility: noise of 1e-3 of a free one's */
    cr_assert_lt(hypot(world->x[0], world->y[0] - 18.45), 2e-3);
    cr_assert_float_eq(world->z[0], z, 2e-3);
    cr_assert_gt(fabs(world->x[1] - 30.0), 0.1);
    nrw_world_destroy(world);
}

Test(adhesion, a_run_tells_who_stuck_and_where_the_same_each_time)
{
    nrw_leg leg = nrw_leg_defaults();
    leg.drive.main.mode = NRW_DRIVE_OFF;
    leg.timeout_s = 2.0;
    nrw_schedule schedule = {.legs = &leg, .n_legs = 1};
    const nrw_run_config config = nrw_run_config_defaults();
    nrw_run_result results[2];
    nrw_errors errors;
    nrw_errors_init(&errors);
    row_at_wall(0.05, 0.5);
    for (int k = 0; k < 2; k++)
        cr_assert_eq(
            nrw_run(setup.scenario, setup.channel, &schedule, &config, &results[k], &errors),
            NRW_OK);
    const double wall = results[0].fate_fraction[NRW_FATE_WALL];
    cr_assert_float_eq(wall, 1.0 - exp(-1.0), 0.09); /* three standard deviations */
    bool told = false;
    for (size_t k = 0; k < results[0].n_losses; k++) {
        const nrw_loss_place *loss = &results[0].losses[k];
        if (loss->cause != NRW_LOSS_STUCK)
            continue;
        told = true;
        cr_assert_float_eq(loss->fraction, wall, 1e-12);
        cr_assert_str_eq(loss->place, "west to east");
        cr_assert_float_eq(loss->at_um[1], 18.45, 0.05);
    }
    cr_assert(told);
    for (size_t i = 0; i < MANY; i++)
        cr_assert_eq(results[0].fates[i], results[1].fates[i]);
    for (int k = 0; k < 2; k++)
        nrw_run_result_clear(&results[k]);
    nrw_errors_clear(&errors);
}
