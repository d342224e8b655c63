#include "run_parts.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "doublet_world.h"
#include "leg_tally.h"
#include "random.h"

nrw_observation nrw_run_observe(nrw_run_state *run)
{
    nrw_world *world = run->world;
    nrw_run_result *result = run->result;
    nrw_observation observation;
    const double smallest = run->scenario->imaging.smallest_visible_um2;
    for (size_t i = 0; i < world->n; i++)
        run->radius_um[i] = result->radius_um[world->ids[i]];
    nrw_morphology_measure(run->morphology, run->channel, world->n, world->x, world->y, world->z,
                           run->radius_um, world->doublets ? 0.0 : smallest, &observation.seen,
                           run->marks);
    if (world->doublets)
        nrw_doublets_measure(world, run->morphology, run->radius_um, smallest, &observation.seen,
                             run->marks);
    for (size_t i = 0; i < world->n_made; i++)
        run->in_largest[world->ids[i]] = i < world->n && run->marks[i];
    return observation;
}

/* The same with imaging's noise on every position. */
static nrw_observation blur(const nrw_run_state *run, nrw_observation exact)
{
    const double noise = run->scenario->imaging.centroid_noise_um;
    if (!(noise > 0.0))
        return exact;
    double normals[4];
    nrw_normal4(run->config->seed, NRW_STREAM_IMAGING, 0, (uint32_t)run->next_frame, normals);
    const double ex = noise * normals[0], ey = noise * normals[1];
    double s = nrw_channel_route_project_um(run->channel, exact.seen.x_um, exact.seen.y_um);
    double direction[2];
    nrw_channel_route_point(run->channel, s, NULL, direction);
    const double along = ex * direction[0] + ey * direction[1];
    nrw_morphology *seen = &exact.seen;
    seen->x_um += ex;
    seen->y_um += ey;
    seen->rear_x_um += ex;
    seen->rear_y_um += ey;
    seen->front_um += along;
    seen->tail_um += along;
    return exact;
}

/* Share inside the target now; those in it have arrived. */
double nrw_run_arrive(nrw_run_state *run)
{
    const nrw_place *target = &run->scenario->target;
    size_t n_inside = 0;
    for (size_t i = 0; i < run->world->n; i++) {
        const bool inside = hypot(run->world->x[i] - target->at_um[0],
                                  run->world->y[i] - target->at_um[1]) <= target->radius_um;
        n_inside += inside;
        run->result->arrived[run->world->ids[i]] |= inside;
    }
    return (double)n_inside / (double)run->world->n_made;
}

/* When the goal is reached, and how well it is held for the time asked for. */
static void judge_goal(nrw_run_state *run)
{
    nrw_run_result *result = run->result;
    const nrw_goal *goal = &run->scenario->goal;
    const double t = run->world->time_s, inside = nrw_run_arrive(run);
    if (isnan(result->time_to_target_s) && inside >= goal->fraction_min) {
        result->time_to_target_s = t;
        run->least_held = inside;
    }
    if (isnan(result->time_to_target_s) || !isnan(result->held_fraction))
        return;
    run->least_held = fmin(run->least_held, inside);
    if (t >= result->time_to_target_s + goal->hold_s - NRW_RUN_TIME_TOLERANCE_S)
        result->held_fraction = run->least_held;
}

static nrw_status keep_frame(nrw_run_state *run, const nrw_morphology *seen, double speed)
{
    nrw_run_result *result = run->result;
    if (result->n_frames == run->frames_capacity) {
        size_t capacity = run->frames_capacity ? 2 * run->frames_capacity : 512;
        nrw_frame *frames = realloc(result->frames, capacity * sizeof *frames);
        if (!frames)
            return nrw_run_out_of_memory(run);
        result->frames = frames;
        run->frames_capacity = capacity;
    }
    int which = 0;
    double heading = run->control.heading_rad[0];
    if (run->control.leg < run->schedule->n_legs) {
        const nrw_drive_setting *setting =
            nrw_control_setting(&run->control, run->world->time_s, &which);
        heading = run->control.heading_rad[which] +
                  nrw_drive_wobble_rad(setting, run->world->time_s - run->control.leg_start_s);
    }
    size_t leg =
        run->control.leg < run->schedule->n_legs ? run->control.leg : run->schedule->n_legs - 1;
    result->frames[result->n_frames++] =
        (nrw_frame){run->world->time_s, (int)leg, heading, speed, *seen};
    return NRW_OK;
}

nrw_status nrw_run_store_positions(nrw_run_state *run)
{
    nrw_run_result *result = run->result;
    const size_t n = run->world->n_made;
    if (result->n_stored == run->stored_capacity) {
        size_t capacity = run->stored_capacity ? 2 * run->stored_capacity : 64;
        float *positions = realloc(result->trajectory_um, capacity * n * 3 * sizeof *positions);
        if (!positions)
            return nrw_run_out_of_memory(run);
        result->trajectory_um = positions;
        if (run->world->doublets) {
            float *axes = realloc(result->trajectory_axis, capacity * n * 3 * sizeof *axes);
            if (!axes)
                return nrw_run_out_of_memory(run);
            result->trajectory_axis = axes;
        }
        double *times = realloc(result->trajectory_time_s, capacity * sizeof *times);
        if (!times)
            return nrw_run_out_of_memory(run);
        result->trajectory_time_s = times;
        run->stored_capacity = capacity;
    }
    float *stored = result->trajectory_um + result->n_stored * n * 3;
    for (size_t i = 0; i < n; i++) {
        float *at = stored + 3 * (size_t)run->world->ids[i];
        at[0] = (float)run->world->x[i];
        at[1] = (float)run->world->y[i];
        at[2] = (float)run->world->z[i];
        if (run->world->doublets)
            nrw_doublets_axis(run->world, i,
                              result->trajectory_axis +
                                  (result->n_stored * n + run->world->ids[i]) * 3);
    }
    result->trajectory_time_s[result->n_stored++] = run->world->time_s;
    return NRW_OK;
}

/* How far along the route every particle has come. */
void nrw_run_note_furthest(nrw_run_state *run)
{
    const nrw_world *world = run->world;
    for (size_t i = 0; i < world->n_made; i++) {
        double *furthest = &run->result->furthest_um[world->ids[i]];
        *furthest =
            fmax(*furthest, nrw_channel_route_project_um(run->channel, world->x[i], world->y[i]));
    }
}

nrw_status nrw_run_take_frame(nrw_run_state *run)
{
    nrw_run_result *result = run->result;
    const double t = run->world->time_s;
    nrw_observation exact = nrw_run_observe(run);
    double speed = NAN;
    /* when all have left through an outlet, nothing is seen where the last were seen */
    const bool any = run->world->n > 0;
    if (!any) {
        exact.seen.x_um = run->last_x;
        exact.seen.y_um = run->last_y;
    }
    /* nor has the swarm moved when some of it have left */
    const bool same = run->last_n == run->world->n;
    run->last_n = run->world->n;
    if (run->next_frame > 0 && any && same) {
        double moved = hypot(exact.seen.x_um - run->last_x, exact.seen.y_um - run->last_y);
        result->path_um += moved;
        speed = t > run->last_time_s ? moved / (t - run->last_time_s) : NAN;
    }
    run->last_x = exact.seen.x_um;
    run->last_y = exact.seen.y_um;
    run->last_time_s = t;
    run->n_visible += exact.seen.visible;
    nrw_run_note_furthest(run);
    if (run->control.leg < run->schedule->n_legs)
        nrw_leg_watch_frame(&run->watch, run->world, &exact.seen);
    if (run->control.leg < run->schedule->n_legs && result->n_visits > 0)
        nrw_leg_tally_frame(&result->visits[result->n_visits - 1].tally, run->world);
    judge_goal(run);
    result->final = exact.seen;
    if (any)
        run->seen = blur(run, exact);
    run->seen.seen.visible = exact.seen.visible;
    nrw_control_observe(&run->control, t, &run->seen);
    run->next_frame++;
    nrw_status status = NRW_OK;
    if (run->config->record) {
        status = keep_frame(run, &exact.seen, speed);
        if (status == NRW_OK && t >= run->next_store_s - NRW_RUN_TIME_TOLERANCE_S) {
            status = nrw_run_store_positions(run);
            run->next_store_s += run->config->trajectory_every_s;
            if (run->next_store_s <= t)
                run->next_store_s = t + run->frame_s;
        }
    }
    return status;
}
