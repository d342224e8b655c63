#include "flow_field.h"

#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "flow_cells.h"
#include "flow_duct.h"

#define CELLS_ACROSS 8.0
#define CELLS_MAX 400000.0
/* Sweeps that look for the nearest centreline; each goes both ways over all cells. */
enum { SWEEPS = 4 };
/* Rings of cells beyond the walls that take over what is next to them. */
enum { RINGS = 3 };
/* A straight stretch of a centreline. */
typedef struct piece {
    double at[2], along[2], length;
    double width[2]; /* at its ends */
} piece;

void nrw_flow_field_destroy(nrw_flow_field *field)
{
    if (!field)
        return;
    free(field->active);
    free(field->cells);
    free(field->width_um);
    free(field->right);
    free(field->up);
    free(field->pivot);
    for (size_t k = 0; k < field->n_solutions; k++)
        free(field->falls[k]);
    free(field->falls);
    for (int k = 0; k < 4; k++)
        free(field->work[k]);
    free(field);
}

/* --- cells ------------------------------------------------------------------------------ */

static void cell_centre(const nrw_flow_field *field, size_t cell, double at[2])
{
    at[0] = field->origin_um[0] + ((double)(cell % (size_t)field->n[0]) + 0.5) * field->spacing_um;
    at[1] = field->origin_um[1] + ((double)(cell / (size_t)field->n[0]) + 0.5) * field->spacing_um;
}

static void place_cells(nrw_flow_field *field, const nrw_flow_field_request *request)
{
    double bounds[4];
    nrw_channel_bounds(request->channel, bounds);
    double wide = bounds[2] - bounds[0], high = bounds[3] - bounds[1];
    double spacing = fmax(request->narrowest_um / CELLS_ACROSS, sqrt(wide * high / CELLS_MAX));
    spacing = fmax(spacing, fmax(wide, high) / CELLS_MAX * 16.0);
    field->spacing_um = spacing;
    field->depth_um = request->depth_um;
    for (int k = 0; k < 2; k++) {
        /* The rim holds the rings; a straight wall on the box lies on faces. */
        double cells = ceil((bounds[k + 2] - bounds[k]) / spacing - 1e-9);
        field->n[k] = (int)cells + 2 * (RINGS + 1);
        double slack = cells * spacing - (bounds[k + 2] - bounds[k]);
        field->origin_um[k] = bounds[k] - 0.5 * slack - (RINGS + 1) * spacing;
    }
    field->n_cells = (size_t)field->n[0] * (size_t)field->n[1];
}

static nrw_status find_active(nrw_flow_field *field, const nrw_channel *channel)
{
    field->active = malloc(field->n_cells * sizeof *field->active);
    field->cells = malloc(field->n_cells * sizeof *field->cells);
    field->width_um = malloc(field->n_cells * sizeof *field->width_um);
    if (!field->active || !field->cells || !field->width_um)
        return NRW_NO_MEMORY;
    for (size_t cell = 0; cell < field->n_cells; cell++) {
        double at[2];
        cell_centre(field, cell, at);
        bool fluid = nrw_channel_distance_um(channel, at[0], at[1], NULL) > 0.0;
        field->active[cell] = fluid ? (int)field->n_active : -1;
        if (fluid)
            field->cells[field->n_active++] = (uint32_t)cell;
    }
    size_t n = field->n_active + 1;
    field->right = calloc(n, sizeof *field->right);
    field->up = calloc(n, sizeof *field->up);
    field->pivot = malloc(n * sizeof *field->pivot);
    bool room = field->right && field->up && field->pivot;
    for (int k = 0; k < 4; k++) {
        field->work[k] = malloc(n * sizeof *field->work[k]);
        room = room && field->work[k];
    }
    return room ? NRW_OK : NRW_NO_MEMORY;
}

/* --- local width --------------------------------------------------------------------------- */

typedef struct nearest {
    const nrw_flow_field *field;
    piece *pieces;
    size_t n_pieces;
    int *label;     /* (n_active) piece, -1: none yet */
    double *square; /* (n_active) distance² to it */
} nearest;

static nrw_status collect_pieces(const nrw_flow_field_request *request, nearest *n)
{
    size_t most = 1;
    for (size_t v = 0; v < request->map->n_vessels; v++)
        most += request->lines[v].n_points;
    n->pieces = malloc(most * sizeof *n->pieces);
    if (!n->pieces)
        return NRW_NO_MEMORY;
    for (size_t v = 0; v < request->map->n_vessels; v++) {
        const nrw_centreline *line = &request->lines[v];
        for (size_t i = 0; i + 1 < line->n_points; i++) {
            const nrw_centre_point *p = &line->points[i];
            if (p[1].s_um <= p[0].s_um)
                continue;
            n->pieces[n->n_pieces++] = (piece){{p->at_um[0], p->at_um[1]},
                                               {p->along[0], p->along[1]},
                                               p[1].s_um - p[0].s_um,
                                               {p[0].width_um, p[1].width_um}};
        }
    }
    return NRW_OK;
}

/* Share of the piece at its point nearest to a place, and the distance² to it. */
static double foot_on(const piece *p, const double at[2], double *square)
{
    double rx = at[0] - p->at[0], ry = at[1] - p->at[1];
    double t = fmin(fmax(rx * p->along[0] + ry * p->along[1], 0.0), p->length);
    rx -= t * p->along[0];
    ry -= t * p->along[1];
    *square = rx * rx + ry * ry;
    return t / p->length;
}

static void offer(nearest *n, int cell, int label, const double at[2])
{
    double square;
    if (label < 0 || label >= (int)n->n_pieces || label == n->label[cell])
        return;
    (void)foot_on(&n->pieces[label], at, &square);
    if (square < n->square[cell]) {
        n->square[cell] = square;
        n->label[cell] = label;
    }
}

/* Along every piece, the cells that it crosses. */
static void seed(nearest *n)
{
    const nrw_flow_field *field = n->field;
    for (size_t k = 0; k < n->n_pieces; k++) {
        const piece *p = &n->pieces[k];
        int steps = (int)(2.0 * p->length / field->spacing_um) + 1;
        for (int i = 0; i <= steps; i++) {
            double s = p->length * i / steps;
            size_t cell = 0;
            for (int c = 1; c >= 0; c--) {
                double x = (p->at[c] + s * p->along[c] - field->origin_um[c]) / field->spacing_um;
                x = fmin(fmax(x, 0.0), field->n[c] - 1.0);
                cell = cell * (size_t)field->n[0] + (size_t)x;
            }
            double at[2];
            cell_centre(field, cell, at);
            if (field->active[cell] >= 0)
                offer(n, field->active[cell], (int)k, at);
        }
    }
}

/* Each cell is offered the pieces of its neighbours, and those next to its own: walls
 * are not looked through. */
static void spread(nearest *n, bool forward)
{
    const nrw_flow_field *field = n->field;
    const int row = field->n[0];
    const int around[8] = {-1, 1, -row, row, -row - 1, -row + 1, row - 1, row + 1};
    for (size_t i = 0; i < field->n_active; i++) {
        size_t index = forward ? i : field->n_active - 1 - i;
        size_t cell = field->cells[index];
        double at[2];
        cell_centre(field, cell, at);
        for (int k = 0; k < 8; k++) {
            int other = field->active[cell + (size_t)(ptrdiff_t)around[k]];
            if (other >= 0)
                offer(n, (int)index, n->label[other], at);
        }
        int own = n->label[index];
        offer(n, (int)index, own - 1, at);
        offer(n, (int)index, own >= 0 ? own + 1 : -1, at);
    }
}

static void take_widths(nrw_flow_field *field, const nrw_channel *channel, const nearest *n)
{
    for (size_t i = 0; i < field->n_active; i++) {
        double at[2], width = 0.0, square;
        cell_centre(field, field->cells[i], at);
        if (n->label[i] >= 0) {
            const piece *p = &n->pieces[n->label[i]];
            double t = foot_on(p, at, &square);
            width = (1.0 - t) * p->width[0] + t * p->width[1];
        }
        /* Where vessels meet, the place may be farther from all walls. */
        double clear = 2.0 * nrw_channel_distance_um(channel, at[0], at[1], NULL);
        field->width_um[field->cells[i]] = (float)fmax(width, clear);
    }
}

static nrw_status find_widths(nrw_flow_field *field, const nrw_flow_field_request *request)
{
    nearest n = {.field = field};
    n.label = malloc((field->n_active + 1) * sizeof *n.label);
    n.square = malloc((field->n_active + 1) * sizeof *n.square);
    nrw_status status = n.label && n.square ? collect_pieces(request, &n) : NRW_NO_MEMORY;
    if (status == NRW_OK) {
        for (size_t i = 0; i < field->n_active; i++) {
            n.label[i] = -1;
            n.square[i] = INFINITY;
        }
        seed(&n);
        for (int sweep = 0; sweep < SWEEPS; sweep++) {
            spread(&n, true);
            spread(&n, false);
        }
        take_widths(field, request->channel, &n);
    }
    free(n.pieces);
    free(n.label);
    free(n.square);
    return status;
}

/* --- faces ------------------------------------------------------------------------------------ */

static double conductance_at(const nrw_flow_field *field, const nrw_channel *channel, double width,
                             double x, double y)
{
    double distance = nrw_channel_distance_um(channel, x, y, NULL);
    if (!(distance > 0.0))
        return 0.0;
    width = fmax(width, 2.0 * distance);
    return nrw_duct_depth_integral_um3(width, field->depth_um, 0.5 * width - distance);
}

/* Mean of K along a face of a cell (0: the right one, 1: the upper one), by three
 * points: exact for the parabola of a straight vessel. */
static double face_conductance(const nrw_flow_field *field, const nrw_channel *channel, size_t cell,
                               size_t next, int axis)
{
    static const double place[3] = {-0.38729833462074168, 0.0, 0.38729833462074168};
    static const double weight[3] = {5.0 / 18.0, 8.0 / 18.0, 5.0 / 18.0};
    double at[2], sum = 0.0;
    cell_centre(field, cell, at);
    at[axis] += 0.5 * field->spacing_um;
    double width = 0.5 * ((double)field->width_um[cell] + (double)field->width_um[next]);
    for (int k = 0; k < 3; k++) {
        double aside = place[k] * field->spacing_um;
        sum += weight[k] * conductance_at(field, channel, width, at[0] + (axis == 0 ? 0.0 : aside),
                                          at[1] + (axis == 0 ? aside : 0.0));
    }
    return sum;
}

static void find_faces(nrw_flow_field *field, const nrw_channel *channel)
{
    const size_t row = (size_t)field->n[0];
    for (size_t i = 0; i < field->n_active; i++) {
        size_t cell = field->cells[i];
        if (field->active[cell + 1] >= 0)
            field->right[i] = face_conductance(field, channel, cell, cell + 1, 0);
        if (field->active[cell + row] >= 0)
            field->up[i] = face_conductance(field, channel, cell, cell + row, 1);
    }
}

/* --- sources
 * --------------------------------------------------------------------------------------- */

/* Spreads a source over the cells of its stretch in proportion to their faces' K;
 * returns the sum of those (total 0: nothing else is done). */
static double spread_source(const nrw_flow_field *field, const nrw_flow_source *source,
                            double reach, double total, double *sources)
{
    double sum = 0.0;
    for (size_t i = 0; i < field->n_active; i++) {
        double at[2];
        cell_centre(field, field->cells[i], at);
        double rx = at[0] - source->at_um[0], ry = at[1] - source->at_um[1];
        double out = rx * source->outward[0] + ry * source->outward[1];
        double aside = fabs(rx * source->outward[1] - ry * source->outward[0]);
        if (out < source->from_um - reach || out > source->to_um + reach ||
            aside > source->half_width_um)
            continue;
        nrw_flow_lower l = nrw_flow_lower_of(field, i);
        double weight = field->right[i] + field->up[i] + l.k_left + l.k_down;
        sum += weight;
        if (total > 0.0)
            sources[i] += source->flow_um3_s * weight / total;
    }
    return sum;
}

static bool add_source(const nrw_flow_field *field, const nrw_flow_source *source, double *sources)
{
    /* A stretch between two rows of cells is widened until it holds some. */
    for (int k = 0; k < 4; k++) {
        double reach = 0.5 * k * field->spacing_um;
        double total = spread_source(field, source, reach, 0.0, NULL);
        if (!(total > 0.0))
            continue;
        (void)spread_source(field, source, reach, total, sources);
        return true;
    }
    return false;
}

/* --- solutions
 * --------------------------------------------------------------------------------------- */

/* Mean of the falls across a cell's faces along one axis; those with a wall don't
 * count. */
static double fall_along(double k_before, double before, double here, double k_after, double after,
                         double spacing)
{
    double sum = 0.0;
    int n = 0;
    if (k_before > 0.0) {
        sum += before - here;
        n++;
    }
    if (k_after > 0.0) {
        sum += here - after;
        n++;
    }
    return n > 0 ? sum / (n * spacing) : 0.0;
}

static void take_falls(const nrw_flow_field *field, const double *pressure, float (*falls)[2])
{
    for (size_t cell = 0; cell < field->n_cells; cell++)
        falls[cell][0] = falls[cell][1] = NAN;
    for (size_t i = 0; i < field->n_active; i++) {
        size_t cell = field->cells[i];
        nrw_flow_lower l = nrw_flow_lower_of(field, i);
        int right = field->active[cell + 1], up = field->active[cell + (size_t)field->n[0]];
        double here = pressure[i];
        falls[cell][0] =
            (float)fall_along(l.k_left, l.left >= 0 ? pressure[l.left] : 0.0, here, field->right[i],
                              right >= 0 ? pressure[right] : 0.0, field->spacing_um);
        falls[cell][1] =
            (float)fall_along(l.k_down, l.down >= 0 ? pressure[l.down] : 0.0, here, field->up[i],
                              up >= 0 ? pressure[up] : 0.0, field->spacing_um);
    }
}

/* Gives cells without a value the mean of their eight neighbours that have one, ring
 * by ring; the rest becomes 0. values (n_cells x stride), the same for every one of
 * the stride. `next` (n_cells x stride) is scratch. */
static void extend(const nrw_flow_field *field, float *values, size_t stride, float *next)
{
    const size_t row = (size_t)field->n[0];
    for (int ring = 0; ring < RINGS; ring++) {
        memcpy(next, values, field->n_cells * stride * sizeof *values);
        for (size_t cell = row + 1; cell + row + 1 < field->n_cells; cell++) {
            if (!isnan(values[cell * stride]))
                continue;
            const size_t around[8] = {cell - 1,       cell + 1,       cell - row,
                                      cell + row,     cell - row - 1, cell - row + 1,
                                      cell + row - 1, cell + row + 1};
            int n = 0;
            float sum[2] = {0.0f, 0.0f};
            for (int k = 0; k < 8; k++) {
                if (isnan(values[around[k] * stride]))
                    continue;
                for (size_t c = 0; c < stride; c++)
                    sum[c] += values[around[k] * stride + c];
                n++;
            }
            for (size_t c = 0; c < stride && n > 0; c++)
                next[cell * stride + c] = sum[c] / (float)n;
        }
        memcpy(values, next, field->n_cells * stride * sizeof *values);
    }
    for (size_t k = 0; k < field->n_cells * stride; k++)
        if (isnan(values[k]))
            values[k] = 0.0f;
}

static nrw_status extend_widths(nrw_flow_field *field)
{
    float *scratch = malloc(field->n_cells * sizeof *scratch);
    if (!scratch)
        return NRW_NO_MEMORY;
    for (size_t cell = 0; cell < field->n_cells; cell++)
        if (field->active[cell] < 0)
            field->width_um[cell] = NAN;
    extend(field, field->width_um, 1, scratch);
    free(scratch);
    return NRW_OK;
}

nrw_status nrw_flow_field_create(const nrw_flow_field_request *request, nrw_flow_field **field)
{
    *field = NULL;
    nrw_flow_field *f = calloc(1, sizeof *f);
    if (!f)
        return NRW_NO_MEMORY;
    place_cells(f, request);
    nrw_status status = find_active(f, request->channel);
    if (status == NRW_OK)
        status = find_widths(f, request);
    if (status == NRW_OK) {
        find_faces(f, request->channel);
        nrw_flow_cells_factorise(f);
        status = extend_widths(f);
    }
    if (status == NRW_OK)
        *field = f;
    else
        nrw_flow_field_destroy(f);
    return status;
}

nrw_status nrw_flow_field_solve(nrw_flow_field *field, const nrw_flow_source *sources,
                                size_t n_sources)
{
    float(**falls)[2] = realloc(field->falls, (field->n_solutions + 1) * sizeof *falls);
    if (!falls)
        return NRW_NO_MEMORY;
    field->falls = falls;
    float(*solution)[2] = malloc(field->n_cells * sizeof *solution);
    float *scratch = malloc(2 * field->n_cells * sizeof *scratch);
    double *inflow = calloc(field->n_active + 1, sizeof *inflow);
    nrw_status status = solution && scratch && inflow ? NRW_OK : NRW_NO_MEMORY;
    for (size_t k = 0; k < n_sources && status == NRW_OK; k++)
        if (!add_source(field, &sources[k], inflow))
            status = NRW_DIVERGED;
    if (status == NRW_OK)
        status = nrw_flow_cells_solve(field, inflow, field->work[3]);
    if (status == NRW_OK) {
        take_falls(field, field->work[3], solution);
        extend(field, &solution[0][0], 2, scratch);
        field->falls[field->n_solutions++] = solution;
        solution = NULL;
    }
    free(solution);
    free(scratch);
    free(inflow);
    return status;
}

/* --- looking up
 * ----------------------------------------------------------------------------------------- */

double nrw_flow_field_spacing_um(const nrw_flow_field *field)
{
    return field->spacing_um;
}

nrw_flow_spot nrw_flow_field_spot(const nrw_flow_field *field, double x_um, double y_um)
{
    double x = (x_um - field->origin_um[0]) / field->spacing_um - 0.5;
    double y = (y_um - field->origin_um[1]) / field->spacing_um - 0.5;
    /* Plain comparisons take NAN to the corner. */
    x = x > 0.0 ? x : 0.0;
    y = y > 0.0 ? y : 0.0;
    x = x < field->n[0] - 1.001 ? x : field->n[0] - 1.001;
    y = y < field->n[1] - 1.001 ? y : field->n[1] - 1.001;
    size_t i = (size_t)x, j = (size_t)y;
    float u = (float)(x - (double)i), v = (float)(y - (double)j);
    return (nrw_flow_spot){j * (size_t)field->n[0] + i,
                           {(1.0f - u) * (1.0f - v), u * (1.0f - v), (1.0f - u) * v, u * v}};
}

void nrw_flow_field_fall(const nrw_flow_field *field, size_t solution, const nrw_flow_spot *spot,
                         double fall[2])
{
    float(*low)[2] = field->falls[solution] + spot->cell;
    float(*high)[2] = low + field->n[0];
    const float *w = spot->weight;
    for (int c = 0; c < 2; c++)
        fall[c] =
            (double)(w[0] * low[0][c] + w[1] * low[1][c] + w[2] * high[0][c] + w[3] * high[1][c]);
}

double nrw_flow_field_width_um(const nrw_flow_field *field, const nrw_flow_spot *spot)
{
    const float *low = field->width_um + spot->cell, *high = low + field->n[0];
    const float *w = spot->weight;
    return (double)(w[0] * low[0] + w[1] * low[1] + w[2] * high[0] + w[3] * high[1]);
}
