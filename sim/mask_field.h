/* The fluid of a picture as a smooth field, and its outline.
 *
 * Coordinates are pixels: x to the right and y up from the outer corner of the
 * picture's bottom-left pixel, whose centre is (0.5, 0.5). Beyond the picture is
 * wall. */
#ifndef NRW_MASK_FIELD_H
#define NRW_MASK_FIELD_H

#include <stddef.h>
#include <stdint.h>

#include "error.h"
#include "mask_picture.h"

/* Fluid has levels above, wall below. */
#define NRW_MASK_LEVEL 0.5f

typedef struct nrw_mask_field {
    int x0, y0;        /* picture pixel of the field's first one; the field has a rim of
                          wall around the fluid and may reach beyond the picture */
    int width, height; /* both at least 2 rims */
    float *level;      /* (height x width) at pixel centres, bottom row first; owned */
    uint8_t *fluid;    /* (height x width) 1 or 0; owned */
    size_t n_fluid;
} nrw_mask_field;

/* Takes the pixels at least as bright as `threshold` (share of white) as fluid,
 * keeps the part that is connected (over pixel sides) to the fluid pixel nearest
 * to seed_px, and smooths the grey levels over about a pixel (binomial, variance
 * 1) without changing what is fluid: steps of slanted walls become straight lines,
 * grey edges keep their place between pixels. NRW_BAD_INPUT: nothing is fluid;
 * NRW_NO_MEMORY. O(pixels). The caller clears it. */
nrw_status nrw_mask_field_build(const nrw_picture *picture, double threshold,
                                const double seed_px[2], nrw_mask_field *field);
void nrw_mask_field_clear(nrw_mask_field *field);

/* Level between pixel centres, bilinear; 0 beyond the field. */
double nrw_mask_field_level(const nrw_mask_field *field, double x_px, double y_px);

/* Closed polygons, fluid to the left; point k of loop i is points_px[firsts[i] + k]. */
typedef struct nrw_mask_loops {
    double (*points_px)[2]; /* (firsts[n_loops]); owned, as the next */
    size_t *firsts;         /* (n_loops + 1) */
    size_t n_loops;
} nrw_mask_loops;

/* Marching squares at NRW_MASK_LEVEL (fluid pixels that touch at a corner only are
 * apart), simplified by at most `tolerance_px` (Douglas & Peucker 1973). Loops of
 * less than a pixel's area are left out. NRW_OK or NRW_NO_MEMORY. The caller clears
 * it, whatever was returned. */
nrw_status nrw_mask_loops_trace(const nrw_mask_field *field, double tolerance_px,
                                nrw_mask_loops *loops);
void nrw_mask_loops_clear(nrw_mask_loops *loops);

#endif
