/* Pairs closer than a cutoff: dipole forces with a cutoff at nearly the speed of the
 * kernels over all pairs.
 *
 * Runs take no cutoff, whose error is not small (docs/physics.md, section 4); this list
 * tells what a cutoff costs and what it spares.
 *
 * A list (Verlet 1967) of each quad (four particles that lie close together, neighbours in
 * the block tree) holds quads that may come closer to it than the cutoff, until some particle
 * has moved by half of the skin against the others; pairs that are farther are masked. Each
 * pair of quads is listed once, by either of the two, whichever fills vectors better. The
 * kernels see places along the principal axes of the moments' tensor, which leaves fewer
 * products, and as whole numbers of a length that is 2^24 times shorter than the cutoff, so
 * that the error of single precision does not grow with the swarm. */
#ifndef NRW_PAIR_LIST_H
#define NRW_PAIR_LIST_H

#include <gsl/gsl_eigen.h>

#include "block_tree.h"
#include "kernel.h"

typedef struct nrw_pair_list {
    const nrw_kernels *kernels; /* the best for this processor, unless set otherwise */
    nrw_block_tree tree;        /* owned */
    double cutoff_um, skin_um;
    size_t n_slots, slot_capacity;
    uint32_t *starts;  /* (n_quads + 1) */
    uint32_t *others;  /* (slot_capacity), and room for what a quad may find */
    uint32_t *owners;  /* (slot_capacity/4) */
    uint32_t *left_to; /* (n_quads) the last entry of `left` for each quad; 0: none */
    uint32_t *left;    /* (3 n_quads + 1 x 2) a quad that leaves itself to that one, and the
                          entry before */
    size_t n_left;
    uint32_t *blocks; /* (n_blocks) while lists are made: blocks near some others, */
    float *boxes;     /* (6 x n_rows/16, padded) and their boxes */
    double *at[3];    /* (n_rows) places by row, µm */
    double *ref[3];   /* (n_rows) those when the list was made */
    nrw_quad *quads;  /* (n_quads + 1) */
    float *forces;    /* (n_quads + 1 x 16) */
    gsl_eigen_symmv_workspace *eigen;
    uint64_t n_builds;
} nrw_pair_list;

/* Memory for up to `capacity` >= 1 particles. False: none, and nothing is held. */
bool nrw_pair_list_init(nrw_pair_list *list, size_t capacity);
void nrw_pair_list_clear(nrw_pair_list *list);

/* Makes the list for pairs closer than cutoff_um anew if some particle has moved by more
 * than half of skin_um against the others since it was made (or n or the lengths changed),
 * and takes the places over. x, y, z (n) µm, finite. False: no memory for so many pairs. */
bool nrw_pair_list_refresh(nrw_pair_list *list, size_t n, const double *x_um, const double *y_um,
                           const double *z_um, double cutoff_um, double skin_um);

/* Dipole forces, docs/physics.md (7.2), of all pairs closer than the cutoff, at the places
 * of the last refresh. moment (n): over the nominal one; tensor: 3·µ0/4π·⟨m mᵀ⟩ of the
 * nominal particle, up to a multiple of the unit tensor; closer pairs than √core2 are treated
 * as if at that distance; force_pN (n x 3) out. */
void nrw_pair_list_forces(nrw_pair_list *list, const float *moment,
                          const float tensor[NRW_N_TENSOR], float core2, float *force_pN);

#endif
