/* One step of the world: prepare → spin → forces → substeps of (near dipoles →
 * move → store).
 *
 * Smooth forces of all pairs (dipoles, pair flow) are evaluated once a step; the
 * dipole forces of close neighbours, which are stiff and change quickest, anew at
 * each substep (multiple time steps: Tuckerman, Berne & Martyna 1992). Contacts,
 * side walls, floor and ceiling are implicit in each substep (contact.h).
 * docs/physics.md, section 6. */
#include <math.h>
#include <string.h>

#include "average.h"
#include "flow.h"
#include "particle.h"
#include "random.h"
#include "world.h"

/* Error rule: ½ h² |Δv/Δt| at most this share of a diameter. */
#define ACCELERATION_ERROR 0.1
/* No particle may move farther than this share of a diameter in one step. */
#define MOVE_MAX 0.5
/* ... nor does the channel's flow carry one farther in one step, in diameters. */
#define CARRY_MAX 1.0
/* Steps shorter than this share of the wanted one mean that it diverges. */
#define STEP_SHRINK_MAX 256.0
/* Overlap of two particles, as a share of their distance, beyond which the state
 * is not trusted; stiff contacts stay below 0.03. */
#define OVERLAP_MAX 0.25
/* Sweeps of the contact solve: at least so many, until none moves a particle by
 * more than this share of a diameter. */
#define LEAST_SWEEPS 2
#define SWEEP_TOLERANCE 2e-3f
/* Pairs that may come to touch in a substep are closer than this share of a
 * diameter. */
#define CANDIDATE_SHARE 0.2f
/* Longest substep times mobility times 0.3 ⟨m²⟩/d⁵, the scale of the dipoles'
 * stiffness between neighbours: standing sheets of a tilted swarm become unstable
 * at 0.3. */
#define STABLE_SHARE 0.17
/* A floor gap that was given is held by a spring this much stiffer than contacts. */
#define GIVEN_GAP_STIFFNESS 100.0

/* --- prepare ---------------------------------------------------------------- */

/* Constants of the particles in the order of the rows. */
static void take_rows(nrw_world *world)
{
    const uint32_t *order = world->contacts.order;
    for (size_t row = 0; row < world->padded; row++) {
        const bool filled = row < world->n;
        const size_t i = filled ? order[row] : 0;
        world->row_radius[row] = filled ? world->radius[i] : (float)world->body.radius_um;
        world->row_moment[row] = filled ? world->moment[i] : 0.0f;
        world->row_inverse_drag[row] = world->inverse_drag[i];
        world->row_ceiling[row] = world->ceiling[i];
    }
}

static void set_place(nrw_world *world, size_t row, float x, float y, float z)
{
    float *place = world->places + 4 * row;
    place[0] = world->px[row] = x;
    place[1] = world->py[row] = y;
    place[2] = world->pz[row] = z;
    place[3] = world->row_moment[row];
}

static void take_positions(nrw_world *world)
{
    double sx = 0.0, sy = 0.0, sz = 0.0;
    for (size_t i = 0; i < world->n; i++) {
        sx += world->x[i];
        sy += world->y[i];
        sz += world->z[i];
    }
    world->origin_x = sx / (double)world->n;
    world->origin_y = sy / (double)world->n;
    /* heights count from the floor; without one, from the mean like the rest */
    world->origin_z = world->body.has_floor ? 0.0 : sz / (double)world->n;
    for (size_t row = 0; row < world->n; row++) {
        const size_t i = world->contacts.order[row];
        set_place(world, row, (float)(world->x[i] - world->origin_x),
                  (float)(world->y[i] - world->origin_y), (float)(world->z[i] - world->origin_z));
    }
    for (size_t row = world->n; row < world->padded; row++)
        set_place(world, row, NRW_FAR_AWAY_UM, NRW_FAR_AWAY_UM, (float)world->body.radius_um);
    float *none = world->places + 4 * world->padded;
    none[0] = none[1] = -NRW_FAR_AWAY_UM;
    none[2] = none[3] = 0.0f;
    memcpy(world->fx0, world->px, world->padded * sizeof(float));
    memcpy(world->fy0, world->py, world->padded * sizeof(float));
    memcpy(world->fz0, world->pz, world->padded * sizeof(float));
}

static void take_mobilities(nrw_world *world)
{
    const size_t n = world->padded;
    if (world->body.has_floor) {
        for (size_t i = 0; i < n; i++)
            world->delta[i] = (world->fz0[i] - world->row_radius[i]) / world->row_radius[i];
        nrw_floor_mobility_array(nrw_floor_table_get(), n, world->delta, world->mt, world->mz,
                                 world->mr, world->ms, world->rolling, world->dmz);
    } else {
        for (size_t i = 0; i < n; i++) {
            world->mt[i] = world->mz[i] = world->mr[i] = world->ms[i] = 1.0f;
            world->rolling[i] = world->dmz[i] = 0.0f;
        }
    }
    for (size_t i = 0; i < n; i++) {
        world->along[i] = world->mt[i] * world->row_inverse_drag[i];
        world->across[i] = world->mz[i] * world->row_inverse_drag[i];
    }
}

/* What the channel's flow does to each particle in the middle of a step. */
static void take_flow(nrw_world *world, double h)
{
    const nrw_flow *flow = nrw_channel_flow(world->channel);
    if (!flow)
        return;
    const double thicker = world->body.viscosity_Pa_s / world->scenario->fluid.viscosity_Pa_s;
    const nrw_flow_now now = nrw_flow_at_time(flow, world->time_s + 0.5 * h, thicker);
    const nrw_flow_rows rows = {world->n,       world->contacts.order, world->x,
                                world->y,       world->z,              world->row_radius,
                                world->delta,   world->mt,             world->mr,
                                world->rolling, world->flow_x,         world->flow_y,
                                world->turn_x,  world->turn_y,         world->turn_z};
    nrw_flow_carry(flow, &now, &rows);
}

/* Braking of neighbours: docs/physics.md (5.9). The excess resistance falls as a
 * parabola from its value at contact to zero at the gap where the lubrication
 * form vanishes. In between it lies above the logarithm, by up to 0.03 for a contact
 * gap of 0.04 radii (the reference particle at 10 mT), 0.11 for 0.016, 0.2 for 0.008. */
typedef struct brake_law {
    float contact, reach_um; /* value at touch; surface distance beyond touch where it ends */
} brake_law;

static brake_law brake_of(const nrw_world *world, double size2)
{
    brake_law law = {0.0f, 0.0f};
    if (!(world->brake_factor > 0.0))
        return law;
    const double d = world->body.diameter_um;
    const double press = 0.15 * size2 / (d * d * d * d);
    const double gap = nrw_contact_gap_um(world->scenario, press) / world->body.radius_um;
    const double excess = nrw_contact_brake(gap);
    const double end = exp(-4.0 * 0.32); /* gap over radius where ¼ ln(1/gap) = 0.32 */
    if (!(excess > 0.0))
        return law;
    law.contact = (float)(world->brake_factor * excess);
    law.reach_um = (float)((end - gap) * world->body.radius_um);
    return law;
}

static void take_brakes(nrw_world *world, brake_law law)
{
    if (!(law.contact > 0.0f)) {
        for (int k = 0; k < NRW_N_TENSOR; k++)
            memset(world->brake[k], 0, world->padded * sizeof(float));
        return;
    }
    nrw_brake_task task;
    memset(&task, 0, sizeof task);
    task.rows = world->near.rows;
    task.contact = law.contact;
    task.reach_um = law.reach_um;
    memcpy(task.brake, world->brake, sizeof task.brake);
    nrw_kernels_get()->brakes(&task);
}

/* --- spin ------------------------------------------------------------------- */

/* Rotational resistance over 8πηa³: floor plus brakes. */
static nrw_sym3 spin_resistance(const nrw_world *world, size_t i)
{
    float *const *b = world->brake;
    return (nrw_sym3){1.0 / (double)world->mr[i] + (double)b[NRW_XX][i],
                      (double)b[NRW_XY][i],
                      (double)b[NRW_XZ][i],
                      1.0 / (double)world->mr[i] + (double)b[NRW_YY][i],
                      (double)b[NRW_YZ][i],
                      1.0 / (double)world->ms[i] + (double)b[NRW_ZZ][i]};
}

/* Stores the spin of particle i and the torque with which it drives the fluid:
 * the magnetic torque less what contacts take. */
static void set_spin(nrw_world *world, size_t i, nrw_vec3 spin)
{
    const double a = (double)world->row_radius[i], a3 = a * a * a * world->pair_flow_factor;
    world->spin_x[i] = (float)spin.x;
    world->spin_y[i] = (float)spin.y;
    world->spin_z[i] = (float)spin.z;
    float *row = world->spins + 4 * i;
    row[0] = (float)spin.x;
    row[1] = (float)spin.y;
    row[2] = (float)spin.z;
    float *qx = (float *)(uintptr_t)world->task.qx, *qy = (float *)(uintptr_t)world->task.qy;
    float *tz = (float *)(uintptr_t)world->task.tz;
    qx[i] = (float)(a3 * spin.y / (double)world->mr[i]);
    qy[i] = (float)(-a3 * spin.x / (double)world->mr[i]);
    tz[i] = (float)(a3 * spin.z / (double)world->ms[i]);
}

/* Particles whose torque is common but for their volume. */
static void common_spins(nrw_world *world, nrw_vec3 torque)
{
    const double per_drag = 1.0 / world->body.spin_drag_pN_um_s;
    const double nominal3 = pow(world->body.radius_um, 3.0);
    for (size_t i = 0; i < world->n; i++) {
        const double a = (double)world->row_radius[i];
        const double scale = per_drag * (double)world->row_moment[i] * nominal3 / (a * a * a);
        const nrw_vec3 drive = nrw_vec3_scale(torque, scale);
        set_spin(world, i, nrw_sym3_solve(spin_resistance(world, i), drive));
    }
}

static nrw_vec3 spin_noise_turn(nrw_world *world, size_t i, double h)
{
    double normals[4];
    nrw_normal4(world->seed, NRW_STREAM_SPIN, world->contacts.order[i], world->step, normals);
    const double a = (double)world->row_radius[i];
    const double drag = 8.0 * NRW_PI * world->body.viscosity_Pa_s * a * a * a;
    const double planar = sqrt(2.0 * world->body.kT_pN_um * (double)world->mr[i] * h / drag);
    const double normal = sqrt(2.0 * world->body.kT_pN_um * (double)world->ms[i] * h / drag);
    return (nrw_vec3){planar * normals[0], planar * normals[1], normal * normals[2]};
}

/* Turns u by a rotation vector (Rodrigues), keeping its length. */
static nrw_vec3 turn_by(nrw_vec3 u, nrw_vec3 turn)
{
    const double angle = nrw_vec3_norm(turn);
    if (!(angle > 0.0))
        return u;
    const nrw_vec3 axis = nrw_vec3_scale(turn, 1.0 / angle);
    const double c = cos(angle), s = sin(angle), along = nrw_vec3_dot(axis, u) * (1.0 - c);
    return nrw_vec3_add(
        nrw_vec3_add(nrw_vec3_scale(u, c), nrw_vec3_scale(nrw_vec3_cross(axis, u), s)),
        nrw_vec3_scale(axis, along));
}

static double angle_between(nrw_vec3 u, nrw_vec3 v)
{
    return atan2(nrw_vec3_norm(nrw_vec3_cross(u, v)), nrw_vec3_dot(u, v));
}

/* Permanent moments: each relaxes toward its local field by the exact solution
 * for a field held over the step; the forces see the direction half way. The
 * field of the others is that of the last step's middle. */
static void own_spins(nrw_world *world, nrw_vec3 field, double h)
{
    const double m0 = world->body.permanent_fAm2;
    for (size_t i = 0; i < world->n; i++) {
        const uint32_t particle = world->contacts.order[i];
        const double moment = m0 * (double)world->row_moment[i];
        nrw_vec3 local = {field.x + world->field_x[particle], field.y + world->field_y[particle],
                          field.z + world->field_z[particle]};
        nrw_vec3 u = {world->ux[particle], world->uy[particle], world->uz[particle]};
        nrw_vec3 spin = {0.0, 0.0, 0.0}, middle = u, end = u;
        const double size = nrw_vec3_norm(local);
        nrw_vec3 axis = nrw_vec3_cross(u, local);
        const double sine = nrw_vec3_norm(axis) / (size > 0.0 ? size : 1.0);
        if (sine > 1e-12) {
            axis = nrw_vec3_scale(axis, 1.0 / (sine * size));
            const double a = (double)world->row_radius[i];
            const double drag = 8.0 * NRW_PI * world->body.viscosity_Pa_s * a * a * a;
            const nrw_vec3 per_torque = nrw_sym3_solve(spin_resistance(world, i), axis);
            const double rate = moment * size / drag * nrw_vec3_dot(per_torque, axis);
            const nrw_vec3 direction = nrw_vec3_scale(local, 1.0 / size);
            const nrw_vec3 half_way = nrw_moment_relax(u, direction, 0.5 * rate * h);
            const nrw_vec3 relaxed = nrw_moment_relax(u, direction, rate * h);
            /* the spin is not along the torque where the resistance is not isotropic:
             * near a floor it also turns u out of the plane of u and the field */
            const nrw_vec3 per_angle =
                nrw_vec3_scale(per_torque, 1.0 / nrw_vec3_dot(per_torque, axis));
            middle = turn_by(u, nrw_vec3_scale(per_angle, angle_between(u, half_way)));
            end = turn_by(u, nrw_vec3_scale(per_angle, angle_between(u, relaxed)));
            spin = nrw_vec3_scale(per_angle, angle_between(u, relaxed) / h);
        }
        const nrw_vec3 flow_turn = {(double)world->turn_x[i] * h, (double)world->turn_y[i] * h,
                                    (double)world->turn_z[i] * h};
        end = turn_by(end, flow_turn);
        if (world->scenario->model.brownian)
            end = turn_by(end, spin_noise_turn(world, i, h));
        end = nrw_vec3_scale(end, 1.0 / nrw_vec3_norm(end));
        world->ux[particle] = end.x;
        world->uy[particle] = end.y;
        world->uz[particle] = end.z;
        world->own_mx[i] = (float)(moment * middle.x);
        world->own_my[i] = (float)(moment * middle.y);
        world->own_mz[i] = (float)(moment * middle.z);
        set_spin(world, i, spin);
    }
}

/* --- forces ----------------------------------------------------------------- */

static void set_tensor(float tensor[NRW_N_TENSOR], nrw_sym3 m)
{
    const double c = 3.0 * NRW_MU0_4PI;
    tensor[NRW_XX] = (float)(c * m.xx);
    tensor[NRW_XY] = (float)(c * m.xy);
    tensor[NRW_XZ] = (float)(c * m.xz);
    tensor[NRW_YY] = (float)(c * m.yy);
    tensor[NRW_YZ] = (float)(c * m.yz);
    tensor[NRW_ZZ] = (float)(c * m.zz);
}

static void pair_forces(nrw_world *world, const nrw_excitation *excitation)
{
    const nrw_kernels *kernels = nrw_kernels_get();
    nrw_pair_task *task = &world->task;
    const size_t n = world->n;
    if (n > 1) {
        if (world->own_moments) {
            kernels->own_moments(task, 0, n);
            for (size_t row = 0; row < n; row++) {
                const uint32_t i = world->contacts.order[row];
                world->field_x[i] = (double)task->bx[row];
                world->field_y[i] = (double)task->by[row];
                world->field_z[i] = (double)task->bz[row];
            }
        } else if (excitation->n_substeps > 1) {
            kernels->averaged_response(task, 0, n);
        } else {
            set_tensor(task->tensor, excitation->tensor);
            kernels->averaged(task, 0, n);
        }
        world->n_pair_interactions += (uint64_t)n * (n - 1);
    }
    if (world->pair_flow_factor > 0.0 && n > 1) {
        if (world->body.has_floor)
            kernels->flow_floor(task, 0, n);
        else
            kernels->flow_unbounded(task, 0, n);
        world->n_pair_interactions += (uint64_t)n * (n - 1);
    }
}

/* The flow kernel counts a particle's own image, which the exact self mobility
 * already holds: take its Faxén part off, 2a²q/(2h)⁴ along the floor. */
static void remove_self_flow(nrw_world *world)
{
    nrw_pair_task *task = &world->task;
    if (!world->body.has_floor || !(world->pair_flow_factor > 0.0) || world->n < 2)
        return;
    for (size_t i = 0; i < world->n; i++) {
        const float twice = 2.0f * world->fz0[i], square = twice * twice;
        const float self = 2.0f * task->radius2 / (square * square);
        task->ux[i] -= self * task->qx[i];
        task->uy[i] -= self * task->qy[i];
    }
}

/* Forces for a tensor from the responses to each of its components. */
static void phase_forces(nrw_world *world, nrw_sym3 tensor)
{
    float t[NRW_N_TENSOR];
    set_tensor(t, tensor);
    nrw_pair_task *task = &world->task;
    float *out[3] = {task->fx, task->fy, task->fz};
    for (int axis = 0; axis < 3; axis++) {
        const float *const *r = (const float *const *)task->response;
        const float *restrict xx = r[3 * NRW_XX + axis], *restrict xy = r[3 * NRW_XY + axis];
        const float *restrict xz = r[3 * NRW_XZ + axis], *restrict yy = r[3 * NRW_YY + axis];
        const float *restrict yz = r[3 * NRW_YZ + axis], *restrict zz = r[3 * NRW_ZZ + axis];
        float *restrict f = out[axis];
        for (size_t i = 0; i < world->n; i++)
            f[i] = t[NRW_XX] * xx[i] + t[NRW_XY] * xy[i] + t[NRW_XZ] * xz[i] + t[NRW_YY] * yy[i] +
                   t[NRW_YZ] * yz[i] + t[NRW_ZZ] * zz[i];
    }
}

/* Tangential forces of touching spinning particles: −4πηa²e (Ω_i + Ω_j) × n on i,
 * n toward j; with the brake torques they keep angular momentum. (5.10) */
static void add_friction(nrw_world *world, brake_law law)
{
    if (!(law.contact > 0.0f))
        return;
    nrw_brake_task task;
    memset(&task, 0, sizeof task);
    task.rows = world->near.rows;
    task.contact = law.contact;
    task.reach_um = law.reach_um;
    task.spins = world->spins;
    task.strength =
        (float)(4.0 * NRW_PI * world->body.viscosity_Pa_s * pow(world->body.radius_um, 2.0));
    task.fx = world->task.fx;
    task.fy = world->task.fy;
    task.fz = world->task.fz;
    nrw_kernels_get()->friction(&task);
}

/* Velocity without the close neighbours' dipoles: forces through the mobility,
 * pair flow, rolling, weight, and the drift that a height-dependent mobility gives
 * to noise (Itô). */
static void base_velocity(nrw_world *world)
{
    const nrw_pair_task *task = &world->task;
    const float weight = (float)world->body.weight_pN;
    const float nominal3 = (float)pow(world->body.radius_um, 3.0);
    const float rolling = (float)world->rolling_factor;
    const float kT = world->scenario->model.brownian ? (float)world->body.kT_pN_um : 0.0f;
    for (size_t i = 0; i < world->n; i++) {
        const float a = world->row_radius[i], volume = a * a * a / nominal3;
        const float roll = rolling * world->rolling[i] * a;
        world->base_x[i] = world->along[i] * task->fx[i] + task->ux[i] + roll * world->spin_y[i] +
                           world->flow_x[i];
        world->base_y[i] = world->along[i] * task->fy[i] + task->uy[i] - roll * world->spin_x[i] +
                           world->flow_y[i];
        /* a flow toward the floor is hindered like the particle's own motion there */
        world->base_z[i] = world->across[i] * (task->fz[i] - weight * volume) +
                           world->mz[i] * task->uz[i] +
                           kT * world->row_inverse_drag[i] * world->dmz[i] / a;
    }
}

/* Smooth velocity of a substep. */
static void add_near_forces(nrw_world *world, bool with_near, bool phases)
{
    const nrw_near_task *near = &world->near;
    const nrw_pair_task *task = &world->task;
    for (size_t i = 0; i < world->n; i++) {
        float fx = with_near ? near->fx[i] : 0.0f, fy = with_near ? near->fy[i] : 0.0f;
        float fz = with_near ? near->fz[i] : 0.0f;
        if (phases) {
            fx += task->fx[i];
            fy += task->fy[i];
            fz += task->fz[i];
        }
        world->vx[i] = world->base_x[i] + world->along[i] * fx;
        world->vy[i] = world->base_y[i] + world->along[i] * fy;
        world->vz[i] = world->base_z[i] + world->across[i] * fz;
    }
}

/* --- move ------------------------------------------------------------------- */

static double largest_change(size_t n, const float *vx, const float *vy, const float *ox,
                             const float *oy)
{
    float change = 0.0f;
    for (size_t i = 0; i < n; i++) {
        const float dx = vx[i] - ox[i], dy = vy[i] - oy[i], square = dx * dx + dy * dy;
        change = square > change ? square : change;
    }
    return sqrt((double)change);
}

static double largest_speed(size_t n, const float *vx, const float *vy)
{
    float fastest = 0.0f;
    for (size_t i = 0; i < n; i++) {
        const float square = vx[i] * vx[i] + vy[i] * vy[i];
        fastest = square > fastest ? square : fastest;
    }
    return sqrt((double)fastest);
}

/* Solves w + ln w = l (Wright's omega function) by Newton from a rough start. */
static double wright_omega(double l)
{
    if (l < -30.0)
        return exp(l);
    double w = l > 1.0 ? l - log(l) : exp(l) / (1.0 + 0.76 * exp(l));
    for (int k = 0; k < 3; k++)
        w *= (1.0 + l - log(w)) / (1.0 + w);
    return w;
}

/* The floor's force at the end of the substep, given where the particle would go
 * without it, f: y = f + hµ A exp(−y/λ), so (y − f)/λ = ω(ln(hµA/λ) − f/λ). */
static void linearise_floor(nrw_world *world)
{
    const nrw_body *body = &world->body;
    const double stiffness = world->scenario->model.contact_stiffness_pN_um;
    const bool given = !isnan(body->given_gap_um);
    const double rest = given ? body->given_gap_um : body->roughness_um;
    const double hard = stiffness * GIVEN_GAP_STIFFNESS;
    for (size_t i = 0; i < world->n; i++) {
        const double a = (double)world->row_radius[i], move = (double)world->move_z[i];
        const double pushed =
            (double)world->free_z[i] + move * stiffness * (double)world->near.warm_z[i];
        const double free_gap = (double)world->pz[i] + pushed - a;
        double gap = free_gap, force = 0.0, slope = 0.0;
        const double amplitude = given ? 0.0 : body->layer_amplitude_pN * a / body->radius_um;
        if (amplitude > 0.0 && free_gap < 40.0 * body->debye_um) {
            const double l = log(move * amplitude / body->debye_um) - free_gap / body->debye_um;
            const double w = wright_omega(l);
            gap = free_gap + body->debye_um * w;
            force = body->debye_um * w / move;
            slope = force / body->debye_um;
        }
        if (gap < rest) {
            gap = (gap + move * hard * rest) / (1.0 + move * hard);
            force += hard * (rest - gap);
            slope += hard;
        }
        world->floor_z[i] = (float)(gap + a) - world->pz[i];
        world->floor_force[i] = (float)force;
        world->floor_slope[i] = (float)slope;
        world->floor_give[i] = 1.0f / (1.0f + (float)slope * world->move_z[i]);
    }
}

/* Side walls near particles, linearised; false: none is near. */
static bool find_walls(nrw_world *world)
{
    if (nrw_channel_is_open(world->channel))
        return false;
    const float k = (float)world->scenario->model.contact_stiffness_pN_um;
    bool any = false;
    for (size_t i = 0; i < world->n; i++) {
        const uint32_t particle = world->contacts.order[i];
        double gradient[2];
        const double distance = nrw_channel_distance_um(world->channel, world->x[particle],
                                                        world->y[particle], gradient);
        const float a = world->row_radius[i];
        const bool near = distance <= (double)(1.6f * a);
        any |= near;
        world->wall_x[i] = near ? (float)gradient[0] : 0.0f;
        world->wall_y[i] = near ? (float)gradient[1] : 0.0f;
        world->wall_gap[i] = near ? a - (float)distance : 0.0f;
        world->wall_give[i] = k * world->move_xy[i] / (1.0f + k * world->move_xy[i]);
    }
    return any;
}

/* Displacement without contacts. */
static void predict(nrw_world *world, double h)
{
    const float step = (float)h;
    const float kT2h = (float)(2.0 * world->body.kT_pN_um * h);
    const bool noisy = world->scenario->model.brownian;
    if (noisy)
        nrw_normal_array(world->seed, NRW_STREAM_NOISE, world->step, world->n, world->noise);
    for (size_t i = 0; i < world->n; i++) {
        float jx = 0.0f, jy = 0.0f, jz = 0.0f;
        if (noisy) {
            const float *noise = world->noise + 4 * (size_t)world->contacts.order[i];
            const float planar = sqrtf(kT2h * world->along[i]);
            const float normal = sqrtf(kT2h * world->across[i]);
            jx = planar * noise[0];
            jy = planar * noise[1];
            jz = normal * noise[2];
        }
        world->free_x[i] = step * world->vx[i] + jx;
        world->free_y[i] = step * world->vy[i] + jy;
        world->free_z[i] = step * world->vz[i] + jz;
        world->move_xy[i] = step * world->along[i];
        world->move_z[i] = step * world->across[i];
        world->ceiling_z[i] = world->row_ceiling[i] - world->pz[i] - (float)world->origin_z;
    }
}

static void solve_contacts(nrw_world *world)
{
    nrw_contact_solve *solve = &world->solve;
    const nrw_near_task *near = &world->near;
    solve->rows = near->rows;
    solve->free_x = world->free_x;
    solve->free_y = world->free_y;
    solve->free_z = world->free_z;
    solve->move_xy = world->move_xy;
    solve->move_z = world->move_z;
    solve->warm_x = near->warm_x;
    solve->warm_y = near->warm_y;
    solve->warm_z = near->warm_z;
    solve->crowd = near->crowd;
    solve->n_neighbours = world->contacts.n_neighbours;
    solve->force = world->contacts.force;
    solve->change = world->contacts.change;
    solve->step = world->contacts.step;
    solve->stiffness = (float)world->scenario->model.contact_stiffness_pN_um;
    const bool walls = find_walls(world);
    solve->wall_x = walls ? world->wall_x : NULL;
    solve->wall_y = world->wall_y;
    solve->wall_gap = world->wall_gap;
    solve->wall_give = world->wall_give;
    solve->ceiling = isfinite(world->scenario->map.depth_um) ? world->ceiling_z : NULL;
    solve->floor_slope = NULL;
    if (world->body.has_floor) {
        linearise_floor(world);
        solve->floor_force = world->floor_force;
        solve->floor_slope = world->floor_slope;
        solve->floor_z = world->floor_z;
        solve->floor_give = world->floor_give;
    }
    solve->sweeps = LEAST_SWEEPS;
    solve->tolerance = SWEEP_TOLERANCE * (float)world->body.diameter_um;
    nrw_contacts_solve(solve);
    world->n_sweeps += (uint64_t)solve->sweeps_done;
}

/* --- store ------------------------------------------------------------------ */

static nrw_status check_move(const nrw_world *world, double h, nrw_errors *errors)
{
    const nrw_contact_solve *solve = &world->solve;
    for (size_t row = 0; row < world->n; row++) {
        const double dx = (double)solve->ux[row], dy = (double)solve->uy[row];
        const double dz = (double)solve->uz[row];
        const double moved = sqrt(dx * dx + dy * dy + dz * dz);
        const size_t i = world->contacts.order[row];
        if (!(moved < 2.0 * world->body.diameter_um))
            return nrw_errors_add(errors, NRW_DIVERGED, "a shorter step or weaker interactions",
                                  "particle %u would move by %.3g µm in one step of %.3g s at "
                                  "t = %.6g s near (%.4g, %.4g) µm",
                                  world->ids[i], moved, h, world->time_s, world->x[i], world->y[i]);
    }
    return NRW_OK;
}

static void store(nrw_world *world, double h)
{
    const nrw_contact_solve *solve = &world->solve;
    for (size_t row = 0; row < world->n; row++) {
        const size_t i = world->contacts.order[row];
        world->x[i] += (double)solve->ux[row];
        world->y[i] += (double)solve->uy[row];
        world->z[i] += (double)solve->uz[row];
        set_place(world, row, world->px[row] + solve->ux[row], world->py[row] + solve->uy[row],
                  world->pz[row] + solve->uz[row]);
    }
    world->time_s += h;
    world->step++;
    world->n_steps++;
    world->substep_s = h;
}

static nrw_status move(nrw_world *world, double h, nrw_errors *errors)
{
    predict(world, h);
    solve_contacts(world);
    nrw_status status = check_move(world, h, errors);
    if (status != NRW_OK)
        return status;
    store(world, h);
    return NRW_OK;
}

static nrw_status check_state(nrw_world *world, nrw_errors *errors)
{
    const double overlap = (double)world->near.largest_overlap;
    world->largest_overlap = fmax(world->largest_overlap, overlap);
    if (!(overlap <= OVERLAP_MAX))
        return nrw_errors_add(errors, NRW_DIVERGED,
                              "a shorter step, stiffer contacts or a weaker field",
                              "two particles overlap by %.0f %% of their distance at t = %.6g s",
                              100.0 * overlap, world->time_s);
    if (nrw_channel_is_open(world->channel))
        return NRW_OK;
    for (size_t i = 0; i < world->n; i++) {
        if (nrw_channel_distance_um(world->channel, world->x[i], world->y[i], NULL) <
            -(double)world->radius[i])
            return nrw_errors_add(errors, NRW_DIVERGED, "a shorter step",
                                  "particle %u left the channel through a wall at t = %.6g s, "
                                  "(%.5g, %.5g) µm",
                                  world->ids[i], world->time_s, world->x[i], world->y[i]);
    }
    return NRW_OK;
}

double nrw_world_stable_s(const nrw_world *world, double size2)
{
    /* before the first step only the nominal particle's mobility is known */
    double most = world->body.floor.mt / world->body.drag_pN_s_um;
    for (size_t i = 0; i < world->n; i++)
        most = fmax(most, (double)world->along[i]);
    return STABLE_SHARE / (0.3 * size2 / pow(world->body.diameter_um, 5.0) * most);
}

/* The step that the error rule allows for the forces that are held over it: those of
 * all but close neighbours, in vx, vy. Halvings of h_s. */
static double step_allowed(nrw_world *world, double h_s)
{
    float change = 0.0f, carried = 0.0f;
    for (size_t row = 0; row < world->n && world->has_old_velocity; row++) {
        const size_t i = world->contacts.order[row];
        const float dx = world->vx[row] - world->old_x[i], dy = world->vy[row] - world->old_y[i];
        const float square = dx * dx + dy * dy;
        change = square > change ? square : change;
    }
    for (size_t row = 0; row < world->n; row++) {
        const float square =
            world->flow_x[row] * world->flow_x[row] + world->flow_y[row] * world->flow_y[row];
        carried = square > carried ? square : carried;
    }
    const double d = world->body.diameter_um;
    double allowed =
        change > 0.0f
            ? sqrt(2.0 * ACCELERATION_ERROR * d * world->old_step_s / sqrt((double)change))
            : INFINITY;
    /* the flow is that of the place at the step's beginning */
    if (carried > 0.0f)
        allowed = fmin(allowed, CARRY_MAX * d / sqrt((double)carried));
    double h = h_s;
    while (h > allowed && h > 1e-12)
        h *= 0.5;
    return h;
}

static void remember_velocity(nrw_world *world, double h)
{
    for (size_t row = 0; row < world->n; row++) {
        const size_t i = world->contacts.order[row];
        world->old_x[i] = world->vx[row];
        world->old_y[i] = world->vy[row];
    }
    world->has_old_velocity = true;
    world->old_step_s = h;
}

/* Everything that is evaluated once a step, at its beginning. */
static nrw_status evaluate(nrw_world *world, const nrw_excitation *excitation, double h_s,
                           nrw_errors *errors)
{
    const nrw_kernels *kernels = nrw_kernels_get();
    nrw_near_task *near = &world->near;
    nrw_pair_task *task = &world->task;
    const bool phases = !world->own_moments && excitation->n_substeps > 1;
    if (nrw_contacts_refresh(&world->contacts, world->n, world->x, world->y, world->z,
                             world->radius, world->largest_radius)) {
        if (world->contacts.overflow)
            return nrw_errors_add(errors, NRW_DIVERGED,
                                  "particles that don't lie on top of each other",
                                  "too many particles in one place at t = %.6g s", world->time_s);
        take_rows(world);
    }
    take_positions(world);
    take_mobilities(world);
    take_flow(world, h_s);
    near->rows = nrw_contacts_rows(&world->contacts);
    near->places = world->places;
    near->core2 = task->core2;
    near->largest_overlap = 0.0f;
    near->candidate_um = CANDIDATE_SHARE * (float)world->body.diameter_um;
    set_tensor(near->tensor, phases ? excitation->substep_tensors[0] : excitation->tensor);
    (world->own_moments ? kernels->near_geometry : kernels->near_dipoles)(near);

    const brake_law law = brake_of(world, excitation->size2);
    take_brakes(world, law);
    if (world->own_moments)
        own_spins(world, excitation->field, h_s);
    else
        common_spins(world, excitation->torque);
    pair_forces(world, excitation);
    remove_self_flow(world);
    /* what is held over the step leaves out the close neighbours */
    if (phases) {
        memcpy(near->response, task->response, sizeof near->response);
        kernels->near_response(near);
        memset(task->fx, 0, world->n * sizeof(float));
        memset(task->fy, 0, world->n * sizeof(float));
        memset(task->fz, 0, world->n * sizeof(float));
    } else if (!world->own_moments) {
        for (size_t i = 0; i < world->n; i++) {
            task->fx[i] -= near->fx[i];
            task->fy[i] -= near->fy[i];
            task->fz[i] -= near->fz[i];
        }
    }
    add_friction(world, law);
    base_velocity(world);
    return NRW_OK;
}

/* Moves through `span` s in substeps as long as the stability of the near forces and
 * the error rule allow. `fresh`: near->... already holds the present positions. */
static nrw_status advance(nrw_world *world, double span, double stable, double least, bool phases,
                          bool *fresh, double *taken, nrw_errors *errors)
{
    const nrw_kernels *kernels = nrw_kernels_get();
    const bool with_near = !world->own_moments;
    const double d = world->body.diameter_um;
    double left = span, last_h = 0.0;
    while (left > 1e-9 * span) {
        if (!*fresh)
            (with_near ? kernels->near_dipoles : kernels->near_geometry)(&world->near);
        *fresh = false;
        add_near_forces(world, with_near, phases);
        double allowed =
            fmin(stable, MOVE_MAX * d / fmax(largest_speed(world->n, world->vx, world->vy), 1e-15));
        if (last_h > 0.0) {
            const double change =
                largest_change(world->n, world->vx, world->vy, world->last_x, world->last_y);
            allowed =
                fmin(allowed, sqrt(2.0 * ACCELERATION_ERROR * d * last_h / fmax(change, 1e-15)));
        }
        if (!(allowed >= least))
            return nrw_errors_add(errors, NRW_DIVERGED, "weaker interactions",
                                  "the step fell below %.3g s at t = %.6g s", allowed,
                                  world->time_s);
        last_h = left / fmax(1.0, ceil(left / allowed - 1e-6));
        memcpy(world->last_x, world->vx, world->n * sizeof(float));
        memcpy(world->last_y, world->vy, world->n * sizeof(float));
        nrw_status status = move(world, last_h, errors);
        if (status != NRW_OK)
            return status;
        left -= last_h;
        *taken += last_h;
        if (nrw_contacts_outrun(&world->contacts, world->n, world->x, world->y, world->z,
                                world->largest_radius))
            break;
    }
    return NRW_OK;
}

nrw_status nrw_world_step(nrw_world *world, const nrw_excitation *excitation, double h_s,
                          double *taken_s, nrw_errors *errors)
{
    *taken_s = 0.0;
    if (world->n == 0) { /* all have left: time goes on */
        world->time_s += h_s;
        *taken_s = h_s;
        return NRW_OK;
    }
    nrw_status status = evaluate(world, excitation, h_s, errors);
    if (status != NRW_OK)
        return status;
    const bool phases = !world->own_moments && excitation->n_substeps > 1;
    double h = h_s;
    int n_spans = 1;
    if (!world->own_moments) {
        if (phases)
            phase_forces(world, excitation->tensor);
        add_near_forces(world, false, phases);
        h = step_allowed(world, h_s);
        if (phases) {
            n_spans = (int)fmax(1.0, floor(h / h_s * excitation->n_substeps + 1e-6));
            h = h_s / excitation->n_substeps * n_spans;
        }
        remember_velocity(world, h);
    }
    const double least = h_s / STEP_SHRINK_MAX;
    if (h < least)
        return nrw_errors_add(errors, NRW_DIVERGED, "weaker interactions",
                              "the step fell below %.3g s at t = %.6g s", h, world->time_s);
    const double stable = world->own_moments ? INFINITY : nrw_world_stable_s(world, excitation->size2);
    bool fresh = true;
    for (int k = 0; k < n_spans; k++) {
        if (phases) {
            set_tensor(world->near.tensor, excitation->substep_tensors[k]);
            phase_forces(world, excitation->substep_tensors[k]);
        }
        double taken = 0.0;
        status = advance(world, h / n_spans, stable, least, phases, &fresh, &taken, errors);
        *taken_s += taken;
        if (status != NRW_OK)
            return status;
        if (nrw_contacts_outrun(&world->contacts, world->n, world->x, world->y, world->z,
                                world->largest_radius))
            break; /* someone new may be near: look around again */
    }
    /* judged where the step ended, so that a bad one can be taken back */
    if (world->n > 1)
        nrw_kernels_get()->near_geometry(&world->near);
    status = check_state(world, errors);
    if (status == NRW_OK)
        nrw_world_take_out(world);
    return status;
}
