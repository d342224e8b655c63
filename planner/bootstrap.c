#include "bootstrap.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_sort.h>
#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "random.h"

nrw_bootstrap_config nrw_bootstrap_config_defaults(void)
{
    return (nrw_bootstrap_config){NRW_BOOTSTRAP_BCA_SMALL, 4000, 0.95, 20};
}

size_t nrw_bootstrap_resamples(const nrw_bootstrap_config *config, size_t n)
{
    size_t all = 1;
    for (size_t i = 0; i < n; i++) {
        all *= n;
        if (all > config->n_resamples)
            return config->n_resamples;
    }
    return all;
}

static size_t digit(uint32_t number, size_t base, uint32_t position)
{
    size_t rest = number;
    while (position-- > 0)
        rest /= base;
    return rest % base;
}

/* n^n of the largest n that is enumerated fits in 32 bits, since n_resamples
 * does. */
static size_t pick(const nrw_bootstrap_config *config, bool enumerate, size_t n, uint32_t resample,
                   uint32_t position)
{
    if (enumerate)
        return digit(resample, n, position);
    double u = nrw_uniform(config->seed, NRW_STREAM_RESAMPLE, position, resample);
    return (size_t)(u * (double)n);
}

static bool enumerates(const nrw_bootstrap_config *config, size_t n)
{
    double all = pow((double)n, (double)n);
    return all <= (double)config->n_resamples;
}

size_t nrw_bootstrap_pick(const nrw_bootstrap_config *config, size_t n, uint32_t resample,
                          uint32_t position)
{
    return pick(config, enumerates(config, n), n, resample, position);
}

nrw_status nrw_bootstrap_replicates(const nrw_bootstrap_config *config, size_t n,
                                    const double *values, nrw_figure figure, void *context,
                                    double *replicates)
{
    double *sample = malloc((n + 1) * sizeof *sample);
    if (!sample)
        return NRW_NO_MEMORY;
    bool enumerate = enumerates(config, n);
    size_t n_resamples = nrw_bootstrap_resamples(config, n);
    for (size_t b = 0; b < n_resamples; b++) {
        for (size_t i = 0; i < n; i++)
            sample[i] = values[pick(config, enumerate, n, (uint32_t)b, (uint32_t)i)];
        replicates[b] = figure(n, sample, context);
    }
    free(sample);
    return NRW_OK;
}

/* Normal score of the share of replicates below the figure, ties counted half;
 * kept finite where all lie on one side. */
static double bias_score(size_t n_resamples, const double *replicates, double value)
{
    double below = 0.0, most = (double)n_resamples;
    for (size_t b = 0; b < n_resamples; b++)
        below += replicates[b] < value ? 1.0 : replicates[b] == value ? 0.5 : 0.0;
    below = fmax(0.5, fmin(most - 0.5, below));
    return nrw_normal_quantile(below / most);
}

/* Efron's acceleration from leaving out one value at a time (Efron 1987). */
static double acceleration(size_t n, const double *values, nrw_figure figure, void *context,
                           double *sample, double *left_out)
{
    for (size_t i = 0; i < n; i++) {
        memcpy(sample, values, i * sizeof *sample);
        memcpy(sample + i, values + i + 1, (n - 1 - i) * sizeof *sample);
        left_out[i] = figure(n - 1, sample, context);
    }
    double mean = nrw_mean(n, left_out), squares = 0.0, cubes = 0.0;
    for (size_t i = 0; i < n; i++) {
        double difference = mean - left_out[i];
        squares += difference * difference;
        cubes += difference * difference * difference;
    }
    return squares > 0.0 ? cubes / (6.0 * pow(squares, 1.5)) : 0.0;
}

/* Level of the replicates' quantile that stands for normal score z. */
static double corrected_level(double bias, double speed, double z)
{
    double score = bias + z, scale = 1.0 - speed * score;
    if (scale <= 0.0)
        return z < 0.0 ? 0.0 : 1.0;
    return gsl_cdf_ugaussian_P(bias + score / scale);
}

static double half_width_score(const nrw_bootstrap_config *config, size_t n)
{
    double p = 0.5 * (1.0 + config->confidence), count = (double)n;
    if (config->kind != NRW_BOOTSTRAP_BCA_SMALL)
        return nrw_normal_quantile(p);
    return sqrt(count / (count - 1.0)) * nrw_t_quantile(p, count - 1.0);
}

static nrw_interval from_replicates(const nrw_bootstrap_config *config, size_t n,
                                    size_t n_resamples, double *replicates, double bias,
                                    double speed)
{
    double z = half_width_score(config, n);
    double low = corrected_level(bias, speed, -z), high = corrected_level(bias, speed, z);
    gsl_sort(replicates, 1, n_resamples);
    return (nrw_interval){gsl_stats_quantile_from_sorted_data(replicates, 1, n_resamples, low),
                          gsl_stats_quantile_from_sorted_data(replicates, 1, n_resamples, high)};
}

static bool all_numbers(size_t n, const double *values)
{
    for (size_t i = 0; i < n; i++)
        if (isnan(values[i]))
            return false;
    return true;
}

nrw_status nrw_bootstrap_interval(const nrw_bootstrap_config *config, size_t n,
                                  const double *values, nrw_figure figure, void *context,
                                  nrw_interval *interval)
{
    *interval = (nrw_interval){NAN, NAN};
    if (n < 2 || !(config->confidence > 0.0 && config->confidence < 1.0))
        return NRW_OK;
    size_t n_resamples = nrw_bootstrap_resamples(config, n);
    double *replicates = malloc((n_resamples + 2 * n) * sizeof *replicates);
    if (!replicates)
        return NRW_NO_MEMORY;
    double *sample = replicates + n_resamples, *left_out = sample + n;
    nrw_status status = nrw_bootstrap_replicates(config, n, values, figure, context, replicates);
    if (status == NRW_OK && all_numbers(n_resamples, replicates)) {
        double bias = 0.0, speed = 0.0;
        if (config->kind != NRW_BOOTSTRAP_PERCENTILE) {
            memcpy(sample, values, n * sizeof *sample);
            bias = bias_score(n_resamples, replicates, figure(n, sample, context));
            speed = acceleration(n, values, figure, context, sample, left_out);
        }
        *interval = from_replicates(config, n, n_resamples, replicates, bias, speed);
    }
    free(replicates);
    return status;
}

static double mean_figure(size_t n, double *sample, void *context)
{
    (void)context;
    return nrw_mean(n, sample);
}

nrw_status nrw_bootstrap_mean(const nrw_bootstrap_config *config, size_t n, const double *values,
                              nrw_interval *interval)
{
    return nrw_bootstrap_interval(config, n, values, mean_figure, NULL, interval);
}

nrw_status nrw_bootstrap_fraction(const nrw_bootstrap_config *config, size_t n,
                                  const double *values, nrw_interval *interval)
{
    nrw_status status = nrw_bootstrap_mean(config, n, values, interval);
    if (status != NRW_OK || n == 0)
        return status;
    double sum = 0.0;
    for (size_t i = 0; i < n; i++)
        sum += values[i];
    const double more = (double)n + 1.0;
    /* a single trial has no bootstrap interval: what one more may do is all there is */
    interval->low = fmin(isnan(interval->low) ? 1.0 : interval->low, sum / more);
    interval->high = fmax(isnan(interval->high) ? 0.0 : interval->high, (sum + 1.0) / more);
    interval->low = fmax(0.0, interval->low);
    interval->high = fmin(1.0, interval->high);
    return NRW_OK;
}
