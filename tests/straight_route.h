/* An open map with a straight route, for tests that need a channel at hand. */
#ifndef TESTS_STRAIGHT_ROUTE_H
#define TESTS_STRAIGHT_ROUTE_H

#include "channel.h"

/* A channel without walls whose route runs straight from one point to another
 * (µm). The caller destroys it; the test fails when it can't be made. */
nrw_channel *straight_route(double from_x_um, double from_y_um, double to_x_um, double to_y_um);

#endif
