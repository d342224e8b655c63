/* What kernels read and write by slot of the contact lists: floats, or in large swarms 16 bits
 * (kernel.h, NRW_UNIT). Included by kernel sources alone. */
#ifndef NRW_SLOT_LANES_H
#define NRW_SLOT_LANES_H

#include <stdbool.h>

#include "kernel.h"
#include "lanes.h"

static inline bool slots_are_short(const nrw_contact_rows *rows)
{
    return rows->short_n[0] != NULL;
}

/* Directions d/|d|, `inverse` being 1/|d|. */
static inline void slots_put_directions(const nrw_contact_rows *rows, size_t slot,
                                        const bool are_short, const nrw_lanes d[3],
                                        nrw_lanes inverse, nrw_lanes n[3])
{
    for (int axis = 0; axis < 3; axis++)
        n[axis] = d[axis] * inverse;
    if (are_short) {
        for (int axis = 0; axis < 3; axis++)
            lanes_store_short(rows->short_n[axis] + slot, lanes_all(NRW_UNIT) * n[axis]);
        return;
    }
    lanes_store(rows->nx + slot, n[0]);
    lanes_store(rows->ny + slot, n[1]);
    lanes_store(rows->nz + slot, n[2]);
}

static inline void slots_get_directions(const nrw_contact_rows *rows, size_t slot,
                                        const bool are_short, nrw_lanes n[3])
{
    if (are_short) {
        for (int axis = 0; axis < 3; axis++)
            n[axis] = lanes_all(1.0f / NRW_UNIT) * lanes_load_short(rows->short_n[axis] + slot);
        return;
    }
    n[0] = lanes_load(rows->nx + slot);
    n[1] = lanes_load(rows->ny + slot);
    n[2] = lanes_load(rows->nz + slot);
}

static inline void slots_put_excess(const nrw_brake_task *task, size_t slot, const bool are_short,
                                    nrw_lanes excess)
{
    if (are_short)
        lanes_store_short(task->short_excess + slot, lanes_all(NRW_UNIT / task->contact) * excess);
    else
        lanes_store(task->excess + slot, excess);
}

static inline nrw_lanes slots_get_excess(const nrw_brake_task *task, size_t slot,
                                         const bool are_short)
{
    if (are_short)
        return lanes_all(task->contact / NRW_UNIT) * lanes_load_short(task->short_excess + slot);
    return lanes_load(task->excess + slot);
}

#endif
