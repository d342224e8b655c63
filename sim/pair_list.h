/* Pairs closer than a cutoff, as pairs of blocks: dipole forces with a cutoff at the
 * speed of the kernels over all pairs.
 *
 * Runs take no cutoff, whose error is not small (docs/physics.md, section 4); this list
 * tells what a cutoff costs and what it spares.
 *
 * Quarters of blocks (four particles) are listed with the blocks that may come closer than
 * the cutoff to them until some particle has moved by half the skin; pairs that are
 * farther are masked. Every block has an origin of its own in double precision, so that
 * the error of single precision does not grow with the swarm. */
#ifndef NRW_PAIR_LIST_H
#define NRW_PAIR_LIST_H

#include "block_tree.h"
#include "kernel.h"

typedef struct nrw_pair_list {
    const nrw_kernels *kernels; /* the best for this processor, unless set otherwise */
    nrw_block_tree tree;        /* owned */
    double cutoff_um, skin_um;
    size_t n_slots, slot_capacity;
    uint32_t *starts; /* (4 n_blocks + 1) */
    uint32_t *others; /* (slot_capacity) */
    float *shifts;    /* (slot_capacity x 3) */
    double *ref[3];   /* (n) places when the list was made */
    double *origins;  /* (n_blocks x 3) µm */
    float *rows;      /* places, moments and forces by row */
    nrw_block_task task;
    uint64_t n_builds;
} nrw_pair_list;

/* Memory for up to `capacity` >= 1 particles. False: none, and nothing is held. */
bool nrw_pair_list_init(nrw_pair_list *list, size_t capacity);
void nrw_pair_list_clear(nrw_pair_list *list);

/* Makes the list for pairs closer than cutoff_um anew if some particle has moved by
 * more than half of skin_um since it was made (or n or the lengths changed), and takes
 * the places over. x, y, z (n) µm, finite. False: no memory for so many pairs. */
bool nrw_pair_list_refresh(nrw_pair_list *list, size_t n, const double *x_um, const double *y_um,
                           const double *z_um, double cutoff_um, double skin_um);

/* Dipole forces, docs/physics.md (7.2), of all pairs closer than the cutoff, at the places
 * of the last refresh. moment (n): over the nominal one; tensor: 3·µ0/4π·⟨m mᵀ⟩ of the
 * nominal particle; closer pairs than √core2 are treated as if at that distance; force_pN
 * (n x 3) out. */
void nrw_pair_list_forces(nrw_pair_list *list, const float *moment,
                          const float tensor[NRW_N_TENSOR], float core2, float *force_pN);

#endif
