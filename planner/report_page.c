/* The page around the sections. */
#include "report_parts.h"

#include <string.h>

#include "report_assets.h"

static const char title_fallback[] = "Untitled scenario";

const char *nrw_report_title(const nrw_scenario *scenario)
{
    return scenario->title && *scenario->title ? scenario->title : title_fallback;
}

static void put_bytes(nrw_markup *out, const unsigned char *text)
{
    nrw_markup_bytes(out, (const char *)text, strlen((const char *)text));
}

void nrw_report_seed(nrw_report *report)
{
    const char *large = nrw_result_get_string(report->in->result, "provenance.seed");
    if (large)
        nrw_markup_put(&report->out, "%s", large);
    else
        nrw_markup_put(&report->out, "%f",
                       nrw_result_get_number(report->in->result, "provenance.seed"));
}

void nrw_report_page_begin(nrw_markup *out, const char *kind, const char *title)
{
    nrw_markup_put(out,
                   "<!DOCTYPE html>\n<html lang='en'>\n<head>\n<meta charset='utf-8'/>\n"
                   "<meta name='viewport' content='width=device-width, initial-scale=1'/>\n"
                   "<meta name='color-scheme' content='light dark'/>\n"
                   "<meta http-equiv='Content-Security-Policy' content=\"default-src 'none'; "
                   "style-src 'unsafe-inline'; script-src 'unsafe-inline'\"/>\n"
                   "<title>%s: %r report</title>\n<style>\n",
                   title, kind);
    put_bytes(out, nrw_report_picture_css);
    put_bytes(out, nrw_report_css);
    nrw_markup_put(out,
                   "</style>\n</head>\n<body>\n<main>\n<header>\n<p class='kicker'>%r report</p>\n"
                   "<h1>%s</h1>\n",
                   kind, title);
}

void nrw_report_begin(nrw_report *report, const char *kind)
{
    nrw_markup *out = &report->out;
    nrw_report_page_begin(out, kind, nrw_report_title(report->in->scenario));
    nrw_markup_put(out, "<p class='quiet'>Predicted with narrows %s, model %s, seed ",
                   nrw_report_string(report, "provenance.version"),
                   nrw_report_string(report, "provenance.model"));
    nrw_report_seed(report);
    nrw_markup_put(out, ".</p>\n</header>\n");
}

void nrw_report_end(nrw_report *report)
{
    nrw_markup *out = &report->out;
    nrw_markup_put(out, "</main>\n<footer><p>Predicted by a model. Narrows is a research planning "
                        "aid, not a medical device.</p></footer>\n<script>\n");
    put_bytes(out, nrw_report_js);
    nrw_markup_put(out, "</script>\n</body>\n</html>\n");
}

void nrw_report_section(nrw_report *report, const char *id, const char *heading)
{
    nrw_markup_put(&report->out,
                   "<section id='%r' aria-labelledby='%r-heading'>\n<h2 id='%r-heading'>%r</h2>\n"
                   "<div class='body'>\n",
                   id, id, id, heading);
}

void nrw_report_section_end(nrw_report *report)
{
    nrw_markup_put(&report->out, "</div>\n</section>\n");
}

static void put_heads(nrw_markup *out, size_t n, const char *const *heads)
{
    for (size_t i = 0; i < n; i++)
        nrw_markup_put(out, "<th scope='col'>%r</th>", heads[i]);
    nrw_markup_put(out, "</tr></thead>\n<tbody>\n");
}

void nrw_report_table_begin(nrw_report *report, const char *label, size_t n,
                            const char *const *heads)
{
    nrw_markup_put(&report->out,
                   "<div class='scroll' tabindex='0' role='region' aria-label='%r'><table>\n"
                   "<thead><tr>",
                   label);
    put_heads(&report->out, n, heads);
}

void nrw_report_table_end(nrw_report *report)
{
    nrw_markup_put(&report->out, "</tbody></table></div>\n");
}

void nrw_report_data_begin(nrw_report *report, const char *what, size_t n, const char *const *heads)
{
    nrw_markup_put(&report->out,
                   "<details><summary>Data: %r</summary>\n<div class='scroll' tabindex='0' "
                   "role='region' aria-label='Data: %r'><table>\n<thead><tr>",
                   what, what);
    put_heads(&report->out, n, heads);
}

void nrw_report_data_end(nrw_report *report)
{
    nrw_markup_put(&report->out, "</tbody></table></div></details>\n");
}

size_t nrw_report_stride(size_t n)
{
    enum { MOST_ROWS = 60 };
    return n > MOST_ROWS ? (n + MOST_ROWS - 1) / MOST_ROWS : 1;
}
