/* The force of a pair for each component of the dipoles' tensor alone, in vectors. Included by
 * kernel sources alone. */
#ifndef NRW_RESPONSE_LANES_H
#define NRW_RESPONSE_LANES_H

#include "lanes.h"

/* The force along c for a tensor with M_ab alone is symmetric in a, b and c, so that ten sums are
 * enough. With x, y and z written out for a, b and c: the sums of d_a² with d_x, d_y, d_z for a =
 * x, y, z in turn, and at the end twice that of d_x d_y d_z. */
enum { RESPONSE_SUMS = 10 };

/* Adds those of pairs that are d apart, without their moments; strength 1/r⁵. */
static inline void response_add(const nrw_lanes d[3], nrw_lanes inverse2, nrw_lanes strength,
                                nrw_lanes sums[RESPONSE_SUMS])
{
    const nrw_lanes five = lanes_all(-5.0f) * inverse2;
    nrw_lanes s[3];
    for (int k = 0; k < 3; k++)
        s[k] = strength * d[k];
    for (int a = 0; a < 3; a++) {
        const nrw_lanes p = five * (d[a] * d[a]);
        const nrw_lanes pick[2] = {lanes_all(1.0f) + p, lanes_all(3.0f) + p};
        for (int k = 0; k < 3; k++)
            sums[3 * a + k] = lanes_fma(s[k], pick[a == k], sums[3 * a + k]);
    }
    sums[9] = lanes_fma((five + five) * s[0], d[1] * d[2], sums[9]);
}

#endif
