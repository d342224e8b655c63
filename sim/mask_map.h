/* From the lines of a picture to the nodes and vessels of a map. */
#ifndef NRW_MASK_MAP_H
#define NRW_MASK_MAP_H

#include "mask.h"

/* The part of nrw_mask_extract that follows the graph; changes the graph. Nodes that
 * no name of the map claims are called "junction 1", "end 1" and so on. */
nrw_status nrw_mask_map_fill(nrw_mask_graph *graph, nrw_mask *mask, nrw_map *map, char *fault,
                             size_t size);

#endif
