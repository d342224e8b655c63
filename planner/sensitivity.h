/* Which uncertain parameter moves the result most: answered from the trials
 * that were run anyway. Method and limits: docs/statistics.md. */
#ifndef NRW_SENSITIVITY_H
#define NRW_SENSITIVITY_H

#include <stddef.h>

#include "bootstrap.h"
#include "error.h"
#include "statistics.h"

enum { NRW_MOST_PARAMETERS = 8 };

/* The part of one parameter. */
typedef struct nrw_sensitivity {
    /* Standardised rank regression coefficient, about -1...1: how the figure's
     * rank follows the parameter's, the others held (Saltelli & Marivoet 1990,
     * Reliab. Eng. Syst. Saf. 28:229). NAN for a parameter that doesn't vary or
     * a figure that doesn't. */
    double rank_coefficient;
    nrw_interval rank_interval;
    /* First-order index of Sobol: share of the figure's variance that would go
     * if the parameter were known, 0...1; sees also what is not monotonic
     * (Sobol 1993; from given trials by slices of equal number: Plischke,
     * Borgonovo & Smith 2013, Eur. J. Oper. Res. 226:536), corrected for the
     * chance differences between slices. */
    double first_order;
    nrw_interval first_order_interval;
} nrw_sensitivity;

/* From n trials with parameters (n x n_parameters, row by row; n_parameters <=
 * NRW_MOST_PARAMETERS) and their figure (n): results (n_parameters), and the
 * share of the variance of the figure's ranks that the rank regression explains
 * (`explained`; low: chance, or no monotonic dependence). Intervals by
 * resampling trials (percentiles; those of first_order moved to lie about the
 * estimate, since resampling inflates it). Needs n >= n_parameters + 3 and
 * n >= 8, else everything is NAN. Values must be finite. O(n_resamples n log n).
 * NRW_NO_MEMORY. */
nrw_status nrw_sensitivity_measure(const nrw_bootstrap_config *config, size_t n,
                                   size_t n_parameters, const double *parameters,
                                   const double *figure, nrw_sensitivity *results,
                                   double *explained);

/* The finding in words ("Measure the rolling factor first: ...") in `text` of
 * `size` bytes, always terminated. names (n_parameters) as they should stand
 * after "the"; `figure` what is moved, e.g. "delivered fraction". A parameter
 * stands out when its rank_interval excludes 0. */
void nrw_sensitivity_say(size_t n_trials, size_t n_parameters, const char *const *names,
                         const char *figure, const nrw_sensitivity *results, double explained,
                         char *text, size_t size);

#endif
