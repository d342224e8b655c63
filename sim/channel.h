/* The channel: signed distance to its walls, and the route through it.
 *
 * Walls lie half the width from each vessel's centreline, measured across it;
 * bends and nodes are joined by a disc of the local (at nodes the largest)
 * width; free ends are closed by a straight cap unless they are inlet or outlet
 * of a flow (contract section 2; docs/channel.md has the details). */
#ifndef NRW_CHANNEL_H
#define NRW_CHANNEL_H

#include <stdbool.h>
#include <stddef.h>

#include "error.h"
#include "scenario.h"

typedef struct nrw_channel nrw_channel;

/* One wall piece of the outline: fluid lies to the left of a -> b. */
typedef struct nrw_wall_segment {
    double a_um[2], b_um[2];
} nrw_wall_segment;

/* A stretch of the route narrower than the gathered swarm. */
typedef struct nrw_throat {
    double entry_um, exit_um; /* positions along the route of its two ends */
    double narrowest_um;      /* width there */
    double at_route_um;       /* where along the route it is narrowest */
    double at_um[2];          /* the same point on the map */
} nrw_throat;

typedef struct nrw_channel_report {
    double grid_um;           /* spacing of the distance grid */
    double distance_error_um; /* measured largest error of nrw_channel_distance_um within
                                 two particle diameters of a wall, at random points */
    double typical_error_um;  /* root mean square of it */
    size_t memory_bytes;      /* held by the distance grid */
} nrw_channel_report;

/* Builds the channel of a scenario: outline, distance grid, centreline graph,
 * route and throats. Fails with NRW_REFUSED or NRW_BAD_INPUT (e.g. release or
 * target outside the channel, no way between them) and a described reason.
 * Errors carry their places where the scenario still has its text. Memory: at
 * most 64 MiB, 8 bytes for each point of the distance grid. Immutable afterwards: any number of
 * threads may query it. The caller destroys it. */
nrw_status nrw_channel_create(const nrw_scenario *scenario, nrw_channel **channel,
                              nrw_errors *errors);
void nrw_channel_destroy(nrw_channel *channel);

bool nrw_channel_is_open(const nrw_channel *channel);
const nrw_channel_report *nrw_channel_get_report(const nrw_channel *channel);

/* Outline for drawing; borrowed until the channel is destroyed. */
const nrw_wall_segment *nrw_channel_outline(const nrw_channel *channel, size_t *n_segments);

/* Bounding box of the walls (of release, target and route when open), µm:
 * x_min, y_min, x_max, y_max. */
void nrw_channel_bounds(const nrw_channel *channel, double bounds_um[4]);

/* Distance to the nearest side wall, µm: positive in the fluid, negative in the
 * wall; INFINITY when open. gradient (may be NULL) gets the unit vector away
 * from the wall (0, 0 when open). Interpolated from the grid; error in the
 * report. Safe for any point; far outside, the gradient points back. */
double nrw_channel_distance_um(const nrw_channel *channel, double x_um, double y_um,
                               double gradient[2]);

/* nrw_channel_distance_um for n points: distance_um (n), and the gradient's parts
 * gradient_x, gradient_y (n each; both may be NULL). */
void nrw_channel_sample(const nrw_channel *channel, size_t n, const double *x_um,
                        const double *y_um, float *distance_um, float *gradient_x,
                        float *gradient_y);

/* The same from the outline itself, exact to the outline's chords (0.01 um);
 * O(n_segments/16) box tests and some runs of 16 segments. */
double nrw_channel_distance_exact_um(const nrw_channel *channel, double x_um, double y_um);

/* --- route: a polyline along the centreline from release to target ------- */

double nrw_channel_route_length_um(const nrw_channel *channel);

/* Point at position s (clamped to the route's ends by extrapolating along its
 * end directions) and the unit direction there. Either may be NULL. */
void nrw_channel_route_point(const nrw_channel *channel, double s_um, double at_um[2],
                             double direction[2]);

/* Position along the route of the point of the route nearest to (x, y); before
 * the start and past the end it goes on along the end directions (negative, or
 * above the length). */
double nrw_channel_route_project_um(const nrw_channel *channel, double x_um, double y_um);

/* Width across the route at s: that of the vessel, or the chord of a node's disc
 * where that is wider (docs/channel.md). INFINITY when open. */
double nrw_channel_route_width_um(const nrw_channel *channel, double s_um);

/* Position along the route of a scenario's node (its projection). */
double nrw_channel_route_node_um(const nrw_channel *channel, int node);

/* Whether the route passes through that node. */
bool nrw_channel_route_has_node(const nrw_channel *channel, int node);

/* Throats of the route for a gathered diameter, in order; borrowed. */
const nrw_throat *nrw_channel_throats(const nrw_channel *channel, size_t *n_throats);

/* Narrowest width along the route (INFINITY when open) and its place, the middle
 * of the first stretch that narrow; at_um may be NULL. */
double nrw_channel_narrowest_um(const nrw_channel *channel, double at_um[2]);

/* Largest diameter of a disc whose centre can travel from somewhere in the release
 * circle to somewhere in the target circle by any way through the channel, and
 * the place that limits it (at_um may be NULL). INFINITY when open; 0 and a NAN
 * place when there is no way; NAN when memory is short. Searched at each call:
 * tens of milliseconds. */
double nrw_channel_widest_path_um(const nrw_channel *channel, double at_um[2]);

/* Vessel (index into the map) whose centreline is nearest to (x, y), -1 when
 * open: for naming the place of a loss and telling a wrong branch. */
int nrw_channel_vessel_at(const nrw_channel *channel, double x_um, double y_um);

/* Whether the route runs through that vessel. */
bool nrw_channel_route_has_vessel(const nrw_channel *channel, int vessel);

/* The flow through the channel (flow.h); NULL: the fluid is at rest. Borrowed. */
const struct nrw_flow *nrw_channel_flow(const nrw_channel *channel);

#endif
