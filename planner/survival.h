/* Time to target when some trials end before they arrive: the product-limit
 * estimate (Kaplan & Meier 1958, JASA 53:457). */
#ifndef NRW_SURVIVAL_H
#define NRW_SURVIVAL_H

#include <stdbool.h>
#include <stddef.h>

#include "error.h"
#include "statistics.h"

/* One time at which trials arrived. */
typedef struct nrw_survival_step {
    double time_s;
    size_t n_waiting;      /* not yet arrived, nor ended, just before */
    size_t n_arrived;      /* at this time */
    double waiting;        /* share still to arrive after it: the estimate S(t) */
    double standard_error; /* of it (Greenwood 1926) */
} nrw_survival_step;

typedef struct nrw_survival {
    nrw_survival_step *steps; /* (n_steps), rising in time; owned */
    size_t n_steps;
    /* Smallest time with S(t) <= 0.5; NAN when fewer than half arrived. */
    double median_s;
    /* Times at which the limits of S(t) (on the scale log(-log S)) reach 0.5
     * (Brookmeyer & Crowley 1982, Biometrics 38:29); NAN where one never does:
     * low NAN means that no limit is known, high NAN that there is none. */
    nrw_interval median_limits_s;
} nrw_survival;

/* From n trials: times_s (n) of arrival where arrived (n) is true, else of the
 * end of watching. A trial that ends at a time at which others arrive counts as
 * waiting then. O(n log n). The caller clears the result. NRW_NO_MEMORY. */
nrw_status nrw_survival_init(nrw_survival *survival, size_t n, const double *times_s,
                             const bool *arrived, double confidence);
void nrw_survival_clear(nrw_survival *survival);

/* Share still to arrive after time t, and its standard error (1 and 0 before
 * the first arrival). O(n_steps). */
double nrw_survival_waiting(const nrw_survival *survival, double time_s);
double nrw_survival_standard_error(const nrw_survival *survival, double time_s);

#endif
