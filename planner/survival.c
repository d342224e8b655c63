#include "survival.h"

#include <gsl/gsl_sort.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Steps from the trials in order of time. */
static void fill_steps(nrw_survival *survival, size_t n, const double *times_s, const bool *arrived,
                       const size_t *order)
{
    double waiting = 1.0, greenwood = 0.0;
    for (size_t first = 0, next; first < n; first = next) {
        double time_s = times_s[order[first]];
        size_t n_arrived = 0, n_waiting = n - first;
        for (next = first; next < n && times_s[order[next]] == time_s; next++)
            n_arrived += arrived[order[next]];
        if (n_arrived == 0)
            continue;
        double d = (double)n_arrived, r = (double)n_waiting;
        waiting *= 1.0 - d / r;
        /* at S = 0 Greenwood's sum has no value; the error is then 0 */
        greenwood += n_arrived < n_waiting ? d / (r * (r - d)) : 0.0;
        survival->steps[survival->n_steps++] =
            (nrw_survival_step){time_s, n_waiting, n_arrived, waiting, waiting * sqrt(greenwood)};
    }
}

/* Limit of S(t) with z standard errors on the scale log(-log S): z > 0 gives the
 * lower one. That scale ends at S = 0: the lower limit is then 0, the upper one
 * unknown. */
static double waiting_limit(const nrw_survival_step *step, double z)
{
    if (step->waiting <= 0.0)
        return z > 0.0 ? 0.0 : NAN;
    double log_waiting = log(step->waiting);
    double error = step->standard_error / (step->waiting * fabs(log_waiting));
    return exp(log_waiting * exp(z * error));
}

static double first_time_at_half(const nrw_survival *survival, double z)
{
    for (size_t i = 0; i < survival->n_steps; i++)
        if (waiting_limit(&survival->steps[i], z) <= 0.5)
            return survival->steps[i].time_s;
    return NAN;
}

static void find_median(nrw_survival *survival, double confidence)
{
    double z = nrw_normal_quantile(0.5 * (1.0 + confidence));
    survival->median_s = NAN;
    for (size_t i = survival->n_steps; i-- > 0;)
        if (survival->steps[i].waiting <= 0.5 + 1e-12) /* products of shares round */
            survival->median_s = survival->steps[i].time_s;
    survival->median_limits_s =
        (nrw_interval){first_time_at_half(survival, z), first_time_at_half(survival, -z)};
}

nrw_status nrw_survival_init(nrw_survival *survival, size_t n, const double *times_s,
                             const bool *arrived, double confidence)
{
    memset(survival, 0, sizeof *survival);
    size_t *order = malloc((n + 1) * sizeof *order);
    survival->steps = calloc(n + 1, sizeof *survival->steps);
    if (!order || !survival->steps) {
        free(order);
        nrw_survival_clear(survival);
        return NRW_NO_MEMORY;
    }
    gsl_sort_index(order, times_s, 1, n);
    fill_steps(survival, n, times_s, arrived, order);
    find_median(survival, confidence);
    free(order);
    return NRW_OK;
}

void nrw_survival_clear(nrw_survival *survival)
{
    free(survival->steps);
    memset(survival, 0, sizeof *survival);
}

static const nrw_survival_step *last_step(const nrw_survival *survival, double time_s)
{
    const nrw_survival_step *last = NULL;
    for (size_t i = 0; i < survival->n_steps && survival->steps[i].time_s <= time_s; i++)
        last = &survival->steps[i];
    return last;
}

double nrw_survival_waiting(const nrw_survival *survival, double time_s)
{
    const nrw_survival_step *step = last_step(survival, time_s);
    return step ? step->waiting : 1.0;
}

double nrw_survival_standard_error(const nrw_survival *survival, double time_s)
{
    const nrw_survival_step *step = last_step(survival, time_s);
    return step ? step->standard_error : 0.0;
}
