/* Sums over close neighbours, whose list contact.h has: geometry and dipoles, lubrication;
 * compiled once per instruction set with NRW_KERNEL_SUFFIX set. Lanes are rows, as in
 * contact_kernel.c. */
#include <stdbool.h>

#include "kernel.h"
#include "kernel_name.h"
#include "lanes.h"
#include "response_lanes.h"
#include "slot_lanes.h"

nrw_near_kernel NRW_KERNEL(nrw_near_geometry_);
nrw_near_kernel NRW_KERNEL(nrw_near_dipoles_);
nrw_near_kernel NRW_KERNEL(nrw_near_response_);
nrw_near_kernel NRW_KERNEL(nrw_near_overlap_);
nrw_brake_kernel NRW_KERNEL(nrw_contact_brakes_);
nrw_brake_kernel NRW_KERNEL(nrw_contact_friction_);

/* --- geometry and near dipoles ---------------------------------------------- */

/* What one pass over the slots is asked for; constant, so that each use compiles
 * to its own loop. */
enum { WITH_DIPOLES = 1, WITH_RESPONSE = 2, WITH_HELD = 4 };

typedef struct row_sums {
    nrw_lanes moment, stiff, warm[3], spread[NRW_N_TENSOR], force[3], response[RESPONSE_SUMS];
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

static inline void near_pass(nrw_near_task *task, const int what, const bool floor,
                             const bool are_short)
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
            for (int k = 0; k < RESPONSE_SUMS; k++)
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
            nrw_lanes n[3];
            slots_put_directions(rows, slot, are_short, d, inverse, n);
            const nrw_lanes nx = n[0], ny = n[1], nz = n[2];
            const nrw_lanes touch = lanes_load(rows->touch + slot), gap = touch - r;
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
                    response_add(d, inverse2, strength, sums.response);
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
    if (slots_are_short(&task->rows)) {
        if (task->along)
            near_pass(task, what, true, true);
        else
            near_pass(task, what, false, true);
    } else if (task->along)
        near_pass(task, what, true, false);
    else
        near_pass(task, what, false, false);
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

static inline void brakes(const nrw_brake_task *task, const bool slide, const bool are_short)
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
            nrw_lanes n[3];
            slots_get_directions(rows, slot, are_short, n);
            const nrw_lanes nx = n[0], ny = n[1], nz = n[2];
            const nrw_lanes e = excess_at(task, lanes_load(rows->gap + slot));
            slots_put_excess(task, slot, are_short, e);
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
    if (slots_are_short(&task->rows)) {
        if (task->moves)
            brakes(task, true, true);
        else
            brakes(task, false, true);
    } else if (task->moves)
        brakes(task, true, false);
    else
        brakes(task, false, false);
}

static inline void friction(const nrw_brake_task *task, const bool are_short)
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
            nrw_lanes n[3];
            slots_get_directions(rows, slot, are_short, n);
            const nrw_lanes nx = n[0], ny = n[1], nz = n[2];
            /* n points to the row: the other way round from (5.10), so plus */
            const nrw_lanes c = strength * slots_get_excess(task, slot, are_short);
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

void NRW_KERNEL(nrw_contact_friction_)(const nrw_brake_task *task)
{
    if (slots_are_short(&task->rows))
        friction(task, true);
    else
        friction(task, false);
}
