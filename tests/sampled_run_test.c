#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "run.h"
#include "sampled_setup.h"
#include "small_setup.h"

/* Runs of a drive and of its sampled copy. */

static small_setup setup;
static nrw_leg leg, played;
static nrw_samples *samples;
static nrw_run_config config;
static nrw_run_result drive, copy;
static nrw_errors errors;

static void begin(void)
{
    setup = small_setup_open(1, NULL);
    leg = played = nrw_leg_defaults();
    (void)snprintf(leg.name, sizeof leg.name, "drive");
    (void)snprintf(played.name, sizeof played.name, "copy");
    leg.drive.main.field_mT = 10.0;
    leg.drive.main.frequency_Hz = 50.0;
    leg.drive.main.tilt_deg = 30.0;
    leg.drive.main.heading_deg = 25.0;
    leg.timeout_s = 4.0;
    samples = NULL;
    config = nrw_run_config_defaults();
    config.model = NRW_MODEL_RESOLVED;
    memset(&drive, 0, sizeof drive);
    memset(&copy, 0, sizeof copy);
    nrw_errors_init(&errors);
}

static void end(void)
{
    nrw_samples_destroy(samples);
    nrw_run_result_clear(&drive);
    nrw_run_result_clear(&copy);
    nrw_errors_clear(&errors);
    small_setup_clear(&setup);
}

TestSuite(sampled_run, .init = begin, .fini = end);

static void run(nrw_leg *which, nrw_run_result *result)
{
    const nrw_schedule schedule = {.legs = which, .n_legs = 1};
    nrw_run_result_clear(result);
    const nrw_status status =
        nrw_run(setup.scenario, setup.channel, &schedule, &config, result, &errors);
    cr_assert_eq(status, NRW_OK, "%s", errors.n_items ? errors.items[0].what : "");
}

/* Runs the leg and its copy at a sample rate. */
static void run_both(double rate_Hz)
{
    const nrw_drive_setting *setting = &leg.drive.main;
    const nrw_field field =
        nrw_drive_field(setting, setting->heading_deg * NRW_DEGREE, setting->tilt_deg);
    samples = sampled_copy(&field, rate_Hz, (size_t)llround(leg.timeout_s * rate_Hz) + 1);
    played.drive.main.mode = NRW_DRIVE_SAMPLED;
    played.drive.main.samples = samples;
    played.timeout_s = nrw_samples_duration_s(samples);
    run(&leg, &drive);
    run(&played, &copy);
}

static void centroid(const nrw_run_result *result, double at[2])
{
    at[0] = at[1] = 0.0;
    for (size_t i = 0; i < result->n_particles; i++) {
        at[0] += result->x_um[i] / (double)result->n_particles;
        at[1] += result->y_um[i] / (double)result->n_particles;
    }
}

static void swarm_of(size_t n)
{
    setup.scenario->particles.count = n;
    setup.scenario->release.radius_um = 1.5 * sqrt((double)n / 0.5);
    setup.scenario->model.pair_flow = true;
}

Test(sampled_run, lone_particle_rolls_as_far_as_under_the_drive)
{
    run_both(10000.0);
    const double far = hypot(drive.x_um[0], drive.y_um[0]);
    cr_assert_gt(far, 1.0);
    /* straight pieces weaken the torque by 1e-4; the mean is taken over half-cycles, which
     * the first and the last 10 ms of 4 s lack */
    cr_assert_leq(hypot(copy.x_um[0] - drive.x_um[0], copy.y_um[0] - drive.y_um[0]), 2e-3 * far);
    cr_assert_float_eq(copy.mean_spin_Hz, drive.mean_spin_Hz, 2e-3 * fabs(drive.mean_spin_Hz));
    cr_assert_eq(copy.visits[0].model, NRW_MODEL_RESOLVED);
    cr_assert_eq(copy.visits[0].end, NRW_LEG_TIMEOUT);
    cr_assert_float_eq(copy.time_s, 4.0, 1e-9);
}

Test(sampled_run, moments_at_the_end_are_those_of_the_drive)
{
    leg.timeout_s = 1.0043;
    run_both(10000.0);
    const double size =
        sqrt(drive.moment_x[0] * drive.moment_x[0] + drive.moment_y[0] * drive.moment_y[0] +
             drive.moment_z[0] * drive.moment_z[0]);
    cr_assert_gt(size, 1.0);
    cr_assert_float_eq(copy.moment_x[0], drive.moment_x[0], 1e-3 * size);
    cr_assert_float_eq(copy.moment_y[0], drive.moment_y[0], 1e-3 * size);
    cr_assert_float_eq(copy.moment_z[0], drive.moment_z[0], 1e-3 * size);
}

Test(sampled_run, swarm_drifts_as_far_as_under_the_drive)
{
    swarm_of(24);
    leg.timeout_s = 8.0;
    run_both(10000.0);
    double from[2], to[2];
    const double *start = setup.scenario->release.at_um;
    centroid(&drive, from);
    centroid(&copy, to);
    const double far = hypot(from[0] - start[0], from[1] - start[1]);
    cr_assert_gt(far, 5.0);
    /* contacts amplify differences, so that single particles part; the drifts of the whole
     * differ by 0.5 % here */
    cr_assert_leq(hypot(to[0] - from[0], to[1] - from[1]), 0.03 * far, "%g of %g µm",
                  hypot(to[0] - from[0], to[1] - from[1]), far);
}

Test(sampled_run, rolling_turns_round_with_the_samples)
{
    leg.drive.main.heading_deg = 0.0;
    run_both(10000.0);
    const double forward = copy.x_um[0];
    for (size_t k = 0; k < samples->n; k++)
        samples->field_mT[k][2] = -samples->field_mT[k][2];
    run(&played, &copy);
    cr_assert_gt(forward, 1.0);
    cr_assert_float_eq(copy.x_um[0], -forward, 1e-3 * forward); /* floats of the positions */
}

Test(sampled_run, permanent_moments_follow_the_samples_as_they_follow_the_drive)
{
    const double headings[1] = {25.0};
    small_setup_permanent(&setup, 30.0, headings);
    leg.drive.main.tilt_deg = 90.0;
    leg.drive.main.frequency_Hz = 20.0;
    run_both(5000.0);
    const double far = hypot(drive.x_um[0], drive.y_um[0]);
    cr_assert_gt(far, 5.0);
    /* steps of 1/64 cycle take the field in their middle or its mean: 1e-3 of its size */
    cr_assert_leq(hypot(copy.x_um[0] - drive.x_um[0], copy.y_um[0] - drive.y_um[0]), 0.01 * far,
                  "(%g, %g) against (%g, %g)", copy.x_um[0], copy.y_um[0], drive.x_um[0],
                  drive.y_um[0]);
}

Test(sampled_run, averaged_model_is_refused_and_auto_takes_the_resolved_one)
{
    leg.timeout_s = 0.2;
    run_both(10000.0);
    config.model = NRW_MODEL_AUTO;
    run(&played, &copy);
    cr_assert_eq(copy.visits[0].model, NRW_MODEL_RESOLVED);
    config.model = NRW_MODEL_AVERAGED;
    const nrw_schedule schedule = {.legs = &played, .n_legs = 1};
    nrw_run_result_clear(&copy);
    cr_assert_eq(nrw_run(setup.scenario, setup.channel, &schedule, &config, &copy, &errors),
                 NRW_REFUSED);
    cr_assert_eq(errors.n_items, 1);
    cr_assert_not_null(strstr(errors.items[0].what, "leg \"copy\""));
    cr_assert_not_null(strstr(errors.items[0].expected, "auto"));
}
