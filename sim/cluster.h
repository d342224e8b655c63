/* Clusters of particles: groups joined through chains of close pairs. */
#ifndef NRW_CLUSTER_H
#define NRW_CLUSTER_H

#include <stddef.h>
#include <stdint.h>

#include "cell_grid.h"

typedef struct nrw_clusters {
    size_t n_clusters;
    uint32_t largest_root; /* lowest particle of the largest cluster */
    size_t largest_size;   /* particles in it */
} nrw_clusters;

/* Finds the clusters of n particles (1 <= n <= grid->capacity) at finite x, y,
 * z (n) µm with radii (n) µm > 0. Two particles are joined when their centres
 * are closer than reach × the mean of their diameters (contract section 4:
 * reach 1.5).
 *
 * roots (n) gets the lowest particle of each one's cluster; sizes (n) the
 * number of particles at each root (0 elsewhere); nearest_um (n, may be NULL)
 * the distance between centres to the nearest other particle (INFINITY for a
 * lone one). Of equally large clusters the one with the lowest particle is the
 * largest.
 *
 * The grid is the caller's scratch. O(n) for particles that keep their
 * distance; O(n log(extent)) where many are isolated and nearest_um is asked
 * for. Thread safe with a grid for each thread. */
nrw_clusters nrw_cluster_find(nrw_cell_grid *grid, size_t n, const double *x_um, const double *y_um,
                              const double *z_um, const double *radius_um, double reach,
                              uint32_t *roots, uint32_t *sizes, double *nearest_um);

#endif
