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
        nrw_sym3 harmonic =
            nrw_sym3_add_scaled(nrw_sym3_outer(field->cos), nrw_sym3_outer(field->sin), 1.0);
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

/* --- moments with a fixed part ---------------------------------------------------- */

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

enum { ORBIT_STARTS = 12, ORBIT_PHASES = 64, ORBIT_SETTLE = 24, ORBIT_PERIODS = 48 };

/* Particle and field that an orbit is followed in. */
typedef struct orbit {
    const nrw_body *body;
    const nrw_field *field;
    int substeps; /* of each phase */
} orbit;

static nrw_vec3 fixed_rate(const orbit *o, int half_step, nrw_vec3 u, nrw_vec3 *spin)
{
    const double phase = NRW_PI * half_step / (ORBIT_PHASES * o->substeps);
    nrw_vec3 torque =
        nrw_vec3_cross(nrw_vec3_scale(u, o->body->permanent_fAm2), nrw_field_at(o->field, phase));
    if (o->body->slope_fAm2_mT > 0.0) {
        nrw_vec3 induced, lag_torque;
        nrw_induced_at(o->body, o->field, phase, &induced, &lag_torque);
        torque = nrw_vec3_add(torque, lag_torque);
    }
    *spin = spin_of_torque(o->body, torque);
    return nrw_vec3_cross(*spin, u);
}

/* One fourth-order Runge-Kutta step of u; returns the spin at its beginning. */
static nrw_vec3 orbit_step(const orbit *o, int step, double time_step, nrw_vec3 *u)
{
    nrw_vec3 spin, unused;
    nrw_vec3 k1 = fixed_rate(o, 2 * step, *u, &spin);
    nrw_vec3 k2 =
        fixed_rate(o, 2 * step + 1, nrw_vec3_add(*u, nrw_vec3_scale(k1, 0.5 * time_step)), &unused);
    nrw_vec3 k3 =
        fixed_rate(o, 2 * step + 1, nrw_vec3_add(*u, nrw_vec3_scale(k2, 0.5 * time_step)), &unused);
    nrw_vec3 k4 =
        fixed_rate(o, 2 * step + 2, nrw_vec3_add(*u, nrw_vec3_scale(k3, time_step)), &unused);
    nrw_vec3 sum = nrw_vec3_add(nrw_vec3_add(k1, k4), nrw_vec3_scale(nrw_vec3_add(k2, k3), 2.0));
    *u = nrw_vec3_add(*u, nrw_vec3_scale(sum, time_step / 6.0));
    *u = nrw_vec3_scale(*u, 1.0 / nrw_vec3_norm(*u));
    return spin;
}

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

/* What an orbit's periods sum up: the moment at each phase, the spin, the square of the
 * moment. */
typedef struct orbit_sums {
    nrw_vec3 moment[ORBIT_PHASES], spin;
    double size2;
} orbit_sums;

/* One period of an orbit: moves u, adds to the sums. */
static void orbit_period(const orbit *o, double weight, nrw_vec3 *u, orbit_sums *sums)
{
    const int n_steps = ORBIT_PHASES * o->substeps;
    const double time_step = 1.0 / (o->field->frequency_Hz * n_steps);
    for (int i = 0; i < n_steps; i++) {
        if (i % o->substeps == 0) {
            nrw_vec3 moment = nrw_vec3_scale(*u, o->body->permanent_fAm2);
            if (o->body->slope_fAm2_mT > 0.0) {
                nrw_vec3 induced, unused;
                nrw_induced_at(o->body, o->field, 2.0 * NRW_PI * i / n_steps, &induced, &unused);
                moment = nrw_vec3_add(moment, induced);
            }
            nrw_vec3 *at_phase = &sums->moment[i / o->substeps];
            *at_phase = nrw_vec3_add(*at_phase, nrw_vec3_scale(moment, weight));
            sums->size2 += nrw_vec3_dot(moment, moment) * weight / ORBIT_PHASES;
        }
        const nrw_vec3 spin = orbit_step(o, i, time_step, u);
        sums->spin = nrw_vec3_add(sums->spin, nrw_vec3_scale(spin, weight / n_steps));
    }
}

/* Follows the orbit of one start until it repeats, or for long enough that the
 * start is forgotten, then averages. */
static void follow_orbit(const orbit *o, nrw_vec3 u, orbit_sums *sums)
{
    bool repeats = false;
    for (int p = 0; p < ORBIT_SETTLE && !repeats; p++) {
        const nrw_vec3 before = u;
        orbit_period(o, 0.0, &u, sums);
        const nrw_vec3 change = nrw_vec3_add(u, nrw_vec3_scale(before, -1.0));
        repeats = nrw_vec3_norm(change) < 1e-10;
    }
    const int n_periods = repeats ? 1 : ORBIT_PERIODS;
    for (int p = 0; p < n_periods; p++)
        orbit_period(o, 1.0 / (ORBIT_STARTS * n_periods), &u, sums);
}

/* Several starts share the period of the field but, beyond step-out, not their
 * angle: the mean moment at a phase over starts and periods is what one particle
 * shows to another in the long run. */
static nrw_average average_orbit(const nrw_body *body, const nrw_field *field)
{
    const double fastest =
        body->permanent_fAm2 * nrw_field_peak_mT(field) / body->spin_drag_pN_um_s;
    /* RK4 is stable to 2.7 relaxation times; stay well below */
    const int substeps = (int)ceil(fastest / (field->frequency_Hz * ORBIT_PHASES * 0.5));
    const orbit o = {body, field, substeps < 1 ? 1 : substeps};
    orbit_sums sums;
    nrw_average average;
    memset(&sums, 0, sizeof sums);
    memset(&average, 0, sizeof average);
    for (int start = 0; start < ORBIT_STARTS; start++)
        follow_orbit(&o, orbit_start(field, start), &sums);
    for (int i = 0; i < ORBIT_PHASES; i++)
        average.moment2 = nrw_sym3_add_scaled(average.moment2, nrw_sym3_outer(sums.moment[i]),
                                              1.0 / ORBIT_PHASES);
    average.spin = sums.spin;
    average.torque = (nrw_vec3){sums.spin.x * body->spin_drag_pN_um_s / body->floor.mr,
                                sums.spin.y * body->spin_drag_pN_um_s / body->floor.mr,
                                sums.spin.z * body->spin_drag_pN_um_s / body->floor.ms};
    average.size2 = sums.size2;
    return average;
}

/* In a steady field all lies along it. */
static nrw_average average_steady(const nrw_body *body, const nrw_field *field)
{
    nrw_average average;
    memset(&average, 0, sizeof average);
    const double size = nrw_vec3_norm(field->steady), fixed = body->permanent_fAm2;
    average.size2 = fixed * fixed;
    if (!(size > 0.0))
        return average;
    nrw_vec3 induced = {0.0, 0.0, 0.0}, unused;
    if (body->slope_fAm2_mT > 0.0)
        nrw_induced_at(body, field, 0.0, &induced, &unused);
    const nrw_vec3 moment = nrw_vec3_add(induced, nrw_vec3_scale(field->steady, fixed / size));
    average.moment2 = nrw_sym3_outer(moment);
    average.size2 = nrw_vec3_dot(moment, moment);
    return average;
}

static nrw_average average_induced(const nrw_body *body, const nrw_field *field)
{
    nrw_average average = isfinite(body->particles->saturation_kA_m)
                              ? induced_by_quadrature(body, field)
                              : induced_closed_form(body, field);
    average.size2 = average.moment2.xx + average.moment2.yy + average.moment2.zz;
    average.spin = spin_of_torque(body, average.torque);
    return average;
}

nrw_average nrw_average_of(const nrw_body *body, const nrw_field *field)
{
    const double fixed = body->permanent_fAm2;
    if (!(fixed > 0.0))
        return average_induced(body, field);
    if (!(field->frequency_Hz > 0.0))
        return average_steady(body, field);
    nrw_average average = average_orbit(body, field);
    const double turning = nrw_vec3_norm(nrw_vec3_cross(field->cos, field->sin));
    if (turning > 0.0) { /* of a circle: its radius squared */
        average.hold_pN_um = fixed * sqrt(turning);
        average.rate_rad_s = 2.0 * NRW_PI * field->frequency_Hz;
    }
    if (body->slope_fAm2_mT > 0.0)
        average.lag_torque = average_induced(body, field).torque;
    return average;
}

double nrw_turning_rate_rad_s(double rate_rad_s, double lag_rate_rad_s, double hold_rate_rad_s)
{
    const double slip = rate_rad_s - lag_rate_rad_s;
    if (!(fabs(slip) > hold_rate_rad_s))
        return rate_rad_s;
    const double root = sqrt((slip - hold_rate_rad_s) * (slip + hold_rate_rad_s));
    /* slip - root without cancellation, as most of a weak part's slips are */
    return lag_rate_rad_s + copysign(hold_rate_rad_s * hold_rate_rad_s / (fabs(slip) + root), slip);
}

nrw_average nrw_average_turn(nrw_average average, double angle_rad)
{
    average.moment2 = nrw_sym3_turn(average.moment2, angle_rad);
    average.torque = nrw_vec3_turn(average.torque, angle_rad);
    average.spin = nrw_vec3_turn(average.spin, angle_rad);
    average.lag_torque = nrw_vec3_turn(average.lag_torque, angle_rad);
    return average;
}
