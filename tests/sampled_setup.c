#include "sampled_setup.h"

#include <criterion/criterion.h>
#include <stdlib.h>

nrw_samples *sampled_copy(const nrw_field *field, double rate_Hz, size_t n)
{
    float(*field_mT)[3] = malloc(n * sizeof *field_mT);
    cr_assert_not_null(field_mT);
    for (size_t k = 0; k < n; k++) {
        const nrw_vec3 b =
            nrw_field_at(field, 2.0 * NRW_PI * field->frequency_Hz * (double)k / rate_Hz);
        field_mT[k][0] = (float)b.x;
        field_mT[k][1] = (float)b.y;
        field_mT[k][2] = (float)b.z;
    }
    nrw_samples *samples = nrw_samples_create("copy.csv", "copy.csv", rate_Hz, n, field_mT);
    cr_assert_not_null(samples);
    return samples;
}
