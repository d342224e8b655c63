/* States of a swarm: what a drive makes of it, told from what imaging sees while
 * the drive lasts (docs/sweep.md has the thresholds and their reasons). */
#ifndef NRW_STATE_H
#define NRW_STATE_H

#include <stddef.h>

#include "error.h"
#include "run.h"

typedef enum nrw_state {
    NRW_STATE_UNCLASSIFIED, /* between the others, or repeats that disagree */
    NRW_STATE_FROZEN,       /* one cluster that neither travels nor turns */
    NRW_STATE_VORTEX,       /* one round flat cluster that turns in place */
    NRW_STATE_ROLLING,      /* one roundish flat cluster that travels */
    NRW_STATE_PLATE,        /* one cluster that stands up: seen from above it hides itself */
    NRW_STATE_FILE,         /* one long flat cluster along the heading */
    NRW_STATE_RIBBON,       /* one long flat cluster across it */
    NRW_STATE_TORN,         /* one large cluster and pieces apart from it */
    NRW_STATE_SHEETS,       /* many pieces that stand up */
    NRW_STATE_CHAINS,       /* many long flat pieces */
    NRW_STATE_CLUMPS,       /* many compact flat pieces */
    NRW_STATE_SCATTERED,    /* particles that don't touch each other */
    NRW_N_STATES
} nrw_state;

/* "vortex", ...: a static string. */
const char *nrw_state_name(nrw_state state);

/* What is seen over a stretch of time; means over its frames unless said
 * otherwise. NAN where nothing tells. */
typedef struct nrw_state_features {
    double cohesion;                /* largest-cluster fraction */
    double speed_um_s;              /* of the centroid, straight from first to last frame */
    double along_um_s, across_um_s; /* its parts along the heading and to the left of it */
    double turning_Hz;              /* of the particles about their centroid, left positive */
    double aspect_ratio;            /* median */
    double axis_deg;                /* of the long axis against the heading, 0...90 */
    double spread_um;
    double stacking;     /* area of the largest cluster's particles one by one, over
                            that of its silhouette: 1 in one layer */
    double piece_aspect; /* of the clusters, weighted by particles, at the end */
    double neighbour_um; /* distance to the nearest neighbour */
    double height_um;    /* 95 % of the particles' tops are below this, at the end */
    double visible;      /* share of frames with a silhouette of the visible size */
} nrw_state_features;

/* Thresholds. */
typedef struct nrw_state_limits {
    double cohesive;     /* 0.8: one cluster has at least this share */
    double torn;         /* 0.5: below, no cluster is the swarm any more */
    double travel_d_s;   /* 0.1: travels at more diameters a second than this */
    double turn_Hz;      /* 1/360: turns faster, a degree a second */
    double stacked;      /* 1.4: stands up above this */
    double round_aspect; /* 2: roundish below, */
    double long_aspect;  /* 3: long above */
    double aligned_deg;  /* 30: within this of the heading (or of across it) */
    double piece_aspect; /* 2.5: pieces are chains above (two touching spheres: 2.24) */
    double touching_d;   /* 1.3 diameters: neighbours touch below, */
    double apart_d;      /* 1.5: and don't above */
} nrw_state_limits;

nrw_state_limits nrw_state_limits_defaults(void);

/* Features of a recorded run between two times, from its frames and stored
 * positions: at least two frames and two positions should lie within.
 * `visible_um2` is the smallest visible area; the run's own must be above 0, or
 * the silhouette wasn't measured (stacking and visible NAN). NRW_NO_MEMORY. */
nrw_status nrw_state_measure(const nrw_run_result *run, double from_s, double to_s,
                             double heading_rad, double visible_um2, nrw_state_features *features);

/* The state for particles of that diameter. A NAN feature never meets a limit. */
nrw_state nrw_state_of(const nrw_state_features *features, const nrw_state_limits *limits,
                       double diameter_um);

/* Features in the order of nrw_state_features, for files: how many, the name of a
 * column, the value. */
enum { NRW_N_FEATURES = 13 };
const char *nrw_state_feature_name(int k);
double *nrw_state_feature(nrw_state_features *features, int k);

#endif
