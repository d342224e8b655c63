/* Shared by the files that make up mobility.h; internal. */
#ifndef NRW_FLOOR_MOBILITY_H
#define NRW_FLOOR_MOBILITY_H

#include "mobility.h"

/* Mobilities of a resistance; dmz is left at 0. */
nrw_floor_mobility nrw_floor_mobility_of(const nrw_floor_resistance *resistance);

#endif
