/* A results folder made by hand, and its report: for tests of what reports show. */
#ifndef REPORT_CASE_H
#define REPORT_CASE_H

#include "report.h"

typedef struct report_case {
    nrw_errors errors;
    nrw_scenario *scenario;
    nrw_channel *channel;
    nrw_schedule schedule; /* empty */
    nrw_result *result;
    char dir[256]; /* of its own; files go into it with report_case_file */
    nrw_report_input input;
} report_case;

/* A scenario, and a result.json of `command` with these figures (a JSON object). */
void report_case_init(report_case *it, const char *scenario, const char *command,
                      const char *figures);
void report_case_file(const report_case *it, const char *name, const char *text);
void report_case_clear(report_case *it);

/* The report, well formed; the caller frees it. */
char *report_case_make(report_case *it);

/* A text is there; is not; is there that many times; stands before another. */
void expect_text(const char *html, const char *text);
void expect_none(const char *html, const char *text);
void expect_times(const char *html, const char *text, size_t n);
void expect_order(const char *html, const char *first, const char *second);

/* The section of that id, terminated; the caller frees it. */
char *section_of(const char *html, const char *id);

#endif
