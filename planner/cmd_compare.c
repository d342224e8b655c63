/* narrows compare: several schedules and strategies on the same trials. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "interrupt.h"
#include "job.h"
#include "progress.h"

/* One that competes, and what it is made of. */
typedef struct entrant {
    char name[NRW_NAME_SIZE];
    nrw_strategy_choice choice; /* of a strategy; of a file only its schedule */
    char *text;                 /* its schedule file, owned */
    size_t text_size;
} entrant;

typedef struct compare_work {
    nrw_progress_line line;
    char what[96];
    nrw_checkpoint *checkpoint;
    entrant *entrants; /* (n): files first, then strategies */
    nrw_contender *contenders;
    size_t n, n_files, n_trials;
    double goal;
    nrw_comparison comparison;
    nrw_validity_list validity;
    nrw_status status;
} compare_work;

/* --- what competes ---------------------------------------------------------------- */

/* A name from a path or a strategy: without folder and ending, only letters that
 * suit a file's name, unlike the names before it. */
static void give_name(compare_work *work, size_t k, const char *from)
{
    char stem[NRW_NAME_SIZE - 8];
    const char *slash = strrchr(from, '/');
    (void)snprintf(stem, sizeof stem, "%.50s", slash ? slash + 1 : from);
    char *dot = strrchr(stem, '.');
    if (dot && dot != stem)
        *dot = '\0';
    for (char *c = stem; *c; c++)
        if (!strchr("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789._-", *c))
            *c = '_';
    char *name = work->entrants[k].name;
    (void)snprintf(name, NRW_NAME_SIZE, "%s", stem);
    unsigned copy = 2;
    for (size_t before = 0; before < k; before++) {
        if (strcmp(work->entrants[before].name, name) != 0)
            continue;
        (void)snprintf(name, NRW_NAME_SIZE, "%s-%u", stem, copy++);
        before = (size_t)-1; /* the new name against all of them again */
    }
}

static nrw_status check_strategies(const nrw_command_options *options, nrw_errors *errors)
{
    nrw_status status = NRW_OK;
    for (size_t k = 0; k < options->n_strategies; k++) {
        const char *nearest = NULL;
        char expected[160] = "one of: ";
        if (nrw_strategy_find(options->strategies[k], &nearest) >= 0)
            continue;
        for (int s = 0; s < NRW_N_STRATEGIES; s++)
            (void)snprintf(expected + strlen(expected), sizeof expected - strlen(expected), "%s%s",
                           s > 0 ? ", " : "", nrw_strategy_name((nrw_strategy)s));
        if (nearest)
            (void)snprintf(expected, sizeof expected, "did you mean '%s'?", nearest);
        status = nrw_errors_add(errors, NRW_BAD_USAGE, expected, "--strategy: '%s'",
                                options->strategies[k]);
    }
    const size_t n = options->n_schedules + options->n_strategies;
    if (status == NRW_OK && n < 2)
        status = nrw_errors_add(errors, NRW_BAD_USAGE,
                                "two or more of --schedule FILE and --strategy NAME",
                                "compare: %s to compare", n == 0 ? "nothing" : "only one");
    if (status == NRW_OK && n > NRW_COMPARE_MOST)
        status = nrw_errors_add(errors, NRW_BAD_USAGE, "at most 64", "compare: %zu to compare", n);
    return status;
}

static nrw_status load_files(nrw_job *job, compare_work *work)
{
    const nrw_command_options *options = job->options;
    work->n_files = options->n_schedules;
    work->n = options->n_schedules + options->n_strategies;
    work->entrants = calloc(work->n, sizeof *work->entrants);
    work->contenders = calloc(work->n, sizeof *work->contenders);
    if (!work->entrants || !work->contenders)
        return nrw_errors_add(job->errors, NRW_NO_MEMORY, NULL, "out of memory");
    nrw_status status = NRW_OK;
    for (size_t k = 0; k < work->n; k++) {
        const bool is_file = k < work->n_files;
        entrant *e = &work->entrants[k];
        give_name(work, k,
                  is_file ? options->schedules[k] : options->strategies[k - work->n_files]);
        work->contenders[k] = (nrw_contender){e->name, e->choice.words, &e->choice.schedule};
        if (!is_file)
            continue;
        (void)snprintf(e->choice.words, sizeof e->choice.words, "%.250s", options->schedules[k]);
        nrw_status loaded =
            nrw_schedule_load_text(options->schedules[k], job->scenario, &e->choice.schedule,
                                   &e->text, &e->text_size, job->errors);
        if (status == NRW_OK)
            status = loaded;
    }
    return status;
}

static nrw_status check_rig(nrw_job *job, const compare_work *work)
{
    nrw_status status = NRW_OK;
    for (size_t k = 0; k < work->n_files; k++) {
        nrw_status checked =
            nrw_rig_check_schedule(job->scenario, &work->entrants[k].choice.schedule, job->errors);
        if (status == NRW_OK)
            status = checked;
    }
    return status;
}

/* --- work ----------------------------------------------------------------------------- */

static bool show(void *context, size_t done, size_t of)
{
    compare_work *work = context;
    nrw_progress_line_update(&work->line, (double)done, (double)of);
    return nrw_interrupt_requested();
}

static nrw_status open_checkpoint(nrw_job *job, compare_work *work)
{
    char *extra = NULL;
    size_t size = 0;
    FILE *file = open_memstream(&extra, &size);
    if (!file)
        return nrw_errors_add(job->errors, NRW_NO_MEMORY, NULL, "out of memory");
    for (size_t k = 0; k < work->n; k++) {
        const entrant *e = &work->entrants[k];
        char samples[65];
        nrw_schedule_samples_digest(&e->choice.schedule, samples);
        (void)fprintf(file, "%s\n%s\n%s\n", e->name, e->text ? e->text : "", samples);
    }
    nrw_status status = fclose(file) == 0
                            ? nrw_job_open_checkpoint(job, extra, &work->checkpoint)
                            : nrw_errors_add(job->errors, NRW_NO_MEMORY, NULL, "out of memory");
    free(extra);
    return status;
}

/* A line for each stage: its rate says nothing of the next one's. */
static void begin_line(const nrw_job *job, compare_work *work, const char *stage, const char *name)
{
    nrw_progress_line_end(&work->line);
    (void)snprintf(work->what, sizeof work->what, "compare%s%.60s", stage, name);
    work->line = nrw_progress_line_begin(work->what, "runs", job->options->quiet);
}

static nrw_status choose_strategies(const nrw_series *series, nrw_job *job, compare_work *work)
{
    nrw_status status = NRW_OK;
    for (size_t k = work->n_files; status == NRW_OK && k < work->n; k++) {
        const char *name = job->options->strategies[k - work->n_files];
        begin_line(job, work, ", choosing ", name);
        status = nrw_strategy_choose(series, (nrw_strategy)nrw_strategy_find(name, NULL),
                                     &work->entrants[k].choice, job->errors);
    }
    return status;
}

static nrw_status simulate(nrw_job *job, compare_work *work)
{
    nrw_status status = check_rig(job, work);
    if (status == NRW_OK)
        status = open_checkpoint(job, work);
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
    status = choose_strategies(&series, job, work);
    begin_line(job, work, "", "");
    if (status == NRW_OK)
        status = nrw_compare_run(&series, work->n, work->contenders, work->n_trials, work->goal,
                                 &work->comparison, job->errors);
    nrw_progress_line_end(&work->line);
    if (status == NRW_INTERRUPTED)
        nrw_errors_add(job->errors, status,
                       job->store ? "what was done is saved; --resume goes on"
                                  : "with --out, what was done would be saved",
                       "interrupted");
    return status;
}

/* --- record --------------------------------------------------------------------------- */

static nrw_status write_schedules(nrw_job *job, const compare_work *work)
{
    nrw_status status = NRW_OK;
    for (size_t k = 0; status == NRW_OK && k < work->n; k++) {
        const entrant *e = &work->entrants[k];
        char file[NRW_NAME_SIZE + 16], *text = NULL;
        if (e->choice.schedule.n_legs == 0)
            continue; /* not chosen before the interruption */
        (void)snprintf(file, sizeof file, "schedule-%s.yaml", e->name);
        if (!e->text)
            status = nrw_schedule_text(&e->choice.schedule, &text, job->errors);
        if (status == NRW_OK)
            status = nrw_store_put(job->store, file, e->text ? e->text : text,
                                   e->text ? e->text_size : strlen(text), job->errors);
        if (status == NRW_OK)
            status = nrw_schedule_copy_samples(&e->choice.schedule, job->store, job->errors);
        free(text);
    }
    return status;
}

static nrw_status write_trials(nrw_job *job, const compare_work *work)
{
    const nrw_comparison *comparison = &work->comparison;
    const char *names[NRW_COMPARE_MOST];
    if (comparison->n == 0)
        return NRW_OK;
    for (size_t k = 0; k < comparison->n; k++)
        names[k] = work->entrants[k].name;
    return nrw_trial_records_csv(job->store, comparison->n, names, comparison->n_trials,
                                 comparison->records, job->errors);
}

static void warn(nrw_job *job, const compare_work *work)
{
    const nrw_comparison *comparison = &work->comparison;
    char text[640];
    for (size_t k = 0; k < comparison->n; k++) {
        if (comparison->estimates[k].n_failed > 0) {
            (void)snprintf(text, sizeof text,
                           "'%s': %zu of %zu trials ended in a numerical failure and count as "
                           "nothing delivered",
                           work->entrants[k].name, comparison->estimates[k].n_failed,
                           comparison->estimates[k].n_trials);
            nrw_result_warn(job->result, text);
        }
    }
    if (comparison->n > 0 && comparison->n_trials < NRW_COMPARE_TRIALS)
        nrw_result_warn(job->result,
                        "fewer than 16 trials: a failure that happens now and then may "
                        "not have shown, and no interval can tell of it");
}

static nrw_status record(nrw_job *job, compare_work *work)
{
    nrw_compare_figures(job->result, job->scenario, &work->comparison);
    warn(job, work);
    for (size_t k = 0; k < work->n; k++)
        nrw_validity_list_add(&work->validity, job->scenario, job->channel,
                              &work->entrants[k].choice.schedule, work->entrants[k].name,
                              job->options->model, NULL, NULL);
    nrw_validity_figures(job->result, &work->validity);
    nrw_status written = NRW_OK;
    if (work->status == NRW_INTERRUPTED)
        written = nrw_job_save_checkpoint(job, work->checkpoint);
    if (written == NRW_OK && job->store)
        written = write_schedules(job, work);
    if (written == NRW_OK && job->store)
        written = write_trials(job, work);
    if (written == NRW_OK)
        return work->status;
    nrw_job_drop_store(job);
    return written;
}

static void describe(const nrw_job *job, const void *context, FILE *stream)
{
    const compare_work *work = context;
    nrw_job_describe_title(job, stream);
    (void)fprintf(stream, "\n");
    if (work->status == NRW_INTERRUPTED)
        (void)fprintf(stream, "Interrupted: the figures are those of the trials done.\n");
    nrw_compare_describe(&work->comparison, stream);
    nrw_validity_describe(&work->validity, stream);
    nrw_job_describe_warnings(job, stream);
    if (job->options->out)
        (void)fprintf(stream, "\nResults are in %s.\n", job->options->out);
    (void)fprintf(stream, "\nPredicted by a model; not a medical device.\n");
}

static void clear_work(compare_work *work)
{
    nrw_comparison_clear(&work->comparison);
    nrw_validity_list_clear(&work->validity);
    for (size_t k = 0; work->entrants && k < work->n; k++) {
        nrw_strategy_choice_clear(&work->entrants[k].choice);
        free(work->entrants[k].text);
    }
    free(work->entrants);
    free(work->contenders);
}

static nrw_status run(const nrw_command_options *options, nrw_errors *errors)
{
    nrw_job job;
    compare_work work;
    memset(&work, 0, sizeof work);
    nrw_status status = check_strategies(options, errors);
    if (status != NRW_OK)
        return status;
    work.n_trials = options->trials > 0 ? (size_t)options->trials : NRW_COMPARE_TRIALS;
    work.goal = options->given & NRW_OPTION_GOAL ? options->goal : NAN;
    work.status = status = nrw_job_begin(&job, "compare", options, errors);
    if (status == NRW_OK || status == NRW_REFUSED) {
        nrw_status loaded = load_files(&job, &work);
        if (loaded != NRW_OK)
            work.status = loaded;
        else if (status == NRW_OK)
            work.status = simulate(&job, &work);
        status = work.status;
        if (nrw_status_exit_code(status) != 2) {
            status = record(&job, &work);
            job.reported = true;
            status = nrw_job_finish(&job, status, describe, &work);
        }
    }
    nrw_job_close_checkpoint(work.checkpoint, status);
    clear_work(&work);
    nrw_job_clear(&job);
    return status;
}

const nrw_command nrw_command_compare = {
    .name = "compare",
    .summary = "several schedules and strategies on the same trials",
    .arguments = "SCENARIO [--schedule FILE]... [--strategy NAME]... [--trials N] [--out DIR]",
    .examples = "  narrows compare scenario.yaml --strategy keep-gathered --strategy planned --out "
                "compare\n"
                "  narrows compare scenario.yaml --schedule by-hand.yaml --schedule mine.yaml "
                "--trials 40\n",
    .details =
        "Strategies: keep-gathered (one tilt of at most 10 degrees), all-chains (never gathered,\n"
        "the field nearly upright), constant-tilt (one larger tilt), tilt-and-wobble (the same "
        "with\n"
        "a swinging heading), planned (what 'narrows plan' finds). Each is represented by the "
        "best\n"
        "of a few recipes, chosen on trials of their own. What was driven by hand competes as a\n"
        "schedule. Differences are judged within the same trials; whatever leads all others runs\n"
        "again, with the runner-up, on fresh ones before it is called best. Ties are told as "
        "such.\n"
        "16 trials unless --trials says otherwise. --resume goes on with an interrupted folder.\n",
    .options = NRW_OPTION_SCHEDULE | NRW_OPTION_STRATEGY | NRW_OPTION_OUT | NRW_OPTION_SEED |
               NRW_OPTION_MODEL | NRW_OPTION_TRIALS | NRW_OPTION_GOAL | NRW_OPTION_FORCE |
               NRW_OPTION_RESUME,
    .files_min = 1,
    .files_max = 1,
    .schedules_max = NRW_COMPARE_MOST,
    .run = run,
};
