/* A results folder read back whole, for its report (internal). */
#ifndef NRW_REPORT_FOLDER_H
#define NRW_REPORT_FOLDER_H

#include "report.h"

typedef struct nrw_report_folder {
    char *dir; /* all owned */
    nrw_scenario *scenario;
    nrw_channel *channel; /* NULL: it can't be built */
    nrw_schedule schedule;
    char *schedule_text; /* NULL: none */
    nrw_run_result run;  /* empty: none */
    nrw_result *result;
} nrw_report_folder;

/* Reads it. NRW_BAD_INPUT for what is no results folder or does not fit together,
 * NRW_IO_FAILED, NRW_NO_MEMORY. The caller clears it in every case. */
nrw_status nrw_report_folder_load(const char *dir, nrw_report_folder *folder, nrw_errors *errors);
void nrw_report_folder_clear(nrw_report_folder *folder);

/* The report's input; borrows from the folder. */
nrw_report_input nrw_report_folder_input(const nrw_report_folder *folder);

#endif
