/* Pressures and flows in a network of resistances: Kirchhoff's laws.
 *
 * At every node either the pressure is given, or the flow that enters there from
 * outside (0 at plain nodes). Units are the caller's: flow = pressure/resistance. */
#ifndef NRW_FLOW_NETWORK_H
#define NRW_FLOW_NETWORK_H

#include <stdbool.h>
#include <stddef.h>

#include "error.h"

/* Nodes whose pressure has to be found, at most: the matrix is dense. */
enum { NRW_FLOW_UNKNOWNS_MAX = 2000 };

typedef struct nrw_resistor {
    int from, to;      /* nodes; different ones */
    double resistance; /* above 0, finite */
} nrw_resistor;

typedef struct nrw_flow_network {
    const nrw_resistor *resistors; /* (n_resistors) borrowed, as all below */
    size_t n_resistors;
    const bool *is_given;   /* (n_nodes) pressure is given */
    const double *pressure; /* (n_nodes) where given */
    const double *inflow;   /* (n_nodes) where not */
    size_t n_nodes;
} nrw_flow_network;

/* Solves for pressures (n_nodes) and the flows from -> to (n_resistors). The
 * pressures come from a dense LU solution with one refinement; what rounding left
 * of the imbalance at nodes is then moved along the widest tree, so that the flows
 * at every node sum to its inflow within rounding. A part of the network without a
 * given pressure has its lowest-numbered node at 0. NRW_REFUSED: such a part's
 * inflows don't sum to 0 (within 1e-9 of their sizes), or there are too many
 * unknowns; NRW_DIVERGED; NRW_NO_MEMORY. O(2n³/3) for n unknowns. */
nrw_status nrw_flow_network_solve(const nrw_flow_network *network, double *pressures, double *flows,
                                  nrw_errors *errors);

#endif
