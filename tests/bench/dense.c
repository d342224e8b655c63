/* Dipole forces of all pairs: our tiles against the bound of the same core, the row
 * kernel, naive C and NumPy. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "bench.h"

enum { ROUNDS_MOST = 101 };

typedef struct dense_case {
    bench_swarm swarm;
    nrw_pair_task task;
    nrw_tile_kernel *tile;
    nrw_pair_kernel *rows;
    bench_naive *naive;
    bench_roof_kernel *roof;
    float sum;
} dense_case;

static double tile_seconds(void *context, size_t calls)
{
    dense_case *it = context;
    const double begun = bench_core_s();
    for (size_t k = 0; k < calls; k++)
        it->tile(&it->task);
    return bench_core_s() - begun;
}

static double rows_seconds(void *context, size_t calls)
{
    dense_case *it = context;
    const double begun = bench_core_s();
    for (size_t k = 0; k < calls; k++)
        it->rows(&it->task, 0, it->swarm.n);
    return bench_core_s() - begun;
}

static double naive_seconds(void *context, size_t calls)
{
    dense_case *it = context;
    const double begun = bench_core_s();
    for (size_t k = 0; k < calls; k++)
        bench_naive_forces(it->naive);
    return bench_core_s() - begun;
}

static double roof_seconds(void *context, size_t calls)
{
    dense_case *it = context;
    const double begun = bench_core_s();
    for (size_t k = 0; k < calls; k++)
        it->sum += it->roof(1.0f + 1e-20f * it->sum).sum;
    return bench_core_s() - begun;
}

static bool open_case(dense_case *it, size_t n)
{
    const nrw_kernels *kernels = nrw_kernels_get();
    if (!bench_swarm_make(&it->swarm, n, 1))
        return false;
    it->task = bench_swarm_task(&it->swarm);
    it->tile = kernels->tile_averaged;
    it->rows = kernels->averaged;
    it->roof = bench_roof_of_level(kernels->name);
    it->naive = bench_naive_create(&it->swarm, INFINITY, 0.0, false);
    it->sum = 0.0f;
    return it->naive != NULL;
}

static void close_case(dense_case *it)
{
    bench_naive_destroy(it->naive);
    bench_swarm_clear(&it->swarm);
}

/* Our forces as doubles (n x 3). */
static void take_forces(const bench_swarm *swarm, double (*forces)[3])
{
    for (size_t i = 0; i < swarm->n; i++) {
        forces[i][0] = (double)swarm->fx[i];
        forces[i][1] = (double)swarm->fy[i];
        forces[i][2] = (double)swarm->fz[i];
    }
}

/* Errors against the naive sums in double precision; true: small enough to compare. */
static bool agrees(bench_report *report, dense_case *it, double (*script)[3])
{
    double(*forces)[3] = calloc(it->swarm.n, sizeof *forces);
    if (!forces)
        return false;
    bench_naive_forces(it->naive);
    const double(*reference)[3] = bench_naive_result(it->naive);
    it->tile(&it->task);
    take_forces(&it->swarm, forces);
    const double tile = bench_force_error(it->swarm.n, (const double(*)[3])forces, reference);
    it->rows(&it->task, 0, it->swarm.n);
    take_forces(&it->swarm, forces);
    const double rows = bench_force_error(it->swarm.n, (const double(*)[3])forces, reference);
    free(forces);
    bench_detail(report, "agreement", "dense_tile_against_naive", tile);
    bench_detail(report, "agreement", "dense_rows_against_naive", rows);
    bool good = tile < 1e-5 && rows < 1e-5;
    if (script) {
        const double numpy = bench_force_error(it->swarm.n, (const double(*)[3])script, reference);
        bench_detail(report, "agreement", "dense_numpy_against_naive", numpy);
        good = good && numpy < 1e-9;
    }
    return good;
}

/* Shares of the bound by number of particles. */
static void by_size(bench_report *report, size_t rounds, double slice)
{
    static const size_t sizes[] = {150, 400, 1000, 2000, 4000};
    for (size_t k = 0; k < sizeof sizes / sizeof *sizes; k++) {
        dense_case it;
        double each[2][ROUNDS_MOST];
        if (!open_case(&it, sizes[k]) || !it.roof) {
            close_case(&it);
            return;
        }
        bench_contender contenders[2] = {{roof_seconds, &it, 0, each[0]},
                                         {tile_seconds, &it, 0, each[1]}};
        bench_race(2, contenders, rounds, slice);
        const bench_roof roof = it.roof(1.0f);
        const double n = (double)sizes[k], pairs = n * (n - 1.0);
        const double needed = pairs * BENCH_DIPOLE_OPS / (2.0 * roof.width) / roof.n_vectors;
        const bench_spread share =
            bench_spread_scale(bench_spread_ratio(rounds, each[0], each[1]), needed);
        const bench_spread seconds = bench_spread_of(rounds, each[1]);
        bench_row(report, "dense",
                  json_pack("{s:f, s:o, s:o}", "n", n, "gdir_per_s_core",
                            bench_real(1e-9 * pairs / seconds.median), "fraction_of_bound",
                            bench_real(share.median)));
        printf("  %6zu particles: %6.3g e9 directed pairs a second, %.3f of the bound\n", sizes[k],
               1e-9 * pairs / seconds.median, share.median);
        close_case(&it);
    }
}

static void compare(bench_report *report, dense_case *it, bench_script *script, size_t rounds,
                    double slice)
{
    double each[5][ROUNDS_MOST];
    bench_script_part numpy = {script, ""};
    bench_contender contenders[5] = {{roof_seconds, it, 0, each[0]},
                                     {tile_seconds, it, 0, each[1]},
                                     {rows_seconds, it, 0, each[2]},
                                     {naive_seconds, it, 0, each[3]},
                                     {bench_script_seconds, &numpy, 1, each[4]}};
    bench_race(script ? 5 : 4, contenders, rounds, slice);
    const double n = (double)it->swarm.n, pairs = n * (n - 1.0);
    const bench_roof roof = it->roof(1.0f);
    const double needed = pairs * BENCH_DIPOLE_OPS / (2.0 * roof.width) / roof.n_vectors;
    bench_spread share = bench_spread_ratio(rounds, each[0], each[1]);
    bench_figure(report, "dense_fraction_of_bound", bench_spread_scale(share, needed),
                 "all pairs, tiles, of what multiply-adds alone would take");
    bench_figure(report, "dense_units_busy",
                 bench_spread_scale(share, needed * BENCH_DIPOLE_OPS_DONE / BENCH_DIPOLE_OPS),
                 "the same by the multiply-adds that the kernel does: how busy the units are");
    bench_figure(report, "dense_vs_naive", bench_spread_ratio(rounds, each[3], each[1]),
                 "all pairs, tiles over naive C");
    bench_figure(report, "dense_vs_rows", bench_spread_ratio(rounds, each[2], each[1]),
                 "all pairs, tiles over row by row");
    if (script)
        bench_figure(report, "pair_vs_numpy", bench_spread_ratio(rounds, each[4], each[1]),
                     "all pairs, tiles over a vectorised NumPy script");
    const bench_spread vectors = bench_spread_of(rounds, each[0]);
    bench_detail(report, "roofline", "vector_width", roof.width);
    bench_detail(report, "roofline", "multiply_adds_per_vector_of_pairs", BENCH_DIPOLE_OPS);
    bench_detail(report, "roofline", "multiply_adds_done", BENCH_DIPOLE_OPS_DONE);
    bench_detail(report, "roofline", "gflop_per_s_core",
                 2e-9 * roof.n_vectors * roof.width / vectors.median);
    bench_detail(report, "roofline", "bound_gdir_per_s_core",
                 2e-9 * roof.n_vectors * roof.width / BENCH_DIPOLE_OPS / vectors.median);
    const bench_spread tile = bench_spread_of(rounds, each[1]);
    bench_figure(report, "dense_gdir_per_s_core",
                 (bench_spread){1e-9 * pairs / tile.median, 1e-9 * pairs / tile.high,
                                1e-9 * pairs / tile.low, rounds},
                 "all pairs, tiles, e9 directed pairs a second");
}

void bench_dense(bench_report *report)
{
    bench_title("Dipole forces of all pairs");
    const size_t n = 1000, rounds = report->quick ? 9 : 41;
    const double slice = report->quick ? 0.005 : 0.01;
    dense_case it;
    char why[256] = "no memory";
    double(*forces)[3] = calloc(n, sizeof *forces);
    if (!open_case(&it, n) || !forces || !it.roof) {
        bench_missing(report, "dense_fraction_of_bound", "no memory");
        close_case(&it);
        free(forces);
        return;
    }
    bench_script *script =
        bench_script_start(report, "all_pairs.py", &it.swarm, INFINITY, forces, why, sizeof why);
    if (!script)
        bench_missing(report, "pair_vs_numpy", why);
    if (agrees(report, &it, script ? forces : NULL))
        compare(report, &it, script, rounds, slice);
    else
        bench_missing(report, "dense_fraction_of_bound", "the contenders' forces differ");
    bench_script_stop(script);
    close_case(&it);
    free(forces);
    by_size(report, report->quick ? 5 : 15, slice);
}
