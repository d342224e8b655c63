/* Hydrodynamic mobility of a sphere near a plane no-slip floor.
 *
 * Exact functions (bispherical coordinates), used to fill a table once, and the
 * table, used while stepping. Lengths in radii; delta = gap/radius. Corrections
 * are resistance ratios to the unbounded values 6πηa, 8πηa³ (docs/physics.md,
 * section 5). Everything here is safe in any thread. */
#ifndef NRW_MOBILITY_H
#define NRW_MOBILITY_H

#include <stddef.h>

#include "error.h"
#include "units.h"

/* Exact resistance ratios at a gap of delta radii (delta > 0). Motion parallel
 * to the floor along x, rotation about y:
 *   F_x = -6πηa (Ft U - a Fr W),  T_y = 8πηa² (Tt U - a Tr W), Fr = 4/3 Tt,
 *   perpendicular: F_z = -6πηa Fz U_z,  spin about the normal: T_z = -8πηa³ Tz W_z.
 * Source: Dean & O'Neill 1963, O'Neill 1964 (parallel, rotation), Goldman, Cox
 * & Brenner 1967 (definitions), Brenner 1961 / Maude 1961 (Fz), Jeffery 1915
 * (Tz). Relative error below 1e-8 for delta >= 6.1e-5 (measured in the tests);
 * below, continued with the lubrication terms (1e-6). */
typedef struct nrw_floor_resistance {
    double Ft, Tt, Fr, Tr, Fz, Tz;
} nrw_floor_resistance;

nrw_floor_resistance nrw_floor_resistance_exact(double delta);

/* Leading terms for delta -> 0, with the constants of Goldman, Cox & Brenner
 * 1967 (four digits) and Cox & Brenner 1967 (Fz); for Tz, the expansion of
 * Jeffery's 1915 series, its constant from a sum with 30 digits. */
nrw_floor_resistance nrw_floor_resistance_lubrication(double delta);

/* Single exact functions, for tests and asymptotics. */
double nrw_floor_perpendicular_exact(double height_over_radius); /* Brenner 1961 */
double nrw_floor_spin_exact(double height_over_radius);          /* Jeffery 1915; 1 = contact */

/* Mobilities of a force- and torque-driven sphere, ratios to 1/6πηa, 1/8πηa³:
 * translation along the floor mt, normal mz, rotation about an axis along the
 * floor mr, about the normal ms; rolling: velocity of a force-free sphere over
 * a·W, direction as a wheel. Unbounded: 1, 1, 1, 1, 0. dmz: d mz / d delta.
 * mt and mr are the diagonal of the inverse resistance: mt of a torque-free
 * sphere (1/Ft holds for one whose spin is given; they differ by less than 2 %
 * for delta > 0.003), mr of a force-free one. */
typedef struct nrw_floor_mobility {
    double mt, mz, mr, ms, rolling, dmz;
} nrw_floor_mobility;

/* Inverse of the exact resistance; dmz by a central difference (1e-7). */
nrw_floor_mobility nrw_floor_mobility_exact(double delta);

/* Far from the floor, x = a/h: Faxén's polynomial and its fellows. Source: Faxén
 * 1922, Lorentz 1907, Swan & Brady 2007; the error grows as x⁴ to x⁶. */
nrw_floor_mobility nrw_floor_mobility_far(double delta);

/* Piecewise cubics, 16 cells to an octave of delta, from 6.1e-5 to 128; beyond:
 * far-field series; below: lubrication terms; both join without a step.
 * Interpolation error < 1e-5 relative. delta <= 1e-9 (contact, overlap) is taken
 * as 1e-9. Immutable; built once per process by nrw_floor_table_get
 * (thread-safe), about 2 ms. Borrowed, never freed. */
typedef struct nrw_floor_table nrw_floor_table;
const nrw_floor_table *nrw_floor_table_get(void);

nrw_floor_mobility nrw_floor_mobility_at(const nrw_floor_table *table, double delta);

/* The same for n gaps at once, single precision; every array (n). About 4 ns a
 * particle. The outputs must not overlap the input. */
void nrw_floor_mobility_array(const nrw_floor_table *table, size_t n, const float *delta, float *mt,
                              float *mz, float *mr, float *ms, float *rolling, float *dmz);

/* --- flows of point singularities above the floor z = 0, no slip there ---- */

/* Velocity at `at` (µm/s) of a point torque (pN·µm) at height h above the floor,
 * source at (0, 0, h): Blake & Chwang 1974, J. Eng. Math. 8:23. */
nrw_vec3 nrw_rotlet_floor_um_s(nrw_vec3 torque, double h_um, nrw_vec3 at, double viscosity_Pa_s);
nrw_vec3 nrw_rotlet_unbounded_um_s(nrw_vec3 torque, nrw_vec3 r, double viscosity_Pa_s);

/* Velocity that this flow gives to a force- and torque-free sphere of radius a
 * centred at `at`: (1 + a²/6 ∇²) of it. The direct part and the image of a
 * vertical torque are harmonic, so that only a torque along the floor gets a
 * correction. Source: Faxén 1922; Swan & Brady 2007. */
nrw_vec3 nrw_rotlet_floor_faxen_um_s(nrw_vec3 torque, double h_um, double radius_um, nrw_vec3 at,
                                     double viscosity_Pa_s);

/* Angular velocity (half the vorticity) at r from a point torque in unbounded
 * fluid, rad/s: Kim & Karrila 1991. */
nrw_vec3 nrw_rotlet_unbounded_spin_rad_s(nrw_vec3 torque, nrw_vec3 r, double viscosity_Pa_s);

/* Blake's tensor in units 1/(8πη): velocity G·F of a point force. Row i is the
 * velocity component. Blake 1971, Proc. Camb. Phil. Soc. 70:303. */
void nrw_stokeslet_floor(double h_um, nrw_vec3 at, double tensor[3][3]);

/* Oseen's tensor in units 1/(8πη), r != 0. */
void nrw_stokeslet_unbounded(nrw_vec3 r, double tensor[3][3]);

/* Rotne-Prager-Yamakawa pair mobility over 1/(6πηa) along and across r, equal
 * spheres, any r > 0 (Rotne & Prager 1969, Yamakawa 1970). */
void nrw_rpy_pair(double r_over_a, double *along, double *across);

#endif
