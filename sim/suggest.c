#include "suggest.h"

#include <ctype.h>
#include <stdint.h>
#include <string.h>

enum { LONGEST = 63 };

static int lower(const char *text, size_t i)
{
    return tolower((unsigned char)text[i]);
}

static size_t smaller(size_t a, size_t b)
{
    return a < b ? a : b;
}

/* Dynamic programming over prefixes; see Wagner & Fischer 1974, J. ACM 21:168,
 * with the swap of Lowrance & Wagner 1975, J. ACM 22:177. */
size_t nrw_edit_distance(const char *a, const char *b)
{
    size_t n = strlen(a), m = strlen(b);
    size_t rows[3][LONGEST + 1];
    size_t *older = rows[0], *old = rows[1], *row = rows[2];
    if (n > LONGEST || m > LONGEST)
        return SIZE_MAX;
    for (size_t j = 0; j <= m; j++)
        old[j] = j;
    for (size_t i = 1; i <= n; i++) {
        row[0] = i;
        for (size_t j = 1; j <= m; j++) {
            size_t change = lower(a, i - 1) != lower(b, j - 1);
            row[j] = smaller(old[j - 1] + change, smaller(old[j], row[j - 1]) + 1);
            if (i > 1 && j > 1 && lower(a, i - 1) == lower(b, j - 2) &&
                lower(a, i - 2) == lower(b, j - 1))
                row[j] = smaller(row[j], older[j - 2] + 1);
        }
        size_t *spare = older;
        older = old;
        old = row;
        row = spare;
    }
    return old[m];
}

const char *nrw_suggest(const char *word, const char *const *candidates, size_t n)
{
    const char *best = NULL;
    size_t best_distance = SIZE_MAX;
    for (size_t i = 0; i < n; i++) {
        size_t longer = strlen(word), length = strlen(candidates[i]);
        longer = longer > length ? longer : length;
        size_t allowed = smaller((longer + 2) / 3, 3);
        size_t distance = nrw_edit_distance(word, candidates[i]);
        if (distance <= allowed && distance < best_distance) {
            best = candidates[i];
            best_distance = distance;
        }
    }
    return best;
}
