#include "yaml_number.h"

#include <locale.h>
#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

static const char DECIMAL[] = "0123456789";

/* Length of a run of digits and underscores that begins with a digit; 0: none. */
static size_t digits_length(const char *text, const char *digits)
{
    if (!*text || !strchr(digits, *text))
        return 0;
    size_t n = 0;
    while (text[n] && (text[n] == '_' || strchr(digits, text[n])))
        n++;
    return n;
}

static bool has_underscore(const char *text, size_t n)
{
    return memchr(text, '_', n) != NULL;
}

/* Value of n digits and underscores in a base up to 16. */
static double digits_value(const char *text, size_t n, int base)
{
    static const char all[] = "0123456789abcdef0123456789ABCDEF";
    double value = 0.0;
    for (size_t i = 0; i < n; i++)
        if (text[i] != '_')
            value = value * base + (double)((strchr(all, text[i]) - all) % 16);
    return value;
}

static nrw_yaml_number_kind finish(double size, bool negative, double *value)
{
    if (!isfinite(size))
        return NRW_YAML_NUMBER_TOO_LARGE;
    *value = negative ? -size : size;
    return NRW_YAML_NUMBER;
}

/* 0x1F, 0o17, 0b101; `text` begins with the zero. */
static nrw_yaml_number_kind read_prefixed(const char *text, bool has_sign, bool negative,
                                          double *value)
{
    const char *digits = text[1] == 'x'   ? "0123456789abcdefABCDEF"
                         : text[1] == 'o' ? "01234567"
                                          : "01";
    int base = text[1] == 'x' ? 16 : text[1] == 'o' ? 8 : 2;
    size_t n = digits_length(text + 2, digits);
    /* 0o is of YAML 1.2 alone, which knows neither sign nor underscores in it. */
    if (n == 0 || text[2 + n] != '\0' || (base == 8 && (has_sign || has_underscore(text + 2, n))))
        return NRW_YAML_NOT_A_NUMBER;
    return finish(digits_value(text + 2, n, base), negative, value);
}

/* 5:30 and 1:05:30.5, YAML 1.1. */
static nrw_yaml_number_kind read_base_60(const char *text, bool negative, double *value)
{
    size_t n = digits_length(text, DECIMAL);
    double sum = digits_value(text, n, 10);
    text += n;
    while (*text == ':') {
        n = strspn(text + 1, DECIMAL);
        if (n < 1 || n > 2 || (n == 2 && text[1] > '5'))
            return NRW_YAML_NOT_A_NUMBER;
        sum = sum * 60.0 + digits_value(text + 1, n, 10);
        text += 1 + n;
    }
    if (*text == '.') {
        double unit = 1.0;
        for (text++; *text == '_' || (*text && strchr(DECIMAL, *text)); text++) {
            if (*text == '_')
                continue;
            unit /= 10.0;
            sum += unit * (*text - '0');
        }
    }
    return *text ? NRW_YAML_NOT_A_NUMBER : finish(sum, negative, value);
}

/* What strtod makes of `text`, whose '.' becomes the locale's separator. */
static double to_double(const char *text)
{
    char local[2 * NRW_YAML_NUMBER_LENGTH_MAX];
    const char *separator = localeconv()->decimal_point;
    size_t before = strcspn(text, "."), after = text[before] ? before + 1 : before;
    size_t length = text[before] ? strlen(separator) : 0;
    if (before + length + strlen(text + after) + 1 > sizeof local)
        return NAN;
    memcpy(local, text, before);
    memcpy(local + before, separator, length);
    memcpy(local + before + length, text + after, strlen(text + after) + 1);
    return strtod(local, NULL);
}

/* Whether a text of decimal digits has another value read as octal (YAML 1.1). */
static bool octal_differs(const char *text, size_t n)
{
    if (n < 2 || text[0] != '0')
        return false;
    for (size_t i = 0; i < n; i++)
        if (text[i] != '_' && (text[i] < '0' || text[i] > '7'))
            return false; /* no octal number: only the decimal reading is left */
    return digits_value(text, n, 8) < digits_value(text, n, 10);
}

/* Length of the exponent with its 'e'; 0: there is none. */
static size_t exponent_length(const char *text)
{
    if (*text != 'e' && *text != 'E')
        return 0;
    size_t sign = text[1] == '+' || text[1] == '-';
    size_t n = strspn(text + 1 + sign, DECIMAL);
    return n > 0 ? 1 + sign + n : 0;
}

static nrw_yaml_number_kind read_decimal(const char *text, bool negative, double *value)
{
    char plain[NRW_YAML_NUMBER_LENGTH_MAX + 1];
    size_t whole = digits_length(text, DECIMAL);
    bool point = text[whole] == '.';
    size_t fraction = point ? digits_length(text + whole + 1, DECIMAL) : 0;
    size_t mantissa = whole + point + fraction;
    size_t exponent = exponent_length(text + mantissa);
    if (whole + fraction == 0 || text[mantissa + exponent] != '\0')
        return NRW_YAML_NOT_A_NUMBER;
    /* YAML 1.1 has underscores in numbers, but no exponent without a point. */
    if (!point && exponent > 0 && has_underscore(text, whole))
        return NRW_YAML_NOT_A_NUMBER;
    if (!point && exponent == 0 && octal_differs(text, whole))
        return NRW_YAML_NUMBER_AMBIGUOUS;
    size_t n = 0;
    bool zero = true;
    for (size_t i = 0; i < mantissa + exponent; i++) {
        if (text[i] == '_')
            continue;
        plain[n++] = text[i];
        if (i < mantissa && text[i] >= '1' && text[i] <= '9')
            zero = false;
    }
    plain[n] = '\0';
    double size = to_double(plain);
    if (!zero && !(size > 0.0))
        return NRW_YAML_NUMBER_TOO_SMALL;
    return finish(size, negative, value);
}

static bool is_not_finite(const char *text)
{
    static const char *const infinities[] = {".inf", ".Inf", ".INF", ".nan", ".NaN", ".NAN"};
    for (size_t i = 0; i < sizeof infinities / sizeof *infinities; i++)
        if (strcmp(text, infinities[i]) == 0)
            return true;
    return false;
}

nrw_yaml_number_kind nrw_yaml_number_read(const char *text, double *value)
{
    bool has_sign = *text == '+' || *text == '-', negative = *text == '-';
    text += has_sign;
    if (is_not_finite(text))
        return NRW_YAML_NOT_FINITE;
    size_t length = strlen(text);
    if (length > NRW_YAML_NUMBER_LENGTH_MAX)
        return strspn(text, "0123456789abcdefABCDEFxo_.:+-") == length ? NRW_YAML_NUMBER_TOO_LONG
                                                                       : NRW_YAML_NOT_A_NUMBER;
    if (text[0] == '0' && (text[1] == 'x' || text[1] == 'o' || text[1] == 'b'))
        return read_prefixed(text, has_sign, negative, value);
    size_t whole = digits_length(text, DECIMAL);
    if (whole > 0 && text[whole] == ':')
        return read_base_60(text, negative, value);
    return read_decimal(text, negative, value);
}
