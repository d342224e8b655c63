/* Moments of single particles, followed one by one: steps of a world with
 * `own_moments` (step.c). */
#ifndef NRW_OWN_MOMENT_H
#define NRW_OWN_MOMENT_H

#include "world.h"

/* Turns every moment through a step of h seconds and stores the spins, the torques on
 * the fluid and the moments half way (own_mx ... by row). The floor's mobilities, the
 * brakes and the field of the others (field_x ... by particle) must be up to date. */
void nrw_own_moments_turn(nrw_world *world, const nrw_excitation *excitation, double h);

/* Keeps the field of the others, as the pair kernel gave it by row, by particle. */
void nrw_own_moments_keep_fields(nrw_world *world);

#endif
