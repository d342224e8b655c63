/* Outline: the boundary of a union of convex shapes.
 *
 * A channel is described as overlapping convex polygons; its walls are the
 * stretches of their edges that lie in no other polygon. Arcs are polygons with
 * at most NRW_OUTLINE_SAGITTA_UM between chord and arc. Places nearer than
 * NRW_OUTLINE_TOLERANCE_UM count as one, so that shapes that share an edge or a
 * tangent join without a seam or a second wall. */
#ifndef NRW_OUTLINE_H
#define NRW_OUTLINE_H

#include <stdbool.h>
#include <stddef.h>

#include "channel.h"
#include "error.h"
#include "loop_bands.h"
#include "shape_index.h"

#define NRW_OUTLINE_TOLERANCE_UM 1e-7
#define NRW_OUTLINE_SAGITTA_UM 0.01

/* A convex polygon: corners[first ... first + n_corners), anticlockwise. */
typedef struct nrw_shape {
    size_t first, n_corners;
    double bounds_um[4]; /* x_min, y_min, x_max, y_max */
} nrw_shape;

typedef struct nrw_outline {
    double (*corners_um)[2]; /* (n_corners); owned, as all below */
    size_t n_corners, corner_capacity;
    nrw_shape *shapes; /* (n_shapes) */
    size_t n_shapes, shape_capacity;
    nrw_shape_index index;      /* of the shapes, by nrw_outline_close */
    nrw_loop_bands bands;       /* of loops, by nrw_outline_close_loops */
    nrw_wall_segment *segments; /* (n_segments), by nrw_outline_close */
    size_t n_segments, segment_capacity;
    double (*chunk_bounds_um)[4]; /* boxes of runs of segments */
    size_t n_chunks;
} nrw_outline;

void nrw_outline_init(nrw_outline *outline);
void nrw_outline_clear(nrw_outline *outline);

/* Adds a convex polygon, anticlockwise, corners at least the tolerance apart.
 * NRW_OK or NRW_NO_MEMORY, as the next two. */
nrw_status nrw_outline_add_polygon(nrw_outline *outline, const double (*corners_um)[2],
                                   size_t n_corners);

nrw_status nrw_outline_add_disc(nrw_outline *outline, const double centre_um[2], double radius_um);

/* Adds the sector between the radii from `centre` to `from` and to `to`, passed
 * anticlockwise, of less than half a turn; both at the same distance. */
nrw_status nrw_outline_add_sector(nrw_outline *outline, const double centre_um[2],
                                  const double from_um[2], const double to_um[2]);

/* Builds the segments; no shape may be added after it, and only then may the
 * queries below be asked. About O(edges log edges) for shapes that overlap few
 * others. NRW_OK or NRW_NO_MEMORY. */
nrw_status nrw_outline_close(nrw_outline *outline);

/* Instead of shapes: closed polygons, fluid to their left, that don't cross, are the
 * outline themselves (a map from a picture). points (firsts[n_loops]): loop i is
 * points[firsts[i]] ... points[firsts[i + 1] - 1]. NRW_OK or NRW_NO_MEMORY. */
nrw_status nrw_outline_close_loops(nrw_outline *outline, const double (*points_um)[2],
                                   const size_t *firsts, size_t n_loops);

/* Whether (x, y) lies in one of the shapes, their edges (to the tolerance)
 * included. */
bool nrw_outline_contains(const nrw_outline *outline, double x_um, double y_um);

/* Signed distance to the nearest segment: positive inside; `nearest` (may be
 * NULL) gets the nearest point. Exact for the polygons. O(n_segments/16) box
 * tests and a few runs of 16 segments. */
double nrw_outline_distance_um(const nrw_outline *outline, double x_um, double y_um,
                               double nearest_um[2]);

/* Area inside, by the shoelace formula. */
double nrw_outline_area_um2(const nrw_outline *outline);

#endif
