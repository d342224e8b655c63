/* Distance grid: the signed distance to an outline, stored for quick look-up.
 *
 * Square tiles of 16 x 16 cells are stored finely where the distance matters
 * (near walls, and everywhere in the fluid when that fits in memory); elsewhere
 * a tile is one cell between the tiles' corners. Every node holds the exact
 * distance and its gradient; in between, bilinear weights blend each node's
 * distance plus half of its linear continuation: exact for straight walls, of
 * fourth order at smooth ones (two-dimensional form of the average of linear and
 * blended first-order Taylor interpolation, whose leading errors cancel), and
 * within a quarter of the spacing across a crease, where the nearest wall
 * changes. */
#ifndef NRW_DISTANCE_GRID_H
#define NRW_DISTANCE_GRID_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "error.h"
#include "outline.h"

enum { NRW_TILE_SHIFT = 4, NRW_TILE_CELLS = 1 << NRW_TILE_SHIFT };
#define NRW_TILE_FINE UINT32_C(0x80000000)
#define NRW_GRADIENT_SCALE (1.0f / 32767.0f)

typedef struct nrw_grid_node {
    float distance_um;
    int16_t gradient[2]; /* unit vector / NRW_GRADIENT_SCALE */
} nrw_grid_node;

typedef struct nrw_distance_grid {
    double origin_um[2];
    double spacing_um, per_spacing; /* of the fine cells, and its inverse */
    float spacing_word_um;          /* spacing_um × NRW_GRADIENT_SCALE */
    int n_tiles[2];
    double last_cell[2];  /* coordinates are limited to [0, last_cell] */
    uint32_t *tiles;      /* (n_tiles[1] x n_tiles[0]) first node, with the flag when fine */
    nrw_grid_node *nodes; /* the tiles' corners row by row, then 17 x 17 a fine tile */
    size_t n_nodes;
} nrw_distance_grid;

typedef struct nrw_distance_grid_config {
    double spacing_um;   /* wanted; made larger until the grid fits */
    double near_um;      /* fine within this distance of a wall, on both sides */
    double contact_um;   /* distances below this matter to contacts */
    double margin_um;    /* beyond the outline's box */
    size_t memory_bytes; /* limit for tiles and nodes */
} nrw_distance_grid_config;

/* Builds the grid of a closed outline. NRW_OK or NRW_NO_MEMORY. The caller clears
 * it. Cost about 10 ns for each node. */
nrw_status nrw_distance_grid_build(nrw_distance_grid *grid, const nrw_outline *outline,
                                   const nrw_distance_grid_config *config);
void nrw_distance_grid_clear(nrw_distance_grid *grid);

size_t nrw_distance_grid_bytes(const nrw_distance_grid *grid);

/* Entry of the tile that holds a cell. */
static inline uint32_t nrw_distance_grid_tile(const nrw_distance_grid *grid, double cell_x,
                                              double cell_y)
{
    size_t row = (size_t)((int)cell_y >> NRW_TILE_SHIFT);
    size_t column = (size_t)((int)cell_x >> NRW_TILE_SHIFT);
    return grid->tiles[row * (size_t)grid->n_tiles[0] + column];
}

/* Distance at (x, y), which is limited to the grid (`beyond` says whether it had
 * to be), and the blended gradient in stored words (not of unit length). No
 * branches. */
static inline float nrw_distance_grid_blend(const nrw_distance_grid *grid, double x_um, double y_um,
                                            float gradient[2], bool *beyond)
{
    double wanted_x = (x_um - grid->origin_um[0]) * grid->per_spacing;
    double wanted_y = (y_um - grid->origin_um[1]) * grid->per_spacing;
    /* Plain comparisons: fmin and fmax are calls, and this takes NAN to 0 too. */
    double cx = wanted_x > 0.0 ? wanted_x : 0.0;
    double cy = wanted_y > 0.0 ? wanted_y : 0.0;
    cx = cx < grid->last_cell[0] ? cx : grid->last_cell[0];
    cy = cy < grid->last_cell[1] ? cy : grid->last_cell[1];
    *beyond = (cx != wanted_x) | (cy != wanted_y);
    uint32_t tile = nrw_distance_grid_tile(grid, cx, cy);
    bool fine = tile & NRW_TILE_FINE;
    /* Within a coarse tile the cell is the tile. */
    uint32_t mask = fine ? ~UINT32_C(0) : ~(uint32_t)(NRW_TILE_CELLS - 1);
    uint32_t stride = fine ? NRW_TILE_CELLS + 1 : (uint32_t)grid->n_tiles[0] + 1;
    float share = fine ? 1.0f : 1.0f / NRW_TILE_CELLS;
    uint32_t ix = (uint32_t)cx & mask, iy = (uint32_t)cy & mask;
    float u = (float)(cx - (double)(int)ix) * share, v = (float)(cy - (double)(int)iy) * share;
    uint32_t jx = ix & (NRW_TILE_CELLS - 1), jy = iy & (NRW_TILE_CELLS - 1);
    const nrw_grid_node *low = &grid->nodes[(tile & ~NRW_TILE_FINE) + jy * stride + jx];
    const nrw_grid_node *high = low + stride;

    float x00 = low[0].gradient[0], x10 = low[1].gradient[0];
    float x01 = high[0].gradient[0], x11 = high[1].gradient[0];
    float y00 = low[0].gradient[1], y10 = low[1].gradient[1];
    float y01 = high[0].gradient[1], y11 = high[1].gradient[1];
    float u1 = 1.0f - u, v1 = 1.0f - v;
    gradient[0] = v1 * (u1 * x00 + u * x10) + v * (u1 * x01 + u * x11);
    gradient[1] = v1 * (u1 * y00 + u * y10) + v * (u1 * y01 + u * y11);
    float linear = v1 * (u1 * low[0].distance_um + u * low[1].distance_um) +
                   v * (u1 * high[0].distance_um + u * high[1].distance_um);
    float taylor = u * u1 * (v1 * (x00 - x10) + v * (x01 - x11)) +
                   v * v1 * (u1 * (y00 - y01) + u * (y10 - y11));
    float half_cell = (fine ? 0.5f : 0.5f * NRW_TILE_CELLS) * grid->spacing_word_um;
    return linear + half_cell * taylor;
}

#endif
