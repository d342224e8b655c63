/* Kernels of a step that work on rows alone; compiled once per instruction set with
 * NRW_KERNEL_SUFFIX set. step.c says what they are for. */
#include <stddef.h>

#include "kernel.h"
#include "kernel_name.h"
#include "lanes.h"

nrw_rows_kernel NRW_KERNEL(nrw_step_spins_);
nrw_rows_kernel NRW_KERNEL(nrw_step_base_);
nrw_rows_kernel NRW_KERNEL(nrw_step_screen_);
nrw_velocity_kernel NRW_KERNEL(nrw_step_velocity_);
nrw_predict_kernel NRW_KERNEL(nrw_step_predict_);
nrw_farthest_kernel NRW_KERNEL(nrw_step_farthest_);
nrw_store_kernel NRW_KERNEL(nrw_step_store_);
nrw_strayed_kernel NRW_KERNEL(nrw_step_strayed_);

void NRW_KERNEL(nrw_step_spins_)(const nrw_rows_task *task)
{
    const nrw_lanes one = lanes_all(1.0f), zero = lanes_all(0.0f);
    const nrw_lanes factor = lanes_all(task->pair_flow_factor);
    const nrw_lanes per_drag = lanes_all(task->spin_per_torque);
    const nrw_lanes nominal3 = lanes_all(task->radius * task->radius * task->radius);
    for (size_t row = 0; row < task->n_rows; row += NRW_WIDTH) {
        const nrw_lanes mr = lanes_load(task->mr + row), ms = lanes_load(task->ms + row);
        const nrw_lanes a = lanes_load(task->row_radius + row), a3 = a * a * a;
        const nrw_lanes scale = per_drag * lanes_load(task->row_moment + row) * nominal3 / a3;
        /* resistance over 8πηa³: floor plus brakes */
        const nrw_lanes xx = one / mr + lanes_load(task->brake[NRW_XX] + row);
        const nrw_lanes yy = one / mr + lanes_load(task->brake[NRW_YY] + row);
        const nrw_lanes zz = one / ms + lanes_load(task->brake[NRW_ZZ] + row);
        const nrw_lanes xy = lanes_load(task->brake[NRW_XY] + row);
        const nrw_lanes xz = lanes_load(task->brake[NRW_XZ] + row);
        const nrw_lanes yz = lanes_load(task->brake[NRW_YZ] + row);
        const nrw_lanes axx = yy * zz - yz * yz, axy = xz * yz - xy * zz, axz = xy * yz - xz * yy;
        const nrw_lanes ayy = xx * zz - xz * xz, ayz = xy * xz - xx * yz, azz = xx * yy - xy * xy;
        const nrw_lanes per = one / (xx * axx + xy * axy + xz * axz);
        nrw_lanes tx = scale * lanes_all(task->torque[0]);
        nrw_lanes ty = scale * lanes_all(task->torque[1]);
        nrw_lanes tz = scale * lanes_all(task->torque[2]);
        if (task->slide_x) {
            tx = tx + lanes_load(task->slide_x + row);
            ty = ty + lanes_load(task->slide_y + row);
            tz = tz + lanes_load(task->slide_z + row);
        }
        tx = per * tx;
        ty = per * ty;
        tz = per * tz;
        const nrw_lanes spin[4] = {axx * tx + axy * ty + axz * tz, axy * tx + ayy * ty + ayz * tz,
                                   axz * tx + ayz * ty + azz * tz, zero};
        lanes_store(task->spin_x + row, spin[0]);
        lanes_store(task->spin_y + row, spin[1]);
        lanes_store(task->spin_z + row, spin[2]);
        lanes_scatter4(task->spins, row, spin);
        const nrw_lanes flow = factor * a3;
        lanes_store(task->qx + row, flow * spin[1] / mr);
        lanes_store(task->qy + row, zero - flow * spin[0] / mr);
        lanes_store(task->tz + row, flow * spin[2] / ms);
    }
}

/* Arc tangent of x >= 0, error 1e-7 (Abramowitz & Stegun 1964, 4.4.49). */
static inline nrw_lanes arc_tangent(nrw_lanes x)
{
    static const float terms[] = {0.0028662257f,  -0.0161657367f, 0.0429096138f,
                                  -0.0752896400f, 0.1065626393f,  -0.1420889944f,
                                  0.1999355085f,  -0.3333314528f, 1.0f};
    const nrw_lanes one = lanes_all(1.0f);
    const nrw_lane_mask steep = lanes_above(x, one);
    const nrw_lanes t = lanes_min(x, one) / lanes_max(x, one), t2 = t * t;
    nrw_lanes sum = lanes_all(terms[0]);
    for (int k = 1; k < 9; k++)
        sum = lanes_fma(sum, t2, lanes_all(terms[k]));
    sum = sum * t;
    return lanes_select(steep, lanes_all(1.57079633f) - sum, sum);
}

/* sin x for 0 <= x <= π/2, error 4e-6 (Taylor). */
static inline nrw_lanes sine(nrw_lanes x)
{
    const nrw_lanes x2 = x * x;
    nrw_lanes sum = lanes_fma(x2, lanes_all(1.0f / 362880), lanes_all(-1.0f / 5040));
    sum = lanes_fma(x2, sum, lanes_all(1.0f / 120));
    sum = lanes_fma(x2, sum, lanes_all(-1.0f / 6));
    return lanes_fma(x2 * x, sum, x);
}

/* nrw_screen_share for all rows. */
void NRW_KERNEL(nrw_step_screen_)(const nrw_rows_task *task)
{
    const nrw_lanes zero = lanes_all(0.0f), half = lanes_all(0.5f), pi = lanes_all(3.14159265f);
    for (size_t row = 0; row < task->n_rows; row += NRW_WIDTH) {
        const nrw_lanes one = lanes_all(1.0f), little = lanes_all(1e-3f);
        const nrw_lanes per = half / lanes_load(task->pz + row);
        /* in twice the height; at and beyond a wall the share is next to nothing */
        const nrw_lanes p = lanes_max(lanes_load(task->wall_near + row), little) * per;
        const nrw_lanes q = lanes_max(lanes_load(task->wall_far + row), little) * per;
        const nrw_lanes per_width = pi / (p + q);
        const nrw_lanes deep = lanes_exp(lanes_min(per_width, lanes_all(40.0f)));
        const nrw_lanes sinh = half * (deep - one / deep);
        const nrw_lanes walls = arc_tangent(sine(lanes_min(p, q) * per_width) / sinh);
        const nrw_lanes share = (walls + walls) / (arc_tangent(p) + arc_tangent(q));
        lanes_store(task->share_out + row, lanes_max(zero, share));
    }
}

void NRW_KERNEL(nrw_step_base_)(const nrw_rows_task *task)
{
    const nrw_lanes weight = lanes_all(task->weight / (task->radius * task->radius * task->radius));
    const nrw_lanes rolling = lanes_all(task->rolling_factor), kT = lanes_all(task->kT);
    for (size_t row = 0; row < task->n_rows; row += NRW_WIDTH) {
        const nrw_lanes a = lanes_load(task->row_radius + row);
        const nrw_lanes along = lanes_load(task->along + row);
        const nrw_lanes across = lanes_load(task->across + row);
        const nrw_lanes roll = rolling * lanes_load(task->rolling + row) * a;
        const nrw_lanes share = task->share ? lanes_load(task->share + row) : lanes_all(1.0f);
        lanes_store(task->base_x + row,
                    along * lanes_load(task->fx + row) + share * lanes_load(task->ux + row) +
                        roll * lanes_load(task->spin_y + row) + lanes_load(task->flow_x + row));
        lanes_store(task->base_y + row,
                    along * lanes_load(task->fy + row) + share * lanes_load(task->uy + row) -
                        roll * lanes_load(task->spin_x + row) + lanes_load(task->flow_y + row));
        /* a flow toward the floor is hindered like the particle's own motion there */
        lanes_store(task->base_z + row,
                    across * (lanes_load(task->fz + row) - weight * a * a * a) +
                        lanes_load(task->mz + row) * share * lanes_load(task->uz + row) +
                        kT * lanes_load(task->row_inverse_drag + row) *
                            lanes_load(task->dmz + row) / a);
    }
}

/* The velocities of the rows [first, last); the largest square of a change, and the largest
 * stiffness. */
static void take_velocities(const nrw_rows_task *task, const float *const forces[2][3],
                            size_t first, size_t last, float *change2, float *stiffest)
{
    const nrw_lanes sliding = lanes_all(task->sliding);
    nrw_lanes change = lanes_all(0.0f), stiff = change;
    for (size_t row = first; row < last; row += NRW_WIDTH) {
        nrw_lanes f[3];
        for (int axis = 0; axis < 3; axis++) {
            f[axis] = lanes_all(0.0f);
            for (int k = 0; k < 2; k++)
                if (forces[k][axis])
                    f[axis] = f[axis] + lanes_load(forces[k][axis] + row);
        }
        const nrw_lanes along = lanes_load(task->along + row);
        const nrw_lanes vx = lanes_fma(along, f[0], lanes_load(task->base_x + row));
        const nrw_lanes vy = lanes_fma(along, f[1], lanes_load(task->base_y + row));
        const nrw_lanes vz =
            lanes_fma(lanes_load(task->across + row), f[2], lanes_load(task->base_z + row));
        const nrw_lanes dx = vx - lanes_load(task->vx + row), dy = vy - lanes_load(task->vy + row);
        change = lanes_max(change, lanes_fma(dx, dx, dy * dy));
        const nrw_lanes damped =
            lanes_fma(sliding * along, lanes_load(task->excess_sum + row), lanes_all(1.0f));
        stiff = lanes_max(stiff, along * lanes_load(task->stiff + row) / damped);
        lanes_store(task->vx + row, vx);
        lanes_store(task->vy + row, vy);
        lanes_store(task->vz + row, vz);
    }
    *change2 = lanes_largest(change);
    *stiffest = lanes_largest(stiff);
}

void NRW_KERNEL(nrw_step_velocity_)(const nrw_rows_task *task, const float *const forces[2][3],
                                    nrw_peaks *change, nrw_peaks *stiff)
{
    nrw_peaks_sum changes = {0}, stiffs = {0};
    for (size_t first = 0; first < task->n_rows; first += NRW_CONTACT_GROUP) {
        const size_t end = first + NRW_CONTACT_GROUP;
        float change2, stiffest;
        take_velocities(task, forces, first, end < task->n_rows ? end : task->n_rows, &change2,
                        &stiffest);
        nrw_peaks_add(&changes, sqrtf(change2));
        nrw_peaks_add(&stiffs, stiffest);
    }
    *change = nrw_peaks_of(&changes);
    *stiff = nrw_peaks_of(&stiffs);
}

/* Solves w + ln w = l (Wright's omega function) by Newton from a rough start; for
 * l < −15, w = exp(l) to within its own square, and below −60 it no longer matters. */
static inline nrw_lanes wright_omega(nrw_lanes l)
{
    const nrw_lanes one = lanes_all(1.0f), small = lanes_all(-15.0f);
    const nrw_lanes e = lanes_exp(lanes_max(lanes_min(l, lanes_all(2.0f)), lanes_all(-60.0f)));
    const nrw_lane_mask high = lanes_above(l, one);
    nrw_lanes w = lanes_select(high, l - lanes_log(lanes_max(l, one)),
                               e / lanes_fma(lanes_all(0.76f), e, one));
    /* lanes far below take no part: there Newton would go below zero */
    const nrw_lanes inside = lanes_max(l, small);
    for (int k = 0; k < 3; k++)
        w = w * (one + inside - lanes_log(w)) / (one + w);
    return lanes_select(lanes_above(l, small), w, e);
}

/* The floor's force at the end of the substep, given where the particle would go
 * without it, f: y = f + hµ A exp(−y/λ), so (y − f)/λ = ω(ln(hµA/λ) − f/λ). Below
 * `rest` a hard spring takes over. */
static inline void linearise_floor(const nrw_rows_task *task, size_t row, nrw_lanes a,
                                   nrw_lanes move, nrw_lanes pushed)
{
    const nrw_lanes zero = lanes_all(0.0f), one = lanes_all(1.0f);
    const nrw_lanes pz = lanes_load(task->pz + row), free_gap = pz + pushed - a;
    nrw_lanes gap = free_gap, force = zero, slope = zero;
    if (task->layer_amplitude > 0.0f) {
        const nrw_lanes per_debye = lanes_all(1.0f / task->debye), debye = lanes_all(task->debye);
        const nrw_lanes amplitude = lanes_all(task->layer_amplitude / task->radius) * a;
        const nrw_lanes l = lanes_log(move * amplitude * per_debye) - free_gap * per_debye;
        const nrw_lanes w = wright_omega(l);
        gap = lanes_fma(debye, w, free_gap);
        slope = w / move;
        force = debye * slope;
    }
    const nrw_lanes rest = lanes_all(task->rest_gap), hard = lanes_all(task->hard);
    const nrw_lane_mask below = lanes_above(rest, gap);
    const nrw_lanes held = (gap + move * hard * rest) / lanes_fma(move, hard, one);
    force = force + lanes_only(below, hard * (rest - held));
    slope = slope + lanes_only(below, hard);
    gap = lanes_select(below, held, gap);
    lanes_store(task->floor_z + row, gap + a - pz);
    lanes_store(task->floor_force + row, force);
    lanes_store(task->floor_slope + row, slope);
    lanes_store(task->floor_give + row, one / lanes_fma(slope, move, one));
}

void NRW_KERNEL(nrw_step_predict_)(const nrw_rows_task *task, float h)
{
    const nrw_lanes step = lanes_all(h), kT2h = lanes_all(2.0f * task->kT * h);
    for (size_t row = 0; row < task->n_rows; row += NRW_WIDTH) {
        const nrw_lanes move_xy = step * lanes_load(task->along + row);
        const nrw_lanes move_z = step * lanes_load(task->across + row);
        nrw_lanes x = step * lanes_load(task->vx + row), y = step * lanes_load(task->vy + row);
        nrw_lanes z = step * lanes_load(task->vz + row);
        if (task->noise) {
            nrw_lanes normals[4];
            lanes_gather4(task->noise, task->order + row, normals);
            const nrw_lanes planar = lanes_sqrt(kT2h * lanes_load(task->along + row));
            x = lanes_fma(planar, normals[0], x);
            y = lanes_fma(planar, normals[1], y);
            z = lanes_fma(lanes_sqrt(kT2h * lanes_load(task->across + row)), normals[2], z);
        }
        lanes_store(task->move_xy + row, move_xy);
        lanes_store(task->move_z + row, move_z);
        lanes_store(task->free_x + row, x);
        lanes_store(task->free_y + row, y);
        lanes_store(task->free_z + row, z);
        if (task->has_floor) {
            const nrw_lanes warm = lanes_all(task->stiffness) * lanes_load(task->warm_z + row);
            linearise_floor(task, row, lanes_load(task->row_radius + row), move_z,
                            lanes_fma(move_z, warm, z));
        }
        if (task->row_ceiling)
            lanes_store(task->ceiling_z + row,
                        lanes_load(task->row_ceiling + row) - lanes_load(task->pz + row));
    }
}

void NRW_KERNEL(nrw_step_farthest_)(const nrw_rows_task *task, const float *const u[3], float h,
                                    float largest[2])
{
    const nrw_lanes step = lanes_all(h);
    nrw_lanes smooth = lanes_all(0.0f), all = smooth;
    for (size_t row = 0; row < task->n_rows; row += NRW_WIDTH) {
        const nrw_lanes ux = lanes_load(u[0] + row), uy = lanes_load(u[1] + row);
        const nrw_lanes uz = lanes_load(u[2] + row);
        /* what is free but for the smooth velocity's part is noise */
        const nrw_lanes x =
            lanes_fma(step, lanes_load(task->vx + row), ux - lanes_load(task->free_x + row));
        const nrw_lanes y =
            lanes_fma(step, lanes_load(task->vy + row), uy - lanes_load(task->free_y + row));
        const nrw_lanes square = lanes_fma(ux, ux, lanes_fma(uy, uy, uz * uz));
        /* a NaN must not hide: the maximum keeps its second argument then */
        if (lanes_bits(lanes_above(square, lanes_all(-1.0f))) != LANES_ALL_BITS) {
            largest[0] = largest[1] = NAN;
            return;
        }
        smooth = lanes_max(smooth, lanes_fma(x, x, y * y));
        all = lanes_max(all, square);
    }
    largest[0] = sqrtf(lanes_largest(smooth));
    largest[1] = sqrtf(lanes_largest(all));
}

void NRW_KERNEL(nrw_step_store_)(const nrw_rows_task *task, const float *const u[3])
{
    float *places[3] = {task->px, task->py, task->pz};
    float *sums[3] = {task->sum_x, task->sum_y, task->sum_z};
    for (size_t row = 0; row < task->n_rows; row += NRW_WIDTH) {
        nrw_lanes at[4];
        for (int axis = 0; axis < 3; axis++) {
            const nrw_lanes moved = lanes_load(u[axis] + row);
            at[axis] = lanes_load(places[axis] + row) + moved;
            lanes_store(places[axis] + row, at[axis]);
            lanes_store(sums[axis] + row, lanes_load(sums[axis] + row) + moved);
        }
        at[3] = lanes_load(task->row_moment + row);
        lanes_scatter4(task->places, row, at);
    }
}

/* A vector whose rows beyond n are replaced by `rest`. */
static inline nrw_lanes filled_of(nrw_lanes of, size_t row, size_t n, float rest)
{
    if (row + NRW_WIDTH <= n)
        return of;
    float values[NRW_WIDTH];
    lanes_store(values, of);
    for (size_t lane = 0; lane < NRW_WIDTH; lane++)
        values[lane] = row + lane < n ? values[lane] : rest;
    return lanes_load(values);
}

/* How far rows have moved since the list was made. */
static inline nrw_lanes moved_of(const float *start, const float *sum, size_t row, size_t n,
                                 float rest)
{
    return filled_of(lanes_load(start + row) + lanes_load(sum + row), row, n, rest);
}

/* The farthest of the rows [first, end) against the means, as a square, and of their last
 * displacements. */
static inline void farthest_of_group(const nrw_rows_task *task, const float *const last[3],
                                     size_t first, size_t end, size_t n, float means[2][3],
                                     nrw_lanes *farthest, nrw_lanes *largest)
{
    const float *start[3] = {task->start_x, task->start_y, task->start_z};
    const float *sums[3] = {task->sum_x, task->sum_y, task->sum_z};
    for (size_t row = first; row < end; row += NRW_WIDTH) {
        nrw_lanes now2 = lanes_all(0.0f), next2 = now2, last2 = now2;
        for (int axis = 0; axis < 3; axis++) {
            const nrw_lanes off = moved_of(start[axis], sums[axis], row, n, means[0][axis]) -
                                  lanes_all(means[0][axis]);
            const nrw_lanes went = filled_of(lanes_load(last[axis] + row), row, n, means[1][axis]);
            const nrw_lanes then = off + went - lanes_all(means[1][axis]);
            now2 = lanes_fma(off, off, now2);
            next2 = lanes_fma(then, then, next2);
            last2 = lanes_fma(went, went, last2);
        }
        *farthest = lanes_max(*farthest, lanes_max(now2, next2));
        *largest = lanes_max(*largest, last2);
    }
}

float NRW_KERNEL(nrw_step_strayed_)(const nrw_rows_task *task, const float *const last[3], size_t n,
                                    float means[2][3], float *farthest)
{
    const float *start[3] = {task->start_x, task->start_y, task->start_z};
    const float *sums[3] = {task->sum_x, task->sum_y, task->sum_z};
    for (int axis = 0; axis < 3; axis++) {
        nrw_lanes total = lanes_all(0.0f), total_last = lanes_all(0.0f);
        for (size_t row = 0; row < n; row += NRW_WIDTH) {
            total = total + moved_of(start[axis], sums[axis], row, n, 0.0f);
            total_last = total_last + filled_of(lanes_load(last[axis] + row), row, n, 0.0f);
        }
        means[0][axis] = lanes_sum(total) / (float)n;
        means[1][axis] = lanes_sum(total_last) / (float)n;
    }
    nrw_lanes largest = lanes_all(0.0f);
    for (size_t first = 0; first < n; first += NRW_CONTACT_GROUP) {
        const size_t end = first + NRW_CONTACT_GROUP < n ? first + NRW_CONTACT_GROUP : n;
        nrw_lanes group = lanes_all(0.0f);
        farthest_of_group(task, last, first, end, n, means, &group, &largest);
        farthest[first / NRW_CONTACT_GROUP] = sqrtf(lanes_largest(group));
    }
    return sqrtf(lanes_largest(largest));
}
