#include "adhesion.h"

#include <math.h>

#include "random.h"

/* What is left of a stuck particle's mobility: a billionth would do, but the solvers take
 * logarithms of it. */
#define STUCK_MOBILITY 1e-6f
/* As in step.c: the distance grid's slopes exceed 1 by less than this makes of a step. */
#define WALL_ERROR_UM 0.02

bool nrw_adhesion_acts(const nrw_world *world)
{
    return world->scenario->particles.adhesion_rate_per_s > 0.0 &&
           !nrw_channel_is_open(world->channel);
}

void nrw_adhesion_hold_places(nrw_world *world)
{
    for (size_t row = 0; row < world->n; row++) {
        if (!world->stuck[world->contacts.order[row]])
            continue;
        world->along[row] *= STUCK_MOBILITY;
        world->across[row] *= STUCK_MOBILITY;
    }
}

void nrw_adhesion_hold_spins(nrw_world *world)
{
    for (size_t row = 0; row < world->n; row++) {
        if (!world->stuck[world->contacts.order[row]])
            continue;
        float *spin = world->spins + nrw_four_of(row);
        spin[0] = spin[1] = spin[2] = 0.0f;
        world->spin_x[row] = world->spin_y[row] = world->spin_z[row] = 0.0f;
        world->qx[row] = world->qy[row] = world->tz[row] = 0.0f;
    }
}

void nrw_adhesion_hold_velocities(nrw_world *world)
{
    for (size_t row = 0; row < world->n; row++)
        if (world->stuck[world->contacts.order[row]])
            world->base_x[row] = world->base_y[row] = world->base_z[row] = 0.0f;
}

/* Distance from a particle's surface to the nearest side wall, and the direction away from
 * it; NAN where it can't be within `reach`. */
static double wall_gap(const nrw_world *world, size_t i, double reach, double away[2])
{
    const double a = (double)world->radius[i];
    const double dx = world->x[i] - world->seen_x[i], dy = world->y[i] - world->seen_y[i];
    if (world->seen_wall[i] - sqrt(dx * dx + dy * dy) - WALL_ERROR_UM > a + reach)
        return NAN;
    return nrw_channel_distance_um(world->channel, world->x[i], world->y[i], away) - a;
}

/* Force on a row's particle that its bond with the wall must hold: dipoles, contacts and
 * the drag of the fluid that passes it, without what presses it against the wall. Weight
 * and floor carry each other. */
static double pull_pN(const nrw_world *world, size_t row, const double away[2])
{
    const nrw_pair_task *task = &world->task;
    const nrw_near_task *near = &world->near;
    const double k = world->scenario->model.contact_stiffness_pN_um;
    const double drag = 1.0 / (double)(world->mt[row] * world->row_inverse_drag[row]);
    const double share = world->rows.share ? (double)world->rows.share[row] : 1.0;
    const bool apart = !world->own_moments; /* dipoles of close neighbours stand apart */
    const double fx = (double)task->fx[row] + (apart ? (double)near->fx[row] : 0.0) +
                      k * (double)near->warm_x[row] +
                      drag * (share * (double)task->ux[row] + (double)world->flow_x[row]);
    const double fy = (double)task->fy[row] + (apart ? (double)near->fy[row] : 0.0) +
                      k * (double)near->warm_y[row] +
                      drag * (share * (double)task->uy[row] + (double)world->flow_y[row]);
    const double fz = (double)task->fz[row] + (apart ? (double)near->fz[row] : 0.0) +
                      k * (double)near->warm_z[row];
    const double off = fx * away[0] + fy * away[1];
    const double pressing = off < 0.0 ? off : 0.0;
    const double px = fx - pressing * away[0], py = fy - pressing * away[1];
    return sqrt(px * px + py * py + fz * fz);
}

void nrw_adhesion_update(nrw_world *world, double taken_s)
{
    const nrw_particles *particles = &world->scenario->particles;
    const double reach = NRW_ADHESION_REACH * particles->diameter_um;
    const double chance = -expm1(-particles->adhesion_rate_per_s * taken_s);
    for (size_t row = 0; row < world->n; row++) {
        const size_t i = world->contacts.order[row];
        double away[2];
        const double gap = wall_gap(world, i, reach, away);
        if (world->stuck[i]) {
            /* torn off, it may stick again from the next step on */
            if (isnan(gap) || pull_pN(world, row, away) > particles->adhesion_release_pN)
                world->stuck[i] = 0;
        } else if (gap <= reach && nrw_uniform(world->seed, NRW_STREAM_STICK, world->ids[i],
                                               world->step) < chance) {
            world->stuck[i] = 1;
        }
    }
}
