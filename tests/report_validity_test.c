/* What the model assumes, as reports show it: in every kind that carries a run. */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>

#include "example_run.h"
#include "report_case.h"

#define ITEM(key, name, state, value, text)                                                        \
    "{\"assumption\": \"" key "\", \"name\": \"" name "\", \"state\": \"" state                    \
    "\", \"value\": " value ", \"unit\": \"\", \"bound\": \"at most\", \"marginal\": 0.3, "        \
    "\"outside\": 0.5, \"text\": \"" text "\", \"source\": \"a book\"}"

#define LEG(strategy, name, state, items)                                                          \
    "{\"strategy\": " strategy ", \"leg\": \"" name                                                \
    "\", \"model\": \"resolved\", \"state\": \"" state "\", \"assumptions\": [" items "]}"

#define REYNOLDS ITEM("reynolds_number", "Reynolds number", "ok", "1e-5", "No inertia.")
#define SHEDDING(state, value, text) ITEM("shedding_number", "Spin", state, value, text)

static const char holding[] = "{\"validity\": [" LEG("null", "gather", "ok", REYNOLDS) "]}";
static const char outside[] = "{\"validity\": [" LEG(
    "null", "gather", "marginal",
    REYNOLDS ", " SHEDDING("marginal", "0.4", "Near.")) ", " LEG("null", "go <b>", "outside",
                                                                 REYNOLDS
                                                                 ", " SHEDDING("outside", "0.78",
                                                                               "Shed.")) "]}";
static const char strategies[] = "{\"validity\": [" LEG(
    "\"mine\"", "go", "outside",
    SHEDDING("outside", "0.6", "Shed.")) ", " LEG("\"theirs\"", "go", "outside",
                                                  SHEDDING("outside", "0.7", "Shed.")) "]}";

static report_case it;

static char *report_of(const char *command, const char *figures)
{
    report_case_init(&it, example_scenario, command, figures);
    return report_case_make(&it);
}

static void clear(char *html)
{
    free(html);
    report_case_clear(&it);
}

Test(report_validity, what_is_outside_stands_at_the_top_of_every_kind)
{
    static const char *const commands[] = {"run", "plan", "estimate", "compare"};
    for (int k = 0; k < 4; k++) {
        char *html = report_of(commands[k], outside);
        expect_order(html, "Outside the range of the model", "<section id='summary'");
        expect_text(html, "<b>Spin</b> is 0.78, above 0.5, in “go &lt;b&gt;”. Shed.");
        clear(html);
    }
}

Test(report_validity, nothing_is_said_at_the_top_where_all_holds)
{
    char *html = report_of("run", holding);
    expect_none(html, "Outside the range of the model");
    expect_text(html, "<td>ok</td><th scope='row'>Reynolds number</th><td>1·10⁻⁵</td>");
    clear(html);
}

Test(report_validity, each_assumption_is_shown_where_it_is_worst_and_once)
{
    char *html = report_of("estimate", outside), *section = section_of(html, "validity");
    expect_text(section,
                "<td class='mark'>outside</td><th scope='row'>Spin</th><td>0.78</td>"
                "<td>≤\u00a00.3</td><td>&gt;\u00a00.5</td><td>“go &lt;b&gt;”</td><td>Shed.</td>");
    expect_times(section, "<th scope='row'>Spin</th>", 1);
    free(section);
    clear(html);
}

Test(report_validity, all_legs_stand_in_the_data_with_the_source_of_their_bounds)
{
    char *html = report_of("plan", outside), *section = section_of(html, "validity");
    expect_times(section, "<td>a book</td>", 4);
    expect_text(section, "<td>“gather”</td><td>Spin</td><td>marginal</td><td>0.4</td>");
    free(section);
    clear(html);
}

Test(report_validity, strategies_are_told_apart)
{
    char *html = report_of("compare", strategies), *section = section_of(html, "validity");
    expect_text(section, "“go” of mine");
    expect_text(html, "in all legs. Shed.");
    free(section);
    clear(html);
}

Test(report_validity, results_without_the_list_have_reports_without_it)
{
    char *html = report_of("run", "{}"), *section = section_of(html, "validity");
    expect_none(section, "What the model assumes");
    free(section);
    clear(html);
}
