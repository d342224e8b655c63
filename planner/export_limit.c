/* An export against the limits of the rig, and those that inform. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "export_parts.h"

#define SPECTRUM_SHARE 1e-3 /* components smaller than this of the largest are left out */
#define SPECTRUM_ROOM 4096
#define SPECTRUM_SAMPLES 16384
#define STRETCHES_MAX 32   /* of a leg of samples that are looked at */
#define SPECTRUM_PERIODS 8 /* alternation periods tried for a window of whole cycles */
/* The sample that eddy currents are taken to warm: a well of saline. */
#define SAMPLE_RADIUS_M 5e-3
#define SAMPLE_CONDUCTIVITY_S_M 1.5
#define WATER_HEAT_J_M3_K 4.18e6
#define ROUNDING 1e-5 /* of a limit; joins are planned to a tenth of it */

static const char *const allowance_names[NRW_N_ALLOWANCES] = {
#define NAME(bit, name) name,
    NRW_EXPORT_ALLOWANCES(NAME)
#undef NAME
};

unsigned nrw_export_allowance(const char *name)
{
    for (int i = 0; i < NRW_N_ALLOWANCES; i++)
        if (strcmp(name, allowance_names[i]) == 0)
            return 1U << i;
    return 0;
}

const char *nrw_export_allowance_name(int index)
{
    return allowance_names[index];
}

/* --- settings of a schedule -------------------------------------------------------- */

typedef struct setting_list {
    const nrw_drive_setting *settings[2];
    int n;
} setting_list;

static setting_list settings_of(const nrw_leg *leg)
{
    return (setting_list){{&leg->drive.main, &leg->drive.other},
                          leg->drive.alternate_share > 0.0 ? 2 : 1};
}

static double frequency_of(const nrw_drive_setting *setting)
{
    const bool turns = setting->mode != NRW_DRIVE_STEADY && setting->mode != NRW_DRIVE_OFF;
    return turns ? setting->frequency_Hz : 0.0;
}

/* --- checks of the rig --------------------------------------------------------------- */

static nrw_status add_check(nrw_export *export, const nrw_limit_check *check, nrw_errors *errors)
{
    nrw_limit_check *checks =
        realloc(export->checks, (export->n_checks + 1) * sizeof *export->checks);
    if (!checks)
        return nrw_errors_add(errors, NRW_NO_MEMORY, NULL, "out of memory");
    export->checks = checks;
    export->checks[export->n_checks++] = *check;
    return NRW_OK;
}

static nrw_status add_hard(nrw_export *export, int allowance, const char *coil, double value,
                           double allowed, const char *unit, nrw_errors *errors)
{
    nrw_limit_check check;
    memset(&check, 0, sizeof check);
    const char *name = allowance_names[allowance];
    if (coil)
        (void)snprintf(check.limit, sizeof check.limit, "%s %.40s", name, coil);
    else
        (void)snprintf(check.limit, sizeof check.limit, "%s", name);
    check.value = value;
    check.allowed = allowed;
    check.ok = !(value > allowed * (1.0 + ROUNDING));
    check.hard = true;
    check.distance_mm = NAN;
    (void)snprintf(check.unit, sizeof check.unit, "%s", unit);
    (void)snprintf(check.who, sizeof check.who, "the rig");
    (void)snprintf(check.where, sizeof check.where, "%s",
                   coil ? "coil and amplifier" : "middle of the coils");
    (void)snprintf(check.source, sizeof check.source, "rig block of the scenario");
    (void)snprintf(check.action, sizeof check.action,
                   "lower field or frequency, or allow it by name: --allow %s", name);
    return add_check(export, &check, errors);
}

static nrw_status add_coil_checks(nrw_export *export, int k, nrw_errors *errors)
{
    static const int allowances[NRW_RIG_N_QUANTITIES] = {
        NRW_EXPORT_ALLOW_INDEX_CURRENT, NRW_EXPORT_ALLOW_INDEX_RMS_CURRENT,
        NRW_EXPORT_ALLOW_INDEX_VOLTAGE, NRW_EXPORT_ALLOW_INDEX_SLEW};
    const nrw_rig_model *model = &export->model;
    const double measured[NRW_RIG_N_QUANTITIES] = {export->peak_A[k], 0.0, export->peak_V[k],
                                                   export->slew_A_s[k]};
    nrw_status status = NRW_OK;
    for (int q = 0; q < NRW_RIG_N_QUANTITIES && status == NRW_OK; q++)
        if (isfinite(model->allowed[q][k]))
            status = add_hard(export, allowances[q], model->names[k],
                              fmax(export->asked.coils[k][q], measured[q]), model->allowed[q][k],
                              nrw_rig_quantity_unit((nrw_rig_quantity)q), errors);
    if (status == NRW_OK && isfinite(model->temperature_max_C[k]) && export->wave)
        status = add_hard(export, NRW_EXPORT_ALLOW_INDEX_TEMPERATURE, model->names[k],
                          export->hottest_C[k], model->temperature_max_C[k], "°C", errors);
    return status;
}

void nrw_export_ask(nrw_export *export)
{
    const nrw_schedule *schedule = export->config.schedule;
    nrw_export_asked *asked = &export->asked;
    for (size_t i = 0; i < schedule->n_legs; i++) {
        const setting_list list = settings_of(&schedule->legs[i]);
        for (int j = 0; j < list.n; j++) {
            const nrw_rig_demand demand = nrw_rig_demand_of(&export->model, list.settings[j]);
            asked->field_mT = fmax(asked->field_mT, demand.peak_field_mT);
            asked->frequency_Hz = fmax(asked->frequency_Hz, frequency_of(list.settings[j]));
            for (int k = 0; k < export->model.n_coils; k++)
                for (int q = 0; q < NRW_RIG_N_QUANTITIES; q++)
                    asked->coils[k][q] = fmax(asked->coils[k][q], demand.largest[q][k]);
        }
    }
}

nrw_status nrw_export_check_rig(nrw_export *export, nrw_errors *errors)
{
    nrw_status status = add_hard(export, NRW_EXPORT_ALLOW_INDEX_FIELD, NULL, export->asked.field_mT,
                                 export->model.field_max_mT, "mT", errors);
    if (status == NRW_OK)
        status = add_hard(export, NRW_EXPORT_ALLOW_INDEX_FREQUENCY, NULL,
                          export->asked.frequency_Hz, export->model.frequency_max_Hz, "Hz", errors);
    for (int k = 0; k < export->model.n_coils && status == NRW_OK; k++)
        status = add_coil_checks(export, k, errors);
    return status;
}

/* --- what the field does --------------------------------------------------------------- */

/* Components of the worst leg, and the worst change. */
typedef struct exposure_work {
    nrw_exposure_component *components; /* (SPECTRUM_ROOM) of the worst leg */
    size_t n_components;
    nrw_exposure_component *trial; /* (SPECTRUM_ROOM) */
    double *samples;               /* (SPECTRUM_SAMPLES x 3) */
    double static_mT, product_A_m_s, heat_J_m3;
    double rate_T_s, stimulus_ms;
} exposure_work;

/* The law of nerve stimulation allows 1 + c/t: the worst change has the largest
 * rate over that, whatever the factor in front; c as in docs/limits.yaml. */
static void keep_worst_change(exposure_work *work, double rate_T_s, double stimulus_ms)
{
    const double chronaxie_ms = 0.36;
    const double weight = rate_T_s / (1.0 + chronaxie_ms / stimulus_ms);
    if (weight > work->rate_T_s / (1.0 + chronaxie_ms / work->stimulus_ms)) {
        work->rate_T_s = rate_T_s;
        work->stimulus_ms = stimulus_ms;
    }
}

/* Window of whole alternation periods in which both frequencies come nearest to
 * whole cycles. */
static double window_s(const nrw_drive *drive)
{
    double best = drive->alternate_period_s, least = INFINITY;
    for (int m = 1; m <= SPECTRUM_PERIODS; m++) {
        const double window = m * drive->alternate_period_s;
        double off = 0.0;
        const double cycles[2] = {window * frequency_of(&drive->main),
                                  window * frequency_of(&drive->other)};
        for (int i = 0; i < 2; i++)
            off = fmax(off, fabs(cycles[i] - round(cycles[i])));
        if (off < least - 1e-9) {
            least = off;
            best = window;
        }
    }
    return best;
}

/* Spectrum of an alternating leg, joins included, from the wave itself. */
static nrw_status alternating_spectrum(nrw_export *export, exposure_work *work,
                                       const nrw_drive *drive, double start_s, double end_s,
                                       size_t *n, nrw_errors *errors)
{
    const double window = fmin(window_s(drive), end_s - start_s);
    for (size_t i = 0; i < SPECTRUM_SAMPLES; i++) {
        nrw_wave_sample sample;
        nrw_wave_at(export->wave, start_s + window * (double)i / SPECTRUM_SAMPLES, &sample);
        memcpy(&work->samples[3 * i], sample.field_mT, sizeof sample.field_mT);
    }
    return nrw_exposure_spectrum(work->samples, SPECTRUM_SAMPLES, SPECTRUM_SAMPLES / window,
                                 SPECTRUM_SHARE, work->trial, SPECTRUM_ROOM, n, NULL, errors);
}

/* Largest index over the limits that go by frequency. */
static double worst_index(const nrw_limits *limits, const nrw_exposure_component *components,
                          size_t n)
{
    double worst = 0.0;
    for (size_t i = 0; i < limits->n_items; i++)
        if (limits->items[i].law == NRW_LIMIT_REFERENCE_LEVEL)
            worst = fmax(worst, nrw_exposure_index(&limits->items[i], components, n));
    return worst;
}

static void add_setting(exposure_work *work, const nrw_drive_setting *setting, double seconds)
{
    nrw_field field = nrw_drive_field(setting, 0.0, setting->tilt_deg);
    const nrw_vec3 s = field.steady;
    work->static_mT = fmax(work->static_mT, sqrt(s.x * s.x + s.y * s.y + s.z * s.z));
    field.steady = (nrw_vec3){0.0, 0.0, 0.0};
    const double f = frequency_of(setting), peak = nrw_field_peak_mT(&field);
    if (!(f > 0.0))
        return;
    work->product_A_m_s = fmax(work->product_A_m_s, nrw_exposure_product_A_m_s(peak, f));
    work->heat_J_m3 +=
        seconds * nrw_exposure_eddy_W_m3(SAMPLE_CONDUCTIVITY_S_M, f, peak, SAMPLE_RADIUS_M);
    keep_worst_change(work, nrw_exposure_rate_T_s(&field), nrw_exposure_stimulus_ms(f));
}

/* Keeps the components in `trial` if they are the worst so far. */
static void keep_worst_components(const nrw_export *export, exposure_work *work, size_t n)
{
    const nrw_limits *limits = export->config.limits;
    if (worst_index(limits, work->trial, n) <=
        worst_index(limits, work->components, work->n_components))
        return;
    memcpy(work->components, work->trial, n * sizeof *work->trial);
    work->n_components = n;
}

/* A leg of samples: stretches of it, spread over its time; the steepest change of all
 * with the duration of a sine of that size. */
static nrw_status add_sampled_leg(nrw_export *export, exposure_work *work,
                                  const nrw_samples *samples, double start_s, double end_s,
                                  nrw_errors *errors)
{
    const double whole = NRW_STRETCH_SAMPLES / nrw_wave_sample_rate_Hz(export->wave);
    const double length = fmin(whole, end_s - start_s), room = end_s - start_s - length;
    const int stretches = (int)fmin(STRETCHES_MAX, ceil((end_s - start_s) / length));
    const double peak = samples->peak_mT;
    for (int i = 0; i < stretches; i++) {
        const double from = start_s + (stretches > 1 ? room * i / (stretches - 1) : 0.0);
        double static_mT;
        size_t n;
        const nrw_status status = nrw_export_stretch(export->wave, from, length, work->trial,
                                                     SPECTRUM_ROOM, &n, &static_mT, errors);
        if (status != NRW_OK)
            return status;
        work->static_mT = fmax(work->static_mT, static_mT);
        for (size_t k = 0; k < n; k++) {
            const double f = work->trial[k].frequency_Hz;
            const double size = fmin(peak, sqrt(2.0) * work->trial[k].rms_mT);
            work->product_A_m_s = fmax(work->product_A_m_s, nrw_exposure_product_A_m_s(size, f));
            work->heat_J_m3 +=
                (end_s - start_s) / stretches *
                nrw_exposure_eddy_W_m3(SAMPLE_CONDUCTIVITY_S_M, f, size, SAMPLE_RADIUS_M);
        }
        keep_worst_components(export, work, n);
    }
    const double rate = samples->peak_rate_mT_s;
    if (rate > 0.0)
        keep_worst_change(work, 1e-3 * rate, 1e3 * 2.0 * peak / rate);
    return NRW_OK;
}

static nrw_status add_leg(nrw_export *export, exposure_work *work, const nrw_leg *leg,
                          double start_s, double end_s, nrw_errors *errors)
{
    const setting_list list = settings_of(leg);
    size_t n = 0;
    if (leg->drive.main.mode == NRW_DRIVE_SAMPLED)
        return add_sampled_leg(export, work, leg->drive.main.samples, start_s, end_s, errors);
    for (int i = 0; i < list.n; i++) {
        const double share = list.n == 1 ? 1.0
                             : i == 0    ? 1.0 - leg->drive.alternate_share
                                         : leg->drive.alternate_share;
        add_setting(work, list.settings[i], share * (end_s - start_s));
    }
    if (list.n == 2) {
        const nrw_status status =
            alternating_spectrum(export, work, &leg->drive, start_s, end_s, &n, errors);
        if (status != NRW_OK)
            return status;
    } else if (frequency_of(list.settings[0]) > 0.0) {
        const nrw_field field = nrw_drive_field(list.settings[0], 0.0, list.settings[0]->tilt_deg);
        work->trial[n++] =
            (nrw_exposure_component){field.frequency_Hz, nrw_exposure_rms_mT(&field)};
    }
    keep_worst_components(export, work, n);
    return NRW_OK;
}

/* Joins: |dB/dt| within each, and the duration of a raised cosine, change over
 * largest slope = 2T/π, or that of the drive that goes on below it. */
static void add_joins(nrw_export *export, exposure_work *work)
{
    enum { POINTS = 64 };
    size_t n;
    const nrw_wave_join *joins = nrw_wave_joins(export->wave, &n);
    for (size_t i = 0; i < n; i++) {
        double rate = 0.0;
        for (int j = 0; j <= POINTS; j++) {
            nrw_wave_sample sample;
            nrw_wave_at(export->wave, joins[i].time_s + joins[i].length_s * j / POINTS, &sample);
            rate = fmax(rate, sqrt(sample.rate_mT_s[0] * sample.rate_mT_s[0] +
                                   sample.rate_mT_s[1] * sample.rate_mT_s[1] +
                                   sample.rate_mT_s[2] * sample.rate_mT_s[2]));
        }
        keep_worst_change(work, 1e-3 * rate, 1e3 * joins[i].length_s * 2.0 / NRW_PI);
    }
}

static nrw_status survey(nrw_export *export, exposure_work *work, nrw_errors *errors)
{
    const nrw_timeline *timeline = &export->timeline;
    nrw_status status = NRW_OK;
    for (size_t i = 0; i < timeline->n_items && status == NRW_OK;) {
        const nrw_timeline_item *item = &timeline->items[i];
        size_t next = i + 1;
        while (next < timeline->n_items && timeline->items[next].leg_start_s == item->leg_start_s)
            next++;
        const double end =
            next < timeline->n_items ? timeline->items[next].time_s : timeline->end_s;
        status = add_leg(export, work, &export->config.schedule->legs[item->leg], item->time_s, end,
                         errors);
        i = next;
    }
    add_joins(export, work);
    return status;
}

/* Field of a pair on its axis at z, over that in its middle (Biot and Savart). */
static double share_on_axis(const nrw_rig_coil_extras *pair, double z_mm)
{
    const double r2 = pair->pair_radius_mm * pair->pair_radius_mm;
    const double half = 0.5 * pair->pair_spacing_mm;
    const double near = z_mm - half, far = z_mm + half;
    return 0.5 * pow(r2 + half * half, 1.5) *
           (pow(r2 + near * near, -1.5) + pow(r2 + far * far, -1.5));
}

/* Where the field of a pair has fallen by a factor: on the axis, where it reaches
 * farthest, and no nearer than the coils' own size. */
static double pair_distance_mm(const nrw_rig_coil_extras *pair, double factor)
{
    double low = pair->pair_radius_mm + 0.5 * pair->pair_spacing_mm, high = low;
    while (share_on_axis(pair, high) * factor > 1.0)
        high *= 2.0;
    for (int i = 0; i < 60 && high > low; i++) {
        const double middle = 0.5 * (low + high);
        if (share_on_axis(pair, middle) * factor > 1.0)
            low = middle;
        else
            high = middle;
    }
    return high;
}

/* The same for all coils: NAN unless the geometry of each is known. */
static double distance_mm(const nrw_rig *rig, double factor)
{
    double farthest = 0.0;
    const size_t n = rig->n_coils > 0 ? rig->n_coils : 3;
    for (size_t i = 0; i < n; i++) {
        if (rig->n_coils == 0 && !rig->axes[i].present)
            continue;
        const nrw_rig_coil_extras *extras =
            rig->n_coils > 0 ? &rig->coils[i].extras : &rig->axes[i].extras;
        if (!(extras->pair_radius_mm > 0.0))
            return NAN;
        farthest = fmax(farthest, pair_distance_mm(extras, factor));
    }
    return farthest;
}

static bool falls_off_outside(nrw_limit_law law)
{
    return law == NRW_LIMIT_REFERENCE_LEVEL || law == NRW_LIMIT_STATIC_LEVEL ||
           law == NRW_LIMIT_FIELD_LEVEL;
}

static nrw_status check_people(nrw_export *export, const exposure_work *work, nrw_errors *errors)
{
    const nrw_rig_model *model = &export->model;
    nrw_exposure_case exposure = {
        .components = work->components,
        .n_components = work->n_components,
        .static_mT = work->static_mT,
        .peak_mT = export->asked.field_mT,
        .rate_T_s = work->rate_T_s,
        .stimulus_ms = work->stimulus_ms,
        .product_A_m_s = work->product_A_m_s,
        .energy_J = export->energy_J,
        .peak_V = 0.0,
        .coil_C = NAN,
        .sample_rise_K = work->heat_J_m3 / WATER_HEAT_J_M3_K,
    };
    for (int k = 0; k < model->n_coils; k++) {
        exposure.peak_V = fmax(exposure.peak_V, export->peak_V[k]);
        exposure.coil_C = fmax(exposure.coil_C, export->hottest_C[k]); /* NAN loses */
    }
    nrw_status status = NRW_OK;
    for (size_t i = 0; i < export->config.limits->n_items && status == NRW_OK; i++) {
        const nrw_limit *limit = &export->config.limits->items[i];
        nrw_limit_check check = nrw_exposure_check(limit, &exposure);
        if (!check.ok && falls_off_outside(limit->law))
            check.distance_mm = distance_mm(&export->rig, check.value / check.allowed);
        status = add_check(export, &check, errors);
    }
    return status;
}

nrw_status nrw_export_inform(nrw_export *export, nrw_errors *errors)
{
    exposure_work work;
    memset(&work, 0, sizeof work);
    work.stimulus_ms = 1.0;
    work.components = calloc(SPECTRUM_ROOM, sizeof *work.components);
    work.trial = calloc(SPECTRUM_ROOM, sizeof *work.trial);
    work.samples = calloc((size_t)SPECTRUM_SAMPLES * 3, sizeof *work.samples);
    nrw_status status = NRW_OK;
    if (!work.components || !work.trial || !work.samples)
        status = nrw_errors_add(errors, NRW_NO_MEMORY, NULL, "out of memory");
    if (status == NRW_OK)
        status = survey(export, &work, errors);
    if (status == NRW_OK)
        status = check_people(export, &work, errors);
    free(work.components);
    free(work.trial);
    free(work.samples);
    return status;
}

nrw_status nrw_export_refuse_measured(const nrw_export *export, nrw_errors *errors)
{
    nrw_status status = NRW_OK;
    for (size_t i = 0; i < export->n_checks; i++) {
        const nrw_limit_check *check = &export->checks[i];
        bool allowed = false;
        for (int j = 0; j < NRW_N_ALLOWANCES; j++) {
            const size_t length = strlen(allowance_names[j]);
            const bool same = strncmp(check->limit, allowance_names[j], length) == 0 &&
                              (check->limit[length] == '\0' || check->limit[length] == ' ');
            allowed = allowed || (same && (export->config.allowed & 1U << j));
        }
        if (check->hard && !check->ok && !allowed)
            status = nrw_errors_add(errors, NRW_REFUSED, check->action,
                                    "%s: %.4g %s is above %.4g %s", check->limit, check->value,
                                    check->unit, check->allowed, check->unit);
    }
    return status;
}
