/* The order in which a world keeps its particles; world->ids tells which is which. */
#ifndef NRW_WORLD_ORDER_H
#define NRW_WORLD_ORDER_H

#include "world.h"

/* Swarms of so many particles and more are kept by place: what is close together in the
 * channel is close together in memory; the largest along the swarm (contact.h). */
#define NRW_WORLD_BY_PLACE_LEAST 1000

/* Exchanges two particles in all that is kept by particle. */
void nrw_world_swap(nrw_world *world, size_t i, size_t j);

/* Sorts the particles in the channel by place: a large swarm before its first step, and again
 * once it has mixed. Everything that names them by where they are kept is invalid then, and
 * made anew by the next step: the contact list and the far field's. The noise that a particle
 * gets follows where it is kept, which follows from the seed alone. */
void nrw_world_keep_by_place(nrw_world *world);

#endif
