/* The three numbers that say which model holds (docs/physics.md, section 7). */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "average.h"
#include "body.h"
#include "doublet.h"
#include "particle.h"
#include "run.h"
#include "sampled_average.h"

/* Bounds of the averaged model (contract section 4). */
#define CYCLE_DISPLACEMENT_MAX 2.0
#define SHEDDING_MAX 0.3

static double step_out_Hz(const nrw_body *body, const nrw_field *field)
{
    nrw_vec3 axis = nrw_vec3_cross(field->cos, field->sin);
    double size = nrw_vec3_norm(axis);
    const bool induced = body->kind != NRW_MOMENT_PERMANENT && body->particles->shape.doublet;
    if ((!induced && !(body->permanent_fAm2 > 0.0)) || !(size > 0.0))
        return NAN;
    axis = nrw_vec3_scale(axis, 1.0 / size);
    const double mobility =
        body->floor.mr * (axis.x * axis.x + axis.y * axis.y) + body->floor.ms * axis.z * axis.z;
    if (induced)
        return nrw_doublet_step_out_rad_s(body, nrw_field_peak_mT(field)) * mobility /
               (2.0 * NRW_PI);
    return body->permanent_fAm2 * nrw_field_peak_mT(field) * mobility /
           (2.0 * NRW_PI * body->spin_drag_pN_um_s);
}

/* Mean spin of a lone induced doublet about the axis of a field that turns: its lag's,
 * and on top of it that of its axis, which follows the rest of the rotation like a
 * permanent moment of twice the angle (8.5). */
static void add_following(const nrw_body *body, const nrw_field *field, nrw_average *average)
{
    nrw_vec3 axis = nrw_vec3_cross(field->cos, field->sin);
    const double size = nrw_vec3_norm(axis);
    if (!body->particles->shape.doublet || body->kind != NRW_MOMENT_INDUCED || !(size > 0.0))
        return;
    axis = nrw_vec3_scale(axis, 1.0 / size);
    const double out =
        nrw_doublet_step_out_rad_s(body, nrw_field_peak_mT(field)) *
        (body->floor.mr * (1.0 - axis.z * axis.z) + body->floor.ms * axis.z * axis.z);
    const double rest = 2.0 * NRW_PI * field->frequency_Hz - nrw_vec3_dot(average->spin, axis);
    average->spin =
        nrw_vec3_add(average->spin, nrw_vec3_scale(axis, nrw_mean_spin_rad_s(rest, out)));
}

static void recommend(nrw_regime *regime, const nrw_body *body, const nrw_drive_setting *setting,
                      const nrw_field *field)
{
    bool slow_pairs = regime->cycle_displacement <= CYCLE_DISPLACEMENT_MAX;
    bool cohesive = regime->shedding_number < SHEDDING_MAX;
    regime->recommended = slow_pairs && cohesive ? NRW_MODEL_AVERAGED : NRW_MODEL_RESOLVED;
    if (body->particles->shape.doublet) {
        regime->recommended = NRW_MODEL_RESOLVED;
        (void)snprintf(
            regime->reason, sizeof regime->reason,
            "doublets are followed one by one; of equal spheres N_b = %.3g, Lambda = %.3g",
            regime->cycle_displacement, regime->shedding_number);
        return;
    }
    if (setting->mode == NRW_DRIVE_SAMPLED) {
        regime->recommended = NRW_MODEL_RESOLVED;
        (void)snprintf(regime->reason, sizeof regime->reason,
                       "samples have no period to average over; N_b = %.3g, Lambda = %.3g",
                       regime->cycle_displacement, regime->shedding_number);
        return;
    }
    if (!(field->frequency_Hz > 0.0)) {
        if (body->permanent_fAm2 > 0.0 && !(nrw_vec3_norm(field->steady) > 0.0)) {
            regime->recommended = NRW_MODEL_RESOLVED;
            (void)snprintf(regime->reason, sizeof regime->reason,
                           "no field holds the permanent moments: each one is followed");
            return;
        }
        regime->recommended = NRW_MODEL_AVERAGED;
        (void)snprintf(regime->reason, sizeof regime->reason,
                       "the field is steady: nothing is averaged");
        return;
    }
    (void)snprintf(regime->reason, sizeof regime->reason,
                   "N_b = %.3g (%s 2), Lambda = %.3g (%s 0.3)", regime->cycle_displacement,
                   slow_pairs ? "at most" : "above", regime->shedding_number,
                   cohesive ? "below" : "not below");
}

nrw_regime nrw_regime_of(const nrw_scenario *scenario, const nrw_drive_setting *setting,
                         const nrw_draw *draw)
{
    nrw_body body = nrw_body_of(scenario, draw);
    nrw_field field = nrw_drive_field(setting, 0.0, setting->tilt_deg);
    nrw_average average = setting->mode == NRW_DRIVE_SAMPLED
                              ? nrw_sampled_typical(&body, setting->samples, &field.frequency_Hz)
                              : nrw_average_of(&body, &field);
    add_following(&body, &field, &average);
    const double d = body.diameter_um, a = body.radius_um;
    const double drag = body.drag_pN_s_um / body.floor.mt;
    nrw_regime regime;
    memset(&regime, 0, sizeof regime);
    regime.moment_fAm2 = sqrt(average.size2);
    const double m2 = average.size2;
    regime.cycle_displacement = 0.0;
    regime.mason_number = NAN;
    if (field.frequency_Hz > 0.0) {
        regime.cycle_displacement = 0.3 * m2 / (pow(d, 5.0) * drag * field.frequency_Hz);
        regime.mason_number = 1.0 / regime.cycle_displacement;
    }
    const double planar_spin = hypot(average.spin.x, average.spin.y);
    const double bond_speed = 0.15 * m2 / (pow(d, 4.0) * drag);
    regime.shedding_number = planar_spin > 0.0 ? a * planar_spin / bond_speed : 0.0;
    nrw_vec3 axis = nrw_vec3_cross(field.cos, field.sin);
    double size = nrw_vec3_norm(axis);
    regime.spin_Hz = size > 0.0 ? nrw_vec3_dot(average.spin, axis) / size / (2.0 * NRW_PI) : 0.0;
    if (setting->mode == NRW_DRIVE_SAMPLED)
        regime.spin_Hz = nrw_vec3_norm(average.spin) / (2.0 * NRW_PI);
    regime.rim_speed_um_s = a * planar_spin;
    double rolling = scenario->model.rolling_factor * (draw ? draw->rolling : 1.0);
    regime.lone_speed_um_s = rolling * body.floor.rolling * a * planar_spin;
    regime.step_out_Hz = step_out_Hz(&body, &field);
    recommend(&regime, &body, setting, &field);
    return regime;
}

double nrw_thermal_coupling(const nrw_scenario *scenario, double field_mT)
{
    nrw_body body = nrw_body_of(scenario, NULL);
    double m = nrw_body_moment_fAm2(&body, field_mT);
    return 0.05 * m * m / (pow(body.diameter_um, 3.0) * body.kT_pN_um);
}

nrw_lone_particle nrw_lone_particle_of(const nrw_scenario *scenario, double field_mT)
{
    const nrw_body body = nrw_body_of(scenario, NULL);
    const bool doublet = scenario->particles.shape.doublet;
    nrw_lone_particle lone = {body.drag_pN_s_um, NAN, body.gap_um};
    if (doublet) {
        lone.drag_pN_s_um *= nrw_spheroid_mean_friction(scenario->particles.shape.aspect);
        lone.step_out_Hz = nrw_doublet_step_out_rad_s(&body, field_mT) / (2.0 * NRW_PI);
    } else if (body.permanent_fAm2 > 0.0) {
        lone.step_out_Hz =
            nrw_step_out_rad_s(body.permanent_fAm2, field_mT, body.spin_drag_pN_um_s) /
            (2.0 * NRW_PI);
    }
    return lone;
}
