/* A sampled field: what a drive of mode `sampled` plays.
 *
 * Evenly spaced samples of B in the map's frame, straight in between; before the
 * first one the first holds, after the last one the last. Constant once made, so that
 * any number of runs and threads may share one. */
#ifndef NRW_SAMPLES_H
#define NRW_SAMPLES_H

#include <stddef.h>

#include "vec3.h"

#define NRW_SAMPLES_MAX ((size_t)1 << 28)

typedef struct nrw_samples {
    char *file;              /* as the schedule names it, owned */
    char *path;              /* where it was read, owned */
    double rate_Hz;          /* samples a second */
    size_t n;                /* 2 to NRW_SAMPLES_MAX */
    float (*field_mT)[3];    /* (n x 3) map frame, owned */
    double peak_mT;          /* largest |B| of a sample */
    double peak_rate_mT_s;   /* largest |dB/dt| between two */
    double mean_square_mT2;  /* of |B| */
    double mean_square_rate; /* of |dB/dt|, (mT/s)² */
    char sha256[65];         /* of the numbers above, for telling two files apart */
} nrw_samples;

/* Takes over field_mT (n x 3, malloc'ed) and copies the names. NULL: no memory, and
 * field_mT is freed. Cost O(n). */
nrw_samples *nrw_samples_create(const char *file, const char *path, double rate_Hz, size_t n,
                                float (*field_mT)[3]);
void nrw_samples_destroy(nrw_samples *samples);

/* From the first sample to the last. */
double nrw_samples_duration_s(const nrw_samples *samples);

/* B in mT at a time since the first sample. O(1). */
nrw_vec3 nrw_samples_at(const nrw_samples *samples, double t_s);

/* How fast the field turns or swings: the root of the mean square of dB/dt over that of
 * B less its mean, over 2π, for a window of time. It is the frequency of a field that
 * turns, swings or precesses, if the window holds about a cycle. 0 for one that rests. */
double nrw_samples_rhythm_Hz(const nrw_samples *samples, double from_s, double to_s);

#endif
