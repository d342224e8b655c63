/* What a run sees of a leg: largest over its frames, and nothing of the leg before. */
#include "leg_watch.h"

#include <criterion/criterion.h>
#include <math.h>

#include "small_setup.h"

static small_setup setup;
static nrw_world *world;
static nrw_leg_watch watch;

static void begin(void)
{
    const double at[2][3] = {{0, 0, 5}, {4, 0, 9}};
    setup = small_setup_open(2, at);
    world = small_world(&setup, false);
    nrw_leg_watch_begin(&watch, world);
}

static void end(void)
{
    nrw_world_destroy(world);
    small_setup_clear(&setup);
}

TestSuite(leg_watch, .init = begin, .fini = end);

/* A swarm with its middle at x, 10 by 5 µm, on the route from rear to front. */
static void frame(double time_s, double x_um, double rear_um, double front_um)
{
    const nrw_morphology seen = {
        .x_um = x_um, .major_um = 10, .minor_um = 5, .tail_um = rear_um, .front_um = front_um};
    world->time_s = time_s;
    nrw_leg_watch_frame(&watch, world, &seen);
}

Test(leg_watch, the_highest_particle_and_the_stretch_of_all_frames_are_kept)
{
    frame(0.0, 0.0, -5.0, 5.0);
    world->z[1] = 20.0;
    frame(0.1, 1.0, -4.0, 9.0);
    world->z[1] = 3.0;
    frame(0.2, 1.0, -3.0, 7.0);
    const nrw_leg_seen seen = nrw_leg_watch_end(&watch, world);
    cr_assert_float_eq(seen.highest_um, 20.0 + (double)world->radius[1], 1e-6);
    cr_assert_eq(seen.rear_um, -5.0);
    cr_assert_eq(seen.front_um, 9.0);
}

Test(leg_watch, particles_cover_their_share_of_the_ellipse)
{
    frame(0.0, 0.0, 0.0, 1.0);
    /* two of 3 µm, a diameter added to both axes: 2·9/(13·8) */
    cr_assert_float_eq(nrw_leg_watch_end(&watch, world).area_fraction, 18.0 / 104.0, 1e-9);
}

Test(leg_watch, speed_is_that_over_two_seconds)
{
    cr_assert(isnan(watch.seen.fastest_um_s));
    for (int k = 0; k <= 60; k++) {
        const double t = 0.1 * k;
        /* 3 µm/s for 2 s, then still; a jitter of 0.5 µm that comes back each frame */
        frame(t, 3.0 * fmin(t, 2.0) + (k % 2 ? 0.5 : 0.0), 0.0, 1.0);
    }
    cr_assert_float_eq(nrw_leg_watch_end(&watch, world).fastest_um_s, 3.0, 1e-9);
}

Test(leg_watch, a_leg_shorter_than_that_has_no_speed)
{
    frame(0.0, 0.0, 0.0, 1.0);
    frame(1.5, 9.0, 0.0, 1.0);
    cr_assert(isnan(nrw_leg_watch_end(&watch, world).fastest_um_s));
}

Test(leg_watch, the_next_leg_starts_anew_and_the_run_keeps_its_largest_overlap)
{
    world->largest_overlap = 0.08;
    frame(0.0, 0.0, -50.0, 90.0);
    world->z[1] = 30.0;
    frame(3.0, 60.0, -50.0, 90.0);
    cr_assert_eq(nrw_leg_watch_end(&watch, world).largest_overlap, 0.08);
    world->z[1] = 9.0;
    nrw_leg_watch_begin(&watch, world);
    world->largest_overlap = 0.02;
    frame(3.1, 60.0, 10.0, 20.0);
    const nrw_leg_seen seen = nrw_leg_watch_end(&watch, world);
    cr_assert_eq(seen.largest_overlap, 0.02);
    cr_assert_eq(world->largest_overlap, 0.08);
    cr_assert_eq(seen.rear_um, 10.0);
    cr_assert_lt(seen.highest_um, 12.0);
    cr_assert(isnan(seen.fastest_um_s));
}

Test(leg_watch, two_visits_are_one_by_the_larger_of_each)
{
    const nrw_leg_seen a = {1.0, 8.0, NAN, -5.0, 20.0, 0.01}, b = {NAN, 9.0, 0.3, -2.0, 30.0, 0.05};
    const nrw_leg_seen both = nrw_leg_seen_merge(a, b);
    cr_assert_eq(both.fastest_um_s, 1.0);
    cr_assert_eq(both.highest_um, 9.0);
    cr_assert_eq(both.area_fraction, 0.3);
    cr_assert_eq(both.rear_um, -5.0);
    cr_assert_eq(both.front_um, 30.0);
    cr_assert_eq(both.largest_overlap, 0.05);
}
