/* Whether the places of a job lie in the channel. */
#ifndef NRW_CHANNEL_CHECK_H
#define NRW_CHANNEL_CHECK_H

#include "error.h"
#include "outline.h"
#include "scenario.h"

/* Checks release (its circle too, unless positions override it), target, start
 * positions and nodes without vessels against a closed outline. Appends every
 * error; NRW_OK or NRW_BAD_INPUT. */
nrw_status nrw_channel_check_places(const nrw_scenario *scenario, const nrw_outline *outline,
                                    nrw_errors *errors);

#endif
