/* What the model assumes, leg by leg, from the result's `validity`. */
#include "report_parts.h"

#include <math.h>
#include <string.h>

#include "../sim/validity.h"

/* Where an assumption stands in the result: entry e (a leg), item i. */
typedef struct place {
    size_t entry, item;
    nrw_validity_state state;
    double value;
} place;

static const char *text_at(const nrw_report *report, const place *at, const char *key)
{
    const char *text = nrw_report_string(report, "figures.validity.%zu.assumptions.%zu.%s",
                                         at->entry, at->item, key);
    return text ? text : "";
}

static double number_at(const nrw_report *report, const place *at, const char *key)
{
    return nrw_report_number(report, "figures.validity.%zu.assumptions.%zu.%s", at->entry, at->item,
                             key);
}

static nrw_validity_state state_named(const char *name)
{
    nrw_validity_state state = NRW_VALIDITY_OK;
    while (state < NRW_VALIDITY_OUTSIDE && strcmp(name, nrw_validity_state_name(state)) != 0)
        state++;
    return state;
}

/* The item of that key in an entry; false: the leg has none. */
static bool find(const nrw_report *report, size_t entry, const char *key, place *at)
{
    const size_t n = nrw_report_size(report, "figures.validity.%zu.assumptions", entry);
    at->entry = entry;
    for (at->item = 0; at->item < n; at->item++) {
        if (strcmp(text_at(report, at, "assumption"), key) != 0)
            continue;
        at->state = state_named(text_at(report, at, "state"));
        at->value = number_at(report, at, "value");
        return true;
    }
    return false;
}

static bool worse(const place *a, const place *b, bool least)
{
    if (a->state != b->state)
        return a->state > b->state;
    return least ? a->value < b->value : a->value > b->value;
}

/* Where an assumption is furthest from holding; false: no leg has it. */
static bool find_worst(const nrw_report *report, nrw_assumption assumption, place *worst)
{
    const nrw_assumption_words words = nrw_assumption_words_of(assumption);
    const size_t n = nrw_report_size(report, "figures.validity");
    bool found = false;
    for (size_t e = 0; e < n; e++) {
        place at;
        if (!find(report, e, words.key, &at))
            continue;
        if (!found || worse(&at, worst, words.least))
            *worst = at;
        found = true;
    }
    return found;
}

static void put_leg(nrw_report *report, size_t entry)
{
    const char *strategy = nrw_report_string(report, "figures.validity.%zu.strategy", entry);
    nrw_markup_put(&report->out, "“%s”",
                   nrw_report_string(report, "figures.validity.%zu.leg", entry));
    if (strategy)
        nrw_markup_put(&report->out, " of %s", strategy);
}

/* The legs in that state; "all" where every leg is. */
static void put_legs(nrw_report *report, const char *key, nrw_validity_state state)
{
    const size_t n = nrw_report_size(report, "figures.validity");
    size_t count = 0;
    place at;
    for (size_t e = 0; e < n; e++)
        count += find(report, e, key, &at) && at.state == state;
    if (count == n && n > 1) {
        nrw_markup_put(&report->out, "all legs");
        return;
    }
    if (count > 6) {
        nrw_markup_put(&report->out, "%z of %z legs", count, n);
        return;
    }
    const char *comma = "";
    for (size_t e = 0; e < n; e++) {
        if (!find(report, e, key, &at) || at.state != state)
            continue;
        nrw_markup_put(&report->out, "%r", comma);
        put_leg(report, e);
        comma = ", ";
    }
}

/* Both bounds as cells of a table: within the first it holds, beyond the other it doesn't. */
static void put_bounds(nrw_report *report, const place *at)
{
    const double marginal = number_at(report, at, "marginal");
    const double outside = number_at(report, at, "outside");
    const bool least = strcmp(text_at(report, at, "bound"), "at least") == 0;
    if (isfinite(marginal))
        nrw_markup_put(&report->out, "<td>%r\u00a0%n</td>", least ? "≥" : "≤", marginal);
    else
        nrw_markup_put(&report->out, "<td>any</td>");
    if (isfinite(outside))
        nrw_markup_put(&report->out, "<td>%r\u00a0%n</td>", least ? "&lt;" : "&gt;", outside);
    else
        nrw_markup_put(&report->out, "<td>–</td>");
}

static const char *state_class(nrw_validity_state state)
{
    return state == NRW_VALIDITY_OK ? "" : " class='mark'";
}

static void put_rows(nrw_report *report)
{
    nrw_markup *out = &report->out;
    for (int k = 0; k < NRW_N_ASSUMPTIONS; k++) {
        const nrw_assumption_words words = nrw_assumption_words_of((nrw_assumption)k);
        place at;
        if (!find_worst(report, (nrw_assumption)k, &at))
            continue;
        nrw_markup_put(out, "<tr><td%r>%r</td><th scope='row'>%s</th><td>%n</td>",
                       state_class(at.state), nrw_validity_state_name(at.state),
                       text_at(report, &at, "name"), at.value);
        put_bounds(report, &at);
        nrw_markup_put(out, "<td>");
        put_legs(report, words.key, at.state);
        nrw_markup_put(out, "</td><td>%s</td></tr>\n", text_at(report, &at, "text"));
    }
}

/* All numbers of all legs, and where the bounds come from. */
static void put_all(nrw_report *report)
{
    static const char *const heads[] = {"Leg",   "Assumption", "State",           "Value",
                                        "Holds", "Outside",    "Source of bounds"};
    const size_t n = nrw_report_size(report, "figures.validity");
    nrw_markup *out = &report->out;
    nrw_report_data_begin(report, "assumptions by leg", sizeof heads / sizeof *heads, heads);
    for (size_t e = 0; e < n; e++) {
        const size_t n_items = nrw_report_size(report, "figures.validity.%zu.assumptions", e);
        for (size_t i = 0; i < n_items; i++) {
            const place at = {.entry = e, .item = i};
            nrw_markup_put(out, "<tr><td>");
            put_leg(report, e);
            nrw_markup_put(out, "</td><td>%s</td><td>%s</td><td>%n</td>",
                           text_at(report, &at, "name"), text_at(report, &at, "state"),
                           number_at(report, &at, "value"));
            put_bounds(report, &at);
            nrw_markup_put(out, "<td>%s</td></tr>\n", text_at(report, &at, "source"));
        }
    }
    nrw_report_data_end(report);
}

void nrw_report_assumptions(nrw_report *report)
{
    static const char *const heads[] = {"State",   "Assumption", "Worst",        "Holds",
                                        "Outside", "In",         "What it means"};
    if (nrw_report_size(report, "figures.validity") == 0)
        return;
    nrw_markup_put(&report->out, "<p>What the model assumes, at the leg where each is furthest "
                                 "from holding. <em>Outside</em>: don’t rely on what hangs on "
                                 "it; <em>marginal</em>: with care.</p>\n");
    nrw_report_table_begin(report, "What the model assumes", sizeof heads / sizeof *heads, heads);
    put_rows(report);
    nrw_report_table_end(report);
    put_all(report);
}

void nrw_report_outside(nrw_report *report)
{
    nrw_markup *out = &report->out;
    bool any = false;
    for (int k = 0; k < NRW_N_ASSUMPTIONS; k++) {
        const nrw_assumption_words words = nrw_assumption_words_of((nrw_assumption)k);
        place at;
        if (!find_worst(report, (nrw_assumption)k, &at) || at.state != NRW_VALIDITY_OUTSIDE)
            continue;
        if (!any)
            nrw_markup_put(out, "<div class='reason' role='note'><p><strong>Outside the range of "
                                "the model</strong></p>\n<ul class='warnings'>\n");
        any = true;
        nrw_markup_put(out, "<li><b>%s</b> is %n, %r %n, in ", text_at(report, &at, "name"),
                       at.value, words.least ? "below" : "above",
                       number_at(report, &at, "outside"));
        put_legs(report, words.key, at.state);
        nrw_markup_put(out, ". %s</li>\n", text_at(report, &at, "text"));
    }
    if (any)
        nrw_markup_put(out, "</ul>\n<p class='quiet'>All that the model assumes is listed below, "
                            "under validity and care.</p></div>\n");
}
