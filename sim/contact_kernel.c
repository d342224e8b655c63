/* Contact kernels; compiled once per instruction set with NRW_KERNEL_SUFFIX set.
 *
 * Lanes are rows (particles); each adds up its own neighbours slot by slot, so no
 * sum crosses lanes and the bits don't depend on the width. Neighbours are read as
 * rows of four floats: four loads and a transposition cost half of a gather. */
#include <stdbool.h>
#include <string.h>

#include "box_lanes.h"
#include "kernel.h"
#include "kernel_name.h"
#include "lanes.h"

nrw_near_kernel NRW_KERNEL(nrw_near_geometry_);
nrw_near_kernel NRW_KERNEL(nrw_near_dipoles_);
nrw_near_kernel NRW_KERNEL(nrw_near_response_);
nrw_near_kernel NRW_KERNEL(nrw_near_overlap_);
nrw_brake_kernel NRW_KERNEL(nrw_contact_brakes_);
nrw_brake_kernel NRW_KERNEL(nrw_contact_friction_);
nrw_begin_kernel NRW_KERNEL(nrw_contact_begin_);
nrw_sweep_kernel NRW_KERNEL(nrw_contact_first_sweep_);
nrw_sweep_kernel NRW_KERNEL(nrw_contact_sweep_);
nrw_close_kernel NRW_KERNEL(nrw_contact_close_);

/* --- finding neighbours ----------------------------------------------------- */

/* What is found around some rows. */
enum { CLOSE_MOST = 128 + 2 * NRW_LANES };
typedef struct close_ones {
    size_t n_inner[NRW_QUAD], n_outer[NRW_QUAD];
    uint32_t inner[NRW_QUAD][CLOSE_MOST], outer[NRW_QUAD][CLOSE_MOST];
} close_ones;

/* Tests the rows from `first` on with the block from row j on. */
static inline void add_close(const nrw_close_search *search, size_t first, const size_t n_rows,
                             size_t j, close_ones *ones)
{
    const nrw_lanes reach2 = lanes_all(search->reach * search->reach);
    const nrw_lanes inner2 = lanes_all(search->inner * search->inner);
    for (const size_t end = j + NRW_LANES; j < end; j += NRW_WIDTH) {
        const nrw_lanes x = lanes_load(search->x + j), y = lanes_load(search->y + j);
        const nrw_lanes z = lanes_load(search->z + j), radius = lanes_load(search->radius + j);
        NRW_UNROLL
        for (size_t r = 0; r < n_rows; r++) {
            const size_t i = first + r;
            const nrw_lanes dx = lanes_all(search->x[i]) - x, dy = lanes_all(search->y[i]) - y;
            const nrw_lanes dz = lanes_all(search->z[i]) - z;
            const nrw_lanes touch = lanes_all(search->radius[i]) + radius;
            const nrw_lanes r2 = dx * dx + dy * dy + dz * dz, touch2 = touch * touch;
            unsigned bits = lanes_bits(lanes_above(reach2 * touch2, r2));
            bits &= ~(unsigned)(i - j < NRW_WIDTH ? UINT64_C(1) << (i - j) : 0);
            const unsigned close = bits & lanes_bits(lanes_above(inner2 * touch2, r2));
            ones->n_inner[r] +=
                lanes_numbers(close, (uint32_t)j, ones->inner[r] + ones->n_inner[r]);
            ones->n_outer[r] +=
                lanes_numbers(bits & ~close, (uint32_t)j, ones->outer[r] + ones->n_outer[r]);
        }
    }
}

static inline bool too_many(const close_ones *ones, size_t n_rows, size_t most)
{
    bool more = false;
    for (size_t r = 0; r < n_rows; r++)
        more |= ones->n_inner[r] + ones->n_outer[r] > most;
    return more;
}

/* In whole vectors, since most lists are shorter than one. */
static inline void copy_numbers(uint32_t *to, const uint32_t *from, size_t n)
{
    size_t k = 0;
    do
        memcpy(to + k, from + k, NRW_LANES * sizeof *to);
    while ((k += NRW_LANES) < n);
}

/* The box around n rows, and the largest radius of theirs. */
static inline float box_of_rows(const nrw_close_search *search, size_t first, size_t n,
                                float low[3], float high[3])
{
    const float *at[3] = {search->x + first, search->y + first, search->z + first};
    float radius = search->radius[first];
    for (int axis = 0; axis < 3; axis++) {
        low[axis] = high[axis] = at[axis][0];
        for (size_t r = 1; r < n; r++) {
            low[axis] = at[axis][r] < low[axis] ? at[axis][r] : low[axis];
            high[axis] = at[axis][r] > high[axis] ? at[axis][r] : high[axis];
        }
    }
    for (size_t r = 1; r < n; r++)
        radius = search->radius[first + r] > radius ? search->radius[first + r] : radius;
    return radius;
}

/* Tests rows with those of all blocks that come near; false: too many. */
static inline bool find_close(const nrw_close_search *search, size_t first, const size_t n_rows,
                              size_t n, close_ones *ones)
{
    const nrw_block_boxes *boxes = &search->boxes;
    float low[3], high[3];
    const float radius = box_of_rows(search, first, n, low, high);
    /* a thousandth for the rounding of places */
    const float apart = 1.001f * search->reach * (radius + search->largest_radius);
    for (size_t k = 0; k < boxes->n; k += NRW_LANES)
        for (uint32_t bits = box_lanes_near(boxes, k, low, high, apart * apart); bits != 0;
             bits &= bits - 1) {
            const size_t block = boxes->blocks[k + (size_t)__builtin_ctz(bits)];
            add_close(search, first, n_rows, NRW_LANES * block, ones);
            if (too_many(ones, n_rows, search->most))
                return false;
        }
    return true;
}

static inline bool find_among_all(const nrw_close_search *search, size_t first, const size_t n_rows,
                                  close_ones *ones)
{
    for (size_t block = 0; block < search->boxes.n; block++) {
        add_close(search, first, n_rows, NRW_LANES * block, ones);
        if (too_many(ones, n_rows, search->most))
            return false;
    }
    return true;
}

static inline bool list_close(const nrw_close_search *search, size_t first, const size_t n_rows,
                              size_t n, uint32_t *found, uint32_t *starts)
{
    close_ones ones;
    memset(ones.n_inner, 0, sizeof ones.n_inner);
    memset(ones.n_outer, 0, sizeof ones.n_outer);
    if (!(search->boxes.blocks ? find_close(search, first, n_rows, n, &ones)
                               : find_among_all(search, first, n_rows, &ones)))
        return false;
    for (size_t r = 0; r < n; r++) {
        uint32_t *to = found + starts[r];
        copy_numbers(to, ones.inner[r], ones.n_inner[r]);
        copy_numbers(to + ones.n_inner[r], ones.outer[r], ones.n_outer[r]);
        starts[r + 1] = starts[r] + (uint32_t)(ones.n_inner[r] + ones.n_outer[r]);
    }
    return true;
}

bool NRW_KERNEL(nrw_contact_close_)(const nrw_close_search *search, size_t first, size_t n,
                                    uint32_t *found, uint32_t *starts)
{
    return n == 1 ? list_close(search, first, 1, 1, found, starts)
                  : list_close(search, first, NRW_QUAD, n, found, starts);
}

/* --- geometry and near dipoles ---------------------------------------------- */

/* What one pass over the slots is asked for; constant, so that each use compiles
 * to its own loop. */
enum { WITH_DIPOLES = 1, WITH_RESPONSE = 2, WITH_HELD = 4 };

typedef struct row_sums {
    nrw_lanes moment, stiff, warm[3], spread[NRW_N_TENSOR], force[3], response[10];
} row_sums;

/* Adds the force of a neighbour; returns how stiffly the two hold each other, over
 * `strength`: in direction, less what the contact that they press takes of it, 2 n·Tn, where
 * they repel in distance, 4 (tr T − 3 n·Tn), and by less than tr T nowhere, since a heap is
 * stiffer than its pairs. */
static inline nrw_lanes add_dipole(const nrw_near_task *task, const nrw_lanes d[3],
                                   nrw_lanes inverse2, nrw_lanes strength, nrw_lanes force[3])
{
    const nrw_lanes xx = lanes_all(task->tensor[NRW_XX]), xy = lanes_all(task->tensor[NRW_XY]);
    const nrw_lanes xz = lanes_all(task->tensor[NRW_XZ]), yy = lanes_all(task->tensor[NRW_YY]);
    const nrw_lanes yz = lanes_all(task->tensor[NRW_YZ]), zz = lanes_all(task->tensor[NRW_ZZ]);
    const nrw_lanes ax = lanes_fma(xx, d[0], lanes_fma(xy, d[1], xz * d[2]));
    const nrw_lanes ay = lanes_fma(xy, d[0], lanes_fma(yy, d[1], yz * d[2]));
    const nrw_lanes az = lanes_fma(xz, d[0], lanes_fma(yz, d[1], zz * d[2]));
    const nrw_lanes along = lanes_fma(ax, d[0], lanes_fma(ay, d[1], az * d[2])) * inverse2;
    const nrw_lanes radial = xx + yy + zz - lanes_all(5.0f) * along;
    const nrw_lanes twice = strength + strength;
    force[0] = lanes_fma(twice, ax, lanes_fma(strength * radial, d[0], force[0]));
    force[1] = lanes_fma(twice, ay, lanes_fma(strength * radial, d[1], force[1]));
    force[2] = lanes_fma(twice, az, lanes_fma(strength * radial, d[2], force[2]));
    const nrw_lanes outward = lanes_fma(lanes_all(2.0f), along, radial);
    const nrw_lanes rest = lanes_all(task->tensor_rest), one = along + rest;
    const nrw_lanes trace = xx + yy + zz + lanes_all(3.0f) * rest;
    return lanes_max(trace, lanes_max(one + one, lanes_all(4.0f) * outward));
}

/* Ten sums, see tile_kernel.c: xxx xxy xxz yyx yyy yyz zzx zzy zzz and twice xyz. */
static inline void add_response(const nrw_lanes d[3], nrw_lanes inverse2, nrw_lanes strength,
                                nrw_lanes r[10])
{
    const nrw_lanes five = lanes_all(-5.0f) * inverse2;
    nrw_lanes s[3];
    for (int k = 0; k < 3; k++)
        s[k] = strength * d[k];
    for (int a = 0; a < 3; a++) {
        const nrw_lanes p = five * (d[a] * d[a]);
        const nrw_lanes pick[2] = {lanes_all(1.0f) + p, lanes_all(3.0f) + p};
        for (int k = 0; k < 3; k++)
            r[3 * a + k] = lanes_fma(s[k], pick[a == k], r[3 * a + k]);
    }
    r[9] = lanes_fma((five + five) * s[0], d[1] * d[2], r[9]);
}

/* An upper bound of the largest eigenvalue of a symmetric tensor: m + 2p, with m the
 * mean of the eigenvalues and 6p² their squared distance from it (exact for one or
 * three equal directions, a third too large for a plane of them). */
static inline nrw_lanes largest_eigenvalue(const nrw_lanes t[NRW_N_TENSOR])
{
    const nrw_lanes mean = lanes_all(1.0f / 3.0f) * (t[NRW_XX] + t[NRW_YY] + t[NRW_ZZ]);
    const nrw_lanes xx = t[NRW_XX] - mean, yy = t[NRW_YY] - mean, zz = t[NRW_ZZ] - mean;
    const nrw_lanes mixed = t[NRW_XY] * t[NRW_XY] + t[NRW_XZ] * t[NRW_XZ] + t[NRW_YZ] * t[NRW_YZ];
    const nrw_lanes squares = xx * xx + yy * yy + zz * zz + mixed + mixed;
    return mean + lanes_sqrt(lanes_all(2.0f / 3.0f) * squares);
}

static inline void store_near(const nrw_near_task *task, size_t row, const row_sums *sums, int what)
{
    lanes_store(task->crowd + row, largest_eigenvalue(sums->spread));
    lanes_store(task->warm_x + row, sums->warm[0]);
    lanes_store(task->warm_y + row, sums->warm[1]);
    lanes_store(task->warm_z + row, sums->warm[2]);
    const nrw_lanes own = sums->moment;
    if (what & WITH_DIPOLES) {
        lanes_store(task->fx + row, own * sums->force[0]);
        lanes_store(task->fy + row, own * sums->force[1]);
        lanes_store(task->fz + row, own * sums->force[2]);
        lanes_store(task->stiff + row, own * sums->stiff);
    }
    if (what & WITH_RESPONSE) {
        /* rows of nrw_pair_task.response from the ten sums */
        static const int from[3 * NRW_N_TENSOR] = {0, 1, 2, 1, 3, 9, 2, 9, 6,
                                                   3, 4, 5, 9, 5, 7, 6, 7, 8};
        static const float factor[3 * NRW_N_TENSOR] = {1.0f, 1.0f, 1.0f, 2.0f, 2.0f, 1.0f,
                                                       2.0f, 1.0f, 2.0f, 1.0f, 1.0f, 1.0f,
                                                       1.0f, 2.0f, 2.0f, 1.0f, 1.0f, 1.0f};
        for (int k = 0; k < 3 * NRW_N_TENSOR; k++) {
            float *total = task->response[k] + row;
            lanes_store(total,
                        lanes_load(total) - lanes_all(factor[k]) * own * sums->response[from[k]]);
        }
    }
}

static inline void near_pass(nrw_near_task *task, const int what, const bool floor)
{
    const nrw_contact_rows *rows = &task->rows;
    const float *places = task->places;
    const nrw_lanes zero = lanes_all(0.0f), one = lanes_all(1.0f);
    const nrw_lanes most = lanes_all(1.0f / task->core2), edge = lanes_all(-task->candidate_um);
    const nrw_lanes give = lanes_all(what & WITH_HELD ? 1.0f / task->stiffness : 0.0f);
    nrw_lanes largest = lanes_all(task->largest_overlap);
    for (size_t row = 0; row < rows->n_rows; row += NRW_WIDTH) {
        const size_t chunk = row / NRW_LANES;
        row_sums sums;
        for (int k = 0; k < 3; k++)
            sums.warm[k] = sums.force[k] = zero;
        sums.stiff = zero;
        for (int k = 0; k < NRW_N_TENSOR; k++)
            sums.spread[k] = zero;
        if (what & WITH_RESPONSE)
            for (int k = 0; k < 10; k++)
                sums.response[k] = zero;
        nrw_lanes own[4];
        lanes_gather4(places, rows->self + row, own);
        sums.moment = own[3];
        nrw_lanes less = zero; /* 1 − across/along */
        if (floor)
            less = one - lanes_load(task->across + row) / lanes_load(task->along + row);
        const size_t end = rows->starts[chunk + 1];
        const size_t held_end = what & WITH_HELD ? task->held_ends[chunk] : 0;
        for (size_t slot = rows->starts[chunk] + row % NRW_LANES; slot < end; slot += NRW_LANES) {
            nrw_lanes other[4];
            lanes_gather4(places, rows->partner + slot, other);
            const nrw_lanes d[3] = {own[0] - other[0], own[1] - other[1], own[2] - other[2]};
            const nrw_lanes r2 = lanes_max(
                lanes_fma(d[0], d[0], lanes_fma(d[1], d[1], d[2] * d[2])), lanes_all(1e-12f));
            const nrw_lanes r = lanes_sqrt(r2), inverse = one / r;
            const nrw_lanes nx = d[0] * inverse, ny = d[1] * inverse, nz = d[2] * inverse;
            const nrw_lanes touch = lanes_load(rows->touch + slot), gap = touch - r;
            lanes_store(rows->nx + slot, nx);
            lanes_store(rows->ny + slot, ny);
            lanes_store(rows->nz + slot, nz);
            lanes_store(rows->gap + slot, gap);
            const nrw_lanes over = lanes_max(gap, zero);
            largest = lanes_max(largest, over / touch);
            nrw_lanes guess = over;
            if (what & WITH_HELD) {
                guess = zero;
                if (slot < held_end)
                    guess = give * lanes_load(task->held + slot);
                else
                    lanes_store(task->held + slot, zero);
            }
            sums.warm[0] = lanes_fma(guess, nx, sums.warm[0]);
            sums.warm[1] = lanes_fma(guess, ny, sums.warm[1]);
            sums.warm[2] = lanes_fma(guess, nz, sums.warm[2]);
            const nrw_lane_mask contact = lanes_above(gap, edge);
            /* n nᵀ over the square of m; what has z in it is scaled after the loop */
            nrw_lanes weight = lanes_only(contact, one);
            if (floor)
                weight = weight / (one - less * (nz * nz));
            const nrw_lanes mx = weight * nx, my = weight * ny, mz = weight * nz;
            sums.spread[NRW_XX] = lanes_fma(mx, nx, sums.spread[NRW_XX]);
            sums.spread[NRW_XY] = lanes_fma(mx, ny, sums.spread[NRW_XY]);
            sums.spread[NRW_XZ] = lanes_fma(mx, nz, sums.spread[NRW_XZ]);
            sums.spread[NRW_YY] = lanes_fma(my, ny, sums.spread[NRW_YY]);
            sums.spread[NRW_YZ] = lanes_fma(my, nz, sums.spread[NRW_YZ]);
            sums.spread[NRW_ZZ] = lanes_fma(mz, nz, sums.spread[NRW_ZZ]);
            if (what & (WITH_DIPOLES | WITH_RESPONSE)) {
                const nrw_lanes inverse2 = lanes_min(inverse * inverse, most);
                const nrw_lanes strength = other[3] * inverse2 * inverse2 * lanes_sqrt(inverse2);
                if (what & WITH_DIPOLES) {
                    const nrw_lanes held = add_dipole(task, d, inverse2, strength, sums.force);
                    sums.stiff = lanes_fma(strength, held, sums.stiff);
                }
                if (what & WITH_RESPONSE)
                    add_response(d, inverse2, strength, sums.response);
            }
        }
        if (floor) {
            const nrw_lanes ratio = one - less, root = lanes_sqrt(ratio);
            sums.spread[NRW_XZ] = root * sums.spread[NRW_XZ];
            sums.spread[NRW_YZ] = root * sums.spread[NRW_YZ];
            sums.spread[NRW_ZZ] = ratio * sums.spread[NRW_ZZ];
        }
        store_near(task, row, &sums, what);
    }
    task->largest_overlap = lanes_largest(largest);
}

static inline void near_with(nrw_near_task *task, const int what)
{
    if (task->along)
        near_pass(task, what, true);
    else
        near_pass(task, what, false);
}

void NRW_KERNEL(nrw_near_geometry_)(nrw_near_task *task)
{
    if (task->held)
        near_with(task, WITH_HELD);
    else
        near_with(task, 0);
}

void NRW_KERNEL(nrw_near_dipoles_)(nrw_near_task *task)
{
    if (task->held)
        near_with(task, WITH_DIPOLES | WITH_HELD);
    else
        near_with(task, WITH_DIPOLES);
}

void NRW_KERNEL(nrw_near_response_)(nrw_near_task *task)
{
    near_with(task, WITH_RESPONSE);
}

void NRW_KERNEL(nrw_near_overlap_)(nrw_near_task *task)
{
    const nrw_contact_rows *rows = &task->rows;
    nrw_lanes largest = lanes_all(task->largest_overlap);
    for (size_t row = 0; row < rows->n_rows; row += NRW_WIDTH) {
        const size_t chunk = row / NRW_LANES, end = rows->starts[chunk + 1];
        nrw_lanes own[4];
        lanes_gather4(task->places, rows->self + row, own);
        for (size_t slot = rows->starts[chunk] + row % NRW_LANES; slot < end; slot += NRW_LANES) {
            nrw_lanes other[4];
            lanes_gather4(task->places, rows->partner + slot, other);
            const nrw_lanes d[3] = {own[0] - other[0], own[1] - other[1], own[2] - other[2]};
            const nrw_lanes r =
                lanes_sqrt(lanes_fma(d[0], d[0], lanes_fma(d[1], d[1], d[2] * d[2])));
            const nrw_lanes touch = lanes_load(rows->touch + slot);
            largest = lanes_max((touch - r) / touch, largest);
        }
    }
    task->largest_overlap = lanes_largest(largest);
}

/* --- brakes and friction ---------------------------------------------------- */

static inline nrw_lanes excess_at(const nrw_brake_task *task, nrw_lanes gap)
{
    const nrw_lanes zero = lanes_all(0.0f), one = lanes_all(1.0f);
    const nrw_lanes x = lanes_max(zero - gap, zero) * lanes_all(1.0f / task->reach_um);
    return lanes_all(task->contact) * lanes_max(one - x, zero) /
           lanes_fma(lanes_all(task->bend), x, one);
}

static inline void brakes(const nrw_brake_task *task, const bool slide)
{
    const nrw_contact_rows *rows = &task->rows;
    const nrw_lanes zero = lanes_all(0.0f), scale = lanes_all(task->slide_scale);
    const nrw_lanes drag = lanes_all(task->drag_scale);
    for (size_t row = 0; row < rows->n_rows; row += NRW_WIDTH) {
        const size_t chunk = row / NRW_LANES, end = rows->starts[chunk + 1];
        nrw_lanes sums[NRW_N_TENSOR], sum = zero, own[4];
        nrw_lanes turn[3] = {zero, zero, zero}, pull[3] = {zero, zero, zero};
        for (int k = 0; k < NRW_N_TENSOR; k++)
            sums[k] = zero;
        if (slide)
            lanes_gather4(task->moves, rows->self + row, own);
        for (size_t slot = rows->starts[chunk] + row % NRW_LANES; slot < end; slot += NRW_LANES) {
            const nrw_lanes nx = lanes_load(rows->nx + slot), ny = lanes_load(rows->ny + slot);
            const nrw_lanes nz = lanes_load(rows->nz + slot);
            const nrw_lanes e = excess_at(task, lanes_load(rows->gap + slot));
            lanes_store(task->excess + slot, e);
            const nrw_lanes ex = e * nx, ey = e * ny, ez = e * nz;
            sum = sum + e;
            sums[NRW_XX] = sums[NRW_XX] + (e - ex * nx);
            sums[NRW_XY] = sums[NRW_XY] - ex * ny;
            sums[NRW_XZ] = sums[NRW_XZ] - ex * nz;
            sums[NRW_YY] = sums[NRW_YY] + (e - ey * ny);
            sums[NRW_YZ] = sums[NRW_YZ] - ey * nz;
            sums[NRW_ZZ] = sums[NRW_ZZ] + (e - ez * nz);
            if (!slide)
                continue;
            nrw_lanes other[4];
            lanes_gather4(task->moves, rows->partner + slot, other);
            const nrw_lanes vx = own[0] - other[0], vy = own[1] - other[1], vz = own[2] - other[2];
            turn[0] = lanes_fma(ey, vz, turn[0]) - ez * vy;
            turn[1] = lanes_fma(ez, vx, turn[1]) - ex * vz;
            turn[2] = lanes_fma(ex, vy, turn[2]) - ey * vx;
            const nrw_lanes apart = lanes_fma(nx, vx, lanes_fma(ny, vy, nz * vz));
            pull[0] = lanes_fma(e, lanes_fma(apart, nx, zero - vx), pull[0]);
            pull[1] = lanes_fma(e, lanes_fma(apart, ny, zero - vy), pull[1]);
            pull[2] = lanes_fma(e, lanes_fma(apart, nz, zero - vz), pull[2]);
        }
        for (int k = 0; k < NRW_N_TENSOR; k++)
            lanes_store(task->brake[k] + row, sums[k]);
        lanes_store(task->excess_sum + row, sum);
        if (!slide)
            continue;
        lanes_store(task->slide_x + row, scale * turn[0]);
        lanes_store(task->slide_y + row, scale * turn[1]);
        lanes_store(task->slide_z + row, scale * turn[2]);
        lanes_store(task->drag_x + row, drag * pull[0]);
        lanes_store(task->drag_y + row, drag * pull[1]);
        lanes_store(task->drag_z + row, drag * pull[2]);
    }
}

void NRW_KERNEL(nrw_contact_brakes_)(const nrw_brake_task *task)
{
    if (task->moves)
        brakes(task, true);
    else
        brakes(task, false);
}

void NRW_KERNEL(nrw_contact_friction_)(const nrw_brake_task *task)
{
    const nrw_contact_rows *rows = &task->rows;
    const nrw_lanes strength = lanes_all(task->strength);
    for (size_t row = 0; row < rows->n_rows; row += NRW_WIDTH) {
        const size_t chunk = row / NRW_LANES, end = rows->starts[chunk + 1];
        nrw_lanes fx = lanes_load(task->fx + row), fy = lanes_load(task->fy + row);
        nrw_lanes fz = lanes_load(task->fz + row);
        nrw_lanes own[4];
        lanes_gather4(task->spins, rows->self + row, own);
        for (size_t slot = rows->starts[chunk] + row % NRW_LANES; slot < end; slot += NRW_LANES) {
            const nrw_lanes nx = lanes_load(rows->nx + slot), ny = lanes_load(rows->ny + slot);
            const nrw_lanes nz = lanes_load(rows->nz + slot);
            /* n points to the row: the other way round from (5.10), so plus */
            const nrw_lanes c = strength * lanes_load(task->excess + slot);
            nrw_lanes other[4];
            lanes_gather4(task->spins, rows->partner + slot, other);
            const nrw_lanes sx = own[0] + other[0], sy = own[1] + other[1], sz = own[2] + other[2];
            fx = lanes_fma(c, sy * nz - sz * ny, fx);
            fy = lanes_fma(c, sz * nx - sx * nz, fy);
            fz = lanes_fma(c, sx * ny - sy * nx, fz);
        }
        lanes_store(task->fx + row, fx);
        lanes_store(task->fy + row, fy);
        lanes_store(task->fz + row, fz);
    }
}

/* --- solve ------------------------------------------------------------------ */

/* Displacement of rows under contact forces f: mobility, then floor, ceiling and
 * side wall, each solved exactly for the row alone. */
static inline void displace(const nrw_contact_solve *solve, size_t row, const nrw_lanes f[3],
                            nrw_lanes u[3])
{
    const nrw_lanes zero = lanes_all(0.0f), k = lanes_all(solve->stiffness);
    const nrw_lanes move_xy = lanes_load(solve->move_xy + row);
    const nrw_lanes move_z = lanes_load(solve->move_z + row);
    u[0] = lanes_fma(move_xy, f[0], lanes_load(solve->free_x + row));
    u[1] = lanes_fma(move_xy, f[1], lanes_load(solve->free_y + row));
    u[2] = lanes_fma(move_z, f[2], lanes_load(solve->free_z + row));
    if (solve->floor_slope) {
        /* force0 − slope (u − z0), never negative */
        const nrw_lanes slope = lanes_load(solve->floor_slope + row);
        const nrw_lanes force = lanes_load(solve->floor_force + row) -
                                slope * (u[2] - lanes_load(solve->floor_z + row));
        u[2] = u[2] + move_z * lanes_max(zero, force) * lanes_load(solve->floor_give + row);
    }
    if (solve->ceiling) {
        const nrw_lanes above = lanes_max(zero, u[2] - lanes_load(solve->ceiling + row));
        u[2] = u[2] - above * (k * move_z) / lanes_fma(k, move_z, lanes_all(1.0f));
    }
    if (solve->wall_x) {
        const nrw_lanes wx = lanes_load(solve->wall_x + row), wy = lanes_load(solve->wall_y + row);
        const nrw_lanes over =
            lanes_max(zero, lanes_load(solve->wall_gap + row) - (wx * u[0] + wy * u[1])) *
            lanes_load(solve->wall_give + row);
        u[0] = lanes_fma(over, wx, u[0]);
        u[1] = lanes_fma(over, wy, u[1]);
    }
}

static inline void store_displacement(const nrw_contact_solve *solve, size_t row,
                                      const nrw_lanes u[3], float *place)
{
    lanes_store(solve->ux + row, u[0]);
    lanes_store(solve->uy + row, u[1]);
    lanes_store(solve->uz + row, u[2]);
    const nrw_lanes four[4] = {u[0], u[1], u[2], lanes_all(0.0f)};
    lanes_scatter4(place, row, four);
}

/* Last slot of a chunk at which two could touch, moving by up to `reach` µm each way. */
static inline uint32_t reached_end(const nrw_contact_rows *rows, size_t chunk, float reach)
{
    const nrw_lanes edge = lanes_all(-reach);
    uint32_t end = rows->starts[chunk + 1];
    for (; end > rows->starts[chunk]; end -= NRW_LANES)
        for (uint32_t lane = 0; lane < NRW_LANES; lane += NRW_WIDTH)
            if (lanes_bits(lanes_above(lanes_load(rows->gap + end - NRW_LANES + lane), edge)))
                return end;
    return end;
}

/* First guess in the rows [first, last), and what the first sweep reads of them; the largest
 * square of a displacement, and the largest stiffness × mobility × step × crowd. */
static void begin_rows(nrw_contact_solve *solve, size_t first, size_t last, float *largest2,
                       float *stiffest)
{
    const nrw_lanes k = lanes_all(solve->stiffness), zero = lanes_all(0.0f);
    nrw_lanes largest = zero, stiff = zero;
    for (size_t row = first; row < last; row += NRW_WIDTH) {
        nrw_lanes f[3] = {k * lanes_load(solve->warm_x + row), k * lanes_load(solve->warm_y + row),
                          k * lanes_load(solve->warm_z + row)};
        nrw_lanes u[3];
        if (solve->excess) {
            f[0] = f[0] + lanes_load(solve->drag_x + row);
            f[1] = f[1] + lanes_load(solve->drag_y + row);
            f[2] = f[2] + lanes_load(solve->drag_z + row);
        }
        displace(solve, row, f, u);
        store_displacement(solve, row, u, solve->place[0]);
        largest = lanes_max(largest, lanes_fma(u[0], u[0], lanes_fma(u[1], u[1], u[2] * u[2])));
        const nrw_lanes crowd = k * lanes_max(lanes_load(solve->crowd + row), lanes_all(1.0f));
        const nrw_lanes four[4] = {crowd * lanes_load(solve->move_xy + row),
                                   crowd * lanes_load(solve->move_z + row), zero, zero};
        lanes_scatter4(solve->crowded, row, four);
        stiff = lanes_max(stiff, four[0]);
        if (!solve->excess)
            continue;
        const nrw_lanes drag =
            lanes_all(1.5f * solve->drag_scale) * lanes_load(solve->excess_sum + row);
        const nrw_lanes move_xy = lanes_load(solve->move_xy + row);
        const nrw_lanes move_z = lanes_load(solve->move_z + row), one = lanes_all(1.0f);
        lanes_store(solve->ease_xy + row, one / lanes_fma(move_xy, drag, one));
        lanes_store(solve->ease_z + row, one / lanes_fma(move_z, drag, one));
    }
    *largest2 = lanes_largest(largest);
    *stiffest = lanes_largest(stiff);
}

/* First guess: the contact forces that the near task took. Also makes the rows of
 * (mobility × crowd) that the first sweep reads. */
void NRW_KERNEL(nrw_contact_begin_)(nrw_contact_solve *solve)
{
    const nrw_contact_rows *rows = &solve->rows;
    float farthest2 = 0.0f;
    nrw_peaks_sum stiffest = {0};
    for (size_t first = 0; first < rows->n_rows; first += NRW_CONTACT_GROUP) {
        const size_t end = first + NRW_CONTACT_GROUP;
        float largest2, stiff;
        begin_rows(solve, first, end < rows->n_rows ? end : rows->n_rows, &largest2, &stiff);
        farthest2 = fmaxf(farthest2, largest2);
        nrw_peaks_add(&stiffest, stiff);
    }
    solve->stiffest = nrw_peaks_of(&stiffest).typical;
    const float reach = fmaxf(solve->reach_um + 2.5f * sqrtf(farthest2), solve->drag_reach_um);
    for (size_t chunk = 0; chunk < rows->n_rows / NRW_LANES; chunk++)
        solve->ends[chunk] = reached_end(rows, chunk, reach);
}

/* A pair's step in the sweeps is gain/(1 + k Σ give), where `give` of each of the two
 * is its mobility along n times its crowd, the largest eigenvalue of Σ n nᵀ over its
 * neighbours: this bounds the whole matrix of the contact forces from above. */
static inline nrw_lanes give_of(const nrw_lanes crowded[2], nrw_lanes planar, nrw_lanes normal)
{
    return lanes_fma(crowded[0], planar, crowded[1] * normal);
}

static inline float sweep(nrw_contact_solve *solve, const nrw_contact_sweep *how, size_t first_row,
                          size_t last_row, const bool first, const bool drag)
{
    const int from = how->from;
    const uint32_t *restrict starts = solve->rows.starts, *restrict ends = solve->ends;
    const uint32_t *restrict partner = solve->rows.partner;
    const float *restrict n_x = solve->rows.nx, *restrict n_y = solve->rows.ny;
    const float *restrict n_z = solve->rows.nz, *restrict gaps = solve->rows.gap;
    const float *restrict places = solve->place[from], *restrict crowded = solve->crowded;
    float *restrict steps = solve->step;
    /* the force before last makes room for the new one */
    float *restrict forces = solve->force[from], *restrict next = solve->force[1 - from];
    const nrw_lanes zero = lanes_all(0.0f), one = lanes_all(1.0f);
    const nrw_lanes k = lanes_all(solve->stiffness);
    const nrw_lanes drag_scale = lanes_all(solve->drag_scale);
    const nrw_lanes gain = lanes_all(how->gain), momentum = lanes_all(how->momentum);
    nrw_lanes largest = zero;
    for (size_t row = first_row; row < last_row; row += NRW_WIDTH) {
        const size_t chunk = row / NRW_LANES, end = ends[chunk];
        const nrw_lanes u[3] = {lanes_load(solve->ux + row), lanes_load(solve->uy + row),
                                lanes_load(solve->uz + row)};
        nrw_lanes f[3] = {zero, zero, zero}, own[4] = {zero, zero, zero, zero};
        nrw_lanes pull[3] = {zero, zero, zero};
        if (first)
            lanes_gather4(crowded, solve->rows.self + row, own);
        for (size_t slot = starts[chunk] + row % NRW_LANES; slot < end; slot += NRW_LANES) {
            nrw_lanes other[4];
            lanes_gather4(places, partner + slot, other);
            const nrw_lanes nx = lanes_load(n_x + slot), ny = lanes_load(n_y + slot);
            const nrw_lanes nz = lanes_load(n_z + slot), gap = lanes_load(gaps + slot);
            const nrw_lanes d[3] = {other[0] - u[0], other[1] - u[1], other[2] - u[2]};
            const nrw_lanes closer = lanes_fma(nx, d[0], lanes_fma(ny, d[1], nz * d[2]));
            nrw_lanes old, last, step;
            if (first) {
                nrw_lanes their[4];
                lanes_gather4(crowded, partner + slot, their);
                const nrw_lanes normal = nz * nz, planar = lanes_fma(nx, nx, ny * ny);
                step =
                    one / (one + (give_of(own, planar, normal) + give_of(their, planar, normal)));
                lanes_store(steps + slot, step);
                old = k * lanes_max(zero, gap);
                if (solve->held)
                    old = lanes_load(forces + slot);
                else
                    lanes_store(forces + slot, old);
                last = old;
            } else {
                old = lanes_load(forces + slot);
                last = lanes_load(next + slot);
                step = lanes_load(steps + slot);
            }
            const nrw_lanes wanted = lanes_fma(k, gap + closer, zero - old);
            const nrw_lanes now = lanes_max(
                zero, lanes_fma(gain * step, wanted, lanes_fma(momentum, old - last, old)));
            lanes_store(next + slot, now);
            f[0] = lanes_fma(now, nx, f[0]);
            f[1] = lanes_fma(now, ny, f[1]);
            f[2] = lanes_fma(now, nz, f[2]);
            if (drag) {
                const nrw_lanes e = lanes_load(solve->excess + slot), apart = zero - closer;
                pull[0] = lanes_fma(e, lanes_fma(apart, nx, d[0]), pull[0]);
                pull[1] = lanes_fma(e, lanes_fma(apart, ny, d[1]), pull[1]);
                pull[2] = lanes_fma(e, lanes_fma(apart, nz, d[2]), pull[2]);
            }
        }
        if (drag) {
            float *const held[3] = {solve->drag_x + row, solve->drag_y + row, solve->drag_z + row};
            const nrw_lanes xy = lanes_load(solve->ease_xy + row);
            const nrw_lanes ease[3] = {xy, xy, lanes_load(solve->ease_z + row)};
            for (int axis = 0; axis < 3; axis++) {
                const nrw_lanes last = lanes_load(held[axis]);
                const nrw_lanes new =
                    lanes_fma(ease[axis], lanes_fma(drag_scale, pull[axis], zero - last), last);
                lanes_store(held[axis], new);
                f[axis] = f[axis] + new;
            }
        }
        nrw_lanes moved[3];
        displace(solve, row, f, moved);
        for (int axis = 0; axis < 3; axis++) {
            const nrw_lanes change = moved[axis] - u[axis];
            largest = lanes_max(largest, lanes_max(change, zero - change));
        }
        store_displacement(solve, row, moved, solve->place[1 - from]);
    }
    return lanes_largest(largest);
}

float NRW_KERNEL(nrw_contact_first_sweep_)(nrw_contact_solve *solve, const nrw_contact_sweep *how,
                                           size_t first, size_t last)
{
    return solve->excess ? sweep(solve, how, first, last, true, true)
                         : sweep(solve, how, first, last, true, false);
}

float NRW_KERNEL(nrw_contact_sweep_)(nrw_contact_solve *solve, const nrw_contact_sweep *how,
                                     size_t first, size_t last)
{
    return solve->excess ? sweep(solve, how, first, last, false, true)
                         : sweep(solve, how, first, last, false, false);
}
