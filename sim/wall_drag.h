/* Friction along side walls: the drag that they add to a particle's motion, which for one
 * dragged along a wall is that of lubrication. docs/physics.md (5.16). */
#ifndef NRW_WALL_DRAG_H
#define NRW_WALL_DRAG_H

#include "world.h"

/* What a side wall at a gap of `delta` radii adds to the resistance of a torque-free sphere
 * to moving along it, over Stokes' drag: 1/mt − 1 of docs/physics.md (5.5). */
double nrw_wall_drag(double delta);

/* Before a step's velocities, once the mobilities near the floor and the distances to the
 * walls are known: adds both walls' drags to them. No gap counts as less than least_um. */
void nrw_wall_drag_take(nrw_world *world, double least_um);

/* After the velocities: the thermal drift toward where motion is easier, away from walls. */
void nrw_wall_drag_drift(nrw_world *world);

#endif
