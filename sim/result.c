#include "result.h"

#include <jansson.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "number.h"

enum { DEEPEST = 16 };

static const char result_format[] = "narrows-result/1";

struct nrw_result {
    json_t *root;
    json_t *open[DEEPEST]; /* borrowed: from `figures` down to what is open */
    size_t depth;          /* of them in use, at least 1 */
    bool failed;           /* a call failed or did not fit */
};

/* --- building ------------------------------------------------------------- */

nrw_result *nrw_result_create(const char *command)
{
    nrw_result *result = calloc(1, sizeof *result);
    if (!result)
        return NULL;
    result->root = json_pack("{s:s, s:s, s:{}, s:{}, s:[]}", "format", result_format, "command",
                             command, "provenance", "figures", "warnings");
    if (!result->root) {
        free(result);
        return NULL;
    }
    result->open[0] = json_object_get(result->root, "figures");
    result->depth = 1;
    return result;
}

void nrw_result_destroy(nrw_result *result)
{
    if (!result)
        return;
    while (result->depth > 1)
        nrw_result_close(result);
    json_decref(result->root);
    free(result);
}

static json_t *real_or_null(double value)
{
    return isfinite(value) ? json_real(value) : json_null();
}

static json_t *string_or_null(const char *text)
{
    return text ? json_string(text) : json_null();
}

void nrw_result_provenance(nrw_result *result, const nrw_provenance *provenance)
{
    char large[32];
    (void)snprintf(large, sizeof large, "%llu", (unsigned long long)provenance->seed);
    json_t *seed = provenance->seed <= INT64_MAX ? json_integer((json_int_t)provenance->seed)
                                                 : json_string(large);
    json_t *object =
        json_pack("{s:s, s:o, s:i, s:o, s:o, s:o, s:o}", "version", provenance->version, "seed",
                  seed, "threads", provenance->threads, "model", string_or_null(provenance->model),
                  "scenario_sha256", string_or_null(provenance->scenario_sha256), "started",
                  string_or_null(provenance->started), "wall_s", real_or_null(provenance->wall_s));
    if (!object || json_object_set_new(result->root, "provenance", object) != 0)
        result->failed = true;
}

void nrw_result_warn(nrw_result *result, const char *sentence)
{
    json_t *warnings = json_object_get(result->root, "warnings");
    if (json_array_append_new(warnings, json_string(sentence)) != 0)
        result->failed = true;
}

/* Puts a value (stolen; NULL when memory was short) where the next one goes. */
static void put(nrw_result *result, const char *key, json_t *value)
{
    json_t *open = result->open[result->depth - 1];
    int wrong = -1;
    if (json_is_array(open) && !key)
        wrong = json_array_append_new(open, value);
    else if (json_is_object(open) && key)
        wrong = json_object_set_new(open, key, value);
    else
        json_decref(value);
    if (wrong)
        result->failed = true;
}

void nrw_result_number(nrw_result *result, const char *key, double value)
{
    put(result, key, real_or_null(value));
}

void nrw_result_integer(nrw_result *result, const char *key, int64_t value)
{
    put(result, key, json_integer((json_int_t)value));
}

void nrw_result_bool(nrw_result *result, const char *key, bool value)
{
    put(result, key, json_boolean(value));
}

void nrw_result_string(nrw_result *result, const char *key, const char *text)
{
    put(result, key, string_or_null(text));
}

void nrw_result_null(nrw_result *result, const char *key)
{
    put(result, key, json_null());
}

static void open_new(nrw_result *result, const char *key, json_t *container)
{
    if (result->depth == DEEPEST) {
        json_decref(container);
        result->failed = true;
        return;
    }
    /* A reference of our own, given back by nrw_result_close: after a call that
     * did not fit, the container hangs nowhere, yet is filled by those that
     * follow. */
    json_incref(container);
    put(result, key, container);
    result->open[result->depth++] = container;
}

void nrw_result_open_object(nrw_result *result, const char *key)
{
    open_new(result, key, json_object());
}

void nrw_result_open_array(nrw_result *result, const char *key)
{
    open_new(result, key, json_array());
}

void nrw_result_close(nrw_result *result)
{
    if (result->depth <= 1) {
        result->failed = true;
        return;
    }
    json_decref(result->open[--result->depth]);
}

void nrw_result_numbers(nrw_result *result, const char *key, size_t n, const double *values)
{
    nrw_result_open_array(result, key);
    for (size_t i = 0; i < n; i++)
        nrw_result_number(result, NULL, values[i]);
    nrw_result_close(result);
}

/* --- writing --------------------------------------------------------------
 * jansson prints reals with a fixed number of digits, which turns 0.1 into
 * 0.10000000000000001; so the text is written here, from its tree. */

static void write_value(FILE *stream, const json_t *value, int indent);

static void write_real(FILE *stream, double value)
{
    char text[NRW_NUMBER_SIZE];
    (void)fputs(nrw_number_text(value, text), stream);
    /* A real stays one for readers that tell 1.0 from 1. */
    if (!strpbrk(text, ".e"))
        (void)fputs(".0", stream);
}

static void write_string(FILE *stream, const char *text, size_t length)
{
    (void)fputc('"', stream);
    for (size_t i = 0; i < length; i++) {
        unsigned char byte = (unsigned char)text[i];
        if (byte == '"' || byte == '\\')
            (void)fprintf(stream, "\\%c", byte);
        else if (byte == '\n')
            (void)fputs("\\n", stream);
        else if (byte < 0x20 || byte == 0x7f)
            (void)fprintf(stream, "\\u%04x", byte);
        else
            (void)fputc(byte, stream);
    }
    (void)fputc('"', stream);
}

static bool is_flat(const json_t *array)
{
    for (size_t i = 0; i < json_array_size(array); i++) {
        const json_t *item = json_array_get(array, i);
        if (json_is_object(item) || json_is_array(item) || json_is_string(item))
            return false;
    }
    return true;
}

static void new_line(FILE *stream, int indent)
{
    (void)fprintf(stream, "\n%*s", indent, "");
}

static void write_array(FILE *stream, const json_t *array, int indent)
{
    bool flat = is_flat(array);
    (void)fputc('[', stream);
    for (size_t i = 0; i < json_array_size(array); i++) {
        if (i > 0)
            (void)fputs(flat ? ", " : ",", stream);
        if (!flat)
            new_line(stream, indent + 2);
        write_value(stream, json_array_get(array, i), indent + 2);
    }
    if (!flat)
        new_line(stream, indent);
    (void)fputc(']', stream);
}

static void write_object(FILE *stream, const json_t *object, int indent)
{
    const char *key;
    json_t *value;
    bool first = true;
    (void)fputc('{', stream);
    /* jansson iterates in the order of insertion. */
    json_object_foreach((json_t *)(uintptr_t)object, key, value)
    {
        if (!first)
            (void)fputc(',', stream);
        first = false;
        new_line(stream, indent + 2);
        write_string(stream, key, strlen(key));
        (void)fputs(": ", stream);
        write_value(stream, value, indent + 2);
    }
    if (!first)
        new_line(stream, indent);
    (void)fputc('}', stream);
}

static void write_value(FILE *stream, const json_t *value, int indent)
{
    switch (json_typeof(value)) {
    case JSON_OBJECT:
        write_object(stream, value, indent);
        break;
    case JSON_ARRAY:
        write_array(stream, value, indent);
        break;
    case JSON_STRING:
        write_string(stream, json_string_value(value), json_string_length(value));
        break;
    case JSON_INTEGER:
        (void)fprintf(stream, "%lld", (long long)json_integer_value(value));
        break;
    case JSON_REAL:
        write_real(stream, json_real_value(value));
        break;
    case JSON_TRUE:
        (void)fputs("true", stream);
        break;
    case JSON_FALSE:
        (void)fputs("false", stream);
        break;
    case JSON_NULL:
        (void)fputs("null", stream);
        break;
    }
}

nrw_status nrw_result_text(const nrw_result *result, char **text, nrw_errors *errors)
{
    *text = NULL;
    size_t size = 0;
    FILE *stream = result->failed || result->depth != 1 ? NULL : open_memstream(text, &size);
    bool complete = false;
    if (stream) {
        write_value(stream, result->root, 0);
        (void)fputc('\n', stream);
        complete = !ferror(stream);
        complete = fclose(stream) == 0 && complete;
    }
    if (complete)
        return NRW_OK;
    free(*text);
    *text = NULL;
    return nrw_errors_add(errors, NRW_NO_MEMORY, NULL, "the result could not be put together");
}

/* --- reading back --------------------------------------------------------- */

nrw_status nrw_result_parse(const char *text, size_t size, const char *name, nrw_result **result,
                            nrw_errors *errors)
{
    *result = NULL;
    json_error_t wrong;
    json_t *root = json_loadb(text, size, JSON_REJECT_DUPLICATES, &wrong);
    if (!root)
        return nrw_errors_add_at(errors, NRW_BAD_INPUT, name, wrong.line, wrong.column, "",
                                 "a result.json", "%s", wrong.text);
    const char *format = json_string_value(json_object_get(root, "format"));
    json_t *figures = json_object_get(root, "figures");
    nrw_result *new = NULL;
    nrw_status status = NRW_OK;
    if (!format || strcmp(format, result_format) != 0 || !json_is_object(figures))
        status = nrw_errors_add_at(errors, NRW_BAD_INPUT, name, 1, 1, "format", result_format,
                                   "format is \"%s\"", format ? format : "missing");
    else if (!(new = calloc(1, sizeof *new)))
        status = nrw_errors_add(errors, NRW_NO_MEMORY, NULL, "no memory for %s", name);
    if (status != NRW_OK) {
        json_decref(root);
        return status;
    }
    new->root = root;
    new->open[0] = figures;
    new->depth = 1;
    *result = new;
    return NRW_OK;
}

static const json_t *find(const nrw_result *result, const char *path)
{
    const json_t *at = result->root;
    while (at && *path) {
        char key[NRW_NAME_SIZE * 2];
        size_t length = strcspn(path, ".");
        if (length >= sizeof key)
            return NULL;
        memcpy(key, path, length);
        key[length] = '\0';
        path += length + (path[length] == '.');
        at = json_is_array(at) ? json_array_get(at, strtoul(key, NULL, 10))
                               : json_object_get(at, key);
    }
    return at;
}

double nrw_result_get_number(const nrw_result *result, const char *path)
{
    const json_t *found = find(result, path);
    return json_is_number(found) ? json_number_value(found) : (double)NAN;
}

const char *nrw_result_get_string(const nrw_result *result, const char *path)
{
    return json_string_value(find(result, path));
}

bool nrw_result_get_bool(const nrw_result *result, const char *path)
{
    return json_is_true(find(result, path));
}

size_t nrw_result_get_size(const nrw_result *result, const char *path)
{
    const json_t *found = find(result, path);
    return json_is_array(found) ? json_array_size(found) : json_object_size(found);
}
