#include "random.h"

#include <math.h>
#include <string.h>

#include "kernel.h"
#include "philox.h"
#include "units.h"

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

void nrw_normal_array(uint64_t seed, nrw_stream stream, uint32_t step, size_t n, float *normals)
{
    nrw_kernels_get()->normals(seed, (uint32_t)stream, step, n, normals);
}
