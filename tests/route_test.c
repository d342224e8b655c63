#include "route.h"

#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "channel_setup.h"

/* Lengths are sums of a few roots of coordinates of some 1000 um. */
#define ROUNDING_UM 1e-9

#define SQUARE                                                                                     \
    "channel:\n"                                                                                   \
    "  depth_um: 60\n"                                                                             \
    "  nodes: {a: {at_um: [0, 0]}, b: {at_um: [300, 0]}, c: {at_um: [300, 200]},\n"                \
    "          d: {at_um: [0, 200]}, tip: {at_um: [-100, 0]}}\n"                                   \
    "  vessels:\n"                                                                                 \
    "    - {from: a, to: b, width_um: 40}\n"                                                       \
    "    - {from: c, to: b, width_um: [[0, 40], [1, 20]]}\n"                                       \
    "    - {from: a, to: d, width_um: 50}\n"                                                       \
    "    - {from: d, to: c, width_um: 30}\n"                                                       \
    "    - {from: tip, to: a, width_um: 60}\n"

static double node_s(const channel_setup *setup, const char *name)
{
    return nrw_channel_route_node_um(setup->channel, nrw_scenario_node(setup->scenario, name));
}

static bool has_node(const channel_setup *setup, const char *name)
{
    return nrw_channel_route_has_node(setup->channel, nrw_scenario_node(setup->scenario, name));
}

static double width(const channel_setup *setup, double s)
{
    return nrw_channel_route_width_um(setup->channel, s);
}

Test(route, shortest_way_follows_the_vessels)
{
    channel_setup setup = channel_setup_good(SQUARE "release: {at_um: [-80, 0], radius_um: 10}\n"
                                                    "target: {node: c, radius_um: 10}\n");
    /* 80 + 200 + 300 or 80 + 300 + 200: equal ways. */
    cr_expect_float_eq(nrw_channel_route_length_um(setup.channel), 580.0, ROUNDING_UM);
    channel_setup_clear(&setup);
    setup = channel_setup_good(SQUARE "release: {at_um: [-80, 0], radius_um: 10}\n"
                                      "target: {at_um: [300, 150], radius_um: 5}\n");
    cr_expect_float_eq(nrw_channel_route_length_um(setup.channel), 530.0, ROUNDING_UM);
    cr_expect(has_node(&setup, "a") && has_node(&setup, "b"));
    cr_expect(!has_node(&setup, "c") && !has_node(&setup, "d") && !has_node(&setup, "tip"));
    cr_expect_float_eq(node_s(&setup, "a"), 80.0, ROUNDING_UM);
    cr_expect_float_eq(node_s(&setup, "b"), 380.0, ROUNDING_UM);
    /* Nodes aside are projected: before the start, and past the end. */
    cr_expect_float_eq(node_s(&setup, "tip"), -20.0, ROUNDING_UM);
    cr_expect_float_eq(node_s(&setup, "c"), 580.0, ROUNDING_UM);
    cr_expect(nrw_channel_route_has_vessel(setup.channel, 4));
    cr_expect(nrw_channel_route_has_vessel(setup.channel, 0));
    cr_expect(nrw_channel_route_has_vessel(setup.channel, 1));
    cr_expect(!nrw_channel_route_has_vessel(setup.channel, 2));
    channel_setup_clear(&setup);
}

Test(route, given_nodes_are_passed_in_order)
{
    channel_setup setup = channel_setup_good(SQUARE "release: {at_um: [-80, 0], radius_um: 10}\n"
                                                    "target: {at_um: [300, 150], radius_um: 5}\n"
                                                    "route: [d, c]\n");
    cr_expect_float_eq(nrw_channel_route_length_um(setup.channel), 80 + 200 + 300 + 50,
                       ROUNDING_UM);
    cr_expect_float_eq(node_s(&setup, "d"), 280.0, ROUNDING_UM);
    cr_expect_float_eq(node_s(&setup, "c"), 580.0, ROUNDING_UM);
    cr_expect(!has_node(&setup, "b"));
    channel_setup_clear(&setup);
}

Test(route, width_follows_the_vessel_in_either_direction)
{
    channel_setup setup = channel_setup_good(SQUARE "release: {at_um: [100, 0], radius_um: 10}\n"
                                                    "target: {at_um: [300, 150], radius_um: 5}\n");
    cr_expect_float_eq(width(&setup, 50), 40.0, ROUNDING_UM);
    /* The vessel is drawn from c to b and run through from b to c. */
    cr_expect_float_eq(width(&setup, 300), 30.0, ROUNDING_UM);
    cr_expect_float_eq(width(&setup, 350), 35.0, ROUNDING_UM);
    cr_expect_float_eq(width(&setup, 1000), 35.0, ROUNDING_UM);
    channel_setup_clear(&setup);
}

Test(route, node_where_the_width_changes_has_the_chord_of_its_disc)
{
    channel_setup setup = channel_setup_good(SQUARE "release: {at_um: [100, 0], radius_um: 10}\n"
                                                    "target: {at_um: [300, 150], radius_um: 5}\n");
    /* At b vessels of 40 and 20 meet: disc of radius 20; 16 um past it its chord
     * is 24, more than the vessel's 21.6. */
    cr_expect_float_eq(width(&setup, 200), 40.0, ROUNDING_UM);
    /* Chords of the arc lie 0.01 um inside it, on both walls, where it slopes by
     * 53 degrees: 0.033 um. */
    cr_expect_float_eq(width(&setup, 216), 24.0, 0.034);
    cr_expect_float_eq(width(&setup, 219), 21.9, ROUNDING_UM);
    channel_setup_clear(&setup);
}

Test(route, places_off_the_centreline_are_joined_to_it)
{
    channel_setup setup = channel_setup_good(SQUARE "release: {at_um: [100, 8], radius_um: 5}\n"
                                                    "target: {at_um: [150, -6], radius_um: 5}\n");
    cr_expect_float_eq(nrw_channel_route_length_um(setup.channel), 8 + 50 + 6, ROUNDING_UM);
    double at[2], direction[2];
    nrw_channel_route_point(setup.channel, 0, at, direction);
    cr_expect_float_eq(at[1], 8.0, ROUNDING_UM);
    cr_expect_float_eq(direction[1], -1.0, ROUNDING_UM);
    nrw_channel_route_point(setup.channel, 64, at, NULL);
    cr_expect_float_eq(at[0], 150.0, ROUNDING_UM);
    cr_expect_float_eq(at[1], -6.0, ROUNDING_UM);
    channel_setup_clear(&setup);
}

Test(route, release_on_the_target_has_no_length_and_points_along_x)
{
    const char *const bodies[] = {SQUARE "release: {node: b, radius_um: 5}\n"
                                         "target: {node: b, radius_um: 5}\n",
                                  SQUARE "release: {at_um: [100, 8], radius_um: 5}\n"
                                         "target: {at_um: [100, 8], radius_um: 5}\n",
                                  "channel: {open: true}\n"
                                  "release: {at_um: [100, 8], radius_um: 5}\n"
                                  "target: {at_um: [100, 8], radius_um: 5}\n"};
    for (int i = 0; i < 3; i++) {
        channel_setup setup = channel_setup_good(bodies[i]);
        double at[2], direction[2];
        size_t n;
        cr_expect_eq(nrw_channel_route_length_um(setup.channel), 0.0);
        nrw_channel_route_point(setup.channel, 3.0, at, direction);
        cr_expect(direction[0] == 1.0 && direction[1] == 0.0);
        cr_expect_float_eq(at[0], setup.scenario->release.at_um[0] + 3.0, ROUNDING_UM);
        cr_expect_float_eq(nrw_channel_route_project_um(setup.channel, at[0] - 10.0, 50.0), -7.0,
                           ROUNDING_UM);
        nrw_channel_throats(setup.channel, &n);
        cr_expect_eq(n, 0);
        if (i < 2)
            cr_expect_float_eq(width(&setup, 0.0), 40.0, ROUNDING_UM);
        channel_setup_clear(&setup);
    }
}

Test(route, projection_and_point_are_inverse)
{
    channel_setup setup = channel_setup_good(CHANNEL_EXAMPLE);
    double length = nrw_channel_route_length_um(setup.channel);
    cr_expect_float_eq(length, 400.0 + hypot(100, 20) + hypot(400, 20), ROUNDING_UM);
    for (double s = -150.0; s < length + 150.0; s += 7.3) {
        double at[2], direction[2];
        nrw_channel_route_point(setup.channel, s, at, direction);
        cr_assert_float_eq(nrw_channel_route_project_um(setup.channel, at[0], at[1]), s,
                           ROUNDING_UM);
        cr_assert_float_eq(hypot(direction[0], direction[1]), 1.0, ROUNDING_UM);
        /* Ten micrometres aside the projection stays, except around the bend. */
        if (fabs(s - 400.0) > 5.0 && fabs(s - 400.0 - hypot(100, 20)) > 5.0)
            cr_assert_float_eq(nrw_channel_route_project_um(setup.channel,
                                                            at[0] - 10 * direction[1],
                                                            at[1] + 10 * direction[0]),
                               s, ROUNDING_UM);
    }
    channel_setup_clear(&setup);
}

Test(route, throat_of_the_example_lies_where_its_width_crosses_the_gathered_diameter)
{
    channel_setup setup = channel_setup_good(CHANNEL_EXAMPLE);
    double gathered = nrw_scenario_gathered_diameter_um(setup.scenario);
    cr_expect_float_eq(gathered, 3.0 * sqrt(150 / 0.8), ROUNDING_UM);
    size_t n;
    const nrw_throat *throat = nrw_channel_throats(setup.channel, &n);
    cr_assert_eq(n, 1);
    double length = hypot(100, 20) + hypot(400, 20), share = (220 - gathered) / 204.0;
    cr_expect_float_eq(throat->entry_um, 400 + 0.3 * length * share, ROUNDING_UM);
    cr_expect_float_eq(throat->exit_um, 400 + length * (0.8 - 0.3 * share), ROUNDING_UM);
    cr_expect_float_eq(throat->narrowest_um, 16.0, ROUNDING_UM);
    cr_expect_float_eq(throat->at_route_um, 400 + 0.4 * length, ROUNDING_UM);
    double at[2];
    nrw_channel_route_point(setup.channel, throat->at_route_um, at, NULL);
    cr_expect_float_eq(throat->at_um[0], at[0], ROUNDING_UM);
    cr_expect_float_eq(throat->at_um[1], at[1], ROUNDING_UM);
    double narrowest = nrw_channel_narrowest_um(setup.channel, at);
    cr_expect_float_eq(narrowest, 16.0, ROUNDING_UM);
    cr_expect_float_eq(at[0], throat->at_um[0], ROUNDING_UM);
    channel_setup_clear(&setup);
}

Test(route, throats_in_series_and_steps_are_told_apart)
{
    channel_setup setup = channel_setup_good(
        "channel:\n"
        "  depth_um: 60\n"
        "  nodes: {a: {at_um: [0, 0]}, b: {at_um: [1000, 0]}}\n"
        "  vessels:\n"
        "    - {from: a, to: b, width_um: [[0, 100], [0.2, 100], [0.2, 12], [0.3, 12], [0.3, "
        "100],\n"
        "       [0.5, 100], [0.5, 30], [0.6, 15], [0.7, 30], [0.7, 100], [0.9, 41.2], [1, 20]]}\n"
        "release: {at_um: [100, 0], radius_um: 34}\n"
        "target: {node: b, radius_um: 34}\n");
    size_t n;
    const nrw_throat *throats = nrw_channel_throats(setup.channel, &n);
    cr_assert_eq(n, 3);
    cr_expect_float_eq(throats[0].entry_um, 100.0, ROUNDING_UM);
    cr_expect_float_eq(throats[0].exit_um, 200.0, ROUNDING_UM);
    cr_expect_float_eq(throats[0].narrowest_um, 12.0, ROUNDING_UM);
    cr_expect_float_eq(throats[0].at_route_um, 150.0, ROUNDING_UM);
    cr_expect_float_eq(throats[1].entry_um, 400.0, ROUNDING_UM);
    cr_expect_float_eq(throats[1].exit_um, 600.0, ROUNDING_UM);
    cr_expect_float_eq(throats[1].narrowest_um, 15.0, ROUNDING_UM);
    cr_expect_float_eq(throats[1].at_um[0], 600.0, ROUNDING_UM);
    /* The last one runs on to the end of the route. */
    cr_expect(throats[2].entry_um > 800.0 && throats[2].entry_um < 810.0);
    cr_expect_float_eq(throats[2].exit_um, 900.0, ROUNDING_UM);
    cr_expect_float_eq(throats[2].narrowest_um, 20.0, ROUNDING_UM);
    channel_setup_clear(&setup);
}

Test(route, start_positions_begin_it_where_no_release_is_given)
{
    channel_setup setup = channel_setup_good(SQUARE "release: {at_um: [100, 0], radius_um: 5}\n"
                                                    "target: {at_um: [300, 150], radius_um: 5}\n");
    nrw_particles *particles = &setup.scenario->particles;
    double positions[2][3] = {{40, 3, NAN}, {60, 5, NAN}};
    particles->positions_um = positions;
    particles->count = 2;
    setup.scenario->has_release = false;
    nrw_channel *channel;
    cr_assert_eq(nrw_channel_create(setup.scenario, &channel, &setup.errors), NRW_OK);
    double at[2];
    nrw_channel_route_point(channel, 0.0, at, NULL);
    cr_expect_float_eq(at[0], 50.0, ROUNDING_UM);
    cr_expect_float_eq(at[1], 4.0, ROUNDING_UM);
    nrw_channel_destroy(channel);
    particles->positions_um = NULL;
    channel_setup_clear(&setup);
}

Test(route, node_without_a_vessel_stands_for_its_nearest_point)
{
    channel_setup setup = channel_setup_good(
        "channel:\n"
        "  depth_um: 60\n"
        "  nodes: {a: {at_um: [0, 0]}, b: {at_um: [300, 0]}, mark: {at_um: [120, 11]}}\n"
        "  vessels: [{from: a, to: b, width_um: 40}]\n"
        "release: {at_um: [50, 0], radius_um: 15}\n"
        "target: {node: mark, radius_um: 5}\n");
    cr_expect_float_eq(nrw_channel_route_length_um(setup.channel), 70 + 11, ROUNDING_UM);
    cr_expect_float_eq(node_s(&setup, "mark"), 81.0, ROUNDING_UM);
    channel_setup_clear(&setup);
}
