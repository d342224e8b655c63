/* Inside of a plan: its parts, one a file. */
#ifndef NRW_PLAN_PARTS_H
#define NRW_PLAN_PARTS_H

#include "plan.h"
#include "race.h"
#include "trial.h"

/* The search's size: counts, so that the result does not depend on speed. */
enum {
    NRW_PLAN_BATCH = 3,        /* candidates that start together */
    NRW_PLAN_SURVIVORS = 2,    /* of a batch, that meet more trials */
    NRW_PLAN_FIRST_TRIALS = 1, /* for each candidate of a batch */
    NRW_PLAN_MORE_TRIALS = 2,  /* for each survivor */
    NRW_PLAN_FINAL_TRIALS = 2, /* more for the two best, before verification */
    NRW_PLAN_LIBRARY_MAX = 16,
    NRW_PLAN_VARIED_BATCHES = 4,
    NRW_PLAN_SEARCH_TRIALS = NRW_PLAN_FIRST_TRIALS + NRW_PLAN_MORE_TRIALS + NRW_PLAN_FINAL_TRIALS,
    NRW_PLAN_CANDIDATES_MAX = NRW_PLAN_LIBRARY_MAX + NRW_PLAN_VARIED_BATCHES * NRW_PLAN_BATCH,
    NRW_PLAN_ROUNDS = 3 /* of search and verification */
};

typedef struct nrw_plan_candidate {
    nrw_recipe recipe;
    nrw_schedule schedule;
    nrw_outcome outcomes[NRW_PLAN_SEARCH_TRIALS];
    size_t n_trials;
    bool verified;
    double verified_score; /* what fresh trials made of it */
} nrw_plan_candidate;

typedef struct nrw_planner {
    const nrw_scenario *scenario;
    const nrw_channel *channel;
    const nrw_plan_config *config;
    nrw_plan_result *result;
    nrw_errors *errors;
    nrw_race race;
    nrw_trial search_trials[NRW_PLAN_SEARCH_TRIALS];
    nrw_plan_candidate *candidates; /* (NRW_PLAN_CANDIDATES_MAX) */
    size_t n_candidates;
    nrw_recipe hands[NRW_PLAN_LIBRARY_MAX];
    size_t n_hands, next_hand;
    uint32_t next_batch; /* of variations */
    nrw_trial *trials;   /* (n_verification) of the last verification; owned */
    size_t adopted;      /* candidate that is reported; NRW_PLAN_CANDIDATES_MAX: none */
    const char *stage;
    double best_mean;
    size_t runs_done; /* before the race under way */
} nrw_planner;

double nrw_plan_clock_s(void);

/* --- plan_search.c: candidates and their races -------------------------------------- */

/* For the race's `progress`; context is the planner. */
bool nrw_plan_tell(void *context, size_t done, size_t of);

/* Races lanes under the name of a stage. */
nrw_status nrw_plan_race(nrw_planner *plan, const char *stage, size_t n_lanes,
                         const nrw_race_lane *lanes);

/* A row of search.csv: what n trials made of a recipe. */
nrw_status nrw_plan_add_row(nrw_planner *plan, const char *stage, const nrw_recipe *recipe,
                            size_t n, const nrw_outcome *outcomes);

/* What outcomes are worth: their mean, less for spread and for time used. */
double nrw_plan_score(const nrw_planner *plan, size_t n, const nrw_outcome *outcomes);

/* Goes on with the search, from the library to variations of the best, until a candidate
 * that is not verified yet is good enough or all are tried. NRW_REFUSED: the rig gives
 * none of the fields. */
nrw_status nrw_plan_search(nrw_planner *plan);

/* Index of the best so far; there is at least one. */
size_t nrw_plan_best_candidate(const nrw_planner *plan);

/* --- plan_verify.c -------------------------------------------------------------------- */

/* A candidate on fresh trials; each round has its own. The result takes it over if it
 * delivered more than what stood there, or if it `must`. */
nrw_status nrw_plan_verify(nrw_planner *plan, size_t round, size_t which, bool must);

/* The simple schedule on the trials that the plan was verified on. */
nrw_status nrw_plan_verify_baseline(nrw_planner *plan);

/* --- plan_reason.c -------------------------------------------------------------------- */

/* Where most particles were still on their way, not held up before a throat: the
 * deadline that their pace asks for, with a third to spare, over the one given.
 * 1: time was not the trouble. */
double nrw_plan_time_factor(const nrw_planner *plan);

/* Fills `reason` of a result that falls short of its goal. */
void nrw_plan_explain_losses(nrw_planner *plan);

/* Fill `reason` and `nearest_change` of jobs that are not searched. */
void nrw_plan_refuse_doublets(nrw_plan_result *result);
void nrw_plan_refuse_early(nrw_plan_result *result, const nrw_necessary_check *failure);

#endif
