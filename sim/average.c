#include "average.h"

#include <math.h>
#include <stdbool.h>
#include <string.h>

/* --- induced moments ------------------------------------------------------ */

/* Field that the moment follows: each harmonic part lags by φ = atan(ωτ) and
 * shrinks by cos φ (first-order relaxation). */
static nrw_vec3 lagged_field(const nrw_body *body, const nrw_field *field, double phase_rad)
{
    double lag = 2.0 * NRW_PI * field->frequency_Hz * body->relaxation_s;
    double phi = atan(lag), shrink = cos(phi);
    nrw_vec3 harmonic = nrw_vec3_add(nrw_vec3_scale(field->cos, cos(phase_rad - phi)),
                                     nrw_vec3_scale(field->sin, sin(phase_rad - phi)));
    return nrw_vec3_add(field->steady, nrw_vec3_scale(harmonic, shrink));
}

void nrw_induced_at(const nrw_body *body, const nrw_field *field, double phase_rad,
                    nrw_vec3 *moment, nrw_vec3 *torque)
{
    nrw_vec3 followed = lagged_field(body, field, phase_rad);
    double slope = body->slope_fAm2_mT;
    if (isfinite(body->particles->saturation_kA_m)) {
        double size = nrw_vec3_norm(followed);
        if (size > 0.0)
            slope = nrw_body_moment_fAm2(body, size) / size;
    }
    *moment = nrw_vec3_scale(followed, slope);
    *torque = nrw_vec3_cross(*moment, nrw_field_at(field, phase_rad));
}

static nrw_average induced_closed_form(const nrw_body *body, const nrw_field *field)
{
    const double slope2 = body->slope_fAm2_mT * body->slope_fAm2_mT;
    const double lag = 2.0 * NRW_PI * field->frequency_Hz * body->relaxation_s;
    const double follow = 1.0 / (1.0 + lag * lag);
    nrw_average average;
    memset(&average, 0, sizeof average);
    average.moment2 = nrw_sym3_add_scaled(average.moment2, nrw_sym3_outer(field->steady), slope2);
    if (field->frequency_Hz > 0.0) {
        nrw_sym3 harmonic = nrw_sym3_add_scaled(nrw_sym3_outer(field->cos),
                                                nrw_sym3_outer(field->sin), 1.0);
        average.moment2 = nrw_sym3_add_scaled(average.moment2, harmonic, 0.5 * slope2 * follow);
        average.torque = nrw_vec3_scale(nrw_vec3_cross(field->cos, field->sin),
                                        body->slope_fAm2_mT * lag * follow);
    }
    return average;
}

static nrw_average induced_by_quadrature(const nrw_body *body, const nrw_field *field)
{
    /* the trapezoid rule converges exponentially for a periodic smooth integrand */
    enum { N_PHASES = 64 };
    nrw_average average;
    memset(&average, 0, sizeof average);
    for (int i = 0; i < N_PHASES; i++) {
        nrw_vec3 moment, torque;
        nrw_induced_at(body, field, 2.0 * NRW_PI * i / N_PHASES, &moment, &torque);
        average.moment2 =
            nrw_sym3_add_scaled(average.moment2, nrw_sym3_outer(moment), 1.0 / N_PHASES);
        average.torque = nrw_vec3_add(average.torque, nrw_vec3_scale(torque, 1.0 / N_PHASES));
    }
    return average;
}

/* --- permanent moments ---------------------------------------------------- */

nrw_vec3 nrw_moment_relax(nrw_vec3 u, nrw_vec3 b, double rate_times_time)
{
    /* cos θ' = tanh(atanh(cos θ) + rate·time), written without overflow */
    double along = nrw_vec3_dot(u, b);
    if (along >= 1.0 - 1e-15)
        return b;
    if (along <= -1.0 + 1e-15)
        return u; /* unstable equilibrium: noise or a turning field leaves it */
    double decay = exp(-2.0 * rate_times_time);
    double ratio = (1.0 - along) / (1.0 + along) * decay; /* tan²(θ'/2) */
    double cos_new = (1.0 - ratio) / (1.0 + ratio);
    double sin_new = 2.0 * sqrt(ratio) / (1.0 + ratio);
    nrw_vec3 across = nrw_vec3_add(u, nrw_vec3_scale(b, -along));
    double size = nrw_vec3_norm(across);
    return nrw_vec3_add(nrw_vec3_scale(b, cos_new), nrw_vec3_scale(across, sin_new / size));
}

static nrw_vec3 spin_of_torque(const nrw_body *body, nrw_vec3 torque)
{
    double mr = body->floor.mr / body->spin_drag_pN_um_s;
    double ms = body->floor.ms / body->spin_drag_pN_um_s;
    return (nrw_vec3){torque.x * mr, torque.y * mr, torque.z * ms};
}

static nrw_vec3 permanent_rate(const nrw_body *body, const nrw_field *field, double phase,
                               nrw_vec3 u, nrw_vec3 *spin)
{
    nrw_vec3 torque = nrw_vec3_cross(nrw_vec3_scale(u, body->permanent_fAm2),
                                     nrw_field_at(field, phase));
    *spin = spin_of_torque(body, torque);
    return nrw_vec3_cross(*spin, u);
}

/* One fourth-order Runge-Kutta step of u; returns the spin at its beginning. */
static nrw_vec3 orbit_step(const nrw_body *body, const nrw_field *field, double phase,
                           double phase_step, double time_step, nrw_vec3 *u)
{
    nrw_vec3 spin, unused;
    nrw_vec3 k1 = permanent_rate(body, field, phase, *u, &spin);
    nrw_vec3 k2 = permanent_rate(body, field, phase + 0.5 * phase_step,
                                 nrw_vec3_add(*u, nrw_vec3_scale(k1, 0.5 * time_step)), &unused);
    nrw_vec3 k3 = permanent_rate(body, field, phase + 0.5 * phase_step,
                                 nrw_vec3_add(*u, nrw_vec3_scale(k2, 0.5 * time_step)), &unused);
    nrw_vec3 k4 = permanent_rate(body, field, phase + phase_step,
                                 nrw_vec3_add(*u, nrw_vec3_scale(k3, time_step)), &unused);
    nrw_vec3 sum = nrw_vec3_add(nrw_vec3_add(k1, k4), nrw_vec3_scale(nrw_vec3_add(k2, k3), 2.0));
    *u = nrw_vec3_add(*u, nrw_vec3_scale(sum, time_step / 6.0));
    *u = nrw_vec3_scale(*u, 1.0 / nrw_vec3_norm(*u));
    return spin;
}

enum { ORBIT_STARTS = 12, ORBIT_PHASES = 64, ORBIT_SETTLE = 24, ORBIT_PERIODS = 48 };

/* Directions to start from: a circle in the plane in which the field turns, where
 * particles lie that the field has gathered up; beyond step-out each start keeps
 * an orbit of its own, and those of the plane are Adler's. A field that does not
 * turn gets Fibonacci points on the sphere. */
static nrw_vec3 orbit_start(const nrw_field *field, int start)
{
    const nrw_vec3 axis = nrw_vec3_cross(field->cos, field->sin);
    const double size = nrw_vec3_norm(axis), along = nrw_vec3_norm(field->cos);
    if (size > 1e-9 * nrw_vec3_dot(field->cos, field->cos)) {
        const double angle = 2.0 * NRW_PI * (start + 0.5) / ORBIT_STARTS;
        const nrw_vec3 x = nrw_vec3_scale(field->cos, 1.0 / along);
        const nrw_vec3 y = nrw_vec3_cross(nrw_vec3_scale(axis, 1.0 / size), x);
        return nrw_vec3_add(nrw_vec3_scale(x, cos(angle)), nrw_vec3_scale(y, sin(angle)));
    }
    double z = 1.0 - (2.0 * start + 1.0) / ORBIT_STARTS, angle = 2.399963229728653 * start;
    double planar = sqrt(1.0 - z * z);
    return (nrw_vec3){planar * cos(angle), planar * sin(angle), z};
}

/* One period of an orbit: moves u, adds the moment at each phase and the spin. */
static void orbit_period(const nrw_body *body, const nrw_field *field, int substeps, double weight,
                         nrw_vec3 *u, nrw_vec3 mean_moment[ORBIT_PHASES], nrw_vec3 *mean_spin)
{
    const int n_steps = ORBIT_PHASES * substeps;
    const double turn = 2.0 * NRW_PI / n_steps, time_step = 1.0 / (field->frequency_Hz * n_steps);
    for (int i = 0; i < n_steps; i++) {
        if (i % substeps == 0) {
            nrw_vec3 *at_phase = &mean_moment[i / substeps];
            *at_phase =
                nrw_vec3_add(*at_phase, nrw_vec3_scale(*u, body->permanent_fAm2 * weight));
        }
        nrw_vec3 spin = orbit_step(body, field, turn * i, turn, time_step, u);
        *mean_spin = nrw_vec3_add(*mean_spin, nrw_vec3_scale(spin, weight / n_steps));
    }
}

/* Follows the orbit of one start until it repeats, or for long enough that the
 * start is forgotten, then averages. */
static void follow_orbit(const nrw_body *body, const nrw_field *field, int substeps, nrw_vec3 u,
                         nrw_vec3 mean_moment[ORBIT_PHASES], nrw_vec3 *mean_spin)
{
    bool repeats = false;
    for (int p = 0; p < ORBIT_SETTLE && !repeats; p++) {
        const nrw_vec3 before = u;
        orbit_period(body, field, substeps, 0.0, &u, mean_moment, mean_spin);
        const nrw_vec3 change = nrw_vec3_add(u, nrw_vec3_scale(before, -1.0));
        repeats = nrw_vec3_norm(change) < 1e-10;
    }
    const int n_periods = repeats ? 1 : ORBIT_PERIODS;
    for (int p = 0; p < n_periods; p++)
        orbit_period(body, field, substeps, 1.0 / (ORBIT_STARTS * n_periods), &u, mean_moment,
                     mean_spin);
}

/* Several starts share the period of the field but, beyond step-out, not their
 * angle: the mean moment at a phase over starts and periods is what one particle
 * shows to another in the long run. */
static nrw_average permanent_orbit(const nrw_body *body, const nrw_field *field)
{
    const double m = body->permanent_fAm2;
    const double fastest = m * nrw_field_peak_mT(field) / body->spin_drag_pN_um_s;
    /* RK4 is stable to 2.7 relaxation times; stay well below */
    int substeps = (int)ceil(fastest / (field->frequency_Hz * ORBIT_PHASES * 0.5));
    if (substeps < 1)
        substeps = 1;
    nrw_vec3 mean_moment[ORBIT_PHASES];
    memset(mean_moment, 0, sizeof mean_moment);
    nrw_average average;
    memset(&average, 0, sizeof average);
    for (int start = 0; start < ORBIT_STARTS; start++)
        follow_orbit(body, field, substeps, orbit_start(field, start), mean_moment, &average.spin);
    for (int i = 0; i < ORBIT_PHASES; i++)
        average.moment2 = nrw_sym3_add_scaled(average.moment2, nrw_sym3_outer(mean_moment[i]),
                                              1.0 / ORBIT_PHASES);
    average.torque = (nrw_vec3){average.spin.x * body->spin_drag_pN_um_s / body->floor.mr,
                                average.spin.y * body->spin_drag_pN_um_s / body->floor.mr,
                                average.spin.z * body->spin_drag_pN_um_s / body->floor.ms};
    average.size2 = m * m;
    return average;
}


static nrw_average permanent_steady(const nrw_body *body, const nrw_field *field)
{
    nrw_average average;
    memset(&average, 0, sizeof average);
    double size = nrw_vec3_norm(field->steady);
    average.size2 = body->permanent_fAm2 * body->permanent_fAm2;
    if (size > 0.0)
        average.moment2 =
            nrw_sym3_outer(nrw_vec3_scale(field->steady, body->permanent_fAm2 / size));
    return average;
}

nrw_average nrw_average_of(const nrw_body *body, const nrw_field *field)
{
    if (body->kind == NRW_MOMENT_PERMANENT)
        return field->frequency_Hz > 0.0 ? permanent_orbit(body, field)
                                         : permanent_steady(body, field);
    nrw_average average = isfinite(body->particles->saturation_kA_m)
                              ? induced_by_quadrature(body, field)
                              : induced_closed_form(body, field);
    average.size2 = average.moment2.xx + average.moment2.yy + average.moment2.zz;
    average.spin = spin_of_torque(body, average.torque);
    return average;
}

nrw_average nrw_average_turn(nrw_average average, double angle_rad)
{
    average.moment2 = nrw_sym3_turn(average.moment2, angle_rad);
    average.torque = nrw_vec3_turn(average.torque, angle_rad);
    average.spin = nrw_vec3_turn(average.spin, angle_rad);
    return average;
}
