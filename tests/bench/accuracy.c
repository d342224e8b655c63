/* Whether longer steps changed results: a gathered swarm driven over an open floor, and
 * the demo under the planned schedule (the one made by hand plugs in every run, which tells
 * nothing of steps); with the defaults, with steps of a millisecond, and with those and
 * stiffer contacts. The same seeds for all, so that differences are paired. */
#include <gsl/gsl_cdf.h>
#include <math.h>
#include <omp.h>
#include <stdio.h>
#include <string.h>

#include "bench.h"
#include "run.h"

#define FINE_STEP_S 0.001
#define STIFF_PN_UM 400.0
#define OPEN_SECONDS 25.0 /* of which the first 5 gather */
#define DRIFT_FROM_S 8.0

/* Seeds are run by batches in all ways, and no new batch begins after so long: on a slow machine
 * there are fewer. */
#define CASE_BUDGET_S 120.0

enum { SEEDS_MOST = 24, BATCH = 4, N_SEEN = 5, N_WAYS = 3, PASSING_LEG = 1 };

typedef struct outcome {
    double seen[N_SEEN]; /* NAN: means nothing here */
} outcome;

static const char *const seen_names[N_SEEN] = {"delivered_fraction", "passage_s", "time_s",
                                               "drift_um_s", "largest_overlap"};
static const char *const way_names[N_WAYS] = {"default", "fine_steps", "fine_steps_stiff"};

/* The first leg gathers, the second passes the throat. The last schedule is what
 * bench_commands leaves behind. */
typedef struct driven {
    const char *name, *path; /* path NULL: open floor */
    size_t seeds, quick_seeds;
} driven;

static const driven cases[] = {{"open floor, tilt 30", NULL, 24, 4},
                               {"demo as planned", "build/bench-work/plan/schedule.yaml", 12, 2}};
enum { N_CASES = sizeof cases / sizeof *cases };

static bool open_case(const driven *it, int kind, bench_setting *setting)
{
    const bool opened =
        it->path ? bench_setting_demo(setting, it->path) : bench_setting_open(setting, 150, false);
    if (opened && !it->path)
        setting->scenario->deadline_s = OPEN_SECONDS;
    if (opened && kind == 2)
        setting->scenario->model.contact_stiffness_pN_um = STIFF_PN_UM;
    return opened;
}

/* Mean speed of the centroid along the drive, from when the tilt has set in. */
static double drift_of(const nrw_run_result *run)
{
    size_t k = 0;
    while (k < run->n_frames && run->frames[k].time_s < DRIFT_FROM_S)
        k++;
    if (k + 1 >= run->n_frames)
        return NAN;
    const nrw_frame *from = &run->frames[k], *to = &run->frames[run->n_frames - 1];
    return (to->seen.x_um - from->seen.x_um) / (to->time_s - from->time_s);
}

/* Passage: from where the gathered swarm begins to move until its tail is through. */
static outcome run_once(const bench_setting *setting, bool demo, bool fine, uint64_t seed)
{
    nrw_run_config config = nrw_run_config_defaults();
    nrw_run_result result;
    nrw_errors errors;
    config.seed = seed;
    config.step_max_s = fine ? FINE_STEP_S : 0.0;
    config.record = !demo;
    memset(&result, 0, sizeof result);
    nrw_errors_init(&errors);
    outcome seen = {{NAN, NAN, NAN, NAN, NAN}};
    const nrw_status status =
        nrw_run(setting->scenario, setting->channel, &setting->schedule, &config, &result, &errors);
    if (status == NRW_OK) {
        for (size_t k = 0; demo && k < result.n_visits; k++)
            if (result.visits[k].leg == PASSING_LEG)
                seen.seen[1] = result.visits[k].end_s - result.visits[k].start_s;
        seen.seen[0] = demo ? result.fate_fraction[NRW_FATE_DELIVERED] : NAN;
        seen.seen[2] = demo ? result.time_s : NAN;
        seen.seen[3] = demo ? NAN : drift_of(&result);
        seen.seen[4] = result.largest_overlap;
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

static void tell(bench_report *report, const char *name, size_t n,
                 outcome outcomes[N_WAYS][SEEDS_MOST], int kind)
{
    for (int s = 0; s < N_SEEN; s++) {
        double values[SEEDS_MOST], differences[SEEDS_MOST], mean, half, change, change_half;
        for (size_t k = 0; k < n; k++) {
            values[k] = outcomes[kind][k].seen[s];
            differences[k] = outcomes[kind][k].seen[s] - outcomes[0][k].seen[s];
        }
        mean_of(n, values, &mean, &half);
        mean_of(n, differences, &change, &change_half);
        if (isnan(mean))
            continue;
        bench_row(report, "accuracy",
                  json_pack("{s:s, s:s, s:s, s:I, s:o, s:o, s:o, s:o}", "case", name, "way",
                            way_names[kind], "figure", seen_names[s], "seeds", (json_int_t)n,
                            "mean", bench_real(mean), "half_width", bench_real(half),
                            "less_default", bench_real(change), "difference_half_width",
                            bench_real(change_half)));
        printf("  %-17s %-19s %8.4g +- %-8.2g", way_names[kind], seen_names[s], mean, half);
        if (kind > 0)
            printf(" less the default's: %8.3g +- %.2g", change, change_half);
        printf("\n");
    }
}

/* The seeds from `first` on, BATCH of them or up to n, in one of the ways. Wall seconds. */
static double run_batch(const driven *it, const bench_setting *setting, int kind, size_t first,
                        size_t n, outcome *outcomes)
{
    const size_t last = first + BATCH < n ? first + BATCH : n;
    const double begun = bench_wall_s();
#pragma omp parallel for schedule(dynamic, 1)
    for (size_t k = first; k < last; k++)
        outcomes[k] = run_once(setting, it->path != NULL, kind > 0, k + 1);
    return bench_wall_s() - begun;
}

static void compare(bench_report *report, const driven *it)
{
    static outcome outcomes[N_WAYS][SEEDS_MOST];
    const size_t most = report->quick ? it->quick_seeds : it->seeds;
    bench_setting settings[N_WAYS];
    double taken[N_WAYS] = {0.0};
    bool opened = true;
    for (int kind = 0; kind < N_WAYS; kind++)
        opened = open_case(it, kind, &settings[kind]) && opened;
    const double begun = bench_wall_s();
    size_t n = 0;
    while (opened && n < most && (n == 0 || bench_wall_s() - begun < CASE_BUDGET_S)) {
        for (int kind = 0; kind < N_WAYS; kind++)
            taken[kind] += run_batch(it, &settings[kind], kind, n, most, outcomes[kind]);
        n = n + BATCH < most ? n + BATCH : most;
    }
    for (int kind = 0; kind < N_WAYS; kind++) {
        bench_setting_clear(&settings[kind]);
        if (!opened)
            continue;
        printf("  %s, %s: %zu runs in %.3g s\n", it->name, way_names[kind], n, taken[kind]);
        tell(report, it->name, n, outcomes, kind);
    }
    if (!opened)
        printf("  %s: %s is not there\n", it->name, it->path ? it->path : "the scenario");
}

void bench_accuracy(bench_report *report)
{
    bench_title("The defaults against fine steps and stiff contacts");
    for (size_t k = 0; k < N_CASES; k++)
        compare(report, &cases[k]);
}
