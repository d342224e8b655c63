#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "random.h"
#include "sampled_average.h"
#include "sampled_setup.h"
#include "small_setup.h"

static small_setup setup;
static nrw_samples *samples;

static void begin(void)
{
    setup = small_setup_open(1, NULL);
    samples = NULL;
}

static void end(void)
{
    nrw_samples_destroy(samples);
    small_setup_clear(&setup);
}

TestSuite(sampled, .init = begin, .fini = end);

static nrw_body body_of(double relaxation_s)
{
    setup.scenario->particles.relaxation_time_s = relaxation_s;
    return nrw_body_of(setup.scenario, NULL);
}

static double vector_error(nrw_vec3 a, nrw_vec3 b)
{
    return nrw_vec3_norm(nrw_vec3_add(a, nrw_vec3_scale(b, -1.0)));
}

static double tensor_error(nrw_sym3 a, nrw_sym3 b)
{
    const nrw_sym3 d = nrw_sym3_add_scaled(a, b, -1.0);
    return sqrt(d.xx * d.xx + d.yy * d.yy + d.zz * d.zz +
                2.0 * (d.xy * d.xy + d.xz * d.xz + d.yz * d.yz));
}

/* Means over two whole cycles of 50 Hz, well inside the samples. */
static nrw_average mean_of_two_cycles(const nrw_body *body)
{
    nrw_average average;
    nrw_sampled_averages(body, samples, 0.02, 0.06, 1, &average);
    return average;
}

/* --- the field ------------------------------------------------------------------ */

Test(sampled, field_is_straight_between_samples_and_rests_outside)
{
    const nrw_field field = {.steady = {1.0, 2.0, -3.0}, .cos = {4.0, 0.0, 0.0}, .frequency_Hz = 1};
    samples = sampled_copy(&field, 4.0, 4); /* x: 5, 1, −3, 1 */
    const double at_s[] = {-1.0, 0.0, 0.0625, 0.25, 0.6, 0.75, 9.0};
    const double x[] = {5.0, 5.0, 4.0, 1.0, -1.4, 1.0, 1.0};
    for (int k = 0; k < 7; k++) {
        const nrw_vec3 b = nrw_samples_at(samples, at_s[k]);
        cr_assert_float_eq(b.x, x[k], 1e-6, "%g s: %g", at_s[k], b.x); /* floats */
        cr_assert_float_eq(b.y, 2.0, 1e-6);
        cr_assert_float_eq(b.z, -3.0, 1e-6);
    }
    cr_assert_float_eq(nrw_samples_duration_s(samples), 0.75, 1e-12);
    cr_assert_float_eq(samples->peak_mT, sqrt(25.0 + 4.0 + 9.0), 1e-6);
    cr_assert_float_eq(samples->peak_rate_mT_s, 16.0, 1e-5);
}

Test(sampled, rhythm_is_the_frequency_of_what_turns_swings_or_precesses)
{
    nrw_drive_setting setting = nrw_drive_setting_defaults();
    setting.field_mT = 10.0;
    setting.frequency_Hz = 50.0;
    setting.cone_deg = 15.0;
    const nrw_drive_mode modes[] = {NRW_DRIVE_ROTATING, NRW_DRIVE_OSCILLATING,
                                    NRW_DRIVE_PRECESSING};
    for (int k = 0; k < 3; k++) {
        setting.mode = modes[k];
        const nrw_field field = nrw_drive_field(&setting, 0.4, 0.0);
        samples = sampled_copy(&field, 10000.0, 2000);
        /* straight pieces shorten a cycle of 200 by 1e-4, floats disturb by 1e-5 */
        cr_assert_float_eq(nrw_samples_rhythm_Hz(samples, 0.02, 0.06), 50.0, 0.02);
        cr_assert_eq(nrw_samples_rhythm_Hz(samples, 9.0, 9.1), 0.0, "the last sample holds");
        nrw_samples_destroy(samples);
    }
    setting.mode = NRW_DRIVE_STEADY;
    const nrw_field steady = nrw_drive_field(&setting, 0.4, 0.0);
    samples = sampled_copy(&steady, 10000.0, 2000);
    cr_assert_eq(nrw_samples_rhythm_Hz(samples, 0.02, 0.06), 0.0);
    cr_assert_eq(nrw_samples_rhythm_Hz(samples, 9.0, 9.1), 0.0, "after the end");
}

/* --- averages ------------------------------------------------------------------- */

/* From lags of a thousandth of a cycle to a whole radian. */
Test(sampled, copy_of_a_turning_field_has_its_tensor_and_torque_whatever_the_lag)
{
    const double lags[] = {1e-7, 1e-5, 5e-4, 1.0 / (2.0 * NRW_PI * 50.0)};
    const nrw_field field = small_rotating(10.0, 50.0, 35.0);
    samples = sampled_copy(&field, 10000.0, 2000);
    for (int k = 0; k < 4; k++) {
        const nrw_body body = body_of(lags[k]);
        const nrw_average exact = nrw_average_of(&body, &field);
        const nrw_average got = mean_of_two_cycles(&body);
        /* straight pieces: the square of B falls by (π/200)²/3 = 8e-5, the torque by as much */
        cr_expect_leq(tensor_error(got.moment2, exact.moment2), 2e-4 * exact.size2);
        cr_expect_leq(vector_error(got.torque, exact.torque), 2e-4 * nrw_vec3_norm(exact.torque),
                      "lag %g: (%g, %g, %g) against (%g, %g, %g)", lags[k], got.torque.x,
                      got.torque.y, got.torque.z, exact.torque.x, exact.torque.y, exact.torque.z);
        cr_expect_leq(vector_error(got.spin, exact.spin), 2e-4 * nrw_vec3_norm(exact.spin));
        cr_expect_float_eq(got.size2, exact.size2, 2e-4 * exact.size2);
    }
}

Test(sampled, field_that_turns_the_other_way_turns_the_particle_the_other_way)
{
    nrw_drive_setting setting = nrw_drive_setting_defaults();
    setting.field_mT = 10.0;
    setting.frequency_Hz = 50.0;
    const nrw_body body = body_of(1e-5);
    double spins[2];
    for (int k = 0; k < 2; k++) {
        setting.sense = k == 0 ? NRW_SENSE_LEFT : NRW_SENSE_RIGHT;
        const nrw_field field = nrw_drive_field(&setting, 0.0, 0.0);
        samples = sampled_copy(&field, 10000.0, 2000);
        spins[k] = mean_of_two_cycles(&body).spin.z;
        if (k == 0) {
            nrw_samples_destroy(samples);
            samples = NULL;
        }
    }
    cr_assert_gt(spins[0], 0.0, "left is anticlockwise from above");
    cr_assert_float_eq(spins[1], -spins[0], 1e-9 * spins[0]);
}

Test(sampled, saturated_copy_has_the_tensor_and_torque_of_the_field)
{
    setup.scenario->particles.saturation_kA_m = 2.0; /* a third of the way at 10 mT */
    const nrw_body body = body_of(5e-4);
    nrw_field field = small_rotating(10.0, 50.0, 35.0);
    field.steady = (nrw_vec3){3.0, 0.0, 4.0}; /* so that the size changes in a cycle */
    samples = sampled_copy(&field, 10000.0, 2000);
    const nrw_average exact = nrw_average_of(&body, &field), got = mean_of_two_cycles(&body);
    cr_expect_leq(tensor_error(got.moment2, exact.moment2), 2e-4 * exact.size2);
    cr_expect_leq(vector_error(got.torque, exact.torque), 2e-4 * nrw_vec3_norm(exact.torque));
}

/* Small implicit steps of dF/dt = (B − F)/τ: the naive twin of the closed form. */
static void naive(const nrw_body *body, double from_s, double to_s, nrw_vec3 *followed,
                  nrw_average *average)
{
    enum { N = 200000 };
    const double h = (to_s - from_s) / N, share = 0.5 * h / body->relaxation_s;
    memset(average, 0, sizeof *average);
    for (int i = 0; i < N; i++) {
        const nrw_vec3 b = nrw_samples_at(samples, from_s + h * (i + 0.5));
        const nrw_vec3 middle =
            nrw_vec3_scale(nrw_vec3_add(*followed, nrw_vec3_scale(b, share)), 1.0 / (1.0 + share));
        *followed = nrw_vec3_add(nrw_vec3_scale(middle, 2.0), nrw_vec3_scale(*followed, -1.0));
        const nrw_vec3 m = nrw_vec3_scale(middle, body->slope_fAm2_mT);
        average->moment2 = nrw_sym3_add_scaled(average->moment2, nrw_sym3_outer(m), 1.0 / N);
        average->torque =
            nrw_vec3_add(average->torque, nrw_vec3_scale(nrw_vec3_cross(m, b), 1.0 / N));
    }
}

Test(sampled, closed_form_is_that_of_small_steps_for_any_samples)
{
    enum { N = 24 };
    float(*field_mT)[3] = malloc(N * sizeof *field_mT);
    for (int k = 0; k < N; k++) {
        double normals[4];
        nrw_normal4(7, NRW_STREAM_IMAGING, 0, (uint32_t)k, normals);
        for (int i = 0; i < 3; i++)
            field_mT[k][i] = (float)(5.0 * normals[i]);
    }
    samples = nrw_samples_create("noise.csv", "noise.csv", 1000.0, N, field_mT);
    const double lags[] = {1e-4, 1e-3, 5e-3};
    for (int k = 0; k < 3; k++) {
        const nrw_body body = body_of(lags[k]);
        nrw_average exact, got;
        nrw_vec3 followed = nrw_samples_at(samples, 0.0);
        naive(&body, -40.0 * lags[k], 0.00437, &followed, &exact);
        naive(&body, 0.00437, 0.01741, &followed, &exact);
        nrw_sampled_averages(&body, samples, 0.00437, 0.01741, 1, &got);
        const double size2 = exact.moment2.xx + exact.moment2.yy + exact.moment2.zz;
        /* a small step is 1e-4 of a sample's interval; corners lie inside steps */
        cr_expect_leq(tensor_error(got.moment2, exact.moment2), 1e-6 * size2, "lag %g", lags[k]);
        cr_expect_leq(vector_error(got.torque, exact.torque), 1e-6 * nrw_vec3_norm(exact.torque),
                      "lag %g", lags[k]);
    }
}

Test(sampled, parts_of_a_window_add_up_to_the_whole_also_past_the_ends)
{
    enum { PARTS = 7 };
    const nrw_field field = small_rotating(10.0, 50.0, 20.0);
    samples = sampled_copy(&field, 10000.0, 400);
    const nrw_body body = body_of(2e-4);
    const double windows[][2] = {{0.0123, 0.0271}, {-0.01, 0.005}, {0.035, 0.06}};
    for (int w = 0; w < 3; w++) {
        nrw_average parts[PARTS], whole;
        nrw_sampled_averages(&body, samples, windows[w][0], windows[w][1], PARTS, parts);
        nrw_sampled_averages(&body, samples, windows[w][0], windows[w][1], 1, &whole);
        nrw_sym3 sum = {0};
        nrw_vec3 torque = {0.0, 0.0, 0.0};
        for (int k = 0; k < PARTS; k++) {
            sum = nrw_sym3_add_scaled(sum, parts[k].moment2, 1.0 / PARTS);
            torque = nrw_vec3_add(torque, nrw_vec3_scale(parts[k].torque, 1.0 / PARTS));
        }
        /* rounding of a few hundred pieces */
        cr_expect_leq(tensor_error(sum, whole.moment2), 1e-11 * whole.size2);
        cr_expect_leq(vector_error(torque, whole.torque), 1e-11 * whole.size2);
    }
}

Test(sampled, moment_at_a_time_is_that_of_the_drive)
{
    const nrw_field field = small_rotating(10.0, 50.0, 35.0);
    samples = sampled_copy(&field, 10000.0, 2000);
    const nrw_body body = body_of(5e-4);
    for (int k = 0; k < 5; k++) {
        const double t = 0.0313 + 0.0037 * k;
        nrw_vec3 exact, torque;
        nrw_induced_at(&body, &field, 2.0 * NRW_PI * 50.0 * t, &exact, &torque);
        const nrw_vec3 got = nrw_sampled_moment(&body, samples, t);
        /* a chord lies below its arc by (π/200)²/2 at most */
        cr_expect_leq(vector_error(got, exact), 2e-4 * nrw_vec3_norm(exact));
    }
}

/* --- regime ----------------------------------------------------------------------- */

Test(sampled, regime_numbers_are_those_of_the_drive_but_the_model_is_resolved)
{
    nrw_drive_setting setting = nrw_drive_setting_defaults();
    setting.field_mT = 10.0;
    setting.frequency_Hz = 50.0;
    setting.tilt_deg = 30.0;
    const nrw_field field = nrw_drive_field(&setting, 0.0, 30.0);
    samples = sampled_copy(&field, 10000.0, 20001);
    nrw_drive_setting played = nrw_drive_setting_defaults();
    played.mode = NRW_DRIVE_SAMPLED;
    played.samples = samples;
    const nrw_regime drive = nrw_regime_of(setup.scenario, &setting, NULL);
    const nrw_regime copy = nrw_regime_of(setup.scenario, &played, NULL);
    /* straight pieces: 1e-4 each in m² and in the rhythm */
    cr_expect_float_eq(copy.cycle_displacement, drive.cycle_displacement,
                       5e-4 * drive.cycle_displacement);
    cr_expect_float_eq(copy.shedding_number, drive.shedding_number, 5e-4 * drive.shedding_number);
    cr_expect_float_eq(copy.lone_speed_um_s, drive.lone_speed_um_s, 5e-4 * drive.lone_speed_um_s);
    /* that of the drive is along its axis, that of the copy leans toward the easier one */
    cr_expect_float_eq(fabs(copy.spin_Hz), fabs(drive.spin_Hz), 0.02 * fabs(drive.spin_Hz));
    cr_expect_eq(copy.recommended, NRW_MODEL_RESOLVED);
    cr_expect_not_null(strstr(copy.reason, "no period"));
}
