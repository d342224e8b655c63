#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "brake.h"
#include "mobility.h"
#include "small_setup.h"
#include "wall_drag.h"

/* Particles dragged along side walls: docs/physics.md, equation 5.16. */

static small_setup setup;

static void end(void)
{
    small_setup_clear(&setup);
}

TestSuite(wall_drag, .fini = end);

/* A straight channel along x with n particles at at_um. */
static void channel_with(double width_um, size_t n, const double (*at_um)[3])
{
    char yaml[900];
    (void)snprintf(yaml, sizeof yaml,
                   "format: narrows-scenario/1\n"
                   "title: particles beside a wall\n"
                   "fluid: {medium: water, temperature_C: 25}\n"
                   "particles:\n"
                   "  count: 1\n"
                   "  diameter_um: 3.0\n"
                   "  density_kg_m3: 1800\n"
                   "  magnetics: {kind: induced, susceptibility: 0.30,\n"
                   "              relaxation_time_s: 1.03e-5}\n"
                   "channel:\n"
                   "  depth_um: 1200\n"
                   "  nodes: {west: {at_um: [-300, 0]}, east: {at_um: [12000, 0]}}\n"
                   "  vessels: [{from: west, to: east, width_um: %g}]\n"
                   "release: {at_um: [0, 0], radius_um: 3}\n"
                   "target: {at_um: [2000, 0], radius_um: 3}\n"
                   "deadline_s: 100\n"
                   "model: {brownian: false, pair_flow: false, wall_drag: true}\n",
                   width_um);
    setup = small_setup_of(yaml);
    nrw_particles *particles = &setup.scenario->particles;
    particles->count = n;
    particles->positions_um = malloc(n * sizeof *particles->positions_um);
    cr_assert_not_null(particles->positions_um);
    memcpy(particles->positions_um, at_um, n * sizeof *at_um);
}

static nrw_excitation no_field(const nrw_world *world)
{
    const nrw_field none = {{0.0, 0.0, 0.0}, {0.0, 0.0, 0.0}, {0.0, 0.0, 0.0}, 0.0};
    return small_excitation(world, &none);
}

/* Speed at which a particle sinks along a wall `gap` µm away, 600 µm above the floor. */
static double sinking_um_s(double width_um, double gap, bool drag)
{
    const double at[1][3] = {{0.0, 0.5 * width_um - 1.5 - gap, 600.0}};
    channel_with(width_um, 1, at);
    setup.scenario->model.wall_drag = drag;
    nrw_world *world = small_world(&setup, false);
    const nrw_excitation excitation = no_field(world);
    small_advance(world, &excitation, 0.5, 0.016);
    const double speed = (600.0 - world->z[0]) / 0.5;
    nrw_world_destroy(world);
    small_setup_clear(&setup);
    return speed;
}

/* Its own weight over Stokes' drag. */
static double free_sinking_um_s(void)
{
    const double at[1][3] = {{0.0, 0.0, 600.0}};
    channel_with(400.0, 1, at);
    nrw_world *world = small_world(&setup, false);
    const double speed = world->body.weight_pN / world->body.drag_pN_s_um;
    nrw_world_destroy(world);
    small_setup_clear(&setup);
    return speed;
}

Test(wall_drag, a_particle_dragged_along_a_wall_goes_as_the_exact_theory_has_it)
{
    /* exact mobility of a torque-free sphere along a plane wall (Dean & O'Neill 1963); the
     * floor and the wall across, 400 radii away, take another 0.5 % */
    const double free = free_sinking_um_s();
    static const double gaps[] = {0.15, 0.3, 0.75, 1.5, 6.0};
    for (size_t k = 0; k < sizeof gaps / sizeof *gaps; k++) {
        const double exact = nrw_floor_mobility_exact(gaps[k] / 1.5).mt * free;
        cr_assert_float_eq(sinking_um_s(600.0, gaps[k], true), exact, 0.01 * exact,
                           "at %g: %g against %g", gaps[k], sinking_um_s(600.0, gaps[k], true),
                           exact);
        cr_assert_float_eq(sinking_um_s(600.0, gaps[k], false), free, 0.005 * free);
    }
    setup = small_setup_open(1, NULL);
}

Test(wall_drag, midway_between_two_walls_both_are_felt)
{
    /* Faxén 1922 (Happel & Brenner 1983, equation 7-4.28), x = a over half the width; added
     * up, the two walls' drags are too large by up to a tenth of what they add */
    const double free = free_sinking_um_s();
    for (double width = 15.0; width < 61.0; width *= 2.0) {
        const double x = 3.0 / width;
        const double faxen = 1.0 - 1.004 * x + 0.418 * pow(x, 3.0) + 0.21 * pow(x, 4.0);
        const double share = sinking_um_s(width, 0.5 * width - 1.5, true) / free;
        cr_assert_lt(share, faxen + 0.006);
        cr_assert_float_eq(1.0 / share - 1.0, 1.0 / faxen - 1.0, 0.15 * (1.0 / faxen - 1.0),
                           "%g wide: %g against %g", width, share, faxen);
    }
    setup = small_setup_open(1, NULL);
}

Test(wall_drag, at_the_wall_the_gap_is_what_the_field_leaves)
{
    const double at[1][3] = {{0.0, 0.0, 600.0}};
    channel_with(400.0, 1, at);
    nrw_world *world = small_world(&setup, false);
    const nrw_field field = small_rotating(10.0, 50.0, 0.0);
    const nrw_excitation excitation = small_excitation(world, &field);
    const double touch = nrw_brake_touch_um(world, excitation.size2);
    cr_assert(touch > 0.03 && touch < 0.1, "%g", touch);
    cr_assert_float_eq(nrw_brake_touch_um(world, 0.0), 0.105, 1e-9);
    nrw_world_destroy(world);
    /* three times the drag there (Goldman, Cox & Brenner 1967: 8/15 ln + 0.9588) */
    cr_assert_float_eq(1.0 + nrw_wall_drag(touch / 1.5), 8.0 / 15.0 * log(1.5 / touch) + 0.9588,
                       0.1);
}

Test(wall_drag, thermal_motion_does_not_gather_particles_at_walls)
{
    /* Slower motion near a wall alone would do so, by half; the drift of (6.1) undoes it. A
     * thousand that don't meet start evenly spread over 9 µm and stay so. */
    enum { N = 1000 };
    static double at[N][3];
    for (size_t i = 0; i < N; i++) {
        at[i][0] = 10.0 * (double)i;
        at[i][1] = 9.0 * (((double)i * 0.6180339887) - floor((double)i * 0.6180339887) - 0.5);
        at[i][2] = 30.0;
    }
    channel_with(12.0, N, (const double(*)[3])at);
    setup.scenario->model.brownian = true;
    setup.scenario->model.gravity = false;
    nrw_world *world = small_world(&setup, false);
    const nrw_excitation excitation = no_field(world);
    double sum = 0.0;
    for (int look = 0; look < 4; look++) {
        small_advance(world, &excitation, look == 0 ? 15.0 : 5.0, 0.016);
        size_t beside = 0;
        for (size_t i = 0; i < world->n; i++)
            beside += fabs(world->y[i]) > 4.5 - 0.75;
        sum += (double)beside / N;
    }
    /* three standard deviations of one look at a binomial share */
    cr_assert_float_eq(sum / 4.0, 1.0 / 6.0, 0.035, "%g", sum / 4.0);
    nrw_world_destroy(world);
}
