/* The channel's map with the whole passage on it. */
#include "report_map.h"

#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "../sim/doublet.h"
#include "svg.h"

double nrw_map_view_x(const nrw_map_view *view, double x_um)
{
    return view->scale * (x_um - view->x_um);
}

double nrw_map_view_y(const nrw_map_view *view, double y_um)
{
    return view->height - view->scale * (y_um - view->y_um);
}

nrw_map_view nrw_map_view_of_box(const double box_um[4], double width, double height)
{
    double wide = fmax(box_um[2] - box_um[0], 1e-6), high = fmax(box_um[3] - box_um[1], 1e-6);
    double scale = fmin(width / wide, height / high);
    return (nrw_map_view){.x_um = (box_um[0] + box_um[2]) / 2 - width / scale / 2,
                          .y_um = (box_um[1] + box_um[3]) / 2 - height / scale / 2,
                          .scale = scale,
                          .width = width,
                          .height = height};
}

/* --- the channel's shape ---------------------------------------------------- */

static int compare_starts(const void *a, const void *b)
{
    const nrw_wall_segment *p = *(const nrw_wall_segment *const *)a;
    const nrw_wall_segment *q = *(const nrw_wall_segment *const *)b;
    if (p->a_um[0] < q->a_um[0] || p->a_um[0] > q->a_um[0])
        return p->a_um[0] < q->a_um[0] ? -1 : 1;
    return (p->a_um[1] > q->a_um[1]) - (p->a_um[1] < q->a_um[1]);
}

/* Segments sorted by their start, and which of them are drawn. */
typedef struct wall_chain {
    const nrw_wall_segment **sorted; /* (n) */
    bool *used;                      /* (n) */
    size_t n;
} wall_chain;

/* A segment not yet drawn that starts where another ends; n if there is none. */
static size_t find_next(const wall_chain *chain, const double end_um[2])
{
    const double same_um = 1e-3;
    size_t low = 0, high = chain->n;
    while (low < high) {
        size_t middle = (low + high) / 2;
        if (chain->sorted[middle]->a_um[0] < end_um[0] - same_um)
            low = middle + 1;
        else
            high = middle;
    }
    for (; low < chain->n && chain->sorted[low]->a_um[0] <= end_um[0] + same_um; low++)
        if (!chain->used[low] && fabs(chain->sorted[low]->a_um[1] - end_um[1]) <= same_um)
            return low;
    return chain->n;
}

/* Joins the pieces end to end into closed loops, so that they can be filled. */
static void put_loops(nrw_markup *out, wall_chain *chain)
{
    for (size_t first = 0; first < chain->n; first++) {
        if (chain->used[first])
            continue;
        nrw_markup_put(out, "M%c %c", chain->sorted[first]->a_um[0], chain->sorted[first]->a_um[1]);
        for (size_t i = first; i < chain->n; i = find_next(chain, chain->sorted[i]->b_um)) {
            chain->used[i] = true;
            nrw_markup_put(out, "L%c %c", chain->sorted[i]->b_um[0], chain->sorted[i]->b_um[1]);
        }
        nrw_markup_put(out, "Z");
    }
}

static bool has_walls(const nrw_report_input *in)
{
    return in->channel && !nrw_channel_is_open(in->channel);
}

void nrw_report_map_define(nrw_report *report)
{
    nrw_markup *out = &report->out;
    if (!has_walls(report->in))
        return;
    wall_chain chain = {NULL, NULL, 0};
    const nrw_wall_segment *segments = nrw_channel_outline(report->in->channel, &chain.n);
    chain.sorted = calloc(chain.n + 1, sizeof(nrw_wall_segment *));
    chain.used = calloc(chain.n + 1, sizeof *chain.used);
    if (chain.sorted && chain.used) {
        for (size_t i = 0; i < chain.n; i++)
            chain.sorted[i] = &segments[i];
        qsort((void *)chain.sorted, chain.n, sizeof *chain.sorted, compare_starts);
        nrw_markup_put(out, "<svg class='hidden' width='0' height='0' aria-hidden='true'><defs>"
                            "<path id='channel-shape' fill-rule='evenodd' d='");
        put_loops(out, &chain);
        nrw_markup_put(out, "'/></defs></svg>\n");
    } else {
        out->failed = true;
    }
    free((void *)chain.sorted);
    free(chain.used);
}

/* --- ground ----------------------------------------------------------------- */

static void put_circle(nrw_markup *out, const nrw_map_view *view, const char *class_name,
                       const nrw_place *place)
{
    nrw_markup_put(out, "<circle class='%r' cx='%c' cy='%c' r='%c'/>", class_name,
                   nrw_map_view_x(view, place->at_um[0]), nrw_map_view_y(view, place->at_um[1]),
                   view->scale * place->radius_um);
}

static void put_route(nrw_report *report, const nrw_map_view *view)
{
    enum { STEPS = 200 };
    double length = nrw_channel_route_length_um(report->in->channel);
    nrw_markup_put(&report->out, "<path class='route' d='");
    for (int i = 0; i <= STEPS; i++) {
        double at[2];
        nrw_channel_route_point(report->in->channel, length * i / STEPS, at, NULL);
        nrw_markup_put(&report->out, i ? "L%c %c" : "M%c %c", nrw_map_view_x(view, at[0]),
                       nrw_map_view_y(view, at[1]));
    }
    nrw_markup_put(&report->out, "'/>");
}

void nrw_report_map_ground(nrw_report *report, const nrw_map_view *view)
{
    const nrw_scenario *scenario = report->in->scenario;
    nrw_markup *out = &report->out;
    bool walls = has_walls(report->in);
    nrw_markup_put(out, "<rect class='%r' width='%c' height='%c'/>", walls ? "wall" : "fluid",
                   view->width, view->height);
    if (walls)
        nrw_markup_put(out,
                       "<g transform='matrix(%f 0 0 %f %f %f)' stroke-width='%f'>"
                       "<use class='fluid edged' href='#channel-shape'/></g>",
                       view->scale, -view->scale, nrw_map_view_x(view, 0), nrw_map_view_y(view, 0),
                       1.2 / view->scale);
    if (report->in->channel)
        put_route(report, view);
    for (size_t i = 0; i < scenario->goal.n_no_go; i++)
        put_circle(out, view, "no-go", &scenario->goal.no_go[i]);
    if (scenario->has_release)
        put_circle(out, view, "release", &scenario->release);
    put_circle(out, view, "target", &scenario->target);
    nrw_markup_put(out, "\n");
}

/* --- particles -------------------------------------------------------------- */

void nrw_report_map_position(const nrw_run_result *run, size_t stored, size_t particle,
                             double at_um[2])
{
    if (stored == NRW_MAP_FINAL) {
        at_um[0] = run->x_um[particle];
        at_um[1] = run->y_um[particle];
        return;
    }
    const float *at = run->trajectory_um + 3 * (stored * run->n_particles + particle);
    at_um[0] = (double)at[0];
    at_um[1] = (double)at[1];
}

size_t nrw_report_dots_each(const nrw_report_input *in)
{
    return in->run->trajectory_axis && in->run->n_stored > 0 ? 2 : 1;
}

double nrw_report_dot_share(const nrw_report_input *in)
{
    return nrw_report_dots_each(in) > 1
               ? nrw_doublet_shape_of(in->scenario->particles.shape.aspect).lobe
               : 1.0;
}

void nrw_report_dot(const nrw_report_input *in, size_t stored, size_t dot, double at_um[2])
{
    const nrw_run_result *run = in->run;
    const size_t each = nrw_report_dots_each(in), particle = dot / each;
    nrw_report_map_position(run, stored, particle, at_um);
    if (each == 1)
        return;
    /* the last stored positions are those of the end */
    const size_t at = stored == NRW_MAP_FINAL ? run->n_stored - 1 : stored;
    const float *axis = run->trajectory_axis + 3 * (at * run->n_particles + particle);
    const double half = nrw_doublet_shape_of(in->scenario->particles.shape.aspect).half *
                        run->radius_um[particle] * (dot % 2 ? -1.0 : 1.0);
    at_um[0] += half * (double)axis[0];
    at_um[1] += half * (double)axis[1];
}

/* Sizes are drawn in classes of a tenth of the nominal radius. */
static int size_class(const nrw_report *report, size_t particle)
{
    double nominal = report->in->scenario->particles.diameter_um / 2;
    return (int)lround(10 * report->in->run->radius_um[particle] / nominal);
}

static bool in_view(const nrw_map_view *view, double x, double y)
{
    return x >= 0 && y >= 0 && x <= view->width && y <= view->height;
}

/* The dots of one fate and size: their places as one path, drawn twice. A
 * subpath without length and with round caps is a dot of the stroke's width.
 * What was lost is drawn as rings, so that it shows in grey as well. */
static void put_dots(nrw_report *report, const nrw_map_view *view, const char *id, size_t stored,
                     nrw_fate fate, int size)
{
    const double smallest = 1.6, core = 0.76, hole = 0.46;
    const nrw_run_result *run = report->in->run;
    nrw_markup *out = &report->out;
    bool delivered = fate == NRW_FATE_DELIVERED, any = false;
    double width = view->scale * size / 10 * report->in->scenario->particles.diameter_um *
                   nrw_report_dot_share(report->in);
    const size_t each = nrw_report_dots_each(report->in);
    const char *name = nrw_fate_name(fate);
    for (size_t i = 0; i < run->n_particles * each; i++) {
        double at[2];
        if (run->fates[i / each] != fate || size_class(report, i / each) != size)
            continue;
        nrw_report_dot(report->in, stored, i, at);
        double x = nrw_map_view_x(view, at[0]), y = nrw_map_view_y(view, at[1]);
        if (!in_view(view, x, y))
            continue;
        if (!any)
            nrw_markup_put(out, "<defs><path id='%r-%d-%d' d='", id, (int)fate, size);
        any = true;
        nrw_markup_put(out, "M%c %ch0", x, y);
    }
    if (!any)
        return;
    bool large = width > 2 * smallest, edged = delivered && large;
    nrw_markup_put(out, "'/></defs><use class='dots %r%r' stroke-width='%c' href='#%r-%d-%d'/>",
                   edged ? "edge" : "fate-", edged ? "" : name, fmax(smallest, width), id,
                   (int)fate, size);
    if (large)
        nrw_markup_put(out, "<use class='dots %r%r' stroke-width='%c' href='#%r-%d-%d'/>",
                       delivered ? "fate-" : "hole", delivered ? name : "",
                       width * (delivered ? core : hole), id, (int)fate, size);
}

size_t nrw_report_map_particles(nrw_report *report, const nrw_map_view *view, const char *id,
                                size_t stored)
{
    const nrw_run_result *run = report->in->run;
    size_t outside = 0;
    int smallest = INT32_MAX, largest = 0;
    for (size_t i = 0; i < run->n_particles; i++) {
        double at[2];
        int size = size_class(report, i);
        smallest = size < smallest ? size : smallest;
        largest = size > largest ? size : largest;
        nrw_report_map_position(run, stored, i, at);
        outside += !in_view(view, nrw_map_view_x(view, at[0]), nrw_map_view_y(view, at[1]));
    }
    /* The delivered first: those that are lost must stay visible. */
    for (int f = 0; f < NRW_N_FATES; f++) {
        int fate = f == 0 ? NRW_FATE_DELIVERED : f <= (int)NRW_FATE_DELIVERED ? f - 1 : f;
        for (int size = smallest; size <= largest; size++)
            put_dots(report, view, id, stored, (nrw_fate)fate, size);
    }
    nrw_markup_put(&report->out, "\n");
    return outside;
}

/* Whether the result says that not even one particle gets through. */
static bool is_blocked(const nrw_report *report)
{
    const char *condition = nrw_report_string(report, "figures.conditions.0.condition");
    return condition && strcmp(condition, "geometry") == 0 &&
           !nrw_result_get_bool(report->in->result, "figures.conditions.0.holds");
}

/* --- labels ----------------------------------------------------------------- */

enum { MOST_LABELS = 24, LABEL_HEIGHT = 14, MOST_MOMENTS = 9 };

/* Left, baseline and width of a text on the picture. */
typedef struct map_label {
    double x, y, width;
    char text[96];
} map_label;

typedef struct map_labels {
    map_label items[MOST_LABELS];
    size_t n;
    nrw_moment moments[MOST_MOMENTS]; /* frames of these are drawn as well */
    size_t n_moments;
} map_labels;

static bool overlap(const map_label *a, const map_label *b)
{
    return a->x < b->x + b->width + 6 && b->x < a->x + a->width + 6 &&
           fabs(a->y - b->y) < LABEL_HEIGHT + 2;
}

/* Whether an edge of a moment's frame runs through the label. */
static bool on_edge(const nrw_map_view *view, const nrw_moment *moment, const map_label *label)
{
    double left = nrw_map_view_x(view, moment->box_um[0]);
    double right = nrw_map_view_x(view, moment->box_um[2]);
    double top = nrw_map_view_y(view, moment->box_um[3]);
    double bottom = nrw_map_view_y(view, moment->box_um[1]);
    double label_right = label->x + label->width, label_top = label->y - LABEL_HEIGHT;
    bool meets = label->x < right && left < label_right && label_top < bottom && top < label->y + 3;
    bool inside =
        label->x > left && label_right < right && label_top > top && label->y + 3 < bottom;
    return meets && !inside;
}

/* How bad a place is: off the picture and on other labels above all, then on
 * the edges of frames and on the fluid, where the swarm is drawn. */
static double badness(const nrw_report *report, const nrw_map_view *view, const map_labels *labels,
                      const map_label *label)
{
    enum { SAMPLES = 5 };
    const double never = 100, on_frame = 2, on_fluid = 1;
    double bad = 0;
    if (label->x < 2 || label->x + label->width > view->width - 2 || label->y < LABEL_HEIGHT ||
        label->y > view->height - 4)
        bad += never;
    for (size_t i = 0; i < labels->n; i++)
        bad += overlap(label, &labels->items[i]) ? never : 0;
    for (size_t i = 0; i < labels->n_moments; i++)
        bad += on_edge(view, &labels->moments[i], label) ? on_frame : 0;
    for (int i = 0; i < SAMPLES && has_walls(report->in); i++) {
        double x = label->x + label->width * i / (SAMPLES - 1);
        double y = label->y - LABEL_HEIGHT / 3.0;
        if (nrw_channel_distance_um(report->in->channel, view->x_um + x / view->scale,
                                    view->y_um + (view->height - y) / view->scale, NULL) > 0)
            bad += on_fluid;
    }
    return bad;
}

/* Puts a text beside a point, `clear` units from it, in the best of eight
 * directions and three distances. */
static void add_label(const nrw_report *report, const nrw_map_view *view, map_labels *labels,
                      const double at_um[2], double clear, const char *text)
{
    static const int directions[8][2] = {{0, 1}, {0, -1}, {1, 0},  {-1, 0},
                                         {1, 1}, {-1, 1}, {1, -1}, {-1, -1}};
    if (labels->n == MOST_LABELS)
        return;
    map_label best = {.width = nrw_svg_text_width(text)};
    double least = INFINITY;
    (void)snprintf(best.text, sizeof best.text, "%s", text);
    for (int i = 0; i < 24; i++) {
        const int *d = directions[i % 8];
        double reach = (clear + 6 + 14 * (i / 8)) * (d[0] && d[1] ? 0.75 : 1);
        map_label label = best;
        label.x = nrw_map_view_x(view, at_um[0]) + d[0] * reach + (d[0] - 1) * label.width / 2;
        label.y = nrw_map_view_y(view, at_um[1]) - d[1] * reach + 4 - 5 * d[1];
        /* nearer is better where nothing else tells */
        double bad = badness(report, view, labels, &label) + 0.3 * (i / 8);
        if (bad < least) {
            least = bad;
            best = label;
        }
    }
    labels->items[labels->n++] = best;
}

static void put_labels(nrw_report *report, const nrw_map_view *view)
{
    const nrw_scenario *scenario = report->in->scenario;
    char text[96], width[NRW_FIGURE_SIZE];
    size_t n_throats = 0;
    map_labels labels = {.n = 0};
    if (report->in->run)
        labels.n_moments = nrw_report_moments_choose(report->in, MOST_MOMENTS, labels.moments);
    if (has_walls(report->in) && !is_blocked(report)) {
        const nrw_throat *throats = nrw_channel_throats(report->in->channel, &n_throats);
        for (size_t i = 0; i < n_throats; i++) {
            (void)snprintf(text, sizeof text, "throat %zu: %s µm", i + 1,
                           nrw_figure_text(throats[i].narrowest_um, width));
            add_label(report, view, &labels, throats[i].at_um,
                      view->scale * throats[i].narrowest_um / 2 + 8, text);
        }
    }
    if (scenario->has_release)
        add_label(report, view, &labels, scenario->release.at_um,
                  view->scale * scenario->release.radius_um, "release");
    add_label(report, view, &labels, scenario->target.at_um,
              view->scale * scenario->target.radius_um, "target");
    for (size_t i = 0; i < labels.n; i++)
        nrw_markup_put(&report->out, "<text x='%c' y='%c'>%s</text>\n", labels.items[i].x,
                       labels.items[i].y, labels.items[i].text);
}

/* --- the figure ------------------------------------------------------------- */

/* What is worth showing: the walls, or in an open map the job and the swarm. */
static void bounds_of(const nrw_report *report, double box_um[4])
{
    const nrw_report_input *in = report->in;
    const double room = 0.03;
    nrw_channel_bounds(in->channel, box_um);
    if (nrw_channel_is_open(in->channel) && in->run)
        for (size_t i = 0; i < in->run->n_particles; i++) {
            box_um[0] = fmin(box_um[0], in->run->x_um[i]);
            box_um[1] = fmin(box_um[1], in->run->y_um[i]);
            box_um[2] = fmax(box_um[2], in->run->x_um[i]);
            box_um[3] = fmax(box_um[3], in->run->y_um[i]);
        }
    double margin = room * fmax(box_um[2] - box_um[0], box_um[3] - box_um[1]) +
                    in->scenario->particles.diameter_um;
    for (int k = 0; k < 2; k++) {
        box_um[k] -= margin;
        box_um[k + 2] += margin;
    }
}

static nrw_map_view overview(const double box_um[4])
{
    const double width = 920, most_height = 520, least_height = 120;
    double height = width * (box_um[3] - box_um[1]) / (box_um[2] - box_um[0]);
    return nrw_map_view_of_box(box_um, width, fmin(fmax(height, least_height), most_height));
}

static void put_moment_boxes(nrw_report *report, const nrw_map_view *view)
{
    nrw_moment moments[MOST_MOMENTS];
    size_t n = nrw_report_moments_choose(report->in, MOST_MOMENTS, moments);
    for (size_t i = 0; i < n; i++) {
        const double *box = moments[i].box_um;
        double left = nrw_map_view_x(view, box[0]), top = nrw_map_view_y(view, box[3]);
        nrw_markup_put(&report->out,
                       "<rect class='frame' x='%c' y='%c' width='%c' height='%c' rx='3'/>"
                       "<text class='badge' x='%c' y='%c'>%d</text>",
                       left, top, view->scale * (box[2] - box[0]), view->scale * (box[3] - box[1]),
                       fmax(left + 3, 3),
                       fmin(top + view->scale * (box[3] - box[1]) + 13, view->height - 4),
                       (int)i + 1);
    }
}

static void put_loss_marks(nrw_report *report, const nrw_map_view *view)
{
    const nrw_run_result *run = report->in->run;
    for (size_t i = 0; i < run->n_losses && i < 26; i++) {
        double x = nrw_map_view_x(view, run->losses[i].at_um[0]);
        double y = nrw_map_view_y(view, run->losses[i].at_um[1]);
        char letter[2] = {(char)('A' + (int)i), '\0'};
        nrw_markup_put(&report->out,
                       "<g class='loss'><path d='M%c %cl8 8m0 -8l-8 8'/><text class='halo' x='%c' "
                       "y='%c'>%r</text><text x='%c' y='%c'>%r</text></g>",
                       x - 4, y - 4, x + 6, y - 5, letter, x + 6, y - 5, letter);
    }
}

/* Where those lie that were lost over all trials: as large as their share. */
static void put_trial_losses(nrw_report *report, const nrw_map_view *view)
{
    size_t n = nrw_report_size(report, "figures.losses.exits");
    for (size_t i = 0; i < n; i++) {
        double percent = nrw_report_number(report, "figures.losses.exits.%zu.percent", i);
        double x = nrw_report_number(report, "figures.losses.exits.%zu.at_um.0", i);
        double y = nrw_report_number(report, "figures.losses.exits.%zu.at_um.1", i);
        nrw_fate fate =
            nrw_report_fate_named(nrw_report_string(report, "figures.losses.exits.%zu.fate", i));
        if (isnan(percent) || isnan(x) || isnan(y) || fate == NRW_N_FATES)
            continue;
        nrw_markup_put(&report->out, "<circle class='lost-mark lost-%r' cx='%c' cy='%c' r='%c'/>",
                       nrw_fate_name(fate), nrw_map_view_x(view, x), nrw_map_view_y(view, y),
                       3 + 3 * sqrt(percent));
    }
}

/* --- what stops the job ------------------------------------------------------- */

/* A ring around the narrowest place of the widest way, with what fits there. */
static void put_blockage(nrw_report *report, const nrw_map_view *view)
{
    double at[2], width = nrw_channel_widest_path_um(report->in->channel, at);
    if (isnan(at[0]) || isnan(width) || isinf(width))
        return;
    char fits[NRW_FIGURE_SIZE], text[2 * NRW_FIGURE_SIZE + 40], size[NRW_FIGURE_SIZE];
    double x = nrw_map_view_x(view, at[0]), y = nrw_map_view_y(view, at[1]);
    (void)snprintf(text, sizeof text, "stops here: %s µm, a particle is %s µm",
                   nrw_figure_text(width, fits),
                   nrw_figure_text(report->in->scenario->particles.diameter_um, size));
    double half = nrw_svg_text_width(text) / 2;
    double middle = fmin(fmax(x, half + 6), view->width - half - 6);
    bool above = y > 64;
    nrw_markup_put(&report->out,
                   "<circle class='blockage' cx='%c' cy='%c' r='19'/>"
                   "<text class='halo stop-halo' x='%c' y='%c' text-anchor='middle'>%s</text>"
                   "<text class='stop' x='%c' y='%c' text-anchor='middle'>%s</text>\n",
                   x, y, middle, above ? y - 28 : y + 40, text, middle, above ? y - 28 : y + 40,
                   text);
}

/* Where the channel itself could not be built: the vessels as they are in the file. */
static void put_sketch(nrw_report *report)
{
    const nrw_scenario *scenario = report->in->scenario;
    nrw_markup *out = &report->out;
    double box[4] = {INFINITY, INFINITY, -INFINITY, -INFINITY};
    const nrw_map *map = &scenario->map;
    for (size_t i = 0; i < map->n_nodes; i++)
        for (int k = 0; k < 2; k++) {
            box[k] = fmin(box[k], map->nodes[i].at_um[k]);
            box[k + 2] = fmax(box[k + 2], map->nodes[i].at_um[k]);
        }
    if (!(box[2] >= box[0]))
        return;
    double margin = 0.1 * fmax(box[2] - box[0], box[3] - box[1]) + scenario->target.radius_um;
    nrw_map_view view = overview(
        (const double[4]){box[0] - margin, box[1] - margin, box[2] + margin, box[3] + margin});
    nrw_report_section(report, "map", "The way");
    nrw_markup_put(out, "<figure class='wide'><div class='scroll' tabindex='0' role='region' "
                        "aria-label='Map of the channel'>\n");
    nrw_svg_open(out, "map-picture", view.width, view.height, "Sketch of the channel",
                 "Centrelines of the vessels, their nodes, release and target; the walls could not "
                 "be drawn up.");
    nrw_markup_put(out, "<rect class='fluid' width='%c' height='%c'/>", view.width, view.height);
    for (size_t i = 0; i < map->n_vessels; i++) {
        const nrw_vessel *vessel = &map->vessels[i];
        const double *a = map->nodes[vessel->from].at_um, *b = map->nodes[vessel->to].at_um;
        nrw_markup_put(out, "<path class='vessel' d='M%c %c", nrw_map_view_x(&view, a[0]),
                       nrw_map_view_y(&view, a[1]));
        for (size_t k = 0; k < vessel->n_via; k++)
            nrw_markup_put(out, "L%c %c", nrw_map_view_x(&view, vessel->via_um[k][0]),
                           nrw_map_view_y(&view, vessel->via_um[k][1]));
        nrw_markup_put(out, "L%c %c'/>", nrw_map_view_x(&view, b[0]), nrw_map_view_y(&view, b[1]));
    }
    if (scenario->has_release)
        put_circle(out, &view, "release", &scenario->release);
    put_circle(out, &view, "target", &scenario->target);
    put_labels(report, &view);
    nrw_svg_scale_bar(out, view.width - 14, view.height - 12, view.scale, 160);
    nrw_svg_close(out);
    nrw_markup_put(out,
                   "</div>\n<figcaption>The vessels’ centrelines as the file has them. The "
                   "channel could not be built: the warnings say why.</figcaption></figure>\n");
    nrw_report_section_end(report);
}

static void put_throat_rows(nrw_report *report)
{
    static const char *const heads[] = {"Throat",        "Entered at, µm",        "Left at, µm",
                                        "Narrowest, µm", "Of the gathered swarm", "At, µm"};
    size_t n = 0;
    if (!has_walls(report->in))
        return;
    const nrw_throat *throats = nrw_channel_throats(report->in->channel, &n);
    double gathered = nrw_scenario_gathered_diameter_um(report->in->scenario);
    if (n == 0)
        return;
    nrw_report_data_begin(report, "throats, positions along the route", 6, heads);
    for (size_t i = 0; i < n; i++)
        nrw_markup_put(&report->out,
                       "<tr><th scope='row'>%z</th><td>%n</td><td>%n</td><td>%n</td><td>%n</td>"
                       "<td>(%n, %n)</td></tr>\n",
                       i + 1, throats[i].entry_um, throats[i].exit_um, throats[i].narrowest_um,
                       throats[i].narrowest_um / gathered, throats[i].at_um[0],
                       throats[i].at_um[1]);
    nrw_report_data_end(report);
}

static void put_key(nrw_report *report)
{
    const nrw_run_result *run = report->in->run;
    nrw_markup_put(&report->out, "<ul class='key'>");
    for (int i = 0; run && i < NRW_N_FATES; i++)
        if (run->fate_fraction[i] > 0)
            nrw_markup_put(&report->out, "<li><i class='fate-%r'></i>%r</li>",
                           nrw_fate_name((nrw_fate)i), nrw_report_fate_word((nrw_fate)i));
    nrw_markup_put(&report->out, "</ul>");
}

/* What lies on the ground: the end of a run, losses of trials, or what stops the job. */
static void put_contents(nrw_report *report, const nrw_map_view *view)
{
    if (report->in->run) {
        put_moment_boxes(report, view);
        (void)nrw_report_map_particles(report, view, "end", NRW_MAP_FINAL);
        put_loss_marks(report, view);
    } else {
        put_trial_losses(report, view);
    }
}

static const char *description_of(const nrw_report *report)
{
    if (report->in->run)
        return "Channel walls, the route from release to target, throats with their widths, and "
               "every particle where it is at the end, coloured by its fate. Numbered frames are "
               "the moments shown below; lettered crosses are the losses of the table.";
    if (is_blocked(report))
        return "Channel walls, the route from release to target, throats with their widths, and a "
               "ring where the job ends: no particle fits through.";
    return "Channel walls, the route from release to target, and throats with their widths; discs "
           "where particles were lost over all trials, larger for more.";
}

static const char *caption_of(const nrw_report *report)
{
    if (report->in->run)
        return "The whole map, with the particles where they are at the end. Numbered frames: the "
               "moments below. Lettered crosses: where particles were lost.";
    if (is_blocked(report))
        return "The whole map. Ring: the narrowest place of the widest way; no particle passes it.";
    if (nrw_report_size(report, "figures.losses.exits") > 0)
        return "The whole map. Discs: where particles were lost, over all trials; the larger, the "
               "more.";
    return "The whole map.";
}

static const char *title_of(const nrw_report *report)
{
    return report->in->run ? "Map of the channel with the swarm at its end" : "Map of the channel";
}

void nrw_report_map(nrw_report *report)
{
    nrw_markup *out = &report->out;
    if (!report->in->channel) {
        put_sketch(report);
        return;
    }
    double box[4];
    bounds_of(report, box);
    nrw_map_view view = overview(box);
    nrw_report_section(report, "map", "The way");
    nrw_report_map_define(report);
    if (report->in->run && nrw_report_is(report, "plan"))
        nrw_markup_put(out, "<p class='quiet'>These and the following pictures show one run of the "
                            "plan, with nominal properties.</p>\n");
    nrw_markup_put(out, "<figure class='wide'><div class='scroll' tabindex='0' role='region' "
                        "aria-label='Map of the channel'>\n");
    nrw_svg_open(out, "map-picture", view.width, view.height, title_of(report),
                 description_of(report));
    nrw_report_map_ground(report, &view);
    put_contents(report, &view);
    nrw_svg_scale_bar(out, view.width - 14, view.height - 12, view.scale, 160);
    put_labels(report, &view);
    if (is_blocked(report))
        put_blockage(report, &view);
    nrw_svg_close(out);
    nrw_markup_put(out, "</div>\n<figcaption>%r", caption_of(report));
    put_key(report);
    nrw_markup_put(out, "</figcaption>\n");
    put_throat_rows(report);
    nrw_markup_put(out, "</figure>\n");
    nrw_report_section_end(report);
}
