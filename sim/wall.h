/* Walls: the channel's shape, drawn from the map's vessels (docs/channel.md). */
#ifndef NRW_WALL_H
#define NRW_WALL_H

#include "centreline.h"
#include "error.h"
#include "outline.h"
#include "scenario.h"

/* Adds the shapes of all vessels, bends and nodes to an initialised outline and
 * closes it. lines (n_vessels). joint_radius_um (n_nodes) gets the radius of the
 * whole disc at each node, 0 where there is none. NRW_OK or NRW_NO_MEMORY. */
nrw_status nrw_wall_build(const nrw_map *map, const nrw_centreline *lines, nrw_outline *outline,
                          double *joint_radius_um);

#endif
