/* Progress of long work on stderr: a line redrawn on a terminal, otherwise a
 * plain line now and then. */
#ifndef NRW_PROGRESS_H
#define NRW_PROGRESS_H

#include <stdbool.h>
#include <stdio.h>

typedef struct nrw_progress_line {
    FILE *stream; /* NULL: silent */
    bool terminal;
    const char *what;          /* e.g. "run"; borrowed */
    const char *unit;          /* of what is counted, e.g. "s simulated"; borrowed */
    double started_s, shown_s; /* monotonic clock; shown_s < started_s: never yet */
} nrw_progress_line;

/* Starts a line on stderr, or a silent one when `quiet`. */
nrw_progress_line nrw_progress_line_begin(const char *what, const char *unit, bool quiet);

/* Shows `done` of `of`, with rate and time left; cheap to call often: redrawn
 * at most ten times a second on a terminal, every ten seconds elsewhere. */
void nrw_progress_line_update(nrw_progress_line *line, double done, double of);

/* Removes the line from a terminal. */
void nrw_progress_line_end(nrw_progress_line *line);

/* The text of the line, without colour; `elapsed_s` since the start. */
void nrw_progress_line_format(const nrw_progress_line *line, double done, double of,
                              double elapsed_s, char *text, size_t size);

/* Whether a stream takes colours: a terminal that isn't dumb, and no NO_COLOR. */
bool nrw_progress_colours(FILE *stream);

/* Monotonic clock, s. */
double nrw_progress_clock_s(void);

#endif
