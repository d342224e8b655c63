/* The report of an estimate: trials, their interval, the time to target. */
#include "report_parts.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "survival.h"
#include "svg.h"

/* --- trials.csv ----------------------------------------------------------------- */

/* A column of the table (n_records - 1 values), NAN where empty. NULL: no memory, or
 * no such column. The caller frees it. */
static double *column_of(const nrw_csv_table *table, const char *name)
{
    int column = nrw_csv_column(table, name);
    double *values = column >= 0 ? malloc(table->n_records * sizeof *values) : NULL;
    for (size_t i = 0; values && i + 1 < table->n_records; i++)
        values[i] = nrw_csv_value(table, i + 1, column);
    return values;
}

/* --- summary --------------------------------------------------------------------- */

static void put_verdict(nrw_report *report)
{
    nrw_markup *out = &report->out;
    double goal = nrw_report_number(report, "figures.goal.fraction");
    double mean = nrw_report_number(report, "figures.delivered_fraction");
    double low = nrw_report_number(report, "figures.delivered_low");
    double high = nrw_report_number(report, "figures.delivered_high");
    double n = nrw_report_number(report, "figures.trials");
    if (isnan(mean)) {
        nrw_markup_put(out, "<p class='verdict'><strong>No</strong> <span>No trial was done: the "
                            "warnings below give the reason.</span></p>\n");
        return;
    }
    nrw_markup_put(out,
                   "<p class='verdict'><strong>%p</strong> <span>delivered on average over %n "
                   "trial%r, 95 %% interval %p to %p.",
                   mean, n, n > 1 ? "s" : "", low, high);
    if (nrw_result_get_bool(report->in->result, "figures.partial"))
        nrw_markup_put(out, " Interrupted: these are the trials done.");
    nrw_markup_put(out, "</span></p>\n");
    nrw_report_strip(report, "figures");
    nrw_report_gauge(report, mean, low, high, goal);
}

static void put_goal(nrw_report *report)
{
    nrw_markup *out = &report->out;
    double hold_s = nrw_report_number(report, "figures.hold.seconds");
    nrw_markup_put(out,
                   "<dt>Goal</dt><dd>At least %p arrive in %n of the trials: probability %p, 95 %% "
                   "interval %p to %p. One trial in ten delivers %p or less.",
                   nrw_report_number(report, "figures.goal.fraction"),
                   nrw_report_number(report, "figures.goal.trials"),
                   nrw_report_number(report, "figures.goal.probability"),
                   nrw_report_number(report, "figures.goal.low"),
                   nrw_report_number(report, "figures.goal.high"),
                   nrw_report_number(report, "figures.delivered_p10"));
    if (hold_s > 0)
        nrw_markup_put(out, " %p were reached and then kept for %n s in %n of the trials.",
                       nrw_report_number(report, "figures.hold.fraction"), hold_s,
                       nrw_report_number(report, "figures.hold.trials"));
    nrw_markup_put(out, "</dd>\n");
}

static void put_time(nrw_report *report)
{
    nrw_markup *out = &report->out;
    double median = nrw_report_number(report, "figures.time_to_target_s.median");
    double high = nrw_report_number(report, "figures.time_to_target_s.high");
    nrw_markup_put(out, "<dt>Time</dt><dd>");
    if (isnan(median))
        nrw_markup_put(out, "Fewer than half of the trials ever had %p in the target.",
                       report->in->scenario->goal.fraction_min);
    else
        nrw_markup_put(out,
                       "%p are in the target after %n s in the median trial (95 %% interval %n "
                       "to ",
                       report->in->scenario->goal.fraction_min, median,
                       nrw_report_number(report, "figures.time_to_target_s.low"));
    if (isfinite(median) && isfinite(high))
        nrw_markup_put(out, "%n s).", high);
    else if (isfinite(median))
        nrw_markup_put(out, "no upper limit).");
    nrw_markup_put(out, " Imaging sees the swarm %p of the time.</dd>\n",
                   nrw_report_number(report, "figures.visible_fraction_of_time"));
}

static void put_loss(nrw_report *report)
{
    nrw_markup *out = &report->out;
    size_t n = nrw_report_size(report, "figures.losses.exits"), worst = n;
    double share = 0;
    for (size_t i = 0; i < n; i++) {
        double percent = nrw_report_number(report, "figures.losses.exits.%zu.percent", i);
        if (percent > share) {
            share = percent;
            worst = i;
        }
    }
    nrw_markup_put(out, "<dt>Largest loss</dt><dd>");
    if (worst < n) {
        nrw_loss_cause cause = nrw_report_cause_named(
            nrw_report_string(report, "figures.losses.exits.%zu.cause", worst));
        nrw_markup_put(out, "%n %% in %s, around (%n, %n) µm: %r. %r", share,
                       nrw_report_string(report, "figures.losses.exits.%zu.vessel", worst),
                       nrw_report_number(report, "figures.losses.exits.%zu.at_um.0", worst),
                       nrw_report_number(report, "figures.losses.exits.%zu.at_um.1", worst),
                       nrw_report_cause_word(cause), nrw_report_cause_advice(cause));
    } else {
        nrw_markup_put(out, "None.");
    }
    nrw_markup_put(out, "</dd>\n");
}

static void put_confidence(nrw_report *report)
{
    nrw_markup *out = &report->out;
    double n = nrw_report_number(report, "figures.trials");
    double failed = nrw_report_number(report, "figures.failed");
    nrw_markup_put(out,
                   "<dt>Confidence</dt><dd>The interval is over trials (bootstrap): each has "
                   "its own seed and its own draw of what is uncertain, and the particles of "
                   "a trial share its fate. The cautious interval of Wilson reads %p to %p.",
                   nrw_report_number(report, "figures.delivered_cautious.0"),
                   nrw_report_number(report, "figures.delivered_cautious.1"));
    if (n < 16)
        nrw_markup_put(out, " From fewer than 16 trials, failures that come now and then may not "
                            "show.");
    if (failed > 0)
        nrw_markup_put(out,
                       " %n trials ended in a numerical failure and count as nothing "
                       "delivered.",
                       failed);
    nrw_markup_put(out, "</dd>\n");
}

static void put_next(nrw_report *report)
{
    nrw_markup *out = &report->out;
    const char *advice = nrw_report_string(report, "figures.sensitivity.advice");
    nrw_markup_put(out, "<dt>Next</dt><dd><ul>\n");
    if (advice && *advice) {
        nrw_markup_put(out, "<li>");
        nrw_report_sentence(out, advice);
        nrw_markup_put(out, "</li>\n");
    } else {
        nrw_report_next_measure(report);
    }
    nrw_markup_put(out, "<li>For half the width of the interval, four times the trials "
                        "(<code>--trials</code>, or <code>--half-width</code>).</li>\n"
                        "<li>Redo one trial and look at it: <code>narrows run … --trial K</code>."
                        "</li>\n</ul></dd>\n");
}

void nrw_report_estimate_summary(nrw_report *report)
{
    nrw_report_section(report, "summary", "In short");
    put_verdict(report);
    nrw_markup_put(&report->out, "<dl class='short'>\n");
    nrw_report_asked(report);
    if (nrw_report_number(report, "figures.trials") > 0) {
        put_goal(report);
        put_time(report);
        put_loss(report);
        put_confidence(report);
        put_next(report);
    }
    nrw_markup_put(&report->out, "</dl>\n");
    nrw_report_section_end(report);
}

/* --- trials ------------------------------------------------------------------------ */

static void put_trial_rows(nrw_report *report, const nrw_csv_table *table)
{
    static const char *const columns[] = {
        "trial",       "seed",       "delivered_fraction", "time_to_target_s", "wall",
        "left_behind", "washed_out", "scattered",          "in_transit",       "moment",
        "viscosity",   "rolling",    "pair_flow"};
    static const char *const heads[] = {"Trial",      "Seed",        "Delivered",   "At target, s",
                                        "On walls",   "Left behind", "Washed out",  "Scattered",
                                        "On the way", "Moment ×",    "Viscosity ×", "Rolling ×",
                                        "Pair flow ×"};
    enum { COLUMNS = 13, FRACTION = 2, FIRST_LOSS = 4, LAST_LOSS = 8 };
    nrw_report_data_begin(report, "trials (all columns are in trials.csv)", COLUMNS, heads);
    for (size_t i = 1; i < table->n_records; i++) {
        nrw_markup_put(&report->out, "<tr>");
        for (int c = 0; c < COLUMNS; c++) {
            int column = nrw_csv_column(table, columns[c]);
            bool share = c == FRACTION || (c >= FIRST_LOSS && c <= LAST_LOSS);
            if (c < FRACTION)
                nrw_markup_put(&report->out, c ? "<td>%s</td>" : "<th scope='row'>%s</th>",
                               nrw_csv_field(table, i, column));
            else
                nrw_markup_put(&report->out, share ? "<td>%p</td>" : "<td>%n</td>",
                               nrw_csv_value(table, i, column));
        }
        nrw_markup_put(&report->out, "</tr>\n");
    }
    nrw_report_data_end(report);
}

void nrw_report_estimate_trials(nrw_report *report)
{
    nrw_csv_table table;
    if (!nrw_report_table(report, "trials.csv", &table))
        return;
    double *delivered = column_of(&table, "delivered_fraction");
    if (delivered) {
        const nrw_report_lane lane = {"trials",
                                      table.n_records - 1,
                                      delivered,
                                      nrw_report_number(report, "figures.delivered_fraction"),
                                      nrw_report_number(report, "figures.delivered_low"),
                                      nrw_report_number(report, "figures.delivered_high"),
                                      "lane-1"};
        nrw_report_section(report, "trials", "Trials");
        nrw_report_dots(report, "trials-picture", "Delivered in each trial",
                        "A row of dots, one for each trial, with the mean and its interval; the "
                        "table below has the values.",
                        1, &lane, nrw_report_number(report, "figures.goal.fraction"));
        put_trial_rows(report, &table);
        nrw_report_section_end(report);
    }
    free(delivered);
    nrw_csv_table_clear(&table);
}

/* --- time to target ------------------------------------------------------------------ */

/* Share of the trials that have arrived, a step at each arrival. */
static void put_steps(nrw_report *report, const nrw_survival *survival, double end_s)
{
    enum { WIDTH = 620, HEIGHT = 270, LEFT = 46, TOP = 30, RIGHT = 16, BOTTOM = 44 };
    nrw_markup *out = &report->out;
    nrw_svg_plot plot = {out,   LEFT, TOP, WIDTH - LEFT - RIGHT, HEIGHT - TOP - BOTTOM, 0,
                         end_s, 0,    100};
    nrw_svg_open(out, "arrival-picture", WIDTH, HEIGHT, "Share of the trials that have arrived",
                 "A line that rises by a step whenever a trial has the goal’s share in the target; "
                 "the table below has the values.");
    nrw_svg_axis_y(&plot, "arrived, % of the trials");
    nrw_markup_put(out, "<path class='line arrived' d='M%c %c", plot.left, nrw_svg_y(&plot, 0));
    for (size_t i = 0; i < survival->n_steps; i++)
        nrw_markup_put(out, "H%cV%c", nrw_svg_x(&plot, survival->steps[i].time_s),
                       nrw_svg_y(&plot, 100 * (1 - survival->steps[i].waiting)));
    nrw_markup_put(out, "H%c'/>\n", plot.left + plot.width);
    if (isfinite(survival->median_s))
        nrw_markup_put(out,
                       "<path class='goal-line' d='M%c %cV%cH%c'/><text class='note' x='%c' "
                       "y='%c'>median %n s</text>\n",
                       nrw_svg_x(&plot, survival->median_s), nrw_svg_y(&plot, 0),
                       nrw_svg_y(&plot, 50), plot.left, plot.left + 6, nrw_svg_y(&plot, 50) - 5,
                       survival->median_s);
    nrw_svg_axis_x(&plot, "time, s");
    nrw_svg_close(out);
}

static void put_step_rows(nrw_report *report, const nrw_survival *survival)
{
    static const char *const heads[] = {"Time, s", "Still to come before", "Arrived then",
                                        "Arrived by then", "Standard error"};
    nrw_report_data_begin(report, "arrivals", 5, heads);
    for (size_t i = 0; i < survival->n_steps; i++) {
        const nrw_survival_step *step = &survival->steps[i];
        nrw_markup_put(&report->out,
                       "<tr><th scope='row'>%n</th><td>%z</td><td>%z</td><td>%p</td><td>%p</td>"
                       "</tr>\n",
                       step->time_s, step->n_waiting, step->n_arrived, 1 - step->waiting,
                       step->standard_error);
    }
    nrw_report_data_end(report);
}

static void put_arrival(nrw_report *report, size_t n, const double *target_s, const double *end_s)
{
    nrw_survival survival = {0};
    double *times = calloc(n + 1, sizeof *times), last = 1;
    bool *arrived = calloc(n + 1, sizeof *arrived);
    if (!times || !arrived) {
        report->out.failed = true;
        free(times);
        free(arrived);
        return;
    }
    for (size_t i = 0; i < n; i++) {
        arrived[i] = isfinite(target_s[i]);
        times[i] = arrived[i] ? target_s[i] : end_s[i];
        last = fmax(last, fmax(times[i], end_s[i]));
    }
    if (nrw_survival_init(&survival, n, times, arrived, 0.95) == NRW_OK && survival.n_steps > 0) {
        nrw_report_section(report, "arrival", "Time");
        nrw_markup_put(&report->out, "<figure class='single'>");
        put_steps(report, &survival, last);
        nrw_markup_put(&report->out,
                       "<figcaption>Share of the trials that had %p in the target by then. Trials "
                       "that ended before count as long as they lasted (product-limit estimate)."
                       "</figcaption></figure>\n",
                       report->in->scenario->goal.fraction_min);
        put_step_rows(report, &survival);
        nrw_report_section_end(report);
    }
    nrw_survival_clear(&survival);
    free(times);
    free(arrived);
}

void nrw_report_arrival(nrw_report *report)
{
    nrw_csv_table table;
    if (!nrw_report_table(report, "trials.csv", &table))
        return;
    double *target_s = column_of(&table, "time_to_target_s"), *end_s = column_of(&table, "time_s");
    if (target_s && end_s)
        put_arrival(report, table.n_records - 1, target_s, end_s);
    free(target_s);
    free(end_s);
    nrw_csv_table_clear(&table);
}
