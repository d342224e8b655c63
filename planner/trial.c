#include "trial.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_qrng.h>
#include <math.h>
#include <stdlib.h>

#include "random.h"

/* GSL's Sobol points are multiples of 2^-30. */
enum { SOBOL_BITS = 30 };

/* Counters of the family's random words: apart for seeds, shifts and the place
 * inside the last cell. */
enum { WORDS_SEED, WORDS_SHIFT, WORDS_INSIDE };

static void words_of(uint64_t seed, nrw_trial_family family, uint32_t use, uint32_t trial,
                     uint32_t words[4])
{
    const uint32_t counter[4] = {trial, use, NRW_STREAM_DRAW, (uint32_t)family};
    const uint32_t key[2] = {(uint32_t)seed, (uint32_t)(seed >> 32)};
    nrw_philox(counter, key, words);
}

double nrw_lognormal_factor(double cv, double p)
{
    if (!(cv > 0.0))
        return 1.0;
    double variance = log1p(cv * cv);
    return exp(sqrt(variance) * gsl_cdf_ugaussian_Pinv(p) - 0.5 * variance);
}

/* One trial from its Sobol point (multiples of 2^-30): flipped bits, then a
 * random place inside the cell of 2^-30, never 0 or 1. */
static nrw_trial trial_at(const nrw_uncertainty *uncertainty, uint64_t seed,
                          nrw_trial_family family, size_t index, const double point[NRW_N_DRAWN])
{
    uint32_t words[4], shift[4], inside[4];
    words_of(seed, family, WORDS_SEED, (uint32_t)index, words);
    words_of(seed, family, WORDS_SHIFT, 0, shift);
    words_of(seed, family, WORDS_INSIDE, (uint32_t)index, inside);
    const double cvs[NRW_N_DRAWN] = {uncertainty->moment_cv, uncertainty->viscosity_cv,
                                     uncertainty->rolling_cv, uncertainty->pair_flow_cv};
    double factors[NRW_N_DRAWN];
    for (int j = 0; j < NRW_N_DRAWN; j++) {
        uint32_t cell = (uint32_t)(point[j] * 0x1p30) ^ (shift[j] >> (32 - SOBOL_BITS));
        double p = ((double)cell + ((double)inside[j] + 0.5) * 0x1p-32) * 0x1p-30;
        factors[j] = nrw_lognormal_factor(cvs[j], p);
    }
    uint64_t run_seed = (((uint64_t)words[0] << 32) | words[1]) >> 11;
    return (nrw_trial){index, run_seed, {factors[0], factors[1], factors[2], factors[3]}};
}

nrw_status nrw_trials_draw(const nrw_uncertainty *uncertainty, uint64_t seed,
                           nrw_trial_family family, size_t first, size_t n, nrw_trial *trials)
{
    /* The generator's own allocation aborts when memory is short; its type lets
     * the caller hold the state. It starts at the second point of the sequence,
     * so trial 0 takes the first one, the origin. */
    const gsl_qrng_type *sobol = gsl_qrng_sobol;
    void *state = malloc(sobol->state_size(NRW_N_DRAWN));
    if (!state)
        return NRW_NO_MEMORY;
    sobol->init_state(state, NRW_N_DRAWN);
    double point[NRW_N_DRAWN] = {0};
    for (size_t index = 0; index < first + n; index++) {
        if (index > 0)
            sobol->get(state, NRW_N_DRAWN, point);
        if (index >= first)
            trials[index - first] = trial_at(uncertainty, seed, family, index, point);
    }
    free(state);
    return NRW_OK;
}

static const struct {
    const char *key, *name;
} drawn[NRW_N_DRAWN] = {
    {"moment", "magnetic moment"},
    {"viscosity", "viscosity"},
    {"rolling", "rolling factor"},
    {"pair_flow", "pair flow factor"},
};

const char *nrw_drawn_key(int parameter)
{
    return drawn[parameter].key;
}

const char *nrw_drawn_name(int parameter)
{
    return drawn[parameter].name;
}

double nrw_drawn_factor(const nrw_draw *draw, int parameter)
{
    const double factors[NRW_N_DRAWN] = {draw->moment, draw->viscosity, draw->rolling,
                                         draw->pair_flow};
    return factors[parameter];
}
