/* bench [--quick] [--only SECTION] [--out FILE] [--narrows PROGRAM] [--scripts FOLDER] */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "bench.h"

typedef struct bench_section {
    const char *name;
    void (*run)(bench_report *report);
} bench_section;

static const bench_section sections[] = {
    {"dense", bench_dense},       {"listed", bench_listed},     {"rkf45", bench_rkf45},
    {"runs", bench_runs},         {"scaling", bench_scaling},   {"replicas", bench_replicas},
    {"commands", bench_commands}, {"accuracy", bench_accuracy},
};
enum { N_SECTIONS = sizeof sections / sizeof *sections };

static int wrong_use(const char *word)
{
    (void)fprintf(stderr, "bench: %s is not understood; sections:", word);
    for (size_t k = 0; k < N_SECTIONS; k++)
        (void)fprintf(stderr, " %s", sections[k].name);
    (void)fputc('\n', stderr);
    return 2;
}

static bool is_section(const char *name)
{
    for (size_t k = 0; k < N_SECTIONS; k++)
        if (strcmp(sections[k].name, name) == 0)
            return true;
    return false;
}

static int run(bench_report *report, const char *only, const char *out)
{
    const double begun = bench_wall_s();
    (void)setvbuf(stdout, NULL, _IOLBF, 0);
    bench_report_begin(report);
    bench_machine(report);
    for (size_t k = 0; k < N_SECTIONS; k++) {
        if (only && strcmp(only, sections[k].name) != 0)
            continue;
        const double section_begun = bench_wall_s();
        sections[k].run(report);
        bench_detail(report, "section_wall_s", sections[k].name, bench_wall_s() - section_begun);
        bench_detail(report, "section_load", sections[k].name, bench_load());
    }
    bench_detail(report, "section_wall_s", "all", bench_wall_s() - begun);
    if (bench_report_write(report, out)) {
        printf("\nwritten to %s\n", out);
        return 0;
    }
    (void)fprintf(stderr, "bench: %s could not be written\n", out);
    return 3;
}

int main(int argc, char **argv)
{
    bench_report report = {NULL, false, "build/narrows", "tests/bench"};
    const char *only = NULL, *out = "build/bench.json";
    for (int k = 1; k < argc; k++) {
        const char *word = argv[k], *value = k + 1 < argc ? argv[k + 1] : NULL;
        if (strcmp(word, "--quick") == 0) {
            report.quick = true;
            continue;
        }
        if (!value)
            return wrong_use(word);
        if (strcmp(word, "--memory") == 0)
            return bench_memory_of((size_t)strtoul(value, NULL, 10));
        if (strcmp(word, "--only") == 0 && is_section(value))
            only = value;
        else if (strcmp(word, "--out") == 0)
            out = value;
        else if (strcmp(word, "--narrows") == 0)
            report.narrows = value;
        else if (strcmp(word, "--scripts") == 0)
            report.scripts = value;
        else
            return wrong_use(word);
        k++;
    }
    return run(&report, only, out);
}
