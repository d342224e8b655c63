/* Means of places, against sums in extended precision, and the largest way. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdint.h>

#include "means.h"

enum { MOST = 1003 };

static double at[3][MOST], before[3][MOST];

static double uniform(uint64_t *state)
{
    *state = *state * 6364136223846793005u + 1442695040888963407u;
    return (double)(*state >> 11) * 0x1p-53;
}

static void scatter(void)
{
    uint64_t state = 5;
    for (int axis = 0; axis < 3; axis++)
        for (size_t i = 0; i < MOST; i++) {
            at[axis][i] = 1e5 * (axis + 1) + 300.0 * uniform(&state);
            before[axis][i] = at[axis][i] - uniform(&state);
        }
}

Test(means, they_are_the_means_for_any_number)
{
    scatter();
    for (size_t n = 1; n <= MOST; n += n < 10 ? 1 : 331) {
        double means[3];
        nrw_means(n, at[0], at[1], at[2], means);
        for (int axis = 0; axis < 3; axis++) {
            long double sum = 0.0L;
            for (size_t i = 0; i < n; i++)
                sum += (long double)at[axis][i];
            /* n additions, each good to 1.1e-16 */
            cr_assert_float_eq(means[axis], (double)(sum / (long double)n), 1e-8);
        }
    }
}

Test(means, the_farthest_is_the_one_that_went_farthest_against_the_drift)
{
    const double *const now[3] = {at[0], at[1], at[2]};
    const double *const then[3] = {before[0], before[1], before[2]};
    const double drift[3] = {0.5, 0.25, 0.75};
    scatter();
    for (size_t first = 0; first < MOST; first += 97) {
        const size_t last = first + first % 7 + 1 < MOST ? first + first % 7 + 1 : MOST;
        double largest = 0.0;
        for (size_t i = first; i < last; i++) {
            double square = 0.0;
            for (int axis = 0; axis < 3; axis++)
                square += pow(at[axis][i] - before[axis][i] - drift[axis], 2.0);
            largest = fmax(largest, square);
        }
        cr_assert_float_eq(nrw_farthest2(now, then, drift, first, last), largest, 1e-15);
    }
    cr_assert_eq(nrw_farthest2(now, then, drift, 3, 3), 0.0);
}
