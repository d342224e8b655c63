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

/* What a report is made of; all borrowed. */
typedef struct nrw_report_input {
    const nrw_scenario *scenario;
    const nrw_channel *channel;   /* NULL: it could not be built */
    const nrw_schedule *schedule; /* without legs: there is none */
    const nrw_run_result *run;    /* NULL: no single run was recorded */
    const nrw_result *result;     /* complete, with provenance and warnings; its command decides
                                     what the report shows */
    const char *schedule_text;    /* the file's text, terminated; NULL: none */
    const char *dir; /* where the result's tables lie (trials.csv, ...); NULL: none are shown */
} nrw_report_input;

/* Makes the report of a result. *html is terminated and holds *size bytes; the
 * caller frees it. NRW_OK or NRW_NO_MEMORY. The same input gives the same
 * bytes. Tables that are missing or malformed are left out. Cost O(stored
 * positions + table rows). Thread safe. */
nrw_status nrw_report_make(const nrw_report_input *input, char **html, size_t *size,
                           nrw_errors *errors);

/* The report of a results folder, made again from its files alone: the same bytes
 * as the first time. NRW_BAD_INPUT for what is no results folder, or one whose
 * files don't belong together; NRW_IO_FAILED. Not thread safe: reads HDF5. */
nrw_status nrw_report_remake(const char *dir, char **html, size_t *size, nrw_errors *errors);

/* One page that sets n >= 2 results folders side by side. `result` (of a command
 * "report") gets its figures: `sources` [{`folder`, `command`, `title`,
 * `delivered_fraction`, `delivered_low`, `delivered_high`, `trials`, `time_s`,
 * `seed`, `scenario_sha256`}] and `pairs` [{`a`, `b`, `difference`, `low`, `high`,
 * `trials`}] of those that ran the same trials; null where nothing is known. Its
 * provenance must be set. Otherwise as nrw_report_remake. */
nrw_status nrw_report_together(size_t n, const char *const *dirs, nrw_result *result, char **html,
                               size_t *size, nrw_errors *errors);

/* A report as Markdown, for notebooks. Pictures become links into the folder
 * `figures` (a relative path), or their descriptions when it is NULL; replay and
 * folded tables are left out. *text is terminated; the caller frees it.
 * NRW_NO_MEMORY. */
nrw_status nrw_report_markdown(const char *html, const char *figures, char **text, size_t *size,
                               nrw_errors *errors);

/* The pictures of a report as SVG files that stand alone, light colours. */
typedef struct nrw_report_figure {
    char name[64]; /* "map-picture": letters, digits and dashes, unique in the report */
    char *svg;     /* terminated, `size` bytes */
    size_t size;
} nrw_report_figure;

typedef struct nrw_report_figures {
    nrw_report_figure *items; /* (n), owned */
    size_t n;
} nrw_report_figures;

/* NRW_NO_MEMORY. The caller clears the figures in every case. */
nrw_status nrw_report_figures_of(const char *html, nrw_report_figures *figures, nrw_errors *errors);
void nrw_report_figures_clear(nrw_report_figures *figures);

#endif
