/* Whole runs of the grown gate through nrw_run: imaging, feedback, walls, floor, noise,
 * pair flow; nothing is recorded, as in the trials of plans and estimates. Time is told by
 * the run's own progress calls, one a frame, so that making the world is told apart. */
#include <math.h>
#include <omp.h>
#include <stdio.h>
#include <string.h>

#include "bench.h"
#include "run.h"

enum { SLICES_MOST = 400 };

typedef struct run_watch {
    double from_s, slice_s, budget_s; /* simulated; wall; wall */
    double begun, first_frame;        /* wall; NAN: none yet */
    double slice_wall, slice_core, slice_simulated, measured_s;
    double sim_per_wall[SLICES_MOST], sim_per_core[SLICES_MOST];
    size_t n;
} run_watch;

static void open_slice(run_watch *watch, double wall, double simulated)
{
    watch->slice_wall = wall;
    watch->slice_core = bench_core_s();
    watch->slice_simulated = simulated;
}

static bool on_frame(void *context, double simulated_s, double of_s)
{
    (void)of_s;
    run_watch *watch = context;
    const double wall = bench_wall_s();
    if (isnan(watch->first_frame))
        watch->first_frame = wall;
    if (simulated_s < watch->from_s)
        return false;
    if (isnan(watch->slice_wall)) {
        open_slice(watch, wall, simulated_s);
        return false;
    }
    const double taken = wall - watch->slice_wall;
    if (taken < watch->slice_s)
        return false;
    const double core = bench_core_s() - watch->slice_core;
    const double simulated = simulated_s - watch->slice_simulated;
    watch->sim_per_wall[watch->n] = simulated / taken;
    watch->sim_per_core[watch->n++] = simulated / core;
    watch->measured_s += taken;
    open_slice(watch, wall, simulated_s);
    return watch->n == SLICES_MOST || watch->measured_s >= watch->budget_s;
}

/* Below this share of the wall time with a core, the wall clock tells of other work. */
#define BUSY 0.95

/* The figures KEY_per_wall and KEY_per_core_s. */
static void tell_rates(bench_report *report, const char *stem, const char *what, run_watch *watch)
{
    char key[64], how[128];
    const bench_spread core = bench_spread_of(watch->n, watch->sim_per_core);
    const bench_spread wall = bench_spread_of(watch->n, watch->sim_per_wall);
    const bool busy = wall.median < BUSY * core.median;
    (void)snprintf(key, sizeof key, "%s_per_wall", stem);
    bench_figure(report, key, busy ? core : wall, what);
    if (busy) {
        (void)snprintf(how, sizeof how,
                       "by the run's core time: it had a core for %.0f %% of the wall time",
                       100.0 * wall.median / core.median);
        bench_note(report, key, how);
    }
    (void)snprintf(key, sizeof key, "%s_per_core_s", stem);
    bench_figure(report, key, core, "the same by the time that the run had a core");
}

/* Runs with seed after seed until the budget is used up. */
static bool watch_runs(const bench_setting *setting, nrw_model model, run_watch *watch,
                       double *setup_s, nrw_run_result *last)
{
    *setup_s = INFINITY;
    memset(last, 0, sizeof *last);
    for (uint64_t seed = 1; watch->n < SLICES_MOST && watch->measured_s < watch->budget_s; seed++) {
        nrw_run_config config = nrw_run_config_defaults();
        nrw_errors errors;
        config.seed = seed;
        config.model = model;
        config.record = false; /* as in the trials of plans */
        config.progress = on_frame;
        config.progress_context = watch;
        watch->begun = bench_wall_s();
        watch->first_frame = watch->slice_wall = NAN;
        nrw_errors_init(&errors);
        nrw_run_result_clear(last);
        const nrw_status status = nrw_run(setting->scenario, setting->channel, &setting->schedule,
                                          &config, last, &errors);
        if (status != NRW_OK && status != NRW_INTERRUPTED && errors.n_items > 0)
            (void)fprintf(stderr, "bench: a run failed: %s\n", errors.items[0].what);
        nrw_errors_clear(&errors);
        if (status != NRW_OK && status != NRW_INTERRUPTED)
            return false;
        *setup_s = fmin(*setup_s, watch->first_frame - watch->begun);
    }
    return true;
}

static void measure(bench_report *report, size_t n, nrw_model model, double budget_s)
{
    static run_watch watch; /* large */
    bench_setting setting;
    nrw_run_result last;
    const bool averaged = model == NRW_MODEL_AVERAGED;
    const double gather_s = n > 2000 ? 1.0 : 4.0;
    char key[64], words[128];
    (void)snprintf(key, sizeof key, "run_%zu%s_sim_per_wall", n, averaged ? "" : "_resolved");
    memset(&watch, 0, sizeof watch);
    watch.from_s = gather_s;
    watch.budget_s = budget_s;
    watch.slice_s = budget_s / 40.0;
    double setup_s = NAN;
    if (!bench_setting_gate(&setting, n, gather_s, 100.0) ||
        !watch_runs(&setting, model, &watch, &setup_s, &last)) {
        bench_missing(report, key, "a run failed");
        bench_setting_clear(&setting);
        return;
    }
    (void)snprintf(words, sizeof words, "simulated a wall second, %zu particles, %s", n,
                   nrw_model_name(model));
    const double per_step = last.steps ? last.time_s / (double)last.steps : NAN;
    const bench_spread core = bench_spread_of(watch.n, watch.sim_per_core);
    (void)snprintf(key, sizeof key, "run_%zu%s_sim", n, averaged ? "" : "_resolved");
    tell_rates(report, key, words, &watch);
    bench_row(report, "runs",
              json_pack("{s:f, s:s, s:o, s:o, s:o, s:f}", "n", (double)n, "model",
                        nrw_model_name(model), "sim_per_core_s", bench_real(core.median), "setup_s",
                        bench_real(setup_s), "substep_s", bench_real(per_step),
                        "contact_stiffness_pN_um",
                        setting.scenario->model.contact_stiffness_pN_um));
    nrw_run_result_clear(&last);
    bench_setting_clear(&setting);
}

/* The demo as a user runs it: steeper and stronger, so that the swarm stands in sheets
 * whose stiffness shortens the steps. */
static void demo(bench_report *report, double budget_s)
{
    static run_watch watch;
    bench_setting setting;
    nrw_run_result last;
    double setup_s;
    memset(&watch, 0, sizeof watch);
    watch.budget_s = budget_s;
    watch.slice_s = budget_s / 40.0;
    if (bench_setting_demo(&setting, BENCH_BY_HAND) &&
        watch_runs(&setting, NRW_MODEL_AUTO, &watch, &setup_s, &last)) {
        tell_rates(report, "demo_sim",
                   "simulated a wall second, the demo by hand: tilt 45, 12 mT, 85 Hz", &watch);
        nrw_run_result_clear(&last);
    } else {
        bench_missing(report, "demo_sim_per_wall", "a run failed");
    }
    bench_setting_clear(&setting);
}

void bench_runs(bench_report *report)
{
    bench_title("Whole runs of the demo's gate, grown with the swarm, one core");
    const int threads = omp_get_max_threads();
    const double budget = report->quick ? 1.0 : 6.0;
    omp_set_num_threads(1);
    measure(report, 150, NRW_MODEL_AVERAGED, budget);
    measure(report, 400, NRW_MODEL_AVERAGED, budget);
    measure(report, 2000, NRW_MODEL_AVERAGED, budget);
    measure(report, 10000, NRW_MODEL_AVERAGED, 2.0 * budget);
    demo(report, budget);
    measure(report, 150, NRW_MODEL_RESOLVED, budget);
    measure(report, 400, NRW_MODEL_RESOLVED, budget);
    measure(report, 2000, NRW_MODEL_RESOLVED, budget);
    omp_set_num_threads(threads);
}
