/* narrows run: one simulated run of a schedule. */
#include <math.h>
#include <string.h>

#include "interrupt.h"
#include "job.h"
#include "progress.h"

/* Memory that stored positions may take; longer or larger runs store fewer frames. */
#define TRAJECTORY_BYTES_MAX 64e6

typedef struct run_work {
    nrw_progress_line line;
    nrw_trial trial; /* the one redone, with --trial */
    nrw_run_result result;
    nrw_validity_list validity;
    nrw_status status;
} run_work;

static bool watch(void *context, double simulated_s, double of_s)
{
    nrw_progress_line_update(context, simulated_s, of_s);
    return nrw_interrupt_requested();
}

/* Spacing of stored positions, a whole number of frames. */
static double trajectory_spacing_s(const nrw_scenario *scenario)
{
    const double frames = scenario->deadline_s * scenario->imaging.frame_rate_Hz;
    const double bytes = frames * (double)scenario->particles.count * 3.0 * sizeof(float);
    return fmax(1.0, ceil(bytes / TRAJECTORY_BYTES_MAX)) / scenario->imaging.frame_rate_Hz;
}

/* Seed and factors: nominal ones, or those of a trial of an estimate. */
static nrw_status choose_draw(nrw_job *job, run_work *work, nrw_run_config *config)
{
    const nrw_command_options *options = job->options;
    config->seed = options->seed;
    if (!(options->given & NRW_OPTION_TRIAL))
        return NRW_OK;
    if (nrw_trials_draw(&job->scenario->uncertainty, options->seed, NRW_TRIALS_ESTIMATE,
                        options->trial, 1, &work->trial) != NRW_OK)
        return nrw_errors_add(job->errors, NRW_NO_MEMORY, NULL, "out of memory");
    config->seed = work->trial.seed;
    config->draw = work->trial.draw;
    return NRW_OK;
}

static nrw_status simulate(nrw_job *job, run_work *work)
{
    nrw_status status = nrw_rig_check_schedule(job->scenario, &job->schedule, job->errors);
    nrw_run_config config = nrw_run_config_defaults();
    if (status == NRW_OK)
        status = choose_draw(job, work, &config);
    if (status != NRW_OK)
        return status;
    config.model = job->options->model;
    config.record = job->store != NULL;
    config.trajectory_every_s = trajectory_spacing_s(job->scenario);
    config.progress = watch;
    config.progress_context = &work->line;
    work->line = nrw_progress_line_begin("run", "s simulated", job->options->quiet);
    status =
        nrw_run(job->scenario, job->channel, &job->schedule, &config, &work->result, job->errors);
    nrw_progress_line_end(&work->line);
    if (status == NRW_INTERRUPTED)
        nrw_errors_add(job->errors, status,
                       job->store ? "what was done is saved; --resume repeats it to its end"
                                  : "with --out, what was done would be saved",
                       "interrupted at %.4g s of simulated time", work->result.time_s);
    return status;
}

/* The contract's figures without a value, when nothing ran. */
static void add_no_figures(nrw_result *result)
{
    static const char *const keys[] = {"delivered_fraction",
                                       "lost",
                                       "lost_by_place",
                                       "time_s",
                                       "largest_cluster_fraction",
                                       "aspect_ratio",
                                       "spread_um",
                                       "centroid_um",
                                       "mean_speed_um_s",
                                       "mean_spin_Hz",
                                       "visible_fraction_of_time",
                                       "steps",
                                       "pair_interactions"};
    for (size_t i = 0; i < sizeof keys / sizeof *keys; i++)
        nrw_result_null(result, keys[i]);
}

/* Which trial was redone, and with what. */
static void add_trial(const nrw_job *job, const run_work *work)
{
    if (!(job->options->given & NRW_OPTION_TRIAL))
        return;
    nrw_result_open_object(job->result, "trial");
    nrw_result_integer(job->result, "index", (int64_t)work->trial.index);
    nrw_result_integer(job->result, "seed", (int64_t)work->trial.seed);
    for (int k = 0; k < NRW_N_DRAWN; k++)
        nrw_result_number(job->result, nrw_drawn_key(k), nrw_drawn_factor(&work->trial.draw, k));
    nrw_result_close(job->result);
}

/* Fills the result and the folder; what was done is told even of a run that
 * stopped early, as `partial`. */
static nrw_status record(nrw_job *job, run_work *work)
{
    if (work->result.n_particles == 0) {
        add_no_figures(job->result);
        return work->status;
    }
    nrw_result_run_figures(job->result, &job->schedule, &work->result);
    nrw_run_loss_figures(job->result, job->scenario, job->channel, &work->result);
    nrw_validity_list_add(
        &work->validity, job->scenario, job->channel, &job->schedule, NULL, job->options->model,
        job->options->given & NRW_OPTION_TRIAL ? &work->trial.draw : NULL, &work->result);
    nrw_validity_figures(job->result, &work->validity);
    add_trial(job, work);
    if (work->status != NRW_OK)
        nrw_result_bool(job->result, "partial", true);
    if (!job->store)
        return work->status;
    nrw_status written = nrw_store_run(job->store, job->scenario, &job->schedule, &work->result,
                                       NRW_VERSION, job->errors);
    if (written == NRW_OK)
        return work->status;
    nrw_job_drop_store(job);
    return written;
}

/* --- in words ----------------------------------------------------------------- */

static void describe_fates(const nrw_run_result *result, FILE *stream)
{
    static const char *const words[NRW_N_FATES] = {
        [NRW_FATE_WALL] = "stuck to a wall",
        [NRW_FATE_WASHED_OUT] = "washed out through an outlet",
        [NRW_FATE_DELIVERED] = "delivered",
        [NRW_FATE_LEFT_BEHIND] = "left behind before the last throat was passed",
        [NRW_FATE_IN_TRANSIT] = "on the way with the swarm",
        [NRW_FATE_SCATTERED] = "scattered beyond the last throat",
    };
    for (int i = 0; i < NRW_N_FATES; i++)
        if (i != NRW_FATE_DELIVERED && result->fate_fraction[i] > 0.0)
            (void)fprintf(stream, "  %5.1f %%  %s\n", 100.0 * result->fate_fraction[i], words[i]);
    for (size_t i = 0; i < result->n_losses; i++) {
        const nrw_loss_place *loss = &result->losses[i];
        (void)fprintf(stream, "           %.1f %% at %s, around (%.4g, %.4g) um: %s\n",
                      100.0 * loss->fraction, loss->place, loss->at_um[0], loss->at_um[1],
                      nrw_loss_cause_name(loss->cause));
    }
}

static void describe_legs(const nrw_job *job, const nrw_run_result *result, FILE *stream)
{
    (void)fprintf(stream, "\n  %-20s %8s %8s  %-10s %-9s %s\n", "leg", "from s", "to s", "ended by",
                  "model", "layers, mean and most");
    for (size_t i = 0; i < result->n_visits; i++) {
        const nrw_leg_visit *visit = &result->visits[i];
        (void)fprintf(stream, "  %-20s %8.1f %8.1f  %-10s %-9s",
                      job->schedule.legs[visit->leg].name, visit->start_s, visit->end_s,
                      nrw_leg_end_name(visit->end), nrw_model_name(visit->model));
        if (visit->tally.layers_most > 0)
            (void)fprintf(stream, " %.2f %d", visit->tally.layers_mean, visit->tally.layers_most);
        (void)fputc('\n', stream);
    }
}

static void describe(const nrw_job *job, const void *context, FILE *stream)
{
    const run_work *work = context;
    const nrw_run_result *result = &work->result;
    nrw_job_describe_title(job, stream);
    if (result->n_particles == 0) {
        (void)fprintf(stream, "\nNothing was simulated.\n");
    } else {
        (void)fprintf(stream, "\n%s %.1f %% of %zu particles, in %.4g s of simulated time.\n",
                      work->status == NRW_OK ? "Delivered:" : "Partial run; delivered so far:",
                      100.0 * result->fate_fraction[NRW_FATE_DELIVERED], result->n_particles,
                      result->time_s);
        describe_fates(result, stream);
        (void)fprintf(stream,
                      "\nAt the end the largest cluster holds %.1f %% of the swarm, the aspect "
                      "ratio is %.3g, the spread %.4g um.\n",
                      100.0 * result->final.largest_cluster_fraction, result->final.aspect_ratio,
                      result->final.spread_um);
        describe_legs(job, result, stream);
        nrw_validity_describe(&work->validity, stream);
    }
    nrw_job_describe_warnings(job, stream);
    if (job->options->out)
        (void)fprintf(stream, "\nResults are in %s.\n", job->options->out);
    (void)fprintf(stream, "\nPredicted by a model; not a medical device.\n");
}

static nrw_status run(const nrw_command_options *options, nrw_errors *errors)
{
    nrw_job job;
    run_work work;
    memset(&work, 0, sizeof work);
    work.status = nrw_job_begin(&job, "run", options, errors);
    nrw_status status = work.status;
    if (status == NRW_OK || status == NRW_REFUSED) {
        if (status == NRW_OK)
            work.status = simulate(&job, &work);
        status = record(&job, &work);
        job.reported = true;
        job.run = work.result.n_particles > 0 ? &work.result : NULL;
        status = nrw_job_finish(&job, status, describe, &work);
    }
    nrw_validity_list_clear(&work.validity);
    nrw_run_result_clear(&work.result);
    nrw_job_clear(&job);
    return status;
}

const nrw_command nrw_command_run = {
    .name = "run",
    .summary = "simulate one run of a schedule and tell what arrives",
    .arguments = "SCENARIO --schedule FILE [--out DIR] [--seed N] [--json]",
    .examples = "  narrows run scenario.yaml --schedule schedule.yaml --out results\n"
                "  narrows run scenario.yaml --schedule schedule.yaml --seed 7 --json\n"
                "  narrows run scenario.yaml --schedule schedule.yaml --trial 3 --out trial-3\n",
    .details =
        "Particles have their nominal properties; with --trial K, the draw and the seed of\n"
        "trial K of 'narrows estimate' or 'compare' with the same --seed. The same files and\n"
        "seed give the same result, with any number of threads. An interrupted run saves what\n"
        "was done and says that it is partial; with --resume it starts again from its\n"
        "beginning, with the same result as if it had not been interrupted.\n",
    .options = NRW_OPTION_SCHEDULE | NRW_OPTION_OUT | NRW_OPTION_SEED | NRW_OPTION_MODEL |
               NRW_OPTION_FORCE | NRW_OPTION_RESUME | NRW_OPTION_TRIAL,
    .files_min = 1,
    .files_max = 1,
    .schedules_min = 1,
    .schedules_max = 1,
    .run = run,
};
