/* The wide twin of nrw_normal4; compiled once per instruction set with
 * NRW_KERNEL_SUFFIX set. LANES blocks side by side, constant trip counts and no
 * branches, so that the loops vectorise. Same bits for any vector width: no sum
 * crosses lanes, and nothing is contracted. */
#include <math.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include "kernel.h"
#include "kernel_name.h"
#include "philox.h"
#include "units.h"

nrw_normals_kernel NRW_KERNEL(nrw_normals_);

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

void NRW_KERNEL(nrw_normals_)(uint64_t seed, uint32_t stream, uint32_t step, size_t n,
                              float *normals)
{
    const uint32_t key[2] = {(uint32_t)seed, (uint32_t)(seed >> 32)};
    for (size_t first = 0; first < n; first += LANES) {
        uint32_t words[4][LANES];
        float radii[2][LANES], cosines[2][LANES], sines[2][LANES];
        float rows[LANES][4];
        philox_lanes(key, stream, step, (uint32_t)first, words);
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
