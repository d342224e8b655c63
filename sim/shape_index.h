/* Which convex shapes are near a place: square cells that list the shapes that
 * reach into them. */
#ifndef NRW_SHAPE_INDEX_H
#define NRW_SHAPE_INDEX_H

#include <stddef.h>
#include <stdint.h>

#include "error.h"

/* Convex polygons or, with two corners, segments; borrowed while building. */
typedef struct nrw_shape_list {
    const double (*corners_um)[2];
    const size_t *firsts; /* (n_shapes + 1) corners of shape i: firsts[i] ... firsts[i + 1] - 1 */
    size_t n_shapes;
} nrw_shape_list;

typedef struct nrw_shape_index {
    double origin_um[2], per_cell; /* corner, and cells per µm */
    int n_cells[2];
    uint32_t *starts; /* (cells + 1), row by row; owned, as the next */
    uint32_t *shapes; /* those of a cell: shapes[starts[c]] ... in rising order */
} nrw_shape_index;

/* Builds the index; a shape is listed in every cell within `reach_um` of it (and
 * some more). About as many cells as shapes. NRW_OK or NRW_NO_MEMORY. The caller
 * clears it, whatever was returned. */
nrw_status nrw_shape_index_build(nrw_shape_index *index, const nrw_shape_list *list,
                                 double reach_um);
void nrw_shape_index_clear(nrw_shape_index *index);

/* Shapes of the cell that holds (x, y): borrowed. None beyond the cells. */
const uint32_t *nrw_shape_index_at(const nrw_shape_index *index, double x_um, double y_um,
                                   size_t *n_shapes);

/* Shapes of all cells that the segment a -> b touches, each once, in no order
 * that matters: into found (n_shapes). `stamps` (n_shapes) starts as zeros and
 * `stamp` is above all earlier ones of the same array. Returns their number. */
size_t nrw_shape_index_along(const nrw_shape_index *index, const double a_um[2],
                             const double b_um[2], uint32_t *found, uint32_t *stamps,
                             uint32_t stamp);

#endif
