/* Who is close to whom; compiled once per instruction set with NRW_KERNEL_SUFFIX set. */
#include <stdbool.h>
#include <string.h>

#include "box_lanes.h"
#include "kernel.h"
#include "kernel_name.h"
#include "lanes.h"

nrw_close_kernel NRW_KERNEL(nrw_contact_close_);

/* What is found around some rows. */
enum { CLOSE_MOST = 128 + 2 * NRW_LANES };
typedef struct close_ones {
    size_t n_inner[NRW_QUAD], n_outer[NRW_QUAD];
    uint32_t inner[NRW_QUAD][CLOSE_MOST], outer[NRW_QUAD][CLOSE_MOST];
} close_ones;

/* Tests the rows from `first` on with the block from row j on. */
static inline void add_close(const nrw_close_search *search, size_t first, const size_t n_rows,
                             size_t j, close_ones *ones)
{
    const nrw_lanes reach2 = lanes_all(search->reach * search->reach);
    const nrw_lanes inner2 = lanes_all(search->inner * search->inner);
    for (const size_t end = j + NRW_LANES; j < end; j += NRW_WIDTH) {
        const nrw_lanes x = lanes_load(search->x + j), y = lanes_load(search->y + j);
        const nrw_lanes z = lanes_load(search->z + j), radius = lanes_load(search->radius + j);
        NRW_UNROLL
        for (size_t r = 0; r < n_rows; r++) {
            const size_t i = first + r;
            const nrw_lanes dx = lanes_all(search->x[i]) - x, dy = lanes_all(search->y[i]) - y;
            const nrw_lanes dz = lanes_all(search->z[i]) - z;
            const nrw_lanes touch = lanes_all(search->radius[i]) + radius;
            const nrw_lanes r2 = dx * dx + dy * dy + dz * dz, touch2 = touch * touch;
            unsigned bits = lanes_bits(lanes_above(reach2 * touch2, r2));
            bits &= ~(unsigned)(i - j < NRW_WIDTH ? UINT64_C(1) << (i - j) : 0);
            const unsigned close = bits & lanes_bits(lanes_above(inner2 * touch2, r2));
            ones->n_inner[r] +=
                lanes_numbers(close, (uint32_t)j, ones->inner[r] + ones->n_inner[r]);
            ones->n_outer[r] +=
                lanes_numbers(bits & ~close, (uint32_t)j, ones->outer[r] + ones->n_outer[r]);
        }
    }
}

static inline bool too_many(const close_ones *ones, size_t n_rows, size_t most)
{
    bool more = false;
    for (size_t r = 0; r < n_rows; r++)
        more |= ones->n_inner[r] + ones->n_outer[r] > most;
    return more;
}

/* In whole vectors, since most lists are shorter than one. */
static inline void copy_numbers(uint32_t *to, const uint32_t *from, size_t n)
{
    size_t k = 0;
    do
        memcpy(to + k, from + k, NRW_LANES * sizeof *to);
    while ((k += NRW_LANES) < n);
}

/* The box around n rows, and the largest radius of theirs. */
static inline float box_of_rows(const nrw_close_search *search, size_t first, size_t n,
                                float low[3], float high[3])
{
    const float *at[3] = {search->x + first, search->y + first, search->z + first};
    float radius = search->radius[first];
    for (int axis = 0; axis < 3; axis++) {
        low[axis] = high[axis] = at[axis][0];
        for (size_t r = 1; r < n; r++) {
            low[axis] = at[axis][r] < low[axis] ? at[axis][r] : low[axis];
            high[axis] = at[axis][r] > high[axis] ? at[axis][r] : high[axis];
        }
    }
    for (size_t r = 1; r < n; r++)
        radius = search->radius[first + r] > radius ? search->radius[first + r] : radius;
    return radius;
}

/* Tests rows with those of all blocks that come near; false: too many. */
static inline bool find_close(const nrw_close_search *search, size_t first, const size_t n_rows,
                              size_t n, close_ones *ones)
{
    const nrw_block_boxes *boxes = &search->boxes;
    float low[3], high[3];
    const float radius = box_of_rows(search, first, n, low, high);
    /* a thousandth for the rounding of places */
    const float apart = 1.001f * search->reach * (radius + search->largest_radius);
    for (size_t k = 0; k < boxes->n; k += NRW_LANES)
        for (uint32_t bits = box_lanes_near(boxes, k, low, high, apart * apart); bits != 0;
             bits &= bits - 1) {
            const size_t block = boxes->blocks[k + (size_t)__builtin_ctz(bits)];
            add_close(search, first, n_rows, NRW_LANES * block, ones);
            if (too_many(ones, n_rows, search->most))
                return false;
        }
    return true;
}

static inline bool find_among_all(const nrw_close_search *search, size_t first, const size_t n_rows,
                                  close_ones *ones)
{
    for (size_t block = 0; block < search->boxes.n; block++) {
        add_close(search, first, n_rows, NRW_LANES * block, ones);
        if (too_many(ones, n_rows, search->most))
            return false;
    }
    return true;
}

static inline bool list_close(const nrw_close_search *search, size_t first, const size_t n_rows,
                              size_t n, uint32_t *found, uint32_t *starts)
{
    close_ones ones;
    memset(ones.n_inner, 0, sizeof ones.n_inner);
    memset(ones.n_outer, 0, sizeof ones.n_outer);
    if (!(search->boxes.blocks ? find_close(search, first, n_rows, n, &ones)
                               : find_among_all(search, first, n_rows, &ones)))
        return false;
    for (size_t r = 0; r < n; r++) {
        uint32_t *to = found + starts[r];
        copy_numbers(to, ones.inner[r], ones.n_inner[r]);
        copy_numbers(to + ones.n_inner[r], ones.outer[r], ones.n_outer[r]);
        starts[r + 1] = starts[r] + (uint32_t)(ones.n_inner[r] + ones.n_outer[r]);
    }
    return true;
}

bool NRW_KERNEL(nrw_contact_close_)(const nrw_close_search *search, size_t first, size_t n,
                                    uint32_t *found, uint32_t *starts)
{
    return n == 1 ? list_close(search, first, 1, 1, found, starts)
                  : list_close(search, first, NRW_QUAD, n, found, starts);
}
