/* What a rig gives: field against frequency, and how uniform it is.
 *
 * For `check`, the report, and people who ask where the limits lie. */
#ifndef NRW_RIG_CURVE_H
#define NRW_RIG_CURVE_H

#include <stddef.h>

#include "rig.h"
#include "scenario.h"

typedef struct nrw_rig_curve_point {
    double frequency_Hz;
    double flat_mT;                         /* rotation in the plane, any heading */
    double rolling_mT;                      /* tilt 90, any heading; 0 without a vertical coil */
    char flat_limit[64], rolling_limit[64]; /* e.g. "field", "voltage x" */
} nrw_rig_curve_point;

/* Fills n points: 1, 2, 5, 10, ... Hz up to the rig's largest frequency, which is
 * the last. Returns how many; 0 without a rig. About 1 ms a point. */
size_t nrw_rig_curve(const nrw_rig *rig, nrw_rig_curve_point *points, size_t room);

/* Frequency at which a coil's reactance equals its resistance, R/(2πL): above it
 * the voltage, not the heat, costs. INFINITY without inductance. */
double nrw_rig_corner_Hz(double resistance_ohm, double inductance_H);

/* What a displacement from the coils' middle does to a swarm, for coils whose
 * geometry is known. */
typedef struct nrw_rig_uniformity {
    double offset_mm;
    double field_error;    /* largest |B − B0|/B0 of any coil in that disc */
    double gradient_mT_mm; /* largest change of |B| per mm there, at the rig's largest field */
    double drift_um_s;     /* of a particle by m·∇B against its drag in unbounded fluid: an
                              upper estimate, as the floor slows it further */
    double usable_mm;      /* radius within which the field errs by less than 1 % */
} nrw_rig_uniformity;

/* False (and nothing known) unless every coil has a geometry. Rays in the plane
 * z = 0 of the coils, as nrw_coil_group_nonuniformity. */
bool nrw_rig_uniformity_at(const nrw_scenario *scenario, double offset_mm,
                           nrw_rig_uniformity *uniformity);

#endif
