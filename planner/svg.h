/* Pictures as inline SVG: frames, axes, lines, areas, scale bars.
 *
 * Colours and fonts are classes of report.css; a picture carries a title and a
 * description for those who don't see it. */
#ifndef NRW_SVG_H
#define NRW_SVG_H

#include <stddef.h>

#include "markup.h"

/* Opens <svg> of width x height (units of its own) with alternative text. `id`
 * is of our own and unique in the document. nrw_svg_close ends it. */
void nrw_svg_open(nrw_markup *out, const char *id, double width, double height, const char *title,
                  const char *description);
void nrw_svg_close(nrw_markup *out);

/* A plotting area inside a picture, and the data's ranges along its sides. */
typedef struct nrw_svg_plot {
    nrw_markup *out; /* borrowed */
    double left, top, width, height;
    double x_low, x_high, y_low, y_high;
} nrw_svg_plot;

double nrw_svg_x(const nrw_svg_plot *plot, double x);
double nrw_svg_y(const nrw_svg_plot *plot, double y);

/* 1, 2 or 5 times a power of ten: the smallest step that cuts `range` into at
 * most n pieces. */
double nrw_svg_step(double range, int n);

/* Axes with ticks at round numbers and a label with the unit. */
void nrw_svg_axis_x(const nrw_svg_plot *plot, const char *label);
void nrw_svg_axis_y(const nrw_svg_plot *plot, const char *label);

/* A line through (x, y) (n each); NAN breaks it. Points outside the area are
 * drawn at its edge. Points that would move the line by less than half a unit
 * are left out. */
void nrw_svg_line(const nrw_svg_plot *plot, const char *class_name, size_t n, const double *x,
                  const double *y);

/* The area between two such lines. */
void nrw_svg_area(const nrw_svg_plot *plot, const char *class_name, size_t n, const double *x,
                  const double *low, const double *high);

/* A rectangle over a range of x (whole height) or y (whole width), cut to the
 * area. */
void nrw_svg_band_x(const nrw_svg_plot *plot, const char *class_name, double from, double to);
void nrw_svg_band_y(const nrw_svg_plot *plot, const char *class_name, double from, double to);

/* A bar of round length, at most `longest` units, its right end at (x, y), with
 * its length in µm above it. */
void nrw_svg_scale_bar(nrw_markup *out, double x, double y, double units_per_um, double longest);

/* Width of a text in units at the pictures' font size: an estimate, for
 * placing labels. Counts characters, not bytes. */
double nrw_svg_text_width(const char *text);

#endif
