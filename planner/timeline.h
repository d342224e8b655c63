/* A schedule with its times: which leg when, and where it headed.
 *
 * A leg that waits for what imaging sees has no times of its own. Either every
 * leg ends by the clock and heads where the file says, or a run supplies times
 * and headings (the fixed-time variant). */
#ifndef NRW_TIMELINE_H
#define NRW_TIMELINE_H

#include <stddef.h>

#include "error.h"
#include "run.h"
#include "schedule.h"

/* What is in force from time_s until the next item. */
typedef struct nrw_timeline_item {
    double time_s;
    int leg;               /* index into the schedule */
    double leg_start_s;    /* of this visit of the leg */
    double heading_rad[2]; /* of the main and the other setting, without wobble */
    double tilt_deg[2];
} nrw_timeline_item;

typedef struct nrw_timeline {
    nrw_timeline_item *items; /* (n_items) by rising time, the first at 0; owned */
    size_t n_items;
    double end_s;
} nrw_timeline;

/* From the schedule alone, each leg once, cut at deadline_s. NRW_REFUSED, with
 * a reason for each leg that needs imaging (a condition, a feedback heading) or
 * never ends. A timeout's `on_timeout` is followed, within `max_visits`. */
nrw_status nrw_timeline_of_schedule(const nrw_schedule *schedule, double deadline_s,
                                    nrw_timeline *timeline, nrw_errors *errors);

/* From a run that was recorded. Legs that were left at once are left out. */
nrw_status nrw_timeline_of_run(const nrw_run_result *run, nrw_timeline *timeline,
                               nrw_errors *errors);

void nrw_timeline_clear(nrw_timeline *timeline);

#endif
