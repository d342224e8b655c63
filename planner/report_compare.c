/* The report of a comparison: verdict, trials by strategy, paired differences. */
#include "report_parts.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "svg.h"

enum { MOST_STRATEGIES = 64 };

static size_t count_strategies(const nrw_report *report)
{
    size_t n = nrw_report_size(report, "figures.strategies");
    return n < MOST_STRATEGIES ? n : MOST_STRATEGIES;
}

static double of_strategy(const nrw_report *report, size_t k, const char *key)
{
    return nrw_report_number(report, "figures.strategies.%zu.%s", k, key);
}

static const char *strategy_name(const nrw_report *report, size_t k)
{
    const char *name = nrw_report_string(report, "figures.strategies.%zu.name", k);
    return name ? name : "";
}

/* --- summary --------------------------------------------------------------------- */

static void put_verdict(nrw_report *report)
{
    nrw_markup *out = &report->out;
    const char *best = nrw_report_string(report, "figures.best");
    const char *verdict = nrw_report_string(report, "figures.verdict");
    static const char tie[] = "A tie: "; /* stands large before it */
    bool partial = nrw_result_get_bool(report->in->result, "figures.partial");
    if (!verdict) {
        nrw_markup_put(out,
                       "<p class='verdict'><strong>No</strong> <span>Nothing was compared: the "
                       "warnings below give the reason.</span></p>\n");
        return;
    }
    nrw_markup_put(out, "<p class='verdict'><strong>%s</strong> <span>", best ? best : "A tie");
    if (partial)
        nrw_markup_put(out, "Interrupted: of the trials done. ");
    nrw_report_sentence(out,
                        strncmp(verdict, tie, strlen(tie)) == 0 ? verdict + strlen(tie) : verdict);
    nrw_markup_put(out, "</span></p>\n");
}

static void put_recheck(nrw_report *report)
{
    nrw_markup *out = &report->out;
    double difference = nrw_report_number(report, "figures.recheck.difference");
    double excess = nrw_report_number(report, "figures.expected_excess");
    if (isfinite(difference))
        nrw_markup_put(out,
                       "<dt>Measured again</dt><dd>On %n fresh trials “%s” delivers %p (%p to %p) "
                       "and “%s” %p: %n points apart, 95 %% interval %n to %n.</dd>\n",
                       nrw_report_number(report, "figures.recheck.leader.trials"),
                       nrw_report_string(report, "figures.recheck.leader.name"),
                       nrw_report_number(report, "figures.recheck.leader.delivered_fraction"),
                       nrw_report_number(report, "figures.recheck.leader.delivered_low"),
                       nrw_report_number(report, "figures.recheck.leader.delivered_high"),
                       nrw_report_string(report, "figures.recheck.runner_up.name"),
                       nrw_report_number(report, "figures.recheck.runner_up.delivered_fraction"),
                       100 * difference,
                       nrw_report_points(nrw_report_number(report, "figures.recheck.low")),
                       nrw_report_points(nrw_report_number(report, "figures.recheck.high")));
    if (isfinite(excess))
        nrw_markup_put(out,
                       "<dt>Confidence</dt><dd>All met the same trials, and differences are judged "
                       "within each. The best of %z equals would look %n points too good on "
                       "average%r</dd>\n",
                       count_strategies(report), 100 * excess,
                       isfinite(difference) ? ": hence the fresh trials." : ".");
}

static void put_next(nrw_report *report)
{
    nrw_markup *out = &report->out;
    nrw_markup_put(out, "<dt>Next</dt><dd><ul>\n");
    if (!nrw_report_string(report, "figures.best"))
        nrw_markup_put(out, "<li>More trials (<code>--trials</code>) tell smaller differences; a "
                            "tie that stays is an answer: take what is simpler or quicker.</li>\n");
    else
        nrw_markup_put(out,
                       "<li>Estimate the winner by itself: <code>narrows estimate "
                       "scenario.yaml --schedule schedule-%s.yaml --trials 40</code>.</li>\n",
                       nrw_report_string(report, "figures.best"));
    nrw_report_next_measure(report);
    nrw_markup_put(out, "</ul></dd>\n");
}

static void put_strategy_rows(nrw_report *report)
{
    static const char *const heads[] = {
        "Strategy",        "Delivered", "95 % interval", "One trial in ten, at most",
        "Goal reached in", "Time, s",   "What it does"};
    nrw_report_table_begin(report, "Strategies", 7, heads);
    for (size_t k = 0; k < count_strategies(report); k++) {
        nrw_markup_put(
            &report->out,
            "<tr><th scope='row'>%s</th><td>%p</td><td>%p to %p</td><td>%p</td>"
            "<td>%n of %n</td><td>%n</td><td>",
            strategy_name(report, k), of_strategy(report, k, "delivered_fraction"),
            of_strategy(report, k, "delivered_low"), of_strategy(report, k, "delivered_high"),
            of_strategy(report, k, "delivered_p10"), of_strategy(report, k, "goal.trials"),
            of_strategy(report, k, "trials"), of_strategy(report, k, "time_s"));
        nrw_report_units(&report->out,
                         nrw_report_string(report, "figures.strategies.%zu.words", k));
        nrw_markup_put(&report->out, "</td></tr>\n");
    }
    nrw_report_table_end(report);
}

void nrw_report_compare_summary(nrw_report *report)
{
    nrw_report_section(report, "summary", "In short");
    put_verdict(report);
    nrw_markup_put(&report->out, "<dl class='short'>\n");
    nrw_report_asked(report);
    if (nrw_report_string(report, "figures.verdict")) {
        put_recheck(report);
        put_next(report);
    }
    nrw_markup_put(&report->out, "</dl>\n");
    if (count_strategies(report) > 0)
        put_strategy_rows(report);
    nrw_report_section_end(report);
}

/* --- trials ------------------------------------------------------------------------ */

/* Delivered fractions by trial and strategy, NAN where one was not done. */
typedef struct trial_grid {
    size_t n_strategies, n_trials;
    double *values; /* (n_strategies x n_trials) */
} trial_grid;

static size_t strategy_index(const nrw_report *report, const char *name)
{
    size_t k = 0;
    while (k < count_strategies(report) && strcmp(strategy_name(report, k), name) != 0)
        k++;
    return k;
}

static bool take_grid(nrw_report *report, trial_grid *grid)
{
    nrw_csv_table table;
    if (!nrw_report_table(report, "trials.csv", &table))
        return false;
    int who = nrw_csv_column(&table, "strategy"), trial = nrw_csv_column(&table, "trial");
    int delivered = nrw_csv_column(&table, "delivered_fraction");
    grid->n_strategies = count_strategies(report);
    grid->n_trials = 0;
    for (size_t i = 1; i < table.n_records; i++) {
        double index = nrw_csv_value(&table, i, trial);
        if (index >= 0 && index < (double)table.n_records && index >= (double)grid->n_trials)
            grid->n_trials = (size_t)index + 1;
    }
    size_t n = grid->n_strategies * grid->n_trials;
    grid->values = malloc((n + 1) * sizeof *grid->values);
    for (size_t i = 0; grid->values && i < n; i++)
        grid->values[i] = NAN;
    for (size_t i = 1; grid->values && i < table.n_records; i++) {
        size_t k = strategy_index(report, nrw_csv_field(&table, i, who));
        double index = nrw_csv_value(&table, i, trial);
        if (k < grid->n_strategies && index >= 0 && index < (double)grid->n_trials)
            grid->values[k * grid->n_trials + (size_t)index] = nrw_csv_value(&table, i, delivered);
    }
    nrw_csv_table_clear(&table);
    report->out.failed = report->out.failed || !grid->values;
    return grid->values && n > 0;
}

static void put_grid_rows(nrw_report *report, const trial_grid *grid)
{
    const char *heads[MOST_STRATEGIES + 1] = {"Trial"};
    nrw_markup names[MOST_STRATEGIES] = {{0}}; /* escaped: they are the user's */
    nrw_markup *out = &report->out;
    for (size_t k = 0; k < grid->n_strategies; k++) {
        nrw_markup_put(&names[k], "%s", strategy_name(report, k));
        heads[k + 1] = names[k].text ? names[k].text : "";
    }
    nrw_report_data_begin(report, "delivered in each trial", grid->n_strategies + 1, heads);
    for (size_t t = 0; t < grid->n_trials; t++) {
        nrw_markup_put(out, "<tr><th scope='row'>%z</th>", t);
        for (size_t k = 0; k < grid->n_strategies; k++)
            nrw_markup_put(out, "<td>%p</td>", grid->values[k * grid->n_trials + t]);
        nrw_markup_put(out, "</tr>\n");
    }
    nrw_report_data_end(report);
    for (size_t k = 0; k < grid->n_strategies; k++)
        nrw_markup_clear(&names[k]);
}

void nrw_report_compare_trials(nrw_report *report)
{
    trial_grid grid = {0};
    nrw_report_lane lanes[MOST_STRATEGIES];
    if (!take_grid(report, &grid)) {
        free(grid.values);
        return;
    }
    for (size_t k = 0; k < grid.n_strategies; k++)
        lanes[k] = (nrw_report_lane){strategy_name(report, k),
                                     grid.n_trials,
                                     grid.values + k * grid.n_trials,
                                     of_strategy(report, k, "delivered_fraction"),
                                     of_strategy(report, k, "delivered_low"),
                                     of_strategy(report, k, "delivered_high"),
                                     nrw_report_lane_class(k)};
    nrw_report_section(report, "trials", "Trials");
    nrw_report_dots(report, "trials-picture", "Delivered in each trial by strategy",
                    "A row of dots for each strategy, one dot a trial, with the mean and its "
                    "interval; the table below has the values.",
                    grid.n_strategies, lanes,
                    nrw_report_number(report, "figures.strategies.0.goal.fraction"));
    put_grid_rows(report, &grid);
    nrw_report_section_end(report);
    free(grid.values);
}

/* --- pairs ------------------------------------------------------------------------- */

static bool is_tie(double low, double high)
{
    return !(low > 0 || high < 0);
}

static void put_pair(nrw_report *report, const nrw_svg_plot *plot, size_t k, double y)
{
    nrw_markup *out = &report->out;
    double value = nrw_report_number(report, "figures.pairs.%zu.difference", k);
    double low = nrw_report_number(report, "figures.pairs.%zu.low", k);
    double high = nrw_report_number(report, "figures.pairs.%zu.high", k);
    const char *unsure = is_tie(low, high) ? " unsure" : "";
    char text[64];
    (void)snprintf(text, sizeof text, "%.24s − %.24s",
                   nrw_report_string(report, "figures.pairs.%zu.a", k),
                   nrw_report_string(report, "figures.pairs.%zu.b", k));
    nrw_markup_put(out, "<text x='2' y='%c'>%s</text>", y + 4, text);
    if (isnan(value))
        return;
    if (isfinite(low) && isfinite(high))
        nrw_markup_put(out, "<path class='whisker%r' d='M%c %cH%c'/>", unsure,
                       nrw_svg_x(plot, nrw_report_points(low)), y,
                       nrw_svg_x(plot, nrw_report_points(high)));
    nrw_markup_put(out, "<circle class='point%r' cx='%c' cy='%c' r='5.5'/>\n", unsure,
                   nrw_svg_x(plot, 100 * value), y);
}

static void put_pair_picture(nrw_report *report, size_t n)
{
    enum { WIDTH = 920, LEFT = 300, TOP = 14, RIGHT = 24, BOTTOM = 44, ROW = 30 };
    nrw_markup *out = &report->out;
    double height = TOP + BOTTOM + ROW * (double)n, reach = 5;
    for (size_t k = 0; k < n; k++) {
        const char *const keys[] = {"low", "difference", "high"};
        for (int i = 0; i < 3; i++) {
            double value = nrw_report_number(report, "figures.pairs.%zu.%s", k, keys[i]);
            reach = fmax(reach, 1.04 * fabs(nrw_report_points(isfinite(value) ? value : 0)));
        }
    }
    nrw_svg_plot plot = {out,   LEFT, TOP, WIDTH - LEFT - RIGHT, height - TOP - BOTTOM, -reach,
                         reach, 0,    1};
    nrw_markup_put(out, "<figure class='wide'><div class='scroll' tabindex='0' role='region' "
                        "aria-label='Paired differences'>\n");
    nrw_svg_open(out, "pairs-picture", WIDTH, height, "Differences within the same trials",
                 "For each pair of strategies the mean difference of the delivered fraction with "
                 "its interval, and zero as a line; the table below has the values.");
    nrw_markup_put(out, "<path class='zero' d='M%c %cv%c'/>", nrw_svg_x(&plot, 0), plot.top,
                   plot.height);
    for (size_t k = 0; k < n; k++)
        put_pair(report, &plot, k, plot.top + ROW * ((double)k + 0.5));
    nrw_svg_axis_x(&plot, "difference of what is delivered, in percentage points");
    nrw_svg_close(out);
    nrw_markup_put(out,
                   "</div>\n<figcaption>Mean of the differences trial by trial, with its 95 %% "
                   "interval. Open: the interval holds 0, these trials can’t tell the two "
                   "apart.</figcaption></figure>\n");
}

static void put_pair_rows(nrw_report *report, size_t n)
{
    static const char *const heads[] = {
        "First", "Second", "Difference, points",     "95 % interval",
        "p",     "Trials", "Goal by the first only", "By the second only"};
    nrw_report_data_begin(report, "pairs", 8, heads);
    for (size_t k = 0; k < n; k++)
        nrw_markup_put(&report->out,
                       "<tr><th scope='row'>%s</th><td>%s</td><td>%n</td><td>%n to %n</td><td>%n"
                       "</td><td>%n</td><td>%n</td><td>%n</td></tr>\n",
                       nrw_report_string(report, "figures.pairs.%zu.a", k),
                       nrw_report_string(report, "figures.pairs.%zu.b", k),
                       100 * nrw_report_number(report, "figures.pairs.%zu.difference", k),
                       nrw_report_points(nrw_report_number(report, "figures.pairs.%zu.low", k)),
                       nrw_report_points(nrw_report_number(report, "figures.pairs.%zu.high", k)),
                       nrw_report_number(report, "figures.pairs.%zu.p", k),
                       nrw_report_number(report, "figures.pairs.%zu.trials", k),
                       nrw_report_number(report, "figures.pairs.%zu.goal_only_a", k),
                       nrw_report_number(report, "figures.pairs.%zu.goal_only_b", k));
    nrw_report_data_end(report);
}

void nrw_report_compare_pairs(nrw_report *report)
{
    size_t n = nrw_report_size(report, "figures.pairs");
    if (n == 0)
        return;
    nrw_report_section(report, "pairs", "Differences");
    put_pair_picture(report, n);
    put_pair_rows(report, n);
    nrw_report_section_end(report);
}

/* --- losses -------------------------------------------------------------------------- */

static void put_loss_row(nrw_report *report, size_t k)
{
    nrw_markup *out = &report->out;
    double worst = 0;
    int cause = -1;
    for (int c = 0; c < NRW_N_LOSS_CAUSES; c++) {
        double share = nrw_report_number(report, "figures.strategies.%zu.lost_by_cause.%s", k,
                                         nrw_loss_cause_name((nrw_loss_cause)c));
        if (share > worst) {
            worst = share;
            cause = c;
        }
    }
    nrw_markup_put(out, "<tr><th scope='row'>%s</th><td>%p</td>", strategy_name(report, k),
                   of_strategy(report, k, "delivered_fraction"));
    for (int f = 0; f < NRW_N_FATES; f++)
        if (f != NRW_FATE_DELIVERED)
            nrw_markup_put(out, "<td>%p</td>",
                           nrw_report_number(report, "figures.strategies.%zu.lost.%s", k,
                                             nrw_fate_name((nrw_fate)f)));
    if (cause >= 0)
        nrw_markup_put(out, "<td>%p: %r</td></tr>\n", worst,
                       nrw_report_cause_word((nrw_loss_cause)cause));
    else
        nrw_markup_put(out, "<td>none</td></tr>\n");
}

void nrw_report_compare_losses(nrw_report *report)
{
    static const char *const heads[] = {
        "Strategy",    "Delivered",  "On walls",  "Washed out",
        "Left behind", "On the way", "Scattered", "Largest cause of loss"};
    size_t n = count_strategies(report);
    if (n == 0)
        return;
    nrw_report_section(report, "losses", "Losses");
    for (size_t k = 0; k < n; k++) {
        char path[48];
        (void)snprintf(path, sizeof path, "figures.strategies.%zu", k);
        nrw_markup_put(&report->out, "<p class='strip-name'>%s</p>\n", strategy_name(report, k));
        nrw_report_strip(report, path);
    }
    nrw_report_table_begin(report, "Losses by strategy", 8, heads);
    for (size_t k = 0; k < n; k++)
        put_loss_row(report, k);
    nrw_report_table_end(report);
    nrw_report_section_end(report);
}
