/* The parts that reports are put together from (internal). Each appends to
 * report->out; all of them leave out what the input doesn't hold. */
#ifndef NRW_REPORT_PARTS_H
#define NRW_REPORT_PARTS_H

#include <stdbool.h>

#include "csv.h"
#include "markup.h"
#include "report.h"

typedef struct nrw_report {
    nrw_markup out;
    const nrw_report_input *in;
} nrw_report;

/* --- report_page.c: the frame ---------------------------------------------- */

/* Head, styles, title. `kind` is e.g. "Run". */
void nrw_report_begin(nrw_report *report, const char *kind);
/* The same up to the end of the heading, for pages of no single scenario. */
void nrw_report_page_begin(nrw_markup *out, const char *kind, const char *title);
/* The scenario's title, or what stands for it. */
const char *nrw_report_title(const nrw_scenario *scenario);
/* The seed as a number. */
void nrw_report_seed(nrw_report *report);
/* Scripts and the end of the page. */
void nrw_report_end(nrw_report *report);
/* Hands the finished text over (nrw_report_run), or clears it: NRW_NO_MEMORY. */
nrw_status nrw_report_take(nrw_report *report, char **html, size_t *size, nrw_errors *errors);

/* A section with its heading in the margin; id of our own. */
void nrw_report_section(nrw_report *report, const char *id, const char *heading);
void nrw_report_section_end(nrw_report *report);

/* Opens the table behind a picture, folded; `heads` are n column heads. */
void nrw_report_data_begin(nrw_report *report, const char *what, size_t n,
                           const char *const *heads);
void nrw_report_data_end(nrw_report *report);

/* A table in the open, which scrolls sideways where it is too wide; `label` is told
 * to those who don't see it. Rows follow; nrw_report_table_end. */
void nrw_report_table_begin(nrw_report *report, const char *label, size_t n,
                            const char *const *heads);
void nrw_report_table_end(nrw_report *report);

/* Rows of long data that a table shows: every so many, so that at most 60 are
 * left; the stride. */
size_t nrw_report_stride(size_t n);

/* --- report_source.c: what the result and its tables hold ------------------- */

/* Values of result.json by a path with printf's conversions; NAN, NULL, 0 where
 * there is none. */
double nrw_report_number(const nrw_report *report, const char *path, ...)
    __attribute__((format(printf, 2, 3)));
const char *nrw_report_string(const nrw_report *report, const char *path, ...)
    __attribute__((format(printf, 2, 3)));
size_t nrw_report_size(const nrw_report *report, const char *path, ...)
    __attribute__((format(printf, 2, 3)));
/* Whether the command is this one. */
bool nrw_report_is(const nrw_report *report, const char *command);

/* Reads a table of the folder. False: there is none that can be read, or it has no
 * rows; else the caller clears it. */
bool nrw_report_table(const nrw_report *report, const char *name, nrw_csv_table *table);

/* --- report_words.c: sentences ---------------------------------------------- */

const char *nrw_report_fate_word(nrw_fate fate);           /* "left behind" */
const char *nrw_report_cause_word(nrw_loss_cause cause);   /* what happened there */
const char *nrw_report_cause_advice(nrw_loss_cause cause); /* what usually helps */

/* A drive, a condition, and how a leg may end, in words. */
void nrw_report_drive_words(nrw_markup *out, const nrw_drive *drive);
void nrw_report_until_words(nrw_markup *out, const nrw_leg *leg);
void nrw_report_exit_words(nrw_markup *out, const nrw_schedule *schedule, const nrw_leg *leg);

/* A sentence of another part, as text: begins with a capital, ends with a stop, has
 * µm for um. NULL or "" gives nothing. */
void nrw_report_sentence(nrw_markup *out, const char *text);
/* A text with µm for um, otherwise as it is. */
void nrw_report_units(nrw_markup *out, const char *text);

/* --- drawing what is common to several kinds of report ------------------------- */

/* Trials of one schedule as a row of dots over the delivered fraction. */
typedef struct nrw_report_lane {
    const char *name;       /* escaped */
    size_t n;               /* trials */
    const double *values;   /* (n) 0...1; NAN: not done */
    double mean, low, high; /* NAN: not known */
    const char *class_name; /* "lane-1" to "lane-8", or "lane-plain" */
} nrw_report_lane;

/* A difference of two fractions in percentage points; an interval's end that lies
 * beyond what can be is drawn in to 100. */
double nrw_report_points(double difference);

/* The class of the k-th lane. */
const char *nrw_report_lane_class(size_t k);

/* Picture: a row for each lane, dots stacked where they would overlap, the mean
 * with its interval, the goal (NAN: none) as a line across. report_dots.c */
void nrw_report_dots(nrw_report *report, const char *id, const char *title, const char *description,
                     size_t n_lanes, const nrw_report_lane *lanes, double goal);

/* A bar of 0 to 100 % with a mean, its interval and the goal. report_dots.c */
void nrw_report_gauge(nrw_report *report, double mean, double low, double high, double goal);

/* The rows "Asked" and "Next: measure" of a summary's list. report_summary.c */
void nrw_report_asked(nrw_report *report);
void nrw_report_next_measure(nrw_report *report);

/* Fates of a whole as a coloured strip; shares from result.json below `path`, where
 * `delivered_fraction` and `lost` stand. report_summary.c */
void nrw_report_strip(nrw_report *report, const char *path);

/* The fate or cause of that name; its last value where there is none such. */
nrw_fate nrw_report_fate_named(const char *name);
nrw_loss_cause nrw_report_cause_named(const char *name);

/* --- sections ----------------------------------------------------------------- */

void nrw_report_summary(nrw_report *report);  /* report_summary.c */
void nrw_report_map(nrw_report *report);      /* report_map.c */
void nrw_report_moments(nrw_report *report);  /* report_moments.c */
void nrw_report_time(nrw_report *report);     /* report_time.c */
void nrw_report_legs(nrw_report *report);     /* report_tables.c */
void nrw_report_fates(nrw_report *report);    /* report_tables.c */
void nrw_report_warnings(nrw_report *report); /* report_tables.c */
void nrw_report_validity(nrw_report *report); /* report_caution.c */
/* report_validity.c: the list of assumptions, and those outside, for the page's top */
void nrw_report_assumptions(nrw_report *report);
void nrw_report_outside(nrw_report *report);
/* What is not modelled, and what to take care of: for any result. */
void nrw_report_care(nrw_report *report);       /* report_caution.c */
void nrw_report_provenance(nrw_report *report); /* report_provenance.c */
void nrw_report_replay(nrw_report *report);     /* report_replay.c */
/* report_flow.c: `path` leads to the `losses` in result.json */
void nrw_report_flow(nrw_report *report, const char *path);

void nrw_report_plan_summary(nrw_report *report); /* report_plan.c */
void nrw_report_plan_trials(nrw_report *report);
void nrw_report_conditions(nrw_report *report);
void nrw_report_search(nrw_report *report); /* report_search.c */

void nrw_report_estimate_summary(nrw_report *report); /* report_trials.c */
void nrw_report_estimate_trials(nrw_report *report);
void nrw_report_arrival(nrw_report *report);
void nrw_report_sensitivity(nrw_report *report); /* report_sensitivity.c */

void nrw_report_compare_summary(nrw_report *report); /* report_compare.c */
void nrw_report_compare_trials(nrw_report *report);
void nrw_report_compare_pairs(nrw_report *report);
void nrw_report_compare_losses(nrw_report *report);

void nrw_report_sweep_summary(nrw_report *report); /* report_sweep_words.c */
void nrw_report_sweep_maps(nrw_report *report);    /* report_sweep.c */

void nrw_report_export_summary(nrw_report *report); /* report_export.c */
void nrw_report_export_limits(nrw_report *report);
void nrw_report_export_currents(nrw_report *report); /* report_currents.c */
void nrw_report_export_rig(nrw_report *report);

#endif
