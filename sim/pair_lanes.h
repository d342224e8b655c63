/* One row against a vector of others: what the kernels over half of the pairs do with
 * each pair (tile_kernel.c, block_kernel.c). Included by kernel sources alone.
 *
 * Each pair is taken once: by Newton's third law for the dipoles, and with what both
 * directions share for the flow. */
#ifndef NRW_PAIR_LANES_H
#define NRW_PAIR_LANES_H

#include <stdbool.h>
#include <string.h>

#include "kernel.h"
#include "lanes.h"
#include "response_lanes.h"

enum { WITH_DIPOLES = 1, WITH_FLOW = 2, OUTPUTS = 6 };

/* Constants of a pass; local to it, so that no store can change them.
 *
 * A multiple of the unit tensor in M exerts no force (7.2): M_zz is taken out, which
 * spares a multiplication. Doubled, for 2 M·r + (tr M − 5 r·M·r/r²) r. */
typedef struct pair_law {
    nrw_lanes xx, xy, xz, yy, yz, trace; /* of 2 (M − M_zz 1) */
    nrw_lanes core2, faxen, ten_a2;
} pair_law;

static inline pair_law pair_law_of(const nrw_pair_task *task)
{
    const float *m = task->tensor;
    return (pair_law){lanes_all(2.0f * (m[NRW_XX] - m[NRW_ZZ])),
                      lanes_all(2.0f * m[NRW_XY]),
                      lanes_all(2.0f * m[NRW_XZ]),
                      lanes_all(2.0f * (m[NRW_YY] - m[NRW_ZZ])),
                      lanes_all(2.0f * m[NRW_YZ]),
                      lanes_all(m[NRW_XX] + m[NRW_YY] - 2.0f * m[NRW_ZZ]),
                      lanes_all(task->core2),
                      lanes_all(2.0f * task->radius2),
                      lanes_all(10.0f * task->radius2)};
}

/* One row, broadcast. */
typedef struct pair_row {
    nrw_lanes x, y, z, six_z, moment, qx, qy, tz;
} pair_row;

/* A vector of particles j and the sums for them. */
typedef struct pair_block {
    nrw_lanes x, y, z, six_z, moment, qx, qy, tz;
    nrw_lanes out[OUTPUTS];
} pair_block;

/* Row i, seen from where the others count from: `shift` is added to its place. */
static inline pair_row pair_row_of(const nrw_pair_task *task, size_t i, const int what,
                                   const float shift[3])
{
    pair_row row;
    memset(&row, 0, sizeof row);
    row.x = lanes_all(task->x[i] + shift[0]);
    row.y = lanes_all(task->y[i] + shift[1]);
    row.z = lanes_all(task->z[i] + shift[2]);
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

/* Adds the pair's parts to row sums and block sums; `weight` 0 takes lanes out. The
 * dipole sums of j are of the opposite force. */
static inline void pair_add(const pair_law *law, const pair_row *i, pair_block *j,
                            nrw_lanes sums[OUTPUTS], const int what, const bool masked,
                            nrw_lanes weight)
{
    const nrw_lanes dx = i->x - j->x, dy = i->y - j->y, dz = i->z - j->z;
    const nrw_lanes planar2 = lanes_fma(dx, dx, dy * dy);
    const nrw_lanes r2 = lanes_fma(dz, dz, planar2);
    const nrw_lanes inverse = lanes_rsqrt(lanes_max(r2, law->core2));
    const nrw_lanes inverse2 = inverse * inverse;
    if (what & WITH_DIPOLES) {
        nrw_lanes strength = inverse2 * inverse2 * inverse;
        if (masked)
            strength = strength * weight;
        const nrw_lanes ax = lanes_fma(law->xx, dx, lanes_fma(law->xy, dy, law->xz * dz));
        const nrw_lanes ay = lanes_fma(law->xy, dx, lanes_fma(law->yy, dy, law->yz * dz));
        const nrw_lanes az = lanes_fma(law->xz, dx, law->yz * dy);
        const nrw_lanes along = lanes_fma(ax, dx, lanes_fma(ay, dy, az * dz));
        const nrw_lanes radial = lanes_fma(lanes_all(-2.5f) * inverse2, along, law->trace);
        const nrw_lanes to_i = strength * j->moment, to_j = strength * i->moment;
        const nrw_lanes f[3] = {lanes_fma(radial, dx, ax), lanes_fma(radial, dy, ay),
                                lanes_fma(radial, dz, az)};
        for (int axis = 0; axis < 3; axis++) {
            sums[axis] = lanes_fma(to_i, f[axis], sums[axis]);
            j->out[axis] = lanes_fma(to_j, f[axis], j->out[axis]);
        }
    }
    if (what & WITH_FLOW) {
        const nrw_lanes height = i->z + j->z;
        const nrw_lanes image = lanes_rsqrt(lanes_fma(height, height, planar2));
        const nrw_lanes image2 = image * image;
        nrw_lanes image3 = image2 * image, k = lanes_fma(inverse2, inverse, -image3);
        if (masked) {
            image3 = image3 * weight;
            k = k * weight;
        }
        const nrw_lanes image5 = image3 * image2, spread = law->faxen * image5, lift = spread - k;
        const nrw_lanes mirror = law->ten_a2 * (image2 * height), up = height * spread;
        const nrw_lanes kx = k * dx, ky = k * dy, kz = k * dz;

        const nrw_lanes qj = lanes_fma(j->qx, dx, j->qy * dy);
        const nrw_lanes alongj = qj * image5 * (i->six_z - mirror), with_j = up + kz;
        nrw_lanes *u = sums + 3, *v = j->out + 3;
        u[0] = lanes_less(j->tz, ky, lanes_fma(with_j, j->qx, lanes_fma(alongj, dx, u[0])));
        u[1] = lanes_fma(j->tz, kx, lanes_fma(with_j, j->qy, lanes_fma(alongj, dy, u[1])));
        u[2] = lanes_fma(alongj, height, lanes_fma(qj, lift, u[2]));
        /* the other way round d and q·d change sign: v_z gathers the negative */
        const nrw_lanes qi = lanes_fma(i->qx, dx, i->qy * dy);
        const nrw_lanes alongi = qi * image5 * (j->six_z - mirror), with_i = up - kz;
        v[0] = lanes_fma(i->tz, ky, lanes_fma(with_i, i->qx, lanes_fma(alongi, dx, v[0])));
        v[1] = lanes_less(i->tz, kx, lanes_fma(with_i, i->qy, lanes_fma(alongi, dy, v[1])));
        v[2] = lanes_fma(alongi, height, lanes_fma(qi, lift, v[2]));
    }
}

static inline pair_block pair_block_load(const nrw_pair_task *task, float *const *out, size_t j,
                                         const int what)
{
    pair_block block;
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

static inline void pair_block_store(const pair_block *block, float *const *out, size_t j,
                                    const int what)
{
    for (int k = what & WITH_DIPOLES ? 0 : 3; k < (what & WITH_FLOW ? 6 : 3); k++)
        lanes_store(out[k] + j, block->out[k]);
}

/* Row i is complete when all rows before it have been: its sums, and what the others
 * left for it. */
static inline void pair_finish(const nrw_pair_task *task, float *const *out, size_t i,
                               const nrw_lanes sums[OUTPUTS], const int what)
{
    float row_sums[8];
    lanes_sum4(sums[0], sums[1], sums[2], sums[3], row_sums);
    lanes_sum4(sums[4], sums[5], sums[4], sums[5], row_sums + 4);
    if (what & WITH_DIPOLES)
        for (int k = 0; k < 3; k++)
            out[k][i] = task->moment[i] * (row_sums[k] - out[k][i]);
    if (what & WITH_FLOW)
        for (int k = 3; k < 6; k++)
            out[k][i] = row_sums[k] + (k == 5 ? -out[k][i] : out[k][i]);
}

/* --- responses to each component of the tensor ------------------------------- */

/* Where the sums of response_lanes.h stand in nrw_pair_task.response. */
enum { PAIR_SUMS = RESPONSE_SUMS };
static const int pair_stands[PAIR_SUMS] = {0, 1, 2, 9, 10, 11, 15, 16, 17, 5};

/* One pair without its moments. */
static inline void pair_response(nrw_lanes core2, const pair_row *i, const pair_block *j,
                                 nrw_lanes weight, const bool masked, nrw_lanes r[PAIR_SUMS])
{
    const nrw_lanes d[3] = {i->x - j->x, i->y - j->y, i->z - j->z};
    const nrw_lanes r2 = lanes_fma(d[0], d[0], lanes_fma(d[1], d[1], d[2] * d[2]));
    const nrw_lanes inverse = lanes_rsqrt(lanes_max(r2, core2));
    const nrw_lanes inverse2 = inverse * inverse;
    nrw_lanes strength = inverse2 * inverse2 * inverse;
    if (masked)
        strength = strength * weight;
    for (int k = 0; k < PAIR_SUMS; k++)
        r[k] = lanes_all(0.0f);
    response_add(d, inverse2, strength, r);
}

static inline void pair_response_add(const nrw_pair_task *task, nrw_lanes core2, const pair_row *i,
                                     size_t j, nrw_lanes sums[PAIR_SUMS], nrw_lanes weight,
                                     const bool masked)
{
    pair_block block;
    block.x = lanes_load(task->x + j);
    block.y = lanes_load(task->y + j);
    block.z = lanes_load(task->z + j);
    block.moment = lanes_load(task->moment + j);
    nrw_lanes r[PAIR_SUMS];
    pair_response(core2, i, &block, weight, masked, r);
    for (int k = 0; k < PAIR_SUMS; k++) {
        float *out = task->response[pair_stands[k]] + j;
        sums[k] = lanes_fma(block.moment, r[k], sums[k]);
        lanes_store(out, lanes_fma(i->moment, r[k], lanes_load(out)));
    }
}

static inline void pair_response_finish(const nrw_pair_task *task, size_t i,
                                        const nrw_lanes sums[PAIR_SUMS])
{
    float row_sums[12];
    lanes_sum4(sums[0], sums[1], sums[2], sums[3], row_sums);
    lanes_sum4(sums[4], sums[5], sums[6], sums[7], row_sums + 4);
    lanes_sum4(sums[8], sums[9], sums[8], sums[9], row_sums + 8);
    for (int k = 0; k < PAIR_SUMS; k++) {
        float *out = task->response[pair_stands[k]] + i;
        *out = task->moment[i] * (row_sums[k] - *out);
    }
}

/* The other eight, from those ten: twice one of them, or the same. */
static inline void pair_response_complete(const nrw_pair_task *task, size_t n)
{
    static const struct {
        int to, from;
        float factor;
    } follows[] = {{3, 1, 2.0f},  {4, 9, 2.0f},  {6, 2, 2.0f},   {7, 5, 1.0f},
                   {8, 15, 2.0f}, {12, 5, 1.0f}, {13, 11, 2.0f}, {14, 16, 2.0f}};
    for (size_t k = 0; k < sizeof follows / sizeof *follows; k++)
        for (size_t i = 0; i < n; i++)
            task->response[follows[k].to][i] =
                follows[k].factor * task->response[follows[k].from][i];
}

/* Only lanes above row i of the vector that begins at `first` count. */
static inline nrw_lanes pair_above(size_t first, size_t i)
{
    return lanes_only(lanes_above(lanes_rising(), lanes_all((float)i - (float)first)),
                      lanes_all(1.0f));
}

#endif
