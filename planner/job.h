/* A job of the command line: the inputs of one command, and where its result
 * goes. What every command does before and after its own work. */
#ifndef NRW_JOB_H
#define NRW_JOB_H

#include "command.h"

typedef struct nrw_job {
    const nrw_command_options *options; /* borrowed */
    nrw_errors *errors;                 /* borrowed */
    const char *command;                /* borrowed */
    nrw_scenario *scenario;             /* owned */
    nrw_channel *channel;               /* owned; NULL if it can't be built */
    nrw_schedule schedule;              /* the first --schedule; empty without one */
    char *schedule_text;                /* its bytes, owned; NULL without one */
    size_t schedule_size;
    nrw_store *store; /* NULL without --out */
    nrw_result *result;
    bool reported;             /* set it to have report.html in the folder, */
    const nrw_run_result *run; /* of this run (borrowed; NULL: nothing was simulated) */
    size_t first_error;        /* of the work itself, behind those of the inputs */
    char started[32];
    double started_s;
} nrw_job;

/* Reads the scenario (the first file) and the first schedule, prepares the
 * results folder (with --resume a partial one may be replaced), builds the channel. NRW_OK;
 * NRW_REFUSED when the channel can't do the job: a result is due all the same (nrw_job_finish);
 * anything else ends the command without a result. Clear the job in every case. */
nrw_status nrw_job_begin(nrw_job *job, const char *command, const nrw_command_options *options,
                         nrw_errors *errors);

/* Completes the result (provenance; what was refused or failed as warnings),
 * writes result.json, the inputs and the report into the folder and puts it in place, then
 * prints the JSON, or lets `describe` print the readable result with `context`
 * (neither when quiet). Returns `status`, or what failed here if that is worse. */
nrw_status nrw_job_finish(nrw_job *job, nrw_status status,
                          void (*describe)(const nrw_job *job, const void *context, FILE *stream),
                          const void *context);

/* Gives the results folder up after a failure to write into it; what had been
 * written is kept and named in the errors. */
void nrw_job_drop_store(nrw_job *job);

void nrw_job_clear(nrw_job *job);

/* The checkpoint of a job with a results folder (NULL without one): keyed by the
 * inputs, seed, model and `extra`, which stands for the options that the work
 * depends on. With --resume what was done before is taken over. */
nrw_status nrw_job_open_checkpoint(nrw_job *job, const char *extra, nrw_checkpoint **checkpoint);

/* Puts the checkpoint of an interrupted job into its folder and marks the result as
 * partial. */
nrw_status nrw_job_save_checkpoint(nrw_job *job, const nrw_checkpoint *checkpoint);

/* Closes it (NULL is allowed); the file beside the folder stays only where the
 * command failed as `finished` says. */
void nrw_job_close_checkpoint(nrw_checkpoint *checkpoint, nrw_status finished);

/* The job's title and the file it is from, as the first lines of a result. */
void nrw_job_describe_title(const nrw_job *job, FILE *stream);

/* The result's warnings, one a line, each led by "warning: ". */
void nrw_job_describe_warnings(const nrw_job *job, FILE *stream);

#endif
