#include "outline.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>

#include "random.h"
#include "units.h"

#define ROUNDING_UM 1e-9

static double uniform(uint32_t index, uint32_t step, double low, double high)
{
    return low + (high - low) * nrw_uniform(11, NRW_STREAM_START, index, step);
}

static void add_box(nrw_outline *outline, double x0, double y0, double x1, double y1)
{
    const double corners[4][2] = {{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}};
    cr_assert_eq(nrw_outline_add_polygon(outline, corners, 4), NRW_OK);
}

/* A box of w x h turned by `angle` about its middle. */
static void add_turned_box(nrw_outline *outline, double x, double y, double w, double h,
                           double angle)
{
    const double signs[4][2] = {{-1, -1}, {1, -1}, {1, 1}, {-1, 1}};
    double corners[4][2];
    for (int i = 0; i < 4; i++) {
        double u = 0.5 * w * signs[i][0], v = 0.5 * h * signs[i][1];
        corners[i][0] = x + u * cos(angle) - v * sin(angle);
        corners[i][1] = y + u * sin(angle) + v * cos(angle);
    }
    cr_assert_eq(nrw_outline_add_polygon(outline, (const double(*)[2])corners, 4), NRW_OK);
}

static double length_of(const nrw_outline *outline)
{
    double length = 0.0;
    for (size_t i = 0; i < outline->n_segments; i++) {
        const nrw_wall_segment *s = &outline->segments[i];
        length += hypot(s->b_um[0] - s->a_um[0], s->b_um[1] - s->a_um[1]);
    }
    return length;
}

/* Ends without a start at the same place. */
static size_t loose_ends(const nrw_outline *outline)
{
    size_t n = 0;
    for (size_t i = 0; i < outline->n_segments; i++) {
        size_t j = 0;
        while (j < outline->n_segments &&
               hypot(outline->segments[i].b_um[0] - outline->segments[j].a_um[0],
                     outline->segments[i].b_um[1] - outline->segments[j].a_um[1]) > 1e-6)
            j++;
        n += j == outline->n_segments;
    }
    return n;
}

static void expect_union(nrw_outline *outline, double area, double length)
{
    cr_assert_eq(nrw_outline_close(outline), NRW_OK);
    cr_expect_float_eq(nrw_outline_area_um2(outline), area, ROUNDING_UM, "area %g",
                       nrw_outline_area_um2(outline));
    cr_expect_float_eq(length_of(outline), length, ROUNDING_UM, "length %g", length_of(outline));
    cr_expect_eq(loose_ends(outline), 0);
    nrw_outline_clear(outline);
}

Test(outline, shapes_that_abut_have_no_wall_between_them)
{
    nrw_outline outline;
    nrw_outline_init(&outline);
    add_box(&outline, 0, 0, 3, 2);
    add_box(&outline, 3, 0, 5, 2);
    expect_union(&outline, 10.0, 14.0);
}

Test(outline, faces_of_different_size_that_abut_leave_the_shoulders)
{
    nrw_outline outline;
    nrw_outline_init(&outline);
    add_box(&outline, 0, -5, 3, 5);
    add_box(&outline, 3, -1, 7, 1);
    expect_union(&outline, 38.0, 6.0 + 10.0 + 8.0 + 8.0 + 2.0);
}

Test(outline, wall_that_two_shapes_share_is_drawn_once)
{
    nrw_outline outline;
    nrw_outline_init(&outline);
    add_box(&outline, 0, 0, 4, 2);
    add_box(&outline, 2, 0, 6, 2);
    add_box(&outline, 3, 0, 5, 1);
    add_box(&outline, 0, 0, 4, 2);
    expect_union(&outline, 12.0, 16.0);
}

Test(outline, shape_inside_another_leaves_no_trace)
{
    nrw_outline outline;
    nrw_outline_init(&outline);
    add_box(&outline, 1, 1, 2, 2);
    add_box(&outline, 0, 0, 4, 4);
    add_turned_box(&outline, 2, 2, 1, 1, 0.3);
    expect_union(&outline, 16.0, 16.0);
}

Test(outline, crossing_boxes_make_a_cross)
{
    nrw_outline outline;
    nrw_outline_init(&outline);
    add_box(&outline, -5, -1, 5, 1);
    add_box(&outline, -1, -5, 1, 5);
    expect_union(&outline, 36.0, 40.0);
}

Test(outline, frame_of_boxes_keeps_its_hole)
{
    nrw_outline outline;
    nrw_outline_init(&outline);
    add_box(&outline, 0, 0, 10, 1);
    add_box(&outline, 9, 0, 10, 10);
    add_box(&outline, 0, 9, 10, 10);
    add_box(&outline, 0, 0, 1, 10);
    cr_assert_eq(nrw_outline_close(&outline), NRW_OK);
    cr_expect_float_eq(nrw_outline_area_um2(&outline), 36.0, ROUNDING_UM);
    cr_expect_float_eq(length_of(&outline), 72.0, ROUNDING_UM);
    cr_expect_float_eq(nrw_outline_distance_um(&outline, 5, 5, NULL), -4.0, ROUNDING_UM);
    nrw_outline_clear(&outline);
}

Test(outline, disc_is_round_to_its_sagitta)
{
    const double radii[] = {110.0, 8.0, 0.5};
    for (int r = 0; r < 3; r++) {
        nrw_outline outline;
        nrw_outline_init(&outline);
        const double centre[2] = {3.0, -7.0};
        cr_assert_eq(nrw_outline_add_disc(&outline, centre, radii[r]), NRW_OK);
        cr_assert_eq(nrw_outline_close(&outline), NRW_OK);
        double sagitta = fmin(NRW_OUTLINE_SAGITTA_UM, 1e-3 * radii[r]);
        for (int i = 0; i < 1000; i++) {
            double angle = 0.00628 * i,
                   at[2] = {3.0 + radii[r] * cos(angle), -7.0 + radii[r] * sin(angle)};
            double distance = nrw_outline_distance_um(&outline, at[0], at[1], NULL);
            cr_assert(distance <= ROUNDING_UM && distance >= -sagitta - ROUNDING_UM, "%g",
                      distance);
        }
        nrw_outline_clear(&outline);
    }
}

Test(outline, disc_tangent_to_walls_leaves_them_whole)
{
    nrw_outline outline;
    nrw_outline_init(&outline);
    const double centre[2] = {0, 0};
    add_turned_box(&outline, 0, 0, 60, 20, 0.37);
    cr_assert_eq(nrw_outline_add_disc(&outline, centre, 10.0), NRW_OK);
    expect_union(&outline, 1200.0, 160.0);
}

Test(outline, sector_fills_the_gap_of_a_turn_without_a_seam)
{
    const double angles[] = {1e-6, 1e-3, 0.1, 1.0, 2.0, 3.0};
    for (int i = 0; i < 6; i++) {
        double a = angles[i];
        nrw_outline outline;
        nrw_outline_init(&outline);
        /* Two boxes of half width 5 that meet at the origin, the second turned left. */
        const double first[4][2] = {{-40, -5}, {0, -5}, {0, 5}, {-40, 5}};
        const double second[4][2] = {{5 * sin(a), -5 * cos(a)},
                                     {40 * cos(a) + 5 * sin(a), 40 * sin(a) - 5 * cos(a)},
                                     {40 * cos(a) - 5 * sin(a), 40 * sin(a) + 5 * cos(a)},
                                     {-5 * sin(a), 5 * cos(a)}};
        const double centre[2] = {0, 0};
        cr_assert_eq(nrw_outline_add_polygon(&outline, first, 4), NRW_OK);
        cr_assert_eq(nrw_outline_add_polygon(&outline, second, 4), NRW_OK);
        cr_assert_eq(nrw_outline_add_sector(&outline, centre, first[1], second[0]), NRW_OK);
        cr_assert_eq(nrw_outline_close(&outline), NRW_OK);
        cr_expect_eq(loose_ends(&outline), 0, "turn by %g", a);
        /* Around the joint, the outer side is round and the middle is deep inside. */
        cr_expect_float_eq(nrw_outline_distance_um(&outline, 0, 0, NULL), 5.0,
                           NRW_OUTLINE_SAGITTA_UM, "turn by %g", a);
        cr_expect_float_eq(
            nrw_outline_distance_um(&outline, 7 * sin(0.5 * a), -7 * cos(0.5 * a), NULL), -2.0,
            NRW_OUTLINE_SAGITTA_UM, "turn by %g", a);
        nrw_outline_clear(&outline);
    }
}

/* Number of times the walls go round a point: 1 in the fluid, 0 in the wall. */
static double winding(const nrw_outline *outline, double x, double y)
{
    double angle = 0.0;
    for (size_t i = 0; i < outline->n_segments; i++) {
        const nrw_wall_segment *s = &outline->segments[i];
        double ax = s->a_um[0] - x, ay = s->a_um[1] - y;
        double bx = s->b_um[0] - x, by = s->b_um[1] - y;
        angle += atan2(ax * by - ay * bx, ax * bx + ay * by);
    }
    return angle / (2.0 * NRW_PI);
}

Test(outline, walls_of_random_unions_wind_once_around_the_fluid)
{
    for (uint32_t map = 0; map < 60; map++) {
        nrw_outline outline;
        nrw_outline_init(&outline);
        for (uint32_t k = 0; k < 12; k++) {
            uint32_t at = 100 * map + k;
            /* Every other map on a grid of whole numbers: many common edges. */
            bool snap = map % 2;
            double x = uniform(at, 0, 0, 20), y = uniform(at, 1, 0, 20);
            double w = uniform(at, 2, 1, 9), h = uniform(at, 3, 1, 9);
            const double centre[2] = {snap ? round(x) : x, snap ? round(y) : y};
            if (k % 4 == 3)
                cr_assert_eq(nrw_outline_add_disc(&outline, centre, snap ? round(w) : w), NRW_OK);
            else if (snap)
                add_box(&outline, round(x), round(y), round(x) + round(w), round(y) + round(h));
            else
                add_turned_box(&outline, x, y, w, h, uniform(at, 4, 0, 3));
        }
        cr_assert_eq(nrw_outline_close(&outline), NRW_OK);
        cr_expect_eq(loose_ends(&outline), 0, "map %u", map);
        for (uint32_t i = 0; i < 300; i++) {
            double x = uniform(i, 5, -8, 36), y = uniform(i, 6, -8, 36);
            double distance = nrw_outline_distance_um(&outline, x, y, NULL);
            if (fabs(distance) < 1e-5)
                continue; /* on a wall the angle jumps */
            cr_assert_float_eq(winding(&outline, x, y), distance > 0.0 ? 1.0 : 0.0, 1e-6,
                               "map %u at (%g, %g)", map, x, y);
        }
        nrw_outline_clear(&outline);
    }
}

Test(outline, nearest_point_lies_at_the_distance)
{
    nrw_outline outline;
    nrw_outline_init(&outline);
    for (uint32_t k = 0; k < 40; k++)
        add_turned_box(&outline, uniform(k, 0, 0, 100), uniform(k, 1, 0, 100), 20, 8, k);
    cr_assert_eq(nrw_outline_close(&outline), NRW_OK);
    for (uint32_t i = 0; i < 500; i++) {
        double x = uniform(i, 2, -20, 120), y = uniform(i, 3, -20, 120), nearest[2];
        double distance = nrw_outline_distance_um(&outline, x, y, nearest);
        cr_assert_float_eq(hypot(x - nearest[0], y - nearest[1]), fabs(distance), ROUNDING_UM);
        /* No other wall is nearer. */
        for (size_t k = 0; k < outline.n_segments; k++) {
            const nrw_wall_segment *s = &outline.segments[k];
            for (double t = 0.0; t <= 1.0; t += 0.125) {
                double px = s->a_um[0] + t * (s->b_um[0] - s->a_um[0]);
                double py = s->a_um[1] + t * (s->b_um[1] - s->a_um[1]);
                cr_assert(hypot(x - px, y - py) >= fabs(distance) - ROUNDING_UM);
            }
        }
    }
    nrw_outline_clear(&outline);
}
