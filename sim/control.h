/* Control of a run: which leg is in force, where it heads, when it ends. Acts on
 * what imaging sees, at its frames (contract section 3). */
#ifndef NRW_CONTROL_H
#define NRW_CONTROL_H

#include "channel.h"
#include "morphology.h"
#include "run.h"
#include "schedule.h"

/* Observed progress along the route at past frames of the leg, for stalls. */
typedef struct nrw_progress_mark {
    double time_s, route_um;
} nrw_progress_mark;

typedef struct nrw_control {
    const nrw_scenario *scenario; /* borrowed, as the next two */
    const nrw_channel *channel;
    const nrw_schedule *schedule;
    size_t leg; /* in force; n_legs: the schedule is through */
    double leg_start_s;
    int *visits;              /* (n_legs) times entered, owned */
    double heading_rad[2];    /* of the main and the other setting, without wobble */
    double tilt_deg[2];       /* eased */
    bool in_sight;            /* at the last frame */
    bool held;                /* all conditions but elapsed_s held at the last frame */
    double held_since_s;      /* when all conditions first held; NAN: not yet */
    nrw_progress_mark *marks; /* (n_marks), owned; rebuilt at each leg */
    size_t n_marks, capacity;
    char warning[256]; /* of the last change of leg; "" if none */
} nrw_control;

/* What feedback acts on at a frame: the measured swarm with imaging's noise. */
typedef struct nrw_observation {
    nrw_morphology seen; /* positions with noise added */
} nrw_observation;

nrw_status nrw_control_init(nrw_control *control, const nrw_scenario *scenario,
                            const nrw_channel *channel, const nrw_schedule *schedule,
                            nrw_errors *errors);
void nrw_control_clear(nrw_control *control);

/* Enters a leg at a time. */
void nrw_control_enter(nrw_control *control, size_t leg, double t_s);

/* Takes a frame: turns headings, judges conditions and stalls. */
void nrw_control_observe(nrw_control *control, double t_s, const nrw_observation *observation);

/* Next exact time after t_s at which control must be asked again: timeout,
 * elapsed_s, end of a dwell, switch of an alternation. */
double nrw_control_next_s(const nrw_control *control, double t_s);

/* Whether the leg ends at t_s, and why; *next_leg gets the leg to enter (n_legs:
 * done). */
bool nrw_control_ends(nrw_control *control, double t_s, nrw_leg_end *end, size_t *next_leg);

/* The setting in force at t_s, and its index (0 main, 1 other). */
const nrw_drive_setting *nrw_control_setting(const nrw_control *control, double t_s, int *which);

#endif
