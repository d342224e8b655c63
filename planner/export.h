/* An export: what a schedule asks of rig and people, and the files for the bench.
 *
 * Two passes over a waveform: one that measures, one that writes. What the rig
 * can't do refuses the export unless it is allowed by name; what the field does
 * to people informs. docs/export.md describes every file. */
#ifndef NRW_EXPORT_H
#define NRW_EXPORT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include "error.h"
#include "exposure.h"
#include "limit.h"
#include "playback.h"
#include "result.h"
#include "rig.h"
#include "run.h"
#include "scenario.h"
#include "schedule.h"
#include "store.h"
#include "waveform.h"

/* Limits of the rig that --allow may name, as bits. */
#define NRW_EXPORT_ALLOWANCES(X)                                                                   \
    X(FIELD, "field")                                                                              \
    X(FREQUENCY, "frequency")                                                                      \
    X(CURRENT, "current")                                                                          \
    X(RMS_CURRENT, "rms-current")                                                                  \
    X(VOLTAGE, "voltage")                                                                          \
    X(SLEW, "slew")                                                                                \
    X(TEMPERATURE, "temperature")

enum {
#define NRW_EXPORT_ALLOW_INDEX(bit, name) NRW_EXPORT_ALLOW_INDEX_##bit,
    NRW_EXPORT_ALLOWANCES(NRW_EXPORT_ALLOW_INDEX)
#undef NRW_EXPORT_ALLOW_INDEX
        NRW_N_ALLOWANCES
};

enum {
#define NRW_EXPORT_ALLOW_BIT(bit, name) NRW_EXPORT_ALLOW_##bit = 1 << NRW_EXPORT_ALLOW_INDEX_##bit,
    NRW_EXPORT_ALLOWANCES(NRW_EXPORT_ALLOW_BIT)
#undef NRW_EXPORT_ALLOW_BIT
};

/* Bit of a limit's name, 0: none; and the name of an index, a static string. */
unsigned nrw_export_allowance(const char *name);
const char *nrw_export_allowance_name(int index);

/* Where the times and headings come from. */
typedef enum nrw_export_times {
    NRW_EXPORT_TIMES_CLOCK, /* every leg ends by the clock */
    NRW_EXPORT_TIMES_RUN    /* one simulated run: the fixed-time variant */
} nrw_export_times;

typedef struct nrw_export_config {
    const nrw_scenario *scenario; /* borrowed, as the next three */
    const nrw_channel *channel;
    const nrw_schedule *schedule;
    const nrw_limits *limits;
    uint64_t seed; /* of the run that gives times */
    nrw_model model;
    double sample_rate_Hz; /* 0: the rig's */
    unsigned allowed;      /* NRW_EXPORT_ALLOW_... bits */
    nrw_progress progress; /* may be NULL; done and of in samples, or seconds of a run */
    void *progress_context;
    size_t playback_trials;    /* where the times are a run's: trials without imaging; 0: none */
    bool (*interrupted)(void); /* asked within those, from any thread; may be NULL */
} nrw_export_config;

/* The most that any leg asks of the rig, joins apart. */
typedef struct nrw_export_asked {
    double field_mT, frequency_Hz;
    double coils[NRW_COILS_MAX][NRW_RIG_N_QUANTITIES];
} nrw_export_asked;

typedef struct nrw_export {
    nrw_export_config config;
    nrw_export_asked asked;
    nrw_rig_model model; /* with the rig's own limits */
    nrw_rig rig;         /* without those that are allowed by name */
    nrw_export_times times;
    bool refused;       /* a limit of the rig is exceeded: there is no wave */
    nrw_run_result run; /* the run that gave times, empty without one */
    nrw_timeline timeline;
    nrw_wave *wave; /* NULL when refused */
    size_t samples;
    double duration_s;
    double peak_A[NRW_COILS_MAX], peak_V[NRW_COILS_MAX], rms_A[NRW_COILS_MAX];
    double slew_A_s[NRW_COILS_MAX], hottest_C[NRW_COILS_MAX];
    double energy_J;
    size_t n_joins;
    double longest_join_s;
    nrw_playback playback;   /* of no trials where the times are the clock's */
    nrw_limit_check *checks; /* (n_checks) of the rig first, then those that inform; owned */
    size_t n_checks;
} nrw_export;

/* Checks, times, plans and measures. NRW_OK; NRW_REFUSED with reasons, the
 * export then holding the checks that there are; NRW_BAD_INPUT without coils to
 * compute currents for; or what failed. Clear it in every case. Cost: a run
 * where imaging steers and those of the playback, and about 2 µs a sample. */
nrw_status nrw_export_prepare(nrw_export *export, const nrw_export_config *config,
                              nrw_errors *errors);
void nrw_export_clear(nrw_export *export);

/* Writes the files of the export into a store: currents.csv, currents.npy (and
 * commands.npy where amplifiers have a gain), waveform.json, segments.csv,
 * segments.npy, steps.json, bench-card.html, SHA256SUMS. */
nrw_status nrw_export_write(nrw_export *export, nrw_store *store, nrw_errors *errors);

#endif
