#include <criterion/criterion.h>
#include <gsl/gsl_integration.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "particle.h"
#include "small_setup.h"

/* Brownian motion against statistical mechanics. Seeds are fixed, so each test
 * always gives the same numbers; tolerances are three or four standard errors
 * of what a fresh seed would give, plus the step's own bias where stated. */

static small_setup setup;

static void end(void)
{
    small_setup_clear(&setup);
}

TestSuite(step_noise, .fini = end);

/* n particles on a square lattice, 25 µm apart: out of each other's reach. */
static void setup_lattice(size_t n, double z)
{
    double(*at)[3] = malloc(n * sizeof *at);
    cr_assert_not_null(at);
    for (size_t i = 0; i < n; i++) {
        at[i][0] = 25.0 * (double)(i % 64);
        at[i][1] = 25.0 * (double)(i / 64);
        at[i][2] = z;
    }
    setup = small_setup_open(n, (const double(*)[3])at);
    free(at);
    setup.scenario->model.brownian = true;
}

static nrw_excitation nothing(void)
{
    nrw_excitation excitation;
    memset(&excitation, 0, sizeof excitation);
    excitation.n_substeps = 1;
    return excitation;
}

/* --- unbounded fluid ------------------------------------------------------------------ */

Test(step_noise, displacements_spread_by_2Dt_along_every_axis)
{
    enum { N = 256, STEPS = 60 };
    setup_lattice(N, 0.0);
    setup.scenario->map.has_floor = false;
    setup.scenario->model.gravity = false;
    nrw_world *world = small_world(&setup, false);
    const nrw_excitation excitation = nothing();
    double start[3][N];
    memcpy(start[0], world->x, sizeof start[0]);
    memcpy(start[1], world->y, sizeof start[1]);
    memcpy(start[2], world->z, sizeof start[2]);
    double of_steps[3] = {0.0, 0.0, 0.0};
    for (int k = 0; k < STEPS; k++) {
        double before[3][N];
        memcpy(before[0], world->x, sizeof before[0]);
        memcpy(before[1], world->y, sizeof before[1]);
        memcpy(before[2], world->z, sizeof before[2]);
        small_advance(world, &excitation, 0.008, 0.008);
        const double *after[3] = {world->x, world->y, world->z};
        for (int axis = 0; axis < 3; axis++)
            for (int i = 0; i < N; i++)
                of_steps[axis] += pow(after[axis][i] - before[axis][i], 2.0);
    }
    const double diffusion = world->body.kT_pN_um / world->body.drag_pN_s_um;
    const double *last[3] = {world->x, world->y, world->z};
    for (int axis = 0; axis < 3; axis++) {
        const double step2 = of_steps[axis] / (N * STEPS), expected = 2.0 * diffusion * 0.008;
        /* relative standard error sqrt(2/(256·60)) = 1.1 % */
        cr_assert_float_eq(step2, expected, 0.034 * expected, "axis %d: %g", axis,
                           step2 / expected);
        double whole = 0.0;
        for (int i = 0; i < N; i++)
            whole += pow(last[axis][i] - start[axis][i], 2.0) / N;
        /* steps add up without memory: 60 times as much, 8.8 % */
        cr_assert_float_eq(whole, STEPS * expected, 0.27 * STEPS * expected, "axis %d: %g", axis,
                           whole / (STEPS * expected));
    }
    nrw_world_destroy(world);
}

Test(step_noise, axes_and_particles_and_steps_are_independent)
{
    enum { N = 256, STEPS = 60 };
    setup_lattice(N, 0.0);
    setup.scenario->map.has_floor = false;
    setup.scenario->model.gravity = false;
    nrw_world *world = small_world(&setup, false);
    const nrw_excitation excitation = nothing();
    double xy = 0.0, xz = 0.0, neighbours = 0.0, steps = 0.0, own = 0.0;
    double last[N];
    memset(last, 0, sizeof last);
    for (int k = 0; k < STEPS; k++) {
        double before[3][N];
        memcpy(before[0], world->x, sizeof before[0]);
        memcpy(before[1], world->y, sizeof before[1]);
        memcpy(before[2], world->z, sizeof before[2]);
        small_advance(world, &excitation, 0.008, 0.008);
        double previous = 0.0;
        for (int i = 0; i < N; i++) {
            const double dx = world->x[i] - before[0][i], dy = world->y[i] - before[1][i];
            own += dx * dx;
            xy += dx * dy;
            xz += dx * (world->z[i] - before[2][i]);
            neighbours += dx * previous;
            steps += dx * last[i];
            previous = dx;
            last[i] = dx;
        }
    }
    /* correlations of 15,360 products: standard error 0.8 % */
    cr_assert_lt(fabs(xy / own), 0.033);
    cr_assert_lt(fabs(xz / own), 0.033);
    cr_assert_lt(fabs(neighbours / own), 0.033);
    cr_assert_lt(fabs(steps / own), 0.033);
    nrw_world_destroy(world);
}

Test(step_noise, without_brownian_nothing_stirs)
{
    setup_lattice(4, 20.0);
    setup.scenario->model.brownian = false;
    setup.scenario->model.gravity = false;
    nrw_world *world = small_world(&setup, false);
    const nrw_excitation excitation = nothing();
    small_advance(world, &excitation, 1.0, 0.008);
    for (int i = 0; i < 4; i++) {
        cr_assert_eq(world->x[i], 25.0 * i);
        cr_assert_eq(world->z[i], 20.0);
    }
    nrw_world_destroy(world);
}

Test(step_noise, noise_does_not_depend_on_how_many_particles_there_are)
{
    const nrw_excitation excitation = nothing();
    double x[2][3];
    for (int k = 0; k < 2; k++) {
        setup_lattice(k == 0 ? 3 : 40, 20.0);
        nrw_world *world = small_world(&setup, false);
        small_advance(world, &excitation, 0.008, 0.008);
        for (int i = 0; i < 3; i++)
            x[k][i] = world->x[i] - 25.0 * i;
        nrw_world_destroy(world);
        small_setup_clear(&setup);
    }
    /* the same counters; float positions differ by the swarm's middle */
    for (int i = 0; i < 3; i++)
        cr_assert_float_eq(x[0][i], x[1][i], 1e-4);
    setup = small_setup_open(1, NULL);
}

/* --- above the floor -------------------------------------------------------------------- */

typedef struct gap_statistics {
    double mean_um, deviation_um;
} gap_statistics;

static gap_statistics measure_gap(double h_s, double seconds)
{
    nrw_world *world = small_world(&setup, false);
    const nrw_excitation excitation = nothing();
    small_advance(world, &excitation, 1.0, h_s); /* forget the start */
    double sum = 0.0, sum2 = 0.0;
    size_t n = 0;
    while (world->time_s < 1.0 + seconds) {
        small_advance(world, &excitation, h_s, h_s);
        for (size_t i = 0; i < world->n; i++) {
            const double gap = world->z[i] - 1.5;
            sum += gap;
            sum2 += gap * gap;
            n++;
        }
    }
    nrw_world_destroy(world);
    const double mean = sum / (double)n;
    return (gap_statistics){mean, sqrt(sum2 / (double)n - mean * mean)};
}

typedef struct potential {
    double repulsion, debye, load; /* kT, µm, kT/µm */
    int power;
} potential;

static double weighted(double gap, void *context)
{
    const potential *p = context;
    return pow(gap, p->power) * exp(-p->repulsion * exp(-gap / p->debye) - p->load * gap);
}

/* Moments of exp(−U/kT) over the gap, by quadrature of the test's own. */
static gap_statistics boltzmann(void)
{
    const nrw_body body = nrw_body_of(setup.scenario, NULL);
    potential p = {body.layer_amplitude_pN * body.debye_um / body.kT_pN_um, body.debye_um,
                   body.weight_pN / body.kT_pN_um, 0};
    double moments[3];
    gsl_integration_workspace *workspace = gsl_integration_workspace_alloc(200);
    for (p.power = 0; p.power < 3; p.power++) {
        gsl_function f = {weighted, &p};
        double error;
        gsl_integration_qag(&f, body.roughness_um, 3.0, 0.0, 1e-9, 200, GSL_INTEG_GAUSS31,
                            workspace, &moments[p.power], &error);
    }
    gsl_integration_workspace_free(workspace);
    const double mean = moments[1] / moments[0];
    return (gap_statistics){mean, sqrt(moments[2] / moments[0] - mean * mean)};
}

Test(step_noise, heights_above_the_floor_are_boltzmann_s)
{
    setup_lattice(256, NAN);
    const gap_statistics expected = boltzmann();
    cr_assert_float_eq(nrw_body_of(setup.scenario, NULL).gap_um, expected.mean_um,
                       1e-5 * expected.mean_um);
    /* Without the drift term of the mobility's gradient the mean would be 6 % lower.
     * 10 s and 5 s are some 80 and 40 correlation times (0.12 s) of 256 particles:
     * standard errors 0.3 % and 0.4 %. The default step's own bias, measured over
     * 15 s: −0.5 ± 0.2 % of the mean; none seen at 4 ms and below. */
    const gap_statistics coarse = measure_gap(0.008, 10.0);
    cr_assert_float_eq(coarse.mean_um, expected.mean_um, 0.015 * expected.mean_um, "%g",
                       coarse.mean_um / expected.mean_um);
    cr_assert_float_eq(coarse.deviation_um, expected.deviation_um, 0.03 * expected.deviation_um,
                       "%g", coarse.deviation_um / expected.deviation_um);
    const gap_statistics fine = measure_gap(0.002, 5.0);
    cr_assert_float_eq(fine.mean_um, expected.mean_um, 0.013 * expected.mean_um, "%g",
                       fine.mean_um / expected.mean_um);
    cr_assert_float_eq(fine.deviation_um, expected.deviation_um, 0.03 * expected.deviation_um, "%g",
                       fine.deviation_um / expected.deviation_um);
}

/* --- side walls --------------------------------------------------------------------------- */

Test(step_noise, between_two_walls_a_particle_is_everywhere_alike)
{
    setup = small_setup_of("format: narrows-scenario/1\n"
                           "title: a narrow channel\n"
                           "fluid: {medium: water, temperature_C: 25}\n"
                           "particles:\n"
                           "  positions_um: [[100, -1], [130, 0], [160, 1], [190, 0]]\n"
                           "  diameter_um: 1.0\n"
                           "  density_kg_m3: 1100\n"
                           "  magnetics: {kind: induced, susceptibility: 0.30}\n"
                           "channel:\n"
                           "  depth_um: 60\n"
                           "  nodes: {a: {at_um: [0, 0]}, b: {at_um: [300, 0]}}\n"
                           "  vessels: [{from: a, to: b, width_um: 4}]\n"
                           "release: {at_um: [100, 0], radius_um: 1.9}\n"
                           "target: {node: b, radius_um: 1.9}\n"
                           "deadline_s: 10\n");
    nrw_world *world = small_world(&setup, false);
    const nrw_excitation excitation = nothing();
    /* free to move over ±1.5 µm; crossing takes 3²/2D = 14 s */
    double sum2 = 0.0, beyond = 0.0;
    size_t n = 0, at_wall = 0;
    while (world->time_s < 600.0) {
        small_advance(world, &excitation, 0.008, 0.008);
        for (size_t i = 0; i < world->n; i++) {
            sum2 += world->y[i] * world->y[i];
            beyond = fmax(beyond, fabs(world->y[i]) - 1.5);
            at_wall += fabs(world->y[i]) > 1.2;
            n++;
        }
    }
    /* uniform: variance 1.5²/3, a fifth of the time in the outer fifth. 4 × 600 s hold
     * some 500 independent places: 4 % and 8 %. The step makes the strip wider by half
     * of its own move, 0.04 µm. */
    cr_assert_float_eq(sum2 / (double)n, 0.75, 0.13, "%g", sum2 / (double)n);
    cr_assert_float_eq((double)at_wall / (double)n, 0.2, 0.06, "%g", (double)at_wall / (double)n);
    cr_assert_leq(beyond, 0.05, "%g", beyond);
    nrw_world_destroy(world);
}
