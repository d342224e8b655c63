#include "disc_union.h"

#include <gsl/gsl_sort.h>
#include <math.h>
#include <stdbool.h>
#include <stdint.h>

#include "units.h"

typedef struct discs {
    size_t n;
    const double *x, *y, *radius;
} discs;

/* Hidden arcs of one circle, angles in 0...2π. */
typedef struct arcs {
    size_t n;
    double *begins, *ends;
} arcs;

static void arcs_add(arcs *hidden, double begin, double end)
{
    hidden->begins[hidden->n] = begin;
    hidden->ends[hidden->n] = end;
    hidden->n++;
}

static void arcs_add_about(arcs *hidden, double centre, double half)
{
    double begin = centre - half, end = centre + half;
    if (begin < 0.0) {
        begin += 2.0 * NRW_PI;
        end += 2.0 * NRW_PI;
    }
    if (end <= 2.0 * NRW_PI) {
        arcs_add(hidden, begin, end);
    } else {
        arcs_add(hidden, begin, 2.0 * NRW_PI);
        arcs_add(hidden, 0.0, end - 2.0 * NRW_PI);
    }
}

/* Adds what disc j hides of circle i; true when it hides all of it. Of two
 * equal discs at one place the later is the hidden one. */
static bool hides(const discs *all, size_t i, size_t j, arcs *hidden)
{
    double dx = all->x[j] - all->x[i], dy = all->y[j] - all->y[i];
    double ri = all->radius[i], rj = all->radius[j], d2 = dx * dx + dy * dy;
    if (d2 >= (ri + rj) * (ri + rj))
        return false;
    double d = sqrt(d2);
    if (d <= rj - ri)
        return rj > ri || j < i;
    if (d <= ri - rj)
        return false;
    double cosine = (ri * ri + d2 - rj * rj) / (2.0 * ri * d);
    arcs_add_about(hidden, atan2(dy, dx), acos(fmax(-1.0, fmin(1.0, cosine))));
    return false;
}

static bool hidden_arcs(const nrw_cell_grid *grid, const discs *all, size_t i, arcs *hidden)
{
    nrw_cell_range ranges[NRW_CELL_BLOCK];
    size_t n_ranges = nrw_cell_grid_around(grid, all->x[i], all->y[i], 0.0, ranges);
    hidden->n = 0;
    for (size_t r = 0; r < n_ranges; r++)
        for (uint32_t k = ranges[r].begin; k < ranges[r].end; k++) {
            uint32_t j = grid->items[k];
            if (j != i && hides(all, i, j, hidden))
                return true;
        }
    return false;
}

/* Twice the contribution of the visible arc a...b of a circle at (x, y). */
static double arc_term(double x, double y, double radius, double a, double b)
{
    return radius * (radius * (b - a) + x * (sin(b) - sin(a)) - y * (cos(b) - cos(a)));
}

static double visible_arcs_term(const arcs *hidden, double x, double y, double radius)
{
    double sum = 0.0, reached = 0.0;
    for (size_t k = 0; k < hidden->n; k++) {
        if (hidden->begins[k] > reached)
            sum += arc_term(x, y, radius, reached, hidden->begins[k]);
        reached = fmax(reached, hidden->ends[k]);
    }
    if (reached < 2.0 * NRW_PI)
        sum += arc_term(x, y, radius, reached, 2.0 * NRW_PI);
    return sum;
}

double nrw_disc_union_area_um2(nrw_cell_grid *grid, size_t n, const double *x_um,
                               const double *y_um, const double *radius_um, double *arc_begins,
                               double *arc_ends)
{
    if (n == 0)
        return 0.0;
    const discs all = {n, x_um, y_um, radius_um};
    arcs hidden;
    hidden.begins = arc_begins;
    hidden.ends = arc_ends;
    double largest_um = 0.0;
    for (size_t i = 0; i < n; i++)
        largest_um = fmax(largest_um, radius_um[i]);
    nrw_cell_grid_sort(grid, n, x_um, y_um, NULL, 2.0 * largest_um);
    double sum = 0.0;
    for (size_t i = 0; i < n; i++) {
        if (hidden_arcs(grid, &all, i, &hidden))
            continue;
        gsl_sort2(hidden.begins, 1, hidden.ends, 1, hidden.n);
        /* Relative to the first disc, so that a far origin costs no digits. */
        sum += visible_arcs_term(&hidden, x_um[i] - x_um[0], y_um[i] - y_um[0], radius_um[i]);
    }
    return 0.5 * sum;
}
