/* Sampled fields in files. */
#ifndef NRW_SAMPLES_FILE_H
#define NRW_SAMPLES_FILE_H

#include <stdio.h>

#include "error.h"
#include "samples.h"

/* Opens a regular file for reading: others, such as pipes and devices, may have no end.
 * NULL: `fault` says why. The caller closes it. */
FILE *nrw_samples_open(const char *path, char *fault, size_t fault_size);

/* Reads the columns time_s, x_mT, y_mT and z_mT of a CSV file with a header line, such as
 * currents.csv; other columns are passed over, and z_mT may be missing or empty (0).
 * Times rise evenly, from anywhere. `file` is the name that is kept for writing. The
 * caller destroys *samples. NRW_BAD_INPUT: `fault` says what is wrong and in which line
 * and column; NRW_NO_MEMORY. Reads line by line; about 0.5 µs a line of ten columns. */
nrw_status nrw_samples_read_csv(const char *file, const char *path, nrw_samples **samples,
                                char *fault, size_t fault_size);

#endif
