/* Random numbers: known answers, the wide generator against the scalar one, and
 * statistics with fixed seeds (bounds of five standard errors). */
#include <criterion/criterion.h>
#include <gsl/gsl_cdf.h>
#include <math.h>
#include <string.h>

#include "random.h"

/* Known answers of the Random123 distribution, release 1.14 (Salmon et al. 2011). */
Test(random, philox_gives_the_known_answers)
{
    static const uint32_t rows[3][10] = {
        {0, 0, 0, 0, 0, 0, 0x6627e8d5, 0xe169c58d, 0xbc57ac4c, 0x9b00dbd8},
        {0xffffffff, 0xffffffff, 0xffffffff, 0xffffffff, 0xffffffff, 0xffffffff, 0x408f276d,
         0x41c83b0e, 0xa20bc7c6, 0x6d5451fd},
        {0x243f6a88, 0x85a308d3, 0x13198a2e, 0x03707344, 0xa4093822, 0x299f31d0, 0xd16cfe09,
         0x94fdcceb, 0x5001e420, 0x24126ea1},
    };
    for (int i = 0; i < 3; i++) {
        uint32_t words[4];
        nrw_philox(rows[i], rows[i] + 4, words);
        cr_assert_eq(memcmp(words, rows[i] + 6, sizeof words), 0, "vector %d", i);
    }
}

enum { COUNT = 50000 };
static float wide[4 * COUNT];

Test(random, wide_normals_agree_with_scalar_ones)
{
    const size_t n = 20000 + 7; /* not a multiple of the lanes */
    nrw_normal_array(UINT64_C(0x123456789abcdef), NRW_STREAM_NOISE, 77, n, wide);
    for (size_t i = 0; i < n; i++) {
        double normals[4];
        nrw_normal4(UINT64_C(0x123456789abcdef), NRW_STREAM_NOISE, (uint32_t)i, 77, normals);
        for (size_t k = 0; k < 4; k++)
            cr_assert_float_eq((double)wide[4 * i + k], normals[k], 2e-6, "row %zu", i);
    }
}

Test(random, wide_normals_do_not_depend_on_how_many_are_asked_for)
{
    float few[4 * 37 + 1];
    few[4 * 37] = 42.0f;
    nrw_normal_array(5, NRW_STREAM_SPIN, 3, 1000, wide);
    nrw_normal_array(5, NRW_STREAM_SPIN, 3, 37, few);
    cr_assert_eq(memcmp(few, wide, 4 * 37 * sizeof *few), 0);
    cr_assert_eq(few[4 * 37], 42.0f, "wrote past the end");
}

static double correlation(const float *a, size_t a_step, const float *b, size_t b_step, size_t n)
{
    double sum = 0;
    for (size_t i = 0; i < n; i++)
        sum += (double)a[i * a_step] * (double)b[i * b_step];
    return sum / (double)n;
}

Test(random, normals_have_the_moments_of_a_normal)
{
    const double n = 4.0 * COUNT;
    nrw_normal_array(1, NRW_STREAM_NOISE, 0, COUNT, wide);
    double moments[5] = {0}, beyond_3 = 0;
    for (size_t i = 0; i < 4 * COUNT; i++) {
        double x = (double)wide[i];
        moments[1] += x / n;
        moments[2] += x * x / n;
        moments[3] += x * x * x / n;
        moments[4] += x * x * x * x / n;
        beyond_3 += fabs(x) > 3 ? 1 / n : 0;
    }
    cr_assert_float_eq(moments[1], 0, 5 * sqrt(1 / n));
    cr_assert_float_eq(moments[2], 1, 5 * sqrt(2 / n));
    cr_assert_float_eq(moments[3], 0, 5 * sqrt(15 / n));
    cr_assert_float_eq(moments[4], 3, 5 * sqrt(96 / n));
    double tail = 2 * gsl_cdf_ugaussian_Q(3);
    cr_assert_float_eq(beyond_3, tail, 5 * sqrt(tail / n));
}

Test(random, normals_fill_the_bell_evenly)
{
    enum { BINS = 100 };
    double counts[BINS] = {0}, expected = 4.0 * COUNT / BINS, chi2 = 0;
    nrw_normal_array(2, NRW_STREAM_NOISE, 0, COUNT, wide);
    for (size_t i = 0; i < 4 * COUNT; i++)
        counts[(int)(BINS * gsl_cdf_ugaussian_P((double)wide[i]))] += 1;
    for (int i = 0; i < BINS; i++)
        chi2 += (counts[i] - expected) * (counts[i] - expected) / expected;
    double chance = gsl_cdf_chisq_Q(chi2, BINS - 1);
    cr_assert(chance > 1e-4 && chance < 1 - 1e-4, "chi² %g, chance %g", chi2, chance);
}

Test(random, parts_of_a_block_neighbours_steps_streams_and_seeds_are_independent)
{
    static float next_step[4 * COUNT], other_stream[4 * COUNT], other_seed[4 * COUNT];
    const double bound = 5 / sqrt(COUNT);
    nrw_normal_array(3, NRW_STREAM_NOISE, 8, COUNT, wide);
    nrw_normal_array(3, NRW_STREAM_NOISE, 9, COUNT, next_step);
    nrw_normal_array(3, NRW_STREAM_SPIN, 8, COUNT, other_stream);
    nrw_normal_array(4, NRW_STREAM_NOISE, 8, COUNT, other_seed);
    for (int k = 0; k < 4; k++) {
        for (int l = 0; l < k; l++)
            cr_assert_float_eq(correlation(wide + k, 4, wide + l, 4, COUNT), 0, bound);
        for (int l = 0; l < 4; l++) {
            cr_assert_float_eq(correlation(wide + 4 + k, 4, wide + l, 4, COUNT - 1), 0, bound);
            cr_assert_float_eq(correlation(wide + k, 4, next_step + l, 4, COUNT), 0, bound);
            cr_assert_float_eq(correlation(wide + k, 4, other_stream + l, 4, COUNT), 0, bound);
            cr_assert_float_eq(correlation(wide + k, 4, other_seed + l, 4, COUNT), 0, bound);
        }
    }
}

Test(random, uniforms_are_flat_and_never_reach_the_ends)
{
    enum { BINS = 64 };
    double counts[BINS] = {0}, chi2 = 0, expected = (double)COUNT / BINS;
    for (uint32_t i = 0; i < COUNT; i++) {
        double u = nrw_uniform(6, NRW_STREAM_START, i, 0);
        cr_assert(u > 0 && u < 1);
        counts[(int)(BINS * u)] += 1;
    }
    for (int i = 0; i < BINS; i++)
        chi2 += (counts[i] - expected) * (counts[i] - expected) / expected;
    double chance = gsl_cdf_chisq_Q(chi2, BINS - 1);
    cr_assert(chance > 1e-4 && chance < 1 - 1e-4, "chi² %g, chance %g", chi2, chance);
}
