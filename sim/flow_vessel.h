/* Figures of vessels: typical sizes and velocities, and Murray's branching.
 *
 * For building plausible maps and judging them; nothing in a run depends on them. */
#ifndef NRW_FLOW_VESSEL_H
#define NRW_FLOW_VESSEL_H

#include <stddef.h>

/* Typical value and the range that textbooks give; NAN where none is given. */
typedef struct nrw_typical {
    double value, low, high;
} nrw_typical;

typedef struct nrw_vessel_preset {
    const char *name;
    nrw_typical diameter_um, velocity_mm_s;
} nrw_vessel_preset;

/* Sources: Burton 1954, Physiol. Rev. 34:619; Guyton & Hall, Textbook of Medical
 * Physiology. Static; *n gets how many. */
const nrw_vessel_preset *nrw_vessel_presets(size_t *n);

/* By name; NULL if there is none. */
const nrw_vessel_preset *nrw_vessel_preset_of(const char *name);

/* Radius of the second branch, r0³ = r1³ + r2³ (Murray 1926, J. Gen. Physiol. 9:835);
 * NAN for r1 > r0. Any unit. */
double nrw_murray_radius(double parent, double branch);

/* Angle in rad between the parent's direction and the first branch: cos θ1 = (r0⁴ +
 * r1⁴ - r2⁴)/(2 r0² r1²). Same source. */
double nrw_murray_angle_rad(double parent, double branch, double other);

#endif
