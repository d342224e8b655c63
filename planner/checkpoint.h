/* Checkpoints of long work: what each finished unit (a trial, a point of a sweep)
 * yielded, kept in a file beside the results folder while the work goes on and
 * in the partial folder when it was interrupted, so that --resume leaves out
 * what is done. */
#ifndef NRW_CHECKPOINT_H
#define NRW_CHECKPOINT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include "error.h"
#include "store.h"

typedef struct nrw_checkpoint nrw_checkpoint;

/* Name of the file in a partial results folder. */
#define NRW_CHECKPOINT_FILE "checkpoint.txt"

/* Starts the checkpoint of a job whose results will be in the folder `target`
 * (nrw_store_target): the file ".NAME.checkpoint" beside it. `key` stands for all
 * that the work depends on (nrw_checkpoint_key). With `resume`, units kept in
 * the folder or beside it are taken over; NRW_BAD_USAGE when the folder's are of
 * another job. Without it, and when what lies beside is of another job, the work
 * starts anew. A line cut short by a crash is left out. NRW_IO_FAILED,
 * NRW_NO_MEMORY. Close in every case. */
nrw_status nrw_checkpoint_open(const char *target, const char key[65], bool resume,
                               nrw_checkpoint **checkpoint, nrw_errors *errors);

/* Key of a job from the texts (n) that it depends on. */
nrw_status nrw_checkpoint_key(size_t n, const char *const *texts, char key[65]);

/* What a unit yielded in the work before; NULL: nothing. `unit` has no blanks.
 * Borrowed until the checkpoint is closed. */
const char *nrw_checkpoint_find(const nrw_checkpoint *checkpoint, const char *unit);

/* Keeps what a unit yielded (one line of text), on the disk when it returns. One
 * thread at a time. NRW_IO_FAILED. */
nrw_status nrw_checkpoint_add(nrw_checkpoint *checkpoint, const char *unit, const char *text,
                              nrw_errors *errors);

/* Puts all units into a partial results folder. */
nrw_status nrw_checkpoint_save(const nrw_checkpoint *checkpoint, nrw_store *store,
                               nrw_errors *errors);

/* Closes, and removes the file beside the folder unless `keep`. NULL is allowed. */
void nrw_checkpoint_close(nrw_checkpoint *checkpoint, bool keep);

/* --- the text of a unit ------------------------------------------------------ */

/* Numbers as words, exact to the bit. */
void nrw_word_number(FILE *file, double value);
void nrw_word_integer(FILE *file, int64_t value);

/* Reads them back in the same order; `bad` is raised, and stays, when there is
 * none. */
typedef struct nrw_words {
    const char *at;
    bool bad;
} nrw_words;
double nrw_words_number(nrw_words *words);
int64_t nrw_words_integer(nrw_words *words);

/* The same as an integer in [least, most]. */
int64_t nrw_words_bounded(nrw_words *words, int64_t least, int64_t most);

#endif
