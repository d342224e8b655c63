/* Vectors of floats for the kernels, one name for each instruction set.
 *
 * nrw_lanes holds NRW_WIDTH floats; + - * / work on it as on numbers. Only what
 * the compilers have no operator for is spelled out here. Included by kernel
 * sources alone. */
#ifndef NRW_LANES_H
#define NRW_LANES_H

#include <math.h>
#include <stddef.h>
#include <stdint.h>

#include "kernel_name.h"

#if defined(__AVX512F__) && defined(__AVX512DQ__)
#include <immintrin.h>

enum { NRW_WIDTH = 16 };
#define NRW_ESTIMATE(a) _mm512_rsqrt14_ps(a)
typedef __m512 nrw_lanes;
typedef __mmask16 nrw_lane_mask;

static inline nrw_lanes lanes_load(const float *p)
{
    return _mm512_loadu_ps(p);
}
static inline void lanes_store(float *p, nrw_lanes a)
{
    _mm512_storeu_ps(p, a);
}
static inline nrw_lanes lanes_all(float a)
{
    return _mm512_set1_ps(a);
}
/* Whole numbers of 16 bits; numbers are rounded to the nearest, and to the largest beyond it. */
static inline nrw_lanes lanes_load_short(const int16_t *p)
{
    const __m256i shorts = _mm256_loadu_si256((const __m256i *)(const void *)p);
    return _mm512_cvtepi32_ps(_mm512_cvtepi16_epi32(shorts));
}
static inline void lanes_store_short(int16_t *p, nrw_lanes a)
{
    _mm256_storeu_si256((__m256i *)(void *)p, _mm512_cvtsepi32_epi16(_mm512_cvtps_epi32(a)));
}
/* The upper halves of floats: cut off, never rounded up, after seven bits of the fraction. */
static inline nrw_lanes lanes_load_upper(const uint16_t *p)
{
    const __m256i halves = _mm256_loadu_si256((const __m256i *)(const void *)p);
    return _mm512_castsi512_ps(_mm512_slli_epi32(_mm512_cvtepu16_epi32(halves), 16));
}
static inline void lanes_store_upper(uint16_t *p, nrw_lanes a)
{
    const __m512i upper = _mm512_srli_epi32(_mm512_castps_si512(a), 16);
    _mm256_storeu_si256((__m256i *)(void *)p, _mm512_cvtepi32_epi16(upper));
}
static inline nrw_lanes lanes_max(nrw_lanes a, nrw_lanes b)
{
    return _mm512_max_ps(a, b);
}
static inline nrw_lanes lanes_min(nrw_lanes a, nrw_lanes b)
{
    return _mm512_min_ps(a, b);
}
static inline nrw_lanes lanes_sqrt(nrw_lanes a)
{
    return _mm512_sqrt_ps(a);
}
/* a·b + c, rounded once where the processor can */
static inline nrw_lanes lanes_fma(nrw_lanes a, nrw_lanes b, nrw_lanes c)
{
    return _mm512_fmadd_ps(a, b, c);
}
/* c − a·b */
static inline nrw_lanes lanes_less(nrw_lanes a, nrw_lanes b, nrw_lanes c)
{
    return _mm512_fnmadd_ps(a, b, c);
}
static inline nrw_lane_mask lanes_above(nrw_lanes a, nrw_lanes b)
{
    return _mm512_cmp_ps_mask(a, b, _CMP_GT_OQ);
}
/* a where the mask is set, 0 elsewhere */
static inline nrw_lanes lanes_only(nrw_lane_mask mask, nrw_lanes a)
{
    return _mm512_maskz_mov_ps(mask, a);
}
/* a where the mask is set, b elsewhere */
static inline nrw_lanes lanes_select(nrw_lane_mask mask, nrw_lanes a, nrw_lanes b)
{
    return _mm512_mask_mov_ps(b, mask, a);
}
static inline unsigned lanes_bits(nrw_lane_mask mask)
{
    return mask;
}
static inline float lanes_largest(nrw_lanes a)
{
    return _mm512_reduce_max_ps(a);
}
static inline float lanes_sum(nrw_lanes a)
{
    return _mm512_reduce_add_ps(a);
}

/* Rows of four floats, as four vectors; `index` is where each begins, 4 × its row. */
static inline void lanes_gather4(const float *rows, const uint32_t *index, nrw_lanes out[4])
{
    __m512 t[4];
    for (int k = 0; k < 4; k++) {
        __m512 a = _mm512_castps128_ps512(_mm_load_ps(rows + (size_t)index[k]));
        a = _mm512_insertf32x4(a, _mm_load_ps(rows + (size_t)index[k + 4]), 1);
        a = _mm512_insertf32x4(a, _mm_load_ps(rows + (size_t)index[k + 8]), 2);
        t[k] = _mm512_insertf32x4(a, _mm_load_ps(rows + (size_t)index[k + 12]), 3);
    }
    const __m512 low01 = _mm512_unpacklo_ps(t[0], t[1]), high01 = _mm512_unpackhi_ps(t[0], t[1]);
    const __m512 low23 = _mm512_unpacklo_ps(t[2], t[3]), high23 = _mm512_unpackhi_ps(t[2], t[3]);
    out[0] = _mm512_shuffle_ps(low01, low23, 0x44);
    out[1] = _mm512_shuffle_ps(low01, low23, 0xee);
    out[2] = _mm512_shuffle_ps(high01, high23, 0x44);
    out[3] = _mm512_shuffle_ps(high01, high23, 0xee);
}

/* The way back: four vectors as rows of four from `row` on, a multiple of NRW_WIDTH;
 * nrw_four_of says where they stand. */
static inline void lanes_scatter4(float *rows, size_t row, const nrw_lanes in[4])
{
    const __m512 low01 = _mm512_unpacklo_ps(in[0], in[1]),
                 high01 = _mm512_unpackhi_ps(in[0], in[1]);
    const __m512 low23 = _mm512_unpacklo_ps(in[2], in[3]),
                 high23 = _mm512_unpackhi_ps(in[2], in[3]);
    float *at = rows + 4 * row;
    _mm512_storeu_ps(at, _mm512_shuffle_ps(low01, low23, 0x44));
    _mm512_storeu_ps(at + 16, _mm512_shuffle_ps(low01, low23, 0xee));
    _mm512_storeu_ps(at + 32, _mm512_shuffle_ps(high01, high23, 0x44));
    _mm512_storeu_ps(at + 48, _mm512_shuffle_ps(high01, high23, 0xee));
}

#elif defined(__AVX2__) && defined(__FMA__)
#include <immintrin.h>

enum { NRW_WIDTH = 8 };
#define NRW_ESTIMATE(a) _mm256_rsqrt_ps(a)
typedef __m256 nrw_lanes;
typedef __m256 nrw_lane_mask;

static inline nrw_lanes lanes_load(const float *p)
{
    return _mm256_loadu_ps(p);
}
static inline void lanes_store(float *p, nrw_lanes a)
{
    _mm256_storeu_ps(p, a);
}
static inline nrw_lanes lanes_all(float a)
{
    return _mm256_set1_ps(a);
}
static inline nrw_lanes lanes_load_short(const int16_t *p)
{
    const __m128i shorts = _mm_loadu_si128((const __m128i *)(const void *)p);
    return _mm256_cvtepi32_ps(_mm256_cvtepi16_epi32(shorts));
}
static inline void lanes_store_short(int16_t *p, nrw_lanes a)
{
    const __m256i whole = _mm256_cvtps_epi32(a);
    _mm_storeu_si128((__m128i *)(void *)p, _mm_packs_epi32(_mm256_castsi256_si128(whole),
                                                           _mm256_extracti128_si256(whole, 1)));
}
static inline nrw_lanes lanes_load_upper(const uint16_t *p)
{
    const __m128i halves = _mm_loadu_si128((const __m128i *)(const void *)p);
    return _mm256_castsi256_ps(_mm256_slli_epi32(_mm256_cvtepu16_epi32(halves), 16));
}
static inline void lanes_store_upper(uint16_t *p, nrw_lanes a)
{
    const __m256i upper = _mm256_srli_epi32(_mm256_castps_si256(a), 16);
    _mm_storeu_si128((__m128i *)(void *)p, _mm_packus_epi32(_mm256_castsi256_si128(upper),
                                                            _mm256_extracti128_si256(upper, 1)));
}
static inline nrw_lanes lanes_max(nrw_lanes a, nrw_lanes b)
{
    return _mm256_max_ps(a, b);
}
static inline nrw_lanes lanes_min(nrw_lanes a, nrw_lanes b)
{
    return _mm256_min_ps(a, b);
}
static inline nrw_lanes lanes_sqrt(nrw_lanes a)
{
    return _mm256_sqrt_ps(a);
}
static inline nrw_lanes lanes_fma(nrw_lanes a, nrw_lanes b, nrw_lanes c)
{
    return _mm256_fmadd_ps(a, b, c);
}
static inline nrw_lanes lanes_less(nrw_lanes a, nrw_lanes b, nrw_lanes c)
{
    return _mm256_fnmadd_ps(a, b, c);
}
static inline nrw_lane_mask lanes_above(nrw_lanes a, nrw_lanes b)
{
    return _mm256_cmp_ps(a, b, _CMP_GT_OQ);
}
static inline nrw_lanes lanes_only(nrw_lane_mask mask, nrw_lanes a)
{
    return _mm256_and_ps(mask, a);
}
static inline nrw_lanes lanes_select(nrw_lane_mask mask, nrw_lanes a, nrw_lanes b)
{
    return _mm256_blendv_ps(b, a, mask);
}
static inline unsigned lanes_bits(nrw_lane_mask mask)
{
    return (unsigned)_mm256_movemask_ps(mask);
}

static inline void lanes_gather4(const float *rows, const uint32_t *index, nrw_lanes out[4])
{
    __m256 t[4];
    for (int k = 0; k < 4; k++)
        t[k] = _mm256_insertf128_ps(_mm256_castps128_ps256(_mm_load_ps(rows + (size_t)index[k])),
                                    _mm_load_ps(rows + (size_t)index[k + 4]), 1);
    const __m256 low01 = _mm256_unpacklo_ps(t[0], t[1]), high01 = _mm256_unpackhi_ps(t[0], t[1]);
    const __m256 low23 = _mm256_unpacklo_ps(t[2], t[3]), high23 = _mm256_unpackhi_ps(t[2], t[3]);
    out[0] = _mm256_shuffle_ps(low01, low23, 0x44);
    out[1] = _mm256_shuffle_ps(low01, low23, 0xee);
    out[2] = _mm256_shuffle_ps(high01, high23, 0x44);
    out[3] = _mm256_shuffle_ps(high01, high23, 0xee);
}

static inline void lanes_scatter4(float *rows, size_t row, const nrw_lanes in[4])
{
    const __m256 low01 = _mm256_unpacklo_ps(in[0], in[1]),
                 high01 = _mm256_unpackhi_ps(in[0], in[1]);
    const __m256 low23 = _mm256_unpacklo_ps(in[2], in[3]),
                 high23 = _mm256_unpackhi_ps(in[2], in[3]);
    float *at = rows + 4 * (row / 16 * 16) + row % 16;
    _mm256_storeu_ps(at, _mm256_shuffle_ps(low01, low23, 0x44));
    _mm256_storeu_ps(at + 16, _mm256_shuffle_ps(low01, low23, 0xee));
    _mm256_storeu_ps(at + 32, _mm256_shuffle_ps(high01, high23, 0x44));
    _mm256_storeu_ps(at + 48, _mm256_shuffle_ps(high01, high23, 0xee));
}

#else

/* Four lanes of the compiler's own vectors: SSE2, NEON or none at all. */
enum { NRW_WIDTH = 4 };
typedef float nrw_lanes __attribute__((vector_size(16)));
typedef int32_t nrw_lane_mask __attribute__((vector_size(16)));

static inline nrw_lanes lanes_load(const float *p)
{
    return (nrw_lanes){p[0], p[1], p[2], p[3]};
}
static inline void lanes_store(float *p, nrw_lanes a)
{
    for (int k = 0; k < 4; k++)
        p[k] = a[k];
}
static inline nrw_lanes lanes_all(float a)
{
    return (nrw_lanes){a, a, a, a};
}
static inline nrw_lanes lanes_load_short(const int16_t *p)
{
    return (nrw_lanes){(float)p[0], (float)p[1], (float)p[2], (float)p[3]};
}
static inline void lanes_store_short(int16_t *p, nrw_lanes a)
{
    for (int k = 0; k < 4; k++)
        p[k] = (int16_t)lrintf(fmaxf(fminf(a[k], 32767.0f), -32768.0f));
}
static inline nrw_lanes lanes_load_upper(const uint16_t *p)
{
    typedef uint32_t bits __attribute__((vector_size(16)));
    return (nrw_lanes)((bits){p[0], p[1], p[2], p[3]} << 16);
}
static inline void lanes_store_upper(uint16_t *p, nrw_lanes a)
{
    typedef uint32_t bits __attribute__((vector_size(16)));
    for (int k = 0; k < 4; k++)
        p[k] = (uint16_t)(((bits)a)[k] >> 16);
}
static inline nrw_lane_mask lanes_above(nrw_lanes a, nrw_lanes b)
{
    return a > b;
}
static inline nrw_lanes lanes_only(nrw_lane_mask mask, nrw_lanes a)
{
    return (nrw_lanes)(mask & (nrw_lane_mask)a);
}
static inline nrw_lanes lanes_select(nrw_lane_mask mask, nrw_lanes a, nrw_lanes b)
{
    return (nrw_lanes)((mask & (nrw_lane_mask)a) | (~mask & (nrw_lane_mask)b));
}
static inline unsigned lanes_bits(nrw_lane_mask mask)
{
    unsigned bits = 0;
    for (int k = 0; k < 4; k++)
        bits |= (unsigned)(mask[k] & 1) << k;
    return bits;
}
static inline nrw_lanes lanes_max(nrw_lanes a, nrw_lanes b)
{
    const nrw_lane_mask mask = a > b;
    return (nrw_lanes)((mask & (nrw_lane_mask)a) | (~mask & (nrw_lane_mask)b));
}
static inline nrw_lanes lanes_min(nrw_lanes a, nrw_lanes b)
{
    const nrw_lane_mask mask = a < b;
    return (nrw_lanes)((mask & (nrw_lane_mask)a) | (~mask & (nrw_lane_mask)b));
}
static inline nrw_lanes lanes_sqrt(nrw_lanes a)
{
    return (nrw_lanes){sqrtf(a[0]), sqrtf(a[1]), sqrtf(a[2]), sqrtf(a[3])};
}
static inline nrw_lanes lanes_fma(nrw_lanes a, nrw_lanes b, nrw_lanes c)
{
    return a * b + c;
}
static inline nrw_lanes lanes_less(nrw_lanes a, nrw_lanes b, nrw_lanes c)
{
    return c - a * b;
}

static inline void lanes_gather4(const float *rows, const uint32_t *index, nrw_lanes out[4])
{
    for (size_t k = 0; k < 4; k++)
        out[k] = (nrw_lanes){rows[(size_t)index[0] + k], rows[(size_t)index[1] + k],
                             rows[(size_t)index[2] + k], rows[(size_t)index[3] + k]};
}
static inline void lanes_scatter4(float *rows, size_t row, const nrw_lanes in[4])
{
    float *at = rows + 4 * (row / 16 * 16) + row % 16;
    for (int k = 0; k < 4; k++)
        for (int lane = 0; lane < 4; lane++)
            at[16 * lane + k] = in[k][lane];
}

#endif

/* 0, 1, 2, ... */
static inline nrw_lanes lanes_rising(void)
{
    static const float numbers[16] = {0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15};
    return lanes_load(numbers);
}

/* first + k for each bit k that is set, rising, into `out`, which must have room for all
 * NRW_WIDTH; their number. */
static inline size_t lanes_numbers(unsigned bits, uint32_t first, uint32_t *out)
{
#if defined(__AVX512F__) && defined(__AVX512DQ__)
    const __m512i numbers =
        _mm512_add_epi32(_mm512_set1_epi32((int)first),
                         _mm512_setr_epi32(0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15));
    _mm512_storeu_si512(out, _mm512_maskz_compress_epi32((__mmask16)bits, numbers));
    return (size_t)__builtin_popcount(bits);
#else
    size_t n = 0;
    for (; bits != 0; bits &= bits - 1)
        out[n++] = first + (uint32_t)__builtin_ctz(bits);
    return n;
#endif
}

/* 1/√a, where the processor has one from its estimate and one Newton step, which is quicker
 * than a square root and a division: from 14 bits (AVX-512) good to two units in the last
 * place, from 12 (AVX2) to four. */
#if defined(NRW_ESTIMATE)
static inline nrw_lanes lanes_rsqrt(nrw_lanes a)
{
    const nrw_lanes y = NRW_ESTIMATE(a), half = a * lanes_all(0.5f);
    return y * lanes_less(half * y, y, lanes_all(1.5f));
}
#else
static inline nrw_lanes lanes_rsqrt(nrw_lanes a)
{
    return lanes_all(1.0f) / lanes_sqrt(a);
}
#endif

/* 1/√ of the larger of each of some vectors and a least one, all going through the stages
 * together. */
static inline void lanes_rsqrt_each(nrw_lanes least, const nrw_lanes a[], const int n,
                                    nrw_lanes out[])
{
#if defined(NRW_ESTIMATE)
    nrw_lanes half[4];
    NRW_UNROLL
    for (int k = 0; k < n; k++)
        half[k] = lanes_max(a[k], least);
    NRW_UNROLL
    for (int k = 0; k < n; k++)
        out[k] = NRW_ESTIMATE(half[k]);
    NRW_UNROLL
    for (int k = 0; k < n; k++)
        half[k] = half[k] * lanes_all(0.5f);
    NRW_UNROLL
    for (int k = 0; k < n; k++)
        half[k] = half[k] * out[k];
    NRW_UNROLL
    for (int k = 0; k < n; k++)
        half[k] = lanes_less(half[k], out[k], lanes_all(1.5f));
    NRW_UNROLL
    for (int k = 0; k < n; k++)
        out[k] = out[k] * half[k];
#else
    for (int k = 0; k < n; k++)
        out[k] = lanes_rsqrt(lanes_max(a[k], least));
#endif
}

/* Sums of four vectors. */
#if defined(__AVX512F__) && defined(__AVX512DQ__)
static inline void lanes_sum4(nrw_lanes a, nrw_lanes b, nrw_lanes c, nrw_lanes d, float sums[4])
{
    const __m512 ab = _mm512_unpacklo_ps(a, b) + _mm512_unpackhi_ps(a, b);
    const __m512 cd = _mm512_unpacklo_ps(c, d) + _mm512_unpackhi_ps(c, d);
    const __m512 t = _mm512_shuffle_ps(ab, cd, 0x44) + _mm512_shuffle_ps(ab, cd, 0xee);
    const __m256 half = _mm512_castps512_ps256(t) + _mm512_extractf32x8_ps(t, 1);
    _mm_storeu_ps(sums, _mm256_castps256_ps128(half) + _mm256_extractf128_ps(half, 1));
}
#elif defined(__AVX2__) && defined(__FMA__)
static inline void lanes_sum4(nrw_lanes a, nrw_lanes b, nrw_lanes c, nrw_lanes d, float sums[4])
{
    const __m256 ab = _mm256_unpacklo_ps(a, b) + _mm256_unpackhi_ps(a, b);
    const __m256 cd = _mm256_unpacklo_ps(c, d) + _mm256_unpackhi_ps(c, d);
    const __m256 t = _mm256_shuffle_ps(ab, cd, 0x44) + _mm256_shuffle_ps(ab, cd, 0xee);
    _mm_storeu_ps(sums, _mm256_castps256_ps128(t) + _mm256_extractf128_ps(t, 1));
}
#else
static inline void lanes_sum4(nrw_lanes a, nrw_lanes b, nrw_lanes c, nrw_lanes d, float sums[4])
{
    const nrw_lanes four[4] = {a, b, c, d};
    for (int k = 0; k < 4; k++) {
        float values[NRW_WIDTH];
        lanes_store(values, four[k]);
        sums[k] = 0.0f;
        for (int lane = 0; lane < NRW_WIDTH; lane++)
            sums[k] += values[lane];
    }
}
#endif

/* Lane k of the result: the sum of vector k. */
#if defined(__AVX512F__) && defined(__AVX512DQ__)
static inline nrw_lanes lanes_sum_each(const nrw_lanes of[NRW_WIDTH])
{
    __m512 t[4]; /* each quarter: parts of the sums of four */
    for (int k = 0; k < 4; k++) {
        const __m512 a = of[4 * k], b = of[4 * k + 1], c = of[4 * k + 2], d = of[4 * k + 3];
        const __m512 ab = _mm512_unpacklo_ps(a, b) + _mm512_unpackhi_ps(a, b);
        const __m512 cd = _mm512_unpacklo_ps(c, d) + _mm512_unpackhi_ps(c, d);
        t[k] = _mm512_shuffle_ps(ab, cd, 0x44) + _mm512_shuffle_ps(ab, cd, 0xee);
    }
    const __m512 low =
        _mm512_shuffle_f32x4(t[0], t[1], 0x44) + _mm512_shuffle_f32x4(t[0], t[1], 0xee);
    const __m512 high =
        _mm512_shuffle_f32x4(t[2], t[3], 0x44) + _mm512_shuffle_f32x4(t[2], t[3], 0xee);
    return _mm512_shuffle_f32x4(low, high, 0x88) + _mm512_shuffle_f32x4(low, high, 0xdd);
}
#elif defined(__AVX2__) && defined(__FMA__)
static inline nrw_lanes lanes_sum_each(const nrw_lanes of[NRW_WIDTH])
{
    __m256 t[2]; /* each half: parts of the sums of four */
    for (int k = 0; k < 2; k++) {
        const __m256 a = of[4 * k], b = of[4 * k + 1], c = of[4 * k + 2], d = of[4 * k + 3];
        const __m256 ab = _mm256_unpacklo_ps(a, b) + _mm256_unpackhi_ps(a, b);
        const __m256 cd = _mm256_unpacklo_ps(c, d) + _mm256_unpackhi_ps(c, d);
        t[k] = _mm256_shuffle_ps(ab, cd, 0x44) + _mm256_shuffle_ps(ab, cd, 0xee);
    }
    return _mm256_permute2f128_ps(t[0], t[1], 0x20) + _mm256_permute2f128_ps(t[0], t[1], 0x31);
}
#else
static inline nrw_lanes lanes_sum_each(const nrw_lanes of[NRW_WIDTH])
{
    float sums[NRW_WIDTH];
    for (int k = 0; k < NRW_WIDTH; k++) {
        float values[NRW_WIDTH];
        lanes_store(values, of[k]);
        sums[k] = 0.0f;
        for (int lane = 0; lane < NRW_WIDTH; lane++)
            sums[k] += values[lane];
    }
    return lanes_load(sums);
}
#endif

#if !(defined(__AVX512F__) && defined(__AVX512DQ__))
static inline float lanes_largest(nrw_lanes a)
{
    float values[NRW_WIDTH];
    lanes_store(values, a);
    float largest = values[0];
    for (int k = 1; k < NRW_WIDTH; k++)
        largest = values[k] > largest ? values[k] : largest;
    return largest;
}
static inline float lanes_sum(nrw_lanes a)
{
    float values[NRW_WIDTH];
    lanes_store(values, a);
    float sum = 0.0f;
    for (int k = 0; k < NRW_WIDTH; k++)
        sum += values[k];
    return sum;
}
#endif

/* The bits of a mask that is set everywhere. */
#define LANES_ALL_BITS ((1u << NRW_WIDTH) - 1u)

/* Integers of the same width, for the bits of floats. */
typedef int32_t nrw_lane_ints __attribute__((vector_size(4 * NRW_WIDTH)));
typedef float nrw_lane_floats __attribute__((vector_size(4 * NRW_WIDTH)));

static inline nrw_lane_ints lanes_int_all(int32_t value)
{
    return value - (nrw_lane_ints){0};
}

/* Natural logarithm of normal positive numbers, error 1e-7 or one unit in the last
 * place: exponent split off, then 2 atanh((m − 1)/(m + 1)) by its series. */
static inline nrw_lanes lanes_log(nrw_lanes x)
{
    const nrw_lane_ints bits = (nrw_lane_ints)x;
    const nrw_lane_ints exponent = (bits - lanes_int_all(0x3f3504f3)) >> 23;
    const nrw_lanes m = (nrw_lanes)(bits - (exponent << 23));
    const nrw_lanes one = lanes_all(1.0f), f = m - one, s = f / (lanes_all(2.0f) + f), s2 = s * s;
    nrw_lanes series = lanes_fma(s2, lanes_all(1.0f / 9), lanes_all(1.0f / 7));
    series = lanes_fma(s2, series, lanes_all(0.2f));
    series = lanes_fma(s2, series, lanes_all(1.0f / 3));
    series = lanes_fma(s2, series, one);
    const nrw_lanes e = (nrw_lanes) __builtin_convertvector(exponent, nrw_lane_floats);
    return lanes_fma(e, lanes_all(0.693147181f), (s + s) * series);
}

/* Exponential for |x| <= 87, relative error 2e-7: 2^k by the exponent's bits, the
 * rest by its Taylor series. */
static inline nrw_lanes lanes_exp(nrw_lanes x)
{
    x = lanes_max(lanes_min(x, lanes_all(87.0f)), lanes_all(-87.0f));
    /* adding 1.5·2^23 rounds to a whole number */
    const nrw_lanes magic = lanes_all(12582912.0f);
    const nrw_lanes k = lanes_fma(x, lanes_all(1.44269504f), magic) - magic;
    nrw_lanes r = lanes_fma(k, lanes_all(-0.693359375f), x);
    r = lanes_fma(k, lanes_all(2.12194440e-4f), r);
    nrw_lanes p = lanes_fma(r, lanes_all(1.0f / 720), lanes_all(1.0f / 120));
    p = lanes_fma(r, p, lanes_all(1.0f / 24));
    p = lanes_fma(r, p, lanes_all(1.0f / 6));
    p = lanes_fma(r, p, lanes_all(0.5f));
    p = lanes_fma(r, p, lanes_all(1.0f));
    p = lanes_fma(r, p, lanes_all(1.0f));
    const nrw_lane_ints power = __builtin_convertvector((nrw_lane_floats)k, nrw_lane_ints);
    return p * (nrw_lanes)((power + lanes_int_all(127)) << 23);
}

#endif
