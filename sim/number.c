#include "number.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Whatever a locale puts between the digits (it may be several bytes) becomes
 * one full stop. */
static void point_from_locale(char *text)
{
    static const char ours[] = "0123456789+-eE";
    char *separator = text + strspn(text, ours);
    if (*separator == '\0')
        return;
    char *rest = separator + strcspn(separator, ours);
    *separator = '.';
    memmove(separator + 1, rest, strlen(rest) + 1);
}

const char *nrw_number_text(double value, char text[NRW_NUMBER_SIZE])
{
    text[0] = '\0';
    if (!isfinite(value))
        return text;
    /* 17 digits always suffice for a double (IEEE 754-2019, 5.12.2). */
    for (int digits = 15; digits <= 17; digits++) {
        (void)snprintf(text, NRW_NUMBER_SIZE, "%.*g", digits, value);
        double back = strtod(text, NULL);
        if (back >= value && back <= value)
            break;
    }
    point_from_locale(text);
    return text;
}

double nrw_number_read(const char *text)
{
    char local[2 * NRW_NUMBER_SIZE], half[NRW_NUMBER_SIZE];
    const char *point = strchr(text, '.');
    if (strlen(text) >= NRW_NUMBER_SIZE)
        return NAN;
    /* "0.5" in the locale, without the two digits, is its separator. */
    (void)snprintf(half, sizeof half, "%.1f", 0.5);
    int before = point ? (int)(point - text) : (int)strlen(text);
    (void)snprintf(local, sizeof local, "%.*s%.*s%s", before, text,
                   point ? (int)strlen(half) - 2 : 0, half + 1, point ? point + 1 : "");
    char *end;
    double value = strtod(local, &end);
    return *local && *end == '\0' ? value : (double)NAN;
}
