/* A free sphere in the shear flow above a floor: how fast it is carried and turned.
 *
 * Source: Goldman, Cox & Brenner 1967 part II, Chem. Eng. Sci. 22:653 (definitions,
 * near-contact forms, table); values by the series of mobility.h with the shear as
 * boundary condition. Lengths in radii, delta = gap/radius. Pure functions. */
#ifndef NRW_FLOW_SHEAR_H
#define NRW_FLOW_SHEAR_H

/* Force on a sphere that is held, over 6πηa h S (h: height of the centre, S: shear
 * rate): 1 far away, 1.7006 in contact. And torque about its centre, over 4πηa³S:
 * 1 far away, 0.9440 in contact. Fits in a/h to the exact solution, within 2e-5. */
double nrw_shear_force(double delta);
double nrw_shear_torque(double delta);

/* Velocity over hS and spin over S/2 (direction of a wheel that rolls with the
 * flow) of a free sphere; both 1 far away, and 0.7431 and 0.8436 over (0.6376 -
 * 0.2 ln delta) toward contact. */
typedef struct nrw_shear_motion {
    double velocity, spin;
} nrw_shear_motion;

/* From the sphere's mobilities at that gap (mobility.h): mt, mr, rolling. */
nrw_shear_motion nrw_shear_motion_of(double delta, double mt, double mr, double rolling);

#endif
