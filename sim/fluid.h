/* Properties of the fluid. */
#ifndef NRW_FLUID_H
#define NRW_FLUID_H

/* Viscosity of liquid water at 0.1 MPa, Pa·s, for 253 K <= T <= 383 K. Source:
 * Huber et al. 2009, J. Phys. Chem. Ref. Data 38:101 (0.1 MPa correlation). */
double nrw_water_viscosity_Pa_s(double temperature_K);

/* Viscosity of water at temperature and density, Pa·s. Source: IAPWS R12-08,
 * mu0(T)·mu1(T, rho) without the critical enhancement. */
double nrw_water_viscosity_iapws_Pa_s(double temperature_K, double density_kg_m3);

/* Density of air-free water at 101.325 kPa, kg/m³, for 0...40 °C. Source:
 * Tanaka et al. 2001, Metrologia 38:301. Above 40 °C: Kell 1975 (see .c). */
double nrw_water_density_kg_m3(double temperature_C);

/* Relative permittivity of water for 0...100 °C. Source: Malmberg & Maryott
 * 1956, J. Res. Natl. Bur. Stand. 56:1 (error 0.1 %). */
double nrw_water_permittivity(double temperature_C);

#endif
