/* Flow in straight ducts: profiles against finite differences and their own
 * integrals, tapers against sums. */
#include <criterion/criterion.h>
#include <math.h>

#include "flow_duct.h"
#include "units.h"

static const double SECTIONS[][2] = {{220, 60}, {60, 60}, {16, 60}, {2000, 50}, {3, 80}};
enum { N_SECTIONS = sizeof SECTIONS / sizeof *SECTIONS };

static void assert_near(double got, double wanted, double tolerance)
{
    cr_assert(fabs(got - wanted) <= tolerance, "%.12g against %.12g", got, wanted);
}

Test(flow_duct, factor_is_the_plain_series)
{
    for (double aspect = 1; aspect < 40; aspect *= 1.7) {
        double sum = 0;
        for (int n = 4001; n >= 1; n -= 2)
            sum += 192 / (pow(NRW_PI * n, 5) * aspect) * tanh(0.5 * n * NRW_PI * aspect);
        assert_near(nrw_duct_factor(aspect), 1 - sum, 1e-13);
    }
}

/* Poisson's equation: the Laplacian of the profile is -1. */
Test(flow_duct, profile_answers_a_unit_gradient)
{
    for (size_t k = 0; k < N_SECTIONS; k++) {
        double w = SECTIONS[k][0], h = SECTIONS[k][1], e = 0.01 * fmin(w, h);
        for (double fy = -0.4; fy < 0.41; fy += 0.2)
            for (double fz = 0.1; fz < 0.91; fz += 0.2) {
                double y = fy * w, z = fz * h;
                double laplacian = nrw_duct_profile_um2(w, h, y + e, z, NULL) +
                                   nrw_duct_profile_um2(w, h, y - e, z, NULL) +
                                   nrw_duct_profile_um2(w, h, y, z + e, NULL) +
                                   nrw_duct_profile_um2(w, h, y, z - e, NULL) -
                                   4 * nrw_duct_profile_um2(w, h, y, z, NULL);
                /* differences: e² of the fourth derivatives, e below a tenth of any length
                 * over which the profile changes */
                assert_near(laplacian / (e * e), -1, 0.01);
            }
    }
}

Test(flow_duct, no_slip_on_all_four_walls)
{
    for (size_t k = 0; k < N_SECTIONS; k++) {
        double w = SECTIONS[k][0], h = SECTIONS[k][1];
        double most = nrw_duct_profile_um2(w, h, 0, 0.5 * h, NULL);
        /* the largest slope is that on the nearer walls' middle, below 4 most/shorter
         * side times 1.6 */
        double step = 1e-4 * fmin(w, h), bound = 1e-3 * most;
        for (double f = -0.45; f < 0.46; f += 0.05) {
            cr_assert(nrw_duct_profile_um2(w, h, f * w, step, NULL) < bound);
            cr_assert(nrw_duct_profile_um2(w, h, f * w, h - step, NULL) < bound);
            cr_assert(nrw_duct_profile_um2(w, h, 0.5 * w - step, (f + 0.5) * h, NULL) < bound);
            cr_assert(nrw_duct_profile_um2(w, h, step - 0.5 * w, (f + 0.5) * h, NULL) < bound);
        }
    }
}

Test(flow_duct, slopes_are_the_profiles_derivatives)
{
    for (size_t k = 0; k < N_SECTIONS; k++) {
        double w = SECTIONS[k][0], h = SECTIONS[k][1], e = 1e-4 * fmin(w, h);
        for (double fy = -0.45; fy < 0.46; fy += 0.15)
            for (double fz = 0.05; fz < 0.96; fz += 0.15) {
                double y = fy * w, z = fz * h, slope[2];
                (void)nrw_duct_profile_um2(w, h, y, z, slope);
                double by_y = (nrw_duct_profile_um2(w, h, y + e, z, NULL) -
                               nrw_duct_profile_um2(w, h, y - e, z, NULL)) /
                              (2 * e);
                double by_z = (nrw_duct_profile_um2(w, h, y, z + e, NULL) -
                               nrw_duct_profile_um2(w, h, y, z - e, NULL)) /
                              (2 * e);
                /* the series ends where the profile is good to 1e-9 of it; e divides that */
                assert_near(slope[0], by_y, 1e-4 * fmin(w, h));
                assert_near(slope[1], by_z, 1e-4 * fmin(w, h));
            }
    }
}

/* Midpoint sums of n x n cells: errors of the square of a cell's share of the
 * shorter side, by a factor below 0.1 (1/24 for a parabola between its walls). */
Test(flow_duct, profile_carries_the_flow_of_the_conductance)
{
    enum { CELLS = 200 };
    for (size_t k = 0; k < N_SECTIONS; k++) {
        double w = SECTIONS[k][0], h = SECTIONS[k][1], flow = 0, by_depth = 0;
        double cell = fmax(w, h) / (CELLS * fmin(w, h)), tolerance = 1e-4 + 0.1 * cell * cell;
        for (int i = 0; i < CELLS; i++) {
            double y = w * ((i + 0.5) / CELLS - 0.5), column = 0;
            for (int j = 0; j < CELLS; j++)
                column += nrw_duct_profile_um2(w, h, y, h * (j + 0.5) / CELLS, NULL) * h / CELLS;
            double integral = nrw_duct_depth_integral_um3(w, h, y);
            if (i > 4 && i < CELLS - 5)
                assert_near(column / integral, 1, tolerance);
            flow += column * w / CELLS;
            by_depth += integral * w / CELLS;
        }
        assert_near(flow / nrw_duct_conductance_um4(w, h), 1, tolerance);
        assert_near(by_depth / nrw_duct_conductance_um4(w, h), 1, tolerance);
    }
}

Test(flow_duct, wide_ducts_have_the_parabola_in_the_middle)
{
    double slope[2];
    for (double z = 5; z < 50; z += 5)
        /* e^{-nπw/2h} of the side walls, w/h = 40: nothing left in double precision */
        assert_near(nrw_duct_profile_um2(2000, 50, 0, z, slope), 0.5 * z * (50 - z), 1e-9);
    assert_near(slope[1], 25 - 45, 1e-9);
}

Test(flow_duct, turning_a_section_on_its_side_changes_nothing)
{
    assert_near(nrw_duct_conductance_um4(220, 60), nrw_duct_conductance_um4(60, 220), 0);
    double a[2], b[2];
    double upright = nrw_duct_profile_um2(220, 60, -30, 12, a);
    double aside = nrw_duct_profile_um2(60, 220, 12 - 30, 110 - 30, b);
    assert_near(upright, aside, 1e-9);
    assert_near(a[0], b[1], 1e-9);
    assert_near(a[1], b[0], 1e-9);
}

Test(flow_duct, outside_there_is_no_flow)
{
    double slope[2];
    assert_near(nrw_duct_profile_um2(100, 50, 51, 20, slope), 0, 0);
    assert_near(nrw_duct_profile_um2(100, 50, 0, -1, slope), 0, 0);
    assert_near(nrw_duct_profile_um2(100, 50, 0, 51, slope), 0, 0);
    assert_near(slope[0] + slope[1], 0, 0);
    assert_near(nrw_duct_depth_integral_um3(100, 50, -50), 0, 0);
}

Test(flow_duct, a_taper_is_the_sum_of_its_slices)
{
    enum { SLICES = 20000 };
    static const double tapers[][2] = {{220, 16}, {16, 220}, {50, 50}, {3, 900}};
    for (size_t k = 0; k < sizeof tapers / sizeof *tapers; k++) {
        double from = tapers[k][0], to = tapers[k][1], sum = 0;
        for (int i = 0; i < SLICES; i++)
            sum += nrw_duct_resistance(130.0 / SLICES, from + (to - from) * (i + 0.5) / SLICES, 60,
                                       1e-3);
        /* midpoint slices: (relative change in one)²/24 near the narrow end */
        double change = fabs(to - from) / fmin(from, to) / SLICES;
        assert_near(nrw_duct_taper_resistance(130, from, to, 60, 1e-3) / sum, 1,
                    1e-9 + change * change);
    }
}

Test(flow_duct, pulses_are_steady_when_slow)
{
    /* 60 µm of water at 1 Hz: 30e-6 sqrt(2π·997/8.9e-4) */
    assert_near(nrw_womersley_number(60, 1, 997, 8.9e-4), 0.07959, 1e-5);
}
