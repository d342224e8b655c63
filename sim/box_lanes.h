/* Boxes of blocks (nrw_block_boxes) as vectors. Included by kernel sources alone. */
#ifndef NRW_BOX_LANES_H
#define NRW_BOX_LANES_H

#include "kernel.h"
#include "lanes.h"

/* Bit k is set when box first + k comes nearer to a box than the root of `apart2`. */
static inline uint32_t box_lanes_near(const nrw_block_boxes *boxes, size_t first,
                                      const float low[3], const float high[3], float apart2)
{
    const nrw_lanes zero = lanes_all(0.0f);
    uint32_t bits = 0;
    for (size_t lane = 0; lane < NRW_LANES; lane += NRW_WIDTH) {
        nrw_lanes sum = zero;
        for (int axis = 0; axis < 3; axis++) {
            const nrw_lanes above =
                lanes_load(boxes->low[axis] + first + lane) - lanes_all(high[axis]);
            const nrw_lanes below =
                lanes_all(low[axis]) - lanes_load(boxes->high[axis] + first + lane);
            const nrw_lanes gap = lanes_max(zero, lanes_max(above, below));
            sum = lanes_fma(gap, gap, sum);
        }
        bits |= lanes_bits(lanes_above(lanes_all(apart2), sum)) << lane;
    }
    return bits;
}

#endif
