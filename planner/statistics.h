/* Statistics of trials: moments, quantiles, intervals, paired comparisons,
 * sample sizes. What each means and when to use which: docs/statistics.md.
 *
 * Plain functions without memory of their own: thread safe, no errors. A figure
 * that the data don't determine is NAN. `confidence` is in (0, 1), usually
 * 0.95. Distribution functions and order statistics are GSL's. */
#ifndef NRW_STATISTICS_H
#define NRW_STATISTICS_H

#include <stdbool.h>
#include <stddef.h>

typedef struct nrw_interval {
    double low, high;
} nrw_interval;

/* --- distributions --------------------------------------------------------- */

/* x with P(X <= x) = p of the standard normal; p in (0, 1), else NAN. */
double nrw_normal_quantile(double p);

/* The same of Student's t with `freedom` > 0 degrees of freedom. */
double nrw_t_quantile(double p, double freedom);

/* Expected largest of n >= 1 independent standard normals (Tippett 1925). The
 * best of n equally good candidates, measured each with standard error e,
 * looks better than it is by e times this (the winner's curse). Relative error
 * below 1e-10 up to n = 1e6. */
double nrw_expected_maximum(size_t n);

/* --- moments --------------------------------------------------------------- */

/* Running mean and variance (Welford 1962, Technometrics 4:419); start from
 * {0}. */
typedef struct nrw_running {
    size_t n;
    double mean;
    double sum_of_squares; /* of the deviations from the mean */
} nrw_running;

void nrw_running_add(nrw_running *running, double value);
double nrw_running_variance(const nrw_running *running);       /* divisor n - 1; NAN for n < 2 */
double nrw_running_standard_error(const nrw_running *running); /* sqrt(variance/n) */

double nrw_mean(size_t n, const double *values);               /* NAN for n = 0 */
double nrw_standard_deviation(size_t n, const double *values); /* divisor n - 1 */

/* Effective number of independent values among n >= 1 of a first-order
 * autoregressive series with correlation r of successive values, |r| < 1:
 * n (1 - r)/(1 + r). */
double nrw_effective_samples(size_t n, double r);

/* The same with r estimated from the series in time order (lag-one
 * autocorrelation, taken as 0 if negative: never above n). A constant series
 * counts as 1. */
double nrw_effective_samples_of(size_t n, const double *series);

/* --- quantiles ------------------------------------------------------------- */

/* Type-7 quantile (linear between order statistics; Hyndman & Fan 1996, Am.
 * Stat. 50:361) of n values; p in [0, 1]. Sorts the values in place. NAN for
 * n = 0. Values must not be NAN. */
double nrw_quantile(size_t n, double *values, double p);

/* --- shares of trials ------------------------------------------------------ */

/* Interval for a probability after `successes` of `n` trials, n > 0 (Wilson
 * 1927, JASA 22:209). `successes` may be a sum of fractions, 0...n: a fraction
 * varies at most as much as a yes-or-no result of the same mean, so the
 * interval is then a cautious one for the mean fraction. */
nrw_interval nrw_wilson_interval(double successes, size_t n, double confidence);

/* Exact interval: covers at least `confidence` whatever the probability
 * (Clopper & Pearson 1934, Biometrika 26:404). successes <= n, n > 0. */
nrw_interval nrw_clopper_pearson_interval(size_t successes, size_t n, double confidence);

/* Interval for the difference a/n_a - b/n_b of two independent shares (Newcombe
 * 1998, Stat. Med. 17:873, method 10). */
nrw_interval nrw_newcombe_interval(size_t a, size_t n_a, size_t b, size_t n_b, double confidence);

/* --- the same trials under two schedules ----------------------------------- */

/* Student's paired comparison. */
typedef struct nrw_paired {
    size_t n;
    double difference; /* mean of a - b */
    double standard_error;
    double t, p;           /* two-sided, n - 1 degrees of freedom */
    nrw_interval interval; /* for the mean difference */
} nrw_paired;

/* Compares a (n) with b (n), trial by trial. Where all differences are equal
 * the standard error is 0 and the interval that one value: two copies of one
 * schedule give 0...0 with t = 0, p = 1. With n < 2 all but the difference is
 * NAN. */
nrw_paired nrw_paired_comparison(size_t n, const double *a, const double *b, double confidence);

/* Goal reached by one schedule only: b trials for the first, c for the second. */
typedef struct nrw_mcnemar {
    double chi2;        /* (|b - c| - 1)²/(b + c): McNemar 1947, continuity after Edwards 1948 */
    double p_corrected; /* of chi2, one degree of freedom */
    double p_exact;     /* two-sided binomial; prefer it below b + c = 25 */
} nrw_mcnemar;

nrw_mcnemar nrw_mcnemar_test(size_t b, size_t c); /* without any such trial: 0, 1, 1 */

/* --- how many trials ------------------------------------------------------- */

/* Trials so that a probability near p is known to ± half_width: z² p(1 - p)/w²,
 * rounded up; p = 0.5 is the worst case. */
size_t nrw_trials_for_share(double p, double half_width, double confidence);

/* Trials so that a mean is known to ± half_width where single trials spread by
 * `deviation`: (z s/w)², rounded up. */
size_t nrw_trials_for_mean(double deviation, double half_width, double confidence);

#endif
