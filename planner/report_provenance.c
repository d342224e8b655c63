/* Where the figures come from, and how to get them again. */
#include "report_parts.h"

#include <dirent.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "sha256.h"
#include "store.h"

static void put_row(nrw_markup *out, const char *name, const char *value)
{
    nrw_markup_put(out, "<tr><th scope='row'>%r</th><td>%s</td></tr>\n", name,
                   value ? value : "\u2013");
}

static void put_source(nrw_markup *out, const char *name, const char *text)
{
    if (text)
        nrw_markup_put(out,
                       "<details><summary>%s as used</summary><pre tabindex='0'>%s</pre>"
                       "</details>\n",
                       name, text);
}

/* --- how to repeat it ----------------------------------------------------------- */

/* One that competed as a file of its own has a schedule in the folder; so has every
 * strategy, so that a comparison can be repeated from the folder alone. */
static void put_contenders(nrw_report *report)
{
    size_t n = nrw_report_size(report, "figures.strategies");
    for (size_t k = 0; k < n; k++)
        nrw_markup_put(&report->out, " --schedule schedule-%s.yaml",
                       nrw_report_string(report, "figures.strategies.%zu.name", k));
}

static void put_repeat(nrw_report *report)
{
    nrw_markup *out = &report->out;
    const char *command = nrw_report_string(report, "command");
    const char *model = nrw_report_string(report, "provenance.model");
    double trials = nrw_report_is(report, "plan")
                        ? (double)nrw_report_size(report, "figures.verification")
                    : nrw_report_is(report, "compare")
                        ? nrw_report_number(report, "figures.strategies.0.trials")
                        : nrw_report_number(report, "figures.trials");
    nrw_markup_put(out, "<tr><th scope='row'>To repeat it</th><td><code>narrows %s scenario.yaml",
                   command);
    if (nrw_report_is(report, "compare"))
        put_contenders(report);
    else if (report->in->schedule_text && !nrw_report_is(report, "plan"))
        nrw_markup_put(out, " --schedule schedule.yaml");
    nrw_markup_put(out, " --seed ");
    nrw_report_seed(report);
    if (model && strcmp(model, "auto") != 0)
        nrw_markup_put(out, " --model %s", model);
    if (trials > 0 && !nrw_report_is(report, "run"))
        nrw_markup_put(out, " --trials %f", trials);
    nrw_markup_put(out, "</code>, with the files of this folder and the same version: the same "
                        "figures, with any number of threads.</td></tr>\n");
}

/* --- files ------------------------------------------------------------------------ */

static int compare_names(const void *a, const void *b)
{
    return strcmp(*(char *const *)a, *(char *const *)b);
}

/* Schedules of a comparison: "schedule-NAME.yaml", sorted. */
static void put_more_schedules(nrw_report *report)
{
    enum { MOST = 64 };
    char *names[MOST];
    size_t n = 0;
    DIR *folder = report->in->dir ? opendir(report->in->dir) : NULL;
    for (struct dirent *entry; folder && n < MOST && (entry = readdir(folder));) {
        size_t length = strlen(entry->d_name);
        if (strncmp(entry->d_name, "schedule-", 9) == 0 && length > 5 &&
            strcmp(entry->d_name + length - 5, ".yaml") == 0 &&
            (names[n] = strdup(entry->d_name)) != NULL)
            n++;
    }
    if (folder)
        (void)closedir(folder);
    qsort((void *)names, n, sizeof *names, compare_names);
    for (size_t i = 0; i < n; i++) {
        nrw_errors ignored;
        char *text = NULL;
        size_t size;
        nrw_errors_init(&ignored);
        if (nrw_store_read(report->in->dir, names[i], &text, &size, &ignored) == NRW_OK)
            put_source(&report->out, names[i], text);
        nrw_errors_clear(&ignored);
        free(text);
        free(names[i]);
    }
}

/* Those of the files that commands write which lie in the folder; docs/results.md and
 * docs/export.md tell of each. */
static void put_files(nrw_report *report)
{
    static const char *const names[] = {
        "result.json",   "scenario.yaml", "schedule.yaml",   "final.csv",     "morphology.csv",
        "trajectory.h5", "search.csv",    "trials.csv",      "sweep.csv",     "repeats.csv",
        "currents.csv",  "currents.npy",  "commands.npy",    "waveform.json", "segments.csv",
        "segments.npy",  "steps.json",    "bench-card.html", "SHA256SUMS"};
    size_t n = 0;
    for (size_t i = 0; report->in->dir && i < sizeof names / sizeof *names; i++) {
        char path[4096];
        struct stat found;
        (void)snprintf(path, sizeof path, "%s/%s", report->in->dir, names[i]);
        if (stat(path, &found) != 0)
            continue;
        nrw_markup_put(&report->out, "%r%r",
                       n++ ? ", " : "<tr><th scope='row'>Beside this report</th><td>", names[i]);
    }
    if (n > 0)
        nrw_markup_put(&report->out, "</td></tr>\n");
}

void nrw_report_provenance(nrw_report *report)
{
    nrw_markup *out = &report->out;
    char hex[65];
    nrw_report_section(report, "provenance", "Where from");
    nrw_markup_put(out, "<div class='scroll' tabindex='0' role='region' aria-label='Provenance'>"
                        "<table class='facts'>\n<tbody>\n");
    put_row(out, "Program", "narrows");
    put_row(out, "Version", nrw_report_string(report, "provenance.version"));
    put_row(out, "Command", nrw_report_string(report, "command"));
    nrw_markup_put(out, "<tr><th scope='row'>Seed</th><td>");
    nrw_report_seed(report);
    nrw_markup_put(out, "</td></tr>\n");
    put_row(out, "Model asked for", nrw_report_string(report, "provenance.model"));
    put_row(out, "SHA-256 of scenario.yaml", report->in->scenario->sha256);
    if (report->in->schedule_text) {
        nrw_sha256_hex(report->in->schedule_text, strlen(report->in->schedule_text), hex);
        put_row(out, "SHA-256 of schedule.yaml", hex);
    }
    put_row(out, "Started", nrw_report_string(report, "provenance.started"));
    nrw_markup_put(out, "<tr><th scope='row'>Took</th><td>%n s on %n threads</td></tr>\n",
                   nrw_report_number(report, "provenance.wall_s"),
                   nrw_report_number(report, "provenance.threads"));
    put_repeat(report);
    put_files(report);
    nrw_markup_put(out, "</tbody></table></div>\n");
    put_source(out, "scenario.yaml", report->in->scenario->text);
    put_source(out, "schedule.yaml", report->in->schedule_text);
    if (nrw_report_is(report, "compare"))
        put_more_schedules(report);
    nrw_report_section_end(report);
}
