#include "distance_grid.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

enum {
    TILE_NODES = (NRW_TILE_CELLS + 1) * (NRW_TILE_CELLS + 1),
    LEAF_CELLS = 4 /* smallest block that prunes its candidates */
};
/* The grid grows by this factor while it does not fit. */
#define COARSEN 1.25

/* A segment prepared for distances. */
typedef struct edge {
    double a[2], d[2];
    double per_square; /* 1/|d|² */
} edge;

/* The grid is filled by halving square blocks. Each block keeps only the segments
 * that can be nearest somewhere in it: those within the centre's distance plus
 * the block's diagonal (the distance changes by at most half of it from the
 * centre to any point, for either segment). Blocks that no wall can cross have
 * one sign. */
typedef struct block {
    int x, y, cells;      /* lowest cell, side */
    const uint32_t *near; /* (n_near) candidates */
    size_t n_near;
    int sign; /* 1 in the fluid, -1 in the wall, 0 both */
} block;

typedef struct filler {
    const nrw_outline *outline;
    nrw_distance_grid *grid;
    edge *edges;      /* (n_segments) */
    double *squares;  /* (n_segments) scratch */
    uint32_t *stack;  /* candidates of the blocks on the way down */
    float *centre_um; /* (n_tiles) distance at the tiles' centres; NULL while filling */
} filler;

static double edge_square(const edge *e, double x, double y)
{
    double rx = x - e->a[0], ry = y - e->a[1];
    double t = (rx * e->d[0] + ry * e->d[1]) * e->per_square;
    t = t > 0.0 ? t : 0.0;
    t = t < 1.0 ? t : 1.0;
    rx -= t * e->d[0];
    ry -= t * e->d[1];
    return rx * rx + ry * ry;
}

/* Keeps the block's candidates in `kept` (room for all of them); returns the
 * distance at its centre. */
static double prune(const filler *f, const block *b, double x, double y, double diagonal,
                    uint32_t *kept, size_t *n_kept)
{
    double least = INFINITY;
    for (size_t i = 0; i < b->n_near; i++) {
        f->squares[i] = edge_square(&f->edges[b->near[i]], x, y);
        least = f->squares[i] < least ? f->squares[i] : least;
    }
    double distance = sqrt(least);
    double reach = (distance + diagonal) * (1.0 + 1e-12);
    size_t n = 0;
    for (size_t i = 0; i < b->n_near; i++)
        if (f->squares[i] <= reach * reach)
            kept[n++] = b->near[i];
    *n_kept = n;
    return distance;
}

static int16_t gradient_word(double component)
{
    return (int16_t)lrint(fmin(fmax(component, -1.0), 1.0) * 32767.0);
}

/* Exact distance and gradient at a node. On the wall itself the gradient is the
 * segment's normal (fluid lies to its left). */
static void fill_node(const filler *f, const block *b, double x, double y, nrw_grid_node *node)
{
    size_t best = 0;
    double least = INFINITY;
    for (size_t i = 0; i < b->n_near; i++) {
        double square = edge_square(&f->edges[b->near[i]], x, y);
        if (square < least) {
            least = square;
            best = b->near[i];
        }
    }
    const edge *e = &f->edges[best];
    int sign = b->sign ? b->sign : nrw_outline_contains(f->outline, x, y) ? 1 : -1;
    double distance = sqrt(least);
    double rx = x - e->a[0], ry = y - e->a[1];
    double t = fmin(fmax((rx * e->d[0] + ry * e->d[1]) * e->per_square, 0.0), 1.0);
    double gx = rx - t * e->d[0], gy = ry - t * e->d[1], norm = sign * distance;
    if (distance < NRW_OUTLINE_TOLERANCE_UM) {
        gx = -e->d[1];
        gy = e->d[0];
        norm = hypot(gx, gy);
    }
    node->distance_um = (float)(sign * distance);
    node->gradient[0] = gradient_word(gx / norm);
    node->gradient[1] = gradient_word(gy / norm);
}

static void node_place(const nrw_distance_grid *grid, int i, int j, double at[2])
{
    at[0] = grid->origin_um[0] + i * grid->spacing_um;
    at[1] = grid->origin_um[1] + j * grid->spacing_um;
}

static void fill_leaf(const filler *f, const block *b)
{
    nrw_distance_grid *grid = f->grid;
    int tile_x = b->x >> NRW_TILE_SHIFT, tile_y = b->y >> NRW_TILE_SHIFT;
    uint32_t tile = grid->tiles[(size_t)tile_y * (size_t)grid->n_tiles[0] + (size_t)tile_x];
    nrw_grid_node *nodes = &grid->nodes[tile & ~NRW_TILE_FINE];
    int x0 = b->x & (NRW_TILE_CELLS - 1), y0 = b->y & (NRW_TILE_CELLS - 1);
    int x1 = x0 + b->cells + (x0 + b->cells == NRW_TILE_CELLS);
    int y1 = y0 + b->cells + (y0 + b->cells == NRW_TILE_CELLS);
    for (int j = y0; j < y1; j++)
        for (int i = x0; i < x1; i++) {
            double at[2];
            node_place(grid, b->x - x0 + i, b->y - y0 + j, at);
            fill_node(f, b, at[0], at[1], &nodes[j * (NRW_TILE_CELLS + 1) + i]);
        }
}

/* First pass: notes the tile's distance. Second pass: fills its corner; returns
 * whether its own nodes are to be filled. */
static bool visit_tile(const filler *f, const block *b, double centre_distance)
{
    nrw_distance_grid *grid = f->grid;
    size_t tile_x = (size_t)(b->x >> NRW_TILE_SHIFT), tile_y = (size_t)(b->y >> NRW_TILE_SHIFT);
    size_t row = (size_t)grid->n_tiles[0];
    bool is_tile = tile_x < row && tile_y < (size_t)grid->n_tiles[1];
    if (f->centre_um) {
        if (is_tile)
            f->centre_um[tile_y * row + tile_x] = (float)centre_distance;
        return false;
    }
    double at[2];
    node_place(grid, b->x, b->y, at);
    fill_node(f, b, at[0], at[1], &grid->nodes[tile_y * (row + 1) + tile_x]);
    return is_tile && (grid->tiles[tile_y * row + tile_x] & NRW_TILE_FINE);
}

static void visit_block(const filler *f, const block *parent, uint32_t *stack)
{
    const nrw_distance_grid *grid = f->grid;
    block b = *parent;
    /* One more tile than there are holds the corners of the last ones. */
    if (b.x >> NRW_TILE_SHIFT > grid->n_tiles[0] || b.y >> NRW_TILE_SHIFT > grid->n_tiles[1])
        return;
    double side = b.cells * grid->spacing_um;
    double x = grid->origin_um[0] + b.x * grid->spacing_um + 0.5 * side;
    double y = grid->origin_um[1] + b.y * grid->spacing_um + 0.5 * side;
    double distance = prune(f, parent, x, y, side * sqrt(2.0), stack, &b.n_near);
    b.near = stack;
    if (!b.sign && distance > side * sqrt(0.5))
        b.sign = nrw_outline_contains(f->outline, x, y) ? 1 : -1;
    if (b.cells == LEAF_CELLS) {
        fill_leaf(f, &b);
        return;
    }
    if (b.cells == NRW_TILE_CELLS) {
        bool inside = b.sign ? b.sign > 0 : nrw_outline_contains(f->outline, x, y);
        if (!visit_tile(f, &b, inside ? distance : -distance))
            return;
    }
    int half = b.cells / 2;
    for (int k = 0; k < 4; k++) {
        block child = {b.x + (k & 1) * half, b.y + (k >> 1) * half, half, b.near, b.n_near, b.sign};
        visit_block(f, &child, stack + b.n_near);
    }
}

/* Side of the smallest square block, a power of two of cells, over all tiles and
 * the row of corners beyond them. */
static int root_cells(const nrw_distance_grid *grid)
{
    int tiles = 1, most = grid->n_tiles[0] > grid->n_tiles[1] ? grid->n_tiles[0] : grid->n_tiles[1];
    while (tiles < most + 1)
        tiles *= 2;
    return tiles * NRW_TILE_CELLS;
}

static bool place_tiles(nrw_distance_grid *grid, const double bounds[4], double margin,
                        double spacing)
{
    grid->spacing_um = spacing;
    grid->per_spacing = 1.0 / spacing;
    grid->spacing_word_um = (float)spacing * NRW_GRADIENT_SCALE;
    double tile = NRW_TILE_CELLS * spacing;
    for (int k = 0; k < 2; k++) {
        double tiles = ceil((bounds[k + 2] - bounds[k] + 2.0 * margin) / tile);
        if (!(tiles < 32768.0))
            return false;
        grid->n_tiles[k] = (int)tiles;
        double slack = tiles * tile - (bounds[k + 2] - bounds[k]);
        grid->origin_um[k] = bounds[k] - 0.5 * slack;
        /* The largest coordinate whose cell is still the last one. */
        grid->last_cell[k] = nextafter(tiles * NRW_TILE_CELLS, 0.0);
    }
    return true;
}

static size_t n_tiles(const nrw_distance_grid *grid)
{
    return (size_t)grid->n_tiles[0] * (size_t)grid->n_tiles[1];
}

static size_t n_corners(const nrw_distance_grid *grid)
{
    return ((size_t)grid->n_tiles[0] + 1) * ((size_t)grid->n_tiles[1] + 1);
}

static size_t bytes_with(const nrw_distance_grid *grid, size_t n_fine)
{
    return n_tiles(grid) * (sizeof *grid->tiles + sizeof(float)) +
           (n_corners(grid) + n_fine * TILE_NODES) * sizeof *grid->nodes;
}

/* Tiles with a centre distance in [from, to]. */
static size_t count_between(const filler *f, double from, double to)
{
    size_t n = 0;
    for (size_t i = 0; i < n_tiles(f->grid); i++)
        n += (double)f->centre_um[i] >= from && (double)f->centre_um[i] <= to;
    return n;
}

static void run_pass(const filler *f, const uint32_t *all)
{
    block root = {0, 0, root_cells(f->grid), all, f->outline->n_segments, 0};
    visit_block(f, &root, f->stack);
}

/* Tries one spacing: measures the tiles and chooses which are fine, all fluid if
 * it fits, else the neighbourhood of the walls. NRW_REFUSED: neither fits. */
static nrw_status choose_fine(filler *f, const nrw_distance_grid_config *config,
                              const uint32_t *all, double range[2])
{
    nrw_distance_grid *grid = f->grid;
    if (bytes_with(grid, 0) > config->memory_bytes)
        return NRW_REFUSED;
    f->centre_um = calloc(n_tiles(grid), sizeof *f->centre_um);
    if (!f->centre_um)
        return NRW_NO_MEMORY;
    run_pass(f, all);
    double tile = NRW_TILE_CELLS * grid->spacing_um;
    /* A coarse tile lies so far from walls that its error, within 0.36 of its side
     * (a quarter of the cell for each direction), cannot feign a contact. */
    double near = fmax(config->near_um, config->contact_um + 0.5 * tile);
    double reach = near + tile * sqrt(0.5);
    range[0] = -reach;
    range[1] = INFINITY;
    if (bytes_with(grid, count_between(f, range[0], range[1])) <= config->memory_bytes)
        return NRW_OK;
    range[1] = reach;
    if (bytes_with(grid, count_between(f, range[0], range[1])) <= config->memory_bytes)
        return NRW_OK;
    free(f->centre_um);
    f->centre_um = NULL;
    return NRW_REFUSED;
}

static nrw_status allocate_nodes(const filler *f, const double range[2])
{
    nrw_distance_grid *grid = f->grid;
    size_t n_fine = count_between(f, range[0], range[1]);
    grid->n_nodes = n_corners(grid) + n_fine * TILE_NODES;
    grid->tiles = malloc(n_tiles(grid) * sizeof *grid->tiles);
    grid->nodes = malloc(grid->n_nodes * sizeof *grid->nodes);
    if (!grid->tiles || !grid->nodes)
        return NRW_NO_MEMORY;
    size_t row = (size_t)grid->n_tiles[0], next = n_corners(grid);
    for (size_t i = 0; i < n_tiles(grid); i++) {
        bool fine = (double)f->centre_um[i] >= range[0] && (double)f->centre_um[i] <= range[1];
        size_t first = fine ? next : i / row * (row + 1) + i % row;
        grid->tiles[i] = (uint32_t)first | (fine ? NRW_TILE_FINE : 0);
        next += fine ? TILE_NODES : 0;
    }
    return NRW_OK;
}

static nrw_status build(filler *f, const nrw_distance_grid_config *config, const uint32_t *all,
                        const double bounds[4])
{
    double range[2];
    nrw_status status = NRW_REFUSED;
    for (double spacing = config->spacing_um; status == NRW_REFUSED; spacing *= COARSEN)
        if (place_tiles(f->grid, bounds, config->margin_um, spacing))
            status = choose_fine(f, config, all, range);
    if (status == NRW_OK)
        status = allocate_nodes(f, range);
    free(f->centre_um);
    f->centre_um = NULL;
    if (status == NRW_OK)
        run_pass(f, all);
    return status;
}

static void prepare_edges(const nrw_outline *outline, edge *edges, uint32_t *all, double bounds[4])
{
    bounds[0] = bounds[1] = INFINITY;
    bounds[2] = bounds[3] = -INFINITY;
    for (size_t i = 0; i < outline->n_segments; i++) {
        const double *a = outline->segments[i].a_um, *b = outline->segments[i].b_um;
        for (int k = 0; k < 2; k++) {
            edges[i].a[k] = a[k];
            edges[i].d[k] = b[k] - a[k];
            bounds[k] = fmin(bounds[k], fmin(a[k], b[k]));
            bounds[k + 2] = fmax(bounds[k + 2], fmax(a[k], b[k]));
        }
        edges[i].per_square = 1.0 / (edges[i].d[0] * edges[i].d[0] + edges[i].d[1] * edges[i].d[1]);
        all[i] = (uint32_t)i;
    }
}

nrw_status nrw_distance_grid_build(nrw_distance_grid *grid, const nrw_outline *outline,
                                   const nrw_distance_grid_config *config)
{
    enum { DEEPEST = 20 }; /* halvings from 32768 tiles to a leaf, and the root */
    size_t n = outline->n_segments;
    memset(grid, 0, sizeof *grid);
    filler f = {.outline = outline, .grid = grid};
    f.edges = malloc(n * sizeof *f.edges);
    f.squares = malloc(n * sizeof *f.squares);
    f.stack = malloc(n * DEEPEST * sizeof *f.stack);
    uint32_t *all = malloc(n * sizeof *all);
    nrw_status status = NRW_NO_MEMORY;
    if (f.edges && f.squares && f.stack && all) {
        double bounds[4];
        prepare_edges(outline, f.edges, all, bounds);
        status = build(&f, config, all, bounds);
    }
    free(all);
    free(f.stack);
    free(f.squares);
    free(f.edges);
    return status;
}

void nrw_distance_grid_clear(nrw_distance_grid *grid)
{
    free(grid->tiles);
    free(grid->nodes);
    memset(grid, 0, sizeof *grid);
}

size_t nrw_distance_grid_bytes(const nrw_distance_grid *grid)
{
    return n_tiles(grid) * sizeof *grid->tiles + grid->n_nodes * sizeof *grid->nodes;
}
