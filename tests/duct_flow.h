/* The flow of a point torque on a floor between two side walls, for tests: the floor's
 * images are exact (nrw_stokeslet_floor), no slip at the side walls is met by point forces
 * behind them, found by least squares (method of fundamental solutions, Mathon & Johnston
 * 1977). Walls y = ±½, without a ceiling; the torque stands at (0, 0, height). */
#ifndef TESTS_DUCT_FLOW_H
#define TESTS_DUCT_FLOW_H

#include "vec3.h"

typedef struct duct_flow duct_flow;

/* Torque 8πη along y (axis 1) or z (axis 2), in widths of the channel. The caller frees
 * it with duct_flow_destroy. */
duct_flow *duct_flow_create(int axis, double height);
void duct_flow_destroy(duct_flow *flow);

/* Velocity at a point, and that without side walls. */
nrw_vec3 duct_flow_at(const duct_flow *flow, nrw_vec3 at);
nrw_vec3 duct_flow_free_at(const duct_flow *flow, nrw_vec3 at);

#endif
