/* The rig in figures and words, for `check`. */
#ifndef NRW_RIG_WORDS_H
#define NRW_RIG_WORDS_H

#include <stdio.h>

#include "error.h"
#include "result.h"
#include "scenario.h"

/* Adds `rig` to the figures (null without one): `curve`, the largest field
 * against frequency for rotation in the plane and for rolling, with what limits
 * each; `corner_Hz` of each coil; `off_centre`, what a millimetre from the
 * coils' middle does (null unless their geometry is known). */
void nrw_rig_add_figures(nrw_result *result, const nrw_scenario *scenario);

/* The same for people. Nothing without a rig. */
void nrw_rig_describe(const nrw_scenario *scenario, FILE *stream);

/* Adds `signs`: [{`what`, `how`, `expect`, `otherwise`}], what to verify before
 * the first experiment. NRW_BAD_INPUT without a rig. */
nrw_status nrw_signs_add_figures(nrw_result *result, const nrw_scenario *scenario,
                                 nrw_errors *errors);

/* The same as a numbered list for people. */
void nrw_signs_describe(const nrw_scenario *scenario, FILE *stream);

#endif
