/* The skeleton as a graph: places where lines end or meet, and the lines between
 * them with the width across. Coordinates and lengths in pixels (mask_field.h). */
#ifndef NRW_MASK_GRAPH_H
#define NRW_MASK_GRAPH_H

#include <stdbool.h>
#include <stddef.h>

#include "error.h"
#include "mask_field.h"
#include "mask_skeleton.h"

typedef struct nrw_mask_node {
    double at_px[2];
    double radius_px; /* distance to the wall there */
    int n_lines;      /* that end here: 1 at free ends */
} nrw_mask_node;

typedef struct nrw_mask_line {
    int node[2];            /* at its first and its last point; different ones */
    double (*points_px)[2]; /* (n_points >= 2); owned, as the next */
    double *width_px;       /* (n_points); NULL until nrw_mask_graph_refine */
    size_t n_points;
} nrw_mask_line;

typedef struct nrw_mask_graph {
    nrw_mask_node *nodes; /* (n_nodes); owned, as the next */
    size_t n_nodes, node_capacity;
    nrw_mask_line *lines; /* (n_lines) */
    size_t n_lines, line_capacity;
} nrw_mask_graph;

/* Follows the skeleton's pixels and leaves out free ends that lead into corners:
 * those that end within 1.5 times the radius of the place where they leave. Lines
 * that meet at a place with no third one become one. NRW_BAD_INPUT: the fluid is too
 * small for a line; NRW_NO_MEMORY. The caller clears it, whatever was returned. */
nrw_status nrw_mask_graph_trace(const nrw_mask_field *field, const nrw_mask_skeleton *skeleton,
                                nrw_mask_graph *graph);

/* Moves every line to the middle between the walls on its two sides, places of
 * meeting to where the middles of the branches would cross, and takes the widths:
 * across the line from wall to wall. Within the largest disc at a place of meeting
 * the branches' widths outside of it are kept. Free ends are led on to the wall.
 * Points are about a pixel apart afterwards. NRW_OK or NRW_NO_MEMORY. */
nrw_status nrw_mask_graph_refine(const nrw_mask_field *field, nrw_mask_graph *graph);

void nrw_mask_graph_clear(nrw_mask_graph *graph);

/* Adds a node; its index, or -1 when memory is short. */
int nrw_mask_graph_add_node(nrw_mask_graph *graph, const double at_px[2], double radius_px);

/* Adds a line without points, for the caller to fill; NULL when memory is short.
 * Lines move in memory. */
nrw_mask_line *nrw_mask_graph_add_line(nrw_mask_graph *graph, int from, int to);

/* Cuts a line at point `index` (not an end) into two at a new node there; false
 * when memory is short. The second half becomes the last line. */
bool nrw_mask_graph_cut(nrw_mask_graph *graph, size_t line, size_t index, double radius_px);

/* Makes one node, in the middle, of the two that a line joins; false, and nothing
 * done, where another line joins them too. The last line comes to the line's index;
 * the other node stays, without lines. */
bool nrw_mask_graph_contract(nrw_mask_graph *graph, size_t line);

#endif
