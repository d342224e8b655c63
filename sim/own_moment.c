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

/* Permanent moments: each relaxes toward its local field by the exact solution
 * for a field held over the step; the forces see the direction half way. The
 * field of the others is that of the last step's middle. */
void nrw_own_moments_turn(nrw_world *world, const nrw_excitation *excitation, double h)
{
    const nrw_vec3 field = excitation->field;
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
            middle = nrw_vec3_turn_by(u, nrw_vec3_scale(per_angle, angle_between(u, half_way)));
            end = nrw_vec3_turn_by(u, nrw_vec3_scale(per_angle, angle_between(u, relaxed)));
            spin = nrw_vec3_scale(per_angle, angle_between(u, relaxed) / h);
        }
        const nrw_vec3 slide = slide_spin(world, i);
        spin = nrw_vec3_add(spin, slide);
        const nrw_vec3 turn = {(double)world->turn_x[i], (double)world->turn_y[i],
                               (double)world->turn_z[i]};
        end = nrw_vec3_turn_by(end, nrw_vec3_scale(nrw_vec3_add(turn, slide), h));
        if (world->scenario->model.brownian)
            end = nrw_vec3_turn_by(end, spin_noise_turn(world, i, h));
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

void nrw_own_moments_keep_fields(nrw_world *world)
{
    for (size_t row = 0; row < world->n; row++) {
        const uint32_t i = world->contacts.order[row];
        world->field_x[i] = (double)world->task.bx[row];
        world->field_y[i] = (double)world->task.by[row];
        world->field_z[i] = (double)world->task.bz[row];
    }
}
