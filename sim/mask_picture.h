/* Grey pictures: PGM (plain and raw, 8 and 16 bits) and PNG. */
#ifndef NRW_MASK_PICTURE_H
#define NRW_MASK_PICTURE_H

#include <stddef.h>
#include <stdint.h>

#include "error.h"

/* Pixels of a side, and of the whole picture. */
#define NRW_PICTURE_SIDE_MAX 16384
#define NRW_PICTURE_PIXELS_MAX 16777216 /* 4096 x 4096 */

typedef struct nrw_picture {
    int width, height;
    uint16_t *grey; /* (height x width), bottom row first; 65535 is white; owned */
} nrw_picture;

/* Takes a picture apart. Colours become grey, transparent parts black. `fault`
 * (of `size` bytes) gets what is wrong with it. NRW_OK, NRW_BAD_INPUT (no such
 * picture, damaged, too large) or NRW_NO_MEMORY. The caller clears it. */
nrw_status nrw_picture_parse(const void *bytes, size_t n_bytes, nrw_picture *picture, char *fault,
                             size_t size);
void nrw_picture_clear(nrw_picture *picture);

#endif
