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
 * has just been released moves otherwise than one that has settled. A round is one part of
 * every size, one after the other, so that what else the machine does in it hits them all. */
#define WARM_S 0.3
#define PART_S 0.2
enum { PARTS = 3, MOST_ROUNDS = 9, MOST_SIZES = 5 };

/* Small swarms are measured several at a time: so many particles, about. */
enum { PARTICLES_A_ROUND = 30000, MOST_SWARMS = 30 };

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

/* Swarms of one size. */
typedef struct flock {
    size_t n, n_swarms;
    bench_setting setting;
    nrw_world *swarms[MOST_SWARMS];
    double per_simulated_s[MOST_ROUNDS]; /* core seconds for a simulated one, by round */
    double per_step_s[MOST_ROUNDS];      /* and for a step */
} flock;

/* Core seconds of `seconds` simulated; NAN when a step failed. */
static double advance(nrw_world *world, const nrw_excitation *excitation, double seconds,
                      double *n_steps)
{
    const double until = world->time_s + seconds;
    double spent = 0.0, taken;
    while (until - world->time_s > 1e-9 && !isnan(spent)) {
        const double left = until - world->time_s; /* in equal parts, as nrw_run does */
        spent += step_seconds(world, excitation, left / ceil(left / BENCH_STEP_S - 1e-6), &taken);
        *n_steps += 1.0;
    }
    return spent;
}

static void release(flock *it)
{
    for (size_t k = 0; k < it->n_swarms; k++) {
        nrw_world_destroy(it->swarms[k]);
        it->swarms[k] = NULL;
    }
}

/* New swarms, warmed up; false when one fails. */
static bool gather(flock *it, uint64_t seed)
{
    double unused = 0.0;
    release(it);
    for (size_t k = 0; k < it->n_swarms; k++) {
        it->swarms[k] = bench_world_make(&it->setting, seed * MOST_SWARMS + k);
        if (!it->swarms[k])
            return false;
        const nrw_excitation excitation = bench_excitation(it->swarms[k], 30.0);
        if (isnan(advance(it->swarms[k], &excitation, WARM_S, &unused)))
            return false;
    }
    return true;
}

/* One part of all swarms of a size; false when a step fails. */
static bool measure(flock *it, size_t round)
{
    double spent = 0.0, n_steps = 0.0;
    for (size_t k = 0; k < it->n_swarms; k++) {
        const nrw_excitation excitation = bench_excitation(it->swarms[k], 30.0);
        spent += advance(it->swarms[k], &excitation, PART_S, &n_steps);
    }
    it->per_simulated_s[round] = spent / (PART_S * (double)it->n_swarms);
    it->per_step_s[round] = spent / n_steps;
    return !isnan(spent);
}

static bool measure_all(flock *flocks, size_t n_sizes, size_t n_rounds)
{
    bool good = true;
    for (size_t round = 0; round < n_rounds && good; round++) {
        for (size_t k = 0; k < n_sizes && round % PARTS == 0 && good; k++)
            good = gather(&flocks[k], 1 + round / PARTS);
        for (size_t k = 0; k < n_sizes && good; k++)
            good = measure(&flocks[k], round);
    }
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

static double part_of(const flock *it, size_t round, bool by_step)
{
    return by_step ? it->per_step_s[round] : it->per_simulated_s[round];
}

/* The exponent of each round. */
static bench_spread exponents(const flock *flocks, size_t n_sizes, size_t n_rounds, bool by_step)
{
    double values[MOST_ROUNDS];
    for (size_t round = 0; round < n_rounds; round++) {
        double counts[MOST_SIZES], costs[MOST_SIZES];
        for (size_t k = 0; k < n_sizes; k++) {
            counts[k] = (double)flocks[k].n;
            costs[k] = part_of(&flocks[k], round, by_step);
        }
        values[round] = bench_exponent(n_sizes, counts, costs);
    }
    return bench_spread_of(n_rounds, values);
}

static void tell_costs(bench_report *report, flock *it, size_t n_rounds)
{
    const double n = (double)it->n;
    const bench_spread cost = bench_spread_of(n_rounds, it->per_simulated_s);
    const bench_spread step = bench_spread_of(n_rounds, it->per_step_s);
    bench_row(report, "cost",
              json_pack("{s:f, s:o, s:o, s:o, s:o, s:o}", "n", n, "core_s_per_simulated_s",
                        bench_real(cost.median), "low", bench_real(cost.low), "high",
                        bench_real(cost.high), "us_per_particle_step",
                        bench_real(1e6 * step.median / n), "step_s",
                        bench_real(step.median / cost.median)));
    printf("  %6zu particles: %9.4g core s a simulated one, %7.4g us a particle and step, "
           "steps of %.3g ms\n",
           it->n, cost.median, 1e6 * step.median / n, 1e3 * step.median / cost.median);
}

void bench_scaling(bench_report *report)
{
    static const size_t sizes[MOST_SIZES] = {1000, 3000, 10000, 30000, 100000};
    static flock flocks[MOST_SIZES]; /* large */
    const size_t n_sizes = report->quick ? 3 : MOST_SIZES;
    const size_t n_rounds = report->quick ? PARTS : MOST_ROUNDS;
    const int threads = omp_get_max_threads();
    bool good = true;
    omp_set_num_threads(1);
    bench_title("Cost and memory against the number of particles, one core");
    memset(flocks, 0, sizeof flocks);
    for (size_t k = 0; k < n_sizes && good; k++) {
        const size_t together = PARTICLES_A_ROUND / sizes[k];
        flocks[k].n = sizes[k];
        flocks[k].n_swarms = together < 1 ? 1 : together < MOST_SWARMS ? together : MOST_SWARMS;
        good = bench_setting_open(&flocks[k].setting, sizes[k], false);
    }
    good = good && measure_all(flocks, n_sizes, n_rounds);
    if (!good)
        bench_missing(report, "cost_exponent", "a step failed, or there was no memory");
    else if (report->quick)
        bench_missing(report, "cost_exponent", "the quick run stops at 10,000 particles");
    else {
        bench_figure(report, "cost_exponent", exponents(flocks, n_sizes, n_rounds, false),
                     "of the core time for a simulated second, 1,000 to 100,000");
        bench_figure(report, "step_cost_exponent", exponents(flocks, n_sizes, n_rounds, true),
                     "of the core time for a step");
    }
    for (size_t k = 0; k < n_sizes; k++) {
        if (good)
            tell_costs(report, &flocks[k], n_rounds);
        release(&flocks[k]);
        bench_setting_clear(&flocks[k].setting);
    }
    omp_set_num_threads(threads);
    memory(report);
}
