/* Rows of the table of outside values: one assertion for all of them. */
#ifndef EXTERNAL_ROW_H
#define EXTERNAL_ROW_H

#include <criterion/criterion.h>
#include <math.h>

/* Half a unit of the tenth digit: what a value printed with ten digits can ask. */
#define PRINTED 5e-10
/* Values that are exact as printed: a few roundings of the computation. */
#define ROUNDING 1e-12

static inline void assert_row(const char *id, double got, double value, double relative)
{
    cr_assert(fabs(got - value) <= relative * fabs(value), "%s: %.12g against %.12g", id, got,
              value);
}

static inline void assert_row_near(const char *id, double got, double value, double absolute)
{
    cr_assert(fabs(got - value) <= absolute, "%s: %.12g against %.12g", id, got, value);
}

#endif
