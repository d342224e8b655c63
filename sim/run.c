#include "run.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "average.h"
#include "control.h"
#include "doublet_world.h"
#include "excitation.h"
#include "fate.h"
#include "flow.h"
#include "leg_tally.h"
#include "leg_watch.h"
#include "mutual.h"
#include "random.h"
#include "sampled_average.h"
#include "world.h"

#define STEP_MAX_S 0.020
#define TIME_TOLERANCE_S 1e-9
/* A step that fails is halved, at most to this part of the longest; afterwards steps
 * grow back by this factor each. */
#define STEP_CUT_MAX 256.0
#define STEP_RECOVERY 1.15
/* Share of repeated steps above which a result says so. */
#define REPEATED_MAX 0.01

const char *nrw_leg_end_name(nrw_leg_end end)
{
    static const char *const names[] = {"condition", "timeout", "stall", "deadline", "stopped"};
    return (unsigned)end < sizeof names / sizeof *names ? names[end] : "unknown";
}

const char *nrw_model_name(nrw_model model)
{
    static const char *const names[] = {"auto", "averaged", "resolved"};
    return (unsigned)model < sizeof names / sizeof *names ? names[model] : "unknown";
}

nrw_run_config nrw_run_config_defaults(void)
{
    nrw_run_config config;
    memset(&config, 0, sizeof config);
    config.seed = 1;
    config.draw = (nrw_draw){1.0, 1.0, 1.0, 1.0};
    config.keep_fraction = 1.0;
    config.record = true;
    config.trajectory_every_s = 0.5;
    return config;
}

void nrw_run_result_clear(nrw_run_result *result)
{
    void *blocks[] = {result->x_um,     result->y_um,     result->z_um,   result->moment_x,
                      result->moment_y, result->moment_z, result->radius_um, result->fates,
                      result->losses,   result->frames,   result->visits, result->trajectory_um,
                      result->trajectory_axis,
                      result->steering,
                      result->trajectory_time_s, result->furthest_um,
                      result->causes,   result->gathered, result->arrived};
    for (size_t k = 0; k < sizeof blocks / sizeof *blocks; k++)
        free(blocks[k]);
    for (size_t k = 0; k < result->n_warnings; k++)
        free(result->warnings[k]);
    free(result->warnings);
    memset(result, 0, sizeof *result);
}

/* --- the run's own state ---------------------------------------------------- */

typedef struct run_state {
    const nrw_scenario *scenario;
    const nrw_channel *channel;
    const nrw_schedule *schedule;
    const nrw_run_config *config;
    nrw_run_result *result;
    nrw_errors *errors;
    nrw_world *world;
    nrw_control control;
    nrw_morphology_work *morphology;
    uint8_t *in_largest; /* (n) by the particle's number, as all in the result */
    uint8_t *stuck;      /* (n) likewise: stuck to a wall at the end */
    uint8_t *marks;      /* (n) the same in the world's order, as the next */
    double *radius_um;   /* (n) */
    size_t n_dots;       /* what imaging sees: particles, or lobes; room in marks, radius_um */
    nrw_observation seen; /* of the last frame, with imaging's noise */
    nrw_exciter exciter;
    double frame_s;      /* spacing of frames */
    uint64_t next_frame; /* index of the next one */
    uint64_t n_visible;
    double last_x, last_y, last_time_s;
    size_t last_n;
    double next_store_s;
    size_t frames_capacity, stored_capacity, visits_capacity, steering_capacity;
    double spin_sum;     /* ∫ mean spin along the drive's axis dt, rad */
    double least_held;   /* share inside the target since it was reached; NAN: not yet */
    double step_cap_s;   /* longest step for the time being; grows back after a failure */
    uint64_t n_steps, n_repeated; /* steps taken, and taken again because they failed */
    nrw_leg_watch watch; /* what is seen of the leg in force */
} run_state;

static nrw_status out_of_memory(run_state *run)
{
    return nrw_errors_add(run->errors, NRW_NO_MEMORY, "", "no memory to record the run");
}

static void warn(run_state *run, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* Adds a warning once; equal sentences are not repeated. */
static void warn(run_state *run, const char *format, ...)
{
    char text[400];
    va_list arguments;
    va_start(arguments, format);
    (void)vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    nrw_run_result *result = run->result;
    for (size_t k = 0; k < result->n_warnings; k++)
        if (strcmp(result->warnings[k], text) == 0)
            return;
    char **warnings = realloc(result->warnings, (result->n_warnings + 1) * sizeof *warnings);
    if (!warnings)
        return;
    result->warnings = warnings;
    char *copy = strdup(text);
    if (copy)
        warnings[result->n_warnings++] = copy;
}

/* --- legs ------------------------------------------------------------------- */

static nrw_model model_of_leg(run_state *run, const nrw_leg *leg, nrw_leg_visit *visit)
{
    nrw_regime regime = nrw_regime_of(run->scenario, &leg->drive.main, &run->config->draw);
    visit->mason_number = regime.mason_number;
    visit->cycle_displacement = regime.cycle_displacement;
    visit->shedding_number = regime.shedding_number;
    nrw_model recommended = regime.recommended;
    if (leg->drive.alternate_share > 0.0) {
        nrw_regime other = nrw_regime_of(run->scenario, &leg->drive.other, &run->config->draw);
        if (other.recommended == NRW_MODEL_RESOLVED)
            recommended = NRW_MODEL_RESOLVED;
        visit->cycle_displacement = fmax(visit->cycle_displacement, other.cycle_displacement);
        visit->shedding_number = fmax(visit->shedding_number, other.shedding_number);
        visit->mason_number = 1.0 / visit->cycle_displacement;
    }
    if (run->config->model == NRW_MODEL_AUTO)
        return recommended;
    if (run->config->model == NRW_MODEL_AVERAGED && recommended == NRW_MODEL_RESOLVED)
        warn(run, "leg '%s': the averaged model was asked for outside its range (N_b = %.3g, at "
                  "most 2; Lambda = %.3g, below 0.3)",
             leg->name, visit->cycle_displacement, visit->shedding_number);
    return run->config->model;
}

static nrw_status enter_leg(run_state *run, size_t leg)
{
    nrw_run_result *result = run->result;
    const double t = run->world->time_s;
    nrw_control_enter(&run->control, leg, t);
    nrw_world_drive_changed(run->world);
    if (leg >= run->schedule->n_legs)
        return NRW_OK;
    if (result->n_visits == run->visits_capacity) {
        size_t capacity = run->visits_capacity ? 2 * run->visits_capacity : 16;
        nrw_leg_visit *visits = realloc(result->visits, capacity * sizeof *visits);
        if (!visits)
            return out_of_memory(run);
        result->visits = visits;
        run->visits_capacity = capacity;
    }
    nrw_leg_visit *visit = &result->visits[result->n_visits++];
    memset(visit, 0, sizeof *visit);
    visit->leg = (int)leg;
    visit->start_s = visit->end_s = t;
    visit->end = NRW_LEG_STOPPED;
    visit->tally = nrw_leg_tally_none();
    nrw_leg_watch_begin(&run->watch, run->world);
    visit->model = model_of_leg(run, &run->schedule->legs[leg], visit);
    nrw_exciter_enter(&run->exciter, run->world, &run->control, visit->model);
    return NRW_OK;
}

static void close_visit(run_state *run, nrw_leg_end end)
{
    nrw_run_result *result = run->result;
    if (result->n_visits == 0 || run->control.leg >= run->schedule->n_legs)
        return;
    nrw_leg_visit *visit = &result->visits[result->n_visits - 1];
    visit->end_s = run->world->time_s;
    visit->end = end;
    visit->seen = nrw_leg_watch_end(&run->watch, run->world);
}

/* --- frames ----------------------------------------------------------------- */

static nrw_observation observe(run_state *run)
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
static nrw_observation blur(const run_state *run, nrw_observation exact)
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
static double arrive(run_state *run)
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
static void judge_goal(run_state *run)
{
    nrw_run_result *result = run->result;
    const nrw_goal *goal = &run->scenario->goal;
    const double t = run->world->time_s, inside = arrive(run);
    if (isnan(result->time_to_target_s) && inside >= goal->fraction_min) {
        result->time_to_target_s = t;
        run->least_held = inside;
    }
    if (isnan(result->time_to_target_s) || !isnan(result->held_fraction))
        return;
    run->least_held = fmin(run->least_held, inside);
    if (t >= result->time_to_target_s + goal->hold_s - TIME_TOLERANCE_S)
        result->held_fraction = run->least_held;
}

static nrw_status keep_frame(run_state *run, const nrw_morphology *seen, double speed)
{
    nrw_run_result *result = run->result;
    if (result->n_frames == run->frames_capacity) {
        size_t capacity = run->frames_capacity ? 2 * run->frames_capacity : 512;
        nrw_frame *frames = realloc(result->frames, capacity * sizeof *frames);
        if (!frames)
            return out_of_memory(run);
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
    size_t leg = run->control.leg < run->schedule->n_legs ? run->control.leg
                                                          : run->schedule->n_legs - 1;
    result->frames[result->n_frames++] =
        (nrw_frame){run->world->time_s, (int)leg, heading, speed, *seen};
    return NRW_OK;
}

static nrw_status store_positions(run_state *run)
{
    nrw_run_result *result = run->result;
    const size_t n = run->world->n_made;
    if (result->n_stored == run->stored_capacity) {
        size_t capacity = run->stored_capacity ? 2 * run->stored_capacity : 64;
        float *positions = realloc(result->trajectory_um, capacity * n * 3 * sizeof *positions);
        if (!positions)
            return out_of_memory(run);
        result->trajectory_um = positions;
        if (run->world->doublets) {
            float *axes = realloc(result->trajectory_axis, capacity * n * 3 * sizeof *axes);
            if (!axes)
                return out_of_memory(run);
            result->trajectory_axis = axes;
        }
        double *times = realloc(result->trajectory_time_s, capacity * sizeof *times);
        if (!times)
            return out_of_memory(run);
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
                              result->trajectory_axis + (result->n_stored * n + run->world->ids[i]) * 3);
    }
    result->trajectory_time_s[result->n_stored++] = run->world->time_s;
    return NRW_OK;
}

/* How far along the route every particle has come. */
static void note_furthest(run_state *run)
{
    const nrw_world *world = run->world;
    for (size_t i = 0; i < world->n_made; i++) {
        double *furthest = &run->result->furthest_um[world->ids[i]];
        *furthest = fmax(*furthest,
                         nrw_channel_route_project_um(run->channel, world->x[i], world->y[i]));
    }
}

static nrw_status take_frame(run_state *run)
{
    nrw_run_result *result = run->result;
    const double t = run->world->time_s;
    nrw_observation exact = observe(run);
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
    note_furthest(run);
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
        if (status == NRW_OK && t >= run->next_store_s - TIME_TOLERANCE_S) {
            status = store_positions(run);
            run->next_store_s += run->config->trajectory_every_s;
            if (run->next_store_s <= t)
                run->next_store_s = t + run->frame_s;
        }
    }
    return status;
}

/* --- steps ----------------------------------------------------------------- */

static void add_spin(run_state *run, nrw_vec3 axis, double taken)
{
    const nrw_world *world = run->world;
    double sum = 0.0;
    for (size_t row = 0; row < world->n; row++)
        sum += (double)(world->spin_x[row] + world->turn_x[row]) * axis.x +
               (double)(world->spin_y[row] + world->turn_y[row]) * axis.y +
               (double)(world->spin_z[row] + world->turn_z[row]) * axis.z;
    if (world->n > 0)
        run->spin_sum += sum / (double)world->n * taken;
}

/* --- the loop --------------------------------------------------------------- */

static double next_event(const run_state *run)
{
    const double t = run->world->time_s;
    double next = fmin(run->scenario->deadline_s, (double)run->next_frame * run->frame_s);
    return fmin(next, fmax(t, nrw_control_next_s(&run->control, t)));
}

/* One step of at most h. A step that diverges is taken back and tried at half its
 * length, down to 1/STEP_CUT_MAX of the longest; then the failure stands. */
static nrw_status step_once(run_state *run, double h, double most)
{
    nrw_world *world = run->world;
    nrw_world_keep(world);
    for (;;) {
        nrw_excitation excitation;
        memset(&excitation, 0, sizeof excitation);
        nrw_vec3 axis;
        double taken, wanted = h;
        nrw_excite(&run->exciter, &wanted, &excitation, &axis);
        nrw_errors failure;
        nrw_errors_init(&failure);
        nrw_status status = nrw_world_step(world, &excitation, wanted, &taken, &failure);
        run->n_steps++;
        if (status == NRW_DIVERGED && h > most / STEP_CUT_MAX) {
            nrw_errors_clear(&failure);
            nrw_world_go_back(world);
            h *= 0.5;
            run->step_cap_s = h;
            run->n_repeated++;
            continue;
        }
        for (size_t k = 0; k < failure.n_items; k++)
            nrw_errors_add(run->errors, failure.items[k].status, failure.items[k].expected, "%s",
                           failure.items[k].what);
        nrw_errors_clear(&failure);
        if (status == NRW_OK) {
            add_spin(run, axis, taken);
            run->step_cap_s = fmin(most, STEP_RECOVERY * run->step_cap_s);
        }
        return status;
    }
}

/* Longest step; a flow's pulses are followed. */
static double longest_step(const run_state *run)
{
    const double most = run->config->step_max_s > 0.0 ? run->config->step_max_s : STEP_MAX_S;
    const nrw_flow *flow = nrw_channel_flow(run->channel);
    return flow ? fmin(most, nrw_flow_step_max_s(flow)) : most;
}

static nrw_status advance_to(run_state *run, double event)
{
    nrw_world *world = run->world;
    const double most = longest_step(run);
    if (!(run->step_cap_s > 0.0))
        run->step_cap_s = most;
    while (event - world->time_s > TIME_TOLERANCE_S) {
        const double left = event - world->time_s;
        nrw_status status = step_once(run, left / ceil(left / run->step_cap_s - 1e-6), most);
        if (status != NRW_OK)
            return status;
    }
    world->time_s = event; /* sums of steps carry rounding: events are exact */
    return NRW_OK;
}

static nrw_status change_legs(run_state *run, bool *switched)
{
    nrw_leg_end end;
    size_t next;
    *switched = false;
    while (run->control.leg < run->schedule->n_legs &&
           nrw_control_ends(&run->control, run->world->time_s, &end, &next)) {
        *switched = true;
        if (run->control.warning[0] != '\0')
            warn(run, "%s", run->control.warning);
        if (run->result->n_visits == 1)
            memcpy(run->result->gathered, run->in_largest, run->world->n_made);
        close_visit(run, end);
        nrw_status status = enter_leg(run, next);
        if (status != NRW_OK)
            return status;
        if (run->control.leg < run->schedule->n_legs) {
            /* between frames nothing is seen: the new leg steers from the last one */
            nrw_control_observe(&run->control, run->world->time_s, &run->seen);
        }
    }
    return NRW_OK;
}

/* Notes where the drive heads, if that has changed. */
static nrw_status keep_steering(run_state *run)
{
    nrw_run_result *result = run->result;
    const nrw_steering now = {run->world->time_s,
                              (int)result->n_visits - 1,
                              {run->control.heading_rad[0], run->control.heading_rad[1]},
                              {run->control.tilt_deg[0], run->control.tilt_deg[1]}};
    if (!run->config->record)
        return NRW_OK;
    if (result->n_steering > 0) {
        const nrw_steering *last = &result->steering[result->n_steering - 1];
        if (last->visit == now.visit &&
            memcmp(last->heading_rad, now.heading_rad, sizeof now.heading_rad) == 0 &&
            memcmp(last->tilt_deg, now.tilt_deg, sizeof now.tilt_deg) == 0)
            return NRW_OK;
    }
    if (result->n_steering == run->steering_capacity) {
        size_t capacity = run->steering_capacity ? 2 * run->steering_capacity : 512;
        nrw_steering *steering = realloc(result->steering, capacity * sizeof *steering);
        if (!steering)
            return out_of_memory(run);
        result->steering = steering;
        run->steering_capacity = capacity;
    }
    result->steering[result->n_steering++] = now;
    return NRW_OK;
}

static nrw_status loop(run_state *run)
{
    nrw_status status = enter_leg(run, 0);
    const double deadline = run->scenario->deadline_s;
    while (status == NRW_OK) {
        const double t = run->world->time_s;
        if (t >= (double)run->next_frame * run->frame_s - TIME_TOLERANCE_S) {
            status = take_frame(run);
            if (status == NRW_OK && run->config->progress &&
                run->config->progress(run->config->progress_context, t, deadline))
                status = NRW_INTERRUPTED;
            if (status != NRW_OK)
                break;
        }
        bool switched;
        status = change_legs(run, &switched);
        if (status != NRW_OK || run->control.leg >= run->schedule->n_legs)
            break;
        if (t >= deadline - TIME_TOLERANCE_S) {
            close_visit(run, NRW_LEG_DEADLINE);
            break;
        }
        status = keep_steering(run);
        if (status != NRW_OK)
            break;
        const double event = next_event(run);
        int before, after;
        const nrw_drive_setting *old = nrw_control_setting(&run->control, t, &before);
        status = advance_to(run, event);
        (void)nrw_control_setting(&run->control, run->world->time_s, &after);
        if (before != after && old->mode != NRW_DRIVE_OFF)
            nrw_world_drive_changed(run->world);
    }
    if (status != NRW_OK)
        close_visit(run, NRW_LEG_STOPPED);
    return status;
}

/* --- begin and end ---------------------------------------------------------- */

static nrw_status begin(run_state *run)
{
    nrw_run_result *result = run->result;
    const size_t wanted = run->scenario->particles.count;
    size_t n = (size_t)llround((double)wanted * run->config->keep_fraction);
    n = n < 1 ? 1 : n > wanted ? wanted : n;
    nrw_status status = nrw_world_create(run->scenario, run->channel, &run->config->draw,
                                         run->config->seed, n, false, &run->world, run->errors);
    if (status != NRW_OK)
        return status;
    result->n_particles = n;
    double **arrays[] = {&result->x_um,     &result->y_um,     &result->z_um,
                         &result->moment_x, &result->moment_y, &result->moment_z,
                         &result->radius_um, &result->furthest_um};
    for (size_t k = 0; k < sizeof arrays / sizeof *arrays; k++) {
        *arrays[k] = calloc(n, sizeof(double));
        if (!*arrays[k])
            return out_of_memory(run);
    }
    result->fates = calloc(n, sizeof *result->fates);
    result->causes = calloc(n, 1);
    result->gathered = calloc(n, 1);
    result->arrived = calloc(n, 1);
    run->in_largest = calloc(n, 1);
    run->stuck = calloc(n, 1);
    run->n_dots = run->world->doublets ? 2 * n : n;
    run->marks = calloc(run->n_dots, 1);
    run->radius_um = calloc(run->n_dots, sizeof *run->radius_um);
    run->morphology = nrw_morphology_work_create(run->n_dots);
    if (!result->fates || !result->causes || !result->gathered || !result->arrived ||
        !run->in_largest || !run->stuck || !run->marks || !run->radius_um || !run->morphology)
        return out_of_memory(run);
    if (!run->config->record)
        nrw_morphology_work_spare_area(run->morphology);
    for (size_t i = 0; i < n; i++) {
        result->radius_um[i] = (double)run->world->radius[i];
        result->furthest_um[i] = -INFINITY;
    }
    result->gap_um = run->world->body.gap_um;
    result->time_to_target_s = result->held_fraction = run->least_held = NAN;
    run->frame_s = 1.0 / run->scenario->imaging.frame_rate_Hz;
    return nrw_control_init(&run->control, run->scenario, run->channel, run->schedule, run->errors);
}

/* Moments of the particles at the end, for final.csv. */
static void final_moments(run_state *run)
{
    nrw_world *world = run->world;
    nrw_run_result *result = run->result;
    nrw_vec3 common = {0.0, 0.0, 0.0};
    double phase_rad = 0.0;
    if (run->scenario->particles.kind == NRW_MOMENT_INDUCED && !world->doublets &&
        result->n_visits > 0) {
        /* the moment at the last instant of the last leg in force; control may have
         * left it already */
        const nrw_leg_visit *visit = &result->visits[result->n_visits - 1];
        const nrw_drive *drive = &run->schedule->legs[visit->leg].drive;
        const double t = world->time_s - visit->start_s;
        const nrw_drive_setting *setting = nrw_drive_at(drive, t);
        const int which = setting == &drive->main ? 0 : 1;
        double heading = nrw_drive_wobble_rad(setting, t);
        if (setting->mode != NRW_DRIVE_GENERAL)
            heading += run->control.heading_rad[which];
        const nrw_field field = nrw_drive_field(setting, heading, run->control.tilt_deg[which]);
        nrw_vec3 torque;
        phase_rad = 2.0 * NRW_PI * field.frequency_Hz * t;
        nrw_induced_at(&world->body, &field, phase_rad, &common, &torque);
        if (setting->mode == NRW_DRIVE_SAMPLED)
            common = nrw_sampled_moment(&world->body, setting->samples, t);
    }
    for (size_t i = 0; i < world->n_made; i++) {
        const uint32_t id = world->ids[i];
        const double scale = (double)world->moment[i];
        const nrw_vec3 fixed = {world->ux[i], world->uy[i], world->uz[i]};
        const nrw_vec3 sphere =
            nrw_vec3_add(common, nrw_vec3_scale(fixed, world->body.permanent_fAm2));
        const bool soft = world->doublets && world->body.kind == NRW_MOMENT_INDUCED;
        nrw_vec3 m =
            soft ? nrw_doublets_moment(world, i) : nrw_vec3_scale(sphere, scale);
        if (world->mutual && i < world->n && world->n_steps > 0)
            m = nrw_mutual_moment(world, id, phase_rad);
        result->moment_x[id] = m.x;
        result->moment_y[id] = m.y;
        result->moment_z[id] = m.z;
    }
}

/* Sentences about the run as a whole; what each leg assumes is judged by validity.h. */
static void judge_run(run_state *run)
{
    if (run->scenario->particles.kind == NRW_MOMENT_INDUCED && !run->world->doublets &&
        !(run->scenario->particles.relaxation_time_s > 0.0) &&
        !(run->scenario->particles.remanent_fAm2 > 0.0))
        warn(run, "the moment follows the field without lag (relaxation_time_s is 0): no torque "
                  "acts on a sphere, so nothing spins or rolls");
    if ((double)run->n_repeated > REPEATED_MAX * (double)run->n_steps)
        warn(run, "%.1f %% of the steps had to be taken again at half their length",
             100.0 * (double)run->n_repeated / (double)run->n_steps);
}

static nrw_status finish(run_state *run)
{
    nrw_run_result *result = run->result;
    nrw_world *world = run->world;
    result->time_s = world->time_s;
    result->final = observe(run).seen;
    for (size_t i = 0; i < world->n_made; i++) {
        const uint32_t id = world->ids[i];
        result->x_um[id] = world->x[i];
        result->y_um[id] = world->y[i];
        result->z_um[id] = world->z[i];
    }
    final_moments(run);
    (void)arrive(run);
    if (result->n_visits == 1 && result->visits[0].end >= NRW_LEG_DEADLINE)
        memcpy(result->gathered, run->in_largest, world->n_made);
    note_furthest(run);
    result->steps = world->n_steps;
    result->pair_interactions = world->n_pair_interactions;
    result->largest_overlap = world->largest_overlap;
    const double t = world->time_s;
    result->mean_speed_um_s = run->last_time_s > 0.0 ? result->path_um / run->last_time_s : NAN;
    result->mean_spin_Hz = t > 0.0 ? run->spin_sum / t / (2.0 * NRW_PI) : NAN;
    result->visible_fraction_of_time =
        run->next_frame > 0 ? (double)run->n_visible / (double)run->next_frame : NAN;
    judge_run(run);
    /* the marks have done their service in the last look at the swarm */
    for (size_t i = 0; i < world->n_made; i++) {
        run->marks[world->ids[i]] = i >= world->n;
        run->stuck[world->ids[i]] = i < world->n && world->stuck[i];
    }
    nrw_status status = nrw_fate_judge(run->scenario, run->channel, run->in_largest, run->stuck,
                                       run->marks, result, run->errors);
    if (status == NRW_OK && run->config->record &&
        (result->n_stored == 0 || result->trajectory_time_s[result->n_stored - 1] < t))
        status = store_positions(run);
    return status;
}

/* What no model, or not the one asked for, can follow. */
static nrw_status check_legs(const nrw_scenario *scenario, const nrw_schedule *schedule,
                             nrw_model model, nrw_errors *errors)
{
    const nrw_particles *particles = &scenario->particles;
    if (particles->shape.doublet && model == NRW_MODEL_AVERAGED)
        return nrw_errors_add(errors, NRW_REFUSED, "--model auto or resolved",
                              "doublets are followed one by one: each has its own axis, which no "
                              "common average describes");
    for (size_t i = 0; i < schedule->n_legs; i++) {
        const nrw_leg *leg = &schedule->legs[i];
        double time_s;
        const char *quick = particles->kind == NRW_MOMENT_INDUCED
                                ? nrw_drive_too_quick(&leg->drive, particles->relaxation_time_s,
                                                      &time_s)
                                : NULL;
        if (quick)
            return nrw_errors_add(errors, NRW_REFUSED, "slower changes of the drive",
                                  "leg \"%s\": %s of %.3g s is too quick for moments that take "
                                  "%.3g s to follow",
                                  leg->name, quick, time_s, particles->relaxation_time_s);
        if (scenario->model.mutual_induction && leg->drive.main.mode == NRW_DRIVE_SAMPLED)
            return nrw_errors_add(errors, NRW_REFUSED, "another mode, or mutual_induction: false",
                                  "leg \"%s\" plays samples, for which mutual induction is not "
                                  "derived",
                                  leg->name);
        if (particles->shape.doublet && leg->drive.main.mode == NRW_DRIVE_SAMPLED)
            return nrw_errors_add(errors, NRW_REFUSED, "another mode, or spheres",
                                  "leg \"%s\" plays samples, for which the moment of doublets is "
                                  "not derived",
                                  leg->name);
        if (model == NRW_MODEL_AVERAGED && leg->drive.main.mode == NRW_DRIVE_SAMPLED)
            return nrw_errors_add(errors, NRW_REFUSED, "--model auto or resolved",
                                  "leg \"%s\" plays samples, which have no period that the "
                                  "averaged model could average over",
                                  leg->name);
    }
    return NRW_OK;
}

nrw_status nrw_run(const nrw_scenario *scenario, const nrw_channel *channel,
                   const nrw_schedule *schedule, const nrw_run_config *config,
                   nrw_run_result *result, nrw_errors *errors)
{
    memset(result, 0, sizeof *result);
    run_state run;
    memset(&run, 0, sizeof run);
    run.scenario = scenario;
    run.channel = channel;
    run.schedule = schedule;
    run.config = config;
    run.result = result;
    run.errors = errors;
    if (schedule->n_legs == 0)
        return nrw_errors_add(errors, NRW_BAD_INPUT, "at least one leg", "the schedule has no legs");
    nrw_status status = check_legs(scenario, schedule, config->model, errors);
    if (status != NRW_OK)
        return status;
    status = begin(&run);
    if (status == NRW_OK) {
        status = loop(&run);
        /* what was done is kept whatever stopped it */
        nrw_status finished = finish(&run);
        if (status == NRW_OK)
            status = finished;
    }
    nrw_world_destroy(run.world);
    nrw_control_clear(&run.control);
    nrw_morphology_work_destroy(run.morphology);
    free(run.in_largest);
    free(run.marks);
    free(run.stuck);
    free(run.radius_um);
    return status;
}
