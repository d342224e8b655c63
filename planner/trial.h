/* Trials: repeats of a run, each with its own seed and its own draw of what is
 * uncertain from batch to batch. */
#ifndef NRW_TRIAL_H
#define NRW_TRIAL_H

#include <stddef.h>
#include <stdint.h>

#include "error.h"
#include "run.h"
#include "scenario.h"

/* Families of trials share no seed and no draw, so that what was chosen on one
 * is judged on another. */
typedef enum nrw_trial_family {
    NRW_TRIALS_ESTIMATE, /* estimate and compare: the same for every schedule */
    NRW_TRIALS_SEARCH,   /* candidates of a search */
    NRW_TRIALS_VERIFY,   /* the winner of a search */
    NRW_TRIALS_RECHECK,  /* the winner of a comparison */
    NRW_TRIALS_SWEEP     /* repeats of a state map's points */
} nrw_trial_family;

typedef struct nrw_trial {
    size_t index;
    uint64_t seed; /* of its run; below 2^53, so that JSON and spreadsheets keep it whole */
    nrw_draw draw;
} nrw_trial;

/* Factor of a log-normal with mean 1 and coefficient of variation cv >= 0 at
 * probability p in (0, 1): exp(σ z_p - σ²/2), σ² = ln(1 + cv²). Exactly 1 for
 * cv = 0. */
double nrw_lognormal_factor(double cv, double p);

/* Trials first...first + n - 1 of a family: trials (n).
 *
 * The four parameters are stratified together: probabilities follow a Sobol
 * sequence (GSL; Bratley & Fox 1988, ACM Trans. Math. Softw. 14:88) whose bits
 * are flipped by the seed (digital shift), so the first 2^m trials put one draw
 * into each of 2^m equally likely ranges of every parameter. Each draw by itself
 * has exactly the stated distribution. Trial k depends on (uncertainty, seed,
 * family, k) alone, not on n: a trial can be redone by itself, and stopping
 * early or going on later keeps the others. A parameter's draw doesn't depend
 * on the cv of another.
 *
 * O(first + n). Thread safe. first + n <= 2^30. NRW_NO_MEMORY. */
nrw_status nrw_trials_draw(const nrw_uncertainty *uncertainty, uint64_t seed,
                           nrw_trial_family family, size_t first, size_t n, nrw_trial *trials);

/* Uncertain parameters in the order of nrw_draw: how many, the name of a column
 * ("pair_flow"), the name in a sentence ("pair flow factor"), the factor. */
enum { NRW_N_DRAWN = 4 };
const char *nrw_drawn_key(int parameter);
const char *nrw_drawn_name(int parameter);
double nrw_drawn_factor(const nrw_draw *draw, int parameter);

#endif
