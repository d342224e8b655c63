#include "estimate.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define CONFIDENCE 0.95

/* Values of the trials done, one array each, (n). */
typedef struct estimate_data {
    size_t n;
    const nrw_trial_record *records; /* all, done or not, borrowed */
    size_t *done;                    /* index of each that is done */
    double *delivered, *times_s, *figure, *parameters;
    bool *arrived;
} estimate_data;

static void clear_data(estimate_data *data)
{
    free(data->done);
    free(data->delivered);
    free(data->times_s);
    free(data->figure);
    free(data->parameters);
    free(data->arrived);
}

/* Once its schedule is through, nothing more happens: a trial that has not arrived
 * by then waits until the deadline. One that failed is only known until then. */
static double watched_until_s(const nrw_scenario *scenario, const nrw_trial_record *record)
{
    return record->outcome.status == NRW_OK ? fmax(scenario->deadline_s, record->outcome.time_s)
                                            : record->outcome.time_s;
}

static nrw_status collect(estimate_data *data, const nrw_scenario *scenario, size_t n,
                          const nrw_trial_record *records)
{
    memset(data, 0, sizeof *data);
    data->records = records;
    data->done = calloc(n + 1, sizeof *data->done);
    data->delivered = calloc(n + 1, sizeof *data->delivered);
    data->times_s = calloc(n + 1, sizeof *data->times_s);
    data->figure = calloc(n + 1, sizeof *data->figure);
    data->parameters = calloc(NRW_N_DRAWN * n + 1, sizeof *data->parameters);
    data->arrived = calloc(n + 1, sizeof *data->arrived);
    if (!data->done || !data->delivered || !data->times_s || !data->figure || !data->parameters ||
        !data->arrived)
        return NRW_NO_MEMORY;
    for (size_t k = 0; k < n; k++) {
        if (!nrw_trial_record_done(&records[k]))
            continue;
        const nrw_outcome *outcome = &records[k].outcome;
        data->delivered[data->n] = data->figure[data->n] = outcome->delivered;
        data->arrived[data->n] = !isnan(outcome->time_to_target_s);
        data->times_s[data->n] = data->arrived[data->n] ? outcome->time_to_target_s
                                                        : watched_until_s(scenario, &records[k]);
        data->done[data->n++] = k;
    }
    return NRW_OK;
}

/* --- figures ------------------------------------------------------------------ */

static void average(nrw_estimate *estimate, const nrw_scenario *scenario, const estimate_data *data)
{
    estimate->visible_fraction = estimate->time_s = 0.0;
    for (size_t k = 0; k < data->n; k++) {
        const nrw_trial_record *record = &data->records[data->done[k]];
        const nrw_outcome *outcome = &record->outcome;
        estimate->n_failed += outcome->status != NRW_OK;
        estimate->n_reached += outcome->delivered >= estimate->goal;
        estimate->n_arrived += data->arrived[k];
        estimate->n_held += record->held_fraction >= scenario->goal.fraction_min;
        if (!isnan(record->visible_fraction))
            estimate->visible_fraction += record->visible_fraction;
        estimate->time_s += outcome->time_s;
    }
    estimate->visible_fraction /= (double)data->n;
    estimate->time_s /= (double)data->n;
    /* whole particles over whole particles, so that delivered and lost sum to 1 */
    const nrw_loss_flow *flow = &estimate->flow;
    size_t fates[NRW_N_FATES] = {0}, causes[NRW_N_LOSS_CAUSES] = {0};
    for (size_t k = 0; k < flow->n_exits; k++) {
        fates[flow->exits[k].fate] += flow->exits[k].n;
        causes[flow->exits[k].cause] += flow->exits[k].n;
    }
    fates[NRW_FATE_DELIVERED] = flow->stages[flow->n_stages - 1].n_reached;
    for (int k = 0; k < NRW_N_FATES; k++)
        estimate->fates[k] = (double)fates[k] / (double)flow->n;
    for (int k = 0; k < NRW_N_LOSS_CAUSES; k++)
        estimate->causes[k] = (double)causes[k] / (double)flow->n;
}

static nrw_status bound(nrw_estimate *estimate, const estimate_data *data)
{
    const size_t n = data->n;
    const nrw_bootstrap_config bootstrap = nrw_bootstrap_config_defaults();
    estimate->delivered = nrw_mean(n, data->delivered);
    estimate->deviation = nrw_standard_deviation(n, data->delivered);
    estimate->reached = nrw_wilson_interval((double)estimate->n_reached, n, CONFIDENCE);
    estimate->held = nrw_wilson_interval((double)estimate->n_held, n, CONFIDENCE);
    estimate->cautious = nrw_wilson_interval(estimate->delivered * (double)n, n, CONFIDENCE);
    nrw_status status = nrw_bootstrap_mean(&bootstrap, n, data->delivered, &estimate->interval);
    if (n >= 2) {
        estimate->interval.low = fmax(0.0, estimate->interval.low);
        estimate->interval.high = fmin(1.0, estimate->interval.high);
    }
    if (status == NRW_OK)
        status = nrw_survival_init(&estimate->arrival, n, data->times_s, data->arrived, CONFIDENCE);
    /* last: sorts them */
    estimate->p10 = nrw_quantile(n, data->delivered, 0.1);
    return status;
}

static nrw_status judge_parameters(nrw_estimate *estimate, const nrw_scenario *scenario,
                                   const estimate_data *data)
{
    const nrw_uncertainty *uncertainty = &scenario->uncertainty;
    const double cvs[NRW_N_DRAWN] = {uncertainty->moment_cv, uncertainty->viscosity_cv,
                                     uncertainty->rolling_cv, uncertainty->pair_flow_cv};
    const char *names[NRW_N_DRAWN];
    for (int j = 0; j < NRW_N_DRAWN; j++) {
        if (!(cvs[j] > 0.0))
            continue;
        names[estimate->n_varied] = nrw_drawn_name(j);
        estimate->varied[estimate->n_varied++] = j;
    }
    const size_t n_varied = estimate->n_varied;
    if (n_varied == 0)
        return NRW_OK;
    for (size_t k = 0; k < data->n; k++)
        for (size_t j = 0; j < n_varied; j++)
            data->parameters[k * n_varied + j] =
                nrw_drawn_factor(&data->records[data->done[k]].trial.draw, estimate->varied[j]);
    const nrw_bootstrap_config bootstrap = nrw_bootstrap_config_defaults();
    nrw_status status =
        nrw_sensitivity_measure(&bootstrap, data->n, n_varied, data->parameters, data->figure,
                                estimate->sensitivities, &estimate->explained);
    if (status == NRW_OK)
        nrw_sensitivity_say(data->n, n_varied, names, "delivered fraction", estimate->sensitivities,
                            estimate->explained, estimate->advice, sizeof estimate->advice);
    return status;
}

static nrw_status fill(nrw_estimate *estimate, const nrw_scenario *scenario,
                       const estimate_data *data)
{
    nrw_status status = NRW_OK;
    for (size_t k = 0; status == NRW_OK && k < data->n; k++)
        status = nrw_loss_flow_add(&estimate->flow, &data->records[data->done[k]].flow);
    if (status != NRW_OK)
        return status;
    average(estimate, scenario, data);
    status = bound(estimate, data);
    return status == NRW_OK ? judge_parameters(estimate, scenario, data) : status;
}

nrw_status nrw_estimate_of(nrw_estimate *estimate, const nrw_scenario *scenario, size_t n,
                           const nrw_trial_record *records, double goal)
{
    memset(estimate, 0, sizeof *estimate);
    estimate->goal = goal;
    estimate->delivered = estimate->deviation = estimate->p10 = NAN;
    estimate->visible_fraction = estimate->time_s = estimate->explained = NAN;
    estimate->interval = estimate->cautious = (nrw_interval){NAN, NAN};
    estimate->reached = estimate->held = (nrw_interval){NAN, NAN};
    estimate->arrival.median_s = NAN;
    estimate->arrival.median_limits_s = (nrw_interval){NAN, NAN};
    estimate_data data;
    nrw_status status = collect(&data, scenario, n, records);
    estimate->n_trials = data.n;
    if (status == NRW_OK)
        status = data.n > 0 ? fill(estimate, scenario, &data) : NRW_INTERRUPTED;
    clear_data(&data);
    return status;
}

void nrw_estimate_clear(nrw_estimate *estimate)
{
    nrw_survival_clear(&estimate->arrival);
    nrw_loss_flow_clear(&estimate->flow);
    memset(estimate, 0, sizeof *estimate);
}

/* --- trials --------------------------------------------------------------------- */

nrw_estimate_config nrw_estimate_config_defaults(void)
{
    return (nrw_estimate_config){.n_trials = 40, .half_width = 0.0, .goal = NAN};
}

/* Trials of the next step after `done`. */
static size_t next_step(const nrw_estimate_config *config, size_t done)
{
    const size_t left = config->n_trials - done;
    if (!(config->half_width > 0.0))
        return left;
    const size_t step = done == 0 ? NRW_ESTIMATE_FIRST : NRW_ESTIMATE_STEP;
    return step < left ? step : left;
}

/* Progress counted over all steps. */
typedef struct stepped_progress {
    const nrw_series *outer;
    size_t done, of;
} stepped_progress;

static bool tell_step(void *context, size_t done, size_t of)
{
    (void)of;
    const stepped_progress *progress = context;
    return progress->outer->progress(progress->outer->context, progress->done + done, progress->of);
}

nrw_status nrw_estimate_run(const nrw_series *series, const nrw_schedule *schedule,
                            const nrw_estimate_config *config, nrw_trial_record *records,
                            nrw_estimate *estimate, nrw_errors *errors)
{
    const double goal = isnan(config->goal) ? series->scenario->goal.fraction_min : config->goal;
    stepped_progress progress = {series, 0, config->n_trials};
    nrw_series stepped = *series;
    if (series->progress) {
        stepped.progress = tell_step;
        stepped.context = &progress;
    }
    memset(estimate, 0, sizeof *estimate);
    nrw_status status = NRW_OK, judged = NRW_OK;
    while (status == NRW_OK && progress.done < config->n_trials) {
        const size_t n = next_step(config, progress.done);
        const nrw_series_lane lane = {"schedule", schedule, records + progress.done};
        status = nrw_series_run(&stepped, NRW_TRIALS_ESTIMATE, progress.done, n, 1, &lane, errors);
        progress.done += n;
        nrw_estimate_clear(estimate);
        judged = nrw_estimate_of(estimate, series->scenario, progress.done, records, goal);
        if (judged == NRW_NO_MEMORY)
            return nrw_errors_add(errors, judged, "", "no memory for the figures of the trials");
        const nrw_interval *interval = &estimate->interval;
        if (0.5 * (interval->high - interval->low) <= config->half_width)
            break;
    }
    if (status == NRW_OK && estimate->n_failed == estimate->n_trials)
        status = nrw_errors_add(errors, NRW_DIVERGED, "", "every trial failed; the first: %s",
                                records[0].failure);
    return status;
}
