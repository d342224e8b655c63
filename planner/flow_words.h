/* The flow through the map in figures and words, for `check`. */
#ifndef NRW_FLOW_WORDS_H
#define NRW_FLOW_WORDS_H

#include <stdio.h>

#include "channel.h"
#include "result.h"
#include "scenario.h"

/* Adds `flow` to the figures, null where the fluid is at rest: `vessels` [{`vessel`,
 * `rate_nl_min` from its first node to its second, `mean_um_s` in its narrowest section}]
 * and `nodes` [{`node`, `pressure_Pa` over the lowest}], both of the steady part;
 * `fastest_um_s` with pulses at their peak, `reynolds_number`, `womersley_number`,
 * `imbalance`. `channel` may be NULL. */
void nrw_flow_add_figures(nrw_result *result, const nrw_scenario *scenario,
                          const nrw_channel *channel);

/* The same for people. Nothing where the fluid is at rest. */
void nrw_flow_describe(const nrw_scenario *scenario, const nrw_channel *channel, FILE *stream);

#endif
