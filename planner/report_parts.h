/* The parts that reports are put together from (internal). Each appends to
 * report->out; all of them leave out what the input doesn't hold. */
#ifndef NRW_REPORT_PARTS_H
#define NRW_REPORT_PARTS_H

#include <stdbool.h>

#include "markup.h"
#include "report.h"

typedef struct nrw_report {
    nrw_markup out;
    const nrw_report_input *in;
} nrw_report;

/* --- report_page.c: the frame ---------------------------------------------- */

/* Head, styles, title. `kind` is e.g. "Run". */
void nrw_report_begin(nrw_report *report, const char *kind);
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

/* Rows of long data that a table shows: every so many, so that at most 60 are
 * left; the stride. */
size_t nrw_report_stride(size_t n);

/* --- report_words.c: sentences ---------------------------------------------- */

const char *nrw_report_fate_word(nrw_fate fate);           /* "left behind" */
const char *nrw_report_cause_word(nrw_loss_cause cause);   /* what happened there */
const char *nrw_report_cause_advice(nrw_loss_cause cause); /* what usually helps */

/* A drive, a condition, and how a leg may end, in words. */
void nrw_report_drive_words(nrw_markup *out, const nrw_drive *drive);
void nrw_report_until_words(nrw_markup *out, const nrw_leg *leg);
void nrw_report_exit_words(nrw_markup *out, const nrw_schedule *schedule, const nrw_leg *leg);

/* --- sections ----------------------------------------------------------------- */

void nrw_report_summary(nrw_report *report);    /* report_summary.c */
void nrw_report_map(nrw_report *report);        /* report_map.c */
void nrw_report_moments(nrw_report *report);    /* report_moments.c */
void nrw_report_time(nrw_report *report);       /* report_time.c */
void nrw_report_legs(nrw_report *report);       /* report_tables.c */
void nrw_report_fates(nrw_report *report);      /* report_tables.c */
void nrw_report_warnings(nrw_report *report);   /* report_tables.c */
void nrw_report_validity(nrw_report *report);   /* report_caution.c */
void nrw_report_provenance(nrw_report *report); /* report_caution.c */
void nrw_report_replay(nrw_report *report);     /* report_replay.c */

#endif
