/* Shortest paths in a directed graph: Dijkstra 1959, Numer. Math. 1:269. */
#ifndef NRW_SHORTEST_PATH_H
#define NRW_SHORTEST_PATH_H

#include <stddef.h>

#include "error.h"

typedef struct nrw_edge {
    int from, to;  /* node indices */
    double length; /* not negative */
} nrw_edge;

/* Shortest distances from `source` to every node. distances (n_nodes): INFINITY
 * where there is no way. last_edges (n_nodes, may be NULL): index of the edge by
 * which the shortest way arrives, -1 at the source and where there is none; of
 * equal ways that of the edge that comes first. NRW_OK or NRW_NO_MEMORY.
 * O(n_nodes² + n_edges): meant for maps of up to some thousand nodes. */
nrw_status nrw_shortest_path(size_t n_nodes, const nrw_edge *edges, size_t n_edges, int source,
                             double *distances, int *last_edges);

#endif
