#include "compare.h"

#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#define CONFIDENCE 0.95

/* --- pairs -------------------------------------------------------------------- */

/* Delivered fractions of the trials that both did: values_a, values_b (n). */
static size_t common_trials(size_t n, const nrw_trial_record *a, const nrw_trial_record *b,
                            double *values_a, double *values_b)
{
    size_t n_common = 0;
    for (size_t k = 0; k < n; k++) {
        if (!nrw_trial_record_done(&a[k]) || !nrw_trial_record_done(&b[k]))
            continue;
        values_a[n_common] = a[k].outcome.delivered;
        values_b[n_common++] = b[k].outcome.delivered;
    }
    return n_common;
}

static nrw_status pair_up(size_t n, const nrw_trial_record *a, const nrw_trial_record *b,
                          double goal, nrw_compare_pair *pair)
{
    double *values = calloc(2 * n + 1, sizeof *values);
    if (!values)
        return NRW_NO_MEMORY;
    const size_t n_common = common_trials(n, a, b, values, values + n);
    pair->paired = nrw_paired_comparison(n_common, values, values + n, CONFIDENCE);
    /* fractions differ by 1 at most */
    if (n_common >= 2) {
        pair->paired.interval.low = fmax(-1.0, pair->paired.interval.low);
        pair->paired.interval.high = fmin(1.0, pair->paired.interval.high);
    }
    pair->only_a = pair->only_b = 0;
    for (size_t k = 0; k < n_common; k++) {
        pair->only_a += values[k] >= goal && !(values[n + k] >= goal);
        pair->only_b += values[n + k] >= goal && !(values[k] >= goal);
    }
    pair->goal = nrw_mcnemar_test(pair->only_a, pair->only_b);
    free(values);
    return NRW_OK;
}

static nrw_trial_record *records_of(const nrw_comparison *comparison, size_t contender)
{
    return comparison->records + contender * comparison->n_trials;
}

static nrw_status pair_all(nrw_comparison *comparison)
{
    const size_t n = comparison->n;
    free(comparison->pairs);
    comparison->n_pairs = 0;
    comparison->pairs = calloc(n * n + 1, sizeof *comparison->pairs);
    if (!comparison->pairs)
        return NRW_NO_MEMORY;
    for (size_t a = 0; a < n; a++)
        for (size_t b = a + 1; b < n; b++) {
            nrw_compare_pair *pair = &comparison->pairs[comparison->n_pairs++];
            pair->a = a;
            pair->b = b;
            nrw_status status =
                pair_up(comparison->n_trials, records_of(comparison, a), records_of(comparison, b),
                        comparison->estimates[a].goal, pair);
            if (status != NRW_OK)
                return status;
        }
    return NRW_OK;
}

/* Lowest likely lead of contender a over b. */
static double least_lead(const nrw_comparison *comparison, size_t a, size_t b)
{
    for (size_t k = 0; k < comparison->n_pairs; k++) {
        const nrw_compare_pair *pair = &comparison->pairs[k];
        if (pair->a == a && pair->b == b)
            return pair->paired.interval.low;
        if (pair->a == b && pair->b == a)
            return -pair->paired.interval.high;
    }
    return NAN;
}

/* --- the verdict ------------------------------------------------------------------ */

static void find_leader(nrw_comparison *comparison)
{
    comparison->leader = comparison->runner_up = -1;
    for (size_t k = 0; k < comparison->n; k++) {
        const double mean = comparison->estimates[k].delivered;
        if (isnan(mean))
            continue;
        const int leader = comparison->leader, second = comparison->runner_up;
        if (leader < 0 || mean > comparison->estimates[leader].delivered) {
            comparison->runner_up = leader;
            comparison->leader = (int)k;
        } else if (second < 0 || mean > comparison->estimates[second].delivered) {
            comparison->runner_up = (int)k;
        }
    }
    comparison->ahead = comparison->runner_up >= 0;
    for (size_t k = 0; comparison->ahead && k < comparison->n; k++)
        if ((int)k != comparison->leader &&
            !(least_lead(comparison, (size_t)comparison->leader, k) > 0.0))
            comparison->ahead = false;
}

static void say(nrw_comparison *comparison, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

static void say(nrw_comparison *comparison, const char *format, ...)
{
    const size_t used = strlen(comparison->verdict);
    va_list arguments;
    va_start(arguments, format);
    (void)vsnprintf(comparison->verdict + used, sizeof comparison->verdict - used, format,
                    arguments);
    va_end(arguments);
}

/* Those that the leader isn't surely ahead of. */
static void say_tied(nrw_comparison *comparison)
{
    const size_t leader = (size_t)comparison->leader;
    size_t n_tied = 0, n_equal = 0;
    for (size_t k = 0; k < comparison->n; k++)
        n_equal += comparison->estimates[k].delivered == comparison->estimates[leader].delivered;
    if (n_equal == comparison->n) {
        say(comparison, "A tie: all deliver %.1f %% on average.",
            100.0 * comparison->estimates[leader].delivered);
        return;
    }
    say(comparison,
        "A tie: '%s' has the highest mean (%.1f %%), but these trials can't tell it from ",
        comparison->contenders[leader].name, 100.0 * comparison->estimates[leader].delivered);
    for (size_t k = 0; k < comparison->n; k++) {
        if (k == leader || isnan(comparison->estimates[k].delivered) ||
            least_lead(comparison, leader, k) > 0.0)
            continue;
        say(comparison, "%s'%s'", n_tied++ > 0 ? ", " : "", comparison->contenders[k].name);
    }
    say(comparison, ".");
    if (comparison->rechecked)
        say(comparison, " On fresh trials it delivers %.1f %% (%.1f to %.1f %%), '%s' %.1f %%.",
            100.0 * comparison->recheck[0].delivered, 100.0 * comparison->recheck[0].interval.low,
            100.0 * comparison->recheck[0].interval.high,
            comparison->contenders[comparison->runner_up].name,
            100.0 * comparison->recheck[1].delivered);
}

static void say_best(nrw_comparison *comparison)
{
    const nrw_contender *contenders = comparison->contenders;
    const int leader = comparison->leader, second = comparison->runner_up;
    const nrw_estimate *fresh = &comparison->recheck[0];
    const nrw_paired *paired = &comparison->recheck_paired;
    if (!comparison->rechecked) {
        say(comparison,
            "'%s' is ahead of every other (by %.1f points at least), not yet measured on fresh "
            "trials.",
            contenders[leader].name,
            100.0 * least_lead(comparison, (size_t)leader, (size_t)second));
        return;
    }
    if (comparison->best >= 0)
        say(comparison,
            "'%s' is best: on fresh trials it delivers %.1f %% (%.1f to %.1f %%), %.1f points more "
            "than '%s' (%.1f to %.1f).",
            contenders[leader].name, 100.0 * fresh->delivered, 100.0 * fresh->interval.low,
            100.0 * fresh->interval.high, 100.0 * paired->difference, contenders[second].name,
            100.0 * paired->interval.low, 100.0 * paired->interval.high);
    else
        say(comparison,
            "A tie: '%s' was ahead of '%s' in the trials that chose it, but on fresh ones the "
            "difference is %.1f points (%.1f to %.1f).",
            contenders[leader].name, contenders[second].name, 100.0 * paired->difference,
            100.0 * paired->interval.low, 100.0 * paired->interval.high);
}

nrw_status nrw_compare_judge(nrw_comparison *comparison)
{
    nrw_status status = pair_all(comparison);
    if (status != NRW_OK)
        return status;
    find_leader(comparison);
    comparison->best = -1;
    comparison->excess = NAN;
    comparison->verdict[0] = '\0';
    if (comparison->leader < 0 || comparison->runner_up < 0) {
        say(comparison, "Nothing can be compared: too few trials were done.");
        return NRW_OK;
    }
    const nrw_estimate *leader = &comparison->estimates[comparison->leader];
    comparison->excess =
        nrw_expected_maximum(comparison->n) * leader->deviation / sqrt((double)leader->n_trials);
    if (comparison->ahead && comparison->rechecked && comparison->recheck_paired.interval.low > 0.0)
        comparison->best = comparison->leader;
    if (comparison->ahead)
        say_best(comparison);
    else
        say_tied(comparison);
    return NRW_OK;
}

/* --- runs ---------------------------------------------------------------------------- */

/* Whether leader and runner-up differ in any trial: copies need no second look. */
static bool differ(const nrw_comparison *comparison)
{
    if (comparison->leader < 0 || comparison->runner_up < 0)
        return false;
    const nrw_trial_record *a = records_of(comparison, (size_t)comparison->leader);
    const nrw_trial_record *b = records_of(comparison, (size_t)comparison->runner_up);
    for (size_t k = 0; k < comparison->n_trials; k++)
        if (a[k].outcome.delivered != b[k].outcome.delivered)
            return true;
    return false;
}

/* Leader and runner-up on trials that had no part in the choice. */
static nrw_status recheck(const nrw_series *series, nrw_comparison *comparison, double goal,
                          nrw_errors *errors)
{
    const size_t n = comparison->n_trials;
    const int who[2] = {comparison->leader, comparison->runner_up};
    nrw_trial_record *records = nrw_trial_records_create(2 * n);
    if (!records)
        return nrw_errors_add(errors, NRW_NO_MEMORY, "", "no memory for the trials");
    nrw_series_lane lanes[2];
    for (int k = 0; k < 2; k++)
        lanes[k] =
            (nrw_series_lane){comparison->contenders[who[k]].name,
                              comparison->contenders[who[k]].schedule, records + (size_t)k * n};
    nrw_status status = nrw_series_run(series, NRW_TRIALS_RECHECK, 0, n, 2, lanes, errors);
    for (int k = 0; status == NRW_OK && k < 2; k++)
        status =
            nrw_estimate_of(&comparison->recheck[k], series->scenario, n, lanes[k].records, goal);
    nrw_compare_pair pair;
    if (status == NRW_OK)
        status = pair_up(n, lanes[0].records, lanes[1].records, goal, &pair);
    if (status == NRW_OK) {
        comparison->recheck_paired = pair.paired;
        comparison->rechecked = true;
    }
    nrw_trial_records_destroy(2 * n, records);
    return status;
}

static nrw_status estimate_all(const nrw_series *series, nrw_comparison *comparison, double goal,
                               nrw_errors *errors)
{
    for (size_t k = 0; k < comparison->n; k++) {
        nrw_status status = nrw_estimate_of(&comparison->estimates[k], series->scenario,
                                            comparison->n_trials, records_of(comparison, k), goal);
        if (status == NRW_NO_MEMORY)
            return nrw_errors_add(errors, status, "", "no memory for the figures of the trials");
    }
    return NRW_OK;
}

static nrw_status run_all(const nrw_series *series, nrw_comparison *comparison, double goal,
                          nrw_errors *errors)
{
    nrw_series_lane *lanes = calloc(comparison->n, sizeof *lanes);
    if (!lanes)
        return nrw_errors_add(errors, NRW_NO_MEMORY, "", "no memory for the trials");
    for (size_t k = 0; k < comparison->n; k++)
        lanes[k] = (nrw_series_lane){comparison->contenders[k].name,
                                     comparison->contenders[k].schedule, records_of(comparison, k)};
    nrw_status status = nrw_series_run(series, NRW_TRIALS_ESTIMATE, 0, comparison->n_trials,
                                       comparison->n, lanes, errors);
    free(lanes);
    if (status != NRW_OK && status != NRW_INTERRUPTED)
        return status;
    nrw_status judged = estimate_all(series, comparison, goal, errors);
    if (judged == NRW_OK)
        judged = nrw_compare_judge(comparison);
    return judged == NRW_OK ? status : judged;
}

static nrw_status make_room(nrw_comparison *comparison, size_t n, size_t n_trials)
{
    comparison->estimates = calloc(n, sizeof *comparison->estimates);
    comparison->records = nrw_trial_records_create(n * n_trials);
    if (!comparison->estimates || !comparison->records)
        return NRW_NO_MEMORY;
    comparison->n = n;
    comparison->n_trials = n_trials;
    return NRW_OK;
}

nrw_status nrw_compare_run(const nrw_series *series, size_t n, const nrw_contender *contenders,
                           size_t n_trials, double goal, nrw_comparison *comparison,
                           nrw_errors *errors)
{
    if (isnan(goal))
        goal = series->scenario->goal.fraction_min;
    memset(comparison, 0, sizeof *comparison);
    comparison->contenders = contenders;
    comparison->leader = comparison->runner_up = comparison->best = -1;
    comparison->excess = NAN;
    if (make_room(comparison, n, n_trials) != NRW_OK)
        return nrw_errors_add(errors, NRW_NO_MEMORY, "", "no memory for %zu trials", n * n_trials);
    nrw_status status = run_all(series, comparison, goal, errors);
    if (status != NRW_OK || !differ(comparison))
        return status;
    status = recheck(series, comparison, goal, errors);
    nrw_status judged = nrw_compare_judge(comparison);
    return status == NRW_OK ? judged : status;
}

void nrw_comparison_clear(nrw_comparison *comparison)
{
    for (size_t k = 0; k < comparison->n; k++)
        nrw_estimate_clear(&comparison->estimates[k]);
    nrw_trial_records_destroy(comparison->n * comparison->n_trials, comparison->records);
    for (int k = 0; k < 2; k++)
        nrw_estimate_clear(&comparison->recheck[k]);
    free(comparison->estimates);
    free(comparison->pairs);
    memset(comparison, 0, sizeof *comparison);
}
