/* Statistics against published and textbook values. The row's id stands beside
 * each check with its source; tolerances are the table's: values are printed
 * with ten digits, so absolute 1e-9 (or relative, where given) is the most that
 * can be asked. */
#include <criterion/criterion.h>
#include <math.h>

#include "bootstrap.h"
#include "random.h"
#include "sensitivity.h"
#include "statistics.h"
#include "survival.h"

static void expect_within(const char *id, double got, double value, double tolerance)
{
    cr_expect_float_eq(got, value, tolerance, "%s: %.12g against %.12g", id, got, value);
}

/* Standard tables. */
Test(external_statistics, quantiles_of_normal_and_t)
{
    expect_within("STA-01", nrw_normal_quantile(0.975), 1.959963985, 1e-9);
    expect_within("STA-02", nrw_t_quantile(0.975, 9.0), 2.262157163, 1e-8);
}

/* Wilson 1927, JASA 22:209; Clopper & Pearson 1934, Biometrika 26:404; the data
 * 81/263, 15/148, 0/20 and 1/29 from Newcombe 1998, Stat. Med. 17:857, Table I. */
static const struct {
    const char *ids[3];
    size_t k, n;
    double wilson_high, exact_low, exact_high;
} shares[] = {
    {{"STA-03-8-10-hi", "STA-04-8-10-lo", "STA-04-8-10-hi"},
     8,
     10,
     0.9433178485,
     0.4439045377,
     0.9747892737},
    {{"STA-03-81-263-hi", "STA-04-81-263-lo", "STA-04-81-263-hi"},
     81,
     263,
     0.366209577,
     0.2527367456,
     0.3676219226},
    {{"STA-03-15-148-hi", "STA-04-15-148-lo", "STA-04-15-148-hi"},
     15,
     148,
     0.1604872417,
     0.05784401008,
     0.1616504903},
    {{"STA-03-0-20-hi", "STA-04-0-20-lo", "STA-04-0-20-hi"}, 0, 20, 0.1611251581, 0.0, 0.168433471},
    {{"STA-03-1-29-hi", "STA-04-1-29-lo", "STA-04-1-29-hi"},
     1,
     29,
     0.1717552188,
     0.0008726468836,
     0.1776442955},
    {{"STA-03-23-60-hi", "STA-04-23-60-lo", "STA-04-23-60-hi"},
     23,
     60,
     0.5098240418,
     0.260707058,
     0.5178850486},
    {{"STA-03-20-20-hi", "STA-04-20-20-lo", "STA-04-20-20-hi"}, 20, 20, 1.0, 0.831566529, 1.0},
};

Test(external_statistics, intervals_of_a_share)
{
    for (size_t i = 0; i < sizeof shares / sizeof *shares; i++) {
        nrw_interval wilson = nrw_wilson_interval((double)shares[i].k, shares[i].n, 0.95);
        nrw_interval exact = nrw_clopper_pearson_interval(shares[i].k, shares[i].n, 0.95);
        expect_within(shares[i].ids[0], wilson.high, shares[i].wilson_high, 1e-9);
        expect_within(shares[i].ids[1], exact.low, shares[i].exact_low, 1e-9);
        expect_within(shares[i].ids[2], exact.high, shares[i].exact_high, 1e-9);
    }
}

/* Newcombe 1998, Stat. Med. 17:857, Table I, method 3, lower limits as published
 * with four decimals (from memory). */
Test(external_statistics, lower_wilson_limits_as_published)
{
    expect_within("81/263", nrw_wilson_interval(81.0, 263, 0.95).low, 0.2553, 5e-5);
    expect_within("15/148", nrw_wilson_interval(15.0, 148, 0.95).low, 0.0624, 5e-5);
    expect_within("0/20", nrw_wilson_interval(0.0, 20, 0.95).low, 0.0, 0.0);
    expect_within("1/29", nrw_wilson_interval(1.0, 29, 0.95).low, 0.0061, 5e-5);
}

/* Standard formulas. */
Test(external_statistics, sample_sizes)
{
    cr_expect_eq(nrw_trials_for_share(0.5, 0.05, 0.95), 385, "STA-06");
    cr_expect_eq(nrw_trials_for_mean(0.2, 0.05, 0.95), 62, "STA-07");
}

/* 6-MP arm of Freireich et al. 1963, Blood 21:699: weeks of remission, + still in
 * it. */
static const double weeks[] = {6,  6,  6,  6,  7,  9,  10, 10, 11, 13, 16,
                               17, 19, 20, 22, 23, 25, 32, 32, 34, 35};
static const bool relapsed[] = {1, 1, 1, 0, 1, 0, 1, 0, 0, 1, 1, 0, 0, 0, 1, 1, 0, 0, 0, 0, 0};
enum { N_WEEKS = sizeof weeks / sizeof *weeks };

Test(external_statistics, kaplan_meier_of_the_6_mp_arm)
{
    nrw_survival s;
    cr_assert_eq(nrw_survival_init(&s, N_WEEKS, weeks, relapsed, 0.95), NRW_OK);
    expect_within("STA-08-6", nrw_survival_waiting(&s, 6.0), 0.8571428571, 1e-9);
    expect_within("STA-08-10", nrw_survival_waiting(&s, 10.0), 0.7529411765, 1e-9);
    expect_within("STA-08-13", nrw_survival_waiting(&s, 13.0), 0.6901960784, 1e-9);
    expect_within("STA-08-16", nrw_survival_waiting(&s, 16.0), 0.6274509804, 1e-9);
    expect_within("STA-08-23", nrw_survival_waiting(&s, 23.0), 0.4481792717, 1e-9);
    /* Greenwood 1926 */
    expect_within("STA-09", nrw_survival_standard_error(&s, 6.0), 0.07636035483, 1e-9);
    cr_expect_eq(s.median_s, 23.0, "STA-10");
    /* limits on the log(-log) scale as statistics packages print them for these
     * data: 13 to none (from memory) */
    cr_expect_eq(s.median_limits_s.low, 13.0);
    cr_expect(isnan(s.median_limits_s.high));
    nrw_survival_clear(&s);
}

/* Student 1908, Biometrika 6:1: extra hours of sleep. */
static const double sleep_1[] = {0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0};
static const double sleep_2[] = {1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4};

Test(external_statistics, paired_t_of_the_sleep_data)
{
    nrw_paired paired = nrw_paired_comparison(10, sleep_1, sleep_2, 0.95);
    expect_within("STA-12", paired.t, -4.062127683, 1e-9 * 4.1);
    expect_within("STA-13", paired.p, 0.002832890197, 1e-7 * 0.0028);
    expect_within("STA-14", paired.interval.low, -2.459885763, 1e-8 * 2.5);
    expect_within("mean of differences", paired.difference, -1.58, 1e-12);
    /* symmetric about the mean */
    expect_within("high", paired.interval.high, -3.16 + 2.459885763, 1e-8 * 2.5);
}

static double mean_figure(size_t n, double *sample, void *context)
{
    (void)context;
    return nrw_mean(n, sample);
}

/* Enumeration of 27 resamples. */
Test(external_statistics, full_bootstrap_of_three_values)
{
    const double values[] = {1.0, 2.0, 6.0};
    double replicates[27];
    nrw_bootstrap_config config = nrw_bootstrap_config_defaults();
    cr_assert_eq(nrw_bootstrap_resamples(&config, 3), 27);
    cr_assert_eq(nrw_bootstrap_replicates(&config, 3, values, mean_figure, NULL, replicates),
                 NRW_OK);
    int n_low = 0;
    for (size_t b = 0; b < 27; b++)
        n_low += replicates[b] <= 2.0 + 1e-12;
    cr_expect_eq(n_low, 8, "STA-16: 8/27 = 0.2962962963");
    /* and drawn at random: 26 resamples are too few to enumerate 27, so take many
     * seeds of 26; 10400 draws know a share of 0.3 to 0.0045, four times that */
    config.n_resamples = 26;
    int n_drawn_low = 0;
    for (config.seed = 0; config.seed < 400; config.seed++) {
        cr_assert_eq(nrw_bootstrap_replicates(&config, 3, values, mean_figure, NULL, replicates),
                     NRW_OK);
        for (size_t b = 0; b < 26; b++)
            n_drawn_low += replicates[b] <= 2.0 + 1e-12;
    }
    expect_within("STA-16, drawn", n_drawn_low / 10400.0, 8.0 / 27.0, 0.018);
}

static double plug_in_variance(size_t n, double *sample, void *context)
{
    (void)context;
    double mean = nrw_mean(n, sample), sum = 0.0;
    for (size_t i = 0; i < n; i++)
        sum += (sample[i] - mean) * (sample[i] - mean);
    return sum / (double)n;
}

/* Efron & Tibshirani 1993, An Introduction to the Bootstrap, Table 14.1 (spatial
 * test data A) and 14.2: variance 171.5, 90 % intervals from 2000 resamples:
 * percentile 100.8 to 233.9, BCa 115.8 to 259.6 (from memory; the variance
 * confirms the data). Quantiles of 2000 resamples at 5 % wander by some 2 %. */
Test(external_statistics, bca_interval_of_the_spatial_test_data)
{
    const double scores[] = {48, 36, 20, 29, 42, 42, 20, 42, 22, 41, 45, 14, 6,
                             0,  33, 28, 34, 4,  32, 24, 47, 41, 24, 26, 30, 41};
    double copy[26];
    for (size_t i = 0; i < 26; i++)
        copy[i] = scores[i];
    expect_within("variance", plug_in_variance(26, copy, NULL), 171.5, 0.05);
    nrw_bootstrap_config config = nrw_bootstrap_config_defaults();
    config.confidence = 0.90;
    nrw_interval interval;
    config.kind = NRW_BOOTSTRAP_PERCENTILE;
    cr_assert_eq(nrw_bootstrap_interval(&config, 26, scores, plug_in_variance, NULL, &interval),
                 NRW_OK);
    expect_within("percentile low", interval.low, 100.8, 5.0);
    expect_within("percentile high", interval.high, 233.9, 5.0);
    config.kind = NRW_BOOTSTRAP_BCA;
    cr_assert_eq(nrw_bootstrap_interval(&config, 26, scores, plug_in_variance, NULL, &interval),
                 NRW_OK);
    expect_within("BCa low", interval.low, 115.8, 5.0);
    expect_within("BCa high", interval.high, 259.6, 8.0);
}

/* McNemar 1947; Edwards 1948; the binomial. */
Test(external_statistics, mcnemar_of_15_against_5)
{
    nrw_mcnemar test = nrw_mcnemar_test(15, 5);
    expect_within("STA-17", test.chi2, 4.05, 1e-10 * 4.05);
    expect_within("STA-18", test.p_exact, 0.04138946533, 1e-8 * 0.0414);
}

/* Newcombe 1998, Stat. Med. 17:873, method 10 (published 0.0524, from memory). */
Test(external_statistics, difference_of_two_shares)
{
    expect_within("STA-20", nrw_newcombe_interval(56, 70, 48, 80, 0.95).low, 0.0524314724, 1e-8);
}

/* The classic cancellation test. */
Test(external_statistics, running_variance_on_a_large_offset)
{
    const double offsets[] = {4.0, 7.0, 13.0, 16.0};
    nrw_running running = {0};
    for (size_t i = 0; i < 4; i++)
        nrw_running_add(&running, 1e9 + offsets[i]);
    expect_within("STA-21", nrw_running_variance(&running), 30.0, 1e-9 * 30.0);
}

/* Standard formula. */
Test(external_statistics, effective_samples_of_an_autoregressive_series)
{
    expect_within("STA-22", nrw_effective_samples(1000, 0.9), 52.63157895, 1e-10 * 53.0 + 5e-9);
}

/* Identity. */
Test(external_statistics, standard_error_of_a_mean_of_25)
{
    /* 25 values of deviation exactly 1: twelve pairs ±sqrt(24/24) and a 0 */
    nrw_running running = {0};
    nrw_running_add(&running, 0.0);
    for (int i = 0; i < 12; i++) {
        nrw_running_add(&running, 1.0);
        nrw_running_add(&running, -1.0);
    }
    expect_within("OPT-08, sigma", sqrt(nrw_running_variance(&running)), 1.0, 1e-12);
    expect_within("OPT-08", nrw_running_standard_error(&running), 0.2, 1e-9 * 0.2);
}

/* Tippett 1925, Biometrika 17:364 (1.53875). */
Test(external_statistics, expected_largest_of_ten_normals)
{
    expect_within("OPT-09", nrw_expected_maximum(10), 1.538752731, 1e-6 * 1.54);
}

/* Ishigami & Homma 1990 with a = 7, b = 0.1: first-order indices from the
 * variances (1 + b π⁴/5)²/2, a²/8 and 0 over their sum with 8 b² π⁸/225:
 * 0.3139, 0.4424, 0. Slices see 3000 trials to about 0.02. */
Test(external_statistics, first_order_indices_of_the_ishigami_function)
{
    enum { N = 3000 };
    static double x[N * 3], y[N];
    const double pi = acos(-1.0);
    for (uint32_t i = 0; i < N; i++) {
        double *row = x + 3 * i;
        for (uint32_t j = 0; j < 3; j++)
            row[j] = pi * (2.0 * nrw_uniform(12, NRW_STREAM_DRAW, i, j) - 1.0);
        y[i] = sin(row[0]) + 7.0 * sin(row[1]) * sin(row[1]) + 0.1 * pow(row[2], 4) * sin(row[0]);
    }
    nrw_bootstrap_config config = nrw_bootstrap_config_defaults();
    config.n_resamples = 100;
    nrw_sensitivity s[3];
    double explained;
    cr_assert_eq(nrw_sensitivity_measure(&config, N, 3, x, y, s, &explained), NRW_OK);
    expect_within("Ishigami x1", s[0].first_order, 0.3139, 0.04);
    expect_within("Ishigami x2", s[1].first_order, 0.4424, 0.04);
    expect_within("Ishigami x3", s[2].first_order, 0.0, 0.04);
    cr_expect(s[1].first_order_interval.low < 0.4424 && s[1].first_order_interval.high > 0.4424);
}
