/* Mutual induction of magnetisable spheres: conjugate gradients (Hestenes &
 * Stiefel 1952) on (1/alpha - G) m = B, symmetric also when sizes differ. */
#include "dipole.h"

#include <math.h>
#include <string.h>

enum { MAX_ITERATIONS = 500 };

size_t nrw_mutual_induction_workspace(size_t n)
{
    return (size_t)9 * n; /* residual, direction, image */
}

/* image = (1/alpha - G) vector, G the dipole field of the others. */
static void apply(size_t n, const double (*positions)[3], const double *polarisabilities,
                  const double (*vector)[3], double (*image)[3])
{
    for (size_t i = 0; i < n; i++) {
        double sum[3] = {0, 0, 0};
        for (size_t j = 0; j < n; j++) {
            if (j == i)
                continue;
            nrw_vec3 r = {positions[i][0] - positions[j][0], positions[i][1] - positions[j][1],
                          positions[i][2] - positions[j][2]};
            nrw_vec3 b =
                nrw_dipole_field_mT((nrw_vec3){vector[j][0], vector[j][1], vector[j][2]}, r);
            sum[0] += b.x;
            sum[1] += b.y;
            sum[2] += b.z;
        }
        for (int k = 0; k < 3; k++)
            image[i][k] = vector[i][k] / polarisabilities[i] - sum[k];
    }
}

/* Σ alpha_i a_i·b_i when weights are given, Σ a_i·b_i otherwise. */
static double product(size_t n, const double *weights, const double (*a)[3], const double (*b)[3])
{
    double sum = 0;
    for (size_t i = 0; i < n; i++) {
        double w = weights ? weights[i] : 1.0;
        sum += w * (a[i][0] * b[i][0] + a[i][1] * b[i][1] + a[i][2] * b[i][2]);
    }
    return sum;
}

/* residual = B - A·moments; returns Σ alpha |B|². */
static double start_residual(size_t n, const double (*positions)[3], const double *polarisabilities,
                             nrw_vec3 field, const double (*moments)[3], double (*residual)[3])
{
    const double b[3] = {field.x, field.y, field.z};
    double size = 0;
    apply(n, positions, polarisabilities, moments, residual);
    for (size_t i = 0; i < n; i++) {
        for (int k = 0; k < 3; k++)
            residual[i][k] = b[k] - residual[i][k];
        size += polarisabilities[i] * (b[0] * b[0] + b[1] * b[1] + b[2] * b[2]);
    }
    return size;
}

nrw_status nrw_mutual_induction(size_t n, const double (*positions_um)[3],
                                const double *polarisabilities, nrw_vec3 field_mT, double tolerance,
                                double (*moments)[3], double *workspace, nrw_errors *errors)
{
    double(*residual)[3] = (double(*)[3])workspace;
    double(*direction)[3] = residual + n;
    double(*image)[3] = direction + n;
    double size = start_residual(n, positions_um, polarisabilities, field_mT,
                                 (const double(*)[3])moments, residual);
    double limit = tolerance * tolerance * size;
    double rho =
        product(n, polarisabilities, (const double(*)[3])residual, (const double(*)[3])residual);
    memset(direction, 0, n * sizeof *direction);
    double beta = 0;
    for (int iteration = 0; rho > limit; iteration++) {
        if (iteration == MAX_ITERATIONS)
            return nrw_errors_add(errors, NRW_DIVERGED, "spheres that do not overlap",
                                  "mutual induction has not converged in %d iterations",
                                  (int)MAX_ITERATIONS);
        for (size_t i = 0; i < n; i++)
            for (int k = 0; k < 3; k++)
                direction[i][k] = polarisabilities[i] * residual[i][k] + beta * direction[i][k];
        apply(n, positions_um, polarisabilities, (const double(*)[3])direction, image);
        double curvature =
            product(n, NULL, (const double(*)[3])direction, (const double(*)[3])image);
        if (!(curvature > 0)) /* also NaN */
            return nrw_errors_add(errors, NRW_DIVERGED, "spheres that do not overlap",
                                  "mutual induction has no stable solution");
        double step = rho / curvature;
        for (size_t i = 0; i < n; i++)
            for (int k = 0; k < 3; k++) {
                moments[i][k] += step * direction[i][k];
                residual[i][k] -= step * image[i][k];
            }
        double next = product(n, polarisabilities, (const double(*)[3])residual,
                              (const double(*)[3])residual);
        beta = next / rho;
        rho = next;
    }
    return NRW_OK;
}
