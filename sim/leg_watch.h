/* Watches a leg of a run, frame by frame: what validity.h asks for. */
#ifndef NRW_LEG_WATCH_H
#define NRW_LEG_WATCH_H

#include "morphology.h"
#include "run.h"
#include "world.h"

typedef struct nrw_leg_watch {
    nrw_leg_seen seen;
    double from_s, from_x_um, from_y_um; /* where the present 2 s began; NAN: not yet */
    double overlap_before;               /* the run's largest, before this leg */
} nrw_leg_watch;

/* A leg begins; the world's largest overlap starts anew. */
void nrw_leg_watch_begin(nrw_leg_watch *watch, nrw_world *world);

/* A frame of it. */
void nrw_leg_watch_frame(nrw_leg_watch *watch, const nrw_world *world, const nrw_morphology *seen);

/* The leg ends: what was seen. The world's largest overlap is the run's again. */
nrw_leg_seen nrw_leg_watch_end(nrw_leg_watch *watch, nrw_world *world);

/* Two visits of a leg as one. */
nrw_leg_seen nrw_leg_seen_merge(nrw_leg_seen a, nrw_leg_seen b);

#endif
