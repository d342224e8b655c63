#include "reference_motion.h"

#include <criterion/criterion.h>
#include <gsl/gsl_errno.h>
#include <gsl/gsl_odeiv2.h>
#include <math.h>
#include <string.h>

#include "dipole.h"

static nrw_vec3 vector(const double *v)
{
    return (nrw_vec3){v[0], v[1], v[2]};
}

static nrw_vec3 apart(const double *from, const double *to)
{
    return (nrw_vec3){to[0] - from[0], to[1] - from[1], to[2] - from[2]};
}

static nrw_floor_mobility mobility_at(const nrw_body *body, double z)
{
    if (!body->has_floor)
        return (nrw_floor_mobility){1.0, 1.0, 1.0, 1.0, 0.0, 0.0};
    return nrw_floor_mobility_at(nrw_floor_table_get(), (z - body->radius_um) / body->radius_um);
}

static nrw_vec3 local_field(const reference_motion *motion, double t, const double *at,
                            const double *u, size_t i)
{
    const double m = motion->body->permanent_fAm2;
    nrw_vec3 b = nrw_field_at(&motion->field, 2.0 * NRW_PI * motion->field.frequency_Hz * t);
    for (size_t j = 0; j < motion->n; j++)
        if (j != i)
            b = nrw_vec3_add(b, nrw_dipole_field_mT(nrw_vec3_scale(vector(u + 3 * j), m),
                                                    apart(at + 3 * j, at + 3 * i)));
    return b;
}

static nrw_vec3 pair_force(const reference_motion *motion, const double *at, const double *u,
                           size_t i)
{
    nrw_vec3 sum = {0.0, 0.0, 0.0};
    const double m = motion->body->permanent_fAm2;
    for (size_t j = 0; j < motion->n; j++) {
        if (j == i)
            continue;
        const nrw_vec3 r = apart(at + 3 * j, at + 3 * i);
        const nrw_vec3 force = motion->own_moments
                                   ? nrw_dipole_force_pN(nrw_vec3_scale(vector(u + 3 * j), m),
                                                         nrw_vec3_scale(vector(u + 3 * i), m), r)
                                   : nrw_averaged_force_pN(motion->tensor, r);
        sum = nrw_vec3_add(sum, force);
    }
    return sum;
}

static nrw_vec3 spin_of(const reference_motion *motion, nrw_vec3 torque, double z)
{
    const nrw_floor_mobility mobility = mobility_at(motion->body, z);
    const double drag = motion->body->spin_drag_pN_um_s;
    return (nrw_vec3){torque.x * mobility.mr / drag, torque.y * mobility.mr / drag,
                      torque.z * mobility.ms / drag};
}

static nrw_vec3 pair_flow(const reference_motion *motion, const double *at, const nrw_vec3 *torques,
                          size_t i)
{
    nrw_vec3 sum = {0.0, 0.0, 0.0};
    const nrw_body *body = motion->body;
    for (size_t j = 0; j < motion->n; j++) {
        if (j == i)
            continue;
        nrw_vec3 r = apart(at + 3 * j, at + 3 * i);
        nrw_vec3 flow;
        if (body->has_floor) {
            r.z = at[3 * i + 2];
            flow = nrw_rotlet_floor_faxen_um_s(torques[j], at[3 * j + 2], body->radius_um, r,
                                               body->viscosity_Pa_s);
        } else {
            flow = nrw_rotlet_unbounded_um_s(torques[j], r, body->viscosity_Pa_s);
        }
        sum = nrw_vec3_add(sum, nrw_vec3_scale(flow, motion->pair_flow));
    }
    return sum;
}

static double layer_pN(const nrw_body *body, double z)
{
    if (!body->has_floor)
        return 0.0;
    return body->layer_amplitude_pN * exp(-(z - body->radius_um) / body->debye_um);
}

static int rates(double t, const double state[], double rate[], void *context)
{
    const reference_motion *motion = context;
    const nrw_body *body = motion->body;
    const size_t n = motion->n;
    const double *at = state, *u = state + 3 * n;
    nrw_vec3 torques[REFERENCE_MOST];
    for (size_t i = 0; i < n; i++) {
        torques[i] = motion->torque;
        if (motion->own_moments)
            torques[i] = nrw_vec3_cross(nrw_vec3_scale(vector(u + 3 * i), body->permanent_fAm2),
                                        local_field(motion, t, at, u, i));
    }
    for (size_t i = 0; i < n; i++) {
        const double z = at[3 * i + 2];
        const nrw_floor_mobility mobility = mobility_at(body, z);
        const nrw_vec3 force = pair_force(motion, at, u, i);
        const nrw_vec3 spin = spin_of(motion, torques[i], z);
        const nrw_vec3 flow = pair_flow(motion, at, torques, i);
        const double roll = mobility.rolling * body->radius_um;
        const double along = mobility.mt / body->drag_pN_s_um;
        const double across = mobility.mz / body->drag_pN_s_um;
        rate[3 * i] = along * force.x + roll * spin.y + flow.x;
        rate[3 * i + 1] = along * force.y - roll * spin.x + flow.y;
        rate[3 * i + 2] =
            across * (force.z - body->weight_pN + layer_pN(body, z)) + mobility.mz * flow.z;
        if (motion->own_moments) {
            const nrw_vec3 turn = nrw_vec3_cross(spin, vector(u + 3 * i));
            rate[3 * n + 3 * i] = turn.x;
            rate[3 * n + 3 * i + 1] = turn.y;
            rate[3 * n + 3 * i + 2] = turn.z;
        }
    }
    return GSL_SUCCESS;
}

void reference_advance(const reference_motion *motion, double seconds, double (*at_um)[3],
                       double (*directions)[3])
{
    const size_t n = motion->n;
    double state[6 * REFERENCE_MOST];
    memcpy(state, at_um, 3 * n * sizeof(double));
    if (motion->own_moments)
        memcpy(state + 3 * n, directions, 3 * n * sizeof(double));
    reference_motion copy = *motion;
    gsl_odeiv2_system system = {rates, NULL, motion->own_moments ? 6 * n : 3 * n, &copy};
    gsl_odeiv2_driver *driver =
        gsl_odeiv2_driver_alloc_y_new(&system, gsl_odeiv2_step_rk8pd, 1e-4, 1e-11, 1e-9);
    double t = 0.0;
    const int status = gsl_odeiv2_driver_apply(driver, &t, seconds, state);
    gsl_odeiv2_driver_free(driver);
    cr_assert_eq(status, GSL_SUCCESS);
    memcpy(at_um, state, 3 * n * sizeof(double));
    if (motion->own_moments)
        memcpy(directions, state + 3 * n, 3 * n * sizeof(double));
}

double reference_energy(const reference_motion *motion, const double (*at_um)[3])
{
    const nrw_body *body = motion->body;
    double energy = 0.0;
    for (size_t i = 0; i < motion->n; i++) {
        energy += body->weight_pN * at_um[i][2] + body->debye_um * layer_pN(body, at_um[i][2]);
        for (size_t j = 0; j < i; j++)
            energy += nrw_averaged_energy_pN_um(motion->tensor, apart(at_um[j], at_um[i]));
    }
    return energy;
}
