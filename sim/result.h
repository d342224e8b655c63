/* The result of a command: result.json (contract section 4).
 *
 * A result is built in order, figure by figure, and turned into text once. The
 * same calls give the same text: numbers are the shortest that read back to the
 * same bits. Failures while building (memory, a call that doesn't fit) are kept
 * and told by nrw_result_text, so that the calls between need no checks. */
#ifndef NRW_RESULT_H
#define NRW_RESULT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "error.h"
#include "run.h"
#include "scenario.h"
#include "schedule.h"

typedef struct nrw_result nrw_result;

typedef struct nrw_provenance {
    const char *version;
    uint64_t seed; /* above 2^63 - 1 it is written as text: JSON readers can't hold it */
    int threads;
    const char *model; /* "auto", "averaged", "resolved"; NULL: none */
    const char *scenario_sha256;
    const char *started; /* e.g. "2030-01-31T12:00:00Z"; NULL: not told */
    double wall_s;
} nrw_provenance;

/* A result of a command such as "run". NULL: out of memory. The caller
 * destroys it. One thread at a time. */
nrw_result *nrw_result_create(const char *command);
void nrw_result_destroy(nrw_result *result);

void nrw_result_provenance(nrw_result *result, const nrw_provenance *provenance);
void nrw_result_warn(nrw_result *result, const char *sentence);

/* Figures go into the object or array that is open; at first that is
 * `figures`. `key` is NULL inside an array and must not be NULL elsewhere; a key
 * set twice keeps the last value. Numbers that are not finite become null, and
 * so does a NULL text. */
void nrw_result_number(nrw_result *result, const char *key, double value);
void nrw_result_integer(nrw_result *result, const char *key, int64_t value);
void nrw_result_bool(nrw_result *result, const char *key, bool value);
void nrw_result_string(nrw_result *result, const char *key, const char *text);
void nrw_result_null(nrw_result *result, const char *key);
void nrw_result_numbers(nrw_result *result, const char *key, size_t n, const double *values);
void nrw_result_open_object(nrw_result *result, const char *key);
void nrw_result_open_array(nrw_result *result, const char *key);
void nrw_result_close(nrw_result *result); /* the object or array opened last */

/* The figures of `run` from what it yielded, and its warnings. Fractions are
 * counts over the number of particles. Besides the contract's keys: `particles`,
 * `gap_um`, `time_to_target_s`, `largest_overlap`, `centroid_path_um`, and
 * `legs`: [{`name`, `start_s`, `end_s`, `ended`, `model`, `mason_number`,
 * `cycle_displacement`, `shedding_number`}], one for each visit. */
void nrw_result_run_figures(nrw_result *result, const nrw_schedule *schedule,
                            const nrw_run_result *run);

/* The text of result.json, terminated by a newline and 0. The caller frees it. */
nrw_status nrw_result_text(const nrw_result *result, char **text, nrw_errors *errors);

/* --- reading back --------------------------------------------------------- */

/* Takes a result.json apart; `name` stands for the file in messages. Fails with
 * NRW_BAD_INPUT (malformed, another or a newer format). */
nrw_status nrw_result_parse(const char *text, size_t size, const char *name, nrw_result **result,
                            nrw_errors *errors);

/* A value by its path from the top, dots between keys and numbers into arrays:
 * "figures.lost.wall", "figures.legs.0.name". The defaults (NAN, NULL, false)
 * where there is none of that kind. Borrowed until the result changes. */
double nrw_result_get_number(const nrw_result *result, const char *path);
const char *nrw_result_get_string(const nrw_result *result, const char *path);
bool nrw_result_get_bool(const nrw_result *result, const char *path);

/* Elements of an array or keys of an object there; 0 where there is neither. */
size_t nrw_result_get_size(const nrw_result *result, const char *path);

#endif
