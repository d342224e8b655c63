/* Skeleton of the fluid pixels: lines one pixel wide along the middle of every
 * branch. */
#ifndef NRW_MASK_SKELETON_H
#define NRW_MASK_SKELETON_H

#include <stdint.h>

#include "error.h"
#include "mask_field.h"

typedef struct nrw_mask_skeleton {
    uint8_t *line;      /* (height x width of the field) 1 on the skeleton; owned */
    float *distance_px; /* (height x width) from pixel centres to the nearest wall pixel's
                           centre, 0 in the wall; owned */
} nrw_mask_skeleton;

/* Exact distances (Felzenszwalb & Huttenlocher 2012, Theory Comput. 8:415), then
 * thinning in their order, nearest to the wall first (Pudney 1998, Comput. Vis.
 * Image Underst. 72:404): a pixel goes if the fluid stays connected over pixel sides
 * without it, and as it was around islands (Yokoi, Toriwaki & Fukumura 1975). Ends of
 * lines stay where the walls' nearest points, as seen from there, lie farther apart
 * than the distance to them: corners of less than 120 degrees, and ends of vessels.
 * NRW_OK or NRW_NO_MEMORY. O(pixels). The caller clears it, whatever was returned. */
nrw_status nrw_mask_skeleton_build(const nrw_mask_field *field, nrw_mask_skeleton *skeleton);
void nrw_mask_skeleton_clear(nrw_mask_skeleton *skeleton);

#endif
