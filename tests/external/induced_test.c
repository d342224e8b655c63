/* Induced moments against values of the world outside (rows IND-...). */
#include "external_row.h"

#include "dipole.h"
#include "particle.h"
#include "spheroid.h"

/* Clausius-Mossotti; Jackson 1999, sections 4.4 and 5.11 (from memory). */
Test(external_induced, sphere_susceptibility)
{
    assert_row("IND-01", nrw_sphere_susceptibility(1), 0.75, ROUNDING);
    assert_row("IND-02", nrw_sphere_susceptibility(10), 2.307692308, PRINTED);
}

enum { MOST = 3 };

/* Moments over m0 of touching spheres (diameter 2) along x in a unit field. */
static void touching(size_t n, double susceptibility, nrw_vec3 field, double moments[MOST][3])
{
    double positions[MOST][3] = {{0}}, polarisabilities[MOST], workspace[9 * MOST];
    for (size_t i = 0; i < n; i++) {
        positions[i][0] = 2.0 * (double)i;
        polarisabilities[i] = nrw_sphere_polarisability_fAm2_mT(2.0, susceptibility);
        moments[i][0] = moments[i][1] = moments[i][2] = 0;
    }
    nrw_status status = nrw_mutual_induction(n, (const double(*)[3])positions, polarisabilities,
                                             field, 1e-14, moments, workspace, NULL);
    cr_assert_eq(status, NRW_OK);
    for (size_t i = 0; i < n; i++)
        for (int k = 0; k < 3; k++)
            moments[i][k] /= polarisabilities[i];
}

/* Identities of self-consistent point dipoles, K = chi/(3 + chi). */
Test(external_induced, two_and_three_touching_spheres)
{
    const nrw_vec3 along = {1, 0, 0}, across = {0, 1, 0};
    double m[MOST][3];
    touching(2, 1.0, along, m);
    assert_row("IND-04a", m[0][0], 1.066666667, PRINTED);
    touching(2, 1.0, across, m);
    assert_row("IND-05a", m[0][1], 0.9696969697, PRINTED);
    touching(2, INFINITY, along, m);
    assert_row("IND-04b", m[0][0], 1.333333333, PRINTED);
    touching(3, INFINITY, along, m);
    assert_row("IND-08c", m[1][0], 1.740740741, PRINTED);
    double angle = NRW_PI / 6;
    nrw_vec3 field = {cos(angle), sin(angle), 0};
    touching(2, 1.0, field, m);
    double torque = 0;
    for (int i = 0; i < 2; i++)
        torque += m[i][0] * field.y - m[i][1] * field.x;
    /* Positive: anticlockwise, the pair turns into the field. */
    assert_row("IND-09", torque / 2, 0.04198911049, PRINTED);
}

/* Identities, K = 1: a sphere of an infinite touching chain sees the sum of all
 * the others' fields, here to 400 neighbours and the rest by Euler-Maclaurin. */
Test(external_induced, infinite_touching_chain)
{
    enum { NEIGHBOURS = 400 };
    const double k = NEIGHBOURS;
    double polarisability = nrw_sphere_polarisability_fAm2_mT(2.0, INFINITY);
    double along = 0, across = 0;
    for (int i = NEIGHBOURS; i >= 1; i--) {
        nrw_vec3 r = {2.0 * i, 0, 0};
        along += 2.0 * nrw_dipole_field_mT((nrw_vec3){1, 0, 0}, r).x;
        across += 2.0 * nrw_dipole_field_mT((nrw_vec3){0, 1, 0}, r).y;
    }
    double tail = 0.5 / (k * k) - 0.5 / (k * k * k) + 0.25 / (k * k * k * k); /* Σ_{i>k} i⁻³ */
    along += 2.0 * nrw_dipole_field_mT((nrw_vec3){1, 0, 0}, (nrw_vec3){2, 0, 0}).x * tail;
    across += 2.0 * nrw_dipole_field_mT((nrw_vec3){0, 1, 0}, (nrw_vec3){2, 0, 0}).y * tail;
    assert_row("IND-06", 1.0 / (1.0 - polarisability * along), 2.506444392, PRINTED);
    assert_row("IND-07", 1.0 / (1.0 - polarisability * across), 0.7689266139, PRINTED);
}

/* Jiles, Introduction to Magnetism (from memory). */
Test(external_induced, froehlich_kennelly)
{
    assert_row("IND-10", 1e3 * nrw_froehlich_kennelly_kA_m(446, 3, 100), 179356.5684, PRINTED);
}

/* Langevin 1905. */
Test(external_induced, langevin)
{
    assert_row("IND-11a", nrw_langevin(0.1), 0.03331113225, PRINTED);
    assert_row("IND-11c", nrw_langevin(5), 0.800090804, 1e-9);
    assert_row("IND-11d", nrw_langevin(20), 0.95, 1e-9);
    assert_row("IND-12", nrw_langevin(1e-5), 3.333333333e-06, PRINTED);
}

/* Osborn 1945, Phys. Rev. 67:351 (from memory); IND-14: Stratton 1941. */
Test(external_induced, spheroids)
{
    assert_row("IND-13b", nrw_spheroid_demagnetising(2), 0.1735639975, PRINTED);
    assert_row("IND-13c", nrw_spheroid_demagnetising(3), 0.1087094651, PRINTED);
    assert_row("IND-13d", nrw_spheroid_demagnetising(5), 0.0558209698, 1e-9);
    assert_row("IND-14", nrw_spheroid_induced_torque(2, 1, NRW_PI / 4), 0.07225015025, PRINTED);
}
