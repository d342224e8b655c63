/* The flow through a channel: how much through each vessel, and what it does to a
 * particle anywhere (docs/flow.md).
 *
 * Networks of rectangular ducts give pressures and rates (flow_network.h); the
 * velocity at a point is the local duct's profile under the pressure's fall there
 * (flow_field.h). Everything is linear in the given rates and pressures, and slow
 * pulses are steady at every instant, so that a few solutions with their factors in
 * time are all. Rates that were given don't depend on the viscosity; those that
 * pressures drive go with its inverse. */
#ifndef NRW_FLOW_H
#define NRW_FLOW_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "centreline.h"
#include "channel.h"
#include "error.h"
#include "scenario.h"
#include "units.h"

typedef struct nrw_flow nrw_flow;

/* For nrw_channel_create: the channel's walls and lines (n_vessels) are made; all is
 * borrowed, the channel for the flow's life. NRW_BAD_INPUT: rates that can't balance,
 * with the key `flow`. NRW_REFUSED, NRW_DIVERGED or NRW_NO_MEMORY. */
nrw_status nrw_flow_create(const nrw_scenario *scenario, const nrw_channel *channel,
                           const nrw_centreline *lines, nrw_flow **flow, nrw_errors *errors);
void nrw_flow_destroy(nrw_flow *flow);

/* --- at a time ------------------------------------------------------------------- */

enum { NRW_FLOW_PARTS_MAX = 18 }; /* rates, pressures, and each pulse */

/* Factors of the parts at a time. */
typedef struct nrw_flow_now {
    size_t n_parts;
    double factor[NRW_FLOW_PARTS_MAX];
} nrw_flow_now;

/* viscosity_factor: of the fluid's nominal one (a draw), 1 for the scenario's. */
nrw_flow_now nrw_flow_at_time(const nrw_flow *flow, double time_s, double viscosity_factor);

/* Without the pulses: the mean over their periods. */
nrw_flow_now nrw_flow_steady(const nrw_flow *flow);

/* Longest step that follows the pulses: a sixteenth of the shortest period; INFINITY
 * when steady. */
double nrw_flow_step_max_s(const nrw_flow *flow);

/* Rate through a vessel of the map from its `from` to its `to`, µm³/s; pressure at a
 * node, Pa. */
double nrw_flow_vessel_um3_s(const nrw_flow *flow, const nrw_flow_now *now, size_t vessel);
double nrw_flow_node_Pa(const nrw_flow *flow, const nrw_flow_now *now, size_t node);

/* --- at a place ------------------------------------------------------------------ */

/* The flow itself, without a particle. */
typedef struct nrw_flow_local {
    double velocity_um_s[2]; /* along the floor */
    double spin_per_s[3];    /* half the vorticity: rate at which a free sphere turns */
} nrw_flow_local;

/* At (x, y, z); 0 outside the channel. About 0.3 µs. Thread safe. */
nrw_flow_local nrw_flow_at(const nrw_flow *flow, const nrw_flow_now *now, const double at_um[3]);

/* What the flow does to spheres, by rows: of n particles, row r is particle order[r].
 * x, y, z by particle, µm; all others by row: radius, delta (gap over radius), and the
 * mobilities mt, mr, rolling of mobility.h. velocity_x, _y in µm/s and spin_x, _y, _z
 * in 1/s get what a free sphere does: near the floor or the ceiling it is slower than
 * the flow at its centre (flow_shear.h). */
typedef struct nrw_flow_rows {
    size_t n;
    const uint32_t *order;
    const double *x_um, *y_um, *z_um;
    const float *radius_um, *delta, *mt, *mr, *rolling;
    float *velocity_x, *velocity_y, *spin_x, *spin_y, *spin_z;
} nrw_flow_rows;

void nrw_flow_carry(const nrw_flow *flow, const nrw_flow_now *now, const nrw_flow_rows *rows);

/* Height of the ceiling. */
double nrw_flow_depth_um(const nrw_flow *flow);

/* --- ends ---------------------------------------------------------------------------- */

/* Whether (x, y) lies beyond an inlet's or outlet's end: the scenario's port, or -1.
 * Of maps given by vessels the node is the end; the open vessel goes on by one width.
 * A picture ends at the wall, and particles leave it a diameter and a little before. */
int nrw_flow_end_passed(const nrw_flow *flow, double x_um, double y_um);

/* --- what holds ----------------------------------------------------------------------- */

typedef struct nrw_flow_figures {
    double spacing_um;       /* of the cells */
    double cells_across;     /* of the narrowest vessel with flow */
    double fastest_um_s;     /* largest mean velocity in a vessel, pulses at their peak */
    double reynolds_number;  /* of that one, with the smaller of its width and depth */
    double womersley_number; /* of the fastest pulse; 0 when steady */
    double imbalance;        /* largest of nodes, over the flows there: rounding */
} nrw_flow_figures;

nrw_flow_figures nrw_flow_figures_of(const nrw_flow *flow);

#endif
