#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "average.h"
#include "particle.h"
#include "run.h"
#include "small_setup.h"

/* The reference particle (30 fA·m² induced at 10 mT) with a weak part of its moment fixed
 * in it: 0.5 fA·m², a sixtieth, turns it with the field up to about 10 Hz. */
#define REMANENT_FAM2 0.5
#define FIELD_MT 10.0

static small_setup setup;
static nrw_leg leg;
static nrw_schedule schedule;

static void begin(void)
{
    setup = small_setup_open(1, NULL);
    setup.scenario->particles.remanent_fAm2 = REMANENT_FAM2;
    leg = nrw_leg_defaults();
    leg.drive.main.field_mT = FIELD_MT;
    schedule = (nrw_schedule){.legs = &leg, .n_legs = 1};
}

static void end(void)
{
    small_setup_clear(&setup);
}

TestSuite(remanence, .init = begin, .fini = end);

static nrw_run_result run(nrw_model model, double frequency_Hz, double seconds)
{
    nrw_run_config config = nrw_run_config_defaults();
    nrw_run_result result;
    nrw_errors errors;
    nrw_errors_init(&errors);
    config.model = model;
    leg.drive.main.frequency_Hz = frequency_Hz;
    setup.scenario->deadline_s = seconds;
    const nrw_status status =
        nrw_run(setup.scenario, setup.channel, &schedule, &config, &result, &errors);
    cr_assert_eq(status, NRW_OK, "%s", errors.n_items ? errors.items[0].what : "");
    nrw_errors_clear(&errors);
    return result;
}

static double spin_Hz(nrw_model model, double frequency_Hz, double seconds)
{
    nrw_run_result result = run(model, frequency_Hz, seconds);
    const double spin = result.mean_spin_Hz;
    nrw_run_result_clear(&result);
    return spin;
}

/* Rates, in Hz, about the vertical at the start gap. */
static double step_out_Hz(void)
{
    const nrw_body body = nrw_body_of(setup.scenario, NULL);
    return body.permanent_fAm2 * FIELD_MT * body.floor.ms / (2.0 * NRW_PI * body.spin_drag_pN_um_s);
}

static double lag_Hz(double frequency_Hz)
{
    const nrw_body body = nrw_body_of(setup.scenario, NULL);
    const double lag = 2.0 * NRW_PI * frequency_Hz * body.relaxation_s;
    return body.slope_fAm2_mT * FIELD_MT * FIELD_MT * lag / (1.0 + lag * lag) * body.floor.ms /
           (2.0 * NRW_PI * body.spin_drag_pN_um_s);
}

/* Adler 1946 with the lag torque as an offset. */
static double expected_Hz(double frequency_Hz)
{
    const double slip = frequency_Hz - lag_Hz(frequency_Hz), hold = step_out_Hz();
    return slip <= hold ? frequency_Hz : frequency_Hz - sqrt(slip * slip - hold * hold);
}

Test(remanence, turning_rate_is_adler_s_with_an_offset)
{
    cr_assert_eq(nrw_turning_rate_rad_s(50.0, 0.0, 60.0), 50.0);
    cr_assert_float_eq(nrw_turning_rate_rad_s(50.0, 0.0, 40.0), 20.0, 1e-13);
    cr_assert_float_eq(nrw_turning_rate_rad_s(60.0, 10.0, 40.0), 30.0, 1e-13);
    cr_assert_eq(nrw_turning_rate_rad_s(60.0, 25.0, 40.0), 60.0);
    cr_assert_float_eq(nrw_turning_rate_rad_s(-60.0, -10.0, 40.0), -30.0, 1e-13);
    cr_assert_eq(nrw_turning_rate_rad_s(60.0, 10.0, 0.0), 10.0);
    /* a weak part adds hold²/2 slip, which must not drown in rounding */
    cr_assert_float_eq(nrw_turning_rate_rad_s(1e3, 0.0, 1e-6), 5e-16, 1e-24);
}

/* Adler 1946 (values from memory, as in checks.csv ROT-04a...c): the mean rate over the
 * step-out is x - sqrt(x² - 1). */
Test(remanence, without_lag_a_lone_particle_slips_as_adler_has_it)
{
    setup.scenario->particles.relaxation_time_s = 0.0;
    const double ratios[] = {0.5, 0.95, 1.1, 1.25, 2.0};
    const double rates[] = {0.5, 0.95, 0.6417424305, 0.5, 0.2679491924};
    for (int k = 0; k < 5; k++) {
        const double step_out = step_out_Hz();
        /* a hundred slips or more, so that a part of one is below 1 %; 64 steps a period */
        const double spin = spin_Hz(NRW_MODEL_RESOLVED, ratios[k] * step_out, 40.0);
        cr_expect_float_eq(spin / step_out, rates[k], 0.01 * rates[k], "%g: %g", ratios[k],
                           spin / step_out);
    }
}

Test(remanence, a_lone_particle_spins_with_the_field_and_slips_beyond_step_out)
{
    const double step_out = step_out_Hz();
    cr_assert(step_out > 8.0 && step_out < 12.0, "%g", step_out);
    for (double ratio = 0.3; ratio < 6.0; ratio *= 1.3) {
        const double f = ratio * step_out, expected = expected_Hz(f);
        const double resolved = spin_Hz(NRW_MODEL_RESOLVED, f, 20.0);
        const double averaged = spin_Hz(NRW_MODEL_AVERAGED, f, 0.2);
        cr_expect_float_eq(resolved, expected, 0.015 * expected, "resolved, %g Hz: %g, %g", f,
                           resolved, expected);
        /* 12 starts and 48 periods stand for all phases of a slip */
        cr_expect_float_eq(averaged, expected, 0.01 * expected, "averaged, %g Hz: %g, %g", f,
                           averaged, expected);
    }
}

Test(remanence, it_rolls_faster_than_the_lag_torque_makes_it)
{
    leg.drive.main.tilt_deg = 90.0;
    nrw_run_result with = run(NRW_MODEL_RESOLVED, 8.0, 2.0);
    setup.scenario->particles.remanent_fAm2 = 0.0;
    nrw_run_result without = run(NRW_MODEL_RESOLVED, 8.0, 2.0);
    /* with the field: 8 Hz; by lag alone 0.2 Hz */
    cr_assert_gt(with.x_um[0], 20.0 * without.x_um[0]);
    cr_assert_gt(without.x_um[0], 0.0);
    nrw_run_result_clear(&with);
    nrw_run_result_clear(&without);
}

Test(remanence, none_is_the_induced_particle_and_little_is_near_it)
{
    setup.scenario->particles.remanent_fAm2 = 1e-6;
    const double little = spin_Hz(NRW_MODEL_RESOLVED, 50.0, 1.0);
    const nrw_body body = nrw_body_of(setup.scenario, NULL);
    setup.scenario->particles.remanent_fAm2 = 0.0;
    const double none = spin_Hz(NRW_MODEL_RESOLVED, 50.0, 1.0);
    /* what it may turn to and fro: 2e-5 Hz */
    cr_assert_float_eq(little, none, 4e-5);
    cr_assert_gt(none, 1.0);
    const nrw_body bare = nrw_body_of(setup.scenario, NULL);
    const nrw_field field = small_rotating(FIELD_MT, 50.0, 20.0);
    const nrw_average a = nrw_average_of(&body, &field), b = nrw_average_of(&bare, &field);
    /* a fixed part of 1e-6 of 30 fA·m² changes the tensor by 7e-8 of it */
    cr_assert_float_eq(a.moment2.xx, b.moment2.xx, 1e-7 * b.size2);
    cr_assert_float_eq(a.moment2.yz, b.moment2.yz, 1e-7 * b.size2);
    cr_assert_float_eq(a.spin.y, b.spin.y, 1e-4 * nrw_vec3_norm(b.spin));
    cr_assert_float_eq(a.spin.z, b.spin.z, 1e-4 * nrw_vec3_norm(b.spin));
}

Test(remanence, without_susceptibility_it_is_the_permanent_particle)
{
    nrw_particles *particles = &setup.scenario->particles;
    particles->remanent_fAm2 = 30.0;
    particles->susceptibility = 1e-9;
    nrw_run_result weak = run(NRW_MODEL_RESOLVED, 20.0, 1.0);
    const nrw_body body = nrw_body_of(setup.scenario, NULL);
    const nrw_field field = small_rotating(FIELD_MT, 20.0, 30.0);
    const nrw_average a = nrw_average_of(&body, &field);
    particles->kind = NRW_MOMENT_PERMANENT;
    particles->moment_fAm2 = 30.0;
    nrw_run_result permanent = run(NRW_MODEL_RESOLVED, 20.0, 1.0);
    const nrw_body other = nrw_body_of(setup.scenario, NULL);
    const nrw_average b = nrw_average_of(&other, &field);
    /* the induced part is 1e-7 fA·m² */
    cr_assert_float_eq(weak.mean_spin_Hz, permanent.mean_spin_Hz, 1e-6);
    cr_assert_float_eq(weak.moment_x[0], permanent.moment_x[0], 1e-5);
    cr_assert_float_eq(a.spin.y, b.spin.y, 1e-6 * nrw_vec3_norm(b.spin));
    cr_assert_float_eq(a.moment2.xx, b.moment2.xx, 1e-7 * b.size2);
    nrw_run_result_clear(&weak);
    nrw_run_result_clear(&permanent);
}

Test(remanence, beyond_step_out_pairs_see_the_induced_part_and_little_of_the_fixed_one)
{
    const nrw_body body = nrw_body_of(setup.scenario, NULL);
    const double m = body.slope_fAm2_mT * FIELD_MT;
    /* at five times the step-out the mean of the fixed part along the field is s = 0.10 of
     * it, and a quarter period behind: across the induced one, nothing in m² to first order */
    const nrw_field quick = small_rotating(FIELD_MT, 5.0 * step_out_Hz(), 0.0);
    const nrw_average slipping = nrw_average_of(&body, &quick);
    cr_assert_float_eq(slipping.moment2.xx, 0.5 * m * m, 1e-3 * m * m);
    /* below it both parts add up */
    const nrw_field slow = small_rotating(FIELD_MT, 0.05 * step_out_Hz(), 0.0);
    const nrw_average following = nrw_average_of(&body, &slow);
    const double both = m + REMANENT_FAM2;
    /* the fixed part lags by asin 0.05, which costs 1e-3 of 2 m m_r */
    cr_assert_float_eq(following.moment2.xx, 0.5 * both * both, 2e-4 * m * m);
}

Test(remanence, final_moments_are_both_parts)
{
    nrw_run_result result = run(NRW_MODEL_RESOLVED, 1.0, 1.0);
    const nrw_body body = nrw_body_of(setup.scenario, NULL);
    const double size = sqrt(pow(result.moment_x[0], 2.0) + pow(result.moment_y[0], 2.0) +
                             pow(result.moment_z[0], 2.0));
    /* at a tenth of the step-out the fixed part lags by 0.1 rad: 0.005 of it less */
    cr_assert_float_eq(size, body.slope_fAm2_mT * FIELD_MT + REMANENT_FAM2, 0.01 * REMANENT_FAM2);
    nrw_run_result_clear(&result);
}

Test(remanence, no_field_is_followed_one_by_one_and_a_field_is_averaged)
{
    nrw_drive_setting setting = nrw_drive_setting_defaults();
    setting.field_mT = FIELD_MT;
    setting.frequency_Hz = 50.0;
    nrw_regime regime = nrw_regime_of(setup.scenario, &setting, NULL);
    cr_assert_eq(regime.recommended, NRW_MODEL_AVERAGED, "%s", regime.reason);
    cr_assert_float_eq(regime.step_out_Hz, step_out_Hz(), 1e-9);
    setting.mode = NRW_DRIVE_OFF;
    regime = nrw_regime_of(setup.scenario, &setting, NULL);
    cr_assert_eq(regime.recommended, NRW_MODEL_RESOLVED);
}
