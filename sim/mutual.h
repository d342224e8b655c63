/* Mutual induction in steps: every induced moment follows the drive's field and that of
 * all the others (model.mutual_induction; docs/physics.md, eqs. 4.4 and 4.5).
 *
 * With the particles held where they are, the moments of a field S + C cos ωt + Q sin ωt
 * are m = s + c cos ωt + q sin ωt for each particle. Averages over the period are then
 * exact: forces are those of the vectors s, c/√2 and q/√2, summed. */
#ifndef NRW_MUTUAL_H
#define NRW_MUTUAL_H

#include "world.h"

/* Parts of the moments. */
enum { NRW_MUTUAL_STEADY, NRW_MUTUAL_COS, NRW_MUTUAL_SIN, NRW_MUTUAL_PARTS };

typedef struct nrw_mutual {
    double (*parts[NRW_MUTUAL_PARTS])[3]; /* (n_made x 3) fA·m², by row; owned, as all here */
    double (*kept[NRW_MUTUAL_PARTS])[3];  /* the same by the particle's number */
    double (*scratch[6])[3];              /* (n_made x 3) of the solution */
    float *sum_x, *sum_y, *sum_z;         /* (padded) forces of several parts, pN */
    bool used[NRW_MUTUAL_PARTS];
    double phase_rad; /* of the step's middle; NAN: averaged */
} nrw_mutual;

/* Makes world->mutual. */
nrw_status nrw_mutual_create(nrw_world *world, nrw_errors *errors);
void nrw_mutual_destroy(nrw_mutual *mutual);

/* Largest moment over that of a lone particle: in an endless chain along the field,
 * 1/(1 − ζ(3)K/2), K = χ/(3 + χ). For the stability of steps. */
double nrw_mutual_gain(const nrw_body *body);

/* Solves for the parts of the excitation's drive by conjugate gradients, to 1e-5, and sets
 * the spins and torques on the fluid that the lag gives. Rows, places, mobilities and
 * brakes must be up to date. NRW_DIVERGED without a solution. O(n²) an iteration, of which
 * 5 to 20 a part. */
nrw_status nrw_mutual_solve(nrw_world *world, const nrw_excitation *excitation, nrw_errors *errors);

/* Writes the dipole forces of the solution to world->task. O(n²) a part. */
void nrw_mutual_forces(nrw_world *world);

/* Moment in fA·m² of the particle of a number at a phase, by the last solution. */
nrw_vec3 nrw_mutual_moment(const nrw_world *world, uint32_t id, double phase_rad);

#endif
