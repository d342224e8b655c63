/* The summary of a sweep. */
#include "report_parts.h"

#include <math.h>
#include <string.h>

#include "state.h"

static const char *state_words(nrw_state state)
{
    static const char *const words[NRW_N_STATES] = {
        [NRW_STATE_UNCLASSIFIED] = "between the others, or repeats that disagree",
        [NRW_STATE_FROZEN] = "one cluster that neither travels nor turns",
        [NRW_STATE_VORTEX] = "one round flat cluster that turns in place",
        [NRW_STATE_ROLLING] = "one roundish flat cluster that travels",
        [NRW_STATE_PLATE] = "one cluster that stands up",
        [NRW_STATE_FILE] = "one long flat cluster along the heading",
        [NRW_STATE_RIBBON] = "one long flat cluster across it",
        [NRW_STATE_TORN] = "one large cluster and pieces apart from it",
        [NRW_STATE_SHEETS] = "many pieces that stand up",
        [NRW_STATE_CHAINS] = "many long flat pieces",
        [NRW_STATE_CLUMPS] = "many compact flat pieces",
        [NRW_STATE_SCATTERED] = "particles that don’t touch each other"};
    return words[state];
}

static void put_varied(nrw_report *report)
{
    const nrw_sweep *sweep = &report->in->scenario->sweep;
    nrw_markup *out = &report->out;
    nrw_markup_put(out, "<dt>Asked</dt><dd>What a drive makes of %z particles: ",
                   report->in->scenario->particles.count);
    nrw_report_drive_words(out, &sweep->drive);
    nrw_markup_put(out, ". Varied: ");
    for (size_t k = 0; k < sweep->n_keys; k++) {
        const nrw_sweep_key *key = &sweep->keys[k];
        nrw_markup_put(out, "%r<code>%s</code> (%z values from %n to %n)", k ? " and " : "",
                       key->key, key->n_values, key->values[0], key->values[key->n_values - 1]);
    }
    nrw_markup_put(out, "; %n s at each setting on an open floor, %d repeats.</dd>\n",
                   sweep->seconds, sweep->repeats);
}

static void put_states(nrw_report *report)
{
    nrw_markup *out = &report->out;
    nrw_markup_put(out, "<dt>States</dt><dd><ul>\n");
    for (int s = 0; s < NRW_N_STATES; s++) {
        double n = nrw_report_number(report, "figures.states.%s", nrw_state_name((nrw_state)s));
        if (n > 0)
            nrw_markup_put(out, "<li><b>%r</b> at %n: %r</li>\n", nrw_state_name((nrw_state)s), n,
                           state_words((nrw_state)s));
    }
    double beyond = nrw_report_number(report, "figures.states.beyond_rig");
    if (beyond > 0)
        nrw_markup_put(out, "<li>%n are beyond the rig and were not run</li>\n", beyond);
    nrw_markup_put(out, "</ul></dd>\n");
}

static void put_edges(nrw_report *report)
{
    enum { MOST = 12 };
    const nrw_sweep *sweep = &report->in->scenario->sweep;
    nrw_markup *out = &report->out;
    size_t n = nrw_report_size(report, "figures.cohesion_lost");
    nrw_markup_put(out, "<dt>Cohesion lost</dt><dd>");
    if (n == 0)
        nrw_markup_put(out, "Nowhere along <code>%s</code>.", sweep->keys[sweep->n_keys - 1].key);
    else
        nrw_markup_put(out, "<ul>\n");
    for (size_t e = 0; e < n && e < MOST; e++) {
        const char *way = nrw_report_string(report, "figures.cohesion_lost.%zu.way", e);
        nrw_markup_put(out, "<li>between <code>%s</code> %n and %n",
                       nrw_report_string(report, "figures.cohesion_lost.%zu.key", e),
                       nrw_report_number(report, "figures.cohesion_lost.%zu.between.0", e),
                       nrw_report_number(report, "figures.cohesion_lost.%zu.between.1", e));
        for (size_t k = 0; k + 1 < sweep->n_keys; k++)
            nrw_markup_put(out, "%r<code>%s</code> %n", k ? ", " : " at ", sweep->keys[k].key,
                           nrw_report_number(report, "figures.cohesion_lost.%zu.at.%s", e,
                                             sweep->keys[k].key));
        nrw_markup_put(out, "%r</li>\n",
                       way && strcmp(way, "down") == 0 ? ", on the way down" : "");
    }
    if (n > MOST)
        nrw_markup_put(out, "<li>and at %z more places</li>\n", n - MOST);
    nrw_markup_put(out, n ? "</ul></dd>\n" : "</dd>\n");
}

static void put_confidence(nrw_report *report)
{
    nrw_markup *out = &report->out;
    size_t n = nrw_report_size(report, "figures.hysteresis");
    nrw_markup_put(
        out,
        "<dt>Confidence</dt><dd>Of the repeats of a point %p share its state on average. "
        "Properties are nominal, and there are no side walls.",
        nrw_report_number(report, "figures.agreement"));
    if (n > 0)
        nrw_markup_put(out, " The state depends on the way it is reached at %z point%r.", n,
                       n > 1 ? "s" : "");
    nrw_markup_put(out, "</dd>\n<dt>Next</dt><dd><ul>\n<li>Settings near an edge flip: choose some "
                        "way inside a state, not at its border.</li>\n");
    nrw_report_next_measure(report);
    nrw_markup_put(out, "</ul></dd>\n");
}

void nrw_report_sweep_summary(nrw_report *report)
{
    nrw_markup *out = &report->out;
    double points = nrw_report_number(report, "figures.grid_points");
    size_t n_edges = nrw_report_size(report, "figures.cohesion_lost");
    nrw_report_section(report, "summary", "In short");
    if (points > 0)
        nrw_markup_put(
            out,
            "<p class='verdict'><strong>%n points</strong> <span>%z state%r; cohesion is "
            "lost %r%r</span></p>\n",
            points, nrw_report_size(report, "figures.states"),
            nrw_report_size(report, "figures.states") == 1 ? "" : "s",
            n_edges ? "where the list below says." : "nowhere.",
            nrw_result_get_bool(report->in->result, "figures.partial")
                ? " Interrupted: the maps hold what was done."
                : "");
    else
        nrw_markup_put(out, "<p class='verdict'><strong>No</strong> <span>Nothing was swept: the "
                            "warnings below give the reason.</span></p>\n");
    nrw_markup_put(out, "<dl class='short'>\n");
    if (report->in->scenario->sweep.present)
        put_varied(report);
    if (points > 0) {
        put_states(report);
        put_edges(report);
        put_confidence(report);
    }
    nrw_markup_put(out, "</dl>\n");
    nrw_report_section_end(report);
}
