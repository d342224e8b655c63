/* Limits as data: who a number is for, where it counts, source, date, action.
 *
 * The limits that come with the program are those of docs/limits.yaml; a file of
 * the same form replaces them. They inform. What the rig itself can't do is no
 * matter of this list (rig.h). */
#ifndef NRW_LIMIT_H
#define NRW_LIMIT_H

#include <stdbool.h>
#include <stddef.h>

#include "error.h"

/* The laws that a limit can follow; docs/limits.md. */
typedef enum nrw_limit_law {
    NRW_LIMIT_REFERENCE_LEVEL,   /* rms field against frequency, summed over frequencies */
    NRW_LIMIT_STATIC_LEVEL,      /* steady field, mT */
    NRW_LIMIT_FIELD_LEVEL,       /* largest field of any frequency, mT */
    NRW_LIMIT_NERVE_STIMULATION, /* dB/dt in T/s against its duration */
    NRW_LIMIT_FIELD_FREQUENCY,   /* H·f in A/(m s) */
    NRW_LIMIT_STORED_ENERGY,     /* J */
    NRW_LIMIT_TOUCH_VOLTAGE,     /* V, peak */
    NRW_LIMIT_COIL_TEMPERATURE,  /* °C */
    NRW_LIMIT_SAMPLE_HEATING,    /* K, rise over the schedule */
    NRW_N_LIMIT_LAWS
} nrw_limit_law;

/* One piece of a reference level: level_mT · (f/1 Hz)^power for from <= f < below. */
typedef struct nrw_limit_piece {
    double from_Hz, below_Hz, level_mT, power;
} nrw_limit_piece;

#define NRW_LIMIT_PIECES_MAX 16
#define NRW_LIMIT_TEXT_SIZE 256

typedef struct nrw_limit {
    char name[64];
    nrw_limit_law law;
    char who[NRW_LIMIT_TEXT_SIZE], where[NRW_LIMIT_TEXT_SIZE], source[NRW_LIMIT_TEXT_SIZE];
    char date[32], action[NRW_LIMIT_TEXT_SIZE];
    nrw_limit_piece pieces[NRW_LIMIT_PIECES_MAX]; /* (n_pieces) of a reference level */
    size_t n_pieces;
    double level; /* of the other laws, in the law's unit; rheobase of nerve stimulation, T/s */
    double chronaxie_ms, share; /* of nerve stimulation */
} nrw_limit;

typedef struct nrw_limits {
    nrw_limit *items; /* (n_items), owned */
    size_t n_items;
} nrw_limits;

/* Reads a limits file; all its errors are appended as NRW_BAD_INPUT. `limits`
 * is empty on failure. The caller clears it. */
nrw_status nrw_limits_load(const char *path, nrw_limits *limits, nrw_errors *errors);

/* The same from memory; `name` stands for the file in messages. */
nrw_status nrw_limits_parse(const char *text, size_t size, const char *name, nrw_limits *limits,
                            nrw_errors *errors);

/* The limits that come with the program. */
nrw_status nrw_limits_default(nrw_limits *limits, nrw_errors *errors);

/* Their text, the bytes of docs/limits.yaml; the caller frees it. NULL: out of
 * memory. */
char *nrw_limits_default_text(void);

void nrw_limits_clear(nrw_limits *limits);

/* Reference level in mT rms at a frequency: INFINITY where the limit says
 * nothing (outside its pieces). */
double nrw_limit_reference_mT(const nrw_limit *limit, double frequency_Hz);

/* Largest dB/dt in T/s for an effective stimulus duration in ms:
 * share · rheobase · (1 + chronaxie/duration). */
double nrw_limit_rate_T_s(const nrw_limit *limit, double duration_ms);

/* Name of a law as in the file, and the unit of its value ("" for an index). */
const char *nrw_limit_law_name(nrw_limit_law law);
const char *nrw_limit_law_unit(nrw_limit_law law);

#endif
