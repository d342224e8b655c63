#include "loop_bands.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Segments for each band, about. */
enum { SEGMENTS_A_BAND = 4, BANDS_MAX = 65536 };

void nrw_loop_bands_clear(nrw_loop_bands *bands)
{
    free(bands->starts);
    free(bands->segments);
    memset(bands, 0, sizeof *bands);
}

static size_t band_of(const nrw_loop_bands *bands, double y)
{
    double band = (y - bands->y0_um) * bands->per_band;
    return band < 0.0 ? 0 : band >= (double)bands->n_bands ? bands->n_bands - 1 : (size_t)band;
}

static void place_bands(nrw_loop_bands *bands, const double (*points)[2], size_t n)
{
    double low = INFINITY, high = -INFINITY;
    for (size_t i = 0; i < n; i++) {
        low = fmin(low, points[i][1]);
        high = fmax(high, points[i][1]);
    }
    size_t wanted = n / SEGMENTS_A_BAND + 1;
    bands->n_bands = wanted < BANDS_MAX ? wanted : BANDS_MAX;
    bands->y0_um = low;
    bands->per_band = high > low ? (double)bands->n_bands / (high - low) : 1.0;
}

/* Counts (segments == NULL) or lists every segment in its bands; starts[b + 1] is the
 * count, or the next free place, of band b. Level ones are never crossed. */
static void list(nrw_loop_bands *bands, const double (*points)[2], const size_t *firsts,
                 size_t n_loops)
{
    for (size_t k = 0; k < n_loops; k++)
        for (size_t i = firsts[k]; i < firsts[k + 1]; i++) {
            const double *a = points[i];
            const double *b = points[i + 1 == firsts[k + 1] ? firsts[k] : i + 1];
            const double *low = a[1] <= b[1] ? a : b, *high = a[1] <= b[1] ? b : a;
            if (!(low[1] < high[1]))
                continue;
            for (size_t band = band_of(bands, low[1]); band <= band_of(bands, high[1]); band++) {
                uint32_t place = bands->starts[band + 1]++;
                if (bands->segments)
                    bands->segments[place] =
                        (nrw_loop_segment){{low[0], low[1]}, {high[0], high[1]}};
            }
        }
}

nrw_status nrw_loop_bands_build(nrw_loop_bands *bands, const double (*points_um)[2],
                                const size_t *firsts, size_t n_loops)
{
    memset(bands, 0, sizeof *bands);
    place_bands(bands, points_um, firsts[n_loops]);
    bands->starts = calloc(bands->n_bands + 2, sizeof *bands->starts);
    if (!bands->starts)
        return NRW_NO_MEMORY;
    list(bands, points_um, firsts, n_loops);
    uint32_t total = 0;
    for (size_t b = 0; b < bands->n_bands; b++) {
        uint32_t count = bands->starts[b + 1];
        bands->starts[b + 1] = total;
        total += count;
    }
    bands->segments = malloc((total + 1) * sizeof *bands->segments);
    if (!bands->segments)
        return NRW_NO_MEMORY;
    list(bands, points_um, firsts, n_loops);
    return NRW_OK;
}

bool nrw_loop_bands_contain(const nrw_loop_bands *bands, double x_um, double y_um)
{
    bool inside = false;
    if (bands->n_bands == 0)
        return false;
    size_t band = band_of(bands, y_um);
    for (uint32_t i = bands->starts[band]; i < bands->starts[band + 1]; i++) {
        const nrw_loop_segment *s = &bands->segments[i];
        if (y_um < s->low[1] || !(y_um < s->high[1]))
            continue;
        double t = (y_um - s->low[1]) / (s->high[1] - s->low[1]);
        inside ^= x_um < s->low[0] + t * (s->high[0] - s->low[0]);
    }
    return inside;
}
