/* narrows estimate: what a schedule delivers over repeated uncertain trials. */
#include <math.h>
#include <string.h>

#include "interrupt.h"
#include "job.h"
#include "progress.h"

typedef struct estimate_work {
    nrw_progress_line line;
    nrw_checkpoint *checkpoint;
    nrw_estimate_config config;
    nrw_trial_record *records; /* (config.n_trials) */
    nrw_estimate estimate;
    nrw_validity_list validity;
    nrw_status status;
} estimate_work;

static bool show(void *context, size_t done, size_t of)
{
    estimate_work *work = context;
    nrw_progress_line_update(&work->line, (double)done, (double)of);
    return nrw_interrupt_requested();
}

static void configure(const nrw_job *job, estimate_work *work)
{
    const nrw_command_options *options = job->options;
    work->config = nrw_estimate_config_defaults();
    if (options->trials > 0)
        work->config.n_trials = (size_t)options->trials;
    if (options->given & NRW_OPTION_HALF_WIDTH)
        work->config.half_width = options->half_width;
    if (options->given & NRW_OPTION_GOAL)
        work->config.goal = options->goal;
}

static nrw_status simulate(nrw_job *job, estimate_work *work)
{
    nrw_status status = nrw_rig_check_schedule(job->scenario, &job->schedule, job->errors);
    if (status != NRW_OK)
        return status;
    work->records = nrw_trial_records_create(work->config.n_trials);
    if (!work->records)
        return nrw_errors_add(job->errors, NRW_NO_MEMORY, NULL, "out of memory");
    /* trials don't depend on how many there are, nor on what is asked of them */
    status = nrw_job_open_checkpoint(job, "", &work->checkpoint);
    if (status != NRW_OK)
        return status;
    const nrw_series series = {
        .scenario = job->scenario,
        .channel = job->channel,
        .seed = job->options->seed,
        .model = job->options->model,
        .checkpoint = work->checkpoint,
        .progress = show,
        .context = work,
        .interrupted = nrw_interrupt_requested,
    };
    work->line = nrw_progress_line_begin("estimate", "trials", job->options->quiet);
    status = nrw_estimate_run(&series, &job->schedule, &work->config, work->records,
                              &work->estimate, job->errors);
    nrw_progress_line_end(&work->line);
    if (status == NRW_INTERRUPTED)
        nrw_errors_add(job->errors, status,
                       job->store ? "what was done is saved; --resume goes on"
                                  : "with --out, what was done would be saved",
                       "interrupted after %zu of %zu trials", work->estimate.n_trials,
                       work->config.n_trials);
    return status;
}

static void warn(nrw_job *job, const estimate_work *work)
{
    char text[512];
    for (size_t k = 0; work->records && k < work->config.n_trials; k++) {
        const nrw_trial_record *record = &work->records[k];
        if (record->outcome.status != NRW_DIVERGED)
            continue;
        (void)snprintf(text, sizeof text, "trial %zu failed and counts as nothing delivered: %s",
                       record->trial.index, record->failure);
        nrw_result_warn(job->result, text);
    }
    for (size_t k = 0;
         work->records && nrw_trial_record_warning(work->records, k, text, sizeof text); k++)
        nrw_result_warn(job->result, text);
    if (work->estimate.n_trials > 0 && work->estimate.n_trials < NRW_ESTIMATE_FIRST)
        nrw_result_warn(job->result,
                        "fewer than 16 trials: a failure that happens now and then may "
                        "not have shown, and the interval can't tell of it");
}

static nrw_status record(nrw_job *job, estimate_work *work)
{
    if (work->estimate.n_trials == 0)
        (void)nrw_estimate_of(&work->estimate, job->scenario, 0, NULL, NAN);
    nrw_estimate_figures(job->result, job->scenario, &work->estimate);
    warn(job, work);
    nrw_validity_list_add(&work->validity, job->scenario, job->channel, &job->schedule, NULL,
                          job->options->model, NULL, NULL);
    nrw_validity_figures(job->result, &work->validity);
    nrw_status written = NRW_OK;
    if (work->status == NRW_INTERRUPTED)
        written = nrw_job_save_checkpoint(job, work->checkpoint);
    if (written == NRW_OK && job->store && work->records)
        written = nrw_trial_records_csv(job->store, 1, NULL, work->config.n_trials, work->records,
                                        job->errors);
    if (written == NRW_OK)
        return work->status;
    nrw_job_drop_store(job);
    return written;
}

static void describe(const nrw_job *job, const void *context, FILE *stream)
{
    const estimate_work *work = context;
    nrw_job_describe_title(job, stream);
    (void)fprintf(stream, "\n");
    if (work->status == NRW_INTERRUPTED)
        (void)fprintf(stream, "Interrupted: the figures are those of the trials done.\n");
    nrw_estimate_describe(job->scenario, &work->estimate, stream);
    nrw_validity_describe(&work->validity, stream);
    nrw_job_describe_warnings(job, stream);
    if (job->options->out)
        (void)fprintf(stream, "\nResults are in %s.\n", job->options->out);
    (void)fprintf(stream, "\nPredicted by a model; not a medical device.\n");
}

static nrw_status run(const nrw_command_options *options, nrw_errors *errors)
{
    nrw_job job;
    estimate_work work;
    memset(&work, 0, sizeof work);
    work.status = nrw_job_begin(&job, "estimate", options, errors);
    nrw_status status = work.status;
    if (status == NRW_OK || status == NRW_REFUSED) {
        configure(&job, &work);
        if (status == NRW_OK)
            work.status = simulate(&job, &work);
        status = work.status;
        if (status != NRW_BAD_USAGE) {
            status = record(&job, &work);
            job.reported = true;
            status = nrw_job_finish(&job, status, describe, &work);
        }
    }
    nrw_job_close_checkpoint(work.checkpoint, status);
    nrw_estimate_clear(&work.estimate);
    nrw_validity_list_clear(&work.validity);
    nrw_trial_records_destroy(work.config.n_trials, work.records);
    nrw_job_clear(&job);
    return status;
}

const nrw_command nrw_command_estimate = {
    .name = "estimate",
    .summary = "delivered fraction of a schedule over repeated uncertain trials",
    .arguments = "SCENARIO --schedule FILE [--trials N] [--out DIR] [--json]",
    .examples =
        "  narrows estimate scenario.yaml --schedule schedule.yaml --out estimate\n"
        "  narrows estimate scenario.yaml --schedule schedule.yaml --trials 100 --goal 0.8\n"
        "  narrows estimate scenario.yaml --schedule schedule.yaml --trials 400 --half-width "
        "0.05\n",
    .details =
        "Each trial has its own seed and its own draw of what the scenario calls uncertain;\n"
        "intervals are over trials, 95 %. --goal asks for the probability that at least that\n"
        "fraction arrives (default: the scenario's goal). --half-width stops early: judged\n"
        "after 16 trials and then after every 8. Trials are kept as they end: --resume goes\n"
        "on with an interrupted folder and gives the same files as if nothing had happened.\n"
        "'narrows run --trial K' redoes one trial.\n",
    .options = NRW_OPTION_SCHEDULE | NRW_OPTION_OUT | NRW_OPTION_SEED | NRW_OPTION_MODEL |
               NRW_OPTION_TRIALS | NRW_OPTION_GOAL | NRW_OPTION_HALF_WIDTH | NRW_OPTION_FORCE |
               NRW_OPTION_RESUME,
    .files_min = 1,
    .files_max = 1,
    .schedules_min = 1,
    .schedules_max = 1,
    .run = run,
};
