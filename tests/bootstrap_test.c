#include <criterion/criterion.h>
#include <math.h>

#include "bootstrap.h"
#include "random.h"

enum { MOST = 160 };

/* A population like that of delivered fractions: four trials in five deliver
 * nearly all (0.8 + 0.2 u, u uniform), one in five little (0.5 u). Mean 0.8·0.9
 * + 0.2·0.25 = 0.77. */
#define POPULATION_MEAN 0.77

static void draw_population(size_t n, uint32_t repeat, double *values)
{
    for (uint32_t i = 0; i < n; i++) {
        double which = nrw_uniform(77, NRW_STREAM_DRAW, 2 * i, repeat);
        double u = nrw_uniform(77, NRW_STREAM_DRAW, 2 * i + 1, repeat);
        values[i] = which < 0.8 ? 0.8 + 0.2 * u : 0.5 * u;
    }
}

static nrw_bootstrap_config quick(nrw_bootstrap_kind kind)
{
    nrw_bootstrap_config config = nrw_bootstrap_config_defaults();
    config.kind = kind;
    config.n_resamples = 600;
    return config;
}

static nrw_interval interval_of(const nrw_bootstrap_config *config, size_t n, const double *values)
{
    nrw_interval interval;
    cr_assert_eq(nrw_bootstrap_mean(config, n, values, &interval), NRW_OK);
    return interval;
}

static double coverage(const nrw_bootstrap_config *config, size_t n, uint32_t repeats)
{
    double values[MOST];
    int held = 0;
    for (uint32_t r = 0; r < repeats; r++) {
        draw_population(n, r, values);
        nrw_interval interval = interval_of(config, n, values);
        held += interval.low <= POPULATION_MEAN && POPULATION_MEAN <= interval.high;
    }
    return held / (double)repeats;
}

Test(bootstrap, the_interval_holds_a_known_mean_in_nine_of_ten_samples)
{
    /* 300 repeats know a share of 0.95 to ± 0.013: 0.90 is four of that below. */
    nrw_bootstrap_config config = quick(NRW_BOOTSTRAP_BCA_SMALL);
    cr_expect_geq(coverage(&config, 40, 300), 0.90);
    cr_expect_geq(coverage(&config, 16, 300), 0.90);
    /* and not because it holds everything */
    config.confidence = 0.5;
    double half = coverage(&config, 40, 300);
    cr_expect(half > 0.40 && half < 0.60, "a 50 %% interval held %.2f", half);
}

Test(bootstrap, the_plain_percentile_interval_holds_less_for_few_trials)
{
    nrw_bootstrap_config plain = quick(NRW_BOOTSTRAP_PERCENTILE);
    nrw_bootstrap_config corrected = quick(NRW_BOOTSTRAP_BCA_SMALL);
    cr_expect_lt(coverage(&plain, 10, 300), coverage(&corrected, 10, 300));
}

static double mean_width(size_t n)
{
    nrw_bootstrap_config config = quick(NRW_BOOTSTRAP_BCA_SMALL);
    double values[MOST], sum = 0.0;
    for (uint32_t r = 0; r < 40; r++) {
        draw_population(n, 1000 + r, values);
        nrw_interval interval = interval_of(&config, n, values);
        sum += interval.high - interval.low;
    }
    return sum / 40.0;
}

Test(bootstrap, four_times_the_trials_halve_the_interval)
{
    /* Forty repeats know a mean width to some 5 %, and t widens the smaller
     * sample by 6 %. */
    cr_expect_float_eq(mean_width(40) / mean_width(160), 2.0, 0.25);
}

Test(bootstrap, agrees_with_students_t_where_the_mean_is_normal)
{
    double values[MOST];
    for (uint32_t i = 0; i < MOST; i++)
        values[i] = nrw_uniform(5, NRW_STREAM_DRAW, i, 0);
    nrw_bootstrap_config config = nrw_bootstrap_config_defaults();
    nrw_interval interval = interval_of(&config, MOST, values);
    double mean = nrw_mean(MOST, values);
    double half =
        nrw_t_quantile(0.975, MOST - 1.0) * nrw_standard_deviation(MOST, values) / sqrt(MOST);
    /* the quantile of 4000 resamples at 2.5 % is known to some 3 % of the half-width */
    cr_expect_float_eq(interval.low, mean - half, 0.1 * half);
    cr_expect_float_eq(interval.high, mean + half, 0.1 * half);
}

Test(bootstrap, the_same_trials_give_the_same_interval_and_another_seed_nearly_so)
{
    double values[40];
    draw_population(40, 7, values);
    nrw_bootstrap_config config = nrw_bootstrap_config_defaults();
    nrw_interval a = interval_of(&config, 40, values), b = interval_of(&config, 40, values);
    cr_expect(a.low == b.low && a.high == b.high);
    config.seed++;
    nrw_interval c = interval_of(&config, 40, values);
    cr_expect_neq(a.low, c.low);
    cr_expect_float_eq(a.low, c.low, 0.1 * (a.high - a.low));
}

Test(bootstrap, picks_every_trial_equally_often)
{
    nrw_bootstrap_config config = nrw_bootstrap_config_defaults();
    size_t counts[7] = {0};
    for (uint32_t b = 0; b < 2000; b++)
        for (uint32_t i = 0; i < 7; i++) {
            size_t k = nrw_bootstrap_pick(&config, 7, b, i);
            cr_assert_lt(k, 7);
            counts[k]++;
        }
    /* 14000 picks: 2000 ± 41 each; five times that */
    for (size_t k = 0; k < 7; k++)
        cr_expect_float_eq((double)counts[k], 2000.0, 205.0, "trial %zu: %zu", k, counts[k]);
}

Test(bootstrap, few_trials_are_enumerated_not_drawn)
{
    nrw_bootstrap_config config = nrw_bootstrap_config_defaults();
    cr_expect_eq(nrw_bootstrap_resamples(&config, 2), 4);
    cr_expect_eq(nrw_bootstrap_resamples(&config, 5), 3125);
    cr_expect_eq(nrw_bootstrap_resamples(&config, 6), 4000);
    int met[4] = {0};
    for (uint32_t b = 0; b < 4; b++)
        met[2 * nrw_bootstrap_pick(&config, 2, b, 0) + nrw_bootstrap_pick(&config, 2, b, 1)]++;
    for (size_t k = 0; k < 4; k++)
        cr_expect_eq(met[k], 1);
}

Test(bootstrap, equal_trials_leave_no_width_and_too_few_no_interval)
{
    const double equal[] = {0.9, 0.9, 0.9, 0.9, 0.9, 0.9, 0.9, 0.9}, odd[] = {0.1, NAN, 0.3};
    nrw_bootstrap_config config = nrw_bootstrap_config_defaults();
    nrw_interval interval = interval_of(&config, 8, equal);
    cr_expect_float_eq(interval.low, 0.9, 1e-15);
    cr_expect_float_eq(interval.high, 0.9, 1e-15);
    cr_expect(isnan(interval_of(&config, 1, equal).low));
    cr_expect(isnan(interval_of(&config, 0, equal).low));
    cr_expect(isnan(interval_of(&config, 3, odd).high), "a trial without figure");
}

static double tenth_percentile(size_t n, double *sample, void *context)
{
    ++*(int *)context;
    return nrw_quantile(n, sample, 0.1);
}

Test(bootstrap, takes_any_figure_of_the_trials)
{
    double values[100];
    int calls = 0;
    for (uint32_t i = 0; i < 100; i++)
        values[i] = (double)((i * 37) % 100); /* 0...99 out of order */
    nrw_bootstrap_config config = quick(NRW_BOOTSTRAP_BCA);
    nrw_interval interval;
    cr_assert_eq(nrw_bootstrap_interval(&config, 100, values, tenth_percentile, &calls, &interval),
                 NRW_OK);
    /* distribution-free limits of the 10th percentile: order statistics 5 and 17
     * of 100 (binomial), values 4 and 16 */
    cr_expect(interval.low > 2.0 && interval.low < 8.0, "low %g", interval.low);
    cr_expect(interval.high > 12.0 && interval.high < 19.0, "high %g", interval.high);
    cr_expect_eq(calls, 600 + 1 + 100, "resamples, the trials themselves, each left out once");
    cr_expect_eq(values[1], 37.0, "the trials keep their order");
}

Test(bootstrap, fractions_that_all_agree_still_allow_for_one_more_trial)
{
    const nrw_bootstrap_config config = nrw_bootstrap_config_defaults();
    const double all[8] = {1, 1, 1, 1, 1, 1, 1, 1}, none[8] = {0};
    nrw_interval interval;
    cr_assert_eq(nrw_bootstrap_fraction(&config, 8, all, &interval), NRW_OK);
    /* by hand: 8 of 9 */
    cr_expect_float_eq(interval.low, 8.0 / 9.0, 1e-15);
    cr_expect_eq(interval.high, 1.0);
    cr_assert_eq(nrw_bootstrap_fraction(&config, 8, none, &interval), NRW_OK);
    cr_expect_eq(interval.low, 0.0);
    cr_expect_float_eq(interval.high, 1.0 / 9.0, 1e-15);
    cr_assert_eq(nrw_bootstrap_fraction(&config, 1, all, &interval), NRW_OK);
    cr_expect_float_eq(interval.low, 0.5, 1e-15);
}
