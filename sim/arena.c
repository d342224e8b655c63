#include "arena.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

void *nrw_arena_take(nrw_arena *arena, size_t n, size_t size)
{
    size_t bytes = (n * size + NRW_ARENA_ALIGN - 1) / NRW_ARENA_ALIGN * NRW_ARENA_ALIGN;
    size_t at = arena->used;
    arena->used += bytes;
    return arena->block ? arena->block + at : NULL;
}

int nrw_arena_commit(nrw_arena *arena)
{
    arena->size = arena->used > 0 ? arena->used : NRW_ARENA_ALIGN;
    /* from calloc, so that what a large world never writes to takes no memory: contact lists
     * have room for more neighbours than most swarms have */
    arena->memory = calloc(1, arena->size + NRW_ARENA_ALIGN);
    if (!arena->memory)
        return 0;
    arena->block = arena->memory + NRW_ARENA_ALIGN - (uintptr_t)arena->memory % NRW_ARENA_ALIGN;
    arena->used = 0;
    return 1;
}

void nrw_arena_clear(nrw_arena *arena)
{
    free(arena->memory);
    memset(arena, 0, sizeof *arena);
}
