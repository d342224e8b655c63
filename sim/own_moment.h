/* Moments of single particles, followed one by one: steps of a world with
 * `own_moments` (step.c). */
#ifndef NRW_OWN_MOMENT_H
#define NRW_OWN_MOMENT_H

#include "world.h"

/* Turns every moment's fixed part through a step of h seconds, as the field, the field of
 * the others and the torque on the induced part make it, and stores the spins, the torques on
 * the fluid and the moments half way (own_mx ... by row). The floor's mobilities, the
 * brakes and the field of the others (field_x ... by particle) must be up to date. */
void nrw_own_moments_turn(nrw_world *world, const nrw_excitation *excitation, double h);

/* Sets the spin of a row, and what it does to the fluid, from the torque on it in pN·µm and
 * from what slides past. */
void nrw_own_moments_spin(nrw_world *world, size_t row, nrw_vec3 torque);

/* Averaged moments with a fixed part: every particle turns as the lone one does
 * (excitation->lone_spin), times what its own size, moment and brakes make of the rate:
 * with the field as long as its fixed part can hold on, whatever brakes it, and by
 * nrw_turning_rate_rad_s beyond. Fills the spins and torques on the fluid. */
void nrw_held_spins(nrw_world *world, const nrw_excitation *excitation);

/* Keeps the field of the others, as the pair kernel gave it by row, by particle. */
void nrw_own_moments_keep_fields(nrw_world *world);

#endif
