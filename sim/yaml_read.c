#include "yaml_read.h"

#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "number.h"
#include "suggest.h"
#include "yaml_number.h"

/* --- what is expected -------------------------------------------------------- */

/* Unit that the key of a value (or of the list that holds it) ends in; "": none. */
static const char *unit_of(const nrw_yaml_node *node)
{
    static const struct {
        const char *suffix, *unit;
    } units[] = {
        {"_mT_per_A", "mT/A"}, {"_per_s", "1/s"}, {"_kg_m3", "kg/m³"}, {"_mPa_s", "mPa·s"},
        {"_pN_um", "pN/µm"},   {"_um2", "µm²"},   {"_um", "µm"},       {"_nm", "nm"},
        {"_mT", "mT"},         {"_Hz", "Hz"},     {"_deg", "degrees"}, {"_fAm2", "fA·m²"},
        {"_kA_m", "kA/m"},     {"_mV", "mV"},     {"_pN", "pN"},       {"_ohm", "ohm"},
        {"_mH", "mH"},         {"_A", "A"},       {"_V", "V"},         {"_C", "°C"},
        {"_nl_min", "nl/min"}, {"_Pa", "Pa"},     {"_mm", "mm"},       {"_s", "s"},
    };
    while (node && !node->key)
        node = node->parent;
    size_t length = node ? strlen(node->key) : 0;
    for (size_t i = 0; node && i < sizeof units / sizeof *units; i++) {
        size_t n = strlen(units[i].suffix);
        if ((length > n && strcmp(node->key + length - n, units[i].suffix) == 0) ||
            strcmp(node->key, units[i].suffix + 1) == 0)
            return units[i].unit;
    }
    return "";
}

static void expect_range(const nrw_yaml_node *node, nrw_yaml_range range, bool whole, char *text,
                         size_t size)
{
    char low[NRW_NUMBER_SIZE], high[NRW_NUMBER_SIZE];
    const char *unit = unit_of(node);
    (void)nrw_number_text(range.low, low);
    (void)nrw_number_text(range.high, high);
    (void)snprintf(text, size, "a %snumber%s%s %s %s %s %s", whole ? "whole " : "",
                   *unit ? " in " : "", unit, range.low_open ? "above" : "from", low,
                   range.high_open  ? "to below"
                   : range.low_open ? "and at most"
                                    : "to",
                   high);
}

void nrw_yaml_expect_word(const char *word, const char *const words[], size_t n, char *expected,
                          size_t size)
{
    size_t used = 0, nearest = SIZE_MAX;
    const char *near = nrw_suggest(word, words, n);
    if (near && strlen(near) <= 1)
        near = NULL; /* any letter is near any other */
    /* The right quantity in another unit, or without one: the same up to the
     * last '_'. */
    const char *unit = strrchr(word, '_');
    size_t stem = unit ? (size_t)(unit - word) : strlen(word);
    for (size_t i = 0; i < n; i++) {
        const char *other = strrchr(words[i], '_');
        size_t distance = nrw_edit_distance(word, words[i]);
        if (other && (size_t)(other - words[i]) == stem && distance < nearest &&
            strncmp(word, words[i], stem) == 0) {
            near = words[i];
            nearest = distance;
        }
    }
    if (near)
        (void)snprintf(expected, size, "did you mean '%s'?", near);
    else if (n == 0)
        (void)snprintf(expected, size, "there are none");
    for (size_t i = 0; !near && i < n && used < size; i++) {
        int more = snprintf(expected + used, size - used, "%s%s", i ? ", " : "one of: ", words[i]);
        used += more > 0 ? (size_t)more : 0;
    }
}

/* --- values ------------------------------------------------------------------ */

static const char *number_fault(nrw_yaml_number_kind kind)
{
    switch (kind) {
    case NRW_YAML_NOT_FINITE:
        return "is not a finite number";
    case NRW_YAML_NUMBER_TOO_LARGE:
        return "overflows, no number is that large";
    case NRW_YAML_NUMBER_TOO_SMALL:
        return "underflows, no number but 0 is that small";
    case NRW_YAML_NUMBER_AMBIGUOUS:
        return "is octal in YAML 1.1 and decimal in YAML 1.2; write it without the leading 0 or "
               "with 0o";
    case NRW_YAML_NUMBER_TOO_LONG:
        return "is written with too many digits";
    default:
        return "is no number";
    }
}

/* Reads a number and sees whether it lies in the range. */
static bool read_number(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_yaml_range range,
                        bool whole, double *value)
{
    char is[96], expected[192];
    expect_range(node, range, whole, expected, sizeof expected);
    (void)nrw_yaml_describe(node, is);
    if (node->kind != NRW_YAML_SCALAR)
        return nrw_yaml_error(doc, node, expected, "is %s", is);
    double number = NAN;
    nrw_yaml_number_kind kind = nrw_yaml_number_read(node->text, &number);
    if (!node->plain && kind != NRW_YAML_NOT_A_NUMBER)
        return nrw_yaml_error(doc, node, expected, "%s is text, as it stands in quotes", is);
    if (kind == NRW_YAML_NOT_A_NUMBER && strcmp(is, "empty") == 0)
        return nrw_yaml_error(doc, node, expected, "is empty");
    if (kind == NRW_YAML_NOT_A_NUMBER && strspn(node->text, "0123456789.+-") > 0 && *unit_of(node))
        return nrw_yaml_error(doc, node, expected, "%s is no number (the unit stands in the key)",
                              is);
    if (kind != NRW_YAML_NUMBER)
        return nrw_yaml_error(doc, node, expected, "%s %s", is, number_fault(kind));
    if (whole && floor(number) < number)
        return nrw_yaml_error(doc, node, expected, "%s is not a whole number", node->text);
    bool low = range.low_open ? number > range.low : number >= range.low;
    bool high = range.high_open ? number < range.high : number <= range.high;
    if (!low || !high)
        return nrw_yaml_error(doc, node, expected, "%.60s is out of range", node->text);
    *value = number;
    return true;
}

bool nrw_yaml_number(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_yaml_range range,
                     double *value)
{
    return read_number(doc, node, range, false, value);
}

bool nrw_yaml_integer(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_yaml_range range,
                      long long *value)
{
    static const double exact = 9007199254740992.0; /* 2^53 */
    double number = 0.0;
    range.low = fmax(range.low, -exact);
    range.high = fmin(range.high, exact);
    if (!read_number(doc, node, range, true, &number))
        return false;
    *value = (long long)number;
    return true;
}

bool nrw_yaml_boolean(nrw_yaml_doc *doc, const nrw_yaml_node *node, bool *value)
{
    static const char *const words[] = {"true", "True", "TRUE", "false", "False", "FALSE"};
    char is[96];
    for (size_t i = 0; node->kind == NRW_YAML_SCALAR && node->plain && i < 6; i++)
        if (strcmp(node->text, words[i]) == 0) {
            *value = i < 3;
            return true;
        }
    return nrw_yaml_error(doc, node, "true or false", "is %s", nrw_yaml_describe(node, is));
}

const char *nrw_yaml_text(nrw_yaml_doc *doc, const nrw_yaml_node *node, const char *expected)
{
    char is[96];
    (void)nrw_yaml_describe(node, is);
    if (node->kind == NRW_YAML_SCALAR && strcmp(is, "empty") != 0)
        return node->text;
    (void)nrw_yaml_error(doc, node, expected, "is %s", is);
    return NULL;
}

/* libyaml has made sure that the text is UTF-8. */
static bool is_printable(const char *text)
{
    for (const unsigned char *c = (const unsigned char *)text; *c; c++) {
        bool control = *c < 0x20 || *c == 0x7F;
        bool control_1 = c[0] == 0xC2 && c[1] < 0xA0;                           /* U+0080... */
        bool separator = c[0] == 0xE2 && c[1] == 0x80 && (c[2] & 0xFE) == 0xA8; /* U+2028, 9 */
        bool mark = c[0] == 0xEF && c[1] == 0xBB && c[2] == 0xBF;               /* U+FEFF */
        if (control || control_1 || separator || mark)
            return false;
    }
    return true;
}

const char *nrw_yaml_name_fault(const char *text, size_t size)
{
    if (text[strspn(text, " ")] == '\0')
        return "is an empty name";
    if (strlen(text) >= size)
        return "is too long for a name";
    return is_printable(text) ? NULL : "holds characters that can't be printed";
}

bool nrw_yaml_name(nrw_yaml_doc *doc, const nrw_yaml_node *node, char *name, size_t size)
{
    char expected[64];
    (void)snprintf(expected, sizeof expected, "a name of 1 to %zu bytes", size - 1);
    const char *text = nrw_yaml_text(doc, node, expected);
    if (!text)
        return false;
    const char *fault = nrw_yaml_name_fault(text, size);
    if (fault)
        return nrw_yaml_error(doc, node, expected, "%s", fault);
    (void)snprintf(name, size, "%s", text);
    return true;
}

int nrw_yaml_choice(nrw_yaml_doc *doc, const nrw_yaml_node *node, const char *const words[],
                    size_t n)
{
    char is[96], expected[256];
    const char *text = node->kind == NRW_YAML_SCALAR ? node->text : "";
    for (size_t i = 0; i < n; i++)
        if (strcmp(text, words[i]) == 0)
            return (int)i;
    nrw_yaml_expect_word(text, words, n, expected, sizeof expected);
    (void)nrw_yaml_error(doc, node, expected, "is %s", nrw_yaml_describe(node, is));
    return -1;
}

bool nrw_yaml_is_list(nrw_yaml_doc *doc, const nrw_yaml_node *node, const char *expected)
{
    char is[96];
    return node->kind == NRW_YAML_LIST ||
           nrw_yaml_error(doc, node, expected, "is %s", nrw_yaml_describe(node, is));
}

bool nrw_yaml_is_map(nrw_yaml_doc *doc, const nrw_yaml_node *node)
{
    char is[96];
    return node->kind == NRW_YAML_MAP ||
           nrw_yaml_error(doc, node, "a mapping of keys", "is %s", nrw_yaml_describe(node, is));
}

bool nrw_yaml_vector(nrw_yaml_doc *doc, const nrw_yaml_node *node, size_t n_min, size_t n_max,
                     nrw_yaml_range range, const char *expected, double *values, size_t *n)
{
    if (!nrw_yaml_is_list(doc, node, expected))
        return false;
    if (node->n_children < n_min || node->n_children > n_max)
        return nrw_yaml_error(doc, node, expected, "is a list of %u", node->n_children);
    bool good = true;
    for (const nrw_yaml_node *child = node->first; child; child = child->next)
        good = nrw_yaml_number(doc, child, range, &values[child->index]) && good;
    if (n)
        *n = node->n_children;
    return good;
}

/* --- keys of a mapping ------------------------------------------------------- */

bool nrw_yaml_unknown_key(nrw_yaml_doc *doc, const nrw_yaml_node *node, const char *const words[],
                          size_t n)
{
    char expected[384];
    if (strcmp(node->key, "<<") == 0)
        return nrw_yaml_error_at_key(doc, node, "the keys written out",
                                     "is an unknown key (merging is not supported)");
    /* Errors that are only counted need no suggestion. */
    bool listed = nrw_yaml_n_errors(doc) < NRW_YAML_ERRORS_MAX;
    nrw_yaml_expect_word(node->key, words, listed ? n : 0, expected, sizeof expected);
    return nrw_yaml_error_at_key(doc, node, expected, "is an unknown key");
}

static const nrw_yaml_field *find_field(const char *key, const nrw_yaml_field *fields, size_t n)
{
    for (size_t i = 0; i < n; i++)
        if (strcmp(fields[i].key, key) == 0)
            return &fields[i];
    return NULL;
}

static bool refuse_unknown(nrw_yaml_doc *doc, const nrw_yaml_node *map,
                           const nrw_yaml_field *fields, size_t n)
{
    enum { N_WORDS = 32 }; /* for suggestions; no mapping of the files has more keys */
    const char *words[N_WORDS];
    size_t n_words = n < N_WORDS ? n : N_WORDS;
    bool good = true;
    for (size_t i = 0; i < n_words; i++)
        words[i] = fields[i].key;
    for (const nrw_yaml_node *child = map->first; child; child = child->next)
        if (!find_field(child->key, fields, n))
            good = nrw_yaml_unknown_key(doc, child, words, n_words);
    return good;
}

static bool read_field(nrw_yaml_doc *doc, const nrw_yaml_node *node, const nrw_yaml_field *field,
                       void *target)
{
    if (field->type == NRW_YAML_OTHER)
        return true; /* read by the caller; there may be no target */
    void *place = (char *)target + field->offset;
    long long whole;
    if (field->type == NRW_YAML_DOUBLE)
        return nrw_yaml_number(doc, node, field->range, place);
    if (field->type == NRW_YAML_BOOLEAN)
        return nrw_yaml_boolean(doc, node, place);
    if (!nrw_yaml_integer(doc, node, field->range, &whole))
        return false;
    if (field->type == NRW_YAML_COUNT)
        *(size_t *)place = (size_t)whole;
    else
        *(int *)place = (int)whole;
    return true;
}

bool nrw_yaml_fields(nrw_yaml_doc *doc, const nrw_yaml_node *map, const nrw_yaml_field *fields,
                     size_t n, void *target)
{
    if (!nrw_yaml_is_map(doc, map))
        return false;
    bool good = refuse_unknown(doc, map, fields, n);
    for (size_t i = 0; i < n; i++) {
        const nrw_yaml_node *node = nrw_yaml_get(map, fields[i].key);
        char expected[192] = "it is required";
        if (node)
            good = read_field(doc, node, &fields[i], target) && good;
        else if (fields[i].required) {
            nrw_yaml_node absent = {.parent = map, .key = fields[i].key};
            if (fields[i].type != NRW_YAML_OTHER && fields[i].type != NRW_YAML_BOOLEAN)
                expect_range(&absent, fields[i].range, fields[i].type != NRW_YAML_DOUBLE, expected,
                             sizeof expected);
            good = nrw_yaml_error_missing(doc, map, fields[i].key, expected);
        }
    }
    return good;
}

bool nrw_yaml_refuse_fields(nrw_yaml_doc *doc, const nrw_yaml_node *map,
                            const nrw_yaml_field *fields, size_t n, const char *where)
{
    bool good = true;
    for (size_t i = 0; i < n; i++) {
        const nrw_yaml_node *node = nrw_yaml_get(map, fields[i].key);
        if (node)
            good = nrw_yaml_error_at_key(doc, node, "leave it out", "belongs to %s", where);
    }
    return good;
}

/* --- format ------------------------------------------------------------------ */

bool nrw_yaml_format(nrw_yaml_doc *doc, const nrw_yaml_node *map, const char *name,
                     const char *other)
{
    char expected[96], is[96];
    (void)snprintf(expected, sizeof expected, "%s/1", name);
    const nrw_yaml_node *node = nrw_yaml_get(map, "format");
    if (!node)
        return nrw_yaml_error_missing(doc, map, "format", expected);
    const char *text = nrw_yaml_text(doc, node, expected);
    if (!text || strcmp(text, expected) == 0)
        return text != NULL;
    (void)nrw_yaml_describe(node, is);
    size_t length = strlen(name), n_other = strlen(other);
    if (strncmp(text, other, n_other) == 0 && text[n_other] == '/')
        return nrw_yaml_error(doc, node, expected, "%s is another kind of file", is);
    const char *version = text + length + 1;
    bool versioned = strncmp(text, name, length) == 0 && text[length] == '/' && *version &&
                     version[strspn(version, "0123456789.")] == '\0';
    if (versioned && strtod(version, NULL) > 1.0)
        return nrw_yaml_error(doc, node, expected, "%s is newer than this program can read", is);
    return nrw_yaml_error(doc, node, expected, "%s is an unknown format", is);
}
