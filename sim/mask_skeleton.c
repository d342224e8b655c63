#include "mask_skeleton.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

/* Steps of the thinning order, per pixel of distance. */
#define RANKS_PER_PIXEL 4.0
/* Nearest points closer than this are one wall's steps, pixels. */
#define STEPS_APART 3.0

typedef struct thinner {
    const nrw_mask_field *field;
    nrw_mask_skeleton *skeleton;
    int *nearest;        /* (pixels) index of the nearest wall pixel */
    int *order;          /* (n_fluid) fluid pixels by distance */
    int *again;          /* stack of pixels to look at once more */
    uint8_t *stage;      /* (pixels) WAITING, SEEN, STACKED */
    uint8_t simple[256]; /* by the eight neighbours: the pixel may go */
} thinner;

enum { WAITING, SEEN, STACKED };

void nrw_mask_skeleton_clear(nrw_mask_skeleton *skeleton)
{
    free(skeleton->line);
    free(skeleton->distance_px);
    memset(skeleton, 0, sizeof *skeleton);
}

/* --- distances ------------------------------------------------------------------------- */

/* Nearest wall pixel in every column. The field's rim is wall. */
static void nearest_in_columns(const nrw_mask_field *field, int *nearest)
{
    const int width = field->width, height = field->height;
    for (int i = 0; i < width; i++) {
        int last = 0;
        for (int j = 0; j < height; j++) {
            last = field->fluid[(size_t)j * (size_t)width + (size_t)i] ? last : j;
            nearest[(size_t)j * (size_t)width + (size_t)i] = last;
        }
        last = height - 1;
        for (int j = height - 1; j >= 0; j--) {
            size_t at = (size_t)j * (size_t)width + (size_t)i;
            last = field->fluid[at] ? last : j;
            if (last - j < j - nearest[at])
                nearest[at] = last;
        }
    }
}

/* One row: the lower envelope of the parabolas (x - i)² + (j - row_i)². */
typedef struct envelope {
    int *column;  /* (width) of the parabolas on it */
    double *from; /* (width) where each begins */
} envelope;

static void nearest_in_row(const nrw_mask_field *field, int j, const envelope *e, int *rows,
                           int *nearest, float *distance)
{
    const int width = field->width;
    int n = 0;
    for (int i = 0; i < width; i++) {
        double up = j - rows[i], height = up * up + (double)i * i;
        double start = -INFINITY;
        while (n > 0) {
            int k = e->column[n - 1];
            double other = j - rows[k];
            start = (height - (other * other + (double)k * k)) / (2.0 * (i - k));
            if (start > e->from[n - 1])
                break;
            n--;
            start = -INFINITY;
        }
        e->column[n] = i;
        e->from[n++] = start;
    }
    for (int i = 0, k = 0; i < width; i++) {
        while (k + 1 < n && e->from[k + 1] <= i)
            k++;
        int column = e->column[k];
        nearest[i] = rows[column] * width + column;
        distance[i] = (float)hypot(i - column, j - rows[column]);
    }
}

static nrw_status measure(thinner *t)
{
    const int width = t->field->width, height = t->field->height;
    envelope e = {malloc((size_t)width * sizeof *e.column), malloc((size_t)width * sizeof *e.from)};
    int *rows = malloc((size_t)width * sizeof *rows);
    nrw_status status = e.column && e.from && rows ? NRW_OK : NRW_NO_MEMORY;
    if (status == NRW_OK) {
        nearest_in_columns(t->field, t->nearest);
        for (int j = 0; j < height; j++) {
            int *nearest = t->nearest + (size_t)j * (size_t)width;
            memcpy(rows, nearest, (size_t)width * sizeof *rows);
            nearest_in_row(t->field, j, &e, rows, nearest,
                           t->skeleton->distance_px + (size_t)j * (size_t)width);
        }
    }
    free(e.column);
    free(e.from);
    free(rows);
    return status;
}

/* --- thinning ---------------------------------------------------------------------------- */

/* Neighbours of a pixel in a circle, from the right one anticlockwise. */
static void neighbours(const nrw_mask_field *field, int at, int around[8])
{
    const int w = field->width;
    const int steps[8] = {1, w + 1, w, w - 1, -1, -w - 1, -w, -w + 1};
    for (int k = 0; k < 8; k++)
        around[k] = at + steps[k];
}

/* Yokoi's number of connections over pixel sides is 1. */
static bool may_go(unsigned mask)
{
    int connections = 0;
    for (int k = 0; k < 8; k += 2) {
        unsigned here = mask >> k & 1, next = mask >> (k + 1) & 1, side = mask >> (k + 2) % 8 & 1;
        connections += (int)(here - here * next * side);
    }
    return connections == 1;
}

static unsigned mask_of(const thinner *t, const int around[8])
{
    unsigned mask = 0;
    for (int k = 0; k < 8; k++)
        mask |= (unsigned)t->skeleton->line[around[k]] << k;
    return mask;
}

static int n_sides(unsigned mask)
{
    return (int)((mask & 1) + (mask >> 2 & 1) + (mask >> 4 & 1) + (mask >> 6 & 1));
}

/* Whether a pixel is the end of a branch: it has one neighbour left, or three in a
 * corner. */
static bool is_end(const thinner *t, int at, const int around[8], unsigned mask)
{
    const int w = t->field->width;
    if (n_sides(mask) > 2)
        return false;
    double apart = 0.0, distance = (double)t->skeleton->distance_px[at];
    int own = t->nearest[at];
    for (int k = 0; k < 8; k++) {
        int other = t->nearest[around[k]];
        apart = fmax(apart, hypot(other % w - own % w, other / w - own / w));
    }
    return apart >= fmax(STEPS_APART, distance);
}

/* Takes a pixel off if it may go; those around that were seen too early come
 * again. In the end all lines are to be thin: only their last pixels stay. */
static void look_at(thinner *t, int at, bool in_the_end, size_t *n_again)
{
    int around[8];
    neighbours(t->field, at, around);
    unsigned mask = mask_of(t, around);
    t->stage[at] = SEEN;
    if (!t->simple[mask] || (in_the_end ? n_sides(mask) == 1 : is_end(t, at, around, mask)))
        return;
    t->skeleton->line[at] = 0;
    for (int k = 0; k < 8; k++)
        if (t->skeleton->line[around[k]] && t->stage[around[k]] == SEEN) {
            t->stage[around[k]] = STACKED;
            t->again[(*n_again)++] = around[k];
        }
}

/* Counting sort by distance; within a rank, pixels of a chessboard's colours by
 * turns would do no better: the centring comes later (mask_graph.h). */
static nrw_status sort_pixels(thinner *t)
{
    size_t n = (size_t)t->field->width * (size_t)t->field->height, n_ranks = 0;
    const float *distance = t->skeleton->distance_px;
    for (size_t k = 0; k < n; k++) {
        size_t rank = (size_t)((double)distance[k] * RANKS_PER_PIXEL) + 1;
        n_ranks = rank > n_ranks ? rank : n_ranks;
    }
    int *starts = calloc(n_ranks + 2, sizeof *starts);
    if (!starts)
        return NRW_NO_MEMORY;
    for (size_t k = 0; k < n; k++)
        if (t->field->fluid[k])
            starts[(size_t)((double)distance[k] * RANKS_PER_PIXEL) + 1]++;
    for (size_t r = 1; r < n_ranks + 2; r++)
        starts[r] += starts[r - 1];
    for (size_t k = 0; k < n; k++)
        if (t->field->fluid[k])
            t->order[starts[(size_t)((double)distance[k] * RANKS_PER_PIXEL)]++] = (int)k;
    free(starts);
    return NRW_OK;
}

static void thin(thinner *t, bool in_the_end)
{
    for (size_t i = 0; i < t->field->n_fluid; i++) {
        size_t n_again = 0;
        if (t->skeleton->line[t->order[i]])
            look_at(t, t->order[i], in_the_end, &n_again);
        while (n_again > 0) {
            int at = t->again[--n_again];
            if (t->skeleton->line[at])
                look_at(t, at, in_the_end, &n_again);
        }
    }
}

nrw_status nrw_mask_skeleton_build(const nrw_mask_field *field, nrw_mask_skeleton *skeleton)
{
    size_t n = (size_t)field->width * (size_t)field->height;
    thinner t = {.field = field, .skeleton = skeleton};
    skeleton->line = malloc(n);
    skeleton->distance_px = malloc(n * sizeof *skeleton->distance_px);
    t.nearest = malloc(n * sizeof *t.nearest);
    t.order = malloc((field->n_fluid + 1) * sizeof *t.order);
    t.again = malloc((field->n_fluid + 8) * sizeof *t.again);
    t.stage = calloc(n, 1);
    nrw_status status = NRW_NO_MEMORY;
    if (skeleton->line && skeleton->distance_px && t.nearest && t.order && t.again && t.stage) {
        memcpy(skeleton->line, field->fluid, n);
        status = measure(&t);
    }
    if (status == NRW_OK)
        status = sort_pixels(&t);
    if (status == NRW_OK) {
        for (unsigned mask = 0; mask < 256; mask++)
            t.simple[mask] = may_go(mask);
        thin(&t, false);
        thin(&t, true);
    }
    free(t.nearest);
    free(t.order);
    free(t.again);
    free(t.stage);
    return status;
}
