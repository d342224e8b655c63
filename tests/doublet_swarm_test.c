#include <criterion/criterion.h>
#include <math.h>
#include <omp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "dipole.h"
#include "doublet_setup.h"
#include "result.h"
#include "temporary_folder.h"
#include "trajectory.h"

/* Several doublets: contacts, energy, noise, whole runs. */

static small_setup setup;

static void end(void)
{
    if (setup.scenario)
        small_setup_clear(&setup);
}

TestSuite(doublet_swarm, .fini = end);

#define PERMANENT "magnetics: {kind: permanent, moment_fAm2: 30}"
#define LAGGING "magnetics: {kind: induced, susceptibility: 0.30, relaxation_time_s: 1.0e-5}"

static const nrw_vec3 UP = {0.0, 0.0, 1.0};

/* --- energy ------------------------------------------------------------------------ */

/* Of the moments in a steady field and each other's, of lobes whose halves of a moment
 * sit in their middles, and of their contacts. */
static double energy_of(nrw_world *world, nrw_vec3 field)
{
    const nrw_doublets *d = world->doublets;
    const double k = world->scenario->model.contact_stiffness_pN_um * d->medium.shape.contact_share;
    const double m = 0.5 * world->body.permanent_fAm2, lobe = 1.5 * d->medium.shape.lobe;
    double energy = 0.0;
    nrw_doublets_place_lobes(world);
    for (size_t a = 0; a < 2 * world->n; a++) {
        const nrw_vec3 ua = {world->ux[a / 2], world->uy[a / 2], world->uz[a / 2]};
        energy -= m * nrw_vec3_dot(ua, field);
        for (size_t b = 0; b < a / 2 * 2; b++) {
            const nrw_vec3 ub = {world->ux[b / 2], world->uy[b / 2], world->uz[b / 2]};
            const nrw_vec3 r = {d->lobe_x[a] - d->lobe_x[b], d->lobe_y[a] - d->lobe_y[b],
                                d->lobe_z[a] - d->lobe_z[b]};
            const double over = fmax(0.0, 2.0 * lobe - nrw_vec3_norm(r));
            energy += nrw_dipole_energy_pN_um(nrw_vec3_scale(ub, m), nrw_vec3_scale(ua, m), r) +
                      0.5 * k * over * over;
        }
    }
    return energy;
}

Test(doublet_swarm, energy_falls_at_every_step_in_a_steady_field)
{
    const double at[5][3] = {
        {0.0, 0.0, 0.0}, {5.5, 1.0, 0.5}, {2.0, 5.0, -1.0}, {-4.0, 3.5, 1.0}, {0.5, -5.0, 2.0}};
    const char *shapes[] = {"{kind: doublet, aspect: 1.8, moment: along}",
                            "{kind: doublet, aspect: 1.8, moment: across}"};
    for (int which = 0; which < 2; which++) {
        setup = doublet_setup(5, at, false, PERMANENT, shapes[which]);
        nrw_world *world = small_world(&setup, false);
        const nrw_field field = doublet_steady(2.0, 1.0, 0.5);
        double before = energy_of(world, field.steady);
        const double start = before;
        for (int step = 0; step < 800; step++) {
            (void)doublet_advance(world, &field, UP, 5e-4, 5e-4);
            const double now = energy_of(world, field.steady);
            /* single precision of the dipole forces: 1e-6 of some 100 pN·µm */
            cr_assert_lt(now, before + 1e-4, "step %d: %.9g after %.9g", step, now, before);
            before = now;
        }
        cr_assert_lt(
            before, start - 200.0); /* from across the field and apart into a clump: -116 to -358 */
        nrw_world_destroy(world);
        small_setup_clear(&setup);
        setup.scenario = NULL;
    }
}

Test(doublet_swarm, forces_between_two_cancel_and_their_torques_with_the_lever)
{
    const double at[2][3] = {{0.0, 0.0, 0.0}, {3.1, 2.0, 1.0}};
    setup = doublet_setup(2, at, false, PERMANENT, "{kind: doublet, aspect: 1.6, moment: along}");
    nrw_world *world = small_world(&setup, false);
    nrw_excitation excitation;
    memset(&excitation, 0, sizeof excitation);
    nrw_doublets_pair_forces(world, &excitation);
    const nrw_doublet_body *a = &world->doublets->bodies[0], *b = &world->doublets->bodies[1];
    const nrw_vec3 r = {3.1, 2.0, 1.0};
    const nrw_vec3 sum = nrw_vec3_add(a->force, b->force);
    const nrw_vec3 turn =
        nrw_vec3_add(nrw_vec3_add(nrw_vec3_add(a->torque, nrw_vec3_cross(a->moment, a->field)),
                                  nrw_vec3_add(b->torque, nrw_vec3_cross(b->moment, b->field))),
                     nrw_vec3_cross(r, b->force));
    cr_assert_gt(nrw_vec3_norm(a->force), 0.1);
    /* single precision: 1e-6 of terms of some pN and pN·µm */
    cr_assert_lt(nrw_vec3_norm(sum), 1e-5);
    cr_assert_lt(nrw_vec3_norm(turn), 1e-4);
    nrw_world_destroy(world);
}

/* --- contacts ---------------------------------------------------------------------- */

/* A run of n with noise and pair flow; the caller clears it. */
static nrw_run_result run_of(size_t n, const char *magnetics, const char *shape, double tilt_deg,
                             double frequency_Hz, double seconds, uint64_t seed)
{
    const double at[1][3] = {{0.0, 0.0, NAN}};
    setup = doublet_setup(1, at, true, magnetics, shape);
    nrw_particles *particles = &setup.scenario->particles;
    free(particles->positions_um);
    particles->positions_um = NULL;
    particles->count = n;
    setup.scenario->release.radius_um = 3.0 + 1.5 * sqrt((double)n / 0.15);
    setup.scenario->model.brownian = setup.scenario->model.pair_flow = true;
    nrw_leg leg = nrw_leg_defaults();
    leg.drive.main.field_mT = 10.0;
    leg.drive.main.frequency_Hz = frequency_Hz;
    leg.drive.main.tilt_deg = tilt_deg;
    leg.timeout_s = seconds;
    (void)snprintf(leg.name, sizeof leg.name, "only");
    const nrw_schedule schedule = {.legs = &leg, .n_legs = 1};
    nrw_run_config config = nrw_run_config_defaults();
    config.seed = seed;
    nrw_run_result result;
    nrw_errors errors;
    nrw_errors_init(&errors);
    const nrw_status status =
        nrw_run(setup.scenario, setup.channel, &schedule, &config, &result, &errors);
    cr_assert_eq(status, NRW_OK, "%s", errors.n_items ? errors.items[0].what : "");
    nrw_errors_clear(&errors);
    return result;
}

static void forget(nrw_run_result *result)
{
    nrw_run_result_clear(result);
    small_setup_clear(&setup);
    setup.scenario = NULL;
}

Test(doublet_swarm, lobes_overlap_by_less_than_6_percent_in_swarms_of_every_kind)
{
    /* what docs/doublets.md states for 150 pN/µm at 10 mT */
    static const struct {
        const char *magnetics, *shape;
        double tilt_deg;
    } kinds[] = {{LAGGING, "{kind: doublet, aspect: 2}", 20.0},
                 {LAGGING, "{kind: doublet, aspect: 1.3}", 0.0},
                 {PERMANENT, "{kind: doublet, aspect: 2, moment: along}", 5.0},
                 {PERMANENT, "{kind: doublet, aspect: 2, moment: across}", 90.0}};
    for (size_t k = 0; k < sizeof kinds / sizeof *kinds; k++) {
        nrw_run_result result =
            run_of(24, kinds[k].magnetics, kinds[k].shape, kinds[k].tilt_deg, 20.0, 1.5, 1);
        cr_assert(result.largest_overlap > 0.0 && result.largest_overlap < 0.06, "%zu: %g", k,
                  result.largest_overlap);
        forget(&result);
    }
}

Test(doublet_swarm, a_wall_keeps_every_lobe_inside)
{
    setup = small_setup_of("format: narrows-scenario/1\n"
                           "fluid: {medium: water, temperature_C: 25}\n"
                           "particles:\n"
                           "  positions_um: [[0, 6], [6, 6.5]]\n"
                           "  diameter_um: 3.0\n"
                           "  density_kg_m3: 1800\n"
                           "  magnetics: {kind: permanent, moment_fAm2: 30}\n"
                           "  shape: {kind: doublet, aspect: 2, moment: along}\n"
                           "channel:\n"
                           "  depth_um: 30\n"
                           "  nodes: {a: {at_um: [-60, 0]}, b: {at_um: [60, 0]}}\n"
                           "  vessels: [{from: a, to: b, width_um: 20}]\n"
                           "target: {node: b, radius_um: 5}\n"
                           "deadline_s: 100\n"
                           "model: {brownian: false, pair_flow: false}\n");
    nrw_world *world = small_world(&setup, false);
    /* rolls toward +y, into the wall, standing up and lying down again and again */
    nrw_drive_setting setting = nrw_drive_setting_defaults();
    setting.field_mT = 10.0;
    setting.frequency_Hz = 10.0;
    setting.tilt_deg = 90.0;
    const nrw_field field = nrw_drive_field(&setting, 0.5 * NRW_PI, 90.0);
    const double lobe = 1.5 * world->doublets->medium.shape.lobe;
    double closest = INFINITY;
    for (int k = 0; k < 200; k++) {
        (void)doublet_advance(world, &field, UP, 0.01, 0.0);
        nrw_doublets_place_lobes(world);
        for (size_t l = 0; l < 4; l++)
            closest = fmin(closest, 10.0 - world->doublets->lobe_y[l]);
    }
    /* a spring of 150 pN/µm against pushes of a few pN */
    cr_assert(closest > 0.97 * lobe && closest < 1.05 * lobe, "%g of %g", closest, lobe);
    nrw_world_destroy(world);
}

/* --- noise ------------------------------------------------------------------------- */

static void lattice(size_t n, double (*at)[3], double z)
{
    for (size_t i = 0; i < n; i++) {
        at[i][0] = 25.0 * (double)(i % 16);
        at[i][1] = 25.0 * (double)(i / 16);
        at[i][2] = z;
    }
}

Test(doublet_swarm, diffusion_along_and_across_the_axis_and_of_the_axis_is_perrins)
{
    enum { N = 256, STEPS = 80 };
    static double at[N][3];
    lattice(N, at, 0.0);
    setup = doublet_setup(N, (const double(*)[3])at, false,
                          "magnetics: {kind: permanent, moment_fAm2: 1.0e-9}",
                          "{kind: doublet, aspect: 2, moment: along}");
    setup.scenario->model.brownian = true;
    nrw_world *world = small_world(&setup, false);
    const nrw_field none = doublet_steady(0.0, 0.0, 0.0);
    const double h = 2e-3;
    double along = 0.0, across = 0.0, turned = 0.0;
    for (int step = 0; step < STEPS; step++) {
        static double before[N][3];
        static nrw_vec3 axes[N];
        for (size_t i = 0; i < N; i++) {
            before[i][0] = world->x[i], before[i][1] = world->y[i], before[i][2] = world->z[i];
            axes[i] = world->doublets->axes[i];
        }
        (void)doublet_advance(world, &none, UP, h, h);
        for (size_t i = 0; i < N; i++) {
            const nrw_vec3 moved = {world->x[i] - before[i][0], world->y[i] - before[i][1],
                                    world->z[i] - before[i][2]};
            const double part = nrw_vec3_dot(moved, axes[i]);
            along += part * part;
            across += nrw_vec3_dot(moved, moved) - part * part;
            const nrw_vec3 turn = nrw_vec3_cross(axes[i], world->doublets->axes[i]);
            turned += nrw_vec3_dot(turn, turn);
        }
    }
    const nrw_spheroid_friction f = nrw_spheroid_friction_of(2.0);
    const double kT = world->body.kT_pN_um, per = 2.0 * h * N * STEPS;
    const double d = kT / world->body.drag_pN_s_um;
    const double dr = kT / (8.0 * NRW_PI * world->body.viscosity_Pa_s * pow(1.5, 3.0)) / f.tumble;
    /* 20480 and 40960 squares of normals: 1.0 and 0.7 %; three of these */
    cr_assert_float_eq(along / per, d / f.along, 0.03 * d);
    cr_assert_float_eq(across / (2.0 * per), d / f.across, 0.021 * d);
    cr_assert_float_eq(turned / (2.0 * per), dr, 0.021 * dr);
    nrw_world_destroy(world);
}

/* Means of the middle's height over the lobes' and of cos² of the axis from the plane,
 * by summing exp(−U/kT) over heights and slopes. */
static void boltzmann(const nrw_world *world, double *height, double *slope2)
{
    const nrw_doublets *d = world->doublets;
    const double lobe = 1.5 * d->medium.shape.lobe, half = 1.5 * d->medium.shape.half;
    const double kT = world->body.kT_pN_um, debye = world->body.debye_um;
    double sum = 0.0, sum_z = 0.0, sum_c = 0.0;
    for (double c = 0.0005; c < 1.0; c += 0.001)
        for (double z = lobe; z < lobe + half + 1.5; z += 0.001) {
            const double low = z - half * c - lobe, high = z + half * c - lobe;
            if (low < world->body.roughness_um)
                continue;
            const double energy = world->body.weight_pN * z +
                                  d->layer_pN * debye * (exp(-low / debye) + exp(-high / debye));
            const double weight = exp(-energy / kT);
            sum += weight;
            sum_z += weight * (z - lobe);
            sum_c += weight * c * c;
        }
    *height = sum_z / sum;
    *slope2 = sum_c / sum;
}

Test(doublet_swarm, heights_and_slopes_above_the_floor_are_boltzmanns)
{
    enum { N = 192, SAMPLES = 60 };
    static double at[N][3];
    lattice(N, at, NAN);
    setup = doublet_setup(N, (const double(*)[3])at, true,
                          "magnetics: {kind: permanent, moment_fAm2: 1.0e-9}",
                          "{kind: doublet, aspect: 1.5, moment: along}");
    setup.scenario->model.brownian = true;
    nrw_world *world = small_world(&setup, false);
    const nrw_field none = doublet_steady(0.0, 0.0, 0.0);
    const double lobe = 1.5 * world->doublets->medium.shape.lobe;
    double height = 0.0, slope2 = 0.0, expected_height, expected_slope2;
    (void)doublet_advance(world, &none, UP, 2.0, 2e-3);
    for (int sample = 0; sample < SAMPLES; sample++) {
        (void)doublet_advance(world, &none, UP, 0.1, 2e-3);
        for (size_t i = 0; i < N; i++) {
            height += (world->z[i] - lobe) / (N * SAMPLES);
            slope2 += world->doublets->axes[i].z * world->doublets->axes[i].z / (N * SAMPLES);
        }
    }
    boltzmann(world, &expected_height, &expected_slope2);
    /* relaxation within some 0.5 s: 2300 independent heights that scatter by their mean,
     * 2 %; steps of 2 ms take 1 % more. Without the drift term: 10 % too low */
    cr_assert_float_eq(height, expected_height, 0.05 * expected_height, "%g, not %g", height,
                       expected_height);
    cr_assert_float_eq(slope2, expected_slope2, 0.08 * expected_slope2, "%g, not %g", slope2,
                       expected_slope2);
    nrw_world_destroy(world);
}

/* --- runs -------------------------------------------------------------------------- */

Test(doublet_swarm, a_run_has_the_same_bits_with_any_number_of_threads)
{
    omp_set_num_threads(1);
    nrw_run_result one = run_of(20, LAGGING, "{kind: doublet, aspect: 2}", 20.0, 50.0, 0.5, 3);
    small_setup_clear(&setup);
    omp_set_num_threads(4);
    nrw_run_result four = run_of(20, LAGGING, "{kind: doublet, aspect: 2}", 20.0, 50.0, 0.5, 3);
    cr_assert_eq(one.n_stored, four.n_stored);
    cr_assert_arr_eq(one.trajectory_um, four.trajectory_um, one.n_stored * 60 * sizeof(float));
    cr_assert_arr_eq(one.trajectory_axis, four.trajectory_axis, one.n_stored * 60 * sizeof(float));
    cr_assert_arr_eq(one.x_um, four.x_um, 20 * sizeof(double));
    nrw_run_result_clear(&one);
    forget(&four);
}

/* Where three end that start at `at`, in the resolved model. */
static nrw_run_result three(bool doublets, const double at[3][3])
{
    setup = doublets ? doublet_setup(3, at, true, LAGGING, "{kind: doublet, aspect: 1}")
                     : small_setup_open(3, at);
    setup.scenario->particles.relaxation_time_s = 1e-5;
    setup.scenario->model.pair_flow = true;
    nrw_leg leg = nrw_leg_defaults();
    leg.drive.main.field_mT = 10.0;
    leg.drive.main.frequency_Hz = 50.0;
    leg.drive.main.tilt_deg = 20.0;
    leg.timeout_s = 4.0;
    const nrw_schedule schedule = {.legs = &leg, .n_legs = 1};
    nrw_run_config config = nrw_run_config_defaults();
    config.model = NRW_MODEL_RESOLVED;
    /* at which both are within 1 % of where shorter steps lead */
    config.step_max_s = 1.0 / 16000.0;
    nrw_run_result result;
    nrw_errors errors;
    nrw_errors_init(&errors);
    cr_assert_eq(nrw_run(setup.scenario, setup.channel, &schedule, &config, &result, &errors),
                 NRW_OK);
    nrw_errors_clear(&errors);
    small_setup_clear(&setup);
    setup.scenario = NULL;
    return result;
}

Test(doublet_swarm, at_aspect_1_three_of_them_move_like_three_spheres)
{
    const double at[3][3] = {{0.0, 0.0, NAN}, {6.0, 0.0, NAN}, {0.0, 6.0, NAN}};
    nrw_run_result doublets = three(true, at), spheres = three(false, at);
    const double from = 2.0, moved[2] = {spheres.final.x_um - from, spheres.final.y_um - from};
    const double size = hypot(moved[0], moved[1]);
    cr_assert_gt(size, 2.0);
    /* they gather to a clump that turns and drifts. The doublets spin 3 % slower, as their
     * lag shrinks while they turn, and drift by so much less */
    cr_assert_float_eq(doublets.final.x_um, spheres.final.x_um, 0.02 * size);
    cr_assert_float_eq(doublets.final.y_um, spheres.final.y_um, 0.02 * size);
    cr_assert_float_eq(doublets.final.spread_um, spheres.final.spread_um,
                       0.01 * spheres.final.spread_um);
    cr_assert_float_eq(doublets.mean_spin_Hz, spheres.mean_spin_Hz, 0.04 * spheres.mean_spin_Hz);
    nrw_run_result_clear(&doublets);
    nrw_run_result_clear(&spheres);
}

Test(doublet_swarm, auto_resolves_and_says_why_and_averaged_is_refused)
{
    nrw_run_result result = run_of(4, LAGGING, "{kind: doublet, aspect: 2}", 20.0, 50.0, 0.2, 1);
    cr_assert_eq(result.visits[0].model, NRW_MODEL_RESOLVED);
    nrw_drive_setting setting = nrw_drive_setting_defaults();
    setting.field_mT = 10.0;
    setting.frequency_Hz = 50.0;
    const nrw_regime regime = nrw_regime_of(setup.scenario, &setting, NULL);
    cr_assert_not_null(strstr(regime.reason, "doublets are followed one by one"));
    nrw_run_result_clear(&result);
    nrw_leg leg = nrw_leg_defaults();
    const nrw_schedule schedule = {.legs = &leg, .n_legs = 1};
    nrw_run_config config = nrw_run_config_defaults();
    config.model = NRW_MODEL_AVERAGED;
    nrw_errors errors;
    nrw_errors_init(&errors);
    cr_assert_eq(nrw_run(setup.scenario, setup.channel, &schedule, &config, &result, &errors),
                 NRW_REFUSED);
    cr_assert_not_null(strstr(errors.items[0].what, "each has its own axis"));
    nrw_errors_clear(&errors);
    nrw_run_result_clear(&result);
}

Test(doublet_swarm, trajectories_carry_the_axes_and_read_back)
{
    nrw_run_result result = run_of(5, PERMANENT, "{kind: doublet, aspect: 2, moment: along}", 20.0,
                                   20.0, 0.3, 1),
                   back;
    nrw_leg leg = nrw_leg_defaults();
    (void)snprintf(leg.name, sizeof leg.name, "only");
    const nrw_schedule schedule = {.legs = &leg, .n_legs = 1};
    char base[256], target[512], *text;
    nrw_errors errors;
    nrw_store *store;
    nrw_errors_init(&errors);
    temporary_folder_make(base);
    path_join(target, base, "results");
    nrw_result *json = nrw_result_create("run");
    nrw_result_run_figures(json, &schedule, &result);
    cr_assert_eq(nrw_result_text(json, &text, &errors), NRW_OK);
    cr_assert_eq(nrw_store_open(target, true, &store, &errors), NRW_OK);
    cr_assert_eq(nrw_store_run(store, setup.scenario, &schedule, &result, "0", &errors), NRW_OK);
    cr_assert_eq(nrw_store_put(store, "result.json", text, strlen(text), &errors), NRW_OK);
    cr_assert_eq(nrw_store_commit(store, NULL, &errors), NRW_OK);
    cr_assert_eq(nrw_run_result_load(target, &schedule, &back, &errors), NRW_OK);
    const size_t n = result.n_stored * 5;
    cr_assert_eq(back.n_stored, result.n_stored);
    cr_assert_arr_eq(back.trajectory_axis, result.trajectory_axis, 3 * n * sizeof(float));
    for (size_t i = 0; i < n; i++) {
        const float *a = result.trajectory_axis + 3 * i;
        cr_assert_float_eq(a[0] * a[0] + a[1] * a[1] + a[2] * a[2], 1.0f, 1e-6f);
    }
    free(text);
    nrw_result_destroy(json);
    nrw_run_result_clear(&back);
    nrw_errors_clear(&errors);
    temporary_folder_remove(base);
    forget(&result);
}
