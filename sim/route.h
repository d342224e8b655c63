/* Route: the way from release to target, a polyline with the width across it.
 * route_build.c finds it; route.c answers questions about it. */
#ifndef NRW_ROUTE_H
#define NRW_ROUTE_H

#include <stdbool.h>
#include <stddef.h>

#include "centreline.h"
#include "channel.h"
#include "error.h"
#include "scenario.h"

typedef struct nrw_route_point {
    double at_um[2];
    double s_um;
    double along[2]; /* unit direction of the piece that starts here; at the last
                        point that of the last piece */
} nrw_route_point;

typedef struct nrw_route_width {
    double s_um, width_um;
} nrw_route_width;

typedef struct nrw_route {
    nrw_route_point *points; /* (n_points >= 1), s increasing; owned, as all below */
    size_t n_points, point_capacity;
    nrw_route_width *widths; /* (n_widths), s never decreasing, linear in between; none
                                when open */
    size_t n_widths, width_capacity;
    double *node_s_um; /* (n_nodes) where it passes that node, NAN where it does not */
    size_t n_nodes;
    bool *has_vessel; /* (n_vessels) */
    size_t n_vessels;
} nrw_route;

/* What a route is made from; all borrowed. */
typedef struct nrw_route_request {
    const nrw_map *map;
    const nrw_centreline *lines;   /* (n_vessels); NULL: open, the straight line */
    const double *joint_radius_um; /* (n_nodes) whole discs at nodes; NULL when open */
    nrw_place start, target;
    const int *via_nodes; /* (n_via_nodes) nodes to pass in order */
    size_t n_via_nodes;
    const char *file; /* for messages */
} nrw_route_request;

/* Shortest way along centrelines. Places off the centreline are joined to its
 * nearest point. The width across the route is that of the vessel, or the chord
 * of a node's disc where that is wider. NRW_REFUSED: no way; NRW_NO_MEMORY. The
 * caller clears it, whatever was returned. */
nrw_status nrw_route_build(const nrw_route_request *request, nrw_route *route, nrw_errors *errors);
void nrw_route_clear(nrw_route *route);

double nrw_route_length_um(const nrw_route *route);

/* As the functions of channel.h. */
void nrw_route_at(const nrw_route *route, double s_um, double at_um[2], double direction[2]);
double nrw_route_project_um(const nrw_route *route, double x_um, double y_um);
double nrw_route_width_um(const nrw_route *route, double s_um);

/* Narrowest width and its place: the middle of the first stretch that narrow.
 * INFINITY and the start when open. */
double nrw_route_narrowest_um(const nrw_route *route, double *s_um);

/* Stretches narrower than `gathered_um`, in order; allocated for the caller.
 * NRW_OK or NRW_NO_MEMORY. */
nrw_status nrw_route_throats(const nrw_route *route, double gathered_um, nrw_throat **throats,
                             size_t *n_throats);

#endif
