/* Maps drawn as pictures: of channels, and of letters in a text. */
#ifndef TESTS_DRAWN_MAP_H
#define TESTS_DRAWN_MAP_H

#include <stdbool.h>
#include <stddef.h>

#include "channel.h"
#include "mask_picture.h"
#include "scenario.h"

/* Lines of a text, the first one at the top: '#' is wall, '.' fluid, '0' to '9' grey
 * levels in tenths of white. The caller clears it. */
nrw_picture drawn_text(const char *const lines[], size_t n_lines);

/* A channel, with room around it, from `origin_um` on. `soft` gives pixels that the
 * wall cuts the grey of the share of fluid in them, else each is black or white by its
 * centre. */
nrw_picture drawn_channel(const nrw_channel *channel, double pixel_um, bool soft,
                          double origin_um[2]);

/* Writes a picture as a raw PGM file. */
void drawn_write_pgm(const nrw_picture *picture, const char *path);

/* The scenario `yaml` as if read from `folder`/drawn.yaml; the test fails when it is
 * not good. */
nrw_scenario *drawn_scenario(const char *yaml, const char *folder);

/* Its channel, likewise. */
nrw_channel *drawn_channel_of(const nrw_scenario *scenario);

/* A small scenario with that channel block (the keys below `channel:`, indented by
 * two), and what follows it. The caller frees it. */
char *drawn_yaml(const char *channel, const char *rest);

#endif
