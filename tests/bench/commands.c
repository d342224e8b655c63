/* Whole commands on the demo, as a user waits for them. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/wait.h>

#include "bench.h"

#define DEMO "scenarios/straight-gate.yaml"
#define PLACE "build/bench-work"

static double children_core_s(void)
{
    struct rusage usage;
    if (getrusage(RUSAGE_CHILDREN, &usage) != 0)
        return NAN;
    return (double)(usage.ru_utime.tv_sec + usage.ru_stime.tv_sec) +
           1e-6 * (double)(usage.ru_utime.tv_usec + usage.ru_stime.tv_usec);
}

/* Runs `narrows ARGUMENTS`; wall seconds, NAN unless it exits 0. */
static double wall_of(const bench_report *report, const char *arguments, double *core)
{
    char command[1024];
    (void)snprintf(command, sizeof command, "'%s' %s --quiet --force >/dev/null", report->narrows,
                   arguments);
    const double begun = bench_wall_s(), core_begun = children_core_s();
    const int status = system(command);
    *core = children_core_s() - core_begun;
    return status != -1 && WIFEXITED(status) && WEXITSTATUS(status) == 0 ? bench_wall_s() - begun
                                                                         : NAN;
}

static double figure_of(const char *path, const char *name)
{
    json_error_t error;
    json_t *result = json_load_file(path, 0, &error);
    const double value =
        json_number_value(json_object_get(json_object_get(result, "figures"), name));
    const bool there = json_is_number(json_object_get(json_object_get(result, "figures"), name));
    json_decref(result);
    return there ? value : NAN;
}

static void command(bench_report *report, const char *name, const char *arguments,
                    const char *words)
{
    char key[64];
    double core;
    const double wall = wall_of(report, arguments, &core);
    (void)snprintf(key, sizeof key, "%s_wall_s", name);
    if (isnan(wall)) {
        bench_missing(report, key, "the command did not exit with 0");
        return;
    }
    bench_figure(report, key, bench_spread_one(wall), words);
    (void)snprintf(key, sizeof key, "%s_core_s", name);
    bench_detail(report, "commands", key, core);
}

/* The demo with a sweep block: two frequencies, six tilts. */
static bool write_sweep(const char *path)
{
    FILE *from = fopen(DEMO, "r"), *to = fopen(path, "w");
    int c;
    bool good = from && to;
    while (good && (c = fgetc(from)) != EOF)
        good = fputc(c, to) != EOF;
    good = good && fputs("sweep:\n"
                         "  drive: {mode: rotating, field_mT: 10, frequency_Hz: 50}\n"
                         "  vary: {frequency_Hz: [20, 50], tilt_deg: [0, 10, 20, 30, 40, 90]}\n"
                         "  seconds: 20\n"
                         "  repeats: 3\n",
                         to) != EOF;
    if (from)
        (void)fclose(from);
    return (!to || fclose(to) == 0) && good;
}

void bench_commands(bench_report *report)
{
    bench_title("Commands on the demo, all processors");
    if (system("mkdir -p " PLACE) != 0) {
        bench_missing(report, "plan_wall_s", "no folder to work in");
        return;
    }
    command(report, "plan", "plan " DEMO " --out " PLACE "/plan", "narrows plan on the demo");
    bench_detail(report, "commands", "plan_delivered_fraction",
                 figure_of(PLACE "/plan/result.json", "delivered_fraction"));
    command(report, "estimate",
            "estimate " DEMO " --schedule " PLACE "/plan/schedule.yaml --trials 40 --out " PLACE
            "/estimate",
            "narrows estimate of that plan, 40 trials");
    bench_detail(report, "commands", "estimate_delivered_fraction",
                 figure_of(PLACE "/estimate/result.json", "delivered_fraction"));
    if (report->quick || !write_sweep(PLACE "/sweep.yaml"))
        bench_missing(report, "sweep_wall_s", "not in the quick run");
    else
        command(report, "sweep", "sweep " PLACE "/sweep.yaml --out " PLACE "/sweep",
                "narrows sweep, 12 points, 3 repeats, 20 s each");
}
