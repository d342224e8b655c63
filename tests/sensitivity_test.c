#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "random.h"
#include "sensitivity.h"

enum { MOST = 600 };

static double parameters[MOST * 4], figure[MOST];

static void draw_parameters(size_t n, size_t p, uint64_t seed)
{
    for (uint32_t i = 0; i < n; i++)
        for (uint32_t j = 0; j < p; j++)
            parameters[i * p + j] = nrw_uniform(seed, NRW_STREAM_DRAW, i, j);
}

static double noise(uint32_t i)
{
    double normals[4];
    nrw_normal4(9, NRW_STREAM_DRAW, i, 0, normals);
    return normals[0];
}

static double measure(size_t n, size_t p, nrw_sensitivity *results)
{
    nrw_bootstrap_config config = nrw_bootstrap_config_defaults();
    config.n_resamples = 300;
    double explained;
    cr_assert_eq(nrw_sensitivity_measure(&config, n, p, parameters, figure, results, &explained),
                 NRW_OK);
    return explained;
}

Test(sensitivity, of_a_linear_model_follows_its_coefficients)
{
    draw_parameters(400, 3, 1);
    for (uint32_t i = 0; i < 400; i++)
        figure[i] = 3.0 * parameters[3 * i] - parameters[3 * i + 1];
    nrw_sensitivity s[3];
    double explained = measure(400, 3, s);
    /* Equal variances: 3/sqrt(10), -1/sqrt(10), 0; ranks bend the line by a few
     * percent, and 400 trials know a correlation to 1/sqrt(400). */
    cr_expect_float_eq(s[0].rank_coefficient, 3.0 / sqrt(10.0), 0.05);
    cr_expect_float_eq(s[1].rank_coefficient, -1.0 / sqrt(10.0), 0.05);
    cr_expect_float_eq(s[2].rank_coefficient, 0.0, 0.05);
    cr_expect_gt(explained, 0.95);
    cr_expect(s[0].rank_interval.low < s[0].rank_coefficient &&
              s[0].rank_coefficient < s[0].rank_interval.high);
    cr_expect_gt(s[0].rank_interval.low, 0.85);
    cr_expect_lt(s[1].rank_interval.high, -0.2);
    cr_expect(s[2].rank_interval.low < 0.0 && s[2].rank_interval.high > 0.0);
    /* shares of variance 0.9, 0.1, 0; the slices of the small ones hold 20 trials
     * of the large one's scatter */
    cr_expect_float_eq(s[0].first_order, 0.9, 0.05);
    cr_expect_float_eq(s[1].first_order, 0.1, 0.1);
    cr_expect_float_eq(s[2].first_order, 0.0, 0.1);
    cr_expect(s[0].first_order_interval.low > 0.8 && s[0].first_order_interval.high <= 1.0);
}

Test(sensitivity, any_rising_law_has_the_same_rank_coefficient)
{
    draw_parameters(200, 1, 2);
    nrw_sensitivity straight, bent;
    for (size_t i = 0; i < 200; i++)
        figure[i] = parameters[i];
    measure(200, 1, &straight);
    for (size_t i = 0; i < 200; i++)
        figure[i] = exp(20.0 * parameters[i]);
    measure(200, 1, &bent);
    cr_expect_float_eq(straight.rank_coefficient, 1.0, 1e-12);
    cr_expect_float_eq(bent.rank_coefficient, 1.0, 1e-12);
}

Test(sensitivity, first_order_sees_an_optimum_that_ranks_miss)
{
    draw_parameters(600, 2, 3);
    for (uint32_t i = 0; i < 600; i++) {
        double from_best = parameters[2 * i] - 0.5;
        figure[i] = 1.0 - 4.0 * from_best * from_best;
    }
    nrw_sensitivity s[2];
    double explained = measure(600, 2, s);
    cr_expect_lt(explained, 0.05);
    cr_expect_float_eq(s[0].rank_coefficient, 0.0, 0.15);
    cr_expect_gt(s[0].first_order, 0.9);
    cr_expect_lt(s[1].first_order, 0.1);
}

Test(sensitivity, noise_takes_its_share_of_the_variance)
{
    draw_parameters(600, 2, 4);
    for (uint32_t i = 0; i < 600; i++)
        figure[i] = parameters[2 * i] + noise(i) / sqrt(12.0); /* equal variances */
    nrw_sensitivity s[2];
    measure(600, 2, s);
    /* 600 trials know a share of one half to some 0.03 */
    cr_expect_float_eq(s[0].first_order, 0.5, 0.1);
    cr_expect(s[0].first_order_interval.low < 0.5 && s[0].first_order_interval.high > 0.5);
}

Test(sensitivity, what_does_not_vary_has_no_coefficient)
{
    draw_parameters(60, 2, 5);
    for (uint32_t i = 0; i < 60; i++) {
        parameters[2 * i + 1] = 1.0;
        figure[i] = parameters[2 * i];
    }
    nrw_sensitivity s[2];
    measure(60, 2, s);
    cr_expect_float_eq(s[0].rank_coefficient, 1.0, 1e-12);
    cr_expect(isnan(s[1].rank_coefficient) && isnan(s[1].first_order));
    cr_expect(isnan(s[1].rank_interval.low));
    for (size_t i = 0; i < 60; i++)
        figure[i] = 0.85;
    double explained = measure(60, 2, s);
    cr_expect(isnan(explained) && isnan(s[0].rank_coefficient));
}

Test(sensitivity, parameters_that_move_together_share_the_credit)
{
    draw_parameters(100, 2, 6);
    for (uint32_t i = 0; i < 100; i++) {
        parameters[2 * i + 1] = parameters[2 * i];
        figure[i] = parameters[2 * i];
    }
    nrw_sensitivity s[2];
    double explained = measure(100, 2, s);
    /* least norm solution of a singular system: half each, never a huge +/- pair */
    cr_expect_float_eq(s[0].rank_coefficient, 0.5, 1e-9);
    cr_expect_float_eq(s[1].rank_coefficient, 0.5, 1e-9);
    cr_expect_float_eq(explained, 1.0, 1e-9);
}

Test(sensitivity, too_few_trials_say_nothing)
{
    draw_parameters(7, 1, 7);
    memcpy(figure, parameters, sizeof figure);
    nrw_sensitivity s;
    double explained = measure(7, 1, &s);
    cr_expect(isnan(s.rank_coefficient) && isnan(explained));
}

static const char *const names[] = {"magnetic moment", "viscosity", "rolling factor"};

Test(sensitivity, says_what_to_measure_first)
{
    draw_parameters(80, 3, 8);
    for (uint32_t i = 0; i < 80; i++)
        figure[i] = 2.0 * parameters[3 * i + 2] - parameters[3 * i + 1] + 0.2 * noise(i);
    nrw_sensitivity s[3];
    double explained = measure(80, 3, s);
    char text[1000];
    nrw_sensitivity_say(80, 3, names, "delivered fraction", s, explained, text, sizeof text);
    cr_expect_eq(strstr(text, "Measure the rolling factor first (a higher value raises the "
                              "delivered fraction;"),
                 text, "%s", text);
    const char *then = strstr(text, "Then the viscosity (a higher value lowers");
    cr_expect_not_null(then, "%s", text);
    cr_expect_null(strstr(text, "magnetic moment"), "%s", text);
}

Test(sensitivity, admits_that_nothing_stands_out)
{
    draw_parameters(40, 3, 10);
    for (uint32_t i = 0; i < 40; i++)
        figure[i] = noise(i);
    nrw_sensitivity s[3];
    double explained = measure(40, 3, s);
    char text[1000], tiny[10];
    nrw_sensitivity_say(40, 3, names, "delivered fraction", s, explained, text, sizeof text);
    cr_expect_eq(strstr(text, "No uncertain parameter stands out in 40 trials"), text, "%s", text);
    nrw_sensitivity_say(40, 3, names, "delivered fraction", s, explained, tiny, sizeof tiny);
    cr_expect_str_eq(tiny, "No uncert");
}
