/* Maps from pictures: white is fluid (contract section 2; docs/channel.md).
 *
 * The walls are the picture's outline; nodes, vessels and widths are extracted from
 * it, and the scenario's own nodes join them. */
#ifndef NRW_MASK_H
#define NRW_MASK_H

#include <stdbool.h>
#include <stddef.h>

#include "error.h"
#include "mask_graph.h"
#include "mask_picture.h"
#include "scenario.h"

/* How the picture lies on the map: mirrored first, within its own frame; then
 * scaled; then turned anticlockwise about the outer corner of its bottom-left pixel,
 * which lies at the origin. */
typedef struct nrw_mask_frame {
    int width_px, height_px;
    double pixel_um;
    double origin_um[2];
    bool flip_x, flip_y; /* left and right, top and bottom change places */
    double rotate_deg;
} nrw_mask_frame;

void nrw_mask_to_um(const nrw_mask_frame *frame, const double at_px[2], double at_um[2]);
void nrw_mask_to_px(const nrw_mask_frame *frame, const double at_um[2], double at_px[2]);

typedef struct nrw_mask {
    nrw_mask_frame frame;
    double threshold;       /* share of white from which on a pixel is fluid */
    double (*points_um)[2]; /* outline as closed loops, fluid to the left (outline.h); owned,
                               as all below */
    size_t *firsts;
    size_t n_loops;
    double *joint_radius_um; /* (n_nodes of the map) largest disc where three vessels or
                                more meet, 0 elsewhere */
    char *file;              /* path of the picture */
    char *bytes;             /* the file's, for the copy in the results folder */
    size_t n_bytes;
    char sha256[65]; /* of the bytes */
} nrw_mask;

/* What to extract a map for. */
typedef struct nrw_mask_request {
    nrw_mask_frame frame; /* sizes are taken from the picture */
    double threshold;     /* 0...1 */
    double release_um[2]; /* the fluid that is connected to it is the map */
} nrw_mask_request;

/* Fills a map that has its own nodes (or none) and no vessels: appends nodes where
 * lines end or meet, and the vessels; map->mask gets the mask, without file and
 * bytes. A node of the map within two pixels or a tenth of the width of the
 * extracted centreline, whichever is more, is put on it (the line is led through its
 * place); others stay beside it, without vessels. At an inlet or outlet the rest of
 * the line toward a free end, up to 1.5 widths, is cut off. `fault` (size) gets what
 * is wrong with the picture. NRW_OK, NRW_BAD_INPUT or NRW_NO_MEMORY; the map is
 * then still to be destroyed as before. */
nrw_status nrw_mask_extract(const nrw_picture *picture, const nrw_mask_request *request,
                            nrw_map *map, char *fault, size_t size);

void nrw_mask_destroy(nrw_mask *mask);

#endif
