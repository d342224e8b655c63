/* Pictures taken out of a report as files that stand alone. */
#include "report.h"

#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "markup.h"
#include "report_assets.h"

void nrw_report_figures_clear(nrw_report_figures *figures)
{
    for (size_t i = 0; i < figures->n; i++)
        free(figures->items[i].svg);
    free(figures->items);
    *figures = (nrw_report_figures){0};
}

static void put(nrw_markup *out, const char *text)
{
    nrw_markup_bytes(out, text, strlen(text));
}

/* --- the style sheet ------------------------------------------------------------- */

/* Value of a colour role, `length` bytes, in the first :root block: the light one. */
static const char *role_value(const char *css, const char *role, size_t role_length, size_t *length)
{
    const char *end = strchr(css, '}');
    for (const char *at = css; (at = strstr(at, "--")) != NULL && at < end; at += 2) {
        if (strncmp(at + 2, role, role_length) != 0 || at[2 + role_length] != ':')
            continue;
        const char *value = at + 2 + role_length + 1;
        value += strspn(value, " ");
        *length = strcspn(value, ";");
        return value;
    }
    *length = 0;
    return "";
}

/* End of the block that opens at or after `at`. */
static const char *block_end(const char *at)
{
    int depth = 0;
    for (; *at; at++) {
        depth += *at == '{';
        if (*at == '}' && --depth == 0)
            return at + 1;
    }
    return at;
}

/* The rules of the pictures with every role replaced by its light colour, since
 * programs that draw SVG don't know custom properties; without media queries. */
static void put_style(nrw_markup *out)
{
    static const char open[] = "var(--";
    const char *css = (const char *)nrw_report_picture_css;
    const char *root = strstr(css, ":root"), *at = block_end(root);
    put(out, "<style>");
    while (*at) {
        if (strncmp(at, "@media", 6) == 0) {
            at = block_end(at);
        } else if (strncmp(at, open, sizeof open - 1) == 0) {
            const char *role = at + sizeof open - 1;
            size_t role_length = strcspn(role, ")"), length;
            const char *value = role_value(root, role, role_length, &length);
            nrw_markup_bytes(out, value, length);
            at = role + role_length + 1;
        } else {
            nrw_markup_bytes(out, at++, 1);
        }
    }
    put(out, "</style>\n");
}

/* --- pictures --------------------------------------------------------------------- */

/* Copies an attribute's value, as it is. */
static bool attribute(const char *tag, const char *name, char *value, size_t size)
{
    char key[32];
    (void)snprintf(key, sizeof key, " %s='", name);
    const char *end = strchr(tag, '>'), *from = strstr(tag, key);
    if (!end || !from || from > end)
        return false;
    from += strlen(key);
    (void)snprintf(value, size, "%.*s", (int)strcspn(from, "'"), from);
    return true;
}

/* The channel's outline is defined once a page; pictures that use it take it along. */
static void put_shape(nrw_markup *out, const char *html)
{
    const char *from = strstr(html, "<path id='channel-shape'");
    if (!from)
        return;
    put(out, "<defs>");
    nrw_markup_bytes(out, from, strcspn(from, ">") + 1);
    put(out, "</defs>\n");
}

static void put_picture(nrw_markup *out, const char *html, const char *tag, const char *end)
{
    char box[64] = "0 0 100 100";
    double width = 100, height = 100;
    const char *inside = strchr(tag, '>') + 1;
    (void)attribute(tag, "viewBox", box, sizeof box);
    (void)sscanf(box, "%*s %*s %lf %lf", &width, &height);
    nrw_markup_put(out,
                   "<?xml version='1.0' encoding='UTF-8'?>\n"
                   "<svg xmlns='http://www.w3.org/2000/svg' width='%c' height='%c' viewBox='%r'>\n",
                   width, height, box);
    put_style(out);
    /* what isn't fluid or wall is paper */
    size_t length;
    const char *root = strstr((const char *)nrw_report_picture_css, ":root");
    const char *paper = role_value(root, "paper", 5, &length);
    put(out, "<rect width='100%' height='100%' fill='");
    nrw_markup_bytes(out, paper, length);
    put(out, "'/>\n");
    const char *use = strstr(inside, "href='#channel-shape'");
    if (use && use < end)
        put_shape(out, html);
    nrw_markup_bytes(out, inside, (size_t)(end - inside));
    put(out, "</svg>\n");
}

static bool add_figure(nrw_report_figures *figures, const char *html, const char *tag,
                       const char *end)
{
    nrw_markup out = {0};
    nrw_report_figure *items = realloc(figures->items, (figures->n + 1) * sizeof *figures->items);
    if (!items)
        return false;
    figures->items = items;
    nrw_report_figure *figure = &items[figures->n];
    if (!attribute(tag, "id", figure->name, sizeof figure->name))
        return true;
    put_picture(&out, html, tag, end);
    if (out.failed) {
        nrw_markup_clear(&out);
        return false;
    }
    figure->svg = out.text;
    figure->size = out.size;
    figures->n++;
    return true;
}

nrw_status nrw_report_figures_of(const char *html, nrw_report_figures *figures, nrw_errors *errors)
{
    static const char open[] = "<svg class='picture'";
    *figures = (nrw_report_figures){0};
    for (const char *at = html; (at = strstr(at, open)) != NULL;) {
        const char *end = strstr(at, "</svg>");
        if (!end)
            break;
        if (!add_figure(figures, html, at, end))
            return nrw_errors_add(errors, NRW_NO_MEMORY, NULL, "no memory for the pictures");
        at = end;
    }
    return NRW_OK;
}
