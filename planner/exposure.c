#include "exposure.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <gsl/gsl_fft_real.h>

#define MU0_T_M_A (4e-7 * NRW_PI)

double nrw_exposure_rms_mT(const nrw_field *field)
{
    const nrw_vec3 c = field->cos, q = field->sin;
    return sqrt(0.5 * (c.x * c.x + c.y * c.y + c.z * c.z + q.x * q.x + q.y * q.y + q.z * q.z));
}

double nrw_exposure_rate_T_s(const nrw_field *field)
{
    /* dB/dt = ω(Q cos − C sin): an ellipse of the same shape */
    nrw_field rate = *field;
    rate.steady = (nrw_vec3){0.0, 0.0, 0.0};
    return 2.0 * NRW_PI * field->frequency_Hz * nrw_field_peak_mT(&rate) * 1e-3;
}

double nrw_exposure_stimulus_ms(double frequency_Hz)
{
    return 1e3 / (NRW_PI * frequency_Hz);
}

double nrw_exposure_product_A_m_s(double field_mT, double frequency_Hz)
{
    return field_mT * 1e-3 / MU0_T_M_A * frequency_Hz;
}

double nrw_exposure_product_Hz(double product_A_m_s, double field_mT)
{
    return product_A_m_s / (field_mT * 1e-3 / MU0_T_M_A);
}

double nrw_exposure_induced_V_m(double radius_m, double rate_T_s)
{
    return 0.5 * radius_m * rate_T_s;
}

double nrw_exposure_eddy_W_m3(double conductivity_S_m, double frequency_Hz, double field_mT,
                              double radius_m)
{
    const double electric_V_m = NRW_PI * frequency_Hz * field_mT * 1e-3 * radius_m;
    return 0.5 * conductivity_S_m * electric_V_m * electric_V_m;
}

double nrw_exposure_index(const nrw_limit *limit, const nrw_exposure_component *components,
                          size_t n)
{
    double index = 0.0;
    for (size_t i = 0; i < n; i++)
        index += components[i].rms_mT / nrw_limit_reference_mT(limit, components[i].frequency_Hz);
    return index;
}

/* --- spectrum ------------------------------------------------------------------- */

/* Adds the mean square of each frequency of one direction to `squares`
 * (n/2 + 1), in place of `data` (n). GSL's half-complex order: real part of 0,
 * then real and imaginary parts in turn. */
static void add_squares(double *data, size_t n, const gsl_fft_real_wavetable *table,
                        gsl_fft_real_workspace *work, double *squares)
{
    (void)gsl_fft_real_transform(data, 1, n, table, work);
    const double scale = 1.0 / (double)n;
    squares[0] += data[0] * scale * data[0] * scale;
    for (size_t k = 1; k <= n / 2; k++) {
        const double re = data[2 * k - 1] * scale;
        const double im = 2 * k < n ? data[2 * k] * scale : 0.0;
        const bool alone = 2 * k == n; /* the highest one has no mirror image */
        squares[k] += (alone ? 1.0 : 2.0) * (re * re + im * im);
    }
}

static void pick_components(const double *squares, size_t n, double sample_rate_Hz, double share,
                            nrw_exposure_component *components, size_t room, size_t *n_components)
{
    double largest = 0.0;
    for (size_t k = 1; k <= n / 2; k++)
        largest = fmax(largest, squares[k]);
    *n_components = 0;
    for (size_t k = 1; k <= n / 2 && *n_components < room; k++)
        if (squares[k] > 0.0 && squares[k] >= share * share * largest)
            components[(*n_components)++] =
                (nrw_exposure_component){(double)k * sample_rate_Hz / (double)n, sqrt(squares[k])};
}

nrw_status nrw_exposure_spectrum(const double *samples_mT, size_t n, double sample_rate_Hz,
                                 double share, nrw_exposure_component *components, size_t room,
                                 size_t *n_components, double *static_mT, nrw_errors *errors)
{
    *n_components = 0;
    if (n < 2)
        return NRW_OK;
    double *data = malloc(n * sizeof *data), *squares = calloc(n / 2 + 1, sizeof *squares);
    /* malloc'ed by GSL, which would stop the program when that fails: made only
     * once our own, larger blocks stand */
    gsl_fft_real_wavetable *table = data && squares ? gsl_fft_real_wavetable_alloc(n) : NULL;
    gsl_fft_real_workspace *work = table ? gsl_fft_real_workspace_alloc(n) : NULL;
    if (work) {
        for (int axis = 0; axis < 3; axis++) {
            for (size_t i = 0; i < n; i++)
                data[i] = samples_mT[3 * i + (size_t)axis];
            add_squares(data, n, table, work, squares);
        }
        pick_components(squares, n, sample_rate_Hz, share, components, room, n_components);
        if (static_mT)
            *static_mT = sqrt(squares[0]);
    }
    const nrw_status status =
        work ? NRW_OK : nrw_errors_add(errors, NRW_NO_MEMORY, NULL, "out of memory");
    if (work)
        gsl_fft_real_workspace_free(work);
    if (table)
        gsl_fft_real_wavetable_free(table);
    free(squares);
    free(data);
    return status;
}

/* --- the list ------------------------------------------------------------------- */

static double value_of(const nrw_limit *limit, const nrw_exposure_case *exposure, double *allowed)
{
    *allowed = limit->level;
    switch (limit->law) {
    case NRW_LIMIT_REFERENCE_LEVEL:
        *allowed = 1.0;
        return nrw_exposure_index(limit, exposure->components, exposure->n_components);
    case NRW_LIMIT_STATIC_LEVEL:
        return exposure->static_mT;
    case NRW_LIMIT_FIELD_LEVEL:
        return exposure->peak_mT;
    case NRW_LIMIT_NERVE_STIMULATION:
        *allowed = nrw_limit_rate_T_s(limit, exposure->stimulus_ms);
        return exposure->rate_T_s;
    case NRW_LIMIT_FIELD_FREQUENCY:
        return exposure->product_A_m_s;
    case NRW_LIMIT_STORED_ENERGY:
        return exposure->energy_J;
    case NRW_LIMIT_TOUCH_VOLTAGE:
        return exposure->peak_V;
    case NRW_LIMIT_COIL_TEMPERATURE:
        return exposure->coil_C;
    case NRW_LIMIT_SAMPLE_HEATING:
        return exposure->sample_rise_K;
    case NRW_N_LIMIT_LAWS:
        break;
    }
    return NAN;
}

static void copy(char *target, size_t size, const char *source)
{
    (void)snprintf(target, size, "%s", source);
}

nrw_limit_check nrw_exposure_check(const nrw_limit *limit, const nrw_exposure_case *exposure)
{
    nrw_limit_check check;
    memset(&check, 0, sizeof check);
    copy(check.limit, sizeof check.limit, limit->name);
    check.value = value_of(limit, exposure, &check.allowed);
    copy(check.unit, sizeof check.unit, nrw_limit_law_unit(limit->law));
    check.ok = !(check.value > check.allowed);
    check.distance_mm = NAN;
    copy(check.who, sizeof check.who, limit->who);
    copy(check.where, sizeof check.where, limit->where);
    copy(check.source, sizeof check.source, limit->source);
    copy(check.action, sizeof check.action, limit->action);
    return check;
}

void nrw_limit_check_sentence(const nrw_limit_check *check, char *text, size_t size)
{
    const char *exceeded = check->ok ? "" : ", exceeded";
    char distance[96] = "";
    if (isfinite(check->distance_mm))
        (void)snprintf(distance, sizeof distance,
                       "; met from about %.0f mm off the middle on, by the coils' geometry",
                       check->distance_mm);
    if (isnan(check->value))
        (void)snprintf(text, size, "%s: not known here; the level for %s is %.4g %s. Source: %s.",
                       check->limit, check->who, check->allowed, check->unit, check->source);
    else if (check->unit[0] == '\0')
        (void)snprintf(text, size,
                       "%s%s: %.4g times the level, summed over frequencies, for %s (%s%s). To do: "
                       "%s. Source: %s.",
                       check->limit, exceeded, check->value, check->who, check->where, distance,
                       check->action, check->source);
    else
        (void)snprintf(
            text, size, "%s%s: %.4g %s; the level for %s is %.4g %s (%s%s). To do: %s. Source: %s.",
            check->limit, exceeded, check->value, check->unit, check->who, check->allowed,
            check->unit, check->where, distance, check->action, check->source);
}
