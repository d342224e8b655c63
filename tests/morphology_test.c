#include <criterion/criterion.h>
#include <gsl/gsl_sort.h>
#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <string.h>

#include "morphology.h"
#include "straight_route.h"
#include "units.h"

enum { MOST = 400 };

static double x[MOST], y[MOST], z[MOST], radius[MOST];
static uint8_t member[MOST];

static double uniform(uint64_t *state)
{
    *state = *state * 6364136223846793005u + 1442695040888963407u;
    return (double)(*state >> 11) * 0x1p-53;
}

/* n particles of 3 µm, lying at rest height. */
static void place(size_t n, const double at[][2])
{
    for (size_t i = 0; i < n; i++) {
        x[i] = at[i][0];
        y[i] = at[i][1];
        z[i] = 1.6;
        radius[i] = 1.5;
    }
}

static void place_cloud(size_t n, uint64_t state)
{
    for (size_t i = 0; i < n; i++) {
        x[i] = 40.0 * uniform(&state) + 100.0;
        y[i] = 25.0 * uniform(&state) - 10.0;
        z[i] = 1.6 + 2.0 * uniform(&state);
        radius[i] = 1.4 + 0.2 * uniform(&state);
    }
}

static nrw_morphology measure_along(const nrw_channel *route, size_t n, double smallest_um2)
{
    nrw_morphology seen;
    nrw_morphology_work *work = nrw_morphology_work_create(n);
    cr_assert_not_null(work);
    nrw_morphology_measure(work, route, n, x, y, z, radius, smallest_um2, &seen, member);
    nrw_morphology_work_destroy(work);
    return seen;
}

/* Route along x from 0 to 1000 µm. */
static nrw_morphology measure(size_t n, double smallest_um2)
{
    nrw_channel *route = straight_route(0.0, 0.0, 1000.0, 0.0);
    nrw_morphology seen = measure_along(route, n, smallest_um2);
    nrw_channel_destroy(route);
    return seen;
}

/* Sums of some hundred values near 100 µm round to about 1e-12. */
#define ROUNDING 1e-10

Test(morphology, four_corners_of_a_rectangle_give_its_second_moments)
{
    /* variances 4 and 1: full axes 8 and 4, spread 2·sqrt(5) */
    place(4, (double[][2]){{102.0, 11.0}, {98.0, 11.0}, {102.0, 9.0}, {98.0, 9.0}});
    nrw_morphology seen = measure(4, 0.0);
    cr_expect_float_eq(seen.x_um, 100.0, ROUNDING);
    cr_expect_float_eq(seen.y_um, 10.0, ROUNDING);
    cr_expect_float_eq(seen.major_um, 8.0, ROUNDING);
    cr_expect_float_eq(seen.minor_um, 4.0, ROUNDING);
    cr_expect_float_eq(seen.aspect_ratio, 2.0, ROUNDING);
    cr_expect_float_eq(seen.angle_deg, 0.0, ROUNDING);
    cr_expect_float_eq(seen.spread_um, 2.0 * sqrt(5.0), ROUNDING);
}

Test(morphology, turning_the_swarm_turns_only_the_angle)
{
    double angles_deg[] = {-89.0, -30.0, 0.0, 45.0, 60.0, 90.0};
    for (size_t k = 0; k < sizeof angles_deg / sizeof *angles_deg; k++) {
        double c = cos(angles_deg[k] * NRW_DEGREE), s = sin(angles_deg[k] * NRW_DEGREE);
        place_cloud(150, 5);
        for (size_t i = 0; i < 150; i++)
            x[i] = 120.0 + 3.0 * (x[i] - 120.0); /* longer along x */
        nrw_morphology before = measure(150, 400.0);
        for (size_t i = 0; i < 150; i++) {
            double px = x[i], py = y[i];
            x[i] = c * px - s * py;
            y[i] = s * px + c * py;
        }
        nrw_morphology after = measure(150, 400.0);
        cr_expect_float_eq(after.major_um, before.major_um, ROUNDING);
        cr_expect_float_eq(after.minor_um, before.minor_um, ROUNDING);
        cr_expect_float_eq(after.spread_um, before.spread_um, ROUNDING);
        cr_expect_float_eq(after.neighbour_distance_um, before.neighbour_distance_um, ROUNDING);
        cr_expect_float_eq(after.visible_area_um2, before.visible_area_um2, 1e-8);
        double turned = after.angle_deg - before.angle_deg - angles_deg[k];
        cr_expect_float_eq(sin(turned * NRW_DEGREE), 0.0, 1e-9, "a line has no sense");
        cr_expect(after.angle_deg > -90.0 - 1e-9 && after.angle_deg <= 90.0 + 1e-9);
    }
}

Test(morphology, a_line_has_no_width_and_infinite_aspect)
{
    for (size_t i = 0; i < 10; i++) {
        x[i] = 100.0 + 0.3 * (double)i;
        y[i] = 7.0 + 0.7 * (double)i;
        z[i] = 1.6;
        radius[i] = 1.5;
    }
    nrw_morphology seen = measure(10, 0.0);
    cr_expect_eq(seen.minor_um, 0.0);
    cr_expect(isinf(seen.aspect_ratio) && seen.aspect_ratio > 0.0);
    cr_expect_float_eq(seen.angle_deg, atan2(0.7, 0.3) / NRW_DEGREE, 1e-9);
}

Test(morphology, a_single_particle_is_round_and_without_neighbour)
{
    place(1, (double[][2]){{50.0, 3.0}});
    nrw_morphology seen = measure(1, 5.0);
    cr_expect_eq(seen.aspect_ratio, 1.0);
    cr_expect_eq(seen.major_um, 0.0);
    cr_expect_eq(seen.angle_deg, 0.0);
    cr_expect_eq(seen.spread_um, 0.0);
    cr_expect_eq(seen.width_across_um, 0.0);
    cr_expect_eq(seen.front_um, 50.0);
    cr_expect_eq(seen.tail_um, 50.0);
    cr_expect_eq(seen.rear_x_um, 50.0);
    cr_expect_eq(seen.rear_y_um, 3.0);
    cr_expect_eq(seen.largest_cluster_fraction, 1.0);
    cr_expect(isnan(seen.neighbour_distance_um));
    cr_expect_float_eq(seen.visible_area_um2, NRW_PI * 2.25, ROUNDING);
    cr_expect(seen.visible);
    cr_expect_eq(member[0], 1);
}

Test(morphology, front_and_tail_are_the_type_7_quantiles_along_the_route)
{
    /* 101 positions 0...100: the quantiles fall on particles; 11 positions
     * 0...10: between two, at 0.5 and 9.5. */
    for (size_t i = 0; i < 101; i++) {
        x[i] = (double)(i * 37 % 101);
        y[i] = 0.1 * (double)i;
        z[i] = 1.6;
        radius[i] = 1.5;
    }
    nrw_morphology seen = measure(101, 0.0);
    cr_expect_float_eq(seen.tail_um, 5.0, ROUNDING);
    cr_expect_float_eq(seen.front_um, 95.0, ROUNDING);
    for (size_t i = 0; i < 11; i++)
        x[i] = (double)(i * 7 % 11);
    seen = measure(11, 0.0);
    cr_expect_float_eq(seen.tail_um, 0.5, ROUNDING);
    cr_expect_float_eq(seen.front_um, 9.5, ROUNDING);
}

Test(morphology, selected_quantiles_agree_with_sorted_ones)
{
    static double sorted[MOST];
    for (size_t n = 1; n <= 400; n += 7) {
        place_cloud(n, n);
        nrw_morphology seen = measure(n, 0.0);
        memcpy(sorted, x, n * sizeof *x); /* the route runs along x from 0 */
        gsl_sort(sorted, 1, n);
        double tail = gsl_stats_quantile_from_sorted_data(sorted, 1, n, 0.05);
        double front = gsl_stats_quantile_from_sorted_data(sorted, 1, n, 0.95);
        cr_expect_float_eq(seen.tail_um, tail, ROUNDING, "n = %zu", n);
        cr_expect_float_eq(seen.front_um, front, ROUNDING, "n = %zu", n);
        memcpy(sorted, y, n * sizeof *y);
        gsl_sort(sorted, 1, n);
        double across = gsl_stats_quantile_from_sorted_data(sorted, 1, n, 0.95) -
                        gsl_stats_quantile_from_sorted_data(sorted, 1, n, 0.05);
        cr_expect_float_eq(seen.width_across_um, across, ROUNDING, "n = %zu", n);
    }
}

Test(morphology, along_and_across_follow_the_routes_direction)
{
    /* The same swarm seen along a route at 90 degrees: along and across swap. */
    place_cloud(150, 11);
    nrw_channel *along_x = straight_route(0.0, 0.0, 1000.0, 0.0);
    nrw_channel *along_y = straight_route(0.0, -100.0, 0.0, 900.0);
    nrw_morphology a = measure_along(along_x, 150, 0.0), b = measure_along(along_y, 150, 0.0);
    cr_expect_float_eq(a.width_across_um, (b.front_um - b.tail_um), ROUNDING);
    cr_expect_float_eq(b.width_across_um, (a.front_um - a.tail_um), ROUNDING);
    cr_expect_float_eq(a.spread_um, b.spread_um, 0.0, "the spread knows no route");
    nrw_channel_destroy(along_x);
    nrw_channel_destroy(along_y);
}

Test(morphology, the_rear_is_the_last_three_in_ten)
{
    for (size_t i = 0; i < 10; i++) {
        x[i] = 10.0 * (double)(i * 3 % 10);
        y[i] = x[i] * x[i];
        z[i] = 1.6;
        radius[i] = 1.5;
    }
    nrw_morphology seen = measure(10, 0.0);
    cr_expect_float_eq(seen.rear_x_um, 10.0, ROUNDING, "0, 10, 20");
    cr_expect_float_eq(seen.rear_y_um, 500.0 / 3.0, ROUNDING);
    seen = measure(4, 0.0); /* 0, 30, 60, 90: two of four, rounded up */
    cr_expect_float_eq(seen.rear_x_um, 15.0, ROUNDING);
}

Test(morphology, ties_at_the_rear_go_by_particle)
{
    place(5, (double[][2]){{7.0, 1.0}, {7.0, 2.0}, {7.0, 3.0}, {7.0, 4.0}, {7.0, 5.0}});
    nrw_morphology seen = measure(5, 0.0);
    cr_expect_float_eq(seen.rear_y_um, 1.5, ROUNDING, "the first two of five");
}

Test(morphology, marks_the_largest_cluster_and_its_share)
{
    place(5, (double[][2]){{0.0, 0.0}, {50.0, 0.0}, {53.0, 0.0}, {56.0, 0.0}, {4.0, 0.0}});
    nrw_morphology seen = measure(5, 0.0);
    cr_expect_float_eq(seen.largest_cluster_fraction, 0.6, 1e-15);
    cr_expect_arr_eq(member, ((uint8_t[]){0, 1, 1, 1, 0}), 5);
    /* nearest: 4, 3, 3, 3, 4 */
    cr_expect_float_eq(seen.neighbour_distance_um, 17.0 / 5.0, 1e-12);
}

Test(morphology, stacked_particles_are_seen_once)
{
    place(3, (double[][2]){{10.0, 0.0}, {10.0, 0.0}, {13.0, 0.0}});
    z[1] = z[0] + 3.0; /* on top of the first */
    double disc = NRW_PI * 2.25;
    nrw_morphology seen = measure(3, 2.0 * disc - 1e-9);
    cr_expect_float_eq(seen.largest_cluster_fraction, 1.0, 0.0);
    cr_expect_float_eq(seen.visible_area_um2, 2.0 * disc, ROUNDING);
    cr_expect(seen.visible);
    seen = measure(3, 2.0 * disc + 1e-9);
    cr_expect_not(seen.visible, "one square µm short is not seen");
}

Test(morphology, sparing_the_area_changes_nothing_else)
{
    place_cloud(150, 5);
    const double thresholds[] = {1.0, 200.0, 400.0, 900.0, 5000.0};
    for (int k = 0; k < 5; k++) {
        const nrw_morphology full = measure(150, thresholds[k]);
        nrw_morphology_work *work = nrw_morphology_work_create(150);
        nrw_morphology_work_spare_area(work);
        nrw_morphology spared;
        nrw_channel *route = straight_route(0.0, 0.0, 1000.0, 0.0);
        nrw_morphology_measure(work, route, 150, x, y, z, radius, thresholds[k], &spared, NULL);
        nrw_channel_destroy(route);
        nrw_morphology_work_destroy(work);
        cr_assert_eq(spared.visible, full.visible, "at %g", thresholds[k]);
        cr_assert_eq(spared.largest_cluster_fraction, full.largest_cluster_fraction);
        cr_assert_eq(spared.spread_um, full.spread_um);
    }
}

Test(morphology, only_the_largest_cluster_counts_as_seen)
{
    place(5, (double[][2]){{0.0, 0.0}, {3.0, 0.0}, {100.0, 0.0}, {103.0, 0.0}, {106.0, 0.0}});
    nrw_morphology seen = measure(5, 1.0);
    cr_expect_float_eq(seen.visible_area_um2, 3.0 * NRW_PI * 2.25, ROUNDING);
}

Test(morphology, without_a_smallest_area_the_swarm_is_always_visible)
{
    place(1, (double[][2]){{0.0, 0.0}});
    nrw_morphology seen = measure(1, 0.0);
    cr_expect(seen.visible);
    cr_expect(isnan(seen.visible_area_um2), "not measured");
}

Test(morphology, a_position_that_is_no_number_makes_the_frame_unmeasured)
{
    place_cloud(20, 3);
    y[7] = NAN;
    nrw_morphology seen = measure(20, 400.0);
    cr_expect(isnan(seen.x_um) && isnan(seen.spread_um) && isnan(seen.tail_um));
    cr_expect_eq(seen.largest_cluster_fraction, 0.0);
    cr_expect_not(seen.visible);
    cr_expect_eq(member[3], 0);
    y[7] = 0.0;
    z[19] = INFINITY;
    seen = measure(20, 0.0);
    cr_expect(isnan(seen.x_um));
    cr_expect_not(seen.visible);
    seen = measure(0, 0.0);
    cr_expect(isnan(seen.x_um), "no particle");
}

Test(morphology, used_memory_changes_no_bit)
{
    nrw_channel *route = straight_route(0.0, 0.0, 1000.0, 0.0);
    nrw_morphology_work *work = nrw_morphology_work_create(MOST);
    cr_assert_not_null(work);
    nrw_morphology first, again;
    memset(&first, 0, sizeof first);
    memset(&again, 0, sizeof again);
    place_cloud(150, 21);
    nrw_morphology_measure(work, route, 150, x, y, z, radius, 400.0, &first, NULL);
    place_cloud(400, 22);
    nrw_morphology_measure(work, route, 400, x, y, z, radius, 400.0, &again, NULL);
    place_cloud(150, 21);
    nrw_morphology_measure(work, route, 150, x, y, z, radius, 400.0, &again, NULL);
    cr_expect_arr_eq(&first, &again, sizeof first);
    nrw_morphology_work_destroy(work);
    nrw_channel_destroy(route);
}
