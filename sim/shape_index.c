#include "shape_index.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

/* Cells that a polygon touches in one row: columns first...last (none if first >
 * last). */
typedef struct row_span {
    int first, last;
} row_span;

static int clamp_cell(double cell, int n)
{
    return cell < 0.0 ? 0 : cell >= n ? n - 1 : (int)cell;
}

/* x-extent of a convex polygon between two heights, widened by `reach`. */
static row_span span_in_row(const nrw_shape_index *index, const double (*corners)[2], size_t n,
                            double low, double high, double reach)
{
    double from = INFINITY, to = -INFINITY;
    for (size_t i = 0; i < n; i++) {
        const double *a = corners[i], *b = corners[i + 1 == n ? 0 : i + 1];
        double y0 = fmin(a[1], b[1]), y1 = fmax(a[1], b[1]);
        if (y1 < low || y0 > high)
            continue;
        double t0 = 0.0, t1 = 1.0;
        if (y1 > y0) {
            double at_low = (low - a[1]) / (b[1] - a[1]), at_high = (high - a[1]) / (b[1] - a[1]);
            t0 = fmax(0.0, fmin(at_low, at_high));
            t1 = fmin(1.0, fmax(at_low, at_high));
        }
        double x0 = a[0] + t0 * (b[0] - a[0]), x1 = a[0] + t1 * (b[0] - a[0]);
        from = fmin(from, fmin(x0, x1));
        to = fmax(to, fmax(x0, x1));
    }
    if (from > to)
        return (row_span){0, -1};
    double origin = index->origin_um[0];
    return (row_span){clamp_cell((from - reach - origin) * index->per_cell, index->n_cells[0]),
                      clamp_cell((to + reach - origin) * index->per_cell, index->n_cells[0])};
}

/* Rows that a polygon touches. */
static row_span rows_of(const nrw_shape_index *index, const double (*corners)[2], size_t n,
                        double reach)
{
    double low = INFINITY, high = -INFINITY;
    for (size_t i = 0; i < n; i++) {
        low = fmin(low, corners[i][1]);
        high = fmax(high, corners[i][1]);
    }
    double origin = index->origin_um[1];
    return (row_span){clamp_cell((low - reach - origin) * index->per_cell, index->n_cells[1]),
                      clamp_cell((high + reach - origin) * index->per_cell, index->n_cells[1])};
}

static row_span span_of_row(const nrw_shape_index *index, const double (*corners)[2], size_t n,
                            int row, double reach)
{
    double low = index->origin_um[1] + row / index->per_cell - reach;
    double high = index->origin_um[1] + (row + 1) / index->per_cell + reach;
    return span_in_row(index, corners, n, low, high, reach);
}

/* Counts (shapes == NULL) or lists every shape in its cells; starts[c + 1] is the
 * count, or the next free place, of cell c. */
static void list_shapes(nrw_shape_index *index, const nrw_shape_list *list, double reach,
                        uint32_t *shapes)
{
    for (size_t i = 0; i < list->n_shapes; i++) {
        const double(*corners)[2] = list->corners_um + list->firsts[i];
        size_t n = list->firsts[i + 1] - list->firsts[i];
        row_span rows = rows_of(index, corners, n, reach);
        for (int row = rows.first; row <= rows.last; row++) {
            row_span span = span_of_row(index, corners, n, row, reach);
            size_t cell = (size_t)row * (size_t)index->n_cells[0] + (size_t)span.first;
            for (int column = span.first; column <= span.last; column++, cell++) {
                uint32_t place = index->starts[cell + 1]++;
                if (shapes)
                    shapes[place] = (uint32_t)i;
            }
        }
    }
}

/* As many cells as shapes, of a size that suits the box; at least one. */
static void place_cells(nrw_shape_index *index, const nrw_shape_list *list)
{
    double box[4] = {INFINITY, INFINITY, -INFINITY, -INFINITY};
    for (size_t i = 0; i < list->firsts[list->n_shapes]; i++)
        for (int k = 0; k < 2; k++) {
            box[k] = fmin(box[k], list->corners_um[i][k]);
            box[k + 2] = fmax(box[k + 2], list->corners_um[i][k]);
        }
    double wide = fmax(box[2] - box[0], 1e-3), high = fmax(box[3] - box[1], 1e-3);
    double n = (double)(list->n_shapes + 1);
    double cell = fmax(sqrt(wide * high / n), fmax(wide, high) / n);
    index->origin_um[0] = box[0];
    index->origin_um[1] = box[1];
    index->per_cell = 1.0 / cell;
    index->n_cells[0] = (int)(wide / cell) + 1;
    index->n_cells[1] = (int)(high / cell) + 1;
}

nrw_status nrw_shape_index_build(nrw_shape_index *index, const nrw_shape_list *list,
                                 double reach_um)
{
    memset(index, 0, sizeof *index);
    if (list->n_shapes == 0)
        return NRW_OK;
    place_cells(index, list);
    size_t n = (size_t)index->n_cells[0] * (size_t)index->n_cells[1];
    index->starts = calloc(n + 2, sizeof *index->starts);
    if (!index->starts)
        return NRW_NO_MEMORY;
    list_shapes(index, list, reach_um, NULL);
    /* Counts become places: cell c is filled from starts[c + 1] on, which ends as
     * the start of cell c + 1. */
    uint32_t total = 0;
    for (size_t c = 0; c < n; c++) {
        uint32_t count = index->starts[c + 1];
        index->starts[c + 1] = total;
        total += count;
    }
    index->shapes = malloc((total + 1) * sizeof *index->shapes);
    if (!index->shapes)
        return NRW_NO_MEMORY;
    list_shapes(index, list, reach_um, index->shapes);
    return NRW_OK;
}

void nrw_shape_index_clear(nrw_shape_index *index)
{
    free(index->starts);
    free(index->shapes);
    memset(index, 0, sizeof *index);
}

const uint32_t *nrw_shape_index_at(const nrw_shape_index *index, double x_um, double y_um,
                                   size_t *n_shapes)
{
    double x = (x_um - index->origin_um[0]) * index->per_cell;
    double y = (y_um - index->origin_um[1]) * index->per_cell;
    *n_shapes = 0;
    /* A cell of room around: shapes reach a little beyond their corners' box. */
    if (!(x >= -1.0 && y >= -1.0 && x <= index->n_cells[0] + 1.0 && y <= index->n_cells[1] + 1.0))
        return NULL;
    size_t row = (size_t)clamp_cell(y, index->n_cells[1]);
    size_t cell = row * (size_t)index->n_cells[0] + (size_t)clamp_cell(x, index->n_cells[0]);
    *n_shapes = index->starts[cell + 1] - index->starts[cell];
    return index->shapes + index->starts[cell];
}

size_t nrw_shape_index_along(const nrw_shape_index *index, const double a_um[2],
                             const double b_um[2], uint32_t *found, uint32_t *stamps,
                             uint32_t stamp)
{
    const double segment[2][2] = {{a_um[0], a_um[1]}, {b_um[0], b_um[1]}};
    row_span rows = rows_of(index, segment, 2, 0.0);
    size_t n = 0;
    for (int row = rows.first; row <= rows.last; row++) {
        row_span span = span_of_row(index, segment, 2, row, 0.0);
        size_t cell = (size_t)row * (size_t)index->n_cells[0] + (size_t)span.first;
        for (int column = span.first; column <= span.last; column++, cell++)
            for (uint32_t k = index->starts[cell]; k < index->starts[cell + 1]; k++) {
                uint32_t shape = index->shapes[k];
                if (stamps[shape] == stamp)
                    continue;
                stamps[shape] = stamp;
                found[n++] = shape;
            }
    }
    return n;
}
