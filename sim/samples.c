#include "samples.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "sha256.h"

/* A field that strays from its mean by less than this share of the peak rests. */
#define REST_SHARE 1e-3

static nrw_vec3 sample(const nrw_samples *samples, size_t k)
{
    const float *b = samples->field_mT[k];
    return (nrw_vec3){(double)b[0], (double)b[1], (double)b[2]};
}

static nrw_vec3 rate_after(const nrw_samples *samples, size_t k)
{
    const nrw_vec3 a = sample(samples, k), b = sample(samples, k + 1);
    return nrw_vec3_scale(nrw_vec3_add(b, nrw_vec3_scale(a, -1.0)), samples->rate_Hz);
}

static void measure(nrw_samples *samples)
{
    double square = 0.0, square_rate = 0.0, largest = 0.0, largest_rate = 0.0;
    for (size_t k = 0; k < samples->n; k++) {
        const nrw_vec3 b = sample(samples, k);
        const double size2 = nrw_vec3_dot(b, b);
        square += size2;
        largest = fmax(largest, size2);
        if (k + 1 == samples->n)
            break;
        const nrw_vec3 rate = rate_after(samples, k);
        const double rate2 = nrw_vec3_dot(rate, rate);
        square_rate += rate2;
        largest_rate = fmax(largest_rate, rate2);
    }
    samples->peak_mT = sqrt(largest);
    samples->peak_rate_mT_s = sqrt(largest_rate);
    samples->mean_square_mT2 = square / (double)samples->n;
    samples->mean_square_rate = square_rate / (double)(samples->n - 1);
    nrw_sha256_hex(samples->field_mT, samples->n * sizeof *samples->field_mT, samples->sha256);
}

nrw_samples *nrw_samples_create(const char *file, const char *path, double rate_Hz, size_t n,
                                float (*field_mT)[3])
{
    nrw_samples *samples = calloc(1, sizeof *samples);
    if (!samples) {
        free(field_mT);
        return NULL;
    }
    samples->field_mT = field_mT;
    samples->n = n;
    samples->rate_Hz = rate_Hz;
    samples->file = strdup(file);
    samples->path = strdup(path);
    if (!samples->file || !samples->path) {
        nrw_samples_destroy(samples);
        return NULL;
    }
    measure(samples);
    return samples;
}

void nrw_samples_destroy(nrw_samples *samples)
{
    if (!samples)
        return;
    free(samples->file);
    free(samples->path);
    free(samples->field_mT);
    free(samples);
}

double nrw_samples_duration_s(const nrw_samples *samples)
{
    return (double)(samples->n - 1) / samples->rate_Hz;
}

nrw_vec3 nrw_samples_at(const nrw_samples *samples, double t_s)
{
    const double place = t_s * samples->rate_Hz;
    if (!(place > 0.0))
        return sample(samples, 0);
    if (place >= (double)(samples->n - 1))
        return sample(samples, samples->n - 1);
    const size_t k = (size_t)place;
    const double share = place - (double)k;
    return nrw_vec3_add(nrw_vec3_scale(sample(samples, k), 1.0 - share),
                        nrw_vec3_scale(sample(samples, k + 1), share));
}

double nrw_samples_rhythm_Hz(const nrw_samples *samples, double from_s, double to_s)
{
    if (from_s >= nrw_samples_duration_s(samples) || to_s <= 0.0)
        return 0.0; /* the last or the first sample holds */
    const double last = (double)(samples->n - 2);
    const double low = fmin(fmax(floor(from_s * samples->rate_Hz), 0.0), last);
    const double high = fmin(fmax(ceil(to_s * samples->rate_Hz) - 1.0, low), last);
    const double n = high - low + 1.0;
    nrw_vec3 mean = {0.0, 0.0, 0.0};
    double square = 0.0, square_rate = 0.0;
    for (size_t k = (size_t)low; k <= (size_t)high; k++) {
        const nrw_vec3 rate = rate_after(samples, k);
        const nrw_vec3 b =
            nrw_vec3_scale(nrw_vec3_add(sample(samples, k), sample(samples, k + 1)), 0.5);
        mean = nrw_vec3_add(mean, nrw_vec3_scale(b, 1.0 / n));
        square += nrw_vec3_dot(b, b) / n;
        square_rate += nrw_vec3_dot(rate, rate) / n;
    }
    const double rest = REST_SHARE * samples->peak_mT;
    const double strays = fmax(square - nrw_vec3_dot(mean, mean), rest * rest);
    return strays > 0.0 ? sqrt(square_rate / strays) / (2.0 * NRW_PI) : 0.0;
}
