#include <criterion/criterion.h>

#include "peaks.h"

Test(peaks, typical_is_the_root_mean_square_of_the_groups_largest)
{
    nrw_peaks_sum sum = {0};
    nrw_peaks_add(&sum, 3.0f);
    nrw_peaks_add(&sum, 4.0f);
    const nrw_peaks two = nrw_peaks_of(&sum);
    cr_assert_float_eq(two.typical, 3.5355339f, 1e-6f); /* √12.5 */
    cr_assert_eq(two.largest, 4.0f);
}

Test(peaks, of_one_group_both_are_the_same)
{
    nrw_peaks_sum sum = {0};
    nrw_peaks_add(&sum, 0.1f);
    const nrw_peaks one = nrw_peaks_of(&sum);
    cr_assert_eq(one.typical, 0.1f);
    cr_assert_eq(one.largest, 0.1f);
}

Test(peaks, what_is_not_a_number_shows)
{
    nrw_peaks_sum sum = {0};
    nrw_peaks_add(&sum, 1.0f);
    nrw_peaks_add(&sum, NAN);
    nrw_peaks_add(&sum, 2.0f);
    cr_assert(isnan(nrw_peaks_of(&sum).typical));
}
