/* Distances to the walls from the grid, against the exact ones. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "channel.h"
#include "channel_setup.h"
#include "units.h"

/* --- distance from the grid -------------------------------------------------------- */

static const char *const GRID_MAPS[] = {CHANNEL_EXAMPLE, CHANNEL_FORK, CHANNEL_STRAIGHT};

Test(channel_distance, grid_distance_is_within_the_stated_error_of_the_exact_one)
{
    for (size_t m = 0; m < sizeof GRID_MAPS / sizeof *GRID_MAPS; m++) {
        channel_setup setup = channel_setup_good(GRID_MAPS[m]);
        const nrw_channel_report *report = nrw_channel_get_report(setup.channel);
        /* The report's error is the largest of 4096 points; a quarter of the spacing
         * bounds it across a crease, the largest error of the interpolation. */
        cr_expect(report->distance_error_um <= 0.25 * report->grid_um);
        cr_expect(report->typical_error_um < 0.02 * report->grid_um);
        double bounds[4], worst = 0.0;
        nrw_channel_bounds(setup.channel, bounds);
        for (uint32_t i = 0; i < 20000; i++) {
            double x = channel_setup_uniform(i, 2, bounds[0] - 3, bounds[2] + 3);
            double y = channel_setup_uniform(i, 3, bounds[1] - 3, bounds[3] + 3);
            double distance = channel_setup_exact_um(&setup, x, y);
            if (fabs(distance) > 6.0)
                continue;
            double got = nrw_channel_distance_um(setup.channel, x, y, NULL);
            worst = fmax(worst, fabs(got - distance));
        }
        cr_expect(worst <= 0.25 * report->grid_um, "worst %g of grid %g", worst, report->grid_um);
        channel_setup_clear(&setup);
    }
}

Test(channel_distance, grid_distance_is_exact_at_straight_walls)
{
    channel_setup setup = channel_setup_good(CHANNEL_STRAIGHT);
    for (uint32_t i = 0; i < 2000; i++) {
        double x = channel_setup_uniform(i, 0, 20, 280), y = channel_setup_uniform(i, 1, 34, 43),
               gradient[2];
        double got = nrw_channel_distance_um(setup.channel, x, y, gradient);
        /* Distances are stored as floats of up to 6 um here. */
        cr_assert_float_eq(got, 40.0 - y, 2e-6);
        cr_assert_float_eq(gradient[0], 0.0, 1e-6);
        cr_assert_float_eq(gradient[1], -1.0, 1e-6);
    }
    channel_setup_clear(&setup);
}

Test(channel_distance, gradient_is_of_unit_length_and_points_away_from_the_wall)
{
    channel_setup setup = channel_setup_good(CHANNEL_EXAMPLE);
    double worst = 0.0;
    int compared = 0;
    for (uint32_t i = 0; i < 20000; i++) {
        double x = channel_setup_uniform(i, 0, -205, 1105),
               y = channel_setup_uniform(i, 1, -115, 115), gradient[2];
        nrw_channel_distance_um(setup.channel, x, y, gradient);
        cr_assert_float_eq(hypot(gradient[0], gradient[1]), 1.0, 1e-6);
        const double step = 1e-5;
        double dx = (channel_setup_exact_um(&setup, x + step, y) -
                     channel_setup_exact_um(&setup, x - step, y)) /
                    (2 * step);
        double dy = (channel_setup_exact_um(&setup, x, y + step) -
                     channel_setup_exact_um(&setup, x, y - step)) /
                    (2 * step);
        double distance = channel_setup_exact_um(&setup, x, y);
        /* Close to the corners of a wall and at creases, where the nearest wall
         * changes, the grid smooths over one cell: leave them out. */
        if (fabs(distance) > 6.0 || fabs(distance) < 1.0 || hypot(dx, dy) < 0.999)
            continue;
        bool near_crease = false;
        for (int k = 0; k < 8; k++) {
            double ax = x + 0.8 * cos(k * NRW_PI / 4), ay = y + 0.8 * sin(k * NRW_PI / 4);
            double straight = distance + dx * (ax - x) + dy * (ay - y);
            near_crease =
                near_crease || fabs(channel_setup_exact_um(&setup, ax, ay) - straight) > 0.1;
        }
        if (near_crease)
            continue;
        compared++;
        worst = fmax(worst, hypot(gradient[0] - dx, gradient[1] - dy));
    }
    cr_expect(compared > 500);
    /* At a wall's corner one radius away the direction turns by a quarter of a
     * radian a cell; interpolating it leaves a hundredth. */
    cr_expect(worst < 0.02, "worst %g of %d", worst, compared);
    channel_setup_clear(&setup);
}

Test(channel_distance, gradient_between_two_equally_near_walls_is_one_of_them)
{
    /* The spur's length puts the middle of the vessel halfway between two rows of
     * the grid, where the stored gradients cancel exactly. */
    channel_setup setup = channel_setup_good(
        "channel:\n"
        "  depth_um: 60\n"
        "  nodes: {a: {at_um: [0, 0]}, m: {at_um: [150, 0]}, b: {at_um: [300, 0]},\n"
        "          spur: {at_um: [150, 59.875]}}\n"
        "  vessels:\n"
        "    - {from: a, to: m, width_um: 20}\n"
        "    - {from: m, to: b, width_um: 20}\n"
        "    - {from: m, to: spur, width_um: 20}\n"
        "release: {at_um: [50, 0], radius_um: 9}\n"
        "target: {at_um: [250, 0], radius_um: 9}\n");
    for (double x = 40; x < 100; x += 0.7) {
        double gradient[2];
        nrw_channel_distance_um(setup.channel, x, 0.0, gradient);
        cr_assert_float_eq(fabs(gradient[1]), 1.0, 1e-6);
        cr_assert_float_eq(gradient[0], 0.0, 1e-6);
    }
    channel_setup_clear(&setup);
}

Test(channel_distance, gradient_changes_little_from_point_to_point)
{
    channel_setup setup = channel_setup_good(CHANNEL_EXAMPLE);
    double grid = nrw_channel_get_report(setup.channel)->grid_um;
    /* Along a line past the throat's shoulder, 1.5 um (one radius) from the wall's
     * corner: the direction turns by step/1.5 a step, at most a few times that where
     * the nearest wall changes. */
    double worst = 0.0, before[2] = {0, 0};
    const double step = 0.01;
    for (int i = 0; i < 6000; i++) {
        double at[2], direction[2], gradient[2];
        nrw_channel_route_point(setup.channel, 520 + i * step, at, direction);
        double x = at[0] - 6.5 * direction[1], y = at[1] + 6.5 * direction[0];
        nrw_channel_distance_um(setup.channel, x, y, gradient);
        if (i > 0)
            worst = fmax(worst, hypot(gradient[0] - before[0], gradient[1] - before[1]));
        memcpy(before, gradient, sizeof before);
    }
    cr_expect(worst < 4.0 * step / grid, "worst %g", worst);
    channel_setup_clear(&setup);
}

static channel_setup slit(double width)
{
    char body[600];
    snprintf(body, sizeof body,
             "channel:\n"
             "  depth_um: 60\n"
             "  nodes: {a: {at_um: [0.13, 0.07]}, b: {at_um: [300, 60]}}\n"
             "  vessels:\n"
             "    - {from: a, to: b, width_um: [[0.3, 60], [0.4, %g], [0.6, %g], [0.7, 60]]}\n"
             "release: {at_um: [50, 10], radius_um: 20}\n"
             "target: {at_um: [250, 50], radius_um: 20}\n",
             width, width);
    return channel_setup_good(body);
}

Test(channel_distance, slit_narrower_than_the_grid_has_walls_on_both_sides)
{
    const double widths[] = {1.0, 0.3, 0.1};
    for (int w = 0; w < 3; w++) {
        channel_setup setup = slit(widths[w]);
        const nrw_channel_report *report = nrw_channel_get_report(setup.channel);
        double length = nrw_channel_route_length_um(setup.channel);
        for (double s = 0.42 * length; s < 0.58 * length; s += 0.17) {
            double at[2], direction[2];
            nrw_channel_route_point(setup.channel, s - 51.0, at, direction);
            double middle = nrw_channel_distance_um(setup.channel, at[0], at[1], NULL);
            double half = channel_setup_exact_um(&setup, at[0], at[1]);
            cr_assert(middle <= half + 0.25 * report->grid_um, "%g in a slit of %g", middle,
                      2 * half);
        }
        channel_setup_clear(&setup);
    }
}

Test(channel_distance, slit_of_one_micrometre_shows_its_half_width)
{
    channel_setup setup = slit(1.0);
    double error = nrw_channel_get_report(setup.channel)->distance_error_um;
    cr_expect(error < 0.1, "stated error %g um, a thirtieth of a particle", error);
    for (double t = 0.45; t < 0.55; t += 0.001) {
        double x = 0.13 + t * 299.87, y = 0.07 + t * 59.93, gradient[2];
        double across[2] = {-59.93 / hypot(299.87, 59.93), 299.87 / hypot(299.87, 59.93)};
        cr_assert_float_eq(channel_setup_exact_um(&setup, x, y), 0.5, 1e-9);
        double got = nrw_channel_distance_um(setup.channel, x, y, NULL);
        cr_assert(got <= 0.5 + error && got >= 0.5 - 0.1, "%g", got);
        /* Inside either wall it leads back into the slit. */
        for (int side = -1; side <= 1; side += 2) {
            got = nrw_channel_distance_um(setup.channel, x + side * across[0], y + side * across[1],
                                          gradient);
            cr_assert_float_eq(got, -0.5, 0.1);
            cr_assert(side * (gradient[0] * across[0] + gradient[1] * across[1]) < -0.99);
        }
    }
    channel_setup_clear(&setup);
}

/* 0.2 um of wall, less than the grid's spacing, at y = 20 to 20.2; the way round it is
 * 0.6 um wide. */
Test(channel_distance, thin_wall_between_two_vessels_is_felt_at_a_particles_radius)
{
    channel_setup setup = channel_setup_good(CHANNEL_THIN_WALL);
    for (double x = 20; x < 180; x += 0.71)
        for (double y = 18.5; y < 21.7; y += 0.05) {
            double got = nrw_channel_distance_um(setup.channel, x, y, NULL);
            /* The wall's middle may seem up to a quarter of a cell less deep. */
            cr_assert(got <= fabs(y - 20.1) - 0.1 + 0.25 * 0.375, "%g at (%g, %g)", got, x, y);
        }
    channel_setup_clear(&setup);
}

Test(channel_distance, points_far_outside_are_led_back)
{
    channel_setup setup = channel_setup_good(CHANNEL_STRAIGHT);
    const double far[][2] = {{150, 1e4}, {-1e5, 0}, {1e6, -1e6}, {150, -60}};
    for (int i = 0; i < 4; i++) {
        double gradient[2];
        double got = nrw_channel_distance_um(setup.channel, far[i][0], far[i][1], gradient);
        double to[2] = {150 - far[i][0], -far[i][1]};
        cr_expect(got < 0.0);
        cr_expect(gradient[0] * to[0] + gradient[1] * to[1] > 0.7 * hypot(to[0], to[1]));
        cr_expect_float_eq(hypot(gradient[0], gradient[1]), 1.0, 1e-6);
    }
    /* Straight above, the way back to the grid's edge is that to the wall. */
    cr_expect_float_eq(nrw_channel_distance_um(setup.channel, 150, 1e4, NULL), 40.0 - 1e4, 0.5);
    double gradient[2];
    /* No crash, and not taken for fluid. */
    cr_expect(!(nrw_channel_distance_um(setup.channel, NAN, NAN, gradient) > 0.0));
    channel_setup_clear(&setup);
}

Test(channel_distance, arrays_and_single_points_agree)
{
    channel_setup setup = channel_setup_good(CHANNEL_FORK);
    enum { N = 500 };
    double x[N], y[N];
    float distance[N], gradient_x[N], gradient_y[N], alone[N];
    for (uint32_t i = 0; i < N; i++) {
        x[i] = channel_setup_uniform(i, 0, -220, 200);
        y[i] = channel_setup_uniform(i, 1, -200, 200);
    }
    nrw_channel_sample(setup.channel, N, x, y, distance, gradient_x, gradient_y);
    nrw_channel_sample(setup.channel, N, x, y, alone, NULL, NULL);
    for (int i = 0; i < N; i++) {
        double gradient[2];
        double got = nrw_channel_distance_um(setup.channel, x[i], y[i], gradient);
        cr_assert_eq(distance[i], (float)got);
        cr_assert_eq(alone[i], (float)got);
        cr_assert_eq(gradient_x[i], (float)gradient[0]);
        cr_assert_eq(gradient_y[i], (float)gradient[1]);
    }
    channel_setup_clear(&setup);
}

/* Floods the fluid from the release over a lattice of half micrometres. */
static size_t flood(const channel_setup *setup, int side, double origin, bool *leaked)
{
    static unsigned char seen[700 * 700];
    static int stack[700 * 700];
    size_t n_stack = 0, n = 0;
    memset(seen, 0, sizeof seen);
    *leaked = false;
    const double *at = setup->scenario->release.at_um;
    int start = (int)((at[1] - origin) / 0.5) * side + (int)((at[0] - origin) / 0.5);
    seen[start] = 1;
    stack[n_stack++] = start;
    while (n_stack) {
        int here = stack[--n_stack], i = here % side, j = here / side;
        n++;
        *leaked = *leaked || i == 0 || j == 0 || i == side - 1 || j == side - 1;
        const int steps[4] = {i > 0 ? -1 : 0, i < side - 1 ? 1 : 0, j > 0 ? -side : 0,
                              j < side - 1 ? side : 0};
        for (int k = 0; k < 4; k++) {
            int next = here + steps[k];
            double x = origin + next % side * 0.5, y = origin + next / side * 0.5;
            if (seen[next] || nrw_channel_distance_um(setup->channel, x, y, NULL) <= 0.0)
                continue;
            seen[next] = 1;
            stack[n_stack++] = next;
        }
    }
    return n;
}

Test(channel_distance, fluid_does_not_leak)
{
    channel_setup setup = channel_setup_good(
        "channel:\n"
        "  depth_um: 60\n"
        "  nodes: {a: {at_um: [-130, -60]}, fork: {at_um: [0, 0]}, b: {at_um: [110, 100]},\n"
        "          c: {at_um: [110, -90]}}\n"
        "  vessels:\n"
        "    - {from: a, to: fork, width_um: [[0, 60], [0.6, 60], [0.6, 12]],\n"
        "       via_um: [[-70, -80], [-40, 10]]}\n"
        "    - {from: fork, to: b, width_um: 21, via_um: [[50, 10]]}\n"
        "    - {from: fork, to: c, width_um: [[0, 7], [1, 33]]}\n"
        "release: {at_um: [-110, -66], radius_um: 15}\n"
        "target: {at_um: [100, 85], radius_um: 5}\n");
    bool leaked;
    size_t n = flood(&setup, 700, -175.0, &leaked);
    cr_expect(!leaked);
    /* All of the fluid is reached: its area, up to half a node along the walls. */
    cr_expect_float_eq(0.25 * (double)n, channel_setup_area_um2(&setup),
                       0.03 * channel_setup_area_um2(&setup));
    channel_setup_clear(&setup);
}
