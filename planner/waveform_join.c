/* Joins of a waveform: how long every change must take. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "vec3.h"
#include "waveform_parts.h"

#define JOIN_MAX_S 2.0
#define TURN_MIN_S 0.005    /* headings of feedback are turned no faster than this */
#define JOIN_GROWTH 1.5     /* trial lengths of a join */
#define JOIN_BISECTIONS 6   /* then within a hundredth of the shortest */
#define POINTS_PER_CYCLE 48 /* a parabola through three finds a peak between them to 1e-6 */
#define POINTS_MIN 96
#define POINTS_MAX 20000
#define ROUNDING 1e-6 /* excess over a limit that is rounding of differences */

/* The last three values of what is limited, newest last. */
typedef struct last_three {
    double values[3];
} last_three;

/* Largest value so far as known from the last three: that of a peak between them, too. */
static double largest_of(last_three *last, int n_seen, double value)
{
    double *v = last->values;
    v[0] = v[1];
    v[1] = v[2];
    v[2] = value;
    if (n_seen < 3 || v[1] < v[0] || v[1] < v[2])
        return value;
    const double bend = 2.0 * v[1] - v[0] - v[2], tilt = v[2] - v[0];
    return bend > 0.0 ? v[1] + tilt * tilt / (8.0 * bend) : v[1];
}

/* Coil that can't do the entry within [t0, t0 + length]; -1: all can. */
static int unable_coil(const nrw_wave *wave, const nrw_wave_entry *at, double t0, double length)
{
    const double f = fmax(at->to.setting ? at->to.setting->frequency_Hz : 0.0,
                          at->from.setting ? at->from.setting->frequency_Hz : 0.0);
    const double wanted = fmin(POINTS_MAX, fmax(POINTS_MIN, POINTS_PER_CYCLE * f * length));
    const int n = (int)wanted;
    const nrw_rig_model *model = &wave->model;
    last_three volts[NRW_COILS_MAX] = {0}, slews[NRW_COILS_MAX] = {0};
    for (int i = 0; i <= n; i++) {
        nrw_wave_sample sample;
        nrw_wave_sample_of(wave, at, t0 + length * i / n, &sample);
        for (int k = 0; k < model->n_coils; k++) {
            const double volt = largest_of(&volts[k], i + 1, fabs(sample.voltage_V[k]));
            const double slew = largest_of(&slews[k], i + 1, fabs(sample.rate_A_s[k]));
            if (volt > model->allowed[NRW_RIG_PEAK_V][k] * (1 + ROUNDING) ||
                slew > model->allowed[NRW_RIG_SLEW_A_S][k] * (1 + ROUNDING))
                return k;
        }
    }
    return -1;
}

/* How a trial length is put into an entry. */
typedef void (*set_length)(nrw_wave_entry *at, double length_s);

static void set_join(nrw_wave_entry *at, double length_s)
{
    at->join_length_s = length_s;
}

static void set_turn(nrw_wave_entry *at, double length_s)
{
    at->to.turn_length_s = length_s;
}

/* A fade to nothing that ends at a fixed time. */
static void set_ending(nrw_wave_entry *at, double length_s)
{
    at->time_s = at->join_start_s = at->join_start_s + at->join_length_s - length_s;
    at->join_length_s = length_s;
}

static nrw_status refuse_join(const nrw_wave *wave, const nrw_wave_entry *at, int coil,
                              nrw_errors *errors)
{
    return nrw_errors_add(errors, NRW_REFUSED,
                          "a field or frequency a few per cent lower, so that voltage and slew are "
                          "left for changes",
                          "leg \"%s\": coil %s can't make the change at %.6g s within %g s",
                          wave->schedule->legs[at->to.leg].name, wave->model.names[coil],
                          at->time_s, JOIN_MAX_S);
}

/* Shortest length, from `shortest` up, that all coils can do. */
static nrw_status fit(const nrw_wave *wave, nrw_wave_entry *at, double shortest, set_length set,
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

static nrw_status push(nrw_wave *wave, const nrw_wave_entry *added, nrw_errors *errors)
{
    if (wave->n_entries == wave->capacity) {
        const size_t capacity = wave->capacity ? 2 * wave->capacity : 64;
        nrw_wave_entry *entries = realloc(wave->entries, capacity * sizeof *entries);
        if (!entries)
            return nrw_errors_add(errors, NRW_NO_MEMORY, NULL, "no memory for a waveform");
        wave->entries = entries;
        wave->capacity = capacity;
    }
    wave->entries[wave->n_entries++] = *added;
    return NRW_OK;
}

/* No current at all: the field is that of the surroundings. */
static nrw_wave_state nothing(const nrw_wave *wave, int leg)
{
    nrw_wave_state state;
    memset(&state, 0, sizeof state);
    state.leg = leg;
    const double steady_gain = nrw_wave_gain(wave->rig, 0.0).gain;
    memcpy(&state.frozen_mT, wave->model.ambient_mT, sizeof state.frozen_mT);
    state.frozen_command_mT = nrw_vec3_scale(state.frozen_mT, 1.0 / steady_gain);
    return state;
}

/* What was in force up to t: running on, or frozen in the middle of a join. */
static nrw_wave_state outgoing(const nrw_wave *wave, double t, int leg)
{
    if (wave->n_entries == 0)
        return nothing(wave, leg);
    const nrw_wave_entry *last = &wave->entries[wave->n_entries - 1];
    if (t >= last->join_start_s + last->join_length_s)
        return last->to;
    nrw_wave_state state = nothing(wave, leg);
    state.frozen_mT = nrw_wave_field(wave, last, t, false);
    state.frozen_command_mT = nrw_wave_field(wave, last, t, true);
    return state;
}

static nrw_wave_state state_of(const nrw_wave *wave, const nrw_timeline_item *item, double t)
{
    const nrw_drive *drive = &wave->schedule->legs[item->leg].drive;
    nrw_wave_state state = nothing(wave, item->leg);
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
    nrw_wave_entry added = {.time_s = t, .join_start_s = t};
    added.from = outgoing(wave, t, item->leg);
    added.to = state_of(wave, item, t);
    const nrw_status status = fit(wave, &added, 2.0 / wave->rate_Hz, set_join, errors);
    return status == NRW_OK ? push(wave, &added, errors) : status;
}

/* The same leg and setting go on under another heading or tilt. */
static nrw_status plan_turn(nrw_wave *wave, const nrw_timeline_item *item, nrw_errors *errors)
{
    const double t = item->time_s;
    const nrw_wave_entry *last = &wave->entries[wave->n_entries - 1];
    const nrw_wave_state wanted = state_of(wave, item, t);
    const double heading =
        nrw_wave_turned(&last->to, t, last->to.heading_from, last->to.heading_to);
    const double tilt = nrw_wave_turned(&last->to, t, last->to.tilt_from, last->to.tilt_to);
    const double by = remainder(wanted.heading_to - heading, 2.0 * NRW_PI);
    if (fabs(by) < 1e-12 && fabs(wanted.tilt_to - tilt) < 1e-12)
        return NRW_OK;
    nrw_wave_entry added = *last;
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
        const nrw_wave_entry *last = &wave->entries[wave->n_entries - 1];
        nrw_wave_entry added = {.time_s = wave->end_s, .join_start_s = wave->end_s};
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
        const nrw_wave_entry *at = &wave->entries[i];
        if (at->time_s == at->join_start_s)
            wave->joins[wave->n_joins++] =
                (nrw_wave_join){at->time_s, at->join_length_s, at->to.leg};
    }
    return NRW_OK;
}

nrw_status nrw_wave_plan(nrw_wave *wave, nrw_errors *errors)
{
    nrw_status status = NRW_OK;
    for (size_t i = 0; i < wave->timeline->n_items && status == NRW_OK; i++)
        if (wave->timeline->items[i].time_s < wave->end_s)
            status = plan_item(wave, i, errors);
    if (status == NRW_OK)
        status = plan_end(wave, errors);
    return status == NRW_OK ? list_joins(wave, errors) : status;
}
