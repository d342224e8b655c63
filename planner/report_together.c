/* Several results folders on one page. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "report_folder.h"
#include "report_parts.h"
#include "statistics.h"
#include "svg.h"

enum { MOST_LANES = 64, LABEL_SIZE = 96 };

/* What was measured of one schedule in one folder. */
typedef struct together_lane {
    char label[LABEL_SIZE];
    size_t folder;          /* index */
    char path[48];          /* of its figures in result.json */
    bool common;            /* its trials are those of `estimate` */
    double *values, *seeds; /* (n) delivered, and the trial's seed (NAN: not told); owned */
    size_t n;
    double mean, low, high, time_s;
} together_lane;

typedef struct together_page {
    nrw_report report;
    nrw_report_folder *folders; /* (n) */
    nrw_report_input *inputs;   /* (n) */
    char (*labels)[LABEL_SIZE]; /* (n) */
    size_t n;
    together_lane lanes[MOST_LANES];
    size_t n_lanes;
} together_page;

/* --- lanes ------------------------------------------------------------------------------ */

static together_lane *new_lane(together_page *page, size_t folder, const char *label, size_t n)
{
    if (page->n_lanes == MOST_LANES)
        return NULL;
    together_lane *lane = &page->lanes[page->n_lanes];
    memset(lane, 0, sizeof *lane);
    lane->values = calloc(2 * n + 1, sizeof(double));
    if (!lane->values) {
        page->report.out.failed = true;
        return NULL;
    }
    lane->seeds = lane->values + n;
    lane->folder = folder;
    lane->n = n;
    lane->low = lane->high = NAN;
    (void)snprintf(lane->label, sizeof lane->label, "%s", label);
    (void)snprintf(lane->path, sizeof lane->path, "figures");
    for (size_t i = 0; i < n; i++)
        lane->values[i] = lane->seeds[i] = NAN;
    page->n_lanes++;
    return lane;
}

static void take_figures(const nrw_report *report, together_lane *lane)
{
    lane->mean = nrw_report_number(report, "%s.delivered_fraction", lane->path);
    lane->low = nrw_report_number(report, "%s.delivered_low", lane->path);
    lane->high = nrw_report_number(report, "%s.delivered_high", lane->path);
    lane->time_s = nrw_report_number(report, "%s.time_s", lane->path);
}

static void add_run(together_page *page, size_t k)
{
    together_lane *lane = new_lane(page, k, page->labels[k], 1);
    if (!lane)
        return;
    take_figures(&page->report, lane);
    lane->values[0] = lane->mean;
}

static void add_plan(together_page *page, size_t k)
{
    size_t n = nrw_report_size(&page->report, "figures.verification");
    together_lane *lane = new_lane(page, k, page->labels[k], n);
    if (!lane)
        return;
    take_figures(&page->report, lane);
    for (size_t i = 0; i < n; i++)
        lane->values[i] =
            nrw_report_number(&page->report, "figures.verification.%zu.delivered_fraction", i);
}

/* Trials of one schedule: those of the table whose strategy is `name` (NULL: all). */
static void add_trials(together_page *page, size_t k, const nrw_csv_table *table, const char *name,
                       const char *path)
{
    char label[LABEL_SIZE];
    int who = nrw_csv_column(table, "strategy"), seed = nrw_csv_column(table, "seed");
    int delivered = nrw_csv_column(table, "delivered_fraction");
    size_t n = 0;
    for (size_t i = 1; i < table->n_records; i++)
        n += !name || strcmp(nrw_csv_field(table, i, who), name) == 0;
    (void)snprintf(label, sizeof label, "%s%s%.40s", page->labels[k], name ? ": " : "",
                   name ? name : "");
    together_lane *lane = new_lane(page, k, label, n);
    if (!lane)
        return;
    (void)snprintf(lane->path, sizeof lane->path, "%s", path);
    take_figures(&page->report, lane);
    lane->common = true;
    for (size_t i = 1, at = 0; i < table->n_records; i++) {
        if (name && strcmp(nrw_csv_field(table, i, who), name) != 0)
            continue;
        lane->values[at] = nrw_csv_value(table, i, delivered);
        lane->seeds[at++] = nrw_csv_value(table, i, seed);
    }
}

static void add_lanes(together_page *page, size_t k)
{
    nrw_report *report = &page->report;
    nrw_csv_table table;
    report->in = &page->inputs[k];
    if (nrw_report_is(report, "run"))
        add_run(page, k);
    else if (nrw_report_is(report, "plan"))
        add_plan(page, k);
    if (!nrw_report_is(report, "estimate") && !nrw_report_is(report, "compare"))
        return;
    if (!nrw_report_table(report, "trials.csv", &table))
        return;
    if (nrw_report_is(report, "estimate"))
        add_trials(page, k, &table, NULL, "figures");
    size_t n = nrw_report_size(report, "figures.strategies");
    for (size_t s = 0; nrw_report_is(report, "compare") && s < n; s++) {
        char path[48];
        const char *name = nrw_report_string(report, "figures.strategies.%zu.name", s);
        (void)snprintf(path, sizeof path, "figures.strategies.%zu", s);
        if (name)
            add_trials(page, k, &table, name, path);
    }
    nrw_csv_table_clear(&table);
}

/* --- folders ------------------------------------------------------------------------------ */

/* The folder's own name; with its parent's where two are alike. */
static void label_folders(together_page *page)
{
    for (size_t k = 0; k < page->n; k++) {
        const char *dir = page->folders[k].dir;
        size_t length = strlen(dir);
        while (length > 1 && dir[length - 1] == '/')
            length--;
        size_t from = length;
        while (from > 0 && dir[from - 1] != '/')
            from--;
        (void)snprintf(page->labels[k], LABEL_SIZE, "%.*s",
                       (int)(length - from < 60 ? length - from : 60), dir + from);
    }
    for (size_t k = 0; k < page->n; k++)
        for (size_t j = 0; j < k; j++)
            if (strcmp(page->labels[k], page->labels[j]) == 0) {
                size_t used = strlen(page->labels[k]);
                (void)snprintf(page->labels[k] + used, LABEL_SIZE - used, " (%zu)", k + 1);
            }
}

static bool same_scenario(const together_page *page, size_t a, size_t b)
{
    return strcmp(page->folders[a].scenario->sha256, page->folders[b].scenario->sha256) == 0;
}

static bool all_same_scenario(const together_page *page)
{
    for (size_t k = 1; k < page->n; k++)
        if (!same_scenario(page, 0, k))
            return false;
    return true;
}

/* --- pairs ---------------------------------------------------------------------------------- */

typedef struct together_pair {
    size_t a, b; /* lanes */
    nrw_paired paired;
} together_pair;

/* Differences over the trials with the same seed of the same scenario. */
static bool pair_lanes(together_page *page, size_t a, size_t b, together_pair *pair)
{
    const together_lane *one = &page->lanes[a], *other = &page->lanes[b];
    double *values = calloc(2 * one->n + 1, sizeof *values);
    size_t n = 0;
    if (!values) {
        page->report.out.failed = true;
        return false;
    }
    for (size_t i = 0; one->common && other->common && i < one->n; i++)
        for (size_t j = 0; j < other->n; j++)
            if (fabs(one->seeds[i] - other->seeds[j]) < 0.5 && isfinite(one->values[i]) &&
                isfinite(other->values[j])) {
                values[n] = one->values[i];
                values[one->n + n++] = other->values[j];
                break;
            }
    if (n > 1)
        *pair = (together_pair){a, b, nrw_paired_comparison(n, values, values + one->n, 0.95)};
    free(values);
    return n > 1;
}

static together_pair *find_pairs(together_page *page, size_t *n)
{
    together_pair *pairs = calloc(page->n_lanes * page->n_lanes + 1, sizeof *pairs);
    *n = 0;
    if (!pairs) {
        page->report.out.failed = true;
        return NULL;
    }
    for (size_t a = 0; a < page->n_lanes; a++)
        for (size_t b = a + 1; b < page->n_lanes; b++)
            if (page->lanes[a].folder != page->lanes[b].folder &&
                same_scenario(page, page->lanes[a].folder, page->lanes[b].folder) &&
                pair_lanes(page, a, b, &pairs[*n]))
                (*n)++;
    return pairs;
}

/* --- figures of result.json ------------------------------------------------------------------- */

static void add_sources(together_page *page, nrw_result *result)
{
    nrw_result_open_array(result, "sources");
    for (size_t l = 0; l < page->n_lanes; l++) {
        const together_lane *lane = &page->lanes[l];
        const nrw_report_folder *folder = &page->folders[lane->folder];
        nrw_result_open_object(result, NULL);
        nrw_result_string(result, "folder", folder->dir);
        nrw_result_string(result, "name", lane->label);
        nrw_result_string(result, "command", nrw_result_get_string(folder->result, "command"));
        nrw_result_string(result, "title", folder->scenario->title);
        nrw_result_number(result, "delivered_fraction", lane->mean);
        nrw_result_number(result, "delivered_low", lane->low);
        nrw_result_number(result, "delivered_high", lane->high);
        nrw_result_integer(result, "trials", (int64_t)lane->n);
        nrw_result_number(result, "time_s", lane->time_s);
        nrw_result_number(result, "seed", nrw_result_get_number(folder->result, "provenance.seed"));
        nrw_result_string(result, "scenario_sha256", folder->scenario->sha256);
        nrw_result_close(result);
    }
    nrw_result_close(result);
}

static void add_pairs(const together_page *page, size_t n, const together_pair *pairs,
                      nrw_result *result)
{
    nrw_result_open_array(result, "pairs");
    for (size_t k = 0; k < n; k++) {
        nrw_result_open_object(result, NULL);
        nrw_result_string(result, "a", page->lanes[pairs[k].a].label);
        nrw_result_string(result, "b", page->lanes[pairs[k].b].label);
        nrw_result_number(result, "difference", pairs[k].paired.difference);
        nrw_result_number(result, "low", pairs[k].paired.interval.low);
        nrw_result_number(result, "high", pairs[k].paired.interval.high);
        nrw_result_integer(result, "trials", (int64_t)pairs[k].paired.n);
        nrw_result_close(result);
    }
    nrw_result_close(result);
}

/* --- the page -----------------------------------------------------------------------------------
 */

static void put_summary(together_page *page, size_t n_pairs)
{
    static const char *const heads[] = {"Folder",        "From",   "Scenario", "Delivered",
                                        "95 % interval", "Trials", "Time, s"};
    nrw_report *report = &page->report;
    nrw_markup *out = &report->out;
    nrw_report_section(report, "summary", "In short");
    nrw_markup_put(out, "<p>%z folders. %r %r</p>\n", page->n,
                   all_same_scenario(page)
                       ? "All are of the same scenario file, byte for byte."
                       : "They are not all of the same scenario file: differences may come from "
                         "the job rather than from the schedule.",
                   n_pairs > 0
                       ? "Those that ran the same trials are compared trial by trial below."
                       : "No two of them ran the same trials, so that only intervals can be "
                         "set side by side: where they overlap, little can be said.");
    nrw_report_table_begin(report, "Results", 7, heads);
    for (size_t l = 0; l < page->n_lanes; l++) {
        const together_lane *lane = &page->lanes[l];
        const nrw_report_folder *folder = &page->folders[lane->folder];
        nrw_markup_put(out, "<tr><th scope='row'>%s</th><td>%s</td><td>%s</td><td>%p</td>",
                       lane->label, nrw_result_get_string(folder->result, "command"),
                       nrw_report_title(folder->scenario), lane->mean);
        if (isfinite(lane->low) && isfinite(lane->high))
            nrw_markup_put(out, "<td>%p to %p</td>", lane->low, lane->high);
        else
            nrw_markup_put(out, "<td>–</td>");
        nrw_markup_put(out, "<td>%z</td><td>%n</td></tr>\n", lane->n, lane->time_s);
    }
    for (size_t k = 0; k < page->n; k++) {
        bool has_lane = false;
        for (size_t l = 0; l < page->n_lanes; l++)
            has_lane = has_lane || page->lanes[l].folder == k;
        if (!has_lane)
            nrw_markup_put(out,
                           "<tr><th scope='row'>%s</th><td>%s</td><td>%s</td><td>–</td><td>–</td>"
                           "<td>–</td><td>–</td></tr>\n",
                           page->labels[k],
                           nrw_result_get_string(page->folders[k].result, "command"),
                           nrw_report_title(page->folders[k].scenario));
    }
    nrw_report_table_end(report);
    nrw_report_section_end(report);
}

static void put_trial_rows(together_page *page)
{
    static const char *const heads[] = {"Row", "Trial", "Seed of its run", "Delivered"};
    nrw_report_data_begin(&page->report, "trials", 4, heads);
    for (size_t l = 0; l < page->n_lanes; l++)
        for (size_t i = 0; i < page->lanes[l].n; i++) {
            const together_lane *lane = &page->lanes[l];
            nrw_markup_put(&page->report.out, "<tr><th scope='row'>%s</th><td>%z</td><td>",
                           lane->label, i);
            nrw_markup_put(&page->report.out, isnan(lane->seeds[i]) ? "–" : "%f", lane->seeds[i]);
            nrw_markup_put(&page->report.out, "</td><td>%p</td></tr>\n", lane->values[i]);
        }
    nrw_report_data_end(&page->report);
}

static void put_dots(together_page *page)
{
    nrw_report_lane lanes[MOST_LANES];
    double goal = page->folders[0].scenario->goal.fraction_min;
    if (page->n_lanes == 0)
        return;
    for (size_t k = 1; k < page->n; k++)
        if (fabs(page->folders[k].scenario->goal.fraction_min - goal) > 0)
            goal = NAN;
    for (size_t l = 0; l < page->n_lanes; l++) {
        const together_lane *lane = &page->lanes[l];
        lanes[l] = (nrw_report_lane){lane->label,
                                     lane->n,
                                     lane->values,
                                     lane->mean,
                                     lane->low,
                                     lane->high,
                                     nrw_report_lane_class(lane->folder)};
    }
    nrw_report_section(&page->report, "trials", "Trials");
    nrw_report_dots(&page->report, "trials-picture", "Delivered in each trial by folder",
                    "A row of dots for each folder, one dot a trial or run, with the mean and its "
                    "interval; the table above has the means.",
                    page->n_lanes, lanes, goal);
    put_trial_rows(page);
    nrw_report_section_end(&page->report);
}

static void put_pairs(together_page *page, size_t n, const together_pair *pairs)
{
    static const char *const heads[] = {"First",         "Second", "Difference, points",
                                        "95 % interval", "Trials", "In words"};
    nrw_report *report = &page->report;
    if (n == 0)
        return;
    nrw_report_section(report, "pairs", "Differences");
    nrw_markup_put(&report->out, "<p>Mean of the differences trial by trial, over the trials that "
                                 "both ran.</p>\n");
    nrw_report_table_begin(report, "Paired differences", 6, heads);
    for (size_t k = 0; k < n; k++) {
        const nrw_paired *paired = &pairs[k].paired;
        bool more = paired->interval.low > 0, less = paired->interval.high < 0;
        nrw_markup_put(&report->out,
                       "<tr><th scope='row'>%s</th><td>%s</td><td>%n</td><td>%n to %n</td><td>%z"
                       "</td><td>%r</td></tr>\n",
                       page->lanes[pairs[k].a].label, page->lanes[pairs[k].b].label,
                       nrw_report_points(paired->difference),
                       nrw_report_points(paired->interval.low),
                       nrw_report_points(paired->interval.high), paired->n,
                       more   ? "the first delivers more"
                       : less ? "the second delivers more"
                              : "a tie: these trials can’t tell them apart");
    }
    nrw_report_table_end(report);
    nrw_report_section_end(report);
}

static void put_losses(together_page *page)
{
    nrw_report *report = &page->report;
    if (page->n_lanes == 0)
        return;
    nrw_report_section(report, "losses", "Losses");
    nrw_markup_put(&report->out, "<ul class='key'>");
    for (int f = 0; f < NRW_N_FATES; f++)
        nrw_markup_put(&report->out, "<li><i class='fate-%r'></i>%r</li>",
                       nrw_fate_name((nrw_fate)f), nrw_report_fate_word((nrw_fate)f));
    nrw_markup_put(&report->out, "</ul>\n");
    for (size_t l = 0; l < page->n_lanes; l++) {
        report->in = &page->inputs[page->lanes[l].folder];
        nrw_markup_put(&report->out, "<p class='strip-name'>%s</p>\n", page->lanes[l].label);
        nrw_report_strip(report, page->lanes[l].path);
    }
    nrw_report_section_end(report);
}

/* --- the way against time ----------------------------------------------------------------------
 */

static void put_progress_rows(together_page *page)
{
    static const char *const heads[] = {"Run", "Time, s", "Along the route, µm"};
    nrw_report_data_begin(&page->report, "frames, thinned out (all of them are in morphology.csv)",
                          3, heads);
    for (size_t k = 0; k < page->n; k++) {
        const nrw_report_folder *folder = &page->folders[k];
        size_t stride = nrw_report_stride(folder->run.n_frames);
        for (size_t i = 0; folder->channel && i < folder->run.n_frames; i += stride) {
            const nrw_morphology *seen = &folder->run.frames[i].seen;
            nrw_markup_put(&page->report.out,
                           "<tr><th scope='row'>%s</th><td>%n</td><td>%n</td></tr>\n",
                           page->labels[k], folder->run.frames[i].time_s,
                           nrw_channel_route_project_um(folder->channel, seen->x_um, seen->y_um));
        }
    }
    nrw_report_data_end(&page->report);
}

/* The centroid along the route of every run that was recorded. */
static void put_progress(together_page *page)
{
    enum { WIDTH = 920, HEIGHT = 330, LEFT = 52, TOP = 30, RIGHT = 16, BOTTOM = 44, STYLES = 4 };
    nrw_markup *out = &page->report.out;
    double end_s = 0, far_um = 1;
    size_t n_runs = 0;
    for (size_t k = 0; k < page->n; k++) {
        const nrw_report_folder *folder = &page->folders[k];
        if (!folder->channel || folder->run.n_frames == 0)
            continue;
        n_runs++;
        end_s = fmax(end_s, folder->run.frames[folder->run.n_frames - 1].time_s);
        far_um = fmax(far_um, nrw_channel_route_length_um(folder->channel));
    }
    if (n_runs == 0 || !(end_s > 0))
        return;
    nrw_svg_plot plot = {
        out,   LEFT,           TOP,          WIDTH - LEFT - RIGHT, HEIGHT - TOP - BOTTOM, 0,
        end_s, -0.08 * far_um, 1.15 * far_um};
    nrw_report_section(&page->report, "progress", "Course");
    nrw_markup_put(out, "<figure class='wide'><div class='scroll' tabindex='0' role='region' "
                        "aria-label='Course of the runs'>\n");
    nrw_svg_open(out, "progress-picture", WIDTH, HEIGHT, "Position along the route against time",
                 "The swarm's centroid along the route over time, a line for each recorded run; "
                 "each folder's morphology.csv has the values.");
    nrw_svg_axis_y(&plot, "µm along the route");
    for (size_t k = 0; k < page->n; k++) {
        const nrw_report_folder *folder = &page->folders[k];
        size_t n = folder->run.n_frames;
        double *series = folder->channel && n > 0 ? malloc(2 * n * sizeof *series) : NULL;
        char style[16];
        for (size_t i = 0; series && i < n; i++) {
            const nrw_frame *frame = &folder->run.frames[i];
            series[i] = frame->time_s;
            series[n + i] =
                nrw_channel_route_project_um(folder->channel, frame->seen.x_um, frame->seen.y_um);
        }
        (void)snprintf(style, sizeof style, "line-%zu", k % STYLES + 1);
        if (series)
            nrw_svg_line(&plot, style, n, series, series + n);
        free(series);
    }
    nrw_svg_axis_x(&plot, "time, s");
    nrw_svg_close(out);
    nrw_markup_put(out, "</div>\n<figcaption>Where the swarm was along the route, in each run that "
                        "was recorded.<ul class='key'>");
    for (size_t k = 0; k < page->n; k++)
        if (page->folders[k].channel && page->folders[k].run.n_frames > 0)
            nrw_markup_put(out,
                           "<li><svg class='sample' viewBox='0 0 26 10' aria-hidden='true'><path "
                           "class='line-%z' d='M0 5h26'/></svg>%s</li>",
                           k % STYLES + 1, page->labels[k]);
    nrw_markup_put(out, "</ul></figcaption></figure>\n");
    put_progress_rows(page);
    nrw_report_section_end(&page->report);
}

/* --- where from --------------------------------------------------------------------------------
 */

static void put_sources(together_page *page, const nrw_result *result)
{
    static const char *const heads[] = {
        "Folder", "Version", "Command", "Seed", "Model", "Started", "SHA-256 of scenario.yaml"};
    nrw_report *report = &page->report;
    nrw_markup *out = &report->out;
    nrw_report_section(report, "provenance", "Where from");
    nrw_report_table_begin(report, "Provenance", 7, heads);
    for (size_t k = 0; k < page->n; k++) {
        report->in = &page->inputs[k];
        nrw_markup_put(out, "<tr><th scope='row'>%s</th><td>%s</td><td>%s</td><td>",
                       page->labels[k], nrw_report_string(report, "provenance.version"),
                       nrw_report_string(report, "command"));
        nrw_report_seed(report);
        nrw_markup_put(out, "</td><td>%s</td><td>%s</td><td>%s</td></tr>\n",
                       nrw_report_string(report, "provenance.model"),
                       nrw_report_string(report, "provenance.started"),
                       page->folders[k].scenario->sha256);
    }
    nrw_report_table_end(report);
    nrw_markup_put(out, "<p class='quiet'>This page: narrows %s, %s.</p>\n",
                   nrw_result_get_string(result, "provenance.version"),
                   nrw_result_get_string(result, "provenance.started"));
    for (size_t k = 0; k < page->n; k++) {
        const nrw_report_folder *folder = &page->folders[k];
        nrw_markup_put(out,
                       "<details><summary>%s: scenario.yaml as used</summary><pre tabindex='0'>%s"
                       "</pre></details>\n",
                       page->labels[k], folder->scenario->text);
        if (folder->schedule_text)
            nrw_markup_put(out,
                           "<details><summary>%s: schedule.yaml as used</summary><pre "
                           "tabindex='0'>%s</pre></details>\n",
                           page->labels[k], folder->schedule_text);
    }
    nrw_report_section_end(report);
}

static void put_page(together_page *page, nrw_result *result)
{
    nrw_markup *out = &page->report.out;
    size_t n_pairs = 0;
    for (size_t k = 0; k < page->n; k++)
        add_lanes(page, k);
    page->report.in = &page->inputs[0];
    together_pair *pairs = find_pairs(page, &n_pairs);
    if (!pairs)
        return;
    add_sources(page, result);
    add_pairs(page, n_pairs, pairs, result);
    nrw_report_page_begin(out, "Side by side",
                          all_same_scenario(page) ? nrw_report_title(page->folders[0].scenario)
                                                  : "Several results");
    nrw_markup_put(out, "<p class='quiet'>Predicted with narrows.</p>\n</header>\n");
    put_summary(page, n_pairs);
    put_dots(page);
    put_pairs(page, n_pairs, pairs);
    put_losses(page);
    put_progress(page);
    nrw_report_section(&page->report, "validity", "Validity and care");
    nrw_report_care(&page->report);
    nrw_report_section_end(&page->report);
    put_sources(page, result);
    nrw_report_end(&page->report);
    free(pairs);
}

nrw_status nrw_report_together(size_t n, const char *const *dirs, nrw_result *result, char **html,
                               size_t *size, nrw_errors *errors)
{
    together_page *page = calloc(1, sizeof *page);
    nrw_status status = NRW_OK;
    *html = NULL;
    *size = 0;
    if (page) {
        page->folders = calloc(n, sizeof *page->folders);
        page->inputs = calloc(n, sizeof *page->inputs);
        page->labels = calloc(n, sizeof *page->labels);
    }
    if (!page || !page->folders || !page->inputs || !page->labels)
        status = nrw_errors_add(errors, NRW_NO_MEMORY, NULL, "no memory for the report");
    for (size_t k = 0; status == NRW_OK && k < n; k++) {
        status = nrw_report_folder_load(dirs[k], &page->folders[k], errors);
        page->inputs[k] = nrw_report_folder_input(&page->folders[k]);
        page->n += status == NRW_OK;
    }
    if (status == NRW_OK) {
        label_folders(page);
        put_page(page, result);
        status = nrw_report_take(&page->report, html, size, errors);
    }
    for (size_t k = 0; page && page->folders && k < n; k++)
        nrw_report_folder_clear(&page->folders[k]);
    for (size_t l = 0; page && l < page->n_lanes; l++)
        free(page->lanes[l].values);
    if (page) {
        free(page->folders);
        free(page->inputs);
        free(page->labels);
    }
    free(page);
    return status;
}
