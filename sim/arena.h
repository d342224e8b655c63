/* One block of memory per world, sized at creation: nothing is allocated while
 * stepping. */
#ifndef NRW_ARENA_H
#define NRW_ARENA_H

#include <stddef.h>

#define NRW_ARENA_ALIGN 64 /* a cache line, and the widest vector register */

typedef struct nrw_arena {
    unsigned char *block; /* in `memory`; NULL while sizes are only counted */
    size_t used, size;
    unsigned char *memory; /* owned */
} nrw_arena;

/* Takes n × size bytes, zeroed, aligned to NRW_ARENA_ALIGN. With block == NULL it
 * only counts and returns NULL: lay out once to size the block, once more to get
 * the pointers. */
void *nrw_arena_take(nrw_arena *arena, size_t n, size_t size);

/* Allocates the block for the bytes counted so far and starts over; 0 on
 * failure. */
int nrw_arena_commit(nrw_arena *arena);

void nrw_arena_clear(nrw_arena *arena);

#endif
