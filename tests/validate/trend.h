/* Trends from publications, each measured by runs: a row of the table and a plot. */
#ifndef TREND_H
#define TREND_H

#include "validate.h"

/* Where plots go, and how many seeds a point has. */
typedef struct trend_options {
    const char *folder;
    int n_seeds;
} trend_options;

enum { TREND_ROWS_MAX = 4 };
typedef struct trend_result {
    size_t n;
    validate_row rows[TREND_ROWS_MAX];
} trend_result;

/* trend_bonds.c: pairs at rest */
trend_result trend_tilted_bond(const trend_options *options);
trend_result trend_magic_angle(const trend_options *options);
/* trend_rollers.c */
trend_result trend_step_out(const trend_options *options);
trend_result trend_gap(const trend_options *options);
trend_result trend_density(const trend_options *options);
trend_result trend_file_of_rollers(const trend_options *options);
/* trend_swarms.c */
trend_result trend_chain_length(const trend_options *options);
trend_result trend_break_up(const trend_options *options);
trend_result trend_synchronous_crystal(const trend_options *options);
trend_result trend_elongation(const trend_options *options);

#endif
