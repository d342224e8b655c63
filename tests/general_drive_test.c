#include <criterion/criterion.h>
#include <gsl/gsl_integration.h>
#include <math.h>
#include <string.h>

#include "average.h"
#include "particle.h"
#include "run.h"
#include "small_setup.h"

/* Elliptical and general drives: their averages against adaptive quadrature, and the
 * averaged model against the resolved one. */

static small_setup setup;

static void begin(void)
{
    setup = small_setup_open(1, NULL);
}

static void end(void)
{
    small_setup_clear(&setup);
}

TestSuite(general_drive, .init = begin, .fini = end);

/* An ellipse in the plane, one that stands on end with a steady part, a field that swings
 * along a line, and one with three vectors of no order. */
static const nrw_field FIELDS[] = {
    {{0.0, 0.0, 0.0}, {10.0, 0.0, 0.0}, {0.0, 4.0, 0.0}, 50.0},
    {{0.0, 6.0, 0.0}, {8.0, 0.0, 0.0}, {0.0, 0.0, -3.0}, 20.0},
    {{1.0, 0.0, 0.0}, {6.0, 2.0, 1.0}, {3.0, 1.0, 0.5}, 100.0},
    {{2.0, -1.0, 3.0}, {7.0, 3.0, -2.0}, {-4.0, 5.0, 6.0}, 35.0},
};
enum { N_FIELDS = sizeof FIELDS / sizeof *FIELDS };

/* --- averages ----------------------------------------------------------------------- */

/* One component of m mᵀ or of m × B at a phase, from the equation of relaxation: the field
 * F = S + C' cos + Q' sin that the moment follows solves F + τ dF/dt = B. */
typedef struct integrand {
    const nrw_body *body;
    const nrw_field *field;
    int component; /* 0...5 of the tensor, 6...8 of the torque */
} integrand;

static double component_at(double phase, void *context)
{
    const integrand *in = context;
    const nrw_field *b = in->field;
    const double w = 2.0 * NRW_PI * b->frequency_Hz * in->body->relaxation_s;
    /* C' + w Q' = C, Q' - w C' = Q */
    const nrw_vec3 c =
        nrw_vec3_scale(nrw_vec3_add(b->cos, nrw_vec3_scale(b->sin, -w)), 1.0 / (1.0 + w * w));
    const nrw_vec3 q = nrw_vec3_add(b->sin, nrw_vec3_scale(c, w));
    const nrw_vec3 f = nrw_vec3_add(
        b->steady, nrw_vec3_add(nrw_vec3_scale(c, cos(phase)), nrw_vec3_scale(q, sin(phase))));
    const double size = nrw_vec3_norm(f);
    const nrw_vec3 m = nrw_vec3_scale(f, nrw_body_moment_fAm2(in->body, size) / size);
    const nrw_vec3 t = nrw_vec3_cross(m, nrw_field_at(b, phase));
    const double all[] = {m.x * m.x, m.x * m.y, m.x * m.z, m.y * m.y, m.y * m.z,
                          m.z * m.z, t.x,       t.y,       t.z};
    return all[in->component] / (2.0 * NRW_PI);
}

static void assert_averages(double tolerance)
{
    gsl_integration_workspace *workspace = gsl_integration_workspace_alloc(500);
    const nrw_body body = nrw_body_of(setup.scenario, NULL);
    for (int k = 0; k < N_FIELDS; k++) {
        const nrw_average got = nrw_average_of(&body, &FIELDS[k]);
        const double all[] = {got.moment2.xx, got.moment2.xy, got.moment2.xz,
                              got.moment2.yy, got.moment2.yz, got.moment2.zz,
                              got.torque.x,   got.torque.y,   got.torque.z};
        const double torque_scale = sqrt(got.size2) * nrw_field_peak_mT(&FIELDS[k]);
        for (int c = 0; c < 9; c++) {
            integrand in = {&body, &FIELDS[k], c};
            gsl_function function = {component_at, &in};
            const double scale = c < 6 ? got.size2 : torque_scale;
            double expected, error;
            cr_assert_eq(gsl_integration_qag(&function, 0.0, 2.0 * NRW_PI, 1e-11 * scale, 0.0, 500,
                                             GSL_INTEG_GAUSS31, workspace, &expected, &error),
                         0);
            cr_expect_float_eq(all[c], expected, tolerance * scale,
                               "field %d, component %d: %.12g, %.12g", k, c, all[c], expected);
        }
    }
    gsl_integration_workspace_free(workspace);
}

Test(general_drive, averages_of_linear_moments_are_exact)
{
    setup.scenario->particles.relaxation_time_s = 3e-3; /* lags of 0.4 to 1.9 rad */
    assert_averages(1e-10);
}

Test(general_drive, averages_of_saturating_moments_are_those_of_quadrature)
{
    setup.scenario->particles.relaxation_time_s = 3e-3;
    setup.scenario->particles.saturation_kA_m = 3.0;
    /* 64 phases: fields that almost vanish turn quickest there, the third one's */
    assert_averages(2e-5);
    setup.scenario->particles.law = NRW_LAW_LANGEVIN;
    assert_averages(2e-5);
}

/* --- the two models ----------------------------------------------------------------- */

static nrw_run_result run(nrw_model model, const nrw_field *field, double seconds)
{
    nrw_leg leg = nrw_leg_defaults();
    const nrw_schedule schedule = {.legs = &leg, .n_legs = 1};
    nrw_run_config config = nrw_run_config_defaults();
    nrw_run_result result;
    nrw_errors errors;
    nrw_errors_init(&errors);
    config.model = model;
    /* responses are held over a step, which at the slowest of these drives would be 0.4 of a
     * period otherwise and cost 3 % of the approach */
    config.step_max_s = 0.001;
    leg.drive.main.mode = NRW_DRIVE_GENERAL;
    leg.drive.main.steady_mT = field->steady;
    leg.drive.main.cos_mT = field->cos;
    leg.drive.main.sin_mT = field->sin;
    leg.drive.main.frequency_Hz = field->frequency_Hz;
    setup.scenario->deadline_s = seconds;
    cr_assert_eq(nrw_run(setup.scenario, setup.channel, &schedule, &config, &result, &errors),
                 NRW_OK, "%s", errors.n_items ? errors.items[0].what : "");
    nrw_errors_clear(&errors);
    return result;
}

/* Two particles 9 µm apart in a direction, far above any floor: how their distance changes
 * in a second. */
static double approach(nrw_model model, const nrw_field *field, double angle)
{
    const double at[2][3] = {{-4.5 * cos(angle), -4.5 * sin(angle), 0.0},
                             {4.5 * cos(angle), 4.5 * sin(angle), 0.0}};
    small_setup_clear(&setup);
    setup = small_setup_open(2, at);
    setup.scenario->map.has_floor = false;
    setup.scenario->model.gravity = false;
    nrw_run_result result = run(model, field, 1.0);
    const double apart =
        sqrt(pow(result.x_um[1] - result.x_um[0], 2.0) + pow(result.y_um[1] - result.y_um[0], 2.0) +
             pow(result.z_um[1] - result.z_um[0], 2.0));
    nrw_run_result_clear(&result);
    return 9.0 - apart;
}

Test(general_drive, pairs_approach_alike_in_either_model)
{
    for (int k = 0; k < N_FIELDS; k++)
        for (double angle = 0.0; angle < 3.0; angle += 0.7) {
            const double averaged = approach(NRW_MODEL_AVERAGED, &FIELDS[k], angle);
            const double resolved = approach(NRW_MODEL_RESOLVED, &FIELDS[k], angle);
            /* of up to 6 µm, where they touch: 1 ms of first order (0.4 %), and what the pair
             * does within a period, which averages leave out; measured up to 0.024 */
            cr_expect_float_eq(averaged, resolved, 0.03, "field %d, %g rad: %g, %g", k, angle,
                               averaged, resolved);
        }
}

Test(general_drive, an_ellipse_attracts_most_along_its_long_axis)
{
    const double along = approach(NRW_MODEL_AVERAGED, &FIELDS[0], 0.0);
    const double across = approach(NRW_MODEL_AVERAGED, &FIELDS[0], 0.5 * NRW_PI);
    /* γ = 0.4 < 1/√2: attraction along, repulsion across (checks.csv DIP-19, DIP-20) */
    cr_assert_gt(along, 0.5);
    cr_assert_lt(across, -0.1);
}

Test(general_drive, lone_particles_turn_alike_in_either_model)
{
    for (int k = 0; k < N_FIELDS; k++) {
        nrw_run_result averaged = run(NRW_MODEL_AVERAGED, &FIELDS[k], 1.0);
        nrw_run_result resolved = run(NRW_MODEL_RESOLVED, &FIELDS[k], 1.0);
        cr_expect_float_eq(averaged.mean_spin_Hz, resolved.mean_spin_Hz,
                           1e-6 * fabs(averaged.mean_spin_Hz) + 1e-9, "field %d", k);
        cr_expect_float_eq(averaged.x_um[0], resolved.x_um[0], 1e-4);
        cr_expect_float_eq(averaged.y_um[0], resolved.y_um[0], 1e-4);
        nrw_run_result_clear(&averaged);
        nrw_run_result_clear(&resolved);
    }
}

Test(general_drive, permanent_moments_in_an_ellipse_turn_alike_in_either_model)
{
    /* step-out of a circle of the half-axes' geometric mean, 6.3 mT: 248 Hz */
    small_setup_permanent(&setup, 30.0, NULL);
    const double frequencies[] = {20.0, 100.0, 500.0};
    for (int k = 0; k < 3; k++) {
        nrw_field field = FIELDS[0];
        field.frequency_Hz = frequencies[k];
        nrw_run_result averaged = run(NRW_MODEL_AVERAGED, &field, 0.2);
        nrw_run_result resolved = run(NRW_MODEL_RESOLVED, &field, 1.0);
        /* 64 steps a period; beyond step-out the average is one over 12 orbits */
        cr_expect_float_eq(averaged.mean_spin_Hz, resolved.mean_spin_Hz,
                           0.03 * resolved.mean_spin_Hz, "%g Hz: %g, %g", frequencies[k],
                           averaged.mean_spin_Hz, resolved.mean_spin_Hz);
        if (k < 2)
            cr_expect_float_eq(resolved.mean_spin_Hz, frequencies[k], 0.02 * frequencies[k]);
        nrw_run_result_clear(&averaged);
        nrw_run_result_clear(&resolved);
    }
}
