/* Inside of a YAML document: shared by yaml_doc.c and yaml_build.c alone. */
#ifndef NRW_YAML_BUILD_H
#define NRW_YAML_BUILD_H

#include "yaml_doc.h"

/* Memory of the tree: blocks that live as long as the document. */
typedef struct nrw_yaml_block nrw_yaml_block;

struct nrw_yaml_doc {
    char *name;                 /* owned */
    nrw_errors *errors;         /* borrowed; may be NULL */
    size_t first_error;         /* index of this document's first error in it */
    size_t n_errors;            /* of this document, listed or not */
    int more_line, more_column; /* place of the first error that is not listed; 0: none */
    bool no_memory;
    nrw_yaml_block *blocks; /* owned */
    nrw_yaml_node *root;
};

/* Memory of `size` bytes, aligned for pointers, freed with the document; NULL
 * (and noted) when memory is short. */
void *nrw_yaml_alloc(nrw_yaml_doc *doc, size_t size);

/* Reports an error at a place of the file. Always false. */
bool nrw_yaml_error_at(nrw_yaml_doc *doc, int line, int column, const char *path,
                       const char *expected, const char *what, ...)
    __attribute__((format(printf, 6, 7)));

/* Fills doc->root from text; what is wrong is reported in the document. */
void nrw_yaml_build(nrw_yaml_doc *doc, const char *text, size_t size);

#endif
