/* Drawing on the channel's map (internal): views, walls, particles. */
#ifndef NRW_REPORT_MAP_H
#define NRW_REPORT_MAP_H

#include "report_parts.h"

/* A rectangle of the map in a picture: x right, y up, the same scale in both. */
typedef struct nrw_map_view {
    double x_um, y_um;    /* of the picture's bottom-left corner */
    double scale;         /* picture units per µm */
    double width, height; /* of the picture */
} nrw_map_view;

/* Place on the picture. */
double nrw_map_view_x(const nrw_map_view *view, double x_um);
double nrw_map_view_y(const nrw_map_view *view, double y_um);

/* View of a box (x_min, y_min, x_max, y_max) with room around it. */
nrw_map_view nrw_map_view_of_box(const double box_um[4], double width, double height);

/* Defines the channel's shape once for the document; every picture uses it. */
void nrw_report_map_define(nrw_report *report);

/* Walls, fluid, the route, release and target circles and no-go discs. */
void nrw_report_map_ground(nrw_report *report, const nrw_map_view *view);

/* Which positions: those at the end, or a stored frame. */
#define NRW_MAP_FINAL SIZE_MAX
void nrw_report_map_position(const nrw_run_result *run, size_t stored, size_t particle,
                             double at_um[2]);

/* What is drawn of a particle: one dot, or the two lobes of a doublet: dots 2i and
 * 2i + 1 of particle i. Their number a particle, their size over the particle's, the
 * place of one. */
size_t nrw_report_dots_each(const nrw_report_input *in);
double nrw_report_dot_share(const nrw_report_input *in);
void nrw_report_dot(const nrw_report_input *in, size_t stored, size_t dot, double at_um[2]);

/* Particles as dots of their true size (never below a dot that can be seen),
 * coloured by their fate at the end. `id` is unique in the document. Returns the
 * number of those outside the view. */
size_t nrw_report_map_particles(nrw_report *report, const nrw_map_view *view, const char *id,
                                size_t stored);

/* --- report_moments.c --------------------------------------------------------- */

/* A moment worth a picture. */
typedef struct nrw_moment {
    char name[64];
    size_t stored; /* of the run's stored positions, or NRW_MAP_FINAL */
    size_t frame;  /* nearest imaging frame; SIZE_MAX: none */
    double time_s;
    double box_um[4]; /* around most of the swarm */
} nrw_moment;

/* Chooses them: release; at the mouth of, in and past each throat; the end.
 * At most `most`; returns their number. */
size_t nrw_report_moments_choose(const nrw_report_input *in, size_t most, nrw_moment *moments);

#endif
