/* Distances, tapers and shortest ways against identities and published examples.
 * The row's id stands beside each check with its source. Signs: here the distance
 * is positive in the fluid, that is inside. */
#include <criterion/criterion.h>
#include <math.h>

#include "channel.h"
#include "channel_setup.h"
#include "distance_grid.h"
#include "external_row.h"
#include "outline.h"
#include "shortest_path.h"
#include "units.h"

static void close_with_boxes(nrw_outline *outline, const double (*boxes)[4], size_t n)
{
    nrw_outline_init(outline);
    for (size_t i = 0; i < n; i++) {
        const double *b = boxes[i];
        const double corners[4][2] = {{b[0], b[1]}, {b[2], b[1]}, {b[2], b[3]}, {b[0], b[3]}};
        cr_assert_eq(nrw_outline_add_polygon(outline, corners, 4), NRW_OK);
    }
    cr_assert_eq(nrw_outline_close(outline), NRW_OK);
}

/* GEO-01, GEO-02: identities. */
Test(geometry, distance_to_the_unit_square)
{
    nrw_outline square;
    close_with_boxes(&square, (const double[][4]){{0, 0, 1, 1}}, 1);
    assert_row_near("GEO-01", -nrw_outline_distance_um(&square, 0.5, 0.25, NULL), -0.25, 1e-12);
    /* The value is printed with ten digits. */
    assert_row("GEO-02", -nrw_outline_distance_um(&square, 2.0, 2.0, NULL), 1.414213562, PRINTED);
    assert_row_near("GEO-02", -nrw_outline_distance_um(&square, 2.0, 2.0, NULL), sqrt(2.0), 1e-12);
    nrw_outline_clear(&square);
}

/* GEO-04, GEO-05: identities; the L of (0,0), (4,0), (4,1), (1,1), (1,3), (0,3) as
 * a union of two boxes, abutting or overlapping. */
Test(geometry, l_shape_has_its_area_and_its_reflex_corner)
{
    const double abutting[][4] = {{0, 0, 4, 1}, {0, 1, 1, 3}};
    const double overlapping[][4] = {{0, 0, 4, 1}, {0, 0, 1, 3}};
    for (int k = 0; k < 2; k++) {
        nrw_outline outline;
        close_with_boxes(&outline, k ? overlapping : abutting, 2);
        assert_row("GEO-04", nrw_outline_area_um2(&outline), 6.0, ROUNDING);
        assert_row_near("GEO-05", -nrw_outline_distance_um(&outline, 2, 2, NULL), 1.0, 1e-12);
        nrw_outline_clear(&outline);
    }
}

/* GEO-06: the grid's nodes hold exact distances, so that a corner at the origin,
 * the only wall near, is sqrt(24² + 7²) from the node at (24, 7) (Felzenszwalb &
 * Huttenlocher 2012, Theory Comput. 8:415, the exact transform). The fluid is all
 * but the quarter plane x < 0, y < 0, as far as the box reaches. */
Test(geometry, grid_node_holds_the_exact_distance_to_a_seed)
{
    nrw_outline outline;
    nrw_distance_grid grid;
    close_with_boxes(&outline, (const double[][4]){{0, -64, 64, 64}, {-64, 0, 64, 64}}, 2);
    nrw_distance_grid_config config = {.spacing_um = 1.0,
                                       .near_um = 30.0,
                                       .contact_um = 3.0,
                                       .margin_um = 16.0,
                                       .memory_bytes = (size_t)1 << 26};
    cr_assert_eq(nrw_distance_grid_build(&grid, &outline, &config), NRW_OK);
    /* The box's sides are whole tiles, so that nodes lie on whole numbers. */
    cr_assert_eq(grid.spacing_um, 1.0);
    cr_assert_eq(grid.origin_um[0], floor(grid.origin_um[0]));
    float gradient[2];
    bool beyond;
    float distance = nrw_distance_grid_blend(&grid, 24.0, 7.0, gradient, &beyond);
    cr_expect(distance == 25.0f, "GEO-06: %.9g", (double)distance);
    nrw_distance_grid_clear(&grid);
    nrw_outline_clear(&outline);
}

/* GEO-08, GEO-09: identities of a channel that tapers from 100 to 20 over 200. */
Test(geometry, taper_has_its_half_angle_and_medial_radius)
{
    channel_setup setup =
        channel_setup_good("channel:\n"
                           "  depth_um: 60\n"
                           "  nodes: {a: {at_um: [0, 0]}, b: {at_um: [200, 0]}}\n"
                           "  vessels: [{from: a, to: b, width_um: [[0, 100], [1, 20]]}]\n"
                           "release: {at_um: [50, 0], radius_um: 20}\n"
                           "target: {at_um: [190, 0], radius_um: 5}\n");
    size_t n, slanted = 0;
    const nrw_wall_segment *walls = nrw_channel_outline(setup.channel, &n);
    for (size_t i = 0; i < n; i++) {
        double dx = walls[i].b_um[0] - walls[i].a_um[0], dy = walls[i].b_um[1] - walls[i].a_um[1];
        if (fabs(dx) < 1.0)
            continue; /* the caps */
        slanted++;
        assert_row("GEO-08", atan2(fabs(dy), fabs(dx)) / NRW_DEGREE, 11.30993247, 1e-9);
    }
    cr_expect_eq(slanted, 2);
    assert_row("GEO-09", nrw_channel_distance_exact_um(setup.channel, 100.0, 0.0), 29.41742027,
               1e-9);
    channel_setup_clear(&setup);
}

/* OPT-10t, OPT-10y, OPT-10z: Cormen et al., Introduction to Algorithms, fig. 24.6;
 * nodes s, t, x, y, z. */
Test(geometry, shortest_ways_of_a_textbook_graph)
{
    enum { S, T, X, Y, Z };
    const nrw_edge edges[] = {{S, T, 10}, {S, Y, 5}, {T, X, 1}, {T, Y, 2}, {Y, T, 3},
                              {Y, X, 9},  {Y, Z, 2}, {X, Z, 4}, {Z, X, 6}, {Z, S, 7}};
    double distances[5];
    cr_assert_eq(nrw_shortest_path(5, edges, sizeof edges / sizeof *edges, S, distances, NULL),
                 NRW_OK);
    cr_expect_eq(distances[T], 8.0, "OPT-10t: %g", distances[T]);
    cr_expect_eq(distances[Y], 5.0, "OPT-10y: %g", distances[Y]);
    cr_expect_eq(distances[Z], 7.0, "OPT-10z: %g", distances[Z]);
}
