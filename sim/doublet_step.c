/* One step of a world of doublets: pair forces → brakes → mobility → turn under the
 * drive → friction, pair flow → prediction with noise → contacts → store
 * (docs/physics.md, section 8).
 *
 * State are the middles, axes and directions of moments, and how the lobes moved in the
 * last step. One thread: runs are what is shared out. */
#include <math.h>
#include <string.h>

#include "doublet_world.h"
#include "random.h"
#include "screen.h"

/* Steps per period of the drive, of permanent and of induced moments, and the longest
 * one. */
#define PERMANENT_STEPS_PER_PERIOD 64.0
#define INDUCED_STEPS_PER_PERIOD 16.0
#define STEP_MAX_S 0.002
/* Contacts may not move a lobe by more than this share of its radius in a step, half
 * of the margin within which they are looked for; nothing may move one by more than
 * the second. */
#define CORRECTION_MAX 0.25
#define MOVE_MAX 0.3
/* The next step is this share of the one that would reach the bounds. */
#define SAFE_SHARE 0.8
/* Overlap of lobes beyond which the state is not trusted, as for spheres. */
#define OVERLAP_MAX 0.25
/* Displacement of the random finite difference that yields the drift, over R. */
#define DRIFT_DELTA 1e-4

/* --- what the drive does --------------------------------------------------------- */

void nrw_doublets_step_length(const nrw_world *world, const nrw_field *field, double *h_s)
{
    const nrw_doublets *d = world->doublets;
    const double m = world->body.kind == NRW_MOMENT_PERMANENT
                         ? world->body.permanent_fAm2
                         : d->along * (nrw_vec3_norm(field->steady) +
                                       fmax(nrw_vec3_norm(field->cos), nrw_vec3_norm(field->sin)));
    double most = fmin(STEP_MAX_S, nrw_world_stable_s(world, m * m));
    if (field->frequency_Hz > 0.0)
        most = fmin(most, 1.0 / (world->body.kind == NRW_MOMENT_PERMANENT
                                     ? PERMANENT_STEPS_PER_PERIOD * field->frequency_Hz
                                     : INDUCED_STEPS_PER_PERIOD * field->frequency_Hz));
    if (d->safe_s > 0.0)
        most = fmin(most, d->safe_s);
    if (*h_s > most)
        *h_s /= ceil(*h_s / most);
}

void nrw_doublets_excite(nrw_world *world, const nrw_field *field, double phase_rad,
                         nrw_excitation *excitation)
{
    nrw_doublets *d = world->doublets;
    const double x = 2.0 * NRW_PI * field->frequency_Hz * d->lag_s;
    nrw_field lagged = *field;
    lagged.cos = nrw_vec3_scale(nrw_vec3_add(field->cos, nrw_vec3_scale(field->sin, -x)),
                                1.0 / (1.0 + x * x));
    lagged.sin = nrw_vec3_scale(nrw_vec3_add(field->sin, nrw_vec3_scale(field->cos, x)),
                                1.0 / (1.0 + x * x));
    excitation->field = nrw_field_at(field, phase_rad);
    excitation->lagged = nrw_field_at(&lagged, phase_rad);
    double m = world->body.permanent_fAm2;
    if (world->body.kind == NRW_MOMENT_INDUCED) {
        const double b = nrw_vec3_norm(excitation->lagged);
        nrw_doublet_polarisabilities(&world->body, &d->medium.shape, b, &d->along, &d->across);
        m = (d->along + 2.0 * d->across) / 3.0 * b;
    }
    excitation->size2 = m * m;
    excitation->n_substeps = 1;
}

/* --- pair forces ----------------------------------------------------------------- */

static void set_moments(nrw_world *world, const nrw_excitation *excitation)
{
    nrw_doublets *d = world->doublets;
    for (size_t i = 0; i < world->n; i++) {
        const double size = (double)world->moment[i];
        nrw_vec3 m;
        if (world->body.kind == NRW_MOMENT_PERMANENT) {
            m = nrw_vec3_scale((nrw_vec3){world->ux[i], world->uy[i], world->uz[i]},
                               size * world->body.permanent_fAm2);
        } else {
            const nrw_vec3 a = d->axes[i], b = excitation->lagged;
            m = nrw_vec3_add(nrw_vec3_scale(b, size * d->across),
                             nrw_vec3_scale(a, size * (d->along - d->across) * nrw_vec3_dot(a, b)));
        }
        d->bodies[i].moment = m;
        for (size_t k = 2 * i; k < 2 * i + 2; k++) {
            d->mx[k] = (float)(0.5 * m.x);
            d->my[k] = (float)(0.5 * m.y);
            d->mz[k] = (float)(0.5 * m.z);
        }
    }
}

/* Rows of the kernel without the body's own other lobe, whose force is internal. */
static void lobe_forces(nrw_doublets *d, size_t n_lobes)
{
    for (size_t k = 0; k < n_lobes; k++) {
        const size_t other = k ^ 1;
        const float kept[3] = {d->mx[other], d->my[other], d->mz[other]};
        d->mx[other] = d->my[other] = d->mz[other] = 0.0f;
        nrw_kernels_get()->own_moments(&d->dipoles, k, k + 1);
        d->mx[other] = kept[0];
        d->my[other] = kept[1];
        d->mz[other] = kept[2];
    }
}

void nrw_doublets_pair_forces(nrw_world *world, const nrw_excitation *excitation)
{
    nrw_doublets *d = world->doublets;
    const size_t n = world->n;
    set_moments(world, excitation);
    nrw_doublets_place_lobes(world);
    float *place[3] = {(float *)d->dipoles.x, (float *)d->dipoles.y, (float *)d->dipoles.z};
    for (size_t k = 0; k < 2 * n; k++) {
        place[0][k] = (float)(d->lobe_x[k] - world->origin_x);
        place[1][k] = (float)(d->lobe_y[k] - world->origin_y);
        place[2][k] = (float)(d->lobe_z[k] - world->origin_z);
    }
    if (n > 1)
        lobe_forces(d, 2 * n);
    const double buoyant = world->body.weight_pN;
    for (size_t i = 0; i < n; i++) {
        nrw_doublet_body *body = &d->bodies[i];
        const double size = body->radius / world->body.radius_um;
        body->force = (nrw_vec3){0.0, 0.0, -buoyant * size * size * size};
        body->torque = body->field = (nrw_vec3){0.0, 0.0, 0.0};
        const nrw_vec3 arm = nrw_vec3_scale(d->axes[i], d->medium.shape.half * body->radius);
        for (size_t k = 2 * i; n > 1 && k < 2 * i + 2; k++) {
            const nrw_vec3 f = {(double)d->dipoles.fx[k], (double)d->dipoles.fy[k],
                                (double)d->dipoles.fz[k]};
            const nrw_vec3 b = {(double)d->dipoles.bx[k], (double)d->dipoles.by[k],
                                (double)d->dipoles.bz[k]};
            body->force = nrw_vec3_add(body->force, f);
            body->torque = nrw_vec3_add(body->torque,
                                        nrw_vec3_cross(nrw_vec3_scale(arm, k % 2 ? -1.0 : 1.0), f));
            body->field = nrw_vec3_add(body->field, nrw_vec3_scale(b, 0.5));
        }
    }
    world->n_pair_interactions += (uint64_t)(n * (n - 1));
}

/* --- mobility -------------------------------------------------------------------- */

static void add_block(nrw_mat6 *r, nrw_sym3 m, double factor)
{
    const double rows[3][3] = {{m.xx, m.xy, m.xz}, {m.xy, m.yy, m.yz}, {m.xz, m.yz, m.zz}};
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++)
            r->at[3 + i][3 + j] += factor * rows[i][j];
}

static bool set_mobility(nrw_world *world, size_t i)
{
    nrw_doublets *d = world->doublets;
    nrw_doublet_body *body = &d->bodies[i];
    nrw_doublet_resistance(&d->medium, body->radius, world->z[i], d->axes[i], &body->factor);
    add_block(&body->factor, body->brake, 1.0);
    if (!nrw_cholesky6(&body->factor))
        return false;
    nrw_cholesky6_inverse(&body->factor, &body->mobility);
    return true;
}

/* How the body gives way to contacts: the drive's torque grows against a turn with the
 * stiffness K about the predicted orientation, over the step by the share ψ of it that
 * makes a held relaxation exact (8.8). */
static bool set_give(nrw_world *world, size_t i, const nrw_excitation *excitation, double h)
{
    nrw_doublets *d = world->doublets;
    nrw_doublet_body *body = &d->bodies[i];
    const double size = (double)world->moment[i], b = nrw_vec3_norm(excitation->field);
    nrw_vec3 about = body->axis;
    double stiff;
    if (world->body.kind == NRW_MOMENT_PERMANENT) {
        const bool across = world->scenario->particles.shape.moment == NRW_MOMENT_ACROSS;
        const nrw_vec3 u = across ? body->side : body->axis;
        stiff = size * world->body.permanent_fAm2 * nrw_vec3_dot(u, excitation->field);
        about = b > 0.0 ? nrw_vec3_scale(excitation->field, 1.0 / b) : u;
    } else {
        const double along = nrw_vec3_dot(body->axis, excitation->field);
        stiff = size * (d->along - d->across) * along * along;
    }
    for (int r = 0; r < 6; r++)
        for (int k = 0; k < 6; k++)
            body->give.at[r][k] = h * body->mobility.at[r][k];
    const double x =
        h * stiff *
        fmax(body->mobility.at[3][3], fmax(body->mobility.at[4][4], body->mobility.at[5][5]));
    if (!(x > 1e-3))
        return true;
    nrw_mat6 factor;
    nrw_doublet_resistance(&d->medium, body->radius, world->z[i], d->axes[i], &factor);
    add_block(&factor, body->brake, 1.0);
    const double share = 1.0 / (1.0 - exp(-x)) - 1.0 / x;
    nrw_sym3 k = nrw_sym3_outer(about);
    k = (nrw_sym3){1.0 - k.xx, -k.xy, -k.xz, 1.0 - k.yy, -k.yz, 1.0 - k.zz};
    add_block(&factor, k, share * h * stiff);
    if (!nrw_cholesky6(&factor))
        return false;
    nrw_cholesky6_inverse(&factor, &body->give);
    for (int r = 0; r < 6; r++)
        for (int c = 0; c < 6; c++)
            body->give.at[r][c] *= h;
    return true;
}

/* --- pair flow ------------------------------------------------------------------- */

/* Spins by row as run.c sums them, and the flow of the torques on the fluid: the
 * drive's less what contacts take. */
static void pair_flow(nrw_world *world)
{
    nrw_doublets *d = world->doublets;
    nrw_pair_task *task = &world->task;
    const double per_torque = world->pair_flow_factor / (8.0 * NRW_PI * world->body.viscosity_Pa_s);
    for (size_t i = 0; i < world->n; i++) {
        const nrw_doublet_body *body = &d->bodies[i];
        const nrw_vec3 taken = nrw_sym3_times(body->brake, body->spin);
        const nrw_vec3 torque = nrw_vec3_add(
            body->mean_torque, nrw_vec3_add(body->torque, nrw_vec3_scale(taken, -1.0)));
        world->spin_x[i] = (float)body->spin.x;
        world->spin_y[i] = (float)body->spin.y;
        world->spin_z[i] = (float)body->spin.z;
        world->qx[i] = (float)(per_torque * torque.y);
        world->qy[i] = (float)(-per_torque * torque.x);
        world->tz[i] = (float)(per_torque * torque.z);
        world->fx0[i] = (float)(world->x[i] - world->origin_x);
        world->fy0[i] = (float)(world->y[i] - world->origin_y);
        world->fz0[i] = world->pz[i] = (float)(world->z[i] - world->origin_z);
    }
    task->n_filled = world->n;
    if (!(per_torque > 0.0) || world->n < 2)
        return;
    if (world->body.has_floor)
        nrw_kernels_get()->tile_flow(task);
    else
        nrw_kernels_get()->flow_unbounded(task, 0, world->n);
    (void)nrw_walls_look(world);
    nrw_screen_take(world);
    world->n_pair_interactions += (uint64_t)(world->n * (world->n - 1));
}

/* --- prediction ------------------------------------------------------------------ */

/* kT ∇·M h by a random finite difference (Delong, Balboa Usabiaga & Donev 2015), added
 * to the displacement. */
static bool add_drift(nrw_world *world, size_t i, double h, double moved[6])
{
    nrw_doublets *d = world->doublets;
    const nrw_doublet_body *body = &d->bodies[i];
    double w[8], here[6], there[6];
    nrw_mat6 shifted;
    nrw_normal4(world->seed, NRW_STREAM_DRIFT, 2 * (uint32_t)i, world->step, w);
    nrw_normal4(world->seed, NRW_STREAM_DRIFT, 2 * (uint32_t)i + 1, world->step, w + 4);
    const double scale = DRIFT_DELTA * body->radius;
    const nrw_vec3 turn = {DRIFT_DELTA * w[3], DRIFT_DELTA * w[4], DRIFT_DELTA * w[5]};
    nrw_doublet_resistance(&d->medium, body->radius, world->z[i] + scale * w[2],
                           nrw_vec3_turn_by(d->axes[i], turn), &shifted);
    add_block(&shifted, body->brake, 1.0);
    if (!nrw_cholesky6(&shifted))
        return false;
    for (int k = 0; k < 6; k++)
        here[k] = there[k] = w[k] / (k < 3 ? scale : DRIFT_DELTA);
    nrw_cholesky6_solve(&shifted, there);
    nrw_cholesky6_solve(&body->factor, here);
    for (int k = 0; k < 6; k++)
        moved[k] += world->body.kT_pN_um * h * (there[k] - here[k]);
    return true;
}

static void add_noise(nrw_world *world, size_t i, double h, double moved[6])
{
    double w[8];
    nrw_normal4(world->seed, NRW_STREAM_NOISE, (uint32_t)i, world->step, w);
    nrw_normal4(world->seed, NRW_STREAM_SPIN, (uint32_t)i, world->step, w + 4);
    double noise[6] = {w[0], w[1], w[2], w[4], w[5], w[6]};
    nrw_cholesky6_solve_upper(&world->doublets->bodies[i].factor, noise);
    const double size = sqrt(2.0 * world->body.kT_pN_um * h);
    for (int k = 0; k < 6; k++)
        moved[k] += size * noise[k];
}

/* A flow toward the floor is hindered like the body's own motion there: mobility over
 * that without a floor, 1 far from it. */
static double flow_held(const nrw_world *world, size_t i)
{
    const nrw_doublets *d = world->doublets;
    const nrw_spheroid_friction *f = &d->medium.shape.friction;
    const double up = d->axes[i].z, free = 6.0 * NRW_PI * d->medium.viscosity_Pa_s *
                                           d->bodies[i].radius *
                                           (f->across + (f->along - f->across) * up * up);
    return d->bodies[i].mobility.at[2][2] * free;
}

/* Where body i would go without contacts. `rubbed`: force and torque of friction alone; its
 * turn, and that of forces, is not yet in the axis. */
static bool predict(nrw_world *world, size_t i, const double rubbed[6], double h)
{
    nrw_doublets *d = world->doublets;
    nrw_doublet_body *body = &d->bodies[i];
    const nrw_pair_task *task = &world->task;
    const nrw_vec3 torque = nrw_vec3_add(body->torque, body->mean_torque);
    const double load[6] = {body->force.x, body->force.y, body->force.z,
                            torque.x,      torque.y,      torque.z};
    double moved[6] = {0.0, 0.0, 0.0, 0.0, 0.0, 0.0};
    for (int r = 0; r < 6; r++)
        for (int k = 0; k < 6; k++)
            moved[r] += h * body->mobility.at[r][k] * (r < 3 || k < 3 ? load[k] : rubbed[k]);
    if (world->pair_flow_factor > 0.0 && world->n > 1) {
        const double share = world->rows.share ? (double)world->rows.share[i] : 1.0;
        moved[0] += share * h * (double)task->ux[i];
        moved[1] += share * h * (double)task->uy[i];
        moved[2] += flow_held(world, i) * share * h * (double)task->uz[i];
    }
    if (world->scenario->model.brownian) {
        add_noise(world, i, h, moved);
        if (world->body.has_floor && !add_drift(world, i, h, moved))
            return false;
    }
    const nrw_vec3 turn = {moved[3], moved[4], moved[5]};
    body->middle =
        (nrw_vec3){world->x[i] + moved[0], world->y[i] + moved[1], world->z[i] + moved[2]};
    body->axis = nrw_vec3_turn_by(body->axis, turn);
    body->side = nrw_vec3_turn_by(body->side, turn);
    return true;
}

static void take_origin(nrw_world *world)
{
    double sum[3] = {0.0, 0.0, 0.0};
    for (size_t i = 0; i < world->n; i++) {
        sum[0] += world->x[i];
        sum[1] += world->y[i];
        sum[2] += world->z[i];
    }
    world->origin_x = sum[0] / (double)world->n;
    world->origin_y = sum[1] / (double)world->n;
    world->origin_z = world->body.has_floor ? 0.0 : sum[2] / (double)world->n;
}

/* Predicted places of all; false: a mobility is not positive, which no state that is
 * finite has. */
static bool predict_all(nrw_world *world, const nrw_excitation *excitation, double h)
{
    nrw_doublets *d = world->doublets;
    take_origin(world);
    nrw_doublets_pair_forces(world, excitation);
    nrw_doublets_brake(world, excitation);
    for (size_t i = 0; i < world->n; i++) {
        if (!set_mobility(world, i))
            return false;
        nrw_doublets_turn(world, i, excitation, h);
    }
    pair_flow(world);
    for (size_t i = 0; i < world->n; i++) {
        nrw_doublet_body *body = &d->bodies[i];
        body->moved[0] = body->force.x, body->moved[3] = body->torque.x;
        body->moved[1] = body->force.y, body->moved[4] = body->torque.y;
        body->moved[2] = body->force.z, body->moved[5] = body->torque.z;
    }
    nrw_doublets_rub(world, excitation);
    for (size_t i = 0; i < world->n; i++) {
        const nrw_doublet_body *body = &d->bodies[i];
        const double *before = body->moved;
        const double rubbed[6] = {body->force.x - before[0],  body->force.y - before[1],
                                  body->force.z - before[2],  body->torque.x - before[3],
                                  body->torque.y - before[4], body->torque.z - before[5]};
        if (!predict(world, i, rubbed, h) || !set_give(world, i, excitation, h))
            return false;
    }
    return true;
}

/* --- store ----------------------------------------------------------------------- */

/* How far a displacement and turn of six moves the lobes, at most. */
static double lobe_move(const nrw_doublets *d, const nrw_doublet_body *body, const double moved[6])
{
    const nrw_vec3 shift = {moved[0], moved[1], moved[2]}, turn = {moved[3], moved[4], moved[5]};
    const nrw_vec3 round = nrw_vec3_cross(turn, body->axis);
    return nrw_vec3_norm(shift) + d->medium.shape.half * body->radius * nrw_vec3_norm(round);
}

/* The step in which the fastest body would reach the bounds on moves, and a bit less. */
static double safe_step_s(const nrw_world *world, double h)
{
    const nrw_doublets *d = world->doublets;
    const double lobe = d->medium.shape.lobe * world->body.radius_um;
    double most = 0.0;
    for (size_t i = 0; i < world->n; i++) {
        const nrw_doublet_body *body = &d->bodies[i];
        const nrw_vec3 went = {body->middle.x - world->x[i] + body->moved[0],
                               body->middle.y - world->y[i] + body->moved[1],
                               body->middle.z - world->z[i] + body->moved[2]};
        most = fmax(most, nrw_vec3_norm(went) / (MOVE_MAX * lobe));
        most = fmax(most, lobe_move(d, body, body->moved) / (CORRECTION_MAX * lobe));
    }
    return most > 0.0 ? SAFE_SHARE * h / most : 0.0;
}

static nrw_status store(nrw_world *world, double h, nrw_errors *errors)
{
    nrw_doublets *d = world->doublets;
    const bool across = world->scenario->particles.shape.moment == NRW_MOMENT_ACROSS;
    const double lobe = d->medium.shape.lobe * world->body.radius_um;
    for (size_t i = 0; i < world->n; i++) {
        nrw_doublet_body *body = &d->bodies[i];
        const nrw_vec3 turn = {body->moved[3], body->moved[4], body->moved[5]};
        const nrw_vec3 went = {body->middle.x - world->x[i] + body->moved[0],
                               body->middle.y - world->y[i] + body->moved[1],
                               body->middle.z - world->z[i] + body->moved[2]};
        if (!(nrw_vec3_norm(went) <= MOVE_MAX * lobe) ||
            !(lobe_move(d, body, body->moved) <= CORRECTION_MAX * lobe))
            return nrw_errors_add(errors, NRW_DIVERGED, "a shorter step or weaker interactions",
                                  "doublet %u would move by %.3g µm, or contacts push it by %.3g "
                                  "µm, in one step of %.3g s at t = %.6g s",
                                  world->ids[i], nrw_vec3_norm(went),
                                  lobe_move(d, body, body->moved), h, world->time_s);
        world->x[i] += went.x;
        world->y[i] += went.y;
        world->z[i] += went.z;
        const nrw_vec3 axis = nrw_vec3_turn_by(body->axis, turn);
        nrw_vec3 side = nrw_vec3_turn_by(body->side, turn);
        d->axes[i] = nrw_vec3_scale(axis, 1.0 / nrw_vec3_norm(axis));
        side = nrw_vec3_add(side, nrw_vec3_scale(d->axes[i], -nrw_vec3_dot(d->axes[i], side)));
        side = nrw_vec3_scale(side, 1.0 / nrw_vec3_norm(side));
        if (world->body.kind == NRW_MOMENT_INDUCED)
            continue;
        const nrw_vec3 u = across ? side : d->axes[i];
        world->ux[i] = u.x;
        world->uy[i] = u.y;
        world->uz[i] = u.z;
    }
    return NRW_OK;
}

/* Velocities of the lobes over the step, from where they were at its beginning. */
static void remember_moves(nrw_world *world, double h)
{
    nrw_doublets *d = world->doublets;
    for (size_t i = 0; i < world->n; i++) {
        const nrw_vec3 arm = nrw_vec3_scale(d->axes[i], d->medium.shape.half * d->bodies[i].radius);
        for (size_t k = 2 * i; k < 2 * i + 2; k++) {
            const double side = k % 2 ? -1.0 : 1.0;
            d->moved[k] = (nrw_vec3){(world->x[i] + side * arm.x - d->lobe_x[k]) / h,
                                     (world->y[i] + side * arm.y - d->lobe_y[k]) / h,
                                     (world->z[i] + side * arm.z - d->lobe_z[k]) / h};
        }
    }
}

static nrw_status check_state(nrw_world *world, nrw_errors *errors)
{
    nrw_doublets *d = world->doublets;
    const double overlap = nrw_doublets_overlap(world);
    world->largest_overlap = fmax(world->largest_overlap, overlap);
    if (!(overlap <= OVERLAP_MAX))
        return nrw_errors_add(errors, NRW_DIVERGED,
                              "a shorter step, stiffer contacts or a weaker field",
                              "lobes of two doublets overlap by %.0f %% of their distance at t = "
                              "%.6g s",
                              100.0 * overlap, world->time_s);
    for (size_t k = 0; k < 2 * world->n; k++) {
        const double lobe = d->medium.shape.lobe * d->bodies[k / 2].radius;
        if (!nrw_channel_is_open(world->channel) && d->seen_wall[k] < -lobe)
            return nrw_errors_add(errors, NRW_DIVERGED, "a shorter step",
                                  "doublet %u left the channel through a wall at t = %.6g s, "
                                  "(%.5g, %.5g) µm",
                                  world->ids[k / 2], world->time_s, world->x[k / 2],
                                  world->y[k / 2]);
    }
    return NRW_OK;
}

nrw_status nrw_doublets_step(nrw_world *world, const nrw_excitation *excitation, double h_s,
                             double *taken_s, nrw_errors *errors)
{
    const char *crowded = "particles that don't lie on top of each other";
    *taken_s = 0.0;
    world->step++; /* a step that is taken again gets fresh noise */
    if (!nrw_doublets_list(world))
        return nrw_errors_add(errors, NRW_DIVERGED, crowded,
                              "too many particles in one place at t = %.6g s", world->time_s);
    if (!predict_all(world, excitation, h_s))
        return nrw_errors_add(errors, NRW_DIVERGED, "a shorter step or weaker interactions",
                              "a doublet's mobility is not finite at t = %.6g s", world->time_s);
    if (!nrw_doublets_find_contacts(world, excitation, h_s))
        return nrw_errors_add(errors, NRW_DIVERGED, crowded, "too many contacts at t = %.6g s",
                              world->time_s);
    nrw_doublets_solve_contacts(world, h_s);
    world->doublets->safe_s = safe_step_s(world, h_s);
    nrw_status status = store(world, h_s, errors);
    if (status == NRW_OK)
        status = check_state(world, errors);
    if (status != NRW_OK)
        return status;
    remember_moves(world, h_s);
    world->time_s += h_s;
    world->n_steps++;
    world->substep_s = h_s;
    *taken_s = h_s;
    return NRW_OK;
}
