/* Trials as dots with their mean and its interval. */
#include "report_parts.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "svg.h"

const char *nrw_report_lane_class(size_t k)
{
    static const char *const classes[] = {"lane-1", "lane-2", "lane-3", "lane-4",
                                          "lane-5", "lane-6", "lane-7", "lane-8"};
    return classes[k % (sizeof classes / sizeof *classes)];
}

double nrw_report_points(double difference)
{
    return isnan(difference) ? (double)NAN : 100 * fmin(fmax(difference, -1), 1);
}

/* --- gauge ------------------------------------------------------------------ */

static double clamped(double fraction)
{
    return 100 * fmin(fmax(fraction, 0), 1);
}

void nrw_report_gauge(nrw_report *report, double mean, double low, double high, double goal)
{
    nrw_markup *out = &report->out;
    nrw_markup_put(out, "<div class='gauge' role='img' aria-label='Delivered: mean %p", mean);
    if (isfinite(low) && isfinite(high))
        nrw_markup_put(out, ", 95 %% interval %p to %p", low, high);
    nrw_markup_put(out, "; goal %p'>", goal);
    if (isfinite(low) && isfinite(high))
        nrw_markup_put(out, "<i class='range' style='left:%c%%;width:%c%%'></i>", clamped(low),
                       clamped(high) - clamped(low));
    nrw_markup_put(out, "<i class='mean' style='left:%c%%'></i>", clamped(mean));
    nrw_markup_put(out,
                   "<i class='goal' style='left:%c%%'></i><span style='%r:%c%%'>goal %p</span>",
                   clamped(goal), goal > 0.5 ? "right" : "left",
                   goal > 0.5 ? 100 - clamped(goal) : clamped(goal), goal);
    nrw_markup_put(out, "</div>\n");
}

/* --- dots ------------------------------------------------------------------- */

enum { WIDTH = 920, LEFT = 210, RIGHT = 24, TOP = 26, ROW = 66, BOTTOM = 40, HALF = 25 };

static double radius_for(size_t n)
{
    return n <= 40 ? 5 : n <= 150 ? 3.5 : n <= 600 ? 2.5 : 1.6;
}

static int compare_values(const void *a, const void *b)
{
    double p = *(const double *)a, q = *(const double *)b;
    return (p > q) - (p < q);
}

/* The sorted values; *n without those not done. NULL: no memory. */
static double *sorted(const nrw_report_lane *lane, size_t *n)
{
    double *values = malloc((lane->n + 1) * sizeof *values);
    *n = 0;
    for (size_t i = 0; values && i < lane->n; i++)
        if (!isnan(lane->values[i]))
            values[(*n)++] = lane->values[i];
    if (values)
        qsort(values, *n, sizeof *values, compare_values);
    return values;
}

/* Dots that would overlap stand in a column about the row's middle. */
static void put_lane_dots(const nrw_svg_plot *plot, const nrw_report_lane *lane, double middle,
                          nrw_markup *out)
{
    size_t n;
    double *values = sorted(lane, &n), radius = radius_for(lane->n);
    if (!values) {
        out->failed = true;
        return;
    }
    nrw_markup_put(out, "<g class='trial-dots %r'>", lane->class_name);
    for (size_t first = 0; first < n;) {
        double from = nrw_svg_x(plot, 100 * values[first]);
        size_t end = first;
        while (end < n && nrw_svg_x(plot, 100 * values[end]) < from + 2 * radius)
            end++;
        double column = (double)(end - first);
        double apart = fmin(2 * radius + 1, 2 * HALF / fmax(column, 1));
        for (size_t i = first; i < end; i++)
            nrw_markup_put(out, "<circle cx='%c' cy='%c' r='%c'/>",
                           nrw_svg_x(plot, 100 * values[i]),
                           middle + apart * ((double)(i - first) - (column - 1) / 2), radius);
        first = end;
    }
    nrw_markup_put(out, "</g>\n");
    free(values);
}

static void put_lane(nrw_report *report, const nrw_svg_plot *plot, const nrw_report_lane *lane,
                     double middle)
{
    nrw_markup *out = &report->out;
    char name[40];
    (void)snprintf(name, sizeof name, "%.32s", lane->name);
    if (strlen(lane->name) > 32)
        strcpy(name + 31, "…");
    nrw_markup_put(out, "<text class='lane-name' x='2' y='%c'>%s</text>", middle - 3, name);
    nrw_markup_put(out, "<text class='note' x='2' y='%c'>mean %p", middle + 13, lane->mean);
    if (isfinite(lane->low) && isfinite(lane->high))
        nrw_markup_put(out, " (%p to %p)", lane->low, lane->high);
    nrw_markup_put(out, "</text><path class='rule' d='M%c %ch%c'/>", plot->left, middle,
                   plot->width);
    if (isfinite(lane->low) && isfinite(lane->high)) {
        double from = nrw_svg_x(plot, clamped(lane->low)),
               to = nrw_svg_x(plot, clamped(lane->high));
        nrw_markup_put(out,
                       "<rect class='interval %r' x='%c' y='%c' width='%c' height='%d' rx='2'/>",
                       lane->class_name, from, middle - 9, fmax(to - from, 1), 18);
    }
    put_lane_dots(plot, lane, middle, out);
    if (isfinite(lane->mean))
        nrw_markup_put(out, "<path class='mean-mark' d='M%c %cv%d'/>\n",
                       nrw_svg_x(plot, clamped(lane->mean)), middle - 15, 30);
}

void nrw_report_dots(nrw_report *report, const char *id, const char *title, const char *description,
                     size_t n_lanes, const nrw_report_lane *lanes, double goal)
{
    nrw_markup *out = &report->out;
    double height = TOP + BOTTOM + ROW * (double)n_lanes;
    nrw_svg_plot plot = {.out = out,
                         .left = LEFT,
                         .top = TOP,
                         .width = WIDTH - LEFT - RIGHT,
                         .height = height - TOP - BOTTOM,
                         .x_low = 0,
                         .x_high = 100,
                         .y_low = 0,
                         .y_high = 1};
    nrw_markup_put(out,
                   "<figure class='wide'><div class='scroll' tabindex='0' role='region' "
                   "aria-label='%s'>\n",
                   title);
    nrw_svg_open(out, id, WIDTH, height, title, description);
    if (isfinite(goal)) {
        double x = nrw_svg_x(&plot, 100 * goal);
        nrw_markup_put(out,
                       "<path class='goal-line' d='M%c %cV%c'/><text class='note' x='%c' y='%c' "
                       "text-anchor='middle'>goal %p</text>",
                       x, plot.top - 6, plot.top + plot.height, x, plot.top - 10, goal);
    }
    for (size_t k = 0; k < n_lanes; k++)
        put_lane(report, &plot, &lanes[k], plot.top + ROW * ((double)k + 0.5));
    nrw_svg_axis_x(&plot, "delivered, %");
    nrw_svg_close(out);
    nrw_markup_put(out,
                   "</div>\n<figcaption>Each dot is one trial: a run of its own seed, with the "
                   "uncertain properties drawn anew. Tick: mean; shaded: its 95 %% interval, "
                   "over trials.%r</figcaption></figure>\n",
                   isfinite(goal) ? " Broken line: the goal." : "");
}
