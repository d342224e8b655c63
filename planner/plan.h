/* Plans: the search for a schedule that delivers, and its verification
 * (docs/planning.md). */
#ifndef NRW_PLAN_H
#define NRW_PLAN_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "../sim/channel.h"
#include "../sim/result.h"
#include "../sim/run.h"
#include "../sim/scenario.h"
#include "../sim/store.h"
#include "necessary.h"
#include "race.h"
#include "recipe.h"

typedef struct nrw_plan_config {
    uint64_t seed;
    nrw_model model;
    size_t n_verification; /* trials; at least 8 */
    /* called with what is being done, the best mean so far (NAN: none) and runs
     * done of those planned so far; may be NULL */
    void (*progress)(void *context, const char *stage, double best, size_t done, size_t of);
    void *context;
    bool (*interrupted)(void);  /* may be NULL */
    nrw_checkpoint *checkpoint; /* keeps the outcome of every run; NULL: none; borrowed */
} nrw_plan_config;

/* One line of search.csv. */
typedef struct nrw_plan_row {
    char stage[24];
    nrw_recipe recipe;
    size_t n_trials;
    double mean, least, time_s; /* over the trials */
    size_t n_failed;            /* runs that diverged */
} nrw_plan_row;

typedef struct nrw_plan_result {
    nrw_necessary necessary;
    bool searched; /* false: a necessary condition fails */
    bool found;
    nrw_recipe recipe; /* the best */
    nrw_schedule schedule;
    nrw_recipe baseline_recipe;
    double baseline;             /* best_without_reshaping; NAN: not run */
    double delivered, low, high; /* verified mean and its 95 % interval; NAN: not run */
    double time_s;               /* mean of the verification runs */
    nrw_outcome *verification;   /* (n_verification), owned */
    nrw_outcome *simple;         /* (n_verification) of the baseline, same trials; owned */
    size_t n_verification;
    size_t n_candidates;
    nrw_plan_row *rows; /* (n_rows), owned */
    size_t n_rows, rows_capacity;
    char reason[512], nearest_change[384]; /* where not found */
    double wall_search_s, wall_verification_s;
} nrw_plan_result;

nrw_plan_config nrw_plan_config_defaults(void);

/* Plans. NRW_OK when found; NRW_REFUSED when nothing deliverable was found, with
 * `reason` (the result is filled all the same); NRW_INTERRUPTED with what was
 * found so far; other statuses on failure. The same inputs, seed and model give
 * the same result with any number of threads: the search is bounded by counts,
 * never by the clock. Clear the result in every case. */
nrw_status nrw_plan(const nrw_scenario *scenario, const nrw_channel *channel,
                    const nrw_plan_config *config, nrw_plan_result *result, nrw_errors *errors);
void nrw_plan_result_clear(nrw_plan_result *result);

/* Writes search.csv: one line for each candidate and stage. NRW_IO_FAILED. */
nrw_status nrw_plan_search_csv(nrw_store *store, const nrw_plan_result *plan, nrw_errors *errors);

/* The contract's figures of `plan`, and per trial and condition ours. */
void nrw_plan_figures(nrw_result *result, const nrw_plan_result *plan);

/* --- shared between the planner's files ------------------------------------ */

/* Hand recipes for a scenario, the most promising first; at most `most`. */
size_t nrw_recipe_library(const nrw_scenario *scenario, const nrw_channel *channel,
                          const nrw_necessary *necessary, nrw_recipe *recipes, size_t most);

/* Gather-then-constant-tilt recipes with a tilt of at most 10 degrees. */
size_t nrw_recipe_baselines(const nrw_scenario *scenario, const nrw_channel *channel,
                            const nrw_necessary *necessary, nrw_recipe *recipes, size_t most);

/* A recipe near another: a pure function of (seed, index). */
nrw_recipe nrw_recipe_vary(const nrw_recipe *recipe, const nrw_scenario *scenario,
                           const nrw_necessary *necessary, uint64_t seed, uint32_t index);

/* Which single change would make the best recipe deliver: tries a few on two
 * trials each, a deadline `time_factor` times as long among them, and writes a
 * sentence. */
nrw_status nrw_plan_nearest_change(const nrw_race *race, const nrw_recipe *recipe,
                                   double time_factor, char *text, size_t size, nrw_errors *errors);

#endif
