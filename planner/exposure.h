/* What the field does to people, sample and coils, against limits that are data.
 *
 * The figures inform; each carries who, where, source and what to do. A field
 * that turns with constant size B has the rms B, not B/√2: the rms of a vector
 * adds up its directions. Fields in mT, rates in T/s, frequencies in Hz. */
#ifndef NRW_EXPOSURE_H
#define NRW_EXPOSURE_H

#include <stdbool.h>
#include <stddef.h>

#include "drive.h"
#include "error.h"
#include "limit.h"

/* --- one field ----------------------------------------------------------------- */

/* Root mean square of the alternating part, all directions: √((C² + Q²)/2). */
double nrw_exposure_rms_mT(const nrw_field *field);

/* Largest |dB/dt| over a period. */
double nrw_exposure_rate_T_s(const nrw_field *field);

/* Effective stimulus duration in ms: change from peak to peak over the largest
 * slope; 1/(πf) for a sine (IEC 60601-2-33, from memory). */
double nrw_exposure_stimulus_ms(double frequency_Hz);

/* H·f in A/(m s) of a field, and the frequency in Hz at which it reaches a
 * product. */
double nrw_exposure_product_A_m_s(double field_mT, double frequency_Hz);
double nrw_exposure_product_Hz(double product_A_m_s, double field_mT);

/* Field strength induced at a radius in a uniform disc, V/m: r (dB/dt)/2
 * (Faraday). */
double nrw_exposure_induced_V_m(double radius_m, double rate_T_s);

/* Heat of eddy currents at the rim of a disc, W/m³: σ (πfBr)²/2 with B the
 * peak. */
double nrw_exposure_eddy_W_m3(double conductivity_S_m, double frequency_Hz, double field_mT,
                              double radius_m);

/* --- several frequencies -------------------------------------------------------- */

typedef struct nrw_exposure_component {
    double frequency_Hz, rms_mT;
} nrw_exposure_component;

/* Sum of rms over reference level (ICNIRP 2010, the sum for exposure to several
 * frequencies). Above 1 the level is exceeded. For waves of fixed phases, such as
 * the steps of an alternating drive, the sum overstates. Frequencies without a
 * level count nothing. */
double nrw_exposure_index(const nrw_limit *limit, const nrw_exposure_component *components,
                          size_t n);

/* Components of a sampled field (n x 3, row after row, mT) taken as one period:
 * those at least `share` of the largest, by rising frequency, into `components`
 * (room for `room`; the rest is dropped). *n_components gets how many, *static_mT
 * (may be NULL) the size of the mean. NRW_NO_MEMORY when short of it. Cost of
 * three real FFTs. */
nrw_status nrw_exposure_spectrum(const double *samples_mT, size_t n, double sample_rate_Hz,
                                 double share, nrw_exposure_component *components, size_t room,
                                 size_t *n_components, double *static_mT, nrw_errors *errors);

/* --- the list ------------------------------------------------------------------- */

/* One figure against one limit. Texts are copies. */
typedef struct nrw_limit_check {
    char limit[96];
    double value, allowed; /* NAN: unknown */
    char unit[16];
    bool ok;            /* value at most allowed; true where the value is not known */
    bool hard;          /* of the rig: refuses unless allowed by name */
    double distance_mm; /* from the middle, where an exceeded field level is met; NAN: not known */
    char who[NRW_LIMIT_TEXT_SIZE], where[NRW_LIMIT_TEXT_SIZE], source[NRW_LIMIT_TEXT_SIZE];
    char action[NRW_LIMIT_TEXT_SIZE];
} nrw_limit_check;

/* What a schedule does, for the middle of the coils; NAN: not known. */
typedef struct nrw_exposure_case {
    const nrw_exposure_component *components; /* borrowed, of the worst leg */
    size_t n_components;
    double static_mT, peak_mT;
    double rate_T_s, stimulus_ms; /* of the worst change */
    double product_A_m_s;
    double energy_J, peak_V, coil_C, sample_rise_K;
} nrw_exposure_case;

/* The figure of one limit. */
nrw_limit_check nrw_exposure_check(const nrw_limit *limit, const nrw_exposure_case *exposure);

/* One sentence that informs: who, where, value against level, source, action.
 * Never says that anything is harmless. */
void nrw_limit_check_sentence(const nrw_limit_check *check, char *text, size_t size);

#endif
