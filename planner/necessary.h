/* Necessary conditions: what can be said before any simulation. A job that fails
 * one can't be done here, whatever the schedule (docs/planning.md, section 2). */
#ifndef NRW_NECESSARY_H
#define NRW_NECESSARY_H

#include <stdbool.h>

#include "../sim/channel.h"
#include "../sim/scenario.h"

typedef enum nrw_necessary_kind {
    NRW_NEED_GEOMETRY, /* the narrowest place lets a particle through */
    NRW_NEED_TORQUE,   /* the field can turn the particles */
    NRW_NEED_AXIS,     /* the rig can make particles roll: it has a vertical axis */
    NRW_NEED_GATHER,   /* the rig's field holds the swarm together against heat */
    NRW_NEED_SPEED,    /* the way can be made before the deadline */
    NRW_N_NEEDS
} nrw_necessary_kind;

typedef struct nrw_necessary_check {
    nrw_necessary_kind kind;
    bool holds;
    double value, needed; /* in `unit`; holds when value is at least needed */
    const char *unit;     /* static */
    char text[320];       /* what was compared, or why it fails */
    char change[240];     /* what would change it; "" when it holds */
} nrw_necessary_check;

typedef struct nrw_necessary {
    nrw_necessary_check checks[NRW_N_NEEDS];
    double fastest_um_s;      /* upper bound of the swarm's own speed with this rig */
    double best_frequency_Hz; /* where the rig gives that bound */
    double field_mT;          /* available there */
} nrw_necessary;

/* Judges a scenario. Cost: below 0.1 s. Thread safe. */
nrw_necessary nrw_necessary_of(const nrw_scenario *scenario, const nrw_channel *channel);

/* The first check that fails, NULL if all hold. */
const nrw_necessary_check *nrw_necessary_failure(const nrw_necessary *necessary);

/* "geometry", "torque", ...: a static string. */
const char *nrw_necessary_name(nrw_necessary_kind kind);

#endif
