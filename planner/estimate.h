/* Estimates: what a schedule delivers over repeated uncertain trials, with
 * intervals over trials, and where the rest is lost. What each figure means:
 * docs/statistics.md. */
#ifndef NRW_ESTIMATE_H
#define NRW_ESTIMATE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

#include "result.h"
#include "sensitivity.h"
#include "series.h"
#include "survival.h"

/* The figures of the trials of one schedule. Owned: clear. */
typedef struct nrw_estimate {
    size_t n_trials;             /* done, those that failed included */
    size_t n_failed;             /* stopped by a numerical failure: nothing delivered */
    double delivered, deviation; /* mean and standard deviation over trials */
    nrw_interval interval;       /* of the mean, 95 %: bootstrap over trials */
    nrw_interval cautious;       /* of the mean, 95 %: Wilson with the sum of fractions */
    double p10;
    double fates[NRW_N_FATES];
    double causes[NRW_N_LOSS_CAUSES];
    double goal;             /* fraction asked for */
    size_t n_reached;        /* trials that delivered at least that at their end */
    nrw_interval reached;    /* Wilson, 95 % */
    size_t n_held;           /* trials in which goal.fraction_min was reached and kept for
                                goal.hold_s */
    nrw_interval held;       /* Wilson, 95 % */
    size_t n_arrived;        /* trials in which goal.fraction_min was inside at some time */
    nrw_survival arrival;    /* time to target */
    double visible_fraction; /* of the time, mean over trials */
    double time_s;           /* mean simulated time */
    nrw_loss_flow flow;      /* of all trials together */
    /* of the parameters that vary: (n_varied) */
    size_t n_varied;
    int varied[NRW_N_DRAWN]; /* index as in nrw_drawn_name */
    nrw_sensitivity sensitivities[NRW_N_DRAWN];
    double explained;
    char advice[512]; /* which to measure better, in words; "" without any that varies */
} nrw_estimate;

/* Figures of n records, of which those not done are left out. `goal` is the
 * fraction asked for. NRW_NO_MEMORY; NRW_INTERRUPTED when none is done (the
 * figures are then NAN). Clear in every case. */
nrw_status nrw_estimate_of(nrw_estimate *estimate, const nrw_scenario *scenario, size_t n,
                           const nrw_trial_record *records, double goal);
void nrw_estimate_clear(nrw_estimate *estimate);

/* How many trials, and when to stop. */
typedef struct nrw_estimate_config {
    size_t n_trials;   /* at most */
    double half_width; /* stops when the interval's half-width is no more; 0: never */
    double goal;       /* NAN: the scenario's goal.fraction_min */
} nrw_estimate_config;

nrw_estimate_config nrw_estimate_config_defaults(void); /* 40 trials, no half-width */

/* With a half-width the trials are judged in steps: after 16 (an interval of fewer
 * sees too few failures), then every 8. The steps don't depend on threads. */
enum { NRW_ESTIMATE_FIRST = 16, NRW_ESTIMATE_STEP = 8 };

/* Runs the trials of a schedule; records (config->n_trials) get what was done.
 * Returns nrw_series_run's status; the estimate holds the trials done whatever it
 * is. NRW_DIVERGED when no trial ended without a failure. */
nrw_status nrw_estimate_run(const nrw_series *series, const nrw_schedule *schedule,
                            const nrw_estimate_config *config, nrw_trial_record *records,
                            nrw_estimate *estimate, nrw_errors *errors);

/* The contract's figures of `estimate` into the open object, and ours: `deviation`,
 * `delivered_cautious` [low, high], `failed`, `goal` {`fraction`, `trials`,
 * `probability`, `low`, `high`}, `hold` {`seconds`, ...}, `time_s`, `losses`
 * {`particles`, `stages`, `exits`, `vessels`, `retained_percent`},
 * `lost_by_cause`, `sensitivity`. Without any trial all are null. */
void nrw_estimate_figures(nrw_result *result, const nrw_scenario *scenario,
                          const nrw_estimate *estimate);

/* `losses` of a flow, as above, into the open object: null for one without
 * particles; and those of one run. */
void nrw_loss_flow_figures(nrw_result *result, const nrw_scenario *scenario,
                           const nrw_loss_flow *flow);
void nrw_run_loss_figures(nrw_result *result, const nrw_scenario *scenario,
                          const nrw_channel *channel, const nrw_run_result *run);

/* The same in words. */
void nrw_estimate_describe(const nrw_scenario *scenario, const nrw_estimate *estimate,
                           FILE *stream);

/* Name of the vessel of an exit: "mouth to room", "open map". */
void nrw_estimate_vessel_name(const nrw_scenario *scenario, int vessel, char *text, size_t size);

#endif
