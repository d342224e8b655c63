#include "export.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "export_parts.h"

#define PROGRESS_EVERY 65536

/* --- the rig without what is allowed --------------------------------------------- */

/* A limit that is allowed by name is raised to what the legs themselves ask, and a
 * little for joins: they are still made with care. */
static double raised(double limit, double asked)
{
    return fmax(limit, asked * (1.0 + NRW_RIG_JOIN_RESERVE));
}

static void relax_coil(unsigned allowed, const double asked[NRW_RIG_N_QUANTITIES], double *current,
                       double *voltage, nrw_rig_coil_extras *extras)
{
    if (allowed & NRW_EXPORT_ALLOW_CURRENT)
        *current = raised(*current, asked[NRW_RIG_PEAK_A]);
    if (allowed & NRW_EXPORT_ALLOW_VOLTAGE)
        *voltage = raised(*voltage, asked[NRW_RIG_PEAK_V]);
    if ((allowed & NRW_EXPORT_ALLOW_RMS_CURRENT) && extras->current_rms_max_A > 0.0)
        extras->current_rms_max_A = raised(extras->current_rms_max_A, asked[NRW_RIG_RMS_A]);
    if ((allowed & NRW_EXPORT_ALLOW_SLEW) && extras->slew_max_A_s > 0.0)
        extras->slew_max_A_s = raised(extras->slew_max_A_s, asked[NRW_RIG_SLEW_A_S]);
}

/* Without coils of their own the coils of a rig are its axes, in order. */
static void relax(nrw_export *export)
{
    nrw_rig *rig = &export->rig;
    const unsigned allowed = export->config.allowed;
    int k = 0;
    if (allowed & NRW_EXPORT_ALLOW_FIELD)
        rig->field_max_mT = raised(rig->field_max_mT, export->asked.field_mT);
    if (allowed & NRW_EXPORT_ALLOW_FREQUENCY)
        rig->frequency_max_Hz = raised(rig->frequency_max_Hz, export->asked.frequency_Hz);
    for (size_t i = 0; i < rig->n_coils; i++)
        relax_coil(allowed, export->asked.coils[i], &rig->coils[i].current_max_A,
                   &rig->coils[i].voltage_max_V, &rig->coils[i].extras);
    for (int i = 0; i < 3 && rig->n_coils == 0; i++)
        if (rig->axes[i].present)
            relax_coil(allowed, export->asked.coils[k++], &rig->axes[i].current_max_A,
                       &rig->axes[i].voltage_max_V, &rig->axes[i].extras);
}

/* A rig block without axes gives limits of the whole, but no coil to drive. */
static bool coils_are_known(const nrw_rig *rig)
{
    if (!rig->present)
        return false;
    if (rig->n_coils > 0)
        return true;
    for (int i = 0; i < 3; i++)
        if (rig->axes[i].present && isfinite(rig->axes[i].current_max_A))
            return true;
    return false;
}

/* --- the wave -------------------------------------------------------------------------- */

static double stored_energy_J(const nrw_rig_model *model, const double *currents_A)
{
    double energy = 0.0;
    for (int k = 0; k < model->n_coils; k++)
        for (int l = 0; l < model->n_coils; l++)
            energy += 0.5 * model->inductance_H[k][l] * currents_A[k] * currents_A[l];
    return energy;
}

static bool told_to_stop(const nrw_export_config *config, size_t done, size_t of)
{
    return config->progress && done % PROGRESS_EVERY == 0 &&
           config->progress(config->progress_context, (double)done, (double)of);
}

/* First pass over the wave. */
static nrw_status measure(nrw_export *export, nrw_errors *errors)
{
    const int n_coils = export->model.n_coils;
    nrw_wave_sample sample;
    size_t done = 0;
    for (int k = 0; k < NRW_COILS_MAX; k++)
        export->hottest_C[k] = NAN;
    nrw_wave_rewind(export->wave);
    while (nrw_wave_next(export->wave, &sample)) {
        for (int k = 0; k < n_coils; k++) {
            export->peak_A[k] = fmax(export->peak_A[k], fabs(sample.current_A[k]));
            export->peak_V[k] = fmax(export->peak_V[k], fabs(sample.voltage_V[k]));
            export->slew_A_s[k] = fmax(export->slew_A_s[k], fabs(sample.rate_A_s[k]));
            export->rms_A[k] += sample.current_A[k] * sample.current_A[k];
            export->hottest_C[k] = fmax(export->hottest_C[k], sample.temperature_C[k]);
        }
        export->energy_J =
            fmax(export->energy_J, stored_energy_J(&export->model, sample.current_A));
        if (told_to_stop(&export->config, ++done, export->samples))
            return nrw_errors_add(errors, NRW_INTERRUPTED, NULL, "interrupted while measuring");
    }
    for (int k = 0; k < n_coils; k++)
        export->rms_A[k] = sqrt(export->rms_A[k] / (double)done);
    return NRW_OK;
}

/* Times from the clock where every leg has them, from a run otherwise. */
static nrw_status find_times(nrw_export *export, nrw_errors *errors)
{
    const nrw_export_config *config = &export->config;
    export->times = NRW_EXPORT_TIMES_CLOCK;
    nrw_status status = nrw_timeline_of_schedule(config->schedule, config->scenario->deadline_s,
                                                 &export->timeline, NULL);
    if (status != NRW_REFUSED)
        return status;
    export->times = NRW_EXPORT_TIMES_RUN;
    nrw_run_config run = nrw_run_config_defaults();
    run.seed = config->seed;
    run.model = config->model;
    run.record = true;
    run.trajectory_every_s = config->scenario->deadline_s;
    run.progress = config->progress;
    run.progress_context = config->progress_context;
    status =
        nrw_run(config->scenario, config->channel, config->schedule, &run, &export->run, errors);
    if (status != NRW_OK)
        return status;
    return nrw_timeline_of_run(&export->run, &export->timeline, errors);
}

/* The rate asked for, or the rig's, or what samples need if that is more. */
static double rate_of(const nrw_export_config *config)
{
    if (config->sample_rate_Hz > 0.0)
        return config->sample_rate_Hz;
    double rate = config->scenario->rig.sample_rate_Hz;
    for (size_t i = 0; i < config->schedule->n_samples; i++)
        if (config->schedule->samples[i]->rate_Hz > rate * (1.0 + 1e-6))
            rate = config->schedule->samples[i]->rate_Hz;
    return rate;
}

static nrw_status make_wave(nrw_export *export, nrw_errors *errors)
{
    const nrw_export_config *config = &export->config;
    const double rate = rate_of(config);
    nrw_status status = find_times(export, errors);
    if (status == NRW_OK)
        status = nrw_wave_create(&export->rig, config->schedule, &export->timeline, rate,
                                 &export->wave, errors);
    if (status != NRW_OK)
        return status;
    export->samples = nrw_wave_n_samples(export->wave);
    export->duration_s = nrw_wave_duration_s(export->wave);
    const nrw_wave_join *joins = nrw_wave_joins(export->wave, &export->n_joins);
    for (size_t i = 0; i < export->n_joins; i++)
        export->longest_join_s = fmax(export->longest_join_s, joins[i].length_s);
    return measure(export, errors);
}

/* What the fixed-time variant is worth without imaging. */
static nrw_status play_back(nrw_export *export, nrw_errors *errors)
{
    const nrw_export_config *config = &export->config;
    const nrw_playback_config playback = {
        .scenario = config->scenario,
        .channel = config->channel,
        .seed = config->seed,
        .model = config->model,
        .n_trials = export->times == NRW_EXPORT_TIMES_RUN ? config->playback_trials : 0,
        .progress = config->progress,
        .progress_context = config->progress_context,
        .interrupted = config->interrupted,
    };
    return nrw_playback_run(&playback, export->wave, &export->playback, errors);
}

static nrw_status prepare(nrw_export *export, nrw_errors *errors)
{
    nrw_scenario relaxed = *export->config.scenario; /* shallow: only the rig differs */
    relaxed.rig = export->rig;
    nrw_status fits = nrw_rig_check_schedule(&relaxed, export->config.schedule, errors);
    if (fits != NRW_OK && fits != NRW_REFUSED)
        return fits;
    if (fits == NRW_OK)
        fits = make_wave(export, errors);
    export->refused = fits == NRW_REFUSED;
    if (fits != NRW_OK && fits != NRW_REFUSED)
        return fits;
    nrw_status status = nrw_export_check_rig(export, errors);
    if (status == NRW_OK && export->wave)
        status = nrw_export_inform(export, errors);
    if (status == NRW_OK && fits == NRW_OK) {
        fits = nrw_export_refuse_measured(export, errors);
        export->refused = fits == NRW_REFUSED;
    }
    if (status == NRW_OK && fits == NRW_OK)
        status = play_back(export, errors);
    return status == NRW_OK ? fits : status;
}

nrw_status nrw_export_prepare(nrw_export *export, const nrw_export_config *config,
                              nrw_errors *errors)
{
    memset(export, 0, sizeof *export);
    export->config = *config;
    const nrw_rig *rig = &config->scenario->rig;
    if (!coils_are_known(rig))
        return nrw_errors_add_at(errors, NRW_BAD_INPUT, config->scenario->path, 1, 1, "rig",
                                 "rig.axes or rig.coils with mT_per_A, resistance, inductance "
                                 "and limits",
                                 "no coil is known to compute currents for");
    nrw_status status = nrw_rig_model_init(&export->model, rig, errors);
    if (status != NRW_OK)
        return status;
    nrw_export_ask(export);
    export->rig = *rig;
    relax(export);
    return prepare(export, errors);
}

void nrw_export_clear(nrw_export *export)
{
    nrw_wave_destroy(export->wave);
    nrw_timeline_clear(&export->timeline);
    nrw_run_result_clear(&export->run);
    free(export->checks);
    memset(export, 0, sizeof *export);
}
