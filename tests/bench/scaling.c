/* Cost and memory against the number of particles: a gathered layer on an open floor,
 * tilt 30, averaged model, noise and pair flow on. */
#include <math.h>
#include <omp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "bench.h"

/* Every size is measured over the same stretch of simulated time, in parts: a swarm that
 * has just been released moves otherwise than one that has settled. */
#define WARM_S 0.3
#define PART_S 0.2
enum { PARTS = 3, PARTS_MOST = 60 };

/* One step; core seconds, NAN when it failed. */
static double step_seconds(nrw_world *world, const nrw_excitation *excitation, double h_s,
                           double *taken)
{
    nrw_errors errors;
    nrw_errors_init(&errors);
    const double begun = bench_core_s();
    const nrw_status status = nrw_world_step(world, excitation, h_s, taken, &errors);
    const double seconds = bench_core_s() - begun;
    if (status != NRW_OK && errors.n_items > 0)
        (void)fprintf(stderr, "bench: a step failed: %s\n", errors.items[0].what);
    nrw_errors_clear(&errors);
    return status == NRW_OK ? seconds : NAN;
}

typedef struct step_cost {
    double per_simulated_s[PARTS_MOST]; /* core seconds for a simulated one */
    double core_s, n_steps;             /* in all */
    size_t n;                           /* parts */
} step_cost;

/* Core seconds of `seconds` simulated; NAN when a step failed. */
static double advance(nrw_world *world, const nrw_excitation *excitation, double seconds,
                      double *n_steps)
{
    const double until = world->time_s + seconds;
    double spent = 0.0, taken;
    while (until - world->time_s > 1e-9 && !isnan(spent)) {
        spent += step_seconds(world, excitation, fmin(BENCH_STEP_S, until - world->time_s), &taken);
        *n_steps += 1.0;
    }
    return spent;
}

/* Swarm after swarm until the budget is used up; false when one fails. */
static bool measure(size_t n, double budget_s, step_cost *cost)
{
    bench_setting setting;
    bool good = bench_setting_open(&setting, n, false);
    memset(cost, 0, sizeof *cost);
    for (uint64_t seed = 1;
         good && (seed == 1 || cost->core_s < budget_s) && cost->n + PARTS <= PARTS_MOST; seed++) {
        double unused = 0.0;
        nrw_world *world = bench_world_make(&setting, seed);
        if (!world) {
            good = false;
            break;
        }
        const nrw_excitation excitation = bench_excitation(world, 30.0);
        good = !isnan(advance(world, &excitation, WARM_S, &unused));
        for (int part = 0; part < PARTS && good; part++) {
            const double spent = advance(world, &excitation, PART_S, &cost->n_steps);
            good = !isnan(spent);
            cost->core_s += spent;
            cost->per_simulated_s[cost->n++] = spent / PART_S;
        }
        nrw_world_destroy(world);
    }
    bench_setting_clear(&setting);
    return good;
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
        if (isnan(step_seconds(world, &excitation, BENCH_STEP_S, &taken)))
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
        static step_cost it; /* large */
        counts[k] = (double)sizes[k];
        costs[k] = steps[k] = NAN;
        if (!measure(sizes[k], report->quick ? 0.5 : 4.0, &it))
            continue;
        const bench_spread cost = bench_spread_of(it.n, it.per_simulated_s);
        costs[k] = cost.median;
        steps[k] = it.core_s / it.n_steps;
        bench_row(report, "cost",
                  json_pack("{s:f, s:o, s:o, s:o, s:o, s:o}", "n", counts[k],
                            "core_s_per_simulated_s", bench_real(costs[k]), "low",
                            bench_real(cost.low), "high", bench_real(cost.high),
                            "us_per_particle_step", bench_real(1e6 * steps[k] / counts[k]),
                            "step_s", bench_real((double)it.n * PART_S / it.n_steps)));
        printf("  %6zu particles: %9.4g core s a simulated one, %7.4g us a particle and step, "
               "steps of %.3g ms\n",
               sizes[k], costs[k], 1e6 * steps[k] / counts[k],
               1e3 * (double)it.n * PART_S / it.n_steps);
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
