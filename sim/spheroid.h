/* Spheroids: drag, demagnetisation, turning in shear.
 *
 * Aspect p = semi-axis along the axis of symmetry over the other two: prolate
 * p > 1, oblate p < 1. Every function is smooth through the sphere, p = 1 (no
 * cancellation). Pure, safe in any thread. docs/physics.md, section 3. */
#ifndef NRW_SPHEROID_H
#define NRW_SPHEROID_H

/* Friction over that of the sphere of equal volume, 6πηR and 8πηR³: translation
 * along and across the axis, rotation about the axis and about a diameter.
 * Source: Perrin 1934, J. Phys. Radium 5:497; Kim & Karrila 1991, Table 3.4. */
typedef struct nrw_spheroid_friction {
    double along, across, spin, tumble;
} nrw_spheroid_friction;

nrw_spheroid_friction nrw_spheroid_friction_of(double aspect);

/* Translation averaged over orientations: 3/(1/along + 2/across). Perrin 1936. */
double nrw_spheroid_mean_friction(double aspect);

/* Demagnetising factor along the axis (⅓ for a sphere); across it (1 - N)/2.
 * Source: Osborn 1945, Phys. Rev. 67:351. */
double nrw_spheroid_demagnetising(double aspect);

/* Torque on an induced spheroid whose axis makes angle_rad with the field, over
 * V B²/µ0, for the material's susceptibility (no saturation): turns a prolate
 * axis into the field. Source: Stratton 1941, section 3.29. */
double nrw_spheroid_induced_torque(double aspect, double susceptibility, double angle_rad);

/* Period in s of the tumbling in a shear: 2π(p + 1/p)/shear. Jeffery 1922. */
double nrw_jeffery_period_s(double aspect, double shear_per_s);

/* Rotational drag, pN·µm·s, of a rod (or a chain taken as one) about its centre,
 * aspect 2...30: Tirado, López Martínez & García de la Torre 1984 (a fit). */
double nrw_rod_tumble_drag_pN_um_s(double length_um, double aspect, double viscosity_Pa_s);

#endif
