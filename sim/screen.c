#include "screen.h"

#include <math.h>

/* A particle looks again how far the walls are once it has moved by this share of the
 * distance to the nearest; in between, distances change along the gradient. */
#define LOOK_AGAIN 0.2
#define LOOK_LEAST_UM 0.2
/* Walls farther across than this many radii are as if there were none. */
#define ACROSS_MOST 400.0

double nrw_screen_share(double near_um, double far_um, double height_um)
{
    const double twice = 2.0 * height_um, width = near_um + far_um;
    if (!(near_um > 0.0) || !(far_um > 0.0))
        return 0.0;
    if (isinf(near_um))
        return 1.0;
    const double free = atan(near_um / twice) + atan(far_um / twice);
    const double walls = isinf(far_um)
                             ? atan(near_um / twice)
                             : atan(sin(NRW_PI * near_um / width) / sinh(NRW_PI * twice / width));
    return 2.0 * walls / free;
}

/* Distance to the wall across, from a point along the direction away from the nearest. */
static double look_across(const nrw_world *world, double x, double y, const double away[2],
                          double first)
{
    const double most = ACROSS_MOST * world->body.radius_um;
    double t = first;
    for (int k = 0; k < 64 && t < most; k++) {
        const double step =
            nrw_channel_distance_um(world->channel, x + t * away[0], y + t * away[1], NULL);
        if (step < 0.05)
            break;
        t += step;
    }
    return fmin(t, most);
}

static void look(nrw_world *world, nrw_wall_view *view, double x, double y)
{
    view->x = x;
    view->y = y;
    view->near = nrw_channel_distance_um(world->channel, x, y, view->away);
    view->far = look_across(world, x, y, view->away, fmax(view->near, 0.0));
}

bool nrw_walls_look(nrw_world *world)
{
    if (nrw_channel_is_open(world->channel))
        return false;
    for (size_t row = 0; row < world->n; row++) {
        const size_t i = world->contacts.order[row];
        nrw_wall_view *view = &world->views[i];
        double dx = world->x[i] - view->x, dy = world->y[i] - view->y;
        const double still = fmax(LOOK_AGAIN * view->near, LOOK_LEAST_UM);
        if (!(dx * dx + dy * dy <= still * still)) {
            look(world, view, world->x[i], world->y[i]);
            dx = dy = 0.0;
        }
        const double moved = dx * view->away[0] + dy * view->away[1];
        world->wall_near[row] = (float)(view->near + moved);
        world->wall_far[row] = (float)(view->far - moved);
    }
    return true;
}

void nrw_screen_take(nrw_world *world)
{
    world->rows.share = NULL;
    if (nrw_channel_is_open(world->channel) || !world->body.has_floor ||
        !world->scenario->model.wall_screening || !(world->pair_flow_factor > 0.0) || world->n < 2)
        return;
    nrw_kernels_get()->screen(&world->rows);
    world->rows.share = world->share;
}
