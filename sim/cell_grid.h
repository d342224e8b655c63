/* Particles sorted into cubic cells, for finding the close ones in O(1) each.
 *
 * Cells are hashed into a table of about two entries a particle, so that memory
 * and time follow the number of particles and not the extent of the swarm: a
 * stray far away costs nothing. Cells that share a table entry are told apart
 * by the caller's own distance test. */
#ifndef NRW_CELL_GRID_H
#define NRW_CELL_GRID_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { NRW_CELL_BLOCK = 27 }; /* cells that touch a cell, itself included */

typedef struct nrw_cell_grid {
    size_t capacity;     /* largest number of particles */
    double origin_um[3]; /* lowest corner */
    double cell_um;
    double cells_per_um;
    bool flat;         /* all particles within one layer of cells */
    uint32_t mask;     /* table entries in use - 1 */
    uint32_t *starts;  /* (mask + 2) first item of each entry; owned */
    uint32_t *items;   /* (n) particles, entry by entry, rising within one; owned */
    uint32_t *entries; /* (n) entry of each particle; owned */
} nrw_cell_grid;

/* A run of grid->items: [begin, end). */
typedef struct nrw_cell_range {
    uint32_t begin, end;
} nrw_cell_range;

/* Memory for up to `capacity` particles (below 2^30). False: no memory, and
 * nothing is held. */
bool nrw_cell_grid_init(nrw_cell_grid *grid, size_t capacity);
void nrw_cell_grid_clear(nrw_cell_grid *grid);

/* Sorts n >= 1 particles (n <= capacity) at finite x, y, z (n) µm into cells of
 * cell_um > 0; z may be NULL (all on one plane). O(n). */
void nrw_cell_grid_sort(nrw_cell_grid *grid, size_t n, const double *x_um, const double *y_um,
                        const double *z_um, double cell_um);

/* Item ranges of the cells that touch the cell of a point inside the sorted
 * particles' bounding box. Every particle within cell_um of the point is in
 * exactly one range (with others, farther off). Returns the number of
 * non-empty ranges. */
size_t nrw_cell_grid_around(const nrw_cell_grid *grid, double x_um, double y_um, double z_um,
                            nrw_cell_range ranges[NRW_CELL_BLOCK]);

#endif
