/* Sticking to side walls: docs/physics.md (6.13). A particle within reach of a wall sticks
 * at a rate; stuck, it neither moves nor turns until a force tears it off. */
#ifndef NRW_ADHESION_H
#define NRW_ADHESION_H

#include "world.h"

/* How near a wall a particle's surface must be to stick, in diameters; our own choice: what
 * thermal motion and contacts leave between the two while something presses. */
#define NRW_ADHESION_REACH 0.05

/* Whether particles of this world may stick. */
bool nrw_adhesion_acts(const nrw_world *world);

/* The three places in a step at which stuck particles are held: after the mobilities, the
 * spins, and the velocities from what is held over the step. */
void nrw_adhesion_hold_places(nrw_world *world);
void nrw_adhesion_hold_spins(nrw_world *world);
void nrw_adhesion_hold_velocities(nrw_world *world);

/* After a step of taken_s that was kept: tears off and sticks. */
void nrw_adhesion_update(nrw_world *world, double taken_s);

#endif
