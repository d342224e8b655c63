/* Counter-based random numbers: a pure function of (seed, stream, particle,
 * step), so that results do not depend on the order of work or on threads.
 * Philox 4x32-10: Salmon et al. 2011, SC'11. */
#ifndef NRW_RANDOM_H
#define NRW_RANDOM_H

#include <stddef.h>
#include <stdint.h>

/* Streams keep the uses apart. */
typedef enum nrw_stream {
    NRW_STREAM_START,    /* start positions, sizes, moments */
    NRW_STREAM_NOISE,    /* translational Brownian motion */
    NRW_STREAM_SPIN,     /* rotational Brownian motion */
    NRW_STREAM_IMAGING,  /* observed centroid */
    NRW_STREAM_DRAW,     /* uncertain parameters of a trial */
    NRW_STREAM_SEARCH,   /* the planner's candidates */
    NRW_STREAM_RESAMPLE, /* bootstrap resamples of trials */
    NRW_STREAM_DRIFT,    /* the random finite difference of doublets' mobility */
    NRW_STREAM_STICK     /* sticking to side walls */
} nrw_stream;

/* Four 32-bit words for a 128-bit counter and 64-bit key. */
void nrw_philox(const uint32_t counter[4], const uint32_t key[2], uint32_t words[4]);

/* Uniform in (0, 1), never 0 or 1, with 52 bits. */
double nrw_uniform(uint64_t seed, nrw_stream stream, uint32_t index, uint32_t step);

/* Four independent standard normals (Box-Muller 1958 on one Philox block);
 * |normal| <= 6.66. About 0.1 µs. */
void nrw_normal4(uint64_t seed, nrw_stream stream, uint32_t index, uint32_t step,
                 double normals[4]);

/* Normals of n particles for one step: normals (n x 4), row i holds
 * nrw_normal4(seed, stream, i, step) in single precision, to within 2e-6
 * absolute. Branch-free so that compilers vectorise it: about 11 ns a particle
 * with SSE2, 7 ns with AVX2. Same bits for any vector width. */
void nrw_normal_array(uint64_t seed, nrw_stream stream, uint32_t step, size_t n, float *normals);

#endif
