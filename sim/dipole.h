/* Point dipoles in plain double precision: the reference for the wide kernels,
 * and the mutual induction of magnetisable spheres.
 *
 * r points from dipole 1 to dipole 2 (µm, not zero); moments in fA·m², fields in
 * mT, forces in pN, torques and energies in pN·µm. Source of all: Jackson 1999,
 * section 5.6; forces: Yung, Landecker & Villani 1998 (docs/physics.md, section
 * 4). Pure, safe in any thread. */
#ifndef NRW_DIPOLE_H
#define NRW_DIPOLE_H

#include <stddef.h>

#include "error.h"
#include "units.h"
#include "vec3.h"

/* Field at r from a dipole at the origin. */
nrw_vec3 nrw_dipole_field_mT(nrw_vec3 moment, nrw_vec3 r);

/* Energy of the pair; force and torque on dipole 2 (the force on 1 is opposite;
 * the torque on 1 is nrw_dipole_torque_pN_um with moments swapped, r reversed). */
double nrw_dipole_energy_pN_um(nrw_vec3 moment_1, nrw_vec3 moment_2, nrw_vec3 r);
nrw_vec3 nrw_dipole_force_pN(nrw_vec3 moment_1, nrw_vec3 moment_2, nrw_vec3 r);
nrw_vec3 nrw_dipole_torque_pN_um(nrw_vec3 moment_1, nrw_vec3 moment_2, nrw_vec3 r);

/* The same averaged over a period, when both moments are common and only their
 * mean product matters: tensor = <m m^T> in (fA·m²)²
 * (docs/physics.md, eqs. 7.1 and 7.2). */
double nrw_averaged_energy_pN_um(nrw_sym3 tensor, nrw_vec3 r);
nrw_vec3 nrw_averaged_force_pN(nrw_sym3 tensor, nrw_vec3 r);

/* Moment per field of a magnetisable sphere without saturation, fA·m²/mT:
 * V chi_eff/µ0. */
double nrw_sphere_polarisability_fAm2_mT(double diameter_um, double susceptibility);

/* Self-consistent moments of n spheres in a uniform field:
 *   m_i = alpha_i (B + Σ_j field of m_j at i).
 *   positions_um (n x 3); polarisabilities (n) in fA·m²/mT, all > 0;
 *   moments (n x 3): in, a first guess (zeros, or the last step's), out, the solution;
 *   tolerance: relative residual to reach, e.g. 1e-8;
 *   workspace (nrw_mutual_induction_workspace(n)) doubles, so that nothing is allocated.
 * Conjugate gradients with the polarisabilities as preconditioner, matrix-free:
 * O(n²) an iteration, 5-20 iterations; the matrix is positive definite as long
 * as the point-dipole model is stable. Returns NRW_DIVERGED (described in
 * `errors`) if it is not (spheres that overlap) or in 500 iterations. Thread
 * safe; bits do not depend on anything but the input. */
nrw_status nrw_mutual_induction(size_t n, const double (*positions_um)[3],
                                const double *polarisabilities, nrw_vec3 field_mT, double tolerance,
                                double (*moments)[3], double *workspace, nrw_errors *errors);

/* Doubles of workspace that n spheres need. */
size_t nrw_mutual_induction_workspace(size_t n);

#endif
