#include "cluster.h"

#include <math.h>
#include <stdbool.h>

#include "kernel.h"

/* Up to so many isolated particles it is cheaper to look at all the others
 * than to sort again. */
enum { FEW = 16 };

/* Up to so many particles, close ones are found by testing all pairs in vector lanes. */
enum { FEW_ENOUGH_FOR_ALL = 512, MOST_CLOSE = 128 };

typedef struct cloud {
    size_t n;
    const double *x, *y, *z, *radius;
} cloud;

static double distance2(const cloud *all, size_t i, size_t j)
{
    double dx = all->x[i] - all->x[j], dy = all->y[i] - all->y[j], dz = all->z[i] - all->z[j];
    return dx * dx + dy * dy + dz * dz;
}

/* Without fmin's care for NAN, which costs a call. */
static double smaller(double a, double b)
{
    return b < a ? b : a;
}

/* Root with path halving. Parents are never above their children, so a root is
 * the lowest particle of its cluster. */
static uint32_t root_of(uint32_t *parents, uint32_t i)
{
    while (parents[i] != i) {
        parents[i] = parents[parents[i]];
        i = parents[i];
    }
    return i;
}

static void join(uint32_t *parents, uint32_t i, uint32_t j)
{
    uint32_t a = root_of(parents, i), b = root_of(parents, j);
    if (a < b)
        parents[b] = a;
    else
        parents[a] = b;
}

/* Joins i to the close particles around it and returns the square of the
 * distance to the nearest one met. */
static double join_around(const nrw_cell_grid *grid, const cloud *all, uint32_t i, double reach,
                          uint32_t *parents)
{
    nrw_cell_range ranges[NRW_CELL_BLOCK];
    size_t n_ranges = nrw_cell_grid_around(grid, all->x[i], all->y[i], all->z[i], ranges);
    double nearest2 = INFINITY;
    for (size_t r = 0; r < n_ranges; r++)
        for (uint32_t k = ranges[r].begin; k < ranges[r].end; k++) {
            uint32_t j = grid->items[k];
            if (j == i)
                continue;
            double d2 = distance2(all, i, j);
            nearest2 = smaller(nearest2, d2);
            double join_um = reach * (all->radius[i] + all->radius[j]);
            if (j > i && d2 < join_um * join_um)
                join(parents, i, j);
        }
    return nearest2;
}

static double nearest2_around(const nrw_cell_grid *grid, const cloud *all, uint32_t i)
{
    nrw_cell_range ranges[NRW_CELL_BLOCK];
    size_t n_ranges = nrw_cell_grid_around(grid, all->x[i], all->y[i], all->z[i], ranges);
    double nearest2 = INFINITY;
    for (size_t r = 0; r < n_ranges; r++)
        for (uint32_t k = ranges[r].begin; k < ranges[r].end; k++)
            if (grid->items[k] != i)
                nearest2 = smaller(nearest2, distance2(all, i, grid->items[k]));
    return nearest2;
}

static double nearest2_of_all(const cloud *all, size_t i)
{
    double nearest2 = INFINITY;
    for (size_t j = 0; j < all->n; j++)
        if (j != i)
            nearest2 = smaller(nearest2, distance2(all, i, j));
    return nearest2;
}

/* A nearest neighbour met through the cells is certain when it is no farther
 * than a cell. The others are looked for in cells twice as large, and so on,
 * until so few are left that each may look at everything. */
static void finish_nearest(nrw_cell_grid *grid, const cloud *all, double *nearest2)
{
    double cell_um = grid->cell_um;
    for (;;) {
        double sure2 = cell_um * cell_um;
        size_t n_open = 0;
        for (size_t i = 0; i < all->n; i++)
            n_open += nearest2[i] > sure2;
        if (n_open <= FEW) {
            for (size_t i = 0; i < all->n; i++)
                if (nearest2[i] > sure2)
                    nearest2[i] = nearest2_of_all(all, i);
            return;
        }
        cell_um *= 2.0;
        nrw_cell_grid_sort(grid, all->n, all->x, all->y, all->z, cell_um);
        for (size_t i = 0; i < all->n; i++)
            if (nearest2[i] > sure2)
                nearest2[i] = nearest2_around(grid, all, (uint32_t)i);
    }
}

static nrw_clusters count(size_t n, uint32_t *roots, uint32_t *sizes)
{
    nrw_clusters clusters = {0, 0, 0};
    for (size_t i = 0; i < n; i++)
        sizes[i] = 0;
    for (size_t i = 0; i < n; i++) {
        roots[i] = root_of(roots, (uint32_t)i);
        sizes[roots[i]]++;
    }
    for (size_t i = 0; i < n; i++) {
        if (sizes[i] == 0)
            continue;
        clusters.n_clusters++;
        if (sizes[i] > clusters.largest_size) {
            clusters.largest_size = sizes[i];
            clusters.largest_root = (uint32_t)i;
        }
    }
    return clusters;
}

static void join_in_cells(nrw_cell_grid *grid, const cloud *all, double reach, double largest_um,
                          uint32_t *parents, double *nearest2)
{
    nrw_cell_grid_sort(grid, all->n, all->x, all->y, all->z, reach * 2.0 * largest_um);
    for (size_t i = 0; i < all->n; i++) {
        const double least2 = join_around(grid, all, (uint32_t)i, reach, parents);
        if (nearest2)
            nearest2[i] = least2;
    }
}

/* The same among all particles, without cells: single precision finds candidates, a
 * little beyond the reach, and double judges them. False when too many are close. */
static bool join_among_all(const cloud *all, double reach, uint32_t *parents, double *nearest2)
{
    enum { PADDED = FEW_ENOUGH_FOR_ALL + NRW_LANES };
    _Alignas(64) float x[PADDED], y[PADDED], z[PADDED], radius[PADDED];
    const size_t padded = (all->n + NRW_LANES - 1) / NRW_LANES * NRW_LANES;
    for (size_t i = 0; i < padded; i++) {
        x[i] = i < all->n ? (float)(all->x[i] - all->x[0]) : 1e15f;
        y[i] = i < all->n ? (float)(all->y[i] - all->y[0]) : 1e15f;
        z[i] = i < all->n ? (float)(all->z[i] - all->z[0]) : 1e15f;
        radius[i] = i < all->n ? (float)all->radius[i] : 0.0f;
    }
    const float margin = 1.001f * (float)reach;
    const nrw_close_search search = {.boxes.n = padded / NRW_LANES,
                                     .x = x,
                                     .y = y,
                                     .z = z,
                                     .radius = radius,
                                     .reach = margin,
                                     .inner = margin,
                                     .most = MOST_CLOSE};
    uint32_t close[NRW_QUAD * MOST_CLOSE + 2 * NRW_LANES], starts[NRW_QUAD + 1] = {0};
    for (size_t i = 0; i < all->n; i++) {
        const size_t left = all->n - i, r = i % NRW_QUAD;
        if (r == 0 &&
            !nrw_kernels_get()->close(&search, i, left < NRW_QUAD ? left : NRW_QUAD, close, starts))
            return false;
        double least2 = INFINITY;
        for (size_t k = starts[r]; k < starts[r + 1]; k++) {
            const uint32_t j = close[k];
            const double d2 = distance2(all, i, j);
            const double join_um = reach * (all->radius[i] + all->radius[j]);
            least2 = smaller(least2, d2);
            if (j > i && d2 < join_um * join_um)
                join(parents, (uint32_t)i, j);
        }
        if (nearest2)
            nearest2[i] = least2;
    }
    return true;
}

nrw_clusters nrw_cluster_find(nrw_cell_grid *grid, size_t n, const double *x_um, const double *y_um,
                              const double *z_um, const double *radius_um, double reach,
                              uint32_t *roots, uint32_t *sizes, double *nearest_um)
{
    const cloud all = {n, x_um, y_um, z_um, radius_um};
    double largest_um = radius_um[0], smallest_um = radius_um[0];
    for (size_t i = 0; i < n; i++) {
        roots[i] = (uint32_t)i;
        largest_um = radius_um[i] > largest_um ? radius_um[i] : largest_um;
        smallest_um = smaller(smallest_um, radius_um[i]);
    }
    if (n <= FEW_ENOUGH_FOR_ALL && join_among_all(&all, reach, roots, nearest_um))
        grid->cell_um = 2.0 * reach * smallest_um; /* what is found within is nearest */
    else
        join_in_cells(grid, &all, reach, largest_um, roots, nearest_um);
    if (nearest_um) {
        finish_nearest(grid, &all, nearest_um);
        for (size_t i = 0; i < n; i++)
            nearest_um[i] = sqrt(nearest_um[i]);
    }
    return count(n, roots, sizes);
}
