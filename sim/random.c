#include "random.h"

#include <math.h>
#include <string.h>

#include "units.h"

/* Philox constants: Salmon et al. 2011, section 3.3. */
#define PHILOX_M0 UINT32_C(0xD2511F53)
#define PHILOX_M1 UINT32_C(0xCD9E8D57)
#define PHILOX_W0 UINT32_C(0x9E3779B9)
#define PHILOX_W1 UINT32_C(0xBB67AE85)
enum { PHILOX_ROUNDS = 10 };

void nrw_philox(const uint32_t counter[4], const uint32_t key[2], uint32_t words[4])
{
    uint32_t x0 = counter[0], x1 = counter[1], x2 = counter[2], x3 = counter[3];
    uint32_t k0 = key[0], k1 = key[1];
    for (int round = 0; round < PHILOX_ROUNDS; round++) {
        uint64_t p0 = (uint64_t)PHILOX_M0 * x0, p1 = (uint64_t)PHILOX_M1 * x2;
        x0 = (uint32_t)(p1 >> 32) ^ x1 ^ k0;
        x1 = (uint32_t)p1;
        x2 = (uint32_t)(p0 >> 32) ^ x3 ^ k1;
        x3 = (uint32_t)p0;
        k0 += PHILOX_W0;
        k1 += PHILOX_W1;
    }
    words[0] = x0;
    words[1] = x1;
    words[2] = x2;
    words[3] = x3;
}

static void block_words(uint64_t seed, nrw_stream stream, uint32_t index, uint32_t step,
                        uint32_t words[4])
{
    const uint32_t counter[4] = {index, step, (uint32_t)stream, 0};
    const uint32_t key[2] = {(uint32_t)seed, (uint32_t)(seed >> 32)};
    nrw_philox(counter, key, words);
}

double nrw_uniform(uint64_t seed, nrw_stream stream, uint32_t index, uint32_t step)
{
    uint32_t words[4];
    block_words(seed, stream, index, step, words);
    uint64_t bits = ((uint64_t)words[0] << 20) | (words[1] >> 12);
    return ((double)bits + 0.5) * 0x1p-52;
}

/* Box-Muller from two words: the radius takes u = (w >> 1, + ½)/2^31; the angle
 * is a quadrant (top two bits) and a signed part of it in [-π/4, π/4). */
static void normal_pair(uint32_t radius_word, uint32_t angle_word, double pair[2])
{
    double u = ((double)(radius_word >> 1) + 0.5) * 0x1p-31;
    double part = (double)(int32_t)(angle_word << 2) * 0x1p-31;
    double angle = (NRW_PI / 2) * ((double)(angle_word >> 30) + 0.5 * part);
    double radius = sqrt(-2.0 * log(u));
    pair[0] = radius * cos(angle);
    pair[1] = radius * sin(angle);
}

void nrw_normal4(uint64_t seed, nrw_stream stream, uint32_t index, uint32_t step, double normals[4])
{
    uint32_t words[4];
    block_words(seed, stream, index, step, words);
    normal_pair(words[0], words[1], normals);
    normal_pair(words[2], words[3], normals + 2);
}

/* The wide twin of nrw_normal4: LANES blocks side by side, constant trip counts
 * and no branches, so that the loops vectorise at -O2. */
enum { LANES = 32 };

static void philox_lanes(const uint32_t key[2], uint32_t stream, uint32_t step, uint32_t first,
                         uint32_t words[4][LANES])
{
    for (uint32_t i = 0; i < LANES; i++) {
        words[0][i] = first + i;
        words[1][i] = step;
        words[2][i] = stream;
        words[3][i] = 0;
    }
    uint32_t k0 = key[0], k1 = key[1];
    for (int round = 0; round < PHILOX_ROUNDS; round++) {
        for (int i = 0; i < LANES; i++) {
            uint64_t p0 = (uint64_t)PHILOX_M0 * words[0][i];
            uint64_t p1 = (uint64_t)PHILOX_M1 * words[2][i];
            words[0][i] = (uint32_t)(p1 >> 32) ^ words[1][i] ^ k0;
            words[1][i] = (uint32_t)p1;
            words[2][i] = (uint32_t)(p0 >> 32) ^ words[3][i] ^ k1;
            words[3][i] = (uint32_t)p0;
        }
        k0 += PHILOX_W0;
        k1 += PHILOX_W1;
    }
}

/* sqrt(-2 ln u), u = (w >> 1, + ½)/2^31. ln by splitting off the exponent and
 * 2·atanh(s), s = (m - 1)/(m + 1), |s| < 0.172: five terms reach 1e-9. u goes in
 * two parts, high + low, so that m - 1 keeps its digits near u = 1. */
static void radius_lanes(const uint32_t words[LANES], float radii[LANES])
{
    const int32_t half_sqrt = 0x3f3504f3; /* bits of sqrt(½) */
    for (int i = 0; i < LANES; i++) {
        float high = (float)(int32_t)(words[i] >> 9) * 0x1p-23f;
        float low = ((float)(int32_t)((words[i] >> 1) & 255u) + 0.5f) * 0x1p-31f;
        float u = high + low, scale;
        int32_t bits;
        memcpy(&bits, &u, sizeof bits);
        int32_t exponent = (bits - half_sqrt) >> 23;
        int32_t scale_bits = (127 - exponent) << 23; /* 2^-exponent */
        memcpy(&scale, &scale_bits, sizeof scale);
        float difference = (high * scale - 1.0f) + low * scale;
        float s = difference / (2.0f + difference), s2 = s * s;
        float series = 1.0f + s2 * (1.0f / 3 + s2 * (0.2f + s2 * (1.0f / 7 + s2 * (1.0f / 9))));
        float ln = (float)exponent * 0.693147181f + 2.0f * s * series;
        radii[i] = sqrtf(-2.0f * ln);
    }
}

/* Cosine and sine of the angle of normal_pair, by Taylor series in the part of
 * the quadrant (|x| <= π/4, error 2e-9) and a turn by quadrants. */
static void angle_lanes(const uint32_t words[LANES], float cosines[LANES], float sines[LANES])
{
    for (int i = 0; i < LANES; i++) {
        float x = (float)(int32_t)(words[i] << 2) * (float)(NRW_PI / 4 * 0x1p-31);
        float x2 = x * x;
        float s =
            x * (1.0f +
                 x2 * (-1.0f / 6 + x2 * (1.0f / 120 + x2 * (-1.0f / 5040 + x2 * (1.0f / 362880)))));
        float c =
            1.0f +
            x2 * (-0.5f + x2 * (1.0f / 24 +
                                x2 * (-1.0f / 720 + x2 * (1.0f / 40320 + x2 * (-1.0f / 3628800)))));
        uint32_t quadrant = words[i] >> 30;
        float a = (quadrant & 1u) ? s : c, b = (quadrant & 1u) ? c : s;
        float sign_a = (float)(1 - (int32_t)((quadrant + 1u) & 2u));
        float sign_b = (float)(1 - (int32_t)(quadrant & 2u));
        cosines[i] = sign_a * a;
        sines[i] = sign_b * b;
    }
}

void nrw_normal_array(uint64_t seed, nrw_stream stream, uint32_t step, size_t n, float *normals)
{
    const uint32_t key[2] = {(uint32_t)seed, (uint32_t)(seed >> 32)};
    for (size_t first = 0; first < n; first += LANES) {
        uint32_t words[4][LANES];
        float radii[2][LANES], cosines[2][LANES], sines[2][LANES];
        float rows[LANES][4];
        philox_lanes(key, (uint32_t)stream, step, (uint32_t)first, words);
        for (size_t pair = 0; pair < 2; pair++) {
            radius_lanes(words[2 * pair], radii[pair]);
            angle_lanes(words[2 * pair + 1], cosines[pair], sines[pair]);
        }
        for (int i = 0; i < LANES; i++) {
            rows[i][0] = radii[0][i] * cosines[0][i];
            rows[i][1] = radii[0][i] * sines[0][i];
            rows[i][2] = radii[1][i] * cosines[1][i];
            rows[i][3] = radii[1][i] * sines[1][i];
        }
        size_t count = n - first < LANES ? n - first : LANES;
        memcpy(normals + 4 * first, rows, count * sizeof rows[0]);
    }
}
