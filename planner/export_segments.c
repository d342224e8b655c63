/* Legs as looping segments for waveform generators. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "export_parts.h"

#define LOOP_SAMPLES_MAX 500000
#define LOOP_LEAST_S 0.1 /* of a steady field, which has no period */
#define PERIODS_MAX 512  /* multiples of the longest period that are tried */
#define WHOLE 1e-9       /* a number of cycles this near to a whole one is whole */
#define FADE_GUESS_S 0.01
#define FADE_MARGIN 1.2
#define FADE_TRIALS 12

/* What has a period in a drive. */
typedef struct rhythm {
    double period_s[6];
    int n;
} rhythm;

const char *nrw_segment_kind_name(nrw_segment_kind kind)
{
    static const char *const names[NRW_N_SEGMENT_KINDS] = {"enter", "loop", "leave"};
    return names[kind];
}

static bool turns_by_feedback(const nrw_drive_setting *setting)
{
    return setting->mode != NRW_DRIVE_GENERAL && setting->mode != NRW_DRIVE_OFF &&
           setting->heading_kind != NRW_HEADING_FIXED;
}

bool nrw_export_is_fed_back(const nrw_leg *leg)
{
    return turns_by_feedback(&leg->drive.main) ||
           (leg->drive.alternate_share > 0.0 && turns_by_feedback(&leg->drive.other));
}

static void add_setting(rhythm *all, const nrw_drive_setting *setting)
{
    const bool cycles = setting->mode != NRW_DRIVE_STEADY && setting->mode != NRW_DRIVE_OFF;
    if (cycles && setting->frequency_Hz > 0.0)
        all->period_s[all->n++] = 1.0 / setting->frequency_Hz;
    if (setting->wobble_deg != 0.0 && setting->wobble_period_s > 0.0)
        all->period_s[all->n++] = setting->wobble_period_s;
}

static rhythm rhythm_of(const nrw_drive *drive)
{
    rhythm all = {.n = 0};
    add_setting(&all, &drive->main);
    if (drive->alternate_share > 0.0) {
        add_setting(&all, &drive->other);
        all.period_s[all.n++] = drive->alternate_period_s;
    }
    return all;
}

/* Largest shift, as a share, that makes every period fit a loop. */
static double shift_of(const rhythm *all, double loop_s)
{
    double largest = 0.0;
    for (int i = 0; i < all->n; i++) {
        const double cycles = loop_s / all->period_s[i];
        largest = fmax(largest, fabs(fmax(1.0, round(cycles)) - cycles) / cycles);
    }
    return largest;
}

/* Loop of whole samples into which all periods fit with the least shift: the
 * shortest among those that fit within WHOLE. */
static size_t choose_loop(const rhythm *all, double rate_Hz)
{
    double longest = all->n ? 0.0 : LOOP_LEAST_S, least = INFINITY;
    size_t best = 2;
    for (int i = 0; i < all->n; i++)
        longest = fmax(longest, all->period_s[i]);
    for (int m = 1; m <= PERIODS_MAX; m++) {
        const double samples = round(m * longest * rate_Hz);
        if (m > 1 && samples > LOOP_SAMPLES_MAX)
            break;
        if (samples < 2.0)
            continue;
        const double shift = shift_of(all, samples / rate_Hz);
        if (shift < least) {
            least = shift;
            best = (size_t)samples;
        }
        if (shift <= WHOLE)
            break;
    }
    return best;
}

static double fitted(double period_s, double loop_s)
{
    return loop_s / fmax(1.0, round(loop_s / period_s));
}

static void fit_setting(nrw_drive_setting *setting, double loop_s)
{
    if (setting->frequency_Hz > 0.0)
        setting->frequency_Hz = 1.0 / fitted(1.0 / setting->frequency_Hz, loop_s);
    if (setting->wobble_deg != 0.0 && setting->wobble_period_s > 0.0)
        setting->wobble_period_s = fitted(setting->wobble_period_s, loop_s);
    setting->ease_um = 0.0;
}

/* The leg with everything fitted to the loop. */
static nrw_leg fitted_leg(const nrw_leg *leg, double loop_s)
{
    nrw_leg copy = *leg;
    fit_setting(&copy.drive.main, loop_s);
    fit_setting(&copy.drive.other, loop_s);
    if (copy.drive.alternate_share > 0.0)
        copy.drive.alternate_period_s = fitted(copy.drive.alternate_period_s, loop_s);
    return copy;
}

static double heading_of(const nrw_drive_setting *setting)
{
    return setting->heading_kind == NRW_HEADING_FIXED ? setting->heading_deg * NRW_DEGREE : 0.0;
}

/* Enter, loop and leave as one wave. It begins so long before a whole loop of the
 * leg's time that the loop begins at the leg's phase 0. */
typedef struct piece {
    nrw_leg leg;
    nrw_schedule schedule;
    nrw_timeline_item item;
    nrw_timeline timeline;
    size_t enter, loop, leave; /* samples */
    nrw_wave *wave;
} piece;

static nrw_status try_piece(const nrw_export *export, piece *trial, double rate_Hz,
                            nrw_errors *errors)
{
    nrw_wave_destroy(trial->wave);
    trial->schedule = (nrw_schedule){.legs = &trial->leg, .n_legs = 1};
    trial->item.leg_start_s = -((double)trial->loop - (double)trial->enter) / rate_Hz;
    trial->item.heading_rad[0] = heading_of(&trial->leg.drive.main);
    trial->item.heading_rad[1] = heading_of(&trial->leg.drive.other);
    trial->item.tilt_deg[0] = trial->leg.drive.main.tilt_deg;
    trial->item.tilt_deg[1] = trial->leg.drive.other.tilt_deg;
    trial->timeline.items = &trial->item;
    trial->timeline.n_items = 1;
    trial->timeline.end_s = (double)(trial->enter + trial->loop + trial->leave) / rate_Hz;
    return nrw_wave_create(&export->rig, &trial->schedule, &trial->timeline, rate_Hz, &trial->wave,
                           errors);
}

/* Lengthens both fades until they keep out of the loop. */
static nrw_status make_piece(const nrw_export *export, piece *trial, double rate_Hz,
                             nrw_errors *errors)
{
    trial->enter = trial->leave = (size_t)ceil(FADE_GUESS_S * rate_Hz) + 2;
    for (int i = 0; i < FADE_TRIALS; i++) {
        while (trial->enter > trial->loop)
            trial->loop *= 2; /* the fade must not begin before the leg */
        nrw_status status = try_piece(export, trial, rate_Hz, errors);
        if (status != NRW_OK)
            return status;
        size_t n;
        const nrw_wave_join *joins = nrw_wave_joins(trial->wave, &n);
        const double in = joins[0].length_s * rate_Hz, out = joins[n - 1].length_s * rate_Hz;
        if (in <= (double)trial->enter && out <= (double)trial->leave)
            return NRW_OK;
        trial->enter = (size_t)fmax((double)trial->enter, ceil(FADE_MARGIN * in) + 2.0);
        trial->leave = (size_t)fmax((double)trial->leave, ceil(FADE_MARGIN * out) + 2.0);
    }
    return nrw_errors_add(errors, NRW_REFUSED, "more voltage or slew",
                          "leg \"%s\": no fade in or out could be found", trial->leg.name);
}

static nrw_status grow(nrw_segments *segments, size_t added, int n_coils, nrw_errors *errors)
{
    const size_t n = segments->n_samples + added;
    double *field = realloc(segments->field_mT, n * 3 * sizeof *field);
    if (field)
        segments->field_mT = field;
    double *current = realloc(segments->current_A, n * (size_t)n_coils * sizeof *current);
    if (current)
        segments->current_A = current;
    if (!field || !current)
        return nrw_errors_add(errors, NRW_NO_MEMORY, NULL, "no memory for segments");
    return NRW_OK;
}

static nrw_status take_piece(const nrw_export *export, const piece *made, nrw_segments *segments,
                             nrw_leg_segments *leg, nrw_errors *errors)
{
    const int n_coils = export->model.n_coils;
    const size_t total = made->enter + made->loop + made->leave + 1; /* the last is no current */
    nrw_status status = grow(segments, total, n_coils, errors);
    if (status != NRW_OK)
        return status;
    nrw_wave_sample sample;
    for (size_t i = 0; i < total && nrw_wave_next(made->wave, &sample); i++) {
        const size_t at = segments->n_samples + i;
        memcpy(&segments->field_mT[3 * at], sample.field_mT, sizeof sample.field_mT);
        memcpy(&segments->current_A[at * (size_t)n_coils], sample.current_A,
               (size_t)n_coils * sizeof(double));
    }
    const size_t samples[NRW_N_SEGMENT_KINDS] = {made->enter, made->loop, made->leave + 1};
    for (int kind = 0; kind < NRW_N_SEGMENT_KINDS; kind++) {
        leg->first[kind] = segments->n_samples;
        leg->samples[kind] = samples[kind];
        segments->n_samples += samples[kind];
    }
    return NRW_OK;
}

/* Loops that fill the time of a leg that ends by the clock. */
static long long loops_of(const nrw_leg *leg, const nrw_leg_segments *made, double rate_Hz)
{
    if (leg->until.present & ~(unsigned)NRW_UNTIL_ELAPSED)
        return -1;
    double seconds = leg->timeout_s;
    if (leg->until.present)
        seconds = fmin(seconds, leg->until.elapsed_s + leg->until.dwell_s);
    if (!isfinite(seconds))
        return -1;
    const double fades =
        (double)(made->samples[NRW_SEGMENT_ENTER] + made->samples[NRW_SEGMENT_LEAVE]);
    const double loops = (seconds * rate_Hz - fades) / (double)made->samples[NRW_SEGMENT_LOOP];
    return loops > 0.0 ? llround(loops) : 0;
}

static nrw_status segment_leg(const nrw_export *export, size_t index, nrw_segments *segments,
                              nrw_errors *errors)
{
    const nrw_leg *leg = &export->config.schedule->legs[index];
    nrw_leg_segments *made = &segments->legs[index];
    if (leg->drive.main.mode == NRW_DRIVE_SAMPLED) {
        for (int kind = 0; kind < NRW_N_SEGMENT_KINDS; kind++)
            made->first[kind] = segments->n_samples;
        return NRW_OK; /* played once, from its file: nothing to loop */
    }
    const rhythm all = rhythm_of(&leg->drive);
    const double rate_Hz = segments->sample_rate_Hz;
    piece trial;
    memset(&trial, 0, sizeof trial);
    trial.loop = choose_loop(&all, rate_Hz);
    const double loop_s = (double)trial.loop / rate_Hz;
    trial.leg = fitted_leg(leg, loop_s);
    made->largest_shift = shift_of(&all, loop_s);
    made->frequency_Hz[0] = trial.leg.drive.main.frequency_Hz;
    made->frequency_Hz[1] = trial.leg.drive.other.frequency_Hz;
    nrw_status status = make_piece(export, &trial, rate_Hz, errors);
    if (status == NRW_OK)
        status = take_piece(export, &trial, segments, made, errors);
    made->loops = loops_of(leg, made, rate_Hz);
    nrw_wave_destroy(trial.wave);
    return status;
}

nrw_status nrw_export_segments(const nrw_export *export, nrw_segments *segments, nrw_errors *errors)
{
    memset(segments, 0, sizeof *segments);
    segments->n_legs = export->config.schedule->n_legs;
    segments->sample_rate_Hz = nrw_wave_sample_rate_Hz(export->wave);
    segments->legs = calloc(segments->n_legs, sizeof *segments->legs);
    if (!segments->legs)
        return nrw_errors_add(errors, NRW_NO_MEMORY, NULL, "no memory for segments");
    nrw_status status = NRW_OK;
    for (size_t i = 0; i < segments->n_legs && status == NRW_OK; i++)
        status = segment_leg(export, i, segments, errors);
    if (status != NRW_OK)
        nrw_segments_clear(segments);
    return status;
}

void nrw_segments_clear(nrw_segments *segments)
{
    free(segments->legs);
    free(segments->field_mT);
    free(segments->current_A);
    memset(segments, 0, sizeof *segments);
}
