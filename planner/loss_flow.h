/* The way of the particles through a run: released, gathered, each throat
 * entered and passed, target, retained; where each was lost, and how it ended.
 *
 * Counts are whole particles, so shares sum to exactly 100 %. A wrong branch
 * shows as an exit in a vessel that the route doesn't run through
 * (nrw_channel_route_has_vessel). */
#ifndef NRW_LOSS_FLOW_H
#define NRW_LOSS_FLOW_H

#include <stddef.h>
#include <stdint.h>

#include "channel.h"
#include "error.h"
#include "run.h"

typedef enum nrw_flow_kind {
    NRW_FLOW_RELEASED,
    NRW_FLOW_GATHERED,
    NRW_FLOW_THROAT_ENTERED,
    NRW_FLOW_THROAT_PASSED,
    NRW_FLOW_TARGET,
    NRW_FLOW_RETAINED
} nrw_flow_kind;

/* What a run knows of its particles; every array borrowed, (n). */
typedef struct nrw_particle_history {
    size_t n;
    const double *furthest_um; /* largest position along the route reached */
    const uint8_t *gathered;   /* 1: in the largest cluster when gathering ended; NULL: all 1 */
    const uint8_t *arrived;    /* 1: was inside the target circle at some time; NULL: only
                                  those that end in it */
    const nrw_fate *fates;     /* at the end */
    const double *x_um, *y_um; /* at the end */
    const double *route_um;    /* projection on the route at the end */
    const int *vessels;        /* vessel at the end, -1: open map */
    const uint8_t *causes;     /* nrw_loss_cause of those lost; NULL: NRW_LOSS_OTHER */
} nrw_particle_history;

/* A stage of the way. Every particle belongs to the last stage that it reached;
 * it then counts as having reached all earlier ones (one that was never
 * gathered but passed the throat went the way of the gathered ones). */
typedef struct nrw_flow_stage {
    nrw_flow_kind kind;
    size_t throat;    /* index, for the throat stages */
    size_t n_reached; /* never more than at the stage before */
    size_t n_lost;    /* reached this one and no later; 0 at the last stage */
} nrw_flow_stage;

/* Particles lost after one stage that ended in one vessel with one fate and cause. */
typedef struct nrw_flow_exit {
    size_t stage; /* index */
    nrw_fate fate;
    int vessel;
    size_t n;
    double at_um[2];                    /* mean position at the end */
    double route_um;                    /* mean position along the route at the end */
    double route_low_um, route_high_um; /* its range */
    nrw_loss_cause cause;
} nrw_flow_exit;

/* Owned; clear with nrw_loss_flow_clear. Several runs of one scenario may be
 * added up. */
typedef struct nrw_loss_flow {
    size_t n;               /* particles released, over all runs added */
    nrw_flow_stage *stages; /* (n_stages) from released to retained */
    size_t n_stages;
    nrw_flow_exit *exits; /* (n_exits) by stage, then vessel, then fate, then cause */
    size_t n_exits;
} nrw_loss_flow;

/* The flow of one run through the route's throats (n_throats, in order). A
 * throat is entered and passed at its two ends (contract section 4). Retained:
 * in the target at the end. Sum of n_lost over stages + n_reached of the last =
 * n; the exits of a stage sum to its n_lost. O(n). NRW_NO_MEMORY; the caller
 * clears the flow. */
nrw_status nrw_loss_flow_init(nrw_loss_flow *flow, const nrw_throat *throats, size_t n_throats,
                              const nrw_particle_history *history);
void nrw_loss_flow_clear(nrw_loss_flow *flow);

/* Adds `other` (same throats) to `flow`; an empty flow ({0}) becomes a copy.
 * NRW_NO_MEMORY leaves `flow` as it was. */
nrw_status nrw_loss_flow_add(nrw_loss_flow *flow, const nrw_loss_flow *other);

/* The flow of a run on its channel, from the run's final state and the furthest
 * positions that it kept; gathered and arrived (n_particles each, may be NULL)
 * as in nrw_particle_history; usually the run's own. */
nrw_status nrw_loss_flow_of_run(nrw_loss_flow *flow, const nrw_channel *channel,
                                const nrw_run_result *run, const uint8_t *gathered,
                                const uint8_t *arrived);

/* Shares for a table, in tenths of a percent: tenths (n_stages) of the particles
 * lost at each stage and, for the last, retained; rounded so that they sum to
 * exactly 1000 (largest remainders). All 0 for a flow without particles.
 * NRW_NO_MEMORY. */
nrw_status nrw_loss_flow_tenths(const nrw_loss_flow *flow, int *tenths);

/* The same exit by exit: tenths (n_exits + 1) of the particles lost at each, the
 * last those retained; they sum to exactly 1000, so that any grouping of exits
 * does too. NRW_NO_MEMORY. */
nrw_status nrw_loss_flow_exit_tenths(const nrw_loss_flow *flow, int *tenths);

/* "released", "throat 2 passed", ... in `text`, always terminated. */
void nrw_flow_stage_name(const nrw_flow_stage *stage, char *text, size_t size);

#endif
