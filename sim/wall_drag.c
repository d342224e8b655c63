#include "wall_drag.h"

#include <math.h>

#include "screen.h"

/* Distances that the slope of the mobility is taken over, in radii. */
#define SLOPE_OVER 0.01f

double nrw_wall_drag(double delta)
{
    return 1.0 / nrw_floor_mobility_at(nrw_floor_table_get(), delta).mt - 1.0;
}

/* mt of walls `distance` away, moved by `shift` radii, into world->wall_mt. */
static void look_up(nrw_world *world, const float *distance, float least_um, float shift, float *mt)
{
    float *delta = world->wall_scratch[0];
    for (size_t row = 0; row < world->n; row++) {
        const float a = world->row_radius[row], gap = distance[row] - a;
        delta[row] = (gap > least_um ? gap : least_um) / a + shift;
    }
    nrw_floor_mobility_array(nrw_floor_table_get(), world->n, delta, mt, world->wall_scratch[1],
                             world->wall_scratch[2], world->wall_scratch[3], world->wall_scratch[4],
                             world->wall_scratch[5]);
}

void nrw_wall_drag_take(nrw_world *world, double least_um)
{
    const bool drifts = world->scenario->model.brownian;
    float *near = world->wall_mt[0], *far = world->wall_mt[1], *near_on = world->wall_mt[2];
    look_up(world, world->wall_near, (float)least_um, 0.0f, near);
    look_up(world, world->wall_far, (float)least_um, 0.0f, far);
    if (drifts)
        look_up(world, world->wall_near, (float)least_um, SLOPE_OVER, near_on);
    for (size_t row = 0; row < world->n; row++) {
        const float added = 1.0f / near[row] - 1.0f + (1.0f / far[row] - 1.0f);
        const float per_drag = world->row_inverse_drag[row];
        const float free = world->along[row];
        world->along[row] = per_drag / (1.0f / world->mt[row] + added);
        world->across[row] = per_drag / (1.0f / world->mz[row] + added);
        world->rolling[row] *= world->along[row] / free;
        world->wall_slope[row] = 0.0f;
        /* held at the least gap by a wall that it can't pass, it does not drift */
        const float a = world->row_radius[row];
        if (!drifts || world->wall_near[row] - a <= (float)least_um)
            continue;
        const float on = 1.0f / near_on[row] - 1.0f + (1.0f / far[row] - 1.0f);
        const float along_on = per_drag / (1.0f / world->mt[row] + on);
        world->wall_slope[row] = (along_on - world->along[row]) / (SLOPE_OVER * a);
    }
}

void nrw_wall_drag_drift(nrw_world *world)
{
    if (!world->scenario->model.brownian)
        return;
    const float kT = (float)world->body.kT_pN_um;
    for (size_t row = 0; row < world->n; row++) {
        const nrw_wall_view *view = &world->views[world->contacts.order[row]];
        const float drift = kT * world->wall_slope[row];
        world->base_x[row] += drift * (float)view->away[0];
        world->base_y[row] += drift * (float)view->away[1];
    }
}
