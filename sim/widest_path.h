/* The widest way through a channel for a disc. */
#ifndef NRW_WIDEST_PATH_H
#define NRW_WIDEST_PATH_H

#include <stddef.h>

#include "centreline.h"
#include "channel.h"
#include "error.h"
#include "scenario.h"

/* Largest distance to the walls that can be kept all the way from somewhere in
 * the circle `start` to somewhere in the circle `target`, and the place that
 * limits it (NAN and 0 distance where there is no way). A graph of the vessels'
 * centrelines (exact distances, points at most `spacing_um` apart) and a square
 * lattice of that spacing, larger where it would exceed some 400,000 nodes, whose
 * edges are used only where the discs of their ends cover them: never optimistic.
 * Best bottleneck first (Pollack 1960, Oper. Res. 8:733, by Dijkstra's method).
 * NRW_OK or NRW_NO_MEMORY; O(n log n). */
nrw_status nrw_widest_path(const nrw_channel *channel, const nrw_map *map,
                           const nrw_centreline *lines, const nrw_place *start,
                           const nrw_place *target, double spacing_um, double *distance_um,
                           double at_um[2]);

#endif
