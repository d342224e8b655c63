#include "job.h"

#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "progress.h"

static void stamp(char *text, size_t size)
{
    time_t now = time(NULL);
    struct tm utc;
    if (now == (time_t)-1 || !gmtime_r(&now, &utc) ||
        strftime(text, size, "%Y-%m-%dT%H:%M:%SZ", &utc) == 0)
        text[0] = '\0';
}

static nrw_status read_inputs(nrw_job *job)
{
    const nrw_command_options *options = job->options;
    nrw_status status = nrw_scenario_load(options->files[0], &job->scenario, job->errors);
    if (status == NRW_OK && options->n_schedules > 0)
        status = nrw_schedule_load_text(options->schedules[0], job->scenario, &job->schedule,
                                        &job->schedule_text, &job->schedule_size, job->errors);
    return status;
}

/* Whether a folder holds a result that says it is partial. */
static bool holds_partial(const char *dir)
{
    nrw_errors ignored;
    char *text = NULL;
    size_t size = 0;
    nrw_result *result = NULL;
    nrw_errors_init(&ignored);
    bool partial = nrw_store_read(dir, "result.json", &text, &size, &ignored) == NRW_OK &&
                   nrw_result_parse(text, size, "result.json", &result, &ignored) == NRW_OK &&
                   nrw_result_get_bool(result, "figures.partial");
    nrw_result_destroy(result);
    free(text);
    nrw_errors_clear(&ignored);
    return partial;
}

static nrw_status open_store(nrw_job *job)
{
    const nrw_command_options *options = job->options;
    bool replace = options->force || (options->resume && holds_partial(options->out));
    return nrw_store_open(options->out, replace, &job->store, job->errors);
}

nrw_status nrw_job_begin(nrw_job *job, const char *command, const nrw_command_options *options,
                         nrw_errors *errors)
{
    memset(job, 0, sizeof *job);
    job->options = options;
    job->errors = errors;
    job->command = command;
    job->started_s = nrw_progress_clock_s();
    stamp(job->started, sizeof job->started);
    nrw_status status = read_inputs(job);
    if (status != NRW_OK)
        return status;
    job->result = nrw_result_create(command);
    if (!job->result)
        return nrw_errors_add(errors, NRW_NO_MEMORY, NULL, "out of memory");
    if (options->out) {
        status = open_store(job);
        if (status != NRW_OK)
            return status;
    }
    job->first_error = errors->n_items;
    return nrw_channel_create(job->scenario, &job->channel, errors);
}

static void complete_result(nrw_job *job)
{
    for (size_t i = job->first_error; i < job->errors->n_items; i++) {
        char text[2048];
        nrw_error_format(&job->errors->items[i], text, sizeof text);
        nrw_result_warn(job->result, text);
    }
    nrw_provenance provenance = {
        .version = NRW_VERSION,
        .seed = job->options->seed,
        .threads = nrw_command_threads(),
        .model = nrw_model_name(job->options->model),
        .scenario_sha256 = job->scenario->sha256,
        .started = job->started[0] ? job->started : NULL,
        .wall_s = nrw_progress_clock_s() - job->started_s,
    };
    nrw_result_provenance(job->result, &provenance);
}

static nrw_status write_report(nrw_job *job)
{
    const nrw_report_input input = {
        .scenario = job->scenario,
        .channel = job->channel,
        .schedule = &job->schedule,
        .run = job->run,
        .result = job->result,
        .schedule_text = job->schedule_text,
        .dir = nrw_store_path(job->store),
    };
    char *html = NULL;
    size_t size = 0;
    nrw_status status = nrw_report_make(&input, &html, &size, job->errors);
    if (status == NRW_OK)
        status = nrw_store_put(job->store, "report.html", html, size, job->errors);
    free(html);
    return status;
}

static nrw_status write_folder(nrw_job *job, const char *json)
{
    nrw_store *store = job->store;
    char *leftover = NULL;
    nrw_status status = nrw_store_put(store, "result.json", json, strlen(json), job->errors);
    if (status == NRW_OK)
        status = nrw_store_put(store, "scenario.yaml", job->scenario->text,
                               job->scenario->text_size, job->errors);
    nrw_scenario_companion companions[NRW_COMPANIONS_MAX];
    const size_t n = nrw_scenario_companions(job->scenario, companions);
    for (size_t i = 0; i < n && status == NRW_OK; i++)
        status = nrw_store_put(store, companions[i].name, companions[i].bytes,
                               companions[i].n_bytes, job->errors);
    if (status == NRW_OK && job->schedule_text)
        status = nrw_store_put(store, "schedule.yaml", job->schedule_text, job->schedule_size,
                               job->errors);
    if (status == NRW_OK)
        status = nrw_schedule_copy_samples(&job->schedule, store, job->errors);
    if (status == NRW_OK && job->reported)
        status = write_report(job);
    job->store = NULL;
    if (status != NRW_OK) {
        nrw_store_abandon(store, job->errors);
        return status;
    }
    status = nrw_store_commit(store, &leftover, job->errors);
    if (leftover)
        (void)fprintf(stderr, "note: the replaced folder is left at %s\n", leftover);
    free(leftover);
    return status;
}

nrw_status nrw_job_finish(nrw_job *job, nrw_status status,
                          void (*describe)(const nrw_job *job, const void *context, FILE *stream),
                          const void *context)
{
    char *json = NULL;
    complete_result(job);
    nrw_status written = nrw_result_text(job->result, &json, job->errors);
    if (written == NRW_OK && job->store)
        written = write_folder(job, json);
    if (json && job->options->json)
        (void)fputs(json, stdout);
    else if (json && !job->options->quiet)
        describe(job, context, stdout);
    free(json);
    return written == NRW_OK ? status : written;
}

void nrw_job_drop_store(nrw_job *job)
{
    nrw_store_abandon(job->store, job->errors);
    job->store = NULL;
}

void nrw_job_clear(nrw_job *job)
{
    nrw_job_drop_store(job);
    nrw_result_destroy(job->result);
    nrw_schedule_clear(&job->schedule);
    free(job->schedule_text);
    nrw_channel_destroy(job->channel);
    nrw_scenario_destroy(job->scenario);
    memset(job, 0, sizeof *job);
}

void nrw_job_describe_title(const nrw_job *job, FILE *stream)
{
    const nrw_scenario *scenario = job->scenario;
    bool bold = nrw_progress_colours(stream);
    (void)fprintf(stream, "%s%s%s (%s)\n", bold ? "\033[1m" : "",
                  scenario->title ? scenario->title : "Untitled", bold ? "\033[0m" : "",
                  scenario->path);
}

void nrw_job_describe_warnings(const nrw_job *job, FILE *stream)
{
    size_t n = nrw_result_get_size(job->result, "warnings");
    for (size_t i = 0; i < n; i++) {
        char path[40];
        (void)snprintf(path, sizeof path, "warnings.%zu", i);
        (void)fprintf(stream, "%swarning: %s\n", i == 0 ? "\n" : "",
                      nrw_result_get_string(job->result, path));
    }
}

/* --- checkpoints ---------------------------------------------------------------- */

nrw_status nrw_job_open_checkpoint(nrw_job *job, const char *extra, nrw_checkpoint **checkpoint)
{
    char seed[24], key[65], samples[65];
    *checkpoint = NULL;
    if (!job->store)
        return NRW_OK;
    (void)snprintf(seed, sizeof seed, "%llu", (unsigned long long)job->options->seed);
    nrw_schedule_samples_digest(&job->schedule, samples);
    nrw_scenario_companion companions[NRW_COMPANIONS_MAX];
    const size_t n = nrw_scenario_companions(job->scenario, companions);
    const char *const texts[] = {NRW_VERSION,
                                 job->command,
                                 job->scenario->text,
                                 n > 0 ? companions[0].sha256 : "",
                                 n > 1 ? companions[1].sha256 : "",
                                 job->schedule_text ? job->schedule_text : "",
                                 samples,
                                 seed,
                                 nrw_model_name(job->options->model),
                                 extra};
    if (nrw_checkpoint_key(sizeof texts / sizeof *texts, texts, key) != NRW_OK)
        return nrw_errors_add(job->errors, NRW_NO_MEMORY, NULL, "out of memory");
    return nrw_checkpoint_open(nrw_store_target(job->store), key, job->options->resume, checkpoint,
                               job->errors);
}

nrw_status nrw_job_save_checkpoint(nrw_job *job, const nrw_checkpoint *checkpoint)
{
    nrw_result_bool(job->result, "partial", true);
    return checkpoint && job->store ? nrw_checkpoint_save(checkpoint, job->store, job->errors)
                                    : NRW_OK;
}

void nrw_job_close_checkpoint(nrw_checkpoint *checkpoint, nrw_status finished)
{
    /* a folder that could not be written leaves the work to a later --resume */
    nrw_checkpoint_close(checkpoint, nrw_status_exit_code(finished) == 3);
}
