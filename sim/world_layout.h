/* Where a world's arrays lie, and which of them the kernels of a step take. */
#ifndef NRW_WORLD_LAYOUT_H
#define NRW_WORLD_LAYOUT_H

#include "world.h"

/* Takes every array of n particles and padded rows from the arena: once to learn how much
 * memory that is, and once more when the arena has it. */
void nrw_world_lay_out(nrw_world *world);

/* The constants of a step's tasks: what never changes over a run. */
void nrw_world_wire(nrw_world *world);

#endif
