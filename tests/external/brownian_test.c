/* Thermal figures against values of the world outside (rows BRO-...). Rows that
 * need the stepping simulation are checked elsewhere. */
#include "external_row.h"

#include <string.h>

#include "mobility.h"
#include "particle.h"

static const double eta = 8.9e-4;

/* Spheres of 2 µm at 25 °C, 53 kg/m³ denser than the fluid (polystyrene). */
static nrw_scenario polystyrene(void)
{
    nrw_scenario s;
    memset(&s, 0, sizeof s);
    s.fluid.temperature_C = 25;
    s.fluid.viscosity_Pa_s = eta;
    s.fluid.density_kg_m3 = 997;
    s.particles.diameter_um = 2;
    s.particles.density_kg_m3 = 1050;
    s.particles.debye_nm = 10;
    s.particles.surface_gap_um = NAN;
    s.map.has_floor = true;
    s.map.depth_um = INFINITY;
    s.model.gravity = true;
    return s;
}

/* SI 2019; Einstein 1905; Debye 1929. */
Test(external_brownian, diffusion)
{
    nrw_scenario s = polystyrene();
    double kT = nrw_thermal_energy_pN_um(&s), D = kT / nrw_drag_pN_s_um(2, eta);
    double D_r = kT / nrw_spin_drag_pN_um_s(2, eta);
    assert_row("BRO-01", 1e-18 * kT, 4.116404994e-21, PRINTED);
    assert_row("BRO-02", 1e-12 * D, 2.453731095e-13, PRINTED);
    assert_row("BRO-04", D_r, 0.1840298322, PRINTED);
    assert_row("BRO-06", exp(-D_r * 2), 0.6920758882, PRINTED);
    assert_row("BRO-13", 10.0 * 1.0 / D, 40.75426202, PRINTED);
    /* Goldman, Cox & Brenner 1967: with the spin held; free to turn it is < 1 % faster. */
    nrw_floor_resistance r = nrw_floor_resistance_exact(0.1);
    assert_row("BRO-14", 1e-12 * D / r.Ft, 1.08365844e-13, 1e-5);
    double free_to_turn = 1e-12 * D * nrw_floor_mobility_at(nrw_floor_table_get(), 0.1).mt;
    cr_assert_gt(free_to_turn, 1.08365844e-13);
    cr_assert_lt(free_to_turn, 1.01 * 1.08365844e-13);
}

/* Barometric height kT/W: of the formula, and of the Boltzmann mean over a smooth
 * floor without charge. */
Test(external_brownian, mean_height_over_the_floor)
{
    nrw_scenario s = polystyrene();
    double weight = nrw_particle_weight_pN(&s, 2), kT = nrw_thermal_energy_pN_um(&s);
    assert_row("BRO-12", 1e-6 * kT / weight, 1.890744919e-06, PRINTED);
    /* The tail beyond e^-45 is cut: 1e-18. */
    assert_row("BRO-12", 1e-6 * nrw_particle_gap_um(&s, 2, weight, true), 1.890744919e-06, 1e-9);
}
