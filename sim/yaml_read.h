/* Typed, checked values of a YAML document. Every function that finds a value
 * wrong reports it with its place, path and what is expected, and says false. */
#ifndef NRW_YAML_READ_H
#define NRW_YAML_READ_H

#include "yaml_doc.h"

/* Allowed numbers; an open end is not allowed itself. The macros initialise one;
 * as an argument: (nrw_yaml_range)NRW_FROM_TO(0, 1). */
typedef struct nrw_yaml_range {
    double low, high;
    bool low_open, high_open;
} nrw_yaml_range;

/* clang-format off */
#define NRW_FROM_TO(low, high) {(low), (high), false, false}
#define NRW_ABOVE_TO(low, high) {(low), (high), true, false}
#define NRW_FROM_BELOW(low, high) {(low), (high), false, true}
#define NRW_BETWEEN(low, high) {(low), (high), true, true}
/* clang-format on */

bool nrw_yaml_number(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_yaml_range range,
                     double *value);

/* A whole number, in any spelling (1e3 too), within ±2^53. */
bool nrw_yaml_integer(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_yaml_range range,
                      long long *value);

/* true or false, True, TRUE, ... (YAML 1.2); yes, on and y are text. */
bool nrw_yaml_boolean(nrw_yaml_doc *doc, const nrw_yaml_node *node, bool *value);

/* Text, quoted or not (also if it looks like a number); borrowed from the
 * document. NULL where it is none (reported). */
const char *nrw_yaml_text(nrw_yaml_doc *doc, const nrw_yaml_node *node, const char *expected);

/* A name: printable text of 1 to size - 1 bytes that is not blank. */
bool nrw_yaml_name(nrw_yaml_doc *doc, const nrw_yaml_node *node, char *name, size_t size);

/* Whether a text is fit for a name of fewer than `size` bytes; what is wrong
 * otherwise (a static string), NULL if it is fit. */
const char *nrw_yaml_name_fault(const char *text, size_t size);

/* One of n words: its index, or -1 (reported, with a suggestion). */
int nrw_yaml_choice(nrw_yaml_doc *doc, const nrw_yaml_node *node, const char *const words[],
                    size_t n);

/* A list of n_min to n_max numbers into values (n_max); *n (may be NULL) gets
 * how many. `expected` describes the list, e.g. "[x, y] in µm". */
bool nrw_yaml_vector(nrw_yaml_doc *doc, const nrw_yaml_node *node, size_t n_min, size_t n_max,
                     nrw_yaml_range range, const char *expected, double *values, size_t *n);

/* That the value is a list, or a mapping. */
bool nrw_yaml_is_list(nrw_yaml_doc *doc, const nrw_yaml_node *node, const char *expected);
bool nrw_yaml_is_map(nrw_yaml_doc *doc, const nrw_yaml_node *node);

/* --- keys of a mapping ------------------------------------------------------- */

typedef enum nrw_yaml_type {
    NRW_YAML_DOUBLE,
    NRW_YAML_COUNT,   /* size_t */
    NRW_YAML_INT,     /* int */
    NRW_YAML_BOOLEAN, /* bool */
    NRW_YAML_OTHER    /* known, but read by the caller */
} nrw_yaml_type;

/* One key of a mapping and where its value goes. */
typedef struct nrw_yaml_field {
    const char *key;
    nrw_yaml_type type;
    bool required;
    size_t offset; /* in the caller's struct */
    nrw_yaml_range range;
} nrw_yaml_field;

/* clang-format off */
#define NRW_REQUIRED(key, type, structure, member, range) \
    {(key), (type), true, offsetof(structure, member), range}
#define NRW_OPTIONAL(key, type, structure, member, range) \
    {(key), (type), false, offsetof(structure, member), range}
#define NRW_OPTIONAL_SWITCH(key, structure, member) \
    {(key), NRW_YAML_BOOLEAN, false, offsetof(structure, member), NRW_FROM_TO(0, 1)}
#define NRW_REQUIRED_OTHER(key) {(key), NRW_YAML_OTHER, true, 0, NRW_FROM_TO(0, 0)}
#define NRW_OPTIONAL_OTHER(key) {(key), NRW_YAML_OTHER, false, 0, NRW_FROM_TO(0, 0)}
/* clang-format on */

/* Reads the fields (n) of a mapping into `target`, which holds the defaults:
 * what is no mapping, unknown keys (with a suggestion), missing required keys
 * and wrong values are reported; all of them, not only the first. False if
 * there was any. */
bool nrw_yaml_fields(nrw_yaml_doc *doc, const nrw_yaml_node *map, const nrw_yaml_field *fields,
                     size_t n, void *target);

/* Reports every one of the fields (n) that the mapping has: "belongs to WHERE". */
bool nrw_yaml_refuse_fields(nrw_yaml_doc *doc, const nrw_yaml_node *map,
                            const nrw_yaml_field *fields, size_t n, const char *where);

/* Reports a key as unknown, with a suggestion out of words (n) or all of them. */
bool nrw_yaml_unknown_key(nrw_yaml_doc *doc, const nrw_yaml_node *node, const char *const words[],
                          size_t n);

/* Writes the expectation "did you mean 'X'?", or "one of: a, b, c" where none of
 * the words (n) is near. */
void nrw_yaml_expect_word(const char *word, const char *const words[], size_t n, char *expected,
                          size_t size);

/* Checks a `format` value "NAME/1": another format and a newer version are
 * errors that say so. `other` is a format of ours that may be met by mistake. */
bool nrw_yaml_format(nrw_yaml_doc *doc, const nrw_yaml_node *map, const char *name,
                     const char *other);

#endif
