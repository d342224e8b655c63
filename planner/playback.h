/* Playback: what the samples of a waveform deliver where nothing watches.
 *
 * The fixed-time variant of a schedule is one way that the job may go. Batches differ
 * from the nominal one, and samples can't follow: this tells how much that costs. */
#ifndef NRW_PLAYBACK_H
#define NRW_PLAYBACK_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "error.h"
#include "run.h"
#include "statistics.h"
#include "waveform.h"

enum { NRW_PLAYBACK_TRIALS = 16 };

typedef struct nrw_playback_config {
    const nrw_scenario *scenario; /* borrowed, as the channel */
    const nrw_channel *channel;
    uint64_t seed; /* the trials are those of `estimate` with that seed */
    nrw_model model;
    size_t n_trials;       /* 0: none is made */
    nrw_progress progress; /* in trials; true stops; may be NULL */
    void *progress_context;
    bool (*interrupted)(void); /* asked within runs, from any thread; may be NULL */
} nrw_playback_config;

typedef struct nrw_playback {
    size_t n_trials, n_failed; /* done; stopped by a numerical failure: nothing delivered */
    double nominal;            /* delivered fraction with the nominal batch; NAN: it failed */
    double delivered;          /* mean over the trials */
    nrw_interval interval;     /* of the mean, 95 %: bootstrap over trials */
} nrw_playback;

/* Plays the samples (taken at the wave's own rate, as the files hold them) as one leg:
 * with the nominal batch and the seed, then over trials with draws of what the scenario
 * calls uncertain. Threads share the trials; the figures don't depend on them. The wave
 * is rewound. NRW_OK, NRW_INTERRUPTED, NRW_NO_MEMORY, or a run's failure that is no
 * divergence. Holds 12 bytes a sample for the time. */
nrw_status nrw_playback_run(const nrw_playback_config *config, nrw_wave *wave,
                            nrw_playback *playback, nrw_errors *errors);

#endif
