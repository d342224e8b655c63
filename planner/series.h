/* Series: the trials of one or several schedules, over all threads, kept trial by
 * trial in a checkpoint. The same trials for every schedule. */
#ifndef NRW_SERIES_H
#define NRW_SERIES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "checkpoint.h"
#include "trial_record.h"

/* One schedule of a series. */
typedef struct nrw_series_lane {
    const char *name;             /* without blanks; names the lane in the checkpoint */
    const nrw_schedule *schedule; /* both borrowed */
    nrw_trial_record *records;    /* (n_trials), the caller's to clear and free */
} nrw_series_lane;

typedef struct nrw_series {
    const nrw_scenario *scenario; /* borrowed, as all here */
    const nrw_channel *channel;
    uint64_t seed;
    nrw_model model;
    nrw_checkpoint *checkpoint; /* NULL: none */
    /* called with trials done; true stops the series; may be NULL */
    bool (*progress)(void *context, size_t done, size_t of);
    void *context;
    bool (*interrupted)(void); /* asked within runs, from any thread; may be NULL */
} nrw_series;

/* Runs trials first...first + n - 1 of a family under every lane; those that the
 * checkpoint holds are taken from it. Records of trials that were not done have
 * outcome.status NRW_INTERRUPTED. NRW_OK, NRW_INTERRUPTED, or the first failure
 * that is no divergence. The records depend on scenario, schedules, seed, model
 * and family alone. */
nrw_status nrw_series_run(const nrw_series *series, nrw_trial_family family, size_t first, size_t n,
                          size_t n_lanes, const nrw_series_lane *lanes, nrw_errors *errors);

/* Records (n), none of them done; NULL: no memory. */
nrw_trial_record *nrw_trial_records_create(size_t n);
void nrw_trial_records_destroy(size_t n, nrw_trial_record *records);

#endif
