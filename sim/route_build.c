#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "outline.h"
#include "route.h"
#include "shortest_path.h"
#include "units.h"

/* A place joined to a vessel's centreline: an extra node of the graph. */
typedef struct anchor {
    int vertex; /* of the graph: a node of the map, or n_nodes and above */
    int vessel; /* -1: the vertex is a node of the map */
    nrw_foot foot;
} anchor;

/* What an edge of the graph runs along. */
typedef struct way {
    int vessel;
    double from_um, to_um; /* along the vessel */
} way;

typedef struct graph {
    anchor *anchors; /* (n_anchors): start, via nodes, target */
    size_t n_anchors, n_vertices;
    nrw_edge *edges; /* (n_edges), with their ways */
    way *ways;
    size_t n_edges;
    double *distances; /* (n_vertices) */
    int *last_edges;   /* (n_vertices) */
    int *trail;        /* (n_vertices) edges of one leg */
} graph;

static void graph_clear(graph *g)
{
    free(g->anchors);
    free(g->edges);
    free(g->ways);
    free(g->distances);
    free(g->last_edges);
    free(g->trail);
}

static bool node_has_vessel(const nrw_map *map, int node)
{
    for (size_t v = 0; v < map->n_vessels; v++)
        if (map->vessels[v].from == node || map->vessels[v].to == node)
            return true;
    return false;
}

static anchor anchor_place(const nrw_route_request *request, const nrw_place *place, int vertex)
{
    anchor a = {place->node, -1, {{place->at_um[0], place->at_um[1]}, 0.0, 0.0}};
    if (place->node >= 0 && node_has_vessel(request->map, place->node))
        return a;
    a.vertex = vertex;
    a.foot.distance_um = INFINITY;
    for (size_t v = 0; v < request->map->n_vessels; v++) {
        nrw_foot foot = nrw_centreline_foot(&request->lines[v], place->at_um[0], place->at_um[1]);
        if (foot.distance_um < a.foot.distance_um) {
            a.foot = foot;
            a.vessel = (int)v;
        }
    }
    return a;
}

static void place_anchors(const nrw_route_request *request, graph *g)
{
    size_t n = request->n_via_nodes + 2;
    for (size_t i = 0; i < n; i++) {
        nrw_place place = request->start;
        if (i == n - 1) {
            place = request->target;
        } else if (i > 0) {
            place.node = request->via_nodes[i - 1];
            memcpy(place.at_um, request->map->nodes[place.node].at_um, sizeof place.at_um);
        }
        g->anchors[i] = anchor_place(request, &place, (int)(request->map->n_nodes + i));
    }
    g->n_anchors = n;
    g->n_vertices = request->map->n_nodes + n;
}

static void add_edges(graph *g, int a, int b, int vessel, double s_a, double s_b)
{
    g->edges[g->n_edges] = (nrw_edge){a, b, s_b - s_a};
    g->ways[g->n_edges++] = (way){vessel, s_a, s_b};
    g->edges[g->n_edges] = (nrw_edge){b, a, s_b - s_a};
    g->ways[g->n_edges++] = (way){vessel, s_b, s_a};
}

/* Cuts a vessel at its anchors, in order along it. */
static void add_vessel(graph *g, const nrw_map *map, const nrw_centreline *line, int vessel)
{
    int here = map->vessels[vessel].from;
    double s = 0.0;
    size_t n_left = 0;
    for (size_t i = 0; i < g->n_anchors; i++)
        n_left += g->anchors[i].vessel == vessel;
    size_t previous = g->n_anchors; /* the anchor that was cut last */
    for (; n_left > 0; n_left--) {
        size_t next = g->n_anchors;
        for (size_t i = 0; i < g->n_anchors; i++) {
            const anchor *a = &g->anchors[i];
            bool later =
                previous == g->n_anchors || a->foot.s_um > s || (a->foot.s_um == s && i > previous);
            if (a->vessel == vessel && later &&
                (next == g->n_anchors || a->foot.s_um < g->anchors[next].foot.s_um))
                next = i;
        }
        add_edges(g, here, g->anchors[next].vertex, vessel, s, g->anchors[next].foot.s_um);
        here = g->anchors[next].vertex;
        s = g->anchors[next].foot.s_um;
        previous = next;
    }
    add_edges(g, here, map->vessels[vessel].to, vessel, s, line->length_um);
}

static nrw_status graph_build(const nrw_route_request *request, graph *g)
{
    const nrw_map *map = request->map;
    size_t n_anchors = request->n_via_nodes + 2;
    size_t n_vertices = map->n_nodes + n_anchors;
    size_t most = 2 * (map->n_vessels + n_anchors);
    g->anchors = calloc(n_anchors, sizeof *g->anchors);
    g->edges = calloc(most, sizeof *g->edges);
    g->ways = calloc(most, sizeof *g->ways);
    g->distances = malloc(n_vertices * sizeof *g->distances);
    g->last_edges = calloc(n_vertices, sizeof *g->last_edges);
    g->trail = calloc(n_vertices, sizeof *g->trail);
    if (!g->anchors || !g->edges || !g->ways || !g->distances || !g->last_edges || !g->trail)
        return NRW_NO_MEMORY;
    place_anchors(request, g);
    for (size_t v = 0; v < map->n_vessels; v++)
        add_vessel(g, map, &request->lines[v], (int)v);
    return NRW_OK;
}

/* --- laying the route ------------------------------------------------------ */

static bool reserve_one(void **items, size_t *capacity, size_t n, size_t size)
{
    if (n < *capacity)
        return true;
    size_t wanted = 2 * n + 32;
    void *grown = realloc(*items, wanted * size);
    if (!grown)
        return false;
    *items = grown;
    *capacity = wanted;
    return true;
}

/* Goes on in a straight line to a place. Its width is noted if it is finite. */
static nrw_status lay(nrw_route *route, const double at[2], double width)
{
    void *points = route->points, *widths = route->widths;
    bool room =
        reserve_one(&points, &route->point_capacity, route->n_points, sizeof *route->points);
    route->points = points;
    room = room &&
           reserve_one(&widths, &route->width_capacity, route->n_widths, sizeof *route->widths);
    route->widths = widths;
    if (!room)
        return NRW_NO_MEMORY;
    double s = 0.0;
    bool moves = true;
    if (route->n_points) {
        nrw_route_point *last = &route->points[route->n_points - 1];
        double d[2] = {at[0] - last->at_um[0], at[1] - last->at_um[1]};
        double step = hypot(d[0], d[1]);
        moves = step >= NRW_CENTRELINE_SAME_UM;
        s = last->s_um + (moves ? step : 0.0);
        for (int k = 0; k < 2 && moves; k++)
            last->along[k] = d[k] / step;
    }
    if (moves)
        route->points[route->n_points++] = (nrw_route_point){{at[0], at[1]}, s, {1.0, 0.0}};
    if (isfinite(width))
        route->widths[route->n_widths++] = (nrw_route_width){s, width};
    return NRW_OK;
}

static double laid_um(const nrw_route *route)
{
    return route->points[route->n_points - 1].s_um;
}

/* Width where a way begins or ends: at a vessel's end its own, elsewhere the
 * larger one in case of a jump. */
static nrw_status lay_way_end(nrw_route *route, const nrw_centreline *line, double s)
{
    double at[2], width;
    nrw_centreline_at(line, s, at, &width);
    if (s <= 0.0)
        width = line->points[0].width_um;
    if (s >= line->length_um)
        width = line->points[line->n_points - 1].width_um;
    return lay(route, at, width);
}

static nrw_status lay_way(nrw_route *route, const nrw_centreline *lines, const way *w)
{
    const nrw_centreline *line = &lines[w->vessel];
    double low = fmin(w->from_um, w->to_um) + NRW_CENTRELINE_SAME_UM;
    double high = fmax(w->from_um, w->to_um) - NRW_CENTRELINE_SAME_UM;
    if (high < low)
        return NRW_OK;
    route->has_vessel[w->vessel] = true;
    nrw_status status = lay_way_end(route, line, w->from_um);
    for (size_t i = 0; i < line->n_points && status == NRW_OK; i++) {
        bool forward = w->from_um < w->to_um;
        const nrw_centre_point *p = &line->points[forward ? i : line->n_points - 1 - i];
        if (p->s_um > low && p->s_um < high)
            status = lay(route, p->at_um, p->width_um);
    }
    return status == NRW_OK ? lay_way_end(route, line, w->to_um) : status;
}

static void pass_node(nrw_route *route, int vertex)
{
    if ((size_t)vertex < route->n_nodes && isnan(route->node_s_um[vertex]))
        route->node_s_um[vertex] = laid_um(route);
}

/* Lays the shortest way from one anchor to the next. NRW_REFUSED: none. */
static nrw_status lay_leg(nrw_route *route, const nrw_route_request *request, graph *g, int from,
                          int to)
{
    nrw_status status =
        nrw_shortest_path(g->n_vertices, g->edges, g->n_edges, from, g->distances, g->last_edges);
    if (status != NRW_OK)
        return status;
    if (!isfinite(g->distances[to]))
        return NRW_REFUSED;
    size_t n = 0;
    for (int at = to; at != from; at = g->edges[g->last_edges[at]].from)
        g->trail[n++] = g->last_edges[at];
    while (n-- > 0 && status == NRW_OK) {
        status = lay_way(route, request->lines, &g->ways[g->trail[n]]);
        pass_node(route, g->edges[g->trail[n]].to);
    }
    return status;
}

static void place_name(const nrw_map *map, const nrw_place *place, char *text, size_t size)
{
    if (place->node >= 0)
        (void)snprintf(text, size, "%.80s", map->nodes[place->node].name);
    else
        (void)snprintf(text, size, "(%g, %g)", place->at_um[0], place->at_um[1]);
}

static nrw_status refuse_leg(const nrw_route_request *request, size_t leg, nrw_errors *errors)
{
    char from[96], to[96], key[48] = "target";
    nrw_place a = request->start, b = request->target;
    if (leg > 0)
        a.node = request->via_nodes[leg - 1];
    if (leg < request->n_via_nodes) {
        b.node = request->via_nodes[leg];
        (void)snprintf(key, sizeof key, "route[%zu]", leg);
    }
    place_name(request->map, &a, from, sizeof from);
    place_name(request->map, &b, to, sizeof to);
    return nrw_errors_add_at(errors, NRW_REFUSED, request->file, 0, 0, key,
                             "vessels that connect them", "no way from %s to %s", from, to);
}

/* Width at an anchor; at a node the largest of the vessels that meet there. */
static double anchor_width(const nrw_route_request *request, const anchor *a)
{
    double at[2], width = 0.0;
    if (a->vessel >= 0)
        nrw_centreline_at(&request->lines[a->vessel], a->foot.s_um, at, &width);
    for (size_t v = 0; v < request->map->n_vessels && a->vessel < 0; v++) {
        const nrw_centreline *line = &request->lines[v];
        if (request->map->vessels[v].from == a->vertex)
            width = fmax(width, line->points[0].width_um);
        if (request->map->vessels[v].to == a->vertex)
            width = fmax(width, line->points[line->n_points - 1].width_um);
    }
    return width;
}

static nrw_status lay_closed(const nrw_route_request *request, graph *g, nrw_route *route,
                             nrw_errors *errors)
{
    const anchor *start = &g->anchors[0], *target = &g->anchors[g->n_anchors - 1];
    bool stays = request->n_via_nodes == 0 && request->start.at_um[0] == request->target.at_um[0] &&
                 request->start.at_um[1] == request->target.at_um[1];
    /* A node's width counts only where the route does not go into a vessel. */
    double width = start->vessel >= 0 || stays ? anchor_width(request, start) : INFINITY;
    nrw_status status = lay(route, request->start.at_um, width);
    if (status == NRW_OK)
        pass_node(route, start->vertex);
    if (status != NRW_OK || stays)
        return status;
    if (start->vessel >= 0)
        status = lay(route, start->foot.at_um, anchor_width(request, start));
    for (size_t leg = 0; leg + 1 < g->n_anchors && status == NRW_OK; leg++) {
        status = lay_leg(route, request, g, g->anchors[leg].vertex, g->anchors[leg + 1].vertex);
        if (status == NRW_REFUSED)
            return refuse_leg(request, leg, errors);
    }
    if (status == NRW_OK && target->vessel >= 0)
        status = lay(route, request->target.at_um, anchor_width(request, target));
    return status;
}

/* Without walls: the straight line; nodes on it count as passed. */
static nrw_status lay_open(const nrw_route_request *request, nrw_route *route)
{
    nrw_status status = lay(route, request->start.at_um, INFINITY);
    if (status == NRW_OK)
        status = lay(route, request->target.at_um, INFINITY);
    for (size_t i = 0; i < route->n_nodes && status == NRW_OK; i++) {
        const double *at = request->map->nodes[i].at_um;
        double s = fmin(fmax(nrw_route_project_um(route, at[0], at[1]), 0.0), laid_um(route));
        double nearest[2];
        nrw_route_at(route, s, nearest, NULL);
        if (hypot(at[0] - nearest[0], at[1] - nearest[1]) < NRW_CENTRELINE_SAME_UM)
            route->node_s_um[i] = s;
    }
    return status;
}

/* --- discs at nodes --------------------------------------------------------- */

typedef struct width_sample {
    nrw_route_width width;
    size_t order; /* keeps the two sides of a jump in order */
} width_sample;

static int compare_samples(const void *left, const void *right)
{
    const width_sample *a = left, *b = right;
    if (a->width.s_um != b->width.s_um)
        return a->width.s_um < b->width.s_um ? -1 : 1;
    return (a->order > b->order) - (a->order < b->order);
}

/* Chord across the route of the widest of the passed discs at s; 0 outside them. */
static double chord_at(const nrw_route_request *request, const nrw_route *route,
                       const size_t *passed, size_t n_passed, double s)
{
    double at[2], widest = 0.0;
    nrw_route_at(route, s, at, NULL);
    for (size_t i = 0; i < n_passed; i++) {
        double radius = request->joint_radius_um[passed[i]];
        const double *centre = request->map->nodes[passed[i]].at_um;
        double away = hypot(at[0] - centre[0], at[1] - centre[1]);
        if (away < radius)
            widest = fmax(widest, 2.0 * sqrt((radius - away) * (radius + away)));
    }
    return widest;
}

/* Steps for a quarter of a disc, as fine as its outline. */
static size_t quarter_steps(double radius)
{
    double sagitta = fmin(NRW_OUTLINE_SAGITTA_UM, 1e-3 * radius);
    return (size_t)ceil(0.25 * NRW_PI / acos(1.0 - sagitta / radius));
}

/* Samples at equal steps of angle across a disc: between them the chord is straight
 * to within the outline's own error. */
static size_t sample_disc(const nrw_route *route, double centre_s, double radius,
                          width_sample *samples)
{
    size_t n = 0, steps = quarter_steps(radius);
    for (size_t k = 0; k < 2 * steps; k++) {
        size_t step = k / 2 + 1;
        double angle = 0.5 * NRW_PI * (double)step / (double)steps;
        double s = centre_s + (k % 2 ? radius : -radius) * sin(angle);
        if (s > 0.0 && s < laid_um(route))
            samples[n++] = (width_sample){{s, nrw_route_width_um(route, s)}, route->n_widths};
    }
    return n;
}

/* Nodes with a disc on the route, and how many samples they ask for at most. */
static size_t find_discs(const nrw_route_request *request, const nrw_route *route, size_t *passed,
                         size_t *n_samples)
{
    size_t n = 0;
    *n_samples = 0;
    for (size_t i = 0; i < route->n_nodes; i++)
        if (request->joint_radius_um[i] > 0.0 && !isnan(route->node_s_um[i])) {
            passed[n++] = i;
            *n_samples += 2 * quarter_steps(request->joint_radius_um[i]);
        }
    return n;
}

/* Widens the route where it crosses the discs at nodes. */
static nrw_status widen_at_discs(const nrw_route_request *request, nrw_route *route)
{
    size_t n_extra = 0, n_passed = 0;
    size_t *passed = malloc((route->n_nodes + 1) * sizeof *passed);
    if (passed)
        n_passed = find_discs(request, route, passed, &n_extra);
    size_t most = route->n_widths + n_extra + 1;
    width_sample *samples = malloc(most * sizeof *samples);
    nrw_route_width *widths = malloc(most * sizeof *widths);
    if (!passed || !samples || !widths) {
        free(passed);
        free(samples);
        free(widths);
        return NRW_NO_MEMORY;
    }
    size_t n = 0;
    for (; n < route->n_widths; n++)
        samples[n] = (width_sample){route->widths[n], n};
    for (size_t i = 0; i < n_passed; i++)
        n += sample_disc(route, route->node_s_um[passed[i]], request->joint_radius_um[passed[i]],
                         samples + n);
    qsort(samples, n, sizeof *samples, compare_samples);
    for (size_t i = 0; i < n; i++) {
        double chord = chord_at(request, route, passed, n_passed, samples[i].width.s_um);
        widths[i].s_um = samples[i].width.s_um;
        widths[i].width_um = fmax(samples[i].width.width_um, chord);
    }
    free(passed);
    free(samples);
    free(route->widths);
    route->widths = widths;
    route->n_widths = n;
    route->width_capacity = most;
    return NRW_OK;
}

static nrw_status allocate(const nrw_route_request *request, nrw_route *route)
{
    memset(route, 0, sizeof *route);
    size_t n_nodes = request->map->n_nodes, n_vessels = request->map->n_vessels;
    route->node_s_um = malloc((n_nodes + 1) * sizeof *route->node_s_um);
    route->has_vessel = calloc(n_vessels + 1, sizeof *route->has_vessel);
    if (!route->node_s_um || !route->has_vessel)
        return NRW_NO_MEMORY;
    route->n_nodes = n_nodes;
    route->n_vessels = n_vessels;
    for (size_t i = 0; i < n_nodes; i++)
        route->node_s_um[i] = NAN;
    return NRW_OK;
}

nrw_status nrw_route_build(const nrw_route_request *request, nrw_route *route, nrw_errors *errors)
{
    graph g = {0};
    nrw_status status = allocate(request, route);
    if (status == NRW_OK && !request->lines)
        status = lay_open(request, route);
    if (status == NRW_OK && request->lines) {
        status = graph_build(request, &g);
        if (status == NRW_OK)
            status = lay_closed(request, &g, route, errors);
        if (status == NRW_OK)
            status = widen_at_discs(request, route);
        graph_clear(&g);
    }
    if (status == NRW_NO_MEMORY)
        return nrw_errors_add(errors, status, "", "no memory for the route");
    /* The last point keeps the direction of the last piece. */
    if (status == NRW_OK && route->n_points > 1)
        memcpy(route->points[route->n_points - 1].along, route->points[route->n_points - 2].along,
               sizeof route->points->along);
    return status;
}
