#include "playback.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "estimate.h"
#include "schedule.h"

typedef struct playing {
    const nrw_playback_config *config;
    nrw_schedule schedule; /* one leg that plays the samples */
} playing;

static bool watch_trials(void *context, size_t done, size_t of)
{
    const playing *play = context;
    return play->config->progress &&
           play->config->progress(play->config->progress_context, (double)done, (double)of);
}

/* The first sample of the files is without current, and so is the field then. */
static nrw_samples *take_samples(nrw_wave *wave)
{
    const size_t n = nrw_wave_n_samples(wave);
    float(*field)[3] = malloc(n * sizeof *field);
    if (!field)
        return NULL;
    nrw_wave_sample sample;
    size_t k = 0;
    nrw_wave_rewind(wave);
    while (k < n && nrw_wave_next(wave, &sample)) {
        for (int i = 0; i < 3; i++)
            field[k][i] = (float)sample.field_mT[i];
        k++;
    }
    nrw_wave_rewind(wave);
    return nrw_samples_create("currents.csv", "currents.csv", nrw_wave_sample_rate_Hz(wave), k,
                              field);
}

static nrw_status make_schedule(nrw_wave *wave, nrw_schedule *schedule)
{
    schedule->legs = malloc(sizeof *schedule->legs);
    schedule->samples = malloc(sizeof *schedule->samples);
    if (!schedule->legs || !schedule->samples)
        return NRW_NO_MEMORY;
    nrw_samples *samples = take_samples(wave);
    if (!samples)
        return NRW_NO_MEMORY;
    schedule->samples[schedule->n_samples++] = samples;
    nrw_leg leg = nrw_leg_defaults();
    (void)strcpy(leg.name, "playback");
    leg.drive.main.mode = NRW_DRIVE_SAMPLED;
    leg.drive.main.samples = samples;
    leg.timeout_s = nrw_samples_duration_s(samples);
    schedule->legs[schedule->n_legs++] = leg;
    return NRW_OK;
}

static nrw_status play_nominal(const playing *play, double *delivered, nrw_errors *errors)
{
    const nrw_playback_config *config = play->config;
    nrw_run_config run = nrw_run_config_defaults();
    nrw_run_result result;
    nrw_errors local;
    memset(&result, 0, sizeof result);
    nrw_errors_init(&local);
    run.seed = config->seed;
    run.model = config->model;
    const nrw_status status =
        nrw_run(config->scenario, config->channel, &play->schedule, &run, &result, &local);
    *delivered = status == NRW_OK ? result.fate_fraction[NRW_FATE_DELIVERED] : (double)NAN;
    nrw_run_result_clear(&result);
    if (status != NRW_OK && status != NRW_DIVERGED)
        nrw_errors_add(errors, status, NULL, "playing the samples: %s",
                       local.n_items ? local.items[0].what : "failed");
    nrw_errors_clear(&local);
    return status == NRW_DIVERGED ? NRW_OK : status;
}

static nrw_status play_trials(playing *play, nrw_playback *playback, nrw_errors *errors)
{
    const nrw_playback_config *config = play->config;
    const nrw_series series = {
        .scenario = config->scenario,
        .channel = config->channel,
        .seed = config->seed,
        .model = config->model,
        .progress = watch_trials,
        .context = play,
        .interrupted = config->interrupted,
    };
    nrw_estimate_config wanted = nrw_estimate_config_defaults();
    nrw_estimate estimate;
    nrw_errors local;
    memset(&estimate, 0, sizeof estimate);
    nrw_errors_init(&local);
    wanted.n_trials = config->n_trials;
    nrw_trial_record *records = nrw_trial_records_create(config->n_trials);
    if (!records)
        return nrw_errors_add(errors, NRW_NO_MEMORY, NULL, "out of memory");
    nrw_status status =
        nrw_estimate_run(&series, &play->schedule, &wanted, records, &estimate, &local);
    if (status == NRW_DIVERGED)
        status = NRW_OK; /* every trial failed: that is what the figures say */
    else if (status != NRW_OK)
        nrw_errors_add(errors, status, NULL, "playing the samples: %s",
                       local.n_items ? local.items[0].what : "interrupted");
    nrw_errors_clear(&local);
    playback->n_trials = estimate.n_trials;
    playback->n_failed = estimate.n_failed;
    playback->delivered = estimate.delivered;
    playback->interval = estimate.interval;
    nrw_estimate_clear(&estimate);
    nrw_trial_records_destroy(config->n_trials, records);
    return status;
}

nrw_status nrw_playback_run(const nrw_playback_config *config, nrw_wave *wave,
                            nrw_playback *playback, nrw_errors *errors)
{
    *playback = (nrw_playback){
        .nominal = (double)NAN, .delivered = (double)NAN, .interval = {(double)NAN, (double)NAN}};
    if (config->n_trials == 0)
        return NRW_OK;
    playing play = {.config = config};
    nrw_status status = make_schedule(wave, &play.schedule);
    if (status != NRW_OK)
        nrw_errors_add(errors, status, NULL, "out of memory");
    if (status == NRW_OK)
        status = play_nominal(&play, &playback->nominal, errors);
    if (status == NRW_OK)
        status = play_trials(&play, playback, errors);
    nrw_schedule_clear(&play.schedule);
    return status;
}
