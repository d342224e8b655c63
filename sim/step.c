/* One step of the world: prepare → spin → forces → move → store.
 *
 * Smooth velocities (dipoles, pair flow, weight, noise) are taken explicitly at
 * the beginning of the step; contacts, side walls, floor and ceiling implicitly
 * (contact.h). docs/physics.md, section 6. */
#include <math.h>
#include <string.h>

#include "average.h"
#include "particle.h"
#include "random.h"
#include "world.h"

/* Error rule: ½ h² |Δv/Δt| at most this share of a diameter. */
#define ACCELERATION_ERROR 0.1
/* No particle may move farther than this share of a diameter in one step. */
#define MOVE_MAX 0.5
/* Steps shorter than this share of the wanted one mean that it diverges. */
#define STEP_SHRINK_MAX 256.0
/* Overlap of two particles, as a share of their distance, beyond which the state
 * is not trusted; stiff contacts stay below 0.03. */
#define OVERLAP_MAX 0.25
/* A floor gap that was given is held by a spring this much stiffer than contacts. */
#define GIVEN_GAP_STIFFNESS 100.0

/* --- prepare ---------------------------------------------------------------- */

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
    const double base = world->body.has_floor ? 0.0 : sz / (double)world->n;
    for (size_t i = 0; i < world->n; i++) {
        world->fx0[i] = (float)(world->x[i] - world->origin_x);
        world->fy0[i] = (float)(world->y[i] - world->origin_y);
        world->fz0[i] = (float)(world->z[i] - base);
    }
}

static void take_mobilities(nrw_world *world)
{
    const size_t n = world->n;
    if (!world->body.has_floor) {
        for (size_t i = 0; i < n; i++) {
            world->mt[i] = world->mz[i] = world->mr[i] = world->ms[i] = 1.0f;
            world->rolling[i] = world->dmz[i] = 0.0f;
        }
        return;
    }
    for (size_t i = 0; i < n; i++)
        world->delta[i] = (float)((world->z[i] - (double)world->radius[i]) / (double)world->radius[i]);
    nrw_floor_mobility_array(nrw_floor_table_get(), n, world->delta, world->mt, world->mz, world->mr,
                             world->ms, world->rolling, world->dmz);
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

static inline float brake_at(brake_law law, float beyond_touch)
{
    if (beyond_touch >= law.reach_um)
        return 0.0f;
    const float part = beyond_touch > 0.0f ? 1.0f - beyond_touch / law.reach_um : 1.0f;
    return law.contact * part * part;
}

static void gather_brakes(nrw_world *world, brake_law law)
{
    for (int k = 0; k < NRW_N_TENSOR; k++)
        memset(world->brake[k], 0, world->n * sizeof(float));
    if (!(law.contact > 0.0f))
        return;
    const nrw_contacts *contacts = &world->contacts;
    float *const *b = world->brake;
    for (size_t pair = 0; pair < contacts->n_pairs; pair++) {
        const uint32_t i = contacts->i[pair], j = contacts->j[pair];
        const float dx = world->fx0[i] - world->fx0[j], dy = world->fy0[i] - world->fy0[j];
        const float dz = world->fz0[i] - world->fz0[j];
        const float r2 = dx * dx + dy * dy + dz * dz;
        const float far = contacts->distance[pair] + law.reach_um;
        if (!(r2 < far * far))
            continue;
        const float e = brake_at(law, sqrtf(r2) - contacts->distance[pair]);
        const float per_r2 = e / r2;
        const float part[NRW_N_TENSOR] = {e - per_r2 * dx * dx, -per_r2 * dx * dy,
                                          -per_r2 * dx * dz,    e - per_r2 * dy * dy,
                                          -per_r2 * dy * dz,    e - per_r2 * dz * dz};
        for (int k = 0; k < NRW_N_TENSOR; k++) {
            b[k][i] += part[k];
            b[k][j] += part[k];
        }
    }
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
    const double a = (double)world->radius[i], a3 = a * a * a * world->pair_flow_factor;
    world->spin_x[i] = (float)spin.x;
    world->spin_y[i] = (float)spin.y;
    world->spin_z[i] = (float)spin.z;
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
        const double a = (double)world->radius[i];
        const double scale = per_drag * (double)world->moment[i] * nominal3 / (a * a * a);
        const nrw_vec3 drive = nrw_vec3_scale(torque, scale);
        set_spin(world, i, nrw_sym3_solve(spin_resistance(world, i), drive));
    }
}

static nrw_vec3 spin_noise_turn(nrw_world *world, size_t i, double h)
{
    double normals[4];
    nrw_normal4(world->seed, NRW_STREAM_SPIN, (uint32_t)i, world->step, normals);
    const double a = (double)world->radius[i];
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
    return nrw_vec3_add(nrw_vec3_add(nrw_vec3_scale(u, c), nrw_vec3_scale(nrw_vec3_cross(axis, u), s)),
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
        const double moment = m0 * (double)world->moment[i];
        nrw_vec3 local = {field.x + (double)world->task.bx[i], field.y + (double)world->task.by[i],
                          field.z + (double)world->task.bz[i]};
        nrw_vec3 u = {world->ux[i], world->uy[i], world->uz[i]};
        nrw_vec3 spin = {0.0, 0.0, 0.0}, middle = u, end = u;
        const double size = nrw_vec3_norm(local);
        nrw_vec3 axis = nrw_vec3_cross(u, local);
        const double sine = nrw_vec3_norm(axis) / (size > 0.0 ? size : 1.0);
        if (sine > 1e-12) {
            axis = nrw_vec3_scale(axis, 1.0 / (sine * size));
            const double a = (double)world->radius[i];
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
        if (world->scenario->model.brownian)
            end = turn_by(end, spin_noise_turn(world, i, h));
        end = nrw_vec3_scale(end, 1.0 / nrw_vec3_norm(end));
        world->ux[i] = end.x;
        world->uy[i] = end.y;
        world->uz[i] = end.z;
        world->own_mx[i] = (float)(moment * middle.x);
        world->own_my[i] = (float)(moment * middle.y);
        world->own_mz[i] = (float)(moment * middle.z);
        set_spin(world, i, spin);
    }
}

/* --- forces ----------------------------------------------------------------- */

static void set_tensor(nrw_pair_task *task, nrw_sym3 m)
{
    const double c = 3.0 * NRW_MU0_4PI;
    task->tensor[NRW_XX] = (float)(c * m.xx);
    task->tensor[NRW_XY] = (float)(c * m.xy);
    task->tensor[NRW_XZ] = (float)(c * m.xz);
    task->tensor[NRW_YY] = (float)(c * m.yy);
    task->tensor[NRW_YZ] = (float)(c * m.yz);
    task->tensor[NRW_ZZ] = (float)(c * m.zz);
}

static void pair_forces(nrw_world *world, const nrw_excitation *excitation)
{
    const nrw_kernels *kernels = nrw_kernels_get();
    nrw_pair_task *task = &world->task;
    const size_t n = world->n;
    if (n > 1) {
        if (world->own_moments) {
            kernels->own_moments(task, 0, n);
        } else if (excitation->n_substeps > 1) {
            kernels->averaged_response(task, 0, n);
        } else {
            set_tensor(task, excitation->tensor);
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
static void forces_for(nrw_world *world, nrw_sym3 tensor)
{
    nrw_pair_task *task = &world->task;
    set_tensor(task, tensor);
    float *out[3] = {task->fx, task->fy, task->fz};
    for (int axis = 0; axis < 3; axis++) {
        const float *const *r = (const float *const *)task->response;
        const float *restrict xx = r[3 * NRW_XX + axis], *restrict xy = r[3 * NRW_XY + axis];
        const float *restrict xz = r[3 * NRW_XZ + axis], *restrict yy = r[3 * NRW_YY + axis];
        const float *restrict yz = r[3 * NRW_YZ + axis], *restrict zz = r[3 * NRW_ZZ + axis];
        float *restrict f = out[axis];
        for (size_t i = 0; i < world->n; i++)
            f[i] = task->tensor[NRW_XX] * xx[i] + task->tensor[NRW_XY] * xy[i] +
                   task->tensor[NRW_XZ] * xz[i] + task->tensor[NRW_YY] * yy[i] +
                   task->tensor[NRW_YZ] * yz[i] + task->tensor[NRW_ZZ] * zz[i];
    }
}

/* Tangential forces of touching spinning particles: −4πηa²e (Ω_i + Ω_j) × n on i,
 * n toward j; with the brake torques they keep angular momentum. (5.10) */
static void contact_friction(nrw_world *world, brake_law law)
{
    if (!(law.contact > 0.0f))
        return;
    const nrw_contacts *contacts = &world->contacts;
    nrw_pair_task *task = &world->task;
    const float a = (float)world->body.radius_um;
    const float strength = (float)(4.0 * NRW_PI * world->body.viscosity_Pa_s) * a * a;
    for (size_t pair = 0; pair < contacts->n_pairs; pair++) {
        const uint32_t i = contacts->i[pair], j = contacts->j[pair];
        const float dx = world->fx0[j] - world->fx0[i], dy = world->fy0[j] - world->fy0[i];
        const float dz = world->fz0[j] - world->fz0[i];
        const float r2 = dx * dx + dy * dy + dz * dz;
        const float far = contacts->distance[pair] + law.reach_um;
        if (!(r2 < far * far))
            continue;
        const float r = sqrtf(r2);
        const float c = -strength * brake_at(law, r - contacts->distance[pair]) / r;
        const float sx = world->spin_x[i] + world->spin_x[j];
        const float sy = world->spin_y[i] + world->spin_y[j];
        const float sz = world->spin_z[i] + world->spin_z[j];
        const float fx = c * (sy * dz - sz * dy), fy = c * (sz * dx - sx * dz);
        const float fz = c * (sx * dy - sy * dx);
        task->fx[i] += fx;
        task->fy[i] += fy;
        task->fz[i] += fz;
        task->fx[j] -= fx;
        task->fy[j] -= fy;
        task->fz[j] -= fz;
    }
}

/* Smooth velocity: forces through the mobility, pair flow, rolling, weight, and
 * the drift that a height-dependent mobility gives to noise (Itô). */
static void smooth_velocity(nrw_world *world)
{
    const nrw_pair_task *task = &world->task;
    const float weight = (float)world->body.weight_pN;
    const float nominal3 = (float)pow(world->body.radius_um, 3.0);
    const float rolling = (float)world->rolling_factor;
    const float kT = world->scenario->model.brownian ? (float)world->body.kT_pN_um : 0.0f;
    for (size_t i = 0; i < world->n; i++) {
        const float a = world->radius[i], volume = a * a * a / nominal3;
        const float along = world->mt[i] * world->inverse_drag[i];
        const float across = world->mz[i] * world->inverse_drag[i];
        const float roll = rolling * world->rolling[i] * a;
        world->vx[i] = along * task->fx[i] + task->ux[i] + roll * world->spin_y[i];
        world->vy[i] = along * task->fy[i] + task->uy[i] - roll * world->spin_x[i];
        /* a flow toward the floor is hindered like the particle's own motion there */
        world->vz[i] = across * (task->fz[i] - weight * volume) + world->mz[i] * task->uz[i] +
                       kT * world->inverse_drag[i] * world->dmz[i] / a;
    }
}

/* --- move ------------------------------------------------------------------- */

static double shorten(const nrw_world *world, double h)
{
    const double d = world->body.diameter_um;
    double fastest = 0.0, change = 0.0;
    for (size_t i = 0; i < world->n; i++) {
        const double vx = (double)world->vx[i], vy = (double)world->vy[i];
        const double dx = vx - (double)world->old_vx[i], dy = vy - (double)world->old_vy[i];
        fastest = fmax(fastest, vx * vx + vy * vy);
        change = fmax(change, dx * dx + dy * dy);
    }
    double allowed = MOVE_MAX * d / sqrt(fmax(fastest, 1e-30));
    if (world->has_old_velocity && change > 0.0)
        allowed = fmin(allowed,
                       sqrt(2.0 * ACCELERATION_ERROR * d * world->old_step_s / sqrt(change)));
    while (h > allowed && h > 1e-12)
        h *= 0.5;
    return h;
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

/* The floor's force at the end of the step, given where the particle would go
 * without it, f: y = f + hµ A exp(−y/λ), so (y − f)/λ = ω(ln(hµA/λ) − f/λ). */
static void linearise_floor(nrw_world *world)
{
    const nrw_body *body = &world->body;
    nrw_floor_contact *floor = &world->floor;
    const double stiffness = world->scenario->model.contact_stiffness_pN_um;
    const bool given = !isnan(body->given_gap_um);
    const double rest = given ? body->given_gap_um : body->roughness_um;
    const double hard = stiffness * GIVEN_GAP_STIFFNESS;
    for (size_t i = 0; i < world->n; i++) {
        const double a = (double)world->radius[i], move = (double)world->move_z[i];
        const double free_gap = (double)world->pz[i] - a;
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
        floor->z0[i] = (float)(gap + a);
        floor->force0[i] = (float)force;
        floor->slope[i] = (float)slope;
        floor->force[i] = (float)force;
        world->pz[i] = (float)(gap + a);
    }
}

static size_t find_walls(nrw_world *world)
{
    if (nrw_channel_is_open(world->channel))
        return 0;
    const float k = (float)world->scenario->model.contact_stiffness_pN_um;
    size_t n_walls = 0;
    for (size_t i = 0; i < world->n; i++) {
        double gradient[2];
        const double distance =
            nrw_channel_distance_um(world->channel, world->x[i], world->y[i], gradient);
        const float a = world->radius[i];
        if (distance > (double)(1.6f * a))
            continue;
        nrw_wall_contact *wall = &world->walls[n_walls++];
        wall->particle = (uint32_t)i;
        wall->nx = (float)gradient[0];
        wall->ny = (float)gradient[1];
        wall->overlap = a - (float)distance;
        wall->x0 = world->fx0[i];
        wall->y0 = world->fy0[i];
        wall->force = 0.0f;
        if (wall->overlap > 0.0f) {
            wall->force = k * wall->overlap;
            world->px[i] += world->move_xy[i] * wall->force * wall->nx;
            world->py[i] += world->move_xy[i] * wall->force * wall->ny;
        }
    }
    return n_walls;
}

static void predict(nrw_world *world, double h)
{
    const float step = (float)h;
    const float kT2h = (float)(2.0 * world->body.kT_pN_um * h);
    const bool noisy = world->scenario->model.brownian;
    if (noisy)
        nrw_normal_array(world->seed, NRW_STREAM_NOISE, world->step, world->n, world->noise);
    for (size_t i = 0; i < world->n; i++) {
        const float along = world->mt[i] * world->inverse_drag[i];
        const float across = world->mz[i] * world->inverse_drag[i];
        world->move_xy[i] = step * along;
        world->move_z[i] = step * across;
        float jx = 0.0f, jy = 0.0f, jz = 0.0f;
        if (noisy) {
            const float planar = sqrtf(kT2h * along), normal = sqrtf(kT2h * across);
            jx = planar * world->noise[4 * i];
            jy = planar * world->noise[4 * i + 1];
            jz = normal * world->noise[4 * i + 2];
        }
        world->px[i] = world->fx0[i] + step * world->vx[i] + jx;
        world->py[i] = world->fy0[i] + step * world->vy[i] + jy;
        world->pz[i] = world->fz0[i] + step * world->vz[i] + jz;
    }
}

static void solve_contacts(nrw_world *world, double h)
{
    const nrw_body *body = &world->body;
    nrw_contact_solve solve;
    memset(&solve, 0, sizeof solve);
    solve.n = world->n;
    solve.x = world->px;
    solve.y = world->py;
    solve.z = world->pz;
    solve.move_xy = world->move_xy;
    solve.move_z = world->move_z;
    solve.stiffness = (float)world->scenario->model.contact_stiffness_pN_um;
    /* sweeps that sufficed in comparisons with converged solves, against the
     * stiffness of a contact over a step */
    const double stiff = (double)solve.stiffness * h * body->floor.mt / body->drag_pN_s_um;
    solve.sweeps = (int)ceil(6.0 + 0.7 * stiff);
    solve.tolerance = 1e-3f * (float)body->diameter_um;
    nrw_contacts_warm_start(&world->contacts, &solve, world->fx0, world->fy0, world->fz0);
    solve.walls = world->walls;
    solve.n_walls = find_walls(world);
    if (body->has_floor) {
        linearise_floor(world);
        solve.floor = &world->floor;
    }
    nrw_contacts_solve(&world->contacts, &solve);
    world->n_sweeps += (uint64_t)solve.sweeps_done;
}

/* --- store ------------------------------------------------------------------ */

static nrw_status check_move(const nrw_world *world, double h, nrw_errors *errors)
{
    for (size_t i = 0; i < world->n; i++) {
        const double dx = (double)(world->px[i] - world->fx0[i]);
        const double dy = (double)(world->py[i] - world->fy0[i]);
        const double dz = (double)(world->pz[i] - world->fz0[i]);
        const double moved = sqrt(dx * dx + dy * dy + dz * dz);
        if (!(moved < 2.0 * world->body.diameter_um))
            return nrw_errors_add(errors, NRW_DIVERGED, "a shorter step or weaker interactions",
                                  "particle %zu would move by %.3g µm in one step of %.3g s at "
                                  "t = %.6g s near (%.4g, %.4g) µm",
                                  i, moved, h, world->time_s, world->x[i], world->y[i]);
    }
    return NRW_OK;
}

static void store(nrw_world *world, double h)
{
    for (size_t i = 0; i < world->n; i++) {
        world->x[i] += (double)(world->px[i] - world->fx0[i]);
        world->y[i] += (double)(world->py[i] - world->fy0[i]);
        world->z[i] += (double)(world->pz[i] - world->fz0[i]);
    }
    world->time_s += h;
    world->step++;
    world->n_steps++;
}

static nrw_status move(nrw_world *world, double h, nrw_errors *errors)
{
    predict(world, h);
    solve_contacts(world, h);
    nrw_status status = check_move(world, h, errors);
    if (status != NRW_OK)
        return status;
    store(world, h);
    return NRW_OK;
}

static nrw_status check_state(nrw_world *world, nrw_errors *errors)
{
    const double overlap =
        (double)nrw_contacts_overlap(&world->contacts, world->px, world->py, world->pz);
    world->largest_overlap = fmax(world->largest_overlap, overlap);
    if (!(overlap <= OVERLAP_MAX))
        return nrw_errors_add(errors, NRW_DIVERGED, "a shorter step, stiffer contacts or a weaker field",
                              "two particles overlap by %.0f %% of their distance at t = %.6g s",
                              100.0 * overlap, world->time_s);
    for (size_t i = 0; i < world->n; i++) {
        if (nrw_channel_distance_um(world->channel, world->x[i], world->y[i], NULL) <
            -(double)world->radius[i])
            return nrw_errors_add(errors, NRW_DIVERGED, "a shorter step",
                                  "particle %zu left the channel through a wall at t = %.6g s, "
                                  "(%.5g, %.5g) µm",
                                  i, world->time_s, world->x[i], world->y[i]);
    }
    return NRW_OK;
}

static void remember_velocity(nrw_world *world, double h)
{
    memcpy(world->old_vx, world->vx, world->n * sizeof(float));
    memcpy(world->old_vy, world->vy, world->n * sizeof(float));
    memcpy(world->old_vz, world->vz, world->n * sizeof(float));
    world->has_old_velocity = true;
    world->old_step_s = h;
}

/* Number of substeps to take before the smooth forces are evaluated anew: those
 * that fit into the step that the error rule allows, by the velocities of the mean
 * tensor. Forces held longer than the swarm's own response (7 ms for the reference
 * particle) make it bounce, which flattens a tilted swarm and drives it too fast. */
static int substeps_allowed(nrw_world *world, const nrw_excitation *excitation, brake_law law,
                            double h_s)
{
    forces_for(world, excitation->tensor);
    contact_friction(world, law);
    smooth_velocity(world);
    const double substep = h_s / excitation->n_substeps;
    int n = (int)(shorten(world, h_s) / substep + 1e-6);
    n = n < 1 ? 1 : n;
    remember_velocity(world, n * substep);
    return n;
}

nrw_status nrw_world_step(nrw_world *world, const nrw_excitation *excitation, double h_s,
                          double *taken_s, nrw_errors *errors)
{
    *taken_s = 0.0;
    take_positions(world);
    take_mobilities(world);
    nrw_contacts_refresh(&world->contacts, world->n, world->x, world->y, world->z, world->radius,
                         world->largest_radius);
    if (world->contacts.overflow)
        return nrw_errors_add(errors, NRW_DIVERGED, "particles that don't lie on top of each other",
                              "too many particles in one place at t = %.6g s", world->time_s);
    const brake_law law = brake_of(world, excitation->size2);
    gather_brakes(world, law);
    if (world->own_moments)
        own_spins(world, excitation->field, h_s);
    else
        common_spins(world, excitation->torque);
    pair_forces(world, excitation);
    remove_self_flow(world);

    const bool shared = !world->own_moments && excitation->n_substeps > 1;
    double h = shared ? h_s / excitation->n_substeps : h_s;
    const int n_substeps = shared ? substeps_allowed(world, excitation, law, h_s) : 1;
    for (int k = 0; k < n_substeps; k++) {
        if (k > 0)
            take_positions(world);
        if (shared)
            forces_for(world, excitation->substep_tensors[k]);
        contact_friction(world, law);
        smooth_velocity(world);
        if (!shared && !world->own_moments)
            h = shorten(world, h_s);
        if (h < h_s / STEP_SHRINK_MAX)
            return nrw_errors_add(errors, NRW_DIVERGED, "weaker interactions",
                                  "the step fell below %.3g s at t = %.6g s", h, world->time_s);
        nrw_status status = move(world, h, errors);
        if (status != NRW_OK)
            return status;
        *taken_s += h;
    }
    if (!shared)
        remember_velocity(world, h);
    world->substep_s = h;
    return check_state(world, errors);
}
