/* What to verify before the first experiment: signs, axes, handedness, picture.
 *
 * Each entry says what to do and what must then be seen, with the numbers of the
 * scenario. A wrong sign in one coil or a flipped picture turns a good schedule
 * into one that drives the swarm away. */
#ifndef NRW_SIGNS_H
#define NRW_SIGNS_H

#include <stddef.h>

#include "error.h"
#include "scenario.h"

typedef struct nrw_sign_check {
    char what[96];       /* e.g. "Coil x" */
    char how[320];       /* what to do */
    char expect[320];    /* what must be seen */
    char otherwise[320]; /* what a different observation means */
} nrw_sign_check;

/* Most that nrw_signs_list yields. */
#define NRW_SIGNS_MAX 32

/* Fills checks (NRW_SIGNS_MAX) for a scenario with a rig; *n gets how many.
 * NRW_BAD_INPUT without one. */
nrw_status nrw_signs_list(const nrw_scenario *scenario, nrw_sign_check *checks, size_t *n,
                          nrw_errors *errors);

#endif
