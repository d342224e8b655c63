/* A schedule: the legs that a run works through (contract section 3).
 *
 * Plain data. Files of it are read and written by planner/schedule_file.h. */
#ifndef NRW_SCHEDULE_H
#define NRW_SCHEDULE_H

#include <stddef.h>

#include "drive.h"

/* Conditions present in `until`; all that are present must hold. */
enum {
    NRW_UNTIL_SPREAD_BELOW = 1 << 0,
    NRW_UNTIL_WIDTH_BELOW = 1 << 1,
    NRW_UNTIL_ASPECT_ABOVE = 1 << 2,
    NRW_UNTIL_ASPECT_BELOW = 1 << 3,
    NRW_UNTIL_CLUSTER_ABOVE = 1 << 4,
    NRW_UNTIL_CENTROID_WITHIN = 1 << 5,
    NRW_UNTIL_CENTROID_PAST = 1 << 6,
    NRW_UNTIL_TAIL_PAST = 1 << 7,
    NRW_UNTIL_ELAPSED = 1 << 8
};

typedef struct nrw_place_condition {
    int node;                 /* index into the scenario's nodes */
    char name[NRW_NAME_SIZE]; /* its name */
    double distance_um;       /* centroid_within: radius; ..._past: beyond, along the route */
} nrw_place_condition;

typedef struct nrw_condition {
    unsigned present; /* NRW_UNTIL_... bits; 0: the leg lasts until its timeout */
    double spread_below_um, width_below_um, aspect_above, aspect_below, cluster_above;
    nrw_place_condition centroid_within, centroid_past, tail_past;
    double elapsed_s;
    double dwell_s; /* goes on that long after all first held */
} nrw_condition;

typedef struct nrw_leg {
    char name[NRW_NAME_SIZE];
    nrw_drive drive;
    nrw_condition until;
    double timeout_s;     /* INFINITY: none */
    int on_timeout_leg;   /* index of the leg that follows a timeout; -1: the next */
    double stall_after_s; /* 0: no stall rule */
    double stall_min_um;  /* less advance than this in stall_after_s is a stall */
    int stall_leg;        /* leg entered on a stall */
    int max_visits;       /* default 3 */
} nrw_leg;

typedef struct nrw_schedule {
    nrw_leg *legs; /* (n_legs), owned */
    size_t n_legs;
    nrw_samples **samples; /* (n_samples), owned: what drives of mode sampled play */
    size_t n_samples;
} nrw_schedule;

/* A leg with the contract's defaults and an empty name. */
nrw_leg nrw_leg_defaults(void);

/* Frees legs and samples and zeroes the struct. */
void nrw_schedule_clear(nrw_schedule *schedule);

#endif
