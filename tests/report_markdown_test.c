/* Reports as Markdown, and their pictures as files. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "example_run.h"
#include "report_case.h"
#include "tag_balance.h"

static nrw_errors errors;

static char *to_markdown(const char *html, const char *figures)
{
    char *text;
    size_t size;
    nrw_errors_init(&errors);
    cr_assert_eq(nrw_report_markdown(html, figures, &text, &size, &errors), NRW_OK);
    cr_assert_eq(strlen(text), size);
    return text;
}

static void expect_markdown(const char *body, const char *expected)
{
    char html[2048];
    (void)snprintf(html, sizeof html,
                   "<!DOCTYPE html><html><head><title>x</title></head><body>%s"
                   "</body></html>",
                   body);
    char *text = to_markdown(html, "pics");
    cr_assert_str_eq(text, expected);
    free(text);
}

Test(report_markdown, headings_paragraphs_and_lists)
{
    expect_markdown("<h1>One</h1>\n<p>Two\nlines</p><ul>\n<li>a</li>\n<li>b</li></ul><p>after</p>",
                    "# One\n\nTwo lines\n\n- a\n- b\n\nafter\n");
}

Test(report_markdown, headings_come_only_with_what_stands_below)
{
    expect_markdown("<h2>Empty</h2><h2>Full</h2><p>text</p>", "\n## Full\n\ntext\n");
}

Test(report_markdown, terms_lead_their_texts)
{
    expect_markdown(
        "<dl><dt>Asked</dt><dd>this</dd><dt>Next</dt><dd><ul><li>that</li></ul></dd></dl>",
        "**Asked:** this\n\n**Next:**\n\n- that\n");
}

Test(report_markdown, tables_have_heads_and_guarded_cells)
{
    expect_markdown("<table><thead><tr><th>a</th><th>b</th></tr></thead><tbody><tr><th>1|2</th>"
                    "<td>x</td></tr></tbody></table>",
                    "\n| a | b |\n| --- | --- |\n| 1\\|2 | x |\n");
    expect_markdown("<table><tbody><tr><th>k</th><td>v</td></tr></tbody></table>",
                    "\n| | |\n| --- | --- |\n| k | v |\n");
}

Test(report_markdown, what_markdown_would_take_for_its_own_is_guarded)
{
    expect_markdown("<p>a*b_c [d] `e` $f$ &lt;script&gt; &amp;amp; &quot;g&quot;</p>",
                    "a\\*b\\_c \\[d\\] \\`e\\` \\$f\\$ &lt;script&gt; &amp;amp; \"g\"\n");
    expect_markdown("<p><code>a_b &lt;c&gt; `</code></p>", "`a_b <c> '`\n");
}

Test(report_markdown, pictures_are_links_and_the_rest_for_the_eye_is_left_out)
{
    expect_markdown(
        "<figure><svg class='picture' id='map-picture' viewBox='0 0 9 9'><title>A "
        "map</title><desc>Of it</desc><text>label</text></svg><figcaption>Here<ul "
        "class='key'><li>no</li></ul></figcaption></figure><details><summary>no</summary>"
        "</details><script>no</script><div class='gauge'><i></i></div>",
        "![A map](<pics/map-picture.svg>)\n\nHere\n");
}

/* --- pictures ------------------------------------------------------------------------------ */

static report_case it;

static char *make(void)
{
    report_case_init(&it, example_scenario, "estimate",
                     "{\"trials\": 2, \"delivered_fraction\": 0.5}");
    report_case_file(&it, "trials.csv",
                     "trial,seed,delivered_fraction,time_to_target_s,moment,time_s\r\n"
                     "0,1,0.4,20,0.9,30\r\n1,2,0.6,,1.1,30\r\n");
    return report_case_make(&it);
}

Test(report_markdown, pictures_stand_alone)
{
    char *html = make(), problem[256];
    nrw_report_figures figures;
    cr_assert_eq(nrw_report_figures_of(html, &figures, &it.errors), NRW_OK);
    cr_assert_eq(figures.n, 3); /* trials, arrival, map */
    for (size_t i = 0; i < figures.n; i++) {
        const char *svg = figures.items[i].svg;
        cr_assert_eq(strlen(svg), figures.items[i].size);
        cr_assert_str_empty(tag_balance(strstr(svg, "<svg"), problem), "%s", problem);
        expect_none(svg, "var(");
        expect_none(svg, "@media");
        expect_none(svg, "--");
        expect_none(svg, "<script");
        expect_text(svg, "<svg xmlns='http://www.w3.org/2000/svg' width='");
        expect_text(svg, "<title id=");
        bool map = strcmp(figures.items[i].name, "map-picture") == 0;
        cr_assert_eq(strstr(svg, "id='channel-shape'") != NULL, map);
    }
    cr_assert_str_eq(figures.items[0].name, "trials-picture");
    nrw_report_figures_clear(&figures);
    free(html);
    report_case_clear(&it);
}

/* The light role of the page, written out: .target-band { fill: var(--delivered) }. */
Test(report_markdown, colours_are_the_light_ones)
{
    char *html = make();
    nrw_report_figures figures;
    cr_assert_eq(nrw_report_figures_of(html, &figures, &it.errors), NRW_OK);
    expect_text(figures.items[0].svg, ".target-band { fill: #009e73;");
    expect_text(figures.items[0].svg, "<rect width='100%' height='100%' fill='#fdfcf9'/>");
    nrw_report_figures_clear(&figures);
    free(html);
    report_case_clear(&it);
}
