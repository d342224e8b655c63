/* Bootstrap intervals over trials: trials are resampled, never particles, since
 * the particles of one run share their fate. Meaning and measured coverage:
 * docs/statistics.md. */
#ifndef NRW_BOOTSTRAP_H
#define NRW_BOOTSTRAP_H

#include <stddef.h>
#include <stdint.h>

#include "error.h"
#include "statistics.h"

typedef enum nrw_bootstrap_kind {
    NRW_BOOTSTRAP_PERCENTILE, /* plain quantiles of the resampled figure: too narrow below 20 trials
                               */
    NRW_BOOTSTRAP_BCA,        /* corrected for bias and skewness (Efron 1987, JASA 82:171) */
    NRW_BOOTSTRAP_BCA_SMALL   /* BCa, widened for few trials as Student's t is against the normal
                                 (Hesterberg 2015, Am. Stat. 69:371, section 4); the default */
} nrw_bootstrap_kind;

typedef struct nrw_bootstrap_config {
    nrw_bootstrap_kind kind;
    size_t n_resamples; /* 1...2^31 */
    double confidence;
    uint64_t seed; /* fixed, so that the same trials always give the same interval */
} nrw_bootstrap_config;

/* BCA_SMALL, 4000 resamples, 0.95, a fixed seed. */
nrw_bootstrap_config nrw_bootstrap_config_defaults(void);

/* A figure of n values. It may change the order of `sample` (a copy). */
typedef double (*nrw_figure)(size_t n, double *sample, void *context);

/* Trial (0...n-1) drawn as number `position` of resample `resample`: a pure
 * function of its arguments. Where all n^n resamples are no more than
 * config->n_resamples they are enumerated, each once, instead of drawn. */
size_t nrw_bootstrap_pick(const nrw_bootstrap_config *config, size_t n, uint32_t resample,
                          uint32_t position);

/* Number of resamples used for n values: config->n_resamples, or n^n if less. */
size_t nrw_bootstrap_resamples(const nrw_bootstrap_config *config, size_t n);

/* The figure of every resample of n > 0 values, in order of resamples:
 * replicates (nrw_bootstrap_resamples) is the caller's. NRW_NO_MEMORY. */
nrw_status nrw_bootstrap_replicates(const nrw_bootstrap_config *config, size_t n,
                                    const double *values, nrw_figure figure, void *context,
                                    double *replicates);

/* Interval for a figure of the population from n values of it. Where the figure
 * can't be computed or n < 2, NAN...NAN; where no resample changes it, that one
 * value twice. Cost: n_resamples × (n draws of 20 ns + the figure). Thread safe.
 * NRW_NO_MEMORY. */
nrw_status nrw_bootstrap_interval(const nrw_bootstrap_config *config, size_t n,
                                  const double *values, nrw_figure figure, void *context,
                                  nrw_interval *interval);

/* The interval for the mean. */
nrw_status nrw_bootstrap_mean(const nrw_bootstrap_config *config, size_t n, const double *values,
                              nrw_interval *interval);

/* The interval for the mean of fractions in 0...1. Trials that all went alike say
 * nothing of the failure that comes once in n: so each end also allows for one more
 * trial, that delivers nothing (low) or all (high). Both ends lie in 0...1. */
nrw_status nrw_bootstrap_fraction(const nrw_bootstrap_config *config, size_t n,
                                  const double *values, nrw_interval *interval);

#endif
