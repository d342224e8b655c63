/* Comparisons: several schedules on the same trials, judged by the differences
 * within each trial; the winner measured again on trials that had no part in
 * choosing it (docs/statistics.md). */
#ifndef NRW_COMPARE_H
#define NRW_COMPARE_H

#include <stddef.h>
#include <stdio.h>

#include "estimate.h"

enum { NRW_COMPARE_TRIALS = 16, NRW_COMPARE_MOST = 64 };

/* One that competes; all borrowed. */
typedef struct nrw_contender {
    const char *name;  /* without blanks, unlike the others' */
    const char *words; /* what it does, "" if not told */
    const nrw_schedule *schedule;
} nrw_contender;

typedef struct nrw_compare_pair {
    size_t a, b;       /* contenders, a < b */
    nrw_paired paired; /* of delivered fractions, a - b, over trials that both did; the
                          interval cut to -1...1 */
    nrw_mcnemar goal;  /* trials that reached the goal under one of them only: */
    size_t only_a, only_b;
} nrw_compare_pair;

/* Owned: clear. */
typedef struct nrw_comparison {
    size_t n, n_trials;              /* contenders; trials asked for */
    const nrw_contender *contenders; /* (n), borrowed */
    nrw_trial_record *records;       /* (n x n_trials) */
    nrw_estimate *estimates;         /* (n) */
    nrw_compare_pair *pairs;         /* (n_pairs) by a, then b */
    size_t n_pairs;
    int leader;     /* of the highest mean, the first of equals; -1: nothing was done */
    int runner_up;  /* of the others */
    bool ahead;     /* the leader's paired interval excludes 0 against every other */
    double excess;  /* how much too good the best of n equals looks on average: expected largest
                       of n normals times the leader's standard error */
    bool rechecked; /* leader and runner-up ran on fresh trials: */
    nrw_estimate recheck[2];
    nrw_paired recheck_paired;
    int best; /* the leader if it is ahead, on fresh trials too; -1: a tie */
    char verdict[640];
} nrw_comparison;

/* Compares n >= 2 contenders over n_trials trials (NRW_TRIALS_ESTIMATE); then the
 * leader and the runner-up run as many of NRW_TRIALS_RECHECK, unless they are alike
 * in every trial.
 * Returns nrw_series_run's status; the comparison holds what was done whatever it
 * is. Clear it in every case. */
nrw_status nrw_compare_run(const nrw_series *series, size_t n, const nrw_contender *contenders,
                           size_t n_trials, double goal, nrw_comparison *comparison,
                           nrw_errors *errors);
void nrw_comparison_clear(nrw_comparison *comparison);

/* The comparison's judgement from records and estimates: pairs, leader, ahead,
 * best and verdict (recheck as far as `rechecked`). Without any runs; for tests
 * and remade results. NRW_NO_MEMORY. */
nrw_status nrw_compare_judge(nrw_comparison *comparison);

/* The contract's figures of `compare`, and ours: per strategy `words`; per pair
 * `standard_error`, `p`, `goal_only_a`, `goal_only_b`, `goal_p`; `verdict`,
 * `leader`, `expected_excess`, `recheck`. */
void nrw_compare_figures(nrw_result *result, const nrw_scenario *scenario,
                         const nrw_comparison *comparison);

/* The same in words. */
void nrw_compare_describe(const nrw_comparison *comparison, FILE *stream);

#endif
