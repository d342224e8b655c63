/* Fused doublets ("peanuts"): two equal lobes that overlap or touch, as one rigid
 * particle with a body axis.
 *
 * Aspect p = length over width, from 1 (a sphere) to 2 (touching lobes). Lengths of
 * a shape are over the radius R of the sphere of equal volume. Pure functions, safe
 * in any thread. docs/physics.md, section 8; docs/doublets.md. */
#ifndef NRW_DOUBLET_H
#define NRW_DOUBLET_H

#include "body.h"
#include "spheroid.h"

typedef struct nrw_doublet_shape {
    double aspect;
    double lobe;                      /* radius of a lobe, over R */
    double half;                      /* distance of a lobe's centre from the middle, over R */
    nrw_spheroid_friction friction;   /* of the spheroid of the same aspect and volume (Perrin) */
    double demag_along, demag_across; /* demagnetising factors of the two lobes */
    /* What one of the four contacts between lobes counts (stiffness, braking), and one
     * of the two with the floor (double layer): all where lobes touch (1), and a share
     * where they coincide, so that spheres come out as spheres: linear in between. */
    double contact_share, floor_share;
} nrw_doublet_shape;

/* Shape for an aspect of 1 to 2. */
nrw_doublet_shape nrw_doublet_shape_of(double aspect);

/* Magnetometric demagnetising factor along the axis of two overlapping uniformly
 * magnetised spheres: 1/3 for one, 1/4 where they touch (exact). In between a fit,
 * within 1e-3, to the integral over their surface charges (the test computes it). */
double nrw_doublet_demagnetising(double aspect);

/* Moment per field of an induced doublet of the nominal size along and across its
 * axis, fA·m²/mT, at field_mT: V χ/(1 + χN)/µ0. Where the material saturates χ is the
 * secant one inside the sphere of equal volume. */
void nrw_doublet_polarisabilities(const nrw_body *body, const nrw_doublet_shape *shape,
                                  double field_mT, double *along, double *across);

/* Largest rate in rad/s at which the axis (moment across: the moment) of a lone
 * doublet follows a field of field_mT that turns, in unbounded fluid: mB/ζ of the
 * tumbling for a moment along the axis, of the spin about the axis for one across;
 * Δα B²/2ζ of the tumbling for an induced moment. Perrin's drag. */
double nrw_doublet_step_out_rad_s(const nrw_body *body, double field_mT);

/* Whether the scenario holds anything that isn't derived for doublets: the reason
 * and what to do instead, or NULL. Static text. */
const char *nrw_doublet_refusal(const nrw_scenario *scenario, const char **instead);

#endif
