/* From the skeleton's pixels to lines in the middle between the walls: the second
 * half of mask_graph.h. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "mask_graph.h"
#include "units.h"

/* March along a ray to the wall, pixels; halvings of the last step. */
#define MARCH 0.25
enum { HALVINGS = 12 };
/* Rounds of centring, and of smoothing in each. */
enum { ROUNDS = 4, SMOOTHINGS = 6 };
/* Points on either side over which a direction is taken: at least, and as a share of
 * the half width. */
#define DIRECTION_LEAST 4.0
#define DIRECTION_SHARE 1.0
#define DIRECTION_MOST 200.0
/* The skeleton is off by a pixel; a round moves no point farther than this. */
#define SHIFT_MOST 1.0
/* Walls count for the centring only where they are this near for what the nearer
 * one says: beside a mouth one ray may see the throat and the other the chamber. */
#define BESIDE 3.0
/* Directions in which the largest disc about a point is felt for. */
enum { FEELERS = 32 };
/* A crossing of the branches this many radii from the middle, or nearer, is taken. */
#define CROSSING_RADII 0.75
/* Places nearer than this share of their radii (and a pixel or so) are one. */
#define ONE_PLACE 0.3
/* Widths in the last pixels before a closed end are those before them. */
enum { END_POINTS = 2 };

typedef double point[2];

typedef struct refiner {
    const nrw_mask_field *field;
    nrw_mask_graph *graph;
    double *least_px; /* (n_lines) width of lines that lie within the discs of their
                         ends; NAN: the line has a core of its own */
} refiner;

/* --- rays --------------------------------------------------------------------------------- */

static bool in_fluid(const nrw_mask_field *field, double x, double y)
{
    return nrw_mask_field_level(field, x, y) > (double)NRW_MASK_LEVEL;
}

/* Way from a point to the wall in a direction (unit vector); 0 from within the wall.
 * The rim of the field is wall, so that it ends. */
static double march(const nrw_mask_field *field, const double at[2], double dx, double dy)
{
    double inside = 0.0;
    if (!in_fluid(field, at[0], at[1]))
        return 0.0;
    while (in_fluid(field, at[0] + (inside + MARCH) * dx, at[1] + (inside + MARCH) * dy))
        inside += MARCH;
    double outside = inside + MARCH;
    for (int k = 0; k < HALVINGS; k++) {
        double middle = 0.5 * (inside + outside);
        if (in_fluid(field, at[0] + middle * dx, at[1] + middle * dy))
            inside = middle;
        else
            outside = middle;
    }
    return inside;
}

static double largest_disc(const nrw_mask_field *field, const double at[2])
{
    double least = INFINITY;
    for (int k = 0; k < FEELERS; k++) {
        double angle = 2.0 * NRW_PI * k / FEELERS;
        least = fmin(least, march(field, at, cos(angle), sin(angle)));
    }
    return least;
}

/* --- lines ---------------------------------------------------------------------------------- */

static double apart(const double a[2], const double b[2])
{
    return hypot(b[0] - a[0], b[1] - a[1]);
}

/* Unit direction at point i from the points up to `reach` before and after it. */
static void direction_at(point *points, size_t n, size_t i, size_t reach, double along[2])
{
    const double *a = points[i > reach ? i - reach : 0];
    const double *b = points[i + reach < n ? i + reach : n - 1];
    double length = apart(a, b);
    along[0] = length > 0.0 ? (b[0] - a[0]) / length : 1.0;
    along[1] = length > 0.0 ? (b[1] - a[1]) / length : 0.0;
}

static void smooth(point *points, size_t n)
{
    for (int round = 0; round < SMOOTHINGS; round++) {
        double before[2] = {points[0][0], points[0][1]};
        for (size_t i = 1; i + 1 < n; i++)
            for (int k = 0; k < 2; k++) {
                double here = points[i][k];
                points[i][k] = 0.25 * before[k] + 0.5 * here + 0.25 * points[i + 1][k];
                before[k] = here;
            }
    }
}

static size_t reach_of(double half)
{
    double reach = fmax(DIRECTION_LEAST, DIRECTION_SHARE * half);
    return (size_t)fmin(reach, DIRECTION_MOST);
}

/* Moves every point to the middle of the chord across it; halves (n) gets the
 * nearer wall's distance. */
static void centre(const nrw_mask_field *field, point *points, size_t n, double *halves,
                   point *moved)
{
    for (size_t i = 0; i < n; i++) {
        double along[2];
        direction_at(points, n, i, reach_of(halves[i]), along);
        double left = march(field, points[i], -along[1], along[0]);
        double right = march(field, points[i], along[1], -along[0]);
        double near = fmin(left, right), far = fmax(left, right);
        double shift = far < BESIDE * (near + 1.0) ? 0.5 * (left - right) : 0.0;
        shift = fmin(fmax(shift, -SHIFT_MOST), SHIFT_MOST);
        halves[i] = fmin(near, 0.5 * (left + right));
        moved[i][0] = points[i][0] - shift * along[1];
        moved[i][1] = points[i][1] + shift * along[0];
    }
    memcpy(points, moved, n * sizeof *points);
}

/* Points one pixel apart (a little less) along the same line. NULL: no memory. */
static point *resample(point *points, size_t n, size_t *n_new)
{
    double length = 0.0;
    for (size_t i = 0; i + 1 < n; i++)
        length += apart(points[i], points[i + 1]);
    size_t pieces = (size_t)ceil(length) + 1;
    point *even = malloc((pieces + 1) * sizeof *even);
    if (!even)
        return NULL;
    double s = 0.0;
    size_t i = 0;
    for (size_t k = 0; k <= pieces; k++) {
        double wanted = length * (double)k / (double)pieces;
        double step = apart(points[i], points[i + 1]);
        while (i + 2 < n && s + step < wanted) {
            s += step;
            i++;
            step = apart(points[i], points[i + 1]);
        }
        double t = step > 0.0 ? fmin((wanted - s) / step, 1.0) : 0.0;
        for (int c = 0; c < 2; c++)
            even[k][c] = (1.0 - t) * points[i][c] + t * points[i + 1][c];
    }
    *n_new = pieces + 1;
    return even;
}

/* The stretch of a line outside the largest discs at its ends; none if first > last. */
static void core_of(const refiner *r, const nrw_mask_line *line, size_t *first, size_t *last)
{
    double radii[2];
    const double *centres[2];
    for (int end = 0; end < 2; end++) {
        const nrw_mask_node *node = &r->graph->nodes[line->node[end]];
        radii[end] = node->n_lines > 2 ? node->radius_px + 1.0 : 0.0;
        centres[end] = node->at_px;
    }
    *first = 0;
    *last = line->n_points - 1;
    while (*first < *last && apart(line->points_px[*first], centres[0]) < radii[0])
        ++*first;
    while (*last > *first && apart(line->points_px[*last], centres[1]) < radii[1])
        --*last;
}

static double least_width(const refiner *r, const nrw_mask_line *line)
{
    double least = INFINITY;
    for (size_t i = 0; i < line->n_points; i++)
        least = fmin(least, 2.0 * largest_disc(r->field, line->points_px[i]));
    return fmax(least, 1.0);
}

/* Replaces the line's points by those of its centred core. */
static bool centre_line(refiner *r, size_t index)
{
    nrw_mask_line *line = &r->graph->lines[index];
    size_t first, last;
    core_of(r, line, &first, &last);
    r->least_px[index] = NAN;
    if (last < first + 2) {
        r->least_px[index] = least_width(r, line);
        return true;
    }
    size_t n = last - first + 1;
    point *core = line->points_px + first;
    double *halves = calloc(n, sizeof *halves);
    point *moved = malloc(n * sizeof *moved);
    bool ok = halves && moved;
    for (int round = 0; round < ROUNDS && ok; round++) {
        smooth(core, n);
        centre(r->field, core, n, halves, moved);
    }
    if (ok) {
        smooth(core, n);
        point *even = resample(core, n, &line->n_points);
        ok = even != NULL;
        if (ok) {
            free(line->points_px);
            line->points_px = even;
        }
    }
    free(halves);
    free(moved);
    return ok;
}

/* --- places of meeting ------------------------------------------------------------------------ */

/* Makes one place of two that a short line without a core joins: where four branches
 * cross, pixels show two places of three. */
static void contract(refiner *r)
{
    nrw_mask_graph *graph = r->graph;
    for (size_t k = graph->n_lines; k-- > 0;) {
        const nrw_mask_line *line = &graph->lines[k];
        const nrw_mask_node *a = &graph->nodes[line->node[0]], *b = &graph->nodes[line->node[1]];
        double near = 1.5 + ONE_PLACE * fmin(a->radius_px, b->radius_px);
        if (isnan(r->least_px[k]) || a->n_lines < 3 || b->n_lines < 3 ||
            !(apart(a->at_px, b->at_px) < near))
            continue;
        if (nrw_mask_graph_contract(graph, k))
            r->least_px[k] = r->least_px[graph->n_lines];
    }
}

/* Where the branches' middle lines, led on straight, come nearest to each other:
 * the least sum of squared distances from those lines. */
static bool crossing_of(const refiner *r, int node, double at[2])
{
    const nrw_mask_node *place = &r->graph->nodes[node];
    double xx = 0.0, xy = 0.0, yy = 0.0, bx = 0.0, by = 0.0;
    int n = 0;
    for (size_t k = 0; k < r->graph->n_lines; k++)
        for (int end = 0; end < 2; end++) {
            const nrw_mask_line *line = &r->graph->lines[k];
            if (line->node[end] != node || !isnan(r->least_px[k]))
                continue;
            size_t i = end ? line->n_points - 1 : 0;
            double along[2];
            direction_at(line->points_px, line->n_points, i, reach_of(2.0 * place->radius_px),
                         along);
            const double *p = line->points_px[i];
            double nx = -along[1], ny = along[0], offset = nx * p[0] + ny * p[1];
            xx += nx * nx;
            xy += nx * ny;
            yy += ny * ny;
            bx += nx * offset;
            by += ny * offset;
            n++;
        }
    double determinant = xx * yy - xy * xy;
    if (n < 2 || !(determinant > 0.05 * n * n))
        return false;
    at[0] = (yy * bx - xy * by) / determinant;
    at[1] = (xx * by - xy * bx) / determinant;
    return apart(at, place->at_px) < CROSSING_RADII * place->radius_px &&
           in_fluid(r->field, at[0], at[1]);
}

/* A place in the middle of a ring: between its two lines' ends. */
static void middle_of_ends(const refiner *r, int node, double at[2])
{
    int n = 0;
    double sum[2] = {0.0, 0.0};
    for (size_t k = 0; k < r->graph->n_lines; k++)
        for (int end = 0; end < 2; end++) {
            const nrw_mask_line *line = &r->graph->lines[k];
            if (line->node[end] != node)
                continue;
            const double *p = line->points_px[end ? line->n_points - 1 : 0];
            sum[0] += p[0];
            sum[1] += p[1];
            n++;
        }
    at[0] = sum[0] / n;
    at[1] = sum[1] / n;
}

static void move_nodes(const refiner *r)
{
    for (size_t i = 0; i < r->graph->n_nodes; i++) {
        nrw_mask_node *node = &r->graph->nodes[i];
        double at[2];
        if (node->n_lines == 2)
            middle_of_ends(r, (int)i, node->at_px);
        if (node->n_lines < 3)
            continue;
        if (crossing_of(r, (int)i, at))
            memcpy(node->at_px, at, sizeof node->at_px);
        node->radius_px = largest_disc(r->field, node->at_px);
    }
}

/* --- assembling ---------------------------------------------------------------------------------
 */

/* Where the line goes on from its core's end: to the node, or at a free end to the
 * wall. */
static void end_of(const refiner *r, const nrw_mask_line *line, int end, double at[2])
{
    nrw_mask_node *node = &r->graph->nodes[line->node[end]];
    memcpy(at, node->at_px, 2 * sizeof *at);
    if (node->n_lines != 1)
        return;
    size_t i = end ? line->n_points - 1 : 0;
    double along[2];
    direction_at(line->points_px, line->n_points, i, reach_of(2.0 * node->radius_px), along);
    double sign = end ? 1.0 : -1.0;
    const double *tip = line->points_px[i];
    double way = march(r->field, tip, sign * along[0], sign * along[1]);
    way = fmin(way, BESIDE * (node->radius_px + 1.0));
    at[0] = tip[0] + sign * way * along[0];
    at[1] = tip[1] + sign * way * along[1];
    memcpy(node->at_px, at, sizeof node->at_px);
}

static size_t straight_pieces(const double a[2], const double b[2])
{
    return (size_t)ceil(apart(a, b));
}

/* Points from a to b, b left out. */
static size_t lay_straight(point *points, const double a[2], const double b[2])
{
    size_t n = straight_pieces(a, b);
    for (size_t i = 0; i < n; i++)
        for (int c = 0; c < 2; c++)
            points[i][c] = a[c] + (b[c] - a[c]) * (double)i / (double)n;
    return n;
}

static bool lead_on(refiner *r, nrw_mask_line *line, bool has_core, size_t *first, size_t *last)
{
    double ends[2][2];
    for (int end = 0; end < 2; end++)
        end_of(r, line, end, ends[end]);
    const double *from = has_core ? line->points_px[0] : ends[1];
    const double *to = has_core ? line->points_px[line->n_points - 1] : ends[1];
    size_t n_core = has_core ? line->n_points : 0;
    point *points =
        malloc((straight_pieces(ends[0], from) + n_core + straight_pieces(to, ends[1]) + 2) *
               sizeof *points);
    if (!points)
        return false;
    size_t n = lay_straight(points, ends[0], from);
    *first = n;
    if (has_core)
        memcpy(points + n, line->points_px, n_core * sizeof *points);
    n += n_core;
    *last = n > 0 ? n - 1 : 0;
    if (has_core) {
        n--; /* laid again as the start of what follows */
        n += lay_straight(points + n, to, ends[1]);
    }
    /* The end itself, unless it is the core's last point. */
    memcpy(points[n++], ends[1], sizeof *points);
    free(line->points_px);
    line->points_px = points;
    line->n_points = n;
    return true;
}

/* Widths by chords between `first` and `last`, held beyond toward places of meeting
 * and in the last pixels before closed ends. */
static void take_widths(const refiner *r, nrw_mask_line *line, size_t first, size_t last)
{
    size_t n = line->n_points;
    size_t low = r->graph->nodes[line->node[0]].n_lines == 1 ? END_POINTS : first;
    size_t high = r->graph->nodes[line->node[1]].n_lines == 1 ? n - 1 - END_POINTS : last;
    low = low < n / 2 ? low : n / 2;
    high = high < n && high > low ? high : low;
    double half = DIRECTION_LEAST;
    for (size_t i = low; i <= high; i++) {
        double along[2];
        direction_at(line->points_px, n, i, reach_of(half), along);
        double left = march(r->field, line->points_px[i], -along[1], along[0]);
        double right = march(r->field, line->points_px[i], along[1], -along[0]);
        half = fmin(left, right);
        line->width_px[i] = fmax(left + right, 1.0);
    }
    for (size_t i = 0; i < low; i++)
        line->width_px[i] = line->width_px[low];
    for (size_t i = high + 1; i < n; i++)
        line->width_px[i] = line->width_px[high];
}

static bool assemble(refiner *r, size_t index)
{
    nrw_mask_line *line = &r->graph->lines[index];
    bool has_core = isnan(r->least_px[index]);
    size_t first, last;
    if (!lead_on(r, line, has_core, &first, &last))
        return false;
    line->width_px = malloc(line->n_points * sizeof *line->width_px);
    if (!line->width_px)
        return false;
    if (has_core)
        take_widths(r, line, first, last);
    for (size_t i = 0; i < line->n_points && !has_core; i++)
        line->width_px[i] = r->least_px[index];
    return true;
}

nrw_status nrw_mask_graph_refine(const nrw_mask_field *field, nrw_mask_graph *graph)
{
    refiner r = {.field = field, .graph = graph};
    r.least_px = malloc((graph->n_lines + 1) * sizeof *r.least_px);
    bool ok = r.least_px != NULL;
    for (size_t i = 0; i < graph->n_lines && ok; i++)
        ok = centre_line(&r, i);
    if (ok) {
        contract(&r);
        move_nodes(&r);
    }
    for (size_t i = 0; i < graph->n_lines && ok; i++)
        ok = assemble(&r, i);
    free(r.least_px);
    return ok ? NRW_OK : NRW_NO_MEMORY;
}
