/* Strategies: ways to carry a swarm that a comparison sets side by side. Each
 * stands for a few recipes that differ in nothing but its own idea; the best of
 * them on a few trials apart from those of the comparison represents it, so that
 * every strategy is judged at its best.
 *
 * keep-gathered   gathered, then carried along the centreline at one tilt of at
 *                 most 10 degrees: nothing reshapes the swarm on purpose.
 * constant-tilt   the same at one larger tilt, 20 to 55 degrees.
 * tilt-and-wobble the same at 25 to 50 degrees with a heading that swings by
 *                 30 degrees either way, every 4 s.
 * all-chains      never gathered: from the release on the field turns in a plane
 *                 that stands nearly upright, tilt 70 to 85 degrees, in which
 *                 particles line up and roll in chains and files.
 * planned         what `narrows plan` finds: searched with this seed. */
#ifndef NRW_STRATEGY_H
#define NRW_STRATEGY_H

#include <stddef.h>

#include "recipe.h"
#include "series.h"

typedef enum nrw_strategy {
    NRW_STRATEGY_KEEP_GATHERED,
    NRW_STRATEGY_ALL_CHAINS,
    NRW_STRATEGY_CONSTANT_TILT,
    NRW_STRATEGY_TILT_AND_WOBBLE,
    NRW_STRATEGY_PLANNED,
    NRW_N_STRATEGIES
} nrw_strategy;

/* "keep-gathered", ...: a static string. */
const char *nrw_strategy_name(nrw_strategy strategy);

/* Index of a strategy by its name; -1: there is none, and *nearest (may be NULL)
 * gets a name that may be meant, or NULL. */
int nrw_strategy_find(const char *name, const char **nearest);

/* Recipes of a strategy for a scenario, at most NRW_STRATEGY_RECIPES; none of
 * `planned`, nor where the rig can't give the field. */
enum { NRW_STRATEGY_RECIPES = 4 };
size_t nrw_strategy_recipes(nrw_strategy strategy, const nrw_scenario *scenario,
                            const nrw_channel *channel, nrw_recipe *recipes);

/* Schedule of one of these recipes. The caller clears it. NRW_NO_MEMORY. */
nrw_status nrw_strategy_schedule(nrw_strategy strategy, const nrw_recipe *recipe,
                                 const nrw_scenario *scenario, const nrw_channel *channel,
                                 nrw_schedule *schedule, nrw_errors *errors);

/* What represents a strategy. Owned: clear. */
typedef struct nrw_strategy_choice {
    nrw_schedule schedule;
    char words[256]; /* e.g. "tilt 45 deg, 72 Hz, 12 mT" */
    size_t n_tried;  /* recipes, or candidates of the plan */
} nrw_strategy_choice;

/* Chooses on two trials of NRW_TRIALS_SEARCH (`planned`: searches). The result
 * depends on scenario, seed and model alone; what was found is kept in the
 * series' checkpoint. NRW_REFUSED when the rig or the map allows none;
 * NRW_INTERRUPTED; failures. Clear the choice in every case. */
nrw_status nrw_strategy_choose(const nrw_series *series, nrw_strategy strategy,
                               nrw_strategy_choice *choice, nrw_errors *errors);
void nrw_strategy_choice_clear(nrw_strategy_choice *choice);

#endif
