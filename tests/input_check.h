/* What must hold for any bytes that a reader of files is given. */
#ifndef INPUT_CHECK_H
#define INPUT_CHECK_H

#include <stddef.h>

#include "scenario.h"

/* Gives the bytes to the reader of scenarios; returns what is amiss, or NULL:
 * either a scenario and no error, or no scenario and errors that all have a
 * place, in the order of the file, and a text. `n_taken` counts those read. */
const char *input_check_scenario(const char *text, size_t size, size_t *n_taken);

/* The same for schedules of a scenario; one that is taken must also survive
 * being written and read again. */
const char *input_check_schedule(const nrw_scenario *scenario, const char *text, size_t size,
                                 size_t *n_taken);

#endif
