#include "flow_cells.h"

#include <math.h>
#include <string.h>

/* Conjugate gradients: residual over the sources' size, and a limit. */
#define RESIDUAL 1e-9
enum { ITERATIONS_MAX = 20000 };
/* Share of the modified factorisation. */
#define MODIFIED 0.97

void nrw_flow_cells_factorise(nrw_flow_field *field)
{
    for (size_t i = 0; i < field->n_active; i++) {
        nrw_flow_lower l = nrw_flow_lower_of(field, i);
        double diagonal = l.k_left + l.k_down + field->right[i] + field->up[i], value = diagonal;
        if (l.k_left > 0.0) {
            double p = l.k_left * field->pivot[l.left];
            value -= p * p + MODIFIED * p * field->up[l.left] * field->pivot[l.left];
        }
        if (l.k_down > 0.0) {
            double p = l.k_down * field->pivot[l.down];
            value -= p * p + MODIFIED * p * field->right[l.down] * field->pivot[l.down];
        }
        if (value < 0.25 * diagonal)
            value = diagonal;
        field->pivot[i] = diagonal > 0.0 ? 1.0 / sqrt(value) : 0.0;
    }
}

static void precondition(const nrw_flow_field *field, const double *from, double *to)
{
    for (size_t i = 0; i < field->n_active; i++) {
        nrw_flow_lower l = nrw_flow_lower_of(field, i);
        double value = from[i];
        if (l.left >= 0)
            value += l.k_left * field->pivot[l.left] * to[l.left];
        if (l.down >= 0)
            value += l.k_down * field->pivot[l.down] * to[l.down];
        to[i] = value * field->pivot[i];
    }
    for (size_t k = field->n_active; k-- > 0;) {
        size_t cell = field->cells[k];
        double value = to[k];
        if (field->right[k] > 0.0)
            value += field->right[k] * field->pivot[k] * to[field->active[cell + 1]];
        if (field->up[k] > 0.0)
            value += field->up[k] * field->pivot[k] * to[field->active[cell + (size_t)field->n[0]]];
        to[k] = value * field->pivot[k];
    }
}

/* What leaves every cell under the pressures `from`. */
static void apply(const nrw_flow_field *field, const double *from, double *to)
{
    memset(to, 0, field->n_active * sizeof *to);
    for (size_t i = 0; i < field->n_active; i++) {
        size_t cell = field->cells[i];
        if (field->right[i] > 0.0) {
            int next = field->active[cell + 1];
            double flow = field->right[i] * (from[i] - from[next]);
            to[i] += flow;
            to[next] -= flow;
        }
        if (field->up[i] > 0.0) {
            int next = field->active[cell + (size_t)field->n[0]];
            double flow = field->up[i] * (from[i] - from[next]);
            to[i] += flow;
            to[next] -= flow;
        }
    }
}

static double dot(const double *a, const double *b, size_t n)
{
    double sum = 0.0;
    for (size_t i = 0; i < n; i++)
        sum += a[i] * b[i];
    return sum;
}

nrw_status nrw_flow_cells_solve(const nrw_flow_field *field, double *sources, double *pressure)
{
    size_t n = field->n_active;
    double *z = field->work[0], *direction = field->work[1], *image = field->work[2];
    double size = sqrt(dot(sources, sources, n));
    memset(pressure, 0, n * sizeof *pressure);
    if (!(size > 0.0))
        return NRW_OK;
    precondition(field, sources, z);
    memcpy(direction, z, n * sizeof *z);
    double rz = dot(sources, z, n);
    for (int round = 0; round < ITERATIONS_MAX; round++) {
        apply(field, direction, image);
        double step = rz / dot(direction, image, n);
        if (!isfinite(step))
            return NRW_DIVERGED;
        for (size_t i = 0; i < n; i++) {
            pressure[i] += step * direction[i];
            sources[i] -= step * image[i];
        }
        if (sqrt(dot(sources, sources, n)) < RESIDUAL * size)
            return NRW_OK;
        precondition(field, sources, z);
        double next = dot(sources, z, n), share = next / rz;
        rz = next;
        for (size_t i = 0; i < n; i++)
            direction[i] = z[i] + share * direction[i];
    }
    return NRW_DIVERGED;
}
