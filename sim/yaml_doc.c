#include "yaml_doc.h"

#include <errno.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "yaml_build.h"

#define BLOCK_SIZE ((size_t)64 << 10)

struct nrw_yaml_block {
    nrw_yaml_block *next;
    size_t used, size; /* bytes that follow this head */
    max_align_t data[];
};

/* --- memory ------------------------------------------------------------------ */

void *nrw_yaml_alloc(nrw_yaml_doc *doc, size_t size)
{
    const size_t unit = sizeof(void *);
    size = (size + unit - 1) / unit * unit;
    nrw_yaml_block *block = doc->blocks;
    if (!block || block->size - block->used < size) {
        size_t capacity = size > BLOCK_SIZE ? size : BLOCK_SIZE;
        block = malloc(sizeof *block + capacity);
        if (!block) {
            doc->no_memory = true;
            return NULL;
        }
        *block = (nrw_yaml_block){.next = doc->blocks, .size = capacity};
        doc->blocks = block;
    }
    void *memory = (char *)block->data + block->used;
    block->used += size;
    return memory;
}

nrw_status nrw_yaml_create(const char *text, size_t size, const char *name, nrw_errors *errors,
                           nrw_yaml_doc **result)
{
    *result = NULL;
    nrw_yaml_doc *doc = calloc(1, sizeof *doc);
    if (doc)
        doc->name = strdup(name);
    if (!doc || !doc->name) {
        free(doc);
        return nrw_errors_add(errors, NRW_NO_MEMORY, NULL, "no memory to read '%s'", name);
    }
    doc->errors = errors;
    doc->first_error = errors ? errors->n_items : 0;
    if (size > NRW_YAML_SIZE_MAX)
        (void)nrw_yaml_error_at(doc, 1, 1, "", "at most 64 MiB", "the file is too large");
    else
        nrw_yaml_build(doc, text, size);
    *result = doc;
    return NRW_OK;
}

void nrw_yaml_destroy(nrw_yaml_doc *doc)
{
    if (!doc)
        return;
    while (doc->blocks) {
        nrw_yaml_block *next = doc->blocks->next;
        free(doc->blocks);
        doc->blocks = next;
    }
    free(doc->name);
    free(doc);
}

/* --- files ------------------------------------------------------------------- */

/* Appends what the stream still has; false with errno set when it fails. */
static bool read_all(FILE *file, char **text, size_t *size)
{
    size_t capacity = 0;
    for (;;) {
        if (capacity - *size < 2) {
            capacity = capacity ? 2 * capacity : (size_t)16 << 10;
            char *more = realloc(*text, capacity);
            if (!more) {
                errno = ENOMEM;
                return false;
            }
            *text = more;
        }
        *size += fread(*text + *size, 1, capacity - *size - 1, file);
        if (ferror(file))
            return false;
        if (feof(file) || *size > NRW_YAML_SIZE_MAX)
            break;
    }
    (*text)[*size] = '\0';
    return true;
}

nrw_status nrw_yaml_load_text(const char *path, char **text, size_t *size, nrw_errors *errors)
{
    *text = NULL;
    *size = 0;
    errno = 0;
    FILE *file = fopen(path, "rb");
    bool done = file && read_all(file, text, size);
    int reason = errno;
    if (file)
        (void)fclose(file);
    if (done && *size <= NRW_YAML_SIZE_MAX)
        return NRW_OK;
    free(*text);
    *text = NULL;
    if (done)
        return nrw_errors_add_at(errors, NRW_BAD_INPUT, path, 0, 0, "", "at most 64 MiB",
                                 "the file is too large");
    if (reason == ENOMEM)
        return nrw_errors_add(errors, NRW_NO_MEMORY, NULL, "no memory to read '%s'", path);
    return nrw_errors_add_at(errors, NRW_BAD_INPUT, path, 0, 0, "", "a file that can be read",
                             "can't be read: %s", reason ? strerror(reason) : "input error");
}

/* --- tree -------------------------------------------------------------------- */

const nrw_yaml_node *nrw_yaml_root(const nrw_yaml_doc *doc)
{
    return doc->root;
}

const nrw_yaml_node *nrw_yaml_get(const nrw_yaml_node *map, const char *key)
{
    if (!map || map->kind != NRW_YAML_MAP)
        return NULL;
    for (const nrw_yaml_node *child = map->first; child; child = child->next)
        if (strcmp(child->key, key) == 0)
            return child;
    return NULL;
}

/* Keys of letters, digits, '_' and '-' stand as they are, others in quotes. */
static bool key_is_plain(const char *key)
{
    static const char plain[] = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_-";
    return *key && key[strspn(key, plain)] == '\0';
}

/* Text fit for one line of a message: at most 60 bytes of it, cut between
 * characters, without control characters. */
static void copy_shown(char *target, size_t size, const char *text)
{
    size_t n = strlen(text), longest = size - 4 < 60 ? size - 4 : 60;
    bool cut = n > longest;
    if (cut)
        for (n = longest; n > 0 && ((unsigned char)text[n] & 0xC0) == 0x80;)
            n--;
    for (size_t i = 0; i < n; i++)
        target[i] = (unsigned char)text[i] < 0x20 || text[i] == 0x7F ? '?' : text[i];
    (void)snprintf(target + n, size - n, "%s", cut ? "..." : "");
}

void nrw_yaml_path(const nrw_yaml_node *node, char *path, size_t size)
{
    enum { N_CHAIN = NRW_YAML_DEPTH_MAX + 1 };
    const nrw_yaml_node *chain[N_CHAIN];
    size_t n = 0, used = 0;
    for (; node && node->parent && n < N_CHAIN; node = node->parent)
        chain[n++] = node;
    path[0] = '\0';
    while (n > 0 && used < size) {
        const nrw_yaml_node *step = chain[--n];
        char key[96] = "";
        if (step->key)
            copy_shown(key, sizeof key, step->key);
        int written;
        if (!step->key)
            written = snprintf(path + used, size - used, "[%u]", step->index);
        else
            written = snprintf(path + used, size - used, key_is_plain(key) ? "%s%s" : "%s\"%s\"",
                               used ? "." : "", key);
        used += written > 0 ? (size_t)written : 0;
    }
}

const char *nrw_yaml_describe(const nrw_yaml_node *node, char text[96])
{
    static const char *const nulls[] = {"", "~", "null", "Null", "NULL"};
    char shown[80];
    const char *words = node->kind == NRW_YAML_LIST  ? "a list"
                        : node->kind == NRW_YAML_MAP ? "a mapping"
                                                     : NULL;
    for (size_t i = 0; !words && node->plain && i < sizeof nulls / sizeof *nulls; i++)
        if (strcmp(node->text, nulls[i]) == 0)
            words = "empty";
    if (!words)
        copy_shown(shown, sizeof shown, node->text);
    (void)snprintf(text, 96, words ? "%s" : "'%s'", words ? words : shown);
    return text;
}

/* --- errors ------------------------------------------------------------------ */

static void add_error(nrw_yaml_doc *doc, int line, int column, const char *path,
                      const char *expected, const char *what, va_list arguments)
{
    char text[384];
    (void)vsnprintf(text, sizeof text, what, arguments);
    if (doc->n_errors++ < NRW_YAML_ERRORS_MAX)
        (void)nrw_errors_add_at(doc->errors, NRW_BAD_INPUT, doc->name, line, column, path, expected,
                                "%s", text);
    else if (doc->more_line == 0) {
        doc->more_line = line;
        doc->more_column = column;
    }
}

bool nrw_yaml_error_at(nrw_yaml_doc *doc, int line, int column, const char *path,
                       const char *expected, const char *what, ...)
{
    va_list arguments;
    va_start(arguments, what);
    add_error(doc, line, column, path, expected, what, arguments);
    va_end(arguments);
    return false;
}

bool nrw_yaml_error(nrw_yaml_doc *doc, const nrw_yaml_node *node, const char *expected,
                    const char *what, ...)
{
    char path[192];
    nrw_yaml_path(node, path, sizeof path);
    va_list arguments;
    va_start(arguments, what);
    add_error(doc, node->line, node->column, path, expected, what, arguments);
    va_end(arguments);
    return false;
}

bool nrw_yaml_error_at_key(nrw_yaml_doc *doc, const nrw_yaml_node *node, const char *expected,
                           const char *what, ...)
{
    char path[192];
    nrw_yaml_path(node, path, sizeof path);
    va_list arguments;
    va_start(arguments, what);
    add_error(doc, node->key ? node->key_line : node->line,
              node->key ? node->key_column : node->column, path, expected, what, arguments);
    va_end(arguments);
    return false;
}

bool nrw_yaml_error_missing(nrw_yaml_doc *doc, const nrw_yaml_node *map, const char *key,
                            const char *expected)
{
    char path[192], whole[288];
    nrw_yaml_path(map, path, sizeof path);
    (void)snprintf(whole, sizeof whole, "%s%s%s", path, path[0] ? "." : "", key);
    return nrw_yaml_error_at(doc, map->key ? map->key_line : map->line,
                             map->key ? map->key_column : map->column, whole, expected,
                             "is missing");
}

bool nrw_yaml_no_memory(nrw_yaml_doc *doc)
{
    doc->no_memory = true;
    return false;
}

size_t nrw_yaml_n_errors(const nrw_yaml_doc *doc)
{
    return doc->n_errors;
}

static int compare_places(const void *left, const void *right)
{
    const nrw_error *a = *(const nrw_error *const *)left, *b = *(const nrw_error *const *)right;
    if (a->line != b->line)
        return a->line < b->line ? -1 : 1;
    if (a->column != b->column)
        return a->column < b->column ? -1 : 1;
    return a < b ? -1 : a > b; /* in the order of finding */
}

/* Sorts through pointers: qsort is not stable, and addresses keep the order of
 * finding. */
static bool sort_errors(nrw_errors *errors, size_t first)
{
    size_t n = errors->n_items - first;
    nrw_error *items = errors->items + first;
    const nrw_error **order = malloc(n * sizeof *order);
    nrw_error *sorted = malloc(n * sizeof *sorted);
    if (order && sorted) {
        for (size_t i = 0; i < n; i++)
            order[i] = &items[i];
        qsort(order, n, sizeof *order, compare_places);
        for (size_t i = 0; i < n; i++)
            sorted[i] = *order[i];
        memcpy(items, sorted, n * sizeof *items);
    }
    bool done = order && sorted;
    free(order);
    free(sorted);
    return done;
}

nrw_status nrw_yaml_finish(nrw_yaml_doc *doc)
{
    if (doc->errors && doc->errors->n_items > doc->first_error + 1 &&
        !sort_errors(doc->errors, doc->first_error))
        doc->no_memory = true;
    if (doc->more_line > 0)
        (void)nrw_errors_add_at(doc->errors, NRW_BAD_INPUT, doc->name, doc->more_line,
                                doc->more_column, "", NULL,
                                "%zu further errors from here on are not listed",
                                doc->n_errors - (size_t)NRW_YAML_ERRORS_MAX);
    if (doc->no_memory)
        return nrw_errors_add(doc->errors, NRW_NO_MEMORY, NULL, "no memory to read '%s'",
                              doc->name);
    return doc->n_errors > 0 ? NRW_BAD_INPUT : NRW_OK;
}
