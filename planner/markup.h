/* Markup: a growing text of HTML or SVG, written through templates.
 *
 * What comes from outside can enter only through %s, which escapes it; so a
 * title with tags in it is shown as text, wherever it is used. */
#ifndef NRW_MARKUP_H
#define NRW_MARKUP_H

#include <stdbool.h>
#include <stddef.h>

#include "error.h"

/* In the caller's storage, all zero at first; clear with nrw_markup_clear. When
 * memory is short the text stays as it was and `failed` is set. */
typedef struct nrw_markup {
    char *text; /* terminated, or NULL while empty */
    size_t size, capacity;
    bool failed;
} nrw_markup;

/* Appends a template. It is copied as it is, except for
 *   %s  a text (const char *), escaped; NULL is empty
 *   %r  a text of our own (const char *), as it is
 *   %d  an int        %z  a size_t
 *   %c  a double as a coordinate: rounded to 0.01
 *   %f  a double in full, as nrw_number_text
 *   %n  a double to be read by people: three significant digits, "–" where it
 *       has no value
 *   %p  a fraction (double) in per cent, to one decimal, with the sign; "–" where it
 *       has no value
 *   %%  a per cent sign
 * Numbers do not depend on the locale. */
void nrw_markup_put(nrw_markup *markup, const char *template, ...);

/* Appends bytes as they are. */
void nrw_markup_bytes(nrw_markup *markup, const char *bytes, size_t size);

void nrw_markup_clear(nrw_markup *markup);

/* Room for a number as %n writes it. */
#define NRW_FIGURE_SIZE 48
const char *nrw_figure_text(double value, char text[NRW_FIGURE_SIZE]);

#endif
