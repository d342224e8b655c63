/* The replay: positions, quantised and compressed, for report.js to play. */
#include "report_map.h"

#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <zlib.h>

enum {
    MOST_POINTS = 3000000, /* particles x frames of the replay */
    COARSE_POINTS = 20000  /* of the copy for browsers that can't decompress */
};

/* --- base64 (RFC 4648) ------------------------------------------------------ */

static void put_base64(nrw_markup *out, const unsigned char *bytes, size_t size)
{
    static const char letters[] =
        "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    for (size_t i = 0; i < size; i += 3) {
        unsigned a = bytes[i], b = i + 1 < size ? bytes[i + 1] : 0;
        unsigned c = i + 2 < size ? bytes[i + 2] : 0, word = a << 16 | b << 8 | c;
        char quad[4] = {letters[word >> 18], letters[word >> 12 & 63], letters[word >> 6 & 63],
                        letters[word & 63]};
        if (i + 1 >= size)
            quad[2] = '=';
        if (i + 2 >= size)
            quad[3] = '=';
        nrw_markup_bytes(out, quad, sizeof quad);
    }
}

/* --- positions -------------------------------------------------------------- */

typedef struct replay_grid {
    double x_um, y_um, step_um; /* position = x + step × number, 0...65535 */
} replay_grid;

/* Steps small enough for the eye: a 64th of a particle, or what 16 bits
 * give. */
static replay_grid grid_of(const nrw_report_input *in)
{
    const nrw_run_result *run = in->run;
    double low[2] = {INFINITY, INFINITY}, high[2] = {-INFINITY, -INFINITY};
    const size_t n = run->n_particles * nrw_report_dots_each(in);
    for (size_t i = 0; i < run->n_stored * n; i++) {
        double at[2];
        nrw_report_dot(in, i / n, i % n, at);
        for (int k = 0; k < 2; k++) {
            low[k] = fmin(low[k], at[k]);
            high[k] = fmax(high[k], at[k]);
        }
    }
    double range = fmax(high[0] - low[0], high[1] - low[1]);
    return (replay_grid){low[0], low[1],
                         fmax(range / 65535, in->scenario->particles.diameter_um / 64)};
}

static unsigned on_grid(double value, double origin, double step)
{
    double number = round((value - origin) / step);
    return number >= 0 && number <= 65535 ? (unsigned)number : 0;
}

/* Frames 0, stride, 2 stride, ... as differences from the frame before, modulo
 * 65536: first all low bytes, then all high ones, which compresses well. In each
 * frame all x come before all y. The caller frees it. */
static unsigned char *pack(const nrw_report_input *in, const replay_grid *grid, size_t stride,
                           size_t *size)
{
    const nrw_run_result *run = in->run;
    size_t n = run->n_particles * nrw_report_dots_each(in),
           n_frames = (run->n_stored + stride - 1) / stride;
    size_t n_values = 2 * n * n_frames;
    unsigned char *bytes = malloc(2 * n_values + 1);
    uint16_t *last = calloc(2 * n + 1, sizeof *last);
    for (size_t k = 0; bytes && last && k < n_frames; k++) {
        for (size_t j = 0; j < 2 * n; j++) {
            double at[2];
            nrw_report_dot(in, k * stride, j % n, at);
            unsigned now = j < n ? on_grid(at[0], grid->x_um, grid->step_um)
                                 : on_grid(at[1], grid->y_um, grid->step_um);
            unsigned change = (now - last[j]) & 0xffff;
            last[j] = (uint16_t)now;
            bytes[2 * n * k + j] = (unsigned char)(change & 0xff);
            bytes[n_values + 2 * n * k + j] = (unsigned char)(change >> 8);
        }
    }
    if (!last) {
        free(bytes);
        bytes = NULL;
    }
    free(last);
    *size = 2 * n_values;
    return bytes;
}

/* One copy of the positions: {"stride", "deflated", "bytes"}. */
static void put_positions(nrw_report *report, const char *key, const replay_grid *grid,
                          size_t stride, bool deflated)
{
    nrw_markup *out = &report->out;
    size_t size = 0;
    unsigned char *bytes = pack(report->in, grid, stride, &size), *small = NULL;
    uLongf small_size = deflated ? compressBound((uLong)size) : 0;
    bool packed = bytes != NULL;
    if (packed && deflated) {
        small = malloc(small_size);
        packed = small && compress2(small, &small_size, bytes, (uLong)size, 9) == Z_OK;
    }
    if (packed) {
        nrw_markup_put(out, "\"%r\":{\"stride\":%z,\"deflated\":%r,\"bytes\":\"", key, stride,
                       deflated ? "true" : "false");
        put_base64(out, deflated ? small : bytes, deflated ? (size_t)small_size : size);
        nrw_markup_put(out, "\"}");
    } else {
        out->failed = true;
    }
    free(bytes);
    free(small);
}

/* --- the rest --------------------------------------------------------------- */

static void put_route_point(nrw_report *report, double route_um)
{
    double at[2], along[2];
    nrw_channel_route_point(report->in->channel, route_um, at, along);
    nrw_markup_put(&report->out, "%c,%c,%c,%c", at[0], at[1], along[0], along[1]);
}

/* Frames of imaging: what is drawn over the particles. Rows of time, leg visit,
 * heading, ellipse (centre, axes, angle), front and tail (place and direction of
 * the route there). */
static void put_frames(nrw_report *report, size_t most)
{
    const nrw_run_result *run = report->in->run;
    nrw_markup *out = &report->out;
    size_t stride = run->n_frames > most ? (run->n_frames + most - 1) / most : 1, visit = 0;
    nrw_markup_put(out, "\"frames\":[");
    for (size_t i = 0; i < run->n_frames; i += stride) {
        const nrw_frame *frame = &run->frames[i];
        const nrw_morphology *seen = &frame->seen;
        while (visit + 1 < run->n_visits && frame->time_s > run->visits[visit].end_s)
            visit++;
        nrw_markup_put(out, "%r[%c,%z,%c,%c,%c,%c,%c,%c,", i ? "," : "", frame->time_s, visit,
                       frame->heading_rad, seen->x_um, seen->y_um, seen->major_um, seen->minor_um,
                       seen->angle_deg);
        put_route_point(report, seen->front_um);
        nrw_markup_put(out, ",");
        put_route_point(report, seen->tail_um);
        nrw_markup_put(out, "]");
    }
    nrw_markup_put(out, "]");
}

/* A JSON string is escaped like markup: entities in it are undone by nobody, so
 * names go in as numbered characters instead. */
static void put_json_text(nrw_markup *out, const char *text)
{
    nrw_markup_put(out, "\"");
    for (; *text; text++) {
        char code[8];
        unsigned char byte = (unsigned char)*text;
        if (byte < 0x20 || strchr("\"\\<>&'", *text)) {
            (void)snprintf(code, sizeof code, "\\u%04x", byte);
            nrw_markup_put(out, "%r", code);
        } else {
            nrw_markup_bytes(out, text, 1);
        }
    }
    nrw_markup_put(out, "\"");
}

static void put_job(nrw_report *report)
{
    const nrw_report_input *in = report->in;
    const nrw_run_result *run = in->run;
    nrw_markup *out = &report->out;
    double bounds[4];
    nrw_channel_bounds(in->channel, bounds);
    nrw_markup_put(out, "\"bounds\":[%c,%c,%c,%c],\"target\":[%c,%c,%c],\"legs\":[", bounds[0],
                   bounds[1], bounds[2], bounds[3], in->scenario->target.at_um[0],
                   in->scenario->target.at_um[1], in->scenario->target.radius_um);
    for (size_t i = 0; i < run->n_visits; i++) {
        nrw_markup_put(out, i ? "," : "");
        put_json_text(out, in->schedule->legs[run->visits[i].leg].name);
    }
    nrw_markup_put(out, "],\"fateNames\":[");
    for (int i = 0; i < NRW_N_FATES; i++)
        nrw_markup_put(out, "%r\"%r\"", i ? "," : "", nrw_fate_name((nrw_fate)i));
    nrw_markup_put(out, "],\"fates\":\"");
    const size_t each = nrw_report_dots_each(in);
    for (size_t i = 0; i < run->n_particles * each; i++)
        nrw_markup_put(out, "%d", (int)run->fates[i / each]);
    nrw_markup_put(out, "\"");
}

static void put_data(nrw_report *report)
{
    enum { MOST_FRAMES = 3000 };
    const nrw_run_result *run = report->in->run;
    nrw_markup *out = &report->out;
    replay_grid grid = grid_of(report->in);
    const size_t n = run->n_particles * nrw_report_dots_each(report->in);
    size_t most = MOST_POINTS / n + 1, few = COARSE_POINTS / n + 2;
    size_t stride = (run->n_stored + most - 1) / most;
    size_t coarse = (run->n_stored + few - 1) / few;
    nrw_markup_put(
        out,
        "<script type='application/json' id='replay-data'>{\"n\":%z,\"radius\":%f,"
        "\"origin\":[%f,%f],\"step\":%f,",
        n, nrw_report_dot_share(report->in) * report->in->scenario->particles.diameter_um / 2,
        grid.x_um, grid.y_um, grid.step_um);
    nrw_markup_put(out, "\"times\":[");
    for (size_t i = 0; i < run->n_stored; i++)
        nrw_markup_put(out, "%r%c", i ? "," : "", run->trajectory_time_s[i]);
    nrw_markup_put(out, "],");
    put_job(report);
    nrw_markup_put(out, ",");
    put_frames(report, MOST_FRAMES);
    nrw_markup_put(out, ",");
    put_positions(report, "fine", &grid, stride, true);
    nrw_markup_put(out, ",");
    put_positions(report, "coarse", &grid, coarse, false);
    nrw_markup_put(out, "}</script>\n");
}

static const char controls[] =
    "<figure class='replay' id='replay-player' hidden>\n"
    "<canvas id='replay-canvas' tabindex='0' role='img' aria-label='Replay of the swarm in the "
    "channel; the pictures and tables of this page show the same run'></canvas>\n"
    "<div class='replay-bar'><button type='button' id='replay-play'>Play</button>\n"
    "<input type='range' id='replay-time' min='0' step='0.1' value='0' aria-label='Time of the "
    "run in seconds'/>\n"
    "<label>Speed <select id='replay-speed'><option value='1'>1×</option>"
    "<option value='4' selected='selected'>4×</option><option value='12'>12×</option>"
    "<option value='40'>40×</option></select></label>\n"
    "<label>View <select id='replay-view'><option value='follow'>follow the swarm</option>"
    "<option value='whole'>whole map</option></select></label></div>\n"
    "<p class='replay-status' id='replay-status'></p>\n"
    "<figcaption>Particles coloured by their fate at the end. Ellipse: second moments; bars across "
    "the way: front and tail; arrow: heading of the drive. Keys: space plays and pauses, ← → "
    "step one second, Home and End jump, + and − change the speed, v the view.</figcaption>\n"
    "</figure>\n<p id='replay-none'>The replay needs scripts; the pictures below show the same "
    "run.</p>\n";

void nrw_report_replay(nrw_report *report)
{
    const nrw_run_result *run = report->in->run;
    if (!run || !report->in->channel || run->n_stored < 2 || run->n_particles == 0)
        return;
    nrw_report_section(report, "replay", "Replay");
    nrw_markup_bytes(&report->out, controls, sizeof controls - 1);
    put_data(report);
    nrw_report_section_end(report);
}
