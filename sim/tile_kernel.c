/* Pair kernels over half of the matrix: each pair once, by Newton's third law for the
 * dipoles and with what both directions share for the flow. Compiled once per
 * instruction set with NRW_KERNEL_SUFFIX set.
 *
 * Two rows i at a time are held in registers against all blocks of j above them; the
 * part of j goes to memory, which for swarms that are worth all pairs stays in the
 * nearest cache. */
#include <stdbool.h>
#include <string.h>

#include "kernel.h"
#include "lanes.h"

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

enum { WITH_DIPOLES = 1, WITH_FLOW = 2, ROWS = 1, OUTPUTS = 6 };

/* One row, broadcast. */
typedef struct tile_row {
    nrw_lanes x, y, z, six_z, moment, qx, qy, tz;
} tile_row;

/* A block of particles j and the sums for them. */
typedef struct tile_block {
    nrw_lanes x, y, z, six_z, moment, qx, qy, tz;
    nrw_lanes out[OUTPUTS];
} tile_block;

static inline tile_row row_of(const nrw_pair_task *task, size_t i, const int what)
{
    tile_row row;
    memset(&row, 0, sizeof row);
    row.x = lanes_all(task->x[i]);
    row.y = lanes_all(task->y[i]);
    row.z = lanes_all(task->z[i]);
    row.six_z = lanes_all(6.0f * task->z[i]);
    if (what & WITH_DIPOLES)
        row.moment = lanes_all(task->moment[i]);
    if (what & WITH_FLOW) {
        row.qx = lanes_all(task->qx[i]);
        row.qy = lanes_all(task->qy[i]);
        row.tz = lanes_all(task->tz[i]);
    }
    return row;
}

/* Adds the pair's parts to row sums and block sums; `weight` 0 takes lanes out. */
static inline void add_pair(const nrw_pair_task *task, const tile_row *i, tile_block *j,
                            nrw_lanes sums[OUTPUTS], const int what, const bool masked,
                            nrw_lanes weight)
{
    const nrw_lanes core2 = lanes_all(task->core2);
    const nrw_lanes dx = i->x - j->x, dy = i->y - j->y, dz = i->z - j->z;
    const nrw_lanes planar2 = lanes_fma(dx, dx, dy * dy);
    const nrw_lanes inverse = lanes_rsqrt(lanes_max(lanes_fma(dz, dz, planar2), core2));
    const nrw_lanes inverse2 = inverse * inverse;
    if (what & WITH_DIPOLES) {
        const nrw_lanes xx = lanes_all(task->tensor[NRW_XX]), xy = lanes_all(task->tensor[NRW_XY]);
        const nrw_lanes xz = lanes_all(task->tensor[NRW_XZ]), yy = lanes_all(task->tensor[NRW_YY]);
        const nrw_lanes yz = lanes_all(task->tensor[NRW_YZ]), zz = lanes_all(task->tensor[NRW_ZZ]);
        const nrw_lanes trace =
            lanes_all(task->tensor[NRW_XX] + task->tensor[NRW_YY] + task->tensor[NRW_ZZ]);
        nrw_lanes strength = inverse2 * inverse2 * inverse;
        if (masked)
            strength = strength * weight;
        const nrw_lanes ax = lanes_fma(xx, dx, lanes_fma(xy, dy, xz * dz));
        const nrw_lanes ay = lanes_fma(xy, dx, lanes_fma(yy, dy, yz * dz));
        const nrw_lanes az = lanes_fma(xz, dx, lanes_fma(yz, dy, zz * dz));
        const nrw_lanes along = lanes_fma(ax, dx, lanes_fma(ay, dy, az * dz));
        const nrw_lanes radial = strength * lanes_fma(lanes_all(-5.0f) * inverse2, along, trace);
        const nrw_lanes twice = strength + strength;
        const nrw_lanes f[3] = {lanes_fma(twice, ax, radial * dx),
                                lanes_fma(twice, ay, radial * dy),
                                lanes_fma(twice, az, radial * dz)};
        for (int axis = 0; axis < 3; axis++) {
            sums[axis] = lanes_fma(j->moment, f[axis], sums[axis]);
            j->out[axis] = lanes_fma(i->moment, f[axis], j->out[axis]);
        }
    }
    if (what & WITH_FLOW) {
        const nrw_lanes faxen = lanes_all(2.0f * task->radius2);
        const nrw_lanes five = lanes_all(10.0f * task->radius2), height = i->z + j->z;
        const nrw_lanes image = lanes_rsqrt(lanes_fma(height, height, planar2));
        const nrw_lanes image2 = image * image;
        nrw_lanes image3 = image2 * image, k = inverse2 * inverse - image3;
        if (masked) {
            image3 = image3 * weight;
            k = k * weight;
        }
        const nrw_lanes image5 = image3 * image2, spread = faxen * image5, lift = spread - k;
        const nrw_lanes mirror = five * (image2 * height), up = height * spread;
        const nrw_lanes kx = k * dx, ky = k * dy, kz = k * dz;

        const nrw_lanes qj = lanes_fma(j->qx, dx, j->qy * dy);
        const nrw_lanes alongj = qj * image5 * (i->six_z - mirror), with_j = up + kz;
        nrw_lanes *u = sums + 3, *v = j->out + 3;
        u[0] = lanes_fma(with_j, j->qx, lanes_fma(alongj, dx, u[0])) - j->tz * ky;
        u[1] = lanes_fma(with_j, j->qy, lanes_fma(alongj, dy, u[1])) + j->tz * kx;
        u[2] = lanes_fma(alongj, height, lanes_fma(qj, lift, u[2]));
        /* the other way round d and q·d change sign: v_z gathers the negative */
        const nrw_lanes qi = lanes_fma(i->qx, dx, i->qy * dy);
        const nrw_lanes alongi = qi * image5 * (j->six_z - mirror), with_i = up - kz;
        v[0] = lanes_fma(with_i, i->qx, lanes_fma(alongi, dx, v[0])) + i->tz * ky;
        v[1] = lanes_fma(with_i, i->qy, lanes_fma(alongi, dy, v[1])) - i->tz * kx;
        v[2] = lanes_fma(alongi, height, lanes_fma(qi, lift, v[2]));
    }
}

static inline tile_block load_block(const nrw_pair_task *task, float *const *out, size_t j,
                                    const int what)
{
    tile_block block;
    memset(&block, 0, sizeof block);
    block.x = lanes_load(task->x + j);
    block.y = lanes_load(task->y + j);
    block.z = lanes_load(task->z + j);
    block.six_z = lanes_all(6.0f) * block.z;
    if (what & WITH_DIPOLES) {
        block.moment = lanes_load(task->moment + j);
        for (int k = 0; k < 3; k++)
            block.out[k] = lanes_load(out[k] + j);
    }
    if (what & WITH_FLOW) {
        block.qx = lanes_load(task->qx + j);
        block.qy = lanes_load(task->qy + j);
        block.tz = lanes_load(task->tz + j);
        for (int k = 3; k < 6; k++)
            block.out[k] = lanes_load(out[k] + j);
    }
    return block;
}

static inline void store_block(const tile_block *block, float *const *out, size_t j, const int what)
{
    if (what & WITH_DIPOLES)
        for (int k = 0; k < 3; k++)
            lanes_store(out[k] + j, block->out[k]);
    if (what & WITH_FLOW)
        for (int k = 3; k < 6; k++)
            lanes_store(out[k] + j, block->out[k]);
}

/* The block that holds rows i...i + ROWS − 1 themselves: only lanes above each count. */
static inline void add_diagonal(const nrw_pair_task *task, float *const *out, size_t i,
                                const tile_row rows[ROWS], nrw_lanes sums[ROWS][OUTPUTS],
                                const int what)
{
    const size_t first = i / NRW_WIDTH * NRW_WIDTH;
    tile_block block = load_block(task, out, first, what);
    for (size_t r = 0; r < ROWS; r++) {
        float weights[NRW_WIDTH];
        for (size_t lane = 0; lane < NRW_WIDTH; lane++)
            weights[lane] = first + lane > i + r ? 1.0f : 0.0f;
        add_pair(task, &rows[r], &block, sums[r], what, true, lanes_load(weights));
    }
    store_block(&block, out, first, what);
}

static inline void tile(const nrw_pair_task *task, const int what)
{
    float *const out[OUTPUTS] = {task->fx, task->fy, task->fz, task->ux, task->uy, task->uz};
    const size_t n = task->n;
    for (int k = what & WITH_DIPOLES ? 0 : 3; k < (what & WITH_FLOW ? 6 : 3); k++)
        memset(out[k], 0, n * sizeof(float));
    for (size_t i = 0; i < task->n_filled; i += ROWS) {
        tile_row rows[ROWS];
        nrw_lanes sums[ROWS][OUTPUTS];
        for (size_t r = 0; r < ROWS; r++) {
            rows[r] = row_of(task, i + r, what);
            for (int k = 0; k < OUTPUTS; k++)
                sums[r][k] = lanes_all(0.0f);
        }
        add_diagonal(task, out, i, rows, sums, what);
        for (size_t j = i / NRW_WIDTH * NRW_WIDTH + NRW_WIDTH; j < n; j += NRW_WIDTH) {
            tile_block block = load_block(task, out, j, what);
            for (size_t r = 0; r < ROWS; r++)
                add_pair(task, &rows[r], &block, sums[r], what, false, lanes_all(1.0f));
            store_block(&block, out, j, what);
        }
        for (size_t r = 0; r < ROWS; r++) {
            float row_sums[8];
            lanes_sum4(sums[r][0], sums[r][1], sums[r][2], sums[r][3], row_sums);
            lanes_sum4(sums[r][4], sums[r][5], sums[r][4], sums[r][5], row_sums + 4);
            /* the dipole sums of j are of the opposite force */
            if (what & WITH_DIPOLES)
                for (int k = 0; k < 3; k++)
                    out[k][i + r] = task->moment[i + r] * (row_sums[k] - out[k][i + r]);
            if (what & WITH_FLOW)
                for (int k = 3; k < 6; k++)
                    out[k][i + r] = row_sums[k] + (k == 5 ? -out[k][i + r] : out[k][i + r]);
        }
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

/* --- responses to each component of the tensor ------------------------------- */

/* The force along c for a tensor with M_ab alone is symmetric in a, b and c, so that ten
 * sums are enough: xxx xxy xxz yyx yyy yyz zzx zzy zzz and twice xyz; where they stand in
 * nrw_pair_task.response. */
enum { SUMS = 10 };
static const int stands[SUMS] = {0, 1, 2, 9, 10, 11, 15, 16, 17, 5};

/* The others, from those: twice one of them, or the same. */
static const struct {
    int to, from;
    float factor;
} follows[] = {{3, 1, 2.0f},  {4, 9, 2.0f},  {6, 2, 2.0f},   {7, 5, 1.0f},
               {8, 15, 2.0f}, {12, 5, 1.0f}, {13, 11, 2.0f}, {14, 16, 2.0f}};

/* One pair without its moments. */
static inline void response_of(const nrw_pair_task *task, const tile_row *i, const tile_block *j,
                               nrw_lanes weight, const bool masked, nrw_lanes r[SUMS])
{
    const nrw_lanes d[3] = {i->x - j->x, i->y - j->y, i->z - j->z};
    const nrw_lanes r2 = lanes_fma(d[0], d[0], lanes_fma(d[1], d[1], d[2] * d[2]));
    const nrw_lanes inverse = lanes_rsqrt(lanes_max(r2, lanes_all(task->core2)));
    const nrw_lanes inverse2 = inverse * inverse, five = lanes_all(-5.0f) * inverse2;
    nrw_lanes strength = inverse2 * inverse2 * inverse;
    if (masked)
        strength = strength * weight;
    nrw_lanes s[3];
    for (int k = 0; k < 3; k++)
        s[k] = strength * d[k];
    for (int a = 0; a < 3; a++) {
        const nrw_lanes p = five * (d[a] * d[a]);
        const nrw_lanes pick[2] = {lanes_all(1.0f) + p, lanes_all(3.0f) + p};
        for (int k = 0; k < 3; k++)
            r[3 * a + k] = s[k] * pick[a == k];
    }
    r[9] = (five + five) * s[0] * (d[1] * d[2]);
}

static inline void add_response(const nrw_pair_task *task, const tile_row *i, size_t j,
                                nrw_lanes sums[SUMS], nrw_lanes weight, const bool masked)
{
    tile_block block;
    block.x = lanes_load(task->x + j);
    block.y = lanes_load(task->y + j);
    block.z = lanes_load(task->z + j);
    block.moment = lanes_load(task->moment + j);
    nrw_lanes r[SUMS];
    response_of(task, i, &block, weight, masked, r);
    for (int k = 0; k < SUMS; k++) {
        float *out = task->response[stands[k]] + j;
        sums[k] = lanes_fma(block.moment, r[k], sums[k]);
        lanes_store(out, lanes_fma(i->moment, r[k], lanes_load(out)));
    }
}

void NRW_KERNEL(nrw_tile_response_)(const nrw_pair_task *given)
{
    const nrw_pair_task copy = *given, *const task = &copy;
    const size_t n = task->n;
    for (int k = 0; k < SUMS; k++)
        memset(task->response[stands[k]], 0, n * sizeof(float));
    for (size_t i = 0; i < task->n_filled; i++) {
        const tile_row row = row_of(task, i, WITH_DIPOLES);
        const size_t first = i / NRW_WIDTH * NRW_WIDTH;
        nrw_lanes sums[SUMS];
        float weights[NRW_WIDTH], row_sums[12];
        for (int k = 0; k < SUMS; k++)
            sums[k] = lanes_all(0.0f);
        for (size_t lane = 0; lane < NRW_WIDTH; lane++)
            weights[lane] = first + lane > i ? 1.0f : 0.0f;
        add_response(task, &row, first, sums, lanes_load(weights), true);
        for (size_t j = first + NRW_WIDTH; j < n; j += NRW_WIDTH)
            add_response(task, &row, j, sums, lanes_all(1.0f), false);
        lanes_sum4(sums[0], sums[1], sums[2], sums[3], row_sums);
        lanes_sum4(sums[4], sums[5], sums[6], sums[7], row_sums + 4);
        lanes_sum4(sums[8], sums[9], sums[8], sums[9], row_sums + 8);
        for (int k = 0; k < SUMS; k++) {
            float *out = task->response[stands[k]] + i;
            *out = task->moment[i] * (row_sums[k] - *out);
        }
    }
    for (size_t k = 0; k < sizeof follows / sizeof *follows; k++)
        for (size_t i = 0; i < task->n_filled; i++)
            task->response[follows[k].to][i] =
                follows[k].factor * task->response[follows[k].from][i];
}
