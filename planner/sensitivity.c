#include "sensitivity.h"

#include <gsl/gsl_linalg.h>
#include <gsl/gsl_matrix.h>
#include <gsl/gsl_sort.h>
#include <gsl/gsl_statistics_double.h>
#include <gsl/gsl_vector.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { P = NRW_MOST_PARAMETERS, FEWEST_TRIALS = 8 };

/* Directions with less than this share of the largest singular value are left
 * out of the regression: parameters that move together can't be told apart. */
#define SMALLEST_SINGULAR 1e-9

typedef struct point {
    double rank_coefficients[P], first_order[P], explained;
} point;

/* Trials by columns, and scratch; everything is one block. */
typedef struct table {
    size_t n, n_parameters;
    double *columns; /* (n_parameters + 1, each n): parameters, then the figure */
    double *ranks;   /* the same shape */
    size_t *order;   /* (n) */
} table;

/* Ranks of the values with ties at their mean, less the mean rank, scaled to
 * unit length; all 0 when the values are equal. */
static void standard_ranks(size_t n, const double *values, size_t *order, double *ranks)
{
    gsl_sort_index(order, values, 1, n);
    for (size_t first = 0, next; first < n; first = next) {
        for (next = first + 1; next < n && values[order[next]] == values[order[first]];)
            next++;
        for (size_t k = first; k < next; k++)
            ranks[order[k]] = 0.5 * ((double)(first + next) - (double)n);
    }
    double squares = 0.0;
    for (size_t i = 0; i < n; i++)
        squares += ranks[i] * ranks[i];
    for (size_t i = 0; squares > 0.0 && i < n; i++)
        ranks[i] /= sqrt(squares);
}

static double dot(size_t n, const double *a, const double *b)
{
    double sum = 0.0;
    for (size_t i = 0; i < n; i++)
        sum += a[i] * b[i];
    return sum;
}

/* Least squares solution of the p x p correlation matrix by singular values. */
static void solve(size_t p, double *matrix, const double *right, double *solution)
{
    double q[P * P], s[P];
    gsl_matrix_view u_view = gsl_matrix_view_array(matrix, p, p);
    gsl_matrix_view q_view = gsl_matrix_view_array(q, p, p);
    gsl_vector_view s_view = gsl_vector_view_array(s, p);
    gsl_linalg_SV_decomp_jacobi(&u_view.matrix, &q_view.matrix, &s_view.vector);
    for (size_t i = 0; i < p; i++)
        solution[i] = 0.0;
    for (size_t k = 0; k < p && s[k] > SMALLEST_SINGULAR * s[0]; k++) {
        double along = 0.0;
        for (size_t i = 0; i < p; i++)
            along += matrix[i * p + k] * right[i];
        for (size_t i = 0; i < p; i++)
            solution[i] += q[i * p + k] * along / s[k];
    }
}

static void rank_regression(table *t, point *result)
{
    size_t n = t->n, used[P], p = 0;
    double matrix[P * P], right[P], solution[P];
    const double *figure = t->ranks + t->n_parameters * n;
    for (size_t j = 0; j <= t->n_parameters; j++)
        standard_ranks(n, t->columns + j * n, t->order, t->ranks + j * n);
    bool varies = dot(n, figure, figure) > 0.0;
    for (size_t j = 0; j < t->n_parameters; j++) {
        const double *ranks = t->ranks + j * n;
        result->rank_coefficients[j] = NAN;
        if (varies && dot(n, ranks, ranks) > 0.0)
            used[p++] = j;
    }
    for (size_t a = 0; a < p; a++) {
        right[a] = dot(n, t->ranks + used[a] * n, figure);
        for (size_t b = 0; b < p; b++)
            matrix[a * p + b] = dot(n, t->ranks + used[a] * n, t->ranks + used[b] * n);
    }
    result->explained = varies ? 0.0 : NAN;
    if (p == 0)
        return;
    solve(p, matrix, right, solution);
    for (size_t a = 0; a < p; a++)
        result->rank_coefficients[used[a]] = solution[a];
    result->explained = dot(p, solution, right);
}

/* Slices of about 1.3 sqrt(n) trials: wide enough for a mean, narrow enough to
 * follow a bend. */
static size_t slices(size_t n)
{
    size_t m = (size_t)(0.75 * sqrt((double)n) + 0.5);
    return m < 2 ? 2 : m > 50 ? 50 : m;
}

/* Variance between the means of slices along the parameter, as a share of all
 * variance, less what chance alone would give (as in the adjusted R²). */
static double first_order(size_t n, const double *parameter, const double *figure, size_t *order)
{
    double mean = gsl_stats_mean(figure, 1, n), all = 0.0, between = 0.0;
    for (size_t i = 0; i < n; i++)
        all += (figure[i] - mean) * (figure[i] - mean);
    if (!(all > 0.0) || gsl_stats_max(parameter, 1, n) == gsl_stats_min(parameter, 1, n))
        return NAN;
    size_t m = slices(n);
    gsl_sort_index(order, parameter, 1, n);
    for (size_t s = 0; s < m; s++) {
        size_t begin = s * n / m, end = (s + 1) * n / m;
        double sum = 0.0;
        for (size_t k = begin; k < end; k++)
            sum += figure[order[k]] - mean;
        between += sum * sum / (double)(end - begin);
    }
    return 1.0 - (1.0 - between / all) * (double)(n - 1) / (double)(n - m);
}

static void measure(table *t, point *result)
{
    rank_regression(t, result);
    const double *figure = t->columns + t->n_parameters * t->n;
    for (size_t j = 0; j < t->n_parameters; j++)
        result->first_order[j] = first_order(t->n, t->columns + j * t->n, figure, t->order);
}

static void resample(table *t, const nrw_bootstrap_config *config, uint32_t b,
                     const double *parameters, const double *figure)
{
    for (size_t i = 0; i < t->n; i++) {
        size_t k = nrw_bootstrap_pick(config, t->n, b, (uint32_t)i);
        for (size_t j = 0; j < t->n_parameters; j++)
            t->columns[j * t->n + i] = parameters[k * t->n_parameters + j];
        t->columns[t->n_parameters * t->n + i] = figure[k];
    }
}

/* Percentiles of those replicates that are numbers (a resample may leave a
 * parameter without variation); with `centre` moved so that their mean is the
 * estimate. Sorts the replicates. */
static nrw_interval percentiles(double confidence, size_t n, double *replicates, double estimate,
                                bool centre)
{
    size_t n_numbers = 0;
    for (size_t b = 0; b < n; b++)
        if (!isnan(replicates[b]))
            replicates[n_numbers++] = replicates[b];
    if (n_numbers == 0 || isnan(estimate))
        return (nrw_interval){NAN, NAN};
    double shift = centre ? estimate - nrw_mean(n_numbers, replicates) : 0.0;
    double tail = 0.5 * (1.0 - confidence);
    return (nrw_interval){nrw_quantile(n_numbers, replicates, tail) + shift,
                          nrw_quantile(n_numbers, replicates, 1.0 - tail) + shift};
}

static double share(double value)
{
    return isnan(value) ? NAN : fmax(0.0, fmin(1.0, value));
}

static void finish(const nrw_bootstrap_config *config, size_t n_parameters, const point *estimate,
                   size_t n_resamples, double *replicates, nrw_sensitivity *results)
{
    for (size_t j = 0; j < n_parameters; j++) {
        double *ranks = replicates + 2 * j * n_resamples, *orders = ranks + n_resamples;
        results[j].rank_coefficient = estimate->rank_coefficients[j];
        results[j].rank_interval =
            percentiles(config->confidence, n_resamples, ranks, results[j].rank_coefficient, false);
        nrw_interval around =
            percentiles(config->confidence, n_resamples, orders, estimate->first_order[j], true);
        results[j].first_order = share(estimate->first_order[j]);
        results[j].first_order_interval = (nrw_interval){share(around.low), share(around.high)};
    }
}

static void measure_all(table *t, const nrw_bootstrap_config *config, const double *parameters,
                        const double *figure, double *replicates, nrw_sensitivity *results,
                        double *explained)
{
    size_t n_resamples = config->n_resamples;
    point estimate, replicate;
    for (size_t i = 0; i < t->n; i++) {
        for (size_t j = 0; j < t->n_parameters; j++)
            t->columns[j * t->n + i] = parameters[i * t->n_parameters + j];
        t->columns[t->n_parameters * t->n + i] = figure[i];
    }
    measure(t, &estimate);
    for (size_t b = 0; b < n_resamples; b++) {
        resample(t, config, (uint32_t)b, parameters, figure);
        measure(t, &replicate);
        for (size_t j = 0; j < t->n_parameters; j++) {
            replicates[2 * j * n_resamples + b] = replicate.rank_coefficients[j];
            replicates[(2 * j + 1) * n_resamples + b] = replicate.first_order[j];
        }
    }
    finish(config, t->n_parameters, &estimate, n_resamples, replicates, results);
    *explained = estimate.explained;
}

nrw_status nrw_sensitivity_measure(const nrw_bootstrap_config *config, size_t n,
                                   size_t n_parameters, const double *parameters,
                                   const double *figure, nrw_sensitivity *results,
                                   double *explained)
{
    const nrw_interval unknown = {NAN, NAN};
    *explained = NAN;
    for (size_t j = 0; j < n_parameters; j++)
        results[j] = (nrw_sensitivity){NAN, unknown, NAN, unknown};
    if (n < n_parameters + 3 || n < FEWEST_TRIALS || n_parameters > P)
        return NRW_OK;
    size_t n_table = 2 * n * (n_parameters + 1);
    double *block = malloc((n_table + 2 * n_parameters * config->n_resamples) * sizeof *block);
    size_t *order = malloc(n * sizeof *order);
    nrw_status status = block && order ? NRW_OK : NRW_NO_MEMORY;
    if (status == NRW_OK) {
        table t = {n, n_parameters, block, block + n * (n_parameters + 1), order};
        measure_all(&t, config, parameters, figure, block + n_table, results, explained);
    }
    free(block);
    free(order);
    return status;
}

static bool stands_out(const nrw_sensitivity *result)
{
    return result->rank_interval.low > 0.0 || result->rank_interval.high < 0.0;
}

static void append(char *text, size_t size, const char *more)
{
    size_t used = strlen(text);
    if (used + 1 < size)
        (void)snprintf(text + used, size - used, "%s", more);
}

static void say_one(const char *name, const char *figure, const nrw_sensitivity *result, bool first,
                    char *text, size_t size)
{
    char sentence[400];
    (void)snprintf(sentence, sizeof sentence,
                   "%s the %s%s (a higher value %s the %s; rank coefficient %.2f, interval %.2f "
                   "to %.2f).",
                   first ? "Measure" : " Then", name, first ? " first" : "",
                   result->rank_coefficient > 0.0 ? "raises" : "lowers", figure,
                   result->rank_coefficient, result->rank_interval.low, result->rank_interval.high);
    append(text, size, sentence);
}

void nrw_sensitivity_say(size_t n_trials, size_t n_parameters, const char *const *names,
                         const char *figure, const nrw_sensitivity *results, double explained,
                         char *text, size_t size)
{
    bool said[P] = {false}, any = false;
    char sentence[400];
    if (size > 0)
        text[0] = '\0';
    for (;;) {
        size_t best = n_parameters;
        for (size_t j = 0; j < n_parameters; j++)
            if (!said[j] && stands_out(&results[j]) &&
                (best == n_parameters ||
                 fabs(results[j].rank_coefficient) > fabs(results[best].rank_coefficient)))
                best = j;
        if (best == n_parameters)
            break;
        say_one(names[best], figure, &results[best], !any, text, size);
        said[best] = any = true;
    }
    if (!any) {
        (void)snprintf(sentence, sizeof sentence,
                       "No uncertain parameter stands out in %zu trials: the differences in %s are "
                       "mostly chance, or more trials are needed.",
                       n_trials, figure);
        append(text, size, sentence);
    } else if (explained < 0.5) {
        (void)snprintf(sentence, sizeof sentence,
                       " Together the parameters explain %.0f %% of the differences in rank "
                       "between trials; the rest is chance or follows no simple trend.",
                       100.0 * fmax(0.0, explained));
        append(text, size, sentence);
    }
}
