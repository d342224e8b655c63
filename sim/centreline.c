#include "centreline.h"

#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "shape_index.h"

/* Fraction of the vessel's length, limited to the vessel, as a length. */
static double width_point_s(const nrw_vessel *vessel, size_t index, double length)
{
    return fmin(fmax(vessel->widths[index].fraction, 0.0), 1.0) * length;
}

/* Width at s as the limit from before (after = false) or after it. */
static double width_at(const nrw_vessel *vessel, double length, double s, bool after)
{
    const nrw_width_point *widths = vessel->widths;
    size_t n = vessel->n_widths;
    size_t next = 0; /* first width point that lies beyond s on the wanted side */
    while (next < n) {
        double s_next = width_point_s(vessel, next, length);
        if (after ? s_next > s + NRW_CENTRELINE_SAME_UM : s_next > s - NRW_CENTRELINE_SAME_UM)
            break;
        next++;
    }
    if (next == 0)
        return widths[0].width_um;
    if (next == n)
        return widths[n - 1].width_um;
    double s0 = width_point_s(vessel, next - 1, length);
    double s1 = width_point_s(vessel, next, length);
    double t = fmin(fmax((s - s0) / (s1 - s0), 0.0), 1.0);
    return (1.0 - t) * widths[next - 1].width_um + t * widths[next].width_um;
}

/* The vessel's corners: from, via points, to, without coincident neighbours. */
static size_t collect_corners(const nrw_map *map, const nrw_vessel *vessel, double (*corners)[2],
                              double *s)
{
    size_t n = 0, last = vessel->n_via + 1;
    for (size_t i = 0; i <= last; i++) {
        const double *at = i == 0      ? map->nodes[vessel->from].at_um
                           : i == last ? map->nodes[vessel->to].at_um
                                       : vessel->via_um[i - 1];
        double step = n ? hypot(at[0] - corners[n - 1][0], at[1] - corners[n - 1][1]) : 0.0;
        if (n && step < NRW_CENTRELINE_SAME_UM)
            continue;
        corners[n][0] = at[0];
        corners[n][1] = at[1];
        s[n] = n ? s[n - 1] + step : 0.0;
        n++;
    }
    return n;
}

static void append_point(nrw_centreline *line, const double at[2], double s, double width,
                         const double along[2])
{
    nrw_centre_point *point = &line->points[line->n_points++];
    memcpy(point->at_um, at, sizeof point->at_um);
    point->s_um = s;
    point->width_um = width;
    memcpy(point->along, along, sizeof point->along);
}

/* One point where the width is steady; one for each side where it jumps. */
static void append_place(nrw_centreline *line, const nrw_vessel *vessel, const double at[2],
                         double s, const double along[2])
{
    double before = width_at(vessel, line->length_um, s, false);
    double after = width_at(vessel, line->length_um, s, true);
    bool is_start = line->n_points == 0, is_end = s >= line->length_um;
    if (!is_start && (is_end || before != after))
        append_point(line, at, s, before, along);
    if (!is_end)
        append_point(line, at, s, after, along);
}

static void assemble(nrw_centreline *line, const nrw_vessel *vessel, const double (*corners)[2],
                     const double *s, size_t n_corners)
{
    size_t width = 0;
    line->length_um = s[n_corners - 1];
    for (size_t i = 0; i + 1 < n_corners; i++) {
        double step = s[i + 1] - s[i];
        double along[2] = {(corners[i + 1][0] - corners[i][0]) / step,
                           (corners[i + 1][1] - corners[i][1]) / step};
        append_place(line, vessel, corners[i], s[i], along);
        double last = s[i];
        for (; width < vessel->n_widths; width++) {
            double sw = width_point_s(vessel, width, line->length_um);
            if (sw < last + NRW_CENTRELINE_SAME_UM)
                continue;
            if (sw > s[i + 1] - NRW_CENTRELINE_SAME_UM)
                break;
            double at[2] = {corners[i][0] + along[0] * (sw - s[i]),
                            corners[i][1] + along[1] * (sw - s[i])};
            append_place(line, vessel, at, sw, along);
            last = sw;
        }
        if (i + 2 == n_corners)
            append_place(line, vessel, corners[i + 1], s[i + 1], along);
    }
}

static nrw_status check_vessel(const nrw_map *map, size_t index, const char *file,
                               const nrw_centreline *line, nrw_errors *errors)
{
    char key[64];
    (void)snprintf(key, sizeof key, "channel.vessels[%zu].width_um", index);
    const nrw_vessel *vessel = &map->vessels[index];
    for (size_t i = 0; i < vessel->n_widths; i++)
        if (!(vessel->widths[i].width_um > 0.0))
            return nrw_errors_add_at(errors, NRW_BAD_INPUT, file, 0, 0, key, "a width above 0",
                                     "width %g", vessel->widths[i].width_um);
    (void)snprintf(key, sizeof key, "channel.vessels[%zu].via_um", index);
    for (size_t i = 0; i + 1 < line->n_points; i++) {
        const double *a = line->points[i].along, *b = line->points[i + 1].along;
        if (a[0] * b[0] + a[1] * b[1] < 0.0 && fabs(a[0] * b[1] - a[1] * b[0]) < 1e-9)
            return nrw_errors_add_at(errors, NRW_BAD_INPUT, file, 0, 0, key,
                                     "points that go on from one to the next",
                                     "the vessel turns back on itself at (%g, %g)",
                                     line->points[i + 1].at_um[0], line->points[i + 1].at_um[1]);
    }
    return NRW_OK;
}

nrw_status nrw_centreline_build(const nrw_map *map, size_t index, const char *file,
                                nrw_centreline *line, nrw_errors *errors)
{
    const nrw_vessel *vessel = &map->vessels[index];
    memset(line, 0, sizeof *line);
    size_t most = vessel->n_via + 2;
    double(*corners)[2] = malloc(most * sizeof *corners);
    double *s = malloc(most * sizeof *s);
    /* Every corner and every width point gives at most two points. */
    line->points = malloc(2 * (most + vessel->n_widths) * sizeof *line->points);
    nrw_status status = NRW_OK;
    if (!corners || !s || !line->points) {
        status = nrw_errors_add(errors, NRW_NO_MEMORY, "", "no memory for a vessel's centreline");
    } else {
        size_t n = collect_corners(map, vessel, corners, s);
        if (n < 2) {
            char key[64];
            (void)snprintf(key, sizeof key, "channel.vessels[%zu]", index);
            status = nrw_errors_add_at(errors, NRW_BAD_INPUT, file, 0, 0, key,
                                       "two nodes that lie apart, or via_um points",
                                       "the vessel has no length");
        } else {
            assemble(line, vessel, (const double(*)[2])corners, s, n);
            status = check_vessel(map, index, file, line, errors);
        }
    }
    free(corners);
    free(s);
    return status;
}

void nrw_centreline_clear(nrw_centreline *line)
{
    free(line->points);
    memset(line, 0, sizeof *line);
}

nrw_foot nrw_centreline_foot(const nrw_centreline *line, double x_um, double y_um)
{
    nrw_foot best = {{NAN, NAN}, NAN, INFINITY};
    for (size_t i = 0; i + 1 < line->n_points; i++) {
        const nrw_centre_point *a = &line->points[i], *b = a + 1;
        double step = b->s_um - a->s_um;
        double t = (x_um - a->at_um[0]) * a->along[0] + (y_um - a->at_um[1]) * a->along[1];
        t = fmin(fmax(t, 0.0), step);
        double at[2] = {a->at_um[0] + t * a->along[0], a->at_um[1] + t * a->along[1]};
        double distance = hypot(x_um - at[0], y_um - at[1]);
        if (distance < best.distance_um) {
            memcpy(best.at_um, at, sizeof at);
            best.s_um = a->s_um + t;
            best.distance_um = distance;
        }
    }
    return best;
}

void nrw_centreline_at(const nrw_centreline *line, double s_um, double at_um[2], double *width_um)
{
    double s = fmin(fmax(s_um, 0.0), line->length_um);
    size_t i = 0;
    while (i + 2 < line->n_points && line->points[i + 1].s_um < s)
        i++;
    const nrw_centre_point *a = &line->points[i], *b = a + 1;
    double step = b->s_um - a->s_um;
    double t = step > 0.0 ? (s - a->s_um) / step : 0.0;
    at_um[0] = a->at_um[0] + (s - a->s_um) * a->along[0];
    at_um[1] = a->at_um[1] + (s - a->s_um) * a->along[1];
    *width_um = (1.0 - t) * a->width_um + t * b->width_um;
    for (; i + 1 < line->n_points && line->points[i + 1].s_um <= s; i++)
        *width_um = fmax(*width_um, line->points[i + 1].width_um);
}

/* --- crossings ------------------------------------------------------------ */

/* Pieces nearer than this touch; below the length of any piece, µm. */
#define TOUCH_UM (0.1 * NRW_CENTRELINE_SAME_UM)

typedef struct piece {
    size_t vessel;
    double a[2], b[2], along[2];
    int node_a, node_b; /* node at that end, or -1 */
} piece;

static size_t collect_pieces(const nrw_map *map, const nrw_centreline *lines, piece *pieces)
{
    size_t n = 0;
    for (size_t v = 0; v < map->n_vessels; v++) {
        const nrw_centreline *line = &lines[v];
        for (size_t i = 0; i + 1 < line->n_points; i++) {
            const nrw_centre_point *p = &line->points[i];
            if (p[1].s_um <= p[0].s_um)
                continue;
            piece *q = &pieces[n++];
            q->vessel = v;
            memcpy(q->a, p[0].at_um, sizeof q->a);
            memcpy(q->b, p[1].at_um, sizeof q->b);
            memcpy(q->along, p[0].along, sizeof q->along);
            q->node_a = p[0].s_um <= 0.0 ? map->vessels[v].from : -1;
            q->node_b = p[1].s_um >= line->length_um ? map->vessels[v].to : -1;
        }
    }
    return n;
}

static double cross(const double a[2], const double b[2])
{
    return a[0] * b[1] - a[1] * b[0];
}

static double point_piece_distance(const piece *p, const double at[2])
{
    double d[2] = {at[0] - p->a[0], at[1] - p->a[1]};
    double length = hypot(p->b[0] - p->a[0], p->b[1] - p->a[1]);
    double t = fmin(fmax(d[0] * p->along[0] + d[1] * p->along[1], 0.0), length);
    return hypot(d[0] - t * p->along[0], d[1] - t * p->along[1]);
}

/* Node at which both pieces end, or -1. */
static int shared_node(const piece *p, const piece *q)
{
    if (p->node_a >= 0 && (p->node_a == q->node_a || p->node_a == q->node_b))
        return p->node_a;
    if (p->node_b >= 0 && (p->node_b == q->node_a || p->node_b == q->node_b))
        return p->node_b;
    return -1;
}

static bool pieces_follow(const piece *p, const piece *q)
{
    return (p->b[0] == q->a[0] && p->b[1] == q->a[1]) || (q->b[0] == p->a[0] && q->b[1] == p->a[1]);
}

/* Place where two pieces meet that should not. */
static bool pieces_meet(const piece *p, const piece *q, double at[2])
{
    int node = shared_node(p, q);
    bool chained = p->vessel == q->vessel && pieces_follow(p, q);
    if (node >= 0) {
        /* From a common node only the same direction can make them meet again. */
        double sp = p->node_a == node ? 1.0 : -1.0, sq = q->node_a == node ? 1.0 : -1.0;
        double dot = p->along[0] * q->along[0] + p->along[1] * q->along[1];
        memcpy(at, p->node_a == node ? p->a : p->b, 2 * sizeof *at);
        return sp * sq * dot > 0.0 && fabs(cross(p->along, q->along)) < 1e-9;
    }
    if (chained)
        return false; /* turning back was refused before */
    const double *ends[4] = {q->a, q->b, p->a, p->b};
    for (int k = 0; k < 4; k++)
        if (point_piece_distance(k < 2 ? p : q, ends[k]) < TOUCH_UM) {
            memcpy(at, ends[k], 2 * sizeof *at);
            return true;
        }
    double pa[2] = {q->a[0] - p->a[0], q->a[1] - p->a[1]};
    double pb[2] = {q->b[0] - p->a[0], q->b[1] - p->a[1]};
    double qa[2] = {p->a[0] - q->a[0], p->a[1] - q->a[1]};
    double qb[2] = {p->b[0] - q->a[0], p->b[1] - q->a[1]};
    double ca = cross(p->along, pa), cb = cross(p->along, pb);
    if (ca * cb >= 0.0 || cross(q->along, qa) * cross(q->along, qb) >= 0.0)
        return false;
    double t = ca / (ca - cb);
    at[0] = q->a[0] + t * (q->b[0] - q->a[0]);
    at[1] = q->a[1] + t * (q->b[1] - q->a[1]);
    return true;
}

/* Rules out pieces in line with each other, whose crossing is rounding alone. */
static bool boxes_apart(const piece *p, const piece *q)
{
    for (int k = 0; k < 2; k++)
        if (fmax(p->a[k], p->b[k]) + TOUCH_UM < fmin(q->a[k], q->b[k]) ||
            fmax(q->a[k], q->b[k]) + TOUCH_UM < fmin(p->a[k], p->b[k]))
            return true;
    return false;
}

static nrw_status refuse_meeting(size_t v, size_t w, const double at[2], const char *file,
                                 nrw_errors *errors)
{
    char key[64], other[64] = "itself";
    (void)snprintf(key, sizeof key, "channel.vessels[%zu]", w);
    if (v != w)
        (void)snprintf(other, sizeof other, "vessels[%zu]", v);
    return nrw_errors_add_at(errors, NRW_BAD_INPUT, file, 0, 0, key,
                             "vessels that meet only at a common node where they end",
                             "the vessel meets %s at (%g, %g)", other, at[0], at[1]);
}

/* What the search for meetings works with, by piece. */
typedef struct meeting_work {
    piece *pieces;        /* (n) */
    double (*corners)[2]; /* (2 n) */
    size_t *firsts;       /* (n + 1) */
    uint32_t *near;       /* (n) */
    uint32_t *stamps;     /* (n) */
    size_t *last_met;     /* (n_vessels) the vessel that each was last found to meet, plus 1 */
    nrw_shape_index index;
} meeting_work;

static void clear_work(meeting_work *work)
{
    free(work->pieces);
    free(work->corners);
    free(work->firsts);
    free(work->near);
    free(work->stamps);
    free(work->last_met);
    nrw_shape_index_clear(&work->index);
}

static nrw_status allocate_work(meeting_work *work, size_t n, size_t n_vessels)
{
    work->pieces = malloc((n + 1) * sizeof *work->pieces);
    work->corners = malloc((2 * n + 1) * sizeof *work->corners);
    work->firsts = malloc((n + 1) * sizeof *work->firsts);
    work->near = malloc((n + 1) * sizeof *work->near);
    work->stamps = calloc(n + 1, sizeof *work->stamps);
    work->last_met = calloc(n_vessels + 1, sizeof *work->last_met);
    return work->pieces && work->corners && work->firsts && work->near && work->stamps &&
                   work->last_met
               ? NRW_OK
               : NRW_NO_MEMORY;
}

static nrw_status index_pieces(meeting_work *work, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        work->firsts[i] = 2 * i;
        memcpy(work->corners[2 * i], work->pieces[i].a, sizeof *work->corners);
        memcpy(work->corners[2 * i + 1], work->pieces[i].b, sizeof *work->corners);
    }
    work->firsts[n] = 2 * n;
    nrw_shape_list list = {(const double(*)[2])work->corners, work->firsts, n};
    return nrw_shape_index_build(&work->index, &list, NRW_CENTRELINE_SAME_UM);
}

/* Refuses each pair of vessels once, at the first place found. Pieces come vessel
 * by vessel, so that noting the last partner is enough. */
static nrw_status refuse_meetings(meeting_work *work, size_t n, const char *file,
                                  nrw_errors *errors)
{
    nrw_status status = NRW_OK;
    for (size_t i = 0; i < n; i++) {
        const piece *p = &work->pieces[i];
        size_t n_near = nrw_shape_index_along(&work->index, p->a, p->b, work->near, work->stamps,
                                              (uint32_t)i + 1);
        for (size_t k = 0; k < n_near; k++) {
            const piece *q = &work->pieces[work->near[k]];
            double at[2];
            if (q <= p || work->last_met[q->vessel] == p->vessel + 1 || boxes_apart(p, q) ||
                !pieces_meet(p, q, at))
                continue;
            work->last_met[q->vessel] = p->vessel + 1;
            status = refuse_meeting(p->vessel, q->vessel, at, file, errors);
        }
    }
    return status;
}

nrw_status nrw_centreline_check_crossings(const nrw_map *map, const nrw_centreline *lines,
                                          const char *file, nrw_errors *errors)
{
    size_t most = 0;
    for (size_t v = 0; v < map->n_vessels; v++)
        most += lines[v].n_points;
    meeting_work work = {0};
    nrw_status status = allocate_work(&work, most, map->n_vessels);
    size_t n = 0;
    if (status == NRW_OK) {
        n = collect_pieces(map, lines, work.pieces);
        status = index_pieces(&work, n);
    }
    if (status == NRW_OK)
        status = refuse_meetings(&work, n, file, errors);
    else
        status = nrw_errors_add(errors, NRW_NO_MEMORY, "", "no memory to check the vessels");
    clear_work(&work);
    return status;
}
