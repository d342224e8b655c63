#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "channel.h"
#include "channel_setup.h"
#include "units.h"

/* Walls are exact up to the chords of arcs (0.01 um between chord and arc); where
 * no arc is near, up to rounding of coordinates of some 1000 um. */
#define CHORD_UM 0.01
#define ROUNDING_UM 1e-9

/* Each wall's end is the start of one other wall. */
static void assert_closed(const channel_setup *setup)
{
    size_t n;
    const nrw_wall_segment *walls = nrw_channel_outline(setup->channel, &n);
    cr_assert(n >= 3);
    for (size_t i = 0; i < n; i++) {
        size_t followers = 0;
        for (size_t j = 0; j < n; j++)
            followers += hypot(walls[i].b_um[0] - walls[j].a_um[0],
                               walls[i].b_um[1] - walls[j].a_um[1]) < ROUNDING_UM;
        cr_assert_eq(followers, 1, "wall ending at (%g, %g) has %zu followers", walls[i].b_um[0],
                     walls[i].b_um[1], followers);
    }
}

/* --- shapes of walls ---------------------------------------------------------- */

Test(channel, straight_walls_lie_half_the_width_from_the_centreline)
{
    channel_setup setup = channel_setup_good(CHANNEL_STRAIGHT);
    cr_expect_float_eq(channel_setup_exact_um(&setup, 150, 0), 40.0, ROUNDING_UM);
    cr_expect_float_eq(channel_setup_exact_um(&setup, 150, 35), 5.0, ROUNDING_UM);
    cr_expect_float_eq(channel_setup_exact_um(&setup, 150, -41.5), -1.5, ROUNDING_UM);
    cr_expect_float_eq(channel_setup_area_um2(&setup), 300.0 * 80.0, 1e-6);
    assert_closed(&setup);
    channel_setup_clear(&setup);
}

Test(channel, free_ends_are_closed_by_a_straight_cap_through_the_node)
{
    channel_setup setup = channel_setup_good(CHANNEL_STRAIGHT);
    cr_expect_float_eq(channel_setup_exact_um(&setup, 5, 0), 5.0, ROUNDING_UM);
    cr_expect_float_eq(channel_setup_exact_um(&setup, -3, 10), -3.0, ROUNDING_UM);
    cr_expect_float_eq(channel_setup_exact_um(&setup, 299, 38), 1.0, ROUNDING_UM);
    /* Beyond a corner of the cap: distance to the corner. */
    cr_expect_float_eq(channel_setup_exact_um(&setup, 303, 44), -5.0, ROUNDING_UM);
    channel_setup_clear(&setup);
}

Test(channel, inlets_and_outlets_go_on_past_their_node)
{
    channel_setup closed = channel_setup_good(CHANNEL_STRAIGHT);
    closed.scenario->map.nodes[1].is_outlet = true;
    nrw_channel *channel;
    cr_assert_eq(nrw_channel_create(closed.scenario, &channel, NULL), NRW_OK);
    cr_expect_float_eq(nrw_channel_distance_exact_um(channel, 300, 0), 40.0, ROUNDING_UM);
    cr_expect_float_eq(nrw_channel_distance_exact_um(channel, 330, 35), 5.0, ROUNDING_UM);
    cr_expect_float_eq(nrw_channel_distance_exact_um(channel, 5, 0), 5.0, ROUNDING_UM);
    nrw_channel_destroy(channel);
    channel_setup_clear(&closed);
}

Test(channel, taper_has_straight_slanted_walls_not_those_of_a_union_of_discs)
{
    channel_setup setup =
        channel_setup_good("channel:\n"
                           "  depth_um: 60\n"
                           "  nodes: {a: {at_um: [0, 0]}, b: {at_um: [200, 0]}}\n"
                           "  vessels: [{from: a, to: b, width_um: [[0, 100], [1, 20]]}]\n"
                           "release: {at_um: [50, 0], radius_um: 20}\n"
                           "target: {at_um: [190, 0], radius_um: 5}\n");
    for (double x = 60; x < 190; x += 13) {
        double half = 50.0 - 40.0 * x / 200.0;
        /* The wall is where the half width says, at every x ... */
        cr_expect_float_eq(channel_setup_exact_um(&setup, x, half), 0.0, ROUNDING_UM);
        /* ... and the distance from the centreline is measured square to it. */
        double slope = atan(40.0 / 200.0);
        cr_expect_float_eq(channel_setup_exact_um(&setup, x, 0), fmin(half * cos(slope), 200.0 - x),
                           ROUNDING_UM);
    }
    cr_expect_float_eq(channel_setup_area_um2(&setup), 200.0 * 60.0, 1e-6);
    assert_closed(&setup);
    channel_setup_clear(&setup);
}

Test(channel, bend_is_round_outside_and_sharp_inside)
{
    channel_setup setup =
        channel_setup_good("channel:\n"
                           "  depth_um: 60\n"
                           "  nodes: {a: {at_um: [0, 0]}, b: {at_um: [200, 200]}}\n"
                           "  vessels: [{from: a, to: b, via_um: [[200, 0]], width_um: 40}]\n"
                           "release: {at_um: [50, 0], radius_um: 15}\n"
                           "target: {at_um: [200, 150], radius_um: 15}\n");
    double diagonal = 20.0 * sqrt(0.5);
    cr_expect_float_eq(channel_setup_exact_um(&setup, 200 + diagonal, -diagonal), 0.0, CHORD_UM);
    cr_expect_float_eq(channel_setup_exact_um(&setup, 200 + 25 * sqrt(0.5), -25 * sqrt(0.5)), -5.0,
                       CHORD_UM);
    cr_expect_float_eq(channel_setup_exact_um(&setup, 200, 0), 20.0, CHORD_UM);
    /* The inner corner stands at (180, 20). */
    cr_expect_float_eq(channel_setup_exact_um(&setup, 183, 16), 5.0, ROUNDING_UM);
    cr_expect_float_eq(channel_setup_exact_um(&setup, 179, 30), -1.0, ROUNDING_UM);
    /* Two pieces of 200 x 40 have a corner of 20 x 20 in common and gain a quarter
     * of a disc; chords may take away up to their sagitta along the arc. */
    double area = 2 * 200.0 * 40.0 - 20.0 * 20.0 + 0.25 * NRW_PI * 400.0;
    cr_expect(channel_setup_area_um2(&setup) <= area &&
              channel_setup_area_um2(&setup) > area - CHORD_UM * 32.0);
    assert_closed(&setup);
    channel_setup_clear(&setup);
}

Test(channel, bend_in_a_taper_keeps_the_walls_of_the_taper_straight)
{
    /* From the bend on the width falls from 100 to 20 within 60 um: a whole disc of
     * radius 50 would reach over the walls of that taper. */
    channel_setup setup = channel_setup_good(
        "channel:\n"
        "  depth_um: 60\n"
        "  nodes: {a: {at_um: [-200, 0]}, b: {at_um: [0, 0]}, c: {at_um: [300, 30]}}\n"
        "  vessels:\n"
        "    - {from: a, to: b, width_um: 100}\n"
        "    - {from: b, to: c, width_um: [[0, 100], [0.2, 20]]}\n"
        "release: {at_um: [-100, 0], radius_um: 40}\n"
        "target: {at_um: [200, 20], radius_um: 5}\n");
    double length = hypot(300, 30), along[2] = {300 / length, 30 / length};
    for (double t = 6; t < 55; t += 7) {
        double half = 50.0 - 40.0 * t / (0.2 * length);
        double wall[2] = {t * along[0] + half * along[1], t * along[1] - half * along[0]};
        cr_expect_float_eq(channel_setup_exact_um(&setup, wall[0], wall[1]), 0.0, ROUNDING_UM);
    }
    /* The gap at the outer side of the turn is filled to the disc's radius. */
    cr_expect_float_eq(channel_setup_exact_um(&setup, 50 * sin(0.05), -50 * cos(0.05)), 0.0,
                       CHORD_UM);
    assert_closed(&setup);
    channel_setup_clear(&setup);
}

Test(channel, node_in_line_between_equal_widths_changes_nothing)
{
    channel_setup one = channel_setup_good(
        "channel: {depth_um: 60, nodes: {a: {at_um: [0, 0]}, b: {at_um: [300, 60]}},\n"
        "  vessels: [{from: a, to: b, width_um: [[0.2, 90], [0.4, 20]]}]}\n"
        "release: {at_um: [30, 6], radius_um: 20}\n"
        "target: {at_um: [250, 50], radius_um: 8}\n");
    channel_setup two = channel_setup_good(
        "channel: {depth_um: 60, nodes: {a: {at_um: [0, 0]}, m: {at_um: [60, 12]},\n"
        "                                b: {at_um: [300, 60]}},\n"
        "  vessels: [{from: a, to: m, width_um: 90},\n"
        "            {from: m, to: b, width_um: [[0, 90], [0.25, 20]]}]}\n"
        "release: {at_um: [30, 6], radius_um: 20}\n"
        "target: {at_um: [250, 50], radius_um: 8}\n");
    for (uint32_t i = 0; i < 300; i++) {
        double x = channel_setup_uniform(i, 0, -20, 320), y = channel_setup_uniform(i, 1, -60, 120);
        cr_assert_float_eq(channel_setup_exact_um(&one, x, y), channel_setup_exact_um(&two, x, y),
                           ROUNDING_UM);
    }
    channel_setup_clear(&one);
    channel_setup_clear(&two);
}

Test(channel, fork_has_the_disc_of_its_largest_width)
{
    channel_setup setup = channel_setup_good(CHANNEL_FORK);
    /* Between the branches the disc of radius 40 stands out; beyond it the wall
     * between them begins. */
    cr_expect_float_eq(channel_setup_exact_um(&setup, 39, 0), 1.0, CHORD_UM);
    cr_expect_float_eq(channel_setup_exact_um(&setup, 45, 0), -5.0, CHORD_UM);
    /* Far from the fork a branch has its own width, across its own direction. */
    double root = sqrt(0.5);
    cr_expect_float_eq(channel_setup_exact_um(&setup, 100 - 15 * root, 100 + 15 * root), 0.0,
                       ROUNDING_UM);
    cr_expect_float_eq(channel_setup_exact_um(&setup, 100 + 12 * root, -100 + 12 * root), 0.0,
                       ROUNDING_UM);
    assert_closed(&setup);
    channel_setup_clear(&setup);
}

Test(channel, step_of_the_width_inside_a_vessel_is_a_straight_shoulder)
{
    channel_setup setup =
        channel_setup_good("channel:\n"
                           "  depth_um: 60\n"
                           "  nodes: {a: {at_um: [0, 0]}, b: {at_um: [400, 0]}}\n"
                           "  vessels:\n"
                           "    - {from: a, to: b, width_um: [[0, 120], [0.5, 120], [0.5, 14]]}\n"
                           "release: {at_um: [100, 0], radius_um: 34}\n"
                           "target: {at_um: [380, 0], radius_um: 6}\n");
    cr_expect_float_eq(channel_setup_exact_um(&setup, 195, 30), 5.0, ROUNDING_UM);
    cr_expect_float_eq(channel_setup_exact_um(&setup, 203, 30), -3.0, ROUNDING_UM);
    cr_expect_float_eq(channel_setup_exact_um(&setup, 210, 0), 7.0, ROUNDING_UM);
    /* Before the mouth the nearest wall is one of its corners. */
    cr_expect_float_eq(channel_setup_exact_um(&setup, 176, 0), 25.0, ROUNDING_UM);
    cr_expect_float_eq(channel_setup_area_um2(&setup), 200.0 * 120.0 + 200.0 * 14.0, 1e-6);
    assert_closed(&setup);
    channel_setup_clear(&setup);
}

Test(channel, step_of_the_width_at_a_node_is_rounded_by_the_disc_of_the_wider)
{
    channel_setup setup = channel_setup_good(
        "channel:\n"
        "  depth_um: 60\n"
        "  nodes: {a: {at_um: [0, 0]}, mouth: {at_um: [200, 0]}, b: {at_um: [400, 0]}}\n"
        "  vessels:\n"
        "    - {from: a, to: mouth, width_um: 120}\n"
        "    - {from: mouth, to: b, width_um: 14}\n"
        "release: {at_um: [100, 0], radius_um: 34}\n"
        "target: {at_um: [380, 0], radius_um: 6}\n");
    cr_expect_float_eq(channel_setup_exact_um(&setup, 200 + 59 * cos(1.0), 59 * sin(1.0)), 1.0,
                       CHORD_UM);
    cr_expect_float_eq(channel_setup_exact_um(&setup, 200 + 62 * cos(1.0), 62 * sin(1.0)), -2.0,
                       CHORD_UM);
    cr_expect_float_eq(channel_setup_exact_um(&setup, 300, 0), 7.0, ROUNDING_UM);
    assert_closed(&setup);
    channel_setup_clear(&setup);
}

Test(channel, loop_of_vessels_leaves_an_island_of_wall)
{
    channel_setup setup = channel_setup_good(
        "channel:\n"
        "  depth_um: 60\n"
        "  nodes: {a: {at_um: [0, 0]}, b: {at_um: [200, 0]}, c: {at_um: [200, 200]},\n"
        "          d: {at_um: [0, 200]}}\n"
        "  vessels:\n"
        "    - {from: a, to: b, width_um: 40}\n"
        "    - {from: b, to: c, width_um: 40}\n"
        "    - {from: c, to: d, width_um: 40}\n"
        "    - {from: d, to: a, width_um: 40}\n"
        "release: {node: a, radius_um: 20}\n"
        "target: {node: c, radius_um: 20}\n");
    cr_expect_float_eq(channel_setup_exact_um(&setup, 100, 100), -80.0, ROUNDING_UM);
    cr_expect_float_eq(channel_setup_exact_um(&setup, 100, 15), 5.0, ROUNDING_UM);
    double area = 240.0 * 240.0 - 160.0 * 160.0 - (4.0 - NRW_PI) * 400.0;
    cr_expect_float_eq(channel_setup_area_um2(&setup), area, 4 * CHORD_UM * 32.0);
    assert_closed(&setup);
    channel_setup_clear(&setup);
}

Test(channel, outline_of_the_example_is_one_closed_loop)
{
    channel_setup setup = channel_setup_good(CHANNEL_EXAMPLE);
    assert_closed(&setup);
    double bounds[4];
    nrw_channel_bounds(setup.channel, bounds);
    cr_expect_float_eq(bounds[0], -200.0, ROUNDING_UM);
    cr_expect_float_eq(bounds[2], 1100.0, ROUNDING_UM);
    cr_expect_float_eq(bounds[1], -110.0, ROUNDING_UM);
    /* Highest where the second taper, which slopes down by 1 in 20, ends. */
    double slope = hypot(400, 20), length = hypot(100, 20) + slope;
    double down = 0.8 * length - hypot(100, 20);
    double top = 20.0 - down * 20.0 / slope + 110.0 * 400.0 / slope;
    cr_expect_float_eq(bounds[3], top, ROUNDING_UM);
    channel_setup_clear(&setup);
}

/* --- large and odd maps --------------------------------------------------------------- */

Test(channel, centimetre_map_stays_within_the_memory_limit)
{
    char body[8000];
    size_t used = (size_t)snprintf(body, sizeof body, "channel:\n  depth_um: 60\n  nodes:\n");
    for (int i = 0; i <= 10; i++)
        used += (size_t)snprintf(body + used, sizeof body - used, "    n%d: {at_um: [%d, %d]}\n", i,
                                 i % 2 ? 10000 : 0, 1000 * i);
    used += (size_t)snprintf(body + used, sizeof body - used, "  vessels:\n");
    for (int i = 0; i < 10; i++)
        used += (size_t)snprintf(body + used, sizeof body - used,
                                 "    - {from: n%d, to: n%d, width_um: [[0.4, 160], [0.5, 16],\n"
                                 "       [0.6, 160]]}\n",
                                 i, i + 1);
    snprintf(body + used, sizeof body - used,
             "release: {at_um: [1000, 100], radius_um: 34}\n"
             "target: {node: n10, radius_um: 60}\n");
    channel_setup setup = channel_setup_good(body);
    const nrw_channel_report *report = nrw_channel_get_report(setup.channel);
    cr_expect(report->memory_bytes <= (size_t)64 << 20);
    cr_expect(report->grid_um > 0.375, "made coarser to fit");
    /* Still a small part of a particle next to walls. */
    cr_expect(report->distance_error_um < 0.1 * 3.0, "%g", report->distance_error_um);
    size_t n;
    nrw_channel_throats(setup.channel, &n);
    cr_expect_eq(n, 10);
    double at[2];
    cr_expect_float_eq(nrw_channel_widest_path_um(setup.channel, at), 16.0, 0.02);
    channel_setup_clear(&setup);
}

Test(channel, open_map_has_no_walls_and_a_straight_route)
{
    channel_setup setup = channel_setup_good("channel: {open: true, nodes: {a: {at_um: [0, 0]},\n"
                                             "   b: {at_um: [30, 40]}, half: {at_um: [15, 20]},\n"
                                             "   aside: {at_um: [0, 50]}}}\n"
                                             "release: {node: a, radius_um: 5}\n"
                                             "target: {node: b, radius_um: 5}\n");
    double at[2], direction[2], gradient[2] = {1, 1};
    size_t n;
    cr_expect(nrw_channel_is_open(setup.channel));
    cr_expect(isinf(nrw_channel_distance_um(setup.channel, 3, 4, gradient)));
    cr_expect(gradient[0] == 0.0 && gradient[1] == 0.0);
    cr_expect(isinf(nrw_channel_distance_exact_um(setup.channel, 3, 4)));
    cr_expect(isinf(nrw_channel_route_width_um(setup.channel, 10)));
    cr_expect(isinf(nrw_channel_narrowest_um(setup.channel, at)));
    cr_expect(isinf(nrw_channel_widest_path_um(setup.channel, at)));
    cr_expect_eq(nrw_channel_vessel_at(setup.channel, 1, 1), -1);
    nrw_channel_throats(setup.channel, &n);
    cr_expect_eq(n, 0);
    nrw_channel_outline(setup.channel, &n);
    cr_expect_eq(n, 0);
    cr_expect_float_eq(nrw_channel_route_length_um(setup.channel), 50.0, ROUNDING_UM);
    nrw_channel_route_point(setup.channel, 25, at, direction);
    cr_expect_float_eq(at[0], 15.0, ROUNDING_UM);
    cr_expect_float_eq(direction[1], 0.8, ROUNDING_UM);
    cr_expect(nrw_channel_route_has_node(setup.channel, 2));
    cr_expect(!nrw_channel_route_has_node(setup.channel, 3));
    cr_expect_float_eq(nrw_channel_route_node_um(setup.channel, 2), 25.0, ROUNDING_UM);
    cr_expect_float_eq(nrw_channel_route_node_um(setup.channel, 3), 40.0, ROUNDING_UM);
    double bounds[4];
    nrw_channel_bounds(setup.channel, bounds);
    cr_expect_float_eq(bounds[0], -5.0, ROUNDING_UM);
    cr_expect_float_eq(bounds[3], 45.0, ROUNDING_UM);
    channel_setup_clear(&setup);
}

/* --- refusals ------------------------------------------------------------------------ */

static void expect_refusal(const char *body, nrw_status status, const char *key, const char *what)
{
    channel_setup setup = channel_setup_of(body);
    cr_expect_eq(setup.status, status, "%s", body);
    cr_expect_eq(setup.errors.n_items, 1, "%zu errors: %s", setup.errors.n_items, body);
    if (setup.errors.n_items) {
        const nrw_error *error = &setup.errors.items[0];
        cr_expect_str_eq(error->key, key);
        cr_expect(strstr(error->what, what), "'%s' lacks '%s'", error->what, what);
        cr_expect_str_eq(error->file, "channel.yaml");
        cr_expect(error->line > 0 && error->column > 0);
    }
    channel_setup_clear(&setup);
}

#define TWO_NODES "channel:\n  depth_um: 60\n  nodes: {a: {at_um: [0, 0]}, b: {at_um: [300, 0]}}\n"
#define ONE_VESSEL "  vessels: [{from: a, to: b, width_um: 80}]\n"
#define GOOD_RELEASE "release: {at_um: [50, 0], radius_um: 30}\n"
#define GOOD_TARGET "target: {at_um: [250, 0], radius_um: 30}\n"

Test(channel, places_outside_are_refused_with_how_far)
{
    expect_refusal(TWO_NODES ONE_VESSEL "release: {at_um: [50, 47], radius_um: 3}\n" GOOD_TARGET,
                   NRW_BAD_INPUT, "release.at_um", "7 um outside");
    expect_refusal(TWO_NODES ONE_VESSEL "release: {at_um: [50, 15], radius_um: 30}\n" GOOD_TARGET,
                   NRW_BAD_INPUT, "release.radius_um", "5 um into the wall");
    expect_refusal(TWO_NODES ONE_VESSEL GOOD_RELEASE "target: {at_um: [310, 0], radius_um: 30}\n",
                   NRW_BAD_INPUT, "target.at_um", "10 um outside");
    expect_refusal("channel:\n  depth_um: 60\n  nodes: {a: {at_um: [0, 0]}, b: {at_um: [300, 0]},\n"
                   "    lost: {at_um: [100, 52]}}\n" ONE_VESSEL GOOD_RELEASE GOOD_TARGET,
                   NRW_BAD_INPUT, "channel.nodes.lost.at_um", "12 um outside");
}

Test(channel, all_misplaced_places_are_told_at_once)
{
    channel_setup setup =
        channel_setup_of(TWO_NODES ONE_VESSEL "release: {at_um: [50, 47], radius_um: 3}\n"
                                              "target: {at_um: [310, 0], radius_um: 30}\n");
    cr_expect_eq(setup.errors.n_items, 2);
    cr_expect(setup.errors.items[0].line < setup.errors.items[1].line);
    channel_setup_clear(&setup);
}

Test(channel, start_positions_outside_are_refused_each)
{
    channel_setup setup = channel_setup_good(CHANNEL_STRAIGHT);
    nrw_particles *particles = &setup.scenario->particles;
    double(*positions)[3] = malloc(4 * sizeof *positions);
    cr_assert_not_null(positions);
    const double at[4][3] = {{20, 0, NAN}, {20, 41, NAN}, {280, -38.6, NAN}, {-1, 0, NAN}};
    memcpy(positions, at, sizeof at);
    particles->positions_um = positions;
    particles->count = 4;
    nrw_channel *channel;
    cr_expect_eq(nrw_channel_create(setup.scenario, &channel, &setup.errors), NRW_BAD_INPUT);
    cr_assert_eq(setup.errors.n_items, 2);
    cr_expect_str_eq(setup.errors.items[0].key, "particles.positions_um[1]");
    cr_expect_str_eq(setup.errors.items[1].key, "particles.positions_um[3]");
    channel_setup_clear(&setup);
}

Test(channel, start_positions_in_a_wall_are_refused_with_how_deep)
{
    /* walls at y = ±40; the centre lies in the channel, its sphere of 3 um does not */
    channel_setup setup = channel_setup_good(CHANNEL_STRAIGHT);
    nrw_particles *particles = &setup.scenario->particles;
    double(*positions)[3] = calloc(1, sizeof *positions);
    cr_assert_not_null(positions);
    particles->positions_um = positions;
    particles->count = 1;
    positions[0][0] = 150.0;
    positions[0][1] = 39.5;
    positions[0][2] = NAN;
    nrw_channel *channel;
    cr_expect_eq(nrw_channel_create(setup.scenario, &channel, &setup.errors), NRW_BAD_INPUT);
    cr_assert_eq(setup.errors.n_items, 1);
    cr_expect(strstr(setup.errors.items[0].what, "1 um into a wall"), "%s",
              setup.errors.items[0].what);
    cr_expect_str_eq(setup.errors.items[0].key, "particles.positions_um[0]");
    channel_setup_clear(&setup);
}

Test(channel, places_without_a_way_between_them_are_refused_as_a_job)
{
    expect_refusal("channel:\n  depth_um: 60\n  nodes: {a: {at_um: [0, 0]}, b: {at_um: [100, 0]},\n"
                   "    c: {at_um: [200, 0]}, d: {at_um: [300, 0]}}\n"
                   "  vessels: [{from: a, to: b, width_um: 80}, {from: c, to: d, width_um: 80}]\n"
                   "release: {at_um: [50, 0], radius_um: 30}\n"
                   "target: {node: d, radius_um: 30}\n",
                   NRW_REFUSED, "target", "no way from (50, 0) to d");
    expect_refusal("channel:\n  depth_um: 60\n  nodes: {a: {at_um: [0, 0]}, b: {at_um: [100, 0]},\n"
                   "    c: {at_um: [200, 0]}, d: {at_um: [300, 0]}}\n"
                   "  vessels: [{from: a, to: b, width_um: 80}, {from: c, to: d, width_um: 80}]\n"
                   "release: {at_um: [50, 0], radius_um: 30}\n"
                   "target: {node: b, radius_um: 30}\nroute: [a, c, b]\n",
                   NRW_REFUSED, "route[1]", "no way from a to c");
}

Test(channel, vessels_that_cross_or_touch_without_a_node_are_refused)
{
    const char *head = "channel:\n  depth_um: 60\n"
                       "  nodes: {a: {at_um: [0, 0]}, b: {at_um: [300, 0]},\n"
                       "    c: {at_um: [150, 100]}, d: {at_um: [150, -100]}}\n"
                       "  vessels:\n    - {from: a, to: b, width_um: 80}\n";
    struct {
        const char *vessel, *what;
    } cases[] = {
        {"    - {from: c, to: d, width_um: 20}\n", "meets vessels[0] at (150, 0)"},
        {"    - {from: c, to: d, width_um: 20, via_um: [[150, 0]]}\n", "meets vessels[0]"},
        {"    - {from: a, to: c, width_um: 20, via_um: [[200, 0]]}\n", "meets vessels[0]"},
        {"    - {from: c, to: d, width_um: 20, via_um: [[200, 50], [100, 50], [200, 90]]}\n",
         "meets itself"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char body[1000];
        snprintf(body, sizeof body, "%s%s" GOOD_RELEASE GOOD_TARGET, head, cases[i].vessel);
        channel_setup setup = channel_setup_of(body);
        cr_expect_eq(setup.status, NRW_BAD_INPUT, "%s", cases[i].vessel);
        bool told = false;
        for (size_t k = 0; k < setup.errors.n_items; k++)
            told = told || (strstr(setup.errors.items[k].what, cases[i].what) &&
                            !strcmp(setup.errors.items[k].key, "channel.vessels[1]"));
        cr_expect(told, "%s", cases[i].vessel);
        channel_setup_clear(&setup);
    }
}

Test(channel, vessels_in_line_one_after_another_do_not_meet)
{
    /* Slanted, so that rounding puts their ends on either side of one line. */
    channel_setup setup = channel_setup_good(
        "channel:\n  depth_um: 60\n"
        "  nodes: {a: {at_um: [0, 0]}, b: {at_um: [100.1, 33.7]}, c: {at_um: [200.2, 67.4]},\n"
        "    d: {at_um: [300.3, 101.1]}}\n"
        "  vessels:\n"
        "    - {from: a, to: b, width_um: 80}\n"
        "    - {from: b, to: c, width_um: 80}\n"
        "    - {from: c, to: d, width_um: 80}\n"
        "release: {at_um: [60, 20], radius_um: 20}\n"
        "target: {node: c, radius_um: 30}\n");
    cr_expect_float_eq(channel_setup_area_um2(&setup), 80.0 * hypot(300.3, 101.1), 1e-6);
    channel_setup_clear(&setup);
}

/* --- ways ------------------------------------------------------------------------------ */

Test(channel, widest_path_agrees_with_the_narrowest_width)
{
    const char *const maps[] = {CHANNEL_EXAMPLE, CHANNEL_FORK, CHANNEL_STRAIGHT};
    for (int m = 0; m < 3; m++) {
        channel_setup setup = channel_setup_good(maps[m]);
        double at[2], place[2];
        double widest = nrw_channel_widest_path_um(setup.channel, at);
        double narrowest = nrw_channel_narrowest_um(setup.channel, place);
        /* The targets' circles let the disc's centre come as near to the end as it
         * likes; only the chords of arcs can take something away. */
        cr_expect_float_eq(widest, narrowest, 2 * CHORD_UM, "map %d: %g, %g", m, widest, narrowest);
        cr_expect_float_eq(2.0 * channel_setup_exact_um(&setup, at[0], at[1]), widest, 1e-4);
        channel_setup_clear(&setup);
    }
}

Test(channel, widest_path_takes_another_branch_than_the_shortest)
{
    channel_setup setup = channel_setup_good(
        "channel:\n"
        "  depth_um: 60\n"
        "  nodes: {a: {at_um: [0, 0]}, in: {at_um: [100, 0]}, out: {at_um: [300, 0]},\n"
        "          b: {at_um: [400, 0]}}\n"
        "  vessels:\n"
        "    - {from: a, to: in, width_um: 60}\n"
        "    - {from: in, to: out, width_um: 2}\n"
        "    - {from: in, to: out, width_um: [[0.2, 40], [0.5, 17], [0.8, 40]],\n"
        "       via_um: [[100, 150], [300, 150]]}\n"
        "    - {from: out, to: b, width_um: 60}\n"
        "release: {at_um: [50, 0], radius_um: 20}\n"
        "target: {at_um: [350, 0], radius_um: 20}\n");
    double at[2];
    cr_expect_float_eq(nrw_channel_widest_path_um(setup.channel, at), 17.0, 0.02);
    cr_expect_float_eq(at[0], 200.0, 2.0);
    cr_expect_float_eq(at[1], 150.0, 2.0);
    cr_expect_float_eq(nrw_channel_narrowest_um(setup.channel, at), 2.0, ROUNDING_UM);
    cr_expect(nrw_channel_route_has_vessel(setup.channel, 1));
    cr_expect(!nrw_channel_route_has_vessel(setup.channel, 2));
    channel_setup_clear(&setup);
}

Test(channel, widest_path_does_not_jump_over_a_thin_wall)
{
    channel_setup setup = channel_setup_good(CHANNEL_THIN_WALL);
    double at[2];
    cr_expect_float_eq(nrw_channel_widest_path_um(setup.channel, at), 0.6, 2 * CHORD_UM);
    cr_expect(at[0] > 200.0);
    channel_setup_clear(&setup);
}

Test(channel, nearest_vessel_names_a_place)
{
    channel_setup setup = channel_setup_good(CHANNEL_FORK);
    cr_expect_eq(nrw_channel_vessel_at(setup.channel, -80, 30), 0);
    cr_expect_eq(nrw_channel_vessel_at(setup.channel, 80, 85), 1);
    cr_expect_eq(nrw_channel_vessel_at(setup.channel, 80, -85), 2);
    channel_setup_clear(&setup);
}
