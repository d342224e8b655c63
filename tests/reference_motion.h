/* Motion of a few particles written a second time, in double precision and without
 * the simulator's step: forces, pair flow and rolling as functions of the state,
 * for an adaptive integrator of GSL to follow. No noise, no contacts. */
#ifndef TESTS_REFERENCE_MOTION_H
#define TESTS_REFERENCE_MOTION_H

#include <stddef.h>

#include "small_setup.h"

enum { REFERENCE_MOST = 6 };

typedef struct reference_motion {
    const nrw_body *body;
    size_t n;
    nrw_sym3 tensor;  /* averaged model: ⟨m mᵀ⟩ */
    nrw_vec3 torque;  /* averaged model: ⟨m × B⟩ */
    bool own_moments; /* permanent dipoles instead, in the field below */
    nrw_field field;
    double pair_flow; /* factor; 0: none */
} reference_motion;

/* Moves x, y, z (n x 3) and, with own moments, the directions (n x 3) from 0 to
 * seconds; relative tolerance 1e-9. */
void reference_advance(const reference_motion *motion, double seconds, double (*at_um)[3],
                       double (*directions)[3]);

/* Magnetic energy of the pairs plus weight and double layer, pN·µm. */
double reference_energy(const reference_motion *motion, const double (*at_um)[3]);

#endif
