/* Particles sorted into blocks of 16 that lie close together, and a binary tree over the
 * blocks: what the pair lists (pair_list.h) and the far field (far_field.h) stand on.
 *
 * A node is halved across its longest side, by number of blocks, until a few are left, which are
 * cut so that they become compact (block_cut.h); within a block the particles go on being halved
 * down to fours. So all blocks but
 * the last are full, whatever the swarm looks like, and 16 of them fill the kernels'
 * vectors. Deterministic; not made for more than one thread at once. */
#ifndef NRW_BLOCK_TREE_H
#define NRW_BLOCK_TREE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "kernel.h"

/* Particles of a block. */
#define NRW_BLOCK NRW_LANES

typedef struct nrw_block_node {
    uint32_t first, n_blocks;
    uint32_t left, right;  /* children, which follow their parent; 0: a single block */
    float low[3], high[3]; /* box of its particles, µm from the tree's origin */
    float centre[3];       /* their mean */
    float radius;          /* of a sphere about the centre that holds the box */
} nrw_block_node;

/* A particle while it is sorted. */
typedef struct nrw_block_point {
    float at[3];
    uint32_t particle;
} nrw_block_point;

typedef struct nrw_block_tree {
    size_t capacity;                     /* particles, at most */
    size_t n, n_rows, n_blocks, n_nodes; /* n_rows: 16 a block */
    double origin_um[3];                 /* mean of the particles */
    uint32_t *order;                     /* (n_rows) particle of each row; n in the empty ones */
    nrw_block_node *nodes;               /* (n_nodes) the root, its left part, its right part */
    nrw_block_point *points;             /* (n_rows) by row, as they were sorted */
} nrw_block_tree;

/* Memory for up to `capacity` >= 1 particles. False: none, and nothing is held. */
bool nrw_block_tree_init(nrw_block_tree *tree, size_t capacity);
void nrw_block_tree_clear(nrw_block_tree *tree);

/* Sorts n particles (1 <= n <= capacity) at finite x, y, z (n) µm. O(n log n), less when
 * they have moved little since the last time: it starts from that order if n is the
 * same. */
void nrw_block_tree_sort(nrw_block_tree *tree, size_t n, const double *x_um, const double *y_um,
                         const double *z_um);

/* The same blocks and nodes at other places of the particles: boxes, centres and radii
 * anew. O(n). */
void nrw_block_tree_move(nrw_block_tree *tree, const double *x_um, const double *y_um,
                         const double *z_um);

/* Squared distance of two boxes. */
static inline float nrw_boxes_apart2_um2(const float low_a[3], const float high_a[3],
                                         const float low_b[3], const float high_b[3])
{
    float sum = 0.0f;
    for (int axis = 0; axis < 3; axis++) {
        const float above = low_a[axis] - high_b[axis], below = low_b[axis] - high_a[axis];
        const float gap = above > below ? above : below;
        sum += gap > 0.0f ? gap * gap : 0.0f;
    }
    return sum;
}

/* Nodes that between them hold all blocks near some box, in the order of the blocks: where a
 * search around a part of that box begins. */
enum { NRW_BLOCK_FRONT = 64 };
typedef struct nrw_block_front {
    size_t n;
    uint32_t nodes[NRW_BLOCK_FRONT];
} nrw_block_front;

/* Single blocks, from block `first` on, whose boxes come closer than reach_um to a box (in
 * µm from the tree's origin): their nodes, in the order of the blocks, into `found`, which
 * must have room for all (n_blocks − first). Looks below `from`; NULL: below the root. Returns
 * how many. */
size_t nrw_block_tree_near(const nrw_block_tree *tree, const nrw_block_front *from,
                           const float low[3], const float high[3], float reach_um, size_t first,
                           uint32_t *found);

/* The same with the blocks' boxes, into `near`, whose arrays must have room for all of the
 * tree's blocks, padded to a multiple of NRW_LANES. */
void nrw_block_tree_around(const nrw_block_tree *tree, const nrw_block_front *from,
                           const float low[3], const float high[3], float reach_um, size_t first,
                           nrw_block_boxes *near);

/* A walk over nodes that together hold all blocks once, in their order: of at most `most` blocks
 * and, but for single blocks, of a radius of at most widest_um. On the way down it narrows what
 * comes closer than reach_um to a node, so that looking around one needs no way from the root. */
enum { NRW_BLOCK_DEEPEST = 64 }; /* halvings of 2^32 blocks, and one more on the way */
typedef struct nrw_block_walk {
    const nrw_block_tree *tree;
    float reach_um, widest_um;
    size_t most, n_stack;
    uint32_t stack[NRW_BLOCK_DEEPEST], depths[NRW_BLOCK_DEEPEST];
    nrw_block_front fronts[NRW_BLOCK_DEEPEST]; /* by depth */
} nrw_block_walk;

void nrw_block_walk_begin(nrw_block_walk *walk, const nrw_block_tree *tree, float reach_um,
                          size_t most, float widest_um);
/* The next node, and what is near it until the one after; NULL: that was the last. */
const nrw_block_node *nrw_block_walk_next(nrw_block_walk *walk, const nrw_block_front **front);

/* Largest number of nodes that nrw_block_tree_sort can make for n particles. */
size_t nrw_block_tree_most_nodes(size_t n);

#endif
