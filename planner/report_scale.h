/* Colour scales of heat maps (internal): perceptually even, readable in grey and by
 * the colour-blind. */
#ifndef NRW_REPORT_SCALE_H
#define NRW_REPORT_SCALE_H

#include <stdbool.h>

typedef enum nrw_scale {
    NRW_SCALE_CIVIDIS, /* Nuñez, Anderton and Renslow 2018, PLoS ONE 13:e0199239 */
    NRW_SCALE_VIRIDIS  /* van der Walt and Smith 2015 */
} nrw_scale;

/* "#rrggbb" at a share 0...1 of the scale (clamped). */
void nrw_scale_colour(nrw_scale scale, double share, char colour[8]);

/* Whether white text reads better on it than black: by relative luminance (WCAG 2,
 * section 1.4.3). */
bool nrw_scale_is_dark(const char colour[8]);

#endif
