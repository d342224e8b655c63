/* Pair kernels over half of the matrix: each pair once. Compiled once per instruction
 * set with NRW_KERNEL_SUFFIX set.
 *
 * One row i at a time is held in registers against all vectors of j above it; the part
 * of j goes to memory, which for swarms that are worth all pairs stays in the nearest
 * cache. */
#include <string.h>

#include "kernel.h"
#include "pair_lanes.h"

#ifndef NRW_KERNEL_SUFFIX
#define NRW_KERNEL_SUFFIX _plain
#endif
#define NRW_JOIN2(a, b) a##b
#define NRW_JOIN(a, b) NRW_JOIN2(a, b)
#define NRW_KERNEL(name) NRW_JOIN(name, NRW_KERNEL_SUFFIX)

nrw_tile_kernel NRW_KERNEL(nrw_tile_averaged_);
nrw_tile_kernel NRW_KERNEL(nrw_tile_averaged_flow_);
nrw_tile_kernel NRW_KERNEL(nrw_tile_flow_);
nrw_tile_kernel NRW_KERNEL(nrw_tile_response_);

static const float no_shift[3] = {0.0f, 0.0f, 0.0f};

static inline void tile(const nrw_pair_task *given, const int what)
{
    const nrw_pair_task copy = *given, *const task = &copy;
    const pair_law law = pair_law_of(task);
    float *const out[OUTPUTS] = {task->fx, task->fy, task->fz, task->ux, task->uy, task->uz};
    const size_t n = task->n;
    for (int k = what & WITH_DIPOLES ? 0 : 3; k < (what & WITH_FLOW ? 6 : 3); k++)
        memset(out[k], 0, n * sizeof(float));
    for (size_t i = 0; i < task->n_filled; i++) {
        const pair_row row = pair_row_of(task, i, what, no_shift);
        const size_t first = i / NRW_WIDTH * NRW_WIDTH;
        nrw_lanes sums[OUTPUTS];
        for (int k = 0; k < OUTPUTS; k++)
            sums[k] = lanes_all(0.0f);
        for (size_t j = first; j < n; j += NRW_WIDTH) {
            pair_block block = pair_block_load(task, out, j, what);
            if (j == first)
                pair_add(&law, &row, &block, sums, what, true, pair_above(first, i));
            else
                pair_add(&law, &row, &block, sums, what, false, lanes_all(1.0f));
            pair_block_store(&block, out, j, what);
        }
        pair_finish(task, out, i, sums, what);
    }
}

void NRW_KERNEL(nrw_tile_averaged_)(const nrw_pair_task *task)
{
    tile(task, WITH_DIPOLES);
}

void NRW_KERNEL(nrw_tile_averaged_flow_)(const nrw_pair_task *task)
{
    tile(task, WITH_DIPOLES | WITH_FLOW);
}

void NRW_KERNEL(nrw_tile_flow_)(const nrw_pair_task *task)
{
    tile(task, WITH_FLOW);
}

void NRW_KERNEL(nrw_tile_response_)(const nrw_pair_task *given)
{
    const nrw_pair_task copy = *given, *const task = &copy;
    const nrw_lanes core2 = lanes_all(task->core2);
    const size_t n = task->n;
    for (int k = 0; k < PAIR_SUMS; k++)
        memset(task->response[pair_stands[k]], 0, n * sizeof(float));
    for (size_t i = 0; i < task->n_filled; i++) {
        const pair_row row = pair_row_of(task, i, WITH_DIPOLES, no_shift);
        const size_t first = i / NRW_WIDTH * NRW_WIDTH;
        nrw_lanes sums[PAIR_SUMS];
        for (int k = 0; k < PAIR_SUMS; k++)
            sums[k] = lanes_all(0.0f);
        pair_response_add(task, core2, &row, first, sums, pair_above(first, i), true);
        for (size_t j = first + NRW_WIDTH; j < n; j += NRW_WIDTH)
            pair_response_add(task, core2, &row, j, sums, lanes_all(1.0f), false);
        pair_response_finish(task, i, sums);
    }
    pair_response_complete(task, task->n_filled);
}
