/* One particle: moment, drag, weight, the gap under it.
 *
 * Pure functions, safe in any thread. Equations: docs/physics.md, sections 3
 * and 5. */
#ifndef NRW_PARTICLE_H
#define NRW_PARTICLE_H

#include "scenario.h"

/* chi_eff = 3 chi/(3 + chi) of a sphere (Clausius-Mossotti form); 3 for an
 * infinite susceptibility. */
double nrw_sphere_susceptibility(double susceptibility);

/* Volume of a sphere, µm³. */
double nrw_sphere_volume_um3(double diameter_um);

/* Moment in fA·m² of a particle of the scenario at field_mT: permanent (of the
 * nominal diameter; other diameters by volume), or induced with the
 * saturation of the material in its own internal field H0 - M/3
 * (self-consistent). */
double nrw_particle_moment_fAm2(const nrw_particles *particles, double diameter_um,
                                double field_mT);

/* Magnetisation of a sphere in an applied field H0, kA/m in and out: solves
 * M = law(H0 - M/3), the sphere's own demagnetising field taken off. saturation_kA_m may
 * be INFINITY. Odd in applied_kA_m; to rounding. About 0.1 µs with Langevin's law, whose
 * equation is solved by Newton's method. */
double nrw_sphere_magnetisation_kA_m(nrw_magnetisation_law law, double saturation_kA_m,
                                     double susceptibility, double applied_kA_m);

/* Langevin's law M(H) of an initial susceptibility, kA/m in and out: Ms L(3 χH/Ms). Odd;
 * linear for an infinite saturation. */
double nrw_langevin_kA_m(double saturation_kA_m, double susceptibility, double h_kA_m);

/* Magnetisation law M(H), kA/m in and out (Fröhlich-Kennelly; see Jiles). Odd in
 * h_kA_m; linear for an infinite saturation. */
double nrw_froehlich_kennelly_kA_m(double saturation_kA_m, double susceptibility, double h_kA_m);
double nrw_langevin(double x); /* coth x - 1/x, series near 0; relative error < 1e-12 */

/* Buoyant weight in pN (positive sinks); 0 when model.gravity is off. */
double nrw_particle_weight_pN(const nrw_scenario *scenario, double diameter_um);

/* Force in pN between floor and sphere at a gap from the screened double layer
 * (linear superposition, equal potentials; Gregory 1975 form): positive repels.
 * Water's permittivity at the scenario's temperature, for custom media too. */
double nrw_double_layer_pN(const nrw_scenario *scenario, double diameter_um, double gap_um);
/* Its two parameters: force = amplitude_pN · exp(-gap/debye_um). Between two
 * equal spheres of that diameter the amplitude is half of it (Derjaguin 1934). */
void nrw_double_layer_parameters(const nrw_scenario *scenario, double diameter_um,
                                 double *amplitude_pN, double *debye_um);

/* Gap in µm under a lone particle that carries `load_pN` (weight + magnetic,
 * positive down): balance of forces, never below the roughness. With
 * `thermal`, the Boltzmann mean over gap >= roughness of exp(-U/kT), by
 * Gauss-Kronrod quadrature (relative error < 1e-6), bounded by the ceiling. A
 * given surface.gap_um is returned as it is. A particle that does not sink
 * (load <= 0) rests at the ceiling (balance), or has the mean of a slit with a
 * hard ceiling (thermal); without a ceiling both are INFINITY. The ceiling's own
 * double layer is left out. About 10 µs with `thermal`. */
double nrw_particle_gap_um(const nrw_scenario *scenario, double diameter_um, double load_pN,
                           bool thermal);

/* Gap between two touching particles pressed by force_pN (double layer of two
 * equal spheres of the nominal diameter), >= roughness. INFINITY for a force
 * that does not press (<= 0). */
double nrw_contact_gap_um(const nrw_scenario *scenario, double force_pN);

double nrw_thermal_energy_pN_um(const nrw_scenario *scenario); /* kT */

/* --- drag and spin of a sphere in unbounded fluid ------------------------- */

double nrw_drag_pN_s_um(double diameter_um, double viscosity_Pa_s);      /* 6πηa, Stokes 1851 */
double nrw_spin_drag_pN_um_s(double diameter_um, double viscosity_Pa_s); /* 8πηa³, Kirchhoff 1876 */

/* Largest rate in rad/s at which a permanent moment follows a turning field:
 * mB/ζ_r. */
double nrw_step_out_rad_s(double moment_fAm2, double field_mT, double spin_drag_pN_um_s);

/* Mean rate of the moment in a field turning at omega, both rad/s: omega up to
 * step-out, omega - sqrt(omega² - step_out²) above (Adler 1946). Odd in omega. */
double nrw_mean_spin_rad_s(double omega_rad_s, double step_out_rad_s);

/* Size s of the mean unit moment in the frame that turns with the field: 1 up to
 * step-out, (omega - sqrt(omega² - step_out²))/step_out above, where particles
 * dephase. Their pair tensor is s² times that of moments which follow. */
double nrw_dephasing(double omega_rad_s, double step_out_rad_s);

#endif
