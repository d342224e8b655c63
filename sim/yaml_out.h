/* Writing YAML: a thin layer on libyaml's emitter that yields text in memory. */
#ifndef NRW_YAML_OUT_H
#define NRW_YAML_OUT_H

#include <stdbool.h>

#include "error.h"

typedef struct nrw_yaml_out nrw_yaml_out;

/* NULL: no memory. */
nrw_yaml_out *nrw_yaml_out_create(void);

/* Ends the document. *text (terminated; the caller frees it) is what was
 * written; NULL and NRW_NO_MEMORY if anything since the creation failed. The
 * writer is gone in either case. */
nrw_status nrw_yaml_out_finish(nrw_yaml_out *out, char **text);

/* Lists and mappings; flow ones stand in one line as [...] or {...}. */
void nrw_yaml_out_begin_map(nrw_yaml_out *out, bool flow);
void nrw_yaml_out_end_map(nrw_yaml_out *out);
void nrw_yaml_out_begin_list(nrw_yaml_out *out, bool flow);
void nrw_yaml_out_end_list(nrw_yaml_out *out);

/* A key of the mapping at hand; its value follows. */
void nrw_yaml_out_key(nrw_yaml_out *out, const char *key);

/* Values. Numbers are finite and read back to the same bits; text is UTF-8 and
 * quoted where it would not read back as text. */
void nrw_yaml_out_number(nrw_yaml_out *out, double value);
void nrw_yaml_out_text(nrw_yaml_out *out, const char *text);

/* Key and value in one. */
void nrw_yaml_out_pair(nrw_yaml_out *out, const char *key, double value);
void nrw_yaml_out_word(nrw_yaml_out *out, const char *key, const char *text);

#endif
