#include "mask_graph.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* A free end this many radii of its origin away, or nearer, is a corner's. */
#define CORNER_RADII 1.5
/* Fewer pixels from a place to itself go round no island. */
enum { LEAST_RING = 3 };

void nrw_mask_graph_clear(nrw_mask_graph *graph)
{
    for (size_t i = 0; i < graph->n_lines; i++) {
        free(graph->lines[i].points_px);
        free(graph->lines[i].width_px);
    }
    free(graph->lines);
    free(graph->nodes);
    memset(graph, 0, sizeof *graph);
}

/* --- editing --------------------------------------------------------------------------- */

static bool reserve(void **items, size_t *capacity, size_t n, size_t size)
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

int nrw_mask_graph_add_node(nrw_mask_graph *graph, const double at_px[2], double radius_px)
{
    void *nodes = graph->nodes;
    bool room = reserve(&nodes, &graph->node_capacity, graph->n_nodes, sizeof *graph->nodes);
    graph->nodes = nodes;
    if (!room)
        return -1;
    graph->nodes[graph->n_nodes] = (nrw_mask_node){{at_px[0], at_px[1]}, radius_px, 0};
    return (int)graph->n_nodes++;
}

nrw_mask_line *nrw_mask_graph_add_line(nrw_mask_graph *graph, int from, int to)
{
    void *lines = graph->lines;
    bool room = reserve(&lines, &graph->line_capacity, graph->n_lines, sizeof *graph->lines);
    graph->lines = lines;
    if (!room)
        return NULL;
    nrw_mask_line *line = &graph->lines[graph->n_lines++];
    *line = (nrw_mask_line){{from, to}, NULL, NULL, 0};
    graph->nodes[from].n_lines++;
    graph->nodes[to].n_lines++;
    return line;
}

static void remove_line(nrw_mask_graph *graph, size_t index)
{
    nrw_mask_line *line = &graph->lines[index];
    graph->nodes[line->node[0]].n_lines--;
    graph->nodes[line->node[1]].n_lines--;
    free(line->points_px);
    free(line->width_px);
    *line = graph->lines[--graph->n_lines];
}

bool nrw_mask_graph_cut(nrw_mask_graph *graph, size_t line, size_t index, double radius_px)
{
    const nrw_mask_line *whole = &graph->lines[line];
    size_t n = whole->n_points - index;
    double(*points)[2] = malloc(n * sizeof *points);
    double *widths = whole->width_px ? malloc(n * sizeof *widths) : NULL;
    int node = points && (widths || !whole->width_px)
                   ? nrw_mask_graph_add_node(graph, whole->points_px[index], radius_px)
                   : -1;
    nrw_mask_line *rest = node >= 0 ? nrw_mask_graph_add_line(graph, node, whole->node[1]) : NULL;
    if (!rest) {
        free(points);
        free(widths);
        return false;
    }
    nrw_mask_line *first = &graph->lines[line]; /* lines may have moved */
    memcpy(points, first->points_px + index, n * sizeof *points);
    if (widths)
        memcpy(widths, first->width_px + index, n * sizeof *widths);
    rest->points_px = points;
    rest->width_px = widths;
    rest->n_points = n;
    graph->nodes[first->node[1]].n_lines--;
    graph->nodes[node].n_lines++;
    first->node[1] = node;
    first->n_points = index + 1;
    return true;
}

bool nrw_mask_graph_contract(nrw_mask_graph *graph, size_t line)
{
    int kept = graph->lines[line].node[0], gone = graph->lines[line].node[1];
    for (size_t k = 0; k < graph->n_lines; k++) {
        const int *node = graph->lines[k].node;
        if (k != line && (node[0] == kept || node[1] == kept) &&
            (node[0] == gone || node[1] == gone))
            return false;
    }
    nrw_mask_node *a = &graph->nodes[kept], *b = &graph->nodes[gone];
    for (int k = 0; k < 2; k++)
        a->at_px[k] = 0.5 * (a->at_px[k] + b->at_px[k]);
    a->radius_px = fmax(a->radius_px, b->radius_px);
    remove_line(graph, line);
    for (size_t k = 0; k < graph->n_lines; k++)
        for (int end = 0; end < 2; end++)
            if (graph->lines[k].node[end] == gone) {
                graph->lines[k].node[end] = kept;
                a->n_lines++;
                b->n_lines--;
            }
    return true;
}

/* --- following pixels --------------------------------------------------------------------- */

typedef struct follower {
    const nrw_mask_field *field;
    const nrw_mask_skeleton *skeleton;
    nrw_mask_graph *graph;
    int *label;    /* (pixels) node that a pixel belongs to, -1: none, -2: on a line that
                      was followed */
    int *stack;    /* (n_line) */
    size_t n_line; /* pixels of the skeleton */
    int steps[4];  /* to the four neighbours */
} follower;

static int n_sides(const follower *f, int at)
{
    int n = 0;
    for (int k = 0; k < 4; k++)
        n += f->skeleton->line[at + f->steps[k]];
    return n;
}

static void place_of(const follower *f, int pixel, double at[2])
{
    at[0] = f->field->x0 + pixel % f->field->width + 0.5;
    at[1] = f->field->y0 + pixel / f->field->width + 0.5;
}

/* The distances are to centres of wall pixels: the wall begins half a pixel nearer. */
static double radius_of(const follower *f, int pixel)
{
    return fmax((double)f->skeleton->distance_px[pixel] - 0.5, 0.5);
}

/* A place where the line ends or branches: this pixel and those like it that touch
 * it; it stands where the distance is largest. */
static bool add_place(follower *f, int pixel)
{
    size_t n = 0;
    int best = pixel, node = (int)f->graph->n_nodes;
    bool branches = n_sides(f, pixel) > 2;
    f->label[pixel] = node;
    f->stack[n++] = pixel;
    while (n > 0) {
        int at = f->stack[--n];
        if (f->skeleton->distance_px[at] > f->skeleton->distance_px[best])
            best = at;
        for (int k = 0; k < 4 && branches; k++) {
            int next = at + f->steps[k];
            if (f->skeleton->line[next] && f->label[next] == -1 && n_sides(f, next) > 2) {
                f->label[next] = node;
                f->stack[n++] = next;
            }
        }
    }
    double at[2];
    place_of(f, best, at);
    return nrw_mask_graph_add_node(f->graph, at, radius_of(f, best)) >= 0;
}

/* Follows the line that leaves `from`, a pixel of a node, over `next`. */
static bool follow(follower *f, int from, int next)
{
    size_t n = 0;
    int before = from;
    while (f->label[next] == -1) {
        f->label[next] = -2;
        f->stack[n++] = next;
        int ahead = -1;
        for (int k = 0; k < 4; k++) {
            int side = next + f->steps[k];
            if (f->skeleton->line[side] && side != before)
                ahead = side;
        }
        before = next;
        next = ahead;
    }
    int ends[2] = {f->label[from], f->label[next]};
    if (ends[0] == ends[1] && n < LEAST_RING)
        return true;
    nrw_mask_line *line = nrw_mask_graph_add_line(f->graph, ends[0], ends[1]);
    if (!line || !(line->points_px = malloc((n + 2) * sizeof *line->points_px)))
        return false;
    memcpy(line->points_px[0], f->graph->nodes[ends[0]].at_px, sizeof *line->points_px);
    for (size_t i = 0; i < n; i++)
        place_of(f, f->stack[i], line->points_px[i + 1]);
    memcpy(line->points_px[n + 1], f->graph->nodes[ends[1]].at_px, sizeof *line->points_px);
    line->n_points = n + 2;
    /* A line from a place to itself gets another one in its middle. */
    return ends[0] != ends[1] || nrw_mask_graph_cut(f->graph, f->graph->n_lines - 1, (n + 1) / 2,
                                                    radius_of(f, f->stack[n / 2]));
}

/* All lines that leave the node's pixels; those already followed are left out. */
static bool follow_from(follower *f, int pixel)
{
    bool ok = true;
    for (int k = 0; k < 4 && ok; k++) {
        int next = pixel + f->steps[k];
        if (!f->skeleton->line[next] || f->label[next] == f->label[pixel])
            continue;
        /* Two places side by side: the line has no pixels of its own; one of them adds it. */
        bool direct = f->label[next] >= 0 && f->label[pixel] < f->label[next];
        if (f->label[next] == -1 || direct)
            ok = follow(f, pixel, next);
    }
    return ok;
}

static bool follow_all(follower *f)
{
    const int n = f->field->width * f->field->height;
    bool ok = true;
    for (int i = 0; i < n && ok; i++)
        if (f->skeleton->line[i] && f->label[i] == -1 && n_sides(f, i) != 2)
            ok = add_place(f, i);
    for (int i = 0; i < n && ok; i++)
        if (f->label[i] >= 0)
            ok = follow_from(f, i);
    /* What is left are rings. */
    for (int i = 0; i < n && ok; i++)
        if (f->skeleton->line[i] && f->label[i] == -1)
            ok = add_place(f, i) && follow_from(f, i);
    return ok;
}

/* --- leaving out corners ------------------------------------------------------------------ */

static double line_length(const nrw_mask_line *line)
{
    double sum = 0.0;
    for (size_t i = 0; i + 1 < line->n_points; i++)
        sum += hypot(line->points_px[i + 1][0] - line->points_px[i][0],
                     line->points_px[i + 1][1] - line->points_px[i][1]);
    return sum;
}

/* Whether a line is a free end that leads into a corner. */
static bool is_corner(const nrw_mask_graph *graph, const nrw_mask_line *line)
{
    for (int end = 0; end < 2; end++) {
        const nrw_mask_node *tip = &graph->nodes[line->node[end]];
        const nrw_mask_node *origin = &graph->nodes[line->node[1 - end]];
        if (tip->n_lines != 1)
            continue;
        double away = hypot(tip->at_px[0] - origin->at_px[0], tip->at_px[1] - origin->at_px[1]);
        if (away + tip->radius_px < CORNER_RADII * origin->radius_px + 1.0)
            return true;
    }
    return false;
}

/* Joins the two lines that meet at a node into one. */
static bool join_at(nrw_mask_graph *graph, size_t a, size_t b, int node)
{
    nrw_mask_line *first = &graph->lines[a], *second = &graph->lines[b];
    size_t n = first->n_points + second->n_points - 1;
    double(*points)[2] = malloc(n * sizeof *points);
    if (!points)
        return false;
    bool forward = first->node[1] == node, onward = second->node[0] == node;
    size_t last = first->n_points - 1;
    for (size_t i = 0; i <= last; i++)
        memcpy(points[i], first->points_px[forward ? i : last - i], sizeof *points);
    for (size_t i = 1; i < second->n_points; i++)
        memcpy(points[last + i], second->points_px[onward ? i : second->n_points - 1 - i],
               sizeof *points);
    int from = first->node[forward ? 0 : 1], to = second->node[onward ? 1 : 0];
    free(first->points_px);
    first->points_px = points;
    first->n_points = n;
    graph->nodes[first->node[0]].n_lines--;
    graph->nodes[first->node[1]].n_lines--;
    first->node[0] = from;
    first->node[1] = to;
    graph->nodes[from].n_lines++;
    graph->nodes[to].n_lines++;
    remove_line(graph, b);
    return true;
}

/* Joins lines at all places where just two meet, unless both lead to one place. */
static bool join_lines(nrw_mask_graph *graph)
{
    bool ok = true;
    for (int node = 0; node < (int)graph->n_nodes && ok; node++) {
        if (graph->nodes[node].n_lines != 2)
            continue;
        size_t pair[2], n = 0;
        int others[2];
        for (size_t k = 0; k < graph->n_lines && n < 2; k++)
            for (int end = 0; end < 2; end++)
                if (graph->lines[k].node[end] == node) {
                    others[n] = graph->lines[k].node[1 - end];
                    pair[n++] = k;
                }
        if (others[0] != others[1])
            ok = join_at(graph, pair[0], pair[1], node);
    }
    return ok;
}

/* Takes all corners of one round off; false when there are none. A figure of nothing
 * but corners (a square, a disc) keeps its longest one. */
static bool leave_out_corners(nrw_mask_graph *graph, bool *marks)
{
    size_t n_marked = 0, longest = 0;
    for (size_t i = 0; i < graph->n_lines; i++) {
        marks[i] = is_corner(graph, &graph->lines[i]);
        n_marked += marks[i];
        if (line_length(&graph->lines[i]) > line_length(&graph->lines[longest]))
            longest = i;
    }
    if (n_marked > 0 && n_marked == graph->n_lines) {
        marks[longest] = false;
        n_marked--;
    }
    for (size_t i = graph->n_lines; i-- > 0;)
        if (marks[i])
            remove_line(graph, i);
    return n_marked > 0;
}

static nrw_status prune(nrw_mask_graph *graph)
{
    bool *marks = malloc((graph->n_lines + 1) * sizeof *marks);
    bool ok = marks && join_lines(graph);
    while (ok && leave_out_corners(graph, marks))
        ok = join_lines(graph);
    free(marks);
    return ok ? NRW_OK : NRW_NO_MEMORY;
}

/* Drops nodes that no line reaches. */
static void compact_nodes(nrw_mask_graph *graph)
{
    size_t n = 0;
    for (size_t i = 0; i < graph->n_nodes; i++) {
        if (graph->nodes[i].n_lines == 0)
            continue;
        graph->nodes[n] = graph->nodes[i];
        for (size_t k = 0; k < graph->n_lines && n != i; k++)
            for (int end = 0; end < 2; end++)
                if (graph->lines[k].node[end] == (int)i)
                    graph->lines[k].node[end] = (int)n;
        n++;
    }
    graph->n_nodes = n;
}

nrw_status nrw_mask_graph_trace(const nrw_mask_field *field, const nrw_mask_skeleton *skeleton,
                                nrw_mask_graph *graph)
{
    const int w = field->width, n = w * field->height;
    memset(graph, 0, sizeof *graph);
    follower f = {.field = field, .skeleton = skeleton, .graph = graph, .steps = {1, w, -1, -w}};
    f.label = malloc((size_t)n * sizeof *f.label);
    for (int i = 0; i < n; i++)
        f.n_line += skeleton->line[i];
    f.stack = malloc((f.n_line + 1) * sizeof *f.stack);
    nrw_status status = NRW_NO_MEMORY;
    if (f.label && f.stack) {
        for (int i = 0; i < n; i++)
            f.label[i] = -1;
        status = follow_all(&f) ? NRW_OK : NRW_NO_MEMORY;
    }
    free(f.label);
    free(f.stack);
    if (status == NRW_OK)
        status = prune(graph);
    if (status == NRW_OK && graph->n_lines == 0)
        return NRW_BAD_INPUT;
    if (status == NRW_OK)
        compact_nodes(graph);
    return status;
}
