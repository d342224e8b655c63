/* The results folder: written whole or not at all.
 *
 * Files go into a hidden folder beside the wanted one (".NAME.partial-..."),
 * are synced to the disk, and the folder is renamed into place when all of them
 * stand. Whatever fails leaves the old folder as it was, and what had been
 * written is kept and named, so that nothing computed is lost. */
#ifndef NRW_STORE_H
#define NRW_STORE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

#include "error.h"

typedef struct nrw_store nrw_store;

/* Prepares a folder `dir`; missing parents are made. Fails with NRW_BAD_USAGE
 * when it exists and is not empty and `force` is not set, when it is not a
 * folder, or when the current directory lies inside a non-empty one (it would
 * be replaced); with NRW_IO_FAILED (errno's text) when the hidden folder can't
 * be made. Meant to be called before the work starts, so that a result doesn't
 * fail at its end for a wrong name. End with nrw_store_commit or
 * nrw_store_abandon. One thread at a time. */
nrw_status nrw_store_open(const char *dir, bool force, nrw_store **store, nrw_errors *errors);

/* Where the folder will be (absolute), and where it is now; borrowed. */
const char *nrw_store_target(const nrw_store *store);
const char *nrw_store_path(const nrw_store *store);

/* Opens a new file of the folder for writing; `name` is a plain file name. The
 * caller closes it with nrw_store_file_close, which says whether all of it got
 * to the disk's cache (NRW_IO_FAILED otherwise). */
nrw_status nrw_store_file_open(nrw_store *store, const char *name, FILE **file, nrw_errors *errors);
nrw_status nrw_store_file_close(nrw_store *store, const char *name, FILE *file, nrw_errors *errors);

/* Writes a whole file. */
nrw_status nrw_store_put(nrw_store *store, const char *name, const void *bytes, size_t size,
                         nrw_errors *errors);

/* Syncs every file, renames the folder into place, then removes the one that it
 * replaces (moved aside before, moved back if the rename fails). Frees the store
 * in every case. On failure the hidden folder is kept and named in `errors`. A
 * replaced folder that can't be removed is named in *leftover if that is not
 * NULL (caller frees; NULL otherwise); this is no failure. */
nrw_status nrw_store_commit(nrw_store *store, char **leftover, nrw_errors *errors);

/* Gives up: the hidden folder is removed if nothing was written into it, else
 * kept and named in `errors` (NRW_IO_FAILED). Frees the store; NULL is allowed. */
void nrw_store_abandon(nrw_store *store, nrw_errors *errors);

/* Replaces, or makes, one file of a folder that stands, such as its report: the old
 * one stays until the new one is whole and on the disk. NRW_IO_FAILED. */
nrw_status nrw_store_replace(const char *dir, const char *name, const void *bytes, size_t size,
                             nrw_errors *errors);

/* Reads a whole file of a results folder; a terminating 0 follows its bytes.
 * The caller frees *bytes. */
nrw_status nrw_store_read(const char *dir, const char *name, char **bytes, size_t *size,
                          nrw_errors *errors);

#endif
