#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "channel.h"
#include "channel_setup.h"
#include "random.h"
#include "units.h"

/* Walls are exact up to the chords of arcs (0.01 um between chord and arc); where
 * no arc is near, up to rounding of coordinates of some 1000 um. */
#define CHORD_UM 0.01
#define ROUNDING_UM 1e-9

static double exact(const channel_setup *setup, double x, double y)
{
    return nrw_channel_distance_exact_um(setup->channel, x, y);
}

static double uniform(uint32_t index, uint32_t step, double low, double high)
{
    return low + (high - low) * nrw_uniform(7, NRW_STREAM_START, index, step);
}

static double outline_area(const channel_setup *setup)
{
    size_t n;
    const nrw_wall_segment *walls = nrw_channel_outline(setup->channel, &n);
    double twice = 0.0;
    for (size_t i = 0; i < n; i++)
        twice += walls[i].a_um[0] * walls[i].b_um[1] - walls[i].a_um[1] * walls[i].b_um[0];
    return 0.5 * twice;
}

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

static const char STRAIGHT[] = "channel:\n"
                               "  depth_um: 60\n"
                               "  nodes: {a: {at_um: [0, 0]}, b: {at_um: [300, 0]}}\n"
                               "  vessels: [{from: a, to: b, width_um: 80}]\n"
                               "release: {at_um: [50, 0], radius_um: 30}\n"
                               "target: {at_um: [250, 0], radius_um: 30}\n";

/* --- shapes of walls ---------------------------------------------------------- */

Test(channel, straight_walls_lie_half_the_width_from_the_centreline)
{
    channel_setup setup = channel_setup_good(STRAIGHT);
    cr_expect_float_eq(exact(&setup, 150, 0), 40.0, ROUNDING_UM);
    cr_expect_float_eq(exact(&setup, 150, 35), 5.0, ROUNDING_UM);
    cr_expect_float_eq(exact(&setup, 150, -41.5), -1.5, ROUNDING_UM);
    cr_expect_float_eq(outline_area(&setup), 300.0 * 80.0, 1e-6);
    assert_closed(&setup);
    channel_setup_clear(&setup);
}

Test(channel, free_ends_are_closed_by_a_straight_cap_through_the_node)
{
    channel_setup setup = channel_setup_good(STRAIGHT);
    cr_expect_float_eq(exact(&setup, 5, 0), 5.0, ROUNDING_UM);
    cr_expect_float_eq(exact(&setup, -3, 10), -3.0, ROUNDING_UM);
    cr_expect_float_eq(exact(&setup, 299, 38), 1.0, ROUNDING_UM);
    /* Beyond a corner of the cap: distance to the corner. */
    cr_expect_float_eq(exact(&setup, 303, 44), -5.0, ROUNDING_UM);
    channel_setup_clear(&setup);
}

Test(channel, inlets_and_outlets_go_on_past_their_node)
{
    channel_setup closed = channel_setup_good(STRAIGHT);
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
        cr_expect_float_eq(exact(&setup, x, half), 0.0, ROUNDING_UM);
        /* ... and the distance from the centreline is measured square to it. */
        double slope = atan(40.0 / 200.0);
        cr_expect_float_eq(exact(&setup, x, 0), fmin(half * cos(slope), 200.0 - x), ROUNDING_UM);
    }
    cr_expect_float_eq(outline_area(&setup), 200.0 * 60.0, 1e-6);
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
    cr_expect_float_eq(exact(&setup, 200 + diagonal, -diagonal), 0.0, CHORD_UM);
    cr_expect_float_eq(exact(&setup, 200 + 25 * sqrt(0.5), -25 * sqrt(0.5)), -5.0, CHORD_UM);
    cr_expect_float_eq(exact(&setup, 200, 0), 20.0, CHORD_UM);
    /* The inner corner stands at (180, 20). */
    cr_expect_float_eq(exact(&setup, 183, 16), 5.0, ROUNDING_UM);
    cr_expect_float_eq(exact(&setup, 179, 30), -1.0, ROUNDING_UM);
    /* Two pieces of 200 x 40 have a corner of 20 x 20 in common and gain a quarter
     * of a disc; chords may take away up to their sagitta along the arc. */
    double area = 2 * 200.0 * 40.0 - 20.0 * 20.0 + 0.25 * NRW_PI * 400.0;
    cr_expect(outline_area(&setup) <= area && outline_area(&setup) > area - CHORD_UM * 32.0);
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
        cr_expect_float_eq(exact(&setup, wall[0], wall[1]), 0.0, ROUNDING_UM);
    }
    /* The gap at the outer side of the turn is filled to the disc's radius. */
    cr_expect_float_eq(exact(&setup, 50 * sin(0.05), -50 * cos(0.05)), 0.0, CHORD_UM);
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
        double x = uniform(i, 0, -20, 320), y = uniform(i, 1, -60, 120);
        cr_assert_float_eq(exact(&one, x, y), exact(&two, x, y), ROUNDING_UM);
    }
    channel_setup_clear(&one);
    channel_setup_clear(&two);
}

static const char FORK[] = "channel:\n"
                           "  depth_um: 60\n"
                           "  nodes:\n"
                           "    a: {at_um: [-200, 0]}\n"
                           "    fork: {at_um: [0, 0]}\n"
                           "    left: {at_um: [150, 150]}\n"
                           "    right: {at_um: [150, -150]}\n"
                           "  vessels:\n"
                           "    - {from: a, to: fork, width_um: 80}\n"
                           "    - {from: fork, to: left, width_um: 30}\n"
                           "    - {from: fork, to: right, width_um: 24}\n"
                           "release: {at_um: [-100, 0], radius_um: 34}\n"
                           "target: {at_um: [120, 120], radius_um: 10}\n";

Test(channel, fork_has_the_disc_of_its_largest_width)
{
    channel_setup setup = channel_setup_good(FORK);
    /* Between the branches the disc of radius 40 stands out; beyond it the wall
     * between them begins. */
    cr_expect_float_eq(exact(&setup, 39, 0), 1.0, CHORD_UM);
    cr_expect_float_eq(exact(&setup, 45, 0), -5.0, CHORD_UM);
    /* Far from the fork a branch has its own width, across its own direction. */
    double root = sqrt(0.5);
    cr_expect_float_eq(exact(&setup, 100 - 15 * root, 100 + 15 * root), 0.0, ROUNDING_UM);
    cr_expect_float_eq(exact(&setup, 100 + 12 * root, -100 + 12 * root), 0.0, ROUNDING_UM);
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
    cr_expect_float_eq(exact(&setup, 195, 30), 5.0, ROUNDING_UM);
    cr_expect_float_eq(exact(&setup, 203, 30), -3.0, ROUNDING_UM);
    cr_expect_float_eq(exact(&setup, 210, 0), 7.0, ROUNDING_UM);
    /* Before the mouth the nearest wall is one of its corners. */
    cr_expect_float_eq(exact(&setup, 176, 0), 25.0, ROUNDING_UM);
    cr_expect_float_eq(outline_area(&setup), 200.0 * 120.0 + 200.0 * 14.0, 1e-6);
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
    cr_expect_float_eq(exact(&setup, 200 + 59 * cos(1.0), 59 * sin(1.0)), 1.0, CHORD_UM);
    cr_expect_float_eq(exact(&setup, 200 + 62 * cos(1.0), 62 * sin(1.0)), -2.0, CHORD_UM);
    cr_expect_float_eq(exact(&setup, 300, 0), 7.0, ROUNDING_UM);
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
    cr_expect_float_eq(exact(&setup, 100, 100), -80.0, ROUNDING_UM);
    cr_expect_float_eq(exact(&setup, 100, 15), 5.0, ROUNDING_UM);
    double area = 240.0 * 240.0 - 160.0 * 160.0 - (4.0 - NRW_PI) * 400.0;
    cr_expect_float_eq(outline_area(&setup), area, 4 * CHORD_UM * 32.0);
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

/* --- distance from the grid -------------------------------------------------------- */

static const char *const GRID_MAPS[] = {CHANNEL_EXAMPLE, FORK, STRAIGHT};

Test(channel, grid_distance_is_within_the_stated_error_of_the_exact_one)
{
    for (size_t m = 0; m < sizeof GRID_MAPS / sizeof *GRID_MAPS; m++) {
        channel_setup setup = channel_setup_good(GRID_MAPS[m]);
        const nrw_channel_report *report = nrw_channel_get_report(setup.channel);
        /* The report's error is the largest of 4096 points; a quarter of the spacing
         * bounds it across a crease, the largest error of the interpolation. */
        cr_expect(report->distance_error_um <= 0.25 * report->grid_um);
        cr_expect(report->typical_error_um < 0.02 * report->grid_um);
        double bounds[4], worst = 0.0;
        nrw_channel_bounds(setup.channel, bounds);
        for (uint32_t i = 0; i < 20000; i++) {
            double x = uniform(i, 2, bounds[0] - 3, bounds[2] + 3);
            double y = uniform(i, 3, bounds[1] - 3, bounds[3] + 3);
            double distance = exact(&setup, x, y);
            if (fabs(distance) > 6.0)
                continue;
            double got = nrw_channel_distance_um(setup.channel, x, y, NULL);
            worst = fmax(worst, fabs(got - distance));
        }
        cr_expect(worst <= 0.25 * report->grid_um, "worst %g of grid %g", worst, report->grid_um);
        channel_setup_clear(&setup);
    }
}

Test(channel, grid_distance_is_exact_at_straight_walls)
{
    channel_setup setup = channel_setup_good(STRAIGHT);
    for (uint32_t i = 0; i < 2000; i++) {
        double x = uniform(i, 0, 20, 280), y = uniform(i, 1, 34, 43), gradient[2];
        double got = nrw_channel_distance_um(setup.channel, x, y, gradient);
        /* Distances are stored as floats of up to 6 um here. */
        cr_assert_float_eq(got, 40.0 - y, 2e-6);
        cr_assert_float_eq(gradient[0], 0.0, 1e-6);
        cr_assert_float_eq(gradient[1], -1.0, 1e-6);
    }
    channel_setup_clear(&setup);
}

Test(channel, gradient_is_of_unit_length_and_points_away_from_the_wall)
{
    channel_setup setup = channel_setup_good(CHANNEL_EXAMPLE);
    double worst = 0.0;
    int compared = 0;
    for (uint32_t i = 0; i < 20000; i++) {
        double x = uniform(i, 0, -205, 1105), y = uniform(i, 1, -115, 115), gradient[2];
        nrw_channel_distance_um(setup.channel, x, y, gradient);
        cr_assert_float_eq(hypot(gradient[0], gradient[1]), 1.0, 1e-6);
        const double step = 1e-5;
        double dx = (exact(&setup, x + step, y) - exact(&setup, x - step, y)) / (2 * step);
        double dy = (exact(&setup, x, y + step) - exact(&setup, x, y - step)) / (2 * step);
        double distance = exact(&setup, x, y);
        /* Close to the corners of a wall and at creases, where the nearest wall
         * changes, the grid smooths over one cell: leave them out. */
        if (fabs(distance) > 6.0 || fabs(distance) < 1.0 || hypot(dx, dy) < 0.999)
            continue;
        bool near_crease = false;
        for (int k = 0; k < 8; k++) {
            double ax = x + 0.8 * cos(k * NRW_PI / 4), ay = y + 0.8 * sin(k * NRW_PI / 4);
            double straight = distance + dx * (ax - x) + dy * (ay - y);
            near_crease = near_crease || fabs(exact(&setup, ax, ay) - straight) > 0.1;
        }
        if (near_crease)
            continue;
        compared++;
        worst = fmax(worst, hypot(gradient[0] - dx, gradient[1] - dy));
    }
    cr_expect(compared > 500);
    /* At a wall's corner one radius away the direction turns by a quarter of a
     * radian a cell; interpolating it leaves a hundredth. */
    cr_expect(worst < 0.02, "worst %g of %d", worst, compared);
    channel_setup_clear(&setup);
}

Test(channel, gradient_between_two_equally_near_walls_is_one_of_them)
{
    /* The spur's length puts the middle of the vessel halfway between two rows of
     * the grid, where the stored gradients cancel exactly. */
    channel_setup setup = channel_setup_good(
        "channel:\n"
        "  depth_um: 60\n"
        "  nodes: {a: {at_um: [0, 0]}, m: {at_um: [150, 0]}, b: {at_um: [300, 0]},\n"
        "          spur: {at_um: [150, 59.875]}}\n"
        "  vessels:\n"
        "    - {from: a, to: m, width_um: 20}\n"
        "    - {from: m, to: b, width_um: 20}\n"
        "    - {from: m, to: spur, width_um: 20}\n"
        "release: {at_um: [50, 0], radius_um: 9}\n"
        "target: {at_um: [250, 0], radius_um: 9}\n");
    for (double x = 40; x < 100; x += 0.7) {
        double gradient[2];
        nrw_channel_distance_um(setup.channel, x, 0.0, gradient);
        cr_assert_float_eq(fabs(gradient[1]), 1.0, 1e-6);
        cr_assert_float_eq(gradient[0], 0.0, 1e-6);
    }
    channel_setup_clear(&setup);
}

Test(channel, gradient_changes_little_from_point_to_point)
{
    channel_setup setup = channel_setup_good(CHANNEL_EXAMPLE);
    double grid = nrw_channel_get_report(setup.channel)->grid_um;
    /* Along a line past the throat's shoulder, 1.5 um (one radius) from the wall's
     * corner: the direction turns by step/1.5 a step, at most a few times that where
     * the nearest wall changes. */
    double worst = 0.0, before[2] = {0, 0};
    const double step = 0.01;
    for (int i = 0; i < 6000; i++) {
        double at[2], direction[2], gradient[2];
        nrw_channel_route_point(setup.channel, 520 + i * step, at, direction);
        double x = at[0] - 6.5 * direction[1], y = at[1] + 6.5 * direction[0];
        nrw_channel_distance_um(setup.channel, x, y, gradient);
        if (i > 0)
            worst = fmax(worst, hypot(gradient[0] - before[0], gradient[1] - before[1]));
        memcpy(before, gradient, sizeof before);
    }
    cr_expect(worst < 4.0 * step / grid, "worst %g", worst);
    channel_setup_clear(&setup);
}

static channel_setup slit(double width)
{
    char body[600];
    snprintf(body, sizeof body,
             "channel:\n"
             "  depth_um: 60\n"
             "  nodes: {a: {at_um: [0.13, 0.07]}, b: {at_um: [300, 60]}}\n"
             "  vessels:\n"
             "    - {from: a, to: b, width_um: [[0.3, 60], [0.4, %g], [0.6, %g], [0.7, 60]]}\n"
             "release: {at_um: [50, 10], radius_um: 20}\n"
             "target: {at_um: [250, 50], radius_um: 20}\n",
             width, width);
    return channel_setup_good(body);
}

Test(channel, slit_narrower_than_the_grid_has_walls_on_both_sides)
{
    const double widths[] = {1.0, 0.3, 0.1};
    for (int w = 0; w < 3; w++) {
        channel_setup setup = slit(widths[w]);
        const nrw_channel_report *report = nrw_channel_get_report(setup.channel);
        double length = nrw_channel_route_length_um(setup.channel);
        for (double s = 0.42 * length; s < 0.58 * length; s += 0.17) {
            double at[2], direction[2];
            nrw_channel_route_point(setup.channel, s - 51.0, at, direction);
            double middle = nrw_channel_distance_um(setup.channel, at[0], at[1], NULL);
            double half = exact(&setup, at[0], at[1]);
            cr_assert(middle <= half + 0.25 * report->grid_um, "%g in a slit of %g", middle,
                      2 * half);
        }
        channel_setup_clear(&setup);
    }
}

Test(channel, slit_of_one_micrometre_shows_its_half_width)
{
    channel_setup setup = slit(1.0);
    double error = nrw_channel_get_report(setup.channel)->distance_error_um;
    cr_expect(error < 0.1, "stated error %g um, a thirtieth of a particle", error);
    for (double t = 0.45; t < 0.55; t += 0.001) {
        double x = 0.13 + t * 299.87, y = 0.07 + t * 59.93, gradient[2];
        double across[2] = {-59.93 / hypot(299.87, 59.93), 299.87 / hypot(299.87, 59.93)};
        cr_assert_float_eq(exact(&setup, x, y), 0.5, ROUNDING_UM);
        double got = nrw_channel_distance_um(setup.channel, x, y, NULL);
        cr_assert(got <= 0.5 + error && got >= 0.5 - 0.1, "%g", got);
        /* Inside either wall it leads back into the slit. */
        for (int side = -1; side <= 1; side += 2) {
            got = nrw_channel_distance_um(setup.channel, x + side * across[0], y + side * across[1],
                                          gradient);
            cr_assert_float_eq(got, -0.5, 0.1);
            cr_assert(side * (gradient[0] * across[0] + gradient[1] * across[1]) < -0.99);
        }
    }
    channel_setup_clear(&setup);
}

/* 0.2 um of wall, less than the grid's spacing, at y = 20 to 20.2; the way round it is
 * 0.6 um wide. */
static const char THIN_WALL[] =
    "channel:\n"
    "  depth_um: 60\n"
    "  nodes: {a: {at_um: [0, 0]}, b: {at_um: [200, 0]}, c: {at_um: [200, 40.2]},\n"
    "          d: {at_um: [0, 40.2]}}\n"
    "  vessels:\n"
    "    - {from: a, to: b, width_um: 40}\n"
    "    - {from: c, to: d, width_um: 40}\n"
    "    - {from: b, to: c, width_um: 0.6, via_um: [[230, 0], [230, 40.2]]}\n"
    "release: {at_um: [50, 0], radius_um: 15}\n"
    "target: {at_um: [50, 40.2], radius_um: 15}\n";

Test(channel, thin_wall_between_two_vessels_is_felt_at_a_particles_radius)
{
    channel_setup setup = channel_setup_good(THIN_WALL);
    for (double x = 20; x < 180; x += 0.71)
        for (double y = 18.5; y < 21.7; y += 0.05) {
            double got = nrw_channel_distance_um(setup.channel, x, y, NULL);
            /* The wall's middle may seem up to a quarter of a cell less deep. */
            cr_assert(got <= fabs(y - 20.1) - 0.1 + 0.25 * 0.375, "%g at (%g, %g)", got, x, y);
        }
    channel_setup_clear(&setup);
}

Test(channel, points_far_outside_are_led_back)
{
    channel_setup setup = channel_setup_good(STRAIGHT);
    const double far[][2] = {{150, 1e4}, {-1e5, 0}, {1e6, -1e6}, {150, -60}};
    for (int i = 0; i < 4; i++) {
        double gradient[2];
        double got = nrw_channel_distance_um(setup.channel, far[i][0], far[i][1], gradient);
        double to[2] = {150 - far[i][0], -far[i][1]};
        cr_expect(got < 0.0);
        cr_expect(gradient[0] * to[0] + gradient[1] * to[1] > 0.7 * hypot(to[0], to[1]));
        cr_expect_float_eq(hypot(gradient[0], gradient[1]), 1.0, 1e-6);
    }
    /* Straight above, the way back to the grid's edge is that to the wall. */
    cr_expect_float_eq(nrw_channel_distance_um(setup.channel, 150, 1e4, NULL), 40.0 - 1e4, 0.5);
    double gradient[2];
    /* No crash, and not taken for fluid. */
    cr_expect(!(nrw_channel_distance_um(setup.channel, NAN, NAN, gradient) > 0.0));
    channel_setup_clear(&setup);
}

Test(channel, arrays_and_single_points_agree)
{
    channel_setup setup = channel_setup_good(FORK);
    enum { N = 500 };
    double x[N], y[N];
    float distance[N], gradient_x[N], gradient_y[N], alone[N];
    for (uint32_t i = 0; i < N; i++) {
        x[i] = uniform(i, 0, -220, 200);
        y[i] = uniform(i, 1, -200, 200);
    }
    nrw_channel_sample(setup.channel, N, x, y, distance, gradient_x, gradient_y);
    nrw_channel_sample(setup.channel, N, x, y, alone, NULL, NULL);
    for (int i = 0; i < N; i++) {
        double gradient[2];
        double got = nrw_channel_distance_um(setup.channel, x[i], y[i], gradient);
        cr_assert_eq(distance[i], (float)got);
        cr_assert_eq(alone[i], (float)got);
        cr_assert_eq(gradient_x[i], (float)gradient[0]);
        cr_assert_eq(gradient_y[i], (float)gradient[1]);
    }
    channel_setup_clear(&setup);
}

/* Floods the fluid from the release over a lattice of half micrometres. */
static size_t flood(const channel_setup *setup, int side, double origin, bool *leaked)
{
    static unsigned char seen[700 * 700];
    static int stack[700 * 700];
    size_t n_stack = 0, n = 0;
    memset(seen, 0, sizeof seen);
    *leaked = false;
    const double *at = setup->scenario->release.at_um;
    int start = (int)((at[1] - origin) / 0.5) * side + (int)((at[0] - origin) / 0.5);
    seen[start] = 1;
    stack[n_stack++] = start;
    while (n_stack) {
        int here = stack[--n_stack], i = here % side, j = here / side;
        n++;
        *leaked = *leaked || i == 0 || j == 0 || i == side - 1 || j == side - 1;
        const int steps[4] = {i > 0 ? -1 : 0, i < side - 1 ? 1 : 0, j > 0 ? -side : 0,
                              j < side - 1 ? side : 0};
        for (int k = 0; k < 4; k++) {
            int next = here + steps[k];
            double x = origin + next % side * 0.5, y = origin + next / side * 0.5;
            if (seen[next] || nrw_channel_distance_um(setup->channel, x, y, NULL) <= 0.0)
                continue;
            seen[next] = 1;
            stack[n_stack++] = next;
        }
    }
    return n;
}

Test(channel, fluid_does_not_leak)
{
    channel_setup setup = channel_setup_good(
        "channel:\n"
        "  depth_um: 60\n"
        "  nodes: {a: {at_um: [-130, -60]}, fork: {at_um: [0, 0]}, b: {at_um: [110, 100]},\n"
        "          c: {at_um: [110, -90]}}\n"
        "  vessels:\n"
        "    - {from: a, to: fork, width_um: [[0, 60], [0.6, 60], [0.6, 12]],\n"
        "       via_um: [[-70, -80], [-40, 10]]}\n"
        "    - {from: fork, to: b, width_um: 21, via_um: [[50, 10]]}\n"
        "    - {from: fork, to: c, width_um: [[0, 7], [1, 33]]}\n"
        "release: {at_um: [-110, -66], radius_um: 15}\n"
        "target: {at_um: [100, 85], radius_um: 5}\n");
    bool leaked;
    size_t n = flood(&setup, 700, -175.0, &leaked);
    cr_expect(!leaked);
    /* All of the fluid is reached: its area, up to half a node along the walls. */
    cr_expect_float_eq(0.25 * (double)n, outline_area(&setup), 0.03 * outline_area(&setup));
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
    channel_setup setup = channel_setup_good(STRAIGHT);
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
    channel_setup setup = channel_setup_good(STRAIGHT);
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
    cr_expect_float_eq(outline_area(&setup), 80.0 * hypot(300.3, 101.1), 1e-6);
    channel_setup_clear(&setup);
}

/* --- ways ------------------------------------------------------------------------------ */

Test(channel, widest_path_agrees_with_the_narrowest_width)
{
    const char *const maps[] = {CHANNEL_EXAMPLE, FORK, STRAIGHT};
    for (int m = 0; m < 3; m++) {
        channel_setup setup = channel_setup_good(maps[m]);
        double at[2], place[2];
        double widest = nrw_channel_widest_path_um(setup.channel, at);
        double narrowest = nrw_channel_narrowest_um(setup.channel, place);
        /* The targets' circles let the disc's centre come as near to the end as it
         * likes; only the chords of arcs can take something away. */
        cr_expect_float_eq(widest, narrowest, 2 * CHORD_UM, "map %d: %g, %g", m, widest, narrowest);
        cr_expect_float_eq(2.0 * exact(&setup, at[0], at[1]), widest, 1e-4);
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
    channel_setup setup = channel_setup_good(THIN_WALL);
    double at[2];
    cr_expect_float_eq(nrw_channel_widest_path_um(setup.channel, at), 0.6, 2 * CHORD_UM);
    cr_expect(at[0] > 200.0);
    channel_setup_clear(&setup);
}

Test(channel, nearest_vessel_names_a_place)
{
    channel_setup setup = channel_setup_good(FORK);
    cr_expect_eq(nrw_channel_vessel_at(setup.channel, -80, 30), 0);
    cr_expect_eq(nrw_channel_vessel_at(setup.channel, 80, 85), 1);
    cr_expect_eq(nrw_channel_vessel_at(setup.channel, 80, -85), 2);
    channel_setup_clear(&setup);
}
