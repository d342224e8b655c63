#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "fate.h"
#include "small_setup.h"

/* One throat of 16 µm between 515 and 615 µm or so, a side branch at 300 µm, target
 * around (900, 0). */
static const char yaml[] = "format: narrows-scenario/1\n"
                           "title: one throat and a side branch\n"
                           "fluid: {medium: water, temperature_C: 25}\n"
                           "particles:\n"
                           "  count: 150\n"
                           "  diameter_um: 3.0\n"
                           "  density_kg_m3: 1800\n"
                           "  magnetics: {kind: induced, susceptibility: 0.30}\n"
                           "channel:\n"
                           "  depth_um: 60\n"
                           "  nodes:\n"
                           "    inlet:   {at_um: [-200, 0]}\n"
                           "    release: {at_um: [0, 0]}\n"
                           "    fork:    {at_um: [300, 0]}\n"
                           "    blind:   {at_um: [300, 500]}\n"
                           "    end:     {at_um: [900, 0]}\n"
                           "    outlet:  {at_um: [1100, 0]}\n"
                           "  vessels:\n"
                           "    - {from: inlet, to: release, width_um: 220}\n"
                           "    - {from: release, to: fork, width_um: 220}\n"
                           "    - {from: fork, to: blind, width_um: 100}\n"
                           "    - {from: fork, to: end, width_um: [[0, 220], [0.3, 220], [0.36, "
                           "16], [0.5, 16], [0.6, 220]]}\n"
                           "    - {from: end, to: outlet, width_um: 220}\n"
                           "release: {node: release, radius_um: 34}\n"
                           "target: {node: end, radius_um: 60}\n"
                           "deadline_s: 100\n";

enum { MOST = 8 };

static small_setup setup;
static nrw_throat throat;
static double x[MOST], y[MOST];
static nrw_fate fates[MOST];
static uint8_t in_largest[MOST], causes[MOST];
static nrw_run_result result;

static void begin(void)
{
    setup = small_setup_of(yaml);
    size_t n_throats;
    const nrw_throat *throats = nrw_channel_throats(setup.channel, &n_throats);
    cr_assert_eq(n_throats, 1u);
    throat = throats[0];
    memset(&result, 0, sizeof result);
    memset(in_largest, 0, sizeof in_largest);
}

static void end(void)
{
    /* only the losses are the result's own here */
    free(result.losses);
    small_setup_clear(&setup);
}

TestSuite(fate, .init = begin, .fini = end);

static void judge(size_t n, const double (*at)[2], const uint8_t *stuck, const uint8_t *washed)
{
    for (size_t i = 0; i < n; i++) {
        x[i] = at[i][0];
        y[i] = at[i][1];
    }
    result.n_particles = n;
    result.x_um = x;
    result.y_um = y;
    result.fates = fates;
    result.causes = causes;
    cr_assert_eq(
        nrw_fate_judge(setup.scenario, setup.channel, in_largest, stuck, washed, &result, NULL),
        NRW_OK);
}

Test(fate, each_is_the_first_that_fits)
{
    const double at[6][2] = {{890, 20}, {890, 20}, {890, 20}, {200, 0}, {1000, 0}, {1000, 10}};
    const uint8_t stuck[6] = {1, 0, 0, 0, 0, 0}, washed[6] = {1, 1, 0, 0, 0, 0};
    in_largest[3] = in_largest[4] = 1;
    judge(6, at, stuck, washed);
    const nrw_fate expected[6] = {NRW_FATE_WALL,        NRW_FATE_WASHED_OUT, NRW_FATE_DELIVERED,
                                  NRW_FATE_LEFT_BEHIND, NRW_FATE_IN_TRANSIT, NRW_FATE_SCATTERED};
    for (int i = 0; i < 6; i++) {
        cr_assert_eq(fates[i], expected[i], "particle %d: %s", i, nrw_fate_name(fates[i]));
        cr_assert_float_eq(result.fate_fraction[expected[i]], 1.0 / 6.0, 1e-15);
    }
}

Test(fate, fractions_sum_to_one_and_losses_to_the_rest)
{
    const double at[8][2] = {{890, 20},  {900, 0},  {480, 3},   {480, -3},
                             {560, 0.5}, {200, 50}, {1000, 10}, {300, 300}};
    judge(8, at, NULL, NULL);
    double fates_sum = 0.0, losses_sum = 0.0;
    for (int k = 0; k < NRW_N_FATES; k++)
        fates_sum += result.fate_fraction[k];
    for (size_t k = 0; k < result.n_losses; k++)
        losses_sum += result.losses[k].fraction;
    cr_assert_float_eq(fates_sum, 1.0, 1e-15);
    cr_assert_float_eq(losses_sum, 1.0 - result.fate_fraction[NRW_FATE_DELIVERED], 1e-15);
    cr_assert_float_eq(result.fate_fraction[NRW_FATE_DELIVERED], 0.25, 1e-15);
}

Test(fate, the_target_s_rim_counts_as_inside)
{
    const double at[2][2] = {{900.0 + 60.0, 0}, {900.0 + 60.0001, 0}};
    judge(2, at, NULL, NULL);
    cr_assert_eq(fates[0], NRW_FATE_DELIVERED);
    cr_assert_neq(fates[1], NRW_FATE_DELIVERED);
}

Test(fate, passing_the_last_throat_is_past_its_far_end)
{
    /* the route runs along y = 0 from x = 0 */
    const double at[2][2] = {{throat.exit_um - 0.5, 0}, {throat.exit_um + 0.5, 0}};
    judge(2, at, NULL, NULL);
    cr_assert_eq(fates[0], NRW_FATE_LEFT_BEHIND);
    cr_assert_eq(fates[1], NRW_FATE_SCATTERED);
}

static nrw_loss_cause cause_at(double at_x, double at_y)
{
    const double at[1][2] = {{at_x, at_y}};
    free(result.losses);
    memset(&result, 0, sizeof result);
    judge(1, at, NULL, NULL);
    cr_assert_eq(result.n_losses, 1u);
    cr_assert_eq(causes[0], (uint8_t)result.losses[0].cause);
    cr_assert_float_eq(result.losses[0].at_um[0], at_x, 1e-12);
    cr_assert_float_eq(result.losses[0].at_um[1], at_y, 1e-12);
    return result.losses[0].cause;
}

Test(fate, losses_are_told_apart_by_where_they_lie)
{
    /* before the mouth, within one gathered diameter (41 µm), on the axis */
    cr_assert_eq(cause_at(throat.entry_um - 10.0, 1.0), NRW_LOSS_PLUGGED);
    cr_assert_str_eq(result.losses[0].place, "throat 1");
    cr_assert_eq(cause_at(throat.at_route_um, 0.0), NRW_LOSS_IN_THROAT);
    cr_assert_str_eq(result.losses[0].place, "throat 1");
    cr_assert_eq(cause_at(200.0, 60.0), NRW_LOSS_OTHER);
    cr_assert_str_eq(result.losses[0].place, "release to fork");
    cr_assert_eq(cause_at(300.0, 350.0), NRW_LOSS_WRONG_BRANCH);
    cr_assert_str_eq(result.losses[0].place, "fork to blind");
    cr_assert_eq(cause_at(1000.0, 5.0), NRW_LOSS_PAST_BUT_APART);
    /* on the funnel's shoulder: beside the axis and at the wall */
    const double before = throat.entry_um - 15.0;
    double wall = 0.0;
    while (nrw_channel_distance_um(setup.channel, before, wall, NULL) > 3.0)
        wall += 0.5;
    cr_assert_gt(wall, 17.0);
    cr_assert_eq(cause_at(before, wall), NRW_LOSS_POCKET);
}

Test(fate, stuck_and_swept_are_causes_of_their_own)
{
    const double at[2][2] = {{200, 0}, {1090, 0}};
    const uint8_t stuck[2] = {1, 0}, washed[2] = {0, 1};
    judge(2, at, stuck, washed);
    cr_assert_eq(causes[0], (uint8_t)NRW_LOSS_STUCK);
    cr_assert_eq(causes[1], (uint8_t)NRW_LOSS_SWEPT);
}

Test(fate, losses_of_one_place_and_cause_are_put_together_largest_first)
{
    const double at[4][2] = {{200, 60}, {560, 0}, {570, 0}, {565, 0}};
    judge(4, at, NULL, NULL);
    cr_assert_eq(result.n_losses, 2u);
    cr_assert_eq(result.losses[0].cause, NRW_LOSS_IN_THROAT);
    cr_assert_float_eq(result.losses[0].fraction, 0.75, 1e-15);
    cr_assert_float_eq(result.losses[0].at_um[0], 565.0, 1e-9);
    cr_assert_float_eq(result.losses[1].fraction, 0.25, 1e-15);
}

Test(fate, without_a_throat_nothing_is_left_behind)
{
    small_setup open = small_setup_open(1, NULL);
    const double at[2][2] = {{10, 0}, {20, 0}};
    in_largest[1] = 1;
    for (int i = 0; i < 2; i++) {
        x[i] = at[i][0];
        y[i] = at[i][1];
    }
    result.n_particles = 2;
    result.x_um = x;
    result.y_um = y;
    result.fates = fates;
    cr_assert_eq(nrw_fate_judge(open.scenario, open.channel, in_largest, NULL, NULL, &result, NULL),
                 NRW_OK);
    cr_assert_eq(fates[0], NRW_FATE_SCATTERED);
    cr_assert_eq(fates[1], NRW_FATE_IN_TRANSIT);
    for (size_t k = 0; k < result.n_losses; k++)
        cr_assert_str_eq(result.losses[k].place, "open");
    small_setup_clear(&open);
}

Test(fate, names_are_those_of_the_contract)
{
    const char *const names[] = {"wall",        "washed_out", "delivered",
                                 "left_behind", "in_transit", "scattered"};
    for (int k = 0; k < NRW_N_FATES; k++)
        cr_assert_str_eq(nrw_fate_name((nrw_fate)k), names[k]);
    const char *const losses[] = {"plugged",        "pocket", "in_throat", "wrong_branch",
                                  "past_but_apart", "stuck",  "swept",     "other"};
    for (int k = 0; k < NRW_N_LOSS_CAUSES; k++)
        cr_assert_str_eq(nrw_loss_cause_name((nrw_loss_cause)k), losses[k]);
}
