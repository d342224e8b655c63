#include "waveform.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "coil.h"
#include "waveform_parts.h"

#define RATE_STEP_S 1e-6
#define RATE_ROUNDING 1e-6 /* of a sample rate that comes from times */

/* --- fields ---------------------------------------------------------------------- */

/* 0 to 1 over [0, 1], flat at both ends. */
static double raised_cosine(double share)
{
    if (share <= 0.0)
        return 0.0;
    return share >= 1.0 ? 1.0 : 0.5 - 0.5 * cos(NRW_PI * share);
}

static nrw_vec3 mix(nrw_vec3 a, nrw_vec3 b, double w)
{
    return (nrw_vec3){(1.0 - w) * a.x + w * b.x, (1.0 - w) * a.y + w * b.y,
                      (1.0 - w) * a.z + w * b.z};
}

/* Amplifiers' answer at a frequency, linear in between, flat outside. */
nrw_rig_gain nrw_wave_gain(const nrw_rig *rig, double frequency_Hz)
{
    nrw_rig_gain gain = {frequency_Hz, 1.0, 0.0};
    const size_t n = rig->n_gains;
    if (n == 0)
        return gain;
    size_t above = 0;
    while (above < n && rig->gains[above].frequency_Hz < frequency_Hz)
        above++;
    if (above == 0 || above == n) {
        const nrw_rig_gain *end = &rig->gains[above == 0 ? 0 : n - 1];
        gain.gain = end->gain;
        gain.phase_deg = end->phase_deg;
        return gain;
    }
    const nrw_rig_gain *a = &rig->gains[above - 1], *b = &rig->gains[above];
    const double w = (frequency_Hz - a->frequency_Hz) / (b->frequency_Hz - a->frequency_Hz);
    gain.gain = (1.0 - w) * a->gain + w * b->gain;
    gain.phase_deg = (1.0 - w) * a->phase_deg + w * b->phase_deg;
    return gain;
}

double nrw_wave_turned(const nrw_wave_state *state, double t, double from, double to)
{
    const double share =
        state->turn_length_s > 0.0 ? (t - state->turn_start_s) / state->turn_length_s : 1.0;
    return from + (to - from) * raised_cosine(share);
}

/* Field of a state at a time; with `command`, what the amplifiers must be told
 * for it: the turning part divided by their gain and ahead by their lag. */
static nrw_vec3 state_field(const nrw_wave *wave, const nrw_wave_state *state, double t,
                            bool command)
{
    const nrw_drive_setting *setting = state->setting;
    if (!setting)
        return command ? state->frozen_command_mT : state->frozen_mT;
    const double into = t - state->leg_start_s;
    if (setting->mode == NRW_DRIVE_SAMPLED)
        return nrw_samples_at(setting->samples, into);
    const double base = setting->mode == NRW_DRIVE_GENERAL
                            ? 0.0
                            : nrw_wave_turned(state, t, state->heading_from, state->heading_to);
    const double tilt = nrw_wave_turned(state, t, state->tilt_from, state->tilt_to);
    nrw_field field = nrw_drive_field(setting, base + nrw_drive_wobble_rad(setting, into), tilt);
    double phase = 2.0 * NRW_PI * field.frequency_Hz * into;
    if (command && wave->rig->n_gains > 0) {
        const nrw_rig_gain steady = nrw_wave_gain(wave->rig, 0.0);
        const nrw_rig_gain turning = nrw_wave_gain(wave->rig, field.frequency_Hz);
        const nrw_vec3 none = {0.0, 0.0, 0.0};
        field.steady = mix(none, field.steady, 1.0 / steady.gain);
        field.cos = mix(none, field.cos, 1.0 / turning.gain);
        field.sin = mix(none, field.sin, 1.0 / turning.gain);
        phase -= turning.phase_deg * NRW_DEGREE;
    }
    return nrw_field_at(&field, phase);
}

nrw_vec3 nrw_wave_field(const nrw_wave *wave, const nrw_wave_entry *at, double t, bool command)
{
    const nrw_vec3 to = state_field(wave, &at->to, t, command);
    if (t >= at->join_start_s + at->join_length_s)
        return to;
    const double w = raised_cosine((t - at->join_start_s) / at->join_length_s);
    return mix(state_field(wave, &at->from, t, command), to, w);
}

void nrw_wave_sample_of(const nrw_wave *wave, const nrw_wave_entry *at, double t,
                        nrw_wave_sample *sample)
{
    const nrw_vec3 b = nrw_wave_field(wave, at, t, false);
    const nrw_vec3 before = nrw_wave_field(wave, at, t - RATE_STEP_S, false);
    const nrw_vec3 after = nrw_wave_field(wave, at, t + RATE_STEP_S, false);
    const nrw_rig_model *model = &wave->model;
    sample->time_s = t;
    sample->leg = at->to.leg;
    memcpy(sample->field_mT, &b, sizeof sample->field_mT);
    sample->rate_mT_s[0] = (after.x - before.x) / (2.0 * RATE_STEP_S);
    sample->rate_mT_s[1] = (after.y - before.y) / (2.0 * RATE_STEP_S);
    sample->rate_mT_s[2] = (after.z - before.z) / (2.0 * RATE_STEP_S);
    nrw_rig_currents_A(model, sample->field_mT, sample->current_A);
    for (int k = 0; k < model->n_coils; k++)
        sample->rate_A_s[k] = model->A_per_mT[k][0] * sample->rate_mT_s[0] +
                              model->A_per_mT[k][1] * sample->rate_mT_s[1] +
                              model->A_per_mT[k][2] * sample->rate_mT_s[2];
    nrw_rig_voltages_V(model, sample->current_A, sample->rate_A_s, sample->voltage_V);
}

/* --- making ------------------------------------------------------------------------- */

static nrw_status check_rate(const nrw_wave *wave, nrw_errors *errors)
{
    double highest = 0.0, sampled = 0.0;
    for (size_t i = 0; i < wave->timeline->n_items; i++) {
        const nrw_drive *drive = &wave->schedule->legs[wave->timeline->items[i].leg].drive;
        highest = fmax(highest, drive->main.frequency_Hz);
        if (drive->alternate_share > 0.0)
            highest = fmax(highest, drive->other.frequency_Hz);
        if (drive->main.mode == NRW_DRIVE_SAMPLED)
            sampled = fmax(sampled, drive->main.samples->rate_Hz);
    }
    if (sampled > 0.0 && wave->rig->n_gains > 0)
        return nrw_errors_add(errors, NRW_BAD_INPUT, "a rig without amplifier_gain",
                              "a drive of mode sampled has no frequency at which the amplifiers' "
                              "gain could be undone");
    if (wave->rate_Hz < sampled * (1.0 - RATE_ROUNDING))
        return nrw_errors_add(errors, NRW_BAD_INPUT, "at least as many",
                              "a sample rate of %g Hz for samples of %g Hz", wave->rate_Hz,
                              sampled);
    if (!(wave->rate_Hz > 2.0 * highest) || !isfinite(wave->rate_Hz))
        return nrw_errors_add(errors, NRW_BAD_INPUT, "more than twice the highest frequency",
                              "a sample rate of %g Hz for a drive of %g Hz", wave->rate_Hz,
                              highest);
    if (wave->end_s * wave->rate_Hz > 1e10)
        return nrw_errors_add(errors, NRW_BAD_INPUT, "at most 1e10 samples", "%g s at %g Hz",
                              wave->end_s, wave->rate_Hz);
    return NRW_OK;
}

static nrw_status plan(nrw_wave *wave, nrw_errors *errors)
{
    nrw_status status = nrw_rig_model_init(&wave->model, wave->rig, errors);
    if (status == NRW_OK && !wave->model.present)
        status = nrw_errors_add(errors, NRW_BAD_INPUT, "a rig in the scenario",
                                "there is no rig to make currents for");
    if (status == NRW_OK)
        status = check_rate(wave, errors);
    if (status != NRW_OK)
        return status;
    wave->n_samples = (size_t)llround(wave->end_s * wave->rate_Hz) + 1;
    wave->end_s = (double)(wave->n_samples - 1) / wave->rate_Hz;
    return nrw_wave_plan(wave, errors);
}

nrw_status nrw_wave_create(const nrw_rig *rig, const nrw_schedule *schedule,
                           const nrw_timeline *timeline, double sample_rate_Hz, nrw_wave **wave,
                           nrw_errors *errors)
{
    *wave = calloc(1, sizeof **wave);
    if (!*wave)
        return nrw_errors_add(errors, NRW_NO_MEMORY, NULL, "no memory for a waveform");
    (*wave)->rig = rig;
    (*wave)->schedule = schedule;
    (*wave)->timeline = timeline;
    (*wave)->rate_Hz = sample_rate_Hz;
    (*wave)->end_s = timeline->end_s;
    const nrw_status status = plan(*wave, errors);
    if (status != NRW_OK) {
        nrw_wave_destroy(*wave);
        *wave = NULL;
        return status;
    }
    nrw_wave_rewind(*wave);
    return NRW_OK;
}

void nrw_wave_destroy(nrw_wave *wave)
{
    if (!wave)
        return;
    free(wave->entries);
    free(wave->joins);
    free(wave);
}

size_t nrw_wave_n_samples(const nrw_wave *wave)
{
    return wave->n_samples;
}

double nrw_wave_duration_s(const nrw_wave *wave)
{
    return wave->end_s;
}

double nrw_wave_sample_rate_Hz(const nrw_wave *wave)
{
    return wave->rate_Hz;
}

const nrw_rig_model *nrw_wave_rig(const nrw_wave *wave)
{
    return &wave->model;
}

const nrw_wave_join *nrw_wave_joins(const nrw_wave *wave, size_t *n_joins)
{
    *n_joins = wave->n_joins;
    return wave->joins;
}

/* --- playing --------------------------------------------------------------------- */

void nrw_wave_rewind(nrw_wave *wave)
{
    wave->next_sample = wave->at_entry = 0;
    for (int k = 0; k < NRW_COILS_MAX; k++)
        wave->temperature_C[k] = wave->model.room_C;
}

/* Warms the windings over one sample, C dT/dt = R(T) I² − (T − room)/R_th, and
 * adds the voltage of the warmer copper. */
static void warm(nrw_wave *wave, nrw_wave_sample *sample)
{
    const nrw_rig_model *model = &wave->model;
    for (int k = 0; k < model->n_coils; k++) {
        sample->temperature_C[k] = NAN;
        if (!(model->thermal_K_W[k] > 0.0) || !(model->thermal_J_K[k] > 0.0))
            continue;
        const double above_C = wave->temperature_C[k] - model->room_C;
        const double factor =
            nrw_coil_warm_ohm(1.0, wave->temperature_C[k]) / nrw_coil_warm_ohm(1.0, model->room_C);
        const double resistance = model->resistance_ohm[k] * factor;
        const double current = sample->current_A[k];
        sample->voltage_V[k] += (resistance - model->resistance_ohm[k]) * current;
        sample->temperature_C[k] = wave->temperature_C[k];
        wave->temperature_C[k] +=
            (resistance * current * current - above_C / model->thermal_K_W[k]) /
            (model->thermal_J_K[k] * wave->rate_Hz);
    }
}

static void command(const nrw_wave *wave, const nrw_wave_entry *at, double t,
                    nrw_wave_sample *sample)
{
    const nrw_rig_model *model = &wave->model;
    memcpy(sample->command_A, sample->current_A, sizeof sample->command_A);
    if (wave->rig->n_gains == 0)
        return;
    const nrw_vec3 field = nrw_wave_field(wave, at, t, true);
    const double steady_gain = nrw_wave_gain(wave->rig, 0.0).gain;
    for (int k = 0; k < model->n_coils; k++)
        sample->command_A[k] = model->offset_A[k] / steady_gain + model->A_per_mT[k][0] * field.x +
                               model->A_per_mT[k][1] * field.y + model->A_per_mT[k][2] * field.z;
}

bool nrw_wave_next(nrw_wave *wave, nrw_wave_sample *sample)
{
    if (wave->next_sample >= wave->n_samples)
        return false;
    const double t = (double)wave->next_sample / wave->rate_Hz;
    while (wave->at_entry + 1 < wave->n_entries && t >= wave->entries[wave->at_entry + 1].time_s)
        wave->at_entry++;
    const nrw_wave_entry *at = &wave->entries[wave->at_entry];
    nrw_wave_sample_of(wave, at, t, sample);
    command(wave, at, t, sample);
    warm(wave, sample);
    wave->next_sample++;
    return true;
}

void nrw_wave_at(const nrw_wave *wave, double t_s, nrw_wave_sample *sample)
{
    size_t low = 0, high = wave->n_entries; /* the last entry that has begun, or the first */
    while (high - low > 1) {
        const size_t middle = low + (high - low) / 2;
        if (wave->entries[middle].time_s <= t_s)
            low = middle;
        else
            high = middle;
    }
    memset(sample, 0, sizeof *sample);
    nrw_wave_sample_of(wave, &wave->entries[low], t_s, sample);
}
