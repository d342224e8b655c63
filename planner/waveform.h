/* A timeline as sampled field, currents and voltages.
 *
 * Inside a leg the phase is continuous and counts from the leg's start, for both
 * settings of an alternation, as in a run. What changes at once in the schedule
 * (a new leg, a switch of an alternation, the beginning and the end) is faded:
 * B = (1 − w) B_old + w B_new with w a raised cosine over the shortest time that
 * every coil's voltage and slew allow. Both fields are within the limits, and so
 * is every mixture of them. Headings and tilts that feedback sets are turned the
 * same way, by the shorter side. The wave starts and ends at no
 * current. */
#ifndef NRW_WAVEFORM_H
#define NRW_WAVEFORM_H

#include <stdbool.h>
#include <stddef.h>

#include "error.h"
#include "rig.h"
#include "schedule.h"
#include "timeline.h"

typedef struct nrw_wave nrw_wave;

/* One sample. Coils in the order of the rig model. */
typedef struct nrw_wave_sample {
    double time_s;
    int leg;             /* index into the schedule */
    double field_mT[3];  /* map frame, what the drive asks for */
    double rate_mT_s[3]; /* dB/dt */
    double current_A[NRW_COILS_MAX], rate_A_s[NRW_COILS_MAX], voltage_V[NRW_COILS_MAX];
    double command_A[NRW_COILS_MAX];     /* what the amplifier is told: its gain and phase undone */
    double temperature_C[NRW_COILS_MAX]; /* of the windings; NAN where not followed */
} nrw_wave_sample;

/* A join that was planned: for the tables and the report. */
typedef struct nrw_wave_join {
    double time_s, length_s;
    int leg; /* the leg that it belongs to */
} nrw_wave_join;

/* Plans the joins. `rig`, `schedule` and `timeline` are borrowed until the wave
 * is destroyed. sample_rate_Hz > 0 must exceed twice every frequency of the
 * timeline (NRW_BAD_INPUT). NRW_REFUSED where a coil has no voltage or slew
 * left to make a change within JOIN_MAX_S = 2 s, with leg and coil. */
nrw_status nrw_wave_create(const nrw_rig *rig, const nrw_schedule *schedule,
                           const nrw_timeline *timeline, double sample_rate_Hz, nrw_wave **wave,
                           nrw_errors *errors);
void nrw_wave_destroy(nrw_wave *wave);

/* Samples from 0 to the end, both included: round(end · rate) + 1. */
size_t nrw_wave_n_samples(const nrw_wave *wave);
double nrw_wave_duration_s(const nrw_wave *wave);
double nrw_wave_sample_rate_Hz(const nrw_wave *wave);
const nrw_rig_model *nrw_wave_rig(const nrw_wave *wave);
const nrw_wave_join *nrw_wave_joins(const nrw_wave *wave, size_t *n_joins);

/* The next sample; false after the last. Rates are central differences over
 * 2 µs inside what is in force (error below 1e-7 of them). O(1). */
bool nrw_wave_next(nrw_wave *wave, nrw_wave_sample *sample);
void nrw_wave_rewind(nrw_wave *wave);

/* Field, currents, rates and voltages at any time, without the windings' heating
 * and the command. O(log n); any thread. */
void nrw_wave_at(const nrw_wave *wave, double t_s, nrw_wave_sample *sample);

#endif
