/* Water: the two viscosity formulas agree, and the density joins without a step. */
#include <criterion/criterion.h>
#include <math.h>

#include "fluid.h"
#include "units.h"

Test(fluid, two_viscosity_formulas_agree)
{
    /* The correlation at 0.1 MPa is a fit to the other; its stated deviation is 1 %
     * at the cold end and far less elsewhere. */
    for (int t = 1; t <= 95; t++) {
        double kelvin = t + NRW_ZERO_CELSIUS_K;
        double density = nrw_water_density_kg_m3(t);
        double ratio =
            nrw_water_viscosity_Pa_s(kelvin) / nrw_water_viscosity_iapws_Pa_s(kelvin, density);
        cr_assert_float_eq(ratio, 1.0, 2e-3, "%d °C: %g", t, ratio);
    }
}

Test(fluid, warm_water_is_thinner_and_lighter)
{
    for (int t = 5; t < 95; t++) {
        double kelvin = t + NRW_ZERO_CELSIUS_K;
        cr_assert_lt(nrw_water_viscosity_Pa_s(kelvin + 1), nrw_water_viscosity_Pa_s(kelvin));
        cr_assert_lt(nrw_water_density_kg_m3(t + 1), nrw_water_density_kg_m3(t));
        cr_assert_lt(nrw_water_permittivity(t + 1), nrw_water_permittivity(t));
    }
}

Test(fluid, density_peaks_near_four_degrees)
{
    cr_assert_gt(nrw_water_density_kg_m3(3.983), nrw_water_density_kg_m3(3.5));
    cr_assert_gt(nrw_water_density_kg_m3(3.983), nrw_water_density_kg_m3(4.5));
}

Test(fluid, density_formulas_join_without_a_step)
{
    double step = nrw_water_density_kg_m3(40 + 1e-9) - nrw_water_density_kg_m3(40);
    cr_assert_float_eq(step, 0, 1e-8);
    /* and nearly without a kink: slopes of about -0.38 kg/m³/K on both sides */
    double below = nrw_water_density_kg_m3(40) - nrw_water_density_kg_m3(39.9);
    double above = nrw_water_density_kg_m3(40.1) - nrw_water_density_kg_m3(40);
    cr_assert_float_eq(below / above, 1, 5e-3);
    /* Kell's own value at 80 °C (CRC Handbook: 971.79), within the shift at the join. */
    cr_assert_float_eq(nrw_water_density_kg_m3(80), 971.79, 0.02);
}

/* Malmberg & Maryott 1956: 78.30 at 25 °C, as in the CRC Handbook. */
Test(fluid, permittivity_at_room_temperature)
{
    cr_assert_float_eq(nrw_water_permittivity(25), 78.30, 0.01);
}
