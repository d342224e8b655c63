/* Pair kernels over listed pairs of blocks: each pair once. Compiled once per instruction
 * set with NRW_KERNEL_SUFFIX set. What a pair does: pair_lanes.h. */
#include <string.h>

#include "kernel.h"
#include "kernel_name.h"
#include "pair_lanes.h"

nrw_block_kernel NRW_KERNEL(nrw_block_averaged_);
nrw_block_kernel NRW_KERNEL(nrw_block_averaged_flow_);
nrw_block_kernel NRW_KERNEL(nrw_block_flow_);
nrw_block_kernel NRW_KERNEL(nrw_block_response_);

/* Rows that are taken together, so that each vector of another block is loaded once for
 * all of them; as many as the registers hold sums of. Where they are few, sums go through
 * memory anyway, and two rows share the loads. */
enum { GROUP_DIPOLES = 4, GROUP_FLOW = NRW_WIDTH == 8 ? 2 : 1 };

/* Places of a group of rows as a block sees them, and the rest of the rows. */
typedef struct row_group {
    float x[4], y[4], z[4], six_z[4], moment[4], qx[4], qy[4], tz[4];
} row_group;

static inline row_group group_of(const nrw_pair_task *task, size_t i, const int what,
                                 const int rows)
{
    row_group group;
    memset(&group, 0, sizeof group);
    NRW_UNROLL
    for (int r = 0; r < rows; r++) {
        const size_t row = i + (size_t)r;
        group.six_z[r] = 6.0f * task->z[row];
        if (what & WITH_DIPOLES)
            group.moment[r] = task->moment[row];
        if (what & WITH_FLOW) {
            group.qx[r] = task->qx[row];
            group.qy[r] = task->qy[row];
            group.tz[r] = task->tz[row];
        }
    }
    return group;
}

static inline pair_row row_of(const row_group *group, int r, const int what)
{
    pair_row row;
    memset(&row, 0, sizeof row);
    row.x = lanes_all(group->x[r]);
    row.y = lanes_all(group->y[r]);
    row.z = lanes_all(group->z[r]);
    if (what & WITH_DIPOLES)
        row.moment = lanes_all(group->moment[r]);
    if (what & WITH_FLOW) {
        row.six_z = lanes_all(group->six_z[r]);
        row.qx = lanes_all(group->qx[r]);
        row.qy = lanes_all(group->qy[r]);
        row.tz = lanes_all(group->tz[r]);
    }
    return row;
}

/* The group with the vectors of one block. */
static inline void add_block(const nrw_pair_task *task, float *const *out, const pair_law *law,
                             const row_group *group, size_t first, size_t i,
                             nrw_lanes sums[4][OUTPUTS], const int what, const int rows,
                             const bool masked)
{
    for (size_t j = first; j < first + NRW_LANES; j += NRW_WIDTH) {
        pair_block block = pair_block_load(task, out, j, what);
        NRW_UNROLL
        for (int r = 0; r < rows; r++) {
            const pair_row row = row_of(group, r, what);
            pair_add(law, &row, &block, sums[r], what, masked,
                     masked ? pair_above(j, i + (size_t)r) : lanes_all(1.0f));
        }
        pair_block_store(&block, out, j, what);
    }
}

/* A group of rows with the blocks of its list. */
static inline void add_listed(const nrw_block_task *given, const nrw_pair_task *task,
                              float *const *out, const pair_law *law, size_t i, const int what,
                              const int rows)
{
    nrw_lanes sums[4][OUTPUTS];
    NRW_UNROLL
    for (int r = 0; r < rows; r++)
        for (int k = 0; k < OUTPUTS; k++)
            sums[r][k] = lanes_all(0.0f);
    row_group group = group_of(task, i, what, rows);
    const size_t own = i / NRW_LANES;
    for (size_t slot = given->starts[own]; slot < given->starts[own + 1]; slot++) {
        const float *shift = given->shifts + 3 * slot;
        NRW_UNROLL
        for (int r = 0; r < rows; r++) {
            group.x[r] = task->x[i + (size_t)r] + shift[0];
            group.y[r] = task->y[i + (size_t)r] + shift[1];
            group.z[r] = task->z[i + (size_t)r] + shift[2];
        }
        const size_t other = given->others[slot];
        if (other == own)
            add_block(task, out, law, &group, other * NRW_LANES, i, sums, what, rows, true);
        else
            add_block(task, out, law, &group, other * NRW_LANES, i, sums, what, rows, false);
    }
    NRW_UNROLL
    for (int r = 0; r < rows; r++)
        pair_finish(task, out, i + (size_t)r, sums[r], what);
}

static inline void blocks(const nrw_block_task *given, const int what)
{
    const nrw_block_task copy = *given;
    const nrw_pair_task *const task = &copy.pair;
    const pair_law law = pair_law_of(task);
    float *const out[OUTPUTS] = {task->fx, task->fy, task->fz, task->ux, task->uy, task->uz};
    for (int k = what & WITH_DIPOLES ? 0 : 3; k < (what & WITH_FLOW ? 6 : 3); k++)
        memset(out[k], 0, task->n * sizeof(float));
    const int rows = what & WITH_FLOW ? GROUP_FLOW : GROUP_DIPOLES;
    /* rows beyond the last particle are harmless: they have no moment and no torque */
    for (size_t i = 0; i < task->n_filled; i += (size_t)rows)
        add_listed(&copy, task, out, &law, i, what, rows);
}

void NRW_KERNEL(nrw_block_averaged_)(const nrw_block_task *task)
{
    blocks(task, WITH_DIPOLES);
}

void NRW_KERNEL(nrw_block_averaged_flow_)(const nrw_block_task *task)
{
    blocks(task, WITH_DIPOLES | WITH_FLOW);
}

void NRW_KERNEL(nrw_block_flow_)(const nrw_block_task *task)
{
    blocks(task, WITH_FLOW);
}

static inline void add_listed_responses(const nrw_block_task *given, const nrw_pair_task *task,
                                        nrw_lanes core2, size_t i)
{
    nrw_lanes sums[PAIR_SUMS];
    for (int k = 0; k < PAIR_SUMS; k++)
        sums[k] = lanes_all(0.0f);
    const size_t own = i / NRW_LANES;
    for (size_t slot = given->starts[own]; slot < given->starts[own + 1]; slot++) {
        const size_t other = given->others[slot];
        const pair_row row = pair_row_of(task, i, WITH_DIPOLES, given->shifts + 3 * slot);
        for (size_t j = other * NRW_LANES; j < (other + 1) * NRW_LANES; j += NRW_WIDTH) {
            if (other != own)
                pair_response_add(task, core2, &row, j, sums, lanes_all(1.0f), false);
            else if (j + NRW_WIDTH > i)
                pair_response_add(task, core2, &row, j, sums, pair_above(j, i), true);
        }
    }
    pair_response_finish(task, i, sums);
}

void NRW_KERNEL(nrw_block_response_)(const nrw_block_task *given)
{
    const nrw_block_task copy = *given;
    const nrw_pair_task *const task = &copy.pair;
    const nrw_lanes core2 = lanes_all(task->core2);
    for (int k = 0; k < PAIR_SUMS; k++)
        memset(task->response[pair_stands[k]], 0, task->n * sizeof(float));
    for (size_t i = 0; i < task->n_filled; i++)
        add_listed_responses(&copy, task, core2, i);
    pair_response_complete(task, task->n_filled);
}
