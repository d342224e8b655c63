#include "compare.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "small_setup.h"
#include "strategy.h"

/* --- judgement of made-up trials ---------------------------------------------- */

enum { SWARM = 50, TRIALS = 20 };

static nrw_trial_record record_of(size_t index, size_t delivered)
{
    nrw_trial_record record;
    memset(&record, 0, sizeof record);
    record.trial = (nrw_trial){index, index, {1.0, 1.0, 1.0, 1.0}};
    record.outcome.delivered = (double)delivered / SWARM;
    record.outcome.time_to_target_s = NAN;
    double zeros[SWARM] = {0};
    nrw_fate fates[SWARM];
    int vessels[SWARM] = {0};
    for (size_t i = 0; i < SWARM; i++)
        fates[i] = i < delivered ? NRW_FATE_DELIVERED : NRW_FATE_SCATTERED;
    const nrw_particle_history history = {SWARM, zeros, NULL,  NULL,    fates,
                                          zeros, zeros, zeros, vessels, NULL};
    cr_assert_eq(nrw_loss_flow_init(&record.flow, NULL, 0, &history), NRW_OK);
    return record;
}

/* Delivered counts of trial k; trials are hard or easy for everyone alike. */
static size_t good(size_t k)
{
    return 30 + 3 * (k % 5) + k % 2;
}
static size_t poor(size_t k)
{
    return 20 + 3 * (k % 5) + k % 3;
}
static size_t like_good(size_t k)
{
    return 30 + 3 * (k % 5) + (k + 1) % 2;
}

static const nrw_contender contenders[3] = {{"a", "", NULL}, {"b", "", NULL}, {"c", "", NULL}};

static nrw_comparison comparison_of(size_t n, size_t (*const delivered[])(size_t))
{
    nrw_scenario scenario;
    nrw_comparison comparison;
    memset(&scenario, 0, sizeof scenario);
    memset(&comparison, 0, sizeof comparison);
    scenario.deadline_s = 10.0;
    comparison.n = n;
    comparison.n_trials = TRIALS;
    comparison.contenders = contenders;
    comparison.records = nrw_trial_records_create(n * TRIALS);
    comparison.estimates = calloc(n, sizeof *comparison.estimates);
    for (size_t c = 0; c < n; c++) {
        nrw_trial_record *records = comparison.records + c * TRIALS;
        for (size_t k = 0; k < TRIALS; k++)
            records[k] = record_of(k, delivered[c](k));
        cr_assert_eq(nrw_estimate_of(&comparison.estimates[c], &scenario, TRIALS, records, 0.65),
                     NRW_OK);
    }
    cr_assert_eq(nrw_compare_judge(&comparison), NRW_OK);
    return comparison;
}

Test(compare, hard_trials_are_hard_for_both_so_a_steady_lead_shows)
{
    size_t (*const delivered[])(size_t) = {poor, good};
    nrw_comparison comparison = comparison_of(2, delivered);
    cr_expect_eq(comparison.leader, 1);
    cr_expect_eq(comparison.runner_up, 0);
    cr_expect(comparison.ahead);
    cr_expect_lt(comparison.pairs[0].paired.interval.high, 0.0);
    /* trials spread by 0.09, their differences by 0.02 only */
    cr_expect_lt(comparison.pairs[0].paired.standard_error,
                 0.5 * comparison.estimates[0].deviation / sqrt(TRIALS));
    cr_expect_eq(comparison.best, -1, "not before it is measured on fresh trials");
    nrw_comparison_clear(&comparison);
}

Test(compare, goals_count_only_where_one_alone_reaches_them)
{
    size_t (*const delivered[])(size_t) = {good, poor};
    nrw_comparison comparison = comparison_of(2, delivered);
    /* 0.65 of 50 is 32.5: good reaches it for k % 5 > 0 (33 and up), poor for k % 5 = 4
     * with k % 3 = 1 or 2 (33, 34) */
    size_t only_good = 0, only_poor = 0;
    for (size_t k = 0; k < TRIALS; k++) {
        only_good += good(k) >= 33 && poor(k) < 33;
        only_poor += poor(k) >= 33 && good(k) < 33;
    }
    cr_expect_gt(only_good, 0);
    cr_expect_eq(comparison.pairs[0].only_a, only_good);
    cr_expect_eq(comparison.pairs[0].only_b, only_poor);
    nrw_comparison_clear(&comparison);
}

Test(compare, a_leader_by_chance_is_a_tie)
{
    size_t (*const delivered[])(size_t) = {poor, good, like_good};
    nrw_comparison comparison = comparison_of(3, delivered);
    cr_expect_not(comparison.ahead);
    cr_expect_eq(comparison.best, -1);
    cr_expect_not_null(strstr(comparison.verdict, "A tie"));
    cr_expect_null(strstr(comparison.verdict, "'a'"), "the poor one isn't among those tied");
    nrw_comparison_clear(&comparison);
}

Test(compare, a_winner_that_fails_on_fresh_trials_is_a_tie_and_one_that_holds_is_best)
{
    size_t (*const delivered[])(size_t) = {good, poor};
    nrw_comparison comparison = comparison_of(2, delivered);
    comparison.rechecked = true;
    comparison.recheck_paired.difference = 0.02;
    comparison.recheck_paired.interval = (nrw_interval){-0.03, 0.07};
    cr_assert_eq(nrw_compare_judge(&comparison), NRW_OK);
    cr_expect_eq(comparison.best, -1);
    cr_expect_not_null(strstr(comparison.verdict, "A tie"));
    comparison.recheck_paired.interval.low = 0.01;
    cr_assert_eq(nrw_compare_judge(&comparison), NRW_OK);
    cr_expect_eq(comparison.best, 0);
    cr_expect_not_null(strstr(comparison.verdict, "'a' is best"));
    nrw_comparison_clear(&comparison);
}

Test(compare, the_best_of_equals_looks_too_good_by_the_expected_maximum)
{
    size_t (*const delivered[])(size_t) = {good, like_good};
    nrw_comparison comparison = comparison_of(2, delivered);
    const nrw_estimate *leader = &comparison.estimates[comparison.leader];
    /* of two standard normals: 1/sqrt(pi) */
    cr_expect_float_eq(comparison.excess,
                       leader->deviation / sqrt(TRIALS) / sqrt(3.14159265358979323846), 1e-9);
    nrw_comparison_clear(&comparison);
}

/* --- strategies ------------------------------------------------------------------- */

static const char gate[] =
    "format: narrows-scenario/1\n"
    "fluid: {medium: water, temperature_C: 25}\n"
    "particles: {count: 60, diameter_um: 3, density_kg_m3: 1800,\n"
    "            magnetics: {kind: induced, susceptibility: 0.3, relaxation_time_s: 1.0e-5}}\n"
    "channel:\n"
    "  depth_um: 60\n"
    "  nodes: {z: {at_um: [-90, 0]}, a: {at_um: [0, 0]}, b: {at_um: [200, 0]}, c: {at_um: [300, "
    "0]}}\n"
    "  vessels:\n"
    "    - {from: z, to: a, width_um: 100}\n"
    "    - {from: a, to: b, width_um: [[0, 100], [0.4, 12], [0.5, 12], [0.9, 100]]}\n"
    "    - {from: b, to: c, width_um: 100}\n"
    "release: {node: a, radius_um: 20}\n"
    "target: {node: b, radius_um: 40}\n"
    "deadline_s: 100\n";

Test(strategy, names_are_found_and_near_misses_suggested)
{
    for (int k = 0; k < NRW_N_STRATEGIES; k++)
        cr_expect_eq(nrw_strategy_find(nrw_strategy_name((nrw_strategy)k), NULL), k);
    const char *nearest = NULL;
    cr_expect_eq(nrw_strategy_find("al-chains", &nearest), -1);
    cr_expect_str_eq(nearest, "all-chains");
}

Test(strategy, recipes_keep_to_their_own_idea)
{
    small_setup setup = small_setup_of(gate);
    for (int s = 0; s < NRW_N_STRATEGIES; s++) {
        nrw_recipe recipes[NRW_STRATEGY_RECIPES];
        const size_t n =
            nrw_strategy_recipes((nrw_strategy)s, setup.scenario, setup.channel, recipes);
        cr_expect_eq(n == 0, s == NRW_STRATEGY_PLANNED);
        for (size_t k = 0; k < n; k++) {
            const bool wobbles = recipes[k].wobble_deg > 0.0;
            cr_expect_eq(wobbles, s == NRW_STRATEGY_TILT_AND_WOBBLE);
            cr_expect_eq(recipes[k].share, 0.0, "none alternates");
            cr_expect_eq(recipes[k].tilt_deg <= 10.0, s == NRW_STRATEGY_KEEP_GATHERED);
            cr_expect_eq(recipes[k].tilt_deg >= 70.0, s == NRW_STRATEGY_ALL_CHAINS);
        }
    }
    small_setup_clear(&setup);
}

Test(strategy, chains_are_never_gathered_and_the_others_are)
{
    small_setup setup = small_setup_of(gate);
    for (int s = 0; s < NRW_STRATEGY_PLANNED; s++) {
        nrw_recipe recipes[NRW_STRATEGY_RECIPES];
        nrw_schedule schedule;
        cr_assert_gt(nrw_strategy_recipes((nrw_strategy)s, setup.scenario, setup.channel, recipes),
                     0);
        cr_assert_eq(nrw_strategy_schedule((nrw_strategy)s, &recipes[0], setup.scenario,
                                           setup.channel, &schedule, NULL),
                     NRW_OK);
        const nrw_leg *first = &schedule.legs[0];
        const bool gathers = first->drive.main.tilt_deg == 0.0 &&
                             (first->until.present & NRW_UNTIL_CLUSTER_ABOVE) != 0;
        cr_expect_eq(gathers, s != NRW_STRATEGY_ALL_CHAINS);
        for (size_t k = 0; k < schedule.n_legs; k++)
            cr_expect(!(schedule.legs[k].stall_after_s > 0.0) ||
                          (size_t)schedule.legs[k].stall_leg < schedule.n_legs,
                      "leg %zu of %s leaves to a leg that isn't there", k,
                      nrw_strategy_name((nrw_strategy)s));
        nrw_schedule_clear(&schedule);
    }
    small_setup_clear(&setup);
}
