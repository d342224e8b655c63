#include "cell_grid.h"

#include <stdlib.h>
#include <string.h>

enum { SMALLEST_TABLE = 64 };

/* Cells are larger than asked for by this share, so that rounding can't put two
 * particles one cell apart into cells that don't touch (up to 4e6 cells from
 * the origin). */
#define CELL_MARGIN 1e-9

static size_t table_size(size_t n)
{
    size_t size = SMALLEST_TABLE;
    while (size < 2 * n)
        size *= 2;
    return size;
}

bool nrw_cell_grid_init(nrw_cell_grid *grid, size_t capacity)
{
    memset(grid, 0, sizeof *grid);
    grid->capacity = capacity;
    grid->starts = malloc((table_size(capacity) + 1) * sizeof *grid->starts);
    grid->items = malloc((capacity + 1) * sizeof *grid->items);
    grid->entries = malloc((capacity + 1) * sizeof *grid->entries);
    if (grid->starts && grid->items && grid->entries)
        return true;
    nrw_cell_grid_clear(grid);
    return false;
}

void nrw_cell_grid_clear(nrw_cell_grid *grid)
{
    free(grid->starts);
    free(grid->items);
    free(grid->entries);
    memset(grid, 0, sizeof *grid);
}

/* The two low bits of each coordinate stand in the entry itself and only the
 * rest is hashed. Three neighbouring cells along an axis differ in these bits,
 * so the cells of one block never share an entry and no particle is met twice. */
static uint32_t entry_of(const nrw_cell_grid *grid, int64_t ix, int64_t iy, int64_t iz)
{
    uint32_t x = (uint32_t)ix, y = (uint32_t)iy, z = (uint32_t)iz;
    uint32_t hash = (x >> 2) * 0x9E3779B1u ^ (y >> 2) * 0x85EBCA77u ^ (z >> 2) * 0xC2B2AE3Du;
    hash ^= hash >> 15;
    uint32_t low = (x & 3u) | (y & 3u) << 2;
    if (grid->flat)
        return (low | hash << 4) & grid->mask;
    return (low | (z & 3u) << 4 | hash << 6) & grid->mask;
}

/* Truncation is enough: no position is below the origin. */
static int64_t cell_of(const nrw_cell_grid *grid, int axis, double position)
{
    return (int64_t)((position - grid->origin_um[axis]) * grid->cells_per_um);
}

static void bounds(size_t n, const double *values, double *low, double *high)
{
    *low = *high = values[0];
    for (size_t i = 1; i < n; i++) {
        if (values[i] < *low)
            *low = values[i];
        if (values[i] > *high)
            *high = values[i];
    }
}

void nrw_cell_grid_sort(nrw_cell_grid *grid, size_t n, const double *x_um, const double *y_um,
                        const double *z_um, double cell_um)
{
    double high, z_high = 0.0;
    bounds(n, x_um, &grid->origin_um[0], &high);
    bounds(n, y_um, &grid->origin_um[1], &high);
    grid->origin_um[2] = 0.0;
    if (z_um)
        bounds(n, z_um, &grid->origin_um[2], &z_high);
    grid->cell_um = cell_um;
    grid->cells_per_um = (1.0 - CELL_MARGIN) / cell_um;
    grid->flat = z_high - grid->origin_um[2] < cell_um;
    size_t size = table_size(n);
    grid->mask = (uint32_t)(size - 1);

    memset(grid->starts, 0, (size + 1) * sizeof *grid->starts);
    for (size_t i = 0; i < n; i++) {
        uint32_t entry = entry_of(grid, cell_of(grid, 0, x_um[i]), cell_of(grid, 1, y_um[i]),
                                  z_um && !grid->flat ? cell_of(grid, 2, z_um[i]) : 0);
        grid->entries[i] = entry;
        grid->starts[entry + 1]++;
    }
    for (size_t e = 0; e < size; e++)
        grid->starts[e + 1] += grid->starts[e];
    /* Filling from the back leaves starts[e + 1] at the first item of entry e;
     * so the table is read one entry higher while it is filled, then moved. */
    for (size_t i = n; i-- > 0;)
        grid->items[--grid->starts[grid->entries[i] + 1]] = (uint32_t)i;
    memmove(grid->starts, grid->starts + 1, size * sizeof *grid->starts);
    grid->starts[size] = (uint32_t)n;
}

size_t nrw_cell_grid_around(const nrw_cell_grid *grid, double x_um, double y_um, double z_um,
                            nrw_cell_range ranges[NRW_CELL_BLOCK])
{
    int64_t ix = cell_of(grid, 0, x_um);
    int64_t iy = cell_of(grid, 1, y_um);
    int64_t iz = grid->flat ? 0 : cell_of(grid, 2, z_um);
    int64_t layers = grid->flat ? 0 : 1;
    size_t n_ranges = 0;
    for (int64_t kz = iz - layers; kz <= iz + layers; kz++)
        for (int64_t ky = iy - 1; ky <= iy + 1; ky++)
            for (int64_t kx = ix - 1; kx <= ix + 1; kx++) {
                uint32_t entry = entry_of(grid, kx, ky, kz);
                nrw_cell_range range = {grid->starts[entry], grid->starts[entry + 1]};
                if (range.begin < range.end)
                    ranges[n_ranges++] = range;
            }
    return n_ranges;
}
