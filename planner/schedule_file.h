/* Schedule files (contract section 3): read, checked and written. */
#ifndef NRW_SCHEDULE_FILE_H
#define NRW_SCHEDULE_FILE_H

#include <stdio.h>

#include "../sim/error.h"
#include "../sim/scenario.h"
#include "../sim/schedule.h"

/* Reads a schedule for a scenario, whose nodes it may name. All errors of the
 * file are appended to `errors` as NRW_BAD_INPUT with their places; the schedule
 * is then empty. Whether the rig can give the fields is not asked here
 * (nrw_rig_check_schedule). The caller clears the schedule. Cost O(size of the
 * file + legs²). Thread safe. */
nrw_status nrw_schedule_load(const char *path, const nrw_scenario *scenario, nrw_schedule *schedule,
                             nrw_errors *errors);

/* The same, keeping the file's bytes for a copy in the results folder: *text is
 * terminated and holds *size bytes; the caller frees it (NULL on failure). */
nrw_status nrw_schedule_load_text(const char *path, const nrw_scenario *scenario,
                                  nrw_schedule *schedule, char **text, size_t *size,
                                  nrw_errors *errors);

/* The same from memory; `name` stands for the file in messages. */
nrw_status nrw_schedule_parse(const char *text, size_t size, const char *name,
                              const nrw_scenario *scenario, nrw_schedule *schedule,
                              nrw_errors *errors);

/* Writes a schedule as YAML to *text (terminated; the caller frees it). Read
 * with the same scenario it gives the same schedule to the last bit; values of
 * keys that a drive's mode doesn't have are not written. Legs have names that
 * differ. NRW_NO_MEMORY (*text is NULL then). */
nrw_status nrw_schedule_text(const nrw_schedule *schedule, char **text, nrw_errors *errors);

/* The same to a stream. Also NRW_IO_FAILED. */
nrw_status nrw_schedule_write(const nrw_schedule *schedule, FILE *stream, nrw_errors *errors);

#endif
