/* narrows export: a schedule as field and coil currents, with limit checks. */
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "interrupt.h"
#include "job.h"
#include "progress.h"

typedef struct export_work {
    nrw_progress_line line;
    nrw_limits limits;
    nrw_export export;
    nrw_status status;
} export_work;

/* A results folder given instead of a scenario: the files in it, and its seed. */
typedef struct folder_input {
    nrw_command_options options; /* those that the job sees */
    char *scenario, *schedule;   /* owned */
    const char *files[1], *schedules[1];
} folder_input;

static bool watch(void *context, double done, double of)
{
    nrw_progress_line_update(context, done, of);
    return nrw_interrupt_requested();
}

/* --- a results folder as input ------------------------------------------------------ */

static char *path_in(const char *dir, const char *name)
{
    const size_t size = strlen(dir) + strlen(name) + 2;
    char *path = malloc(size);
    if (path)
        (void)snprintf(path, size, "%s/%s", dir, name);
    return path;
}

static void take_seed(const char *dir, nrw_command_options *options)
{
    nrw_errors ignored;
    char *text = NULL;
    size_t size = 0;
    nrw_result *result = NULL;
    nrw_errors_init(&ignored);
    if (!(options->given & NRW_OPTION_SEED) &&
        nrw_store_read(dir, "result.json", &text, &size, &ignored) == NRW_OK &&
        nrw_result_parse(text, size, "result.json", &result, &ignored) == NRW_OK) {
        const double seed = nrw_result_get_number(result, "provenance.seed");
        if (seed >= 0.0 && seed < 9007199254740992.0) /* 2^53 */
            options->seed = (uint64_t)seed;
    }
    nrw_result_destroy(result);
    free(text);
    nrw_errors_clear(&ignored);
}

static nrw_status resolve_input(const nrw_command_options *options, folder_input *input,
                                nrw_errors *errors)
{
    struct stat info;
    const char *given = options->files[0];
    memset(input, 0, sizeof *input);
    input->options = *options;
    if (stat(given, &info) != 0 || !S_ISDIR(info.st_mode)) {
        if (options->n_schedules == 0)
            return nrw_errors_add(errors, NRW_BAD_USAGE, "SCENARIO --schedule FILE, or a folder",
                                  "export: --schedule is missing");
        return NRW_OK;
    }
    if (options->n_schedules > 0)
        return nrw_errors_add(errors, NRW_BAD_USAGE, "a results folder alone",
                              "export: --schedule beside a results folder");
    input->scenario = path_in(given, "scenario.yaml");
    input->schedule = path_in(given, "schedule.yaml");
    if (!input->scenario || !input->schedule)
        return nrw_errors_add(errors, NRW_NO_MEMORY, NULL, "out of memory");
    input->files[0] = input->scenario;
    input->schedules[0] = input->schedule;
    input->options.files = input->files;
    input->options.schedules = input->schedules;
    input->options.n_schedules = 1;
    take_seed(given, &input->options);
    return NRW_OK;
}

static void clear_input(folder_input *input)
{
    free(input->scenario);
    free(input->schedule);
}

/* --- figures ---------------------------------------------------------------------------- */

static void add_by_coil(nrw_result *result, const char *key, const nrw_export *export,
                        const double *values)
{
    static const char *const axes[] = {"x", "y", "z"};
    const nrw_rig_model *model = &export->model;
    nrw_result_open_object(result, key);
    if (export->config.scenario->rig.n_coils == 0)
        for (int i = 0; i < 3; i++)
            nrw_result_null(result, axes[i]);
    for (int k = 0; k < model->n_coils; k++)
        nrw_result_number(result, model->names[k], export->wave ? values[k] : (double)NAN);
    nrw_result_close(result);
}

static void add_limits(nrw_result *result, const nrw_export *export)
{
    nrw_result_open_array(result, "limits");
    for (size_t i = 0; i < export->n_checks; i++) {
        const nrw_limit_check *check = &export->checks[i];
        nrw_result_open_object(result, NULL);
        nrw_result_string(result, "limit", check->limit);
        nrw_result_number(result, "value", check->value);
        nrw_result_number(result, "allowed", check->allowed);
        nrw_result_bool(result, "ok", check->ok);
        nrw_result_string(result, "source", check->source);
        nrw_result_string(result, "unit", check->unit);
        nrw_result_string(result, "kind", check->hard ? "rig" : "inform");
        nrw_result_string(result, "who", check->who);
        nrw_result_string(result, "where", check->where);
        nrw_result_string(result, "action", check->action);
        nrw_result_number(result, "distance_mm", check->distance_mm);
        nrw_result_close(result);
    }
    nrw_result_close(result);
}

/* null where the schedule keeps time by the clock: `estimate` is for those. */
static void add_playback(nrw_result *result, const nrw_export *export)
{
    const nrw_playback *playback = &export->playback;
    if (playback->n_trials == 0) {
        nrw_result_null(result, "playback");
        return;
    }
    nrw_result_open_object(result, "playback");
    nrw_result_integer(result, "trials", (int64_t)playback->n_trials);
    nrw_result_integer(result, "failed", (int64_t)playback->n_failed);
    nrw_result_number(result, "nominal_delivered", playback->nominal);
    nrw_result_number(result, "delivered_fraction", playback->delivered);
    nrw_result_number(result, "low", playback->interval.low);
    nrw_result_number(result, "high", playback->interval.high);
    nrw_result_close(result);
}

static void add_figures(nrw_result *result, const nrw_export *export)
{
    if (export->wave)
        nrw_result_integer(result, "samples", (int64_t) export->samples);
    else
        nrw_result_null(result, "samples");
    const double none = NAN;
    nrw_result_number(result, "duration_s", export->wave ? export->duration_s : none);
    add_by_coil(result, "peak_current_A", export, export->peak_A);
    add_by_coil(result, "peak_voltage_V", export, export->peak_V);
    add_by_coil(result, "rms_current_A", export, export->rms_A);
    add_limits(result, export);
    nrw_result_string(result, "times_from",
                      !export->wave                             ? NULL
                      : export->times == NRW_EXPORT_TIMES_CLOCK ? "clock"
                                                                : "run");
    nrw_result_number(result, "stored_energy_J", export->wave ? export->energy_J : none);
    nrw_result_integer(result, "joins", (int64_t) export->n_joins);
    nrw_result_number(result, "longest_join_s", export->wave ? export->longest_join_s : none);
    add_playback(result, export);
    nrw_result_open_array(result, "allowed_by_name");
    for (int i = 0; i < NRW_N_ALLOWANCES; i++)
        if (export->config.allowed & 1U << i)
            nrw_result_string(result, NULL, nrw_export_allowance_name(i));
    nrw_result_close(result);
}

static const char *fixed_times_words(const nrw_playback *playback, char *text, size_t size)
{
    int used = snprintf(text, size,
                        "Some legs follow what imaging sees: the sampled currents are those of "
                        "one simulated run and can't steer. ");
    if (playback->n_trials > 0)
        used += snprintf(text + used, size - (size_t)used,
                         "Played without imaging they deliver %.3g %% of the nominal batch, and "
                         "%.3g %% (%.3g to %.3g) over %zu batches as uncertain as yours. ",
                         100.0 * playback->nominal, 100.0 * playback->delivered,
                         100.0 * playback->interval.low, 100.0 * playback->interval.high,
                         playback->n_trials);
    (void)snprintf(text + used, size - (size_t)used, "On a bench with imaging, follow steps.json.");
    return text;
}

static void add_warnings(nrw_result *result, const nrw_export *export)
{
    char text[1200];
    for (size_t i = 0; i < export->n_checks; i++) {
        const nrw_limit_check *check = &export->checks[i];
        if (check->ok || (check->hard && export->refused))
            continue; /* what refuses is told among the errors */
        nrw_limit_check_sentence(check, text, sizeof text);
        nrw_result_warn(result, text);
    }
    if (export->wave && export->times == NRW_EXPORT_TIMES_RUN)
        nrw_result_warn(result, fixed_times_words(&export->playback, text, sizeof text));
}

/* --- files -------------------------------------------------------------------------------- */

static nrw_status record(nrw_job *job, export_work *work)
{
    add_figures(job->result, &work->export);
    add_warnings(job->result, &work->export);
    if (!job->store)
        return work->status;
    nrw_status written = NRW_OK;
    if (work->status == NRW_OK) {
        work->line = nrw_progress_line_begin("writing", "samples", job->options->quiet);
        written = nrw_export_write(&work->export, job->store, job->errors);
        nrw_progress_line_end(&work->line);
    }
    if (written == NRW_OK)
        return work->status;
    nrw_job_drop_store(job);
    return written;
}

/* --- in words ------------------------------------------------------------------------------ */

static void describe_limits(const nrw_export *export, FILE *stream)
{
    (void)fprintf(stream, "\n  %-30s %12s %12s  %s\n", "limit", "value", "level", "");
    for (size_t i = 0; i < export->n_checks; i++) {
        const nrw_limit_check *check = &export->checks[i];
        (void)fprintf(stream, "  %-30s %12.4g %12.4g  %-8s %s\n", check->limit, check->value,
                      check->allowed, check->unit, check->ok ? "" : "exceeded");
    }
    (void)fprintf(stream, "  Limits of the rig refuse; the others inform, for the middle of the "
                          "coils, and decide nothing.\n");
}

static void describe(const nrw_job *job, const void *context, FILE *stream)
{
    const export_work *work = context;
    const nrw_export *export = &work->export;
    nrw_job_describe_title(job, stream);
    if (export->wave)
        (void)fprintf(stream, "\n%zu samples, %.6g s at %g Hz; times from %s.\n", export->samples,
                      export->duration_s, nrw_wave_sample_rate_Hz(export->wave),
                      export->times == NRW_EXPORT_TIMES_CLOCK ? "the clock" : "a simulated run");
    else
        (void)fprintf(stream, "\nNothing was exported.\n");
    for (int k = 0; k < export->model.n_coils && export->wave; k++)
        (void)fprintf(stream, "  coil %-12s %8.4g A peak, %8.4g A rms, %8.4g V peak\n",
                      export->model.names[k], export->peak_A[k], export->rms_A[k],
                      export->peak_V[k]);
    if (export->n_checks > 0)
        describe_limits(export, stream);
    nrw_job_describe_warnings(job, stream);
    if (job->options->out && export->wave && !export->refused)
        (void)fprintf(stream, "\nThe files are in %s; docs/export.md tells how to read them.\n",
                      job->options->out);
    (void)fprintf(stream, "\nPredicted by a model; not a medical device.\n");
}

/* --- the command ------------------------------------------------------------------------------ */

static nrw_status load_limits(const nrw_command_options *options, nrw_limits *limits,
                              nrw_errors *errors)
{
    return options->limits ? nrw_limits_load(options->limits, limits, errors)
                           : nrw_limits_default(limits, errors);
}

static void prepare(nrw_job *job, export_work *work)
{
    const nrw_export_config config = {
        .scenario = job->scenario,
        .channel = job->channel,
        .schedule = &job->schedule,
        .limits = &work->limits,
        .seed = job->options->seed,
        .model = job->options->model,
        .sample_rate_Hz = job->options->rate_Hz,
        .allowed = job->options->allowed,
        .progress = watch,
        .progress_context = &work->line,
        .playback_trials =
            job->options->trials > 0 ? (size_t)job->options->trials : (size_t)NRW_PLAYBACK_TRIALS,
        .interrupted = nrw_interrupt_requested,
    };
    work->line = nrw_progress_line_begin("export", "done", job->options->quiet);
    work->status = nrw_export_prepare(&work->export, &config, job->errors);
    nrw_progress_line_end(&work->line);
}

static nrw_status export_job(const nrw_command_options *options, nrw_errors *errors)
{
    nrw_job job;
    export_work work;
    memset(&work, 0, sizeof work);
    nrw_status status = load_limits(options, &work.limits, errors);
    if (status != NRW_OK)
        return status;
    status = nrw_job_begin(&job, "export", options, errors);
    if (status == NRW_OK) {
        prepare(&job, &work);
        status = work.status;
        if (status == NRW_OK || status == NRW_REFUSED) {
            status = record(&job, &work);
            job.reported = true;
            status = nrw_job_finish(&job, status, describe, &work);
        }
    }
    nrw_export_clear(&work.export);
    nrw_limits_clear(&work.limits);
    nrw_job_clear(&job);
    return status;
}

static nrw_status run(const nrw_command_options *options, nrw_errors *errors)
{
    folder_input input;
    nrw_status status = resolve_input(options, &input, errors);
    if (status == NRW_OK)
        status = export_job(&input.options, errors);
    clear_input(&input);
    return status;
}

const nrw_command nrw_command_export = {
    .name = "export",
    .summary = "turn a schedule into sampled field and coil currents, with limit checks",
    .arguments = "SCENARIO --schedule FILE [--out DIR] | RESULTS_DIR [--out DIR]",
    .examples = "  narrows export scenario.yaml --schedule schedule.yaml --out bench\n"
                "  narrows export results --out bench --rate 20000\n"
                "  narrows export scenario.yaml --schedule schedule.yaml --allow voltage --json\n",
    .details =
        "Legs that end by the clock are sampled as they stand. Where imaging steers or ends\n"
        "a leg, one simulated run gives times and headings (currents.csv), and steps.json\n"
        "holds every leg with its conditions for a controller. What such samples deliver\n"
        "where nothing watches is told from 16 trials, or --trials. Limits of the rig refuse\n"
        "(exit status 1) unless --allow names them: field, frequency, current, rms-current,\n"
        "voltage, slew, temperature. Levels for people inform.\n",
    .options = NRW_OPTION_SCHEDULE | NRW_OPTION_OUT | NRW_OPTION_SEED | NRW_OPTION_MODEL |
               NRW_OPTION_FORCE | NRW_OPTION_ALLOW | NRW_OPTION_LIMITS | NRW_OPTION_RATE |
               NRW_OPTION_TRIALS,
    .files_min = 1,
    .files_max = 1,
    .schedules_max = 1,
    .run = run,
};
