#include "brake.h"

#include <math.h>
#include <string.h>

#include "particle.h"

double nrw_brake_touch_um(const nrw_world *world, double size2)
{
    const double d = world->body.diameter_um;
    /* with no field thermal motion alone keeps them apart, by some screening lengths */
    const double most = world->body.roughness_um + 10.0 * world->body.debye_um;
    return fmin(nrw_contact_gap_um(world->scenario, 0.15 * size2 / (d * d * d * d)), most);
}

nrw_brake_law nrw_brake_law_of(const nrw_world *world, double size2)
{
    nrw_brake_law law = {0.0f, 0.0f, 0.0f};
    if (!(world->brake_factor > 0.0))
        return law;
    const double gap = nrw_brake_touch_um(world, size2) / world->body.radius_um;
    const double excess = nrw_contact_brake(gap);
    const double end = exp(-4.0 * 0.32); /* gap over radius where ¼ ln(1/gap) = 0.32 */
    if (!(excess > 0.0))
        return law;
    law.contact = (float)(world->brake_factor * excess);
    law.reach_um = (float)((end - gap) * world->body.radius_um);
    /* nearest to the logarithm between the two, within 0.03 for excesses below 1 */
    law.bend = (float)(0.56 * exp(2.4 * excess));
    return law;
}

static void no_brakes(nrw_world *world)
{
    for (int k = 0; k < NRW_N_TENSOR; k++)
        memset(world->brake[k], 0, world->padded * sizeof(float));
    world->solve.excess_sum = NULL;
    world->rows.slide_x = NULL;
    world->rows.sliding = 0.0f;
}

static nrw_brake_task task_of(const nrw_world *world, nrw_brake_law law)
{
    nrw_brake_task task;
    memset(&task, 0, sizeof task);
    task.rows = world->near.rows;
    task.contact = law.contact;
    task.reach_um = law.reach_um;
    task.bend = law.bend;
    task.excess = world->contacts.excess;
    task.short_excess = world->contacts.short_excess;
    task.excess_sum = world->excess_sum;
    return task;
}

/* Velocities of the last step, as the kernel gathers them. */
static void take_moves(nrw_world *world)
{
    for (size_t row = 0; row < world->n; row++) {
        const size_t i = world->contacts.order[row];
        float *move = world->moves + nrw_four_of(row);
        move[0] = world->moved_x[i];
        move[1] = world->moved_y[i];
        move[2] = world->moved_z[i];
    }
}

void nrw_brakes_take(nrw_world *world, nrw_brake_law law)
{
    if (!(law.contact > 0.0f)) {
        no_brakes(world);
        return;
    }
    const bool slide = world->scenario->model.contact_sliding;
    const double drag = 4.0 * NRW_PI * world->body.viscosity_Pa_s * world->body.radius_um;
    nrw_brake_task task = task_of(world, law);
    memcpy(task.brake, world->brake, sizeof task.brake);
    if (slide) {
        take_moves(world);
        task.moves = world->moves;
        task.slide_scale = (float)(0.5 / world->body.radius_um);
        task.slide_x = world->slide_x;
        task.slide_y = world->slide_y;
        task.slide_z = world->slide_z;
        task.drag_scale = (float)drag;
        task.drag_x = world->solve.drag_x;
        task.drag_y = world->solve.drag_y;
        task.drag_z = world->solve.drag_z;
    }
    nrw_kernels_get()->brakes(&task);
    world->solve.excess = world->contacts.excess;
    world->solve.short_excess = world->contacts.short_excess;
    world->solve.excess_sum = slide ? world->excess_sum : NULL;
    world->solve.contact = law.contact;
    world->solve.drag_reach_um = law.reach_um;
    world->rows.slide_x = slide ? world->slide_x : NULL;
    world->rows.sliding = slide ? (float)drag : 0.0f;
}

void nrw_brakes_push(nrw_world *world, nrw_brake_law law)
{
    if (!(law.contact > 0.0f))
        return;
    nrw_brake_task task = task_of(world, law);
    task.spins = world->spins;
    task.strength =
        (float)(4.0 * NRW_PI * world->body.viscosity_Pa_s * pow(world->body.radius_um, 2.0));
    task.fx = world->task.fx;
    task.fy = world->task.fy;
    task.fz = world->task.fz;
    nrw_kernels_get()->friction(&task);
}

void nrw_brakes_remember(nrw_world *world, double taken_s)
{
    const float per_s = taken_s > 0.0 ? (float)(1.0 / taken_s) : 0.0f;
    for (size_t row = 0; row < world->n; row++) {
        const size_t i = world->contacts.order[row];
        world->moved_x[i] = per_s * world->sum_x[row];
        world->moved_y[i] = per_s * world->sum_y[row];
        world->moved_z[i] = per_s * world->sum_z[row];
    }
}
