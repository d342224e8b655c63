/* A report as Markdown: walks the page that the other parts wrote, so that both say
 * the same. It knows our own pages only: well formed, attributes in single quotes. */
#include "report.h"

#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "markup.h"

typedef struct writer {
    nrw_markup out;
    nrw_markup line; /* text of the block at hand */
    const char *figures;
    char term[160];    /* of a list of terms, until its text comes */
    bool code;         /* within <code> */
    size_t cells;      /* of the table's row */
    size_t columns;    /* of the table; 0: its first row is still to come */
    char heading[160]; /* until something stands below it */
    bool in_list;      /* the last block was an item: no blank line before the next */
} writer;

/* --- text ------------------------------------------------------------------------- */

static void put(nrw_markup *out, const char *text)
{
    nrw_markup_bytes(out, text, strlen(text));
}

static bool ends_with_blank(const nrw_markup *text)
{
    return text->size == 0 || text->text[text->size - 1] == ' ';
}

static const struct {
    const char *entity, *text;
} entities[] = {{"&amp;", "&"}, {"&lt;", "<"}, {"&gt;", ">"}, {"&quot;", "\""}, {"&#39;", "'"}};

/* One character or entity of text into the line, guarded against Markdown; returns
 * the next. "&lt;" stays an entity, since Markdown takes tags for HTML; in code it is
 * the character itself. */
static const char *take_character(writer *w, const char *at)
{
    for (size_t i = 0; *at == '&' && i < sizeof entities / sizeof *entities; i++) {
        size_t length = strlen(entities[i].entity);
        if (strncmp(at, entities[i].entity, length) != 0)
            continue;
        bool decode = w->code || i > 2; /* quotes need no guard */
        put(&w->line, decode ? entities[i].text : entities[i].entity);
        return at + length;
    }
    if (strchr(" \n\t", *at)) {
        if (!ends_with_blank(&w->line))
            put(&w->line, " ");
        return at + 1;
    }
    if (w->code && *at == '`') {
        put(&w->line, "'");
        return at + 1;
    }
    if (!w->code && strchr("\\`*_[]|$#~", *at))
        put(&w->line, "\\");
    else if (w->code && *at == '|')
        put(&w->line, "\\"); /* or a table's cell would end */
    nrw_markup_bytes(&w->line, at, 1);
    return at + 1;
}

static void clear_line(writer *w)
{
    bool failed = w->line.failed;
    nrw_markup_clear(&w->line);
    w->line.failed = failed;
}

/* A section's heading comes with the first thing below it. */
static void put_heading(writer *w)
{
    if (!*w->heading)
        return;
    put(&w->out, "\n## ");
    put(&w->out, w->heading);
    put(&w->out, "\n");
    w->heading[0] = '\0';
    w->in_list = false;
}

/* Ends the block at hand: a line of its own, after a blank one. */
static void flush(writer *w, const char *before, const char *after)
{
    while (w->line.size > 0 && w->line.text[w->line.size - 1] == ' ')
        w->line.text[--w->line.size] = '\0';
    if (w->line.size > 0) {
        put_heading(w);
        bool item = strcmp(before, "- ") == 0;
        if (w->out.size > 0 && !(item && w->in_list))
            put(&w->out, "\n");
        put(&w->out, before);
        put(&w->out, w->line.text);
        put(&w->out, after);
        put(&w->out, "\n");
        w->in_list = item;
    }
    clear_line(w);
}

/* A term waits for what it is about. */
static void flush_term(writer *w)
{
    if (!*w->term)
        return;
    nrw_markup with = {0};
    put(&with, "**");
    put(&with, w->term);
    put(&with, ":** ");
    put(&with, w->line.text ? w->line.text : "");
    clear_line(w);
    put(&w->line, with.text ? with.text : "");
    w->line.failed = w->line.failed || with.failed;
    nrw_markup_clear(&with);
    w->term[0] = '\0';
}

/* --- tags -------------------------------------------------------------------------- */

typedef struct tag {
    char name[16];
    bool closes;
    const char *text; /* from "<" on */
    size_t length;
} tag;

static tag read_tag(const char *at)
{
    tag found = {.text = at, .length = strcspn(at, ">") + 1, .closes = at[1] == '/'};
    const char *name = at + 1 + found.closes;
    (void)snprintf(found.name, sizeof found.name, "%.*s", (int)strcspn(name, " />\n"), name);
    return found;
}

static bool is(const tag *found, const char *name)
{
    return strcmp(found->name, name) == 0;
}

static bool has_class(const tag *found, const char *name)
{
    char key[48];
    (void)snprintf(key, sizeof key, "class='%s", name);
    const char *where = strstr(found->text, key);
    return where && where < found->text + found->length;
}

/* Past the end of the element that opens at `at`. */
static const char *skip_element(const char *at)
{
    tag open = read_tag(at);
    if (open.length > 1 && at[open.length - 2] == '/')
        return at + open.length;
    int depth = 0;
    while (*at) {
        if (*at != '<') {
            at++;
            continue;
        }
        tag next = read_tag(at);
        bool empty = at[next.length - 2] == '/';
        at += next.length;
        if (!is(&next, open.name) || empty)
            continue;
        depth += next.closes ? -1 : 1;
        if (depth == 0)
            return at;
    }
    return at;
}

/* Text of the first such element within a picture, into the line. */
static void take_element(writer *w, const char *from, const char *name)
{
    char open[24];
    (void)snprintf(open, sizeof open, "<%s", name);
    const char *at = strstr(from, open);
    for (at = at ? at + strcspn(at, ">") + 1 : ""; *at && *at != '<';)
        at = take_character(w, at);
}

static void put_picture(writer *w, const tag *open)
{
    char id[64] = "";
    const char *from = strstr(open->text, " id='");
    if (from)
        (void)snprintf(id, sizeof id, "%.*s", (int)strcspn(from + 5, "'"), from + 5);
    flush(w, "", "");
    if (w->figures) {
        char target[512];
        take_element(w, open->text, "title");
        (void)snprintf(target, sizeof target, "](<%s/%s.svg>)", w->figures, id);
        flush(w, "![", target);
        return;
    }
    take_element(w, open->text, "title");
    put(&w->line, ": ");
    take_element(w, open->text, "desc");
    flush(w, "*Picture: ", "*");
}

/* --- tables ------------------------------------------------------------------------- */

static void end_cell(writer *w)
{
    while (w->line.size > 0 && w->line.text[w->line.size - 1] == ' ')
        w->line.text[--w->line.size] = '\0';
    put(&w->out, "| ");
    put(&w->out, w->line.text ? w->line.text : "");
    put(&w->out, " ");
    w->cells++;
    clear_line(w);
}

static void end_row(writer *w, bool head)
{
    put(&w->out, "|\n");
    if (w->columns > 0)
        return;
    w->columns = w->cells;
    for (size_t i = 0; head && i < w->columns; i++)
        put(&w->out, "| --- ");
    put(&w->out, head ? "|\n" : "");
}

/* A table without heads: Markdown wants a row of them all the same. */
static void begin_table(writer *w, const char *from)
{
    const char *head = strstr(from, "<thead"), *end = strstr(from, "</table>");
    w->columns = 0;
    put_heading(w);
    w->in_list = false;
    put(&w->out, "\n");
    if (head && end && head < end)
        return;
    put(&w->out, "| | |\n| --- | --- |\n");
    w->columns = 2;
}

/* --- the walk -------------------------------------------------------------------------- */

static bool is_block(const tag *found)
{
    static const char *const names[] = {"p", "h1", "h2", "h3", "li", "dd", "figcaption", "div"};
    for (size_t i = 0; i < sizeof names / sizeof *names; i++)
        if (is(found, names[i]))
            return true;
    return false;
}

static void take_heading(writer *w)
{
    (void)snprintf(w->heading, sizeof w->heading, "%s", w->line.text ? w->line.text : "");
    clear_line(w);
}

static void close_block(writer *w, const tag *found)
{
    if (is(found, "h1"))
        flush(w, "# ", "");
    else if (is(found, "h2"))
        take_heading(w);
    else if (is(found, "h3"))
        flush(w, "### ", "");
    else if (is(found, "li"))
        flush(w, "- ", "");
    else
        flush(w, "", "");
}

/* What is only for the eye or the hand, and what is folded. */
static bool is_left_out(const tag *found)
{
    return !found->closes &&
           (is(found, "head") || is(found, "script") || is(found, "details") ||
            (is(found, "svg") && !has_class(found, "picture")) || has_class(found, "replay") ||
            has_class(found, "gauge") || has_class(found, "kicker") || has_class(found, "key") ||
            has_class(found, "unseen") || has_class(found, "scale-key") ||
            strstr(found->text, "id='replay-none'") == found->text + 3);
}

static void take_label(writer *w, const tag *found)
{
    const char *label = strstr(found->text, "aria-label='");
    for (label += label ? strlen("aria-label='") : 0; label && *label && *label != '\'';)
        label = take_character(w, label);
    flush(w, "", "");
}

static void end_term(writer *w)
{
    (void)snprintf(w->term, sizeof w->term, "%s", w->line.text ? w->line.text : "");
    clear_line(w);
}

static void take_inline(writer *w, const tag *found)
{
    if (is(found, "strong") || is(found, "b"))
        put(&w->line, "**");
    if (is(found, "code")) {
        put(&w->line, "`");
        w->code = !found->closes;
    }
    if (is(found, "sub") && !found->closes)
        put(&w->line, "\\_");
}

/* Handles one tag and returns what follows it, or what it holds. */
static const char *take_tag(writer *w, const char *at, bool *head)
{
    tag found = read_tag(at);
    const char *next = at + found.length;
    if (is_left_out(&found))
        return skip_element(at);
    if (is(&found, "svg") && !found.closes) {
        put_picture(w, &found);
        return skip_element(at);
    }
    if (!found.closes && has_class(&found, "strip'")) {
        take_label(w, &found);
        return skip_element(at);
    }
    if (is(&found, "thead"))
        *head = !found.closes;
    if (is(&found, "table") && !found.closes)
        begin_table(w, at);
    if (is(&found, "tr") && !found.closes)
        w->cells = 0;
    if (is(&found, "tr") && found.closes)
        end_row(w, *head);
    if ((is(&found, "td") || is(&found, "th")) && found.closes)
        end_cell(w);
    if (is(&found, "dt") && found.closes)
        end_term(w);
    if ((is(&found, "dd") && found.closes) || (is(&found, "ul") && !found.closes))
        flush_term(w);
    if (is(&found, "ul") && !found.closes)
        flush(w, "", "");
    if (is_block(&found) && found.closes)
        close_block(w, &found);
    else if (is_block(&found))
        flush(w, "", "");
    take_inline(w, &found);
    return next;
}

nrw_status nrw_report_markdown(const char *html, const char *figures, char **text, size_t *size,
                               nrw_errors *errors)
{
    writer w = {.figures = figures};
    bool head = false;
    const char *at = strstr(html, "<html");
    while (at && *at)
        at = *at == '<' ? take_tag(&w, at, &head) : take_character(&w, at);
    flush(&w, "", "");
    bool failed = w.out.failed || w.line.failed;
    nrw_markup_clear(&w.line);
    *text = w.out.text;
    *size = w.out.size;
    if (!failed && w.out.text)
        return NRW_OK;
    nrw_markup_clear(&w.out);
    *text = NULL;
    *size = 0;
    return nrw_errors_add(errors, NRW_NO_MEMORY, NULL, "no memory for the report");
}
