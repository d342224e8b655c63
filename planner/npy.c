#include "npy.h"

#include <stdint.h>
#include <string.h>

#define PREAMBLE 10 /* magic, version, length of the text */
#define ALIGNMENT 64

size_t nrw_npy_begin(FILE *file, size_t n_rows, size_t n_columns)
{
    char text[256];
    int length = snprintf(text, sizeof text,
                          "{'descr': '<f4', 'fortran_order': False, 'shape': (%zu, %zu), }", n_rows,
                          n_columns);
    const size_t used = PREAMBLE + (size_t)length + 1;
    const size_t size = (used + ALIGNMENT - 1) / ALIGNMENT * ALIGNMENT;
    const size_t text_size = size - PREAMBLE;
    const unsigned char preamble[PREAMBLE] = {0x93,
                                              'N',
                                              'U',
                                              'M',
                                              'P',
                                              'Y',
                                              1,
                                              0,
                                              (unsigned char)(text_size & 0xFF),
                                              (unsigned char)(text_size >> 8)};
    (void)fwrite(preamble, 1, PREAMBLE, file);
    (void)fwrite(text, 1, (size_t)length, file);
    for (size_t i = used; i < size; i++)
        (void)fputc(' ', file);
    (void)fputc('\n', file);
    return size;
}

void nrw_npy_put(FILE *file, const double *values, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        const float value = (float)values[i];
        uint32_t bits;
        memcpy(&bits, &value, sizeof bits);
        const unsigned char bytes[4] = {
            (unsigned char)(bits & 0xFF), (unsigned char)(bits >> 8 & 0xFF),
            (unsigned char)(bits >> 16 & 0xFF), (unsigned char)(bits >> 24)};
        (void)fwrite(bytes, 1, sizeof bytes, file);
    }
}
