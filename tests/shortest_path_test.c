#include "shortest_path.h"

#include <criterion/criterion.h>
#include <math.h>

#include "random.h"

Test(shortest_path, takes_the_detour_that_is_shorter)
{
    const nrw_edge edges[] = {{0, 1, 10.0}, {0, 2, 3.0}, {2, 1, 4.0}};
    double distances[3];
    int last[3];
    cr_assert_eq(nrw_shortest_path(3, edges, 3, 0, distances, last), NRW_OK);
    cr_expect_eq(distances[1], 7.0);
    cr_expect_eq(last[1], 2);
    cr_expect_eq(last[2], 1);
    cr_expect_eq(last[0], -1);
}

Test(shortest_path, edges_lead_one_way_and_unreached_nodes_are_infinitely_far)
{
    const nrw_edge edges[] = {{0, 1, 1.0}, {2, 1, 1.0}};
    double distances[3];
    int last[3];
    cr_assert_eq(nrw_shortest_path(3, edges, 2, 0, distances, last), NRW_OK);
    cr_expect(isinf(distances[2]));
    cr_expect_eq(last[2], -1);
    cr_assert_eq(nrw_shortest_path(3, edges, 2, 1, distances, NULL), NRW_OK);
    cr_expect(isinf(distances[0]) && isinf(distances[2]));
}

Test(shortest_path, of_equal_ways_the_first_edge_wins)
{
    const nrw_edge edges[] = {{0, 1, 2.0}, {0, 1, 2.0}, {1, 2, 0.0}, {0, 2, 2.0}};
    double distances[3];
    int last[3];
    cr_assert_eq(nrw_shortest_path(3, edges, 4, 0, distances, last), NRW_OK);
    cr_expect_eq(last[1], 0);
    cr_expect_eq(last[2], 3);
}

/* Bellman and Ford's method (Bellman 1958, Q. Appl. Math. 16:87) as the twin. */
Test(shortest_path, agrees_with_repeated_relaxation_on_random_graphs)
{
    enum { NODES = 40, EDGES = 120 };
    for (uint32_t graph = 0; graph < 50; graph++) {
        nrw_edge edges[EDGES];
        double distances[NODES], twin[NODES];
        int last[NODES];
        for (uint32_t e = 0; e < EDGES; e++) {
            uint32_t at = 1000 * graph + e;
            edges[e].from = (int)(NODES * nrw_uniform(1, NRW_STREAM_START, at, 0));
            edges[e].to = (int)(NODES * nrw_uniform(1, NRW_STREAM_START, at, 1));
            edges[e].length = floor(20.0 * nrw_uniform(1, NRW_STREAM_START, at, 2));
        }
        for (int i = 0; i < NODES; i++)
            twin[i] = i == 0 ? 0.0 : INFINITY;
        for (int round = 0; round < NODES; round++)
            for (int e = 0; e < EDGES; e++)
                twin[edges[e].to] = fmin(twin[edges[e].to], twin[edges[e].from] + edges[e].length);
        cr_assert_eq(nrw_shortest_path(NODES, edges, EDGES, 0, distances, last), NRW_OK);
        for (int i = 0; i < NODES; i++) {
            /* Whole numbers: no rounding. */
            cr_assert_eq(distances[i], twin[i]);
            if (last[i] >= 0)
                cr_assert_eq(distances[i], distances[edges[last[i]].from] + edges[last[i]].length);
        }
    }
}
