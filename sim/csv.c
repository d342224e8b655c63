#include "csv.h"

#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "number.h"

/* RFC 4180, section 2, rule 1. */
static const char record_end[] = "\r\n";

void nrw_csv_begin(nrw_csv *csv, FILE *file, const char *header)
{
    csv->file = file;
    csv->n_fields = 0;
    (void)fputs(header, file);
    (void)fputs(record_end, file);
}

static void separate(nrw_csv *csv)
{
    if (csv->n_fields++ > 0)
        (void)fputc(',', csv->file);
}

void nrw_csv_text(nrw_csv *csv, const char *text)
{
    separate(csv);
    if (!text)
        return;
    if (!strpbrk(text, ",\"\r\n")) {
        (void)fputs(text, csv->file);
        return;
    }
    (void)fputc('"', csv->file);
    for (; *text; text++) {
        if (*text == '"')
            (void)fputc('"', csv->file);
        (void)fputc(*text, csv->file);
    }
    (void)fputc('"', csv->file);
}

void nrw_csv_number(nrw_csv *csv, double value)
{
    char text[NRW_NUMBER_SIZE];
    separate(csv);
    (void)fputs(nrw_number_text(value, text), csv->file);
}

void nrw_csv_integer(nrw_csv *csv, int64_t value)
{
    separate(csv);
    (void)fprintf(csv->file, "%lld", (long long)value);
}

void nrw_csv_end_record(nrw_csv *csv)
{
    csv->n_fields = 0;
    (void)fputs(record_end, csv->file);
}

/* Takes one field off `*at`, unquoting in place, and terminates it. Returns the
 * character that ended it: ',', '\n', 0 at the end of the text, or '"' for a
 * quote that is not closed. */
static char take_field(char **at, char **field)
{
    char *read = *at, *write = *at;
    *field = write;
    if (*read == '"') {
        for (read++;; read++) {
            if (*read == '\0')
                return '"';
            if (*read == '"' && *++read != '"')
                break;
            *write++ = *read;
        }
    }
    while (*read && *read != ',' && *read != '\n')
        *write++ = *read++;
    char end = *read;
    if (end != ',' && write > *field && write[-1] == '\r')
        write--;
    *at = end ? read + 1 : read;
    *write = '\0';
    return end;
}

typedef struct field_list {
    char **items;
    size_t n_items, capacity;
} field_list;

static bool field_list_add(field_list *list, char *field)
{
    if (list->n_items == list->capacity) {
        size_t capacity = list->capacity ? 2 * list->capacity : 256;
        char **items = realloc(list->items, capacity * sizeof *items);
        if (!items)
            return false;
        list->items = items;
        list->capacity = capacity;
    }
    list->items[list->n_items++] = field;
    return true;
}

static size_t parse_records(char *bytes, nrw_csv_table *table, field_list *list)
{
    for (char *at = bytes; *at;) {
        size_t first = list->n_items;
        char end;
        do {
            char *field;
            end = take_field(&at, &field);
            if (end == '"')
                return table->n_records + 1;
            if (!field_list_add(list, field))
                return SIZE_MAX;
        } while (end == ',');
        if (table->n_records == 0)
            table->n_columns = list->n_items;
        else if (list->n_items - first != table->n_columns)
            return table->n_records + 1;
        table->n_records++;
    }
    return 0;
}

size_t nrw_csv_parse(const char *text, size_t size, nrw_csv_table *table)
{
    memset(table, 0, sizeof *table);
    char *bytes = malloc(size + 1);
    if (!bytes)
        return SIZE_MAX;
    memcpy(bytes, text, size);
    bytes[size] = '\0';
    field_list list = {0};
    size_t wrong = parse_records(bytes, table, &list);
    table->fields = list.items;
    table->bytes = bytes;
    if (wrong)
        nrw_csv_table_clear(table);
    return wrong;
}

void nrw_csv_table_clear(nrw_csv_table *table)
{
    free(table->fields);
    free(table->bytes);
    memset(table, 0, sizeof *table);
}

int nrw_csv_column(const nrw_csv_table *table, const char *name)
{
    for (size_t column = 0; table->n_records && column < table->n_columns; column++)
        if (strcmp(table->fields[column], name) == 0)
            return (int)column;
    return -1;
}

const char *nrw_csv_field(const nrw_csv_table *table, size_t record, int column)
{
    if (record >= table->n_records || column < 0 || (size_t)column >= table->n_columns)
        return "";
    return table->fields[record * table->n_columns + (size_t)column];
}

double nrw_csv_value(const nrw_csv_table *table, size_t record, int column)
{
    return nrw_number_read(nrw_csv_field(table, record, column));
}
