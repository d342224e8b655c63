/* What the programs of `make validate` share: cases from text, runs, means with
 * intervals, plots. They use the public headers only. Failures end the program: it is
 * no part of the library. */
#ifndef VALIDATE_H
#define VALIDATE_H

#include <stdbool.h>
#include <stdio.h>

#include "narrows_plan.h"
#include "narrows_sim.h"

/* A scenario with its channel and a schedule. Clear with validate_clear. */
typedef struct validate_case {
    nrw_scenario *scenario;
    nrw_channel *channel;
    nrw_schedule schedule;
} validate_case;

/* From the texts of the two files (printf's conversions in neither). */
validate_case validate_make(const char *scenario, const char *schedule);
void validate_clear(validate_case *it);

/* One run; the caller clears the result. */
nrw_run_result validate_run(const validate_case *it, nrw_model model, uint64_t seed, bool record);

/* A mean over seeds with half its 95 % interval (Student); half is 0 for one value. */
typedef struct validate_mean {
    double mean, half;
} validate_mean;
validate_mean validate_mean_of(size_t n, const double *values);

/* The same of n_points rows of n values each, `stride` apart, into mean and half
 * (n_points). */
void validate_means(size_t n_points, size_t n, size_t stride, const double *values, double *mean,
                    double *half);

/* Slope of log y against log x by least squares, with half its 95 % interval. */
validate_mean validate_log_slope(size_t n, const double *x, const double *y);

/* Number of clusters of points closer than `reach`; at: (n x 3). */
size_t validate_clusters(size_t n, const float *at, double reach);

/* --- plots -------------------------------------------------------------------------- */

typedef struct validate_series {
    const char *name;
    size_t n;
    const double *x, *y;
    const double *half; /* half intervals; NULL: none */
    bool line;          /* a line without marks: theory */
} validate_series;

typedef struct validate_plot {
    const char *file; /* in the folder of plots: "bonds.svg" */
    const char *title, *x_label, *y_label;
    bool log_x, log_y;
    size_t n_series;
    const validate_series *series;
} validate_plot;

/* Writes an SVG that stands alone, and its numbers beside it as CSV. */
void validate_plot_write(const char *folder, const validate_plot *plot);

/* --- rows of the table --------------------------------------------------------------- */

typedef struct validate_row {
    char measured[400]; /* what, and by whom */
    char predicted[400];
    char verdict[24]; /* agrees, partly, disagrees, not predicted */
    char cause[400];  /* of a disagreement, or how sure */
    const char *plot; /* file name; NULL: none */
} validate_row;

/* Puts text between the lines `<!-- NAME begins -->` and `<!-- NAME ends -->` of a page. */
void validate_insert(const char *page, const char *name, const char *text);

#endif
