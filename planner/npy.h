/* NumPy's .npy files, version 1.0, of little-endian float32: a header of known
 * size, then the numbers row after row (NumPy documentation, "numpy.lib.format"). */
#ifndef NRW_NPY_H
#define NRW_NPY_H

#include <stddef.h>
#include <stdio.h>

/* Writes the header for (n_rows x n_columns) and returns its size in bytes, a
 * multiple of 64: where the numbers begin. Failures are kept by the stream. */
size_t nrw_npy_begin(FILE *file, size_t n_rows, size_t n_columns);

/* Writes n numbers. */
void nrw_npy_put(FILE *file, const double *values, size_t n);

#endif
