#include "arena.h"

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
    arena->block = aligned_alloc(NRW_ARENA_ALIGN, arena->size);
    if (!arena->block)
        return 0;
    memset(arena->block, 0, arena->size);
    arena->used = 0;
    return 1;
}

void nrw_arena_clear(nrw_arena *arena)
{
    free(arena->block);
    memset(arena, 0, sizeof *arena);
}
