#include "waveform.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "coil.h"

#define JOIN_MAX_S 2.0
#define TURN_MIN_S 0.005    /* headings of feedback are turned no faster than this */
#define JOIN_GROWTH 1.5     /* trial lengths of a join */
#define JOIN_BISECTIONS 6   /* then within a hundredth of the shortest */
#define POINTS_PER_CYCLE 48 /* peaks between points are higher by 2e-3 of a cycle's part */
#define POINTS_MIN 64
#define POINTS_MAX 20000
#define ROUNDING 1e-6 /* excess over a limit that is rounding of differences */
#define RATE_STEP_S 1e-6

/* What makes the field at one time. */
typedef struct drive_state {
    const nrw_drive_setting *setting; /* NULL: a frozen field */
    int leg;
    double leg_start_s;
    double heading_from, heading_to, tilt_from, tilt_to; /* rad, degrees */
    double turn_start_s, turn_length_s;
    nrw_vec3 frozen_mT, frozen_command_mT;
} drive_state;

/* From time_s on: `to`, faded in from `from`. */
typedef struct entry {
    double time_s;
    drive_state from, to;
    double join_start_s, join_length_s;
} entry;

struct nrw_wave {
    nrw_rig_model model;
    const nrw_rig *rig;
    const nrw_schedule *schedule;
    const nrw_timeline *timeline;
    double rate_Hz, end_s;
    size_t n_samples;
    entry *entries; /* (n_entries) */
    size_t n_entries, capacity;
    nrw_wave_join *joins;
    size_t n_joins;
    size_t next_sample, at_entry;
    double temperature_C[NRW_COILS_MAX];
};

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
static nrw_rig_gain gain_at(const nrw_rig *rig, double frequency_Hz)
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

static double turned(const drive_state *state, double t, double from, double to)
{
    const double share =
        state->turn_length_s > 0.0 ? (t - state->turn_start_s) / state->turn_length_s : 1.0;
    return from + (to - from) * raised_cosine(share);
}

/* Field of a state at a time; with `command`, what the amplifiers must be told
 * for it: the turning part divided by their gain and ahead by their lag. */
static nrw_vec3 state_field(const nrw_wave *wave, const drive_state *state, double t, bool command)
{
    const nrw_drive_setting *setting = state->setting;
    if (!setting)
        return command ? state->frozen_command_mT : state->frozen_mT;
    const double into = t - state->leg_start_s;
    const double base = setting->mode == NRW_DRIVE_GENERAL
                            ? 0.0
                            : turned(state, t, state->heading_from, state->heading_to);
    const double tilt = turned(state, t, state->tilt_from, state->tilt_to);
    nrw_field field = nrw_drive_field(setting, base + nrw_drive_wobble_rad(setting, into), tilt);
    double phase = 2.0 * NRW_PI * field.frequency_Hz * into;
    if (command && wave->rig->n_gains > 0) {
        const nrw_rig_gain steady = gain_at(wave->rig, 0.0);
        const nrw_rig_gain turning = gain_at(wave->rig, field.frequency_Hz);
        const nrw_vec3 none = {0.0, 0.0, 0.0};
        field.steady = mix(none, field.steady, 1.0 / steady.gain);
        field.cos = mix(none, field.cos, 1.0 / turning.gain);
        field.sin = mix(none, field.sin, 1.0 / turning.gain);
        phase -= turning.phase_deg * NRW_DEGREE;
    }
    return nrw_field_at(&field, phase);
}

static nrw_vec3 entry_field(const nrw_wave *wave, const entry *at, double t, bool command)
{
    const nrw_vec3 to = state_field(wave, &at->to, t, command);
    if (t >= at->join_start_s + at->join_length_s)
        return to;
    const double w = raised_cosine((t - at->join_start_s) / at->join_length_s);
    return mix(state_field(wave, &at->from, t, command), to, w);
}

static void entry_sample(const nrw_wave *wave, const entry *at, double t, nrw_wave_sample *sample)
{
    const nrw_vec3 b = entry_field(wave, at, t, false);
    const nrw_vec3 before = entry_field(wave, at, t - RATE_STEP_S, false);
    const nrw_vec3 after = entry_field(wave, at, t + RATE_STEP_S, false);
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

/* --- planning -------------------------------------------------------------------- */

/* Coil that can't do the entry within [t0, t0 + length]; -1: all can. */
static int unable_coil(const nrw_wave *wave, const entry *at, double t0, double length)
{
    const double f = fmax(at->to.setting ? at->to.setting->frequency_Hz : 0.0,
                          at->from.setting ? at->from.setting->frequency_Hz : 0.0);
    const double wanted = fmin(POINTS_MAX, fmax(POINTS_MIN, POINTS_PER_CYCLE * f * length));
    const int n = (int)wanted;
    const nrw_rig_model *model = &wave->model;
    for (int i = 0; i <= n; i++) {
        nrw_wave_sample sample;
        entry_sample(wave, at, t0 + length * i / n, &sample);
        for (int k = 0; k < model->n_coils; k++)
            if (fabs(sample.voltage_V[k]) > model->allowed[NRW_RIG_PEAK_V][k] * (1 + ROUNDING) ||
                fabs(sample.rate_A_s[k]) > model->allowed[NRW_RIG_SLEW_A_S][k] * (1 + ROUNDING))
                return k;
    }
    return -1;
}

/* How a trial length is put into an entry. */
typedef void (*set_length)(entry *at, double length_s);

static void set_join(entry *at, double length_s)
{
    at->join_length_s = length_s;
}

static void set_turn(entry *at, double length_s)
{
    at->to.turn_length_s = length_s;
}

/* A fade to nothing that ends at a fixed time. */
static void set_ending(entry *at, double length_s)
{
    at->time_s = at->join_start_s = at->join_start_s + at->join_length_s - length_s;
    at->join_length_s = length_s;
}

static nrw_status refuse_join(const nrw_wave *wave, const entry *at, int coil, nrw_errors *errors)
{
    return nrw_errors_add(errors, NRW_REFUSED,
                          "a field or frequency a few per cent lower, so that voltage and slew are "
                          "left for changes",
                          "leg \"%s\": coil %s can't make the change at %.6g s within %g s",
                          wave->schedule->legs[at->to.leg].name, wave->model.names[coil],
                          at->time_s, JOIN_MAX_S);
}

/* Shortest length, from `shortest` up, that all coils can do. */
static nrw_status fit(const nrw_wave *wave, entry *at, double shortest, set_length set,
                      nrw_errors *errors)
{
    double length = shortest, too_short = 0.0;
    int coil;
    for (;;) {
        set(at, length);
        coil = unable_coil(wave, at, at->time_s, length);
        if (coil < 0)
            break;
        too_short = length;
        length *= JOIN_GROWTH;
        if (length > JOIN_MAX_S)
            return refuse_join(wave, at, coil, errors);
    }
    for (int i = 0; i < JOIN_BISECTIONS && too_short > 0.0; i++) {
        const double middle = 0.5 * (too_short + length);
        set(at, middle);
        if (unable_coil(wave, at, at->time_s, middle) < 0)
            length = middle;
        else
            too_short = middle;
    }
    set(at, length);
    return NRW_OK;
}

static nrw_status push(nrw_wave *wave, const entry *added, nrw_errors *errors)
{
    if (wave->n_entries == wave->capacity) {
        const size_t capacity = wave->capacity ? 2 * wave->capacity : 64;
        entry *entries = realloc(wave->entries, capacity * sizeof *entries);
        if (!entries)
            return nrw_errors_add(errors, NRW_NO_MEMORY, NULL, "no memory for a waveform");
        wave->entries = entries;
        wave->capacity = capacity;
    }
    wave->entries[wave->n_entries++] = *added;
    return NRW_OK;
}

/* No current at all: the field is that of the surroundings. */
static drive_state nothing(const nrw_wave *wave, int leg)
{
    drive_state state;
    memset(&state, 0, sizeof state);
    state.leg = leg;
    const double steady_gain = gain_at(wave->rig, 0.0).gain;
    memcpy(&state.frozen_mT, wave->model.ambient_mT, sizeof state.frozen_mT);
    state.frozen_command_mT = mix((nrw_vec3){0.0, 0.0, 0.0}, state.frozen_mT, 1.0 / steady_gain);
    return state;
}

/* What was in force up to t: running on, or frozen in the middle of a join. */
static drive_state outgoing(const nrw_wave *wave, double t, int leg)
{
    if (wave->n_entries == 0)
        return nothing(wave, leg);
    const entry *last = &wave->entries[wave->n_entries - 1];
    if (t >= last->join_start_s + last->join_length_s)
        return last->to;
    drive_state state = nothing(wave, leg);
    state.frozen_mT = entry_field(wave, last, t, false);
    state.frozen_command_mT = entry_field(wave, last, t, true);
    return state;
}

static drive_state state_of(const nrw_wave *wave, const nrw_timeline_item *item, double t)
{
    const nrw_drive *drive = &wave->schedule->legs[item->leg].drive;
    drive_state state = nothing(wave, item->leg);
    state.setting = nrw_drive_at(drive, t - item->leg_start_s);
    const int which = state.setting == &drive->main ? 0 : 1;
    state.leg_start_s = item->leg_start_s;
    state.heading_from = state.heading_to = item->heading_rad[which];
    state.tilt_from = state.tilt_to = item->tilt_deg[which];
    return state;
}

static nrw_status plan_join(nrw_wave *wave, const nrw_timeline_item *item, double t,
                            nrw_errors *errors)
{
    entry added = {.time_s = t, .join_start_s = t};
    added.from = outgoing(wave, t, item->leg);
    added.to = state_of(wave, item, t);
    const nrw_status status = fit(wave, &added, 2.0 / wave->rate_Hz, set_join, errors);
    return status == NRW_OK ? push(wave, &added, errors) : status;
}

/* The same leg and setting go on under another heading or tilt. */
static nrw_status plan_turn(nrw_wave *wave, const nrw_timeline_item *item, nrw_errors *errors)
{
    const double t = item->time_s;
    const entry *last = &wave->entries[wave->n_entries - 1];
    const drive_state wanted = state_of(wave, item, t);
    const double heading = turned(&last->to, t, last->to.heading_from, last->to.heading_to);
    const double tilt = turned(&last->to, t, last->to.tilt_from, last->to.tilt_to);
    const double by = remainder(wanted.heading_to - heading, 2.0 * NRW_PI);
    if (fabs(by) < 1e-12 && fabs(wanted.tilt_to - tilt) < 1e-12)
        return NRW_OK;
    entry added = *last;
    added.time_s = added.to.turn_start_s = t;
    added.to.heading_from = heading;
    added.to.heading_to = heading + by;
    added.to.tilt_from = tilt;
    added.to.tilt_to = wanted.tilt_to;
    const nrw_status status = fit(wave, &added, TURN_MIN_S, set_turn, errors);
    return status == NRW_OK ? push(wave, &added, errors) : status;
}

static nrw_status plan_item(nrw_wave *wave, size_t i, nrw_errors *errors)
{
    const nrw_timeline *timeline = wave->timeline;
    const nrw_timeline_item *item = &timeline->items[i];
    const nrw_timeline_item *before = i > 0 ? &timeline->items[i - 1] : NULL;
    const nrw_drive *drive = &wave->schedule->legs[item->leg].drive;
    const double until = i + 1 < timeline->n_items ? timeline->items[i + 1].time_s : wave->end_s;
    const bool new_leg =
        !before || before->leg != item->leg || before->leg_start_s != item->leg_start_s;
    nrw_status status;
    if (new_leg || wave->entries[wave->n_entries - 1].to.setting !=
                       nrw_drive_at(drive, item->time_s - item->leg_start_s))
        status = plan_join(wave, item, item->time_s, errors);
    else
        status = plan_turn(wave, item, errors);
    double t = item->time_s;
    while (status == NRW_OK) {
        t = item->leg_start_s + nrw_drive_next_switch_s(drive, t - item->leg_start_s);
        if (!(t < until - 1e-9))
            break;
        status = plan_join(wave, item, t, errors);
    }
    return status;
}

/* Fades out so that nothing is left at the end. What would have begun during
 * the fade is dropped. */
static nrw_status plan_end(nrw_wave *wave, nrw_errors *errors)
{
    for (;;) {
        const entry *last = &wave->entries[wave->n_entries - 1];
        entry added = {.time_s = wave->end_s, .join_start_s = wave->end_s};
        added.from = last->to;
        added.to = nothing(wave, last->to.leg);
        nrw_status status = fit(wave, &added, 2.0 / wave->rate_Hz, set_ending, errors);
        if (status != NRW_OK)
            return status;
        if (added.time_s >= last->join_start_s + last->join_length_s)
            return push(wave, &added, errors);
        if (wave->n_entries == 1)
            return nrw_errors_add(errors, NRW_REFUSED, "a longer schedule",
                                  "the schedule lasts %.3g s, less than its joins", wave->end_s);
        wave->n_entries--;
    }
}

static nrw_status list_joins(nrw_wave *wave, nrw_errors *errors)
{
    wave->joins = calloc(wave->n_entries, sizeof *wave->joins);
    if (!wave->joins)
        return nrw_errors_add(errors, NRW_NO_MEMORY, NULL, "no memory for a waveform");
    for (size_t i = 0; i < wave->n_entries; i++) {
        const entry *at = &wave->entries[i];
        if (at->time_s == at->join_start_s)
            wave->joins[wave->n_joins++] =
                (nrw_wave_join){at->time_s, at->join_length_s, at->to.leg};
    }
    return NRW_OK;
}

static nrw_status check_rate(const nrw_wave *wave, nrw_errors *errors)
{
    double highest = 0.0;
    for (size_t i = 0; i < wave->timeline->n_items; i++) {
        const nrw_drive *drive = &wave->schedule->legs[wave->timeline->items[i].leg].drive;
        highest = fmax(highest, drive->main.frequency_Hz);
        if (drive->alternate_share > 0.0)
            highest = fmax(highest, drive->other.frequency_Hz);
    }
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
    for (size_t i = 0; i < wave->timeline->n_items && status == NRW_OK; i++)
        if (wave->timeline->items[i].time_s < wave->end_s)
            status = plan_item(wave, i, errors);
    if (status == NRW_OK)
        status = plan_end(wave, errors);
    return status == NRW_OK ? list_joins(wave, errors) : status;
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

static void command(const nrw_wave *wave, const entry *at, double t, nrw_wave_sample *sample)
{
    const nrw_rig_model *model = &wave->model;
    memcpy(sample->command_A, sample->current_A, sizeof sample->command_A);
    if (wave->rig->n_gains == 0)
        return;
    const nrw_vec3 field = entry_field(wave, at, t, true);
    const double steady_gain = gain_at(wave->rig, 0.0).gain;
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
    const entry *at = &wave->entries[wave->at_entry];
    entry_sample(wave, at, t, sample);
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
    entry_sample(wave, &wave->entries[low], t_s, sample);
}
