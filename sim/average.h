/* How a nominal particle answers a field: the period averages that the pair
 * forces and the spin need, and the moment at one phase (docs/physics.md,
 * sections 3 and 7). */
#ifndef NRW_AVERAGE_H
#define NRW_AVERAGE_H

#include "body.h"
#include "drive.h"
#include "vec3.h"

typedef struct nrw_average {
    nrw_sym3 moment2;  /* ⟨m mᵀ⟩ of two different particles, (fA·m²)² */
    nrw_vec3 torque;   /* ⟨m × B⟩, pN·µm */
    nrw_vec3 spin;     /* mean angular velocity of a lone particle, 1/s */
    double size2;      /* ⟨m·m⟩, (fA·m²)² */
} nrw_average;

/* Period averages for a field in the frame in which it is given (turn the
 * result with nrw_average_turn). Induced moments: closed form without
 * saturation, else quadrature over the period. Permanent moments: the orbit of a
 * single particle near the floor, integrated from several starts; beyond
 * step-out the moments of different particles are taken as dephased, so that
 * moment2 is built from the mean moment at each phase of the field. Cost: about
 * 0.1 µs, 10 µs and 10 ms. */
nrw_average nrw_average_of(const nrw_body *body, const nrw_field *field);

/* The same seen from a frame turned by an angle about z. */
nrw_average nrw_average_turn(nrw_average average, double angle_rad);

/* Moment (fA·m²) and torque (pN·µm) of an induced nominal particle at a phase
 * 2πft, in the periodic state with the lag of its relaxation time. */
void nrw_induced_at(const nrw_body *body, const nrw_field *field, double phase_rad,
                    nrw_vec3 *moment, nrw_vec3 *torque);

/* Turns a unit vector toward the unit direction b by the exact solution of
 * du/dt = rate (u × b) × u over a time (relaxation of a permanent moment in a
 * steady field): tan(θ/2) falls as exp(−rate·time). */
nrw_vec3 nrw_moment_relax(nrw_vec3 u, nrw_vec3 b, double rate_times_time);

#endif
