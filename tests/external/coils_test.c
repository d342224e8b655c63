/* Coils and circuits against values of the world outside. The row's id stands
 * beside each check; the values were computed apart from this code, with ten
 * printed digits, so that a relative 1e-9 is the least that can be asked. */
#include <criterion/criterion.h>
#include <math.h>

#include "coil.h"
#include "rig.h"
#include "units.h"

#define PRINTED 5e-10 /* half a unit of the tenth digit */

static void assert_row(const char *id, double got, double value, double relative)
{
    cr_assert_float_eq(got, value, relative * fabs(value), "%s: %.12g against %.12g", id, got,
                       value);
}

/* µ0 = 4π·1e-7 T·m/A as in the table; T from mT, m from mm. */
static double loop_axis_T(double radius_m, double z_m)
{
    double rho_mT, z_mT;
    nrw_coil_loop_mT(radius_m * 1e3, 1.0, 0.0, z_m * 1e3, &rho_mT, &z_mT);
    return z_mT * 1e-3;
}

static void pair_T(const double at_m[3], double field_T[3])
{
    const double centre[3] = {0, 0, 0}, axis[3] = {0, 0, 1};
    const double at_mm[3] = {at_m[0] * 1e3, at_m[1] * 1e3, at_m[2] * 1e3};
    nrw_coil pair[2];
    nrw_coil_pair(50.0, 50.0, 100.0, centre, axis, pair);
    nrw_coil_group_mT(pair, 2, 1.0, at_mm, field_T);
    for (int i = 0; i < 3; i++)
        field_T[i] *= 1e-3;
}

/* Jackson, Classical Electrodynamics, section 5.5. */
Test(external_coils, loop_on_its_axis)
{
    assert_row("COI-01", loop_axis_T(0.05, 0.0), 1.256637061e-05, PRINTED);
    assert_row("COI-02", loop_axis_T(0.05, 0.05), 4.442882938e-06, PRINTED);
}

/* Standard: (4/5)^1.5 µ0 N I/R; identities computed from two loops. */
Test(external_coils, helmholtz_pair)
{
    double middle[3], off[3];
    pair_T((const double[3]){0, 0, 0}, middle);
    assert_row("COI-04", middle[2], 0.001798352571, PRINTED);
    pair_T((const double[3]){0, 0, 0.005}, off);
    /* the deviation is 1e-4 of the field, so that rounding at 1e-15 leaves 1e-11 */
    assert_row("COI-05", off[2] / middle[2] - 1.0, -0.0001139423245, 1e-7);
    assert_row("COI-06", -(144.0 / 125.0) * pow(0.1, 4), -0.0001152, 1e-12);
    assert_row("COI-06 against the exact sum", off[2] / middle[2] - 1.0, -0.0001152, 0.0125);
    pair_T((const double[3]){0.005, 0, 0}, off);
    assert_row("COI-08", off[2] / middle[2] - 1.0, -4.359527347e-05, 1e-6);
    assert_row("COI-08's leading term", -(54.0 / 125.0) * 1e-4, -4.359527347e-05, 0.01);
}

/* Simpson, Lane, Immer and Youngquist 2001 (NASA/TM-2013-217919; from memory),
 * checked there by quadrature. k against m = k² is the trap. */
Test(external_coils, loop_off_its_axis)
{
    const struct {
        double rho, z;
        const char *z_id;
        double b_z;
        const char *rho_id; /* NULL: no row */
        double b_rho;
    } rows[] = {
        {0.5, 0.5, "COI-07bz", 0.34583167, "COI-07br", 0.1286680849},
        {0.9, 0.2, "COI-07cz", 0.5500503197, NULL, 0},
        {2.0, 1.0, "COI-07dz", -0.005021573072, "COI-07dr", 0.03216702122},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        double b_rho, b_z;
        nrw_coil_loop_mT(1.0, 1.0, rows[i].rho, rows[i].z, &b_rho, &b_z);
        assert_row(rows[i].z_id, b_z / NRW_MU0_MT_MM_A, rows[i].b_z, 1e-8);
        if (rows[i].rho_id)
            assert_row(rows[i].rho_id, b_rho / NRW_MU0_MT_MM_A, rows[i].b_rho, 1e-8);
    }
}

/* Standard. */
Test(external_coils, finite_solenoid)
{
    double rho_mT, z_mT;
    nrw_coil_solenoid_mT(20.0, 100.0, 500.0, 1.0, 0.0, 0.0, &rho_mT, &z_mT);
    assert_row("COI-10", z_mT * 1e-3, 0.005833791102, PRINTED);
    nrw_coil_solenoid_mT(20.0, 100.0, 500.0, 1.0, 0.0, 50.0, &rho_mT, &z_mT);
    assert_row("COI-11", z_mT * 1e-3, 0.003080585047, PRINTED);
}

/* Maxwell; Grover, Inductance Calculations, 1946. */
Test(external_coils, mutual_inductance_of_coaxial_loops)
{
    assert_row("COI-12", nrw_coil_mutual_coaxial_uH(50, 50, 50) * 1e-6, 2.470392315e-08, 1e-8);
}

/* Standard. */
Test(external_coils, impedance_voltage_lag_and_heat)
{
    const double r = 2.0, l = 10e-3, f = 50.0;
    assert_row("COI-14", nrw_rig_impedance_ohm(r, l, f), 3.724191778, PRINTED);
    assert_row("COI-15", 5.0 * nrw_rig_impedance_ohm(r, l, f), 18.62095889, PRINTED);
    assert_row("COI-16", nrw_rig_lag_deg(r, l, f), 57.51836341, PRINTED);
    assert_row("COI-18", nrw_coil_resonance_F(l, f), 0.001013211836, PRINTED);
    assert_row("COI-19", nrw_coil_quality(r, l, f), 1.570796327, PRINTED);
    assert_row("COI-20", nrw_rig_heat_W(r, 5.0 / sqrt(2.0)), 25.0, 1e-12);
}

/* COI-15 once more through the whole path: a rig, a drive, its peak voltage. */
Test(external_coils, rig_asks_for_the_voltage_of_the_impedance)
{
    nrw_rig rig = {
        .present = true, .field_max_mT = 1e3, .frequency_max_Hz = 1e3, .sample_rate_Hz = 1e4};
    for (int i = 0; i < 2; i++)
        rig.axes[i] = (nrw_rig_axis){.present = true,
                                     .mT_per_A = 2.0,
                                     .resistance_ohm = 2.0,
                                     .inductance_mH = 10.0,
                                     .current_max_A = 100.0,
                                     .voltage_max_V = 100.0};
    nrw_rig_model model;
    cr_assert_eq(nrw_rig_model_init(&model, &rig, NULL), NRW_OK);
    nrw_drive_setting setting = nrw_drive_setting_defaults();
    setting.field_mT = 10.0; /* 5 A */
    setting.frequency_Hz = 50.0;
    const nrw_rig_demand demand = nrw_rig_demand_of(&model, &setting);
    assert_row("COI-15", demand.largest[NRW_RIG_PEAK_V][0], 18.62095889, 1e-9);
    assert_row("COI-15", demand.largest[NRW_RIG_PEAK_V][1], 18.62095889, 1e-9);
}

/* Identities of linear algebra, computed apart. */
Test(external_coils, currents_of_coupled_and_of_redundant_coils)
{
    const double coupled[3][3] = {{10, 0, 0}, {0, 8, 0}, {1, 0, 6}};
    nrw_rig_model model;
    cr_assert_eq(nrw_rig_model_of_matrix(&model, 3, &coupled[0][0], NULL), NRW_OK);
    double currents[NRW_COILS_MAX];
    nrw_rig_currents_A(&model, (const double[3]){5, 4, 2}, currents);
    assert_row("COI-22", currents[2], 0.25, 1e-10);

    const double redundant[3][4] = {{1, 0, 0.5, 0.5}, {0, 1, 0.5, -0.5}, {0, 0, 0, 0}};
    cr_assert_eq(nrw_rig_model_of_matrix(&model, 4, &redundant[0][0], NULL), NRW_OK);
    nrw_rig_currents_A(&model, (const double[3]){1, 0, 0}, currents);
    assert_row("COI-23", currents[0], 0.6666666667, 1e-10);
    assert_row("COI-24", currents[2], 0.3333333333, 1.1e-10 /* ten printed digits */);
}
