/* Rigid-body mobility of a doublet near the floor, and the small linear algebra that
 * goes with it (docs/physics.md, section 8). Vectors of six: velocity or force, then
 * spin or torque about the middle. Pure, safe in any thread. */
#ifndef NRW_DOUBLET_MOBILITY_H
#define NRW_DOUBLET_MOBILITY_H

#include <stdbool.h>

#include "doublet.h"
#include "vec3.h"

typedef struct nrw_mat6 {
    double at[6][6];
} nrw_mat6;

/* What the resistance of all doublets of a run depends on. */
typedef struct nrw_doublet_medium {
    nrw_doublet_shape shape;
    double viscosity_Pa_s;
    double rolling_factor;
    bool has_floor;
} nrw_doublet_medium;

/* Resistance (6 x 6, pN·s/µm, pN·s, pN·µm·s) of a doublet of equal-volume radius
 * radius_um whose middle is at height z_um and whose axis (unit) points anywhere.
 *
 * Unbounded it is Perrin's spheroid. Its drag is shared between the lobes; near a
 * floor each lobe's share grows as that of a sphere of its size at its gap does, and
 * acts so far below the lobe's centre that a lobe on its own rolls as a sphere does.
 * Exact for a sphere and far from the floor, approximate in between. Symmetric and
 * positive definite. */
void nrw_doublet_resistance(const nrw_doublet_medium *medium, double radius_um, double z_um,
                            nrw_vec3 axis, nrw_mat6 *resistance);

/* Cholesky factor of a positive definite matrix, in its lower half; false: it isn't.
 * Written out because a step takes three of every particle, and GSL's blocked one
 * costs ten times as much at this size. */
bool nrw_cholesky6(nrw_mat6 *matrix);
void nrw_cholesky6_solve(const nrw_mat6 *factor, double vector[6]);
/* Solves Lᵀ x = vector: x has the covariance of the inverse for unit normals. */
void nrw_cholesky6_solve_upper(const nrw_mat6 *factor, double vector[6]);
void nrw_cholesky6_inverse(const nrw_mat6 *factor, nrw_mat6 *inverse);

#endif
