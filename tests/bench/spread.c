#include <math.h>
#include <stdlib.h>

#include "bench.h"

static int by_value(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Value at a share of the sorted ones, linear in between. */
static double at_share(size_t n, const double *sorted, double share)
{
    const double place = share * (double)(n - 1);
    const size_t k = (size_t)place;
    const double rest = place - (double)k;
    return k + 1 < n ? sorted[k] + rest * (sorted[k + 1] - sorted[k]) : sorted[k];
}

bench_spread bench_spread_of(size_t n, double *values)
{
    bench_spread spread = {NAN, NAN, NAN, n};
    for (size_t k = 0; k < n; k++)
        if (isnan(values[k]))
            return spread;
    if (n == 0)
        return spread;
    qsort(values, n, sizeof *values, by_value);
    spread.median = at_share(n, values, 0.5);
    spread.low = at_share(n, values, 0.25);
    spread.high = at_share(n, values, 0.75);
    return spread;
}

bench_spread bench_spread_scale(bench_spread spread, double factor)
{
    return (bench_spread){factor * spread.median, factor * spread.low, factor * spread.high,
                          spread.n};
}

bench_spread bench_spread_ratio(size_t n, const double *above, const double *below)
{
    double *ratios = calloc(n ? n : 1, sizeof *ratios);
    if (!ratios)
        return (bench_spread){NAN, NAN, NAN, 0};
    for (size_t k = 0; k < n; k++)
        ratios[k] = above[k] / below[k];
    const bench_spread spread = bench_spread_of(n, ratios);
    free(ratios);
    return spread;
}

bench_spread bench_spread_one(double value)
{
    return (bench_spread){value, value, value, 1};
}

double bench_exponent(size_t n, const double *x, const double *y)
{
    double sx = 0.0, sy = 0.0, sxx = 0.0, sxy = 0.0;
    for (size_t k = 0; k < n; k++) {
        const double u = log(x[k]), v = log(y[k]);
        sx += u;
        sy += v;
        sxx += u * u;
        sxy += u * v;
    }
    const double m = (double)n;
    return (m * sxy - sx * sy) / (m * sxx - sx * sx);
}
