/* What the model assumes, leg by leg, and whether it holds (docs/validity.md).
 *
 * Each assumption has a number, two bounds, a state and a plain sentence. Numbers
 * that follow from the scenario and the drive are there before any run; those that
 * only a run can tell (speed, height, overlap) need what the run saw of the leg. What
 * does not apply (a rig's uniformity without a rig) is left out of the list. */
#ifndef NRW_VALIDITY_H
#define NRW_VALIDITY_H

#include "channel.h"
#include "run.h"
#include "scenario.h"
#include "schedule.h"

typedef enum nrw_validity_state {
    NRW_VALIDITY_OK,
    NRW_VALIDITY_MARGINAL,
    NRW_VALIDITY_OUTSIDE
} nrw_validity_state;

typedef enum nrw_assumption {
    NRW_ASSUME_NO_INERTIA,        /* Reynolds number */
    NRW_ASSUME_BONDS_BEAT_HEAT,   /* λ */
    NRW_ASSUME_PAIRS_REST,        /* N_b */
    NRW_ASSUME_COHESION,          /* Λ */
    NRW_ASSUME_MANY_TURNS,        /* turns of the field in what alternates or wobbles */
    NRW_ASSUME_IN_STEP,           /* frequency over step-out */
    NRW_ASSUME_ALIGNED,           /* mB/kT */
    NRW_ASSUME_ONE_LAG,           /* ωτ */
    NRW_ASSUME_MAGNETISATION,     /* how much the law of saturation matters */
    NRW_ASSUME_POINT_DIPOLES,     /* what induction would add to a bond */
    NRW_ASSUME_THIN_DOUBLE_LAYER, /* radius over Debye length */
    NRW_ASSUME_FAR_DOUBLE_LAYERS, /* gap over Debye length */
    NRW_ASSUME_NO_ATTRACTION,     /* van der Waals pull over weight */
    NRW_ASSUME_FREE_OF_SIDES,     /* drag by the side walls */
    NRW_ASSUME_FREE_OF_CEILING,   /* drag by the ceiling */
    NRW_ASSUME_DEEP_CHANNEL,      /* swarm over depth */
    NRW_ASSUME_OPEN_PAIR_FLOW,    /* pair flow beside walls */
    NRW_ASSUME_NO_RETURN_FLOW,    /* flow back in a closed channel over pair flow */
    NRW_ASSUME_PAIR_FLOW_CONTACT, /* speed over that of perfect rolling */
    NRW_ASSUME_THIN_SWARM,        /* area fraction */
    NRW_ASSUME_HARD_CONTACTS,     /* overlap */
    NRW_ASSUME_SLOW_FLOW,         /* the flow's Reynolds number */
    NRW_ASSUME_STEADY_FLOW,       /* Womersley number */
    NRW_ASSUME_FLOW_CELLS,        /* cells across */
    NRW_ASSUME_UNIFORM_FIELD,     /* field error over the map; set by who knows the coils */
    NRW_N_ASSUMPTIONS
} nrw_assumption;

typedef struct nrw_validity_item {
    nrw_assumption assumption;
    nrw_validity_state state;
    double value;
    double marginal, outside; /* beyond these the state is that; INFINITY: never */
    const char *text;         /* a sentence; static */
} nrw_validity_item;

typedef struct nrw_validity {
    nrw_model model; /* the one that the leg uses: averaged or resolved */
    size_t n_items;
    nrw_validity_item items[NRW_N_ASSUMPTIONS]; /* in the order of nrw_assumption */
} nrw_validity;

/* Judges a leg. `channel` may be NULL (nothing of walls, ceiling and flow is told then);
 * `model` as asked for (auto takes the recommended one); `draw` NULL: nominal; `seen`
 * NULL: before any run. Cost: the drive's averages, 10 ms for permanent moments. Thread
 * safe. */
void nrw_validity_of_leg(const nrw_scenario *scenario, const nrw_channel *channel,
                         const nrw_leg *leg, nrw_model model, const nrw_draw *draw,
                         const nrw_leg_seen *seen, nrw_validity *validity);

/* Adds an assumption with a value found elsewhere; keeps the order. NAN adds none. */
void nrw_validity_add(nrw_validity *validity, nrw_assumption assumption, double value);

/* The worst of a leg's states. */
nrw_validity_state nrw_validity_worst(const nrw_validity *validity);

/* "ok", "marginal", "outside". */
const char *nrw_validity_state_name(nrw_validity_state state);

/* What the list says of an assumption; static. */
typedef struct nrw_assumption_words {
    const char *key;    /* "reynolds_number" */
    const char *name;   /* "Reynolds number of a particle" */
    const char *unit;   /* "" where it has none */
    bool least;         /* the value must be at least the bounds, otherwise at most */
    const char *source; /* of the bounds */
} nrw_assumption_words;
nrw_assumption_words nrw_assumption_words_of(nrw_assumption assumption);

/* The model that a leg's drive calls for: averaged where both of its settings may be. */
nrw_model nrw_leg_recommended_model(const nrw_scenario *scenario, const nrw_leg *leg,
                                    const nrw_draw *draw);

#endif
