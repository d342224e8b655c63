#include "block_cut.h"

#include <math.h>
#include <pthread.h>

/* Cells' aspects, as logarithms from 0 to that of the longest. */
enum { N_ASPECTS = 33 };
static const float LONGEST = 8.0f;

/* What a node of unit radius over the root of its area costs: a block, whose pairs are summed one
 * by one, and a node of several, which is only expanded about others (measured at 100,000
 * particles). */
static const float BLOCK_COST = 1.0f, NODE_COST = 0.175f;

/* The best costs and cuts: of n blocks in a rectangle of n times their area (dynamic
 * programming: Bellman 1957). A cut across the shorter side stands as a negative number. */
typedef struct cut_table {
    float cost[NRW_BLOCK_CUT_MOST + 1][N_ASPECTS];
    int cut[NRW_BLOCK_CUT_MOST + 1][N_ASPECTS];
} cut_table;

static cut_table the_table;
static pthread_once_t the_table_once = PTHREAD_ONCE_INIT;

static float aspect_of(int k)
{
    return powf(LONGEST, (float)k / (float)(N_ASPECTS - 1));
}

/* Where an aspect, or its inverse, stands among those of the table. */
static float place_of(float aspect)
{
    const float place = fabsf(logf(aspect)) / logf(LONGEST) * (float)(N_ASPECTS - 1);
    return place < (float)(N_ASPECTS - 1) ? place : (float)(N_ASPECTS - 1);
}

static float cost_of(const cut_table *table, int n, float aspect)
{
    const float place = place_of(aspect);
    const int below = place < (float)(N_ASPECTS - 2) ? (int)place : N_ASPECTS - 2;
    const float *costs = table->cost[n];
    return costs[below] + (place - (float)below) * (costs[below + 1] - costs[below]);
}

/* Cost of a rectangle's own node, its squared radius over its area being that of its diagonal. */
static float own_cost(int n, float aspect)
{
    return 0.25f * (aspect + 1.0f / aspect) * (n == 1 ? BLOCK_COST : NODE_COST);
}

static void choose(cut_table *table, int n, int k)
{
    const float aspect = aspect_of(k), all = (float)n;
    float best = INFINITY;
    for (int first = 1; first < n; first++) {
        const float one = (float)first / all, other = 1.0f - one;
        const float longer =
            cost_of(table, first, aspect * one) + cost_of(table, n - first, aspect * other);
        const float shorter =
            cost_of(table, first, aspect / one) + cost_of(table, n - first, aspect / other);
        const float least = fminf(longer, shorter);
        if (!(least < best))
            continue;
        best = least;
        table->cut[n][k] = longer <= shorter ? first : -first;
    }
    table->cost[n][k] = best + own_cost(n, aspect);
}

static void fill_table(void)
{
    for (int k = 0; k < N_ASPECTS; k++)
        the_table.cost[1][k] = own_cost(1, aspect_of(k));
    for (int n = 2; n <= NRW_BLOCK_CUT_MOST; n++)
        for (int k = 0; k < N_ASPECTS; k++)
            choose(&the_table, n, k);
}

nrw_block_cut nrw_block_cut_of(uint32_t n_blocks, float aspect)
{
    if (n_blocks > NRW_BLOCK_CUT_MOST || pthread_once(&the_table_once, fill_table) != 0)
        return (nrw_block_cut){true, (n_blocks + 1) / 2};
    const int cut = the_table.cut[n_blocks][(int)(place_of(aspect) + 0.5f)];
    return (nrw_block_cut){cut > 0, (uint32_t)(cut > 0 ? cut : -cut)};
}
