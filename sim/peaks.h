/* How large something is that rows have, judged by groups of them: in ever larger swarms
 * somebody is always far out, and one of 100,000 should not set the pace for all. */
#ifndef NRW_PEAKS_H
#define NRW_PEAKS_H

#include <math.h>
#include <stdbool.h>
#include <stddef.h>

typedef struct nrw_peaks {
    float typical; /* root mean square of each group's largest; of a single group, that */
    float largest; /* of all */
} nrw_peaks;

typedef struct nrw_peaks_sum {
    double squares;
    float largest;
    size_t n_groups;
} nrw_peaks_sum;

/* One more group, whose largest is that, not negative. */
static inline void nrw_peaks_add(nrw_peaks_sum *sum, float largest)
{
    sum->squares += (double)largest * (double)largest;
    sum->largest = largest > sum->largest ? largest : sum->largest;
    sum->n_groups++;
}

static inline nrw_peaks nrw_peaks_of(const nrw_peaks_sum *sum)
{
    const bool several = sum->n_groups > 1;
    return (nrw_peaks){several ? (float)sqrt(sum->squares / (double)sum->n_groups) : sum->largest,
                       sum->largest};
}

#endif
