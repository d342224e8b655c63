#include "disc_union.h"

#include <math.h>
#include <stdbool.h>
#include <stdint.h>

#include "units.h"

typedef struct discs {
    size_t n;
    const double *x, *y, *radius;
} discs;

/* Hidden arcs of one circle. Directions are kept as numbers that rise with the angle
 * from 0 to 4, once around the square |x| + |y| = 1: they take no trigonometry, which
 * only the few arcs of the outline need. */
typedef struct arcs {
    size_t n;
    double *begins, *ends;
} arcs;

#define TURN 4.0

static double turn_of(double x, double y)
{
    const double along = x / (fabs(x) + fabs(y));
    return y >= 0.0 ? 1.0 - along : 3.0 + along;
}

/* Adds an arc, sorted by where arcs begin. */
static void arcs_add(arcs *hidden, double begin, double end)
{
    size_t at = hidden->n++;
    for (; at > 0 && hidden->begins[at - 1] > begin; at--) {
        hidden->begins[at] = hidden->begins[at - 1];
        hidden->ends[at] = hidden->ends[at - 1];
    }
    hidden->begins[at] = begin;
    hidden->ends[at] = end;
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
    /* the circles cross at the angle ± acos(cosine) from the line of centres */
    double cosine = (ri * ri + d2 - rj * rj) / (2.0 * ri * d);
    cosine = cosine < -1.0 ? -1.0 : cosine > 1.0 ? 1.0 : cosine;
    double sine = sqrt(1.0 - cosine * cosine), ux = dx / d, uy = dy / d;
    double begin = turn_of(cosine * ux + sine * uy, cosine * uy - sine * ux);
    double end = turn_of(cosine * ux - sine * uy, cosine * uy + sine * ux);
    if (begin <= end) {
        arcs_add(hidden, begin, end);
    } else {
        arcs_add(hidden, begin, TURN);
        arcs_add(hidden, 0.0, end);
    }
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

typedef struct direction {
    double x, y, angle; /* of unit length; angle from 0 to 2π */
} direction;

static direction direction_of(double turn)
{
    if (turn >= TURN)
        return (direction){1.0, 0.0, 2.0 * NRW_PI};
    double x = turn < 2.0 ? 1.0 - turn : turn - 3.0;
    double y = turn < 2.0 ? 1.0 - fabs(x) : fabs(x) - 1.0;
    double angle = atan2(y, x), size = sqrt(x * x + y * y);
    return (direction){x / size, y / size, angle < 0.0 ? angle + 2.0 * NRW_PI : angle};
}

/* Twice the contribution of the visible arc a...b of a circle at (x, y). */
static double arc_term(double x, double y, double radius, double from, double to)
{
    direction a = direction_of(from), b = direction_of(to);
    return radius * (radius * (b.angle - a.angle) + x * (b.y - a.y) - y * (b.x - a.x));
}

static double visible_arcs_term(const arcs *hidden, double x, double y, double radius)
{
    double sum = 0.0, reached = 0.0;
    for (size_t k = 0; k < hidden->n; k++) {
        if (hidden->begins[k] > reached)
            sum += arc_term(x, y, radius, reached, hidden->begins[k]);
        reached = hidden->ends[k] > reached ? hidden->ends[k] : reached;
    }
    if (reached < TURN)
        sum += arc_term(x, y, radius, reached, TURN);
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
        /* Relative to the first disc, so that a far origin costs no digits. */
        sum += visible_arcs_term(&hidden, x_um[i] - x_um[0], y_um[i] - y_um[0], radius_um[i]);
    }
    return 0.5 * sum;
}

/* More than two overlapping discs share: the rectangle around the lens. */
static double shared_at_most(double ri, double rj, double d2)
{
    const double least = ri < rj ? ri : rj, d = sqrt(d2), wide = ri + rj - d;
    if (wide >= 2.0 * least)
        return NRW_PI * least * least;
    const double foot = (d2 + ri * ri - rj * rj) / (2.0 * d);
    const double half = foot > 0.0 && foot < d ? sqrt(ri * ri - foot * foot) : least;
    return wide * 2.0 * half;
}

bool nrw_disc_union_reaches(size_t n, const double *x_um, const double *y_um,
                            const double *radius_um, double enough_um2)
{
    enum { MOST = 1024 };
    size_t taken[MOST], n_taken = 0;
    double sure = 0.0;
    for (size_t i = 0; i < n && n_taken < MOST && sure < enough_um2; i++) {
        const double ri = radius_um[i];
        double gain = NRW_PI * ri * ri;
        for (size_t k = 0; k < n_taken; k++) {
            const size_t j = taken[k];
            const double dx = x_um[i] - x_um[j], dy = y_um[i] - y_um[j];
            const double d2 = dx * dx + dy * dy, touch = ri + radius_um[j];
            if (d2 < touch * touch)
                gain -= shared_at_most(ri, radius_um[j], d2);
        }
        /* those that lie on others are left out */
        if (gain <= 0.0)
            continue;
        sure += gain;
        taken[n_taken++] = i;
    }
    return sure >= enough_um2;
}
