/* The winner of a search on fresh trials, and what the simple schedule does there. */
#include "plan_parts.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "bootstrap.h"

enum { BASELINES_MAX = 4, BASELINE_TRIALS = 1 };

static nrw_status pick_baseline(nrw_planner *plan, nrw_schedule *schedule)
{
    nrw_recipe recipes[BASELINES_MAX];
    size_t n = nrw_recipe_baselines(plan->scenario, plan->channel, &plan->result->necessary,
                                    recipes, BASELINES_MAX);
    if (n == 0)
        return nrw_errors_add(plan->errors, NRW_REFUSED, "a stronger rig",
                              "the rig can't give any rotating field");
    nrw_schedule schedules[BASELINES_MAX];
    nrw_outcome outcomes[BASELINES_MAX][BASELINE_TRIALS];
    nrw_race_lane lanes[BASELINES_MAX] = {{0}};
    memset(schedules, 0, sizeof schedules);
    nrw_status status = NRW_OK;
    for (size_t k = 0; status == NRW_OK && k < n; k++) {
        status = nrw_recipe_schedule(&recipes[k], plan->scenario, plan->channel, &schedules[k],
                                     plan->errors);
        lanes[k] = (nrw_race_lane){&schedules[k], 0, BASELINE_TRIALS, outcomes[k]};
    }
    if (status == NRW_OK)
        status = nrw_plan_race(plan, "keep-gathered", n, lanes);
    size_t best = 0;
    for (size_t k = 0; status == NRW_OK && k < n; k++) {
        status = nrw_plan_add_row(plan, "keep-gathered", &recipes[k], BASELINE_TRIALS, outcomes[k]);
        if (nrw_outcomes_mean(BASELINE_TRIALS, outcomes[k]) >
            nrw_outcomes_mean(BASELINE_TRIALS, outcomes[best]))
            best = k;
    }
    for (size_t k = 0; k < n; k++) {
        if (status == NRW_OK && k == best)
            *schedule = schedules[k];
        else
            nrw_schedule_clear(&schedules[k]);
    }
    plan->result->baseline_recipe = recipes[best];
    return status;
}

static nrw_status note_verified(nrw_planner *plan, const nrw_outcome *outcomes, size_t n)
{
    nrw_plan_result *result = plan->result;
    double *values = malloc(n * sizeof *values);
    if (!values)
        return nrw_errors_add(plan->errors, NRW_NO_MEMORY, "", "no memory for the verification");
    result->time_s = 0.0;
    for (size_t k = 0; k < n; k++) {
        values[k] = outcomes[k].delivered;
        result->time_s += outcomes[k].time_s / (double)n;
    }
    result->delivered = nrw_outcomes_mean(n, outcomes);
    nrw_bootstrap_config bootstrap = nrw_bootstrap_config_defaults();
    nrw_interval interval;
    nrw_status status = nrw_bootstrap_fraction(&bootstrap, n, values, &interval);
    if (status == NRW_OK) {
        result->low = fmax(0.0, interval.low);
        result->high = fmin(1.0, interval.high);
    }
    free(values);
    return status;
}

nrw_status nrw_plan_verify(nrw_planner *plan, size_t round, size_t which, bool must)
{
    nrw_plan_result *result = plan->result;
    nrw_plan_candidate *best = &plan->candidates[which];
    const size_t n = plan->config->n_verification;
    nrw_trial *trials = calloc(n, sizeof *trials);
    nrw_outcome *fresh = calloc(n, sizeof *fresh);
    nrw_status status = NRW_OK;
    if (!trials || !fresh)
        status = nrw_errors_add(plan->errors, NRW_NO_MEMORY, "", "no memory for the verification");
    if (status == NRW_OK)
        status = nrw_trials_draw(&plan->scenario->uncertainty, plan->config->seed,
                                 NRW_TRIALS_VERIFY, round * n, n, trials);
    if (status == NRW_OK) {
        plan->race.trials = trials;
        const nrw_race_lane lane = {&best->schedule, 0, n, fresh};
        status = nrw_plan_race(plan, "verification", 1, &lane);
        plan->race.trials = plan->search_trials;
    }
    if (status == NRW_OK)
        status = nrw_plan_add_row(plan, "verification", &best->recipe, n, fresh);
    if (status == NRW_OK) {
        best->verified = true;
        best->verified_score = nrw_plan_score(plan, n, fresh);
        const double mean = nrw_outcomes_mean(n, fresh);
        if (must || isnan(result->delivered) || mean > result->delivered) {
            nrw_outcome *old = result->verification;
            nrw_trial *old_trials = plan->trials;
            result->verification = fresh;
            result->n_verification = n;
            plan->trials = trials;
            plan->adopted = which;
            fresh = old;
            trials = old_trials;
            status = note_verified(plan, result->verification, n);
        }
    }
    free(fresh);
    free(trials);
    return status;
}

nrw_status nrw_plan_verify_baseline(nrw_planner *plan)
{
    nrw_plan_result *result = plan->result;
    const size_t n = result->n_verification;
    nrw_schedule baseline = {0};
    nrw_outcome *simple = calloc(n, sizeof *simple);
    nrw_status status =
        simple ? pick_baseline(plan, &baseline)
               : nrw_errors_add(plan->errors, NRW_NO_MEMORY, "", "no memory for the verification");
    if (status == NRW_OK) {
        plan->race.trials = plan->trials;
        const nrw_race_lane lane = {&baseline, 0, n, simple};
        status = nrw_plan_race(plan, "keep-gathered, verified", 1, &lane);
        plan->race.trials = plan->search_trials;
    }
    if (status == NRW_OK) {
        result->baseline = nrw_outcomes_mean(n, simple);
        status = nrw_plan_add_row(plan, "verified simple", &result->baseline_recipe, n, simple);
    }
    nrw_schedule_clear(&baseline);
    free(result->simple);
    result->simple = simple;
    return status;
}
