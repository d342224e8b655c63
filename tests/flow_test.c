/* The flow through a channel: profiles, rates and branches, pulses, ends; and what it
 * does to particles. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "drawn_map.h"
#include "flow.h"
#include "flow_duct.h"
#include "flow_shear.h"
#include "mobility.h"
#include "run.h"
#include "small_setup.h"
#include "temporary_folder.h"

#define NL_MIN (1e6 / 60) /* µm³/s */

static const char STRAIGHT[] = "  nodes: {in: {at_um: [-200, 0]}, out: {at_um: [400, 0]}}\n"
                               "  vessels: [{from: in, to: out, width_um: 220}]\n";

/* Target and flow; no release: positions are put in by hand. */
#define PLACES                                                                                     \
    "release: {at_um: [0, 0], radius_um: 30}\n"                                                    \
    "target: {at_um: [300, 0], radius_um: 20}\n"

static small_setup setup_of(const char *channel, const char *rest)
{
    char *text = drawn_yaml(channel, rest);
    small_setup setup = small_setup_of(text);
    free(text);
    setup.scenario->model.brownian = false;
    setup.scenario->model.pair_flow = false;
    return setup;
}

static small_setup straight(const char *flow)
{
    char rest[512];
    (void)snprintf(rest, sizeof rest, PLACES "flow: %s\n", flow);
    return setup_of(STRAIGHT, rest);
}

static void put(const small_setup *setup, size_t n, const double (*at_um)[3])
{
    nrw_particles *particles = &setup->scenario->particles;
    particles->count = n;
    particles->positions_um = malloc(n * sizeof *particles->positions_um);
    memcpy(particles->positions_um, at_um, n * sizeof *at_um);
}

static void assert_near(double got, double wanted, double tolerance)
{
    cr_assert(fabs(got - wanted) <= tolerance, "%.10g against %.10g", got, wanted);
}

/* --- velocities -------------------------------------------------------------------------- */

Test(flow, a_straight_vessel_has_the_ducts_profile)
{
    small_setup setup = straight("{inlets: [{node: in, rate_nl_min: 8}], outlets: [{node: out}]}");
    const nrw_flow *flow = nrw_channel_flow(setup.channel);
    nrw_flow_now now = nrw_flow_at_time(flow, 0, 1);
    double gradient = 8 * NL_MIN / nrw_duct_conductance_um4(220, 60), slope[2];
    double most = gradient * nrw_duct_profile_um2(220, 60, 0, 30, NULL);
    for (double x = -150; x < 360; x += 83)
        for (double y = -105; y < 106; y += 15)
            for (double z = 1.6; z < 59; z += 8) {
                nrw_flow_local got = nrw_flow_at(flow, &now, (double[3]){x, y, z});
                double u = gradient * nrw_duct_profile_um2(220, 60, y, z, slope);
                /* eight cells across, faces' means: 0.2 % of the pressure's fall, and the
                 * wall's distance to single precision */
                assert_near(got.velocity_um_s[0], u, 0.003 * u + 1e-4 * most);
                assert_near(got.velocity_um_s[1], 0, 1e-3 * most);
                assert_near(got.spin_per_s[0], 0, 1e-3);
                assert_near(got.spin_per_s[1], 0.5 * gradient * slope[1], 0.002);
                assert_near(got.spin_per_s[2], -0.5 * gradient * slope[0], 0.002);
            }
    small_setup_clear(&setup);
}

/* Flow along x through the cross-section at x between two heights of y. */
static double flux(const small_setup *setup, double x, double y0, double y1)
{
    enum { ACROSS = 400, UP = 40 };
    const nrw_flow *flow = nrw_channel_flow(setup->channel);
    nrw_flow_now now = nrw_flow_at_time(flow, 0, 1);
    double sum = 0, depth = setup->scenario->map.depth_um;
    for (int i = 0; i < ACROSS; i++)
        for (int j = 0; j < UP; j++) {
            double at[3] = {x, y0 + (y1 - y0) * (i + 0.5) / ACROSS, depth * (j + 0.5) / UP};
            sum += nrw_flow_at(flow, &now, at).velocity_um_s[0];
        }
    return sum * (y1 - y0) / ACROSS * depth / UP;
}

static const char FORK[] = "  nodes:\n"
                           "    in: {at_um: [-300, 0]}\n"
                           "    fork: {at_um: [0, 0]}\n"
                           "    up: {at_um: [300, 150]}\n"
                           "    down: {at_um: [300, -150]}\n"
                           "    up out: {at_um: [600, 150]}\n"
                           "    down out: {at_um: [600, -150]}\n"
                           "  vessels:\n"
                           "    - {from: in, to: fork, width_um: 80}\n"
                           "    - {from: fork, to: up, width_um: 60}\n"
                           "    - {from: fork, to: down, width_um: [[0, 60], [0.5, 30], [1, 60]]}\n"
                           "    - {from: up, to: up out, width_um: 60}\n"
                           "    - {from: down, to: down out, width_um: 60}\n";
#define FORK_PLACES                                                                                \
    "release: {at_um: [-150, 0], radius_um: 20}\n"                                                 \
    "target: {node: up out, radius_um: 20}\n"                                                      \
    "flow: {inlets: [{node: in, rate_nl_min: 3}],\n"                                               \
    "       outlets: [{node: up out}, {node: down out}]}\n"

Test(flow, rates_of_vessels_balance_and_the_field_carries_them)
{
    small_setup setup = setup_of(FORK, FORK_PLACES);
    const nrw_flow *flow = nrw_channel_flow(setup.channel);
    nrw_flow_now now = nrw_flow_at_time(flow, 0, 1);
    double rate[5];
    for (size_t v = 0; v < 5; v++)
        rate[v] = nrw_flow_vessel_um3_s(flow, &now, v);
    assert_near(rate[0], 3 * NL_MIN, 1e-9);
    assert_near(rate[1] + rate[2], rate[0], 1e-9);
    assert_near(rate[3], rate[1], 1e-9);
    cr_assert(rate[1] > 1.2 * rate[2]);
    cr_assert_lt(nrw_flow_figures_of(flow).imbalance, 1e-15);
    /* cross-sections of sums 0.2 % coarse, staircase walls */
    assert_near(flux(&setup, -150, -40, 40) / rate[0], 1, 0.005);
    assert_near(flux(&setup, 450, 110, 190) / rate[3], 1, 0.01);
    assert_near(flux(&setup, 450, -190, -110) / rate[4], 1, 0.01);
    assert_near(flux(&setup, 150, 20, 150) / rate[1], 1, 0.02);
    assert_near(flux(&setup, 150, -150, -20) / rate[2], 1, 0.02);
    small_setup_clear(&setup);
}

/* Follows the flow at one height until it is past x; the y there. */
static double follow(const small_setup *setup, double x, double y, double z, double past)
{
    const nrw_flow *flow = nrw_channel_flow(setup->channel);
    nrw_flow_now now = nrw_flow_at_time(flow, 0, 1);
    for (int k = 0; k < 4000 && x < past; k++) {
        const double step_um = 1;
        nrw_flow_local a = nrw_flow_at(flow, &now, (double[3]){x, y, z});
        double speed = hypot(a.velocity_um_s[0], a.velocity_um_s[1]);
        cr_assert_gt(speed, 0, "stuck at %g, %g", x, y);
        double half = 0.5 * step_um / speed;
        nrw_flow_local b = nrw_flow_at(
            flow, &now,
            (double[3]){x + half * a.velocity_um_s[0], y + half * a.velocity_um_s[1], z});
        x += 2 * half * b.velocity_um_s[0];
        y += 2 * half * b.velocity_um_s[1];
    }
    return y;
}

Test(flow, streamlines_branch_as_the_rates_do)
{
    enum { LINES = 76 };
    small_setup setup = setup_of(FORK, FORK_PLACES);
    const nrw_flow *flow = nrw_channel_flow(setup.channel);
    nrw_flow_now now = nrw_flow_at_time(flow, 0, 1);
    double up = 0, all = 0;
    for (int i = 0; i < LINES; i++) {
        double y = -38 + (i + 0.5) * 76 / LINES;
        double u = nrw_flow_at(flow, &now, (double[3]){-150, y, 30}).velocity_um_s[0];
        double end = follow(&setup, -150, y, 30, 450);
        all += u;
        if (end > 0)
            up += u;
        cr_assert(fabs(fabs(end) - 150) < 30, "ends at %g", end);
    }
    /* at mid height the profile across is a little fuller than its mean over the depth;
     * 76 lines place the parting one to 1.3 % */
    double share = nrw_flow_vessel_um3_s(flow, &now, 1) / nrw_flow_vessel_um3_s(flow, &now, 0);
    assert_near(up / all, share, 0.03);
    small_setup_clear(&setup);
}

Test(flow, nothing_flows_into_a_dead_end)
{
    small_setup setup = setup_of("  nodes:\n"
                                 "    in: {at_um: [-300, 0]}\n"
                                 "    side: {at_um: [0, 0]}\n"
                                 "    end: {at_um: [0, 300]}\n"
                                 "    out: {at_um: [300, 0]}\n"
                                 "  vessels:\n"
                                 "    - {from: in, to: side, width_um: 80}\n"
                                 "    - {from: side, to: out, width_um: 80}\n"
                                 "    - {from: side, to: end, width_um: 60}\n",
                                 "release: {at_um: [-150, 0], radius_um: 20}\n"
                                 "target: {at_um: [200, 0], radius_um: 20}\n"
                                 "flow: {inlets: [{node: in, rate_nl_min: 3}],\n"
                                 "       outlets: [{node: out}]}\n");
    const nrw_flow *flow = nrw_channel_flow(setup.channel);
    nrw_flow_now now = nrw_flow_at_time(flow, 0, 1);
    cr_assert_eq(nrw_flow_vessel_um3_s(flow, &now, 2), 0);
    double along = nrw_flow_at(flow, &now, (double[3]){-100, 0, 30}).velocity_um_s[0];
    nrw_flow_local in = nrw_flow_at(flow, &now, (double[3]){0, 200, 30});
    cr_assert(hypot(in.velocity_um_s[0], in.velocity_um_s[1]) < 1e-3 * along);
    small_setup_clear(&setup);
}

/* --- what drives it --------------------------------------------------------------------- */

Test(flow, pressures_drive_through_tubing_and_vessel)
{
    small_setup setup =
        straight("{inlets: [{node: in, pressure_Pa: 5, tube: {radius_um: 30, length_mm: 10}}],\n"
                 "       outlets: [{node: out, pressure_Pa: 1}]}");
    const nrw_flow *flow = nrw_channel_flow(setup.channel);
    double viscosity = setup.scenario->fluid.viscosity_Pa_s;
    double tube = nrw_tube_resistance(1e4, 30, viscosity);
    double vessel = nrw_duct_resistance(600, 220, 60, viscosity);
    nrw_flow_now now = nrw_flow_at_time(flow, 0, 1), thick = nrw_flow_at_time(flow, 0, 1.5);
    double rate = nrw_flow_vessel_um3_s(flow, &now, 0);
    assert_near(rate, 4 / (tube + vessel), 1e-9 * rate);
    assert_near(nrw_flow_node_Pa(flow, &now, 0), 1 + rate * vessel, 1e-9);
    assert_near(nrw_flow_node_Pa(flow, &now, 1), 1, 1e-12);
    assert_near(nrw_flow_vessel_um3_s(flow, &thick, 0), rate / 1.5, 1e-9 * rate);
    double at[3] = {0, 0, 30};
    assert_near(nrw_flow_at(flow, &thick, at).velocity_um_s[0],
                nrw_flow_at(flow, &now, at).velocity_um_s[0] / 1.5, 1e-12);
    small_setup_clear(&setup);
}

Test(flow, given_rates_dont_ask_for_the_viscosity)
{
    small_setup setup = straight("{inlets: [{node: in, rate_nl_min: 2}], outlets: [{node: out}]}");
    const nrw_flow *flow = nrw_channel_flow(setup.channel);
    nrw_flow_now thick = nrw_flow_at_time(flow, 0, 3);
    assert_near(nrw_flow_vessel_um3_s(flow, &thick, 0), 2 * NL_MIN, 1e-9);
    cr_assert_eq(nrw_flow_step_max_s(flow), INFINITY);
    small_setup_clear(&setup);
}

Test(flow, pulses_swing_about_the_steady_rate_and_may_turn_it_round)
{
    small_setup setup = straight("{inlets: [{node: in, rate_nl_min: 2, amplitude_nl_min: 3,\n"
                                 "                 frequency_Hz: 0.5, phase_deg: 90}],\n"
                                 "       outlets: [{node: out}]}");
    const nrw_flow *flow = nrw_channel_flow(setup.channel);
    static const double times[][2] = {{0, 5}, {0.5, 2}, {1, -1}, {1.5, 2}, {2, 5}};
    for (size_t i = 0; i < sizeof times / sizeof *times; i++) {
        nrw_flow_now now = nrw_flow_at_time(flow, times[i][0], 1);
        assert_near(nrw_flow_vessel_um3_s(flow, &now, 0), times[i][1] * NL_MIN, 1e-8);
        double u = nrw_flow_at(flow, &now, (double[3]){0, 0, 30}).velocity_um_s[0];
        double wanted = times[i][1] * NL_MIN / nrw_duct_conductance_um4(220, 60) *
                        nrw_duct_profile_um2(220, 60, 0, 30, NULL);
        assert_near(u, wanted, 0.003 * fabs(wanted));
    }
    assert_near(nrw_flow_step_max_s(flow), 2.0 / 16, 1e-12);
    cr_assert(nrw_flow_figures_of(flow).womersley_number > 0.01);
    small_setup_clear(&setup);
}

Test(flow, what_flows_in_must_flow_out)
{
    char *text = drawn_yaml(STRAIGHT, PLACES "flow: {inlets: [{node: in, rate_nl_min: 2}],\n"
                                             "       outlets: [{node: out, rate_nl_min: 1}]}\n");
    nrw_errors errors;
    nrw_errors_init(&errors);
    nrw_scenario *scenario;
    nrw_channel *channel;
    cr_assert_eq(nrw_scenario_parse(text, strlen(text), "f.yaml", &scenario, &errors), NRW_OK);
    cr_assert_eq(nrw_channel_create(scenario, &channel, &errors), NRW_BAD_INPUT);
    cr_assert_eq(errors.n_items, 1);
    cr_assert_str_eq(errors.items[0].key, "flow");
    cr_assert_eq(errors.items[0].line, 14);
    cr_assert(strstr(errors.items[0].what, "does not flow out"));
    nrw_errors_clear(&errors);
    nrw_scenario_destroy(scenario);
    free(text);
}

/* --- pictures ------------------------------------------------------------------------------ */

Test(flow, a_drawn_map_carries_the_flow_of_the_same_vessels)
{
    char folder[256], path[512], block[1024];
    temporary_folder_make(folder);
    small_setup given = setup_of(FORK, FORK_PLACES);
    double origin[2];
    nrw_picture picture = drawn_channel(given.channel, 1.5, true, origin);
    drawn_write_pgm(&picture, path_join(path, folder, "fork.pgm"));
    nrw_picture_clear(&picture);
    /* the open ends were drawn one width long; the nodes cut them off */
    (void)snprintf(block, sizeof block,
                   "%.*s  mask: {file: fork.pgm, pixel_um: 1.5, origin_um: [%.17g, %.17g]}\n",
                   (int)(strstr(FORK, "  vessels") - FORK), FORK, origin[0], origin[1]);
    char *text = drawn_yaml(block, FORK_PLACES);
    small_setup drawn = {drawn_scenario(text, folder), NULL};
    drawn.channel = drawn_channel_of(drawn.scenario);
    free(text);
    temporary_folder_remove(folder);
    nrw_flow_now now = {0};
    static const double places[][3] = {
        {-150, 0, 30}, {-150, 25, 10}, {150, 75, 30}, {150, 80, 5}, {450, 140, 20}, {450, -150, 30},
    };
    for (size_t i = 0; i < sizeof places / sizeof *places; i++) {
        double speeds[2];
        for (int k = 0; k < 2; k++) {
            const nrw_flow *flow = nrw_channel_flow(k ? drawn.channel : given.channel);
            now = nrw_flow_at_time(flow, 0, 1);
            nrw_flow_local at = nrw_flow_at(flow, &now, places[i]);
            speeds[k] = hypot(at.velocity_um_s[0], at.velocity_um_s[1]);
        }
        /* a tenth of a pixel in the width of 30 µm, and lines a pixel aside */
        cr_assert(fabs(speeds[1] / speeds[0] - 1) < 0.03, "%zu: %g against %g", i, speeds[1],
                  speeds[0]);
    }
    small_setup_clear(&given);
    small_setup_clear(&drawn);
}

/* --- particles -------------------------------------------------------------------------------- */

Test(flow, lone_spheres_go_as_fast_as_theory_says)
{
    small_setup setup = straight("{inlets: [{node: in, rate_nl_min: 8}], outlets: [{node: out}]}");
    setup.scenario->model.gravity = false;
    setup.scenario->particles.surface_potential_mV = 0;
    const double at[][3] = {{0, 0, 1.6}, {0, 50, 2.5}, {0, -50, 10}, {-60, 0, 30}, {-60, 50, 57}};
    put(&setup, 5, at);
    nrw_world *world = small_world(&setup, false);
    const nrw_field none = {0};
    nrw_excitation excitation = small_excitation(world, &none);
    small_advance(world, &excitation, 5, 0.016);
    double gradient = 8 * NL_MIN / nrw_duct_conductance_um4(220, 60);
    for (int i = 0; i < 5; i++) {
        double low = fmin(at[i][2], 60 - at[i][2]), delta = low / 1.5 - 1;
        nrw_floor_mobility m = nrw_floor_mobility_exact(delta);
        double factor = nrw_shear_motion_of(delta, m.mt, m.mr, m.rolling).velocity;
        double wanted = factor * gradient * nrw_duct_profile_um2(220, 60, at[i][1], at[i][2], NULL);
        assert_near((world->x[i] - at[i][0]) / 5, wanted, 0.004 * wanted);
        assert_near(world->y[i], at[i][1], 0.1);
        assert_near(world->z[i], at[i][2], 0.01);
    }
    nrw_world_destroy(world);
    small_setup_clear(&setup);
}

/* A free sphere turns by half the vorticity: with no field, a permanent moment in the
 * middle height, a quarter of the width aside, turns about z. */
Test(flow, moments_without_a_field_turn_with_the_fluid)
{
    small_setup setup = straight("{inlets: [{node: in, rate_nl_min: 8}], outlets: [{node: out}]}");
    setup.scenario->model.gravity = false;
    const double at[][3] = {{0, 90, 30}};
    put(&setup, 1, at);
    small_setup_permanent(&setup, 30, (double[]){0});
    nrw_world *world = small_world(&setup, true);
    const nrw_field none = {0};
    nrw_excitation excitation = small_excitation(world, &none);
    small_advance(world, &excitation, 4, 0.002);
    double slope[2];
    (void)nrw_duct_profile_um2(220, 60, 90, 30, slope);
    double turned = -0.5 * slope[0] * 8 * NL_MIN / nrw_duct_conductance_um4(220, 60) * 4;
    cr_assert_gt(turned, 0.1);
    assert_near(atan2(world->uy[0], world->ux[0]), turned, 0.01 * turned);
    nrw_world_destroy(world);
    small_setup_clear(&setup);
}

static nrw_run_result run_off(const small_setup *setup, double seconds)
{
    nrw_leg leg = nrw_leg_defaults();
    leg.drive.main.mode = NRW_DRIVE_OFF;
    nrw_schedule schedule = {.legs = &leg, .n_legs = 1};
    setup->scenario->deadline_s = seconds;
    nrw_run_config config = nrw_run_config_defaults();
    nrw_run_result result;
    nrw_errors errors;
    nrw_errors_init(&errors);
    nrw_status status =
        nrw_run(setup->scenario, setup->channel, &schedule, &config, &result, &errors);
    cr_assert_eq(status, NRW_OK, "%s", errors.n_items ? errors.items[0].what : "");
    nrw_errors_clear(&errors);
    return result;
}

Test(flow, those_past_an_outlet_are_washed_out_and_the_others_go_on)
{
    small_setup setup = straight("{inlets: [{node: in, rate_nl_min: 8}], outlets: [{node: out}]}");
    setup.scenario->model.gravity = false;
    /* 17 µm/s in the middle: numbers 1 and 3 leave after 0.6 and 3 s */
    const double at[][3] = {{0, 0, 30}, {390, 0, 30}, {-50, 40, 20}, {350, 0, 30}, {0, 40, 30}};
    put(&setup, 5, at);
    nrw_run_result result = run_off(&setup, 8);
    static const nrw_fate fates[] = {NRW_FATE_IN_TRANSIT, NRW_FATE_WASHED_OUT, NRW_FATE_SCATTERED,
                                     NRW_FATE_WASHED_OUT, NRW_FATE_SCATTERED};
    for (int i = 0; i < 5; i++) {
        cr_assert_eq(result.fates[i] == NRW_FATE_WASHED_OUT, fates[i] == NRW_FATE_WASHED_OUT);
        bool gone = result.fates[i] == NRW_FATE_WASHED_OUT;
        if (gone) {
            /* they stand where they were found beyond the end */
            cr_assert(result.x_um[i] > 400 && result.x_um[i] < 401, "%g", result.x_um[i]);
            cr_assert_eq(result.causes[i], NRW_LOSS_SWEPT);
        }
    }
    assert_near(result.fate_fraction[NRW_FATE_WASHED_OUT], 0.4, 1e-12);
    /* what the others did is what they do alone */
    small_setup alone = straight("{inlets: [{node: in, rate_nl_min: 8}], outlets: [{node: out}]}");
    alone.scenario->model.gravity = false;
    const double rest[][3] = {{0, 0, 30}, {-50, 40, 20}, {0, 40, 30}};
    put(&alone, 3, rest);
    nrw_run_result fewer = run_off(&alone, 8);
    for (int i = 0; i < 3; i++) {
        static const int number[3] = {0, 2, 4};
        assert_near(result.x_um[number[i]], fewer.x_um[i], 1e-3);
        assert_near(result.y_um[number[i]], fewer.y_um[i], 1e-3);
    }
    nrw_run_result_clear(&fewer);
    nrw_run_result_clear(&result);
    small_setup_clear(&alone);
    small_setup_clear(&setup);
}

Test(flow, a_run_goes_on_when_all_have_left)
{
    small_setup setup = straight("{inlets: [{node: in, rate_nl_min: 8}], outlets: [{node: out}]}");
    setup.scenario->model.gravity = false;
    const double at[][3] = {{385, 0, 30}, {390, 10, 30}};
    put(&setup, 2, at);
    nrw_run_result result = run_off(&setup, 5);
    assert_near(result.time_s, 5, 1e-9);
    assert_near(result.fate_fraction[NRW_FATE_WASHED_OUT], 1, 0);
    cr_assert(isfinite(result.path_um));
    cr_assert(!result.final.visible);
    nrw_run_result_clear(&result);
    small_setup_clear(&setup);
}

Test(flow, ends_lie_at_the_nodes_and_before_a_pictures_wall)
{
    small_setup setup = straight("{inlets: [{node: in, rate_nl_min: 8}], outlets: [{node: out}]}");
    const nrw_flow *flow = nrw_channel_flow(setup.channel);
    cr_assert_eq(nrw_flow_end_passed(flow, 399, 0), -1);
    cr_assert_eq(nrw_flow_end_passed(flow, 401, 100), 1);
    cr_assert_eq(nrw_flow_end_passed(flow, 401, 111), -1);
    cr_assert_eq(nrw_flow_end_passed(flow, -199, 0), -1);
    cr_assert_eq(nrw_flow_end_passed(flow, -201, 0), 0);
    small_setup_clear(&setup);
}
