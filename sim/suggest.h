/* The word that was probably meant: suggestions for misspelt keys and options. */
#ifndef NRW_SUGGEST_H
#define NRW_SUGGEST_H

#include <stddef.h>

/* Number of insertions, deletions, substitutions and swaps of neighbours that
 * turn one word into the other (optimal string alignment), case ignored. Words
 * longer than 63 bytes: SIZE_MAX. */
size_t nrw_edit_distance(const char *a, const char *b);

/* The candidate nearest to `word` (the first of equals), or NULL if none is
 * near: more than a third of the longer word, rounded up, and never more than 3,
 * would have to change. Candidates (n) and result are borrowed. */
const char *nrw_suggest(const char *word, const char *const *candidates, size_t n);

#endif
