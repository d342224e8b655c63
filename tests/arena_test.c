#include <criterion/criterion.h>
#include <stdint.h>

#include "arena.h"

typedef struct plan {
    double *doubles;
    float *floats;
    char *bytes;
} plan;

static plan lay_out(nrw_arena *arena)
{
    plan p;
    p.doubles = nrw_arena_take(arena, 5, sizeof(double));
    p.floats = nrw_arena_take(arena, 33, sizeof(float));
    p.bytes = nrw_arena_take(arena, 1, 1);
    return p;
}

Test(arena, first_pass_counts_and_gives_no_pointers)
{
    nrw_arena arena = {NULL, 0, 0, NULL};
    const plan counted = lay_out(&arena);
    cr_assert_null(counted.doubles);
    cr_assert_null(counted.bytes);
    /* 40, 132 and 1 bytes, each rounded up to whole lines of 64 */
    cr_assert_eq(arena.used, 64u + 192u + 64u);
}

Test(arena, second_pass_gives_zeroed_aligned_blocks_that_do_not_overlap)
{
    nrw_arena arena = {NULL, 0, 0, NULL};
    (void)lay_out(&arena);
    cr_assert(nrw_arena_commit(&arena));
    const plan given = lay_out(&arena);
    cr_assert_eq((uintptr_t)given.doubles % NRW_ARENA_ALIGN, 0u);
    cr_assert_eq((uintptr_t)given.floats % NRW_ARENA_ALIGN, 0u);
    cr_assert_eq((uintptr_t)given.bytes % NRW_ARENA_ALIGN, 0u);
    for (int i = 0; i < 5; i++) {
        cr_assert_eq(given.doubles[i], 0.0);
        given.doubles[i] = 1.0;
    }
    for (int i = 0; i < 33; i++) {
        cr_assert_eq(given.floats[i], 0.0f);
        given.floats[i] = 2.0f;
    }
    cr_assert_eq(*given.bytes, 0);
    *given.bytes = 3;
    cr_assert_eq(given.doubles[4], 1.0);
    cr_assert_eq(given.floats[32], 2.0f);
    cr_assert_leq(arena.used, arena.size);
    nrw_arena_clear(&arena);
    cr_assert_null(arena.block);
}

Test(arena, nothing_taken_is_still_a_valid_block)
{
    nrw_arena arena = {NULL, 0, 0, NULL};
    cr_assert(nrw_arena_commit(&arena));
    cr_assert_not_null(arena.block);
    nrw_arena_clear(&arena);
}
