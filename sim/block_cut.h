/* Where to cut a flat cell of blocks in two so that all parts end up compact: of pairs of blocks
 * that are summed one by one, and of pairs of nodes that are expanded, there are as many as the
 * squared radii over the areas say. Halving again and again leaves six blocks in 2 x 3 only by
 * chance. */
#ifndef NRW_BLOCK_CUT_H
#define NRW_BLOCK_CUT_H

#include <stdbool.h>
#include <stdint.h>

typedef struct nrw_block_cut {
    bool across_longer; /* side, else the shorter one */
    uint32_t first;     /* blocks of the first part, at least one and not all */
} nrw_block_cut;

/* Cells of more blocks are halved across their longer side: the parts can make up for it. */
enum { NRW_BLOCK_CUT_MOST = 32 };

/* For n_blocks >= 2 in a cell whose longer side is `aspect` >= 1 times the shorter one. */
nrw_block_cut nrw_block_cut_of(uint32_t n_blocks, float aspect);

#endif
