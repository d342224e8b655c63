/* Fates at the end of a run, and where and why particles were lost (contract
 * section 4). */
#ifndef NRW_FATE_H
#define NRW_FATE_H

#include <stdint.h>

#include "channel.h"
#include "run.h"

/* Fills result->fates, causes (unless NULL), fate_fraction and losses from the
 * final positions in the result. in_largest (n) marks the largest cluster; stuck and washed (n, may
 * be NULL) mark particles that stick to a wall or left through an outlet. */
nrw_status nrw_fate_judge(const nrw_scenario *scenario, const nrw_channel *channel,
                          const uint8_t *in_largest, const uint8_t *stuck, const uint8_t *washed,
                          nrw_run_result *result, nrw_errors *errors);

#endif
