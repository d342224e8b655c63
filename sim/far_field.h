/* Sums over all pairs in O(N): pairs of close blocks one by one, the others by expansions
 * of the field of whole nodes of the tree (a fast multipole method: Greengard & Rokhlin
 * 1987; traversal of pairs of nodes: Dehnen 2002). docs/physics.md, (6.9)-(6.13).
 *
 * Dipole forces are third derivatives of the potential Σ m/r of scalar weights (the
 * moments over the nominal one), the pair flow above a floor first to third derivatives of
 * those of the torques and of their mirror images: all of it is harmonic, and four kinds of
 * weights serve every drive, averaged and resolved.
 *
 * Rule of the error: two nodes are expanded about each other when the sum of their radii
 * is less than NRW_FAR_OPENING times the distance of their centres, and no two of their
 * particles can come within contact's reach while the lists are kept; expansions go to
 * third order past the leading term, and for the flow on to what would add up over a swarm.
 * tests/far_field_test.c holds the sums against plain ones. Lists are kept until particles have
 * typically (peaks.h) moved farther than NRW_FAR_KEEP radii against the swarm's mean, or one half
 * as far again, blocks for a few lists, with their boxes taken anew; the expansions are made for
 * where the particles are. Deterministic, in a fixed order. */
#ifndef NRW_FAR_FIELD_H
#define NRW_FAR_FIELD_H

#include "block_tree.h"
#include "kernel.h"

#define NRW_FAR_OPENING 0.54
#define NRW_FAR_KEEP 1.0

typedef struct nrw_far_field {
    const nrw_kernels *kernels; /* the best for this processor, unless set otherwise */
    nrw_block_tree tree;        /* owned, like all that follows */
    size_t n_near, near_capacity;
    uint32_t *near_starts; /* (n_blocks + 1) */
    uint32_t *near;        /* (n_near) the other block of each near pair */
    float *near_shifts;    /* (n_near x 3) */
    size_t n_far, far_capacity;
    uint32_t *far;    /* (far_capacity x 2) scratch: pairs of nodes that are expanded */
    uint32_t *counts; /* (n_nodes + 2) scratch */
    size_t n_chunks, n_slots, slot_capacity;
    uint32_t *targets, *starts, *sources; /* see nrw_far_task */
    double *ref[3], ref_means[3];         /* (n) places when the lists were made; their means */
    double keep_um;                       /* how far particles may typically move from there */
    float apart_um;                       /* gap that far nodes have at least */
    double *centres;                      /* (n_nodes x 3) µm */
    float *node_centres;                  /* (3 x n_nodes + 1) from the tree's origin */
    float *moments, *locals;
    float *rows;      /* inputs and outputs by row */
    uint32_t *row_of; /* (n) row of each particle */
    uint64_t n_builds;
    uint64_t n_near_pairs; /* pairs of particles that are summed one by one */
} nrw_far_field;

/* Memory for up to `capacity` >= 1 particles. False: none, and nothing is held. */
bool nrw_far_field_init(nrw_far_field *far, size_t capacity);
void nrw_far_field_clear(nrw_far_field *far);

/* Which sums. */
enum { NRW_FAR_DIPOLES = 1, NRW_FAR_FLOW = 2, NRW_FAR_RESPONSE = 4 };

/* What the kernels over all pairs do (tile_averaged, tile_flow, tile_averaged_flow,
 * tile_response): reads moments, torques and constants of `task`, by its rows, and writes
 * its forces, flow, or responses. x, y, z (n) are the places by particle, µm, with z from
 * the floor where there is flow; row i of the task holds particle order[i], n =
 * task->n_filled >= 2. `what`: NRW_FAR_DIPOLES, NRW_FAR_FLOW, both, or NRW_FAR_RESPONSE.
 * False: no memory for the lists, and nothing is written. */
bool nrw_far_field_sum(nrw_far_field *far, const nrw_pair_task *task, const uint32_t *order,
                       const double *x_um, const double *y_um, const double *z_um, int what);

#endif
