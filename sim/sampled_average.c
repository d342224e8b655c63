#include "sampled_average.h"

#include <math.h>
#include <stdbool.h>
#include <string.h>

/* The moment forgets where it came from: exp(−30) = 1e-13. */
#define FORGOTTEN 30.0
/* Substeps a cycle, steps a cycle and the longest step of own moments: as for a
 * periodic drive (run.c). */
#define SUBSTEPS_PER_CYCLE 8.0
#define OWN_STEPS_PER_CYCLE 64.0
#define OWN_STEP_MAX_S 0.002
/* Looked at to either side of a step for the field's rhythm: two cycles of 50 Hz. */
#define RHYTHM_MARGIN_S 0.02
/* Averages that are held are widened to whole half-cycles up to this many steps. */
#define WIDEN_MAX 3.0
#define TYPICAL_WINDOW_S 0.1
enum { TYPICAL_WINDOWS_MAX = 256 };

/* Integrals of exp(−t/τ), t exp(−t/τ) and exp(−2t/τ) over [0, length]. */
typedef struct decay {
    double length_s, left, one, ramp, square;
} decay;

/* The field that the moment follows, on its way through the samples. */
typedef struct follower {
    const nrw_body *body;
    const nrw_samples *samples;
    bool saturates;
    double t_s;
    nrw_vec3 followed_mT;
    decay whole; /* of one sample interval */
} follower;

static decay decay_over(double length_s, double relaxation_s)
{
    decay d = {length_s, 0.0, 0.0, 0.0, 0.0};
    if (!(relaxation_s > 0.0))
        return d;
    const double gone = -expm1(-length_s / relaxation_s);
    d.left = 1.0 - gone;
    d.one = relaxation_s * gone;
    d.ramp = relaxation_s * (d.one - length_s * d.left);
    d.square = 0.5 * relaxation_s * gone * (1.0 + d.left);
    return d;
}

/* The stretch of one straight piece of B that begins where the follower is:
 * B = b + s t, F = p + s t + a exp(−t/τ) with p = b − τ s, a = F(0) − p. */
typedef struct piece {
    nrw_vec3 b, slope, p, a;
    decay decay;
} piece;

static piece piece_before(const follower *f, double to_s)
{
    const nrw_samples *samples = f->samples;
    const double rate = samples->rate_Hz, last = (double)(samples->n - 1);
    piece next = {.b = nrw_samples_at(samples, f->t_s)};
    double end = to_s;
    const double place = f->t_s * rate;
    if (place < -1e-6) {
        end = fmin(to_s, 0.0);
    } else if (place < last - 1e-6) {
        /* a time that falls short of a sample by rounding belongs to the next interval */
        const double k = fmax(floor(place + 1e-6), 0.0);
        const float *from = samples->field_mT[(size_t)k], *to = samples->field_mT[(size_t)k + 1];
        next.slope = (nrw_vec3){((double)to[0] - (double)from[0]) * rate,
                                ((double)to[1] - (double)from[1]) * rate,
                                ((double)to[2] - (double)from[2]) * rate};
        end = fmin(to_s, (k + 1.0) / rate);
    }
    const double length = end - f->t_s;
    next.decay = fabs(length - f->whole.length_s) < 1e-9 * f->whole.length_s
                     ? f->whole
                     : decay_over(length, f->body->relaxation_s);
    next.p = nrw_vec3_add(next.b, nrw_vec3_scale(next.slope, -f->body->relaxation_s));
    next.a = nrw_vec3_add(f->followed_mT, nrw_vec3_scale(next.p, -1.0));
    return next;
}

static nrw_sym3 twice_mixed(nrw_vec3 u, nrw_vec3 v)
{
    return (nrw_sym3){2.0 * u.x * v.x, u.x * v.y + u.y * v.x, u.x * v.z + u.z * v.x,
                      2.0 * u.y * v.y, u.y * v.z + u.z * v.y, 2.0 * u.z * v.z};
}

/* ∫ F Fᵀ dt and ∫ F × B dt over a piece. */
static void add_exact(const piece *at, nrw_sym3 *squares, nrw_vec3 *torque)
{
    const double length = at->decay.length_s;
    nrw_sym3 sum = *squares;
    sum = nrw_sym3_add_scaled(sum, nrw_sym3_outer(at->p), length);
    sum = nrw_sym3_add_scaled(sum, twice_mixed(at->p, at->slope), 0.5 * length * length);
    sum = nrw_sym3_add_scaled(sum, nrw_sym3_outer(at->slope), length * length * length / 3.0);
    sum = nrw_sym3_add_scaled(sum, twice_mixed(at->p, at->a), at->decay.one);
    sum = nrw_sym3_add_scaled(sum, twice_mixed(at->slope, at->a), at->decay.ramp);
    *squares = nrw_sym3_add_scaled(sum, nrw_sym3_outer(at->a), at->decay.square);
    /* F × B = (p − b) × b + a × (b + s t) exp(−t/τ); p − b is along s */
    const nrw_vec3 lag = nrw_vec3_add(at->p, nrw_vec3_scale(at->b, -1.0));
    nrw_vec3 turn = nrw_vec3_scale(nrw_vec3_cross(lag, at->b), length);
    turn = nrw_vec3_add(turn, nrw_vec3_scale(nrw_vec3_cross(at->a, at->b), at->decay.one));
    turn = nrw_vec3_add(turn, nrw_vec3_scale(nrw_vec3_cross(at->a, at->slope), at->decay.ramp));
    *torque = nrw_vec3_add(*torque, turn);
}

static double slope_at(const nrw_body *body, nrw_vec3 followed_mT, bool saturates)
{
    const double size = saturates ? nrw_vec3_norm(followed_mT) : 0.0;
    return size > 0.0 ? nrw_body_moment_fAm2(body, size) / size : body->slope_fAm2_mT;
}

static nrw_vec3 followed_after(const piece *at, double t_s, double left)
{
    return nrw_vec3_add(at->p,
                        nrw_vec3_add(nrw_vec3_scale(at->slope, t_s), nrw_vec3_scale(at->a, left)));
}

/* ∫ m mᵀ dt and ∫ m × B dt where the moment saturates. */
static void add_saturating(const follower *f, const piece *at, nrw_sym3 *squares, nrw_vec3 *torque)
{
    static const double places[2] = {0.21132486540518713, 0.7886751345948129};
    const double length = at->decay.length_s, tau = f->body->relaxation_s;
    for (int i = 0; i < 2; i++) {
        const double t = places[i] * length;
        const nrw_vec3 followed = followed_after(at, t, tau > 0.0 ? exp(-t / tau) : 0.0);
        const nrw_vec3 m = nrw_vec3_scale(followed, slope_at(f->body, followed, true));
        const nrw_vec3 b = nrw_vec3_add(at->b, nrw_vec3_scale(at->slope, t));
        *squares = nrw_sym3_add_scaled(*squares, nrw_sym3_outer(m), 0.5 * length);
        *torque = nrw_vec3_add(*torque, nrw_vec3_scale(nrw_vec3_cross(m, b), 0.5 * length));
    }
}

/* Follows the field to a time and adds up on the way (squares NULL: nothing). */
static void follow(follower *f, double to_s, nrw_sym3 *squares, nrw_vec3 *torque)
{
    while (to_s - f->t_s > 1e-9 * f->whole.length_s) {
        const piece at = piece_before(f, to_s);
        if (squares && f->saturates)
            add_saturating(f, &at, squares, torque);
        else if (squares)
            add_exact(&at, squares, torque);
        f->followed_mT = followed_after(&at, at.decay.length_s, at.decay.left);
        f->t_s += at.decay.length_s;
    }
    f->t_s = to_s;
}

/* A follower that has forgotten its beginning at from_s. */
static follower follower_at(const nrw_body *body, const nrw_samples *samples, double from_s)
{
    const double interval = 1.0 / samples->rate_Hz;
    follower f = {.body = body, .samples = samples};
    f.saturates = isfinite(body->particles->saturation_kA_m);
    f.whole = decay_over(interval, body->relaxation_s);
    f.t_s = from_s - FORGOTTEN * body->relaxation_s;
    /* nothing happens before the first sample */
    if (f.t_s < -interval)
        f.t_s = fmin(from_s, -interval);
    f.followed_mT = nrw_samples_at(samples, f.t_s);
    follow(&f, from_s, NULL, NULL);
    return f;
}

static nrw_vec3 spin_of(const nrw_body *body, nrw_vec3 torque)
{
    const double mr = body->floor.mr / body->spin_drag_pN_um_s;
    const double ms = body->floor.ms / body->spin_drag_pN_um_s;
    return (nrw_vec3){torque.x * mr, torque.y * mr, torque.z * ms};
}

void nrw_sampled_averages(const nrw_body *body, const nrw_samples *samples, double from_s,
                          double to_s, int n, nrw_average *averages)
{
    follower f = follower_at(body, samples, from_s);
    const double slope = f.saturates ? 1.0 : body->slope_fAm2_mT;
    const double length = (to_s - from_s) / n;
    for (int i = 0; i < n; i++) {
        nrw_sym3 squares = {0};
        nrw_vec3 torque = {0.0, 0.0, 0.0};
        follow(&f, from_s + length * (i + 1), &squares, &torque);
        nrw_average *average = &averages[i];
        memset(average, 0, sizeof *average);
        average->moment2 = nrw_sym3_add_scaled(average->moment2, squares, slope * slope / length);
        average->torque = nrw_vec3_scale(torque, slope / length);
        average->spin = spin_of(body, average->torque);
        average->size2 = average->moment2.xx + average->moment2.yy + average->moment2.zz;
    }
}

nrw_vec3 nrw_sampled_moment(const nrw_body *body, const nrw_samples *samples, double t_s)
{
    const follower f = follower_at(body, samples, t_s);
    return nrw_vec3_scale(f.followed_mT, slope_at(body, f.followed_mT, f.saturates));
}

/* Mean of B × dB/dt over a window: along the axis about which B turns, and over the
 * square of B the angular velocity. For straight pieces exact: b × s. */
static nrw_vec3 mean_turn(const nrw_samples *samples, double from_s, double to_s, double *square)
{
    const double last = (double)(samples->n - 2);
    const double low = fmin(fmax(floor(from_s * samples->rate_Hz), 0.0), last);
    const double high = fmin(fmax(ceil(to_s * samples->rate_Hz) - 1.0, low), last);
    nrw_vec3 turn = {0.0, 0.0, 0.0};
    *square = 0.0;
    for (size_t k = (size_t)low; k <= (size_t)high; k++) {
        const float *a = samples->field_mT[k], *b = samples->field_mT[k + 1];
        const nrw_vec3 from = {(double)a[0], (double)a[1], (double)a[2]};
        const nrw_vec3 to = {(double)b[0], (double)b[1], (double)b[2]};
        turn = nrw_vec3_add(turn, nrw_vec3_cross(from, to));
        *square += nrw_vec3_dot(from, from);
    }
    *square /= high - low + 1.0;
    return nrw_vec3_scale(turn, samples->rate_Hz / (high - low + 1.0));
}

/* Spin of a permanent moment that follows a field. */
static nrw_average following(const nrw_body *body, nrw_vec3 turn, double square)
{
    nrw_average average;
    memset(&average, 0, sizeof average);
    average.size2 = body->permanent_fAm2 * body->permanent_fAm2;
    if (square > 0.0)
        average.spin = nrw_vec3_scale(turn, 1.0 / square);
    return average;
}

nrw_average nrw_sampled_typical(const nrw_body *body, const nrw_samples *samples, double *rhythm_Hz)
{
    const double duration = nrw_samples_duration_s(samples);
    const int n = (int)fmin(fmax(1.0, floor(duration / TYPICAL_WINDOW_S)), TYPICAL_WINDOWS_MAX);
    const double width = fmin(duration, TYPICAL_WINDOW_S);
    nrw_average typical;
    memset(&typical, 0, sizeof typical);
    double rhythm = 0.0, squares = 0.0;
    for (int i = 0; i < n; i++) {
        const double from = n > 1 ? (duration - width) * i / (n - 1) : 0.0;
        double square;
        const nrw_vec3 turn = mean_turn(samples, from, from + width, &square);
        nrw_average average = following(body, turn, square);
        if (body->kind == NRW_MOMENT_INDUCED)
            nrw_sampled_averages(body, samples, from, from + width, 1, &average);
        typical.moment2 = nrw_sym3_add_scaled(typical.moment2, average.moment2, 1.0 / n);
        typical.size2 += average.size2 / n;
        const nrw_vec3 t = average.torque, s = average.spin;
        typical.torque.x += (t.x * t.x + t.y * t.y) / n;
        typical.torque.z += t.z * t.z / n;
        typical.spin.x += (s.x * s.x + s.y * s.y) / n;
        typical.spin.z += s.z * s.z / n;
        rhythm += square * nrw_samples_rhythm_Hz(samples, from, from + width);
        squares += square;
    }
    typical.torque = (nrw_vec3){sqrt(typical.torque.x), 0.0, sqrt(typical.torque.z)};
    typical.spin = (nrw_vec3){sqrt(typical.spin.x), 0.0, sqrt(typical.spin.z)};
    *rhythm_Hz = squares > 0.0 ? rhythm / squares : 0.0;
    return typical;
}

/* --- a step ------------------------------------------------------------------- */

static nrw_vec3 mean_field(const nrw_samples *samples, double from_s, double to_s)
{
    enum { POINTS = 8 }; /* trapezoid rule: a step spans a small part of a cycle */
    nrw_vec3 sum = {0.0, 0.0, 0.0};
    for (int i = 0; i <= POINTS; i++) {
        const double weight = i == 0 || i == POINTS ? 0.5 : 1.0;
        const nrw_vec3 b = nrw_samples_at(samples, from_s + (to_s - from_s) * i / POINTS);
        sum = nrw_vec3_add(sum, nrw_vec3_scale(b, weight / POINTS));
    }
    return sum;
}

static void excite_own(const nrw_world *world, const nrw_samples *samples, double t_s,
                       double rhythm_Hz, double *h_s, nrw_excitation *excitation)
{
    /* both parts along the field at its peak, as of moments that follow */
    const double m =
        world->body.permanent_fAm2 + (world->body.slope_fAm2_mT > 0.0
                                          ? nrw_body_moment_fAm2(&world->body, samples->peak_mT)
                                          : 0.0);
    double most = fmin(OWN_STEP_MAX_S, nrw_world_stable_s(world, m * m));
    if (rhythm_Hz > 0.0)
        most = fmin(most, 1.0 / (OWN_STEPS_PER_CYCLE * rhythm_Hz));
    if (*h_s > most)
        *h_s /= ceil(*h_s / most);
    excitation->field = mean_field(samples, t_s, t_s + *h_s);
    if (world->body.slope_fAm2_mT > 0.0) {
        nrw_average held;
        nrw_sampled_averages(&world->body, samples, t_s, t_s + *h_s, 1, &held);
        excitation->torque = held.torque;
        excitation->induced = nrw_sampled_moment(&world->body, samples, t_s + 0.5 * *h_s);
    }
    excitation->size2 = m * m;
}

void nrw_sampled_excite(const nrw_world *world, const nrw_samples *samples, double t_s, double *h_s,
                        nrw_excitation *excitation, nrw_vec3 *spin_axis)
{
    const double rhythm =
        nrw_samples_rhythm_Hz(samples, t_s - RHYTHM_MARGIN_S, t_s + *h_s + RHYTHM_MARGIN_S);
    double unused;
    const nrw_vec3 turn =
        mean_turn(samples, t_s - RHYTHM_MARGIN_S, t_s + *h_s + RHYTHM_MARGIN_S, &unused);
    const double size = nrw_vec3_norm(turn);
    *spin_axis = size > 0.0 ? nrw_vec3_scale(turn, 1.0 / size) : (nrw_vec3){0.0, 0.0, 1.0};
    excitation->n_substeps = 1;
    if (world->own_moments) {
        excite_own(world, samples, t_s, rhythm, h_s, excitation);
        return;
    }
    const double most = rhythm > 0.0 ? NRW_MAX_SUBSTEPS / (SUBSTEPS_PER_CYCLE * rhythm) : *h_s;
    if (*h_s > most)
        *h_s /= ceil(*h_s / most);
    const double h = *h_s;
    nrw_average averages[NRW_MAX_SUBSTEPS], held;
    const int n = (int)fmax(1.0, ceil(h * SUBSTEPS_PER_CYCLE * rhythm - 1e-9));
    excitation->n_substeps = n < NRW_MAX_SUBSTEPS ? n : NRW_MAX_SUBSTEPS;
    nrw_sampled_averages(&world->body, samples, t_s, t_s + h, excitation->n_substeps, averages);
    for (int k = 0; k < excitation->n_substeps; k++)
        excitation->substep_tensors[k] = averages[k].moment2;
    const double wide = rhythm > 0.0 ? ceil(2.0 * h * rhythm - 1e-6) / (2.0 * rhythm) : h;
    const double margin = wide <= WIDEN_MAX * h ? 0.5 * (wide - h) : 0.0;
    nrw_sampled_averages(&world->body, samples, t_s - margin, t_s + h + margin, 1, &held);
    excitation->tensor = held.moment2;
    excitation->torque = held.torque;
    excitation->size2 = held.size2;
    if (excitation->n_substeps == 1)
        excitation->tensor = excitation->substep_tensors[0];
}
