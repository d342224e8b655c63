#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "statistics.h"
#include "trial.h"

static const nrw_uncertainty example = {0.1, 0.05, 0.4, 0.3}; /* contract section 2 */

enum { N = 1024 };
static nrw_trial trials[N], again[N];

static void draw(const nrw_uncertainty *uncertainty, uint64_t seed, nrw_trial_family family,
                 size_t first, size_t n, nrw_trial *into)
{
    cr_assert_eq(nrw_trials_draw(uncertainty, seed, family, first, n, into), NRW_OK);
}

static bool same(const nrw_trial *a, const nrw_trial *b)
{
    return a->index == b->index && a->seed == b->seed && a->draw.moment == b->draw.moment &&
           a->draw.viscosity == b->draw.viscosity && a->draw.rolling == b->draw.rolling &&
           a->draw.pair_flow == b->draw.pair_flow;
}

Test(trial, can_be_redone_alone_and_does_not_depend_on_how_many_there_are)
{
    draw(&example, 1, NRW_TRIALS_ESTIMATE, 0, N, trials);
    for (size_t k = 0; k < 100; k++) {
        draw(&example, 1, NRW_TRIALS_ESTIMATE, k, 1, again);
        cr_expect(same(&trials[k], &again[0]), "trial %zu", k);
    }
    draw(&example, 1, NRW_TRIALS_ESTIMATE, 37, 50, again);
    for (size_t k = 0; k < 50; k++)
        cr_expect(same(&trials[37 + k], &again[k]));
}

Test(trial, seeds_and_families_share_nothing)
{
    draw(&example, 1, NRW_TRIALS_ESTIMATE, 0, N, trials);
    draw(&example, 2, NRW_TRIALS_ESTIMATE, 0, N, again);
    for (size_t k = 0; k < N; k++)
        cr_expect(trials[k].seed != again[k].seed &&
                  trials[k].draw.rolling != again[k].draw.rolling);
    draw(&example, 1, NRW_TRIALS_VERIFY, 0, N, again);
    for (size_t k = 0; k < N; k++)
        cr_expect(trials[k].seed != again[k].seed &&
                  trials[k].draw.rolling != again[k].draw.rolling);
}

static int compare_seeds(const void *a, const void *b)
{
    uint64_t x = *(const uint64_t *)a, y = *(const uint64_t *)b;
    return (x > y) - (x < y);
}

Test(trial, run_seeds_differ_and_survive_a_double)
{
    static uint64_t seeds[2 * N];
    draw(&example, 1, NRW_TRIALS_ESTIMATE, 0, N, trials);
    draw(&example, 1, NRW_TRIALS_SEARCH, 0, N, again);
    for (size_t k = 0; k < N; k++) {
        seeds[k] = trials[k].seed;
        seeds[N + k] = again[k].seed;
    }
    qsort(seeds, 2 * N, sizeof *seeds, compare_seeds);
    for (size_t k = 0; k < 2 * N; k++) {
        cr_expect_lt(seeds[k], (uint64_t)1 << 53);
        cr_expect(k == 0 || seeds[k] != seeds[k - 1]);
    }
}

Test(trial, factors_have_mean_one_and_the_given_spread)
{
    const double cvs[NRW_N_DRAWN] = {0.1, 0.05, 0.4, 0.3};
    draw(&example, 3, NRW_TRIALS_ESTIMATE, 0, N, trials);
    for (int j = 0; j < NRW_N_DRAWN; j++) {
        nrw_running running = {0};
        for (size_t k = 0; k < N; k++)
            nrw_running_add(&running, nrw_drawn_factor(&trials[k].draw, j));
        /* Stratified draws know the mean to about a tenth of the cv/sqrt(1024) of
         * independent ones; the spread misses a little of the tails. */
        cr_expect_float_eq(running.mean, 1.0, 0.25 * cvs[j] / sqrt(N), "mean of %s",
                           nrw_drawn_key(j));
        cr_expect_float_eq(sqrt(nrw_running_variance(&running)), cvs[j], 0.02 * cvs[j],
                           "spread of %s", nrw_drawn_key(j));
    }
}

/* Range of equal probability (of n) in which a factor lies. */
static size_t stratum(double factor, double cv, size_t n)
{
    double variance = log1p(cv * cv);
    double z = (log(factor) + 0.5 * variance) / sqrt(variance);
    return (size_t)(0.5 * erfc(-z / sqrt(2.0)) * (double)n);
}

Test(trial, the_first_power_of_two_puts_one_draw_into_each_equal_range)
{
    const double cvs[NRW_N_DRAWN] = {0.1, 0.05, 0.4, 0.3};
    for (size_t n = 2; n <= 64; n *= 2) {
        draw(&example, 4, NRW_TRIALS_ESTIMATE, 0, n, trials);
        for (int j = 0; j < NRW_N_DRAWN; j++) {
            bool met[64] = {false};
            for (size_t k = 0; k < n; k++) {
                size_t s = stratum(nrw_drawn_factor(&trials[k].draw, j), cvs[j], n);
                cr_expect(s < n && !met[s], "%s, trial %zu of %zu", nrw_drawn_key(j), k, n);
                if (s < n)
                    met[s] = true;
            }
        }
    }
}

Test(trial, each_trial_by_itself_has_the_stated_distribution)
{
    /* Trial 5 over 1000 seeds: probabilities uniform, so log factors normal. */
    nrw_running running = {0};
    double lows = 0.0;
    for (uint64_t seed = 0; seed < 1000; seed++) {
        draw(&example, seed, NRW_TRIALS_ESTIMATE, 5, 1, trials);
        nrw_running_add(&running, trials[0].draw.rolling);
        lows += stratum(trials[0].draw.rolling, 0.4, 10) == 0;
    }
    /* three standard errors: 0.4/sqrt(1000), and sqrt(1000·0.1·0.9) */
    cr_expect_float_eq(running.mean, 1.0, 0.038);
    cr_expect_float_eq(lows, 100.0, 29.0);
}

Test(trial, parameters_are_drawn_independently)
{
    draw(&example, 6, NRW_TRIALS_ESTIMATE, 0, N, trials);
    for (int a = 0; a < NRW_N_DRAWN; a++)
        for (int b = 0; b < a; b++) {
            double sum = 0.0;
            for (size_t k = 0; k < N; k++)
                sum += (nrw_drawn_factor(&trials[k].draw, a) - 1.0) *
                       (nrw_drawn_factor(&trials[k].draw, b) - 1.0);
            const double cvs[NRW_N_DRAWN] = {0.1, 0.05, 0.4, 0.3};
            double correlation = sum / N / (cvs[a] * cvs[b]);
            cr_expect_float_eq(correlation, 0.0, 3.0 / sqrt(N), "%s and %s", nrw_drawn_key(a),
                               nrw_drawn_key(b));
        }
}

Test(trial, without_uncertainty_every_factor_is_exactly_one)
{
    const nrw_uncertainty none = {0.0, 0.0, 0.0, 0.0};
    draw(&none, 1, NRW_TRIALS_ESTIMATE, 0, 50, trials);
    for (size_t k = 0; k < 50; k++)
        for (int j = 0; j < NRW_N_DRAWN; j++)
            cr_expect_eq(nrw_drawn_factor(&trials[k].draw, j), 1.0);
}

Test(trial, one_parameters_draw_ignores_the_others_spread)
{
    const nrw_uncertainty rolling_only = {0.0, 0.0, 0.4, 0.0};
    draw(&example, 1, NRW_TRIALS_ESTIMATE, 0, 50, trials);
    draw(&rolling_only, 1, NRW_TRIALS_ESTIMATE, 0, 50, again);
    for (size_t k = 0; k < 50; k++) {
        cr_expect_eq(trials[k].draw.rolling, again[k].draw.rolling);
        cr_expect_eq(trials[k].seed, again[k].seed);
    }
}

Test(trial, lognormal_factors_have_their_median_below_the_mean)
{
    /* median exp(-σ²/2) = 1/sqrt(1 + cv²) */
    cr_expect_float_eq(nrw_lognormal_factor(0.4, 0.5), 1.0 / sqrt(1.16), 1e-14);
    cr_expect_eq(nrw_lognormal_factor(0.0, 0.9), 1.0);
    cr_expect_gt(nrw_lognormal_factor(0.4, 1e-12), 0.0);
}

Test(trial, drawn_parameters_have_keys_and_names)
{
    cr_expect_str_eq(nrw_drawn_key(2), "rolling");
    cr_expect_str_eq(nrw_drawn_name(2), "rolling factor");
    const nrw_draw d = {1.0, 2.0, 3.0, 4.0};
    for (int j = 0; j < NRW_N_DRAWN; j++)
        cr_expect_eq(nrw_drawn_factor(&d, j), j + 1.0);
}
