/* The table behind validity.h (internal). */
#ifndef NRW_VALIDITY_WORDS_H
#define NRW_VALIDITY_WORDS_H

#include "validity.h"

typedef struct nrw_assumption_row {
    nrw_assumption_words words;
    double marginal, outside;
    const char *texts[3]; /* by state */
} nrw_assumption_row;

/* Static. */
const nrw_assumption_row *nrw_assumption_row_of(nrw_assumption assumption);

#endif
