/* The centreline of one vessel, with its width along it. */
#ifndef NRW_CENTRELINE_H
#define NRW_CENTRELINE_H

#include <stddef.h>

#include "error.h"
#include "scenario.h"

/* Points closer than this along a centreline are one point, µm. */
#define NRW_CENTRELINE_SAME_UM 1e-6

/* A point where the direction or the slope of the width changes. Where the
 * width jumps, two points share one place: the width before and after. */
typedef struct nrw_centre_point {
    double at_um[2];
    double s_um;     /* length along the vessel from its start */
    double width_um; /* measured across the centreline, linear in between */
    double along[2]; /* unit direction of the piece that starts here; at the last
                        point that of the last piece */
} nrw_centre_point;

typedef struct nrw_centreline {
    nrw_centre_point *points; /* (n_points >= 2), s never decreasing; owned */
    size_t n_points;
    double length_um;
} nrw_centreline;

/* Nearest point of a centreline to a place. */
typedef struct nrw_foot {
    double at_um[2];
    double s_um;
    double distance_um;
} nrw_foot;

/* Builds the centreline of map->vessels[vessel]. Coincident neighbours among its
 * points are merged. NRW_BAD_INPUT: the vessel has no length, turns back on
 * itself, or a width that is not positive (`file` names the scenario in the
 * message). NRW_NO_MEMORY. The caller clears it, whatever was returned. */
nrw_status nrw_centreline_build(const nrw_map *map, size_t vessel, const char *file,
                                nrw_centreline *line, nrw_errors *errors);
void nrw_centreline_clear(nrw_centreline *line);

/* Nearest point to (x, y); the first one in case of a tie. O(n_points). */
nrw_foot nrw_centreline_foot(const nrw_centreline *line, double x_um, double y_um);

/* Place, and width (the larger one at a jump), at s clamped to the vessel. */
void nrw_centreline_at(const nrw_centreline *line, double s_um, double at_um[2], double *width_um);

/* Checks that no centreline crosses or touches another, or itself, except where
 * vessels end at a common node: the graph would not know the junction. Returns
 * NRW_OK, NRW_BAD_INPUT with one error for each offending pair, or
 * NRW_NO_MEMORY. About O(pieces) for vessels that lie apart. */
nrw_status nrw_centreline_check_crossings(const nrw_map *map, const nrw_centreline *lines,
                                          const char *file, nrw_errors *errors);

#endif
