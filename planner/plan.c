#include "plan.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "plan_parts.h"

/* A verified mean below this (or below the goal) sends the search on. */
#define VERIFIED_ENOUGH 0.93

nrw_plan_config nrw_plan_config_defaults(void)
{
    nrw_plan_config config;
    memset(&config, 0, sizeof config);
    config.seed = 1;
    config.n_verification = 12;
    return config;
}

void nrw_plan_result_clear(nrw_plan_result *result)
{
    nrw_schedule_clear(&result->schedule);
    free(result->verification);
    free(result->simple);
    free(result->rows);
    memset(result, 0, sizeof *result);
}

/* Takes the best candidate's schedule over into the result. */
static void keep_best(nrw_planner *plan)
{
    if (plan->n_candidates == 0)
        return;
    const size_t which =
        plan->adopted < plan->n_candidates ? plan->adopted : nrw_plan_best_candidate(plan);
    nrw_plan_candidate *best = &plan->candidates[which];
    plan->result->recipe = best->recipe;
    plan->result->schedule = best->schedule;
    memset(&best->schedule, 0, sizeof best->schedule);
}

/* Searches and verifies in turn until a plan holds what the search promised, or
 * nothing better comes up. The best of several verified ones looks better than it is:
 * it meets trials of its own once more, and those are reported. */
static nrw_status search_and_verify(nrw_planner *plan)
{
    const double enough = fmax(plan->scenario->goal.fraction_min, VERIFIED_ENOUGH);
    size_t n_verified = 0;
    for (size_t round = 0; round < NRW_PLAN_ROUNDS; round++) {
        nrw_status status = nrw_plan_search(plan);
        if (status != NRW_OK)
            return status;
        const size_t best = nrw_plan_best_candidate(plan);
        if (plan->candidates[best].verified)
            break;
        const double started = nrw_plan_clock_s();
        status = nrw_plan_verify(plan, round, best, false);
        plan->result->wall_verification_s += nrw_plan_clock_s() - started;
        n_verified++;
        if (status != NRW_OK || plan->result->delivered >= enough)
            return status;
    }
    if (n_verified < 2)
        return NRW_OK;
    const double started = nrw_plan_clock_s();
    const nrw_status status = nrw_plan_verify(plan, NRW_PLAN_ROUNDS, plan->adopted, true);
    plan->result->wall_verification_s += nrw_plan_clock_s() - started;
    return status;
}

static nrw_status work(nrw_planner *plan)
{
    nrw_status status =
        nrw_trials_draw(&plan->scenario->uncertainty, plan->config->seed, NRW_TRIALS_SEARCH, 0,
                        NRW_PLAN_SEARCH_TRIALS, plan->search_trials);
    plan->race.trials = plan->search_trials;
    if (status == NRW_OK)
        status = search_and_verify(plan);
    const double started = nrw_plan_clock_s();
    if (status == NRW_OK)
        status = nrw_plan_verify_baseline(plan);
    plan->result->wall_verification_s += nrw_plan_clock_s() - started;
    return status;
}

static nrw_status finish(nrw_planner *plan)
{
    nrw_plan_result *result = plan->result;
    result->found = result->delivered >= plan->scenario->goal.fraction_min;
    if (result->found)
        return NRW_OK;
    nrw_plan_explain_losses(plan);
    plan->stage = "nearest change";
    nrw_status status = nrw_plan_nearest_change(
        &plan->race, &result->recipe, fmax(1.6, nrw_plan_time_factor(plan)), result->nearest_change,
        sizeof result->nearest_change, plan->errors);
    return status == NRW_OK ? NRW_REFUSED : status;
}

nrw_status nrw_plan(const nrw_scenario *scenario, const nrw_channel *channel,
                    const nrw_plan_config *config, nrw_plan_result *result, nrw_errors *errors)
{
    memset(result, 0, sizeof *result);
    result->delivered = result->low = result->high = result->baseline = result->time_s = NAN;
    result->necessary = nrw_necessary_of(scenario, channel);
    if (scenario->particles.shape.doublet) {
        nrw_plan_refuse_doublets(result);
        return NRW_REFUSED;
    }
    const nrw_necessary_check *failure = nrw_necessary_failure(&result->necessary);
    if (failure) {
        nrw_plan_refuse_early(result, failure);
        return NRW_REFUSED;
    }
    nrw_planner plan;
    memset(&plan, 0, sizeof plan);
    plan.scenario = scenario;
    plan.channel = channel;
    plan.config = config;
    plan.result = result;
    plan.errors = errors;
    plan.best_mean = NAN;
    plan.race = (nrw_race){.scenario = scenario,
                           .channel = channel,
                           .model = config->model,
                           .progress = nrw_plan_tell,
                           .context = &plan,
                           .interrupted = config->interrupted,
                           .checkpoint = config->checkpoint};
    plan.candidates = calloc(NRW_PLAN_CANDIDATES_MAX, sizeof *plan.candidates);
    if (!plan.candidates)
        return nrw_errors_add(errors, NRW_NO_MEMORY, "", "no memory for the search");
    result->searched = true;
    plan.adopted = NRW_PLAN_CANDIDATES_MAX;
    plan.n_hands =
        nrw_recipe_library(scenario, channel, &result->necessary, plan.hands, NRW_PLAN_LIBRARY_MAX);
    nrw_status status = work(&plan);
    keep_best(&plan);
    if (status == NRW_OK)
        status = finish(&plan);
    for (size_t k = 0; k < plan.n_candidates; k++)
        nrw_schedule_clear(&plan.candidates[k].schedule);
    free(plan.candidates);
    free(plan.trials);
    return status;
}
