#include "distance_grid.h"

#include <criterion/criterion.h>
#include <math.h>

#include "random.h"

static double uniform(uint32_t index, uint32_t step, double low, double high)
{
    return low + (high - low) * nrw_uniform(13, NRW_STREAM_START, index, step);
}

/* A square of 100 um with a disc of radius 20 at its upper right corner. */
static void make_outline(nrw_outline *outline)
{
    const double square[4][2] = {{0, 0}, {100, 0}, {100, 100}, {0, 100}};
    const double centre[2] = {100, 100};
    nrw_outline_init(outline);
    cr_assert_eq(nrw_outline_add_polygon(outline, square, 4), NRW_OK);
    cr_assert_eq(nrw_outline_add_disc(outline, centre, 20.0), NRW_OK);
    cr_assert_eq(nrw_outline_close(outline), NRW_OK);
}

static nrw_distance_grid_config config_of(double spacing, size_t bytes)
{
    return (nrw_distance_grid_config){.spacing_um = spacing,
                                      .near_um = 6.0,
                                      .contact_um = 3.0,
                                      .margin_um = 6.0,
                                      .memory_bytes = bytes};
}

static double blend(const nrw_distance_grid *grid, double x, double y)
{
    float gradient[2];
    bool beyond;
    return (double)nrw_distance_grid_blend(grid, x, y, gradient, &beyond);
}

Test(distance_grid, nodes_hold_the_exact_distance)
{
    nrw_outline outline;
    nrw_distance_grid grid;
    make_outline(&outline);
    nrw_distance_grid_config config = config_of(0.5, 1 << 26);
    cr_assert_eq(nrw_distance_grid_build(&grid, &outline, &config), NRW_OK);
    cr_assert_eq(grid.spacing_um, 0.5);
    for (int j = 0; j < grid.n_tiles[1] * NRW_TILE_CELLS; j += 3)
        for (int i = 0; i < grid.n_tiles[0] * NRW_TILE_CELLS; i += 3) {
            double x = grid.origin_um[0] + i * 0.5, y = grid.origin_um[1] + j * 0.5;
            double distance = nrw_outline_distance_um(&outline, x, y, NULL);
            if (distance < -6.0)
                continue; /* coarse there */
            /* Floats of up to 64 um, and the last bit of the coordinates. */
            cr_assert_float_eq(blend(&grid, x, y), distance, 8e-6);
        }
    nrw_distance_grid_clear(&grid);
    nrw_outline_clear(&outline);
}

/* Largest error among points no farther than `near` from walls, away from creases
 * (there the exact distance bends within a cell). */
static double smooth_error(double spacing)
{
    nrw_outline outline;
    nrw_distance_grid grid;
    make_outline(&outline);
    nrw_distance_grid_config config = config_of(spacing, 1 << 26);
    cr_assert_eq(nrw_distance_grid_build(&grid, &outline, &config), NRW_OK);
    double worst = 0.0;
    /* Around the wall's corner at (80, 100) only that corner is near. */
    for (uint32_t i = 0; i < 4000; i++) {
        double angle = uniform(i, 0, -1.4, -0.2), radius = uniform(i, 1, 2.5, 4.0);
        double x = 80 + radius * cos(angle), y = 100 + radius * sin(angle);
        double distance = nrw_outline_distance_um(&outline, x, y, NULL);
        cr_assert_float_eq(distance, radius, 1e-9);
        worst = fmax(worst, fabs(blend(&grid, x, y) - distance));
    }
    nrw_distance_grid_clear(&grid);
    nrw_outline_clear(&outline);
    return worst;
}

Test(distance_grid, error_at_smooth_places_falls_with_the_fourth_power_of_the_spacing)
{
    double coarse = smooth_error(0.8), fine = smooth_error(0.4);
    cr_expect(coarse < 5e-3, "%g", coarse);
    /* 16 in the limit; gradients are rounded to 1/32767 and distances to floats. */
    cr_expect(coarse / fine > 10.0 && coarse / fine < 20.0, "ratio %g", coarse / fine);
}

Test(distance_grid, error_at_creases_is_below_a_quarter_of_the_spacing)
{
    nrw_outline outline;
    nrw_distance_grid grid;
    make_outline(&outline);
    nrw_distance_grid_config config = config_of(1.0, 1 << 26);
    cr_assert_eq(nrw_distance_grid_build(&grid, &outline, &config), NRW_OK);
    double worst = 0.0;
    for (uint32_t i = 0; i < 20000; i++) {
        double x = uniform(i, 0, 0, 8), y = uniform(i, 1, 0, 8);
        worst = fmax(worst, fabs(blend(&grid, x, y) - fmin(x, y)));
    }
    cr_expect(worst > 0.05 && worst < 0.25, "%g", worst);
    nrw_distance_grid_clear(&grid);
    nrw_outline_clear(&outline);
}

Test(distance_grid, tight_memory_keeps_walls_fine_before_it_makes_the_spacing_larger)
{
    nrw_outline outline;
    nrw_distance_grid all, near, coarse, poor;
    make_outline(&outline);
    nrw_distance_grid_config config = config_of(0.25, 1 << 26);
    cr_assert_eq(nrw_distance_grid_build(&all, &outline, &config), NRW_OK);
    config.memory_bytes = nrw_distance_grid_bytes(&all) - 1;
    cr_assert_eq(nrw_distance_grid_build(&near, &outline, &config), NRW_OK);
    cr_expect_eq(near.spacing_um, 0.25);
    cr_expect(near.n_nodes < all.n_nodes);
    config.memory_bytes = nrw_distance_grid_bytes(&near) / 2;
    cr_assert_eq(nrw_distance_grid_build(&coarse, &outline, &config), NRW_OK);
    cr_expect(coarse.spacing_um > 0.25);
    cr_expect(nrw_distance_grid_bytes(&coarse) <= config.memory_bytes);
    config.memory_bytes = 60000;
    cr_assert_eq(nrw_distance_grid_build(&poor, &outline, &config), NRW_OK);
    cr_expect(poor.spacing_um > 0.8, "tiles larger than the contacts' reach: %g", poor.spacing_um);
    for (uint32_t i = 0; i < 20000; i++) {
        double x = uniform(i, 0, -5, 125), y = uniform(i, 1, -5, 125);
        double distance = nrw_outline_distance_um(&outline, x, y, NULL);
        double got = blend(&near, x, y), rough = blend(&coarse, x, y);
        if (fabs(distance) < 6.0) {
            cr_assert_float_eq(got, blend(&all, x, y), 1e-5);
            cr_assert_float_eq(rough, distance, 0.25 * coarse.spacing_um);
        }
        /* Far from walls the cells are tiles; they must not feign a contact. */
        if (distance > 6.0)
            cr_assert(got > 3.0 && rough > 3.0 && blend(&poor, x, y) > 3.0, "%g, %g for %g", got,
                      rough, distance);
        if (distance < -6.0)
            cr_assert(got < -3.0 && rough < -3.0);
    }
    nrw_distance_grid_clear(&all);
    nrw_distance_grid_clear(&near);
    nrw_distance_grid_clear(&coarse);
    nrw_distance_grid_clear(&poor);
    nrw_outline_clear(&outline);
}

Test(distance_grid, points_beyond_it_are_told)
{
    nrw_outline outline;
    nrw_distance_grid grid;
    make_outline(&outline);
    nrw_distance_grid_config config = config_of(0.5, 1 << 26);
    cr_assert_eq(nrw_distance_grid_build(&grid, &outline, &config), NRW_OK);
    const double inside[][2] = {{50, 50}, {-5.9, -5.9}, {125.9, 0}};
    const double outside[][2] = {{-500, 50}, {50, 1e9}, {1e300, -1e300}, {NAN, 0}};
    for (int i = 0; i < 3; i++) {
        float gradient[2];
        bool beyond;
        (void)nrw_distance_grid_blend(&grid, inside[i][0], inside[i][1], gradient, &beyond);
        cr_expect(!beyond);
    }
    for (int i = 0; i < 4; i++) {
        float gradient[2];
        bool beyond;
        float edge =
            nrw_distance_grid_blend(&grid, outside[i][0], outside[i][1], gradient, &beyond);
        cr_expect(beyond && edge < 0.0f);
    }
    nrw_distance_grid_clear(&grid);
    nrw_outline_clear(&outline);
}
