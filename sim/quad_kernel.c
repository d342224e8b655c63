/* Dipole forces within a cutoff, quads of four rows with the quads of their lists, and the
 * making of these lists. Compiled once per instruction set with NRW_KERNEL_SUFFIX set.
 *
 * Four quads of a list, which need not be neighbours, fill the widest vectors; docs/
 * performance.md tells how many of the lanes hold pairs within the cutoff, and what else was
 * tried. */
#include <stdbool.h>
#include <string.h>

#include "box_lanes.h"
#include "kernel.h"
#include "kernel_name.h"
#include "lanes.h"
#include "quad_lanes.h"

nrw_quad_kernel NRW_KERNEL(nrw_quad_dipoles_);
nrw_quads_within_kernel NRW_KERNEL(nrw_quad_within_);
nrw_quad_take_kernel NRW_KERNEL(nrw_quad_take_);
nrw_quad_places_kernel NRW_KERNEL(nrw_quad_places_);
nrw_quad_turn_kernel NRW_KERNEL(nrw_quad_turn_);

/* --- places ----------------------------------------------------------------- */

/* Something of each of a quad's four. */
typedef double four_doubles __attribute__((vector_size(32)));
typedef float four_floats __attribute__((vector_size(16)));
typedef uint64_t four_longs __attribute__((vector_size(32)));
typedef int32_t four_ints __attribute__((vector_size(16)));

/* Through pointers: without AVX the widest don't go in registers. */
static inline void load_four(four_doubles *four, const double *p)
{
    memcpy(four, p, sizeof *four);
}

static inline void load_four_floats(four_floats *four, const float *p)
{
    memcpy(four, p, sizeof *four);
}

double NRW_KERNEL(nrw_quad_take_)(const nrw_quad_rows *rows)
{
    four_doubles largest = {0.0, 0.0, 0.0, 0.0};
    for (size_t k = 0; k < rows->n_quads; k++) {
        const uint32_t *i = rows->order + NRW_QUAD * k;
        four_doubles square = {0.0, 0.0, 0.0, 0.0};
        NRW_UNROLL
        for (int axis = 0; axis < 3; axis++) {
            const double *given = rows->given[axis];
            const four_doubles at = {given[i[0]], given[i[1]], given[i[2]], given[i[3]]};
            memcpy(rows->at[axis] + NRW_QUAD * k, &at, sizeof at);
            four_doubles off;
            load_four(&off, rows->ref[axis] + NRW_QUAD * k);
            off = at - off - rows->drift[axis];
            square += off * off;
        }
        const four_longs more = (four_longs)(square > largest);
        largest = (four_doubles)((more & (four_longs)square) | (~more & (four_longs)largest));
    }
    double most = largest[0];
    for (int r = 1; r < NRW_QUAD; r++)
        most = largest[r] > most ? largest[r] : most;
    return most;
}

/* Added to a double below 2^51, leaves it rounded to a whole number in the low bits. */
#define WHOLE 0x1.8p52

void NRW_KERNEL(nrw_quad_places_)(const nrw_quad_rows *rows, const double turn[3][3],
                                  nrw_quad *quads)
{
    for (size_t k = 0; k < rows->n_quads; k++) {
        int32_t *const out[3] = {quads[k].x, quads[k].y, quads[k].z};
        four_doubles at[3];
        for (int axis = 0; axis < 3; axis++)
            load_four(&at[axis], rows->at[axis] + NRW_QUAD * k);
        NRW_UNROLL
        for (int axis = 0; axis < 3; axis++) {
            const four_doubles sums =
                turn[axis][0] * at[0] + turn[axis][1] * at[1] + turn[axis][2] * at[2] + WHOLE;
            const four_ints units = __builtin_convertvector((four_longs)sums, four_ints);
            memcpy(out[axis], &units, sizeof units);
        }
    }
}

void NRW_KERNEL(nrw_quad_turn_)(size_t n_quads, const nrw_quad *quads, const float turn[3][3],
                                float *forces)
{
    for (size_t k = 0; k < n_quads; k++) {
        float *force = forces + NRW_QUAD_FLOATS * k;
        four_floats moment, along[3];
        load_four_floats(&moment, quads[k].moment);
        for (int axis = 0; axis < 3; axis++) {
            load_four_floats(&along[axis], force + NRW_QUAD * axis);
            along[axis] *= moment;
        }
        NRW_UNROLL
        for (int axis = 0; axis < 3; axis++) {
            const four_floats sum =
                turn[0][axis] * along[0] + turn[1][axis] * along[1] + turn[2][axis] * along[2];
            memcpy(force + NRW_QUAD * axis, &sum, sizeof sum);
        }
    }
}

/* --- lists ------------------------------------------------------------------ */

/* Bit 4 q is set when one of the four bits of quad q is. */
static inline uint32_t any_of_four(uint32_t bits)
{
    bits |= bits >> 1;
    bits |= bits >> 2;
    return bits & 0x1111u;
}

/* Which of four quads come within reach of one of a quad's rows, as such bits. */
static inline uint32_t reached(const nrw_quad *quads, const quad_lanes rows[NRW_QUAD],
                               const uint32_t at[QUADS_A_LIST], nrw_lanes reach2)
{
    uint32_t bits = 0;
    for (int first = 0; first < QUADS_A_LIST; first += QUADS_A_VECTOR) {
        const quad_lanes others = quad_lanes_load(quads, at + first);
        NRW_UNROLL
        for (size_t r = 0; r < NRW_QUAD; r++) {
            nrw_lanes d[3];
            quad_lanes_apart(&rows[r], &others, d);
            const nrw_lanes r2 = lanes_fma(d[2], d[2], lanes_fma(d[0], d[0], d[1] * d[1]));
            bits |= lanes_bits(lanes_above(reach2, r2)) << NRW_QUAD * first;
        }
    }
    return any_of_four(bits);
}

size_t NRW_KERNEL(nrw_quad_within_)(const nrw_quad_search *search, size_t own, const float low[3],
                                    const float high[3], uint32_t *found)
{
    const nrw_lanes reach2 = lanes_all(search->reach2);
    quad_lanes rows[NRW_QUAD];
    for (size_t r = 0; r < NRW_QUAD; r++)
        rows[r] = quad_lanes_row(&search->quads[own], r);
    size_t n = 0;
    const nrw_block_boxes *boxes = &search->boxes;
    for (size_t k = 0; k < boxes->n; k += NRW_LANES)
        for (uint32_t bits = box_lanes_near(boxes, k, low, high, search->apart2); bits != 0;
             bits &= bits - 1) {
            const uint32_t first = QUADS_A_LIST * boxes->blocks[k + (size_t)__builtin_ctz(bits)];
            if (first + QUADS_A_LIST <= own)
                continue;
            uint32_t at[QUADS_A_LIST];
            for (uint32_t q = 0; q < QUADS_A_LIST; q++)
                at[q] = NRW_QUAD_FLOATS * (first + q);
            uint32_t met = reached(search->quads, rows, at, reach2);
            if (first <= own) /* those up to its own are not listed */
                met &= ~0u << NRW_QUAD * (own - first + 1);
            for (uint32_t q = 0; q < QUADS_A_LIST; q++) {
                found[n] = at[q];
                n += met >> NRW_QUAD * q & 1u;
            }
        }
    return n;
}

/* --- forces ----------------------------------------------------------------- */

/* Constants of a pass. A multiple of the unit tensor in M exerts no force (7.2): the third
 * principal value is taken out. Doubled, for 2 M·r + (tr M − 5 r·M·r/r²) r. */
typedef struct quad_law {
    nrw_lanes xx, yy, trace, core2, cutoff2;
} quad_law;

/* What rows have gathered from the others: x, y, z by lanes, to be summed. */
typedef struct row_sums {
    nrw_lanes axes[3];
} row_sums;

/* Forces of pairs that are `d` apart without the moments, for some rows at once: `strength`
 * times f. Rows go through each stage together, since what one stage needs of the stage before
 * takes several cycles to come. */
static inline void forces_of(const quad_law *law, const int rows, nrw_lanes d[][3],
                             nrw_lanes strength[], nrw_lanes f[][3])
{
    nrw_lanes r2[NRW_QUAD], inverse[NRW_QUAD], inverse2[NRW_QUAD], along[NRW_QUAD];
    NRW_UNROLL
    for (int r = 0; r < rows; r++)
        r2[r] = d[r][1] * d[r][1];
    NRW_UNROLL
    for (int r = 0; r < rows; r++)
        r2[r] = lanes_fma(d[r][0], d[r][0], r2[r]);
    NRW_UNROLL
    for (int r = 0; r < rows; r++)
        r2[r] = lanes_fma(d[r][2], d[r][2], r2[r]);
    NRW_UNROLL
    for (int r = 0; r < rows; r++) {
        f[r][0] = law->xx * d[r][0];
        f[r][1] = law->yy * d[r][1];
    }
    NRW_UNROLL
    for (int r = 0; r < rows; r++)
        along[r] = lanes_fma(f[r][0], d[r][0], f[r][1] * d[r][1]);
    lanes_rsqrt_each(law->core2, r2, rows, inverse);
    NRW_UNROLL
    for (int r = 0; r < rows; r++)
        inverse2[r] = inverse[r] * inverse[r];
    NRW_UNROLL
    for (int r = 0; r < rows; r++)
        strength[r] = inverse2[r] * inverse[r];
    NRW_UNROLL
    for (int r = 0; r < rows; r++)
        along[r] = lanes_fma(lanes_all(-2.5f) * inverse2[r], along[r], law->trace);
    NRW_UNROLL
    for (int r = 0; r < rows; r++)
        strength[r] = lanes_only(lanes_above(law->cutoff2, r2[r]), strength[r] * inverse2[r]);
    NRW_UNROLL
    for (int r = 0; r < rows; r++) {
        f[r][0] = lanes_fma(along[r], d[r][0], f[r][0]);
        f[r][1] = lanes_fma(along[r], d[r][1], f[r][1]);
        f[r][2] = along[r] * d[r][2];
    }
}

/* The pairs within a quad, both directions, as the first part of its rows' sums. */
static inline void begin_sums(const nrw_quad *quad, const quad_law *law, row_sums sums[NRW_QUAD])
{
    for (int first = 0; first < NRW_QUAD; first += QUADS_A_VECTOR) {
        quad_lanes rows, others;
        quad_lanes_pairs(quad, first, &rows, &others);
        nrw_lanes d[1][3], f[1][3], strength[1];
        quad_lanes_apart(&rows, &others, d[0]);
        forces_of(law, 1, d, strength, f);
        const nrw_lanes to_row = strength[0] * others.moment;
        for (int k = 0; k < QUADS_A_VECTOR; k++)
            for (int axis = 0; axis < 3; axis++)
                sums[first + k].axes[axis] = quad_lanes_keep(k, to_row * f[0][axis]);
    }
}

/* A quad with a vector of others. Its sums are kept in memory, so that one loop goes
 * through the lists of several quads: one for each would end too soon for the processor to
 * see it coming. */
static inline void add_listed(const nrw_quad_task *task, const quad_law *law, size_t slot,
                              row_sums *block_sums)
{
    const uint32_t *others = task->others + slot, owner = task->owners[slot / QUADS_A_LIST];
    const nrw_quad *own = &task->quads[owner];
    row_sums *sums = block_sums + owner % QUADS_A_LIST * NRW_QUAD;
    const quad_lanes other = quad_lanes_load(task->quads, others);
    nrw_lanes d[NRW_QUAD][3], f[NRW_QUAD][3], strength[NRW_QUAD], moment[NRW_QUAD];
    NRW_UNROLL
    for (size_t r = 0; r < NRW_QUAD; r++) {
        const quad_lanes row = quad_lanes_row(own, r);
        moment[r] = row.moment;
        quad_lanes_apart(&row, &other, d[r]);
    }
    forces_of(law, NRW_QUAD, d, strength, f);
    nrw_lanes pulls[3] = {lanes_all(0.0f), lanes_all(0.0f), lanes_all(0.0f)};
    NRW_UNROLL
    for (size_t r = 0; r < NRW_QUAD; r++) {
        const nrw_lanes to_row = strength[r] * other.moment, to_others = strength[r] * moment[r];
        for (int axis = 0; axis < 3; axis++) {
            sums[r].axes[axis] = lanes_fma(to_row, f[r][axis], sums[r].axes[axis]);
            pulls[axis] = lanes_fma(to_others, f[r][axis], pulls[axis]);
        }
    }
    quad_lanes_add(task->forces, others, pulls);
}

/* The rows' sums go to where the others leave theirs. */
static inline void end_sums(const row_sums sums[NRW_QUAD], float *forces)
{
    for (int axis = 0; axis < 3; axis++) {
        float total[NRW_QUAD];
        lanes_sum4(sums[0].axes[axis], sums[1].axes[axis], sums[2].axes[axis], sums[3].axes[axis],
                   total);
        for (int r = 0; r < NRW_QUAD; r++)
            forces[NRW_QUAD * axis + r] -= total[r];
    }
}

void NRW_KERNEL(nrw_quad_dipoles_)(const nrw_quad_task *given)
{
    const nrw_quad_task copy = *given, *const task = &copy;
    const float *m = task->tensor;
    const quad_law law = {lanes_all(2.0f * (m[0] - m[2])), lanes_all(2.0f * (m[1] - m[2])),
                          lanes_all(m[0] + m[1] - 2.0f * m[2]), lanes_all(task->core2),
                          lanes_all(task->cutoff2)};
    memset(task->forces, 0, (task->n_quads + 1) * NRW_QUAD_FLOATS * sizeof(float));
    for (size_t first = 0; first < task->n_quads; first += QUADS_A_LIST) {
        row_sums sums[QUADS_A_LIST * NRW_QUAD];
        for (size_t k = 0; k < QUADS_A_LIST; k++)
            begin_sums(&task->quads[first + k], &law, sums + NRW_QUAD * k);
        const size_t end = task->starts[first + QUADS_A_LIST];
        for (size_t slot = task->starts[first]; slot < end; slot += QUADS_A_VECTOR)
            add_listed(task, &law, slot, sums);
        for (size_t k = 0; k < QUADS_A_LIST; k++)
            end_sums(sums + NRW_QUAD * k, task->forces + NRW_QUAD_FLOATS * (first + k));
    }
}
