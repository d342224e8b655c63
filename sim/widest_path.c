#include "widest_path.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_NODES = 400000 };

/* Vertices: the lattice's nodes row by row, then the loose points: the two
 * circles' centres, the map's nodes, the centrelines' points. */
typedef struct loose_point {
    double at_um[2];
    size_t cell;  /* lattice cell that holds it */
    int links[2]; /* loose points before and after it on its vessel, or -1 */
    float distance_um;
} loose_point;

typedef struct entry {
    float bottleneck_um;
    int vertex;
} entry;

typedef struct search {
    const nrw_channel *channel;
    double origin_um[2], spacing_um;
    int n_x, n_y; /* nodes of the lattice */
    size_t n_lattice, n_loose, n_map_nodes;
    loose_point *loose; /* (n_loose) */
    int *cell_starts;   /* (n_lattice + 1) loose points of a cell: cell_order[starts...] */
    int *cell_order;    /* (n_loose) */
    int *end_links;     /* (2 n_vessels) map node of each vessel end's first point */
    int *end_points;    /* (2 n_vessels) that point */
    size_t n_ends;
    float *distances_um; /* (vertices) to the walls; lattice nodes are computed up front */
    float *best_um;      /* (vertices) best bottleneck so far; -INFINITY: not reached */
    int *limits;         /* (vertices) vertex that limits the way there */
    entry *heap;
    size_t n_heap, heap_capacity;
} search;

static void search_clear(search *s)
{
    free(s->loose);
    free(s->cell_starts);
    free(s->cell_order);
    free(s->end_links);
    free(s->end_points);
    free(s->distances_um);
    free(s->best_um);
    free(s->limits);
    free(s->heap);
}

static void vertex_place(const search *s, int vertex, double at[2])
{
    if ((size_t)vertex >= s->n_lattice) {
        memcpy(at, s->loose[(size_t)vertex - s->n_lattice].at_um, 2 * sizeof *at);
        return;
    }
    int column = vertex % s->n_x, row = vertex / s->n_x;
    at[0] = s->origin_um[0] + column * s->spacing_um;
    at[1] = s->origin_um[1] + row * s->spacing_um;
}

/* --- heap, largest bottleneck first; ties by vertex for a fixed order ---------- */

static bool comes_first(entry a, entry b)
{
    return a.bottleneck_um != b.bottleneck_um ? a.bottleneck_um > b.bottleneck_um
                                              : a.vertex < b.vertex;
}

static bool heap_push(search *s, entry item)
{
    if (s->n_heap == s->heap_capacity) {
        size_t capacity = 2 * s->heap_capacity + 1024;
        entry *heap = realloc(s->heap, capacity * sizeof *heap);
        if (!heap)
            return false;
        s->heap = heap;
        s->heap_capacity = capacity;
    }
    size_t i = s->n_heap++;
    for (; i > 0 && comes_first(item, s->heap[(i - 1) / 2]); i = (i - 1) / 2)
        s->heap[i] = s->heap[(i - 1) / 2];
    s->heap[i] = item;
    return true;
}

static entry heap_pop(search *s)
{
    entry top = s->heap[0], last = s->heap[--s->n_heap];
    size_t i = 0;
    for (size_t child; (child = 2 * i + 1) < s->n_heap; i = child) {
        if (child + 1 < s->n_heap && comes_first(s->heap[child + 1], s->heap[child]))
            child++;
        if (!comes_first(s->heap[child], last))
            break;
        s->heap[i] = s->heap[child];
    }
    s->heap[i] = last;
    return top;
}

/* --- setting up ------------------------------------------------------------- */

static void place_lattice(search *s, double spacing)
{
    double bounds[4];
    nrw_channel_bounds(s->channel, bounds);
    double width = bounds[2] - bounds[0], height = bounds[3] - bounds[1];
    s->spacing_um = fmax(spacing, sqrt(width * height / MOST_NODES));
    s->spacing_um = fmax(s->spacing_um, 4.0 * fmax(width, height) / MOST_NODES);
    s->n_x = (int)(width / s->spacing_um) + 2;
    s->n_y = (int)(height / s->spacing_um) + 2;
    s->n_lattice = (size_t)s->n_x * (size_t)s->n_y;
    s->origin_um[0] = bounds[0];
    s->origin_um[1] = bounds[1];
}

static size_t cell_of(const search *s, const double at[2])
{
    int i = (int)((at[0] - s->origin_um[0]) / s->spacing_um);
    int j = (int)((at[1] - s->origin_um[1]) / s->spacing_um);
    i = i < 0 ? 0 : i > s->n_x - 2 ? s->n_x - 2 : i;
    j = j < 0 ? 0 : j > s->n_y - 2 ? s->n_y - 2 : j;
    return (size_t)j * (size_t)s->n_x + (size_t)i;
}

static int add_loose(search *s, const double at[2], int before)
{
    int index = (int)s->n_loose++;
    loose_point *point = &s->loose[index];
    memcpy(point->at_um, at, sizeof point->at_um);
    point->cell = cell_of(s, at);
    point->links[0] = before;
    point->links[1] = -1;
    if (before >= 0)
        s->loose[before].links[1] = index;
    point->distance_um = (float)nrw_channel_distance_exact_um(s->channel, at[0], at[1]);
    return index;
}

static size_t line_points(const nrw_centreline *line, double spacing)
{
    return line->n_points + (size_t)(line->length_um / spacing) + line->n_points;
}

/* Points of a vessel's centreline: its own, and more so that none lie farther
 * apart than the lattice's spacing. */
static void add_line(search *s, const nrw_map *map, size_t vessel, const nrw_centreline *line)
{
    int before = -1;
    for (size_t i = 0; i < line->n_points; i++) {
        const nrw_centre_point *p = &line->points[i];
        double step = i + 1 < line->n_points ? p[1].s_um - p->s_um : 0.0;
        int n = step > 0.0 ? (int)(step / s->spacing_um) + 1 : 1;
        for (int k = 0; k < n; k++) {
            double t = step * k / n;
            double at[2] = {p->at_um[0] + t * p->along[0], p->at_um[1] + t * p->along[1]};
            bool is_start = before < 0;
            before = add_loose(s, at, before);
            if (is_start) {
                s->end_links[s->n_ends] = map->vessels[vessel].from;
                s->end_points[s->n_ends++] = before;
            }
        }
    }
    s->end_links[s->n_ends] = map->vessels[vessel].to;
    s->end_points[s->n_ends++] = before;
}

static void sort_into_cells(search *s)
{
    memset(s->cell_starts, 0, (s->n_lattice + 2) * sizeof *s->cell_starts);
    for (size_t i = 0; i < s->n_loose; i++)
        s->cell_starts[s->loose[i].cell + 2]++;
    for (size_t c = 2; c < s->n_lattice + 2; c++)
        s->cell_starts[c] += s->cell_starts[c - 1];
    for (size_t i = 0; i < s->n_loose; i++)
        s->cell_order[s->cell_starts[s->loose[i].cell + 1]++] = (int)i;
}

static nrw_status set_up(search *s, const nrw_map *map, const nrw_centreline *lines,
                         const nrw_place *start, const nrw_place *target, double spacing)
{
    place_lattice(s, spacing);
    size_t most = map->n_nodes + 2;
    for (size_t v = 0; v < map->n_vessels; v++)
        most += line_points(&lines[v], s->spacing_um);
    size_t n = s->n_lattice + most;
    s->loose = malloc(most * sizeof *s->loose);
    s->cell_starts = malloc((s->n_lattice + 2) * sizeof *s->cell_starts);
    s->cell_order = malloc(most * sizeof *s->cell_order);
    s->end_links = malloc((2 * map->n_vessels + 1) * sizeof *s->end_links);
    s->end_points = malloc((2 * map->n_vessels + 1) * sizeof *s->end_points);
    s->distances_um = malloc(n * sizeof *s->distances_um);
    s->best_um = malloc(n * sizeof *s->best_um);
    s->limits = malloc(n * sizeof *s->limits);
    if (!s->loose || !s->cell_starts || !s->cell_order || !s->end_links || !s->end_points ||
        !s->distances_um || !s->best_um || !s->limits)
        return NRW_NO_MEMORY;
    add_loose(s, start->at_um, -1);
    add_loose(s, target->at_um, -1);
    for (size_t i = 0; i < map->n_nodes; i++)
        add_loose(s, map->nodes[i].at_um, -1);
    s->n_map_nodes = map->n_nodes;
    for (size_t v = 0; v < map->n_vessels; v++)
        add_line(s, map, v, &lines[v]);
    sort_into_cells(s);
    for (size_t i = 0; i < s->n_lattice; i++) {
        double at[2];
        vertex_place(s, (int)i, at);
        s->distances_um[i] = (float)nrw_channel_distance_um(s->channel, at[0], at[1], NULL);
    }
    for (size_t i = 0; i < s->n_loose; i++)
        s->distances_um[s->n_lattice + i] = s->loose[i].distance_um;
    for (size_t i = 0; i < s->n_lattice + s->n_loose; i++)
        s->best_um[i] = -INFINITY;
    return NRW_OK;
}

/* --- searching ---------------------------------------------------------------- */

/* Offers the way over `from` to `to`. */
static bool offer(search *s, int from, int to)
{
    float reach = s->best_um[from];
    bool limited = s->distances_um[to] < reach;
    float bottleneck = limited ? s->distances_um[to] : reach;
    if (bottleneck <= s->best_um[to])
        return true;
    s->best_um[to] = bottleneck;
    s->limits[to] = limited ? to : s->limits[from];
    return heap_push(s, (entry){bottleneck, to});
}

/* The same where nothing but the discs of the two ends says that no wall lies
 * between them. */
static bool offer_across(search *s, int from, int to)
{
    double a[2], b[2];
    vertex_place(s, from, a);
    vertex_place(s, to, b);
    if (s->distances_um[from] + s->distances_um[to] <= hypot(a[0] - b[0], a[1] - b[1]))
        return true;
    return offer(s, from, to);
}

static bool leave_lattice_node(search *s, int vertex)
{
    bool ok = true;
    int x = vertex % s->n_x, y = vertex / s->n_x;
    for (int j = y > 0 ? y - 1 : 0; j <= y + 1 && j < s->n_y; j++)
        for (int i = x > 0 ? x - 1 : 0; i <= x + 1 && i < s->n_x; i++)
            if (i != x || j != y)
                ok = ok && offer_across(s, vertex, j * s->n_x + i);
    for (int j = y > 0 ? y - 1 : 0; j <= y; j++)
        for (int i = x > 0 ? x - 1 : 0; i <= x; i++) {
            int cell = j * s->n_x + i;
            for (int k = s->cell_starts[cell]; k < s->cell_starts[cell + 1]; k++)
                ok = ok && offer_across(s, vertex, (int)s->n_lattice + s->cell_order[k]);
        }
    return ok;
}

static bool leave_loose_point(search *s, int vertex)
{
    bool ok = true;
    int index = vertex - (int)s->n_lattice;
    const loose_point *point = &s->loose[index];
    for (int k = 0; k < 2; k++)
        if (point->links[k] >= 0)
            ok = ok && offer(s, vertex, (int)s->n_lattice + point->links[k]);
    /* Loose points 0 and 1 are the circles' centres, then come the map's nodes. */
    bool at_end = point->links[0] < 0 || point->links[1] < 0;
    for (size_t e = 0; e < s->n_ends && at_end; e++) {
        int node = s->end_links[e] + 2;
        if (index == node)
            ok = ok && offer(s, vertex, (int)s->n_lattice + s->end_points[e]);
        if (index == s->end_points[e])
            ok = ok && offer(s, vertex, (int)s->n_lattice + node);
    }
    int corner = (int)point->cell;
    for (int k = 0; k < 4; k++)
        ok = ok && offer_across(s, vertex, corner + (k & 1) + (k >> 1) * s->n_x);
    for (int k = s->cell_starts[corner]; k < s->cell_starts[corner + 1]; k++)
        if (s->cell_order[k] != index)
            ok = ok && offer_across(s, vertex, (int)s->n_lattice + s->cell_order[k]);
    return ok;
}

static bool in_circle(const double at[2], const nrw_place *place)
{
    return hypot(at[0] - place->at_um[0], at[1] - place->at_um[1]) <= place->radius_um;
}

static bool begin(search *s, const nrw_place *start)
{
    bool ok = true;
    for (int i = 0; i < (int)(s->n_lattice + s->n_loose) && ok; i++) {
        double at[2];
        vertex_place(s, i, at);
        if (s->distances_um[i] <= 0.0f || (i != (int)s->n_lattice && !in_circle(at, start)))
            continue;
        s->best_um[i] = s->distances_um[i];
        s->limits[i] = i;
        ok = heap_push(s, (entry){s->best_um[i], i});
    }
    return ok;
}

static nrw_status widest(search *s, const nrw_place *start, const nrw_place *target,
                         double *distance, double at[2])
{
    *distance = 0.0;
    at[0] = at[1] = NAN;
    if (!begin(s, start))
        return NRW_NO_MEMORY;
    while (s->n_heap) {
        entry top = heap_pop(s);
        if (top.bottleneck_um < s->best_um[top.vertex])
            continue;
        double place[2];
        vertex_place(s, top.vertex, place);
        if (top.vertex == (int)s->n_lattice + 1 || in_circle(place, target)) {
            *distance = (double)top.bottleneck_um;
            vertex_place(s, s->limits[top.vertex], at);
            return NRW_OK;
        }
        if (top.bottleneck_um <= 0.0f)
            break;
        if (!((size_t)top.vertex < s->n_lattice ? leave_lattice_node(s, top.vertex)
                                                : leave_loose_point(s, top.vertex)))
            return NRW_NO_MEMORY;
    }
    return NRW_OK;
}

nrw_status nrw_widest_path(const nrw_channel *channel, const nrw_map *map,
                           const nrw_centreline *lines, const nrw_place *start,
                           const nrw_place *target, double spacing_um, double *distance_um,
                           double at_um[2])
{
    search s = {.channel = channel};
    nrw_status status = set_up(&s, map, lines, start, target, spacing_um);
    if (status == NRW_OK)
        status = widest(&s, start, target, distance_um, at_um);
    search_clear(&s);
    return status;
}
