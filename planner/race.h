/* Races: many runs of several schedules on common trials, spread over threads.
 *
 * The outcome is a pure function of the schedules and trials: each run's result
 * has its place, and nothing is decided while runs are under way. */
#ifndef NRW_RACE_H
#define NRW_RACE_H

#include <stdbool.h>
#include <stddef.h>

#include "../sim/run.h"
#include "checkpoint.h"
#include "trial.h"

/* What is kept of one run. nrw_outcome_write and _read must know every field. */
typedef struct nrw_outcome {
    nrw_status status; /* NRW_DIVERGED counts as nothing delivered */
    double delivered;
    double time_s;
    double time_to_target_s; /* NAN: never */
    double fate[NRW_N_FATES];
    double furthest_um; /* mean furthest position along the route */
    double loss[NRW_N_LOSS_CAUSES];
    bool out_of_time; /* ended at the deadline */
} nrw_outcome;

typedef struct nrw_race_lane {
    const nrw_schedule *schedule; /* borrowed */
    size_t first_trial, n_trials; /* into the race's trials */
    nrw_outcome *outcomes;        /* (n_trials), the caller's */
} nrw_race_lane;

/* Called from any thread, one at a time, with runs done; true stops the race. */
typedef bool (*nrw_race_progress)(void *context, size_t done, size_t of);

/* Takes note of one run as soon as it is done: `trial` counts within the lane,
 * `errors` hold what a diverged run said. Called from any thread, one at a time,
 * in no certain order. A status other than NRW_OK stops the race. */
typedef nrw_status (*nrw_race_keep)(void *context, size_t lane, size_t trial,
                                    const nrw_outcome *outcome, const nrw_run_result *run,
                                    const nrw_errors *errors);

/* Whether a run was done before, so that it is left out; its outcome is then the
 * caller's to fill. */
typedef bool (*nrw_race_known)(void *context, size_t lane, size_t trial, nrw_outcome *outcome);

typedef struct nrw_race {
    const nrw_scenario *scenario;
    const nrw_channel *channel;
    const nrw_trial *trials;
    nrw_model model;
    nrw_race_progress progress; /* may be NULL */
    void *context;
    bool (*interrupted)(void); /* asked within runs, from any thread; may be NULL */
    nrw_race_keep keep;        /* may be NULL, as the next */
    nrw_race_known known;
    /* outcomes are kept here and taken from here, by schedule and seed; NULL: not.
     * For races whose scenario, channel and model are those of the job alone */
    nrw_checkpoint *checkpoint;
    bool record; /* runs keep frames, and positions spaced by */
    double trajectory_every_s;
} nrw_race;

/* Runs all lanes. NRW_OK, NRW_INTERRUPTED (outcomes of runs not done then have
 * that status), or the first error that is not a divergence, by order of lanes
 * and trials. */
nrw_status nrw_race_run(const nrw_race *race, size_t n_lanes, const nrw_race_lane *lanes,
                        nrw_errors *errors);

/* An outcome as words of a checkpoint, and back (words->bad where they are none). */
void nrw_outcome_write(const nrw_outcome *outcome, FILE *file);
void nrw_outcome_read(nrw_outcome *outcome, nrw_words *words);

/* Mean delivered fraction of n outcomes. */
double nrw_outcomes_mean(size_t n, const nrw_outcome *outcomes);

#endif
