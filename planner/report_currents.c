/* Coil currents over the whole export and close up, from currents.npy. */
#include "report_parts.h"

#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rig.h"
#include "svg.h"

enum { BINS = 420, CLOSE_SAMPLES = 600 };

typedef struct current_data {
    nrw_rig_model rig;
    size_t n_coils, n_samples, offset;
    double duration_s;
    double low[NRW_COILS_MAX][BINS], high[NRW_COILS_MAX][BINS];
    /* a close-up: (n_close) samples from close_s on */
    double close[NRW_COILS_MAX][CLOSE_SAMPLES];
    size_t n_close;
    double close_s, sample_s;
} current_data;

/* --- reading --------------------------------------------------------------------------- */

static double from_float32(const unsigned char bytes[4])
{
    uint32_t bits = (uint32_t)bytes[0] | (uint32_t)bytes[1] << 8 | (uint32_t)bytes[2] << 16 |
                    (uint32_t)bytes[3] << 24;
    float value;
    memcpy(&value, &bits, sizeof value);
    return (double)value;
}

/* Where the numbers begin (NumPy format 1.0, little-endian float32); 0: another file. */
static size_t data_offset(FILE *file)
{
    enum { PREAMBLE = 10 };
    unsigned char head[PREAMBLE];
    if (fread(head, 1, PREAMBLE, file) != PREAMBLE || memcmp(head, "\x93NUMPY\x01", 7) != 0)
        return 0;
    return PREAMBLE + ((size_t)head[8] | (size_t)head[9] << 8);
}

/* Smallest and largest of every bin, in one pass. */
static bool read_envelope(FILE *file, current_data *data)
{
    unsigned char row[4 * NRW_COILS_MAX];
    for (size_t c = 0; c < data->n_coils; c++)
        for (int b = 0; b < BINS; b++) {
            data->low[c][b] = INFINITY;
            data->high[c][b] = -INFINITY;
        }
    if (fseek(file, (long)data->offset, SEEK_SET) != 0)
        return false;
    for (size_t i = 0; i < data->n_samples; i++) {
        size_t bin = i * BINS / data->n_samples;
        if (fread(row, 4, data->n_coils, file) != data->n_coils)
            return false;
        for (size_t c = 0; c < data->n_coils; c++) {
            double value = from_float32(row + 4 * c);
            data->low[c][bin] = fmin(data->low[c][bin], value);
            data->high[c][bin] = fmax(data->high[c][bin], value);
        }
    }
    /* more bins than samples: an empty one is like the one before */
    for (size_t c = 0; c < data->n_coils; c++)
        for (int b = 1; b < BINS; b++)
            if (!(data->low[c][b] <= data->high[c][b])) {
                data->low[c][b] = data->low[c][b - 1];
                data->high[c][b] = data->high[c][b - 1];
            }
    return true;
}

/* Three turns of the first periodic leg, from the middle of the export on. */
static bool read_close(FILE *file, const nrw_schedule *schedule, current_data *data)
{
    unsigned char row[4 * NRW_COILS_MAX];
    double frequency = 0;
    for (size_t i = 0; i < schedule->n_legs && !(frequency > 0); i++) {
        const nrw_drive_setting *main = &schedule->legs[i].drive.main;
        if (main->mode != NRW_DRIVE_OFF && main->mode != NRW_DRIVE_STEADY)
            frequency = main->frequency_Hz;
    }
    double wanted = frequency > 0 ? 3 / frequency / data->sample_s : CLOSE_SAMPLES;
    size_t span = (size_t)fmin(fmax(wanted, 2), (double)data->n_samples);
    size_t stride = (span + CLOSE_SAMPLES - 1) / CLOSE_SAMPLES;
    size_t first = (data->n_samples - span) / 2;
    data->close_s = (double)first * data->sample_s;
    data->n_close = 0;
    for (size_t i = 0; i < span; i += stride) {
        long at = (long)(data->offset + 4 * data->n_coils * (first + i));
        if (fseek(file, at, SEEK_SET) != 0 || fread(row, 4, data->n_coils, file) != data->n_coils)
            return false;
        for (size_t c = 0; c < data->n_coils; c++)
            data->close[c][data->n_close] = from_float32(row + 4 * c);
        data->n_close++;
    }
    data->sample_s *= (double)stride;
    return data->n_close > 1;
}

static bool read_currents(const nrw_report *report, current_data *data)
{
    char path[4096];
    nrw_errors ignored;
    nrw_errors_init(&ignored);
    bool known = nrw_rig_model_init(&data->rig, &report->in->scenario->rig, &ignored) == NRW_OK;
    nrw_errors_clear(&ignored);
    data->n_coils = known ? (size_t)data->rig.n_coils : 0;
    double samples = nrw_report_number(report, "figures.samples");
    data->duration_s = nrw_report_number(report, "figures.duration_s");
    if (data->n_coils == 0 || !(samples >= 2) || !(data->duration_s > 0) || !report->in->dir)
        return false;
    data->n_samples = (size_t)samples;
    data->sample_s = data->duration_s / samples;
    (void)snprintf(path, sizeof path, "%s/currents.npy", report->in->dir);
    FILE *file = fopen(path, "rb");
    if (!file)
        return false;
    data->offset = data_offset(file);
    bool read = data->offset > 0 && read_envelope(file, data) &&
                read_close(file, report->in->schedule, data);
    (void)fclose(file);
    return read;
}

/* --- pictures ---------------------------------------------------------------------------- */

static double peak_of(const current_data *data, size_t c)
{
    double peak = 0;
    for (int b = 0; b < BINS; b++)
        peak = fmax(peak, fmax(fabs(data->low[c][b]), fabs(data->high[c][b])));
    return peak;
}

static double allowed_of(const current_data *data, size_t c)
{
    return data->rig.allowed[NRW_RIG_PEAK_A][c];
}

static void put_envelope(nrw_report *report, const current_data *data, size_t c)
{
    enum { WIDTH = 460, HEIGHT = 220, LEFT = 44, TOP = 30, RIGHT = 12, BOTTOM = 42 };
    nrw_markup *out = &report->out;
    char id[40], title[128];
    double times[BINS], allowed = allowed_of(data, c);
    double reach = 1.12 * fmax(peak_of(data, c), isfinite(allowed) ? allowed : 0);
    for (int b = 0; b < BINS; b++)
        times[b] = data->duration_s * (b + 0.5) / BINS;
    nrw_svg_plot plot = {out,
                         LEFT,
                         TOP,
                         WIDTH - LEFT - RIGHT,
                         HEIGHT - TOP - BOTTOM,
                         0,
                         data->duration_s,
                         -fmax(reach, 1e-9),
                         fmax(reach, 1e-9)};
    (void)snprintf(id, sizeof id, "current-%zu", c + 1);
    (void)snprintf(title, sizeof title, "Current of coil %s against time", data->rig.names[c]);
    nrw_markup_put(out, "<figure>");
    nrw_svg_open(out, id, WIDTH, HEIGHT, title,
                 "Band between the smallest and the largest current at each time, and the limits "
                 "as lines; the table below has the peaks.");
    nrw_svg_axis_y(&plot, "A");
    nrw_svg_area(&plot, "current-fill", BINS, times, data->low[c], data->high[c]);
    nrw_svg_line(&plot, "current-edge", BINS, times, data->high[c]);
    nrw_svg_line(&plot, "current-edge", BINS, times, data->low[c]);
    for (int sign = -1; sign <= 1 && isfinite(allowed); sign += 2)
        nrw_markup_put(out, "<path class='limit-line' d='M%c %ch%c'/>", plot.left,
                       nrw_svg_y(&plot, sign * allowed), plot.width);
    if (isfinite(allowed))
        nrw_markup_put(out, "<text class='note' x='%c' y='%c' text-anchor='end'>limit %n A</text>",
                       plot.left + plot.width - 3, nrw_svg_y(&plot, allowed) + 13, allowed);
    nrw_svg_axis_x(&plot, "time, s");
    nrw_svg_close(out);
    nrw_markup_put(out, "<figcaption>Coil %s: range of its current.</figcaption></figure>\n",
                   data->rig.names[c]);
}

static void put_close(nrw_report *report, const current_data *data)
{
    enum { WIDTH = 460, HEIGHT = 220, LEFT = 44, TOP = 30, RIGHT = 12, BOTTOM = 42, STYLES = 4 };
    nrw_markup *out = &report->out;
    double times[CLOSE_SAMPLES], reach = 1e-9;
    for (size_t i = 0; i < data->n_close; i++)
        times[i] = 1e3 * data->sample_s * (double)i;
    for (size_t c = 0; c < data->n_coils; c++)
        reach = fmax(reach, 1.12 * peak_of(data, c));
    nrw_svg_plot plot = {
        out,    LEFT, TOP, WIDTH - LEFT - RIGHT, HEIGHT - TOP - BOTTOM, 0, times[data->n_close - 1],
        -reach, reach};
    nrw_markup_put(out, "<figure>");
    nrw_svg_open(out, "current-close", WIDTH, HEIGHT, "Currents close up",
                 "The current of every coil over three turns of the field.");
    nrw_svg_axis_y(&plot, "A");
    for (size_t c = 0; c < data->n_coils; c++) {
        char style[16];
        (void)snprintf(style, sizeof style, "line-%zu", c % STYLES + 1);
        nrw_svg_line(&plot, style, data->n_close, times, data->close[c]);
    }
    nrw_svg_axis_x(&plot, "ms");
    nrw_svg_close(out);
    nrw_markup_put(out, "<figcaption>Close up, from %n s on.<ul class='key'>", data->close_s);
    for (size_t c = 0; c < data->n_coils; c++)
        nrw_markup_put(out,
                       "<li><svg class='sample' viewBox='0 0 26 10' aria-hidden='true'><path "
                       "class='line-%z' d='M0 5h26'/></svg>%s</li>",
                       c % STYLES + 1, data->rig.names[c]);
    nrw_markup_put(out, "</ul></figcaption></figure>\n");
}

static void put_rows(nrw_report *report, const current_data *data)
{
    static const char *const heads[] = {"Coil",   "Peak, A", "Allowed, A",
                                        "RMS, A", "Peak, V", "Allowed, V"};
    nrw_report_data_begin(report, "coils", 6, heads);
    for (size_t c = 0; c < data->n_coils; c++) {
        const char *name = data->rig.names[c];
        nrw_markup_put(&report->out,
                       "<tr><th scope='row'>%s</th><td>%n</td><td>%n</td><td>%n</td><td>%n</td>"
                       "<td>%n</td></tr>\n",
                       name, nrw_report_number(report, "figures.peak_current_A.%s", name),
                       allowed_of(data, c),
                       nrw_report_number(report, "figures.rms_current_A.%s", name),
                       nrw_report_number(report, "figures.peak_voltage_V.%s", name),
                       data->rig.allowed[NRW_RIG_PEAK_V][c]);
    }
    nrw_report_data_end(report);
}

void nrw_report_export_currents(nrw_report *report)
{
    current_data *data = calloc(1, sizeof *data);
    if (!data) {
        report->out.failed = true;
        return;
    }
    if (read_currents(report, data)) {
        nrw_report_section(report, "currents", "Currents");
        nrw_markup_put(&report->out, "<div class='pairs'>\n");
        for (size_t c = 0; c < data->n_coils; c++)
            put_envelope(report, data, c);
        put_close(report, data);
        put_rows(report, data);
        nrw_markup_put(&report->out, "</div>\n");
        nrw_report_section_end(report);
    }
    free(data);
}
