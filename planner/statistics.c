#include "statistics.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_randist.h>
#include <gsl/gsl_sort.h>
#include <gsl/gsl_statistics_double.h>
#include <math.h>

/* GSL reports arguments outside a function's domain through a handler that
 * aborts by default, so domains are checked before each call. */

static const nrw_interval unknown = {NAN, NAN};

static bool is_probability(double p)
{
    return p > 0.0 && p < 1.0;
}

double nrw_normal_quantile(double p)
{
    return is_probability(p) ? gsl_cdf_ugaussian_Pinv(p) : NAN;
}

double nrw_t_quantile(double p, double freedom)
{
    return is_probability(p) && freedom > 0.0 ? gsl_cdf_tdist_Pinv(p, freedom) : NAN;
}

static double two_sided_z(double confidence)
{
    return nrw_normal_quantile(0.5 * (1.0 + confidence));
}

/* Integral of x n φ(x) Φ(x)^(n-1). The integrand is smooth and vanishes at both
 * ends, where the trapezoidal rule converges faster than any power of the step. */
double nrw_expected_maximum(size_t n)
{
    const int half_count = 768;
    const double step = 1.0 / 64.0; /* so from -12 to 12 */
    double sum = 0.0;
    for (int k = -half_count; k <= half_count; k++) {
        double x = k * step, below = gsl_cdf_ugaussian_P(x);
        if (below > 0.0)
            sum += x * gsl_ran_ugaussian_pdf(x) * exp((double)(n - 1) * log(below));
    }
    return n > 0 ? (double)n * sum * step : NAN;
}

void nrw_running_add(nrw_running *running, double value)
{
    double before = value - running->mean;
    running->n++;
    running->mean += before / (double)running->n;
    running->sum_of_squares += before * (value - running->mean);
}

double nrw_running_variance(const nrw_running *running)
{
    return running->n < 2 ? NAN : running->sum_of_squares / (double)(running->n - 1);
}

double nrw_running_standard_error(const nrw_running *running)
{
    return sqrt(nrw_running_variance(running) / (double)running->n);
}

double nrw_mean(size_t n, const double *values)
{
    return n > 0 ? gsl_stats_mean(values, 1, n) : NAN;
}

double nrw_standard_deviation(size_t n, const double *values)
{
    return n > 1 ? gsl_stats_sd(values, 1, n) : NAN;
}

double nrw_effective_samples(size_t n, double r)
{
    return fabs(r) < 1.0 ? (double)n * (1.0 - r) / (1.0 + r) : NAN;
}

double nrw_effective_samples_of(size_t n, const double *series)
{
    if (n < 2)
        return (double)n;
    if (gsl_stats_sd(series, 1, n) == 0.0)
        return 1.0;
    double r = gsl_stats_lag1_autocorrelation(series, 1, n);
    return fmax(1.0, nrw_effective_samples(n, fmax(0.0, r)));
}

double nrw_quantile(size_t n, double *values, double p)
{
    if (n == 0 || !(p >= 0.0 && p <= 1.0))
        return NAN;
    gsl_sort(values, 1, n);
    return gsl_stats_quantile_from_sorted_data(values, 1, n, p);
}

nrw_interval nrw_wilson_interval(double successes, size_t n, double confidence)
{
    double z = two_sided_z(confidence), trials = (double)n, share = successes / trials;
    if (n == 0 || !(share >= 0.0 && share <= 1.0))
        return unknown;
    double z2 = z * z / trials;
    double centre = share + 0.5 * z2;
    double half = sqrt(z2 * share * (1.0 - share) + 0.25 * z2 * z2);
    /* At shares 0 and 1 one limit is exactly 0 or 1; rounding must not say else. */
    return (nrw_interval){share > 0.0 ? fmax(0.0, (centre - half) / (1.0 + z2)) : 0.0,
                          share < 1.0 ? fmin(1.0, (centre + half) / (1.0 + z2)) : 1.0};
}

/* x with P(X <= x) = p of the beta distribution, by halving until no double lies
 * in between. GSL's own inverse fails to converge (and aborts) for some counts,
 * e.g. 258 of 260 successes. */
static double beta_quantile(double p, double a, double b)
{
    double low = 0.0, high = 1.0;
    for (;;) {
        double middle = 0.5 * (low + high);
        if (middle <= low || middle >= high)
            return middle;
        if (gsl_cdf_beta_P(middle, a, b) < p)
            low = middle;
        else
            high = middle;
    }
}

nrw_interval nrw_clopper_pearson_interval(size_t successes, size_t n, double confidence)
{
    if (n == 0 || successes > n || !is_probability(confidence))
        return unknown;
    double k = (double)successes, failures = (double)(n - successes);
    double tail = 0.5 * (1.0 - confidence);
    return (nrw_interval){successes > 0 ? beta_quantile(tail, k, failures + 1.0) : 0.0,
                          successes < n ? beta_quantile(1.0 - tail, k + 1.0, failures) : 1.0};
}

nrw_interval nrw_newcombe_interval(size_t a, size_t n_a, size_t b, size_t n_b, double confidence)
{
    nrw_interval of_a = nrw_wilson_interval((double)a, n_a, confidence);
    nrw_interval of_b = nrw_wilson_interval((double)b, n_b, confidence);
    double share_a = (double)a / (double)n_a, share_b = (double)b / (double)n_b;
    double difference = share_a - share_b;
    return (nrw_interval){difference - hypot(share_a - of_a.low, of_b.high - share_b),
                          difference + hypot(of_a.high - share_a, share_b - of_b.low)};
}

nrw_paired nrw_paired_comparison(size_t n, const double *a, const double *b, double confidence)
{
    nrw_running running = {0};
    for (size_t i = 0; i < n; i++)
        nrw_running_add(&running, a[i] - b[i]);
    nrw_paired paired = {n, n > 0 ? running.mean : NAN, NAN, NAN, NAN, unknown};
    if (n < 2)
        return paired;
    double freedom = (double)(n - 1), mean = running.mean;
    double error = nrw_running_standard_error(&running);
    double half = nrw_t_quantile(0.5 * (1.0 + confidence), freedom) * error;
    paired.standard_error = error;
    paired.t = mean == 0.0 ? 0.0 : mean / error;
    paired.p = isinf(paired.t) ? 0.0 : 2.0 * gsl_cdf_tdist_Q(fabs(paired.t), freedom);
    paired.interval = (nrw_interval){mean - half, mean + half};
    return paired;
}

nrw_mcnemar nrw_mcnemar_test(size_t b, size_t c)
{
    size_t n = b + c, fewer = b < c ? b : c;
    if (n == 0)
        return (nrw_mcnemar){0.0, 1.0, 1.0};
    double excess = fmax(0.0, fabs((double)b - (double)c) - 1.0);
    double chi2 = excess * excess / (double)n;
    double one_sided = gsl_cdf_binomial_P((unsigned)fewer, 0.5, (unsigned)n);
    return (nrw_mcnemar){chi2, gsl_cdf_chisq_Q(chi2, 1.0), fmin(1.0, 2.0 * one_sided)};
}

static size_t round_up(double trials)
{
    return trials > 0.0 && trials < 1e15 ? (size_t)ceil(trials) : 0;
}

size_t nrw_trials_for_share(double p, double half_width, double confidence)
{
    double z = two_sided_z(confidence);
    return round_up(z * z * p * (1.0 - p) / (half_width * half_width));
}

size_t nrw_trials_for_mean(double deviation, double half_width, double confidence)
{
    double ratio = two_sided_z(confidence) * deviation / half_width;
    return round_up(ratio * ratio);
}
