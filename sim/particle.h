/* One particle: moment, drag, weight, the gap under it. */
#ifndef NRW_PARTICLE_H
#define NRW_PARTICLE_H

#include "scenario.h"

/* chi_eff = 3 chi/(3 + chi) of a sphere (Clausius-Mossotti form). */
double nrw_sphere_susceptibility(double susceptibility);

/* Volume of a sphere, µm³. */
double nrw_sphere_volume_um3(double diameter_um);

/* Moment in fA·m² of a particle of the scenario at field_mT: permanent, or
 * induced with Fröhlich-Kennelly saturation. */
double nrw_particle_moment_fAm2(const nrw_particles *particles, double diameter_um,
                                double field_mT);

/* Magnetisation law M(H), kA/m in and out (Fröhlich-Kennelly; see Jiles). */
double nrw_froehlich_kennelly_kA_m(double saturation_kA_m, double susceptibility, double h_kA_m);
double nrw_langevin(double x); /* coth x - 1/x, series near 0; relative error < 1e-12 */

/* Buoyant weight in pN (positive sinks). */
double nrw_particle_weight_pN(const nrw_scenario *scenario, double diameter_um);

/* Force in pN between floor and sphere at a gap from the screened double layer
 * (linear superposition, equal potentials; Gregory 1975 form): positive repels. */
double nrw_double_layer_pN(const nrw_scenario *scenario, double diameter_um, double gap_um);
/* Its two parameters: force = amplitude_pN · exp(-gap/debye_um). */
void nrw_double_layer_parameters(const nrw_scenario *scenario, double diameter_um,
                                 double *amplitude_pN, double *debye_um);

/* Gap in µm under a lone particle that carries `load_pN` (weight + magnetic,
 * positive down): balance of forces, never below the roughness. With
 * `thermal`, the Boltzmann mean over gap >= roughness of exp(-U/kT), by
 * adaptive quadrature (GSL), bounded by the ceiling. A given surface.gap_um is
 * returned as it is. */
double nrw_particle_gap_um(const nrw_scenario *scenario, double diameter_um, double load_pN,
                           bool thermal);

/* Gap between two touching particles pressed by force_pN (double layer of two
 * equal spheres), >= roughness. */
double nrw_contact_gap_um(const nrw_scenario *scenario, double force_pN);

double nrw_thermal_energy_pN_um(const nrw_scenario *scenario); /* kT */

#endif
