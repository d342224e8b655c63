/* Tallies of a leg of a run over its frames: how high the swarm stands, and what side
 * walls leave of its pair flow. */
#ifndef NRW_LEG_TALLY_H
#define NRW_LEG_TALLY_H

#include "run.h"
#include "world.h"

nrw_leg_tally nrw_leg_tally_none(void);

/* A frame: the mean over the particles, into the mean over the frames. */
void nrw_leg_tally_frame(nrw_leg_tally *tally, const nrw_world *world);

/* Layer of a centre at z_um that would rest at rest_um, from 1: within half a diameter of
 * resting is the first, then one a diameter. */
int nrw_layer_of(double z_um, double rest_um, double diameter_um);

#endif
