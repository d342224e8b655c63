#include "mask_map.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* A node of the map is on a line within this many pixels, or this share of the
 * width. */
#define ON_LINE_PX 2.0
#define ON_LINE_SHARE 0.1
/* Dead ends behind an inlet or outlet up to this many widths long are cut off. */
#define DEAD_END_WIDTHS 1.5
/* Simplification of centrelines and of widths along them, pixels. */
#define CENTRELINE_TOLERANCE_PX 0.15
#define WIDTH_TOLERANCE_PX 0.3
/* As the reader of maps. */
enum { NODES_MAX = 10000, VESSELS_MAX = 10000 };

typedef struct filler {
    nrw_mask_graph *graph;
    nrw_mask *mask;
    nrw_map *map;
    int *owner; /* (n_nodes of the graph) node of the map, -1: none yet */
    size_t owner_capacity;
} filler;

static double apart(const double a[2], const double b[2])
{
    return hypot(b[0] - a[0], b[1] - a[1]);
}

/* --- nodes of the map on the lines ------------------------------------------------------- */

typedef struct foot {
    size_t line, index;
    double apart_px;
} foot;

/* Nearest point of all lines; they are a pixel apart. */
static foot nearest_foot(const nrw_mask_graph *graph, const double at[2])
{
    foot best = {0, 0, INFINITY};
    for (size_t k = 0; k < graph->n_lines; k++)
        for (size_t i = 0; i < graph->lines[k].n_points; i++) {
            double distance = apart(graph->lines[k].points_px[i], at);
            if (distance < best.apart_px)
                best = (foot){k, i, distance};
        }
    return best;
}

/* Leads the lines that end at a node through another place: what moves fades out
 * over one width. */
static void move_node(nrw_mask_graph *graph, int node, const double at[2])
{
    double shift[2] = {at[0] - graph->nodes[node].at_px[0], at[1] - graph->nodes[node].at_px[1]};
    for (size_t k = 0; k < graph->n_lines; k++)
        for (int end = 0; end < 2; end++) {
            nrw_mask_line *line = &graph->lines[k];
            if (line->node[end] != node)
                continue;
            size_t n = line->n_points;
            double width = line->width_px[end ? n - 1 : 0];
            double over = fmax(1.0, fmin(fmax(width, 4.0), (double)n - 1.0));
            for (size_t i = 0; i < n && (double)i < over; i++) {
                double *point = line->points_px[end ? n - 1 - i : i];
                point[0] += shift[0] * (1.0 - (double)i / over);
                point[1] += shift[1] * (1.0 - (double)i / over);
            }
        }
    memcpy(graph->nodes[node].at_px, at, 2 * sizeof *at);
}

/* Takes off what lies between a point of a line and its free end. */
static void cut_off(nrw_mask_line *line, int end, size_t index)
{
    if (end == 1) {
        line->n_points = index + 1;
        return;
    }
    size_t n = line->n_points - index;
    memmove(line->points_px, line->points_px + index, n * sizeof *line->points_px);
    memmove(line->width_px, line->width_px + index, n * sizeof *line->width_px);
    line->n_points = n;
}

/* End of the line where an inlet or outlet at that foot belongs; -1: none near. */
static int free_end_near(const nrw_mask_graph *graph, const foot *at)
{
    const nrw_mask_line *line = &graph->lines[at->line];
    double reach = DEAD_END_WIDTHS * line->width_px[at->index] + ON_LINE_PX;
    double to_end[2] = {(double)at->index, (double)(line->n_points - 1 - at->index)};
    int best = -1;
    for (int end = 0; end < 2; end++)
        if (graph->nodes[line->node[end]].n_lines == 1 && to_end[end] <= reach &&
            (best < 0 || to_end[end] < to_end[best]))
            best = end;
    return best;
}

static bool is_free(const filler *f, int node)
{
    return f->owner[node] < 0;
}

/* Node of the graph for a node of the map, cutting a line if need be; -1: it stays
 * beside the lines, -2: no memory. */
static int graph_node_for(filler *f, size_t index, const double at[2])
{
    nrw_mask_graph *graph = f->graph;
    const nrw_node *own = &f->map->nodes[index];
    foot nearest = nearest_foot(graph, at);
    nrw_mask_line *line = &graph->lines[nearest.line];
    double tolerance = fmax(ON_LINE_PX, ON_LINE_SHARE * line->width_px[nearest.index]);
    if (!(nearest.apart_px <= tolerance))
        return -1;
    int end = own->is_inlet || own->is_outlet ? free_end_near(graph, &nearest) : -1;
    if (end >= 0 && is_free(f, line->node[end]) && line->n_points > 2) {
        size_t keep = nearest.index;
        keep = end == 1 && keep < 1 ? 1 : keep;
        keep = end == 0 && keep > line->n_points - 2 ? line->n_points - 2 : keep;
        cut_off(line, end, keep);
        memcpy(graph->nodes[line->node[end]].at_px, line->points_px[end ? line->n_points - 1 : 0],
               sizeof *line->points_px);
        return line->node[end];
    }
    for (end = 0; end < 2; end++)
        if (is_free(f, line->node[end]) &&
            apart(graph->nodes[line->node[end]].at_px, at) <= tolerance)
            return line->node[end];
    if (nearest.index == 0 || nearest.index == line->n_points - 1)
        return -1;
    if (!nrw_mask_graph_cut(graph, nearest.line, nearest.index,
                            0.5 * line->width_px[nearest.index]))
        return -2;
    return (int)graph->n_nodes - 1;
}

static bool room_for_owners(filler *f)
{
    size_t n = f->graph->n_nodes;
    if (n < f->owner_capacity)
        return true;
    size_t capacity = 2 * n + 16;
    int *owner = realloc(f->owner, capacity * sizeof *owner);
    if (!owner)
        return false;
    for (size_t i = f->owner_capacity; i < capacity; i++)
        owner[i] = -1;
    f->owner = owner;
    f->owner_capacity = capacity;
    return true;
}

static nrw_status claim_nodes(filler *f)
{
    for (size_t i = 0; i < f->map->n_nodes; i++) {
        double at[2];
        if (!room_for_owners(f))
            return NRW_NO_MEMORY;
        nrw_mask_to_px(&f->mask->frame, f->map->nodes[i].at_um, at);
        int node = graph_node_for(f, i, at);
        if (node == -2 || !room_for_owners(f))
            return NRW_NO_MEMORY;
        if (node < 0)
            continue;
        f->owner[node] = (int)i;
        move_node(f->graph, node, at);
    }
    return room_for_owners(f) ? NRW_OK : NRW_NO_MEMORY;
}

/* --- the other nodes ------------------------------------------------------------------------ */

static bool is_named(const nrw_map *map, const char *name)
{
    for (size_t i = 0; i < map->n_nodes; i++)
        if (strcmp(map->nodes[i].name, name) == 0)
            return true;
    return false;
}

/* "junction 1", "end 1", ...: the next number that no node of the map has. */
static void name_node(const nrw_map *map, const nrw_mask_node *node, int counts[2],
                      char name[NRW_NAME_SIZE])
{
    bool is_end = node->n_lines == 1;
    do
        (void)snprintf(name, NRW_NAME_SIZE, "%s %d", is_end ? "end" : "junction", ++counts[is_end]);
    while (is_named(map, name));
}

static nrw_status add_nodes(filler *f)
{
    nrw_map *map = f->map;
    size_t most = map->n_nodes + f->graph->n_nodes;
    nrw_node *nodes = realloc(map->nodes, (most + 1) * sizeof *nodes);
    if (!nodes)
        return NRW_NO_MEMORY;
    map->nodes = nodes;
    int counts[2] = {0, 0};
    for (size_t i = 0; i < f->graph->n_nodes; i++) {
        const nrw_mask_node *node = &f->graph->nodes[i];
        if (f->owner[i] >= 0 || node->n_lines == 0)
            continue;
        nrw_node *added = &map->nodes[map->n_nodes];
        memset(added, 0, sizeof *added);
        name_node(map, node, counts, added->name);
        nrw_mask_to_um(&f->mask->frame, node->at_px, added->at_um);
        f->owner[i] = (int)map->n_nodes++;
    }
    f->mask->joint_radius_um = calloc(map->n_nodes + 1, sizeof *f->mask->joint_radius_um);
    if (!f->mask->joint_radius_um)
        return NRW_NO_MEMORY;
    for (size_t i = 0; i < f->graph->n_nodes; i++)
        if (f->graph->nodes[i].n_lines > 2)
            f->mask->joint_radius_um[f->owner[i]] =
                f->mask->frame.pixel_um * f->graph->nodes[i].radius_px;
    return NRW_OK;
}

/* --- vessels ---------------------------------------------------------------------------------- */

/* Marks the points of a line that a polyline needs to stay within the tolerance of
 * all (Douglas & Peucker 1973, Cartographica 10:112); values (n x 2). With
 * `vertical`, offsets count along the second value alone, for a function of the
 * first. stack (2 n). */
static void simplify(double (*values)[2], size_t n, double tolerance, bool vertical, bool *kept,
                     size_t *stack)
{
    size_t n_stack = 0;
    memset(kept, 0, n * sizeof *kept);
    kept[0] = kept[n - 1] = true;
    stack[n_stack++] = 0;
    stack[n_stack++] = n - 1;
    while (n_stack > 0) {
        size_t to = stack[--n_stack], from = stack[--n_stack], split = from;
        const double *a = values[from], *b = values[to];
        double d[2] = {b[0] - a[0], b[1] - a[1]}, length = hypot(d[0], d[1]), most = tolerance;
        for (size_t i = from + 1; i < to; i++) {
            double r[2] = {values[i][0] - a[0], values[i][1] - a[1]};
            double cross = fabs(r[0] * d[1] - r[1] * d[0]);
            double by = vertical ? d[0] : length;
            double off = by > 0.0 ? cross / by : hypot(r[0], r[1]);
            if (off > most) {
                most = off;
                split = i;
            }
        }
        if (split == from)
            continue;
        kept[split] = true;
        stack[n_stack++] = from;
        stack[n_stack++] = split;
        stack[n_stack++] = split;
        stack[n_stack++] = to;
    }
}

typedef struct scratch {
    bool *kept;
    size_t *stack;
    double (*values)[2];
} scratch;

/* Whether a way from a over b to c turns straight back at b, or does not move. */
static bool turns_back(const double a[2], const double b[2], const double c[2])
{
    double u[2] = {b[0] - a[0], b[1] - a[1]}, v[2] = {c[0] - b[0], c[1] - b[1]};
    double size = hypot(u[0], u[1]) * hypot(v[0], v[1]);
    double along = u[0] * v[0] + u[1] * v[1], across = u[0] * v[1] - u[1] * v[0];
    return along <= 0.0 && fabs(across) <= 1e-6 * size;
}

/* The kept points as the vessel's own; where noise makes the line turn back on itself
 * the tip is left out. */
static nrw_status take_points(const filler *f, const nrw_mask_line *line, const scratch *work,
                              nrw_vessel *vessel)
{
    simplify(line->points_px, line->n_points, CENTRELINE_TOLERANCE_PX, false, work->kept,
             work->stack);
    double(*points)[2] = malloc(line->n_points * sizeof *points);
    vessel->via_um = points;
    if (!points)
        return NRW_NO_MEMORY;
    size_t n = 0; /* with the first point, which is the node */
    for (size_t i = 0; i < line->n_points; i++) {
        const double *at = line->points_px[i];
        if (!work->kept[i])
            continue;
        while (n > 1 && turns_back(points[n - 2], points[n - 1], at))
            n--;
        memcpy(points[n++], at, sizeof *points);
    }
    /* The nodes at both ends are not via points. */
    vessel->n_via = n - 2;
    for (size_t i = 0; i < vessel->n_via; i++)
        nrw_mask_to_um(&f->mask->frame, points[i + 1], points[i]);
    return NRW_OK;
}

static nrw_status take_widths(const filler *f, const nrw_mask_line *line, const scratch *work,
                              nrw_vessel *vessel)
{
    double s = 0.0;
    for (size_t i = 0; i < line->n_points; i++) {
        s += i > 0 ? apart(line->points_px[i - 1], line->points_px[i]) : 0.0;
        work->values[i][0] = s;
        work->values[i][1] = line->width_px[i];
    }
    simplify(work->values, line->n_points, WIDTH_TOLERANCE_PX, true, work->kept, work->stack);
    vessel->widths = malloc(line->n_points * sizeof *vessel->widths);
    if (!vessel->widths)
        return NRW_NO_MEMORY;
    for (size_t i = 0; i < line->n_points; i++)
        if (work->kept[i])
            vessel->widths[vessel->n_widths++] =
                (nrw_width_point){s > 0.0 ? fmin(work->values[i][0] / s, 1.0) : 0.0,
                                  f->mask->frame.pixel_um * work->values[i][1]};
    return NRW_OK;
}

static nrw_status take_line(const filler *f, const nrw_mask_line *line, nrw_vessel *vessel)
{
    scratch work = {malloc(line->n_points * sizeof *work.kept),
                    malloc(2 * (line->n_points + 1) * sizeof *work.stack),
                    malloc(line->n_points * sizeof *work.values)};
    nrw_status status = work.kept && work.stack && work.values ? NRW_OK : NRW_NO_MEMORY;
    vessel->from = f->owner[line->node[0]];
    vessel->to = f->owner[line->node[1]];
    if (status == NRW_OK)
        status = take_points(f, line, &work, vessel);
    if (status == NRW_OK)
        status = take_widths(f, line, &work, vessel);
    free(work.kept);
    free(work.stack);
    free(work.values);
    return status;
}

static nrw_status add_vessels(filler *f)
{
    nrw_map *map = f->map;
    map->vessels = calloc(f->graph->n_lines + 1, sizeof *map->vessels);
    if (!map->vessels)
        return NRW_NO_MEMORY;
    nrw_status status = NRW_OK;
    for (size_t k = 0; k < f->graph->n_lines && status == NRW_OK; k++)
        status = take_line(f, &f->graph->lines[k], &map->vessels[map->n_vessels++]);
    return status;
}

nrw_status nrw_mask_map_fill(nrw_mask_graph *graph, nrw_mask *mask, nrw_map *map, char *fault,
                             size_t size)
{
    filler f = {.graph = graph, .mask = mask, .map = map};
    nrw_status status = claim_nodes(&f);
    if (status == NRW_OK &&
        (map->n_nodes + graph->n_nodes > NODES_MAX || graph->n_lines > VESSELS_MAX)) {
        (void)snprintf(fault, size,
                       "has %zu vessels that meet or end at %zu places: at most "
                       "10,000 of each are followed",
                       graph->n_lines, graph->n_nodes);
        status = NRW_BAD_INPUT;
    }
    if (status == NRW_OK)
        status = add_nodes(&f);
    if (status == NRW_OK)
        status = add_vessels(&f);
    free(f.owner);
    return status;
}
