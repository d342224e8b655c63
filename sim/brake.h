/* Lubrication between touching particles: the brake on spins that turn alike, the push
 * sideways that comes of it, and the drag against sliding along each other. One shear,
 *
 *   V = v_i − v_j + a (Ω_i + Ω_j) × n,   F_i = −4πηa e V⊥ = −F_j,   both torques a n × F_i,
 *
 * n from i to j: docs/physics.md, equations 5.9 to 5.10. */
#ifndef NRW_BRAKE_H
#define NRW_BRAKE_H

#include "world.h"

/* Excess resistance e over surfaces' distance: `contact` at touch, 0 from `reach_um`
 * beyond on, between them contact (1 − x)/(1 + bend x) with x the share of the reach. */
typedef struct nrw_brake_law {
    float contact, reach_um, bend;
} nrw_brake_law;

/* Gap between surfaces that the averaged field presses together, µm. */
double nrw_brake_touch_um(const nrw_world *world, double size2);

/* The law where the field presses neighbours together; size2 = ⟨m·m⟩ of the nominal
 * particle, (fA·m²)². contact is 0 where nothing brakes. */
nrw_brake_law nrw_brake_law_of(const nrw_world *world, double size2);

/* Before the spins of a step: brakes, the torque of the sliding of the last step, and
 * what the contact solve takes for the drag. Directions and gaps must be present. */
void nrw_brakes_take(nrw_world *world, nrw_brake_law law);

/* After the spins: their sideways forces, added to the smooth ones. */
void nrw_brakes_push(nrw_world *world, nrw_brake_law law);

/* After a step of taken_s whose displacements are in sum_x, sum_y, sum_z. */
void nrw_brakes_remember(nrw_world *world, double taken_s);

#endif
