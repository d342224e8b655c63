/* Pair kernels over half of the matrix: each pair once. Compiled once per instruction
 * set with NRW_KERNEL_SUFFIX set.
 *
 * One or two rows at a time are held in registers against all vectors of j above them; the part
 * of j goes to memory, which for swarms that are worth all pairs stays in the nearest
 * cache. */
#include <string.h>

#include "kernel.h"
#include "kernel_name.h"
#include "pair_lanes.h"

nrw_tile_kernel NRW_KERNEL(nrw_tile_averaged_);
nrw_tile_kernel NRW_KERNEL(nrw_tile_averaged_flow_);
nrw_tile_kernel NRW_KERNEL(nrw_tile_flow_);
nrw_tile_kernel NRW_KERNEL(nrw_tile_response_);

static const float no_shift[3] = {0.0f, 0.0f, 0.0f};

/* Pairs within one vector of rows: each lane with those 1, 2, ... W/2 lanes on, round and
 * round; at W/2 every pair is met twice, and half of the lanes is enough. */
enum { TURNS = NRW_WIDTH / 2 };

/* A vector, twice in a row. */
typedef struct twice {
    _Alignas(64) float values[2 * NRW_WIDTH];
} twice;

static inline void put_twice(twice *to, nrw_lanes values)
{
    lanes_store(to->values, values);
    lanes_store(to->values + NRW_WIDTH, values);
}

static inline nrw_lanes half_of_lanes(void)
{
    float weights[NRW_WIDTH];
    for (int lane = 0; lane < NRW_WIDTH; lane++)
        weights[lane] = lane < TURNS ? 1.0f : 0.0f;
    return lanes_load(weights);
}

/* Leaves the sums where finish expects those of earlier rows. */
static inline void add_own(const nrw_pair_task *task, float *const *out, const pair_law *law,
                           size_t first, const int what)
{
    pair_block own = pair_block_load(task, out, first, what);
    const pair_row row = {own.x, own.y, own.z, own.six_z, own.moment, own.qx, own.qy, own.tz};
    twice inputs[8], sums_of_others[OUTPUTS];
    const nrw_lanes given[8] = {own.x, own.y, own.z, own.six_z, own.moment, own.qx, own.qy, own.tz};
    nrw_lanes sums[OUTPUTS];
    for (int k = 0; k < 8; k++)
        put_twice(&inputs[k], given[k]);
    for (int k = 0; k < OUTPUTS; k++) {
        sums[k] = lanes_all(0.0f);
        put_twice(&sums_of_others[k], sums[k]);
    }
    for (int turn = 1; turn <= TURNS; turn++) {
        pair_block other;
        nrw_lanes *const parts[8] = {&other.x,      &other.y,  &other.z,  &other.six_z,
                                     &other.moment, &other.qx, &other.qy, &other.tz};
        for (int k = 0; k < 8; k++)
            *parts[k] = lanes_load(inputs[k].values + turn);
        for (int k = 0; k < OUTPUTS; k++)
            other.out[k] = lanes_load(sums_of_others[k].values + turn);
        if (turn < TURNS)
            pair_add(law, &row, &other, sums, what, false, lanes_all(1.0f));
        else
            pair_add(law, &row, &other, sums, what, true, half_of_lanes());
        for (int k = 0; k < OUTPUTS; k++)
            lanes_store(sums_of_others[k].values + turn, other.out[k]);
    }
    for (int k = what & WITH_DIPOLES ? 0 : 3; k < (what & WITH_FLOW ? 6 : 3); k++) {
        const nrw_lanes others =
            lanes_load(sums_of_others[k].values) + lanes_load(sums_of_others[k].values + NRW_WIDTH);
        /* what others give is of the opposite sign for all but u_x and u_y */
        const bool opposite = k < 3 || k == 5;
        own.out[k] = own.out[k] + (opposite ? others - sums[k] : others + sums[k]);
    }
    pair_block_store(&own, out, first, what);
}

/* A vector of rows is complete when all rows before it have been: the sums of its rows, and
 * what the others left for them. */
static inline void finish(const nrw_pair_task *task, float *const *out, size_t first,
                          const nrw_lanes (*of_rows)[NRW_WIDTH], const int what)
{
    nrw_lanes moment = lanes_all(1.0f);
    if (what & WITH_DIPOLES)
        moment = lanes_load(task->moment + first);
    for (int k = what & WITH_DIPOLES ? 0 : 3; k < (what & WITH_FLOW ? 6 : 3); k++) {
        const nrw_lanes own = lanes_sum_each(of_rows[k]), others = lanes_load(out[k] + first);
        /* see add_own for the signs */
        nrw_lanes sum = own + others;
        if (k < 3 || k == 5)
            sum = own - others;
        if (k < 3)
            sum = moment * sum;
        lanes_store(out[k] + first, sum);
    }
}

/* Rows that meet a vector of others together: it is read and written once for both, as long
 * as registers are left for it. */
enum { MOST_TOGETHER = 2, TOGETHER_DIPOLES = NRW_WIDTH == 8 ? 1 : 2, TOGETHER_FLOW = 2 };

static inline void tile(const nrw_pair_task *given, const int what)
{
    const nrw_pair_task copy = *given, *const task = &copy;
    const pair_law law = pair_law_of(task);
    float *const out[OUTPUTS] = {task->fx, task->fy, task->fz, task->ux, task->uy, task->uz};
    const size_t n = task->n, together = what & WITH_FLOW ? TOGETHER_FLOW : TOGETHER_DIPOLES;
    for (int k = what & WITH_DIPOLES ? 0 : 3; k < (what & WITH_FLOW ? 6 : 3); k++)
        memset(out[k], 0, n * sizeof(float));
    for (size_t first = 0; first < task->n_filled; first += NRW_WIDTH) {
        nrw_lanes of_rows[OUTPUTS][NRW_WIDTH];
        add_own(task, out, &law, first, what);
        for (size_t lane = 0; lane < NRW_WIDTH; lane += together) {
            pair_row rows[MOST_TOGETHER];
            nrw_lanes sums[MOST_TOGETHER][OUTPUTS];
            NRW_UNROLL
            for (size_t r = 0; r < together; r++) {
                rows[r] = pair_row_of(task, first + lane + r, what, no_shift);
                for (int k = 0; k < OUTPUTS; k++)
                    sums[r][k] = lanes_all(0.0f);
            }
            for (size_t j = first + NRW_WIDTH; j < n; j += NRW_WIDTH) {
                pair_block block = pair_block_load(task, out, j, what);
                NRW_UNROLL
                for (size_t r = 0; r < together; r++)
                    pair_add(&law, &rows[r], &block, sums[r], what, false, lanes_all(1.0f));
                pair_block_store(&block, out, j, what);
            }
            NRW_UNROLL
            for (size_t r = 0; r < together; r++)
                for (int k = what & WITH_DIPOLES ? 0 : 3; k < (what & WITH_FLOW ? 6 : 3); k++)
                    of_rows[k][lane + r] = sums[r][k];
        }
        finish(task, out, first, (const nrw_lanes(*)[NRW_WIDTH])of_rows, what);
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
