/* The run against time, with the legs as bands, and the passage against the
 * route. */
#include "report_parts.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "svg.h"

/* --- series ----------------------------------------------------------------- */

enum series {
    TIME,
    WIDTH,
    SPREAD,
    FRONT,
    CENTROID,
    TAIL,
    CLUSTER,
    CHANNEL,  /* its width where the centroid is */
    ON_ROUTE, /* the centroid between the route's ends, NAN beyond them */
    UPPER,    /* half the swarm’s width to both sides */
    LOWER,
    N_SERIES
};

typedef struct run_series {
    size_t n;
    double *values[N_SERIES]; /* (n) each, of one block */
    double *block;
} run_series;

static bool take_series(const nrw_report_input *in, run_series *series)
{
    size_t n = series->n = in->run->n_frames;
    series->block = calloc(N_SERIES * n + 1, sizeof(double));
    if (!series->block)
        return false;
    double length = nrw_channel_route_length_um(in->channel);
    for (int k = 0; k < N_SERIES; k++)
        series->values[k] = series->block + (size_t)k * n;
    for (size_t i = 0; i < n; i++) {
        const nrw_morphology *seen = &in->run->frames[i].seen;
        double at = nrw_channel_route_project_um(in->channel, seen->x_um, seen->y_um);
        double width = nrw_channel_route_width_um(in->channel, at);
        series->values[TIME][i] = in->run->frames[i].time_s;
        series->values[WIDTH][i] = seen->width_across_um;
        series->values[SPREAD][i] = seen->spread_um;
        series->values[FRONT][i] = seen->front_um;
        series->values[CENTROID][i] = at;
        series->values[TAIL][i] = seen->tail_um;
        series->values[CLUSTER][i] = seen->largest_cluster_fraction;
        series->values[CHANNEL][i] = isfinite(width) ? width : (double)NAN;
        series->values[ON_ROUTE][i] = at >= 0 && at <= length ? at : (double)NAN;
        series->values[UPPER][i] = seen->width_across_um / 2;
        series->values[LOWER][i] = -seen->width_across_um / 2;
    }
    return true;
}

static double largest(const double *values, size_t n, double at_least)
{
    for (size_t i = 0; i < n; i++)
        at_least = fmax(at_least, values[i]);
    return at_least;
}

static double smallest(const double *values, size_t n, double at_most)
{
    for (size_t i = 0; i < n; i++)
        at_most = fmin(at_most, values[i]);
    return at_most;
}

/* --- the frame of each picture ---------------------------------------------- */

enum { PICTURE_WIDTH = 460, PICTURE_HEIGHT = 300, LEFT = 44, TOP = 48, RIGHT = 12, BOTTOM = 42 };

static nrw_svg_plot plot_of(nrw_report *report, double x_low, double x_high, double y_low,
                            double y_high)
{
    return (nrw_svg_plot){.out = &report->out,
                          .left = LEFT,
                          .top = TOP,
                          .width = PICTURE_WIDTH - LEFT - RIGHT,
                          .height = PICTURE_HEIGHT - TOP - BOTTOM,
                          .x_low = x_low,
                          .x_high = x_high > x_low ? x_high : x_low + 1,
                          .y_low = y_low,
                          .y_high = y_high > y_low ? y_high : y_low + 1};
}

/* Legs as bands, with their names where there is room and else the number of
 * their row in the table of legs. */
static void put_legs(nrw_report *report, const nrw_svg_plot *plot)
{
    const nrw_run_result *run = report->in->run;
    const double least = 11;
    for (size_t i = 0; i < run->n_visits; i++) {
        const nrw_leg_visit *visit = &run->visits[i];
        const char *name = report->in->schedule->legs[visit->leg].name;
        nrw_svg_band_x(plot, i % 2 ? "leg odd" : "leg", visit->start_s, visit->end_s);
        double from = nrw_svg_x(plot, visit->start_s), to = nrw_svg_x(plot, visit->end_s);
        bool room = nrw_svg_text_width(name) + 14 < to - from;
        if (to - from < least)
            continue;
        nrw_markup_put(plot->out, "<text class='leg-name' x='%c' y='%c' text-anchor='middle'>%z",
                       (from + to) / 2, plot->top + 13, i + 1);
        if (room)
            nrw_markup_put(plot->out, " %s", name);
        nrw_markup_put(plot->out, "</text>\n");
    }
}

typedef struct key_entry {
    const char *class_name, *text;
} key_entry;

static void put_figure_end(nrw_report *report, const char *caption, size_t n,
                           const key_entry *entries)
{
    nrw_markup *out = &report->out;
    nrw_svg_close(out);
    nrw_markup_put(out, "<figcaption>%r<ul class='key'>", caption);
    for (size_t i = 0; i < n; i++)
        nrw_markup_put(out,
                       "<li><svg class='sample' viewBox='0 0 26 10' aria-hidden='true'><path "
                       "class='%r' d='M0 5h26'/></svg>%r</li>",
                       entries[i].class_name, entries[i].text);
    nrw_markup_put(out, "</ul></figcaption></figure>\n");
}

/* --- pictures --------------------------------------------------------------- */

static void put_widths(nrw_report *report, const run_series *series)
{
    static const key_entry key[] = {{"line width", "width of the swarm across the route"},
                                    {"line spread", "spread (twice the radius of gyration)"},
                                    {"line channel", "width of the channel at the centroid"}};
    size_t n = series->n;
    double *const *v = series->values;
    double top = 1.15 * fmax(largest(v[WIDTH], n, 1), largest(v[SPREAD], n, 1));
    nrw_svg_plot plot = plot_of(report, 0, v[TIME][n - 1], 0, top);
    nrw_markup_put(&report->out, "<figure>");
    nrw_svg_open(&report->out, "widths", PICTURE_WIDTH, PICTURE_HEIGHT,
                 "Width and spread of the swarm against time",
                 "Two lines over the time of the run, with the legs as bands and the width of the "
                 "channel where the swarm is; the table below has the values.");
    put_legs(report, &plot);
    nrw_svg_axis_y(&plot, "µm");
    nrw_svg_line(&plot, "line channel", n, v[TIME], v[CHANNEL]);
    nrw_svg_line(&plot, "line spread", n, v[TIME], v[SPREAD]);
    nrw_svg_line(&plot, "line width", n, v[TIME], v[WIDTH]);
    nrw_svg_axis_x(&plot, "time, s");
    put_figure_end(
        report, "Shape against time. Where the channel is wider than the axis its line is cut off.",
        3, key);
}

static void put_throat_bands(nrw_report *report, const nrw_svg_plot *plot)
{
    size_t n_throats = 0;
    const nrw_throat *throats = nrw_channel_throats(report->in->channel, &n_throats);
    for (size_t i = 0; i < n_throats; i++) {
        nrw_svg_band_y(plot, "throat", throats[i].entry_um, throats[i].exit_um);
        nrw_markup_put(plot->out, "<text class='note' x='%c' y='%c'>throat %z</text>",
                       plot->left + 6,
                       nrw_svg_y(plot, (throats[i].entry_um + throats[i].exit_um) / 2) + 4, i + 1);
    }
}

static void put_progress(nrw_report *report, const run_series *series)
{
    static const key_entry key[] = {{"line front", "front (95 % are behind it)"},
                                    {"line centroid", "centroid"},
                                    {"line tail", "tail (5 % are behind it)"}};
    const nrw_scenario *scenario = report->in->scenario;
    size_t n = series->n;
    double *const *v = series->values;
    double target = nrw_channel_route_length_um(report->in->channel);
    double low = smallest(v[TAIL], n, -0.05 * target);
    double high = fmax(largest(v[FRONT], n, target), target + scenario->target.radius_um);
    nrw_svg_plot plot = plot_of(report, 0, v[TIME][n - 1], low, high + 0.08 * (high - low));
    nrw_markup_put(&report->out, "<figure>");
    nrw_svg_open(&report->out, "progress", PICTURE_WIDTH, PICTURE_HEIGHT,
                 "Position along the route against time",
                 "Front, centroid and tail of the swarm along the route over time; throats and the "
                 "target as bands across.");
    put_legs(report, &plot);
    nrw_svg_band_y(&plot, "target-band", target - scenario->target.radius_um,
                   target + scenario->target.radius_um);
    put_throat_bands(report, &plot);
    nrw_markup_put(plot.out, "<text class='note' x='%c' y='%c'>target</text>", plot.left + 6,
                   nrw_svg_y(&plot, target) + 4);
    nrw_svg_axis_y(&plot, "µm along the route");
    nrw_svg_area(&plot, "body-fill", n, v[TIME], v[TAIL], v[FRONT]);
    nrw_svg_line(&plot, "line tail", n, v[TIME], v[TAIL]);
    nrw_svg_line(&plot, "line front", n, v[TIME], v[FRONT]);
    nrw_svg_line(&plot, "line centroid", n, v[TIME], v[CENTROID]);
    nrw_svg_axis_x(&plot, "time, s");
    put_figure_end(report,
                   "The way against time: a flat stretch is a standstill, a wide body a "
                   "drawn-out swarm.",
                   3, key);
}

static void put_cluster(nrw_report *report, const run_series *series)
{
    static const key_entry key[] = {{"line cluster", "share of the particles in it"}};
    double *const *v = series->values;
    nrw_svg_plot plot = plot_of(report, 0, v[TIME][series->n - 1], 0, 1.12);
    nrw_markup_put(&report->out, "<figure>");
    nrw_svg_open(&report->out, "cluster", PICTURE_WIDTH, PICTURE_HEIGHT,
                 "Largest cluster against time",
                 "Share of the particles that belong to the largest cluster, over time.");
    put_legs(report, &plot);
    nrw_svg_axis_y(&plot, "fraction");
    nrw_svg_line(&plot, "line cluster", series->n, v[TIME], v[CLUSTER]);
    nrw_svg_axis_x(&plot, "time, s");
    put_figure_end(report, "Largest cluster: 1 is a whole swarm, a step down a piece torn off.", 1,
                   key);
}

/* The channel as a silhouette along the route, and how wide the swarm was when
 * its centroid passed there. */
static void put_profile(nrw_report *report, const run_series *series)
{
    enum { STEPS = 240 };
    static const key_entry key[] = {{"line body-edge", "half the swarm’s width, to both sides"},
                                    {"line wall-edge", "half the channel’s width"}};
    double s[STEPS + 1], up[STEPS + 1], down[STEPS + 1];
    double *const *v = series->values;
    size_t n = series->n;
    double length = nrw_channel_route_length_um(report->in->channel);
    double widest = largest(v[WIDTH], n, 1);
    double high = 0.75 * widest;
    for (int i = 0; i <= STEPS; i++) {
        s[i] = length * i / STEPS;
        up[i] = nrw_channel_route_width_um(report->in->channel, s[i]) / 2;
        down[i] = -up[i];
    }
    nrw_svg_plot plot = plot_of(report, 0, length, -high, high);
    nrw_markup_put(&report->out, "<figure>");
    nrw_svg_open(&report->out, "profile", PICTURE_WIDTH, PICTURE_HEIGHT,
                 "Width of the swarm and of the channel along the route",
                 "The channel as a silhouette, and inside it the swarm’s width when its centroid "
                 "was there.");
    nrw_svg_band_y(&plot, "wall", -high, high);
    nrw_svg_area(&plot, "fluid", STEPS + 1, s, down, up);
    nrw_svg_line(&plot, "line wall-edge", STEPS + 1, s, up);
    nrw_svg_line(&plot, "line wall-edge", STEPS + 1, s, down);
    nrw_svg_axis_y(&plot, "µm from the centreline");
    nrw_svg_area(&plot, "body-fill", n, v[ON_ROUTE], v[LOWER], v[UPPER]);
    nrw_svg_line(&plot, "line body-edge", n, v[ON_ROUTE], v[UPPER]);
    nrw_svg_line(&plot, "line body-edge", n, v[ON_ROUTE], v[LOWER]);
    nrw_svg_axis_x(&plot, "µm along the route");
    put_figure_end(report,
                   "The squeeze: the swarm’s width where its centroid passes. Widths of "
                   "the channel beyond the axis are cut off.",
                   2, key);
}

static void put_rows(nrw_report *report, const run_series *series)
{
    static const char *const heads[] = {"Time, s",    "Leg",         "Width, µm",
                                        "Spread, µm", "Front, µm",   "Centroid, µm",
                                        "Tail, µm",   "Channel, µm", "Largest cluster"};
    const nrw_run_result *run = report->in->run;
    double *const *v = series->values;
    size_t stride = nrw_report_stride(series->n);
    nrw_report_data_begin(report,
                          stride > 1 ? "frames of all four pictures, thinned out (all of them are "
                                       "in morphology.csv)"
                                     : "frames of all four pictures",
                          9, heads);
    for (size_t i = 0; i < series->n; i += stride)
        nrw_markup_put(&report->out,
                       "<tr><th scope='row'>%n</th><td>%s</td><td>%n</td><td>%n</td><td>%n</td>"
                       "<td>%n</td><td>%n</td><td>%n</td><td>%p</td></tr>\n",
                       v[TIME][i], report->in->schedule->legs[run->frames[i].leg].name, v[WIDTH][i],
                       v[SPREAD][i], v[FRONT][i], v[CENTROID][i], v[TAIL][i], v[CHANNEL][i],
                       v[CLUSTER][i]);
    nrw_report_data_end(report);
}

void nrw_report_time(nrw_report *report)
{
    run_series series;
    if (!report->in->run || !report->in->channel || report->in->run->n_frames == 0)
        return;
    if (!take_series(report->in, &series)) {
        report->out.failed = true;
        return;
    }
    nrw_report_section(report, "time", "Course");
    nrw_markup_put(&report->out, "<div class='pairs'>\n");
    put_widths(report, &series);
    put_progress(report, &series);
    put_cluster(report, &series);
    put_profile(report, &series);
    put_rows(report, &series);
    nrw_markup_put(&report->out, "</div>\n");
    nrw_report_section_end(report);
    free(series.block);
}
