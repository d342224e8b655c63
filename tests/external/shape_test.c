/* Shapes of point sets against identities and published densities. The row's id
 * stands beside each check with its source. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>

#include "disc_union.h"
#include "morphology.h"
#include "scenario.h"
#include "straight_route.h"
#include "units.h"

enum { MOST = 1200 };

static double x[MOST], y[MOST], z[MOST], radius[MOST];

static void expect_within(const char *id, double got, double value, double relative)
{
    cr_expect_float_eq(got, value, relative * fabs(value), "%s: %.12g against %.12g", id, got,
                       value);
}

static nrw_morphology measure(size_t n)
{
    nrw_morphology seen;
    nrw_channel *route = straight_route(0.0, 0.0, 1000.0, 0.0);
    nrw_morphology_work *work = nrw_morphology_work_create(n);
    cr_assert_not_null(work);
    for (size_t i = 0; i < n; i++) {
        z[i] = 1.6;
        radius[i] = 1.5;
    }
    nrw_morphology_measure(work, route, n, x, y, z, radius, 0.0, &seen, NULL);
    nrw_morphology_work_destroy(work);
    nrw_channel_destroy(route);
    return seen;
}

/* Variances along the two axes of the ellipse. */
static double large_variance(const nrw_morphology *seen)
{
    return seen->major_um * seen->major_um / 16.0;
}

static double small_variance(const nrw_morphology *seen)
{
    return seen->minor_um * seen->minor_um / 16.0;
}

static double radius_of_gyration(const nrw_morphology *seen)
{
    return 0.5 * seen->spread_um;
}

/* Rings of equal area, twelve points on each at the radius that halves the
 * ring's area: their mean square radius is that of the disc exactly, and a
 * regular polygon has equal second moments in all directions. */
static nrw_morphology measure_disc(double disc_radius)
{
    enum { RINGS = 100, POINTS = 12 };
    for (size_t k = 0; k < RINGS; k++)
        for (size_t i = 0; i < POINTS; i++) {
            double r = disc_radius * sqrt(((double)k + 0.5) / RINGS);
            double angle = 2.0 * NRW_PI * (double)i / POINTS + 0.1 * (double)k;
            x[k * POINTS + i] = r * cos(angle);
            y[k * POINTS + i] = r * sin(angle);
        }
    return measure(RINGS * POINTS);
}

/* Identities. */
Test(external_shape, disc)
{
    nrw_morphology disc = measure_disc(1.0);
    expect_within("GEO-10", large_variance(&disc), 0.25, 1e-12);
    expect_within("GEO-10", small_variance(&disc), 0.25, 1e-12);
    expect_within("GEO-12", radius_of_gyration(&disc), 0.7071067812, 1e-10); /* printed digits */
    expect_within("GEO-12", radius_of_gyration(&disc), sqrt(0.5), 1e-12);
    expect_within("the ellipse of a disc is its rim", disc.major_um, 2.0, 1e-12);
}

/* Identity. Chebyshev's equal-weight nodes for four points integrate squares
 * exactly: ±0.187592, ±0.794654 of the half length (roots of x⁴ - 2x²/3 + 1/45). */
Test(external_shape, rod)
{
    double inner = sqrt(1.0 / 3.0 - sqrt(1.0 / 9.0 - 1.0 / 45.0));
    double outer = sqrt(1.0 / 3.0 + sqrt(1.0 / 9.0 - 1.0 / 45.0));
    const double nodes[] = {-outer, -inner, inner, outer};
    for (size_t i = 0; i < 4; i++) {
        x[i] = 0.5 * nodes[i] * 0.6; /* length 1, turned */
        y[i] = 0.5 * nodes[i] * 0.8;
    }
    nrw_morphology rod = measure(4);
    expect_within("GEO-13", radius_of_gyration(&rod), 0.2886751346, 1e-10); /* printed digits */
    expect_within("GEO-13", radius_of_gyration(&rod), 1.0 / sqrt(12.0), 1e-12);
}

/* Identity. */
Test(external_shape, chain)
{
    for (size_t i = 0; i < 10; i++) {
        x[i] = (double)i;
        y[i] = 3.0;
    }
    nrw_morphology chain = measure(10);
    expect_within("GEO-14", large_variance(&chain), 8.25, 1e-12);
    cr_expect_eq(chain.minor_um, 0.0);
}

/* Rudnick & Gaspari 1986, J. Phys. A 19:L191. */
Test(external_shape, asphericity_of_a_rectangle)
{
    /* Gauss's two points a side have the rectangle's second moments. */
    for (size_t i = 0; i < 4; i++) {
        x[i] = (i & 1 ? 4.0 : -4.0) / sqrt(12.0);
        y[i] = (i & 2 ? 1.0 : -1.0) / sqrt(12.0);
    }
    nrw_morphology box = measure(4);
    double large = large_variance(&box), small = small_variance(&box);
    expect_within("GEO-16, large", large, 16.0 / 12.0, 1e-12);
    expect_within("GEO-16, small", small, 1.0 / 12.0, 1e-12);
    double ratio = (large - small) / (large + small);
    expect_within("GEO-16", ratio * ratio, 0.7785467128, 1e-10); /* printed digits */
}

/* Thue 1910: the silhouette of touching discs on the hexagonal lattice, against
 * the cells of the lattice that they fill. */
Test(external_shape, hexagonal_packing)
{
    enum { SIDE = 20, N = SIDE * SIDE };
    static double begins[2 * N + 1], ends[2 * N + 1];
    for (size_t i = 0; i < N; i++) {
        size_t row = i / SIDE, column = i % SIDE;
        x[i] = 3.0 * ((double)column + 0.5 * (double)(row % 2));
        y[i] = 1.5 * sqrt(3.0) * (double)row;
        radius[i] = 1.5;
    }
    nrw_cell_grid grid;
    cr_assert(nrw_cell_grid_init(&grid, N));
    double covered = nrw_disc_union_area_um2(&grid, N, x, y, radius, begins, ends);
    nrw_cell_grid_clear(&grid);
    double cells = (double)N * 3.0 * 1.5 * sqrt(3.0);
    expect_within("GEO-17", covered / cells, 0.9068996821, 1e-10);
}

static double gathered_diameter_um(size_t count, double diameter_um)
{
    nrw_scenario scenario = {.particles = {.count = count, .diameter_um = diameter_um}};
    return nrw_scenario_gathered_diameter_um(&scenario);
}

/* Berryman 1983, Phys. Rev. A 27:1053 (0.82 ± 0.02, from memory); 0.82-0.85 in
 * the literature. A rotating swarm is a liquid, so the share of ground that the
 * gathered layer is taken to cover lies just below. */
Test(external_shape, gathered_layer_is_just_looser_than_random_close_packing)
{
    double across = gathered_diameter_um(150, 3.0);
    double covered = 150.0 * 3.0 * 3.0 / (across * across);
    cr_expect(covered < 0.82 && covered > 0.95 * 0.82, "GEO-18: %g", covered);
}

/* Derived identities. */
Test(external_shape, size_of_gathered_and_single_file_swarms)
{
    /* d sqrt(N/0.80)/2, rescaled from the layer's 0.80 to the row's 0.7 */
    double gathered_radius = 0.5 * gathered_diameter_um(500, 3.0);
    expect_within("GEO-20", gathered_radius * sqrt(0.80 / 0.7), 40.08918629, 1e-9);
    /* A file of touching particles: length N d from its second moment
     * d²(N² - 1)/12, its ends half a diameter beyond the centres. */
    for (size_t i = 0; i < 500; i++) {
        x[i] = 3.0 * (double)i;
        y[i] = 0.0;
    }
    nrw_morphology file = measure(500);
    double length = 3.0 * sqrt(12.0 * large_variance(&file) / 9.0 + 1.0);
    expect_within("GEO-21", length, 1500.0, 1e-12);
    cr_expect_eq(file.largest_cluster_fraction, 1.0);
}
