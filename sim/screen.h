/* Side walls slow the flow that turning particles make: docs/physics.md (5.15). Each
 * particle keeps a share of it that follows from its height and from the distances to
 * the side wall nearest to it and to the one across. */
#ifndef NRW_SCREEN_H
#define NRW_SCREEN_H

#include "world.h"

/* The share between two side walls, near_um and far_um away (INFINITY: none), height_um
 * above the floor: 1 far from walls, 0 at one. Exact for a channel covered with equal
 * rollers from wall to wall, long against its width; 2 atan(sin(π near/W)/sinh(2π
 * height/W))/[atan(near/2 height) + atan(far/2 height)], W = near + far. */
double nrw_screen_share(double near_um, double far_um, double height_um);

/* Distances of all rows to the side walls now, into wall_near and wall_far; false in open
 * channels. */
bool nrw_walls_look(nrw_world *world);

/* Before the velocities of a step, after nrw_walls_look: the shares of all rows, at places x, y and
 * heights pz. Nothing in open channels, without a floor, or where the scenario has it off. */
void nrw_screen_take(nrw_world *world);

#endif
