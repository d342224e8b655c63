/* Inside of a flow field: its cells, and the solver of the pressure on them. */
#ifndef NRW_FLOW_CELLS_H
#define NRW_FLOW_CELLS_H

#include <stddef.h>
#include <stdint.h>

#include "error.h"
#include "flow_field.h"

struct nrw_flow_field {
    double origin_um[2], spacing_um, depth_um;
    int n[2]; /* cells, with a rim without fluid */
    size_t n_cells, n_active;
    int *active;        /* (n_cells) index among the cells with fluid, -1: none */
    uint32_t *cells;    /* (n_active) */
    float *width_um;    /* (n_cells) */
    double *right, *up; /* (n_active) K of the face to the next cell; 0: none */
    double *pivot;      /* (n_active) of the factorisation, inverse root */
    float (**falls)[2]; /* (n_solutions) of (n_cells x 2) */
    size_t n_solutions;
    double *work[4]; /* (n_active) of the solver */
};

/* Indices of a cell's lower neighbours, -1: none, and the K of the faces to them. */
typedef struct nrw_flow_lower {
    int left, down;
    double k_left, k_down;
} nrw_flow_lower;

static inline nrw_flow_lower nrw_flow_lower_of(const nrw_flow_field *field, size_t i)
{
    size_t cell = field->cells[i];
    nrw_flow_lower l = {field->active[cell - 1], field->active[cell - (size_t)field->n[0]], 0.0,
                        0.0};
    l.k_left = l.left >= 0 ? field->right[l.left] : 0.0;
    l.k_down = l.down >= 0 ? field->up[l.down] : 0.0;
    return l;
}

/* Modified incomplete Cholesky without fill (Gustafsson 1978, BIT 18:142) of the faces'
 * `right` and `up`, into `pivot`, on the cells row by row. Cells that nothing connects
 * keep a pivot of 0. O(n_active). */
void nrw_flow_cells_factorise(nrw_flow_field *field);

/* The pressures (n_active) under which each cell gives away what its source (n_active)
 * brings: conjugate gradients with that factorisation. The constant pressure is free:
 * sources sum to nothing, so it is never asked for. `sources` becomes the residual.
 * NRW_OK or NRW_DIVERGED. */
nrw_status nrw_flow_cells_solve(const nrw_flow_field *field, double *sources, double *pressure);

#endif
