#include "state.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "cluster.h"
#include "statistics.h"
#include "units.h"

/* Contract section 4: clusters join particles closer than 1.5 diameters. */
#define REACH 1.5
#define TIME_TOLERANCE_S 1e-6

const char *nrw_state_name(nrw_state state)
{
    static const char *const names[NRW_N_STATES] = {
        "unclassified", "frozen", "vortex", "rolling", "plate",  "file",
        "ribbon",       "torn",   "sheets", "chains",  "clumps", "scattered"};
    return (unsigned)state < NRW_N_STATES ? names[state] : "unknown";
}

nrw_state_limits nrw_state_limits_defaults(void)
{
    return (nrw_state_limits){.cohesive = 0.8,
                              .torn = 0.5,
                              .travel_d_s = 0.1,
                              .turn_Hz = 1.0 / 360.0,
                              .stacked = 1.4,
                              .round_aspect = 2.0,
                              .long_aspect = 3.0,
                              .aligned_deg = 30.0,
                              .piece_aspect = 2.5,
                              .touching_d = 1.3,
                              .apart_d = 1.5};
}

/* --- the state ------------------------------------------------------------------ */

static nrw_state state_of_one(const nrw_state_features *f, const nrw_state_limits *limits,
                              double diameter_um)
{
    const bool travels = f->speed_um_s > limits->travel_d_s * diameter_um;
    const bool turns = fabs(f->turning_Hz) > limits->turn_Hz;
    if (!travels && !turns)
        return NRW_STATE_FROZEN;
    if (f->stacking > limits->stacked)
        return NRW_STATE_PLATE;
    if (f->aspect_ratio < limits->round_aspect)
        return travels ? NRW_STATE_ROLLING : NRW_STATE_VORTEX;
    if (f->aspect_ratio > limits->long_aspect && f->axis_deg <= limits->aligned_deg)
        return NRW_STATE_FILE;
    if (f->aspect_ratio > limits->long_aspect && f->axis_deg >= 90.0 - limits->aligned_deg)
        return NRW_STATE_RIBBON;
    return NRW_STATE_UNCLASSIFIED;
}

nrw_state nrw_state_of(const nrw_state_features *f, const nrw_state_limits *limits,
                       double diameter_um)
{
    if (f->cohesion >= limits->cohesive)
        return state_of_one(f, limits, diameter_um);
    if (f->neighbour_um > limits->apart_d * diameter_um)
        return NRW_STATE_SCATTERED;
    if (!(f->neighbour_um < limits->touching_d * diameter_um))
        return NRW_STATE_UNCLASSIFIED;
    if (f->cohesion >= limits->torn)
        return NRW_STATE_TORN;
    if (f->stacking > limits->stacked)
        return NRW_STATE_SHEETS;
    return f->piece_aspect > limits->piece_aspect ? NRW_STATE_CHAINS : NRW_STATE_CLUMPS;
}

/* --- features of frames --------------------------------------------------------------- */

/* Frames [first, last) of the run between two times. */
static void find_frames(const nrw_run_result *run, double from_s, double to_s, size_t *first,
                        size_t *last)
{
    *first = 0;
    while (*first < run->n_frames && run->frames[*first].time_s < from_s - TIME_TOLERANCE_S)
        ++*first;
    *last = *first;
    while (*last < run->n_frames && run->frames[*last].time_s <= to_s + TIME_TOLERANCE_S)
        ++*last;
}

static void measure_motion(const nrw_run_result *run, size_t first, size_t last, double heading,
                           nrw_state_features *f)
{
    const nrw_frame *a = &run->frames[first], *b = &run->frames[last - 1];
    const double seconds = b->time_s - a->time_s;
    if (!(seconds > 0.0))
        return;
    const double vx = (b->seen.x_um - a->seen.x_um) / seconds;
    const double vy = (b->seen.y_um - a->seen.y_um) / seconds;
    f->speed_um_s = hypot(vx, vy);
    f->along_um_s = vx * cos(heading) + vy * sin(heading);
    f->across_um_s = vy * cos(heading) - vx * sin(heading);
}

static nrw_status measure_frames(const nrw_run_result *run, size_t first, size_t last,
                                 double heading, double visible_um2, nrw_state_features *f)
{
    const size_t n = last - first;
    double *aspects = malloc((n + 1) * sizeof *aspects);
    if (!aspects)
        return NRW_NO_MEMORY;
    double cosine = 0.0, sine = 0.0, area = 0.0;
    size_t n_aspects = 0;
    f->cohesion = f->spread_um = f->neighbour_um = f->visible = 0.0;
    for (size_t k = first; k < last; k++) {
        const nrw_morphology *seen = &run->frames[k].seen;
        f->cohesion += seen->largest_cluster_fraction;
        f->spread_um += seen->spread_um;
        f->neighbour_um += seen->neighbour_distance_um;
        f->visible += isnan(seen->visible_area_um2) ? NAN : seen->visible_area_um2 >= visible_um2;
        area += seen->visible_area_um2 / seen->largest_cluster_fraction;
        /* a line without width has no ratio, but is long */
        aspects[n_aspects++] = isfinite(seen->aspect_ratio) ? seen->aspect_ratio : 1e6;
        /* an axis has no sign: mean of the doubled angle */
        const double angle = 2.0 * (seen->angle_deg * NRW_DEGREE - heading);
        cosine += cos(angle);
        sine += sin(angle);
    }
    f->cohesion /= (double)n;
    f->spread_um /= (double)n;
    f->neighbour_um /= (double)n;
    f->visible /= (double)n;
    double own = 0.0;
    for (size_t i = 0; i < run->n_particles; i++)
        own += NRW_PI * run->radius_um[i] * run->radius_um[i];
    f->stacking = own / (area / (double)n);
    f->aspect_ratio = nrw_quantile(n_aspects, aspects, 0.5);
    f->axis_deg = 0.5 * fabs(atan2(sine, cosine)) / NRW_DEGREE;
    free(aspects);
    measure_motion(run, first, last, heading, f);
    return NRW_OK;
}

/* --- features of positions --------------------------------------------------------------- */

/* Stored positions [first, last) between two times. */
static void find_stored(const nrw_run_result *run, double from_s, double to_s, size_t *first,
                        size_t *last)
{
    const double *times = run->trajectory_time_s;
    *first = 0;
    while (*first < run->n_stored && times[*first] < from_s - TIME_TOLERANCE_S)
        ++*first;
    *last = *first;
    while (*last < run->n_stored && times[*last] <= to_s + TIME_TOLERANCE_S)
        ++*last;
}

static void centre_of(const float *at, size_t n, double *x, double *y)
{
    *x = *y = 0.0;
    for (size_t i = 0; i < n; i++) {
        *x += (double)at[3 * i] / (double)n;
        *y += (double)at[3 * i + 1] / (double)n;
    }
}

/* Angle by which the particles turned about their centroid from one stored moment
 * to the next: the rotation that carries one best onto the other. */
static double turn_between(const float *a, const float *b, size_t n)
{
    double ax, ay, bx, by, dot = 0.0, cross = 0.0;
    centre_of(a, n, &ax, &ay);
    centre_of(b, n, &bx, &by);
    for (size_t i = 0; i < n; i++) {
        const double px = (double)a[3 * i] - ax, py = (double)a[3 * i + 1] - ay;
        const double qx = (double)b[3 * i] - bx, qy = (double)b[3 * i + 1] - by;
        dot += px * qx + py * qy;
        cross += px * qy - py * qx;
    }
    return atan2(cross, dot);
}

/* Aspect ratio of each cluster's silhouette, weighted by particles: 4 sqrt of the
 * second moments, those of the discs themselves (r²/4) included, so that one
 * sphere counts as round. */
static double piece_aspect(size_t n, const uint32_t *roots, const uint32_t *sizes, const double *x,
                           const double *y, const double *radius, double (*sums)[5])
{
    memset(sums, 0, n * sizeof *sums);
    double disc = 0.0, weighted = 0.0;
    for (size_t i = 0; i < n; i++) {
        double *sum = sums[roots[i]];
        sum[0] += x[i];
        sum[1] += y[i];
        disc += 0.25 * radius[i] * radius[i] / (double)n;
    }
    for (size_t i = 0; i < n; i++) {
        double *sum = sums[roots[i]];
        const double share = 1.0 / (double)sizes[roots[i]];
        const double dx = x[i] - share * sum[0], dy = y[i] - share * sum[1];
        sum[2] += share * dx * dx;
        sum[3] += share * dx * dy;
        sum[4] += share * dy * dy;
    }
    for (size_t i = 0; i < n; i++) {
        if (roots[i] != i)
            continue;
        const double middle = 0.5 * (sums[i][2] + sums[i][4]);
        const double half = hypot(0.5 * (sums[i][2] - sums[i][4]), sums[i][3]);
        const double most = middle + half + disc, least = fmax(middle - half, 0.0) + disc;
        weighted += (double)sizes[i] / (double)n * sqrt(most / least);
    }
    return weighted;
}

typedef struct piece_work {
    nrw_cell_grid grid;
    uint32_t *roots, *sizes;
    double *x, *y, *z, *tops, (*sums)[5];
} piece_work;

static nrw_status measure_pieces(const nrw_run_result *run, const float *at, nrw_state_features *f)
{
    const size_t n = run->n_particles;
    piece_work work;
    memset(&work, 0, sizeof work);
    work.roots = malloc(n * sizeof *work.roots);
    work.sizes = malloc(n * sizeof *work.sizes);
    work.x = malloc(n * sizeof *work.x);
    work.y = malloc(n * sizeof *work.y);
    work.z = malloc(n * sizeof *work.z);
    work.tops = malloc(n * sizeof *work.tops);
    work.sums = malloc(n * sizeof *work.sums);
    nrw_status status = NRW_NO_MEMORY;
    if (work.roots && work.sizes && work.x && work.y && work.z && work.tops && work.sums &&
        nrw_cell_grid_init(&work.grid, n)) {
        for (size_t i = 0; i < n; i++) {
            work.x[i] = (double)at[3 * i];
            work.y[i] = (double)at[3 * i + 1];
            work.z[i] = (double)at[3 * i + 2];
            work.tops[i] = work.z[i] + run->radius_um[i];
        }
        (void)nrw_cluster_find(&work.grid, n, work.x, work.y, work.z, run->radius_um, REACH,
                               work.roots, work.sizes, NULL);
        f->piece_aspect =
            piece_aspect(n, work.roots, work.sizes, work.x, work.y, run->radius_um, work.sums);
        f->height_um = nrw_quantile(n, work.tops, 0.95);
        nrw_cell_grid_clear(&work.grid);
        status = NRW_OK;
    }
    free(work.roots);
    free(work.sizes);
    free(work.x);
    free(work.y);
    free(work.z);
    free(work.tops);
    free(work.sums);
    return status;
}

static nrw_status measure_positions(const nrw_run_result *run, size_t first, size_t last,
                                    nrw_state_features *f)
{
    const size_t n = run->n_particles;
    if (first == last || n == 0)
        return NRW_OK;
    double turned = 0.0;
    for (size_t k = first; k + 1 < last; k++)
        turned +=
            turn_between(run->trajectory_um + k * n * 3, run->trajectory_um + (k + 1) * n * 3, n);
    const double seconds = run->trajectory_time_s[last - 1] - run->trajectory_time_s[first];
    if (seconds > 0.0)
        f->turning_Hz = turned / seconds / (2.0 * NRW_PI);
    return measure_pieces(run, run->trajectory_um + (last - 1) * n * 3, f);
}

nrw_status nrw_state_measure(const nrw_run_result *run, double from_s, double to_s,
                             double heading_rad, double visible_um2, nrw_state_features *features)
{
    for (int k = 0; k < NRW_N_FEATURES; k++)
        *nrw_state_feature(features, k) = NAN;
    size_t first, last;
    find_frames(run, from_s, to_s, &first, &last);
    nrw_status status = NRW_OK;
    if (first < last)
        status = measure_frames(run, first, last, heading_rad, visible_um2, features);
    find_stored(run, from_s, to_s, &first, &last);
    if (status == NRW_OK)
        status = measure_positions(run, first, last, features);
    return status;
}

/* --- columns ----------------------------------------------------------------------------- */

const char *nrw_state_feature_name(int k)
{
    static const char *const names[NRW_N_FEATURES] = {"cohesion",
                                                      "speed_um_s",
                                                      "speed_along_um_s",
                                                      "speed_across_um_s",
                                                      "turning_Hz",
                                                      "aspect_ratio",
                                                      "axis_deg",
                                                      "spread_um",
                                                      "stacking",
                                                      "piece_aspect",
                                                      "neighbour_distance_um",
                                                      "height_um",
                                                      "visible_fraction_of_time"};
    return names[k];
}

double *nrw_state_feature(nrw_state_features *f, int k)
{
    double *const values[NRW_N_FEATURES] = {
        &f->cohesion,     &f->speed_um_s, &f->along_um_s, &f->across_um_s, &f->turning_Hz,
        &f->aspect_ratio, &f->axis_deg,   &f->spread_um,  &f->stacking,    &f->piece_aspect,
        &f->neighbour_um, &f->height_um,  &f->visible};
    return values[k];
}
