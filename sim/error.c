#include "error.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

const char *nrw_status_text(nrw_status status)
{
    switch (status) {
#define NRW_STATUS_TEXT(code, exit_code, text)                                                     \
    case code:                                                                                     \
        return text;
        NRW_STATUS_LIST(NRW_STATUS_TEXT)
#undef NRW_STATUS_TEXT
    }
    return "unknown status";
}

int nrw_status_exit_code(nrw_status status)
{
    switch (status) {
#define NRW_STATUS_EXIT(code, exit_code, text)                                                     \
    case code:                                                                                     \
        return exit_code;
        NRW_STATUS_LIST(NRW_STATUS_EXIT)
#undef NRW_STATUS_EXIT
    }
    return 3;
}

void nrw_errors_init(nrw_errors *errors)
{
    memset(errors, 0, sizeof *errors);
}

void nrw_errors_clear(nrw_errors *errors)
{
    free(errors->items);
    nrw_errors_init(errors);
}

static nrw_error *errors_grow(nrw_errors *errors)
{
    if (errors->n_items == errors->capacity) {
        size_t capacity = errors->capacity ? 2 * errors->capacity : 8;
        nrw_error *items = realloc(errors->items, capacity * sizeof *items);
        if (!items)
            return NULL;
        errors->items = items;
        errors->capacity = capacity;
    }
    nrw_error *error = &errors->items[errors->n_items++];
    memset(error, 0, sizeof *error);
    return error;
}

static void copy_text(char *target, size_t size, const char *source)
{
    if (source)
        (void)snprintf(target, size, "%s", source);
}

static void add(nrw_errors *errors, nrw_status status, const char *file, int line, int column,
                const char *key, const char *expected, const char *what, va_list arguments)
{
    if (!errors)
        return;
    nrw_error *error = errors_grow(errors);
    if (!error)
        return;
    error->status = status;
    error->line = line;
    error->column = column;
    copy_text(error->file, sizeof error->file, file);
    copy_text(error->key, sizeof error->key, key);
    copy_text(error->expected, sizeof error->expected, expected);
    (void)vsnprintf(error->what, sizeof error->what, what, arguments);
}

nrw_status nrw_errors_add(nrw_errors *errors, nrw_status status, const char *expected,
                          const char *what, ...)
{
    va_list arguments;
    va_start(arguments, what);
    add(errors, status, NULL, 0, 0, NULL, expected, what, arguments);
    va_end(arguments);
    return status;
}

nrw_status nrw_errors_add_at(nrw_errors *errors, nrw_status status, const char *file, int line,
                             int column, const char *key, const char *expected, const char *what,
                             ...)
{
    va_list arguments;
    va_start(arguments, what);
    add(errors, status, file, line, column, key, expected, what, arguments);
    va_end(arguments);
    return status;
}

void nrw_error_format(const nrw_error *error, char *text, size_t size)
{
    char place[600] = "";
    if (error->file[0] && error->line > 0)
        (void)snprintf(place, sizeof place, "%s:%d:%d: ", error->file, error->line, error->column);
    else if (error->file[0])
        (void)snprintf(place, sizeof place, "%s: ", error->file);
    (void)snprintf(text, size, "%s%s%s%s%s%s", place, error->key, error->key[0] ? ": " : "",
                   error->what, error->expected[0] ? "; " : "", error->expected);
}
