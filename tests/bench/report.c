#include <math.h>
#include <stdio.h>
#include <string.h>

#include "bench.h"

/* The figures that every report holds, and what was hoped of them. */
typedef struct wanted_figure {
    const char *key;
    bool at_most;
    double target; /* NAN: none */
} wanted_figure;

static const wanted_figure wanted[] = {{"pair_gdir_per_s_core", false, 1.3},
                                       {"pair_fraction_of_bound", false, 0.4},
                                       {"pair_vs_naive", false, 20.0},
                                       {"pair_vs_numpy", false, NAN},
                                       {"pair_vs_kdtree", false, 100.0},
                                       {"pair_vs_gsl", false, NAN},
                                       {"dense_fraction_of_bound", false, 0.85},
                                       {"run_150_sim_per_wall", false, 400.0},
                                       {"run_400_sim_per_wall", false, 90.0},
                                       {"run_2000_sim_per_wall", false, 10.0},
                                       {"run_10000_sim_per_wall", false, NAN},
                                       {"cost_exponent", true, 1.1},
                                       {"bytes_per_particle", true, NAN},
                                       {"replica_efficiency_2", false, 0.9},
                                       {"plan_wall_s", true, 30.0}};
enum { N_WANTED = sizeof wanted / sizeof *wanted };

static const wanted_figure *wanted_of(const char *key)
{
    for (size_t k = 0; k < N_WANTED; k++)
        if (strcmp(wanted[k].key, key) == 0)
            return &wanted[k];
    return NULL;
}

json_t *bench_real(double value)
{
    return isfinite(value) ? json_real(value) : json_null();
}

/* The object or array of that name in the root, made when it is not there. */
static json_t *part(bench_report *report, const char *name, bool array)
{
    json_t *it = json_object_get(report->root, name);
    if (!it) {
        it = array ? json_array() : json_object();
        json_object_set_new(report->root, name, it);
    }
    return it;
}

void bench_report_begin(bench_report *report)
{
    report->root = json_object();
    json_object_set_new(report->root, "format", json_string("narrows-bench/1"));
    json_object_set_new(report->root, "quick", json_boolean(report->quick));
    printf("%-34s %12s %12s %12s  %-9s %s\n", "figure", "median", "quartile", "quartile", "hoped",
           "what");
}

void bench_title(const char *title)
{
    printf("\n%s\n", title);
    (void)fflush(stdout);
}

void bench_figure(bench_report *report, const char *key, bench_spread value, const char *words)
{
    if (!isfinite(value.median)) {
        bench_missing(report, key, "a measurement failed");
        return;
    }
    json_object_set_new(report->root, key, bench_real(value.median));
    json_object_set_new(part(report, "spread", false), key,
                        json_pack("{s:o, s:o, s:I}", "low", bench_real(value.low), "high",
                                  bench_real(value.high), "n", (json_int_t)value.n));
    const wanted_figure *it = wanted_of(key);
    char hoped[32] = "";
    if (it && isfinite(it->target))
        (void)snprintf(hoped, sizeof hoped, "%s %.4g%s", it->at_most ? "<=" : ">=", it->target,
                       it->at_most == (value.median <= it->target) ? "" : " no");
    printf("%-34s %12.4g %12.4g %12.4g  %-9s %s\n", key, value.median, value.low, value.high, hoped,
           words);
    (void)fflush(stdout);
}

void bench_missing(bench_report *report, const char *key, const char *why)
{
    json_object_set_new(report->root, key, json_null());
    json_object_set_new(part(report, "reasons", false), key, json_string(why));
    printf("%-34s %12s %38s %s\n", key, "-", "", why);
    (void)fflush(stdout);
}

void bench_note(bench_report *report, const char *key, const char *how)
{
    json_object_set_new(part(report, "notes", false), key, json_string(how));
    printf("  (%s: %s)\n", key, how);
}

void bench_detail(bench_report *report, const char *section, const char *key, double value)
{
    json_object_set_new(part(report, section, false), key, bench_real(value));
    printf("  %-32s %12.6g\n", key, value);
    (void)fflush(stdout);
}

void bench_row(bench_report *report, const char *table, json_t *row)
{
    json_array_append_new(part(report, table, true), row);
}

bool bench_report_write(bench_report *report, const char *path)
{
    for (size_t k = 0; k < N_WANTED; k++) {
        if (!json_object_get(report->root, wanted[k].key)) {
            json_object_set_new(report->root, wanted[k].key, json_null());
            json_object_set_new(part(report, "reasons", false), wanted[k].key,
                                json_string("not measured in this run"));
        }
        if (isfinite(wanted[k].target))
            json_object_set_new(part(report, "hoped", false), wanted[k].key,
                                json_real(wanted[k].target));
    }
    const bool written = json_dump_file(report->root, path, JSON_INDENT(2)) == 0;
    json_decref(report->root);
    report->root = NULL;
    return written;
}
