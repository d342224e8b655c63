/* What a comparison leaves behind: figures of result.json, and words. */
#include <math.h>

#include "compare.h"

/* --- figures -------------------------------------------------------------------- */

static void add_pair(nrw_result *result, const nrw_comparison *comparison,
                     const nrw_compare_pair *pair)
{
    nrw_result_open_object(result, NULL);
    nrw_result_string(result, "a", comparison->contenders[pair->a].name);
    nrw_result_string(result, "b", comparison->contenders[pair->b].name);
    nrw_result_number(result, "difference", pair->paired.difference);
    nrw_result_number(result, "low", pair->paired.interval.low);
    nrw_result_number(result, "high", pair->paired.interval.high);
    nrw_result_number(result, "standard_error", pair->paired.standard_error);
    nrw_result_number(result, "p", pair->paired.p);
    nrw_result_integer(result, "trials", (int64_t)pair->paired.n);
    nrw_result_integer(result, "goal_only_a", (int64_t)pair->only_a);
    nrw_result_integer(result, "goal_only_b", (int64_t)pair->only_b);
    nrw_result_number(result, "goal_p", pair->goal.p_exact);
    nrw_result_close(result);
}

static void add_recheck(nrw_result *result, const nrw_comparison *comparison)
{
    if (!comparison->rechecked) {
        nrw_result_null(result, "recheck");
        return;
    }
    const nrw_paired *paired = &comparison->recheck_paired;
    const int who[2] = {comparison->leader, comparison->runner_up};
    static const char *const keys[2] = {"leader", "runner_up"};
    nrw_result_open_object(result, "recheck");
    for (int k = 0; k < 2; k++) {
        const nrw_estimate *fresh = &comparison->recheck[k];
        nrw_result_open_object(result, keys[k]);
        nrw_result_string(result, "name", comparison->contenders[who[k]].name);
        nrw_result_integer(result, "trials", (int64_t)fresh->n_trials);
        nrw_result_number(result, "delivered_fraction", fresh->delivered);
        nrw_result_number(result, "delivered_low", fresh->interval.low);
        nrw_result_number(result, "delivered_high", fresh->interval.high);
        nrw_result_close(result);
    }
    nrw_result_number(result, "difference", paired->difference);
    nrw_result_number(result, "low", paired->interval.low);
    nrw_result_number(result, "high", paired->interval.high);
    nrw_result_close(result);
}

void nrw_compare_figures(nrw_result *result, const nrw_scenario *scenario,
                         const nrw_comparison *comparison)
{
    nrw_result_open_array(result, "strategies");
    for (size_t k = 0; k < comparison->n; k++) {
        nrw_result_open_object(result, NULL);
        nrw_result_string(result, "name", comparison->contenders[k].name);
        nrw_result_string(result, "words", comparison->contenders[k].words);
        nrw_estimate_figures(result, scenario, &comparison->estimates[k]);
        nrw_result_close(result);
    }
    nrw_result_close(result);
    nrw_result_open_array(result, "pairs");
    for (size_t k = 0; k < comparison->n_pairs; k++)
        add_pair(result, comparison, &comparison->pairs[k]);
    nrw_result_close(result);
    const int best = comparison->n > 0 ? comparison->best : -1;
    const int leader = comparison->n > 0 ? comparison->leader : -1;
    nrw_result_string(result, "best", best >= 0 ? comparison->contenders[best].name : NULL);
    nrw_result_string(result, "leader", leader >= 0 ? comparison->contenders[leader].name : NULL);
    nrw_result_number(result, "expected_excess", comparison->excess);
    add_recheck(result, comparison);
    nrw_result_string(result, "verdict", comparison->verdict[0] ? comparison->verdict : NULL);
}

/* --- words ------------------------------------------------------------------------ */

static void describe_contenders(const nrw_comparison *comparison, FILE *stream)
{
    (void)fprintf(stream, "  %-18s %9s  %-16s %9s %8s %7s  %s\n", "", "delivered", "95 % interval",
                  "bad trial", "goal in", "time", "drive");
    for (size_t k = 0; k < comparison->n; k++) {
        const nrw_estimate *e = &comparison->estimates[k];
        char interval[40];
        (void)snprintf(interval, sizeof interval, "%.1f to %.1f %%", 100.0 * e->interval.low,
                       100.0 * e->interval.high);
        (void)fprintf(stream, "  %-18s %7.1f %%  %-16s %7.1f %% %3zu/%-4zu %5.0f s  %s\n",
                      comparison->contenders[k].name, 100.0 * e->delivered, interval,
                      100.0 * e->p10, e->n_reached, e->n_trials, e->time_s,
                      comparison->contenders[k].words);
    }
}

static void describe_pairs(const nrw_comparison *comparison, FILE *stream)
{
    (void)fprintf(stream, "\nDifferences within the same trials, in points\n");
    for (size_t k = 0; k < comparison->n_pairs; k++) {
        const nrw_compare_pair *pair = &comparison->pairs[k];
        const nrw_interval *interval = &pair->paired.interval;
        const bool tie = !(interval->low > 0.0 || interval->high < 0.0);
        (void)fprintf(stream, "  %-18s - %-18s %6.1f  (%.1f to %.1f)%s\n",
                      comparison->contenders[pair->a].name, comparison->contenders[pair->b].name,
                      100.0 * pair->paired.difference, 100.0 * interval->low,
                      100.0 * interval->high, tie ? "  tie" : "");
    }
}

void nrw_compare_describe(const nrw_comparison *comparison, FILE *stream)
{
    if (comparison->n == 0 || comparison->leader < 0) {
        (void)fprintf(stream, "Nothing was compared.\n");
        return;
    }
    describe_contenders(comparison, stream);
    describe_pairs(comparison, stream);
    (void)fprintf(stream, "\n%s\n", comparison->verdict);
    if (comparison->rechecked)
        (void)fprintf(stream,
                      "(The best of %zu equals would look %.1f points too good on average: hence "
                      "the fresh trials.)\n",
                      comparison->n, 100.0 * comparison->excess);
}
