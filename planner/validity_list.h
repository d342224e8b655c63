/* What the model assumes over a whole schedule, or several: figures, warnings, words
 * (docs/validity.md). */
#ifndef NRW_VALIDITY_LIST_H
#define NRW_VALIDITY_LIST_H

#include <stdio.h>

#include "../sim/channel.h"
#include "../sim/result.h"
#include "../sim/run.h"
#include "../sim/scenario.h"
#include "../sim/schedule.h"
#include "../sim/validity.h"

typedef struct nrw_validity_entry {
    char strategy[NRW_NAME_SIZE]; /* "" where there is only one schedule */
    char leg[NRW_NAME_SIZE];
    nrw_validity validity;
} nrw_validity_entry;

/* In the caller's storage, all zero at first; clear. */
typedef struct nrw_validity_list {
    nrw_validity_entry *entries; /* (n), owned */
    size_t n;
    bool failed; /* memory was short: the list is not complete */
} nrw_validity_list;

/* Appends the legs of a schedule. With a `run` of it those that it entered, with what it
 * saw of them and the models that it used; else all, with the model as asked for. `draw`
 * NULL: nominal. `strategy` NULL: none. Where the rig's coils are known in shape, the
 * field's uniformity over the map is added. Cost: nrw_validity_of_leg for each leg. */
void nrw_validity_list_add(nrw_validity_list *list, const nrw_scenario *scenario,
                           const nrw_channel *channel, const nrw_schedule *schedule,
                           const char *strategy, nrw_model model, const nrw_draw *draw,
                           const nrw_run_result *run);

/* Figure `validity`: [{`strategy` (null for one schedule), `leg`, `model`, `state` (the
 * worst), `assumptions`: [{`assumption`, `name`, `state`, `value`, `unit`, `marginal`,
 * `outside` (bounds; null: never), `bound` ("at most" or "at least"), `text`, `source`}]}],
 * and a warning for each assumption that is outside. */
void nrw_validity_figures(nrw_result *result, const nrw_validity_list *list);

/* One line for each assumption, at its worst, with a sentence where it does not hold. */
void nrw_validity_describe(const nrw_validity_list *list, FILE *stream);

void nrw_validity_list_clear(nrw_validity_list *list);

#endif
