#include "rig_curve.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "coil.h"
#include "particle.h"

#define GRADIENT_STEP_MM 1e-3
#define USABLE_ERROR 0.01

static double field_at(const nrw_rig *rig, const nrw_rig_model *model, double frequency_Hz,
                       double tilt_deg, char limit[64])
{
    nrw_drive_setting setting = nrw_drive_setting_defaults();
    nrw_rig_binding binding;
    setting.heading_kind = NRW_HEADING_CENTRELINE;
    setting.tilt_deg = tilt_deg;
    setting.frequency_Hz = frequency_Hz;
    const double field = nrw_rig_available_field_mT(rig, &setting, &binding);
    const char *name = nrw_rig_binding_name(&binding);
    if (binding.coil >= 0)
        (void)snprintf(limit, 64, "%s %.40s", name, model->names[binding.coil]);
    else
        (void)snprintf(limit, 64, "%s", name);
    return field;
}

size_t nrw_rig_curve(const nrw_rig *rig, nrw_rig_curve_point *points, size_t room)
{
    static const double steps[] = {1.0, 2.0, 5.0};
    nrw_rig_model model;
    if (nrw_rig_model_init(&model, rig, NULL) != NRW_OK || !model.present)
        return 0;
    size_t n = 0;
    double decade = 1.0;
    for (int i = 0; n < room; i++) {
        if (i > 0 && i % 3 == 0)
            decade *= 10.0;
        const double f = fmin(decade * steps[i % 3], model.frequency_max_Hz);
        nrw_rig_curve_point *point = &points[n++];
        point->frequency_Hz = f;
        point->flat_mT = field_at(rig, &model, f, 0.0, point->flat_limit);
        point->rolling_mT = field_at(rig, &model, f, 90.0, point->rolling_limit);
        if (f >= model.frequency_max_Hz)
            break;
    }
    return n;
}

double nrw_rig_corner_Hz(double resistance_ohm, double inductance_H)
{
    return resistance_ohm / (2.0 * NRW_PI * inductance_H);
}

/* --- uniformity ---------------------------------------------------------------------- */

/* The pair of a coil or axis, in the rig's frame; false where it is not known. */
static bool pair_of(const nrw_rig *rig, int i, nrw_coil pair[2])
{
    static const double middle[3] = {0.0, 0.0, 0.0};
    double axis[3] = {0.0, 0.0, 0.0};
    const nrw_rig_coil_extras *extras;
    if (rig->n_coils > 0) {
        extras = &rig->coils[i].extras;
        memcpy(axis, rig->coils[i].mT_per_A, sizeof axis);
    } else {
        extras = &rig->axes[i].extras;
        axis[i] = 1.0;
    }
    if (!(extras->pair_radius_mm > 0.0))
        return false;
    nrw_coil_pair(extras->pair_radius_mm, extras->pair_spacing_mm, extras->pair_turns, middle, axis,
                  pair);
    return true;
}

static double size_at(const nrw_coil pair[2], const double at_mm[3])
{
    double field[3];
    nrw_coil_group_mT(pair, 2, 1.0, at_mm, field);
    return sqrt(field[0] * field[0] + field[1] * field[1] + field[2] * field[2]);
}

/* Largest relative gradient of |B| per mm on the rim. */
static double gradient_share(const nrw_coil pair[2], double radius_mm)
{
    enum { RAYS = 24 };
    static const double middle[3] = {0.0, 0.0, 0.0};
    const double size = size_at(pair, middle);
    double largest = 0.0;
    for (int i = 0; i < RAYS; i++) {
        const double angle = 2.0 * NRW_PI * i / RAYS;
        const double x = radius_mm * cos(angle), y = radius_mm * sin(angle), h = GRADIENT_STEP_MM;
        const double dx = size_at(pair, (const double[3]){x + h, y, 0.0}) -
                          size_at(pair, (const double[3]){x - h, y, 0.0});
        const double dy = size_at(pair, (const double[3]){x, y + h, 0.0}) -
                          size_at(pair, (const double[3]){x, y - h, 0.0});
        largest = fmax(largest, hypot(dx, dy) / (2.0 * h * size));
    }
    return largest;
}

/* Radius at which a pair's error reaches USABLE_ERROR: bisection, as the error
 * grows outward until the windings. */
static double usable_mm(const nrw_coil pair[2])
{
    static const double middle[3] = {0.0, 0.0, 0.0};
    double low = 0.0, high = 0.9 * pair[0].radius_mm;
    for (int i = 0; i < 30; i++) {
        const double radius = 0.5 * (low + high);
        if (nrw_coil_group_nonuniformity(pair, 2, middle, radius) < USABLE_ERROR)
            low = radius;
        else
            high = radius;
    }
    return low;
}

bool nrw_rig_uniformity_at(const nrw_scenario *scenario, double offset_mm,
                           nrw_rig_uniformity *uniformity)
{
    static const double middle[3] = {0.0, 0.0, 0.0};
    const nrw_rig *rig = &scenario->rig;
    memset(uniformity, 0, sizeof *uniformity);
    uniformity->offset_mm = offset_mm;
    uniformity->usable_mm = INFINITY;
    const int n = rig->n_coils > 0 ? (int)rig->n_coils : 3;
    double steepest = 0.0;
    for (int i = 0; i < n && rig->present; i++) {
        nrw_coil pair[2];
        if (rig->n_coils == 0 && !rig->axes[i].present)
            continue;
        if (!pair_of(rig, i, pair))
            return false;
        uniformity->field_error =
            fmax(uniformity->field_error, nrw_coil_group_nonuniformity(pair, 2, middle, offset_mm));
        uniformity->usable_mm = fmin(uniformity->usable_mm, usable_mm(pair));
        steepest = fmax(steepest, gradient_share(pair, offset_mm));
    }
    if (!rig->present || isinf(uniformity->usable_mm))
        return false;
    const double field = rig->field_max_mT, a = 0.5 * scenario->particles.diameter_um;
    const double moment =
        nrw_particle_moment_fAm2(&scenario->particles, scenario->particles.diameter_um, field);
    uniformity->gradient_mT_mm = steepest * field;
    /* m dB/dx in pN with mT/µm */
    uniformity->drift_um_s = moment * uniformity->gradient_mT_mm * 1e-3 /
                             (6.0 * NRW_PI * scenario->fluid.viscosity_Pa_s * a);
    return true;
}
