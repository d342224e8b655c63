/* Whether longer steps changed results: the demo under its hand-made schedule and under
 * the planned one, run with the defaults, with steps of a millisecond, and with those and
 * stiffer contacts; the same seeds for all, so that differences are paired. */
#include <gsl/gsl_cdf.h>
#include <math.h>
#include <omp.h>
#include <stdio.h>
#include <string.h>

#include "bench.h"
#include "run.h"
#include "schedule_file.h"

#define FINE_STEP_S 0.001
#define STIFF_PN_UM 400.0

enum { SEEDS_MOST = 12, N_SEEN = 4, N_WAYS = 3 };

typedef struct outcome {
    double seen[N_SEEN];
} outcome;

static const char *const seen_names[N_SEEN] = {"delivered_fraction", "passage_s", "time_s",
                                               "largest_overlap"};
static const char *const way_names[N_WAYS] = {"default", "fine_steps", "fine_steps_stiff"};

/* Schedules, and which leg of each passes the throat. The second is what bench_commands
 * leaves behind. */
static const struct {
    const char *name, *path;
} driven[] = {{"by hand", "scenarios/schedules/straight-gate-by-hand.yaml"},
              {"planned", "build/bench-work/plan/schedule.yaml"}};
enum { N_DRIVEN = sizeof driven / sizeof *driven, PASSING_LEG = 1 };

typedef struct way {
    nrw_scenario *scenario;
    nrw_channel *channel;
    nrw_schedule schedule;
    double step_max_s; /* 0: the default */
} way;

static bool open_way(way *it, int kind, const char *schedule)
{
    nrw_errors errors;
    nrw_errors_init(&errors);
    memset(it, 0, sizeof *it);
    nrw_status status = nrw_scenario_load("scenarios/straight-gate.yaml", &it->scenario, &errors);
    if (status == NRW_OK && kind == 2)
        it->scenario->model.contact_stiffness_pN_um = STIFF_PN_UM;
    if (status == NRW_OK)
        status = nrw_channel_create(it->scenario, &it->channel, &errors);
    if (status == NRW_OK)
        status = nrw_schedule_load(schedule, it->scenario, &it->schedule, &errors);
    nrw_errors_clear(&errors);
    it->step_max_s = kind > 0 ? FINE_STEP_S : 0.0;
    return status == NRW_OK;
}

static void close_way(way *it)
{
    nrw_schedule_clear(&it->schedule);
    nrw_channel_destroy(it->channel);
    nrw_scenario_destroy(it->scenario);
}

/* Passage: from where the gathered swarm begins to move until its tail is through. */
static outcome run_once(const way *it, uint64_t seed)
{
    nrw_run_config config = nrw_run_config_defaults();
    nrw_run_result result;
    nrw_errors errors;
    config.seed = seed;
    config.step_max_s = it->step_max_s;
    memset(&result, 0, sizeof result);
    nrw_errors_init(&errors);
    outcome seen = {{NAN, NAN, NAN, NAN}};
    if (nrw_run(it->scenario, it->channel, &it->schedule, &config, &result, &errors) == NRW_OK) {
        seen.seen[0] = result.fate_fraction[NRW_FATE_DELIVERED];
        for (size_t k = 0; k < result.n_visits; k++)
            if (result.visits[k].leg == PASSING_LEG)
                seen.seen[1] = result.visits[k].end_s - result.visits[k].start_s;
        seen.seen[2] = result.time_s;
        seen.seen[3] = result.largest_overlap;
    }
    nrw_run_result_clear(&result);
    nrw_errors_clear(&errors);
    return seen;
}

/* Mean and half-width of its 95 % interval (Student) over n values. */
static void mean_of(size_t n, const double *values, double *mean, double *half)
{
    double sum = 0.0, squares = 0.0;
    for (size_t k = 0; k < n; k++)
        sum += values[k];
    *mean = sum / (double)n;
    for (size_t k = 0; k < n; k++)
        squares += (values[k] - *mean) * (values[k] - *mean);
    const double deviation = sqrt(squares / ((double)n - 1.0));
    *half = gsl_cdf_tdist_Pinv(0.975, (double)n - 1.0) * deviation / sqrt((double)n);
}

static void tell(bench_report *report, const char *schedule, size_t n,
                 outcome outcomes[N_WAYS][SEEDS_MOST], int kind)
{
    for (int s = 0; s < N_SEEN; s++) {
        double values[SEEDS_MOST], differences[SEEDS_MOST], mean, half, change, change_half;
        for (size_t k = 0; k < n; k++) {
            values[k] = outcomes[kind][k].seen[s];
            differences[k] = outcomes[0][k].seen[s] - outcomes[kind][k].seen[s];
        }
        mean_of(n, values, &mean, &half);
        mean_of(n, differences, &change, &change_half);
        bench_row(report, "accuracy",
                  json_pack("{s:s, s:s, s:s, s:I, s:o, s:o, s:o, s:o}", "schedule", schedule, "way",
                            way_names[kind], "figure", seen_names[s], "seeds", (json_int_t)n,
                            "mean", bench_real(mean), "half_width", bench_real(half),
                            "default_minus_this", bench_real(change), "difference_half_width",
                            bench_real(change_half)));
        printf("  %-17s %-19s %8.4g +- %-8.2g default less this %8.3g +- %.2g\n", way_names[kind],
               seen_names[s], mean, half, change, change_half);
    }
}

static void compare(bench_report *report, size_t n, const char *name, const char *path)
{
    static outcome outcomes[N_WAYS][SEEDS_MOST];
    for (int kind = 0; kind < N_WAYS; kind++) {
        way it;
        const bool opened = open_way(&it, kind, path);
        if (opened) {
            const double begun = bench_wall_s();
#pragma omp parallel for schedule(dynamic, 1)
            for (size_t k = 0; k < n; k++)
                outcomes[kind][k] = run_once(&it, k + 1);
            printf("  %s, %s: %zu runs in %.3g s\n", name, way_names[kind], n,
                   bench_wall_s() - begun);
            tell(report, name, n, outcomes, kind);
        }
        close_way(&it);
        if (!opened) {
            printf("  %s: %s is not there\n", name, path);
            return;
        }
    }
}

void bench_accuracy(bench_report *report)
{
    bench_title("The demo: defaults against fine steps and stiff contacts");
    for (size_t k = 0; k < N_DRIVEN; k++)
        compare(report, report->quick ? 4 : SEEDS_MOST, driven[k].name, driven[k].path);
}
