/* Status codes and located errors.
 *
 * Every fallible function of the library returns an nrw_status and describes
 * what went wrong in a caller-owned list. Nothing in the library prints, exits
 * or aborts on bad input. */
#ifndef NRW_ERROR_H
#define NRW_ERROR_H

#include <stddef.h>

/* One list gives code, exit status of the program and text. */
#define NRW_STATUS_LIST(X)                                                                         \
    X(NRW_OK, 0, "done")                                                                           \
    X(NRW_REFUSED, 1, "the files are good, but the job can't be done")                             \
    X(NRW_BAD_USAGE, 2, "wrong usage")                                                             \
    X(NRW_BAD_INPUT, 2, "an input file is malformed, inconsistent or out of range")                \
    X(NRW_NO_MEMORY, 3, "out of memory")                                                           \
    X(NRW_IO_FAILED, 3, "a file could not be read or written")                                     \
    X(NRW_DIVERGED, 3, "the numerical solution failed")                                            \
    X(NRW_INTERRUPTED, 130, "interrupted")

typedef enum nrw_status {
#define NRW_STATUS_ENUM(code, exit_code, text) code,
    NRW_STATUS_LIST(NRW_STATUS_ENUM)
#undef NRW_STATUS_ENUM
} nrw_status;

/* Where and what. Line and column count from 1; 0 means that no place in a
 * file applies. Strings are empty where nothing is known. */
typedef struct nrw_error {
    nrw_status status;
    char file[512];
    int line;
    int column;
    char key[192];      /* path of the key, e.g. "particles.magnetics.kind" */
    char what[384];     /* what is wrong, with the value met */
    char expected[384]; /* what is allowed instead */
} nrw_error;

/* Growing list of errors, owned by the caller: init, use, clear. */
typedef struct nrw_errors {
    nrw_error *items; /* (n_items) */
    size_t n_items;
    size_t capacity;
} nrw_errors;

/* Text of a status; a static string. */
const char *nrw_status_text(nrw_status status);

/* Exit status of the program for a status (contract section 1). */
int nrw_status_exit_code(nrw_status status);

void nrw_errors_init(nrw_errors *errors);
void nrw_errors_clear(nrw_errors *errors);

/* Appends an error without a place. `what` is a printf format. Returns
 * `status`, so that a caller can `return nrw_errors_add(...)`. A NULL list is
 * allowed (the text is lost); when memory is short the error is dropped but the
 * status is still returned. */
nrw_status nrw_errors_add(nrw_errors *errors, nrw_status status, const char *expected,
                          const char *what, ...) __attribute__((format(printf, 4, 5)));

/* Appends an error at a place in a file. `key` may be "" (none). */
nrw_status nrw_errors_add_at(nrw_errors *errors, nrw_status status, const char *file, int line,
                             int column, const char *key, const char *expected, const char *what,
                             ...) __attribute__((format(printf, 8, 9)));

/* Writes `FILE:LINE:COLUMN: key.path: what is wrong; what is expected` (parts
 * that are unknown left out) to `text` of `size` bytes, always terminated. */
void nrw_error_format(const nrw_error *error, char *text, size_t size);

#endif
