/* The excitation: what the drive in force does to the particles during a step,
 * averaged over the period or resolved (docs/physics.md, sections 6 and 7). */
#ifndef NRW_EXCITATION_H
#define NRW_EXCITATION_H

#include "average.h"
#include "control.h"
#include "world.h"

/* A setting's field and averages at heading zero, kept until its tilt changes. */
typedef struct nrw_setting_response {
    nrw_field field;
    nrw_average average; /* not filled for own moments, which need none */
    double tilt_deg;     /* for which they were computed; NAN: not yet */
} nrw_setting_response;

typedef struct nrw_exciter {
    nrw_world *world;                  /* borrowed, as the next */
    const nrw_control *control;        /* says which setting is in force, and where it heads */
    nrw_model model;                   /* of the leg: averaged or resolved */
    nrw_setting_response responses[2]; /* of the main and the other setting */
} nrw_exciter;

/* Begins a leg: `control` has entered it. Tells the world how its moments are followed. */
void nrw_exciter_enter(nrw_exciter *exciter, nrw_world *world, const nrw_control *control,
                       nrw_model model);

/* Fills the excitation for a step of at most *h_s from now; may shorten it. spin_axis:
 * the direction about which the field turns, up where it does not turn. */
void nrw_excite(nrw_exciter *exciter, double *h_s, nrw_excitation *excitation, nrw_vec3 *spin_axis);

#endif
