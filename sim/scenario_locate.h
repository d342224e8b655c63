/* Gives errors about a scenario's content their places in its file. */
#ifndef NRW_SCENARIO_LOCATE_H
#define NRW_SCENARIO_LOCATE_H

#include <stddef.h>

#include "error.h"
#include "scenario.h"

/* Fills line and column of the errors from index `first` on that have a key but
 * no line: where the key's value begins, or the nearest value around it that the
 * file has. Reads scenario->text again; does nothing where that is NULL or memory
 * is short. For failures only: costs as much as reading the file. */
void nrw_scenario_locate(const nrw_scenario *scenario, nrw_errors *errors, size_t first);

#endif
