#include "outline.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "units.h"

/* Remainders of edges shorter than this are rounding, not wall. */
#define SHORTEST_UM (10.0 * NRW_OUTLINE_TOLERANCE_UM)
/* Small arcs get a chord error of this share of the radius instead. */
#define SAGITTA_SHARE 1e-3
enum { CHUNK = 16 };

void nrw_outline_init(nrw_outline *outline)
{
    memset(outline, 0, sizeof *outline);
}

void nrw_outline_clear(nrw_outline *outline)
{
    free(outline->corners_um);
    free(outline->shapes);
    nrw_shape_index_clear(&outline->index);
    nrw_loop_bands_clear(&outline->bands);
    free(outline->segments);
    free(outline->chunk_bounds_um);
    nrw_outline_init(outline);
}

/* Makes room for n items of `size` bytes; false when memory is short. */
static bool reserve(void **items, size_t *capacity, size_t n, size_t size)
{
    if (n <= *capacity)
        return true;
    size_t wanted = n < 16 ? 16 : n + n / 2;
    void *grown = realloc(*items, wanted * size);
    if (!grown)
        return false;
    *items = grown;
    *capacity = wanted;
    return true;
}

static void extend_bounds(double bounds[4], const double at[2])
{
    bounds[0] = fmin(bounds[0], at[0]);
    bounds[1] = fmin(bounds[1], at[1]);
    bounds[2] = fmax(bounds[2], at[0]);
    bounds[3] = fmax(bounds[3], at[1]);
}

nrw_status nrw_outline_add_polygon(nrw_outline *outline, const double (*corners_um)[2], size_t n)
{
    void *corners = outline->corners_um, *shapes = outline->shapes;
    bool room = reserve(&corners, &outline->corner_capacity, outline->n_corners + n,
                        sizeof *outline->corners_um);
    outline->corners_um = corners;
    room = room && reserve(&shapes, &outline->shape_capacity, outline->n_shapes + 1,
                           sizeof *outline->shapes);
    outline->shapes = shapes;
    if (!room)
        return NRW_NO_MEMORY;
    nrw_shape *shape = &outline->shapes[outline->n_shapes++];
    *shape = (nrw_shape){outline->n_corners, n, {INFINITY, INFINITY, -INFINITY, -INFINITY}};
    for (size_t i = 0; i < n; i++) {
        memcpy(outline->corners_um[outline->n_corners++], corners_um[i], sizeof *corners_um);
        extend_bounds(shape->bounds_um, corners_um[i]);
    }
    return NRW_OK;
}

/* Number of chords for an arc. */
static size_t arc_chords(double radius, double angle)
{
    double sagitta = fmin(NRW_OUTLINE_SAGITTA_UM, SAGITTA_SHARE * radius);
    double step = 2.0 * acos(1.0 - sagitta / radius);
    return (size_t)fmax(1.0, ceil(angle / step - 1e-9));
}

nrw_status nrw_outline_add_disc(nrw_outline *outline, const double centre_um[2], double radius_um)
{
    /* A multiple of four puts corners where the disc touches walls along x and y. */
    size_t n = (arc_chords(radius_um, 2.0 * NRW_PI) + 3) / 4 * 4;
    double(*corners)[2] = malloc(n * sizeof *corners);
    if (!corners)
        return NRW_NO_MEMORY;
    for (size_t i = 0; i < n; i++) {
        double angle = 2.0 * NRW_PI * (double)i / (double)n;
        corners[i][0] = centre_um[0] + radius_um * cos(angle);
        corners[i][1] = centre_um[1] + radius_um * sin(angle);
    }
    nrw_status status = nrw_outline_add_polygon(outline, (const double(*)[2])corners, n);
    free(corners);
    return status;
}

nrw_status nrw_outline_add_sector(nrw_outline *outline, const double centre_um[2],
                                  const double from_um[2], const double to_um[2])
{
    double a[2] = {from_um[0] - centre_um[0], from_um[1] - centre_um[1]};
    double b[2] = {to_um[0] - centre_um[0], to_um[1] - centre_um[1]};
    double radius = hypot(a[0], a[1]);
    double start = atan2(a[1], a[0]);
    double angle = atan2(a[0] * b[1] - a[1] * b[0], a[0] * b[0] + a[1] * b[1]);
    size_t n = arc_chords(radius, angle);
    double(*corners)[2] = malloc((n + 2) * sizeof *corners);
    if (!corners)
        return NRW_NO_MEMORY;
    memcpy(corners[0], centre_um, sizeof *corners);
    memcpy(corners[1], from_um, sizeof *corners);
    for (size_t i = 1; i < n; i++) {
        double at = start + angle * (double)i / (double)n;
        corners[i + 1][0] = centre_um[0] + radius * cos(at);
        corners[i + 1][1] = centre_um[1] + radius * sin(at);
    }
    memcpy(corners[n + 1], to_um, sizeof *corners);
    nrw_status status = nrw_outline_add_polygon(outline, (const double(*)[2])corners, n + 2);
    free(corners);
    return status;
}

/* --- union ---------------------------------------------------------------- */

typedef struct interval {
    double from, to; /* fractions of an edge */
} interval;

/* Signed distance of a point from the line through a along the unit vector u,
 * positive to the left. */
static double side(const double a[2], const double u[2], const double at[2])
{
    return u[0] * (at[1] - a[1]) - u[1] * (at[0] - a[0]);
}

/* The part of the edge a -> b (unit direction u) of shape `own` that shape `other`
 * covers; false if none. Where the two have a common stretch of edge, opposite
 * directions mean that they abut: covered. Equal directions mean one wall drawn
 * twice: the shape added first keeps it. */
static bool covered_part(const nrw_outline *outline, const double a[2], const double b[2],
                         const double u[2], size_t own, size_t other, interval *part)
{
    const nrw_shape *shape = &outline->shapes[other];
    const double(*corners)[2] = (const double(*)[2])outline->corners_um + shape->first;
    interval p = {0.0, 1.0};
    for (size_t i = 0; i < shape->n_corners; i++) {
        const double *c = corners[i], *d = corners[i + 1 == shape->n_corners ? 0 : i + 1];
        double length = hypot(d[0] - c[0], d[1] - c[1]);
        double v[2] = {(d[0] - c[0]) / length, (d[1] - c[1]) / length};
        double sa = side(c, v, a), sb = side(c, v, b);
        if (fabs(sa) <= NRW_OUTLINE_TOLERANCE_UM && fabs(sb) <= NRW_OUTLINE_TOLERANCE_UM) {
            if (u[0] * v[0] + u[1] * v[1] > 0.0 && other > own)
                return false;
            continue;
        }
        if (sa <= 0.0 && sb <= 0.0)
            return false;
        if (sa < 0.0)
            p.from = fmax(p.from, sa / (sa - sb));
        else if (sb < 0.0)
            p.to = fmin(p.to, sa / (sa - sb));
        if (p.from >= p.to)
            return false;
    }
    *part = p;
    return true;
}

static int compare_intervals(const void *left, const void *right)
{
    const interval *a = left, *b = right;
    return (a->from > b->from) - (a->from < b->from);
}

static nrw_status append_segment(nrw_outline *outline, const double a[2], const double b[2],
                                 double from, double to)
{
    void *segments = outline->segments;
    bool room = reserve(&segments, &outline->segment_capacity, outline->n_segments + 1,
                        sizeof *outline->segments);
    outline->segments = segments;
    if (!room)
        return NRW_NO_MEMORY;
    nrw_wall_segment *segment = &outline->segments[outline->n_segments++];
    for (int k = 0; k < 2; k++) {
        segment->a_um[k] = from > 0.0 ? a[k] + from * (b[k] - a[k]) : a[k];
        segment->b_um[k] = to < 1.0 ? a[k] + to * (b[k] - a[k]) : b[k];
    }
    return NRW_OK;
}

/* Room for the work on one edge. */
typedef struct edge_work {
    interval *parts;  /* (n_shapes) */
    uint32_t *near;   /* (n_shapes) */
    uint32_t *stamps; /* (n_shapes) */
    uint32_t stamp;
} edge_work;

/* Appends what the other shapes leave of an edge of shape `own`. */
static nrw_status append_edge(nrw_outline *outline, size_t own, const double a[2],
                              const double b[2], edge_work *work)
{
    double length = hypot(b[0] - a[0], b[1] - a[1]);
    double u[2] = {(b[0] - a[0]) / length, (b[1] - a[1]) / length};
    size_t n_near =
        nrw_shape_index_along(&outline->index, a, b, work->near, work->stamps, ++work->stamp);
    interval *parts = work->parts;
    size_t n = 0;
    for (size_t i = 0; i < n_near; i++)
        if (work->near[i] != own && covered_part(outline, a, b, u, own, work->near[i], &parts[n]))
            n++;
    qsort(parts, n, sizeof *parts, compare_intervals);
    double free_from = 0.0;
    nrw_status status = NRW_OK;
    for (size_t i = 0; i <= n && status == NRW_OK; i++) {
        double free_to = i < n ? parts[i].from : 1.0;
        if ((free_to - free_from) * length > SHORTEST_UM)
            status = append_segment(outline, a, b, free_from, free_to);
        if (i < n)
            free_from = fmax(free_from, parts[i].to);
    }
    return status;
}

static nrw_status build_chunks(nrw_outline *outline)
{
    outline->n_chunks = (outline->n_segments + CHUNK - 1) / CHUNK;
    outline->chunk_bounds_um = malloc((outline->n_chunks + 1) * sizeof *outline->chunk_bounds_um);
    if (!outline->chunk_bounds_um)
        return NRW_NO_MEMORY;
    for (size_t i = 0; i < outline->n_segments; i++) {
        double *bounds = outline->chunk_bounds_um[i / CHUNK];
        if (i % CHUNK == 0) {
            bounds[0] = bounds[1] = INFINITY;
            bounds[2] = bounds[3] = -INFINITY;
        }
        extend_bounds(bounds, outline->segments[i].a_um);
        extend_bounds(bounds, outline->segments[i].b_um);
    }
    return NRW_OK;
}

static nrw_status build_index(nrw_outline *outline)
{
    size_t *firsts = malloc((outline->n_shapes + 1) * sizeof *firsts);
    if (!firsts)
        return NRW_NO_MEMORY;
    for (size_t i = 0; i < outline->n_shapes; i++)
        firsts[i] = outline->shapes[i].first;
    firsts[outline->n_shapes] = outline->n_corners;
    nrw_shape_list list = {(const double(*)[2])outline->corners_um, firsts, outline->n_shapes};
    nrw_status status = nrw_shape_index_build(&outline->index, &list, SHORTEST_UM);
    free(firsts);
    return status;
}

static nrw_status build_segments(nrw_outline *outline)
{
    edge_work work = {malloc((outline->n_shapes + 1) * sizeof *work.parts),
                      malloc((outline->n_shapes + 1) * sizeof *work.near),
                      calloc(outline->n_shapes + 1, sizeof *work.stamps), 0};
    nrw_status status = work.parts && work.near && work.stamps ? NRW_OK : NRW_NO_MEMORY;
    for (size_t own = 0; own < outline->n_shapes; own++) {
        const nrw_shape *shape = &outline->shapes[own];
        const double(*corners)[2] = (const double(*)[2])outline->corners_um + shape->first;
        for (size_t i = 0; i < shape->n_corners && status == NRW_OK; i++)
            status = append_edge(outline, own, corners[i],
                                 corners[i + 1 == shape->n_corners ? 0 : i + 1], &work);
    }
    free(work.parts);
    free(work.near);
    free(work.stamps);
    return status;
}

nrw_status nrw_outline_close(nrw_outline *outline)
{
    nrw_status status = build_index(outline);
    if (status == NRW_OK)
        status = build_segments(outline);
    return status == NRW_OK ? build_chunks(outline) : status;
}

nrw_status nrw_outline_close_loops(nrw_outline *outline, const double (*points_um)[2],
                                   const size_t *firsts, size_t n_loops)
{
    nrw_status status = nrw_loop_bands_build(&outline->bands, points_um, firsts, n_loops);
    for (size_t k = 0; k < n_loops; k++)
        for (size_t i = firsts[k]; i < firsts[k + 1] && status == NRW_OK; i++)
            status =
                append_segment(outline, points_um[i],
                               points_um[i + 1 == firsts[k + 1] ? firsts[k] : i + 1], 0.0, 1.0);
    return status == NRW_OK ? build_chunks(outline) : status;
}

/* --- queries -------------------------------------------------------------- */

static bool shape_contains(const nrw_outline *outline, const nrw_shape *shape, const double at[2])
{
    const double *box = shape->bounds_um;
    if (at[0] < box[0] - NRW_OUTLINE_TOLERANCE_UM || at[0] > box[2] + NRW_OUTLINE_TOLERANCE_UM ||
        at[1] < box[1] - NRW_OUTLINE_TOLERANCE_UM || at[1] > box[3] + NRW_OUTLINE_TOLERANCE_UM)
        return false;
    const double(*corners)[2] = (const double(*)[2])outline->corners_um + shape->first;
    for (size_t i = 0; i < shape->n_corners; i++) {
        const double *c = corners[i], *d = corners[i + 1 == shape->n_corners ? 0 : i + 1];
        double v[2] = {d[0] - c[0], d[1] - c[1]};
        double cross = side(c, v, at);
        if (cross < 0.0 && cross < -NRW_OUTLINE_TOLERANCE_UM * hypot(v[0], v[1]))
            return false;
    }
    return true;
}

bool nrw_outline_contains(const nrw_outline *outline, double x_um, double y_um)
{
    const double at[2] = {x_um, y_um};
    size_t n;
    if (outline->bands.n_bands)
        return nrw_loop_bands_contain(&outline->bands, x_um, y_um);
    const uint32_t *near = nrw_shape_index_at(&outline->index, x_um, y_um, &n);
    for (size_t i = 0; i < n; i++)
        if (shape_contains(outline, &outline->shapes[near[i]], at))
            return true;
    return false;
}

/* Square of the distance to a segment, and the nearest point of it. */
static double segment_square(const nrw_wall_segment *segment, double x, double y, double nearest[2])
{
    const double *a = segment->a_um, *b = segment->b_um;
    double d[2] = {b[0] - a[0], b[1] - a[1]};
    double t = ((x - a[0]) * d[0] + (y - a[1]) * d[1]) / (d[0] * d[0] + d[1] * d[1]);
    t = t > 0.0 ? t : 0.0;
    t = t < 1.0 ? t : 1.0;
    nearest[0] = a[0] + t * d[0];
    nearest[1] = a[1] + t * d[1];
    double rx = x - nearest[0], ry = y - nearest[1];
    return rx * rx + ry * ry;
}

static double box_square(const double box[4], double x, double y)
{
    double dx = box[0] > x ? box[0] - x : x > box[2] ? x - box[2] : 0.0;
    double dy = box[1] > y ? box[1] - y : y > box[3] ? y - box[3] : 0.0;
    return dx * dx + dy * dy;
}

static void visit_chunk(const nrw_outline *outline, size_t chunk, double x, double y, double *best,
                        double nearest[2])
{
    size_t end = (chunk + 1) * CHUNK;
    end = end < outline->n_segments ? end : outline->n_segments;
    for (size_t i = chunk * CHUNK; i < end; i++) {
        double at[2];
        double square = segment_square(&outline->segments[i], x, y, at);
        if (square < *best) {
            *best = square;
            memcpy(nearest, at, sizeof at);
        }
    }
}

double nrw_outline_distance_um(const nrw_outline *outline, double x_um, double y_um,
                               double nearest_um[2])
{
    double best = INFINITY, at[2] = {x_um, y_um};
    /* The chunk with the nearest box first: it rules out most of the others. */
    size_t first = 0;
    double first_box = INFINITY;
    for (size_t i = 0; i < outline->n_chunks; i++) {
        double box = box_square(outline->chunk_bounds_um[i], x_um, y_um);
        if (box < first_box) {
            first_box = box;
            first = i;
        }
    }
    if (outline->n_chunks)
        visit_chunk(outline, first, x_um, y_um, &best, at);
    for (size_t i = 0; i < outline->n_chunks; i++)
        if (i != first && box_square(outline->chunk_bounds_um[i], x_um, y_um) < best)
            visit_chunk(outline, i, x_um, y_um, &best, at);
    if (nearest_um)
        memcpy(nearest_um, at, sizeof at);
    double distance = hypot(x_um - at[0], y_um - at[1]);
    return nrw_outline_contains(outline, x_um, y_um) ? distance : -distance;
}

double nrw_outline_area_um2(const nrw_outline *outline)
{
    double twice = 0.0;
    for (size_t i = 0; i < outline->n_segments; i++) {
        const double *a = outline->segments[i].a_um, *b = outline->segments[i].b_um;
        twice += a[0] * b[1] - a[1] * b[0];
    }
    return 0.5 * twice;
}
