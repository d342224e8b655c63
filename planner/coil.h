/* Coils from their geometry: field, inductance, uniformity.
 *
 * Round coils of thin wire or thin sheet, Biot and Savart by complete elliptic
 * integrals. Lengths in mm, currents in A, field in mT; with them µ0 is
 * 0.4π mT·mm/A (rounded as everywhere: 2019 SI is 1 + 5.5e-10 times that). For a
 * rig without calibration; a measured mT_per_A is better. */
#ifndef NRW_COIL_H
#define NRW_COIL_H

#include <stddef.h>

#define NRW_MU0_MT_MM_A 1.2566370614359172954

/* A round coil; with `length_mm` a solenoid of one thin layer, otherwise all
 * turns in one circle. Plain data. */
typedef struct nrw_coil {
    double centre_mm[3];
    double axis[3]; /* any length but 0; the field points along it inside for current > 0 */
    double radius_mm;
    double length_mm; /* 0: flat */
    double turns;     /* negative: wound the other way */
} nrw_coil;

/* --- fields about the z axis ----------------------------------------------- */

/* Loop of radius_mm in the plane z = 0: along-radius and along-axis parts at
 * (rho_mm >= 0, z_mm). NAN on the wire itself. Relative error about 1e-13 of
 * |B|. Source: Jackson, Classical Electrodynamics, section 5.5; Simpson, Lane,
 * Immer and Youngquist 2001, written with Carlson's integrals so that nothing
 * cancels near the axis. */
void nrw_coil_loop_mT(double radius_mm, double current_A, double rho_mm, double z_mm,
                      double *rho_mT, double *z_mT);

/* Solenoid of one thin layer centred on the origin. NAN at rho_mm = radius_mm,
 * the sheet itself. Source: Derby and Olbert 2010, Am. J. Phys. 78:229. */
void nrw_coil_solenoid_mT(double radius_mm, double length_mm, double turns, double current_A,
                          double rho_mm, double z_mm, double *rho_mT, double *z_mT);

/* Field in mT at a point of the coil's frame of reference, for current_A. */
void nrw_coil_field_mT(const nrw_coil *coil, double current_A, const double at_mm[3],
                       double field_mT[3]);

/* Two equal coaxial flat coils `spacing_mm` apart about `centre_mm`, the
 * Helmholtz pair when the spacing is the radius. */
void nrw_coil_pair(double radius_mm, double spacing_mm, double turns, const double centre_mm[3],
                   const double axis[3], nrw_coil pair[2]);

/* Sum of the fields of n coils in series. */
void nrw_coil_group_mT(const nrw_coil *coils, size_t n, double current_A, const double at_mm[3],
                       double field_mT[3]);

/* Largest |B(r) − B(0)|/|B(0)| in a disc of radius_mm about `centre_mm` in the
 * plane z = centre: on 24 rays and 8 radii, the rim included. */
double nrw_coil_group_nonuniformity(const nrw_coil *coils, size_t n, const double centre_mm[3],
                                    double radius_mm);

/* --- circuits ---------------------------------------------------------------- */

/* Mutual inductance in µH of two coaxial loops of one turn: Maxwell 1873,
 * section 701; Grover 1946. */
double nrw_coil_mutual_coaxial_uH(double radius_1_mm, double radius_2_mm, double distance_mm);

/* Mutual inductance in µH of two flat coils anywhere, by Neumann's double
 * integral on 128 x 128 points, which converges exponentially while they keep
 * about a tenth of a radius apart. */
double nrw_coil_mutual_uH(const nrw_coil *a, const nrw_coil *b);

/* Self-inductance in µH of a flat coil with a rectangular winding: Maxwell's
 * loop with the geometric mean distance 0.2235 (width + height). Error some
 * percent while the winding is thin against the radius. */
double nrw_coil_self_uH(double radius_mm, double turns, double winding_width_mm,
                        double winding_height_mm);

/* Copper winding: resistance at a temperature, 1.68e-8 ohm·m at 20 °C and
 * 0.00393 per °C (IEC 60028 rounds to 1.724e-8 for annealed wire; the bulk value
 * is kept and differs by less than a coil's own spread). */
double nrw_coil_copper_ohm(double radius_mm, double turns, double wire_mm2, double temperature_C);
double nrw_coil_warm_ohm(double resistance_20C_ohm, double temperature_C);

/* Capacitance that cancels an inductance at a frequency, 1/(4π²f²L), in F. */
double nrw_coil_resonance_F(double inductance_H, double frequency_Hz);

/* Quality factor ωL/R. */
double nrw_coil_quality(double resistance_ohm, double inductance_H, double frequency_Hz);

/* Energy of the field of a coil in J: ½ L I². */
double nrw_coil_energy_J(double inductance_H, double current_A);

#endif
