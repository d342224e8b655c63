/* The simulator's step against values of the world outside (rows ROT-04, BRO-05, -09,
 * -10, -14, -16, -17). Statistical rows have fixed seeds: the numbers never change, and
 * the tolerance is what a fresh seed would keep to with 99.7 % confidence. */
#include "external_row.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "particle.h"
#include "small_setup.h"

static small_setup setup;

/* n particles 30 µm apart, with noise and nothing else. */
static void begin(size_t n, double z, double diameter_um)
{
    double(*at)[3] = malloc(n * sizeof *at);
    cr_assert_not_null(at);
    for (size_t i = 0; i < n; i++) {
        at[i][0] = 30.0 * (double)(i % 32);
        at[i][1] = 30.0 * (double)(i / 32);
        at[i][2] = z;
    }
    setup = small_setup_open(n, (const double(*)[3])at);
    free(at);
    setup.scenario->model.brownian = true;
    setup.scenario->particles.diameter_um = diameter_um;
    setup.scenario->fluid.viscosity_Pa_s = 8.9e-4;
    setup.scenario->fluid.temperature_C = 25.0;
}

static void unbounded(void)
{
    setup.scenario->map.has_floor = false;
    setup.scenario->model.gravity = false;
}

static void end(void)
{
    small_setup_clear(&setup);
}

TestSuite(external_simulation, .fini = end);

static nrw_excitation nothing(void)
{
    nrw_excitation excitation;
    memset(&excitation, 0, sizeof excitation);
    excitation.n_substeps = 1;
    return excitation;
}

/* --- rotation ---------------------------------------------------------------------------- */

/* Mean spin over the step-out rate, of the step and of the period average. */
static void turn(double ratio, double *of_step, double *of_average)
{
    nrw_world *world = small_world(&setup, true);
    const double critical = nrw_step_out_rad_s(10.0, 1.0, world->body.spin_drag_pN_um_s);
    const double f = ratio * critical / (2.0 * NRW_PI);
    const nrw_field field = small_rotating(1.0, f, 0.0);
    nrw_excitation excitation = small_excitation(world, &field);
    const int per_period = 64, n_periods = 200;
    const double h = 1.0 / (f * per_period);
    double turned = 0.0;
    for (int k = 0; k < n_periods * per_period; k++) {
        excitation.field = nrw_field_at(&field, 2.0 * NRW_PI * (k + 0.5) / per_period);
        small_advance(world, &excitation, h, h);
        turned += (double)world->spin_z[0] * h;
    }
    *of_step = turned / world->time_s / critical;
    *of_average = nrw_average_of(&world->body, &field).spin.z / critical;
    nrw_world_destroy(world);
}

/* Adler 1946; identity. 1 % is what the table asks of a simulation. */
Test(external_simulation, permanent_dipole_beyond_step_out)
{
    begin(1, 0.0, 2.0);
    unbounded();
    setup.scenario->model.brownian = false;
    small_setup_permanent(&setup, 10.0, NULL);
    const char *ids[] = {"ROT-04a", "ROT-04b", "ROT-04c"};
    const double ratios[] = {1.1, 1.25, 2.0}, values[] = {0.6417424305, 0.5, 0.2679491924};
    for (int k = 0; k < 3; k++) {
        double of_step, of_average;
        turn(ratios[k], &of_step, &of_average);
        assert_row(ids[k], of_step, values[k], 0.01);
        assert_row(ids[k], of_average, values[k], 0.01);
    }
}

/* Debye 1929: ⟨u(0)·u(t)⟩ = exp(−2 D_r t), D_r = 0.1840/s, t = 2 s. */
Test(external_simulation, rotational_diffusion_of_free_dipoles)
{
    enum { N = 320, WINDOWS = 12 };
    begin(N, 0.0, 2.0);
    unbounded();
    small_setup_permanent(&setup, 1e-3, NULL); /* too weak to turn each other */
    nrw_world *world = small_world(&setup, true);
    const nrw_excitation excitation = nothing();
    double sum = 0.0;
    for (int w = 0; w < WINDOWS; w++) {
        double u[3][N];
        memcpy(u[0], world->ux, sizeof u[0]);
        memcpy(u[1], world->uy, sizeof u[1]);
        memcpy(u[2], world->uz, sizeof u[2]);
        small_advance(world, &excitation, 2.0, 0.02);
        for (int i = 0; i < N; i++)
            sum += u[0][i] * world->ux[i] + u[1][i] * world->uy[i] + u[2][i] * world->uz[i];
    }
    /* a dot product spreads by 0.48: standard error 0.48/sqrt(3840) = 1.6 % of the value */
    assert_row("BRO-05", sum / (N * WINDOWS), 0.4789690351, 0.05);
    nrw_world_destroy(world);
}

/* Langevin 1905: permanent moments in a steady field at mB/kT = 1, 2 and 5 lie along it by
 * coth x − 1/x on the average, whatever their drag. Rotational noise and the field's torque
 * must balance for it; noise with BRO-08's 2-D rule, I1(x)/I0(x), would give 0.446 at 1. */
Test(external_simulation, thermal_alignment_in_a_field)
{
    enum { N = 320, LOOKS = 12 };
    static const double energies[] = {1.0, 2.0, 5.0}, means[] = {0.3130353, 0.5373147, 0.8000908};
    for (int k = 0; k < 3; k++) {
        begin(N, 0.0, 2.0);
        unbounded();
        small_setup_permanent(&setup, 1e-3, NULL);
        nrw_world *world = small_world(&setup, true);
        nrw_excitation excitation = nothing();
        excitation.field = (nrw_vec3){energies[k] * world->body.kT_pN_um / 1e-3, 0.0, 0.0};
        /* 1/D_r is 5.4 s: wait for two and a half, then look every 3 s */
        small_advance(world, &excitation, 14.0, 0.02);
        double sum = 0.0;
        for (int look = 0; look < LOOKS; look++) {
            small_advance(world, &excitation, 3.0, 0.02);
            for (int i = 0; i < N; i++)
                sum += world->ux[i];
        }
        /* a cosine spreads by 0.54 at most, of which some 1500 are independent: 1.4 % of 1,
         * three times that */
        assert_row_near("Langevin 1905", sum / (N * LOOKS), means[k], 0.042);
        nrw_world_destroy(world);
        if (k < 2)
            small_setup_clear(&setup);
    }
}

/* --- a harmonic trap ------------------------------------------------------------------------ */

/* The hard spring that holds a given gap, 6000 pN/µm, with a weight that keeps the
 * particle on it: variance of the height over kT/k with κ = k h/ζ. */
static double trap_variance(double kappa)
{
    enum { N = 128 };
    begin(N, NAN, 3.0);
    setup.scenario->particles.surface_gap_um = 0.1;
    setup.scenario->particles.density_kg_m3 = 4.0e5; /* 55 pN: pressed in by 9 nm of 0.8 nm noise */
    nrw_world *world = small_world(&setup, false);
    const nrw_excitation excitation = nothing();
    const double k = 100.0 * setup.scenario->model.contact_stiffness_pN_um;
    const double gap = 0.1 - world->body.weight_pN / k;
    for (int i = 0; i < N; i++)
        world->z[i] = 1.5 + gap;
    const double mobility = nrw_floor_mobility_exact(gap / 1.5).mz / world->body.drag_pN_s_um;
    const double h = kappa / (k * mobility);
    small_advance(world, &excitation, 50.0 * h / kappa, h);
    double sum = 0.0, sum2 = 0.0;
    size_t n = 0;
    for (int step = 0; step < (int)(200.0 / kappa); step++) {
        small_advance(world, &excitation, h, h);
        for (int i = 0; i < N; i++) {
            const double off = world->z[i] - 1.5 - gap;
            sum += off;
            sum2 += off * off;
            n++;
        }
    }
    const double mean = sum / (double)n;
    const double variance = sum2 / (double)n - mean * mean;
    const double kT = world->body.kT_pN_um;
    nrw_world_destroy(world);
    return variance / (kT / k);
}

/* Equipartition; and the derived identity of the scheme. Euler-Maruyama would give
 * 1/(1 − κ/2), BRO-10's 1.0526 at κ = 0.1; the implicit step gives 1/(1 + κ/2). A
 * stiff contact is thus quieter than kT/k when the step exceeds its relaxation. */
Test(external_simulation, harmonic_trap_of_the_floor_s_spring)
{
    const double kappas[] = {0.02, 0.1, 1.0};
    for (int k = 0; k < 3; k++) {
        const double got = trap_variance(kappas[k]);
        /* 200 relaxation times of 128 particles: standard error sqrt(2/25600) = 0.9 %; and
         * the mobility varies by 2 % over the trap */
        assert_row(k == 0 ? "BRO-09" : "BRO-10, implicit", got, 1.0 / (1.0 + kappas[k] / 2.0),
                   0.03);
        if (k < 2)
            small_setup_clear(&setup);
    }
}

/* --- near the floor -------------------------------------------------------------------------- */

/* WAL-10 and Einstein: D0/Ft* = 1.0837e-13 m²/s at h/a = 1.1, a = 1 µm. */
Test(external_simulation, diffusion_along_the_floor)
{
    enum { N = 512, STEPS = 40 };
    begin(N, 1.1, 2.0);
    nrw_world *world = small_world(&setup, false);
    const nrw_excitation excitation = nothing();
    const double h = 1e-6; /* the height stays: it moves by a nanometre in all */
    double sum = 0.0;
    for (int k = 0; k < STEPS; k++) {
        double before[2][N];
        memcpy(before[0], world->x, sizeof before[0]);
        memcpy(before[1], world->y, sizeof before[1]);
        small_advance(world, &excitation, h, h);
        for (int i = 0; i < N; i++)
            sum += pow(world->x[i] - before[0][i], 2.0) + pow(world->y[i] - before[1][i], 2.0);
    }
    /* 40,960 squares: standard error 0.7 %; free to turn, it diffuses 0.8 % faster */
    assert_row("BRO-14", sum / (4.0 * h * N * STEPS), 0.108365844, 0.03);
    nrw_world_destroy(world);
}

/* --- first passage ------------------------------------------------------------------------------
 */

/* Sum of the times at which |x − start| (or, with a drift, the height fallen) first
 * reaches length_um, over the particles of one seed. */
static double first_passages_s(uint64_t seed, double length_um, double h, bool along_z)
{
    nrw_world *world = small_world_of_seed(&setup, false, seed);
    const nrw_excitation excitation = nothing();
    const size_t n = world->n;
    double *start = malloc(n * sizeof *start), *at = along_z ? world->z : world->x;
    bool *arrived = calloc(n, sizeof *arrived);
    cr_assert(start && arrived);
    memcpy(start, at, n * sizeof *start);
    double sum = 0.0;
    size_t left = n;
    while (left > 0) {
        cr_assert_lt(world->time_s, 1000.0);
        small_advance(world, &excitation, h, h);
        for (size_t i = 0; i < n; i++) {
            const double moved = along_z ? start[i] - at[i] : fabs(at[i] - start[i]);
            if (arrived[i] || moved < length_um)
                continue;
            arrived[i] = true;
            left--;
            sum += world->time_s;
        }
    }
    free(start);
    free(arrived);
    nrw_world_destroy(world);
    return sum;
}

/* Mean over some seeds: small swarms are quicker than one large one. */
static double mean_first_passage_s(int n_seeds, double length_um, double h, bool along_z)
{
    double sum = 0.0;
    for (int seed = 1; seed <= n_seeds; seed++)
        sum += first_passages_s((uint64_t)seed, length_um, h, along_z);
    return sum / (n_seeds * (double)setup.scenario->particles.count);
}

/* Redner 2001 (from memory): absorbing at L, reflecting at 0: L²/2D. The reflection is
 * had by symmetry, from the first passage of |x|; the table's case scaled to L = 2 µm
 * of the same particle of a = 1 µm, D = 0.2454 µm²/s. */
Test(external_simulation, first_passage_by_diffusion)
{
    enum { N = 40, SEEDS = 12 };
    begin(N, 0.0, 2.0);
    unbounded();
    const double diffusion = 0.2453731095, h = 0.004;
    /* watched at steps only, a walk is seen to arrive as if the line lay 0.5826 of a
     * step's spread farther off (Chernoff 1965; Siegmund 1979): 1.3 % of L */
    const double length = 2.0, seen = length + 0.5826 * sqrt(2.0 * diffusion * h);
    const double expected = 5094.282753 * pow(seen / 50.0, 2.0);
    /* |x| from the middle spreads by sqrt(2/3) of its mean: standard error 3.7 % */
    assert_row("BRO-16", mean_first_passage_s(SEEDS, length, h, false), expected, 0.11);
}

/* Redner 2001 (from memory): with drift, L/v − (D/v²)(1 − exp(−vL/D)) from a reflecting
 * start. A settling particle starts in open fluid, where the mean is L/v itself; the
 * table's term is for the wall behind it. */
Test(external_simulation, first_passage_with_drift)
{
    enum { N = 128 };
    begin(N, 0.0, 2.0);
    unbounded();
    setup.scenario->model.gravity = true;
    const nrw_body body = nrw_body_of(setup.scenario, NULL);
    const double v = body.weight_pN / body.drag_pN_s_um, diffusion = 0.2453731095, h = 0.008;
    const double length = 20.0, seen = length + 0.5826 * sqrt(2.0 * diffusion * h);
    const double deviation = sqrt(2.0 * diffusion * length / (v * v * v));
    cr_assert_gt(v, 1.0);
    assert_row_near("BRO-17, open start", mean_first_passage_s(1, length, h, true), seen / v,
                    3.0 * deviation / sqrt(N));
}
