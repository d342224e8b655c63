/* Cost and memory against the number of particles: a gathered layer on an open floor,
 * tilt 30, averaged model, noise and pair flow on. */
#include <math.h>
#include <omp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "bench.h"

enum { STEPS_MOST = 2000, WARM_STEPS = 20 };

/* One step; core seconds, NAN when it failed. */
static double step_seconds(nrw_world *world, const nrw_excitation *excitation, double *taken)
{
    nrw_errors errors;
    nrw_errors_init(&errors);
    const double begun = bench_core_s();
    const nrw_status status = nrw_world_step(world, excitation, 0.020, taken, &errors);
    const double seconds = bench_core_s() - begun;
    if (status != NRW_OK && errors.n_items > 0)
        (void)fprintf(stderr, "bench: a step failed: %s\n", errors.items[0].what);
    nrw_errors_clear(&errors);
    return status == NRW_OK ? seconds : NAN;
}

typedef struct step_cost {
    bench_spread per_simulated_s; /* core seconds for a simulated one */
    double step_s, per_particle_step_us;
    size_t n_steps;
} step_cost;

/* Steps until the budget is used up, judged in eight parts. */
static step_cost measure(nrw_world *world, double budget_s)
{
    static double cost[STEPS_MOST], taken[STEPS_MOST];
    const nrw_excitation excitation = bench_excitation(world, 30.0);
    step_cost result = {bench_spread_one(NAN), NAN, NAN, 0};
    double spent = 0.0, simulated = 0.0;
    size_t n = 0;
    for (int k = 0; k < WARM_STEPS && spent < 0.5 * budget_s; k++)
        spent += step_seconds(world, &excitation, &simulated);
    const uint64_t substeps = world->n_steps;
    spent = simulated = 0.0;
    while (n < STEPS_MOST && (n < 2 || spent < budget_s)) {
        cost[n] = step_seconds(world, &excitation, &taken[n]);
        if (isnan(cost[n]))
            return result;
        spent += cost[n];
        simulated += taken[n++];
    }
    enum { PARTS = 8 };
    double parts[PARTS];
    const size_t n_parts = n < PARTS ? n : PARTS;
    for (size_t p = 0; p < n_parts; p++) {
        double c = 0.0, t = 0.0;
        for (size_t k = p * n / n_parts; k < (p + 1) * n / n_parts; k++) {
            c += cost[k];
            t += taken[k];
        }
        parts[p] = c / t;
    }
    result.per_simulated_s = bench_spread_of(n_parts, parts);
    result.step_s = simulated / (double)(world->n_steps - substeps);
    result.per_particle_step_us = 1e6 * spent / ((double)n * (double)world->n);
    result.n_steps = n;
    return result;
}

/* --- memory ---------------------------------------------------------------------- */

static double peak_bytes(void)
{
    char line[256];
    double kilobytes = NAN;
    FILE *file = fopen("/proc/self/status", "r");
    if (!file)
        return NAN;
    while (fgets(line, sizeof line, file))
        if (sscanf(line, "VmHWM: %lf", &kilobytes) == 1)
            break;
    (void)fclose(file);
    return 1024.0 * kilobytes;
}

int bench_memory_of(size_t n)
{
    bench_setting setting;
    omp_set_num_threads(1);
    if (!bench_setting_open(&setting, n, false))
        return 3;
    nrw_world *world = bench_world_make(&setting, 1);
    if (!world)
        return 3;
    const nrw_excitation excitation = bench_excitation(world, 30.0);
    double taken;
    for (int k = 0; k < 2; k++)
        if (isnan(step_seconds(world, &excitation, &taken)))
            return 3;
    printf("%.0f %.0f\n", peak_bytes(), (double)world->arena.size);
    nrw_world_destroy(world);
    bench_setting_clear(&setting);
    return 0;
}

/* In a process of its own, so that the peak is that of this size alone. */
static double memory_of_child(size_t n, double *arena)
{
    char self[512], command[600];
    double peak = NAN;
    *arena = NAN;
    const ssize_t length = readlink("/proc/self/exe", self, sizeof self - 1);
    if (length <= 0)
        return NAN;
    self[length] = '\0';
    (void)snprintf(command, sizeof command, "'%s' --memory %zu", self, n);
    FILE *child = popen(command, "r");
    if (!child)
        return NAN;
    if (fscanf(child, "%lf %lf", &peak, arena) != 2)
        peak = NAN;
    return pclose(child) == 0 ? peak : NAN;
}

static void memory(bench_report *report)
{
    static const size_t sizes[] = {1000, 10000, 30000, 100000};
    enum { N_SIZES = sizeof sizes / sizeof *sizes };
    double peaks[N_SIZES];
    for (size_t k = 0; k < N_SIZES; k++) {
        double arena;
        peaks[k] = memory_of_child(sizes[k], &arena);
        bench_row(report, "memory",
                  json_pack("{s:f, s:o, s:o}", "n", (double)sizes[k], "peak_bytes",
                            bench_real(peaks[k]), "world_bytes", bench_real(arena)));
        printf("  %6zu particles: peak %8.2f MB, of which the world's block %8.2f MB\n", sizes[k],
               1e-6 * peaks[k], 1e-6 * arena);
    }
    bench_figure(report, "bytes_per_particle",
                 bench_spread_one((peaks[3] - peaks[1]) / (double)(sizes[3] - sizes[1])),
                 "growth of the peak from 10,000 to 100,000 particles");
}

/* --- cost ------------------------------------------------------------------------ */

void bench_scaling(bench_report *report)
{
    static const size_t sizes[] = {1000, 3000, 10000, 30000, 100000};
    enum { N_SIZES = sizeof sizes / sizeof *sizes };
    const size_t n_sizes = report->quick ? 3 : N_SIZES;
    double counts[N_SIZES], costs[N_SIZES], steps[N_SIZES];
    const int threads = omp_get_max_threads();
    omp_set_num_threads(1);
    bench_title("Cost and memory against the number of particles, one core");
    for (size_t k = 0; k < n_sizes; k++) {
        bench_setting setting;
        counts[k] = (double)sizes[k];
        costs[k] = steps[k] = NAN;
        nrw_world *world = NULL;
        if (bench_setting_open(&setting, sizes[k], false))
            world = bench_world_make(&setting, 1);
        if (world) {
            const step_cost it = measure(world, report->quick ? 0.5 : 4.0);
            costs[k] = it.per_simulated_s.median;
            steps[k] = it.per_particle_step_us * counts[k];
            bench_row(report, "cost",
                      json_pack("{s:f, s:o, s:o, s:o, s:o, s:I}", "n", counts[k],
                                "core_s_per_simulated_s", bench_real(costs[k]), "low",
                                bench_real(it.per_simulated_s.low), "high",
                                bench_real(it.per_simulated_s.high), "us_per_particle_step",
                                bench_real(it.per_particle_step_us), "steps",
                                (json_int_t)it.n_steps));
            printf("  %6zu particles: %9.4g core s a simulated one, %7.4g us a particle and "
                   "step, substeps of %.3g ms\n",
                   sizes[k], costs[k], it.per_particle_step_us, 1e3 * it.step_s);
        }
        nrw_world_destroy(world);
        bench_setting_clear(&setting);
    }
    omp_set_num_threads(threads);
    if (report->quick) {
        bench_missing(report, "cost_exponent", "the quick run stops at 10,000 particles");
    } else {
        bench_figure(report, "cost_exponent",
                     bench_spread_one(bench_exponent(N_SIZES, counts, costs)),
                     "of the core time for a simulated second, 1,000 to 100,000");
        bench_figure(report, "step_cost_exponent",
                     bench_spread_one(bench_exponent(N_SIZES, counts, steps)),
                     "of the core time for a step");
    }
    memory(report);
}
