#include <criterion/criterion.h>
#include <gsl/gsl_cdf.h>
#include <gsl/gsl_statistics_double.h>
#include <math.h>

#include "random.h"
#include "statistics.h"

/* Where only rounding stands between two forms of one value. */
#define ROUNDING 1e-12

Test(statistics, quantiles_invert_their_distributions)
{
    for (double p = 0.001; p < 1.0; p += 0.037) {
        cr_expect_float_eq(gsl_cdf_ugaussian_P(nrw_normal_quantile(p)), p, ROUNDING);
        cr_expect_float_eq(gsl_cdf_tdist_P(nrw_t_quantile(p, 7.0), 7.0), p, 1e-11);
    }
    cr_expect(isnan(nrw_normal_quantile(0.0)) && isnan(nrw_normal_quantile(1.0)));
    cr_expect(isnan(nrw_normal_quantile(NAN)) && isnan(nrw_t_quantile(0.5, 0.0)));
}

Test(statistics, expected_maximum_has_its_closed_forms)
{
    /* order statistics of the normal: 0, 1/sqrt(pi), 3/(2 sqrt(pi)) */
    cr_expect_float_eq(nrw_expected_maximum(1), 0.0, ROUNDING);
    cr_expect_float_eq(nrw_expected_maximum(2), 1.0 / sqrt(acos(-1.0)), ROUNDING);
    cr_expect_float_eq(nrw_expected_maximum(3), 1.5 / sqrt(acos(-1.0)), ROUNDING);
    cr_expect(isnan(nrw_expected_maximum(0)));
    cr_expect_gt(nrw_expected_maximum(1000000), nrw_expected_maximum(100000));
}

Test(statistics, running_moments_agree_with_two_passes)
{
    static double values[500];
    nrw_running running = {0};
    cr_expect(isnan(nrw_running_variance(&running)));
    for (uint32_t i = 0; i < 500; i++) {
        values[i] = 1e4 + nrw_uniform(1, NRW_STREAM_DRAW, i, 0);
        nrw_running_add(&running, values[i]);
        if (i == 0)
            cr_expect(isnan(nrw_running_variance(&running)), "one value has no spread");
    }
    cr_expect_float_eq(running.mean, gsl_stats_mean(values, 1, 500), 1e-11, "1e4 times rounding");
    cr_expect_float_eq(nrw_running_variance(&running), gsl_stats_variance(values, 1, 500), 1e-10);
    cr_expect_float_eq(nrw_running_standard_error(&running),
                       nrw_standard_deviation(500, values) / sqrt(500.0), 1e-10);
}

Test(statistics, wilson_limits_solve_the_score_equation)
{
    /* |k/n - p| = z sqrt(p(1-p)/n) at both limits defines the interval */
    double z = nrw_normal_quantile(0.95);
    for (int k = 0; k <= 24; k++) {
        nrw_interval w = nrw_wilson_interval(k, 24, 0.90);
        double share = k / 24.0;
        cr_expect_float_eq(share - w.low, z * sqrt(w.low * (1.0 - w.low) / 24.0), ROUNDING);
        cr_expect_float_eq(w.high - share, z * sqrt(w.high * (1.0 - w.high) / 24.0), ROUNDING);
    }
    nrw_interval none = nrw_wilson_interval(0.0, 20, 0.95),
                 all = nrw_wilson_interval(20.0, 20, 0.95);
    cr_expect_eq(none.low, 0.0);
    cr_expect_eq(all.high, 1.0);
    cr_expect_float_eq(none.high, 1.0 - all.low, ROUNDING);
}

Test(statistics, wilson_takes_sums_of_fractions)
{
    nrw_interval below = nrw_wilson_interval(15.0, 20, 0.95);
    nrw_interval between = nrw_wilson_interval(15.5, 20, 0.95);
    nrw_interval above = nrw_wilson_interval(16.0, 20, 0.95);
    cr_expect(below.low < between.low && between.low < above.low);
    cr_expect(isnan(nrw_wilson_interval(21.0, 20, 0.95).low), "more than all trials");
    cr_expect(isnan(nrw_wilson_interval(0.0, 0, 0.95).low), "no trial");
}

Test(statistics, clopper_pearson_leaves_exactly_half_the_doubt_on_each_side)
{
    const size_t trials[] = {1, 2, 8, 40, 199, 1000};
    for (size_t i = 0; i < sizeof trials / sizeof *trials; i++)
        for (size_t k = 0; k <= trials[i]; k++) {
            unsigned n = (unsigned)trials[i];
            nrw_interval c = nrw_clopper_pearson_interval(k, n, 0.95);
            if (k > 0)
                cr_expect_float_eq(gsl_cdf_binomial_Q((unsigned)k - 1, c.low, n), 0.025, 1e-9,
                                   "low of %zu/%u", k, n);
            if (k < n)
                cr_expect_float_eq(gsl_cdf_binomial_P((unsigned)k, c.high, n), 0.025, 1e-9,
                                   "high of %zu/%u", k, n);
        }
    cr_expect_eq(nrw_clopper_pearson_interval(0, 9, 0.95).low, 0.0);
    cr_expect_eq(nrw_clopper_pearson_interval(9, 9, 0.95).high, 1.0);
    cr_expect(isnan(nrw_clopper_pearson_interval(10, 9, 0.95).low));
}

Test(statistics, clopper_pearson_is_wider_than_wilson)
{
    for (size_t k = 1; k < 40; k++) {
        nrw_interval exact = nrw_clopper_pearson_interval(k, 40, 0.95);
        nrw_interval score = nrw_wilson_interval((double)k, 40, 0.95);
        cr_expect_gt(exact.high - exact.low, score.high - score.low, "k = %zu", k);
    }
}

Test(statistics, newcombe_difference_is_antisymmetric_and_holds_zero_for_equal_shares)
{
    nrw_interval ab = nrw_newcombe_interval(30, 40, 18, 35, 0.95);
    nrw_interval ba = nrw_newcombe_interval(18, 35, 30, 40, 0.95);
    cr_expect_float_eq(ab.low, -ba.high, ROUNDING);
    cr_expect_float_eq(ab.high, -ba.low, ROUNDING);
    nrw_interval same = nrw_newcombe_interval(20, 40, 20, 40, 0.95);
    cr_expect_float_eq(same.low, -same.high, ROUNDING);
    cr_expect_lt(same.low, 0.0);
}

Test(statistics, two_copies_of_one_schedule_tie)
{
    const double a[] = {0.91, 0.34, 1.0, 0.77, 0.2};
    nrw_paired tie = nrw_paired_comparison(5, a, a, 0.95);
    cr_expect_eq(tie.difference, 0.0);
    cr_expect_eq(tie.interval.low, 0.0);
    cr_expect_eq(tie.interval.high, 0.0);
    cr_expect_eq(tie.t, 0.0);
    cr_expect_eq(tie.p, 1.0);
}

Test(statistics, pairing_takes_out_what_trials_share)
{
    /* b = a - 0.1 with a spread far larger than the difference */
    double a[40], b[40];
    for (uint32_t i = 0; i < 40; i++) {
        a[i] = nrw_uniform(2, NRW_STREAM_DRAW, i, 0);
        b[i] = a[i] - 0.1 + 0.02 * (nrw_uniform(2, NRW_STREAM_DRAW, i, 1) - 0.5);
    }
    nrw_paired paired = nrw_paired_comparison(40, a, b, 0.95);
    cr_expect_gt(paired.interval.low, 0.095);
    cr_expect_lt(paired.interval.high, 0.105);
    cr_expect_lt(paired.p, 1e-9);
    nrw_paired one = nrw_paired_comparison(1, a, b, 0.95);
    cr_expect_not(isnan(one.difference));
    cr_expect(isnan(one.interval.low) && isnan(one.p));
    cr_expect(isnan(nrw_paired_comparison(0, a, b, 0.95).difference));
}

Test(statistics, equal_nonzero_differences_leave_no_doubt)
{
    const double a[] = {0.75, 0.5, 0.25}, b[] = {0.5, 0.25, 0.0};
    nrw_paired sure = nrw_paired_comparison(3, a, b, 0.95);
    cr_expect_eq(sure.interval.low, 0.25);
    cr_expect_eq(sure.interval.high, 0.25);
    cr_expect_eq(sure.p, 0.0);
}

Test(statistics, mcnemar_is_symmetric_and_silent_without_discordant_trials)
{
    nrw_mcnemar a = nrw_mcnemar_test(3, 11), b = nrw_mcnemar_test(11, 3);
    cr_expect_eq(a.chi2, b.chi2);
    cr_expect_eq(a.p_exact, b.p_exact);
    nrw_mcnemar none = nrw_mcnemar_test(0, 0), even = nrw_mcnemar_test(4, 4);
    cr_expect(none.chi2 == 0.0 && none.p_corrected == 1.0 && none.p_exact == 1.0);
    cr_expect(even.chi2 == 0.0 && even.p_exact == 1.0, "two tails overlap, but p stays 1");
    /* 5 against 0: 2/32 */
    cr_expect_float_eq(nrw_mcnemar_test(5, 0).p_exact, 0.0625, ROUNDING);
}

Test(statistics, an_autoregressive_series_counts_for_fewer)
{
    static double series[20000];
    double state = 0.0;
    for (uint32_t i = 0; i < 20000; i++) {
        double normals[4];
        nrw_normal4(3, NRW_STREAM_DRAW, i, 0, normals);
        state = 0.8 * state + normals[0];
        series[i] = state;
    }
    /* expected 20000/9 = 2222; the estimate of r has error sqrt(1 - r²)/sqrt(n) =
     * 0.004, so 2.4 % of n_eff: three times that */
    cr_expect_float_eq(nrw_effective_samples_of(20000, series), 20000.0 / 9.0, 170.0);
    for (uint32_t i = 0; i < 20000; i++)
        series[i] = nrw_uniform(3, NRW_STREAM_DRAW, i, 1);
    cr_expect_gt(nrw_effective_samples_of(20000, series), 0.95 * 20000.0);
    for (size_t i = 0; i < 20000; i++)
        series[i] = i % 2 ? 1.0 : -1.0;
    cr_expect_eq(nrw_effective_samples_of(20000, series), 20000.0, "never more than there are");
    const double constant[] = {2.0, 2.0, 2.0};
    cr_expect_eq(nrw_effective_samples_of(3, constant), 1.0);
    cr_expect(isnan(nrw_effective_samples(10, 1.0)));
}

Test(statistics, quantiles_interpolate_between_order_statistics)
{
    double values[] = {10.0, 1.0, 7.0, 3.0, 2.0, 9.0, 4.0, 8.0, 6.0, 5.0};
    /* type 7 of 1...10: 1 + 9 p */
    cr_expect_float_eq(nrw_quantile(10, values, 0.10), 1.9, ROUNDING);
    cr_expect_float_eq(nrw_quantile(10, values, 0.50), 5.5, ROUNDING);
    cr_expect_float_eq(nrw_quantile(10, values, 0.0), 1.0, 0.0);
    cr_expect_float_eq(nrw_quantile(10, values, 1.0), 10.0, 0.0);
    cr_expect_float_eq(nrw_quantile(1, values, 0.3), 1.0, 0.0);
    cr_expect(isnan(nrw_quantile(0, values, 0.5)) && isnan(nrw_quantile(3, values, 1.5)));
}

Test(statistics, trials_needed_rise_with_the_square_of_precision)
{
    size_t coarse = nrw_trials_for_share(0.5, 0.10, 0.95);
    size_t fine = nrw_trials_for_share(0.5, 0.05, 0.95);
    cr_expect_eq(coarse, 97, "96.04 rounded up");
    cr_expect(fine >= 4 * (coarse - 1) && fine <= 4 * coarse);
    cr_expect_lt(nrw_trials_for_share(0.9, 0.05, 0.95), fine);
    cr_expect_eq(nrw_trials_for_mean(0.0, 0.05, 0.95), 0, "no spread, no need");
}
