#include "shortest_path.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

/* Edges grouped by their start: those of node i are order[starts[i]] up to
 * order[starts[i + 1]], in the caller's order. */
static void group_edges(size_t n_nodes, const nrw_edge *edges, size_t n_edges, size_t *starts,
                        size_t *order)
{
    for (size_t i = 0; i < n_nodes + 2; i++)
        starts[i] = 0;
    for (size_t e = 0; e < n_edges; e++)
        starts[(size_t)edges[e].from + 2]++;
    for (size_t i = 2; i < n_nodes + 2; i++)
        starts[i] += starts[i - 1];
    for (size_t e = 0; e < n_edges; e++)
        order[starts[(size_t)edges[e].from + 1]++] = e;
}

/* Nearest node that is not settled yet; n_nodes if none can be reached. */
static size_t nearest_open(size_t n_nodes, const double *distances, const bool *settled)
{
    size_t best = n_nodes;
    double least = INFINITY;
    for (size_t i = 0; i < n_nodes; i++)
        if (!settled[i] && distances[i] < least) {
            least = distances[i];
            best = i;
        }
    return best;
}

nrw_status nrw_shortest_path(size_t n_nodes, const nrw_edge *edges, size_t n_edges, int source,
                             double *distances, int *last_edges)
{
    bool *settled = calloc(n_nodes + 1, sizeof *settled);
    size_t *starts = malloc((n_nodes + 2) * sizeof *starts);
    size_t *order = malloc((n_edges + 1) * sizeof *order);
    nrw_status status = settled && starts && order ? NRW_OK : NRW_NO_MEMORY;
    if (status == NRW_OK) {
        group_edges(n_nodes, edges, n_edges, starts, order);
        for (size_t i = 0; i < n_nodes; i++) {
            distances[i] = INFINITY;
            if (last_edges)
                last_edges[i] = -1;
        }
        distances[source] = 0.0;
        size_t node;
        while ((node = nearest_open(n_nodes, distances, settled)) < n_nodes) {
            settled[node] = true;
            for (size_t k = starts[node]; k < starts[node + 1]; k++) {
                const nrw_edge *edge = &edges[order[k]];
                double distance = distances[node] + edge->length;
                if (distance < distances[edge->to]) {
                    distances[edge->to] = distance;
                    if (last_edges)
                        last_edges[edge->to] = (int)order[k];
                }
            }
        }
    }
    free(order);
    free(starts);
    free(settled);
    return status;
}
