#include "tag_balance.h"

#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { DEEPEST = 64, MOST_NAMES = 4096, NAME = 64 };

typedef struct page_reader {
    const char *at;
    char open[DEEPEST][NAME];
    size_t depth;
    char (*ids)[NAME], (*aims)[NAME];
    size_t n_ids, n_aims;
    char *problem;
} page_reader;

static int fail(page_reader *reader, const char *what, const char *where)
{
    (void)snprintf(reader->problem, 256, "%s at: %.80s", what, where);
    return 0;
}

static int is_name(char c)
{
    return isalnum((unsigned char)c) || c == '-' || c == '_' || c == ':';
}

static size_t take_name(const char *at, char name[NAME])
{
    size_t n = 0;
    while (is_name(at[n]) && n + 1 < NAME) {
        name[n] = at[n];
        n++;
    }
    name[n] = '\0';
    return n;
}

static int good_entity(const char *at)
{
    static const char *const known[] = {"&amp;", "&lt;", "&gt;", "&quot;", "&#39;"};
    for (size_t i = 0; i < sizeof known / sizeof *known; i++)
        if (strncmp(at, known[i], strlen(known[i])) == 0)
            return 1;
    return 0;
}

static int note_value(page_reader *reader, const char *name, const char *value, size_t length)
{
    char text[NAME];
    (void)snprintf(text, sizeof text, "%.*s", (int)(length < NAME ? length : NAME - 1), value);
    if (strcmp(name, "id") == 0) {
        for (size_t i = 0; i < reader->n_ids; i++)
            if (strcmp(reader->ids[i], text) == 0)
                return fail(reader, "id used twice", value);
        if (reader->n_ids < MOST_NAMES)
            strcpy(reader->ids[reader->n_ids++], text);
    }
    if (strcmp(name, "href") == 0) {
        if (text[0] != '#')
            return fail(reader, "href to another place", value);
        if (reader->n_aims < MOST_NAMES)
            strcpy(reader->aims[reader->n_aims++], text + 1);
    }
    return 1;
}

/* Attributes up to the end of the tag; reader->at is left there. */
static int take_attributes(page_reader *reader)
{
    char seen[32][NAME];
    size_t n_seen = 0;
    for (;;) {
        const char *at = reader->at;
        while (isspace((unsigned char)*at))
            at++;
        reader->at = at;
        if (*at == '>' || (at[0] == '/' && at[1] == '>'))
            return 1;
        char name[NAME];
        size_t n = take_name(at, name);
        if (n == 0)
            return fail(reader, "a tag is malformed", at);
        for (size_t i = 0; i < n_seen; i++)
            if (strcmp(seen[i], name) == 0)
                return fail(reader, "attribute given twice", at);
        strcpy(seen[n_seen < 31 ? n_seen++ : 31], name);
        at += n;
        if (*at != '=') {
            reader->at = at; /* an attribute without a value, such as hidden */
            continue;
        }
        char quote = at[1];
        if (quote != '\'' && quote != '"')
            return fail(reader, "value without quotes", at);
        const char *end = strchr(at + 2, quote);
        if (!end)
            return fail(reader, "quote is not closed", at);
        for (const char *c = at + 2; c < end; c++)
            if (*c == '<' || (*c == '&' && !good_entity(c)))
                return fail(reader, "bare character in a value", c);
        if (!note_value(reader, name, at + 2, (size_t)(end - at - 2)))
            return 0;
        reader->at = end + 1;
    }
}

static int take_tag(page_reader *reader)
{
    const char *start = reader->at;
    char name[NAME];
    int closing = start[1] == '/';
    reader->at += 1 + closing;
    reader->at += take_name(reader->at, name);
    if (!name[0])
        return fail(reader, "bare <", start);
    if (!take_attributes(reader))
        return 0;
    int empty = reader->at[0] == '/';
    reader->at += 1 + empty;
    if (closing) {
        if (reader->depth == 0 || strcmp(reader->open[reader->depth - 1], name) != 0)
            return fail(reader, "closed out of order", start);
        reader->depth--;
        return 1;
    }
    if (empty)
        return 1;
    if (reader->depth == DEEPEST)
        return fail(reader, "too deep", start);
    strcpy(reader->open[reader->depth++], name);
    if (strcmp(name, "script") == 0 || strcmp(name, "style") == 0) {
        char end[NAME + 4];
        (void)snprintf(end, sizeof end, "</%s", name);
        const char *found = strstr(reader->at, end);
        if (!found)
            return fail(reader, "not closed", start);
        reader->at = found;
    }
    return 1;
}

static int look(page_reader *reader)
{
    while (*reader->at) {
        if (*reader->at == '<') {
            if (!take_tag(reader))
                return 0;
        } else if (*reader->at == '&' && !good_entity(reader->at)) {
            return fail(reader, "bare &", reader->at);
        } else {
            reader->at++;
        }
    }
    if (reader->depth > 0)
        return fail(reader, "never closed", reader->open[reader->depth - 1]);
    for (size_t i = 0; i < reader->n_aims; i++) {
        size_t k = 0;
        while (k < reader->n_ids && strcmp(reader->ids[k], reader->aims[i]) != 0)
            k++;
        if (k == reader->n_ids)
            return fail(reader, "href to no id", reader->aims[i]);
    }
    return 1;
}

const char *tag_balance(const char *html, char problem[256])
{
    static const char doctype[] = "<!DOCTYPE html>";
    page_reader reader = {.at = html, .problem = problem};
    reader.ids = calloc(MOST_NAMES, NAME);
    reader.aims = calloc(MOST_NAMES, NAME);
    problem[0] = '\0';
    if (strncmp(html, doctype, strlen(doctype)) == 0)
        reader.at += strlen(doctype);
    if (reader.ids && reader.aims)
        (void)look(&reader);
    free(reader.ids);
    free(reader.aims);
    return problem;
}
