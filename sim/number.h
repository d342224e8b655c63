/* Numbers as text: the same bits give the same text, in any locale. */
#ifndef NRW_NUMBER_H
#define NRW_NUMBER_H

/* Room for any number and its terminator. */
#define NRW_NUMBER_SIZE 32

/* Writes the shortest of %.15g, %.16g and %.17g that reads back to the same
 * bits, with '.' as the decimal separator whatever the locale; "" for NaN and
 * infinities, which have no value in the files. Returns `text`. Thread safe as
 * long as nobody changes the locale meanwhile. */
const char *nrw_number_text(double value, char text[NRW_NUMBER_SIZE]);

/* Reads a whole text as such a number, '.' in any locale; NAN if it is empty,
 * longer than NRW_NUMBER_SIZE or anything else. */
double nrw_number_read(const char *text);

#endif
