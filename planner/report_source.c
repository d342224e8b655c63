/* What a report reads: figures of result.json by path, tables of the folder. */
#include "report_parts.h"

#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include "store.h"

#define PATH_SIZE 160

double nrw_report_number(const nrw_report *report, const char *path, ...)
{
    char text[PATH_SIZE];
    va_list arguments;
    va_start(arguments, path);
    (void)vsnprintf(text, sizeof text, path, arguments);
    va_end(arguments);
    return nrw_result_get_number(report->in->result, text);
}

const char *nrw_report_string(const nrw_report *report, const char *path, ...)
{
    char text[PATH_SIZE];
    va_list arguments;
    va_start(arguments, path);
    (void)vsnprintf(text, sizeof text, path, arguments);
    va_end(arguments);
    return nrw_result_get_string(report->in->result, text);
}

size_t nrw_report_size(const nrw_report *report, const char *path, ...)
{
    char text[PATH_SIZE];
    va_list arguments;
    va_start(arguments, path);
    (void)vsnprintf(text, sizeof text, path, arguments);
    va_end(arguments);
    return nrw_result_get_size(report->in->result, text);
}

bool nrw_report_is(const nrw_report *report, const char *command)
{
    const char *own = nrw_result_get_string(report->in->result, "command");
    return own && strcmp(own, command) == 0;
}

bool nrw_report_table(const nrw_report *report, const char *name, nrw_csv_table *table)
{
    nrw_errors ignored;
    char *text = NULL;
    size_t size = 0;
    memset(table, 0, sizeof *table);
    if (!report->in->dir)
        return false;
    nrw_errors_init(&ignored);
    bool read = nrw_store_read(report->in->dir, name, &text, &size, &ignored) == NRW_OK &&
                nrw_csv_parse(text, size, table) == 0;
    nrw_errors_clear(&ignored);
    free(text);
    if (read && table->n_records > 1)
        return true;
    nrw_csv_table_clear(table);
    return false;
}
