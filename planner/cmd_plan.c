/* narrows plan: search for a schedule that delivers, and its verification. */
#include <math.h>
#include <string.h>

#include "interrupt.h"
#include "job.h"
#include "progress.h"

/* Memory that stored positions may take; longer or larger runs store fewer frames. */
#define TRAJECTORY_BYTES_MAX 64e6

typedef struct plan_work {
    nrw_progress_line line;
    char what[96];
    nrw_checkpoint *checkpoint;
    nrw_plan_result plan;
    nrw_run_result run; /* of the verified schedule, nominal particles */
    nrw_validity_list validity;
    nrw_status status;
} plan_work;

static void show(void *context, const char *stage, double best, size_t done, size_t of)
{
    plan_work *work = context;
    if (isnan(best))
        (void)snprintf(work->what, sizeof work->what, "plan, %s", stage);
    else
        (void)snprintf(work->what, sizeof work->what, "plan, %s, best so far %.0f %%", stage,
                       100.0 * best);
    work->line.what = work->what;
    nrw_progress_line_update(&work->line, (double)done, (double)of);
}

static bool watch(void *context, double simulated_s, double of_s)
{
    (void)context;
    (void)simulated_s;
    (void)of_s;
    return nrw_interrupt_requested();
}

/* One recorded run of the schedule, for pictures: nominal particles, the job's seed. */
static nrw_status record_run(nrw_job *job, plan_work *work)
{
    nrw_run_config config = nrw_run_config_defaults();
    config.seed = job->options->seed;
    config.model = job->options->model;
    const double frames = job->scenario->deadline_s * job->scenario->imaging.frame_rate_Hz;
    const double bytes = frames * (double)job->scenario->particles.count * 3.0 * sizeof(float);
    config.trajectory_every_s =
        fmax(1.0, ceil(bytes / TRAJECTORY_BYTES_MAX)) / job->scenario->imaging.frame_rate_Hz;
    config.progress = watch;
    return nrw_run(job->scenario, job->channel, &job->schedule, &config, &work->run, job->errors);
}

/* The schedule found becomes the job's, as text too, so that it is written. */
static nrw_status take_schedule(nrw_job *job, plan_work *work)
{
    if (work->plan.schedule.n_legs == 0)
        return NRW_OK;
    job->schedule = work->plan.schedule;
    memset(&work->plan.schedule, 0, sizeof work->plan.schedule);
    nrw_status status = nrw_schedule_text(&job->schedule, &job->schedule_text, job->errors);
    if (status == NRW_OK)
        job->schedule_size = strlen(job->schedule_text);
    return status;
}

static nrw_status search(nrw_job *job, plan_work *work)
{
    nrw_plan_config config = nrw_plan_config_defaults();
    config.seed = job->options->seed;
    config.model = job->options->model;
    if (job->options->trials > 0 && (size_t)job->options->trials > config.n_verification)
        config.n_verification = (size_t)job->options->trials;
    config.progress = show;
    config.context = work;
    config.interrupted = nrw_interrupt_requested;
    nrw_status status = nrw_job_open_checkpoint(job, "", &work->checkpoint);
    if (status != NRW_OK)
        return status;
    config.checkpoint = work->checkpoint;
    work->line = nrw_progress_line_begin("plan", "runs", job->options->quiet);
    status = nrw_plan(job->scenario, job->channel, &config, &work->plan, job->errors);
    nrw_progress_line_end(&work->line);
    if (status == NRW_INTERRUPTED)
        nrw_errors_add(job->errors, status,
                       job->store ? "what was done is saved; --resume goes on"
                                  : "with --out, what was done would be saved",
                       "interrupted: the best schedule so far is not verified");
    return status;
}

/* What the model assumes for the schedule: as the recorded run saw it, or beforehand. */
static void add_validity(nrw_job *job, plan_work *work)
{
    nrw_validity_list_add(&work->validity, job->scenario, job->channel, &job->schedule, NULL,
                          job->options->model, NULL, &work->run);
    nrw_validity_figures(job->result, &work->validity);
}

/* Those of the recorded run, apart from those of the plan. */
static void add_run_figures(nrw_job *job, const nrw_run_result *run)
{
    if (run->n_particles == 0)
        return;
    nrw_result_open_object(job->result, "run");
    nrw_result_run_figures(job->result, &job->schedule, run);
    nrw_run_loss_figures(job->result, job->scenario, job->channel, run);
    nrw_result_close(job->result);
}

static nrw_status record(nrw_job *job, plan_work *work)
{
    nrw_plan_figures(job->result, &work->plan);
    nrw_status taken = take_schedule(job, work);
    if (taken != NRW_OK)
        return taken;
    if (work->status == NRW_INTERRUPTED) {
        nrw_status saved = nrw_job_save_checkpoint(job, work->checkpoint);
        if (saved != NRW_OK) {
            nrw_job_drop_store(job);
            return saved;
        }
    }
    if (job->schedule.n_legs == 0 || !job->store) {
        add_validity(job, work);
        return work->status;
    }
    nrw_status status = NRW_OK;
    if (work->status != NRW_INTERRUPTED)
        status = record_run(job, work);
    add_run_figures(job, &work->run);
    add_validity(job, work);
    nrw_status written = nrw_plan_search_csv(job->store, &work->plan, job->errors);
    if (written == NRW_OK && work->run.n_particles > 0)
        written = nrw_store_run(job->store, job->scenario, &job->schedule, &work->run, NRW_VERSION,
                                job->errors);
    if (written != NRW_OK) {
        nrw_job_drop_store(job);
        return written;
    }
    return status == NRW_OK ? work->status : status;
}

/* --- in words ----------------------------------------------------------------- */

static void describe_conditions(const nrw_necessary *necessary, FILE *stream)
{
    for (int k = 0; k < NRW_N_NEEDS; k++)
        (void)fprintf(stream, "  %-9s %-5s %s\n", nrw_necessary_name(necessary->checks[k].kind),
                      necessary->checks[k].holds ? "ok" : "FAILS", necessary->checks[k].text);
}

static void describe_found(const nrw_plan_result *plan, FILE *stream)
{
    char recipe[256];
    nrw_recipe_describe(&plan->recipe, recipe, sizeof recipe);
    (void)fprintf(
        stream,
        "%s: %.1f %% delivered on average (95 %% interval %.1f to %.1f %%) over %zu fresh "
        "trials,\nin %.4g s.\n",
        plan->found ? "Found" : "Best, but not enough", 100.0 * plan->delivered, 100.0 * plan->low,
        100.0 * plan->high, plan->n_verification, plan->time_s);
    (void)fprintf(stream, "Recipe: %s.\n", recipe);
    (void)fprintf(stream, "Keeping it gathered delivers %.1f %% on the same trials.\n",
                  100.0 * plan->baseline);
    (void)fprintf(stream, "%zu candidates tried; %.1f s of search, %.1f s of verification.\n",
                  plan->n_candidates, plan->wall_search_s, plan->wall_verification_s);
}

static void describe(const nrw_job *job, const void *context, FILE *stream)
{
    const plan_work *work = context;
    const nrw_plan_result *plan = &work->plan;
    nrw_job_describe_title(job, stream);
    (void)fprintf(stream, "\n");
    if (plan->searched && plan->n_verification > 0)
        describe_found(plan, stream);
    if (plan->reason[0] != '\0')
        (void)fprintf(stream, "\nNot found: %s.\n", plan->reason);
    if (plan->nearest_change[0] != '\0')
        (void)fprintf(stream, "What would change it: %s.\n", plan->nearest_change);
    (void)fprintf(stream, "\nNecessary conditions\n");
    describe_conditions(&plan->necessary, stream);
    if (work->run.n_visits > 0)
        (void)fprintf(stream, "\n  %-24s %8s %8s  %-10s %s\n", "leg", "from s", "to s", "ended by",
                      "model");
    for (size_t i = 0; i < work->run.n_visits; i++) {
        const nrw_leg_visit *visit = &work->run.visits[i];
        (void)fprintf(stream, "  %-24s %8.1f %8.1f  %-10s %s\n",
                      job->schedule.legs[visit->leg].name, visit->start_s, visit->end_s,
                      nrw_leg_end_name(visit->end), nrw_model_name(visit->model));
    }
    nrw_validity_describe(&work->validity, stream);
    nrw_job_describe_warnings(job, stream);
    if (job->options->out)
        (void)fprintf(stream, "\nResults are in %s.\n", job->options->out);
    (void)fprintf(stream, "\nPredicted by a model; not a medical device.\n");
}

static nrw_status run(const nrw_command_options *options, nrw_errors *errors)
{
    nrw_job job;
    plan_work work;
    memset(&work, 0, sizeof work);
    work.status = nrw_job_begin(&job, "plan", options, errors);
    nrw_status status = work.status;
    if (status == NRW_OK || status == NRW_REFUSED) {
        if (status == NRW_OK)
            work.status = search(&job, &work);
        status = work.status;
        if (status == NRW_OK || status == NRW_REFUSED || status == NRW_INTERRUPTED) {
            status = record(&job, &work);
            job.reported = true;
            job.run = work.run.n_particles > 0 ? &work.run : NULL;
            status = nrw_job_finish(&job, status, describe, &work);
        }
    }
    nrw_job_close_checkpoint(work.checkpoint, status);
    nrw_validity_list_clear(&work.validity);
    nrw_run_result_clear(&work.run);
    nrw_plan_result_clear(&work.plan);
    nrw_job_clear(&job);
    return status;
}

const nrw_command nrw_command_plan = {
    .name = "plan",
    .summary = "search a schedule that delivers, and verify it by simulation",
    .arguments = "SCENARIO [--out DIR] [--seed N] [--json]",
    .examples = "  narrows plan scenario.yaml --out plan\n"
                "  narrows plan scenario.yaml --out plan --seed 7 --json\n",
    .details =
        "Necessary conditions are judged first. Then recipes race on common trials, with\n"
        "the uncertain properties drawn anew for each, and the winner is verified on fresh\n"
        "ones (12; more with --trials). Exit status 1 says that nothing deliverable\n"
        "was found, and why; the best schedule is written all the same. The result depends\n"
        "on the files and the seed alone, not on the number of threads or their speed. Runs are\n"
        "kept as they end: --resume goes on with an interrupted folder.\n",
    .options = NRW_OPTION_OUT | NRW_OPTION_SEED | NRW_OPTION_MODEL | NRW_OPTION_FORCE |
               NRW_OPTION_TRIALS | NRW_OPTION_RESUME,
    .files_min = 1,
    .files_max = 1,
    .run = run,
};
