/* The table of floor mobilities.
 *
 * Cells are uniform in the leading bits of a float (linear within an octave), so
 * that finding the cell takes no logarithm. Each cell holds cubics in the place
 * within it, made once: exact values at 4 points an octave of ln delta, between
 * them 8-point Lagrange interpolation of scaled, slowly varying functions. */
#include "mobility.h"

#include <math.h>
#include <pthread.h>
#include <stdint.h>
#include <string.h>

#include "floor_mobility.h"

enum {
    FIRST_OCTAVE = -14, /* cells start at 2^-14 ... */
    N_OCTAVES = 21,     /* ... and end at 2^7 */
    CELL_BITS = 4,
    N_CELLS = N_OCTAVES << CELL_BITS,
    FIRST_INDEX = (127 + FIRST_OCTAVE) << CELL_BITS,
    PLACE_BITS = 23 - CELL_BITS,
    N_LANES = 8, /* mt, mz, mr, ms, rolling, dmz and two unused */

    NODES_PER_OCTAVE = 4,
    STENCIL = 8,
    N_NODES = N_OCTAVES * NODES_PER_OCTAVE + STENCIL / 2 + 1
};

struct nrw_floor_table {
    /* (cell x power x lane): a lane's value is a cubic in the place 0...1. */
    float cells[N_CELLS][4][N_LANES];
    nrw_floor_resistance nearest; /* exact, at the least delta of the cells */
};

/* Scaled functions at the nodes: mt, mz (1+δ)/δ, mr, ms, rolling (1+δ)⁴. */
typedef struct node_values {
    double f[5];
} node_values;

static double node_delta(int node)
{
    return exp2(FIRST_OCTAVE + (double)node / NODES_PER_OCTAVE);
}

static void fill_nodes(node_values nodes[N_NODES])
{
    for (int i = 0; i < N_NODES; i++) {
        double delta = node_delta(i);
        nrw_floor_resistance r = nrw_floor_resistance_exact(delta);
        nrw_floor_mobility m = nrw_floor_mobility_of(&r);
        double h2 = (1.0 + delta) * (1.0 + delta);
        nodes[i] =
            (node_values){{m.mt, m.mz * (1.0 + delta) / delta, m.mr, m.ms, m.rolling * h2 * h2}};
    }
}

/* Lagrange weights of the stencil 0...7 at u, and their derivatives by u. */
static void lagrange(double u, double weights[STENCIL], double slopes[STENCIL])
{
    for (int i = 0; i < STENCIL; i++) {
        double value = 1, slope = 0;
        for (int j = 0; j < STENCIL; j++) {
            if (j == i)
                continue;
            slope = (slope * (u - j) + value) / (i - j);
            value *= (u - j) / (i - j);
        }
        weights[i] = value;
        slopes[i] = slope;
    }
}

/* All lanes at delta from the nodes. */
static void interpolate(const node_values nodes[N_NODES], double delta, double lanes[N_LANES])
{
    double at = (log2(delta) - FIRST_OCTAVE) * NODES_PER_OCTAVE;
    int first = (int)at - STENCIL / 2 + 1;
    first = first < 0 ? 0 : first > N_NODES - STENCIL ? N_NODES - STENCIL : first;
    double weights[STENCIL], slopes[STENCIL], f[5] = {0}, mz_slope = 0;
    lagrange(at - first, weights, slopes);
    for (int i = 0; i < STENCIL; i++) {
        for (int k = 0; k < 5; k++)
            f[k] += weights[i] * nodes[first + i].f[k];
        mz_slope += slopes[i] * nodes[first + i].f[1];
    }
    double h = 1.0 + delta;
    lanes[0] = f[0];
    lanes[1] = f[1] * delta / h;
    lanes[2] = f[2];
    lanes[3] = f[3];
    lanes[4] = f[4] / (h * h * h * h);
    /* d/dδ of f·δ/(1+δ), with df/dδ = df/du · (nodes per octave)/(δ ln 2). */
    lanes[5] = mz_slope * NODES_PER_OCTAVE / (log(2.0) * h) + f[1] / (h * h);
    lanes[6] = lanes[7] = 0;
}

static double cell_start(int cell)
{
    int octave = FIRST_OCTAVE + (cell >> CELL_BITS);
    int part = cell & ((1 << CELL_BITS) - 1);
    return ldexp(1.0 + ldexp(part, -CELL_BITS), octave);
}

/* Cubics through the values at the places 0, ⅓, ⅔, 1, so that neighbouring cells
 * meet. */
static void fill_cell(const node_values nodes[N_NODES], int cell, float powers[4][N_LANES])
{
    double start = cell_start(cell), width = cell_start(cell + 1) - start;
    double v[4][N_LANES];
    for (int i = 0; i < 4; i++)
        interpolate(nodes, start + width * i / 3.0, v[i]);
    for (int k = 0; k < N_LANES; k++) {
        double a = v[0][k], b = v[1][k], c = v[2][k], d = v[3][k];
        powers[0][k] = (float)a;
        powers[1][k] = (float)(-5.5 * a + 9.0 * b - 4.5 * c + d);
        powers[2][k] = (float)(9.0 * a - 22.5 * b + 18.0 * c - 4.5 * d);
        powers[3][k] = (float)(4.5 * (d - a) + 13.5 * (b - c));
    }
}

/* The one table: written under the once-guard, read-only from then on. */
static nrw_floor_table the_table;
static pthread_once_t the_table_once = PTHREAD_ONCE_INIT;

static void fill_table(void)
{
    node_values nodes[N_NODES];
    fill_nodes(nodes);
    for (int cell = 0; cell < N_CELLS; cell++)
        fill_cell(nodes, cell, the_table.cells[cell]);
    the_table.nearest = nrw_floor_resistance_exact(ldexp(1.0, FIRST_OCTAVE));
}

const nrw_floor_table *nrw_floor_table_get(void)
{
    if (pthread_once(&the_table_once, fill_table) != 0)
        return NULL; /* cannot happen with a valid guard (POSIX) */
    return &the_table;
}

/* Outside the cells: far series above, leading lubrication terms below. */
static nrw_floor_mobility beyond(const nrw_floor_table *table, double delta)
{
    if (!(delta < 1.0))
        return nrw_floor_mobility_far(delta);
    double near = ldexp(1.0, FIRST_OCTAVE);
    double d = delta > 1e-9 ? delta : 1e-9;
    double ln = log(d / near);
    nrw_floor_resistance r = table->nearest;
    r.Ft -= 8.0 / 15 * ln;
    r.Tt -= 1.0 / 10 * ln;
    r.Fr = 4.0 / 3 * r.Tt;
    r.Tr -= 2.0 / 5 * ln;
    r.Fz += 1.0 / d - 1.0 / near - 1.0 / 5 * ln;
    r.Tz += 0.5 * (d * log(d) - near * log(near)) + 0.444935 * (d - near);
    nrw_floor_mobility m = nrw_floor_mobility_of(&r);
    m.dmz = (1.0 / (d * d) + 1.0 / (5.0 * d)) * m.mz * m.mz;
    return m;
}

/* Cell of delta and the place in it, or N_CELLS and more outside. */
static uint32_t find_cell(float delta, float *place)
{
    uint32_t bits;
    memcpy(&bits, &delta, sizeof bits);
    *place = (float)(int32_t)(bits & ((1u << PLACE_BITS) - 1u)) * (1.0f / (1 << PLACE_BITS));
    return (bits >> PLACE_BITS) - (uint32_t)FIRST_INDEX;
}

static void eval_cell(const float (*restrict powers)[N_LANES], float place,
                      float lanes[restrict N_LANES])
{
    for (int k = 0; k < N_LANES; k++)
        lanes[k] =
            powers[0][k] + place * (powers[1][k] + place * (powers[2][k] + place * powers[3][k]));
}

nrw_floor_mobility nrw_floor_mobility_at(const nrw_floor_table *table, double delta)
{
    float place, lanes[N_LANES];
    uint32_t cell = find_cell((float)delta, &place);
    if (cell >= N_CELLS)
        return beyond(table, delta);
    eval_cell(table->cells[cell], place, lanes);
    return (nrw_floor_mobility){.mt = (double)lanes[0],
                                .mz = (double)lanes[1],
                                .mr = (double)lanes[2],
                                .ms = (double)lanes[3],
                                .rolling = (double)lanes[4],
                                .dmz = (double)lanes[5]};
}

void nrw_floor_mobility_array(const nrw_floor_table *table, size_t n, const float *restrict delta,
                              float *restrict mt, float *restrict mz, float *restrict mr,
                              float *restrict ms, float *restrict rolling, float *restrict dmz)
{
    for (size_t i = 0; i < n; i++) {
        float place, lanes[N_LANES];
        uint32_t cell = find_cell(delta[i], &place);
        if (cell < N_CELLS) {
            eval_cell(table->cells[cell], place, lanes);
        } else {
            nrw_floor_mobility m = beyond(table, (double)delta[i]);
            lanes[0] = (float)m.mt;
            lanes[1] = (float)m.mz;
            lanes[2] = (float)m.mr;
            lanes[3] = (float)m.ms;
            lanes[4] = (float)m.rolling;
            lanes[5] = (float)m.dmz;
        }
        mt[i] = lanes[0];
        mz[i] = lanes[1];
        mr[i] = lanes[2];
        ms[i] = lanes[3];
        rolling[i] = lanes[4];
        dmz[i] = lanes[5];
    }
}
