#include "plan_parts.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

/* A candidate this good, or as good as the goal and this much better, ends the
 * search and is verified. */
#define GOOD_ENOUGH 0.9
#define ABOVE_GOAL 0.15
#define NEARLY_ALL 0.93
/* Of two that deliver alike the quicker is better: weight of the time used. */
#define TIME_WEIGHT 0.02
/* A recipe that fails now and then is worse than its mean: weight of the
 * standard deviation over trials. */
#define SPREAD_WEIGHT 0.3
/* Runs that end at the deadline had no margin. */
#define LATE_WEIGHT 0.05

double nrw_plan_clock_s(void)
{
    struct timespec now;
    (void)clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

/* --- rows ------------------------------------------------------------------- */

nrw_status nrw_plan_add_row(nrw_planner *plan, const char *stage, const nrw_recipe *recipe,
                            size_t n, const nrw_outcome *outcomes)
{
    nrw_plan_result *result = plan->result;
    if (result->n_rows == result->rows_capacity) {
        size_t capacity = result->rows_capacity ? 2 * result->rows_capacity : 32;
        nrw_plan_row *rows = realloc(result->rows, capacity * sizeof *rows);
        if (!rows)
            return nrw_errors_add(plan->errors, NRW_NO_MEMORY, "", "no memory for the search");
        result->rows = rows;
        result->rows_capacity = capacity;
    }
    nrw_plan_row *row = &result->rows[result->n_rows++];
    memset(row, 0, sizeof *row);
    (void)snprintf(row->stage, sizeof row->stage, "%s", stage);
    row->recipe = *recipe;
    row->n_trials = n;
    row->mean = nrw_outcomes_mean(n, outcomes);
    row->least = INFINITY;
    for (size_t k = 0; k < n; k++) {
        row->least = fmin(row->least, outcomes[k].delivered);
        row->time_s += outcomes[k].time_s / (double)n;
        row->n_failed += outcomes[k].status == NRW_DIVERGED;
    }
    return NRW_OK;
}

/* --- scores ----------------------------------------------------------------- */

double nrw_plan_score(const nrw_planner *plan, size_t n, const nrw_outcome *outcomes)
{
    const double mean = nrw_outcomes_mean(n, outcomes);
    double spread2 = 0.0, cost = 0.0;
    for (size_t k = 0; k < n; k++) {
        spread2 += (outcomes[k].delivered - mean) * (outcomes[k].delivered - mean) / (double)n;
        cost += (TIME_WEIGHT * outcomes[k].time_s / plan->scenario->deadline_s +
                 LATE_WEIGHT * outcomes[k].out_of_time) /
                (double)n;
    }
    return mean - SPREAD_WEIGHT * sqrt(spread2) - cost;
}

static double score_of(const nrw_planner *plan, const nrw_plan_candidate *c)
{
    if (c->n_trials == 0)
        return -INFINITY;
    return c->verified ? c->verified_score : nrw_plan_score(plan, c->n_trials, c->outcomes);
}

/* Indices [first, last) of candidates by falling score, ties by rising index. */
static void rank(const nrw_planner *plan, size_t first, size_t last, size_t *order)
{
    for (size_t k = first; k < last; k++) {
        size_t at = k - first;
        while (at > 0 && score_of(plan, &plan->candidates[order[at - 1]]) <
                             score_of(plan, &plan->candidates[k])) {
            order[at] = order[at - 1];
            at--;
        }
        order[at] = k;
    }
}

/* --- races ------------------------------------------------------------------ */

bool nrw_plan_tell(void *context, size_t done, size_t of)
{
    nrw_planner *plan = context;
    if (plan->config->progress)
        plan->config->progress(plan->config->context, plan->stage, plan->best_mean,
                               plan->runs_done + done, plan->runs_done + of);
    return plan->config->interrupted && plan->config->interrupted();
}

nrw_status nrw_plan_race(nrw_planner *plan, const char *stage, size_t n_lanes,
                         const nrw_race_lane *lanes)
{
    plan->stage = stage;
    nrw_status status = nrw_race_run(&plan->race, n_lanes, lanes, plan->errors);
    for (size_t k = 0; k < n_lanes; k++)
        plan->runs_done += lanes[k].n_trials;
    return status;
}

/* Gives the candidates `more` further trials each, and a row in the table. */
static nrw_status try_more(nrw_planner *plan, const char *stage, size_t n, const size_t *which,
                           size_t more)
{
    nrw_race_lane lanes[NRW_PLAN_BATCH] = {{0}};
    for (size_t k = 0; k < n; k++) {
        nrw_plan_candidate *c = &plan->candidates[which[k]];
        lanes[k] = (nrw_race_lane){&c->schedule, c->n_trials, more, c->outcomes + c->n_trials};
    }
    nrw_status status = nrw_plan_race(plan, stage, n, lanes);
    if (status != NRW_OK)
        return status;
    for (size_t k = 0; k < n; k++) {
        nrw_plan_candidate *c = &plan->candidates[which[k]];
        c->n_trials += more;
        status = nrw_plan_add_row(plan, stage, &c->recipe, c->n_trials, c->outcomes);
        if (status != NRW_OK)
            return status;
        double mean = nrw_outcomes_mean(c->n_trials, c->outcomes);
        if (isnan(plan->best_mean) || mean > plan->best_mean)
            plan->best_mean = mean;
    }
    return NRW_OK;
}

static nrw_status add_candidate(nrw_planner *plan, const nrw_recipe *recipe)
{
    nrw_plan_candidate *c = &plan->candidates[plan->n_candidates];
    memset(c, 0, sizeof *c);
    c->recipe = *recipe;
    nrw_status status =
        nrw_recipe_schedule(recipe, plan->scenario, plan->channel, &c->schedule, plan->errors);
    if (status == NRW_OK)
        plan->n_candidates++;
    return status;
}

/* One batch: all on the first trial, the best on more. */
static nrw_status run_batch(nrw_planner *plan, const char *stage, size_t first)
{
    size_t order[NRW_PLAN_BATCH] = {0};
    const size_t n = plan->n_candidates - first;
    for (size_t k = 0; k < n; k++)
        order[k] = first + k;
    nrw_status status = try_more(plan, stage, n, order, NRW_PLAN_FIRST_TRIALS);
    if (status != NRW_OK)
        return status;
    rank(plan, first, plan->n_candidates, order);
    /* those far behind the best are not worth more runs */
    const double best = score_of(plan, &plan->candidates[order[0]]);
    size_t keep = 0;
    while (keep < n && keep < NRW_PLAN_SURVIVORS &&
           score_of(plan, &plan->candidates[order[keep]]) >= best - 0.15 &&
           nrw_outcomes_mean(1, plan->candidates[order[keep]].outcomes) > 0.05)
        keep++;
    return keep > 0 ? try_more(plan, "survivors", keep, order, NRW_PLAN_MORE_TRIALS) : NRW_OK;
}

size_t nrw_plan_best_candidate(const nrw_planner *plan)
{
    size_t best = 0;
    for (size_t k = 1; k < plan->n_candidates; k++) {
        /* a mean over more trials is worth more than a lucky single one */
        const nrw_plan_candidate *a = &plan->candidates[k], *b = &plan->candidates[best];
        if ((a->n_trials > NRW_PLAN_FIRST_TRIALS) != (b->n_trials > NRW_PLAN_FIRST_TRIALS)) {
            if (a->n_trials > NRW_PLAN_FIRST_TRIALS)
                best = k;
        } else if (score_of(plan, a) > score_of(plan, b)) {
            best = k;
        }
    }
    return best;
}

static bool good_enough(const nrw_planner *plan)
{
    if (plan->n_candidates == 0)
        return false;
    const nrw_plan_candidate *c = &plan->candidates[nrw_plan_best_candidate(plan)];
    if (c->n_trials <= NRW_PLAN_FIRST_TRIALS || c->verified)
        return false;
    double mean = nrw_outcomes_mean(c->n_trials, c->outcomes);
    return mean >= fmin(0.97, fmax(GOOD_ENOUGH, plan->scenario->goal.fraction_min + ABOVE_GOAL));
}

static nrw_status search_library(nrw_planner *plan)
{
    nrw_status status = NRW_OK;
    while (status == NRW_OK && plan->next_hand < plan->n_hands && !good_enough(plan)) {
        const size_t first = plan->n_candidates;
        for (size_t k = 0;
             status == NRW_OK && k < NRW_PLAN_BATCH && plan->next_hand < plan->n_hands; k++)
            status = add_candidate(plan, &plan->hands[plan->next_hand++]);
        if (status == NRW_OK)
            status = run_batch(plan, "library", first);
    }
    return status;
}

/* Around the best so far: each batch varies what is best by then. */
static nrw_status search_near(nrw_planner *plan)
{
    nrw_status status = NRW_OK;
    while (status == NRW_OK && plan->next_batch < NRW_PLAN_VARIED_BATCHES && !good_enough(plan)) {
        const nrw_recipe centre = plan->candidates[nrw_plan_best_candidate(plan)].recipe;
        const size_t first = plan->n_candidates;
        for (uint32_t k = 0; status == NRW_OK && k < NRW_PLAN_BATCH; k++) {
            nrw_recipe varied =
                nrw_recipe_vary(&centre, plan->scenario, &plan->result->necessary,
                                plan->config->seed, plan->next_batch * NRW_PLAN_BATCH + k);
            status = add_candidate(plan, &varied);
        }
        plan->next_batch++;
        if (status == NRW_OK)
            status = run_batch(plan, "varied", first);
    }
    return status;
}

/* The best two meet again: the maximum of noisy means is too good. */
static nrw_status decide(nrw_planner *plan)
{
    size_t order[NRW_PLAN_CANDIDATES_MAX], finalists[2], n = 0;
    rank(plan, 0, plan->n_candidates, order);
    for (size_t k = 0; k < plan->n_candidates && n < 2; k++)
        if (plan->candidates[order[k]].n_trials == NRW_PLAN_FIRST_TRIALS + NRW_PLAN_MORE_TRIALS)
            finalists[n++] = order[k];
    if (n < 2)
        return NRW_OK;
    const double first = score_of(plan, &plan->candidates[finalists[0]]);
    const double second = score_of(plan, &plan->candidates[finalists[1]]);
    /* far apart, or both so good that it hardly matters which */
    if (second < first - 0.1 || second > NEARLY_ALL)
        return NRW_OK;
    return try_more(plan, "final", n, finalists, NRW_PLAN_FINAL_TRIALS);
}

nrw_status nrw_plan_search(nrw_planner *plan)
{
    const double started = nrw_plan_clock_s();
    nrw_status status = search_library(plan);
    if (status == NRW_OK && plan->n_candidates > 0)
        status = search_near(plan);
    if (status == NRW_OK && plan->n_candidates > 0)
        status = decide(plan);
    plan->result->n_candidates = plan->n_candidates;
    plan->result->wall_search_s += nrw_plan_clock_s() - started;
    if (status == NRW_OK && plan->n_candidates == 0)
        status = nrw_errors_add(plan->errors, NRW_REFUSED, "a stronger rig",
                                "the rig can't give any of the fields that a plan would use");
    return status;
}
