#include "means.h"

enum { PARTS = 4 };

static double whole(const double parts[PARTS])
{
    return (parts[0] + parts[1]) + (parts[2] + parts[3]);
}

void nrw_means(size_t n, const double *x, const double *y, const double *z, double means[3])
{
    double sums[3][PARTS] = {{0.0}};
    size_t i = 0;
    for (; i + PARTS <= n; i += PARTS)
        for (size_t part = 0; part < PARTS; part++) {
            sums[0][part] += x[i + part];
            sums[1][part] += y[i + part];
            sums[2][part] += z[i + part];
        }
    for (; i < n; i++) {
        sums[0][0] += x[i];
        sums[1][0] += y[i];
        sums[2][0] += z[i];
    }
    for (int axis = 0; axis < 3; axis++)
        means[axis] = whole(sums[axis]) / (double)n;
}

static double larger(double a, double b)
{
    return a > b ? a : b;
}

double nrw_farthest2(const double *const now[3], const double *const before[3],
                     const double drift[3], size_t first, size_t last)
{
    double largest[PARTS] = {0.0};
    for (size_t i = first; i < last; i++) {
        const double dx = now[0][i] - before[0][i] - drift[0];
        const double dy = now[1][i] - before[1][i] - drift[1];
        const double dz = now[2][i] - before[2][i] - drift[2];
        const double square = dx * dx + dy * dy + dz * dz;
        largest[i % PARTS] = larger(square, largest[i % PARTS]);
    }
    return larger(larger(largest[0], largest[1]), larger(largest[2], largest[3]));
}
