/* Slow steady flow in straight ducts: resistances and profiles.
 *
 * Pure functions, safe in any thread. Pressure in Pa, flow in µm³/s, resistance
 * in Pa·s/µm³; Q = Δp/R. Sources: Poiseuille 1840 for the tube; Boussinesq 1868
 * for the rectangle, in the form of Bruus, Theoretical Microfluidics 2008, eqs.
 * 3.48 and 3.49, and table 4.1 (docs/flow.md). */
#ifndef NRW_FLOW_DUCT_H
#define NRW_FLOW_DUCT_H

double nrw_tube_resistance(double length_um, double radius_um, double viscosity_Pa_s);

/* Between plates that are far wider than apart: the side walls left out. */
double nrw_plates_resistance(double length_um, double width_um, double depth_um,
                             double viscosity_Pa_s);

/* Share of the flow between plates that a rectangle passes, for its longer side
 * over its shorter one, at least 1: Q = w h³ Δp/(12ηL) × factor. Relative error
 * below 1e-14. */
double nrw_duct_factor(double aspect);

/* Flow of a rectangle per pressure gradient over the viscosity, µm⁴: Q = C G/η. */
double nrw_duct_conductance_um4(double width_um, double depth_um);

double nrw_duct_resistance(double length_um, double width_um, double depth_um,
                           double viscosity_Pa_s);

/* A piece whose width goes linearly from one value to the other: ∫ η ds/C(w(s)),
 * the lubrication limit of gentle tapers. Gauss-Legendre over stretches within
 * which the width doubles at most: relative error below 1e-9. */
double nrw_duct_taper_resistance(double length_um, double width_from_um, double width_to_um,
                                 double depth_um, double viscosity_Pa_s);

/* Velocity in a rectangle |y| <= width/2, 0 <= z <= depth over G/η, µm²; slope (may
 * be NULL) gets its derivatives by y and z, µm. 0 on the walls and outside. The
 * error is below 2e-5 of the largest value (slopes: 2e-3 of the largest, on a side
 * wall itself). 0.1 to 2 µs, the longer time within a hundredth of the depth of a
 * wall. */
double nrw_duct_profile_um2(double width_um, double depth_um, double y_um, double z_um,
                            double slope[2]);

/* The same, integrated over the depth, µm³: flow per width at y. */
double nrw_duct_depth_integral_um3(double width_um, double depth_um, double y_um);

/* --- figures of a tube and of plates that carry a given flow ------------------ */

double nrw_tube_centre_velocity_um_s(double flow_um3_s, double radius_um);
double nrw_tube_wall_shear_per_s(double flow_um3_s, double radius_um);
double nrw_plates_wall_shear_per_s(double flow_um3_s, double width_um, double depth_um);

/* --- how slow is slow ---------------------------------------------------------- */

/* ρUL/η for a length (µm), a velocity (µm/s) and the fluid. */
double nrw_reynolds_number(double length_um, double velocity_um_s, double density_kg_m3,
                           double viscosity_Pa_s);

/* Time in which a sphere's velocity settles to its forces, s: 2ρa²/(9η), density of
 * the sphere. */
double nrw_sphere_relaxation_s(double radius_um, double density_kg_m3, double viscosity_Pa_s);

/* Half the depth times sqrt(ωρ/η): below 1 a pulsating flow is the steady one at
 * every instant (Womersley 1955, J. Physiol. 127:553). */
double nrw_womersley_number(double depth_um, double frequency_Hz, double density_kg_m3,
                            double viscosity_Pa_s);

#endif
