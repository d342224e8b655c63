/* Channels from a few lines of a scenario. */
#ifndef TESTS_CHANNEL_SETUP_H
#define TESTS_CHANNEL_SETUP_H

#include <stdint.h>

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
/* 300 µm of 80 µm; a vessel of 80 µm that forks into 30 and 24; two vessels with a thin wall
 * between them. */
extern const char CHANNEL_STRAIGHT[], CHANNEL_FORK[], CHANNEL_THIN_WALL[];

/* The exact distance to the walls, µm. */
double channel_setup_exact_um(const channel_setup *setup, double x, double y);

/* A random number for each index and step, the same every time. */
double channel_setup_uniform(uint32_t index, uint32_t step, double low, double high);

/* Within the outline, µm²; islands of wall taken out. */
double channel_setup_area_um2(const channel_setup *setup);

#endif
