/* The doublets of a world: made, kept, gone back to, placed. */
#include "doublet_world.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "particle.h"

enum { PAIRS_PER_BODY = 32, CONTACTS_PER_BODY = 40, LEAST = 64 };

static void lay_out(nrw_doublets *d, size_t n)
{
    nrw_arena *arena = &d->arena;
    const size_t lobes = (2 * n + NRW_LANES - 1) / NRW_LANES * NRW_LANES;
    d->axes = nrw_arena_take(arena, n, sizeof *d->axes);
    d->kept_axes = nrw_arena_take(arena, n, sizeof *d->kept_axes);
    d->moved = nrw_arena_take(arena, 2 * n, sizeof *d->moved);
    d->kept_moved = nrw_arena_take(arena, 2 * n, sizeof *d->kept_moved);
    d->bodies = nrw_arena_take(arena, n, sizeof *d->bodies);
    double **of_lobes[] = {&d->lobe_x, &d->lobe_y, &d->lobe_z,
                           &d->seen_x, &d->seen_y, &d->seen_wall};
    for (size_t k = 0; k < sizeof of_lobes / sizeof *of_lobes; k++)
        *of_lobes[k] = nrw_arena_take(arena, 2 * n, sizeof(double));
    double **references[] = {&d->ref_x, &d->ref_y, &d->ref_z};
    for (size_t k = 0; k < 3; k++)
        *references[k] = nrw_arena_take(arena, n, sizeof(double));
    d->pairs_capacity = PAIRS_PER_BODY * n + LEAST;
    d->pairs = nrw_arena_take(arena, d->pairs_capacity, sizeof *d->pairs);
    d->contacts_capacity = CONTACTS_PER_BODY * n + LEAST;
    d->contacts = nrw_arena_take(arena, d->contacts_capacity, sizeof *d->contacts);
    float *places[3],
        **out[] = {&d->dipoles.fx, &d->dipoles.fy, &d->dipoles.fz, &d->dipoles.bx, &d->dipoles.by,
                   &d->dipoles.bz, &d->mx,         &d->my,         &d->mz};
    for (size_t k = 0; k < 3; k++)
        places[k] = nrw_arena_take(arena, lobes, sizeof(float));
    for (size_t k = 0; k < sizeof out / sizeof *out; k++)
        *out[k] = nrw_arena_take(arena, lobes, sizeof(float));
    d->dipoles.n = lobes;
    d->dipoles.n_filled = 2 * n;
    d->dipoles.x = places[0];
    d->dipoles.y = places[1];
    d->dipoles.z = places[2];
    d->dipoles.mx = d->mx;
    d->dipoles.my = d->my;
    d->dipoles.mz = d->mz;
}

/* Axes in the plane: a permanent moment keeps its drawn or given heading. */
static void set_axes(nrw_world *world)
{
    const nrw_particles *particles = &world->scenario->particles;
    const bool across =
        particles->kind == NRW_MOMENT_PERMANENT && particles->shape.moment == NRW_MOMENT_ACROSS;
    for (size_t i = 0; i < world->n; i++) {
        const nrw_vec3 u = {world->ux[i], world->uy[i], 0.0};
        world->doublets->axes[i] = across ? (nrw_vec3){-u.y, u.x, 0.0} : u;
    }
}

nrw_status nrw_doublets_create(nrw_world *world, nrw_errors *errors)
{
    const nrw_scenario *scenario = world->scenario;
    const size_t n = world->n;
    nrw_doublets *d = calloc(1, sizeof *d);
    world->doublets = d;
    bool good = d != NULL;
    if (good) {
        lay_out(d, n);
        good = nrw_arena_commit(&d->arena) && nrw_cell_grid_init(&d->grid, n);
    }
    if (!good)
        return nrw_errors_add(errors, NRW_NO_MEMORY, "", "no memory for %zu doublets", n);
    lay_out(d, n);
    const nrw_doublet_shape shape = nrw_doublet_shape_of(scenario->particles.shape.aspect);
    d->medium = (nrw_doublet_medium){shape, world->body.viscosity_Pa_s, world->rolling_factor,
                                     world->body.has_floor};
    d->lag_s = scenario->particles.kind == NRW_MOMENT_INDUCED ? world->body.relaxation_s : 0.0;
    const double lobe = shape.lobe * world->body.radius_um;
    double debye;
    nrw_double_layer_parameters(scenario, 2.0 * lobe, &d->layer_pN, &debye);
    d->layer_pN *= shape.floor_share;
    d->dipoles.core2 = (float)pow(1.8 * lobe, 2.0);
    float *far[2] = {(float *)d->dipoles.x, (float *)d->dipoles.y};
    for (size_t row = 2 * n; row < d->dipoles.n; row++)
        far[0][row] = far[1][row] = NRW_FAR_AWAY_UM;
    for (size_t lobe_k = 0; lobe_k < 2 * n; lobe_k++)
        d->seen_wall[lobe_k] = -INFINITY;
    for (size_t i = 0; i < n; i++) {
        d->bodies[i].radius = (double)world->radius[i];
        world->contacts.order[i] = (uint32_t)i; /* rows of doublets are their numbers */
    }
    set_axes(world);
    return NRW_OK;
}

void nrw_doublets_destroy(nrw_doublets *doublets)
{
    if (!doublets)
        return;
    nrw_cell_grid_clear(&doublets->grid);
    nrw_arena_clear(&doublets->arena);
    free(doublets);
}

void nrw_doublets_keep(nrw_world *world)
{
    nrw_doublets *d = world->doublets;
    memcpy(d->kept_axes, d->axes, world->n * sizeof *d->axes);
    memcpy(d->kept_moved, d->moved, 2 * world->n * sizeof *d->moved);
}

void nrw_doublets_go_back(nrw_world *world)
{
    nrw_doublets *d = world->doublets;
    memcpy(d->axes, d->kept_axes, world->n * sizeof *d->axes);
    memcpy(d->moved, d->kept_moved, 2 * world->n * sizeof *d->moved);
    d->listed = false;
}

double nrw_doublets_reach_um(const nrw_world *world, size_t i)
{
    const nrw_doublet_shape *shape = &world->doublets->medium.shape;
    return (shape->lobe + shape->half) * (double)world->radius[i];
}

void nrw_doublets_place_lobes(nrw_world *world)
{
    nrw_doublets *d = world->doublets;
    for (size_t i = 0; i < world->n; i++) {
        const nrw_vec3 arm =
            nrw_vec3_scale(d->axes[i], d->medium.shape.half * (double)world->radius[i]);
        d->lobe_x[2 * i] = world->x[i] + arm.x;
        d->lobe_y[2 * i] = world->y[i] + arm.y;
        d->lobe_z[2 * i] = world->z[i] + arm.z;
        d->lobe_x[2 * i + 1] = world->x[i] - arm.x;
        d->lobe_y[2 * i + 1] = world->y[i] - arm.y;
        d->lobe_z[2 * i + 1] = world->z[i] - arm.z;
    }
}

static nrw_status check_lobe(const nrw_world *world, size_t k, nrw_errors *errors)
{
    const nrw_doublets *d = world->doublets;
    const double lobe = d->medium.shape.lobe * (double)world->radius[k / 2];
    if (nrw_channel_distance_um(world->channel, d->lobe_x[k], d->lobe_y[k], NULL) < 0.0)
        return nrw_errors_add(errors, NRW_BAD_INPUT, "every particle in the channel",
                              "a lobe of particles.positions_um[%zu] (%.6g, %.6g) lies in a wall",
                              k / 2, d->lobe_x[k], d->lobe_y[k]);
    if (world->body.has_floor &&
        (d->lobe_z[k] < lobe || d->lobe_z[k] > world->scenario->map.depth_um - lobe))
        return nrw_errors_add(errors, NRW_BAD_INPUT,
                              "lobes that lie between the floor and the ceiling",
                              "particles.positions_um[%zu] has z = %.6g µm, but its lobes have a "
                              "radius of %.6g µm",
                              k / 2, world->z[k / 2], lobe);
    return NRW_OK;
}

nrw_status nrw_doublets_check_positions(nrw_world *world, nrw_errors *errors)
{
    const nrw_doublets *d = world->doublets;
    nrw_doublets_place_lobes(world);
    for (size_t k = 0; k < 2 * world->n; k++) {
        nrw_status status = check_lobe(world, k, errors);
        for (size_t l = 0; status == NRW_OK && l < k / 2 * 2; l++) {
            const nrw_vec3 r = {d->lobe_x[k] - d->lobe_x[l], d->lobe_y[k] - d->lobe_y[l],
                                d->lobe_z[k] - d->lobe_z[l]};
            const double touch = d->medium.shape.lobe *
                                 ((double)world->radius[k / 2] + (double)world->radius[l / 2]);
            if (nrw_vec3_norm(r) < 0.9 * touch)
                status = nrw_errors_add(errors, NRW_BAD_INPUT, "particles that don't overlap",
                                        "lobes of particles.positions_um[%zu] and [%zu] are %.4g "
                                        "µm apart, closer than they touch (%.4g µm)",
                                        l / 2, k / 2, nrw_vec3_norm(r), touch);
        }
        if (status != NRW_OK)
            return status;
    }
    return NRW_OK;
}

void nrw_doublets_measure(nrw_world *world, nrw_morphology_work *work, double *radii_um,
                          double smallest_visible_um2, nrw_morphology *seen, uint8_t *marks)
{
    const nrw_doublets *d = world->doublets;
    nrw_morphology lobes;
    nrw_doublets_place_lobes(world);
    for (size_t i = world->n; i-- > 0;)
        radii_um[2 * i] = radii_um[2 * i + 1] = d->medium.shape.lobe * radii_um[i];
    nrw_morphology_measure(work, world->channel, 2 * world->n, d->lobe_x, d->lobe_y, d->lobe_z,
                           radii_um, smallest_visible_um2, &lobes, marks);
    for (size_t i = 0; i < world->n; i++)
        marks[i] = marks[2 * i]; /* a body's lobes are always joined */
    seen->largest_cluster_fraction = lobes.largest_cluster_fraction;
    seen->visible_area_um2 = lobes.visible_area_um2;
    seen->visible = lobes.visible;
}

void nrw_doublets_axis(const nrw_world *world, size_t i, float axis[3])
{
    const nrw_vec3 a = world->doublets->axes[i];
    axis[0] = (float)a.x;
    axis[1] = (float)a.y;
    axis[2] = (float)a.z;
}

nrw_vec3 nrw_doublets_moment(const nrw_world *world, size_t i)
{
    return world->doublets->bodies[i].moment;
}
