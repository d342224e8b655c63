/* What a second core brings: the same run on one thread and on two at once, and the
 * trials of an estimate. */
#include <math.h>
#include <omp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "bench.h"
#include "estimate.h"
#include "run.h"

enum { ROUNDS_MOST = 31, ROUNDS_LEAST = 5, N_TRIALS = 8 };

/* No new round begins after so long: on a slow machine there are fewer. */
#define RUNS_BUDGET_S 70.0
#define TRIALS_BUDGET_S 40.0

/* Two threads that only count get less than this share of two cores: others work too. */
#define BUSY 0.95

/* One run of a fixed length: the same work each time. Core seconds. */
static double run_once(const bench_setting *setting)
{
    nrw_run_config config = nrw_run_config_defaults();
    nrw_run_result result;
    nrw_errors errors;
    config.model = NRW_MODEL_AVERAGED;
    config.record = false;
    memset(&result, 0, sizeof result);
    nrw_errors_init(&errors);
    const double begun = bench_core_s();
    const nrw_status status =
        nrw_run(setting->scenario, setting->channel, &setting->schedule, &config, &result, &errors);
    const double taken = bench_core_s() - begun;
    nrw_run_result_clear(&result);
    nrw_errors_clear(&errors);
    return status == NRW_OK ? taken : NAN;
}

/* What the machine gives two threads that only count: the roof for the others. */
static double count(const bench_setting *setting)
{
    (void)setting;
    const double begun = bench_core_s();
    uint64_t state = 1;
    for (long k = 0; k < 100000000; k++)
        state = state * 6364136223846793005u + 1442695040888963407u;
    return bench_core_s() - begun + (state == 0 ? 1.0 : 0.0);
}

/* Wall seconds of the same work on each of so many threads; core seconds of one in *core. */
static double together(double (*work)(const bench_setting *setting), const bench_setting *setting,
                       int n_threads, double *core)
{
    double sum = 0.0;
    const double begun = bench_wall_s();
#pragma omp parallel num_threads(n_threads) reduction(+ : sum)
    sum += work(setting);
    *core = sum / n_threads;
    return bench_wall_s() - begun;
}

static void same_runs(bench_report *report)
{
    enum { COUNT_ALONE, COUNT_BOTH, RUN_ALONE, RUN_BOTH, N_TIMES };
    double wall[N_TIMES][ROUNDS_MOST], core[N_TIMES][ROUNDS_MOST];
    size_t rounds = 0;
    bench_setting setting;
    if (!bench_setting_gate(&setting, 150, 4.0, 60.0)) {
        bench_missing(report, "replica_efficiency_2", "no scenario");
        return;
    }
    double warm;
    (void)together(run_once, &setting, 2, &warm);
    const size_t most = report->quick ? ROUNDS_LEAST : ROUNDS_MOST;
    const double begun = bench_wall_s();
    for (; rounds < ROUNDS_LEAST || (rounds < most && bench_wall_s() - begun < RUNS_BUDGET_S);
         rounds++)
        for (int way = 0; way < N_TIMES; way++)
            wall[way][rounds] = together(way < RUN_ALONE ? count : run_once, &setting, 1 + way % 2,
                                         &core[way][rounds]);
    const bench_spread runs = bench_spread_ratio(rounds, wall[RUN_ALONE], wall[RUN_BOTH]);
    const bench_spread counts = bench_spread_ratio(rounds, wall[COUNT_ALONE], wall[COUNT_BOTH]);
    const bool busy = counts.median < BUSY;
    double shares[ROUNDS_MOST];
    for (size_t k = 0; k < rounds; k++)
        shares[k] =
            wall[RUN_ALONE][k] / wall[RUN_BOTH][k] / (wall[COUNT_ALONE][k] / wall[COUNT_BOTH][k]);
    bench_figure(report, "replica_efficiency_2", busy ? bench_spread_of(rounds, shares) : runs,
                 "one run's wall time over that of two at once");
    if (busy)
        bench_note(report, "replica_efficiency_2",
                   "the machine is busy: as a share of what two threads that only count get");
    bench_figure(report, "machine_efficiency_2", counts,
                 "the same for a loop that only counts: what the machine gives just now");
    bench_figure(report, "replica_wall_efficiency_2", runs, "by the wall clock in any case");
    bench_figure(report, "replica_core_efficiency_2",
                 bench_spread_ratio(rounds, core[RUN_ALONE], core[RUN_BOTH]),
                 "the same runs by core time: what they take from each other");
    bench_setting_clear(&setting);
}

/* --- an estimate ----------------------------------------------------------------- */

static double trials_seconds(const bench_setting *it, int n_threads)
{
    const nrw_series series = {
        .scenario = it->scenario, .channel = it->channel, .seed = 1, .model = NRW_MODEL_AUTO};
    nrw_trial_record *records = nrw_trial_records_create(N_TRIALS);
    nrw_errors errors;
    if (!records)
        return NAN;
    const nrw_series_lane lane = {"schedule", &it->schedule, records};
    nrw_errors_init(&errors);
    omp_set_num_threads(n_threads);
    const double begun = bench_wall_s();
    const nrw_status status =
        nrw_series_run(&series, NRW_TRIALS_ESTIMATE, 0, N_TRIALS, 1, &lane, &errors);
    const double taken = bench_wall_s() - begun;
    nrw_errors_clear(&errors);
    nrw_trial_records_destroy(N_TRIALS, records);
    return status == NRW_OK ? taken : NAN;
}

static void trials(bench_report *report)
{
    double halved[ROUNDS_MOST], both[ROUNDS_MOST];
    const size_t most = report->quick ? 1 : 3;
    const int threads = omp_get_max_threads();
    bench_setting it;
    if (bench_setting_demo(&it, BENCH_BY_HAND)) {
        const double begun = bench_wall_s();
        size_t rounds = 0;
        for (; rounds < 1 || (rounds < most && bench_wall_s() - begun < TRIALS_BUDGET_S);
             rounds++) {
            halved[rounds] = 0.5 * trials_seconds(&it, 1);
            both[rounds] = trials_seconds(&it, 2);
        }
        bench_figure(report, "estimate_efficiency_2", bench_spread_ratio(rounds, halved, both),
                     "8 trials of an estimate, of unequal length: half of one thread's time over "
                     "that of two");
    } else {
        bench_missing(report, "estimate_efficiency_2", "the demo is not here");
    }
    omp_set_num_threads(threads);
    bench_setting_clear(&it);
}

void bench_replicas(bench_report *report)
{
    bench_title("Two cores");
    if (bench_processors() < 2.0) {
        bench_missing(report, "replica_efficiency_2", "the machine has one processor");
        return;
    }
    same_runs(report);
    trials(report);
}
