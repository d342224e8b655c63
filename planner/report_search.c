/* The candidates of a search: what they deliver against the time that they take. */
#include "report_parts.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "svg.h"

/* A row of search.csv. */
typedef struct search_row {
    const char *stage, *recipe;
    double trials, mean, least, time_s;
    bool simple;   /* keeps the swarm gathered */
    bool verified; /* on fresh trials */
    bool latest;   /* no later row has the same recipe */
} search_row;

typedef struct search_rows {
    nrw_csv_table table;
    search_row *items; /* (n) */
    size_t n;
} search_rows;

static bool begins(const char *text, const char *with)
{
    return strncmp(text, with, strlen(with)) == 0;
}

static bool take_rows(nrw_report *report, search_rows *rows)
{
    if (!nrw_report_table(report, "search.csv", &rows->table))
        return false;
    const nrw_csv_table *table = &rows->table;
    rows->n = table->n_records - 1;
    rows->items = calloc(rows->n, sizeof *rows->items);
    if (!rows->items) {
        report->out.failed = true;
        nrw_csv_table_clear(&rows->table);
        return false;
    }
    for (size_t i = 0; i < rows->n; i++) {
        search_row *row = &rows->items[i];
        row->stage = nrw_csv_field(table, i + 1, nrw_csv_column(table, "stage"));
        row->recipe = nrw_csv_field(table, i + 1, nrw_csv_column(table, "recipe"));
        row->trials = nrw_csv_value(table, i + 1, nrw_csv_column(table, "trials"));
        row->mean = nrw_csv_value(table, i + 1, nrw_csv_column(table, "delivered_mean"));
        row->least = nrw_csv_value(table, i + 1, nrw_csv_column(table, "delivered_least"));
        row->time_s = nrw_csv_value(table, i + 1, nrw_csv_column(table, "time_s"));
        row->simple = begins(row->recipe, "keep-gathered");
        row->verified = begins(row->stage, "verifi");
        row->latest = true;
        for (size_t k = 0; k < i; k++)
            if (strcmp(rows->items[k].recipe, row->recipe) == 0 &&
                rows->items[k].verified == row->verified)
                rows->items[k].latest = false;
    }
    return true;
}

/* Whether nothing else delivers as much in less time. Verified rows stand apart:
 * they met other trials. */
static bool on_front(const search_rows *rows, size_t i)
{
    const search_row *own = &rows->items[i];
    if (!own->latest || own->verified)
        return false;
    for (size_t k = 0; k < rows->n; k++) {
        const search_row *other = &rows->items[k];
        if (k == i || !other->latest || other->verified)
            continue;
        bool no_worse = other->mean >= own->mean && other->time_s <= own->time_s;
        bool better = other->mean > own->mean || other->time_s < own->time_s;
        if (no_worse && (better || k < i))
            return false;
    }
    return true;
}

static int compare_times(const void *a, const void *b)
{
    const search_row *p = *(const search_row *const *)a, *q = *(const search_row *const *)b;
    return (p->time_s > q->time_s) - (p->time_s < q->time_s);
}

static void put_front(nrw_report *report, const search_rows *rows, const nrw_svg_plot *plot)
{
    const search_row **front = calloc(rows->n, sizeof(search_row *));
    size_t n = 0;
    if (!front) {
        report->out.failed = true;
        return;
    }
    for (size_t i = 0; i < rows->n; i++)
        if (on_front(rows, i))
            front[n++] = &rows->items[i];
    qsort((void *)front, n, sizeof *front, compare_times);
    if (n > 1) {
        /* steps: between two candidates nothing better is known than the first */
        nrw_markup_put(plot->out, "<path class='front-line' d='");
        for (size_t i = 0; i < n; i++) {
            double x = nrw_svg_x(plot, front[i]->time_s), y = nrw_svg_y(plot, 100 * front[i]->mean);
            nrw_markup_put(plot->out, i ? "H%cV%c" : "M%c %c", x, y);
        }
        nrw_markup_put(plot->out, "'/>\n");
    }
    free((void *)front);
}

/* Circles: searched; squares: kept gathered; filled, with a number: verified. */
static void put_mark(const nrw_svg_plot *plot, const search_row *row, size_t number)
{
    double x = nrw_svg_x(plot, row->time_s), y = nrw_svg_y(plot, 100 * row->mean);
    double down = nrw_svg_y(plot, 100 * row->least);
    nrw_markup *out = plot->out;
    if (isnan(row->mean) || isnan(row->time_s))
        return;
    nrw_markup_put(out, "<g class='candidate%r%r%r'>", row->simple ? " simple" : "",
                   row->verified ? " verified" : "", row->latest ? "" : " earlier");
    if (isfinite(down) && down > y + 5)
        nrw_markup_put(out, "<path class='stem' d='M%c %cV%c'/>", x, y, down);
    if (row->simple)
        nrw_markup_put(out, "<rect x='%c' y='%c' width='9' height='9'/>", x - 4.5, y - 4.5);
    else
        nrw_markup_put(out, "<circle cx='%c' cy='%c' r='%c'/>", x, y, row->verified ? 6.5 : 4.5);
    if (row->latest)
        nrw_markup_put(out, "<text class='note' x='%c' y='%c'>%z</text>", x + 8, y - 5, number);
    nrw_markup_put(out, "</g>\n");
}

static void put_picture(nrw_report *report, const search_rows *rows)
{
    enum { WIDTH = 920, HEIGHT = 330, LEFT = 46, TOP = 30, RIGHT = 24, BOTTOM = 44 };
    nrw_markup *out = &report->out;
    double longest = 1, goal = 100 * report->in->scenario->goal.fraction_min;
    for (size_t i = 0; i < rows->n; i++)
        longest = fmax(longest, rows->items[i].time_s);
    nrw_svg_plot plot = {
        out, LEFT, TOP, WIDTH - LEFT - RIGHT, HEIGHT - TOP - BOTTOM, 0, 1.08 * longest, -4, 106};
    nrw_markup_put(out, "<figure class='wide'><div class='scroll' tabindex='0' role='region' "
                        "aria-label='Candidates'>\n");
    nrw_svg_open(out, "search-picture", WIDTH, HEIGHT, "Candidates: delivered against time",
                 "Each candidate of the search as a mark: mean time of its runs across, mean "
                 "delivered fraction upward; the table below has the values.");
    nrw_svg_axis_y(&plot, "delivered, %");
    nrw_markup_put(out,
                   "<path class='goal-line' d='M%c %ch%c'/><text class='note' x='%c' y='%c' "
                   "text-anchor='end'>goal</text>",
                   plot.left, nrw_svg_y(&plot, goal), plot.width, plot.left + plot.width,
                   nrw_svg_y(&plot, goal) - 4);
    put_front(report, rows, &plot);
    for (int verified = 0; verified < 2; verified++)
        for (size_t i = 0; i < rows->n; i++)
            if (rows->items[i].verified == (verified == 1))
                put_mark(&plot, &rows->items[i], i + 1);
    nrw_svg_axis_x(&plot, "mean time of its runs, s");
    nrw_svg_close(out);
    nrw_markup_put(
        out, "</div>\n<figcaption>Open circles: candidates on the search’s trials (faint: judged "
             "again later); filled: the winner on fresh trials; squares: schedules that keep the "
             "swarm gathered. A stem leads down to the worst trial. Stepped line: nothing tried "
             "delivers more in less time. Numbers are rows of the table.</figcaption></figure>\n");
}

static void put_table(nrw_report *report, const search_rows *rows)
{
    static const char *const heads[] = {"Row",  "Stage",   "Recipe",   "Trials",
                                        "Mean", "Worst",   "Time, s",  "mT",
                                        "Hz",   "Tilt, °", "Other, °", "Steered by"};
    static const char *const columns[] = {"field_mT", "frequency_Hz", "tilt_deg", "other_tilt_deg"};
    nrw_markup *out = &report->out;
    nrw_report_data_begin(report, "candidates tried (all of their keys are in search.csv)", 12,
                          heads);
    for (size_t i = 0; i < rows->n; i++) {
        const search_row *row = &rows->items[i];
        nrw_markup_put(out,
                       "<tr><th scope='row'>%z</th><td>%s</td><td>%s</td><td>%n</td><td>%p</td>"
                       "<td>%p</td><td>%n</td>",
                       i + 1, row->stage, row->recipe, row->trials, row->mean, row->least,
                       row->time_s);
        for (size_t c = 0; c < sizeof columns / sizeof *columns; c++)
            nrw_markup_put(
                out, "<td>%n</td>",
                nrw_csv_value(&rows->table, i + 1, nrw_csv_column(&rows->table, columns[c])));
        nrw_markup_put(
            out, "<td>%s</td></tr>\n",
            nrw_csv_field(&rows->table, i + 1, nrw_csv_column(&rows->table, "steer_by")));
    }
    nrw_report_data_end(report);
}

void nrw_report_search(nrw_report *report)
{
    search_rows rows = {0};
    if (!take_rows(report, &rows))
        return;
    nrw_report_section(report, "search", "Search");
    put_picture(report, &rows);
    put_table(report, &rows);
    nrw_report_section_end(report);
    free(rows.items);
    nrw_csv_table_clear(&rows.table);
}
