/* Which uncertain parameter moves the delivered fraction. */
#include "report_parts.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "svg.h"
#include "trial.h"

static const char *name_of(const char *key)
{
    for (int k = 0; k < NRW_N_DRAWN; k++)
        if (key && strcmp(key, nrw_drawn_key(k)) == 0)
            return nrw_drawn_name(k);
    return key ? key : "";
}

/* --- rank coefficients -------------------------------------------------------------- */

static void put_coefficient(nrw_report *report, const nrw_svg_plot *plot, size_t k, double y)
{
    nrw_markup *out = &report->out;
    const char *base = "figures.sensitivity.parameters";
    double value = nrw_report_number(report, "%s.%zu.rank_coefficient", base, k);
    double low = nrw_report_number(report, "%s.%zu.rank_interval.0", base, k);
    double high = nrw_report_number(report, "%s.%zu.rank_interval.1", base, k);
    nrw_markup_put(out, "<text class='lane-name' x='2' y='%c'>%s</text>", y + 4,
                   name_of(nrw_report_string(report, "%s.%zu.parameter", base, k)));
    if (isnan(value))
        return;
    bool sure = low > 0 || high < 0;
    if (isfinite(low) && isfinite(high))
        nrw_markup_put(out, "<path class='whisker%r' d='M%c %cH%c'/>", sure ? "" : " unsure",
                       nrw_svg_x(plot, fmax(low, -1)), y, nrw_svg_x(plot, fmin(high, 1)));
    nrw_markup_put(out, "<circle class='point%r' cx='%c' cy='%c' r='5.5'/>\n",
                   sure ? "" : " unsure", nrw_svg_x(plot, value), y);
}

static void put_picture(nrw_report *report, size_t n)
{
    enum { WIDTH = 620, LEFT = 170, TOP = 14, RIGHT = 20, BOTTOM = 44, ROW = 34 };
    nrw_markup *out = &report->out;
    double height = TOP + BOTTOM + ROW * (double)n;
    nrw_svg_plot plot = {out, LEFT, TOP, WIDTH - LEFT - RIGHT, height - TOP - BOTTOM, -1, 1, 0, 1};
    nrw_markup_put(out, "<figure class='single'>");
    nrw_svg_open(out, "sensitivity-picture", WIDTH, height, "What moves the delivered fraction",
                 "For each uncertain parameter its rank coefficient between -1 and 1 with an "
                 "interval; the table below has the values.");
    nrw_markup_put(out, "<path class='zero' d='M%c %cv%c'/>", nrw_svg_x(&plot, 0), plot.top,
                   plot.height);
    for (size_t k = 0; k < n; k++)
        put_coefficient(report, &plot, k, plot.top + ROW * ((double)k + 0.5));
    nrw_svg_axis_x(&plot, "less is delivered where it is larger  ←  rank coefficient  →  more");
    nrw_svg_close(out);
    nrw_markup_put(out, "<figcaption>How the delivered fraction follows each uncertain parameter, "
                        "the others held: 0 not at all, ±1 entirely. Filled: its interval excludes "
                        "0.</figcaption></figure>\n");
}

static void put_rows(nrw_report *report, size_t n)
{
    static const char *const heads[] = {"Parameter", "Rank coefficient", "Interval",
                                        "Share of the variance", "Interval"};
    const char *base = "figures.sensitivity.parameters";
    nrw_report_data_begin(report, "sensitivity", 5, heads);
    for (size_t k = 0; k < n; k++)
        nrw_markup_put(&report->out,
                       "<tr><th scope='row'>%s</th><td>%n</td><td>%n to %n</td><td>%n</td><td>%n "
                       "to %n</td></tr>\n",
                       name_of(nrw_report_string(report, "%s.%zu.parameter", base, k)),
                       nrw_report_number(report, "%s.%zu.rank_coefficient", base, k),
                       nrw_report_number(report, "%s.%zu.rank_interval.0", base, k),
                       nrw_report_number(report, "%s.%zu.rank_interval.1", base, k),
                       nrw_report_number(report, "%s.%zu.first_order", base, k),
                       nrw_report_number(report, "%s.%zu.first_order_interval.0", base, k),
                       nrw_report_number(report, "%s.%zu.first_order_interval.1", base, k));
    nrw_report_data_end(report);
}

/* --- trials against each parameter ---------------------------------------------------- */

static void put_panel(nrw_report *report, const nrw_csv_table *table, int column, int delivered,
                      size_t number, const char *name)
{
    enum { WIDTH = 300, HEIGHT = 230, LEFT = 40, TOP = 26, RIGHT = 12, BOTTOM = 42 };
    nrw_markup *out = &report->out;
    double low = INFINITY, high = -INFINITY;
    char id[40], title[128];
    for (size_t i = 1; i < table->n_records; i++) {
        low = fmin(low, nrw_csv_value(table, i, column));
        high = fmax(high, nrw_csv_value(table, i, column));
    }
    if (!(high > low))
        return;
    double room = 0.06 * (high - low);
    nrw_svg_plot plot = {
        out,         LEFT, TOP, WIDTH - LEFT - RIGHT, HEIGHT - TOP - BOTTOM, low - room,
        high + room, -4,   104};
    (void)snprintf(id, sizeof id, "factor-%zu", number);
    (void)snprintf(title, sizeof title, "Delivered against the %s", name);
    nrw_markup_put(out, "<figure>");
    nrw_svg_open(out, id, WIDTH, HEIGHT, title,
                 "A dot for each trial: the factor drawn for it across, what it delivered upward; "
                 "the table of trials has the values.");
    nrw_svg_axis_y(&plot, "delivered, %");
    nrw_markup_put(out, "<g class='trial-dots lane-1'>");
    for (size_t i = 1; i < table->n_records; i++) {
        double x = nrw_csv_value(table, i, column), y = nrw_csv_value(table, i, delivered);
        if (isfinite(x) && isfinite(y))
            nrw_markup_put(out, "<circle cx='%c' cy='%c' r='%c'/>", nrw_svg_x(&plot, x),
                           nrw_svg_y(&plot, 100 * y), table->n_records > 200 ? 2.2 : 4.0);
    }
    nrw_markup_put(out, "</g>\n");
    nrw_svg_axis_x(&plot, "times nominal");
    nrw_svg_close(out);
    nrw_markup_put(out, "<figcaption>The %s.</figcaption></figure>\n", name);
}

static void put_panels(nrw_report *report)
{
    nrw_csv_table table;
    if (!nrw_report_table(report, "trials.csv", &table))
        return;
    int delivered = nrw_csv_column(&table, "delivered_fraction");
    nrw_markup_put(&report->out, "<div class='panels'>\n");
    for (int k = 0; k < NRW_N_DRAWN; k++) {
        int column = nrw_csv_column(&table, nrw_drawn_key(k));
        if (column >= 0 && delivered >= 0)
            put_panel(report, &table, column, delivered, (size_t)k + 1, nrw_drawn_name(k));
    }
    nrw_markup_put(&report->out, "</div>\n");
    nrw_csv_table_clear(&table);
}

/* Too few trials, or trials that all deliver alike, tell nothing. */
static bool is_known(const nrw_report *report, size_t n)
{
    for (size_t k = 0; k < n; k++)
        if (isfinite(nrw_report_number(report,
                                       "figures.sensitivity.parameters.%zu.rank_coefficient", k)))
            return true;
    return false;
}

void nrw_report_sensitivity(nrw_report *report)
{
    size_t n = nrw_report_size(report, "figures.sensitivity.parameters");
    const char *advice = nrw_report_string(report, "figures.sensitivity.advice");
    if (n == 0)
        return;
    nrw_report_section(report, "sensitivity", "What to measure");
    if (advice) {
        nrw_markup_put(&report->out, "<p>");
        nrw_report_sentence(&report->out, advice);
        nrw_markup_put(&report->out, "</p>\n");
    }
    if (is_known(report, n)) {
        put_picture(report, n);
        put_rows(report, n);
        put_panels(report);
    }
    nrw_report_section_end(report);
}
