/* Channels from a few lines of a scenario. */
#ifndef TESTS_CHANNEL_SETUP_H
#define TESTS_CHANNEL_SETUP_H

#include "channel.h"
#include "error.h"
#include "scenario.h"

typedef struct channel_setup {
    nrw_scenario *scenario;
    nrw_channel *channel; /* NULL when refused */
    nrw_status status;
    nrw_errors errors;
} channel_setup;

/* `body` holds channel, release, target and route; fluid, 150 particles of 3 µm
 * (gathered diameter 41.08 µm) and a deadline are put before it. The test fails
 * when the text is no scenario; a refusal by the channel is left to the caller. */
channel_setup channel_setup_of(const char *body);

/* The same with particles of another diameter. */
channel_setup channel_setup_sized(const char *body, double diameter_um);

/* The same, where the channel must come out well. */
channel_setup channel_setup_good(const char *body);

void channel_setup_clear(channel_setup *setup);

/* The channel of the contract's example: a pond, a bent taper to a throat of
 * 16 µm, a room. */
extern const char CHANNEL_EXAMPLE[];

#endif
