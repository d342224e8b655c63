#include "plan.h"

#include <criterion/criterion.h>
#include <math.h>
#include <omp.h>
#include <string.h>

#include "small_setup.h"

/* A pond without a throat and a target close by: any rolling drive delivers, in a
 * few simulated seconds. */
static const char EASY[] =
    "format: narrows-scenario/1\n"
    "title: easy\n"
    "fluid: {medium: water, temperature_C: 25}\n"
    "particles:\n"
    "  count: 6\n"
    "  diameter_um: 3\n"
    "  density_kg_m3: 1800\n"
    "  magnetics: {kind: induced, susceptibility: 0.3, relaxation_time_s: 1.0e-5}\n"
    "channel:\n"
    "  depth_um: 40\n"
    "  nodes: {a: {at_um: [-40, 0]}, b: {at_um: [0, 0]}, c: {at_um: [25, 0]}, d: {at_um: [65, "
    "0]}}\n"
    "  vessels:\n"
    "  - {from: a, to: b, width_um: 60}\n"
    "  - {from: b, to: c, width_um: 60}\n"
    "  - {from: c, to: d, width_um: 60}\n"
    "release: {node: b, radius_um: 8}\n"
    "target: {node: c, radius_um: 15}\n"
    "deadline_s: 15\n"
    "imaging: {frame_rate_Hz: 5}\n"
    "uncertainty: {moment_cv: 0.1, pair_flow_cv: 0.3}\n";

static nrw_plan_result planned(const char *yaml, uint64_t seed, int threads, nrw_status *status)
{
    small_setup setup = small_setup_of(yaml);
    nrw_plan_config config = nrw_plan_config_defaults();
    config.seed = seed;
    config.model = NRW_MODEL_AVERAGED;
    nrw_plan_result result;
    omp_set_num_threads(threads);
    *status = nrw_plan(setup.scenario, setup.channel, &config, &result, NULL);
    small_setup_clear(&setup);
    return result;
}

Test(plan, an_easy_way_is_found_and_verified_on_fresh_trials)
{
    nrw_status status;
    nrw_plan_result plan = planned(EASY, 1, 2, &status);
    cr_assert_eq(status, NRW_OK, "%s", plan.reason);
    cr_expect(plan.found);
    cr_expect_geq(plan.n_verification, 8);
    cr_expect_geq(plan.delivered, 0.3);
    cr_expect_leq(plan.low, plan.delivered);
    cr_expect_geq(plan.high, plan.delivered);
    cr_expect_gt(plan.schedule.n_legs, 2);
    double mean = nrw_outcomes_mean(plan.n_verification, plan.verification);
    cr_expect_float_eq(mean, plan.delivered, 1e-15);
    cr_expect(!isnan(plan.baseline));
    nrw_plan_result_clear(&plan);
}

Test(plan, the_same_seed_gives_the_same_plan_with_any_number_of_threads)
{
    nrw_status a, b;
    nrw_plan_result one = planned(EASY, 3, 1, &a), two = planned(EASY, 3, 2, &b);
    cr_assert_eq(a, b);
    cr_expect_eq(one.delivered, two.delivered);
    cr_expect_eq(one.low, two.low);
    cr_expect_eq(one.baseline, two.baseline);
    cr_expect_str_eq(one.recipe.name, two.recipe.name);
    cr_assert_eq(one.n_rows, two.n_rows);
    for (size_t k = 0; k < one.n_rows; k++) {
        cr_expect_eq(one.rows[k].mean, two.rows[k].mean);
        cr_expect_eq(one.rows[k].time_s, two.rows[k].time_s);
    }
    nrw_plan_result_clear(&one);
    nrw_plan_result_clear(&two);
}

static bool at_once(void)
{
    return true;
}

Test(plan, an_interrupt_ends_it_with_the_schedule_of_the_moment)
{
    small_setup setup = small_setup_of(EASY);
    nrw_plan_config config = nrw_plan_config_defaults();
    config.interrupted = at_once;
    nrw_plan_result result;
    cr_expect_eq(nrw_plan(setup.scenario, setup.channel, &config, &result, NULL), NRW_INTERRUPTED);
    cr_expect_eq(result.n_verification, 0);
    cr_expect_gt(result.schedule.n_legs, 0);
    cr_expect(isnan(result.delivered));
    nrw_plan_result_clear(&result);
    small_setup_clear(&setup);
}

Test(plan, what_fails_a_necessary_condition_is_refused_without_a_run)
{
    small_setup setup = small_setup_of(EASY);
    setup.scenario->particles.relaxation_time_s = 0.0;
    nrw_plan_config config = nrw_plan_config_defaults();
    nrw_plan_result result;
    cr_expect_eq(nrw_plan(setup.scenario, setup.channel, &config, &result, NULL), NRW_REFUSED);
    cr_expect(!result.searched);
    cr_expect_eq(result.n_candidates, 0);
    cr_expect(strstr(result.reason, "torque"), "%s", result.reason);
    cr_expect(strlen(result.nearest_change) > 0);
    nrw_plan_result_clear(&result);
    small_setup_clear(&setup);
}
