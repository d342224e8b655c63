#include "centreline.h"

#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#define ROUNDING_UM 1e-9

/* A map of one vessel from (0, 0) to (100, 0) by way of given points. */
typedef struct one_vessel {
    nrw_node nodes[2];
    nrw_vessel vessel;
    nrw_map map;
} one_vessel;

static void make(one_vessel *v, nrw_width_point *widths, size_t n_widths, double (*via)[2],
                 size_t n_via)
{
    memset(v, 0, sizeof *v);
    v->nodes[1].at_um[0] = 100.0;
    v->vessel = (nrw_vessel){0, 1, via, n_via, widths, n_widths};
    v->map = (nrw_map){.nodes = v->nodes, .n_nodes = 2, .vessels = &v->vessel, .n_vessels = 1};
}

static nrw_centreline build(one_vessel *v)
{
    nrw_centreline line;
    cr_assert_eq(nrw_centreline_build(&v->map, 0, "map", &line, NULL), NRW_OK);
    return line;
}

Test(centreline, width_is_linear_between_its_points_and_steady_beyond_them)
{
    one_vessel v;
    nrw_width_point widths[] = {{0.2, 50.0}, {0.6, 10.0}};
    make(&v, widths, 2, NULL, 0);
    nrw_centreline line = build(&v);
    const double cases[][2] = {{0, 50}, {10, 50}, {20, 50}, {30, 40}, {55, 15}, {60, 10}, {99, 10}};
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        double at[2], width;
        nrw_centreline_at(&line, cases[i][0], at, &width);
        cr_expect_float_eq(width, cases[i][1], ROUNDING_UM, "at %g: %g", cases[i][0], width);
        cr_expect_float_eq(at[0], cases[i][0], ROUNDING_UM);
    }
    cr_expect_eq(line.n_points, 4);
    nrw_centreline_clear(&line);
}

Test(centreline, step_of_the_width_is_two_points_at_one_place)
{
    one_vessel v;
    nrw_width_point widths[] = {{0.0, 80.0}, {0.5, 60.0}, {0.5, 12.0}, {1.0, 20.0}};
    make(&v, widths, 4, NULL, 0);
    nrw_centreline line = build(&v);
    cr_assert_eq(line.n_points, 4);
    cr_expect_float_eq(line.points[1].s_um, 50.0, ROUNDING_UM);
    cr_expect_eq(line.points[1].s_um, line.points[2].s_um);
    cr_expect_float_eq(line.points[1].width_um, 60.0, ROUNDING_UM);
    cr_expect_float_eq(line.points[2].width_um, 12.0, ROUNDING_UM);
    double at[2], width;
    nrw_centreline_at(&line, 50.0, at, &width);
    cr_expect_float_eq(width, 60.0, ROUNDING_UM, "the larger one at the step");
    nrw_centreline_clear(&line);
}

Test(centreline, step_on_a_bend_and_at_the_ends)
{
    one_vessel v;
    double via[][2] = {{50, 0}, {50, 10}, {100, 10}};
    /* The bend at 50 of 120 um; steps at the very ends belong to the vessel. */
    nrw_width_point widths[] = {{0.0, 90.0},          {0.0, 30.0}, {50.0 / 120.0, 30.0},
                                {50.0 / 120.0, 20.0}, {1.0, 20.0}, {1.0, 70.0}};
    make(&v, widths, 6, via, 3);
    nrw_centreline line = build(&v);
    cr_expect_float_eq(line.length_um, 120.0, ROUNDING_UM);
    cr_expect_float_eq(line.points[0].width_um, 30.0, ROUNDING_UM);
    cr_expect_float_eq(line.points[line.n_points - 1].width_um, 20.0, ROUNDING_UM);
    cr_assert_eq(line.n_points, 6);
    cr_expect_float_eq(line.points[1].width_um, 30.0, ROUNDING_UM);
    cr_expect_float_eq(line.points[2].width_um, 20.0, ROUNDING_UM);
    cr_expect_float_eq(line.points[2].along[1], 1.0, ROUNDING_UM);
    nrw_centreline_clear(&line);
}

Test(centreline, coincident_points_are_one)
{
    one_vessel v;
    double via[][2] = {{0, 0}, {40, 30}, {40, 30}, {40, 30 + 1e-9}, {100, 0}};
    nrw_width_point widths[] = {{0.0, 10.0}};
    make(&v, widths, 1, via, 5);
    nrw_centreline line = build(&v);
    cr_expect_eq(line.n_points, 3);
    cr_expect_float_eq(line.length_um, 50.0 + hypot(60, 30), ROUNDING_UM);
    nrw_centreline_clear(&line);
}

Test(centreline, foot_is_the_nearest_point)
{
    one_vessel v;
    double via[][2] = {{100, 100}, {0, 100}};
    nrw_width_point widths[] = {{0.0, 10.0}};
    make(&v, widths, 1, via, 2);
    v.nodes[1].at_um[0] = 0.0;
    v.nodes[1].at_um[1] = 300.0;
    nrw_centreline line = build(&v);
    nrw_foot foot = nrw_centreline_foot(&line, 30, 92);
    cr_expect_float_eq(foot.at_um[0], 30.0, ROUNDING_UM);
    cr_expect_float_eq(foot.at_um[1], 100.0, ROUNDING_UM);
    cr_expect_float_eq(foot.distance_um, 8.0, ROUNDING_UM);
    cr_expect_float_eq(foot.s_um, hypot(100, 100) + 70.0, ROUNDING_UM);
    foot = nrw_centreline_foot(&line, -30, -40);
    cr_expect_float_eq(foot.distance_um, 50.0, ROUNDING_UM);
    cr_expect_eq(foot.s_um, 0.0);
    nrw_centreline_clear(&line);
}

static void expect_refused(one_vessel *v, const char *what)
{
    nrw_errors errors;
    nrw_errors_init(&errors);
    nrw_centreline line;
    cr_expect_eq(nrw_centreline_build(&v->map, 0, "map", &line, &errors), NRW_BAD_INPUT);
    cr_assert_eq(errors.n_items, 1);
    cr_expect(strstr(errors.items[0].what, what), "%s", errors.items[0].what);
    nrw_centreline_clear(&line);
    nrw_errors_clear(&errors);
}

Test(centreline, vessels_without_length_width_or_direction_are_refused)
{
    one_vessel v;
    nrw_width_point width[] = {{0.0, 10.0}}, none[] = {{0.0, 10.0}, {1.0, 0.0}};
    make(&v, width, 1, NULL, 0);
    v.nodes[1].at_um[0] = 0.0;
    expect_refused(&v, "no length");
    make(&v, none, 2, NULL, 0);
    expect_refused(&v, "width 0");
    double back[][2] = {{60, 0}, {20, 0}};
    make(&v, width, 1, back, 2);
    expect_refused(&v, "turns back");
}

Test(centreline, vessels_in_line_with_a_gap_between_do_not_meet)
{
    /* The second vessel goes on in the first one's line, up to rounding, which lets
     * either side of it seem to lie across the other. */
    for (int i = 0; i < 2000; i++) {
        double dx = 100.1 + 0.37 * i, dy = 33.7 - 0.21 * i, x = 13.7 + 0.11 * i, y = -5.3;
        const double along[4] = {0.0, 1.0, 1.01, 1.9};
        nrw_node nodes[4] = {{.name = "a"}, {.name = "b"}, {.name = "c"}, {.name = "d"}};
        for (int k = 0; k < 4; k++) {
            nodes[k].at_um[0] = x + along[k] * dx;
            nodes[k].at_um[1] = y + along[k] * dy;
        }
        nrw_width_point width = {0.0, 10.0};
        nrw_vessel vessels[2] = {{0, 1, NULL, 0, &width, 1}, {2, 3, NULL, 0, &width, 1}};
        nrw_map map = {.nodes = nodes, .n_nodes = 4, .vessels = vessels, .n_vessels = 2};
        nrw_centreline lines[2];
        for (size_t v = 0; v < 2; v++)
            cr_assert_eq(nrw_centreline_build(&map, v, "map", &lines[v], NULL), NRW_OK);
        cr_assert_eq(nrw_centreline_check_crossings(&map, lines, "map", NULL), NRW_OK, "case %d",
                     i);
        for (size_t v = 0; v < 2; v++)
            nrw_centreline_clear(&lines[v]);
    }
}
