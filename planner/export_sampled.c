/* The spectrum of a stretch of a waveform that has no period of its own. */
#include <math.h>
#include <stdlib.h>

#include "export_parts.h"

#define SHARE 0.01 /* components smaller than this of the largest are left out */
/* Hann's window spreads a sine over its own bin and two to either side. */
#define SAME_LINE_BINS 2.5

/* Joins bins that belong to one line: squares add up. In place. */
static size_t join_lines(nrw_exposure_component *components, size_t n, double bin_Hz)
{
    size_t kept = 0, i = 0;
    while (i < n) {
        double square = 0.0, weighted_Hz = 0.0, last_Hz = components[i].frequency_Hz;
        while (i < n && components[i].frequency_Hz - last_Hz <= SAME_LINE_BINS * bin_Hz) {
            const double one = components[i].rms_mT * components[i].rms_mT;
            square += one;
            weighted_Hz += one * components[i].frequency_Hz;
            last_Hz = components[i++].frequency_Hz;
        }
        components[kept++] = (nrw_exposure_component){weighted_Hz / square, sqrt(square)};
    }
    return kept;
}

nrw_status nrw_export_stretch(const nrw_wave *wave, double start_s, double length_s,
                              nrw_exposure_component *components, size_t room, size_t *n,
                              double *static_mT, nrw_errors *errors)
{
    *n = 0;
    double *samples = malloc((size_t)NRW_STRETCH_SAMPLES * 3 * sizeof *samples);
    if (!samples)
        return nrw_errors_add(errors, NRW_NO_MEMORY, NULL, "out of memory");
    double mean[3] = {0.0, 0.0, 0.0};
    for (size_t i = 0; i < NRW_STRETCH_SAMPLES; i++) {
        nrw_wave_sample sample;
        nrw_wave_at(wave, start_s + length_s * ((double)i + 0.5) / NRW_STRETCH_SAMPLES, &sample);
        for (int axis = 0; axis < 3; axis++) {
            samples[3 * i + (size_t)axis] = sample.field_mT[axis];
            mean[axis] += sample.field_mT[axis] / NRW_STRETCH_SAMPLES;
        }
    }
    *static_mT = sqrt(mean[0] * mean[0] + mean[1] * mean[1] + mean[2] * mean[2]);
    /* Hann's window keeps lines between the bins from leaking into all others; the
     * factor keeps the mean square. */
    const double keeps_square = sqrt(8.0 / 3.0);
    for (size_t i = 0; i < NRW_STRETCH_SAMPLES; i++) {
        const double angle = 2.0 * NRW_PI * ((double)i + 0.5) / NRW_STRETCH_SAMPLES;
        for (int axis = 0; axis < 3; axis++)
            samples[3 * i + (size_t)axis] = (samples[3 * i + (size_t)axis] - mean[axis]) *
                                            keeps_square * (0.5 - 0.5 * cos(angle));
    }
    const double rate_Hz = NRW_STRETCH_SAMPLES / length_s;
    const nrw_status status = nrw_exposure_spectrum(samples, NRW_STRETCH_SAMPLES, rate_Hz, SHARE,
                                                    components, room, n, NULL, errors);
    *n = join_lines(components, *n, rate_Hz / NRW_STRETCH_SAMPLES);
    free(samples);
    return status;
}
