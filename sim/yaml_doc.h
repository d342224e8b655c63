/* A YAML document as a tree that knows where everything stands, and the errors
 * found in it.
 *
 * The tree is built from libyaml's events. What the input files have no use for
 * is refused: tags, several documents, keys that are not plain text; what could
 * hurt is bounded: size, depth, number of values, what aliases expand to.
 * yaml_read.h reads typed values from it. */
#ifndef NRW_YAML_DOC_H
#define NRW_YAML_DOC_H

#include <stdbool.h>
#include <stddef.h>

#include "error.h"

#define NRW_YAML_SIZE_MAX ((size_t)64 << 20) /* bytes of a file */
#define NRW_YAML_DEPTH_MAX 64                /* lists and mappings inside each other */
#define NRW_YAML_NODES_MAX 6000000           /* values of a file, those of aliases included */
#define NRW_YAML_ALIAS_NODES_MAX 100000      /* values that all aliases together stand for */
#define NRW_YAML_ANCHORS_MAX 1000
#define NRW_YAML_ERRORS_MAX 10000 /* listed; the rest is counted */

typedef enum nrw_yaml_kind { NRW_YAML_SCALAR, NRW_YAML_LIST, NRW_YAML_MAP } nrw_yaml_kind;

/* One value. Owned by its document, constant once that is built. Lines and
 * columns count from 1 (columns in characters). */
typedef struct nrw_yaml_node nrw_yaml_node;
struct nrw_yaml_node {
    nrw_yaml_kind kind;
    bool plain;       /* scalar: written without quotes */
    int line, column; /* where the value begins */
    int key_line, key_column;
    unsigned index; /* place among its siblings, from 0 */
    unsigned n_children;
    const char *key;  /* in a mapping: its key, terminated; NULL in a list and at the root */
    const char *text; /* scalar: terminated, no NUL inside; NULL otherwise */
    const nrw_yaml_node *parent; /* NULL at the root */
    nrw_yaml_node *first, *next; /* children in the order of the file, and the next sibling */
};

typedef struct nrw_yaml_doc nrw_yaml_doc;

/* Reads a whole file (a pipe too) of at most NRW_YAML_SIZE_MAX bytes; the caller
 * frees *text, which is terminated. Errors: NRW_BAD_INPUT with the file's name
 * alone (missing, unreadable, a folder, too large), NRW_NO_MEMORY. */
nrw_status nrw_yaml_load_text(const char *path, char **text, size_t *size, nrw_errors *errors);

/* Builds the tree of `size` bytes of UTF-8. `name` stands for the file in
 * messages; errors go to `errors` (may be NULL), which must outlive the
 * document. Neither `text` nor `name` is kept. Duplicate keys are reported and
 * left out of the tree (the first stays). The document is made even when the
 * text is malformed, so that what was found is told by nrw_yaml_finish;
 * nrw_yaml_root is then NULL. Only NRW_NO_MEMORY leaves *doc NULL. Cost
 * O(size log size). Documents are independent of each other: one a thread. */
nrw_status nrw_yaml_create(const char *text, size_t size, const char *name, nrw_errors *errors,
                           nrw_yaml_doc **doc);
void nrw_yaml_destroy(nrw_yaml_doc *doc);

/* Root of the document: a mapping, or NULL when there is none to read. */
const nrw_yaml_node *nrw_yaml_root(const nrw_yaml_doc *doc);

/* Puts the document's errors in the order of the file (those of other origin,
 * added before, stay in front) and returns NRW_OK, NRW_BAD_INPUT if there was
 * any, or NRW_NO_MEMORY. Call it once, after the last error. */
nrw_status nrw_yaml_finish(nrw_yaml_doc *doc);

/* Child of a mapping by key; NULL: none (or `map` is NULL or no mapping). */
const nrw_yaml_node *nrw_yaml_get(const nrw_yaml_node *map, const char *key);

/* Errors so far in this document, listed or not: to see whether a step had any. */
size_t nrw_yaml_n_errors(const nrw_yaml_doc *doc);

/* Reports an error at a value, or at the key of a value (at the value where it
 * has none), with the path of the value. `expected` may be NULL. Always false,
 * so that a reader can `return nrw_yaml_error(...)`. */
bool nrw_yaml_error(nrw_yaml_doc *doc, const nrw_yaml_node *node, const char *expected,
                    const char *what, ...) __attribute__((format(printf, 4, 5)));
bool nrw_yaml_error_at_key(nrw_yaml_doc *doc, const nrw_yaml_node *node, const char *expected,
                           const char *what, ...) __attribute__((format(printf, 4, 5)));

/* Reports that `key` is missing from a mapping: at the mapping's own key, or
 * its beginning, with the path of the missing key. */
bool nrw_yaml_error_missing(nrw_yaml_doc *doc, const nrw_yaml_node *map, const char *key,
                            const char *expected);

/* Notes that memory ran out while reading; nrw_yaml_finish will say so. */
bool nrw_yaml_no_memory(nrw_yaml_doc *doc);

/* Path of a value as in messages, "channel.vessels[2].width_um", into `path` of
 * `size` bytes, cut at its end where it doesn't fit. "" for the root. */
void nrw_yaml_path(const nrw_yaml_node *node, char *path, size_t size);

/* Says what a value is, for messages: "'abc'", "a list", "a mapping", "empty";
 * long text is cut, unprintable characters become '?'. Returns `text`. */
const char *nrw_yaml_describe(const nrw_yaml_node *node, char text[96]);

#endif
