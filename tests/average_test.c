#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "average.h"
#include "dipole.h"
#include "particle.h"
#include "small_setup.h"

/* Relative, of sums of 64 sines and cosines. */
#define ROUNDING 1e-12

static nrw_scenario *scenario; /* of the test in hand; the body borrows it */
static small_setup setup;

static void begin(void)
{
    setup = small_setup_open(1, NULL);
    scenario = setup.scenario;
}

static void end(void)
{
    small_setup_clear(&setup);
}

TestSuite(average, .init = begin, .fini = end);

static double trace(nrw_sym3 m)
{
    return m.xx + m.yy + m.zz;
}

static void assert_tensor(nrw_sym3 got, nrw_sym3 expected, double tolerance)
{
    const double a[] = {got.xx, got.xy, got.xz, got.yy, got.yz, got.zz};
    const double b[] = {expected.xx, expected.xy, expected.xz,
                        expected.yy, expected.yz, expected.zz};
    for (int k = 0; k < 6; k++)
        cr_assert_float_eq(a[k], b[k], tolerance, "component %d: %.12g against %.12g", k, a[k],
                           b[k]);
}

static void assert_vector(nrw_vec3 got, nrw_vec3 expected, double tolerance)
{
    cr_assert_leq(nrw_vec3_norm(nrw_vec3_add(got, nrw_vec3_scale(expected, -1.0))), tolerance,
                  "(%.12g, %.12g, %.12g) against (%.12g, %.12g, %.12g)", got.x, got.y, got.z,
                  expected.x, expected.y, expected.z);
}

/* Plain mean over the period of what nrw_induced_at gives. */
static nrw_average mean_of_induced(const nrw_body *body, const nrw_field *field)
{
    enum { N = 48 };
    nrw_average mean;
    memset(&mean, 0, sizeof mean);
    for (int i = 0; i < N; i++) {
        nrw_vec3 moment, torque;
        nrw_induced_at(body, field, 2.0 * NRW_PI * i / N, &moment, &torque);
        mean.moment2 = nrw_sym3_add_scaled(mean.moment2, nrw_sym3_outer(moment), 1.0 / N);
        mean.torque = nrw_vec3_add(mean.torque, nrw_vec3_scale(torque, 1.0 / N));
    }
    return mean;
}

/* --- induced moments --------------------------------------------------------- */

Test(average, closed_form_is_the_mean_over_the_period)
{
    scenario->particles.relaxation_time_s = 1e-3; /* a lag of 0.3 rad */
    const nrw_body body = nrw_body_of(scenario, NULL);
    const nrw_field field = {{1.0, -2.0, 0.5}, {7.0, 1.0, -3.0}, {-2.0, 6.0, 4.0}, 50.0};
    const nrw_average got = nrw_average_of(&body, &field);
    const nrw_average mean = mean_of_induced(&body, &field);
    assert_tensor(got.moment2, mean.moment2, ROUNDING * got.size2);
    assert_vector(got.torque, mean.torque, ROUNDING * nrw_vec3_norm(got.torque));
    cr_assert_float_eq(got.size2, trace(got.moment2), ROUNDING * got.size2);
    cr_assert_gt(nrw_vec3_norm(got.torque), 1.0);
}

Test(average, far_from_saturation_quadrature_agrees_with_the_closed_form)
{
    const nrw_field field = {{1.0, -2.0, 0.5}, {7.0, 1.0, -3.0}, {-2.0, 6.0, 4.0}, 50.0};
    nrw_body body = nrw_body_of(scenario, NULL);
    const nrw_average linear = nrw_average_of(&body, &field);
    /* 1e9 kA/m: the field reaches 1e-8 of it, and the moment falls short by as much */
    scenario->particles.saturation_kA_m = 1e9;
    body = nrw_body_of(scenario, NULL);
    const nrw_average saturating = nrw_average_of(&body, &field);
    assert_tensor(saturating.moment2, linear.moment2, 4e-8 * linear.size2);
    assert_vector(saturating.torque, linear.torque, 4e-8 * nrw_vec3_norm(linear.torque));
}

Test(average, saturation_in_a_turning_field_is_that_of_its_constant_size)
{
    scenario->particles.saturation_kA_m = 4.0;
    scenario->particles.relaxation_time_s = 0.0;
    const nrw_body body = nrw_body_of(scenario, NULL);
    const nrw_field field = small_rotating(10.0, 50.0, 30.0);
    const double m = nrw_particle_moment_fAm2(&scenario->particles, 3.0, 10.0);
    const nrw_average got = nrw_average_of(&body, &field);
    cr_assert_float_eq(got.size2, m * m, ROUNDING * m * m);
    /* well into saturation, or the test would say nothing */
    cr_assert_lt(m, 0.75 * body.slope_fAm2_mT * 10.0);
}

Test(average, langevin_s_law_is_averaged_over_the_drive_by_quadrature)
{
    /* an oscillating field well into saturation: against a rule of other points */
    scenario->particles.saturation_kA_m = 4.0;
    scenario->particles.law = NRW_LAW_LANGEVIN;
    scenario->particles.relaxation_time_s = 0.0;
    const nrw_body body = nrw_body_of(scenario, NULL);
    const nrw_field field = {{0.0, 2.0, 0.0}, {30.0, 0.0, 0.0}, {0.0, 0.0, 0.0}, 50.0};
    const nrw_average got = nrw_average_of(&body, &field);
    enum { N = 4000 };
    double xx = 0.0, yy = 0.0;
    for (int i = 0; i < N; i++) {
        const nrw_vec3 b = nrw_field_at(&field, 2.0 * NRW_PI * (i + 0.5) / N);
        const double size = nrw_vec3_norm(b);
        const double m = nrw_particle_moment_fAm2(&scenario->particles, 3.0, size);
        xx += m * b.x / size * m * b.x / size / N;
        yy += m * b.y / size * m * b.y / size / N;
    }
    /* 64 points and a field that turns quickest where it is weakest (2 mT of 30) */
    cr_assert_float_eq(got.moment2.xx, xx, 1e-4 * xx);
    cr_assert_float_eq(got.moment2.yy, yy, 1e-3 * yy);
    cr_assert_lt(xx, 0.2 * pow(body.slope_fAm2_mT * 30.0, 2.0), "far into saturation");
}

Test(average, tilted_rotation_gives_the_tensor_of_the_tilt)
{
    scenario->particles.relaxation_time_s = 0.0;
    const nrw_body body = nrw_body_of(scenario, NULL);
    for (double tilt = 0.0; tilt <= 90.0; tilt += 10.0) {
        const nrw_field field = small_rotating(10.0, 50.0, tilt);
        const nrw_average got = nrw_average_of(&body, &field);
        const double m2 = pow(body.slope_fAm2_mT * 10.0, 2.0);
        const double c = cos(tilt * NRW_DEGREE), s = sin(tilt * NRW_DEGREE);
        /* ½ hh + ½ cos²δ pp + ½ sin²δ zz, and the mixed part of p and z */
        const nrw_sym3 expected = {0.5 * m2,        0.0, 0.0, 0.5 * c * c * m2, -0.5 * c * s * m2,
                                   0.5 * s * s * m2};
        assert_tensor(got.moment2, expected, ROUNDING * m2);
    }
}

static double side_by_side_pull(const nrw_body *body, double tilt)
{
    const nrw_field field = small_rotating(10.0, 50.0, tilt);
    const nrw_average average = nrw_average_of(body, &field);
    /* the force on a neighbour across the heading, positive toward the first */
    return -nrw_averaged_force_pN(average.moment2, (nrw_vec3){0.0, 3.0, 0.0}).y;
}

Test(average, side_by_side_attraction_vanishes_where_cos2_of_the_tilt_is_two_thirds)
{
    scenario->particles.relaxation_time_s = 0.0;
    const nrw_body body = nrw_body_of(scenario, NULL);
    const double critical = acos(sqrt(2.0 / 3.0)) / NRW_DEGREE;
    cr_assert_float_eq(critical, 35.264, 1e-3);
    const double scale = side_by_side_pull(&body, 0.0);
    cr_assert_gt(scale, 0.5);
    cr_assert_float_eq(side_by_side_pull(&body, critical), 0.0, ROUNDING * scale);
    cr_assert_gt(side_by_side_pull(&body, critical - 1.0), 0.01 * scale);
    cr_assert_lt(side_by_side_pull(&body, critical + 1.0), -0.01 * scale);
}

Test(average, precession_attracts_along_its_axis_below_the_magic_angle_only)
{
    scenario->particles.relaxation_time_s = 0.0;
    const nrw_body body = nrw_body_of(scenario, NULL);
    nrw_drive_setting setting = nrw_drive_setting_defaults();
    setting.mode = NRW_DRIVE_PRECESSING;
    setting.axis = NRW_AXIS_ACROSS;
    setting.field_mT = 10.0;
    setting.frequency_Hz = 50.0;
    const double magic = acos(sqrt(1.0 / 3.0)) / NRW_DEGREE;
    cr_assert_float_eq(magic, 54.736, 1e-3);
    double pull[3];
    for (int k = -1; k <= 1; k++) {
        setting.cone_deg = magic + k;
        const nrw_field field = nrw_drive_field(&setting, 0.0, 0.0);
        const nrw_average average = nrw_average_of(&body, &field);
        pull[k + 1] = -nrw_averaged_force_pN(average.moment2, (nrw_vec3){0.0, 3.0, 0.0}).y;
    }
    cr_assert_gt(pull[0], 0.01);
    cr_assert_float_eq(pull[1], 0.0, ROUNDING);
    cr_assert_lt(pull[2], -0.01);
}

Test(average, lag_torque_is_that_of_first_order_relaxation)
{
    /* V χ_eff ωτ/(1 + ω²τ²) B²/µ0, at lags from small to large */
    const double lags[] = {3.2e-3, 0.3, 1.0, 5.0};
    for (int k = 0; k < 4; k++) {
        scenario->particles.relaxation_time_s = lags[k] / (2.0 * NRW_PI * 50.0);
        const nrw_body body = nrw_body_of(scenario, NULL);
        const nrw_field field = small_rotating(10.0, 50.0, 30.0);
        const nrw_average got = nrw_average_of(&body, &field);
        const double chi = 3.0 * 0.30 / 3.30, volume = NRW_PI * 27.0 / 6.0;
        const double mu0 = 4.0 * NRW_PI * 0.1; /* mT per kA/m */
        const double torque = volume * chi * lags[k] / (1.0 + lags[k] * lags[k]) * 100.0 / mu0;
        assert_vector(
            got.torque,
            (nrw_vec3){0.0, torque * sin(30.0 * NRW_DEGREE), torque * cos(30.0 * NRW_DEGREE)},
            ROUNDING * torque);
        /* the moment shrinks by cos φ */
        const double m2 = pow(volume * chi * 10.0 / mu0, 2.0) / (1.0 + lags[k] * lags[k]);
        cr_assert_float_eq(got.size2, m2, ROUNDING * m2);
    }
}

Test(average, without_lag_nothing_turns_a_sphere)
{
    scenario->particles.relaxation_time_s = 0.0;
    const nrw_body body = nrw_body_of(scenario, NULL);
    const nrw_field field = small_rotating(10.0, 50.0, 30.0);
    const nrw_average got = nrw_average_of(&body, &field);
    assert_vector(got.torque, (nrw_vec3){0.0, 0.0, 0.0}, 0.0);
    assert_vector(got.spin, (nrw_vec3){0.0, 0.0, 0.0}, 0.0);
}

Test(average, spin_is_the_torque_through_the_mobility_near_the_floor)
{
    const nrw_body body = nrw_body_of(scenario, NULL);
    const nrw_field field = small_rotating(10.0, 50.0, 30.0);
    const nrw_average got = nrw_average_of(&body, &field);
    const double drag = 8.0 * NRW_PI * body.viscosity_Pa_s * pow(1.5, 3.0);
    cr_assert_float_eq(got.spin.y, got.torque.y * body.floor.mr / drag, ROUNDING * got.spin.y);
    cr_assert_float_eq(got.spin.z, got.torque.z * body.floor.ms / drag, ROUNDING * got.spin.z);
    cr_assert_lt(body.floor.mr, 0.9 * body.floor.ms);
}

Test(average, a_turned_average_is_that_of_the_turned_field)
{
    const nrw_body body = nrw_body_of(scenario, NULL);
    nrw_drive_setting setting = nrw_drive_setting_defaults();
    setting.field_mT = 10.0;
    setting.frequency_Hz = 50.0;
    setting.tilt_deg = 30.0;
    const nrw_field straight = nrw_drive_field(&setting, 0.0, 30.0);
    const nrw_field turned = nrw_drive_field(&setting, 0.7, 30.0);
    const nrw_average a = nrw_average_turn(nrw_average_of(&body, &straight), 0.7);
    const nrw_average b = nrw_average_of(&body, &turned);
    assert_tensor(a.moment2, b.moment2, ROUNDING * b.size2);
    assert_vector(a.torque, b.torque, ROUNDING * nrw_vec3_norm(b.torque));
    assert_vector(a.spin, b.spin, ROUNDING * nrw_vec3_norm(b.spin));
}

Test(average, a_draw_scales_moment_and_viscosity)
{
    const nrw_draw draw = {1.2, 0.9, 1.0, 1.0};
    const nrw_body nominal = nrw_body_of(scenario, NULL);
    const nrw_body drawn = nrw_body_of(scenario, &draw);
    cr_assert_float_eq(drawn.slope_fAm2_mT, 1.2 * nominal.slope_fAm2_mT, ROUNDING * 3.0);
    cr_assert_float_eq(nrw_body_moment_fAm2(&drawn, 10.0),
                       1.2 * nrw_body_moment_fAm2(&nominal, 10.0), ROUNDING * 30.0);
    cr_assert_float_eq(drawn.drag_pN_s_um, 0.9 * nominal.drag_pN_s_um, ROUNDING);
    cr_assert_float_eq(drawn.spin_drag_pN_um_s, 0.9 * nominal.spin_drag_pN_um_s, ROUNDING);
}

/* --- permanent moments ------------------------------------------------------- */

static nrw_body permanent_body(bool has_floor)
{
    small_setup_permanent(&setup, 30.0, NULL);
    scenario->map.has_floor = has_floor;
    return nrw_body_of(scenario, NULL);
}

static double step_out_rad_s(const nrw_body *body, double field_mT)
{
    return nrw_step_out_rad_s(body->permanent_fAm2, field_mT, body->spin_drag_pN_um_s);
}

Test(average, below_step_out_a_permanent_moment_keeps_pace)
{
    const nrw_body body = permanent_body(false);
    const double critical = step_out_rad_s(&body, 10.0);
    for (double tilt = 0.0; tilt <= 90.0; tilt += 45.0) {
        const double omega = 0.4 * critical;
        const nrw_field field = small_rotating(10.0, omega / (2.0 * NRW_PI), tilt);
        const nrw_average got = nrw_average_of(&body, &field);
        const nrw_vec3 axis = {0.0, sin(tilt * NRW_DEGREE), cos(tilt * NRW_DEGREE)};
        /* the start is forgotten at a relative rate of 1e-10; the angle is advanced
         * by fourth-order steps of 0.1 rad, good to 1e-5 */
        assert_vector(got.spin, nrw_vec3_scale(axis, omega), 1e-5 * omega);
        const double c = cos(tilt * NRW_DEGREE), s = sin(tilt * NRW_DEGREE);
        const nrw_sym3 expected = {450.0, 0.0, 0.0, 450.0 * c * c, -450.0 * c * s, 450.0 * s * s};
        assert_tensor(got.moment2, expected, 1e-5 * 900.0);
    }
}

Test(average, beyond_step_out_spin_and_tensor_fall_as_adler_has_it)
{
    const nrw_body body = permanent_body(false);
    const double critical = step_out_rad_s(&body, 10.0);
    const double ratios[] = {1.1, 1.25, 2.0}, sizes[] = {0.6417424305, 0.500, 0.2679491924};
    for (int k = 0; k < 3; k++) {
        const double omega = ratios[k] * critical;
        const nrw_field field = small_rotating(10.0, omega / (2.0 * NRW_PI), 0.0);
        const nrw_average got = nrw_average_of(&body, &field);
        /* 48 periods are no whole number of slips: 0.7 % measured at 2 ω_c */
        cr_assert_float_eq(got.spin.z, omega - sqrt(omega * omega - critical * critical),
                           0.01 * got.spin.z);
        cr_assert_float_eq(got.spin.z / critical, sizes[k], 0.01 * sizes[k]);
        /* s² is twice as sensitive as s */
        const double s2 = sizes[k] * sizes[k];
        cr_assert_float_eq(trace(got.moment2) / 900.0, s2, 0.02 * s2);
        cr_assert_float_eq(got.size2, 900.0, ROUNDING * 900.0);
    }
}

Test(average, the_torque_of_a_permanent_moment_drives_its_mean_spin)
{
    const nrw_body body = permanent_body(true);
    const nrw_field field = small_rotating(10.0, 50.0, 30.0);
    const nrw_average got = nrw_average_of(&body, &field);
    cr_assert_float_eq(got.torque.y * body.floor.mr / body.spin_drag_pN_um_s, got.spin.y,
                       ROUNDING * fabs(got.spin.y));
    cr_assert_float_eq(got.torque.z * body.floor.ms / body.spin_drag_pN_um_s, got.spin.z,
                       ROUNDING * fabs(got.spin.z));
}

Test(average, near_the_floor_a_tilted_permanent_moment_rolls_less_than_its_axis_tells)
{
    /* The drag is larger about axes along the floor, and the spin may hold any part
     * along the moment for nothing: with the moment at angle θ in the field's plane,
     * Ω = ω n + λ u and u·R Ω = 0 for R = diag(r, r, s) give the mean
     * Ω_p = ω sin δ (1 − (r − s) cos²δ ⟨sin²θ/(r cos²θ + (r cos²δ + s sin²δ) sin²θ)⟩) */
    const nrw_body body = permanent_body(true);
    const double delta = 30.0 * NRW_DEGREE, omega = 2.0 * NRW_PI * 5.0;
    const double r = 1.0 / body.floor.mr, s = 1.0 / body.floor.ms;
    const double across = r * pow(cos(delta), 2.0) + s * pow(sin(delta), 2.0);
    /* mean of sin²/(a cos² + b sin²) = 1/(b + sqrt(ab)) */
    const double mean = 1.0 / (across + sqrt(r * across));
    const double expected = omega * sin(delta) * (1.0 - (r - s) * pow(cos(delta), 2.0) * mean);
    const nrw_field field = small_rotating(10.0, 5.0, 30.0);
    const nrw_average got = nrw_average_of(&body, &field);
    /* the lag of 1 % of a radian is left out of the formula: second order */
    cr_assert_float_eq(got.spin.y, expected, 1e-3 * expected);
    cr_assert_lt(expected, 0.95 * omega * sin(delta));
}

Test(average, in_a_steady_field_permanent_moments_lie_along_it)
{
    const nrw_body body = permanent_body(true);
    const nrw_field field = {{3.0, 4.0, 0.0}, {0.0, 0.0, 0.0}, {0.0, 0.0, 0.0}, 0.0};
    const nrw_average got = nrw_average_of(&body, &field);
    assert_tensor(got.moment2, nrw_sym3_outer((nrw_vec3){18.0, 24.0, 0.0}), ROUNDING * 900.0);
    assert_vector(got.spin, (nrw_vec3){0.0, 0.0, 0.0}, 0.0);
}

Test(average, relaxation_in_a_steady_field_is_exact_at_any_step)
{
    const nrw_vec3 b = {0.0, 0.0, 1.0};
    nrw_vec3 once = {sin(2.5), 0.0, cos(2.5)}, many = once;
    once = nrw_moment_relax(once, b, 3.0);
    for (int k = 0; k < 10; k++)
        many = nrw_moment_relax(many, b, 0.3);
    assert_vector(many, once, ROUNDING);
    /* tan(θ/2) falls as exp(−t) */
    const double angle = acos(once.z);
    cr_assert_float_eq(tan(angle / 2.0), tan(1.25) * exp(-3.0), ROUNDING);
}

Test(average, relaxation_holds_at_its_ends)
{
    const nrw_vec3 b = {0.0, 0.6, 0.8};
    assert_vector(nrw_moment_relax(b, b, 2.0), b, ROUNDING);
    const nrw_vec3 against = nrw_vec3_scale(b, -1.0);
    assert_vector(nrw_moment_relax(against, b, 2.0), against, ROUNDING);
    const nrw_vec3 across = {1.0, 0.0, 0.0};
    assert_vector(nrw_moment_relax(across, b, 0.0), across, ROUNDING);
    assert_vector(nrw_moment_relax(across, b, 1e3), b, ROUNDING);
}
