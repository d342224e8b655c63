/* One step of the world: prepare → spin → forces → substeps of (near dipoles →
 * move → store).
 *
 * Smooth forces of all pairs (dipoles, pair flow) are evaluated once a step; the
 * dipole forces of close neighbours, which are stiff and change quickest, anew at
 * each substep (multiple time steps: Tuckerman, Berne & Martyna 1992). Contacts,
 * side walls, floor and ceiling are implicit in each substep (contact.h).
 * docs/physics.md, section 6. */
#include <math.h>
#include <string.h>

#include "adhesion.h"
#include "brake.h"
#include "doublet_world.h"
#include "flow.h"
#include "mutual.h"
#include "own_moment.h"
#include "pair_sum.h"
#include "particle.h"
#include "random.h"
#include "screen.h"
#include "stray.h"
#include "wall_drag.h"
#include "world.h"
#include "world_order.h"

/* Error rule, ½ h² |Δv/Δt| as a share of a diameter. In a substep typically (peaks.h) at most the
 * first, and for nobody more than the second; in a step of own moments for nobody more than the
 * first. Of what else is held over a step for nobody more than the second, and in root mean square
 * over the particles at most the third: what all share adds up. */
#define ACCELERATION_ERROR 0.1
#define ACCELERATION_ERROR_MOST 0.2
#define HELD_ERROR 0.0125
/* Nobody may move farther in the plane than this share of a diameter in one substep, noise
 * aside, nor with it than so many. */
#define MOVE_MAX 0.5
#define FARTHEST 2.0
/* ... nor does the channel's flow carry one farther in one step, and in a substep, in
 * diameters. */
#define CARRY_MAX 1.0
#define CARRY_SUBSTEP_MAX 0.4
/* Steps shorter than this share of the wanted one mean that it diverges. */
#define STEP_SHRINK_MAX 256.0
/* Overlap of two particles, as a share of their distance, beyond which the state
 * is not trusted; stiff contacts stay below 0.03. */
#define OVERLAP_MAX 0.25
/* Sweeps of the contact solve: at least so many, until none moves a particle by
 * more than this share of a diameter. */
#define LEAST_SWEEPS 2
#define SWEEP_TOLERANCE 2e-3f
/* Pairs that may come to touch in a substep are closer than this share of a
 * diameter: all that are listed. */
#define CANDIDATE_SHARE 0.5f
/* Longest substep times mobility times the stiffness that the dipoles of close neighbours give
 * a particle, typically, and for the stiffest of a large swarm. Beyond 2.5 standing sheets of a
 * tilted swarm begin to bounce. Drag against sliding, which is implicit, damps such motions: the
 * mobility is the one that it leaves. */
#define STABLE_SHARE 1.6
#define STABLE_SHARE_MOST 2.2

/* The same for own moments with the scale of a single pair, 0.3 ⟨m²⟩/d⁵. */
#define OWN_STABLE_SHARE 0.17

/* Side walls act on particles closer than so many radii; the distance grid's slopes
 * exceed 1 by less than this makes of a step. */
#define WALL_NEAR 1.6
#define WALL_ERROR_UM 0.02

/* --- prepare ---------------------------------------------------------------- */

/* Constants of the particles in the order of the rows. */
static void take_rows(nrw_world *world)
{
    const uint32_t *order = world->contacts.order;
    for (size_t row = 0; row < world->padded; row++) {
        const bool filled = row < world->n;
        const size_t i = filled ? order[row] : 0;
        world->row_radius[row] = filled ? world->radius[i] : (float)world->body.radius_um;
        world->row_moment[row] = filled ? world->moment[i] : 0.0f;
        world->row_inverse_drag[row] = world->inverse_drag[i];
        world->row_ceiling[row] = world->ceiling[i];
    }
}

static void set_place(nrw_world *world, size_t row, float x, float y, float z)
{
    float *place = world->places + nrw_four_of(row);
    place[0] = world->px[row] = x;
    place[1] = world->py[row] = y;
    place[2] = world->pz[row] = z;
    place[3] = world->row_moment[row];
}

static void take_positions(nrw_world *world)
{
    double sx = 0.0, sy = 0.0, sz = 0.0;
    for (size_t i = 0; i < world->n; i++) {
        sx += world->x[i];
        sy += world->y[i];
        sz += world->z[i];
    }
    world->origin_x = sx / (double)world->n;
    world->origin_y = sy / (double)world->n;
    /* heights count from the floor; without one, from the mean like the rest */
    world->origin_z = world->body.has_floor ? 0.0 : sz / (double)world->n;
    for (size_t row = 0; row < world->n; row++) {
        const size_t i = world->contacts.order[row];
        set_place(world, row, (float)(world->x[i] - world->origin_x),
                  (float)(world->y[i] - world->origin_y), (float)(world->z[i] - world->origin_z));
    }
    for (size_t row = world->n; row < world->padded; row++)
        set_place(world, row, NRW_FAR_AWAY_UM, NRW_FAR_AWAY_UM, (float)world->body.radius_um);
    float *none = world->places + nrw_four_of(world->padded);
    none[0] = none[1] = -NRW_FAR_AWAY_UM;
    none[2] = none[3] = 0.0f;
    memset(world->sum_x, 0, world->padded * sizeof(float));
    memset(world->sum_y, 0, world->padded * sizeof(float));
    memset(world->sum_z, 0, world->padded * sizeof(float));
    memcpy(world->fx0, world->px, world->padded * sizeof(float));
    memcpy(world->fy0, world->py, world->padded * sizeof(float));
    memcpy(world->fz0, world->pz, world->padded * sizeof(float));
}

/* How far the particles have moved since the list was made: not at all if it is new. */
static void take_starts(nrw_world *world, bool listed)
{
    if (listed) {
        memset(world->start_x, 0, world->n * sizeof(float));
        memset(world->start_y, 0, world->n * sizeof(float));
        memset(world->start_z, 0, world->n * sizeof(float));
    } else
        nrw_contacts_moved(&world->contacts, world->x, world->y, world->z, world->start_x,
                           world->start_y, world->start_z);
}

static void take_mobilities(nrw_world *world)
{
    const size_t n = world->padded;
    if (world->body.has_floor) {
        for (size_t i = 0; i < n; i++)
            world->delta[i] = (world->fz0[i] - world->row_radius[i]) / world->row_radius[i];
        nrw_floor_mobility_array(nrw_floor_table_get(), n, world->delta, world->mt, world->mz,
                                 world->mr, world->ms, world->rolling, world->dmz);
    } else {
        for (size_t i = 0; i < n; i++) {
            world->mt[i] = world->mz[i] = world->mr[i] = world->ms[i] = 1.0f;
            world->rolling[i] = world->dmz[i] = 0.0f;
        }
    }
    for (size_t i = 0; i < n; i++) {
        world->along[i] = world->mt[i] * world->row_inverse_drag[i];
        world->across[i] = world->mz[i] * world->row_inverse_drag[i];
    }
}

/* What the channel's flow does to each particle in the middle of a step. */
static void take_flow(nrw_world *world, double h)
{
    const nrw_flow *flow = nrw_channel_flow(world->channel);
    if (!flow)
        return;
    const double thicker = world->body.viscosity_Pa_s / world->scenario->fluid.viscosity_Pa_s;
    const nrw_flow_now now = nrw_flow_at_time(flow, world->time_s + 0.5 * h, thicker);
    const nrw_flow_rows rows = {world->n,      world->contacts.order, world->x,      world->y,
                                world->z,      world->row_radius,     world->delta,  world->mt,
                                world->mr,     world->rolling,        world->flow_x, world->flow_y,
                                world->turn_x, world->turn_y,         world->turn_z};
    nrw_flow_carry(flow, &now, &rows);
}

/* --- move ------------------------------------------------------------------- */

/* Distances to the side walls change by no more than a particle moves: one that was
 * found far from them is looked up again only when it may have come near. */
static double look_up_wall(nrw_world *world, size_t row, double gradient[2])
{
    const uint32_t i = world->contacts.order[row];
    const double x = world->x[i] + (double)world->sum_x[row];
    const double y = world->y[i] + (double)world->sum_y[row];
    const double distance = nrw_channel_distance_um(world->channel, x, y, gradient);
    world->seen_x[i] = x;
    world->seen_y[i] = y;
    world->seen_wall[i] = distance;
    return distance;
}

/* Squared way of a row's particle since its wall was last looked up. */
static double way2_since_seen(const nrw_world *world, size_t row)
{
    const uint32_t i = world->contacts.order[row];
    const double dx = world->x[i] + (double)world->sum_x[row] - world->seen_x[i];
    const double dy = world->y[i] + (double)world->sum_y[row] - world->seen_y[i];
    return dx * dx + dy * dy;
}

/* At least so far is a row's particle from the walls. */
static double wall_at_least(const nrw_world *world, size_t row)
{
    return world->seen_wall[world->contacts.order[row]] - sqrt(way2_since_seen(world, row)) -
           WALL_ERROR_UM;
}

/* How far each may go in the step before a side wall may be near. */
static void take_ways_to_walls(nrw_world *world)
{
    for (size_t row = 0; row < world->n && !nrw_channel_is_open(world->channel); row++) {
        const double way = wall_at_least(world, row) - WALL_NEAR * (double)world->row_radius[row];
        world->wall_free2[row] = way > 0.0 ? (float)(way * way) : -1.0f;
    }
}

/* Side walls near particles, linearised; false: none is near. */
static bool find_walls(nrw_world *world)
{
    if (nrw_channel_is_open(world->channel))
        return false;
    const float k = (float)world->scenario->model.contact_stiffness_pN_um;
    bool any = false;
    float *const walls[4] = {world->wall_x, world->wall_y, world->wall_gap, world->wall_give};
    for (int part = 0; part < 4; part++)
        memset(walls[part], 0, world->n * sizeof(float));
    for (size_t row = 0; row < world->n; row++) {
        const float dx = world->sum_x[row], dy = world->sum_y[row];
        const float a = world->row_radius[row];
        const double near = WALL_NEAR * (double)a;
        if (dx * dx + dy * dy < world->wall_free2[row] || wall_at_least(world, row) > near)
            continue;
        double gradient[2];
        const double distance = look_up_wall(world, row, gradient);
        if (distance > near)
            continue;
        any = true;
        world->wall_x[row] = (float)gradient[0];
        world->wall_y[row] = (float)gradient[1];
        world->wall_gap[row] = a - (float)distance;
        world->wall_give[row] = k * world->move_xy[row] / (1.0f + k * world->move_xy[row]);
    }
    return any;
}

static void solve_contacts(nrw_world *world, double h)
{
    nrw_contact_solve *solve = &world->solve;
    solve->wall_x = find_walls(world) ? world->wall_x : NULL;
    solve->drag_scale =
        (float)(4.0 * NRW_PI * world->body.viscosity_Pa_s * world->body.radius_um / h);
    solve->sweeps = LEAST_SWEEPS;
    solve->tolerance = SWEEP_TOLERANCE * (float)world->body.diameter_um;
    nrw_contacts_solve(solve);
    world->n_sweeps += (uint64_t)solve->sweeps_done;
    world->near.held = solve->force[0];
    solve->held = true;
}

/* Contact forces are no state: a step begins with those that the gaps give. */
static void forget_forces(nrw_world *world)
{
    world->near.held = NULL;
    world->solve.held = false;
}

/* --- store ------------------------------------------------------------------ */

static nrw_status report_move(const nrw_world *world, double h, nrw_errors *errors)
{
    const nrw_contact_solve *solve = &world->solve;
    size_t worst = 0;
    double most = -1.0;
    for (size_t row = 0; row < world->n; row++) {
        const double dx = (double)solve->ux[row], dy = (double)solve->uy[row];
        const double dz = (double)solve->uz[row];
        const double moved = sqrt(dx * dx + dy * dy + dz * dz);
        if (moved <= most)
            continue;
        most = moved;
        worst = world->contacts.order[row];
        if (isnan(moved))
            break;
    }
    return nrw_errors_add(errors, NRW_DIVERGED, "a shorter step or weaker interactions",
                          "particle %u would move by %.3g µm in one step of %.3g s at "
                          "t = %.6g s near (%.4g, %.4g) µm",
                          world->ids[worst], most, h, world->time_s, world->x[worst],
                          world->y[worst]);
}

/* Moves through h s; false: some particle would go too far, and nothing has moved. */
static bool move(nrw_world *world, double h)
{
    const nrw_kernels *kernels = nrw_kernels_get();
    const nrw_contact_solve *solve = &world->solve;
    const double d = world->body.diameter_um;
    if (world->rows.noise)
        nrw_normal_array(world->seed, NRW_STREAM_NOISE, world->step, world->n, world->noise);
    kernels->predict(&world->rows, (float)h);
    solve_contacts(world, h);
    const float *const moved[3] = {solve->ux, solve->uy, solve->uz};
    float largest[2];
    kernels->farthest(&world->rows, moved, (float)h, largest);
    if (!((double)largest[0] <= MOVE_MAX * d && (double)largest[1] < FARTHEST * d))
        return false;
    kernels->store(&world->rows, moved);
    world->time_s += h;
    world->step++;
    world->n_steps++;
    world->substep_s = h;
    return true;
}

/* Displacements of the substeps since the step's beginning go to the particles. */
static void keep_positions(nrw_world *world)
{
    for (size_t row = 0; row < world->n; row++) {
        const size_t i = world->contacts.order[row];
        world->x[i] += (double)world->sum_x[row];
        world->y[i] += (double)world->sum_y[row];
        world->z[i] += (double)world->sum_z[row];
        world->sum_x[row] = world->sum_y[row] = world->sum_z[row] = 0.0f;
    }
}

static nrw_status check_state(nrw_world *world, nrw_errors *errors)
{
    const double overlap = (double)world->near.largest_overlap;
    world->largest_overlap = fmax(world->largest_overlap, overlap);
    if (!(overlap <= OVERLAP_MAX))
        return nrw_errors_add(errors, NRW_DIVERGED,
                              "a shorter step, stiffer contacts or a weaker field",
                              "two particles overlap by %.0f %% of their distance at t = %.6g s",
                              100.0 * overlap, world->time_s);
    if (nrw_channel_is_open(world->channel))
        return NRW_OK;
    for (size_t row = 0; row < world->n; row++) {
        const uint32_t i = world->contacts.order[row];
        const double through = -(double)world->row_radius[row];
        const double way = world->seen_wall[i] - WALL_ERROR_UM - through;
        if ((way > 0.0 && way2_since_seen(world, row) < way * way) ||
            look_up_wall(world, row, NULL) >= through)
            continue;
        return nrw_errors_add(errors, NRW_DIVERGED, "a shorter step",
                              "particle %u left the channel through a wall at t = %.6g s, "
                              "(%.5g, %.5g) µm",
                              world->ids[i], world->time_s, world->x[i], world->y[i]);
    }
    return NRW_OK;
}

double nrw_world_stable_s(const nrw_world *world, double size2)
{
    /* before the first step only the nominal particle's mobility is known */
    double most = world->body.floor.mt / world->body.drag_pN_s_um;
    for (size_t i = 0; i < world->n; i++)
        most = fmax(most, (double)world->along[i]);
    const double stable =
        OWN_STABLE_SHARE / (0.3 * size2 / pow(world->body.diameter_um, 5.0) * most);
    return world->has_old_velocity ? fmin(stable, world->own_allowed_s) : stable;
}

/* The fastest that the channel's flow carries a particle, µm/s. */
static double carried_um_s(const nrw_world *world)
{
    float carried = 0.0f;
    for (size_t row = 0; row < world->n; row++) {
        const float square =
            world->flow_x[row] * world->flow_x[row] + world->flow_y[row] * world->flow_y[row];
        carried = square > carried ? square : carried;
    }
    return sqrt((double)carried);
}

/* The longest step that the error rule allows for the forces that are held over it, in
 * vx, vy: those of all but close neighbours, or all of own moments. */
static double allowed_s(const nrw_world *world)
{
    float change = 0.0f;
    double squares = 0.0;
    for (size_t row = 0; row < world->n && world->has_old_velocity; row++) {
        const size_t i = world->contacts.order[row];
        const float dx = world->vx[row] - world->old_x[i], dy = world->vy[row] - world->old_y[i];
        const float square = dx * dx + dy * dy;
        change = square > change ? square : change;
        squares += (double)square;
    }
    const double d = world->body.diameter_um, twice = 2.0 * d * world->old_step_s;
    const double most = world->own_moments ? ACCELERATION_ERROR : ACCELERATION_ERROR_MOST;
    double allowed = INFINITY;
    if (change > 0.0f)
        allowed = sqrt(twice * most / sqrt((double)change));
    /* own moments turn within the step: they change much that is not held */
    if (squares > 0.0 && !world->own_moments)
        allowed = fmin(allowed, sqrt(twice * HELD_ERROR / sqrt(squares / (double)world->n)));
    /* the flow is that of the place at the step's beginning */
    return fmin(allowed, CARRY_MAX * d / fmax(world->carried_um_s, 1e-15));
}

/* Halvings of h_s down to that. */
static double step_allowed(const nrw_world *world, double h_s)
{
    const double allowed = allowed_s(world);
    double h = h_s;
    while (h > allowed && h > 1e-12)
        h *= 0.5;
    return h;
}

static void remember_velocity(nrw_world *world, double h)
{
    for (size_t row = 0; row < world->n; row++) {
        const size_t i = world->contacts.order[row];
        world->old_x[i] = world->vx[row];
        world->old_y[i] = world->vy[row];
    }
    world->has_old_velocity = true;
    world->old_step_s = h;
}

/* The moments' mean tensor as close neighbours see it from now on. */
static void take_tensor(nrw_near_task *near, nrw_sym3 tensor)
{
    nrw_pair_tensor(near->tensor, tensor);
    near->tensor_rest = (float)(3.0 * NRW_MU0_4PI * tensor.zz);
}

/* Everything that is evaluated once a step, at its beginning. */
static nrw_status evaluate(nrw_world *world, const nrw_excitation *excitation, double h_s,
                           nrw_errors *errors)
{
    const nrw_kernels *kernels = nrw_kernels_get();
    nrw_near_task *near = &world->near;
    nrw_pair_task *task = &world->task;
    const bool phases = !world->own_moments && excitation->n_substeps > 1;
    nrw_world_keep_by_place(world);
    const bool listed = nrw_contacts_refresh(&world->contacts, world->n, world->x, world->y,
                                             world->z, world->radius, world->largest_radius);
    if (listed) {
        if (world->contacts.overflow)
            return nrw_errors_add(errors, NRW_DIVERGED,
                                  "particles that don't lie on top of each other",
                                  "too many particles in one place at t = %.6g s", world->time_s);
        take_rows(world);
    }
    take_positions(world);
    take_starts(world, listed);
    world->task.n_filled = world->n;
    take_mobilities(world);
    take_ways_to_walls(world);
    const bool walls = nrw_walls_look(world) && world->scenario->model.wall_drag;
    if (walls)
        nrw_wall_drag_take(world, nrw_brake_touch_um(world, excitation->size2));
    const bool sticky = nrw_adhesion_acts(world);
    if (sticky)
        nrw_adhesion_hold_places(world);
    world->rows.torque[0] = (float)excitation->torque.x;
    world->rows.torque[1] = (float)excitation->torque.y;
    world->rows.torque[2] = (float)excitation->torque.z;
    take_flow(world, h_s);
    world->carried_um_s = carried_um_s(world);
    near->core2 = task->core2;
    forget_forces(world);
    near->largest_overlap = 0.0f;
    near->candidate_um = CANDIDATE_SHARE * (float)world->body.diameter_um;
    take_tensor(near, phases ? excitation->substep_tensors[0] : excitation->tensor);
    (world->own_moments ? kernels->near_geometry : kernels->near_dipoles)(near);

    const nrw_brake_law law = nrw_brake_law_of(world, excitation->size2);
    nrw_brakes_take(world, law);
    if (world->mutual) {
        const nrw_status status = nrw_mutual_solve(world, excitation, errors);
        if (status != NRW_OK)
            return status;
    } else if (world->own_moments)
        nrw_own_moments_turn(world, excitation, h_s);
    else if (excitation->hold_pN_um > 0.0)
        nrw_held_spins(world, excitation);
    else
        kernels->spins(&world->rows);
    if (sticky)
        nrw_adhesion_hold_spins(world);
    nrw_pair_sum(world, excitation);
    /* what is held over the step leaves out the close neighbours */
    if (phases) {
        memcpy(near->response, task->response, sizeof near->response);
        kernels->near_response(near);
        memset(task->fx, 0, world->n * sizeof(float));
        memset(task->fy, 0, world->n * sizeof(float));
        memset(task->fz, 0, world->n * sizeof(float));
    } else if (!world->own_moments) {
        for (size_t i = 0; i < world->n; i++) {
            task->fx[i] -= near->fx[i];
            task->fy[i] -= near->fy[i];
            task->fz[i] -= near->fz[i];
        }
    }
    nrw_brakes_push(world, law);
    nrw_screen_take(world);
    kernels->base(&world->rows);
    if (walls)
        nrw_wall_drag_drift(world);
    if (sticky)
        nrw_adhesion_hold_velocities(world);
    return NRW_OK;
}

/* Smooth velocity: what is held over the step, and the forces of close neighbours
 * (`with_near`) and of the phase. Change of the planar velocity since the last call, and
 * mobility × stiffness of the neighbours' dipoles. */
static void update_velocity(nrw_world *world, bool with_near, bool phases, nrw_peaks *change,
                            nrw_peaks *stiff)
{
    const nrw_near_task *near = &world->near;
    const nrw_pair_task *task = &world->task;
    const float *const forces[2][3] = {
        {with_near ? near->fx : NULL, with_near ? near->fy : NULL, with_near ? near->fz : NULL},
        {phases ? task->fx : NULL, phases ? task->fy : NULL, phases ? task->fz : NULL}};
    nrw_kernels_get()->velocity(&world->rows, forces, change, stiff);
}

/* The larger of two peaks, each over what it may be: above 1 where one is too large. */
static double excess(nrw_peaks peaks, double typical, double most)
{
    return fmax(fmax((double)peaks.typical / typical, (double)peaks.largest / most), 1e-15);
}

/* How long the next substep may be, after one of last_h s (0: the first), by the stability of
 * the near forces and the error rule. */
static double substep_allowed_s(const nrw_world *world, double last_h, nrw_peaks change,
                                nrw_peaks stiff)
{
    const double d = world->body.diameter_um;
    double allowed = CARRY_SUBSTEP_MAX * d / fmax(world->carried_um_s, 1e-15);
    if (!world->own_moments)
        allowed = fmin(allowed, 1.0 / excess(stiff, STABLE_SHARE, STABLE_SHARE_MOST));
    if (last_h > 0.0)
        allowed = fmin(allowed, sqrt(2.0 * d * last_h /
                                     excess(change, ACCELERATION_ERROR, ACCELERATION_ERROR_MOST)));
    return allowed;
}

/* Moves through `span` s in substeps. One that would take a particle too far is taken again,
 * half as long, and those after it are no longer. `fresh`: near->... already holds the present
 * positions. */
static nrw_status advance(nrw_world *world, double span, double least, bool phases, bool *fresh,
                          double *taken, nrw_errors *errors)
{
    const nrw_kernels *kernels = nrw_kernels_get();
    const bool with_near = !world->own_moments;
    double left = span, last_h = 0.0, most = INFINITY;
    while (left > 1e-9 * span) {
        if (!*fresh)
            (with_near ? kernels->near_dipoles : kernels->near_geometry)(&world->near);
        *fresh = false;
        nrw_peaks change, stiff;
        update_velocity(world, with_near, phases, &change, &stiff);
        const double allowed = fmin(most, substep_allowed_s(world, last_h, change, stiff));
        if (!(allowed >= least))
            return nrw_errors_add(errors, NRW_DIVERGED, "weaker interactions",
                                  "the step fell below %.3g s at t = %.6g s", allowed,
                                  world->time_s);
        const double h = left / fmax(1.0, ceil(left / allowed - 1e-6));
        if (!move(world, h)) {
            most = 0.5 * h;
            if (most < least)
                return report_move(world, h, errors);
            forget_forces(world); /* those of the substep that was given up */
            continue;
        }
        last_h = h;
        left -= h;
        *taken += h;
        if (left > 1e-9 * span && nrw_stray_may_meet(world))
            break;
    }
    return NRW_OK;
}

nrw_status nrw_world_step(nrw_world *world, const nrw_excitation *excitation, double h_s,
                          double *taken_s, nrw_errors *errors)
{
    *taken_s = 0.0;
    if (world->n == 0) { /* all have left: time goes on */
        world->time_s += h_s;
        *taken_s = h_s;
        return NRW_OK;
    }
    if (world->doublets)
        return nrw_doublets_step(world, excitation, h_s, taken_s, errors);
    nrw_status status = evaluate(world, excitation, h_s, errors);
    if (status != NRW_OK)
        return status;
    const bool phases = !world->own_moments && excitation->n_substeps > 1;
    double h = h_s;
    int n_spans = 1;
    nrw_peaks change, stiff; /* of no use here */
    if (!world->own_moments) {
        if (phases)
            nrw_pair_sum_phase(world, excitation->tensor);
        update_velocity(world, false, phases, &change, &stiff);
        h = step_allowed(world, h_s);
        if (phases) {
            n_spans = (int)fmax(1.0, floor(h / h_s * excitation->n_substeps + 1e-6));
            h = h_s / excitation->n_substeps * n_spans;
        }
        remember_velocity(world, h);
    } else {
        /* moments have turned by the whole step: the rule shortens the next one */
        update_velocity(world, false, false, &change, &stiff);
        world->own_allowed_s = allowed_s(world);
        remember_velocity(world, h);
    }
    const double least = h_s / STEP_SHRINK_MAX;
    if (h < least)
        return nrw_errors_add(errors, NRW_DIVERGED, "weaker interactions",
                              "the step fell below %.3g s at t = %.6g s", h, world->time_s);
    const double begun = world->time_s;
    bool fresh = true;
    for (int k = 0; k < n_spans; k++) {
        if (phases) {
            take_tensor(&world->near, excitation->substep_tensors[k]);
            nrw_pair_sum_phase(world, excitation->substep_tensors[k]);
        }
        double taken = 0.0;
        status = advance(world, h / n_spans, least, phases, &fresh, &taken, errors);
        *taken_s += taken;
        if (status != NRW_OK) {
            world->time_s = begun;
            return status;
        }
        if (k + 1 < n_spans && nrw_stray_may_meet(world))
            break; /* someone new may be near: look around again */
    }
    nrw_brakes_remember(world, *taken_s);
    keep_positions(world);
    /* judged where the step ended, so that a bad one can be taken back */
    forget_forces(world);
    if (world->n > 1)
        nrw_kernels_get()->near_overlap(&world->near);
    status = check_state(world, errors);
    if (status == NRW_OK && nrw_adhesion_acts(world))
        nrw_adhesion_update(world, *taken_s);
    if (status == NRW_OK)
        nrw_world_take_out(world);
    return status;
}
