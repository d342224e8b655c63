/* How a nominal particle answers a field: the period averages that the pair
 * forces and the spin need, and the moment at one phase (docs/physics.md,
 * sections 3 and 7). */
#ifndef NRW_AVERAGE_H
#define NRW_AVERAGE_H

#include "body.h"
#include "drive.h"
#include "vec3.h"

typedef struct nrw_average {
    nrw_sym3 moment2; /* ⟨m mᵀ⟩ of two different particles, (fA·m²)² */
    nrw_vec3 torque;  /* ⟨m × B⟩, pN·µm */
    nrw_vec3 spin;    /* mean angular velocity of a lone particle, 1/s */
    double size2;     /* ⟨m·m⟩, (fA·m²)² */
    /* of a moment with a part that is fixed in the particle, else 0: */
    nrw_vec3 lag_torque; /* the induced part's share of the torque */
    double hold_pN_um;   /* the largest torque on the fixed part */
    double rate_rad_s;   /* at which the field turns */
} nrw_average;

/* Period averages for a field in the frame in which it is given (turn the
 * result with nrw_average_turn). Induced moments: closed form without
 * saturation, else quadrature over the period. With a fixed part (permanent moments,
 * remanence): the orbit of a single particle near the floor, integrated from several
 * starts; beyond step-out the fixed parts of different particles are taken as dephased,
 * so that moment2 is built from the mean moment at each phase of the field. Cost: about
 * 0.1 µs, 10 µs and 10 ms. */
nrw_average nrw_average_of(const nrw_body *body, const nrw_field *field);

/* The same seen from a frame turned by an angle about z. */
nrw_average nrw_average_turn(nrw_average average, double angle_rad);

/* Moment (fA·m²) and torque (pN·µm) of an induced nominal particle at a phase
 * 2πft, in the periodic state with the lag of its relaxation time. */
void nrw_induced_at(const nrw_body *body, const nrw_field *field, double phase_rad,
                    nrw_vec3 *moment, nrw_vec3 *torque);

/* Mean rate in rad/s at which a particle turns in a field that turns at `rate`, when
 * torques on its induced and its fixed part would turn it at lag_rate by itself and at up
 * to hold_rate: with the field where |rate − lag_rate| <= hold_rate, else slower by the
 * root of the difference of squares (Adler 1946 with an offset; docs/physics.md, eq.
 * 3.9). */
double nrw_turning_rate_rad_s(double rate_rad_s, double lag_rate_rad_s, double hold_rate_rad_s);

/* Turns a unit vector toward the unit direction b by the exact solution of
 * du/dt = rate (u × b) × u over a time (relaxation of a permanent moment in a
 * steady field): tan(θ/2) falls as exp(−rate·time). */
nrw_vec3 nrw_moment_relax(nrw_vec3 u, nrw_vec3 b, double rate_times_time);

#endif
