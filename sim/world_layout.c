#include "world_layout.h"

#include <math.h>
#include <stddef.h>
#include <string.h>

#include "arena.h"

/* A floor gap that was given is held by a spring this much stiffer than contacts. */
#define GIVEN_GAP_STIFFNESS 100.0

/* Where the world keeps its arrays: by particle, in double precision, */
static const size_t BY_PARTICLE[] = {
    offsetof(nrw_world, x),       offsetof(nrw_world, y),       offsetof(nrw_world, z),
    offsetof(nrw_world, ux),      offsetof(nrw_world, uy),      offsetof(nrw_world, uz),
    offsetof(nrw_world, field_x), offsetof(nrw_world, field_y), offsetof(nrw_world, field_z),
    offsetof(nrw_world, seen_x),  offsetof(nrw_world, seen_y),  offsetof(nrw_world, seen_wall)};

/* by row, in single precision, */
static const size_t BY_ROW[] = {offsetof(nrw_world, radius),
                                offsetof(nrw_world, moment),
                                offsetof(nrw_world, inverse_drag),
                                offsetof(nrw_world, ceiling),
                                offsetof(nrw_world, row_radius),
                                offsetof(nrw_world, row_moment),
                                offsetof(nrw_world, row_inverse_drag),
                                offsetof(nrw_world, row_ceiling),
                                offsetof(nrw_world, fx0),
                                offsetof(nrw_world, fy0),
                                offsetof(nrw_world, fz0),
                                offsetof(nrw_world, px),
                                offsetof(nrw_world, py),
                                offsetof(nrw_world, pz),
                                offsetof(nrw_world, delta),
                                offsetof(nrw_world, mt),
                                offsetof(nrw_world, mz),
                                offsetof(nrw_world, mr),
                                offsetof(nrw_world, ms),
                                offsetof(nrw_world, rolling),
                                offsetof(nrw_world, dmz),
                                offsetof(nrw_world, along),
                                offsetof(nrw_world, across),
                                offsetof(nrw_world, spin_x),
                                offsetof(nrw_world, spin_y),
                                offsetof(nrw_world, spin_z),
                                offsetof(nrw_world, flow_x),
                                offsetof(nrw_world, flow_y),
                                offsetof(nrw_world, turn_x),
                                offsetof(nrw_world, turn_y),
                                offsetof(nrw_world, turn_z),
                                offsetof(nrw_world, base_x),
                                offsetof(nrw_world, base_y),
                                offsetof(nrw_world, base_z),
                                offsetof(nrw_world, vx),
                                offsetof(nrw_world, vy),
                                offsetof(nrw_world, vz),
                                offsetof(nrw_world, sum_x),
                                offsetof(nrw_world, sum_y),
                                offsetof(nrw_world, sum_z),
                                offsetof(nrw_world, start_x),
                                offsetof(nrw_world, start_y),
                                offsetof(nrw_world, start_z),
                                offsetof(nrw_world, old_x),
                                offsetof(nrw_world, old_y),
                                offsetof(nrw_world, old_z),
                                offsetof(nrw_world, own_mx),
                                offsetof(nrw_world, own_my),
                                offsetof(nrw_world, own_mz),
                                offsetof(nrw_world, free_x),
                                offsetof(nrw_world, free_y),
                                offsetof(nrw_world, free_z),
                                offsetof(nrw_world, move_xy),
                                offsetof(nrw_world, move_z),
                                offsetof(nrw_world, floor_force),
                                offsetof(nrw_world, floor_slope),
                                offsetof(nrw_world, floor_z),
                                offsetof(nrw_world, ceiling_z),
                                offsetof(nrw_world, wall_x),
                                offsetof(nrw_world, wall_y),
                                offsetof(nrw_world, wall_gap),
                                offsetof(nrw_world, near.warm_x),
                                offsetof(nrw_world, near.warm_y),
                                offsetof(nrw_world, near.warm_z),
                                offsetof(nrw_world, near.fx),
                                offsetof(nrw_world, near.fy),
                                offsetof(nrw_world, near.fz),
                                offsetof(nrw_world, solve.ux),
                                offsetof(nrw_world, solve.uy),
                                offsetof(nrw_world, solve.uz),
                                offsetof(nrw_world, near.crowd),
                                offsetof(nrw_world, floor_give),
                                offsetof(nrw_world, wall_give),
                                offsetof(nrw_world, wall_free2),
                                offsetof(nrw_world, near.stiff),
                                offsetof(nrw_world, excess_sum),
                                offsetof(nrw_world, solve.ease_xy),
                                offsetof(nrw_world, solve.ease_z),
                                offsetof(nrw_world, solve.drag_x),
                                offsetof(nrw_world, solve.drag_y),
                                offsetof(nrw_world, solve.drag_z),
                                offsetof(nrw_world, slide_x),
                                offsetof(nrw_world, slide_y),
                                offsetof(nrw_world, slide_z),
                                offsetof(nrw_world, moved_x),
                                offsetof(nrw_world, moved_y),
                                offsetof(nrw_world, moved_z),
                                offsetof(nrw_world, wall_near),
                                offsetof(nrw_world, wall_far),
                                offsetof(nrw_world, share),
                                offsetof(nrw_world, qx),
                                offsetof(nrw_world, qy),
                                offsetof(nrw_world, tz),
                                offsetof(nrw_world, wall_slope)};

/* those of the kernels over pairs, */
static const size_t OF_PAIRS[] = {
    offsetof(nrw_world, task.fx), offsetof(nrw_world, task.fy), offsetof(nrw_world, task.fz),
    offsetof(nrw_world, task.ux), offsetof(nrw_world, task.uy), offsetof(nrw_world, task.uz),
    offsetof(nrw_world, task.bx), offsetof(nrw_world, task.by), offsetof(nrw_world, task.bz)};

/* and those that hold four numbers a row, with one row more. */
static const size_t FOUR_A_ROW[] = {
    offsetof(nrw_world, places),         offsetof(nrw_world, spins),
    offsetof(nrw_world, solve.place[0]), offsetof(nrw_world, solve.place[1]),
    offsetof(nrw_world, solve.crowded),  offsetof(nrw_world, moves)};

enum {
    N_BY_PARTICLE = sizeof BY_PARTICLE / sizeof *BY_PARTICLE,
    N_BY_ROW = sizeof BY_ROW / sizeof *BY_ROW,
    N_OF_PAIRS = sizeof OF_PAIRS / sizeof *OF_PAIRS,
    N_FOUR_A_ROW = sizeof FOUR_A_ROW / sizeof *FOUR_A_ROW
};

/* Takes n numbers from the arena for each of the pointers at these offsets. */
static void take_floats(nrw_world *world, const size_t *offsets, size_t n_offsets, size_t n)
{
    for (size_t k = 0; k < n_offsets; k++) {
        float *taken = nrw_arena_take(&world->arena, n, sizeof *taken);
        memcpy((char *)world + offsets[k], &taken, sizeof(float *));
    }
}

static void take_doubles(nrw_world *world, const size_t *offsets, size_t n_offsets, size_t n)
{
    for (size_t k = 0; k < n_offsets; k++) {
        double *taken = nrw_arena_take(&world->arena, n, sizeof *taken);
        memcpy((char *)world + offsets[k], &taken, sizeof(double *));
    }
}

static void take_rows(nrw_world *world, float **arrays, int n)
{
    for (int k = 0; k < n; k++)
        arrays[k] = nrw_arena_take(&world->arena, world->padded, sizeof(float));
}

void nrw_world_lay_out(nrw_world *world)
{
    nrw_arena *arena = &world->arena;
    const size_t n = world->n, padded = world->padded;
    take_doubles(world, BY_PARTICLE, N_BY_PARTICLE, n);
    for (int k = 0; k < 6; k++)
        world->kept[k] = nrw_arena_take(arena, n, sizeof(double));
    take_floats(world, BY_ROW, N_BY_ROW, padded);
    take_floats(world, OF_PAIRS, N_OF_PAIRS, padded);
    take_floats(world, FOUR_A_ROW, N_FOUR_A_ROW, 4 * (padded + 1));
    take_rows(world, world->task.response, 3 * NRW_N_TENSOR);
    take_rows(world, world->brake, NRW_N_TENSOR);
    take_rows(world, world->wall_mt, 3);
    take_rows(world, world->wall_scratch, 6);
    world->task.qx = world->qx;
    world->task.qy = world->qy;
    world->task.tz = world->tz;
    world->noise = nrw_arena_take(arena, 4 * padded, sizeof(float));
    world->strayed = nrw_arena_take(arena, n / NRW_CONTACT_GROUP + 1, sizeof(float));
    world->ids = nrw_arena_take(arena, n, sizeof(uint32_t));
    world->views = nrw_arena_take(arena, n, sizeof *world->views);
    world->stuck = nrw_arena_take(arena, n, sizeof *world->stuck);
    nrw_contacts_layout(&world->contacts, arena, n, n >= NRW_CONTACT_COMPACT_LEAST);
}

/* The rows' kernels: constants, and the arrays that they read and write. */
static void wire_rows(nrw_world *world)
{
    const nrw_body *body = &world->body;
    const nrw_scenario *scenario = world->scenario;
    const bool given = !isnan(body->given_gap_um);
    const nrw_pair_task *pair = &world->task;
    world->rows = (nrw_rows_task){
        .n_rows = world->padded,
        .order = world->contacts.order4,
        .radius = (float)body->radius_um,
        .weight = (float)body->weight_pN,
        .kT = scenario->model.brownian ? (float)body->kT_pN_um : 0.0f,
        .rolling_factor = (float)world->rolling_factor,
        .pair_flow_factor = (float)world->pair_flow_factor,
        .stiffness = (float)scenario->model.contact_stiffness_pN_um,
        .spin_per_torque = (float)(1.0 / body->spin_drag_pN_um_s),
        .has_floor = body->has_floor,
        .layer_amplitude = given ? 0.0f : (float)body->layer_amplitude_pN,
        .debye = (float)body->debye_um,
        .rest_gap = (float)(given ? body->given_gap_um : body->roughness_um),
        .hard = (float)(GIVEN_GAP_STIFFNESS * scenario->model.contact_stiffness_pN_um),
        .row_radius = world->row_radius,
        .row_moment = world->row_moment,
        .row_inverse_drag = world->row_inverse_drag,
        .row_ceiling =
            body->has_floor && isfinite(scenario->map.depth_um) ? world->row_ceiling : NULL,
        .mz = world->mz,
        .mr = world->mr,
        .ms = world->ms,
        .rolling = world->rolling,
        .dmz = world->dmz,
        .along = world->along,
        .across = world->across,
        .spin_x = world->spin_x,
        .spin_y = world->spin_y,
        .spin_z = world->spin_z,
        .spins = world->spins,
        .qx = world->qx,
        .qy = world->qy,
        .tz = world->tz,
        .fx = pair->fx,
        .fy = pair->fy,
        .fz = pair->fz,
        .ux = pair->ux,
        .uy = pair->uy,
        .uz = pair->uz,
        .base_x = world->base_x,
        .base_y = world->base_y,
        .base_z = world->base_z,
        .vx = world->vx,
        .vy = world->vy,
        .vz = world->vz,
        .noise = scenario->model.brownian ? world->noise : NULL,
        .warm_z = world->near.warm_z,
        .stiff = world->near.stiff,
        .excess_sum = world->excess_sum,
        .free_x = world->free_x,
        .free_y = world->free_y,
        .free_z = world->free_z,
        .move_xy = world->move_xy,
        .move_z = world->move_z,
        .floor_force = world->floor_force,
        .floor_slope = world->floor_slope,
        .floor_z = world->floor_z,
        .floor_give = world->floor_give,
        .ceiling_z = world->ceiling_z,
        .px = world->px,
        .py = world->py,
        .pz = world->pz,
        .places = world->places,
        .sum_x = world->sum_x,
        .sum_y = world->sum_y,
        .sum_z = world->sum_z,
        .start_x = world->start_x,
        .start_y = world->start_y,
        .start_z = world->start_z,
        .flow_x = world->flow_x,
        .flow_y = world->flow_y,
        .wall_near = world->wall_near,
        .wall_far = world->wall_far,
        .share_out = world->share};
    memcpy(world->rows.brake, world->brake, sizeof world->rows.brake);
    world->rows.slide_y = world->slide_y;
    world->rows.slide_z = world->slide_z;
}

/* The contact solve, which shares arrays with the rows. */
static void wire_solve(nrw_world *world)
{
    const nrw_body *body = &world->body;
    nrw_contact_solve *solve = &world->solve;
    solve->free_x = world->free_x;
    solve->free_y = world->free_y;
    solve->free_z = world->free_z;
    solve->move_xy = world->move_xy;
    solve->move_z = world->move_z;
    solve->warm_x = world->near.warm_x;
    solve->warm_y = world->near.warm_y;
    solve->warm_z = world->near.warm_z;
    solve->crowd = world->near.crowd;
    solve->n_neighbours = world->contacts.n_neighbours;
    solve->force[0] = world->contacts.force[0];
    solve->force[1] = world->contacts.force[1];
    solve->ends = world->contacts.ends;
    solve->farthest2 = world->contacts.farthest2;
    solve->reach_um = 0.02f * (float)body->diameter_um;
    solve->step = world->contacts.step;
    solve->short_step = world->contacts.short_step;
    solve->stiffness = world->rows.stiffness;
    solve->wall_y = world->wall_y;
    solve->wall_gap = world->wall_gap;
    solve->wall_give = world->wall_give;
    solve->ceiling = world->rows.row_ceiling ? world->ceiling_z : NULL;
    solve->floor_force = world->floor_force;
    solve->floor_slope = body->has_floor ? world->floor_slope : NULL;
    solve->floor_z = world->floor_z;
    solve->floor_give = world->floor_give;
    world->near.rows = solve->rows = nrw_contacts_rows(&world->contacts);
    world->near.places = world->places;
    world->near.held_ends = world->contacts.ends;
    world->near.stiffness = world->rows.stiffness;
    world->near.along = body->has_floor ? world->along : NULL;
    world->near.across = body->has_floor ? world->across : NULL;
}

void nrw_world_wire(nrw_world *world)
{
    wire_rows(world);
    wire_solve(world);
}
