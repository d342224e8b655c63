#include "excitation.h"

#include <math.h>

#include "doublet_world.h"
#include "mutual.h"
#include "sampled_average.h"

/* Permanent moments, resolved: steps per period, and the longest step. */
#define OWN_STEPS_PER_PERIOD 64.0
#define OWN_STEP_MAX_S 0.002
/* Induced moments, resolved: substeps per period. */
#define SUBSTEPS_PER_PERIOD 8.0
/* Mutual induction, resolved: the middles of three steps already give the means of forces,
 * which are of second degree in the moments. */
#define MUTUAL_STEPS_PER_PERIOD 16.0
#define STEPS_PER_WOBBLE 32.0

static const nrw_setting_response *response_of(nrw_exciter *exciter, int which,
                                               const nrw_drive_setting *setting)
{
    nrw_setting_response *response = &exciter->responses[which];
    const double tilt = exciter->control->tilt_deg[which];
    if (!(fabs(response->tilt_deg - tilt) < 1e-9)) {
        response->field = nrw_drive_field(setting, 0.0, tilt);
        /* own moments need no averages, and theirs are dear */
        if ((!exciter->world->own_moments || exciter->world->mutual) && !exciter->world->doublets)
            response->average = nrw_average_of(&exciter->world->body, &response->field);
        response->tilt_deg = tilt;
    }
    return response;
}

static nrw_field turned_field(nrw_field field, double heading)
{
    field.steady = nrw_vec3_turn(field.steady, heading);
    field.cos = nrw_vec3_turn(field.cos, heading);
    field.sin = nrw_vec3_turn(field.sin, heading);
    return field;
}

/* Mean of m mᵀ over [t0, t1] of the leg's time, four samples: the tensor turns by
 * less than a quarter of its own period in a substep. */
static nrw_sym3 mean_tensor(const nrw_body *body, const nrw_field *field, double t0, double t1)
{
    enum { SAMPLES = 4 };
    nrw_sym3 sum = {0};
    for (int k = 0; k < SAMPLES; k++) {
        double t = t0 + (t1 - t0) * (k + 0.5) / SAMPLES;
        nrw_vec3 moment, torque;
        nrw_induced_at(body, field, 2.0 * NRW_PI * field->frequency_Hz * t, &moment, &torque);
        sum = nrw_sym3_add_scaled(sum, nrw_sym3_outer(moment), 1.0 / SAMPLES);
    }
    return sum;
}

static double heading_at(const nrw_control *control, const nrw_drive_setting *setting, int which,
                         double t)
{
    double base = setting->mode == NRW_DRIVE_GENERAL ? 0.0 : control->heading_rad[which];
    return base + nrw_drive_wobble_rad(setting, t - control->leg_start_s);
}

/* Both parts of a moment along the field at its peak. */
static double largest_moment_fAm2(const nrw_body *body, const nrw_field *field)
{
    const double fixed = body->permanent_fAm2;
    return body->slope_fAm2_mT > 0.0 ? fixed + nrw_body_moment_fAm2(body, nrw_field_peak_mT(field))
                                     : fixed;
}

/* The field at a phase, and what it does to the induced part of the moments. The size is
 * that of both parts along the field, which is that of moments that follow. */
static void excite_own(const nrw_body *body, const nrw_field *field, double phase_rad,
                       nrw_excitation *excitation)
{
    excitation->field = nrw_field_at(field, phase_rad);
    if (body->slope_fAm2_mT > 0.0)
        nrw_induced_at(body, field, phase_rad, &excitation->induced, &excitation->torque);
    const double size = body->permanent_fAm2 + nrw_vec3_norm(excitation->induced);
    excitation->size2 = size * size;
}

/* The longest equal parts of h_s that are at most `most`. */
static double shorter_step_s(double h_s, double most)
{
    return h_s > most ? h_s / ceil(h_s / most) : h_s;
}

/* Shortens a step of individual moments so that they are followed. */
static double own_step_s(const nrw_world *world, const nrw_field *field, double h_s)
{
    const double m = largest_moment_fAm2(&world->body, field), frequency_Hz = field->frequency_Hz;
    double most = fmin(OWN_STEP_MAX_S, nrw_world_stable_s(world, m * m));
    if (frequency_Hz > 0.0)
        most = fmin(most, 1.0 / (OWN_STEPS_PER_PERIOD * frequency_Hz));
    return shorter_step_s(h_s, most);
}

/* The same for moments that induce each other: their stiffness is that of the largest;
 * the phases of a resolved period are looked at one by one. */
static double mutual_step_s(const nrw_world *world, const nrw_setting_response *response,
                            bool resolved, double h_s)
{
    const double gain = nrw_mutual_gain(&world->body);
    const double size2 = gain * gain * response->average.size2;
    double most = size2 > 0.0 ? nrw_world_stable_s(world, size2) : h_s;
    if (resolved)
        most = fmin(most, 1.0 / (MUTUAL_STEPS_PER_PERIOD * response->field.frequency_Hz));
    return shorter_step_s(h_s, most);
}

/* The same for substeps of a common moment; *n_substeps gets their number. */
static double phase_step_s(double frequency_Hz, double h_s, int *n_substeps)
{
    const double most = NRW_MAX_SUBSTEPS / (SUBSTEPS_PER_PERIOD * frequency_Hz);
    const double h = shorter_step_s(h_s, most);
    const int substeps = (int)ceil(h * SUBSTEPS_PER_PERIOD * frequency_Hz - 1e-9);
    *n_substeps = substeps < 1 ? 1 : substeps;
    return h;
}

static nrw_vec3 turning_axis(const nrw_field *field)
{
    const nrw_vec3 axis = nrw_vec3_cross(field->cos, field->sin);
    const double size = nrw_vec3_norm(axis);
    return size > 0.0 ? nrw_vec3_scale(axis, 1.0 / size) : (nrw_vec3){0.0, 0.0, 1.0};
}

void nrw_exciter_enter(nrw_exciter *exciter, nrw_world *world, const nrw_control *control,
                       nrw_model model)
{
    exciter->world = world;
    exciter->control = control;
    exciter->model = model;
    exciter->responses[0].tilt_deg = exciter->responses[1].tilt_deg = NAN;
    world->own_moments = world->mutual || (world->body.permanent_fAm2 > 0.0 &&
                                           model == NRW_MODEL_RESOLVED && !world->doublets);
}

void nrw_excite(nrw_exciter *exciter, double *h_s, nrw_excitation *excitation, nrw_vec3 *spin_axis)
{
    nrw_world *world = exciter->world;
    const nrw_control *control = exciter->control;
    const double t0 = world->time_s, begun = control->leg_start_s;
    int which;
    const nrw_drive_setting *setting = nrw_control_setting(control, t0, &which);
    if (setting->mode == NRW_DRIVE_SAMPLED) {
        nrw_sampled_excite(world, setting->samples, t0 - begun, h_s, excitation, spin_axis);
        return;
    }
    const nrw_setting_response *response = response_of(exciter, which, setting);
    const double f = response->field.frequency_Hz;
    const bool resolved = exciter->model == NRW_MODEL_RESOLVED && f > 0.0;
    excitation->n_substeps = 1;
    if (setting->wobble_deg > 0.0) /* the heading of a step is that of its middle */
        *h_s = shorter_step_s(*h_s, setting->wobble_period_s / STEPS_PER_WOBBLE);
    if (world->doublets)
        nrw_doublets_step_length(world, &response->field, h_s);
    else if (world->mutual)
        *h_s = mutual_step_s(world, response, resolved, *h_s);
    else if (world->own_moments)
        *h_s = own_step_s(world, &response->field, *h_s);
    else if (resolved)
        *h_s = phase_step_s(f, *h_s, &excitation->n_substeps);
    const double h = *h_s, middle = t0 + 0.5 * h;
    const double heading = heading_at(control, setting, which, middle);
    const nrw_field field = turned_field(response->field, heading);
    *spin_axis = turning_axis(&field);
    if (world->doublets) {
        nrw_doublets_excite(world, &field, 2.0 * NRW_PI * f * (middle - begun), excitation);
        return;
    }
    if (world->mutual) {
        excitation->drive = field;
        excitation->phase_rad = resolved ? 2.0 * NRW_PI * f * (middle - begun) : (double)NAN;
        excitation->size2 = response->average.size2;
        return;
    }
    if (world->own_moments) {
        excite_own(&world->body, &field, 2.0 * NRW_PI * f * (middle - begun), excitation);
        return;
    }
    const nrw_average average = nrw_average_turn(response->average, heading);
    excitation->tensor = average.moment2;
    excitation->torque = average.torque;
    excitation->size2 = average.size2;
    excitation->lone_spin = average.spin;
    excitation->lag_torque = average.lag_torque;
    excitation->hold_pN_um = average.hold_pN_um;
    excitation->rate_rad_s = average.rate_rad_s;
    if (!resolved)
        return;
    const int n = excitation->n_substeps;
    for (int k = 0; k < n; k++)
        excitation->substep_tensors[k] =
            mean_tensor(&world->body, &field, t0 - begun + h * k / n, t0 - begun + h * (k + 1) / n);
    if (n == 1)
        excitation->tensor = excitation->substep_tensors[0];
}
