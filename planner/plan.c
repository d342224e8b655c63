#include "plan.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "bootstrap.h"
#include "trial.h"

/* The search's size: counts, so that the result does not depend on speed. */
enum {
    BATCH = 3,            /* candidates that start together */
    SURVIVORS = 2,        /* of a batch, that meet more trials */
    FIRST_TRIALS = 1,     /* for each candidate of a batch */
    MORE_TRIALS = 2,      /* for each survivor */
    FINAL_TRIALS = 2,     /* more for the two best, before verification */
    LIBRARY_MAX = 16,
    VARIED_BATCHES = 4,
    SEARCH_TRIALS = FIRST_TRIALS + MORE_TRIALS + FINAL_TRIALS,
    MAX_CANDIDATES = LIBRARY_MAX + VARIED_BATCHES * BATCH,
    ROUNDS = 3,           /* of search and verification */
    BASELINES_MAX = 4,
    BASELINE_TRIALS = 1
};
/* A candidate this good, or as good as the goal and this much better, ends the
 * search and is verified. */
#define GOOD_ENOUGH 0.9
#define ABOVE_GOAL 0.15
#define NEARLY_ALL 0.93
/* A verified mean below this (or below the goal) sends the search on. */
#define VERIFIED_ENOUGH 0.93
/* Of two that deliver alike the quicker is better: weight of the time used. */
#define TIME_WEIGHT 0.02
/* A recipe that fails now and then is worse than its mean: weight of the
 * standard deviation over trials. */
#define SPREAD_WEIGHT 0.3
/* Runs that end at the deadline had no margin. */
#define LATE_WEIGHT 0.05

typedef struct candidate {
    nrw_recipe recipe;
    nrw_schedule schedule;
    nrw_outcome outcomes[SEARCH_TRIALS];
    size_t n_trials;
    bool verified;
    double verified_score; /* what fresh trials made of it */
} candidate;

typedef struct planner {
    const nrw_scenario *scenario;
    const nrw_channel *channel;
    const nrw_plan_config *config;
    nrw_plan_result *result;
    nrw_errors *errors;
    nrw_race race;
    nrw_trial search_trials[SEARCH_TRIALS];
    candidate *candidates; /* (MAX_CANDIDATES) */
    size_t n_candidates;
    nrw_recipe hands[LIBRARY_MAX];
    size_t n_hands, next_hand;
    uint32_t next_batch; /* of variations */
    nrw_outcome *fresh;  /* (n_verification) of the last verification; owned */
    nrw_trial *trials;   /* (n_verification) of the verification that is reported; owned */
    size_t adopted;      /* candidate that is reported; n_candidates: none */
    const char *stage;
    double best_mean;
    size_t runs_done; /* before the race under way */
} planner;

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

static double clock_s(void)
{
    struct timespec now;
    (void)clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

/* --- rows ------------------------------------------------------------------- */

static nrw_status add_row(planner *plan, const char *stage, const nrw_recipe *recipe, size_t n,
                          const nrw_outcome *outcomes)
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

static double score(const planner *plan, size_t n, const nrw_outcome *outcomes)
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

static double score_of(const planner *plan, const candidate *c)
{
    if (c->n_trials == 0)
        return -INFINITY;
    return c->verified ? c->verified_score : score(plan, c->n_trials, c->outcomes);
}

/* Indices [first, last) of candidates by falling score, ties by rising index. */
static void rank(const planner *plan, size_t first, size_t last, size_t *order)
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

static bool tell(void *context, size_t done, size_t of)
{
    planner *plan = context;
    if (plan->config->progress)
        plan->config->progress(plan->config->context, plan->stage, plan->best_mean,
                               plan->runs_done + done, plan->runs_done + of);
    return plan->config->interrupted && plan->config->interrupted();
}

static nrw_status race(planner *plan, const char *stage, size_t n_lanes, const nrw_race_lane *lanes)
{
    plan->stage = stage;
    nrw_status status = nrw_race_run(&plan->race, n_lanes, lanes, plan->errors);
    for (size_t k = 0; k < n_lanes; k++)
        plan->runs_done += lanes[k].n_trials;
    return status;
}

/* Gives the candidates `more` further trials each, and a row in the table. */
static nrw_status try_more(planner *plan, const char *stage, size_t n, const size_t *which,
                           size_t more)
{
    nrw_race_lane lanes[BATCH] = {{0}};
    for (size_t k = 0; k < n; k++) {
        candidate *c = &plan->candidates[which[k]];
        lanes[k] = (nrw_race_lane){&c->schedule, c->n_trials, more, c->outcomes + c->n_trials};
    }
    nrw_status status = race(plan, stage, n, lanes);
    if (status != NRW_OK)
        return status;
    for (size_t k = 0; k < n; k++) {
        candidate *c = &plan->candidates[which[k]];
        c->n_trials += more;
        status = add_row(plan, stage, &c->recipe, c->n_trials, c->outcomes);
        if (status != NRW_OK)
            return status;
        double mean = nrw_outcomes_mean(c->n_trials, c->outcomes);
        if (isnan(plan->best_mean) || mean > plan->best_mean)
            plan->best_mean = mean;
    }
    return NRW_OK;
}

static nrw_status add_candidate(planner *plan, const nrw_recipe *recipe)
{
    candidate *c = &plan->candidates[plan->n_candidates];
    memset(c, 0, sizeof *c);
    c->recipe = *recipe;
    nrw_status status = nrw_recipe_schedule(recipe, plan->scenario, plan->channel, &c->schedule,
                                            plan->errors);
    if (status == NRW_OK)
        plan->n_candidates++;
    return status;
}

/* One batch: all on the first trial, the best on more. */
static nrw_status run_batch(planner *plan, const char *stage, size_t first)
{
    size_t order[BATCH] = {0};
    const size_t n = plan->n_candidates - first;
    for (size_t k = 0; k < n; k++)
        order[k] = first + k;
    nrw_status status = try_more(plan, stage, n, order, FIRST_TRIALS);
    if (status != NRW_OK)
        return status;
    rank(plan, first, plan->n_candidates, order);
    /* those far behind the best are not worth more runs */
    const double best = score_of(plan, &plan->candidates[order[0]]);
    size_t keep = 0;
    while (keep < n && keep < SURVIVORS &&
           score_of(plan, &plan->candidates[order[keep]]) >= best - 0.15 &&
           nrw_outcomes_mean(1, plan->candidates[order[keep]].outcomes) > 0.05)
        keep++;
    return keep > 0 ? try_more(plan, "survivors", keep, order, MORE_TRIALS) : NRW_OK;
}

static size_t best_candidate(const planner *plan)
{
    size_t best = 0;
    for (size_t k = 1; k < plan->n_candidates; k++) {
        /* a mean over more trials is worth more than a lucky single one */
        const candidate *a = &plan->candidates[k], *b = &plan->candidates[best];
        if ((a->n_trials > FIRST_TRIALS) != (b->n_trials > FIRST_TRIALS)) {
            if (a->n_trials > FIRST_TRIALS)
                best = k;
        } else if (score_of(plan, a) > score_of(plan, b)) {
            best = k;
        }
    }
    return best;
}

static bool good_enough(const planner *plan)
{
    if (plan->n_candidates == 0)
        return false;
    const candidate *c = &plan->candidates[best_candidate(plan)];
    if (c->n_trials <= FIRST_TRIALS || c->verified)
        return false;
    double mean = nrw_outcomes_mean(c->n_trials, c->outcomes);
    return mean >= fmin(0.97, fmax(GOOD_ENOUGH, plan->scenario->goal.fraction_min + ABOVE_GOAL));
}

static nrw_status search_library(planner *plan)
{
    nrw_status status = NRW_OK;
    while (status == NRW_OK && plan->next_hand < plan->n_hands && !good_enough(plan)) {
        const size_t first = plan->n_candidates;
        for (size_t k = 0; status == NRW_OK && k < BATCH && plan->next_hand < plan->n_hands; k++)
            status = add_candidate(plan, &plan->hands[plan->next_hand++]);
        if (status == NRW_OK)
            status = run_batch(plan, "library", first);
    }
    return status;
}

/* Around the best so far: each batch varies what is best by then. */
static nrw_status search_near(planner *plan)
{
    nrw_status status = NRW_OK;
    while (status == NRW_OK && plan->next_batch < VARIED_BATCHES && !good_enough(plan)) {
        const nrw_recipe centre = plan->candidates[best_candidate(plan)].recipe;
        const size_t first = plan->n_candidates;
        for (uint32_t k = 0; status == NRW_OK && k < BATCH; k++) {
            nrw_recipe varied =
                nrw_recipe_vary(&centre, plan->scenario, &plan->result->necessary,
                                plan->config->seed, plan->next_batch * BATCH + k);
            status = add_candidate(plan, &varied);
        }
        plan->next_batch++;
        if (status == NRW_OK)
            status = run_batch(plan, "varied", first);
    }
    return status;
}

/* The best two meet again: the maximum of noisy means is too good. */
static nrw_status decide(planner *plan)
{
    size_t order[MAX_CANDIDATES], finalists[2], n = 0;
    rank(plan, 0, plan->n_candidates, order);
    for (size_t k = 0; k < plan->n_candidates && n < 2; k++)
        if (plan->candidates[order[k]].n_trials == FIRST_TRIALS + MORE_TRIALS)
            finalists[n++] = order[k];
    if (n < 2)
        return NRW_OK;
    const double first = score_of(plan, &plan->candidates[finalists[0]]);
    const double second = score_of(plan, &plan->candidates[finalists[1]]);
    /* far apart, or both so good that it hardly matters which */
    if (second < first - 0.1 || second > NEARLY_ALL)
        return NRW_OK;
    return try_more(plan, "final", n, finalists, FINAL_TRIALS);
}

/* --- verification ----------------------------------------------------------- */

static nrw_status pick_baseline(planner *plan, nrw_schedule *schedule)
{
    nrw_recipe recipes[BASELINES_MAX];
    size_t n = nrw_recipe_baselines(plan->scenario, plan->channel, &plan->result->necessary, recipes,
                                    BASELINES_MAX);
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
        status = race(plan, "keep-gathered", n, lanes);
    size_t best = 0;
    for (size_t k = 0; status == NRW_OK && k < n; k++) {
        status = add_row(plan, "keep-gathered", &recipes[k], BASELINE_TRIALS, outcomes[k]);
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

static nrw_status note_verified(planner *plan, const nrw_outcome *outcomes, size_t n)
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

/* Takes over what the last verification made of a candidate. */
static nrw_status adopt(planner *plan, const candidate *verified, const nrw_trial *trials)
{
    nrw_plan_result *result = plan->result;
    const size_t n = plan->config->n_verification;
    memcpy(plan->trials, trials, n * sizeof *trials);
    free(result->verification);
    result->verification = plan->fresh;
    result->n_verification = n;
    plan->fresh = NULL;
    plan->adopted = (size_t)(verified - plan->candidates);
    return note_verified(plan, result->verification, n);
}

/* The best candidate on fresh trials; each round has its own. */
static nrw_status verify(planner *plan, size_t round, nrw_trial *trials, candidate *best)
{
    const size_t n = plan->config->n_verification;
    free(plan->fresh);
    plan->fresh = calloc(n, sizeof *plan->fresh);
    if (!plan->fresh)
        return nrw_errors_add(plan->errors, NRW_NO_MEMORY, "", "no memory for the verification");
    nrw_status status = nrw_trials_draw(&plan->scenario->uncertainty, plan->config->seed,
                                        NRW_TRIALS_VERIFY, round * n, n, trials);
    if (status == NRW_OK) {
        plan->race.trials = trials;
        const nrw_race_lane lane = {&best->schedule, 0, n, plan->fresh};
        status = race(plan, "verification", 1, &lane);
        plan->race.trials = plan->search_trials;
    }
    if (status == NRW_OK)
        status = add_row(plan, "verification", &best->recipe, n, plan->fresh);
    if (status != NRW_OK)
        return status;
    best->verified = true;
    best->verified_score = score(plan, n, plan->fresh);
    const double mean = nrw_outcomes_mean(n, plan->fresh);
    if (isnan(plan->result->delivered) || mean > plan->result->delivered)
        status = adopt(plan, best, trials);
    return status;
}

/* The simple schedule on the trials that the plan was verified on. */
static nrw_status verify_baseline(planner *plan)
{
    nrw_plan_result *result = plan->result;
    const size_t n = result->n_verification;
    nrw_schedule baseline = {0};
    nrw_outcome *simple = calloc(n, sizeof *simple);
    nrw_status status = simple ? pick_baseline(plan, &baseline)
                               : nrw_errors_add(plan->errors, NRW_NO_MEMORY, "",
                                                "no memory for the verification");
    if (status == NRW_OK) {
        plan->race.trials = plan->trials;
        const nrw_race_lane lane = {&baseline, 0, n, simple};
        status = race(plan, "keep-gathered, verified", 1, &lane);
        plan->race.trials = plan->search_trials;
    }
    if (status == NRW_OK) {
        result->baseline = nrw_outcomes_mean(n, simple);
        status = add_row(plan, "verified simple", &result->baseline_recipe, n, simple);
    }
    nrw_schedule_clear(&baseline);
    free(result->simple);
    result->simple = simple;
    return status;
}

/* --- reasons ---------------------------------------------------------------- */

/* How far along the route the particles came, mean over the verification. */
static double mean_way_um(const planner *plan)
{
    const nrw_plan_result *result = plan->result;
    double sum = 0.0;
    for (size_t k = 0; k < result->n_verification; k++)
        sum += result->verification[k].furthest_um / (double)result->n_verification;
    return sum;
}

/* Where most particles were still on their way, not held up before a throat: the
 * deadline that their pace asks for, with a third to spare, over the one given.
 * 1: time was not the trouble. */
static double time_factor(const planner *plan)
{
    const nrw_plan_result *result = plan->result;
    double underway = 0.0;
    for (size_t k = 0; k < result->n_verification; k++) {
        const nrw_outcome *outcome = &result->verification[k];
        underway += outcome->out_of_time ? 1.0 - outcome->delivered
                                         : outcome->loss[NRW_LOSS_OTHER];
    }
    if (underway < 0.5 * (double)result->n_verification)
        return 1.0;
    const double way = nrw_channel_route_length_um(plan->channel), came = mean_way_um(plan);
    if (came > way - plan->scenario->target.radius_um)
        return 1.0; /* most were at the target or past it */
    return fmax(1.0, 1.33 * way / fmax(came, 1e-3 * way));
}

static void explain_losses(planner *plan)
{
    static const char *const causes[NRW_N_LOSS_CAUSES] = {
        "plug up before a throat", "stay in a pocket beside a throat's mouth",
        "stay inside a throat",    "take a wrong branch",
        "are past the throats but apart from the target", "stick to walls",
        "are swept out",           "never come near a throat"};
    nrw_plan_result *result = plan->result;
    double loss[NRW_N_LOSS_CAUSES] = {0}, late = 0.0;
    const double n = (double)result->n_verification;
    for (size_t k = 0; k < result->n_verification; k++) {
        for (int c = 0; c < NRW_N_LOSS_CAUSES; c++)
            loss[c] += result->verification[k].loss[c] / n;
        late += result->verification[k].out_of_time / n;
    }
    int worst = 0;
    for (int c = 1; c < NRW_N_LOSS_CAUSES; c++)
        if (loss[c] > loss[worst])
            worst = c;
    size_t n_throats;
    const nrw_throat *throats = nrw_channel_throats(plan->channel, &n_throats);
    char narrow[120] = "";
    size_t tightest = 0;
    for (size_t k = 1; k < n_throats; k++)
        if (throats[k].narrowest_um < throats[tightest].narrowest_um)
            tightest = k;
    if (n_throats > 0)
        (void)snprintf(narrow, sizeof narrow, " (the narrowest, throat %zu, is %.3g um, %.2f of the gathered swarm)",
                       tightest + 1, throats[tightest].narrowest_um,
                       throats[tightest].narrowest_um /
                           nrw_scenario_gathered_diameter_um(plan->scenario));
    const double more_time = time_factor(plan);
    if (more_time > 1.0) {
        (void)snprintf(result->reason, sizeof result->reason,
                       "the deadline is too short: the best schedule of %zu delivers %.0f %% on "
                       "average; its swarm came %.3g um of the %.3g um in %.3g s, so that it needs "
                       "about %.3g s",
                       result->n_candidates, 100.0 * result->delivered, mean_way_um(plan),
                       nrw_channel_route_length_um(plan->channel), plan->scenario->deadline_s,
                       more_time * plan->scenario->deadline_s);
        return;
    }
    (void)snprintf(result->reason, sizeof result->reason,
                   "the best schedule of %zu delivers %.0f %% on average, below the goal of %.0f %%: "
                   "%.0f %% of the particles %s%s%s",
                   result->n_candidates, 100.0 * result->delivered,
                   100.0 * plan->scenario->goal.fraction_min, 100.0 * loss[worst], causes[worst],
                   worst <= NRW_LOSS_IN_THROAT ? narrow : "",
                   late > 0.5 ? "; most runs were still under way at the deadline" : "");
}

/* A search tries hundreds of runs, and what it starts from is known of spheres only. */
static void refuse_doublets(nrw_plan_result *result)
{
    (void)snprintf(result->reason, sizeof result->reason,
                   "schedules are not searched for doublets, which are followed one by one, a "
                   "hundred times slower than the averaged spheres of a search");
    (void)snprintf(result->nearest_change, sizeof result->nearest_change,
                   "plan for spheres of the same volume, then judge that schedule with the "
                   "doublets by 'narrows estimate'");
}

static void refuse_early(nrw_plan_result *result, const nrw_necessary_check *failure)
{
    (void)snprintf(result->reason, sizeof result->reason, "%s", failure->text);
    (void)snprintf(result->nearest_change, sizeof result->nearest_change, "%s", failure->change);
}

/* --- the whole -------------------------------------------------------------- */

static nrw_status search(planner *plan)
{
    const double started = clock_s();
    nrw_status status = search_library(plan);
    if (status == NRW_OK && plan->n_candidates > 0)
        status = search_near(plan);
    if (status == NRW_OK && plan->n_candidates > 0)
        status = decide(plan);
    plan->result->n_candidates = plan->n_candidates;
    plan->result->wall_search_s += clock_s() - started;
    if (status == NRW_OK && plan->n_candidates == 0)
        status = nrw_errors_add(plan->errors, NRW_REFUSED, "a stronger rig",
                                "the rig can't give any of the fields that a plan would use");
    return status;
}

/* Takes the best candidate's schedule over into the result. */
static void keep_best(planner *plan)
{
    if (plan->n_candidates == 0)
        return;
    const size_t which =
        plan->adopted < plan->n_candidates ? plan->adopted : best_candidate(plan);
    candidate *best = &plan->candidates[which];
    plan->result->recipe = best->recipe;
    plan->result->schedule = best->schedule;
    memset(&best->schedule, 0, sizeof best->schedule);
}

/* Searches and verifies in turn until a plan holds what the search promised, or
 * nothing better comes up. */
static nrw_status work(planner *plan)
{
    const size_t n = plan->config->n_verification;
    const double enough = fmax(plan->scenario->goal.fraction_min, VERIFIED_ENOUGH);
    nrw_trial *trials = calloc(n, sizeof *trials);
    plan->trials = calloc(n, sizeof *plan->trials);
    nrw_status status = NRW_OK;
    if (!trials || !plan->trials)
        status = nrw_errors_add(plan->errors, NRW_NO_MEMORY, "", "no memory for the verification");
    if (status == NRW_OK)
        status = nrw_trials_draw(&plan->scenario->uncertainty, plan->config->seed,
                                 NRW_TRIALS_SEARCH, 0, SEARCH_TRIALS, plan->search_trials);
    plan->race.trials = plan->search_trials;
    for (size_t round = 0; status == NRW_OK && round < ROUNDS; round++) {
        status = search(plan);
        if (status != NRW_OK)
            break;
        candidate *best = &plan->candidates[best_candidate(plan)];
        if (best->verified)
            break;
        const double started = clock_s();
        status = verify(plan, round, trials, best);
        plan->result->wall_verification_s += clock_s() - started;
        if (status == NRW_OK && plan->result->delivered >= enough)
            break;
    }
    const double started = clock_s();
    if (status == NRW_OK)
        status = verify_baseline(plan);
    plan->result->wall_verification_s += clock_s() - started;
    free(trials);
    return status;
}

static nrw_status finish(planner *plan)
{
    nrw_plan_result *result = plan->result;
    result->found = result->delivered >= plan->scenario->goal.fraction_min;
    if (result->found)
        return NRW_OK;
    explain_losses(plan);
    plan->stage = "nearest change";
    nrw_status status =
        nrw_plan_nearest_change(&plan->race, &result->recipe, fmax(1.6, time_factor(plan)),
                                result->nearest_change,
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
        refuse_doublets(result);
        return NRW_REFUSED;
    }
    const nrw_necessary_check *failure = nrw_necessary_failure(&result->necessary);
    if (failure) {
        refuse_early(result, failure);
        return NRW_REFUSED;
    }
    planner plan;
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
                           .progress = tell,
                           .context = &plan,
                           .interrupted = config->interrupted,
                           .checkpoint = config->checkpoint};
    plan.candidates = calloc(MAX_CANDIDATES, sizeof *plan.candidates);
    if (!plan.candidates)
        return nrw_errors_add(errors, NRW_NO_MEMORY, "", "no memory for the search");
    result->searched = true;
    plan.adopted = MAX_CANDIDATES;
    plan.n_hands = nrw_recipe_library(scenario, channel, &result->necessary, plan.hands, LIBRARY_MAX);
    nrw_status status = work(&plan);
    keep_best(&plan);
    if (status == NRW_OK)
        status = finish(&plan);
    for (size_t k = 0; k < plan.n_candidates; k++)
        nrw_schedule_clear(&plan.candidates[k].schedule);
    free(plan.candidates);
    free(plan.fresh);
    free(plan.trials);
    return status;
}
