/* The nominal particle in its fluid: everything derived once per run from a
 * scenario and one draw of the uncertain factors. Coherent units (units.h). */
#ifndef NRW_BODY_H
#define NRW_BODY_H

#include "mobility.h"
#include "run.h"
#include "scenario.h"

typedef struct nrw_body {
    double radius_um, volume_um3;
    double viscosity_Pa_s;
    double drag_pN_s_um;      /* ξ = 6πηa, unbounded */
    double spin_drag_pN_um_s; /* ζ = 8πηa³, unbounded */
    double kT_pN_um;
    double weight_pN;          /* buoyant; 0 without gravity */
    double layer_amplitude_pN; /* double layer: amplitude·exp(−gap/debye) */
    double debye_um, roughness_um;
    double given_gap_um; /* surface.gap_um; NAN: from forces */
    bool has_floor;
    double gap_um;            /* start gap of a lone particle; NAN without floor */
    nrw_floor_mobility floor; /* at that gap; unbounded values without floor */

    nrw_moment_kind kind;
    double slope_fAm2_mT; /* induced: V χ_eff/µ0, with the draw's factor */
    double moment_factor; /* of the draw */
    double relaxation_s;
    double permanent_fAm2; /* fixed in the particle: all of a permanent one's moment, the
                              remanent part of an induced one's; with the draw's factor */
    double diameter_um;
    const nrw_particles *particles; /* for the saturation law; borrowed */
} nrw_body;

/* Fills a body; `draw` NULL means nominal factors. */
nrw_body nrw_body_of(const nrw_scenario *scenario, const nrw_draw *draw);

/* Moment in fA·m² of the nominal particle at a field, with saturation and the
 * draw's factor. */
double nrw_body_moment_fAm2(const nrw_body *body, double field_mT);

/* Braking of touching particles that turn the same way: extra rotational
 * resistance per contact over 8πηa³ for co-rotation across the line of centres,
 * ¼ ln(a/gap) − 0.32 (docs/physics.md, equation 5.9), not below 0. */
double nrw_contact_brake(double gap_over_radius);

#endif
