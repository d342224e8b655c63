/* narrows check: validates the files and prints what follows from them. */
#include <math.h>
#include <string.h>

#include "job.h"

/* Below this coupling swarms were not found to gather in every case
 * (docs/physics.md, section 7). */
#define COUPLING_GATHERS 11.0
#define COUPLING_LOST 2.0

typedef struct check_figures {
    double field_mT; /* NAN: no field is known */
    const char *field_source;
    double viscosity_mPa_s, density_kg_m3, moment_fAm2, diffusion_um2_s, settling_um_s;
    double step_out_Hz, gap_um, thermal_coupling, narrowest_um, route_length_um;
    double gathered_diameter_um;
    bool must_reshape;
    const nrw_throat *throats; /* borrowed from the channel */
    size_t n_throats;
    nrw_validity_list validity; /* of the schedule; owned */
} check_figures;

/* Both settings of a leg's drive; n is 1 without alternation. */
typedef struct leg_settings {
    const nrw_drive_setting *settings[2];
    size_t n;
} leg_settings;

static leg_settings settings_of(const nrw_leg *leg)
{
    return (leg_settings){{&leg->drive.main, &leg->drive.other},
                          leg->drive.alternate_share > 0.0 ? 2 : 1};
}

/* Adding 0 turns -0 into 0, which reads better. */
static nrw_vec3 without_sign_of_zero(nrw_vec3 vector)
{
    return (nrw_vec3){vector.x + 0.0, vector.y + 0.0, vector.z + 0.0};
}

/* The expansion of a setting at its fixed heading, or at heading 0 where
 * feedback turns it. */
static nrw_field expand(const nrw_drive_setting *setting)
{
    double heading_deg =
        setting->heading_kind == NRW_HEADING_FIXED && setting->mode != NRW_DRIVE_GENERAL
            ? setting->heading_deg
            : 0.0;
    nrw_field field = nrw_drive_field(setting, heading_deg * NRW_DEGREE, setting->tilt_deg);
    field.steady = without_sign_of_zero(field.steady);
    field.cos = without_sign_of_zero(field.cos);
    field.sin = without_sign_of_zero(field.sin);
    return field;
}

/* --- figures ------------------------------------------------------------------ */

static double largest_field_mT(const nrw_schedule *schedule)
{
    double largest = 0.0;
    for (size_t i = 0; i < schedule->n_legs; i++) {
        leg_settings drive = settings_of(&schedule->legs[i]);
        for (size_t j = 0; j < drive.n; j++) {
            const nrw_field field = expand(drive.settings[j]);
            largest = fmax(largest, drive.settings[j]->samples ? drive.settings[j]->samples->peak_mT
                                                               : nrw_field_peak_mT(&field));
        }
    }
    return largest;
}

/* The field that the figures are for: the rig's largest; where there is no rig,
 * the largest that the schedule or the sweep asks for. */
static void choose_field(const nrw_job *job, check_figures *figures)
{
    const nrw_scenario *scenario = job->scenario;
    figures->field_mT = NAN;
    figures->field_source = "no rig, schedule or sweep names a field";
    if (scenario->rig.present) {
        figures->field_mT = scenario->rig.field_max_mT;
        figures->field_source = "the rig's largest field";
    } else if (job->schedule.n_legs > 0) {
        figures->field_mT = largest_field_mT(&job->schedule);
        figures->field_source = "the schedule's largest field";
    } else if (scenario->sweep.present) {
        figures->field_mT = scenario->sweep.drive.main.field_mT;
        figures->field_source = "the sweep's field";
    }
}

/* Lone-particle figures in unbounded fluid. */
static void compute_particle(const nrw_scenario *scenario, check_figures *figures)
{
    const nrw_particles *particles = &scenario->particles;
    const nrw_lone_particle lone = nrw_lone_particle_of(scenario, figures->field_mT);
    const bool permanent = particles->kind == NRW_MOMENT_PERMANENT;
    const double weight =
        scenario->model.gravity ? nrw_particle_weight_pN(scenario, particles->diameter_um) : 0.0;

    figures->viscosity_mPa_s = 1e3 * scenario->fluid.viscosity_Pa_s;
    figures->density_kg_m3 = scenario->fluid.density_kg_m3;
    figures->diffusion_um2_s = nrw_thermal_energy_pN_um(scenario) / lone.drag_pN_s_um;
    figures->settling_um_s = weight / lone.drag_pN_s_um;
    figures->gap_um = lone.gap_um;
    figures->step_out_Hz = lone.step_out_Hz;
    figures->moment_fAm2 = figures->thermal_coupling = NAN;
    if (!permanent && isnan(figures->field_mT))
        return;
    const double field = isnan(figures->field_mT) ? 0.0 : figures->field_mT;
    figures->moment_fAm2 = nrw_particle_moment_fAm2(particles, particles->diameter_um, field);
    figures->thermal_coupling = nrw_thermal_coupling(scenario, field);
}

static void compute_channel(const nrw_job *job, check_figures *figures)
{
    double at_um[2];
    figures->gathered_diameter_um = nrw_scenario_gathered_diameter_um(job->scenario);
    figures->narrowest_um = figures->route_length_um = NAN;
    if (!job->channel)
        return;
    figures->narrowest_um = nrw_channel_narrowest_um(job->channel, at_um);
    figures->route_length_um = nrw_channel_route_length_um(job->channel);
    figures->throats = nrw_channel_throats(job->channel, &figures->n_throats);
    figures->must_reshape = figures->n_throats > 0;
}

static void warn(const nrw_job *job, const check_figures *figures)
{
    const nrw_scenario *scenario = job->scenario;
    char text[320];
    if (figures->thermal_coupling < COUPLING_GATHERS) {
        (void)snprintf(text, sizeof text,
                       "thermal coupling %.3g at %.3g mT: %s (gathering was found from %g on)",
                       figures->thermal_coupling, figures->field_mT,
                       figures->thermal_coupling <= COUPLING_LOST
                           ? "Brownian motion wins, a swarm is not expected to gather"
                           : "a swarm may not gather",
                       COUPLING_GATHERS);
        nrw_result_warn(job->result, text);
    }
    if (scenario->particles.kind == NRW_MOMENT_INDUCED && !scenario->particles.shape.doublet &&
        !(scenario->particles.relaxation_time_s > 0.0) &&
        !(scenario->particles.remanent_fAm2 > 0.0))
        nrw_result_warn(job->result,
                        "an induced sphere without relaxation_time_s feels no torque: it can't "
                        "spin or roll, so a swarm of it won't travel");
    if (figures->narrowest_um < scenario->particles.diameter_um) {
        (void)snprintf(text, sizeof text,
                       "the route's narrowest width, %.4g um, is below one particle's diameter, "
                       "%.4g um: nothing passes",
                       figures->narrowest_um, scenario->particles.diameter_um);
        nrw_result_warn(job->result, text);
    }
}

/* --- as JSON ------------------------------------------------------------------ */

static void add_throats(const nrw_job *job, const check_figures *figures)
{
    nrw_result_open_array(job->result, "throats");
    for (size_t i = 0; i < figures->n_throats; i++) {
        const nrw_throat *throat = &figures->throats[i];
        nrw_result_open_object(job->result, NULL);
        nrw_result_numbers(job->result, "at_um", 2, throat->at_um);
        nrw_result_number(job->result, "width_um", throat->narrowest_um);
        nrw_result_number(job->result, "length_um", throat->exit_um - throat->entry_um);
        nrw_result_close(job->result);
    }
    nrw_result_close(job->result);
}

static void add_vector(nrw_result *result, const char *key, nrw_vec3 vector)
{
    nrw_result_numbers(result, key, 3, (const double[]){vector.x, vector.y, vector.z});
}

static void add_samples(nrw_result *result, const nrw_samples *samples)
{
    nrw_result_open_object(result, "samples");
    nrw_result_string(result, "file", samples->file);
    nrw_result_integer(result, "samples", (int64_t)samples->n);
    nrw_result_number(result, "sample_rate_Hz", samples->rate_Hz);
    nrw_result_number(result, "duration_s", nrw_samples_duration_s(samples));
    nrw_result_number(result, "peak_mT", samples->peak_mT);
    nrw_result_number(result, "peak_rate_mT_s", samples->peak_rate_mT_s);
    nrw_result_string(result, "sha256", samples->sha256);
    nrw_result_close(result);
}

/* The regime and the expansion of one setting, into the open object. */
static void add_setting(const nrw_job *job, const nrw_drive_setting *setting)
{
    nrw_result *result = job->result;
    nrw_regime regime = nrw_regime_of(job->scenario, setting, NULL);
    nrw_field field = expand(setting);
    nrw_result_number(result, "mason_number", regime.mason_number);
    nrw_result_number(result, "cycle_displacement", regime.cycle_displacement);
    nrw_result_number(result, "shedding_number", regime.shedding_number);
    nrw_result_number(result, "spin_Hz", regime.spin_Hz);
    nrw_result_number(result, "lone_speed_um_s", regime.lone_speed_um_s);
    nrw_result_string(result, "recommended_model", nrw_model_name(regime.recommended));
    nrw_result_number(result, "moment_fAm2", regime.moment_fAm2);
    nrw_result_number(result, "step_out_Hz", regime.step_out_Hz);
    if (setting->samples) {
        add_samples(result, setting->samples);
        return;
    }
    nrw_result_open_object(result, "general");
    nrw_result_number(result, "frequency_Hz", field.frequency_Hz);
    add_vector(result, "steady_mT", field.steady);
    add_vector(result, "cos_mT", field.cos);
    add_vector(result, "sin_mT", field.sin);
    nrw_result_close(result);
}

static void add_legs(const nrw_job *job)
{
    nrw_result_open_array(job->result, "legs");
    for (size_t i = 0; i < job->schedule.n_legs; i++) {
        const nrw_leg *leg = &job->schedule.legs[i];
        leg_settings drive = settings_of(leg);
        nrw_result_open_object(job->result, NULL);
        nrw_result_string(job->result, "name", leg->name);
        add_setting(job, drive.settings[0]);
        if (drive.n > 1) {
            nrw_result_open_object(job->result, "alternate");
            add_setting(job, drive.settings[1]);
            nrw_result_close(job->result);
        }
        nrw_result_close(job->result);
    }
    nrw_result_close(job->result);
}

static void add_figures(const nrw_job *job, const check_figures *figures)
{
    nrw_result *result = job->result;
    nrw_result_number(result, "field_mT", figures->field_mT);
    nrw_result_number(result, "viscosity_mPa_s", figures->viscosity_mPa_s);
    nrw_result_number(result, "density_kg_m3", figures->density_kg_m3);
    nrw_result_number(result, "moment_fAm2", figures->moment_fAm2);
    nrw_result_number(result, "diffusion_um2_s", figures->diffusion_um2_s);
    nrw_result_number(result, "settling_um_s", figures->settling_um_s);
    nrw_result_number(result, "step_out_Hz", figures->step_out_Hz);
    nrw_result_number(result, "gap_um", figures->gap_um);
    nrw_result_number(result, "thermal_coupling", figures->thermal_coupling);
    nrw_result_number(result, "narrowest_um", figures->narrowest_um);
    nrw_result_number(result, "route_length_um", figures->route_length_um);
    nrw_result_number(result, "gathered_diameter_um", figures->gathered_diameter_um);
    nrw_result_bool(result, "must_reshape", figures->must_reshape);
    add_throats(job, figures);
    nrw_flow_add_figures(result, job->scenario, job->channel);
    nrw_rig_add_figures(result, job->scenario);
    if (job->schedule.n_legs > 0) {
        add_legs(job);
        nrw_validity_figures(result, &figures->validity);
    }
}

/* --- in words ----------------------------------------------------------------- */

static void line(FILE *stream, const char *name, double value, const char *unit)
{
    if (isfinite(value))
        (void)fprintf(stream, "  %-22s %.4g %s\n", name, value, unit);
    else
        (void)fprintf(stream, "  %-22s -\n", name);
}

static void describe_channel(const check_figures *figures, FILE *stream)
{
    (void)fprintf(stream, "\nChannel\n");
    line(stream, "route", figures->route_length_um, "um long");
    line(stream, "narrowest", figures->narrowest_um, "um wide");
    line(stream, "gathered swarm", figures->gathered_diameter_um, "um across");
    (void)fprintf(stream, "  %-22s %s\n", "must reshape", figures->must_reshape ? "yes" : "no");
    for (size_t i = 0; i < figures->n_throats; i++) {
        const nrw_throat *throat = &figures->throats[i];
        (void)fprintf(stream, "  throat %-15zu %.4g um wide, %.4g um long, at (%.4g, %.4g) um\n",
                      i + 1, throat->narrowest_um, throat->exit_um - throat->entry_um,
                      throat->at_um[0], throat->at_um[1]);
    }
}

/* What is only rounding beside the field's size is printed as 0. */
static void print_vector(FILE *stream, const char *key, nrw_vec3 vector, double size)
{
    const double parts[] = {vector.x, vector.y, vector.z};
    for (int i = 0; i < 3; i++)
        (void)fprintf(stream, "%s%s%s%.6g", i ? "" : ", ", i ? "" : key, i ? ", " : ": [",
                      fabs(parts[i]) < 1e-12 * size ? 0.0 : parts[i]);
    (void)fprintf(stream, "]");
}

static void describe_samples(const nrw_samples *samples, FILE *stream)
{
    (void)fprintf(stream, "  %-22s %zu of %s\n", "samples", samples->n, samples->file);
    line(stream, "sample rate", samples->rate_Hz, "Hz");
    line(stream, "duration", nrw_samples_duration_s(samples), "s");
    line(stream, "largest field", samples->peak_mT, "mT");
    line(stream, "fastest change", 1e-3 * samples->peak_rate_mT_s, "T/s");
}

static void describe_setting(const nrw_job *job, const nrw_drive_setting *setting, FILE *stream)
{
    nrw_regime regime = nrw_regime_of(job->scenario, setting, NULL);
    nrw_field field = expand(setting);
    line(stream, "spin", regime.spin_Hz, "Hz");
    line(stream, "lone roller", regime.lone_speed_um_s, "um/s");
    line(stream, "contacts move N_b", regime.cycle_displacement, "diameters a cycle");
    line(stream, "shedding Lambda", regime.shedding_number, "");
    (void)fprintf(stream, "  %-22s %s (%s)\n", "model", nrw_model_name(regime.recommended),
                  regime.reason);
    if (setting->samples) {
        describe_samples(setting->samples, stream);
        return;
    }
    (void)fprintf(stream, "  %-22s frequency_Hz: %.6g", "as general drive", field.frequency_Hz);
    print_vector(stream, "steady_mT", field.steady, nrw_field_peak_mT(&field));
    print_vector(stream, "cos_mT", field.cos, nrw_field_peak_mT(&field));
    print_vector(stream, "sin_mT", field.sin, nrw_field_peak_mT(&field));
    (void)fprintf(stream, "%s\n",
                  setting->heading_kind == NRW_HEADING_FIXED ? "" : " (at heading 0)");
}

static void describe_legs(const nrw_job *job, FILE *stream)
{
    for (size_t i = 0; i < job->schedule.n_legs; i++) {
        const nrw_leg *leg = &job->schedule.legs[i];
        leg_settings drive = settings_of(leg);
        for (size_t j = 0; j < drive.n; j++) {
            const nrw_drive_setting *setting = drive.settings[j];
            double share = leg->drive.alternate_share;
            (void)fprintf(stream, "\nLeg %zu \"%s\": %s", i + 1, leg->name,
                          nrw_drive_mode_name(setting->mode));
            if (setting->mode == NRW_DRIVE_ROTATING)
                (void)fprintf(stream, ", tilt %.4g deg", setting->tilt_deg);
            if (drive.n > 1)
                (void)fprintf(stream, ", %.3g %% of every %.4g s",
                              100.0 * (j == 0 ? 1.0 - share : share),
                              leg->drive.alternate_period_s);
            (void)fprintf(stream, "\n");
            describe_setting(job, setting, stream);
        }
    }
}

static void describe(const nrw_job *job, const void *context, FILE *stream)
{
    const check_figures *figures = context;
    nrw_job_describe_title(job, stream);
    (void)fprintf(stream, "\nFluid\n");
    line(stream, "viscosity", figures->viscosity_mPa_s, "mPa s");
    line(stream, "density", figures->density_kg_m3, "kg/m3");
    (void)fprintf(stream, "\nOne particle, in unbounded fluid");
    if (isfinite(figures->field_mT))
        (void)fprintf(stream, ", at %.4g mT (%s)", figures->field_mT, figures->field_source);
    else
        (void)fprintf(stream, " (%s)", figures->field_source);
    (void)fprintf(stream, "\n");
    line(stream, "moment", figures->moment_fAm2, "fA m2");
    line(stream, "diffusion", figures->diffusion_um2_s, "um2/s");
    line(stream, "settling", figures->settling_um_s, "um/s");
    line(stream, "step-out", figures->step_out_Hz, "Hz");
    line(stream, "gap above the floor", figures->gap_um, "um");
    line(stream, "thermal coupling", figures->thermal_coupling, "(gathers from about 11 on)");
    describe_channel(figures, stream);
    nrw_flow_describe(job->scenario, job->channel, stream);
    nrw_rig_describe(job->scenario, stream);
    describe_legs(job, stream);
    nrw_validity_describe(&figures->validity, stream);
    if (job->options->given & NRW_OPTION_WIZARD)
        nrw_signs_describe(job->scenario, stream);
    nrw_job_describe_warnings(job, stream);
}

static nrw_status run(const nrw_command_options *options, nrw_errors *errors)
{
    nrw_job job;
    check_figures figures;
    memset(&figures, 0, sizeof figures);
    nrw_status status = nrw_job_begin(&job, "check", options, errors);
    if (status == NRW_OK || status == NRW_REFUSED) {
        choose_field(&job, &figures);
        compute_particle(job.scenario, &figures);
        compute_channel(&job, &figures);
        if (status == NRW_OK && job.schedule.n_legs > 0)
            status = nrw_rig_check_schedule(job.scenario, &job.schedule, errors);
        nrw_validity_list_add(&figures.validity, job.scenario, job.channel, &job.schedule, NULL,
                              NRW_MODEL_AUTO, NULL, NULL);
        warn(&job, &figures);
        add_figures(&job, &figures);
        if ((options->given & NRW_OPTION_WIZARD) && status == NRW_OK)
            status = nrw_signs_add_figures(job.result, job.scenario, errors);
        status = nrw_job_finish(&job, status, describe, &figures);
    }
    nrw_validity_list_clear(&figures.validity);
    nrw_job_clear(&job);
    return status;
}

const nrw_command nrw_command_check = {
    .name = "check",
    .summary = "read and validate a scenario (and a schedule); print what follows from them",
    .arguments = "SCENARIO [--schedule FILE] [--wizard] [--out DIR] [--json]",
    .examples = "  narrows check scenario.yaml\n"
                "  narrows check scenario.yaml --wizard\n"
                "  narrows check scenario.yaml --schedule schedule.yaml --json\n",
    .details =
        "Nothing is simulated. Every error of a file is told at once, one a line. With a\n"
        "schedule each leg's regime is shown, the field as a general drive, and whether the\n"
        "rig can give it (exit status 1 if not). With --wizard comes a list of what to verify\n"
        "before the first experiment: signs, axes, handedness, the picture.\n",
    .options = NRW_OPTION_SCHEDULE | NRW_OPTION_OUT | NRW_OPTION_FORCE | NRW_OPTION_WIZARD,
    .files_min = 1,
    .files_max = 1,
    .schedules_max = 1,
    .run = run,
};
