/* Quads of four particles (nrw_quad) as vectors: as many of them as fill one, side by
 * side. Included by kernel sources alone. */
#ifndef NRW_QUAD_LANES_H
#define NRW_QUAD_LANES_H

#include <string.h>

#include "kernel.h"
#include "lanes.h"

/* Lists are as long as the widest vectors want, so that all kernels read the same. */
enum { QUADS_A_VECTOR = NRW_WIDTH / NRW_QUAD, QUADS_A_LIST = NRW_LANES / NRW_QUAD };

typedef struct quad_lanes {
    nrw_lane_ints x, y, z;
    nrw_lanes moment;
} quad_lanes;

static inline nrw_lane_ints lanes_load_ints(const int32_t *p)
{
    nrw_lane_ints a;
    memcpy(&a, p, sizeof a);
    return a;
}

/* One particle of a quad in all lanes. */
static inline quad_lanes quad_lanes_row(const nrw_quad *quad, size_t r)
{
    return (quad_lanes){lanes_int_all(quad->x[r]), lanes_int_all(quad->y[r]),
                        lanes_int_all(quad->z[r]), lanes_all(quad->moment[r])};
}

/* a − b. Differences are exact in whole numbers, and those below 2^24 as floats, too. */
static inline void quad_lanes_apart(const quad_lanes *a, const quad_lanes *b, nrw_lanes d[3])
{
    d[0] = (nrw_lanes) __builtin_convertvector(a->x - b->x, nrw_lane_floats);
    d[1] = (nrw_lanes) __builtin_convertvector(a->y - b->y, nrw_lane_floats);
    d[2] = (nrw_lanes) __builtin_convertvector(a->z - b->z, nrw_lane_floats);
}

#if defined(__AVX512F__) && defined(__AVX512DQ__)

static inline __m512i quad_lanes_line(const nrw_quad *quads, uint32_t at)
{
    return _mm512_load_si512((const float *)quads + at);
}

/* The quads that begin at floats at[0], at[1], ... of `quads`. */
static inline quad_lanes quad_lanes_load(const nrw_quad *quads, const uint32_t *at)
{
    const __m512i a = quad_lanes_line(quads, at[0]), b = quad_lanes_line(quads, at[1]);
    const __m512i c = quad_lanes_line(quads, at[2]), d = quad_lanes_line(quads, at[3]);
    const __m512i xy_ab = _mm512_shuffle_i32x4(a, b, 0x44),
                  xy_cd = _mm512_shuffle_i32x4(c, d, 0x44);
    const __m512i zm_ab = _mm512_shuffle_i32x4(a, b, 0xee),
                  zm_cd = _mm512_shuffle_i32x4(c, d, 0xee);
    return (quad_lanes){(nrw_lane_ints)_mm512_shuffle_i32x4(xy_ab, xy_cd, 0x88),
                        (nrw_lane_ints)_mm512_shuffle_i32x4(xy_ab, xy_cd, 0xdd),
                        (nrw_lane_ints)_mm512_shuffle_i32x4(zm_ab, zm_cd, 0x88),
                        (nrw_lanes)_mm512_shuffle_i32x4(zm_ab, zm_cd, 0xdd)};
}

/* Adds vectors to the forces of those quads, which differ, but for empty ones. All are read
 * before any is written: otherwise each reading waits for the writing before it. */
static inline void quad_lanes_add(float *forces, const uint32_t *at, const nrw_lanes f[3])
{
    const __m512 ab = _mm512_shuffle_f32x4(f[0], f[1], 0x44);
    const __m512 cd = _mm512_shuffle_f32x4(f[0], f[1], 0xee);
    const __m512 sums[4] = {_mm512_load_ps(forces + at[0]) + _mm512_shuffle_f32x4(ab, f[2], 0x08),
                            _mm512_load_ps(forces + at[1]) + _mm512_shuffle_f32x4(ab, f[2], 0x5d),
                            _mm512_load_ps(forces + at[2]) + _mm512_shuffle_f32x4(cd, f[2], 0xa8),
                            _mm512_load_ps(forces + at[3]) + _mm512_shuffle_f32x4(cd, f[2], 0xfd)};
    for (int k = 0; k < 4; k++)
        _mm512_store_ps(forces + at[k], sums[k]);
}

/* Particles first, first + 1, ... of a quad, each in four lanes, with the quad's four. */
static inline void quad_lanes_pairs(const nrw_quad *quad, int first, quad_lanes *rows,
                                    quad_lanes *others)
{
    (void)first; /* all four at once */
    const __m512i line = quad_lanes_line(quad, 0);
    const __m512i each = _mm512_set_epi32(3, 3, 3, 3, 2, 2, 2, 2, 1, 1, 1, 1, 0, 0, 0, 0);
    const __m512i four = _mm512_set1_epi32(4), y = each + four, z = y + four;
    *rows = (quad_lanes){(nrw_lane_ints)_mm512_permutexvar_epi32(each, line),
                         (nrw_lane_ints)_mm512_permutexvar_epi32(y, line),
                         (nrw_lane_ints)_mm512_permutexvar_epi32(z, line), lanes_all(0.0f)};
    *others = (quad_lanes){(nrw_lane_ints)_mm512_shuffle_i32x4(line, line, 0x00),
                           (nrw_lane_ints)_mm512_shuffle_i32x4(line, line, 0x55),
                           (nrw_lane_ints)_mm512_shuffle_i32x4(line, line, 0xaa),
                           (nrw_lanes)_mm512_shuffle_i32x4(line, line, 0xff)};
}

/* The four lanes of particle k of these alone, 0 elsewhere. */
static inline nrw_lanes quad_lanes_keep(int k, nrw_lanes a)
{
    return _mm512_maskz_mov_ps((__mmask16)(0xfu << NRW_QUAD * k), a);
}

#elif defined(__AVX2__) && defined(__FMA__)

static inline __m256 quad_lanes_halves(const float *a, const float *b)
{
    return _mm256_insertf128_ps(_mm256_castps128_ps256(_mm_load_ps(a)), _mm_load_ps(b), 1);
}

static inline quad_lanes quad_lanes_load(const nrw_quad *quads, const uint32_t *at)
{
    const float *a = (const float *)quads + at[0], *b = (const float *)quads + at[1];
    return (quad_lanes){
        (nrw_lane_ints)quad_lanes_halves(a, b), (nrw_lane_ints)quad_lanes_halves(a + 4, b + 4),
        (nrw_lane_ints)quad_lanes_halves(a + 8, b + 8), quad_lanes_halves(a + 12, b + 12)};
}

static inline void quad_lanes_add(float *forces, const uint32_t *at, const nrw_lanes f[3])
{
    __m128 sums[2][3];
    for (int axis = 0; axis < 3; axis++) {
        sums[0][axis] = _mm_load_ps(forces + at[0] + 4 * axis) + _mm256_castps256_ps128(f[axis]);
        sums[1][axis] = _mm_load_ps(forces + at[1] + 4 * axis) + _mm256_extractf128_ps(f[axis], 1);
    }
    for (int k = 0; k < 2; k++)
        for (int axis = 0; axis < 3; axis++)
            _mm_store_ps(forces + at[k] + 4 * axis, sums[k][axis]);
}

#else

static inline quad_lanes quad_lanes_load(const nrw_quad *quads, const uint32_t *at)
{
    const nrw_quad *quad = &quads[at[0] / NRW_QUAD_FLOATS];
    return (quad_lanes){lanes_load_ints(quad->x), lanes_load_ints(quad->y),
                        lanes_load_ints(quad->z), lanes_load(quad->moment)};
}

static inline void quad_lanes_add(float *forces, const uint32_t *at, const nrw_lanes f[3])
{
    for (int axis = 0; axis < 3; axis++) {
        float *a = forces + at[0] + 4 * axis;
        lanes_store(a, lanes_load(a) + f[axis]);
    }
}

#endif

#if !(defined(__AVX512F__) && defined(__AVX512DQ__))

/* Particles first, first + 1, ... of a quad, each in four lanes, with the quad's four. */
static inline void quad_lanes_pairs(const nrw_quad *quad, int first, quad_lanes *rows,
                                    quad_lanes *others)
{
    int32_t ints[2][3][NRW_WIDTH];
    float moments[NRW_WIDTH];
    for (int lane = 0; lane < NRW_WIDTH; lane++) {
        const int r = first + lane / NRW_QUAD, k = lane % NRW_QUAD;
        ints[0][0][lane] = quad->x[r];
        ints[0][1][lane] = quad->y[r];
        ints[0][2][lane] = quad->z[r];
        ints[1][0][lane] = quad->x[k];
        ints[1][1][lane] = quad->y[k];
        ints[1][2][lane] = quad->z[k];
        moments[lane] = quad->moment[k];
    }
    *rows = (quad_lanes){lanes_load_ints(ints[0][0]), lanes_load_ints(ints[0][1]),
                         lanes_load_ints(ints[0][2]), lanes_all(0.0f)};
    *others = (quad_lanes){lanes_load_ints(ints[1][0]), lanes_load_ints(ints[1][1]),
                           lanes_load_ints(ints[1][2]), lanes_load(moments)};
}

/* The four lanes of particle k of these alone, 0 elsewhere. */
static inline nrw_lanes quad_lanes_keep(int k, nrw_lanes a)
{
    float values[NRW_WIDTH];
    lanes_store(values, a);
    for (int lane = 0; lane < NRW_WIDTH; lane++)
        values[lane] = lane / NRW_QUAD == k ? values[lane] : 0.0f;
    return lanes_load(values);
}

#endif

#endif
