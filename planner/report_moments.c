/* The swarm at telling moments: release, mouth, throat, target. */
#include "report_map.h"

#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "svg.h"

/* --- choosing --------------------------------------------------------------- */

static size_t nearest_stored(const nrw_run_result *run, double time_s)
{
    size_t best = 0;
    for (size_t i = 1; i < run->n_stored; i++)
        if (fabs(run->trajectory_time_s[i] - time_s) < fabs(run->trajectory_time_s[best] - time_s))
            best = i;
    return best;
}

static size_t nearest_frame(const nrw_run_result *run, double time_s)
{
    size_t best = SIZE_MAX;
    for (size_t i = 0; i < run->n_frames; i++)
        if (best == SIZE_MAX ||
            fabs(run->frames[i].time_s - time_s) < fabs(run->frames[best].time_s - time_s))
            best = i;
    return best;
}

static int compare_numbers(const void *a, const void *b)
{
    double p = *(const double *)a, q = *(const double *)b;
    return (p > q) - (p < q);
}

/* Box around the middle 94 % in x and in y, and a little more: strays don't
 * shrink the swarm to nothing. */
static void box_of(const nrw_report_input *in, nrw_moment *moment)
{
    const double left_out = 0.03, room = 4;
    const nrw_run_result *run = in->run;
    size_t n = run->n_particles;
    double *values = malloc((n ? n : 1) * sizeof *values);
    for (int k = 0; k < 2; k++) {
        for (size_t i = 0; values && i < n; i++) {
            double at[2];
            nrw_report_map_position(run, moment->stored, i, at);
            values[i] = at[k];
        }
        if (values && n > 0) {
            qsort(values, n, sizeof *values, compare_numbers);
            size_t cut = (size_t)(left_out * (double)n);
            moment->box_um[k] = values[cut];
            moment->box_um[k + 2] = values[n - 1 - cut];
        }
        moment->box_um[k] -= room * in->scenario->particles.diameter_um;
        moment->box_um[k + 2] += room * in->scenario->particles.diameter_um;
    }
    free(values);
}

typedef struct moment_list {
    const nrw_report_input *in;
    nrw_moment *items;
    size_t n, most;
} moment_list;

static void add_moment(moment_list *list, const char *name, size_t number, double time_s)
{
    const nrw_run_result *run = list->in->run;
    if (list->n == list->most)
        return;
    nrw_moment *moment = &list->items[list->n];
    memset(moment, 0, sizeof *moment);
    if (number > 0)
        (void)snprintf(moment->name, sizeof moment->name, "%s %zu", name, number);
    else
        (void)snprintf(moment->name, sizeof moment->name, "%s", name);
    moment->stored = run->n_stored ? nearest_stored(run, time_s) : NRW_MAP_FINAL;
    moment->time_s = run->n_stored ? run->trajectory_time_s[moment->stored] : run->time_s;
    moment->frame = nearest_frame(run, moment->time_s);
    /* Moments that fall together are one: the later name says more. */
    if (list->n > 0 && list->items[list->n - 1].stored == moment->stored) {
        list->items[list->n - 1] = *moment;
        moment = &list->items[list->n - 1];
    } else {
        list->n++;
    }
    box_of(list->in, moment);
}

/* When the front is in, the swarm half through and the tail out of a throat;
 * NAN for what did not happen. */
static void throat_times(const nrw_run_result *run, const nrw_throat *throat, double times_s[3])
{
    double middle = throat->at_route_um, nearest = INFINITY;
    times_s[0] = times_s[1] = times_s[2] = NAN;
    for (size_t i = 0; i < run->n_frames; i++) {
        const nrw_frame *frame = &run->frames[i];
        double centre = (frame->seen.front_um + frame->seen.tail_um) / 2;
        if (isnan(times_s[0]) && frame->seen.front_um >= throat->entry_um)
            times_s[0] = frame->time_s;
        if (frame->seen.front_um >= middle && frame->seen.tail_um <= middle &&
            fabs(centre - middle) < nearest) {
            nearest = fabs(centre - middle);
            times_s[1] = frame->time_s;
        }
        if (isnan(times_s[2]) && frame->seen.tail_um >= throat->exit_um)
            times_s[2] = frame->time_s;
    }
}

static void add_throats(moment_list *list, const nrw_throat *throats, size_t n_throats)
{
    /* Three moments for each of few throats, one for each of many. */
    bool few = 3 * n_throats + 2 <= list->most, one = n_throats == 1;
    for (size_t i = 0; i < n_throats && list->n + 1 < list->most; i++) {
        double times_s[3];
        size_t number = one ? 0 : i + 1;
        throat_times(list->in->run, &throats[i], times_s);
        if (few && !isnan(times_s[0]))
            add_moment(list, one ? "At the mouth of the throat" : "At the mouth of throat", number,
                       times_s[0]);
        if (!isnan(times_s[1]))
            add_moment(list, one ? "In the throat" : "In throat", number, times_s[1]);
        if (few && !isnan(times_s[2]))
            add_moment(list, one ? "Past the throat" : "Past throat", number, times_s[2]);
    }
}

size_t nrw_report_moments_choose(const nrw_report_input *in, size_t most, nrw_moment *moments)
{
    moment_list list = {in, moments, 0, most};
    const nrw_run_result *run = in->run;
    size_t n_throats = 0;
    const nrw_throat *throats = in->channel ? nrw_channel_throats(in->channel, &n_throats) : NULL;
    if (run->n_stored > 0) {
        double end_s = run->trajectory_time_s[run->n_stored - 1];
        add_moment(&list, "Release", 0, 0);
        if (n_throats > 0) {
            add_throats(&list, throats, n_throats);
        } else {
            add_moment(&list, "A third of the time", 0, end_s / 3);
            add_moment(&list, "Two thirds", 0, end_s * 2 / 3);
        }
        if (list.n == list.most)
            list.n--;
        add_moment(&list, "The end", 0, end_s);
    } else {
        add_moment(&list, "The end", 0, run->time_s);
    }
    return list.n;
}

/* --- drawing ---------------------------------------------------------------- */

/* One scale for all panels, so that sizes compare: the largest box, but never
 * so large that the particles vanish. */
static double common_side_um(const nrw_report_input *in, const nrw_moment *moments, size_t n)
{
    const double most_gathered = 5, least_gathered = 1.6;
    double gathered = nrw_scenario_gathered_diameter_um(in->scenario);
    double side = least_gathered * gathered;
    for (size_t i = 0; i < n; i++) {
        side = fmax(side, moments[i].box_um[2] - moments[i].box_um[0]);
        side = fmax(side, moments[i].box_um[3] - moments[i].box_um[1]);
    }
    return fmin(side, most_gathered * gathered);
}

static void put_heading_arrow(nrw_markup *out, const nrw_map_view *view, double heading_rad)
{
    const double degrees = 57.29577951308232;
    nrw_markup_put(out,
                   "<g class='heading' transform='translate(%c 24) rotate(%c)'>"
                   "<path d='M-13 0h24m-7 -5l7 5l-7 5'/></g>",
                   view->width - 26, -heading_rad * degrees);
}

static void put_caption(nrw_report *report, const nrw_moment *moment, size_t number, size_t outside)
{
    const nrw_run_result *run = report->in->run;
    nrw_markup *out = &report->out;
    nrw_markup_put(out, "<figcaption><b>%z %r</b> after %n s", number, moment->name,
                   moment->time_s);
    if (moment->frame != SIZE_MAX) {
        const nrw_frame *frame = &run->frames[moment->frame];
        nrw_markup_put(out, ", leg “%s”. Width across %n µm, from tail to front %n µm",
                       report->in->schedule->legs[frame->leg].name, frame->seen.width_across_um,
                       frame->seen.front_um - frame->seen.tail_um);
    }
    if (outside > 0)
        nrw_markup_put(out, "; %z outside the picture", outside);
    nrw_markup_put(out, ".</figcaption>\n");
}

static void put_panel(nrw_report *report, const nrw_moment *moment, size_t number, double side_um)
{
    const double width = 300, height = 240;
    const double *box = moment->box_um;
    char id[32], title[128];
    double cx = (box[0] + box[2]) / 2, cy = (box[1] + box[3]) / 2;
    nrw_map_view view =
        nrw_map_view_of_box((const double[4]){cx - side_um / 2, cy - side_um / 2 * height / width,
                                              cx + side_um / 2, cy + side_um / 2 * height / width},
                            width, height);
    nrw_markup *out = &report->out;
    (void)snprintf(id, sizeof id, "moment-%zu", number);
    (void)snprintf(title, sizeof title, "%zu %.64s", number, moment->name);
    nrw_markup_put(out, "<figure>\n");
    nrw_svg_open(out, id, width, height, title,
                 "The swarm and the channel around it, particles at their true size, coloured by "
                 "their fate at the end; the arrow shows the heading of the drive.");
    nrw_report_map_ground(report, &view);
    size_t outside = nrw_report_map_particles(report, &view, id, moment->stored);
    if (moment->frame != SIZE_MAX)
        put_heading_arrow(out, &view, report->in->run->frames[moment->frame].heading_rad);
    nrw_svg_scale_bar(out, width - 10, height - 10, view.scale, 90);
    nrw_svg_close(out);
    put_caption(report, moment, number, outside);
    nrw_markup_put(out, "</figure>\n");
}

static void put_data(nrw_report *report, const nrw_moment *moments, size_t n)
{
    static const char *const heads[] = {"Moment",    "Time, s",    "Centroid, µm",
                                        "Width, µm", "Spread, µm", "Front, µm",
                                        "Tail, µm",  "Aspect",     "Largest cluster"};
    nrw_report_data_begin(report, "the swarm at these moments", 9, heads);
    for (size_t i = 0; i < n; i++) {
        if (moments[i].frame == SIZE_MAX)
            continue;
        const nrw_morphology *seen = &report->in->run->frames[moments[i].frame].seen;
        nrw_markup_put(&report->out,
                       "<tr><th scope='row'>%z %r</th><td>%n</td><td>(%n, %n)</td><td>%n</td>"
                       "<td>%n</td><td>%n</td><td>%n</td><td>%n</td><td>%p</td></tr>\n",
                       i + 1, moments[i].name, moments[i].time_s, seen->x_um, seen->y_um,
                       seen->width_across_um, seen->spread_um, seen->front_um, seen->tail_um,
                       seen->aspect_ratio, seen->largest_cluster_fraction);
    }
    nrw_report_data_end(report);
}

void nrw_report_moments(nrw_report *report)
{
    nrw_moment moments[9];
    if (!report->in->run || !report->in->channel)
        return;
    size_t n = nrw_report_moments_choose(report->in, sizeof moments / sizeof *moments, moments);
    double side_um = common_side_um(report->in, moments, n);
    nrw_report_section(report, "moments", "Moments");
    nrw_markup_put(&report->out, "<p>All at one scale. Arrow: heading of the drive. Filled dots "
                                 "will be delivered, rings will be lost; where they overlap, "
                                 "particles lie above one another.</p>\n"
                                 "<div class='panels'>\n");
    for (size_t i = 0; i < n; i++)
        put_panel(report, &moments[i], i + 1, side_um);
    nrw_markup_put(&report->out, "</div>\n");
    put_data(report, moments, n);
    nrw_report_section_end(report);
}
