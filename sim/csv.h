/* CSV files (RFC 4180): one header line, CRLF after every record, '.' as the
 * decimal separator, an empty field where there is no value. */
#ifndef NRW_CSV_H
#define NRW_CSV_H

#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

/* A file being written, in the caller's storage. Errors of the stream are kept
 * by stdio and looked at when it is closed (nrw_store_file_close). */
typedef struct nrw_csv {
    FILE *file;   /* borrowed */
    int n_fields; /* written so far in the record at hand */
} nrw_csv;

/* Starts with the header line, e.g. "id,x_um,y_um"; `header` is written as it
 * is. */
void nrw_csv_begin(nrw_csv *csv, FILE *file, const char *header);

/* One field each. Text is quoted where RFC 4180 asks for it; NULL and numbers
 * that are not finite become empty fields. */
void nrw_csv_text(nrw_csv *csv, const char *text);
void nrw_csv_number(nrw_csv *csv, double value);
void nrw_csv_integer(nrw_csv *csv, int64_t value);
void nrw_csv_end_record(nrw_csv *csv);

/* A whole file taken apart in memory. Fields are (n_records x n_columns); the
 * header is record 0. Owned; clear with nrw_csv_table_clear. */
typedef struct nrw_csv_table {
    char **fields;
    size_t n_records, n_columns;
    char *bytes; /* what the fields point into */
} nrw_csv_table;

/* Takes apart `size` bytes. Returns 0, or the number (from 1) of the first
 * record with another number of fields than the header or with a quote that is
 * not closed, or SIZE_MAX when memory is short; the table is then empty.
 * Accepts LF as well as CRLF. Cost O(size). */
size_t nrw_csv_parse(const char *text, size_t size, nrw_csv_table *table);
void nrw_csv_table_clear(nrw_csv_table *table);

/* Column of that name, -1: none. */
int nrw_csv_column(const nrw_csv_table *table, const char *name);

/* Field of a record (0: the header); NAN where it is empty or no number. */
const char *nrw_csv_field(const nrw_csv_table *table, size_t record, int column);
double nrw_csv_value(const nrw_csv_table *table, size_t record, int column);

#endif
