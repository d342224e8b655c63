#include <criterion/criterion.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include "npy.h"

Test(npy, header_is_as_numpy_describes_it_and_numbers_follow)
{
    FILE *file = tmpfile();
    const double values[6] = {1.0, -2.5, 0.1, 1e-3, 0.0, 8.0};
    const size_t offset = nrw_npy_begin(file, 2, 3);
    nrw_npy_put(file, values, 6);
    unsigned char bytes[200];
    rewind(file);
    const size_t size = fread(bytes, 1, sizeof bytes, file);
    fclose(file);
    cr_assert_eq(offset % 64, 0);
    cr_assert_eq(size, offset + 6 * 4);
    cr_assert_eq(memcmp(bytes, "\x93NUMPY\x01\x00", 8), 0);
    cr_assert_eq(bytes[8] + 256u * bytes[9] + 10u, offset);
    cr_assert_eq(bytes[offset - 1], '\n');
    bytes[offset - 1] = '\0';
    cr_assert_not_null(strstr((const char *)bytes + 10, "'descr': '<f4'"));
    cr_assert_not_null(strstr((const char *)bytes + 10, "'shape': (2, 3)"));
    for (int i = 0; i < 6; i++) {
        const unsigned char *b = &bytes[offset + 4 * (size_t)i];
        const uint32_t bits =
            b[0] | (uint32_t)b[1] << 8 | (uint32_t)b[2] << 16 | (uint32_t)b[3] << 24;
        float value;
        memcpy(&value, &bits, sizeof value);
        cr_assert_float_eq(value, values[i], 1e-7);
    }
}
