#include "yaml_build.h"

#include <limits.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <yaml.h>

/* A list or mapping that is still open. */
typedef struct level {
    nrw_yaml_node *node;
    nrw_yaml_node *last; /* its last child so far */
    const char *key;     /* mapping: key that waits for its value; NULL: a key comes next */
    int key_line, key_column;
    int anchor; /* index into the anchors, -1: none */
} level;

typedef struct anchor {
    const char *name;
    nrw_yaml_node *node;
    bool complete; /* an alias inside its own anchor would be endless */
} anchor;

typedef struct builder {
    nrw_yaml_doc *doc;
    level levels[NRW_YAML_DEPTH_MAX];
    int depth;
    anchor anchors[NRW_YAML_ANCHORS_MAX];
    int n_anchors;
    size_t n_nodes, n_alias_nodes;
    bool stopped;
} builder;

static int mark_line(yaml_mark_t mark)
{
    return mark.line < INT_MAX ? (int)mark.line + 1 : INT_MAX;
}

static int mark_column(yaml_mark_t mark)
{
    return mark.column < INT_MAX ? (int)mark.column + 1 : INT_MAX;
}

/* Path of the value that is being read: of the innermost open list or mapping,
 * with the key that waits. */
static void current_path(const builder *b, char *path, size_t size)
{
    path[0] = '\0';
    if (b->depth == 0)
        return;
    const level *top = &b->levels[b->depth - 1];
    nrw_yaml_node here = {.parent = top->node, .key = top->key, .index = top->node->n_children};
    if (top->node->kind == NRW_YAML_MAP && !top->key)
        nrw_yaml_path(top->node, path, size);
    else
        nrw_yaml_path(&here, path, size);
}

/* Reports an error after which the rest of the file can't be understood. */
__attribute__((format(printf, 4, 5))) static bool stop(builder *b, yaml_mark_t mark,
                                                       const char *expected, const char *what, ...)
{
    char text[256], path[192];
    va_list arguments;
    va_start(arguments, what);
    (void)vsnprintf(text, sizeof text, what, arguments);
    va_end(arguments);
    current_path(b, path, sizeof path);
    b->stopped = true;
    return nrw_yaml_error_at(b->doc, mark_line(mark), mark_column(mark), path, expected, "%s",
                             text);
}

/* --- nodes ------------------------------------------------------------------- */

static const char *copy_text(builder *b, const char *text, size_t length)
{
    char *copy = nrw_yaml_alloc(b->doc, length + 1);
    if (copy) {
        memcpy(copy, text, length);
        copy[length] = '\0';
    }
    return copy;
}

/* A node without a place in the tree yet; NULL when it can't be had (reported). */
static nrw_yaml_node *new_node(builder *b, nrw_yaml_kind kind, yaml_mark_t mark)
{
    if (b->n_nodes++ >= NRW_YAML_NODES_MAX) {
        (void)stop(b, mark, "at most 6,000,000 values in a file", "the file holds too many values");
        return NULL;
    }
    nrw_yaml_node *node = nrw_yaml_alloc(b->doc, sizeof *node);
    if (!node) {
        b->stopped = true;
        return NULL;
    }
    *node = (nrw_yaml_node){.kind = kind, .line = mark_line(mark), .column = mark_column(mark)};
    return node;
}

/* Puts a node under the innermost open list or mapping. */
static void attach(builder *b, nrw_yaml_node *node)
{
    if (b->depth == 0) {
        b->doc->root = node;
        return;
    }
    level *top = &b->levels[b->depth - 1];
    node->parent = top->node;
    node->index = top->node->n_children++;
    if (top->node->kind == NRW_YAML_MAP) {
        node->key = top->key;
        node->key_line = top->key_line;
        node->key_column = top->key_column;
        top->key = NULL;
    }
    if (top->last)
        top->last->next = node;
    else
        top->node->first = node;
    top->last = node;
}

static bool key_comes_next(const builder *b)
{
    return b->depth > 0 && b->levels[b->depth - 1].node->kind == NRW_YAML_MAP &&
           !b->levels[b->depth - 1].key;
}

/* --- anchors and aliases ----------------------------------------------------- */

/* Index of the anchor of that name (the latest), -1: none. */
static int find_anchor(const builder *b, const char *name)
{
    for (int i = b->n_anchors - 1; i >= 0; i--)
        if (strcmp(b->anchors[i].name, name) == 0)
            return i;
    return -1;
}

/* Remembers an anchored node; returns the anchor's index, -1: none. */
static int add_anchor(builder *b, const yaml_char_t *name, nrw_yaml_node *node, yaml_mark_t mark)
{
    if (!name)
        return -1;
    if (b->n_anchors == NRW_YAML_ANCHORS_MAX) {
        (void)stop(b, mark, "at most 1,000 anchors in a file", "there are too many anchors");
        return -1;
    }
    const char *copy = copy_text(b, (const char *)name, strlen((const char *)name));
    if (!copy) {
        b->stopped = true;
        return -1;
    }
    b->anchors[b->n_anchors] = (anchor){copy, node, node->kind == NRW_YAML_SCALAR};
    return b->n_anchors++;
}

/* Copies what an alias stands for, so that every node has one parent. Bounded
 * by the count of alias nodes and the depth. */
static nrw_yaml_node *copy_tree(builder *b, const nrw_yaml_node *source, int depth,
                                yaml_mark_t mark)
{
    if (b->n_alias_nodes++ >= NRW_YAML_ALIAS_NODES_MAX || depth > NRW_YAML_DEPTH_MAX) {
        (void)stop(b, mark, "aliases that stand for at most 100,000 values, 64 deep",
                   "the aliases of the file expand too far");
        return NULL;
    }
    nrw_yaml_node *copy = new_node(b, source->kind, mark);
    if (!copy)
        return NULL;
    *copy = *source;
    copy->parent = NULL;
    copy->first = NULL;
    copy->next = NULL;
    nrw_yaml_node **end = &copy->first;
    for (const nrw_yaml_node *child = source->first; child; child = child->next) {
        *end = copy_tree(b, child, depth + 1, mark);
        if (!*end)
            return NULL;
        (*end)->parent = copy;
        end = &(*end)->next;
    }
    return copy;
}

static void on_alias(builder *b, const yaml_event_t *event)
{
    const char *name = (const char *)event->data.alias.anchor;
    int i = find_anchor(b, name);
    if (key_comes_next(b))
        (void)stop(b, event->start_mark, "plain text", "an alias can't be a key");
    else if (i < 0)
        (void)stop(b, event->start_mark, "an anchor '&' that stands before it",
                   "the alias '*%.60s' has no anchor", name);
    else if (!b->anchors[i].complete)
        (void)stop(b, event->start_mark, "an anchor that is complete",
                   "the alias '*%.60s' lies inside its own anchor", name);
    else {
        nrw_yaml_node *node = copy_tree(b, b->anchors[i].node, b->depth, event->start_mark);
        if (node) {
            node->key = NULL;
            attach(b, node);
        }
    }
}

/* --- events ------------------------------------------------------------------ */

static bool refuse_tag(builder *b, const yaml_char_t *tag, yaml_mark_t mark)
{
    return tag && !stop(b, mark, "a value without a tag", "the tag '%.80s' is not supported",
                        (const char *)tag);
}

static void on_scalar(builder *b, const yaml_event_t *event)
{
    const char *value = (const char *)event->data.scalar.value;
    size_t length = event->data.scalar.length;
    yaml_mark_t mark = event->start_mark;
    if (refuse_tag(b, event->data.scalar.tag, mark))
        return;
    if (strlen(value) != length) {
        (void)stop(b, mark, "text without NUL characters", "holds a NUL character");
        return;
    }
    const char *text = copy_text(b, value, length);
    if (!text) {
        b->stopped = true;
        return;
    }
    if (key_comes_next(b)) {
        level *top = &b->levels[b->depth - 1];
        top->key = text;
        top->key_line = mark_line(mark);
        top->key_column = mark_column(mark);
        return;
    }
    nrw_yaml_node *node = new_node(b, NRW_YAML_SCALAR, mark);
    if (!node)
        return;
    node->text = text;
    node->plain =
        event->data.scalar.style == YAML_PLAIN_SCALAR_STYLE && event->data.scalar.plain_implicit;
    (void)add_anchor(b, event->data.scalar.anchor, node, mark);
    attach(b, node);
}

static void on_start(builder *b, nrw_yaml_kind kind, const yaml_char_t *anchor_name,
                     const yaml_char_t *tag, yaml_mark_t mark)
{
    if (refuse_tag(b, tag, mark))
        return;
    if (key_comes_next(b)) {
        (void)stop(b, mark, "plain text", "a list or a mapping can't be a key");
        return;
    }
    if (b->depth == NRW_YAML_DEPTH_MAX) {
        (void)stop(b, mark, "at most 64 lists and mappings inside each other",
                   "is nested too deeply");
        return;
    }
    nrw_yaml_node *node = new_node(b, kind, mark);
    if (!node)
        return;
    int index = add_anchor(b, anchor_name, node, mark);
    attach(b, node);
    b->levels[b->depth++] = (level){.node = node, .anchor = index};
}

static int compare_keys(const void *left, const void *right)
{
    const nrw_yaml_node *a = *(nrw_yaml_node *const *)left, *b = *(nrw_yaml_node *const *)right;
    int order = strcmp(a->key, b->key);
    return order != 0 ? order : a->index < b->index ? -1 : a->index > b->index;
}

/* Takes the children that are marked by an index of UINT_MAX out of a mapping. */
static void drop_marked(nrw_yaml_node *map)
{
    nrw_yaml_node **end = &map->first;
    map->n_children = 0;
    for (nrw_yaml_node *child = map->first; child; child = child->next) {
        if (child->index == UINT_MAX)
            continue;
        child->index = map->n_children++;
        *end = child;
        end = &child->next;
    }
    *end = NULL;
}

/* Reports keys that are given again; the first stays. Sorting keeps this cheap
 * for mappings of any size. */
static void drop_duplicates(builder *b, nrw_yaml_node *map)
{
    nrw_yaml_node **sorted = malloc((map->n_children + 1) * sizeof *sorted);
    if (!sorted) {
        b->stopped = true;
        (void)nrw_yaml_no_memory(b->doc);
        return;
    }
    unsigned n = 0;
    for (nrw_yaml_node *child = map->first; child; child = child->next)
        sorted[n++] = child;
    qsort(sorted, n, sizeof *sorted, compare_keys);
    const nrw_yaml_node *kept = n > 0 ? sorted[0] : NULL;
    bool any = false;
    for (unsigned i = 1; i < n; i++) {
        if (strcmp(sorted[i]->key, kept->key) != 0) {
            kept = sorted[i];
            continue;
        }
        (void)nrw_yaml_error_at_key(b->doc, sorted[i], "every key once",
                                    "is given again (first in line %d)", kept->key_line);
        sorted[i]->index = UINT_MAX;
        any = true;
    }
    free(sorted);
    if (any)
        drop_marked(map);
}

static void on_end(builder *b)
{
    level *top = &b->levels[b->depth - 1];
    if (top->anchor >= 0)
        b->anchors[top->anchor].complete = true;
    if (top->node->kind == NRW_YAML_MAP)
        drop_duplicates(b, top->node);
    b->depth--;
}

static void on_event(builder *b, const yaml_event_t *event, int *n_documents)
{
    switch (event->type) {
    case YAML_DOCUMENT_START_EVENT:
        if (++*n_documents > 1)
            (void)stop(b, event->start_mark, "one document", "a second document begins here");
        break;
    case YAML_ALIAS_EVENT:
        on_alias(b, event);
        break;
    case YAML_SCALAR_EVENT:
        on_scalar(b, event);
        break;
    case YAML_SEQUENCE_START_EVENT:
        on_start(b, NRW_YAML_LIST, event->data.sequence_start.anchor,
                 event->data.sequence_start.tag, event->start_mark);
        break;
    case YAML_MAPPING_START_EVENT:
        on_start(b, NRW_YAML_MAP, event->data.mapping_start.anchor, event->data.mapping_start.tag,
                 event->start_mark);
        break;
    case YAML_SEQUENCE_END_EVENT:
    case YAML_MAPPING_END_EVENT:
        on_end(b);
        break;
    default:
        break;
    }
}

/* --- the whole text ---------------------------------------------------------- */

/* Line and column of a byte; libyaml tells no more about bytes that are no text. */
static void place_of_byte(const char *text, size_t size, size_t offset, int *line, int *column)
{
    *line = 1;
    *column = 1;
    for (size_t i = 0; i < offset && i < size; i++) {
        unsigned char c = (unsigned char)text[i];
        if (c == '\n' || (c == '\r' && !(i + 1 < size && text[i + 1] == '\n'))) {
            ++*line;
            *column = 1;
        } else if ((c & 0xC0) != 0x80 && c != '\r')
            ++*column;
    }
}

/* Whether the character of that number (libyaml counts characters) is a tab. */
static bool is_tab(const char *text, size_t size, size_t character)
{
    for (size_t i = 0; i < size; i++)
        if (((unsigned char)text[i] & 0xC0) != 0x80 && character-- == 0)
            return text[i] == '\t';
    return false;
}

static void report_parser(builder *b, const yaml_parser_t *parser, const char *text, size_t size)
{
    b->stopped = true;
    if (parser->error == YAML_MEMORY_ERROR) {
        (void)nrw_yaml_no_memory(b->doc);
        return;
    }
    int line = mark_line(parser->problem_mark), column = mark_column(parser->problem_mark);
    if (parser->error == YAML_READER_ERROR) {
        place_of_byte(text, size, parser->problem_offset, &line, &column);
        (void)nrw_yaml_error_at(b->doc, line, column, "", "printable text in UTF-8",
                                "is no text: %s", parser->problem);
        return;
    }
    char context[160] = "";
    if (parser->context)
        (void)snprintf(context, sizeof context, "%s (line %d): ", parser->context,
                       mark_line(parser->context_mark));
    bool tab = is_tab(text, size, parser->problem_mark.index);
    (void)nrw_yaml_error_at(b->doc, line, column, "",
                            tab ? "spaces instead of the tab" : "well-formed YAML",
                            "is not well-formed: %s%s", context, parser->problem);
}

static void check_root(nrw_yaml_doc *doc)
{
    char is[96];
    const nrw_yaml_node *root = doc->root;
    if (!root)
        (void)nrw_yaml_error_at(doc, 1, 1, "", "a mapping of keys", "the file is empty");
    else if (root->kind != NRW_YAML_MAP) {
        (void)nrw_yaml_error(doc, root, "a mapping of keys", "the file is %s",
                             nrw_yaml_describe(root, is));
        doc->root = NULL;
    }
}

void nrw_yaml_build(nrw_yaml_doc *doc, const char *text, size_t size)
{
    yaml_parser_t parser;
    yaml_event_t event;
    builder *b = calloc(1, sizeof *b);
    if (!b || !yaml_parser_initialize(&parser)) {
        free(b);
        (void)nrw_yaml_no_memory(doc);
        return;
    }
    b->doc = doc;
    /* A byte order mark would shift the columns of the first line. */
    size_t skip = size >= 3 && memcmp(text, "\xEF\xBB\xBF", 3) == 0 ? 3 : 0;
    text += skip;
    size -= skip;
    yaml_parser_set_encoding(&parser, YAML_UTF8_ENCODING);
    yaml_parser_set_input_string(&parser, (const unsigned char *)text, size);
    int n_documents = 0;
    for (bool end = false; !end && !b->stopped;) {
        if (!yaml_parser_parse(&parser, &event)) {
            report_parser(b, &parser, text, size);
            break;
        }
        end = event.type == YAML_STREAM_END_EVENT;
        on_event(b, &event, &n_documents);
        yaml_event_delete(&event);
    }
    if (b->stopped)
        doc->root = NULL;
    else
        check_root(doc);
    yaml_parser_delete(&parser);
    free(b);
}
