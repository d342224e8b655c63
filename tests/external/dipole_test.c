/* Dipole physics against values of the world outside (rows DIP-...). Inputs in
 * SI there: 1e-14 A·m² = 10 fA·m², 1e-6 m = 1 µm; results are converted back. */
#include "external_row.h"

#include "dipole.h"

static const double T = 1e-3, N = 1e-12, J = 1e-18; /* of mT, pN, pN·µm */

/* The general pair of rows DIP-09 to DIP-12. */
static const nrw_vec3 m1 = {10.0 / 3, 20.0 / 3, 20.0 / 3}, m2 = {20.0 / 3, -10.0 / 3, 20.0 / 3};
static const nrw_vec3 r12 = {2, 1, -2}, r21 = {-2, -1, 2};

/* Jackson 1999, section 5.6. */
Test(external_dipole, field)
{
    nrw_vec3 m = {0, 0, 10};
    assert_row("DIP-01", T * nrw_dipole_field_mT(m, (nrw_vec3){0, 0, 2}).z, 0.00025, ROUNDING);
    assert_row("DIP-02", T * nrw_dipole_field_mT(m, (nrw_vec3){2, 0, 0}).z, -0.000125, ROUNDING);
    double s = 10.0 / sqrt(14.0);
    nrw_vec3 b = nrw_dipole_field_mT((nrw_vec3){s, 2 * s, 3 * s}, (nrw_vec3){1, -2, 2});
    assert_row("DIP-03y", T * b.y, -3.959425806e-05, PRINTED);
    assert_row("DIP-03z", T * b.z, -9.898564515e-06, PRINTED);
}

/* Jackson 1999, section 5.6; Yung, Landecker & Villani 1998. */
Test(external_dipole, energy_and_force_of_parallel_moments)
{
    nrw_vec3 m = {0, 0, 10}, ahead = {0, 0, 2}, beside = {2, 0, 0};
    assert_row("DIP-04", J * nrw_dipole_energy_pN_um(m, m, ahead), -2.5e-18, ROUNDING);
    assert_row("DIP-06", N * nrw_dipole_force_pN(m, m, ahead).z, -3.75e-12, ROUNDING);
    assert_row("DIP-07", N * nrw_dipole_force_pN(m, m, beside).x, 1.875e-12, ROUNDING);
    double angle = NRW_PI / 6;
    nrw_vec3 tilted = {10 * cos(angle), 10 * sin(angle), 0};
    assert_row("DIP-08r", N * nrw_dipole_force_pN(tilted, tilted, beside).x, -2.34375e-12,
               ROUNDING);
}

/* Jackson 1999, section 5.6. */
Test(external_dipole, general_pair)
{
    nrw_vec3 f = nrw_dipole_force_pN(m1, m2, r12);
    nrw_vec3 t2 = nrw_dipole_torque_pN_um(m1, m2, r12), t1 = nrw_dipole_torque_pN_um(m2, m1, r21);
    assert_row("DIP-09x", N * f.x, 9.602194787e-14, PRINTED);
    assert_row("DIP-09y", N * f.y, 2.743484225e-14, PRINTED);
    assert_row("DIP-09z", N * f.z, -1.371742112e-13, PRINTED);
    assert_row("DIP-10y", J * t2.y, 8.230452675e-20, PRINTED);
    assert_row("DIP-10z", J * t2.z, -2.057613169e-19, PRINTED);
    assert_row("DIP-11x", J * t1.x, -1.646090535e-19, PRINTED);
    assert_row("DIP-11z", J * t1.z, 2.469135802e-19, PRINTED);
}

/* Identity: torques and the moment of the force cancel. */
Test(external_dipole, angular_momentum_balances)
{
    nrw_vec3 t2 = nrw_dipole_torque_pN_um(m1, m2, r12), t1 = nrw_dipole_torque_pN_um(m2, m1, r21);
    nrw_vec3 orbital = nrw_vec3_cross(r12, nrw_dipole_force_pN(m1, m2, r12));
    nrw_vec3 total = nrw_vec3_add(nrw_vec3_add(t1, t2), orbital);
    assert_row_near("DIP-12", nrw_vec3_norm(total), 0, 1e-12 * nrw_vec3_norm(t1));

    double c = 10 * sqrt(0.5);
    nrw_vec3 m = {c, c, 0}, r = {2, 0, 0}, back = {-2, 0, 0};
    nrw_vec3 both =
        nrw_vec3_add(nrw_dipole_torque_pN_um(m, m, r), nrw_dipole_torque_pN_um(m, m, back));
    assert_row("DIP-13", J * nrw_vec3_norm(both), 3.75e-18, ROUNDING);
    nrw_vec3 moment_of_force = nrw_vec3_cross(r, nrw_dipole_force_pN(m, m, r));
    assert_row("DIP-13", J * nrw_vec3_norm(moment_of_force), 3.75e-18, ROUNDING);
}

/* Moments that follow a drive: a unit vector precessing about z at half-angle
 * cone, or an elliptical field of half-axes 1 and minor. */
static nrw_vec3 precessing(double cone_rad, double phase)
{
    return (nrw_vec3){sin(cone_rad) * cos(phase), sin(cone_rad) * sin(phase), cos(cone_rad)};
}

static nrw_vec3 elliptical(double minor, double phase)
{
    return (nrw_vec3){cos(phase), minor * sin(phase), 0};
}

/* Mean energy of the pair over a period in units µ0 m²/4πr³, both from the
 * instantaneous energies and from the mean tensor, which must agree. */
static double mean_energy(nrw_vec3 (*drive)(double, double), double parameter, nrw_vec3 n)
{
    enum { PHASES = 64 }; /* the integrand has two harmonics: any number above 4 is exact */
    double sum = 0;
    nrw_sym3 tensor = {0};
    for (int i = 0; i < PHASES; i++) {
        nrw_vec3 m = drive(parameter, 2.0 * NRW_PI * i / PHASES);
        sum += nrw_dipole_energy_pN_um(m, m, n) / PHASES;
        tensor = nrw_sym3_add_scaled(tensor, nrw_sym3_outer(m), 1.0 / PHASES);
    }
    double averaged = nrw_averaged_energy_pN_um(tensor, n);
    cr_assert_float_eq(sum, averaged, 1e-14, "%g against %g", sum, averaged);
    return averaged / NRW_MU0_4PI;
}

/* Martin et al. 1998 (from memory) and identities. */
Test(external_dipole, pair_energy_averaged_over_a_period)
{
    const nrw_vec3 x = {1, 0, 0}, y = {0, 1, 0}, z = {0, 0, 1};
    assert_row("DIP-15", mean_energy(precessing, NRW_PI / 2, x), -0.5, 1e-9);
    assert_row("DIP-16", mean_energy(precessing, NRW_PI / 2, z), 1.0, 1e-9);
    assert_row("DIP-17", mean_energy(precessing, NRW_PI / 6, x), 0.625, 1e-9);
    assert_row("DIP-19x", mean_energy(elliptical, 0.5, x), -0.875, 1e-9);
    assert_row("DIP-19y", mean_energy(elliptical, 0.5, y), 0.25, 1e-9);
}

/* Identity: 1 - 2 minor² = 0. */
Test(external_dipole, ellipticity_where_the_minor_axis_stops_attracting)
{
    double low = 0, high = 1;
    for (int i = 0; i < 60; i++) {
        double middle = 0.5 * (low + high);
        if (mean_energy(elliptical, middle, (nrw_vec3){0, 1, 0}) > 0)
            low = middle;
        else
            high = middle;
    }
    assert_row_near("DIP-20", low, 0.7071067812, 1e-9);
}

static double chain_energy(int n)
{
    nrw_vec3 m = {1, 0, 0};
    double sum = 0;
    for (int i = 0; i < n; i++)
        for (int j = i + 1; j < n; j++)
            sum += nrw_dipole_energy_pN_um(m, m, (nrw_vec3){j - i, 0, 0});
    return sum / NRW_MU0_4PI;
}

/* Identities: sums over the chain. */
Test(external_dipole, chains)
{
    assert_row("DIP-23", chain_energy(10), -20.85110425, PRINTED);

    /* Infinite chain: neighbours to K one by one, the rest by Euler-Maclaurin,
     * whose next term, 30/(720 K⁶)·…, is below 1e-15. */
    enum { K = 400 };
    nrw_vec3 m = {1, 0, 0};
    double sum = 0;
    for (int k = K; k >= 1; k--)
        sum += nrw_dipole_energy_pN_um(m, m, (nrw_vec3){k, 0, 0}) / NRW_MU0_4PI;
    double f = 2.0 / pow(K, 3), slope = -6.0 / pow(K, 4);
    sum -= 1.0 / ((double)K * K) - 0.5 * f - slope / 12.0;
    assert_row("DIP-22", sum, -2.404113806, PRINTED);
}

/* Prokopieva et al. 2009 (from memory): a ring lies lower than a chain. */
Test(external_dipole, ring_of_tangential_moments)
{
    enum { COUNT = 10 };
    double radius = 0.5 / sin(NRW_PI / COUNT), sum = 0;
    nrw_vec3 at[COUNT], m[COUNT];
    for (int i = 0; i < COUNT; i++) {
        double angle = 2.0 * NRW_PI * i / COUNT;
        at[i] = (nrw_vec3){radius * cos(angle), radius * sin(angle), 0};
        m[i] = (nrw_vec3){-sin(angle), cos(angle), 0};
    }
    for (int i = 0; i < COUNT; i++)
        for (int j = i + 1; j < COUNT; j++) {
            nrw_vec3 r = nrw_vec3_add(at[j], nrw_vec3_scale(at[i], -1));
            sum += nrw_dipole_energy_pN_um(m[i], m[j], r);
        }
    assert_row("DIP-24", sum / NRW_MU0_4PI, -22.72236875, PRINTED);
    cr_assert_lt(sum / NRW_MU0_4PI, chain_energy(COUNT));
}
