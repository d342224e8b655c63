/* Moments that are followed particle by particle. docs/physics.md, section 6. */
#include "own_moment.h"

#include <math.h>

#include "average.h"
#include "random.h"

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

/* The spin that neighbours sliding past give. */
static nrw_vec3 slide_spin(const nrw_world *world, size_t i)
{
    if (!world->rows.slide_x)
        return (nrw_vec3){0.0, 0.0, 0.0};
    const nrw_vec3 torque = {(double)world->slide_x[i], (double)world->slide_y[i],
                             (double)world->slide_z[i]};
    return nrw_sym3_solve(spin_resistance(world, i), torque);
}

/* Stores the spin of row i and the torque with which it drives the fluid: the
 * magnetic torque less what contacts take. */
static void set_spin(nrw_world *world, size_t i, nrw_vec3 spin)
{
    const double a = (double)world->row_radius[i], a3 = a * a * a * world->pair_flow_factor;
    float *row = world->spins + nrw_four_of(i);
    row[0] = world->spin_x[i] = (float)spin.x;
    row[1] = world->spin_y[i] = (float)spin.y;
    row[2] = world->spin_z[i] = (float)spin.z;
    world->qx[i] = (float)(a3 * spin.y / (double)world->mr[i]);
    world->qy[i] = (float)(-a3 * spin.x / (double)world->mr[i]);
    world->tz[i] = (float)(a3 * spin.z / (double)world->ms[i]);
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

static double angle_between(nrw_vec3 u, nrw_vec3 v)
{
    return atan2(nrw_vec3_norm(nrw_vec3_cross(u, v)), nrw_vec3_dot(u, v));
}

/* A moment through a step: its spin, and the direction of its fixed part half way and at
 * the end. */
typedef struct turned {
    nrw_vec3 spin, middle, end;
} turned;

/* 8πηa³ of a row. */
static double spin_drag(const nrw_world *world, size_t row)
{
    const double a = (double)world->row_radius[row];
    return 8.0 * NRW_PI * world->body.viscosity_Pa_s * a * a * a;
}

/* Relaxes u toward a field for h seconds by the exact solution for a field that is held. */
static turned relax(const nrw_world *world, size_t row, nrw_vec3 u, nrw_vec3 field, double moment,
                    double h)
{
    turned to = {{0.0, 0.0, 0.0}, u, u};
    const double size = nrw_vec3_norm(field);
    nrw_vec3 axis = nrw_vec3_cross(u, field);
    const double sine = nrw_vec3_norm(axis) / (size > 0.0 ? size : 1.0);
    if (!(sine > 1e-12))
        return to;
    axis = nrw_vec3_scale(axis, 1.0 / (sine * size));
    const nrw_vec3 per_torque = nrw_sym3_solve(spin_resistance(world, row), axis);
    const double rate = moment * size / spin_drag(world, row) * nrw_vec3_dot(per_torque, axis);
    const nrw_vec3 direction = nrw_vec3_scale(field, 1.0 / size);
    const nrw_vec3 half_way = nrw_moment_relax(u, direction, 0.5 * rate * h);
    const nrw_vec3 relaxed = nrw_moment_relax(u, direction, rate * h);
    /* the spin is not along the torque where the resistance is not isotropic:
     * near a floor it also turns u out of the plane of u and the field */
    const nrw_vec3 per_angle = nrw_vec3_scale(per_torque, 1.0 / nrw_vec3_dot(per_torque, axis));
    to.middle = nrw_vec3_turn_by(u, nrw_vec3_scale(per_angle, angle_between(u, half_way)));
    to.end = nrw_vec3_turn_by(u, nrw_vec3_scale(per_angle, angle_between(u, relaxed)));
    to.spin = nrw_vec3_scale(per_angle, angle_between(u, relaxed) / h);
    return to;
}

/* What turns a particle besides its fixed part: the torque on the induced one, and
 * neighbours that slide past. */
static nrw_vec3 other_spin(const nrw_world *world, size_t row, nrw_vec3 torque)
{
    const nrw_vec3 slide = slide_spin(world, row);
    if (!(nrw_vec3_dot(torque, torque) > 0.0))
        return slide;
    const nrw_vec3 lag = nrw_sym3_solve(spin_resistance(world, row), torque);
    return nrw_vec3_add(slide, nrw_vec3_scale(lag, 1.0 / spin_drag(world, row)));
}

/* The same with another spin, which turns the particle before and after by half of what
 * it does in a step (Strang 1968). */
static turned turn_particle(const nrw_world *world, size_t row, nrw_vec3 u, nrw_vec3 field,
                            double moment, nrw_vec3 other, double h)
{
    const nrw_vec3 half = nrw_vec3_scale(other, 0.5 * h);
    turned to = relax(world, row, nrw_vec3_turn_by(u, half), field, moment, h);
    to.end = nrw_vec3_turn_by(to.end, half);
    to.spin = nrw_vec3_add(to.spin, other);
    return to;
}

/* The forces see the direction half way; the field of the others is that of the last
 * step's middle. */
void nrw_own_moments_turn(nrw_world *world, const nrw_excitation *excitation, double h)
{
    for (size_t row = 0; row < world->n; row++) {
        const uint32_t i = world->contacts.order[row];
        const double scale = (double)world->row_moment[row];
        const double fixed = world->body.permanent_fAm2 * scale;
        const nrw_vec3 others = {world->field_x[i], world->field_y[i], world->field_z[i]};
        const nrw_vec3 u = {world->ux[i], world->uy[i], world->uz[i]};
        const nrw_vec3 other = other_spin(world, row, nrw_vec3_scale(excitation->torque, scale));
        turned to =
            turn_particle(world, row, u, nrw_vec3_add(excitation->field, others), fixed, other, h);
        const nrw_vec3 flow_turn = {(double)world->turn_x[row] * h, (double)world->turn_y[row] * h,
                                    (double)world->turn_z[row] * h};
        nrw_vec3 end = nrw_vec3_turn_by(to.end, flow_turn);
        if (world->scenario->model.brownian)
            end = nrw_vec3_turn_by(end, spin_noise_turn(world, row, h));
        if (world->stuck[i])
            to.middle = end = u; /* held fast, moment and all */
        end = nrw_vec3_scale(end, 1.0 / nrw_vec3_norm(end));
        world->ux[i] = end.x;
        world->uy[i] = end.y;
        world->uz[i] = end.z;
        const nrw_vec3 moment = nrw_vec3_add(nrw_vec3_scale(to.middle, fixed),
                                             nrw_vec3_scale(excitation->induced, scale));
        world->own_mx[row] = (float)moment.x;
        world->own_my[row] = (float)moment.y;
        world->own_mz[row] = (float)moment.z;
        set_spin(world, row, to.spin);
    }
}

void nrw_own_moments_spin(nrw_world *world, size_t row, nrw_vec3 torque)
{
    set_spin(world, row, other_spin(world, row, torque));
}

void nrw_held_spins(nrw_world *world, const nrw_excitation *excitation)
{
    const double lone = nrw_vec3_norm(excitation->lone_spin);
    const nrw_vec3 axis =
        lone > 0.0 ? nrw_vec3_scale(excitation->lone_spin, 1.0 / lone) : (nrw_vec3){0.0, 0.0, 0.0};
    const double lag = nrw_vec3_dot(excitation->lag_torque, axis), rate = excitation->rate_rad_s;
    const nrw_floor_mobility floor = world->body.floor;
    const double resistance = (1.0 - axis.z * axis.z) / floor.mr + axis.z * axis.z / floor.ms;
    const double nominal_drag = world->body.spin_drag_pN_um_s * resistance;
    const double nominal =
        nrw_turning_rate_rad_s(rate, lag / nominal_drag, excitation->hold_pN_um / nominal_drag);
    for (size_t row = 0; row < world->n; row++) {
        const nrw_sym3 resisted = spin_resistance(world, row);
        const double drag = spin_drag(world, row) *
                            nrw_vec3_dot(axis, nrw_sym3_times(resisted, axis)) /
                            (double)world->row_moment[row];
        const double slide = nrw_vec3_dot(slide_spin(world, row), axis);
        const double turning = lone > 0.0 ? nrw_turning_rate_rad_s(rate, lag / drag + slide,
                                                                   excitation->hold_pN_um / drag)
                                          : 0.0;
        const double share = nominal > 0.0 ? turning / nominal : 0.0;
        set_spin(world, row, nrw_vec3_scale(excitation->lone_spin, share));
    }
}

void nrw_own_moments_keep_fields(nrw_world *world)
{
    for (size_t row = 0; row < world->n; row++) {
        const uint32_t i = world->contacts.order[row];
        world->field_x[i] = (double)world->task.bx[row];
        world->field_y[i] = (double)world->task.by[row];
        world->field_z[i] = (double)world->task.bz[row];
    }
}
