/* Particles that move so far within a step that they may meet one that was not close when
 * neighbours were listed. */
#ifndef NRW_STRAY_H
#define NRW_STRAY_H

#include "world.h"

/* Whether, after a substep, some particle may touch one that is not listed, now or after one
 * more substep like its last: neighbours must be listed anew first. Uses the contacts' scratch
 * `near`. */
bool nrw_stray_may_meet(nrw_world *world);

#endif
