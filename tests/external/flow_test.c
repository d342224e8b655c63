/* Flow in ducts, tubes and networks against values of the world outside (rows
 * FLO-...). SI figures of the rows in µm: m³/s = 1e18 µm³/s, Pa·s/m³ = 1e-18
 * Pa·s/µm³. */
#include "external_row.h"

#include "flow_duct.h"
#include "flow_network.h"
#include "flow_shear.h"
#include "flow_vessel.h"
#include "mobility.h"
#include "units.h"

/* Bruus, Theoretical Microfluidics 2008, table 4.1 (from memory). */
Test(external_flow, resistances_of_tube_and_plates)
{
    assert_row("FLO-01", 1e18 * nrw_tube_resistance(1e3, 50, 1e-3), 4.074366543e+11, PRINTED);
    assert_row("FLO-02", 1e18 * nrw_plates_resistance(1e3, 1e3, 100, 1e-3), 1.2e+10, ROUNDING);
}

/* Bruus 2008, eq. 3.48f; White, Viscous Fluid Flow (from memory). */
Test(external_flow, rectangular_duct)
{
    assert_row("FLO-03b", nrw_duct_factor(2), 0.6860450314, PRINTED);
    assert_row("FLO-03c", nrw_duct_factor(5), 0.8739502626, PRINTED);
    /* 1 - 0.63 h/w is the approximation that Bruus gives: 0.685 at w/h = 2 (FLO-04),
     * said to be within 0.2 % of the exact value there */
    assert_row("FLO-04", 1 - 0.63 / 2, 0.685, ROUNDING);
    cr_assert(fabs(nrw_duct_factor(2) - (1 - 0.63 / 2)) < 0.002 * nrw_duct_factor(2));
    /* the resistance uses the factor: w/h = 2 between plates */
    double plates = nrw_plates_resistance(1e3, 200, 100, 1e-3);
    assert_row("FLO-03b as a resistance", plates / nrw_duct_resistance(1e3, 200, 100, 1e-3),
               0.6860450314, PRINTED);
    assert_row("FLO-03c, deep", plates / nrw_duct_resistance(1e3, 500, 100, 1e-3) * 200 / 500,
               0.8739502626, PRINTED);
}

/* Poiseuille. */
Test(external_flow, centre_velocity_and_wall_shear)
{
    double flow = 1e-12 * 1e18;
    assert_row("FLO-06", 1e-6 * nrw_tube_centre_velocity_um_s(flow, 50), 0.0002546479089, PRINTED);
    assert_row("FLO-07", nrw_tube_wall_shear_per_s(flow, 50), 10.18591636, PRINTED);
    assert_row("FLO-08", nrw_plates_wall_shear_per_s(flow, 1e3, 100), 0.6, ROUNDING);
    /* the profile of a wide duct has that shear on its floor, in the middle; its width
     * of 10 depths leaves 1e-6 of the side walls there, and its factor applies */
    double slope[2], depth = 100, width = 1e3;
    double gradient = flow / nrw_duct_conductance_um4(width, depth);
    (void)nrw_duct_profile_um2(width, depth, 0, 1e-6, slope);
    assert_row("FLO-08 by the profile", gradient * slope[1] * nrw_duct_factor(10), 0.6, 1e-6);
}

/* Solves a network with node 0 at pressure 1 and the last one at 0. */
static void solve_between_ends(const nrw_resistor *resistors, size_t n_resistors, size_t n_nodes,
                               double *pressures, double *flows)
{
    bool is_given[8] = {0};
    double pressure[8] = {0}, inflow[8] = {0};
    is_given[0] = is_given[n_nodes - 1] = true;
    pressure[0] = 1;
    nrw_flow_network network = {resistors, n_resistors, is_given, pressure, inflow, n_nodes};
    cr_assert_eq(nrw_flow_network_solve(&network, pressures, flows, NULL), NRW_OK);
}

/* Identities of nodal analysis: nodes in, A, B, out. */
Test(external_flow, bridge)
{
    const nrw_resistor resistors[] = {{0, 1, 1}, {1, 3, 2}, {0, 2, 3}, {2, 3, 4}, {1, 2, 5}};
    double p[4], q[5];
    solve_between_ends(resistors, 5, 4, p, q);
    assert_row("FLO-10a", p[1], 0.6580645161, PRINTED);
    assert_row("FLO-10b", q[4], 0.01290322581, PRINTED);
    assert_row("FLO-10c", 1 / (q[0] + q[2]), 2.094594595, PRINTED);
}

/* Twelve unit edges between the corners of a cube; corners differ in one bit. */
Test(external_flow, cube_of_unit_resistors)
{
    nrw_resistor resistors[12];
    size_t n = 0;
    for (int a = 0; a < 8; a++)
        for (int bit = 1; bit < 8; bit *= 2)
            if (!(a & bit))
                resistors[n++] = (nrw_resistor){a, a | bit, 1};
    double p[8], q[12], total = 0;
    solve_between_ends(resistors, n, 8, p, q);
    for (size_t k = 0; k < n; k++)
        total += resistors[k].from == 0 ? q[k] : 0;
    assert_row("FLO-12", 1 / total, 5.0 / 6, ROUNDING);
}

Test(external_flow, series_and_parallel)
{
    const nrw_resistor resistors[] = {{0, 1, 1}, {1, 2, 2}, {1, 2, 3}};
    double p[3], q[3];
    solve_between_ends(resistors, 3, 3, p, q);
    assert_row("FLO-24", 1 / q[0], 2.2, ROUNDING);
    assert_row("FLO-25", q[1] / q[0], 0.6, ROUNDING);
}

/* Murray 1926, J. Gen. Physiol. 9:835 (37.47 degrees; from memory). */
Test(external_flow, branching)
{
    double branch = nrw_murray_radius(1, cbrt(0.5));
    assert_row("FLO-14", nrw_murray_angle_rad(1, branch, branch) / NRW_DEGREE, 37.46731121,
               PRINTED);
    assert_row("FLO-15", nrw_murray_radius(1, 0.7), 0.8693375853, PRINTED);
}

static void assert_typical(const char *id, nrw_typical got, double value, double low, double high)
{
    assert_row(id, got.value, value, ROUNDING);
    assert_row(id, got.low, low, ROUNDING);
    assert_row(id, got.high, high, ROUNDING);
}

/* Burton 1954, Physiol. Rev. 34:619; Guyton & Hall (both from memory, typical). */
Test(external_flow, vessels)
{
    const nrw_vessel_preset *capillary = nrw_vessel_preset_of("capillary");
    assert_typical("FLO-16", capillary->diameter_um, 8, 5, 10);
    assert_typical("FLO-18", nrw_vessel_preset_of("venule")->diameter_um, 20, 10, 200);
    assert_typical("FLO-19", capillary->velocity_mm_s, 0.5, 0.3, 1);
    assert_typical("FLO-20", nrw_vessel_preset_of("terminal arteriole")->velocity_mm_s, 5, 1, 10);
}

Test(external_flow, guards_of_slow_flow)
{
    assert_row("FLO-22", nrw_reynolds_number(1.5, 20, 997, 8.9e-4), 3.360674157e-05, PRINTED);
    assert_row("FLO-23", nrw_sphere_relaxation_s(1, 5260, 8.9e-4), 1.313358302e-06, PRINTED);
}

/* Goldman, Cox & Brenner 1967 part II, Chem. Eng. Sci. 22:653: velocity U/hS of a
 * free sphere in shear above a floor (table, from memory, five digits), and force and
 * torque on a held one at contact (1.7005, 0.9440). */
Test(external_flow, sphere_in_shear_above_a_floor)
{
    static const double rows[][2] = {{10.0677, 0.99969}, {3.7622, 0.99436}, {2.3524, 0.97768},
                                     {1.5431, 0.92185},  {1.1276, 0.76692}, {1.0453, 0.65375},
                                     {1.005004, 0.47861}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        double delta = rows[i][0] - 1;
        nrw_floor_mobility m = nrw_floor_mobility_exact(delta);
        nrw_shear_motion got = nrw_shear_motion_of(delta, m.mt, m.mr, m.rolling);
        /* the table's heights have five digits and it interpolates: 2e-4 */
        assert_row("GCB 1967 II, velocity", got.velocity, rows[i][1], 2e-4);
    }
    assert_row("GCB 1967 II, force at contact", nrw_shear_force(0), 1.7005, 1e-4);
    assert_row("GCB 1967 II, torque at contact", nrw_shear_torque(0), 0.9440, 1e-4);
}
