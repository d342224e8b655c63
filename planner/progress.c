#include "progress.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#define TERMINAL_EVERY_S 0.1
#define PLAIN_EVERY_S 10.0

double nrw_progress_clock_s(void)
{
    struct timespec now;
    if (clock_gettime(CLOCK_MONOTONIC, &now) != 0)
        return 0.0;
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

bool nrw_progress_colours(FILE *stream)
{
    const char *no_color = getenv("NO_COLOR"), *term = getenv("TERM");
    return isatty(fileno(stream)) && !(no_color && no_color[0]) &&
           !(term && strcmp(term, "dumb") == 0);
}

nrw_progress_line nrw_progress_line_begin(const char *what, const char *unit, bool quiet)
{
    nrw_progress_line line = {.what = what, .unit = unit};
    const char *term = getenv("TERM");
    line.stream = quiet ? NULL : stderr;
    line.terminal = isatty(fileno(stderr)) && !(term && strcmp(term, "dumb") == 0);
    line.started_s = nrw_progress_clock_s();
    /* Elsewhere short work shows nothing at all. */
    line.shown_s = line.terminal ? line.started_s - 1.0 : line.started_s;
    return line;
}

/* "8 s", "3 min 20 s", "2 h 5 min". */
static void format_duration(double seconds, char *text, size_t size)
{
    long s = lround(fmin(fmax(seconds, 0.0), 1e9));
    if (s < 60)
        (void)snprintf(text, size, "%ld s", s);
    else if (s < 3600)
        (void)snprintf(text, size, "%ld min %ld s", s / 60, s % 60);
    else
        (void)snprintf(text, size, "%ld h %ld min", s / 3600, s / 60 % 60);
}

void nrw_progress_line_format(const nrw_progress_line *line, double done, double of,
                              double elapsed_s, char *text, size_t size)
{
    char left[48] = "?";
    double rate = elapsed_s > 0.0 ? done / elapsed_s : 0.0;
    double percent = of > 0.0 ? 100.0 * fmin(done / of, 1.0) : 0.0;
    if (rate > 0.0)
        format_duration((of - done) / rate, left, sizeof left);
    (void)snprintf(text, size, "%s: %.4g of %.4g %s (%.0f %%), %.3g per second, about %s left",
                   line->what, done, of, line->unit, percent, rate, left);
}

void nrw_progress_line_update(nrw_progress_line *line, double done, double of)
{
    if (!line->stream)
        return;
    double now = nrw_progress_clock_s();
    if (now - line->shown_s < (line->terminal ? TERMINAL_EVERY_S : PLAIN_EVERY_S))
        return;
    line->shown_s = now;
    char text[256];
    nrw_progress_line_format(line, done, of, now - line->started_s, text, sizeof text);
    if (!line->terminal)
        (void)fprintf(line->stream, "%s\n", text);
    else if (nrw_progress_colours(line->stream))
        (void)fprintf(line->stream, "\r\033[K\033[2m%s\033[0m", text);
    else
        (void)fprintf(line->stream, "\r\033[K%s", text);
    (void)fflush(line->stream);
}

void nrw_progress_line_end(nrw_progress_line *line)
{
    if (line->stream && line->terminal)
        (void)fprintf(line->stream, "\r\033[K");
    line->stream = NULL;
}
