/* Inside of a waveform: what is in force when, and how the joins are found. */
#ifndef NRW_WAVEFORM_PARTS_H
#define NRW_WAVEFORM_PARTS_H

#include "waveform.h"

/* What makes the field at one time. */
typedef struct nrw_wave_state {
    const nrw_drive_setting *setting; /* NULL: a frozen field */
    int leg;
    double leg_start_s;
    double heading_from, heading_to, tilt_from, tilt_to; /* rad, degrees */
    double turn_start_s, turn_length_s;
    nrw_vec3 frozen_mT, frozen_command_mT;
} nrw_wave_state;

/* From time_s on: `to`, faded in from `from`. */
typedef struct nrw_wave_entry {
    double time_s;
    nrw_wave_state from, to;
    double join_start_s, join_length_s;
} nrw_wave_entry;

struct nrw_wave {
    nrw_rig_model model;
    const nrw_rig *rig;
    const nrw_schedule *schedule;
    const nrw_timeline *timeline;
    double rate_Hz, end_s;
    size_t n_samples;
    nrw_wave_entry *entries; /* (n_entries) */
    size_t n_entries, capacity;
    nrw_wave_join *joins;
    size_t n_joins;
    size_t next_sample, at_entry;
    double temperature_C[NRW_COILS_MAX];
};

/* --- waveform.c ------------------------------------------------------------------ */

/* Amplifiers' answer at a frequency, linear in between, flat outside. */
nrw_rig_gain nrw_wave_gain(const nrw_rig *rig, double frequency_Hz);

/* Heading or tilt of a state at a time, on its way between two values. */
double nrw_wave_turned(const nrw_wave_state *state, double t, double from, double to);

/* Field of an entry at a time, or what the amplifiers must be told for it. */
nrw_vec3 nrw_wave_field(const nrw_wave *wave, const nrw_wave_entry *at, double t, bool command);

/* Field, currents, rates and voltages of an entry at a time. */
void nrw_wave_sample_of(const nrw_wave *wave, const nrw_wave_entry *at, double t,
                        nrw_wave_sample *sample);

/* --- waveform_join.c --------------------------------------------------------------- */

/* Fills the entries of a wave from its timeline, with every join's length. */
nrw_status nrw_wave_plan(nrw_wave *wave, nrw_errors *errors);

#endif
