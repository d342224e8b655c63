/* Reports: one self-contained HTML file about a result, for people.
 *
 * No links, no outside resources; every text from the user's files is escaped.
 * Layout and colours are in report.css, the replay in report.js; both are
 * embedded when the program is built. */
#ifndef NRW_REPORT_H
#define NRW_REPORT_H

#include <stddef.h>

#include "channel.h"
#include "error.h"
#include "result.h"
#include "run.h"
#include "scenario.h"
#include "schedule.h"

/* What a report of one run is made of; all borrowed. */
typedef struct nrw_report_input {
    const nrw_scenario *scenario;
    const nrw_channel *channel; /* NULL: it could not be built */
    const nrw_schedule *schedule;
    const nrw_run_result *run; /* NULL: nothing was simulated */
    const nrw_result *result;  /* complete, with provenance and warnings */
    const char *schedule_text; /* the file's text, terminated; NULL: none */
} nrw_report_input;

/* Makes the report of `run`. *html is terminated and holds *size bytes; the
 * caller frees it. NRW_OK or NRW_NO_MEMORY. The same input gives the same
 * bytes. Cost O(stored positions). Thread safe. */
nrw_status nrw_report_run(const nrw_report_input *input, char **html, size_t *size,
                          nrw_errors *errors);

/* The report of a folder that `narrows run` wrote, made again from its files
 * alone: the same bytes as the first time. Also NRW_BAD_INPUT and NRW_IO_FAILED.
 * Not thread safe: reads HDF5. */
nrw_status nrw_report_remake(const char *dir, char **html, size_t *size, nrw_errors *errors);

#endif
