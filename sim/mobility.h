/* Hydrodynamic mobility of a sphere near a plane no-slip floor.
 *
 * Exact functions (bispherical coordinates), used to fill a table once, and the
 * table, used while stepping. Lengths in radii; delta = gap/radius. Corrections
 * are resistance ratios to the unbounded values 6πηa, 8πηa³ (docs/physics.md,
 * section 5). */
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
 * (Tz). Relative error below 1e-6 for delta >= 1e-4 (measured in the tests). */
typedef struct nrw_floor_resistance {
    double Ft, Tt, Fr, Tr, Fz, Tz;
} nrw_floor_resistance;

nrw_floor_resistance nrw_floor_resistance_exact(double delta);

/* Single exact functions, for tests and asymptotics. */
double nrw_floor_perpendicular_exact(double height_over_radius); /* Brenner 1961 */
double nrw_floor_spin_exact(double height_over_radius);          /* Jeffery 1915; 1 = contact */

/* Mobilities of a force- and torque-driven sphere, ratios to 1/6πηa, 1/8πηa³:
 * translation along the floor mt, normal mz, rotation about an axis along the
 * floor mr, about the normal ms; rolling: velocity of a force-free sphere over
 * a·W, direction as a wheel. Unbounded: 1, 1, 1, 1, 0. dmz: d mz / d delta. */
typedef struct nrw_floor_mobility {
    double mt, mz, mr, ms, rolling, dmz;
} nrw_floor_mobility;

/* Table over ln(delta) in 1e-4 ... 1e2 (beyond: far-field series, continuous);
 * below 1e-4 the ends' lubrication forms. Interpolation error < 1e-4 relative.
 * Immutable; built once per process by nrw_floor_table (thread-safe), about
 * 10 ms. Borrowed, never freed. */
typedef struct nrw_floor_table nrw_floor_table;
const nrw_floor_table *nrw_floor_table_get(void);

nrw_floor_mobility nrw_floor_mobility_at(const nrw_floor_table *table, double delta);

/* --- flows of point singularities above the floor z = 0, no slip there ---- */

/* Velocity at `at` (µm/s) of a point torque (pN·µm) at height h above the floor,
 * source at (0, 0, h): Blake & Chwang 1974, J. Eng. Math. 8:23. */
nrw_vec3 nrw_rotlet_floor_um_s(nrw_vec3 torque, double h_um, nrw_vec3 at, double viscosity_Pa_s);
nrw_vec3 nrw_rotlet_unbounded_um_s(nrw_vec3 torque, nrw_vec3 r, double viscosity_Pa_s);

/* Blake's tensor in units 1/(8πη): velocity G·F of a point force. Row i is the
 * velocity component. Blake 1971, Proc. Camb. Phil. Soc. 70:303. */
void nrw_stokeslet_floor(double h_um, nrw_vec3 at, double tensor[3][3]);

/* Rotne-Prager-Yamakawa pair mobility over 1/(6πηa) along and across r, equal
 * spheres, any r > 0 (Rotne & Prager 1969, Yamakawa 1970). */
void nrw_rpy_pair(double r_over_a, double *along, double *across);

#endif
