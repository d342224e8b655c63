/* Area covered by discs: the silhouette of particles seen from above. */
#ifndef NRW_DISC_UNION_H
#define NRW_DISC_UNION_H

#include <stdbool.h>
#include <stddef.h>

#include "cell_grid.h"

/* Area in µm² of the union of n discs (n <= grid->capacity) at finite x, y (n)
 * µm with radii (n) µm > 0; covered ground counts once, however many lie over
 * it. Exact up to rounding: Green's theorem over the arcs of the outline,
 * 2A = sum of r²(b - a) + r x (sin b - sin a) - r y (cos b - cos a).
 *
 * The grid and arc_begins, arc_ends (2n + 1 each) are the caller's scratch.
 * O(n k log k) with k discs over each other. */
double nrw_disc_union_area_um2(nrw_cell_grid *grid, size_t n, const double *x_um,
                               const double *y_um, const double *radius_um, double *arc_begins,
                               double *arc_ends);

/* Whether the union surely covers enough_um2: the discs' areas less what pairs share,
 * at most (Bonferroni's inequality), over as many discs as it takes. False says
 * nothing. O(k²) for the k discs looked at. */
bool nrw_disc_union_reaches(size_t n, const double *x_um, const double *y_um,
                            const double *radius_um, double enough_um2);

#endif
