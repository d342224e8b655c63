/* What a drive asks of the rig, and how much of it the rig can give. */
#include <float.h>
#include <math.h>
#include <string.h>

#include "rig.h"

#define HEADING_STEPS 180   /* samples of a heading range before refinement */
#define REFINED_PEAKS 8     /* local maxima looked at closely */
#define GOLDEN_STEPS 28     /* brings 4 degrees to 6e-6 degrees; a peak is quadratic there */
#define EASE_TILTS 7        /* samples of the tilt while it eases to 0 */
#define MISSING_SHARE 1e-6  /* of the peak field: below it, rounding of the inverse */
#define OFFSET_HEADROOM 2.0 /* an ambient field may help a drive, but not that much */
#define ROUNDING 1e-9       /* excess over a limit that is rounding */

enum { MISSING = NRW_RIG_N_QUANTITIES }; /* one question more than those of a coil */

typedef struct question {
    const nrw_rig_model *model;
    const nrw_drive_setting *setting;
    double tilt_deg;
    double turn_rate_rad_s; /* fastest turn of the heading by wobble */
    int quantity;           /* nrw_rig_quantity or MISSING */
    int coil;
} question;

typedef struct range {
    double from_rad, to_rad;
    bool closed_circle;
} range;

static double along(const double row[3], nrw_vec3 v)
{
    return row[0] * v.x + row[1] * v.y + row[2] * v.z;
}

static nrw_vec3 quarter_turn(nrw_vec3 v)
{
    return (nrw_vec3){-v.y, v.x, 0.0};
}

static nrw_vec3 sum(nrw_vec3 a, double factor, nrw_vec3 b)
{
    return (nrw_vec3){a.x + factor * b.x, a.y + factor * b.y, a.z + factor * b.z};
}

/* a + c cos ωt + s sin ωt of one coil. */
typedef struct phasor {
    double dc, in_cos, in_sin;
} phasor;

static phasor coil_phasor(const double row[3], const nrw_field *field)
{
    return (phasor){along(row, field->steady), along(row, field->cos), along(row, field->sin)};
}

static double peak(phasor wave)
{
    return fabs(wave.dc) + hypot(wave.in_cos, wave.in_sin);
}

static double rms(phasor wave)
{
    return sqrt(wave.dc * wave.dc + 0.5 * (wave.in_cos * wave.in_cos + wave.in_sin * wave.in_sin));
}

/* dB/dt of C cos ωt + Q sin ωt is ωQ cos ωt − ωC sin ωt; a heading that turns
 * at the rate w adds w z × B. */
static nrw_field rate_of(const nrw_field *field, double turn_rad_s)
{
    const double omega = 2.0 * NRW_PI * field->frequency_Hz;
    const nrw_vec3 none = {0.0, 0.0, 0.0};
    nrw_field rate = *field;
    rate.steady = sum(none, turn_rad_s, quarter_turn(field->steady));
    rate.cos = sum(sum(none, omega, field->sin), turn_rad_s, quarter_turn(field->cos));
    rate.sin = sum(sum(none, -omega, field->cos), turn_rad_s, quarter_turn(field->sin));
    return rate;
}

/* Peak of R I + L dI/dt, over all coils that couple to this one. */
static double voltage_peak(const question *ask, phasor current, const nrw_field *rate)
{
    const nrw_rig_model *model = ask->model;
    const double r = model->resistance_ohm[ask->coil];
    phasor voltage = {r * current.dc, r * current.in_cos, r * current.in_sin};
    for (int l = 0; l < model->n_coils; l++) {
        const double inductance = model->inductance_H[ask->coil][l];
        if (inductance == 0.0)
            continue;
        const phasor change = coil_phasor(model->A_per_mT[l], rate);
        voltage.dc += inductance * change.dc;
        voltage.in_cos += inductance * change.in_cos;
        voltage.in_sin += inductance * change.in_sin;
    }
    return peak(voltage);
}

static double missing_peak(const nrw_rig_model *model, const nrw_field *field)
{
    nrw_field part = *field;
    part.steady =
        (nrw_vec3){along(model->missing[0], field->steady), along(model->missing[1], field->steady),
                   along(model->missing[2], field->steady)};
    part.cos =
        (nrw_vec3){along(model->missing[0], field->cos), along(model->missing[1], field->cos),
                   along(model->missing[2], field->cos)};
    part.sin =
        (nrw_vec3){along(model->missing[0], field->sin), along(model->missing[1], field->sin),
                   along(model->missing[2], field->sin)};
    return nrw_field_peak_mT(&part);
}

static double answer(const question *ask, double heading_rad)
{
    const nrw_field field = nrw_drive_field(ask->setting, heading_rad, ask->tilt_deg);
    if (ask->quantity == MISSING)
        return missing_peak(ask->model, &field);
    const double *row = ask->model->A_per_mT[ask->coil];
    phasor current = coil_phasor(row, &field);
    current.dc += ask->model->offset_A[ask->coil];
    if (ask->quantity == NRW_RIG_PEAK_A)
        return peak(current);
    if (ask->quantity == NRW_RIG_RMS_A)
        return rms(current);
    double worst_sense = 0.0;
    for (int sense = -1; sense <= 1; sense += 2) {
        const nrw_field rate = rate_of(&field, sense * ask->turn_rate_rad_s);
        const double value = ask->quantity == NRW_RIG_SLEW_A_S ? peak(coil_phasor(row, &rate))
                                                               : voltage_peak(ask, current, &rate);
        worst_sense = fmax(worst_sense, value);
        if (ask->turn_rate_rad_s == 0.0)
            break;
    }
    return worst_sense;
}

/* Golden-section search for a maximum between two headings. */
static double refine(const question *ask, double low, double high, double *at_rad)
{
    const double golden = 0.6180339887498949;
    double a = high - golden * (high - low), b = low + golden * (high - low);
    double at_a = answer(ask, a), at_b = answer(ask, b);
    for (int i = 0; i < GOLDEN_STEPS; i++) {
        if (at_a >= at_b) {
            high = b;
            b = a;
            at_b = at_a;
            a = high - golden * (high - low);
            at_a = answer(ask, a);
        } else {
            low = a;
            a = b;
            at_a = at_b;
            b = low + golden * (high - low);
            at_b = answer(ask, b);
        }
    }
    *at_rad = at_a >= at_b ? a : b;
    return fmax(at_a, at_b);
}

/* Largest answer over a heading range: samples, then a closer look at every
 * sample that tops its neighbours and comes near the best. */
static double worst(const question *ask, const range *span, double *heading_rad)
{
    double samples[HEADING_STEPS + 1];
    const double width = span->to_rad - span->from_rad;
    const int n = width > 0.0 ? HEADING_STEPS : 0;
    const double step = n ? width / n : 0.0;
    int best = 0;
    for (int i = 0; i <= n; i++) {
        samples[i] = answer(ask, span->from_rad + i * step);
        if (samples[i] > samples[best])
            best = i;
    }
    double largest = samples[best];
    *heading_rad = span->from_rad + best * step;
    int looked_at = 0;
    for (int i = 0; i <= n && n && looked_at < REFINED_PEAKS; i++) {
        const bool first = i == 0 && !span->closed_circle, last = i == n && !span->closed_circle;
        const double before = first ? -DBL_MAX : samples[i == 0 ? n - 1 : i - 1];
        const double after = last ? -DBL_MAX : samples[i == n ? 1 : i + 1];
        if (samples[i] < before || samples[i] < after || samples[i] < 0.999 * samples[best])
            continue;
        looked_at++;
        const double low = first ? span->from_rad : span->from_rad + (i - 1) * step;
        const double high = last ? span->to_rad : span->from_rad + (i + 1) * step;
        double at_rad;
        const double refined = refine(ask, low, high, &at_rad);
        if (refined > largest) {
            largest = refined;
            *heading_rad = at_rad;
        }
    }
    return largest;
}

static range heading_range(const nrw_drive_setting *setting)
{
    const double wobble = fabs(setting->wobble_deg) * NRW_DEGREE;
    const bool general = setting->mode == NRW_DRIVE_GENERAL;
    if ((!general && setting->heading_kind != NRW_HEADING_FIXED) || wobble >= NRW_PI)
        return (range){0.0, 2.0 * NRW_PI, true};
    const double middle = general ? 0.0 : setting->heading_deg * NRW_DEGREE;
    return (range){middle - wobble, middle + wobble, false};
}

static double turn_rate_rad_s(const nrw_drive_setting *setting)
{
    if (setting->wobble_deg == 0.0 || setting->wobble_period_s <= 0.0)
        return 0.0;
    return fabs(setting->wobble_deg) * NRW_DEGREE * 2.0 * NRW_PI / setting->wobble_period_s;
}

static void keep_larger(double value, double heading_rad, double *kept, double *kept_heading_deg)
{
    if (value > *kept) {
        *kept = value;
        *kept_heading_deg = heading_rad / NRW_DEGREE;
    }
}

/* --- samples ---------------------------------------------------------------------- */

static nrw_vec3 sample_at(const nrw_samples *samples, size_t k)
{
    const float *b = samples->field_mT[k];
    return (nrw_vec3){(double)b[0], (double)b[1], (double)b[2]};
}

/* Voltage in the middle between two samples, where the slope is that of the smooth wave
 * which they stand for, to second order. */
static double voltage_between(const nrw_rig_model *model, int coil, nrw_vec3 middle, nrw_vec3 rate)
{
    double voltage = model->resistance_ohm[coil] *
                     (along(model->A_per_mT[coil], middle) + model->offset_A[coil]);
    for (int l = 0; l < model->n_coils; l++)
        voltage += model->inductance_H[coil][l] * along(model->A_per_mT[l], rate);
    return voltage;
}

static void keep_when(double value, double at_s, nrw_rig_demand *demand, int quantity, int coil)
{
    if (!(value > demand->largest[quantity][coil]))
        return;
    demand->largest[quantity][coil] = value;
    demand->at_s[quantity][coil] = at_s;
}

static double missing_of(const nrw_rig_model *model, nrw_vec3 b)
{
    const nrw_vec3 part = {along(model->missing[0], b), along(model->missing[1], b),
                           along(model->missing[2], b)};
    return sqrt(part.x * part.x + part.y * part.y + part.z * part.z);
}

static nrw_rig_demand demand_of_samples(const nrw_rig_model *model, const nrw_samples *samples)
{
    nrw_rig_demand demand;
    memset(&demand, 0, sizeof demand);
    demand.peak_field_mT = samples->peak_mT;
    double squares[NRW_COILS_MAX] = {0.0};
    const nrw_vec3 none = {0.0, 0.0, 0.0};
    for (size_t k = 0; k < samples->n; k++) {
        const nrw_vec3 b = sample_at(samples, k);
        const nrw_vec3 next = sample_at(samples, k + 1 < samples->n ? k + 1 : k);
        const nrw_vec3 middle = sum(sum(none, 0.5, b), 0.5, next);
        const nrw_vec3 rate = sum(none, samples->rate_Hz, sum(next, -1.0, b));
        const double t = (double)k / samples->rate_Hz;
        demand.missing_mT = fmax(demand.missing_mT, missing_of(model, b));
        for (int coil = 0; coil < model->n_coils; coil++) {
            const double *row = model->A_per_mT[coil];
            const double current = along(row, b) + model->offset_A[coil];
            squares[coil] += current * current;
            keep_when(fabs(current), t, &demand, NRW_RIG_PEAK_A, coil);
            keep_when(fabs(voltage_between(model, coil, middle, rate)), t, &demand, NRW_RIG_PEAK_V,
                      coil);
            keep_when(fabs(along(row, rate)), t, &demand, NRW_RIG_SLEW_A_S, coil);
        }
    }
    for (int coil = 0; coil < model->n_coils; coil++)
        demand.largest[NRW_RIG_RMS_A][coil] = sqrt(squares[coil] / (double)samples->n);
    return demand;
}

nrw_rig_demand nrw_rig_demand_of(const nrw_rig_model *model, const nrw_drive_setting *setting)
{
    if (setting->mode == NRW_DRIVE_SAMPLED)
        return demand_of_samples(model, setting->samples);
    nrw_rig_demand demand;
    memset(&demand, 0, sizeof demand);
    const range span = heading_range(setting);
    const bool eases = setting->mode == NRW_DRIVE_ROTATING && setting->ease_um > 0.0;
    const int n_tilts = eases ? EASE_TILTS : 1;
    question ask = {model, setting, setting->tilt_deg, turn_rate_rad_s(setting), 0, 0};
    const double trace = model->missing[0][0] + model->missing[1][1] + model->missing[2][2];
    double ignored_deg = 0.0, at_rad = 0.0;
    for (int i = 0; i < n_tilts; i++) {
        if (i > 0)
            ask.tilt_deg = setting->tilt_deg * (1.0 - (double)i / (n_tilts - 1));
        const nrw_field field = nrw_drive_field(setting, span.from_rad, ask.tilt_deg);
        demand.peak_field_mT = fmax(demand.peak_field_mT, nrw_field_peak_mT(&field));
        for (ask.quantity = 0; ask.quantity < NRW_RIG_N_QUANTITIES; ask.quantity++)
            for (ask.coil = 0; ask.coil < model->n_coils; ask.coil++)
                keep_larger(worst(&ask, &span, &at_rad), at_rad,
                            &demand.largest[ask.quantity][ask.coil],
                            &demand.heading_deg[ask.quantity][ask.coil]);
        if (trace > MISSING_SHARE)
            keep_larger(worst(&ask, &span, &at_rad), at_rad, &demand.missing_mT, &ignored_deg);
    }
    return demand;
}

static bool is_periodic(const nrw_drive_setting *setting)
{
    return setting->mode != NRW_DRIVE_STEADY && setting->mode != NRW_DRIVE_OFF;
}

static void keep_tighter(nrw_rig_binding *kept, const nrw_rig_binding *candidate)
{
    const double ratio = candidate->value / candidate->allowed;
    if (kept->limit == NRW_RIG_NOTHING ? ratio > 0.0 : ratio > kept->value / kept->allowed)
        *kept = *candidate;
}

static const nrw_rig_binding unbound = {NRW_RIG_NOTHING, NRW_RIG_PEAK_A, -1, 0.0, INFINITY, 0.0};

nrw_rig_binding nrw_rig_binding_of(const nrw_rig_model *model, const nrw_drive_setting *setting,
                                   const nrw_rig_demand *demand)
{
    nrw_rig_binding binding = unbound, candidate = unbound;
    if (!model->present)
        return binding;
    if (demand->missing_mT > MISSING_SHARE * demand->peak_field_mT) {
        binding.limit = NRW_RIG_AXIS;
        binding.value = demand->missing_mT;
        binding.allowed = 0.0;
        return binding;
    }
    if (is_periodic(setting) && setting->frequency_Hz > model->frequency_max_Hz) {
        binding.limit = NRW_RIG_FREQUENCY;
        binding.value = setting->frequency_Hz;
        binding.allowed = model->frequency_max_Hz;
        return binding;
    }
    candidate.limit = NRW_RIG_FIELD;
    candidate.value = demand->peak_field_mT;
    candidate.allowed = model->field_max_mT;
    keep_tighter(&binding, &candidate);
    candidate.limit = NRW_RIG_COIL;
    for (int q = 0; q < NRW_RIG_N_QUANTITIES; q++) {
        for (int k = 0; k < model->n_coils; k++) {
            candidate.quantity = (nrw_rig_quantity)q;
            candidate.coil = k;
            candidate.value = demand->largest[q][k];
            candidate.allowed = model->allowed[q][k];
            candidate.heading_deg = demand->heading_deg[q][k];
            keep_tighter(&binding, &candidate);
        }
    }
    return binding;
}

/* The setting with another size of field; general drives scale as a whole, so
 * that `size` is then the peak. */
static nrw_drive_setting resized(const nrw_drive_setting *setting, double size)
{
    nrw_drive_setting copy = *setting;
    if (setting->mode != NRW_DRIVE_GENERAL) {
        copy.field_mT = size;
        return copy;
    }
    const nrw_field field = nrw_drive_field(setting, 0.0, 0.0);
    const double peak = nrw_field_peak_mT(&field);
    const double factor = peak > 0.0 ? size / peak : 0.0;
    copy.steady_mT = sum((nrw_vec3){0}, factor, setting->steady_mT);
    copy.cos_mT = sum((nrw_vec3){0}, factor, setting->cos_mT);
    copy.sin_mT = sum((nrw_vec3){0}, factor, setting->sin_mT);
    return copy;
}

static nrw_rig_model with_join_reserve(const nrw_rig_model *model)
{
    nrw_rig_model copy = *model;
    for (int k = 0; k < copy.n_coils; k++)
        copy.allowed[NRW_RIG_PEAK_V][k] *= 1.0 - NRW_RIG_JOIN_RESERVE;
    return copy;
}

static bool exceeds(const nrw_rig_binding *binding)
{
    return binding->limit != NRW_RIG_NOTHING && binding->value > binding->allowed * (1 + ROUNDING);
}

static nrw_rig_binding binding_at(const nrw_rig_model *model, const nrw_drive_setting *setting)
{
    const nrw_rig_demand demand = nrw_rig_demand_of(model, setting);
    return nrw_rig_binding_of(model, setting, &demand);
}

/* With a bias or an ambient field, which keep their size, the demand is
 * no longer proportional to the field; the fields that fit still form an
 * interval from 0, as the limits are convex: bisection. */
static double largest_beside_offset_mT(const nrw_rig_model *model, const nrw_drive_setting *setting,
                                       double high, nrw_rig_binding *binding)
{
    double low = 0.0;
    nrw_drive_setting trial = resized(setting, low);
    *binding = binding_at(model, &trial);
    if (exceeds(binding))
        return 0.0;
    for (int i = 0; i < 48 && high - low > 1e-9 * high; i++) {
        const double middle = 0.5 * (low + high);
        trial = resized(setting, middle);
        const nrw_rig_binding met = binding_at(model, &trial);
        if (exceeds(&met)) {
            high = middle;
        } else {
            low = middle;
            *binding = met;
        }
    }
    return low;
}

static bool has_offset(const nrw_rig_model *model)
{
    for (int k = 0; k < model->n_coils; k++)
        if (model->offset_A[k] != 0.0)
            return true;
    return false;
}

double nrw_rig_available_field_mT(const nrw_rig *rig, const nrw_drive_setting *setting,
                                  nrw_rig_binding *binding)
{
    nrw_rig_binding ignored;
    if (!binding)
        binding = &ignored;
    *binding = unbound;
    nrw_rig_model full;
    if (nrw_rig_model_init(&full, rig, NULL) != NRW_OK)
        return 0.0;
    if (setting->mode == NRW_DRIVE_SAMPLED)
        return 0.0;
    if (!full.present || setting->mode == NRW_DRIVE_OFF)
        return INFINITY;
    const nrw_rig_model model = with_join_reserve(&full);
    nrw_rig_model alone = model;
    memset(alone.offset_A, 0, sizeof alone.offset_A);
    nrw_drive_setting unit = resized(setting, 1.0);
    unit.bias_mT = 0.0;
    *binding = binding_at(&alone, &unit);
    if (binding->limit == NRW_RIG_AXIS || binding->limit == NRW_RIG_FREQUENCY)
        return 0.0;
    if (binding->limit == NRW_RIG_NOTHING)
        return INFINITY;
    const double largest = binding->allowed / binding->value;
    binding->value = binding->allowed;
    const bool biased = setting->mode == NRW_DRIVE_OSCILLATING && setting->bias_mT != 0.0;
    if (!biased && !has_offset(&model))
        return largest;
    return largest_beside_offset_mT(&model, setting, largest * OFFSET_HEADROOM, binding);
}

double nrw_rig_available_frequency_Hz(const nrw_rig *rig, const nrw_drive_setting *setting)
{
    nrw_rig_model full;
    if (nrw_rig_model_init(&full, rig, NULL) != NRW_OK)
        return 0.0;
    if (!full.present)
        return INFINITY;
    const nrw_rig_model model = with_join_reserve(&full);
    nrw_drive_setting trial = *setting;
    trial.frequency_Hz = model.frequency_max_Hz;
    nrw_rig_binding met = binding_at(&model, &trial);
    if (!exceeds(&met))
        return model.frequency_max_Hz;
    double low = 0.0, high = model.frequency_max_Hz;
    for (int i = 0; i < 30; i++) {
        trial.frequency_Hz = 0.5 * (low + high);
        met = binding_at(&model, &trial);
        if (exceeds(&met))
            high = trial.frequency_Hz;
        else
            low = trial.frequency_Hz;
    }
    return low;
}
