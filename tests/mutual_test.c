#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "average.h"
#include "dipole.h"
#include "mutual.h"
#include "particle.h"
#include "run.h"
#include "small_setup.h"

/* Relative, of sums in single precision solved to 1e-5. */
#define SINGLE 3e-5

static small_setup setup;
static nrw_world *world;

static void end(void)
{
    nrw_world_destroy(world);
    small_setup_clear(&setup);
}

TestSuite(mutual, .fini = end);

/* Particles at heights far from touching the floor, so that nothing but dipoles acts. */
static void begin(size_t n, const double (*at_um)[3], double susceptibility)
{
    setup = small_setup_open(n, at_um);
    nrw_scenario *scenario = setup.scenario;
    scenario->particles.susceptibility = susceptibility;
    scenario->particles.relaxation_time_s = 0.0;
    scenario->model.mutual_induction = true;
    scenario->model.contact_brake_factor = 0.0; /* or the last step's motion would count */
    scenario->model.contact_sliding = false;
    world = small_world(&setup, false);
}

/* Forces and spins of a drive, averaged (phase NAN) or at a phase, by particle. */
static void look(const nrw_field *field, double phase_rad, double (*forces)[3], double (*spins)[3])
{
    const nrw_average lone = nrw_average_of(&world->body, field);
    nrw_excitation excitation;
    memset(&excitation, 0, sizeof excitation);
    excitation.n_substeps = 1;
    excitation.drive = *field;
    excitation.phase_rad = phase_rad;
    excitation.size2 = lone.size2;
    double taken;
    nrw_errors errors;
    nrw_errors_init(&errors);
    cr_assert_eq(nrw_world_step(world, &excitation, 1e-10, &taken, &errors), NRW_OK, "%s",
                 errors.n_items ? errors.items[0].what : "");
    nrw_errors_clear(&errors);
    for (size_t row = 0; row < world->n; row++) {
        const uint32_t i = world->contacts.order[row];
        const double force[3] = {(double)world->task.fx[row], (double)world->task.fy[row],
                                 (double)world->task.fz[row]};
        const double spin[3] = {(double)world->spin_x[row], (double)world->spin_y[row],
                                (double)world->spin_z[row]};
        if (forces)
            memcpy(forces[i], force, sizeof force);
        if (spins)
            memcpy(spins[i], spin, sizeof spin);
    }
}

static nrw_vec3 moment_of(uint32_t i)
{
    return nrw_mutual_moment(world, i, 0.0);
}

/* V χ_eff B/µ0. */
static double lone_moment(double field_mT)
{
    return world->body.slope_fAm2_mT * field_mT;
}

static const double PAIR[2][3] = {{-1.5, 0.0, 20.0}, {1.5, 0.0, 20.0}};

/* The point-dipole result for two touching spheres, derived from Jackson 1999, section 5.6:
 * checks.csv IND-04a, IND-05a, of χ = 1, K = ¼. */
Test(mutual, touching_spheres_enhance_each_other_along_the_field_and_weaken_across_it)
{
    begin(2, PAIR, 1.0);
    const nrw_field along = {.steady = {10.0, 0.0, 0.0}}, across = {.steady = {0.0, 10.0, 0.0}};
    double forces[2][3];
    const double m0 = lone_moment(10.0);
    look(&along, NAN, forces, NULL);
    cr_assert_float_eq(moment_of(0).x / m0, 1.066666667, SINGLE);
    cr_assert_float_eq(moment_of(1).x / m0, 1.066666667, SINGLE);
    /* attraction 6 (µ0/4π) m²/d⁴ */
    const double m = m0 / (1.0 - 0.25 / 4.0), pull = 0.6 * m * m / 81.0;
    cr_assert_float_eq(forces[0][0], pull, 4.0 * SINGLE * pull);
    cr_assert_float_eq(forces[1][0], -pull, 4.0 * SINGLE * pull);
    look(&across, NAN, forces, NULL);
    cr_assert_float_eq(moment_of(0).y / m0, 0.9696969697, SINGLE);
    const double n = m0 / (1.0 + 0.25 / 8.0), push = 0.3 * n * n / 81.0;
    cr_assert_float_eq(forces[0][0], -push, 4.0 * SINGLE * push);
}

/* checks.csv IND-08c: the middle one of three touching spheres of infinite χ has 1.741 m0;
 * IND-06 is the limit of nrw_mutual_gain. */
Test(mutual, a_chain_is_as_strong_as_its_moments_make_it)
{
    const double three[3][3] = {{-3.0, 0.0, 20.0}, {0.0, 0.0, 20.0}, {3.0, 0.0, 20.0}};
    begin(3, three, 1e6);
    const nrw_field along = {.steady = {10.0, 0.0, 0.0}};
    double forces[3][3];
    look(&along, NAN, forces, NULL);
    cr_assert_float_eq(moment_of(1).x / lone_moment(10.0), 1.740740741, 2.0 * SINGLE);
    /* the tension at the first bond: what pulls the first one, from both others */
    const double m[3] = {moment_of(0).x, moment_of(1).x, moment_of(2).x};
    const double tension = 0.6 * m[0] * (m[1] / 81.0 + m[2] / 1296.0);
    cr_assert_float_eq(forces[0][0], tension, 4.0 * SINGLE * tension);
    /* 1.741 x 1.481 and 1.481² m0² stand for m0²: the chain holds 2.56 times better */
    cr_assert_float_eq(tension / (0.6 * pow(lone_moment(10.0), 2.0) * (1.0 / 81.0 + 1.0 / 1296.0)),
                       2.556, 0.001);
    cr_assert_float_eq(nrw_mutual_gain(&world->body), 2.506444392, 1e-4);
}

/* A loose heap of different sizes, far above the floor. */
static void heap(size_t n, double (*at_um)[3])
{
    for (size_t i = 0; i < n; i++) {
        at_um[i][0] = 3.4 * (double)(i % 3) + 0.2 * (double)(i / 3);
        at_um[i][1] = 3.6 * (double)(i / 3) - 0.3 * (double)(i % 2);
        at_um[i][2] = 20.0 + 0.9 * (double)(i % 4);
    }
}

Test(mutual, averages_are_the_means_of_plain_solutions_over_the_period)
{
    enum { N = 6, PHASES = 12 };
    double at[N][3], forces[N][3], expected[N][3] = {{0}}, polarisabilities[N];
    heap(N, at);
    setup = small_setup_open(N, (const double(*)[3])at);
    setup.scenario->particles.susceptibility = 2.0;
    setup.scenario->particles.relaxation_time_s = 0.0;
    setup.scenario->particles.diameter_cv = 0.05;
    setup.scenario->model.mutual_induction = true;
    world = small_world(&setup, false);
    const nrw_field field = {{1.0, 0.0, 3.0}, {9.0, 1.0, 0.0}, {0.0, 6.0, -4.0}, 50.0};
    look(&field, NAN, forces, NULL);
    for (int i = 0; i < N; i++)
        polarisabilities[i] = world->body.slope_fAm2_mT * (double)world->moment[i];
    double *workspace = malloc(nrw_mutual_induction_workspace(N) * sizeof *workspace);
    for (int k = 0; k < PHASES; k++) {
        double moments[N][3] = {{0}};
        const nrw_vec3 b = nrw_field_at(&field, 2.0 * NRW_PI * k / PHASES);
        cr_assert_eq(nrw_mutual_induction(N, (const double(*)[3])at, polarisabilities, b, 1e-10,
                                          moments, workspace, NULL),
                     NRW_OK);
        for (int i = 0; i < N; i++)
            for (int j = 0; j < N; j++) {
                if (i == j)
                    continue;
                const nrw_vec3 r = {at[i][0] - at[j][0], at[i][1] - at[j][1], at[i][2] - at[j][2]};
                const nrw_vec3 f =
                    nrw_dipole_force_pN((nrw_vec3){moments[j][0], moments[j][1], moments[j][2]},
                                        (nrw_vec3){moments[i][0], moments[i][1], moments[i][2]}, r);
                expected[i][0] += f.x / PHASES;
                expected[i][1] += f.y / PHASES;
                expected[i][2] += f.z / PHASES;
            }
    }
    free(workspace);
    double largest = 0.0;
    for (int i = 0; i < N; i++)
        for (int k = 0; k < 3; k++)
            largest = fmax(largest, fabs(expected[i][k]));
    for (int i = 0; i < N; i++)
        for (int k = 0; k < 3; k++)
            cr_assert_float_eq(forces[i][k], expected[i][k], 4.0 * SINGLE * largest,
                               "particle %d, axis %d: %g, %g", i, k, forces[i][k], expected[i][k]);
}

Test(mutual, a_resolved_step_sees_the_moments_of_its_phase)
{
    begin(2, PAIR, 1.0);
    const nrw_field field = small_rotating(10.0, 50.0, 0.0);
    const double m0 = lone_moment(10.0);
    double forces[2][3];
    for (double phase = 0.3; phase < 6.0; phase += 0.7) {
        look(&field, phase, forces, NULL);
        const nrw_vec3 m = {m0 * cos(phase) / (1.0 - 0.0625), m0 * sin(phase) / (1.0 + 0.03125),
                            0.0};
        const nrw_vec3 f = nrw_dipole_force_pN(m, m, (nrw_vec3){-3.0, 0.0, 0.0});
        cr_assert_float_eq(forces[0][0], f.x, 1e-4 * m0 * m0 / 81.0);
        cr_assert_float_eq(forces[0][1], f.y, 1e-4 * m0 * m0 / 81.0);
    }
}

Test(mutual, the_lag_behind_the_local_field_turns_the_particles)
{
    /* Two touching spheres with pair axis x in a field that turns in the plane. Along and
     * across, (a + iw) F = B with a = 1 - K/4, 1 + K/8 and w = ωτ; the torque is
     * α w F_c × F_q. */
    setup = small_setup_open(2, PAIR);
    nrw_scenario *scenario = setup.scenario;
    scenario->particles.susceptibility = 1.0;
    scenario->particles.relaxation_time_s = 2e-3;
    scenario->model.mutual_induction = true;
    scenario->model.contact_brake_factor = 0.0;
    scenario->model.contact_sliding = false;
    world = small_world(&setup, false);
    const nrw_field field = small_rotating(10.0, 50.0, 0.0);
    double spins[2][3];
    look(&field, NAN, NULL, spins);
    const double a = 1.0 - 0.0625, b = 1.0 + 0.03125, w = 2.0 * NRW_PI * 50.0 * 2e-3;
    const double torque = world->body.slope_fAm2_mT * 100.0 * w * (a * b + w * w) /
                          ((a * a + w * w) * (b * b + w * w));
    const double lone = world->body.slope_fAm2_mT * 100.0 * w / (1.0 + w * w);
    const double expected = torque * (double)world->ms[0] / world->body.spin_drag_pN_um_s;
    cr_assert_float_eq(spins[0][2], expected, 4.0 * SINGLE * expected);
    cr_assert_gt(fabs(torque / lone - 1.0), 1e-3, "the pair must differ from a lone one");
    /* the mean over the phases of a resolved period is the same */
    double mean = 0.0;
    for (int k = 0; k < 8; k++) {
        look(&field, 2.0 * NRW_PI * k / 8, NULL, spins);
        mean += spins[0][2] / 8.0;
    }
    cr_assert_float_eq(mean, expected, 4.0 * SINGLE * expected);
}

Test(mutual, a_lone_particle_is_the_induced_one)
{
    const double one[1][3] = {{0.0, 0.0, 20.0}};
    begin(1, one, 1.0);
    const nrw_field field = small_rotating(10.0, 50.0, 30.0);
    double spins[1][3];
    look(&field, NAN, NULL, spins);
    cr_assert_float_eq(moment_of(0).x, lone_moment(10.0), SINGLE * lone_moment(10.0));
    cr_assert_float_eq(spins[0][2], 0.0, 1e-9, "no lag, no spin");
}

/* --- whole runs -------------------------------------------------------------------- */

static nrw_run_result run(nrw_model model, double field_mT)
{
    nrw_leg leg = nrw_leg_defaults();
    const nrw_schedule schedule = {.legs = &leg, .n_legs = 1};
    nrw_run_config config = nrw_run_config_defaults();
    nrw_run_result result;
    nrw_errors errors;
    nrw_errors_init(&errors);
    config.model = model;
    leg.drive.main.field_mT = field_mT;
    leg.drive.main.frequency_Hz = 100.0;
    leg.drive.main.tilt_deg = 20.0;
    cr_assert_eq(nrw_run(setup.scenario, setup.channel, &schedule, &config, &result, &errors),
                 NRW_OK, "%s", errors.n_items ? errors.items[0].what : "");
    nrw_errors_clear(&errors);
    return result;
}

/* Twenty particles that gather and drift for two seconds, without brakes, which depend on
 * gaps that only the resolved model sees open and close. */
static void swarm(double susceptibility, double relaxation_time_s)
{
    setup = small_setup_open(1, NULL);
    nrw_scenario *scenario = setup.scenario;
    scenario->particles.count = 20;
    scenario->release.radius_um = 12.0;
    scenario->particles.susceptibility = susceptibility;
    scenario->particles.relaxation_time_s = relaxation_time_s;
    scenario->model.mutual_induction = true;
    scenario->model.pair_flow = true;
    scenario->model.contact_brake_factor = 0.0;
    scenario->model.contact_sliding = false;
    scenario->deadline_s = 2.0;
}

Test(mutual, runs_of_either_model_agree_and_report_the_moments)
{
    /* N_b = 0.13, Λ = 0.21 */
    swarm(1.0, 2e-5);
    nrw_run_result averaged = run(NRW_MODEL_AVERAGED, 3.0);
    nrw_run_result resolved = run(NRW_MODEL_RESOLVED, 3.0);
    cr_expect_float_eq(averaged.mean_spin_Hz, resolved.mean_spin_Hz, 0.02 * averaged.mean_spin_Hz,
                       "%g %g", averaged.mean_spin_Hz, resolved.mean_spin_Hz);
    /* a swarm of few that turns as it gathers, and that the swing of each period carries
     * forward a little, which averages don't see: to a tenth of its way */
    cr_expect_float_eq(averaged.final.x_um, resolved.final.x_um, 0.1 * averaged.final.x_um, "%g %g",
                       averaged.final.x_um, resolved.final.x_um);
    cr_expect_float_eq(averaged.final.spread_um, resolved.final.spread_um, 1.0, "%g %g",
                       averaged.final.spread_um, resolved.final.spread_um);
    /* at the end (a whole number of periods) the field is along x: most are enhanced */
    const nrw_body body = nrw_body_of(setup.scenario, NULL);
    double mean = 0.0;
    for (int i = 0; i < 20; i++)
        mean += averaged.moment_x[i] / (body.slope_fAm2_mT * 3.0) / 20.0;
    cr_expect(mean > 1.03 && mean < nrw_mutual_gain(&body), "%g", mean);
    nrw_run_result_clear(&averaged);
    nrw_run_result_clear(&resolved);
}

Test(mutual, what_hardly_magnetises_moves_as_without_it)
{
    /* moments and torques of a particle of χ = 1 at 5 mT, with K = 1e-3: moments differ by
     * 5e-4 and forces by 1e-3. Steps of induction are shorter, and hold the dipoles of close
     * neighbours: measured 0.07 µm and 2.5e-3 of the spin */
    swarm(0.003, 1.6e-8);
    nrw_run_result with = run(NRW_MODEL_AVERAGED, 1251.25);
    setup.scenario->model.mutual_induction = false;
    nrw_run_result without = run(NRW_MODEL_AVERAGED, 1251.25);
    cr_expect_float_eq(with.mean_spin_Hz, without.mean_spin_Hz, 5e-3 * without.mean_spin_Hz);
    cr_expect_float_eq(with.final.x_um, without.final.x_um, 0.1);
    cr_expect_float_eq(with.final.y_um, without.final.y_um, 0.1);
    nrw_run_result_clear(&with);
    nrw_run_result_clear(&without);
}

Test(mutual, samples_are_refused_with_the_reason)
{
    swarm(1.0, 4e-6);
    nrw_leg leg = nrw_leg_defaults();
    leg.drive.main.mode = NRW_DRIVE_SAMPLED;
    const nrw_schedule schedule = {.legs = &leg, .n_legs = 1};
    const nrw_run_config config = nrw_run_config_defaults();
    nrw_run_result result;
    nrw_errors errors;
    nrw_errors_init(&errors);
    cr_assert_eq(nrw_run(setup.scenario, setup.channel, &schedule, &config, &result, &errors),
                 NRW_REFUSED);
    cr_assert(strstr(errors.items[0].what, "mutual induction is not derived"));
    nrw_errors_clear(&errors);
}
