/* Outline of a field: marching squares along the dual cells, whose corners are
 * pixel centres. */
#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "mask_field.h"

/* Smaller loops are specks, pixels². */
#define LEAST_AREA 1.0

/* Steps to the right, up, to the left, down. */
static const int STEPS[4][2] = {{1, 0}, {0, 1}, {-1, 0}, {0, -1}};
/* Corners of a cell, anticlockwise from its lowest one. */
static const int CORNERS[4][2] = {{0, 0}, {1, 0}, {1, 1}, {0, 1}};

typedef struct point_list {
    double (*points)[2];
    size_t n, capacity;
} point_list;

typedef struct tracer {
    const nrw_mask_field *field;
    uint8_t *visited; /* (pixels) the step from a pixel to its right neighbour was crossed */
    point_list raw;   /* the loop at hand */
    bool *kept;       /* (capacity) marks of its points */
    size_t *stack;    /* (2 capacity) stretches still to be simplified */
    size_t marks_capacity;
    point_list done;
    size_t loops_capacity;
    nrw_mask_loops *loops;
} tracer;

static bool append(point_list *list, const double at[2])
{
    if (list->n == list->capacity) {
        size_t capacity = 2 * list->capacity + 1024;
        void *grown = realloc(list->points, capacity * sizeof *list->points);
        if (!grown)
            return false;
        list->points = grown;
        list->capacity = capacity;
    }
    memcpy(list->points[list->n++], at, 2 * sizeof *at);
    return true;
}

/* --- walking ------------------------------------------------------------------------- */

static size_t pixel_of(const nrw_mask_field *field, const int cell[2], int corner)
{
    return (size_t)(cell[1] + CORNERS[corner][1]) * (size_t)field->width +
           (size_t)(cell[0] + CORNERS[corner][0]);
}

/* Where the level is crossed between a fluid and a wall corner of a cell. */
static void crossing(const nrw_mask_field *field, const int cell[2], int fluid, int wall,
                     double at[2])
{
    double high = (double)field->level[pixel_of(field, cell, fluid)];
    double low = (double)field->level[pixel_of(field, cell, wall)];
    double t = (high - (double)NRW_MASK_LEVEL) / (high - low);
    int first[2] = {field->x0, field->y0};
    for (int k = 0; k < 2; k++)
        at[k] = first[k] + cell[k] + 0.5 + (1.0 - t) * CORNERS[fluid][k] + t * CORNERS[wall][k];
}

/* From a cell entered in direction d: its left corner behind is fluid, the right
 * one wall. Goes to the next cell; at gets where the way leaves this one. */
static void step(const nrw_mask_field *field, int cell[2], int *d, double at[2])
{
    int left = (*d + 3) % 4, right = *d, right_ahead = (*d + 1) % 4, left_ahead = (*d + 2) % 4;
    if (!field->fluid[pixel_of(field, cell, left_ahead)]) {
        crossing(field, cell, left, left_ahead, at);
        *d = (*d + 1) % 4;
    } else if (!field->fluid[pixel_of(field, cell, right_ahead)]) {
        crossing(field, cell, left_ahead, right_ahead, at);
    } else {
        crossing(field, cell, right_ahead, right, at);
        *d = (*d + 3) % 4;
    }
    cell[0] += STEPS[*d][0];
    cell[1] += STEPS[*d][1];
}

/* The loop that goes down between pixel (i, j), wall, and its right neighbour. */
static bool walk(tracer *t, int i, int j)
{
    int cell[2] = {i, j - 1}, d = 3;
    t->raw.n = 0;
    do {
        /* Going down into a cell crosses the row of its two upper corners. */
        if (d == 3)
            t->visited[pixel_of(t->field, cell, 3)] = 1;
        double at[2];
        step(t->field, cell, &d, at);
        if (!append(&t->raw, at))
            return false;
    } while (cell[0] != i || cell[1] != j - 1 || d != 3);
    return true;
}

/* --- simplifying --------------------------------------------------------------------- */

/* Point of a stretch (from, to) farthest from its chord; its distance². Indices
 * count on round the loop. */
static size_t farthest(const point_list *loop, size_t from, size_t to, double *square)
{
    const double *a = loop->points[from % loop->n], *b = loop->points[to % loop->n];
    double d[2] = {b[0] - a[0], b[1] - a[1]};
    double length = d[0] * d[0] + d[1] * d[1];
    size_t best = from;
    *square = -1.0;
    for (size_t i = from + 1; i < to; i++) {
        const double *p = loop->points[i % loop->n];
        double r[2] = {p[0] - a[0], p[1] - a[1]};
        double s = length > 0.0 ? (r[0] * d[0] + r[1] * d[1]) / length : 0.0;
        s = fmin(fmax(s, 0.0), 1.0);
        double x = r[0] - s * d[0], y = r[1] - s * d[1];
        if (x * x + y * y > *square) {
            *square = x * x + y * y;
            best = i;
        }
    }
    return best;
}

static bool reserve_marks(tracer *t)
{
    if (t->marks_capacity >= t->raw.capacity)
        return true;
    free(t->kept);
    free(t->stack);
    t->marks_capacity = t->raw.capacity;
    t->kept = malloc(t->marks_capacity * sizeof *t->kept);
    t->stack = malloc(2 * (t->marks_capacity + 2) * sizeof *t->stack);
    return t->kept && t->stack;
}

/* Marks the points to keep, from the first one and the one farthest from it. */
static bool mark(tracer *t, double tolerance)
{
    size_t n = t->raw.n, n_stack = 0;
    double square;
    if (!reserve_marks(t))
        return false;
    memset(t->kept, 0, n * sizeof *t->kept);
    size_t middle = farthest(&t->raw, 0, n, &square);
    size_t bounds[3] = {0, middle, n};
    for (int k = 0; k < 2; k++) {
        t->kept[bounds[k]] = true;
        t->stack[n_stack++] = bounds[k];
        t->stack[n_stack++] = bounds[k + 1];
    }
    while (n_stack > 0) {
        size_t to = t->stack[--n_stack], from = t->stack[--n_stack];
        size_t split = farthest(&t->raw, from, to, &square);
        if (!(square > tolerance * tolerance))
            continue;
        t->kept[split % n] = true;
        t->stack[n_stack++] = from;
        t->stack[n_stack++] = split;
        t->stack[n_stack++] = split;
        t->stack[n_stack++] = to;
    }
    return true;
}

static double area(double (*points)[2], size_t n)
{
    double twice = 0.0;
    for (size_t i = 0; i < n; i++) {
        const double *a = points[i], *b = points[i + 1 == n ? 0 : i + 1];
        twice += a[0] * b[1] - a[1] * b[0];
    }
    return 0.5 * twice;
}

static bool keep_loop(tracer *t, double tolerance)
{
    nrw_mask_loops *loops = t->loops;
    if (fabs(area(t->raw.points, t->raw.n)) < LEAST_AREA)
        return true;
    if (!mark(t, tolerance))
        return false;
    if (loops->n_loops + 2 > t->loops_capacity) {
        size_t capacity = 2 * t->loops_capacity + 16;
        size_t *grown = realloc(loops->firsts, capacity * sizeof *grown);
        if (!grown)
            return false;
        loops->firsts = grown;
        t->loops_capacity = capacity;
    }
    loops->firsts[loops->n_loops] = t->done.n;
    for (size_t i = 0; i < t->raw.n; i++)
        if (t->kept[i] && !append(&t->done, t->raw.points[i]))
            return false;
    loops->firsts[++loops->n_loops] = t->done.n;
    return true;
}

static bool trace(tracer *t, double tolerance)
{
    const nrw_mask_field *field = t->field;
    t->visited = calloc((size_t)field->width * (size_t)field->height, 1);
    if (!t->visited)
        return false;
    for (int j = 1; j < field->height; j++)
        for (int i = 0; i + 1 < field->width; i++) {
            size_t at = (size_t)j * (size_t)field->width + (size_t)i;
            if (field->fluid[at] || !field->fluid[at + 1] || t->visited[at])
                continue;
            if (!walk(t, i, j) || !keep_loop(t, tolerance))
                return false;
        }
    return true;
}

nrw_status nrw_mask_loops_trace(const nrw_mask_field *field, double tolerance_px,
                                nrw_mask_loops *loops)
{
    tracer t = {.field = field, .loops = loops};
    memset(loops, 0, sizeof *loops);
    bool ok = trace(&t, tolerance_px);
    loops->points_px = t.done.points;
    free(t.visited);
    free(t.raw.points);
    free(t.kept);
    free(t.stack);
    return ok ? NRW_OK : NRW_NO_MEMORY;
}

void nrw_mask_loops_clear(nrw_mask_loops *loops)
{
    free(loops->points_px);
    free(loops->firsts);
    memset(loops, 0, sizeof *loops);
}
