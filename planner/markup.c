#include "markup.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "number.h"

void nrw_markup_clear(nrw_markup *markup)
{
    free(markup->text);
    memset(markup, 0, sizeof *markup);
}

void nrw_markup_bytes(nrw_markup *markup, const char *bytes, size_t size)
{
    if (markup->failed)
        return;
    if (markup->capacity - markup->size < size + 1) {
        size_t capacity = markup->capacity ? markup->capacity : 4096;
        while (capacity - markup->size < size + 1)
            capacity *= 2;
        char *text = realloc(markup->text, capacity);
        if (!text) {
            markup->failed = true;
            return;
        }
        markup->text = text;
        markup->capacity = capacity;
    }
    memcpy(markup->text + markup->size, bytes, size);
    markup->size += size;
    markup->text[markup->size] = '\0';
}

static void put_raw(nrw_markup *markup, const char *text)
{
    nrw_markup_bytes(markup, text, strlen(text));
}

static void put_escaped(nrw_markup *markup, const char *text)
{
    static const char special[] = "&<>\"'";
    static const char *const names[] = {"&amp;", "&lt;", "&gt;", "&quot;", "&#39;"};
    for (; *text; text++) {
        const char *found = strchr(special, *text);
        unsigned char byte = (unsigned char)*text;
        if (found)
            put_raw(markup, names[found - special]);
        else if (byte < 0x20 && byte != '\n' && byte != '\t')
            put_raw(markup, "\xef\xbf\xbd"); /* control characters are not allowed in XML */
        else
            nrw_markup_bytes(markup, text, 1);
    }
}

static void put_coordinate(nrw_markup *markup, double value)
{
    char text[NRW_NUMBER_SIZE];
    double rounded = round(value * 100.0) / 100.0;
    /* + 0.0 turns -0 into 0 */
    put_raw(markup, isfinite(value) ? nrw_number_text(rounded + 0.0, text) : "0");
}

/* `value` with a number of decimals and a point, whatever the locale. */
static void fixed_text(double value, int decimals, char *text, size_t size)
{
    double scale = pow(10.0, decimals);
    double scaled = round(fabs(value) * scale);
    double whole = floor(scaled / scale);
    const char *sign = value < 0 && scaled > 0 ? "\u2212" : "";
    if (decimals > 0)
        (void)snprintf(text, size, "%s%.0f.%0*.0f", sign, whole, decimals, scaled - whole * scale);
    else
        (void)snprintf(text, size, "%s%.0f", sign, whole);
}

/* Trailing zeros after a point say nothing here. */
static void drop_zeros(char *text)
{
    size_t length = strlen(text);
    if (!strchr(text, '.'))
        return;
    while (text[length - 1] == '0')
        text[--length] = '\0';
    if (text[length - 1] == '.')
        text[length - 1] = '\0';
}

/* Appends a power of ten in raised digits. */
static void add_exponent(char *text, int power)
{
    static const char *const raised[] = {"\u2070", "\u00b9", "\u00b2", "\u00b3", "\u2074",
                                         "\u2075", "\u2076", "\u2077", "\u2078", "\u2079"};
    char digits[16];
    (void)snprintf(digits, sizeof digits, "%d", power < 0 ? -power : power);
    if (power < 0)
        strcat(text, "\u207b");
    for (const char *at = digits; *at; at++)
        strcat(text, raised[*at - '0']);
}

const char *nrw_figure_text(double value, char text[NRW_FIGURE_SIZE])
{
    enum { DIGITS = 3, SMALLEST = -4, LARGEST = 7 };
    if (!isfinite(value))
        return strcpy(text, isnan(value) ? "\u2013" : value > 0 ? "\u221e" : "\u2212\u221e");
    int power = fabs(value) > 0 ? (int)floor(log10(fabs(value))) : 0;
    if (power < SMALLEST || power >= LARGEST) {
        char digits[NRW_FIGURE_SIZE / 2];
        fixed_text(value / pow(10.0, power), DIGITS - 1, digits, sizeof digits);
        drop_zeros(digits);
        (void)snprintf(text, NRW_FIGURE_SIZE, "%s\u00b710", digits);
        add_exponent(text, power);
        return text;
    }
    int decimals = DIGITS - 1 - power;
    fixed_text(value, decimals > 0 ? decimals : 0, text, NRW_FIGURE_SIZE);
    drop_zeros(text);
    return text;
}

static void put_percent(nrw_markup *markup, double fraction)
{
    char text[NRW_FIGURE_SIZE];
    if (!isfinite(fraction)) {
        put_raw(markup, "\u2013");
        return;
    }
    fixed_text(100.0 * fraction, 1, text, sizeof text);
    drop_zeros(text);
    put_raw(markup, text);
    put_raw(markup, "\u00a0%"); /* the sign stays with its number */
}

void nrw_markup_put(nrw_markup *markup, const char *template, ...)
{
    va_list arguments;
    va_start(arguments, template);
    for (;;) {
        size_t plain = strcspn(template, "%");
        nrw_markup_bytes(markup, template, plain);
        template += plain;
        if (*template == '\0' || template[1] == '\0')
            break;
        char text[NRW_FIGURE_SIZE]; /* no shorter than NRW_NUMBER_SIZE */
        const char *string;
        switch (template[1]) {
        case 's':
            string = va_arg(arguments, const char *);
            put_escaped(markup, string ? string : "");
            break;
        case 'r':
            put_raw(markup, va_arg(arguments, const char *));
            break;
        case 'd':
            (void)snprintf(text, sizeof text, "%d", va_arg(arguments, int));
            put_raw(markup, text);
            break;
        case 'z':
            (void)snprintf(text, sizeof text, "%zu", va_arg(arguments, size_t));
            put_raw(markup, text);
            break;
        case 'c':
            put_coordinate(markup, va_arg(arguments, double));
            break;
        case 'f':
            put_raw(markup, nrw_number_text(va_arg(arguments, double), text));
            break;
        case 'n':
            put_raw(markup, nrw_figure_text(va_arg(arguments, double), text));
            break;
        case 'p':
            put_percent(markup, va_arg(arguments, double));
            break;
        default:
            put_raw(markup, "%");
            break;
        }
        template += 2;
    }
    va_end(arguments);
}
