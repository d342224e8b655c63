#include "world.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "cell_grid.h"
#include "doublet_world.h"
#include "flow.h"
#include "mutual.h"
#include "pair_sum.h"
#include "particle.h"
#include "random.h"
#include "scenario_locate.h"
#include "world_layout.h"
#include "world_order.h"

double nrw_world_rest_height_um(const nrw_world *world, double radius_um)
{
    if (!world->body.has_floor)
        return 0.0;
    /* with gravity off there is no balance to rest in: start at the roughness plus
     * ten screening lengths, out of the repulsion */
    double gap = world->body.gap_um;
    if (!isfinite(gap))
        gap = world->body.roughness_um + 10.0 * world->body.debye_um;
    /* doublets lie on both lobes */
    return (world->doublets ? world->doublets->medium.shape.lobe : 1.0) * radius_um + gap;
}

/* Log-normal factor with mean 1 and the given coefficient of variation. */
static double log_normal(double cv, double normal)
{
    double sigma2 = log1p(cv * cv);
    return exp(sqrt(sigma2) * normal - 0.5 * sigma2);
}

static void draw_particles(nrw_world *world)
{
    const nrw_particles *particles = &world->scenario->particles;
    for (size_t i = 0; i < world->n; i++) {
        double normals[4];
        nrw_normal4(world->seed, NRW_STREAM_START, (uint32_t)i, 1, normals);
        double size = log_normal(particles->diameter_cv, normals[0]);
        double radius = world->body.radius_um * size;
        world->radius[i] = (float)radius;
        world->inverse_drag[i] =
            (float)(1.0 / (6.0 * NRW_PI * world->body.viscosity_Pa_s * radius));
        /* a moment goes with the magnetic volume */
        double moment = size * size * size;
        if (particles->kind == NRW_MOMENT_PERMANENT)
            moment *= log_normal(particles->moment_cv, normals[1]);
        world->moment[i] = (float)moment;
        if (world->radius[i] > world->largest_radius)
            world->largest_radius = world->radius[i];
        double angle = 2.0 * NRW_PI * nrw_uniform(world->seed, NRW_STREAM_START, (uint32_t)i, 2);
        if (particles->moments_deg)
            angle = particles->moments_deg[i] * NRW_DEGREE;
        world->ux[i] = cos(angle);
        world->uy[i] = sin(angle);
    }
}

/* An error at a given position, or what is wrong with its drawn size. */
static nrw_status refuse_position(const nrw_world *world, size_t i, const char *expected,
                                  nrw_errors *errors, const char *what, ...)
    __attribute__((format(printf, 5, 6)));

static nrw_status refuse_position(const nrw_world *world, size_t i, const char *expected,
                                  nrw_errors *errors, const char *what, ...)
{
    const char *path = world->scenario->path;
    const size_t first = errors ? errors->n_items : 0;
    char key[64], text[256];
    va_list arguments;
    va_start(arguments, what);
    (void)vsnprintf(text, sizeof text, what, arguments);
    va_end(arguments);
    (void)snprintf(key, sizeof key, "particles.positions_um[%zu]", i);
    const nrw_status status =
        nrw_errors_add_at(errors, NRW_BAD_INPUT, path ? path : "", 0, 0, key, expected, "%s", text);
    nrw_scenario_locate(world->scenario, errors, first);
    return status;
}

/* What the readers could not know: the drawn sizes, and the places that walls and
 * heights have by now. */
/* The first particle before i that lies in it by more than a tenth of where they touch; i:
 * none does. */
static size_t first_overlap(const nrw_world *world, const nrw_cell_grid *grid, size_t i,
                            double *apart)
{
    nrw_cell_range ranges[NRW_CELL_BLOCK];
    const size_t n = nrw_cell_grid_around(grid, world->x[i], world->y[i], world->z[i], ranges);
    size_t first = i;
    for (size_t r = 0; r < n; r++)
        for (uint32_t item = ranges[r].begin; item < ranges[r].end; item++) {
            const size_t j = grid->items[item];
            const double dx = world->x[i] - world->x[j], dy = world->y[i] - world->y[j];
            const double dz = world->z[i] - world->z[j], r2 = dx * dx + dy * dy + dz * dz;
            const double touch = (double)(world->radius[i] + world->radius[j]);
            if (j >= first || !(sqrt(r2) < 0.9 * touch))
                continue;
            first = j;
            *apart = sqrt(r2);
        }
    return first;
}

static nrw_status check_positions(const nrw_world *world, const nrw_cell_grid *grid,
                                  nrw_errors *errors)
{
    const double depth = world->scenario->map.depth_um;
    for (size_t i = 0; i < world->n; i++) {
        const double radius = (double)world->radius[i], z = world->z[i];
        const double distance =
            nrw_channel_distance_um(world->channel, world->x[i], world->y[i], NULL);
        if (distance < 0.0)
            return refuse_position(world, i, "a place in the channel", errors,
                                   "(%.6g, %.6g) lies %.3g µm inside a wall", world->x[i],
                                   world->y[i], -distance);
        if (world->body.has_floor && z < radius)
            return refuse_position(world, i, "a centre at least one radius above the floor", errors,
                                   "has z = %.6g µm, but the radius is %.6g µm", z, radius);
        if (z > depth - radius)
            return refuse_position(world, i, "a centre at least one radius below the ceiling",
                                   errors, "has z = %.6g µm in a channel %.6g µm deep", z, depth);
        double apart = 0.0;
        const size_t j = first_overlap(world, grid, i, &apart);
        if (j < i)
            return refuse_position(world, i, "particles that don't overlap", errors,
                                   "overlaps position %zu: they are %.4g µm apart, and touch "
                                   "at %.4g µm",
                                   j, apart, radius + (double)world->radius[j]);
    }
    return NRW_OK;
}

static nrw_status check_given_positions(const nrw_world *world, nrw_errors *errors)
{
    nrw_cell_grid grid;
    if (!nrw_cell_grid_init(&grid, world->n))
        return nrw_errors_add(errors, NRW_NO_MEMORY, "", "no memory for %zu particles", world->n);
    nrw_cell_grid_sort(&grid, world->n, world->x, world->y, world->z,
                       2.0 * (double)world->largest_radius);
    const nrw_status status = check_positions(world, &grid, errors);
    nrw_cell_grid_clear(&grid);
    return status;
}

/* A particle that was drawn larger than the channel is deep has no place in it. */
static nrw_status check_sizes(const nrw_world *world, nrw_errors *errors)
{
    const nrw_scenario *scenario = world->scenario;
    const double largest = 2.0 * (double)world->largest_radius;
    const size_t first = errors ? errors->n_items : 0;
    if (largest < scenario->map.depth_um)
        return NRW_OK;
    const nrw_status status =
        nrw_errors_add_at(errors, NRW_BAD_INPUT, scenario->path ? scenario->path : "", 0, 0,
                          "particles.diameter_cv", "a smaller spread or a deeper channel",
                          "a particle of %.4g µm was drawn for a channel %.4g µm deep", largest,
                          scenario->map.depth_um);
    nrw_scenario_locate(scenario, errors, first);
    return status;
}

static nrw_status place_particles(nrw_world *world, nrw_errors *errors)
{
    const nrw_scenario *scenario = world->scenario;
    const nrw_particles *particles = &scenario->particles;
    const nrw_status sizes = check_sizes(world, errors);
    if (sizes != NRW_OK)
        return sizes;
    if (particles->positions_um) {
        for (size_t i = 0; i < world->n; i++) {
            world->x[i] = particles->positions_um[i][0];
            world->y[i] = particles->positions_um[i][1];
            double z = particles->positions_um[i][2];
            world->z[i] = isnan(z) ? nrw_world_rest_height_um(world, (double)world->radius[i]) : z;
        }
        return world->doublets ? nrw_doublets_check_positions(world, errors)
                               : check_given_positions(world, errors);
    }
    double largest = (double)world->largest_radius;
    for (size_t i = 0; world->doublets && i < world->n; i++)
        largest = fmax(largest, nrw_doublets_reach_um(world, i));
    const double apart = 2.04 * largest;
    if (!nrw_place_in_circle(world->channel, scenario->release.at_um, scenario->release.radius_um,
                             apart, largest, world->seed, world->n, world->x, world->y))
        return nrw_errors_add(
            errors, NRW_REFUSED, "a larger release.radius_um or fewer particles",
            "%zu particles of up to %.3g µm don't fit in one layer into the release "
            "circle of radius %.4g µm (about %.4g µm is needed)",
            world->n, 2.0 * largest, scenario->release.radius_um,
            0.5 * apart * (1.1 * sqrt((double)world->n) + 1.0));
    for (size_t i = 0; i < world->n; i++)
        world->z[i] = nrw_world_rest_height_um(world, (double)world->radius[i]);
    return NRW_OK;
}

static nrw_status allocate(nrw_world *world, nrw_errors *errors)
{
    nrw_world_lay_out(world);
    if (!nrw_arena_commit(&world->arena))
        return nrw_errors_add(errors, NRW_NO_MEMORY, "", "no memory for %zu particles", world->n);
    nrw_world_lay_out(world);
    if (!nrw_block_tree_init(&world->contacts.tree, world->n))
        return nrw_errors_add(errors, NRW_NO_MEMORY, "", "no memory for %zu particles", world->n);
    if (world->n >= NRW_PAIR_SUM_FAR_LEAST && !nrw_far_field_init(&world->far, world->n))
        return nrw_errors_add(errors, NRW_NO_MEMORY, "", "no memory for %zu particles", world->n);
    for (size_t row = world->n; row < world->padded; row++)
        world->fx0[row] = world->fy0[row] = NRW_FAR_AWAY_UM;
    for (size_t i = 0; i < world->n; i++) {
        world->ids[i] = (uint32_t)i;
        world->seen_wall[i] = -INFINITY;
        world->views[i].x = NAN;
    }
    nrw_pair_task *task = &world->task;
    task->n = world->padded;
    task->n_filled = world->n;
    task->x = world->fx0;
    task->y = world->fy0;
    task->z = world->fz0;
    task->moment = world->row_moment;
    task->mx = world->own_mx;
    task->my = world->own_my;
    task->mz = world->own_mz;
    return NRW_OK;
}

nrw_status nrw_world_create(const nrw_scenario *scenario, const nrw_channel *channel,
                            const nrw_draw *draw, uint64_t seed, size_t count, bool own_moments,
                            nrw_world **out, nrw_errors *errors)
{
    *out = NULL;
    nrw_world *world = calloc(1, sizeof *world);
    if (!world)
        return nrw_errors_add(errors, NRW_NO_MEMORY, "", "no memory for a run");
    world->scenario = scenario;
    world->channel = channel;
    world->seed = seed;
    world->n = world->n_made = count;
    world->padded = (count + NRW_LANES - 1) / NRW_LANES * NRW_LANES;
    world->own_moments = own_moments || scenario->model.mutual_induction;
    world->body = nrw_body_of(scenario, draw);
    world->rolling_factor = scenario->model.rolling_factor * draw->rolling;
    world->pair_flow_factor =
        scenario->model.pair_flow ? scenario->model.pair_flow_factor * draw->pair_flow : 0.0;
    world->brake_factor = scenario->model.contact_brake_factor;
    nrw_status status = allocate(world, errors);
    if (status == NRW_OK) {
        draw_particles(world);
        if (scenario->particles.shape.doublet)
            status = nrw_doublets_create(world, errors);
        else if (scenario->model.mutual_induction)
            status = nrw_mutual_create(world, errors);
    }
    if (status == NRW_OK) {
        world->task.core2 = (float)pow(1.8 * world->body.radius_um, 2.0);
        nrw_world_wire(world);
        world->task.radius2 = (float)pow(world->body.radius_um, 2.0);
        status = place_particles(world, errors);
    }
    if (status != NRW_OK) {
        nrw_world_destroy(world);
        return status;
    }
    for (size_t i = 0; i < world->n; i++)
        world->ceiling[i] = (float)(scenario->map.depth_um - (double)world->radius[i]);
    *out = world;
    return NRW_OK;
}

void nrw_world_take_out(nrw_world *world)
{
    const nrw_flow *flow = nrw_channel_flow(world->channel);
    const size_t before = world->n;
    for (size_t i = world->n; flow && i-- > 0;)
        if (nrw_flow_end_passed(flow, world->x[i], world->y[i]) >= 0)
            nrw_world_swap(world, i, --world->n);
    if (world->n == before)
        return;
    /* the rows are laid anew, for fewer */
    world->contacts.n = world->n;
    world->contacts.valid = false;
}

void nrw_world_destroy(nrw_world *world)
{
    if (!world)
        return;
    nrw_doublets_destroy(world->doublets);
    nrw_mutual_destroy(world->mutual);
    nrw_contacts_clear(&world->contacts);
    nrw_far_field_clear(&world->far);
    nrw_arena_clear(&world->arena);
    free(world);
}

void nrw_world_drive_changed(nrw_world *world)
{
    world->has_old_velocity = false;
}

void nrw_world_keep(nrw_world *world)
{
    const double *const now[6] = {world->x, world->y, world->z, world->ux, world->uy, world->uz};
    for (int k = 0; k < 6; k++)
        memcpy(world->kept[k], now[k], world->n * sizeof(double));
    if (world->doublets)
        nrw_doublets_keep(world);
    world->kept_time_s = world->time_s;
    world->kept_overlap = world->largest_overlap;
}

void nrw_world_go_back(nrw_world *world)
{
    double *const now[6] = {world->x, world->y, world->z, world->ux, world->uy, world->uz};
    for (int k = 0; k < 6; k++)
        memcpy(now[k], world->kept[k], world->n * sizeof(double));
    if (world->doublets)
        nrw_doublets_go_back(world);
    world->time_s = world->kept_time_s;
    world->largest_overlap = world->kept_overlap;
    world->has_old_velocity = false;
    float *const moved[3] = {world->moved_x, world->moved_y, world->moved_z};
    for (int k = 0; k < 3; k++)
        memset(moved[k], 0, world->n * sizeof(float));
    /* the list was made for other places; noise goes on with fresh numbers */
    world->contacts.valid = false;
}
