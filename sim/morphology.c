#include "morphology.h"

#include <assert.h>
#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "cell_grid.h"
#include "cluster.h"
#include "disc_union.h"
#include "units.h"

#define CLUSTER_REACH 1.5  /* contract section 4 */
#define TAIL_FRACTION 0.05 /* contract section 4 */
#define FRONT_FRACTION 0.95
#define REAR_FRACTION 0.30 /* contract section 3, steer_by: rear */
#define FARTHEST_UM 1e9    /* a position beyond has no meaning */
/* Below this share of the major eigenvalue the minor one is rounding. */
#define EIGENVALUE_ROUNDING 1e-13

struct nrw_morphology_work {
    size_t capacity;
    bool spare_area;
    nrw_cell_grid grid;
    uint32_t *roots, *sizes;       /* (capacity) */
    double *along;                 /* (capacity) positions along the route */
    double *sorted;                /* (capacity) partly sorted copy */
    double *nearest;               /* (capacity) */
    double *x, *y, *radius;        /* (capacity) members of the largest cluster */
    double *arc_begins, *arc_ends; /* (2 capacity + 1) */
    double *block;                 /* owns the doubles */
};

nrw_morphology_work *nrw_morphology_work_create(size_t n_particles)
{
    nrw_morphology_work *work = calloc(1, sizeof *work);
    if (!work)
        return NULL;
    size_t n = n_particles + 1;
    work->capacity = n_particles;
    work->block = malloc(10 * n * sizeof *work->block);
    work->roots = malloc(2 * n * sizeof *work->roots);
    if (!work->block || !work->roots || !nrw_cell_grid_init(&work->grid, n_particles)) {
        nrw_morphology_work_destroy(work);
        return NULL;
    }
    work->sizes = work->roots + n;
    double *next = work->block;
    work->along = next;
    work->sorted = next += n;
    work->nearest = next += n;
    work->x = next += n;
    work->y = next += n;
    work->radius = next += n;
    work->arc_begins = next += n;
    work->arc_ends = next + 2 * n;
    return work;
}

void nrw_morphology_work_destroy(nrw_morphology_work *work)
{
    if (!work)
        return;
    nrw_cell_grid_clear(&work->grid);
    free(work->roots);
    free(work->block);
    free(work);
}

void nrw_morphology_work_spare_area(nrw_morphology_work *work)
{
    work->spare_area = true;
}

static bool all_finite(size_t n, const double *values)
{
    bool finite = true;
    for (size_t i = 0; i < n; i++)
        finite &= fabs(values[i]) < FARTHEST_UM; /* false for NAN */
    return finite;
}

static void set_unmeasured(nrw_morphology *result, size_t n, uint8_t *in_largest)
{
    *result = (nrw_morphology){NAN, NAN, NAN, NAN, NAN, NAN, NAN, NAN,
                               NAN, NAN, NAN, NAN, 0.0, NAN, NAN, false};
    if (in_largest)
        memset(in_largest, 0, n);
}

static double mean(size_t n, const double *values)
{
    double sum = 0.0;
    for (size_t i = 0; i < n; i++)
        sum += values[i];
    return sum / (double)n;
}

/* The k-th smallest (from 0) after partly sorting the values in place, and the
 * next one above it. */
static void order_pair(double *values, size_t n, size_t k, double *at, double *above)
{
    *at = gsl_stats_select(values, 1, n, k);
    *above = *at;
    if (k + 1 < n) {
        *above = values[k + 1];
        for (size_t i = k + 2; i < n; i++)
            if (values[i] < *above)
                *above = values[i];
    }
}

/* Type-7 quantile (Hyndman & Fan 1996, Am. Stat. 50:361) by selection: two
 * order statistics don't need a full sort. Partly sorts the values. */
static double quantile(double *values, size_t n, double fraction)
{
    double position = fraction * (double)(n - 1), low, high;
    size_t k = (size_t)position;
    order_pair(values, n, k, &low, &high);
    return low + (position - (double)k) * (high - low);
}

/* Ellipse of equal second moments, and spread (docs/physics.md, section 10). */
static void measure_ellipse(size_t n, const double *x, const double *y, nrw_morphology *result)
{
    double xx = 0.0, yy = 0.0, xy = 0.0;
    for (size_t i = 0; i < n; i++) {
        double dx = x[i] - result->x_um, dy = y[i] - result->y_um;
        xx += dx * dx;
        yy += dy * dy;
        xy += dx * dy;
    }
    double scale = 1.0 / (double)n;
    xx *= scale, yy *= scale, xy *= scale;
    double half_trace = 0.5 * (xx + yy), root = hypot(0.5 * (xx - yy), xy);
    double large = half_trace + root;
    double small = large > 0.0 ? (xx * yy - xy * xy) / large : 0.0; /* no cancellation */
    if (small < EIGENVALUE_ROUNDING * large)
        small = 0.0;
    result->major_um = 4.0 * sqrt(large);
    result->minor_um = 4.0 * sqrt(small);
    result->angle_deg = 0.5 * atan2(2.0 * xy, xx - yy) / NRW_DEGREE;
    result->spread_um = 2.0 * sqrt(2.0 * half_trace);
    if (result->minor_um > 0.0)
        result->aspect_ratio = result->major_um / result->minor_um;
    else
        result->aspect_ratio = result->major_um > 0.0 ? INFINITY : 1.0;
}

/* Centroid of the ceil(0.3 n) particles lowest along the route. */
static void measure_rear(nrw_morphology_work *work, size_t n, const double *x, const double *y,
                         nrw_morphology *result)
{
    size_t n_rear = (size_t)ceil(REAR_FRACTION * (double)n);
    double limit = gsl_stats_select(work->sorted, 1, n, n_rear - 1);
    size_t n_below = 0;
    for (size_t i = 0; i < n; i++)
        n_below += work->along[i] < limit;
    size_t n_ties = n_rear - n_below;
    double sum_x = 0.0, sum_y = 0.0;
    for (size_t i = 0; i < n; i++) {
        bool tie = work->along[i] == limit && n_ties > 0;
        n_ties -= tie;
        if (tie || work->along[i] < limit) {
            sum_x += x[i];
            sum_y += y[i];
        }
    }
    result->rear_x_um = sum_x / (double)n_rear;
    result->rear_y_um = sum_y / (double)n_rear;
}

static void measure_along_route(nrw_morphology_work *work, const nrw_channel *channel, size_t n,
                                const double *x, const double *y, nrw_morphology *result)
{
    for (size_t i = 0; i < n; i++)
        work->along[i] = nrw_channel_route_project_um(channel, x[i], y[i]);
    memcpy(work->sorted, work->along, n * sizeof *work->sorted);
    result->tail_um = quantile(work->sorted, n, TAIL_FRACTION);
    result->front_um = quantile(work->sorted, n, FRONT_FRACTION);
    measure_rear(work, n, x, y, result);

    double direction[2];
    double s = nrw_channel_route_project_um(channel, result->x_um, result->y_um);
    nrw_channel_route_point(channel, s, NULL, direction);
    for (size_t i = 0; i < n; i++)
        work->sorted[i] =
            direction[0] * (y[i] - result->y_um) - direction[1] * (x[i] - result->x_um);
    double low = quantile(work->sorted, n, TAIL_FRACTION);
    result->width_across_um = quantile(work->sorted, n, FRONT_FRACTION) - low;
}

static void measure_area(nrw_morphology_work *work, size_t n, uint32_t root, const double *x,
                         const double *y, const double *radius, double smallest_um2,
                         nrw_morphology *result)
{
    size_t n_members = 0;
    for (size_t i = 0; i < n; i++) {
        if (work->roots[i] != root)
            continue;
        work->x[n_members] = x[i];
        work->y[n_members] = y[i];
        work->radius[n_members] = radius[i];
        n_members++;
    }
    if (work->spare_area &&
        nrw_disc_union_reaches(n_members, work->x, work->y, work->radius, smallest_um2)) {
        result->visible = true;
        return;
    }
    result->visible_area_um2 = nrw_disc_union_area_um2(
        &work->grid, n_members, work->x, work->y, work->radius, work->arc_begins, work->arc_ends);
    result->visible = result->visible_area_um2 >= smallest_um2;
}

void nrw_morphology_measure(nrw_morphology_work *work, const nrw_channel *channel, size_t n,
                            const double *x_um, const double *y_um, const double *z_um,
                            const double *radius_um, double smallest_visible_um2,
                            nrw_morphology *result, uint8_t *in_largest)
{
    assert(n <= work->capacity);
    if (n == 0 || !all_finite(n, x_um) || !all_finite(n, y_um) || !all_finite(n, z_um)) {
        set_unmeasured(result, n, in_largest);
        return;
    }
    result->x_um = mean(n, x_um);
    result->y_um = mean(n, y_um);
    measure_ellipse(n, x_um, y_um, result);
    measure_along_route(work, channel, n, x_um, y_um, result);

    nrw_clusters clusters =
        nrw_cluster_find(&work->grid, n, x_um, y_um, z_um, radius_um, CLUSTER_REACH, work->roots,
                         work->sizes, work->nearest);
    result->largest_cluster_fraction = (double)clusters.largest_size / (double)n;
    result->neighbour_distance_um = n > 1 ? mean(n, work->nearest) : NAN;
    for (size_t i = 0; in_largest && i < n; i++)
        in_largest[i] = work->roots[i] == clusters.largest_root;

    result->visible_area_um2 = NAN;
    result->visible = true;
    if (smallest_visible_um2 > 0.0)
        measure_area(work, n, clusters.largest_root, x_um, y_um, radius_um, smallest_visible_um2,
                     result);
}
