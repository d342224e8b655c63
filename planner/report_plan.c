/* The report of a plan: verdict, verification, necessary conditions. */
#include "report_parts.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "statistics.h"

static bool found(const nrw_report *report)
{
    return nrw_result_get_bool(report->in->result, "figures.found");
}

static bool verified(const nrw_report *report)
{
    return isfinite(nrw_report_number(report, "figures.delivered_fraction"));
}

/* --- the verification trials --------------------------------------------------- */

/* Delivered fractions of the plan and, on the same trials, without reshaping. */
typedef struct verification {
    size_t n;
    double *planned, *simple; /* (n), of one block */
} verification;

static bool take_verification(nrw_report *report, verification *trials)
{
    size_t n = trials->n = nrw_report_size(report, "figures.verification");
    trials->planned = calloc(2 * n + 1, sizeof(double));
    trials->simple = trials->planned ? trials->planned + n : NULL;
    if (!trials->planned) {
        report->out.failed = true;
        return false;
    }
    for (size_t k = 0; k < n; k++) {
        trials->planned[k] =
            nrw_report_number(report, "figures.verification.%zu.delivered_fraction", k);
        trials->simple[k] =
            nrw_report_number(report, "figures.verification.%zu.without_reshaping", k);
    }
    return true;
}

static bool has_simple(const verification *trials)
{
    bool all = trials->n > 0;
    for (size_t k = 0; k < trials->n; k++)
        all = all && isfinite(trials->simple[k]);
    return all;
}

/* --- summary --------------------------------------------------------------------- */

static void put_verdict(nrw_report *report)
{
    nrw_markup *out = &report->out;
    double goal = report->in->scenario->goal.fraction_min;
    double mean = nrw_report_number(report, "figures.delivered_fraction");
    double low = nrw_report_number(report, "figures.delivered_low");
    double high = nrw_report_number(report, "figures.delivered_high");
    bool partial = nrw_result_get_bool(report->in->result, "figures.partial");
    if (!verified(report)) {
        nrw_markup_put(out, "<p class='verdict'><strong>No</strong> <span>%r</span></p>\n",
                       partial ? "The search was interrupted before anything was verified."
                               : "This can’t be done here, whatever the schedule: a necessary "
                                 "condition fails. Nothing was simulated.");
        return;
    }
    nrw_markup_put(out,
                   "<p class='verdict'><strong>%p</strong> <span>delivered on average over %z "
                   "fresh trials, 95 %% interval %p to %p. The goal of at least %p is %r.</span>"
                   "</p>\n",
                   mean, nrw_report_size(report, "figures.verification"), low, high, goal,
                   found(report) ? "reached" : "not reached: this is the best that was found");
    nrw_report_strip(report, "figures");
    nrw_report_gauge(report, mean, low, high, goal);
}

/* Why not, and the nearest change that would help: before anything else. */
static void put_reason(nrw_report *report)
{
    const char *reason = nrw_report_string(report, "figures.reason");
    const char *change = nrw_report_string(report, "figures.nearest_change");
    nrw_markup *out = &report->out;
    if (!reason && !change)
        return;
    nrw_markup_put(out, "<div class='reason'>\n");
    if (reason) {
        nrw_markup_put(out, "<p><b>Why not.</b> ");
        nrw_report_sentence(out, reason);
        nrw_markup_put(out, "</p>\n");
    }
    if (change) {
        nrw_markup_put(out, "<p><b>What would change it.</b> ");
        nrw_report_sentence(out, change);
        nrw_markup_put(out, "</p>\n");
    }
    nrw_markup_put(out, "</div>\n");
}

static void put_found(nrw_report *report)
{
    nrw_markup *out = &report->out;
    const char *recipe = nrw_report_string(report, "figures.recipe");
    double n = nrw_report_number(report, "figures.candidates_tried");
    nrw_markup_put(out, "<dt>Schedule</dt><dd>%z leg%r", report->in->schedule->n_legs,
                   report->in->schedule->n_legs == 1 ? "" : "s");
    if (recipe) {
        nrw_markup_put(out, ", by the recipe “");
        nrw_report_units(out, recipe);
        nrw_markup_put(out, "”");
    }
    nrw_markup_put(out, ", the best of %n candidate%r. It takes %n s on average, of %n s allowed.",
                   n, n > 1 ? "s" : "", nrw_report_number(report, "figures.time_s"),
                   report->in->scenario->deadline_s);
    nrw_markup_put(out, "</dd>\n");
}

static void put_simple(nrw_report *report, const verification *trials)
{
    nrw_markup *out = &report->out;
    double baseline = nrw_report_number(report, "figures.best_without_reshaping");
    if (isnan(baseline))
        return;
    nrw_markup_put(out,
                   "<dt>Without reshaping</dt><dd>The best schedule that keeps the swarm gathered "
                   "delivers %p on the same trials",
                   baseline);
    if (has_simple(trials) && trials->n > 1) {
        const nrw_paired paired =
            nrw_paired_comparison(trials->n, trials->planned, trials->simple, 0.95);
        nrw_markup_put(out, ": %n points less, 95 %% interval %n to %n, trial by trial",
                       nrw_report_points(paired.difference), nrw_report_points(paired.interval.low),
                       nrw_report_points(paired.interval.high));
    }
    nrw_markup_put(out, ".</dd>\n");
}

static const char *worst_cause(const nrw_report *report, double *share)
{
    const char *worst = NULL;
    *share = 0;
    for (int c = 0; c < NRW_N_LOSS_CAUSES; c++) {
        const char *name = nrw_loss_cause_name((nrw_loss_cause)c);
        double lost = nrw_report_number(report, "figures.lost_by_cause.%s", name);
        if (lost > *share) {
            *share = lost;
            worst = name;
        }
    }
    return worst;
}

static void put_loss(nrw_report *report)
{
    nrw_markup *out = &report->out;
    double share;
    const char *worst = worst_cause(report, &share);
    nrw_markup_put(out, "<dt>Largest loss</dt><dd>");
    if (worst)
        nrw_markup_put(out, "%p on average: %r. %r", share,
                       nrw_report_cause_word(nrw_report_cause_named(worst)),
                       nrw_report_cause_advice(nrw_report_cause_named(worst)));
    else
        nrw_markup_put(out, "None in these trials.");
    nrw_markup_put(out, "</dd>\n");
}

static const nrw_leg_visit *loosest_visit(const nrw_run_result *run)
{
    const nrw_leg_visit *loosest = NULL;
    for (size_t i = 0; run && i < run->n_visits; i++)
        if (!loosest || run->visits[i].shedding_number > loosest->shedding_number)
            loosest = &run->visits[i];
    return loosest;
}

static void put_confidence(nrw_report *report, const verification *trials)
{
    nrw_markup *out = &report->out;
    const nrw_uncertainty *u = &report->in->scenario->uncertainty;
    bool varied =
        u->moment_cv > 0 || u->viscosity_cv > 0 || u->rolling_cv > 0 || u->pair_flow_cv > 0;
    nrw_markup_put(out,
                   "<dt>Confidence</dt><dd>The %z trials took no part in the search%r The interval "
                   "is for the mean over such trials",
                   trials->n,
                   varied ? "; each has its own seed and its own draw of what is uncertain."
                          : "; each has its own seed, but nothing is told to be uncertain: a real "
                            "batch will differ by more.");
    nrw_markup_put(out, trials->n < 16
                            ? "; from so few, a failure that comes once in ten may not show.</dd>\n"
                            : ".</dd>\n");
    const nrw_leg_visit *loosest = loosest_visit(report->in->run);
    if (loosest && loosest->shedding_number > 0.5)
        nrw_markup_put(out,
                       "<dt></dt><dd>In leg “%s” Λ is %n: particles may be shed faster than bonds "
                       "pull them back, and what happens there is the least sure.</dd>\n",
                       report->in->schedule->legs[loosest->leg].name, loosest->shedding_number);
}

static void put_next(nrw_report *report)
{
    nrw_markup *out = &report->out;
    nrw_markup_put(out, "<dt>Next</dt><dd><ul>\n");
    if (found(report)) {
        nrw_markup_put(out, "<li>Put an interval that you can rely on to it: <code>narrows "
                            "estimate scenario.yaml --schedule schedule.yaml --trials 40</code>."
                            "</li>\n<li>Check currents and limits, and write the files for the "
                            "bench: <code>narrows export</code> with this folder.</li>\n");
        nrw_report_next_measure(report);
    } else if (verified(report)) {
        nrw_markup_put(out, "<li>Change the job as said above, and plan again.</li>\n"
                            "<li>Look at the pictures where the swarm stops, and try legs of your "
                            "own: copy <code>schedule.yaml</code> and <code>narrows run</code> it."
                            "</li>\n");
        nrw_report_next_measure(report);
    } else {
        nrw_markup_put(out, "<li>Change the map, the particles, the rig or the deadline as said "
                            "above; <code>narrows check</code> tells at once whether the "
                            "conditions hold.</li>\n");
    }
    nrw_markup_put(out, "</ul></dd>\n");
}

void nrw_report_plan_summary(nrw_report *report)
{
    verification trials;
    if (!take_verification(report, &trials))
        return;
    nrw_report_section(report, "summary", "In short");
    put_verdict(report);
    put_reason(report);
    nrw_markup_put(&report->out, "<dl class='short'>\n");
    nrw_report_asked(report);
    if (verified(report)) {
        put_found(report);
        put_simple(report, &trials);
        put_loss(report);
        put_confidence(report, &trials);
    }
    put_next(report);
    nrw_markup_put(&report->out, "</dl>\n");
    nrw_report_section_end(report);
    free(trials.planned);
}

/* --- trials ------------------------------------------------------------------------ */

static void put_trial_rows(nrw_report *report, const verification *trials)
{
    static const char *const heads[] = {"Trial", "Delivered", "Without reshaping", "Time, s",
                                        "Target reached at, s"};
    nrw_report_data_begin(report, "verification trials", 5, heads);
    for (size_t k = 0; k < trials->n; k++)
        nrw_markup_put(&report->out,
                       "<tr><th scope='row'>%z</th><td>%p</td><td>%p</td><td>%n</td><td>%n</td>"
                       "</tr>\n",
                       k, trials->planned[k], trials->simple[k],
                       nrw_report_number(report, "figures.verification.%zu.time_s", k),
                       nrw_report_number(report, "figures.verification.%zu.time_to_target_s", k));
    nrw_report_data_end(report);
}

void nrw_report_plan_trials(nrw_report *report)
{
    verification trials;
    if (!take_verification(report, &trials))
        return;
    if (trials.n > 0) {
        const nrw_report_lane lanes[] = {
            {"the plan", trials.n, trials.planned,
             nrw_report_number(report, "figures.delivered_fraction"),
             nrw_report_number(report, "figures.delivered_low"),
             nrw_report_number(report, "figures.delivered_high"), "lane-1"},
            {"kept gathered", trials.n, trials.simple,
             nrw_report_number(report, "figures.best_without_reshaping"), NAN, NAN, "lane-plain"}};
        nrw_report_section(report, "verification", "Verified");
        nrw_report_dots(report, "trials-picture", "Delivered in each verification trial",
                        "A row of dots for the plan and one for the best schedule that keeps the "
                        "swarm gathered, on the same trials; the table below has the values.",
                        has_simple(&trials) ? 2 : 1, lanes,
                        report->in->scenario->goal.fraction_min);
        put_trial_rows(report, &trials);
        nrw_report_section_end(report);
    }
    free(trials.planned);
}

/* --- necessary conditions ------------------------------------------------------------ */

void nrw_report_conditions(nrw_report *report)
{
    static const char *const heads[] = {"Condition", "Holds", "Value", "Needed", "In words"};
    nrw_markup *out = &report->out;
    size_t n = nrw_report_size(report, "figures.conditions");
    if (n == 0)
        return;
    nrw_report_section(report, "conditions", "Necessary");
    nrw_markup_put(out,
                   "<p>What can be judged before any simulation. A job that fails one of these "
                   "can’t be done with this map, rig and deadline.</p>\n");
    nrw_report_table_begin(report, "Necessary conditions", 5, heads);
    for (size_t k = 0; k < n; k++) {
        char path[64];
        (void)snprintf(path, sizeof path, "figures.conditions.%zu.holds", k);
        bool holds = nrw_result_get_bool(report->in->result, path);
        const char *unit = nrw_report_string(report, "figures.conditions.%zu.unit", k);
        char unit_text[32];
        (void)snprintf(unit_text, sizeof unit_text, " %.24s", unit && *unit ? unit : "");
        nrw_markup_put(out, "<tr><th scope='row'>%s</th><td%r>%r</td>",
                       nrw_report_string(report, "figures.conditions.%zu.condition", k),
                       holds ? "" : " class='mark'", holds ? "yes" : "no");
        for (int which = 0; which < 2; which++) {
            double value = nrw_report_number(
                report, which ? "figures.conditions.%zu.needed" : "figures.conditions.%zu.value",
                k);
            nrw_markup_put(out, "<td>%n", value);
            if (isfinite(value))
                nrw_report_units(out, unit_text);
            nrw_markup_put(out, "</td>");
        }
        nrw_markup_put(out, "<td>");
        nrw_report_sentence(out, nrw_report_string(report, "figures.conditions.%zu.text", k));
        nrw_markup_put(out, "</td></tr>\n");
    }
    nrw_report_table_end(report);
    nrw_report_section_end(report);
}
