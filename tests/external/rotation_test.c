/* Rotation of magnetic particles against values of the world outside (rows
 * ROT-...). Rows that need the stepping simulation are checked elsewhere. */
#include "external_row.h"

#include "dipole.h"
#include "mobility.h"
#include "particle.h"
#include "spheroid.h"

static const double eta = 8.9e-4;

/* Adler 1946 type equation; Cebers & Ozols 2006, PRE 73:021505 (from memory). */
Test(external_rotation, step_out)
{
    double critical = nrw_step_out_rad_s(10, 1, nrw_spin_drag_pN_um_s(2, eta));
    assert_row("ROT-01", critical, 447.0644469, PRINTED);
    assert_row("ROT-02", critical / (2 * NRW_PI), 71.1525166, 1e-9);
}

/* Adler 1946, identity; ROT-07: an induced uniaxial particle obeys the same law
 * with the torque's amplitude at double angle (Tierno et al. 2009, from memory). */
Test(external_rotation, mean_rate_above_step_out)
{
    assert_row("ROT-04a", nrw_mean_spin_rad_s(1.1 * 7, 7) / 7, 0.6417424305, PRINTED);
    assert_row("ROT-04b", nrw_mean_spin_rad_s(1.25 * 7, 7) / 7, 0.5, ROUNDING);
    assert_row("ROT-04c", nrw_mean_spin_rad_s(2 * 7, 7) / 7, 0.2679491924, PRINTED);
    assert_row("ROT-07", nrw_mean_spin_rad_s(2 * 7, 7) / 7, 0.2679491924, PRINTED);
}

/* Perrin: a spheroid of equal volume steps out earlier, by its tumbling drag. */
Test(external_rotation, step_out_of_a_spheroid)
{
    assert_row("ROT-06", 1.0 / nrw_spheroid_friction_of(2).tumble, 0.6644843948, PRINTED);
}

/* Melle et al. 2003, PRE 68:041503 (Mn = 12² ηω/µ0M², from memory): drag at the
 * speed 2aω over the dipole force of touching spheres side by side. */
Test(external_rotation, mason_number)
{
    double a = 0.7, omega = 2 * NRW_PI * 10;           /* any radius */
    double moment = nrw_sphere_volume_um3(2 * a) * 10; /* M = 10 kA/m */
    nrw_vec3 m = {0, moment, 0}, beside = {2 * a, 0, 0};
    double viscous = nrw_drag_pN_s_um(2 * a, eta) * 2 * a * omega;
    double mason = viscous / nrw_dipole_force_pN(m, m, beside).x;
    /* The row's µ0 is 4π·1e-7, as this code's. */
    assert_row("ROT-08a, ROT-08c", mason, 0.06408, 1e-10);
}

/* Identity: free-draining beads of a chain against the largest torque of its
 * bonds, both proportional to N - 1 and N(N² - 1): N(N + 1) = balance. */
Test(external_rotation, longest_chain_that_follows)
{
    double c = 10 * sqrt(0.5), d = 2, omega = 2 * NRW_PI * 10;
    nrw_vec3 m = {c, c, 0}, r = {d, 0, 0}; /* moments at 45° to the bond */
    double bond = fabs(nrw_vec3_cross(r, nrw_dipole_force_pN(m, m, r)).z);
    double balance = 12 * bond / (nrw_drag_pN_s_um(2, eta) * omega * d * d);
    assert_row("ROT-10", -0.5 + sqrt(0.25 + balance), 2.804977684, PRINTED);
}

/* Goldman, Cox & Brenner 1967, leading logarithms (from memory). */
Test(external_rotation, rolling_at_contact)
{
    nrw_floor_resistance near = nrw_floor_resistance_lubrication(1e-12);
    nrw_floor_resistance nearer = nrw_floor_resistance_lubrication(1e-13);
    assert_row("ROT-12", (nearer.Fr - near.Fr) / (nearer.Ft - near.Ft), 0.25, 1e-12);
    /* and the exact solution tends to it: the next term is δ ln δ */
    near = nrw_floor_resistance_exact(2e-4);
    nearer = nrw_floor_resistance_exact(1e-4);
    assert_row("ROT-12", (nearer.Fr - near.Fr) / (nearer.Ft - near.Ft), 0.25, 2e-3);
}

/* Goldman, Cox & Brenner 1967; h/a = 1.05, a = 1.5 µm, 10 Hz. */
Test(external_rotation, rolling_speed)
{
    double rolling = nrw_floor_mobility_at(nrw_floor_table_get(), 0.05).rolling;
    assert_row("ROT-13", 1e-6 * rolling * 1.5 * 2 * NRW_PI * 10, 6.66889357e-06, 1e-5);
}
