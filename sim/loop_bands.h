/* Whether a point lies inside closed polygons: segments by horizontal bands. */
#ifndef NRW_LOOP_BANDS_H
#define NRW_LOOP_BANDS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "error.h"

typedef struct nrw_loop_segment {
    double low[2], high[2]; /* ends by rising y */
} nrw_loop_segment;

typedef struct nrw_loop_bands {
    double y0_um, per_band;
    size_t n_bands;             /* 0: no polygons */
    uint32_t *starts;           /* (n_bands + 1); owned, as the next */
    nrw_loop_segment *segments; /* of band b: segments[starts[b]] ... */
} nrw_loop_bands;

/* points (firsts[n_loops]): loop i is points[firsts[i]] ... points[firsts[i + 1] - 1],
 * closed. NRW_OK or NRW_NO_MEMORY. The caller clears it, whatever was returned. */
nrw_status nrw_loop_bands_build(nrw_loop_bands *bands, const double (*points_um)[2],
                                const size_t *firsts, size_t n_loops);
void nrw_loop_bands_clear(nrw_loop_bands *bands);

/* By the parity of what a ray to the right crosses. Segments own their lower end, so
 * that corners count once. O(segments of one band). */
bool nrw_loop_bands_contain(const nrw_loop_bands *bands, double x_um, double y_um);

#endif
