/* Means of places, and ways from others. */
#ifndef NRW_MEANS_H
#define NRW_MEANS_H

#include <stddef.h>

/* Means of x, y, z (n), n >= 1. Added up in four parts each, since a sum waits for each of its
 * additions; always in the same order. */
void nrw_means(size_t n, const double *x, const double *y, const double *z, double means[3]);

/* The largest square of now − before − drift (arrays of x, y, z) over [first, last). */
double nrw_farthest2(const double *const now[3], const double *const before[3],
                     const double drift[3], size_t first, size_t last);

#endif
