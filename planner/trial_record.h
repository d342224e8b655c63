/* What is kept of one trial: its draw, its outcome, the way of its particles.
 * Enough for every figure of an estimate, and to redo the trial. */
#ifndef NRW_TRIAL_RECORD_H
#define NRW_TRIAL_RECORD_H

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

#include "csv.h"
#include "loss_flow.h"
#include "race.h"
#include "store.h"

typedef struct nrw_trial_record {
    nrw_trial trial;
    /* status: NRW_OK; NRW_DIVERGED: stopped by a numerical failure, nothing counts as
     * delivered, those in the target as on the way; NRW_INTERRUPTED: not done, and
     * then nothing else holds */
    nrw_outcome outcome;
    double visible_fraction; /* of the time */
    double held_fraction;    /* nrw_run_result */
    nrw_loss_flow flow;      /* owned */
    char failure[192];       /* what a diverged run said; "" otherwise */
    char *warnings; /* of trial 0: sentences of its run, a tab between; NULL: none; owned */
} nrw_trial_record;

/* From a run that is done. NRW_NO_MEMORY. The caller clears the record. */
nrw_status nrw_trial_record_init(nrw_trial_record *record, const nrw_trial *trial,
                                 const nrw_outcome *outcome, const nrw_channel *channel,
                                 const nrw_run_result *run, const nrw_errors *errors);
void nrw_trial_record_clear(nrw_trial_record *record);

static inline bool nrw_trial_record_done(const nrw_trial_record *record)
{
    return record->outcome.status == NRW_OK || record->outcome.status == NRW_DIVERGED;
}

/* The record as one line of words, and back. False: the text is none (the record
 * is then empty), or memory is short. */
void nrw_trial_record_write(const nrw_trial_record *record, FILE *file);
bool nrw_trial_record_read(nrw_trial_record *record, const char *text);

/* trials.csv of records (n_lanes x n_trials): the contract's columns, the drawn
 * factors, then `time_s`, `visible_fraction_of_time`, `arrived` (share that was in
 * the target at some time), `held_fraction`, `failed`. With names, one for each
 * lane, a column `strategy` comes first. Trials that were not done are left out. */
nrw_status nrw_trial_records_csv(nrw_store *store, size_t n_lanes, const char *const *names,
                                 size_t n_trials, const nrw_trial_record *records,
                                 nrw_errors *errors);

/* Sentence k of the warnings into `text`, always terminated; false: there is none. */
bool nrw_trial_record_warning(const nrw_trial_record *record, size_t k, char *text, size_t size);

#endif
