/* The coherent set of units used inside, and the few constants in it.
 *
 * Length µm, time s, force pN, torque and energy pN·µm, field mT, moment fA·m²
 * (1e-15 A·m²), viscosity Pa·s (= pN·s/µm²), mass density kg/m³ at boundaries
 * only. In this set moment·field is pN·µm and µ0/4π is 0.1, so that no other
 * conversion factor appears in a kernel (docs/physics.md, section 1). */
#ifndef NRW_UNITS_H
#define NRW_UNITS_H

#define NRW_PI 3.14159265358979323846
/* µ0/4π in pN·µm·µm³/(fA·m²)²; rounded as everywhere (2019 SI: 1 + 5.5e-10). */
#define NRW_MU0_4PI 0.1
/* Boltzmann's constant, exact in the 2019 SI, in pN·µm/K. */
#define NRW_BOLTZMANN 1.380649e-5
/* Standard gravity 9.80665 m/s². Weight in pN of V µm³ with Δρ kg/m³:
 * Δρ V g × 1e-6. */
#define NRW_GRAVITY 9.80665
#define NRW_WEIGHT_PN_PER_KG_M3_UM3 (NRW_GRAVITY * 1e-6)
#define NRW_DEGREE (NRW_PI / 180.0)
#define NRW_ZERO_CELSIUS_K 273.15

typedef struct nrw_vec3 {
    double x, y, z;
} nrw_vec3;

#endif
