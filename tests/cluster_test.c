/* Clusters, nearest neighbours and silhouettes against naive twins. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>

#include "cluster.h"
#include "disc_union.h"
#include "units.h"

enum { MOST = 700 };

typedef struct cloud {
    size_t n;
    double x[MOST], y[MOST], z[MOST], radius[MOST];
} cloud;

/* A small generator of our own keeps the clouds the same everywhere. */
static double uniform(uint64_t *state)
{
    *state = *state * 6364136223846793005u + 1442695040888963407u;
    return (double)(*state >> 11) * 0x1p-53;
}

static void fill_cloud(cloud *c, size_t n, double extent_um, double height_um, double size_cv,
                       uint64_t state)
{
    c->n = n;
    for (size_t i = 0; i < n; i++) {
        c->x[i] = extent_um * uniform(&state) - 300.0;
        c->y[i] = extent_um * uniform(&state) + 40.0;
        c->z[i] = height_um * uniform(&state);
        c->radius[i] = 1.5 * (1.0 + size_cv * (uniform(&state) - 0.5));
    }
}

typedef struct found {
    nrw_clusters clusters;
    uint32_t roots[MOST], sizes[MOST];
    double nearest[MOST];
} found;

static void find(const cloud *c, found *f)
{
    nrw_cell_grid grid;
    cr_assert(nrw_cell_grid_init(&grid, c->n));
    f->clusters = nrw_cluster_find(&grid, c->n, c->x, c->y, c->z, c->radius, 1.5, f->roots,
                                   f->sizes, f->nearest);
    nrw_cell_grid_clear(&grid);
}

/* Two equal particles, 3 µm in diameter, so joined below 4.5 µm. */
static size_t clusters_of_pair(double dx, double dy, double dz)
{
    static cloud c;
    static found f;
    c = (cloud){2, {10.0, 10.0 + dx}, {-5.0, -5.0 + dy}, {2.0, 2.0 + dz}, {1.5, 1.5}};
    find(&c, &f);
    return f.clusters.n_clusters;
}

Test(cluster, joins_two_particles_closer_than_one_and_a_half_diameters)
{
    cr_expect_eq(clusters_of_pair(4.499, 0.0, 0.0), 1);
    cr_expect_eq(clusters_of_pair(4.501, 0.0, 0.0), 2);
    cr_expect_eq(clusters_of_pair(0.0, -4.499, 0.0), 1);
    cr_expect_eq(clusters_of_pair(0.0, -4.501, 0.0), 2);
    cr_expect_eq(clusters_of_pair(0.0, 0.0, 4.499), 1, "one above the other");
    cr_expect_eq(clusters_of_pair(0.0, 0.0, 4.501), 2);
    cr_expect_eq(clusters_of_pair(3.0, 3.0, 1.0), 1, "sqrt(19) < 4.5");
    cr_expect_eq(clusters_of_pair(3.0, 3.0, 1.6), 2, "sqrt(20.56) > 4.5");
}

Test(cluster, reach_follows_the_mean_of_two_unequal_diameters)
{
    static cloud c;
    static found f;
    /* diameters 2 and 4: reach 1.5 × 3 */
    c = (cloud){2, {0.0, 4.49}, {0.0, 0.0}, {0.0, 0.0}, {1.0, 2.0}};
    find(&c, &f);
    cr_expect_eq(f.clusters.n_clusters, 1);
    c.x[1] = 4.51;
    find(&c, &f);
    cr_expect_eq(f.clusters.n_clusters, 2);
}

Test(cluster, a_chain_is_one_cluster_and_a_gap_makes_two)
{
    static cloud c;
    static found f;
    c.n = 200;
    for (size_t i = 0; i < c.n; i++) {
        /* numbered so that neighbours in the chain are far apart in memory */
        c.x[i] = 4.4 * (double)(i * 73 % c.n);
        c.y[i] = c.z[i] = 0.0;
        c.radius[i] = 1.5;
    }
    find(&c, &f);
    cr_expect_eq(f.clusters.n_clusters, 1);
    cr_expect_eq(f.clusters.largest_size, 200);
    for (size_t i = 0; i < c.n; i++)
        if (c.x[i] > 4.4 * 119.5)
            c.y[i] = 4.6;
    find(&c, &f);
    cr_expect_eq(f.clusters.n_clusters, 2);
    cr_expect_eq(f.clusters.largest_size, 120);
}

Test(cluster, of_equal_clusters_the_one_with_the_lowest_particle_is_largest)
{
    static cloud c;
    static found f;
    c = (cloud){5,
                {50.0, 0.0, 100.0, 3.0, 103.0},
                {0.0, 0.0, 0.0, 0.0, 0.0},
                {0.0, 0.0, 0.0, 0.0, 0.0},
                {1.5, 1.5, 1.5, 1.5, 1.5}};
    find(&c, &f);
    cr_expect_eq(f.clusters.n_clusters, 3);
    cr_expect_eq(f.clusters.largest_size, 2);
    cr_expect_eq(f.clusters.largest_root, 1);
    cr_expect_eq(f.roots[3], 1);
    cr_expect_eq(f.roots[4], 2);
    cr_expect_eq(f.sizes[0], 1);
    cr_expect_eq(f.sizes[3], 0);
}

static double distance(const cloud *c, size_t i, size_t j)
{
    return sqrt((c->x[i] - c->x[j]) * (c->x[i] - c->x[j]) +
                (c->y[i] - c->y[j]) * (c->y[i] - c->y[j]) +
                (c->z[i] - c->z[j]) * (c->z[i] - c->z[j]));
}

/* Spreads the lowest label until nothing changes. */
static void naive_roots(const cloud *c, uint32_t *roots)
{
    for (size_t i = 0; i < c->n; i++)
        roots[i] = (uint32_t)i;
    for (bool changed = true; changed;) {
        changed = false;
        for (size_t i = 0; i < c->n; i++)
            for (size_t j = 0; j < c->n; j++)
                if (roots[j] < roots[i] &&
                    distance(c, i, j) < 1.5 * (c->radius[i] + c->radius[j])) {
                    roots[i] = roots[j];
                    changed = true;
                }
    }
}

static void expect_naive(const cloud *c, const char *what)
{
    static found f;
    static uint32_t roots[MOST];
    find(c, &f);
    naive_roots(c, roots);
    for (size_t i = 0; i < c->n; i++) {
        double nearest = INFINITY;
        for (size_t j = 0; j < c->n; j++)
            if (j != i)
                nearest = fmin(nearest, distance(c, i, j));
        cr_expect_eq(f.roots[i], roots[i], "%s: cluster of %zu", what, i);
        /* the same subtractions; only the order of the sum of squares may differ */
        cr_expect(f.nearest[i] == nearest || fabs(f.nearest[i] - nearest) < 1e-12 * nearest,
                  "%s: nearest of %zu", what, i);
    }
}

Test(cluster, agrees_with_the_naive_twin_on_clouds_of_every_density)
{
    static cloud c;
    fill_cloud(&c, 300, 60.0, 0.2, 0.1, 1);
    expect_naive(&c, "crowded layer");
    fill_cloud(&c, 300, 110.0, 0.2, 0.1, 2);
    expect_naive(&c, "layer near percolation");
    fill_cloud(&c, 600, 3000.0, 0.2, 0.5, 3);
    expect_naive(&c, "gas");
    fill_cloud(&c, 600, 40.0, 40.0, 0.1, 4);
    expect_naive(&c, "crowded volume");
    fill_cloud(&c, 300, 400.0, 400.0, 0.5, 5);
    expect_naive(&c, "gas in a volume");
    fill_cloud(&c, 1, 400.0, 400.0, 0.5, 6);
    expect_naive(&c, "one");
}

Test(cluster, a_stray_a_metre_away_is_found_and_costs_nothing)
{
    static cloud c;
    fill_cloud(&c, 300, 60.0, 0.2, 0.1, 7);
    c.x[17] = 1e6;
    c.y[200] = -1e6;
    expect_naive(&c, "strays");
    for (size_t i = 0; i < 60; i++)
        c.x[i] = 1e5 * (double)(i + 1) + (double)(i * i);
    expect_naive(&c, "sixty strays");
}

Test(cluster, particles_at_one_point_are_one_cluster)
{
    static cloud c;
    fill_cloud(&c, 100, 0.0, 0.0, 0.0, 8);
    expect_naive(&c, "one point");
}

static double area_of(const cloud *c)
{
    static double begins[2 * MOST + 1], ends[2 * MOST + 1];
    nrw_cell_grid grid;
    cr_assert(nrw_cell_grid_init(&grid, c->n));
    double area = nrw_disc_union_area_um2(&grid, c->n, c->x, c->y, c->radius, begins, ends);
    nrw_cell_grid_clear(&grid);
    return area;
}

Test(disc_union, two_discs_cover_their_sum_less_the_lens)
{
    static cloud c;
    double r = 1.5, d = 2.0, disc = NRW_PI * r * r;
    /* lens of two equal circles: 2 r² acos(d/2r) - d/2 sqrt(4r² - d²) */
    double lens = 2.0 * r * r * acos(0.5 * d / r) - 0.5 * d * sqrt(4.0 * r * r - d * d);
    c = (cloud){2, {700.0, 700.0 + d * cos(2.5)}, {-300.0, -300.0 + d * sin(2.5)}, {0}, {r, r}};
    cr_expect_float_eq(area_of(&c), 2.0 * disc - lens, 1e-10, "rounding at 1e3 µm from the origin");
    c.x[1] += 10.0;
    cr_expect_float_eq(area_of(&c), 2.0 * disc, 1e-12);
    c.n = 1;
    cr_expect_float_eq(area_of(&c), disc, 1e-12);
}

Test(disc_union, covered_discs_add_nothing)
{
    static cloud c;
    c = (cloud){4, {0.0, 0.3, 0.0, 0.0}, {0.0, 0.2, 0.0, 0.0}, {0}, {1.5, 0.5, 1.5, 1.0}};
    cr_expect_float_eq(area_of(&c), NRW_PI * 2.25, 1e-12, "inside, equal and concentric ones");
}

Test(disc_union, a_ring_leaves_its_hole_out)
{
    static cloud c;
    /* Six discs around an empty place, each touching the next two: only the six
     * discs count. Moved in until they overlap, each pair loses a lens. */
    double r = 1.5, s = 2.6,
           lens = 2.0 * r * r * acos(0.5 * s / r) - 0.5 * s * sqrt(4.0 * r * r - s * s);
    c.n = 6;
    for (size_t i = 0; i < 6; i++) {
        c.x[i] = s * cos(NRW_PI / 3.0 * (double)i);
        c.y[i] = s * sin(NRW_PI / 3.0 * (double)i);
        c.radius[i] = r;
    }
    cr_expect_float_eq(area_of(&c), 6.0 * NRW_PI * r * r - 6.0 * lens, 1e-12);
}

Test(disc_union, agrees_with_counting_points_of_a_fine_raster)
{
    static cloud c;
    fill_cloud(&c, 120, 24.0, 0.0, 0.6, 9);
    double step = 0.02;
    size_t n_inside = 0;
    for (double y = 38.0 + 0.5 * step; y < 66.0; y += step)
        for (double x = -302.0 + 0.5 * step; x < -274.0; x += step)
            for (size_t i = 0; i < c.n; i++)
                if (hypot(x - c.x[i], y - c.y[i]) < c.radius[i]) {
                    n_inside++;
                    break;
                }
    /* A raster errs by about step^1.5 × sqrt(outline) of random sign: 0.05 µm²
     * for the outline of some 250 µm; three times that. */
    cr_expect_float_eq(area_of(&c), (double)n_inside * step * step, 0.15);
}

Test(disc_union, what_is_surely_covered_is_never_more_than_the_union)
{
    static cloud c;
    double begins[2 * MOST + 1], ends[2 * MOST + 1];
    size_t n_told = 0;
    for (uint64_t seed = 1; seed <= 40; seed++) {
        /* from scattered discs to heaps */
        fill_cloud(&c, 60, 5.0 + 2.0 * (double)seed, 1.0, 0.3, seed);
        nrw_cell_grid grid;
        cr_assert(nrw_cell_grid_init(&grid, c.n));
        const double exact = nrw_disc_union_area_um2(&grid, c.n, c.x, c.y, c.radius, begins, ends);
        nrw_cell_grid_clear(&grid);
        cr_assert_not(nrw_disc_union_reaches(c.n, c.x, c.y, c.radius, exact * (1.0 + 1e-9)));
        n_told += nrw_disc_union_reaches(c.n, c.x, c.y, c.radius, 0.5 * exact);
    }
    /* it tells something unless discs are heaped several deep */
    cr_assert_gt(n_told, 20u);
}
