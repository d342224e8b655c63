/* narrows sweep: which state, speed and cohesion each setting of the drive gives. */
#include <string.h>

#include "interrupt.h"
#include "job.h"
#include "progress.h"

typedef struct sweep_command {
    nrw_progress_line line;
    nrw_checkpoint *checkpoint;
    nrw_sweep_map map;
    nrw_status status;
} sweep_command;

static bool show(void *context, size_t done, size_t of)
{
    sweep_command *work = context;
    nrw_progress_line_update(&work->line, (double)done, (double)of);
    return nrw_interrupt_requested();
}

static nrw_status simulate(nrw_job *job, sweep_command *work)
{
    nrw_sweep_config config = nrw_sweep_config_defaults();
    config.seed = job->options->seed;
    config.model = job->options->model;
    config.both_ways = (job->options->given & NRW_OPTION_BOTH_WAYS) != 0;
    config.progress = show;
    config.context = work;
    config.interrupted = nrw_interrupt_requested;
    nrw_status status =
        nrw_job_open_checkpoint(job, config.both_ways ? "both ways" : "", &work->checkpoint);
    if (status != NRW_OK)
        return status;
    config.checkpoint = work->checkpoint;
    work->line = nrw_progress_line_begin("sweep", "runs", job->options->quiet);
    status = nrw_sweep_run(job->scenario, &config, &work->map, job->errors);
    nrw_progress_line_end(&work->line);
    if (status == NRW_INTERRUPTED)
        nrw_errors_add(job->errors, status,
                       job->store ? "what was done is saved; --resume goes on"
                                  : "with --out, what was done would be saved",
                       "interrupted");
    return status;
}

static void warn(nrw_job *job, const nrw_sweep_map *map)
{
    char text[512];
    if (map->n_beyond_rig > 0) {
        (void)snprintf(text, sizeof text, "%zu of %zu points are beyond the rig and were not run",
                       map->n_beyond_rig, map->n_rows);
        nrw_result_warn(job->result, text);
    }
    if (map->n_failed > 0) {
        (void)snprintf(text, sizeof text,
                       "%zu repeats ended in a numerical failure and are left out; the first: %s",
                       map->n_failed, map->failure);
        nrw_result_warn(job->result, text);
    }
    if (map->n_not_gathered > 0) {
        (void)snprintf(text, sizeof text,
                       "%zu repeats had not gathered within 60 s when their drive began",
                       map->n_not_gathered);
        nrw_result_warn(job->result, text);
    }
}

static nrw_status record(nrw_job *job, sweep_command *work)
{
    nrw_sweep_figures(job->result, &work->map);
    warn(job, &work->map);
    nrw_status written = NRW_OK;
    if (work->status == NRW_INTERRUPTED)
        written = nrw_job_save_checkpoint(job, work->checkpoint);
    if (written == NRW_OK && job->store && work->map.n_rows > 0)
        written = nrw_sweep_csv(job->store, &work->map, job->errors);
    if (written == NRW_OK)
        return work->status;
    nrw_job_drop_store(job);
    return written;
}

static void describe(const nrw_job *job, const void *context, FILE *stream)
{
    const sweep_command *work = context;
    nrw_job_describe_title(job, stream);
    (void)fprintf(stream, "\n");
    if (work->status == NRW_INTERRUPTED)
        (void)fprintf(stream, "Interrupted: the map holds what was done.\n");
    nrw_sweep_describe(&work->map, stream);
    nrw_job_describe_warnings(job, stream);
    if (job->options->out)
        (void)fprintf(stream, "\nResults are in %s.\n", job->options->out);
    (void)fprintf(stream, "\nPredicted by a model; not a medical device.\n");
}

static nrw_status run(const nrw_command_options *options, nrw_errors *errors)
{
    nrw_job job;
    sweep_command work;
    memset(&work, 0, sizeof work);
    work.status = nrw_job_begin(&job, "sweep", options, errors);
    nrw_status status = work.status;
    if (status == NRW_OK && !job.scenario->sweep.present)
        status = work.status =
            nrw_errors_add_at(errors, NRW_BAD_INPUT, options->files[0], 0, 0, "sweep",
                              "a drive, and the keys of it to vary", "is missing");
    if (status == NRW_OK || status == NRW_REFUSED) {
        if (status == NRW_OK)
            work.status = simulate(&job, &work);
        status = work.status;
        if (nrw_status_exit_code(status) != 2) {
            status = record(&job, &work);
            job.reported = true;
            status = nrw_job_finish(&job, status, describe, &work);
        }
    }
    nrw_job_close_checkpoint(work.checkpoint, status);
    nrw_sweep_map_clear(&work.map);
    nrw_job_clear(&job);
    return status;
}

const nrw_command nrw_command_sweep = {
    .name = "sweep",
    .summary = "state map: which morphology, speed and cohesion each drive setting gives",
    .arguments = "SCENARIO [--both-ways] [--out DIR] [--seed N] [--json]",
    .examples = "  narrows sweep scenario.yaml --out map\n"
                "  narrows sweep scenario.yaml --both-ways --out hysteresis\n",
    .details =
        "The scenario's sweep block says what varies. Each point of the grid runs on an\n"
        "open floor, with the scenario's particles and fluid but without walls: gathered\n"
        "first, then under its drive for the block's seconds, watched in the second half.\n"
        "Repeats differ by their seeds. --both-ways takes the last key up through its values\n"
        "and down again in one run, each setting beginning with what the one before it left.\n"
        "--resume goes on with an interrupted folder.\n",
    .options = NRW_OPTION_BOTH_WAYS | NRW_OPTION_OUT | NRW_OPTION_SEED | NRW_OPTION_MODEL |
               NRW_OPTION_FORCE | NRW_OPTION_RESUME,
    .files_min = 1,
    .files_max = 1,
    .run = run,
};
