#include <criterion/criterion.h>
#include <math.h>

#include "survival.h"

static nrw_survival survival_of(size_t n, const double *times, const bool *arrived)
{
    nrw_survival survival;
    cr_assert_eq(nrw_survival_init(&survival, n, times, arrived, 0.95), NRW_OK);
    return survival;
}

Test(survival, without_censoring_it_is_the_share_still_to_arrive)
{
    const double times[] = {30.0, 10.0, 40.0, 20.0, 20.0};
    const bool arrived[] = {true, true, true, true, true};
    nrw_survival s = survival_of(5, times, arrived);
    cr_assert_eq(s.n_steps, 4);
    cr_expect_eq(nrw_survival_waiting(&s, 9.9), 1.0);
    cr_expect_float_eq(nrw_survival_waiting(&s, 10.0), 0.8, 1e-15);
    cr_expect_float_eq(nrw_survival_waiting(&s, 25.0), 0.4, 1e-15);
    cr_expect_float_eq(nrw_survival_waiting(&s, 100.0), 0.0, 1e-15);
    /* Greenwood is then the binomial error sqrt(S (1 - S)/n) */
    cr_expect_float_eq(nrw_survival_standard_error(&s, 10.0), sqrt(0.8 * 0.2 / 5.0), 1e-15);
    cr_expect_float_eq(nrw_survival_standard_error(&s, 20.0), sqrt(0.4 * 0.6 / 5.0), 1e-15);
    cr_expect_eq(nrw_survival_standard_error(&s, 5.0), 0.0);
    cr_expect_eq(s.median_s, 20.0);
    nrw_survival_clear(&s);
}

Test(survival, a_trial_that_ends_when_others_arrive_counts_as_waiting)
{
    const double times[] = {10.0, 10.0, 20.0};
    const bool arrived[] = {false, true, true};
    nrw_survival s = survival_of(3, times, arrived);
    cr_assert_eq(s.n_steps, 2);
    cr_expect_eq(s.steps[0].n_waiting, 3);
    cr_expect_eq(s.steps[0].n_arrived, 1);
    cr_expect_eq(s.steps[1].n_waiting, 1);
    cr_expect_float_eq(s.steps[0].waiting, 2.0 / 3.0, 1e-15);
    nrw_survival_clear(&s);
}

Test(survival, the_median_is_unknown_when_fewer_than_half_arrive)
{
    const double times[] = {50.0, 300.0, 300.0, 300.0, 300.0};
    const bool arrived[] = {true, false, false, false, false};
    nrw_survival s = survival_of(5, times, arrived);
    cr_expect(isnan(s.median_s));
    cr_expect(isnan(s.median_limits_s.high), "no upper limit");
    nrw_survival_clear(&s);
    const bool none[] = {false, false, false, false, false};
    s = survival_of(5, times, none);
    cr_expect_eq(s.n_steps, 0);
    cr_expect(isnan(s.median_s) && isnan(s.median_limits_s.low));
    cr_expect_eq(nrw_survival_waiting(&s, 1000.0), 1.0);
    nrw_survival_clear(&s);
}

Test(survival, exactly_half_arrived_is_the_median_despite_rounding)
{
    /* 6 of 12 at six different times: the product 11/12 · 10/11 … rounds */
    double times[12];
    bool arrived[12];
    for (size_t i = 0; i < 12; i++) {
        times[i] = (double)(i + 1);
        arrived[i] = i < 6;
    }
    nrw_survival s = survival_of(12, times, arrived);
    cr_expect_eq(s.median_s, 6.0);
    nrw_survival_clear(&s);
}

Test(survival, median_limits_enclose_the_median_and_close_in)
{
    static double times[800];
    static bool arrived[800];
    double width[2];
    for (size_t k = 0; k < 2; k++) {
        size_t n = k ? 800 : 50;
        for (size_t i = 0; i < n; i++) {
            times[i] = 100.0 * ((double)i + 0.5) / (double)n;
            arrived[i] = i % 5 != 0;
        }
        nrw_survival s = survival_of(n, times, arrived);
        cr_expect(s.median_limits_s.low < s.median_s && s.median_s < s.median_limits_s.high);
        width[k] = s.median_limits_s.high - s.median_limits_s.low;
        nrw_survival_clear(&s);
    }
    /* 16 times the trials, a quarter of the width; steps of 2 s blur the first */
    cr_expect_float_eq(width[0] / width[1], 4.0, 0.8);
}

Test(survival, no_trials_give_no_steps)
{
    nrw_survival s = survival_of(0, NULL, NULL);
    cr_expect_eq(s.n_steps, 0);
    cr_expect(isnan(s.median_s));
    nrw_survival_clear(&s);
}
