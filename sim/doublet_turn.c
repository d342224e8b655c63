/* How a doublet turns under the drive within a step (docs/physics.md, section 8). */
#include <math.h>

#include "doublet_world.h"

/* Largest turn of a stage, in relaxation times and in radians: the error of the
 * classical Runge-Kutta method is then below 1e-4 of the turn. */
#define STAGE_MAX 0.4
#define STAGES_MOST 4096.0

typedef struct frame {
    nrw_vec3 axis, side, third; /* unit, right-handed */
} frame;

/* What is held over the step; tensors in the body's frame (axis, side, third), which
 * they turn with. */
typedef struct turning {
    nrw_vec3 field, lagged;
    double permanent; /* fA·m²; 0: induced */
    bool across;
    double base, excess; /* induced: polarisability across the axis, and along it less that */
    double lag_s;
    nrw_sym3 mobility;   /* of the spin, 1/(pN·µm·s) */
    nrw_sym3 resistance; /* its inverse */
    nrw_vec3 spin;       /* by other torques, 1/s */
} turning;

static nrw_vec3 in_frame(const frame *f, nrw_vec3 v)
{
    return (nrw_vec3){nrw_vec3_dot(v, f->axis), nrw_vec3_dot(v, f->side),
                      nrw_vec3_dot(v, f->third)};
}

static nrw_vec3 from_frame(const frame *f, nrw_vec3 v)
{
    return nrw_vec3_add(nrw_vec3_scale(f->axis, v.x),
                        nrw_vec3_add(nrw_vec3_scale(f->side, v.y), nrw_vec3_scale(f->third, v.z)));
}

/* The spin, and the field's torque, of an orientation. */
static nrw_vec3 spin_of(const turning *t, const frame *f, nrw_vec3 *torque)
{
    const nrw_vec3 b = in_frame(f, t->field), other = in_frame(f, t->spin);
    nrw_vec3 m = {0.0, t->permanent, 0.0};
    if (t->permanent > 0.0 && !t->across)
        m = (nrw_vec3){t->permanent, 0.0, 0.0};
    if (!(t->permanent > 0.0)) {
        const nrw_vec3 lagged = in_frame(f, t->lagged);
        m = (nrw_vec3){(t->base + t->excess) * lagged.x, t->base * lagged.y, t->base * lagged.z};
    }
    const nrw_vec3 push = nrw_vec3_cross(m, b);
    nrw_vec3 spin = nrw_vec3_add(nrw_sym3_times(t->mobility, push), other);
    nrw_vec3 felt = push;
    if (t->lag_s > 0.0) {
        /* the moment lags in the body's frame: a body that turns with the field has none.
         * To first order in lag × spin that is a drag τ [B] α [B]ᵀ (8.6) */
        const nrw_vec3 c = {0.0, -b.z, b.y}; /* axis × B */
        nrw_sym3 drag = nrw_sym3_add_scaled((nrw_sym3){0}, (nrw_sym3){1.0, 0.0, 0.0, 1.0, 0.0, 1.0},
                                            nrw_vec3_dot(b, b) * t->base);
        drag = nrw_sym3_add_scaled(drag, nrw_sym3_outer(b), -t->base);
        drag = nrw_sym3_add_scaled(drag, nrw_sym3_outer(c), t->excess);
        const nrw_sym3 all = nrw_sym3_add_scaled(t->resistance, drag, t->lag_s);
        spin = nrw_sym3_solve(all, nrw_vec3_add(push, nrw_sym3_times(t->resistance, other)));
        felt = nrw_vec3_add(push, nrw_vec3_scale(nrw_sym3_times(drag, spin), -t->lag_s));
    }
    *torque = from_frame(f, felt);
    return from_frame(f, spin);
}

static frame frame_of(nrw_vec3 axis, nrw_vec3 side)
{
    frame f;
    f.axis = nrw_vec3_scale(axis, 1.0 / nrw_vec3_norm(axis));
    side = nrw_vec3_add(side, nrw_vec3_scale(f.axis, -nrw_vec3_dot(f.axis, side)));
    f.side = nrw_vec3_scale(side, 1.0 / nrw_vec3_norm(side));
    f.third = nrw_vec3_cross(f.axis, f.side);
    return f;
}

/* The frame after moving with rates da, ds over a time. */
static frame shifted(const frame *f, nrw_vec3 spin, const frame *at, double time)
{
    return frame_of(nrw_vec3_add(f->axis, nrw_vec3_scale(nrw_vec3_cross(spin, at->axis), time)),
                    nrw_vec3_add(f->side, nrw_vec3_scale(nrw_vec3_cross(spin, at->side), time)));
}

/* One stage of the classical Runge-Kutta method. */
static void stage(const turning *t, frame *f, double h, nrw_vec3 *spin, nrw_vec3 *torque)
{
    nrw_vec3 w[4], q[4];
    w[0] = spin_of(t, f, &q[0]);
    const frame second = shifted(f, w[0], f, 0.5 * h);
    w[1] = spin_of(t, &second, &q[1]);
    const frame third = shifted(f, w[1], &second, 0.5 * h);
    w[2] = spin_of(t, &third, &q[2]);
    const frame last = shifted(f, w[2], &third, h);
    w[3] = spin_of(t, &last, &q[3]);
    const frame *at[4] = {f, &second, &third, &last};
    static const double weights[4] = {1.0 / 6.0, 1.0 / 3.0, 1.0 / 3.0, 1.0 / 6.0};
    nrw_vec3 axis = f->axis, side = f->side;
    *spin = *torque = (nrw_vec3){0.0, 0.0, 0.0};
    for (int k = 0; k < 4; k++) {
        const double part = weights[k] * h;
        axis = nrw_vec3_add(axis, nrw_vec3_scale(nrw_vec3_cross(w[k], at[k]->axis), part));
        side = nrw_vec3_add(side, nrw_vec3_scale(nrw_vec3_cross(w[k], at[k]->side), part));
        *spin = nrw_vec3_add(*spin, nrw_vec3_scale(w[k], weights[k]));
        *torque = nrw_vec3_add(*torque, nrw_vec3_scale(q[k], weights[k]));
    }
    *f = frame_of(axis, side);
}

/* A direction across the axis, where the particle has none of its own. */
static nrw_vec3 any_side(nrw_vec3 axis)
{
    const nrw_vec3 z = {0.0, 0.0, 1.0}, x = {1.0, 0.0, 0.0};
    return nrw_vec3_cross(axis, fabs(axis.z) < 0.8 ? z : x);
}

static turning turning_of(const nrw_world *world, size_t i, const nrw_excitation *excitation,
                          const frame *f)
{
    const nrw_doublets *d = world->doublets;
    const nrw_doublet_body *body = &d->bodies[i];
    const double size = (double)world->moment[i];
    /* an induced moment answers the others' field too, or isotropic ones would be turned
     * by it; their forces leave that out, as those of spheres do */
    turning t = {.field = nrw_vec3_add(excitation->field, body->field),
                 .lagged = nrw_vec3_add(excitation->lagged, body->field)};
    if (world->body.kind == NRW_MOMENT_PERMANENT)
        t.permanent = size * world->body.permanent_fAm2;
    t.across = world->scenario->particles.shape.moment == NRW_MOMENT_ACROSS;
    t.base = size * d->across;
    t.excess = size * (d->along - d->across);
    t.lag_s = d->lag_s;
    /* Not the turn that forces cause near a floor: those of dipoles are mostly carried by
     * contacts, whose forces turn the body back. The prediction has both. */
    const double(*m)[6] = &body->mobility.at[3];
    const nrw_sym3 lab = {m[0][3], m[0][4], m[0][5], m[1][4], m[1][5], m[2][5]};
    t.spin = nrw_sym3_times(lab, body->torque);
    const nrw_vec3 a = in_frame(f, nrw_sym3_times(lab, f->axis));
    const nrw_vec3 b = in_frame(f, nrw_sym3_times(lab, f->side));
    const nrw_vec3 c = in_frame(f, nrw_sym3_times(lab, f->third));
    t.mobility = (nrw_sym3){a.x, a.y, a.z, b.y, b.z, c.z};
    const nrw_vec3 ra = nrw_sym3_solve(t.mobility, (nrw_vec3){1.0, 0.0, 0.0});
    const nrw_vec3 rb = nrw_sym3_solve(t.mobility, (nrw_vec3){0.0, 1.0, 0.0});
    const nrw_vec3 rc = nrw_sym3_solve(t.mobility, (nrw_vec3){0.0, 0.0, 1.0});
    t.resistance = (nrw_sym3){ra.x, ra.y, ra.z, rb.y, rb.z, rc.z};
    return t;
}

void nrw_doublets_turn(const nrw_world *world, size_t i, const nrw_excitation *excitation,
                       double h_s)
{
    nrw_doublets *d = world->doublets;
    nrw_doublet_body *body = &d->bodies[i];
    const nrw_vec3 u = {world->ux[i], world->uy[i], world->uz[i]};
    const bool across = world->body.kind == NRW_MOMENT_PERMANENT &&
                        world->scenario->particles.shape.moment == NRW_MOMENT_ACROSS;
    frame f = frame_of(d->axes[i], across ? u : any_side(d->axes[i]));
    const turning t = turning_of(world, i, excitation, &f);
    const double b = nrw_vec3_norm(t.field);
    const double stiff =
        t.permanent > 0.0 ? t.permanent * b : (t.excess + t.base * t.lag_s) * b * b;
    const double fastest = fmax(t.mobility.xx, fmax(t.mobility.yy, t.mobility.zz));
    const double reach = h_s * fmax(stiff * fastest, nrw_vec3_norm(t.spin));
    const int n = (int)fmin(STAGES_MOST, ceil(fmax(1.0, reach / STAGE_MAX)));
    body->spin = body->mean_torque = (nrw_vec3){0.0, 0.0, 0.0};
    for (int k = 0; k < n; k++) {
        nrw_vec3 spin, torque;
        stage(&t, &f, h_s / n, &spin, &torque);
        body->spin = nrw_vec3_add(body->spin, nrw_vec3_scale(spin, 1.0 / n));
        body->mean_torque = nrw_vec3_add(body->mean_torque, nrw_vec3_scale(torque, 1.0 / n));
    }
    body->axis = f.axis;
    body->side = f.side;
}
