/* Pair kernels; compiled once per instruction set with NRW_KERNEL_SUFFIX set.
 *
 * Row-wise over all pairs: for each particle i the inner loop runs over all j in
 * vector lanes. The pair of a particle with itself has no separation, so every
 * term with a factor of it vanishes; the flow's self term is removed by the
 * caller, who has the exact self mobility. */
#include <math.h>

#include "kernel.h"
#include "kernel_name.h"

nrw_pair_kernel NRW_KERNEL(nrw_pair_averaged_);
nrw_pair_kernel NRW_KERNEL(nrw_pair_response_);
nrw_pair_kernel NRW_KERNEL(nrw_pair_own_);
nrw_pair_kernel NRW_KERNEL(nrw_pair_flow_floor_);
nrw_pair_kernel NRW_KERNEL(nrw_pair_flow_unbounded_);

static inline float larger(float a, float b)
{
    return a > b ? a : b;
}

/* F_i = m_i Σ_j m_j r⁻⁵ [2 M·r + (tr M) r − 5 (r·M·r) r/r²], docs/physics.md (7.2). */
void NRW_KERNEL(nrw_pair_averaged_)(const nrw_pair_task *task, size_t first, size_t last)
{
    const float *restrict x = task->x, *restrict y = task->y, *restrict z = task->z;
    const float *restrict moment = task->moment;
    const float xx = task->tensor[NRW_XX], xy = task->tensor[NRW_XY], xz = task->tensor[NRW_XZ];
    const float yy = task->tensor[NRW_YY], yz = task->tensor[NRW_YZ], zz = task->tensor[NRW_ZZ];
    const float trace = xx + yy + zz, core2 = task->core2;
    const size_t n = task->n;
    for (size_t i = first; i < last; i++) {
        const float xi = x[i], yi = y[i], zi = z[i];
        float fx = 0.0f, fy = 0.0f, fz = 0.0f;
#pragma omp simd reduction(+ : fx, fy, fz) aligned(x, y, z, moment : 64)
        for (size_t j = 0; j < n; j++) {
            const float dx = xi - x[j], dy = yi - y[j], dz = zi - z[j];
            const float r2 = larger(dx * dx + dy * dy + dz * dz, core2);
            const float inverse2 = 1.0f / r2;
            const float strength = moment[j] * inverse2 * inverse2 * sqrtf(inverse2);
            const float ax = xx * dx + xy * dy + xz * dz;
            const float ay = xy * dx + yy * dy + yz * dz;
            const float az = xz * dx + yz * dy + zz * dz;
            const float radial = trace - 5.0f * (ax * dx + ay * dy + az * dz) * inverse2;
            fx += strength * (2.0f * ax + radial * dx);
            fy += strength * (2.0f * ay + radial * dy);
            fz += strength * (2.0f * az + radial * dz);
        }
        task->fx[i] = moment[i] * fx;
        task->fy[i] = moment[i] * fy;
        task->fz[i] = moment[i] * fz;
    }
}

/* The same force is linear in M: its coefficients for xx, xy, xz, yy, yz, zz.
 * With s = strength, r = (dx, dy, dz), u = r/r²: component ab gives
 * s [2 (r_b e_a + r_a e_b)(½ if a = b) + δ_ab r − 5 (2 r_a r_b)(½ if a = b) r/r²]. */
void NRW_KERNEL(nrw_pair_response_)(const nrw_pair_task *task, size_t first, size_t last)
{
    const float *restrict x = task->x, *restrict y = task->y, *restrict z = task->z;
    const float *restrict moment = task->moment;
    const float core2 = task->core2;
    const size_t n = task->n;
    for (size_t i = first; i < last; i++) {
        const float xi = x[i], yi = y[i], zi = z[i];
        float xxx = 0.0f, xxy = 0.0f, xxz = 0.0f, xyx = 0.0f, xyy = 0.0f, xyz = 0.0f;
        float xzx = 0.0f, xzz = 0.0f, yyx = 0.0f, yyy = 0.0f, yyz = 0.0f;
        float yzy = 0.0f, yzz = 0.0f, zzx = 0.0f, zzy = 0.0f, zzz = 0.0f;
#pragma omp simd reduction(+ : xxx, xxy, xxz, xyx, xyy, xyz, xzx, xzz, yyx, yyy, yyz, yzy, yzz,    \
                               zzx, zzy, zzz) aligned(x, y, z, moment : 64)
        for (size_t j = 0; j < n; j++) {
            const float dx = xi - x[j], dy = yi - y[j], dz = zi - z[j];
            const float r2 = larger(dx * dx + dy * dy + dz * dz, core2);
            const float inverse2 = 1.0f / r2;
            const float strength = moment[j] * inverse2 * inverse2 * sqrtf(inverse2);
            const float five = 5.0f * inverse2;
            const float px = dx * dx * five, py = dy * dy * five, pz = dz * dz * five;
            const float sx = strength * dx, sy = strength * dy, sz = strength * dz;
            xxx += sx * (3.0f - px);
            xxy += sy * (1.0f - px);
            xxz += sz * (1.0f - px);
            yyx += sx * (1.0f - py);
            yyy += sy * (3.0f - py);
            yyz += sz * (1.0f - py);
            zzx += sx * (1.0f - pz);
            zzy += sy * (1.0f - pz);
            zzz += sz * (3.0f - pz);
            xyx += 2.0f * sy * (1.0f - px);
            xyy += 2.0f * sx * (1.0f - py);
            xyz += -2.0f * five * sx * dy * dz;
            xzx += 2.0f * sz * (1.0f - px);
            xzz += 2.0f * sx * (1.0f - pz);
            yzy += 2.0f * sz * (1.0f - py);
            yzz += 2.0f * sy * (1.0f - pz);
        }
        const float own = moment[i];
        const float rows[3 * NRW_N_TENSOR] = {xxx, xxy, xxz, xyx, xyy, xyz, xzx, xyz, xzz,
                                              yyx, yyy, yyz, xyz, yzy, yzz, zzx, zzy, zzz};
        for (int k = 0; k < 3 * NRW_N_TENSOR; k++)
            task->response[k][i] = own * rows[k];
    }
}

/* Two-moment force and the field of the others, docs/physics.md (4.1), (4.3). */
void NRW_KERNEL(nrw_pair_own_)(const nrw_pair_task *task, size_t first, size_t last)
{
    const float *restrict x = task->x, *restrict y = task->y, *restrict z = task->z;
    const float *restrict mx = task->mx, *restrict my = task->my, *restrict mz = task->mz;
    const float core2 = task->core2;
    const size_t n = task->n;
    for (size_t i = first; i < last; i++) {
        const float xi = x[i], yi = y[i], zi = z[i];
        const float mxi = mx[i], myi = my[i], mzi = mz[i];
        float fx = 0.0f, fy = 0.0f, fz = 0.0f, bx = 0.0f, by = 0.0f, bz = 0.0f;
#pragma omp simd reduction(+ : fx, fy, fz, bx, by, bz) aligned(x, y, z, mx, my, mz : 64)
        for (size_t j = 0; j < n; j++) {
            const float dx = xi - x[j], dy = yi - y[j], dz = zi - z[j];
            const float distance2 = dx * dx + dy * dy + dz * dz;
            const float r2 = larger(distance2, core2);
            const float inverse2 = 1.0f / r2;
            /* unlike the force, the field does not vanish with the separation:
             * mask the particle itself */
            const float others = distance2 > 0.0f ? 0.1f : 0.0f;
            const float inverse3 = others * inverse2 * sqrtf(inverse2);
            const float jr = mx[j] * dx + my[j] * dy + mz[j] * dz;
            const float ir = mxi * dx + myi * dy + mzi * dz;
            const float ij = mxi * mx[j] + myi * my[j] + mzi * mz[j];
            const float along = 3.0f * jr * inverse2;
            bx += inverse3 * (along * dx - mx[j]);
            by += inverse3 * (along * dy - my[j]);
            bz += inverse3 * (along * dz - mz[j]);
            const float strength = 3.0f * inverse3 * inverse2;
            const float radial = ij - 5.0f * ir * jr * inverse2;
            fx += strength * (ir * mx[j] + jr * mxi + radial * dx);
            fy += strength * (ir * my[j] + jr * myi + radial * dy);
            fz += strength * (ir * mz[j] + jr * mzi + radial * dz);
        }
        task->fx[i] = fx;
        task->fy[i] = fy;
        task->fz[i] = fz;
        task->bx[i] = bx;
        task->by[i] = by;
        task->bz[i] = bz;
    }
}

/* Rotlets with their images in the floor, seen by a sphere of finite size
 * (Faxén on the image part): docs/physics.md (5.6)-(5.8). */
void NRW_KERNEL(nrw_pair_flow_floor_)(const nrw_pair_task *task, size_t first, size_t last)
{
    const float *restrict x = task->x, *restrict y = task->y, *restrict z = task->z;
    const float *restrict qx = task->qx, *restrict qy = task->qy, *restrict tz = task->tz;
    const float core2 = task->core2, faxen = 2.0f * task->radius2;
    const size_t n = task->n;
    for (size_t i = first; i < last; i++) {
        const float xi = x[i], yi = y[i], zi = z[i];
        float ux = 0.0f, uy = 0.0f, uz = 0.0f;
#pragma omp simd reduction(+ : ux, uy, uz) aligned(x, y, z, qx, qy, tz : 64)
        for (size_t j = 0; j < n; j++) {
            const float dx = xi - x[j], dy = yi - y[j], dz = zi - z[j];
            const float planar2 = dx * dx + dy * dy;
            const float r2 = larger(planar2 + dz * dz, core2);
            const float height = zi + z[j];
            const float image2 = 1.0f / (planar2 + height * height);
            const float inverse2 = 1.0f / r2;
            const float image3 = image2 * sqrtf(image2);
            const float image5 = image3 * image2;
            const float k = inverse2 * sqrtf(inverse2) - image3;
            const float qr = qx[j] * dx + qy[j] * dy;
            const float five = 5.0f * faxen * image2;
            const float along = qr * image5 * (6.0f * zi - five * height);
            const float with_q = dz * k + faxen * height * image5;
            ux += with_q * qx[j] + along * dx - tz[j] * k * dy;
            uy += with_q * qy[j] + along * dy + tz[j] * k * dx;
            uz += qr * (image5 * (6.0f * zi * height + faxen - five * height * height) - k);
        }
        task->ux[i] = ux;
        task->uy[i] = uy;
        task->uz[i] = uz;
    }
}

void NRW_KERNEL(nrw_pair_flow_unbounded_)(const nrw_pair_task *task, size_t first, size_t last)
{
    const float *restrict x = task->x, *restrict y = task->y, *restrict z = task->z;
    const float *restrict qx = task->qx, *restrict qy = task->qy, *restrict tz = task->tz;
    const float core2 = task->core2;
    const size_t n = task->n;
    for (size_t i = first; i < last; i++) {
        const float xi = x[i], yi = y[i], zi = z[i];
        float ux = 0.0f, uy = 0.0f, uz = 0.0f;
#pragma omp simd reduction(+ : ux, uy, uz) aligned(x, y, z, qx, qy, tz : 64)
        for (size_t j = 0; j < n; j++) {
            const float dx = xi - x[j], dy = yi - y[j], dz = zi - z[j];
            const float r2 = larger(dx * dx + dy * dy + dz * dz, core2);
            const float inverse2 = 1.0f / r2;
            const float k = inverse2 * sqrtf(inverse2);
            ux += k * (dz * qx[j] - tz[j] * dy);
            uy += k * (dz * qy[j] + tz[j] * dx);
            uz -= k * (qx[j] * dx + qy[j] * dy);
        }
        task->ux[i] = ux;
        task->uy[i] = uy;
        task->uz[i] = uz;
    }
}
