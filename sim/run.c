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
#include "run_parts.h"
#include "sampled_average.h"
#include "world.h"

/* A step that fails is halved, at most to this part of the longest; afterwards steps
 * grow back by this factor each. */
#define STEP_CUT_MAX 256.0
#define STEP_RECOVERY 1.15

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
    void *blocks[] = {result->x_um,
                      result->y_um,
                      result->z_um,
                      result->moment_x,
                      result->moment_y,
                      result->moment_z,
                      result->radius_um,
                      result->fates,
                      result->losses,
                      result->frames,
                      result->visits,
                      result->trajectory_um,
                      result->trajectory_axis,
                      result->steering,
                      result->trajectory_time_s,
                      result->furthest_um,
                      result->causes,
                      result->gathered,
                      result->arrived};
    for (size_t k = 0; k < sizeof blocks / sizeof *blocks; k++)
        free(blocks[k]);
    for (size_t k = 0; k < result->n_warnings; k++)
        free(result->warnings[k]);
    free(result->warnings);
    memset(result, 0, sizeof *result);
}

nrw_status nrw_run_out_of_memory(nrw_run_state *run)
{
    return nrw_errors_add(run->errors, NRW_NO_MEMORY, "", "no memory to record the run");
}

void nrw_run_warn(nrw_run_state *run, const char *format, ...)
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

static nrw_model model_of_leg(nrw_run_state *run, const nrw_leg *leg, nrw_leg_visit *visit)
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
        nrw_run_warn(run,
                     "leg '%s': the averaged model was asked for outside its range (N_b = %.3g, at "
                     "most 2; Lambda = %.3g, below 0.3)",
                     leg->name, visit->cycle_displacement, visit->shedding_number);
    return run->config->model;
}

static nrw_status enter_leg(nrw_run_state *run, size_t leg)
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
            return nrw_run_out_of_memory(run);
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

static void close_visit(nrw_run_state *run, nrw_leg_end end)
{
    nrw_run_result *result = run->result;
    if (result->n_visits == 0 || run->control.leg >= run->schedule->n_legs)
        return;
    nrw_leg_visit *visit = &result->visits[result->n_visits - 1];
    visit->end_s = run->world->time_s;
    visit->end = end;
    visit->seen = nrw_leg_watch_end(&run->watch, run->world);
}

/* --- steps ----------------------------------------------------------------- */

static void add_spin(nrw_run_state *run, nrw_vec3 axis, double taken)
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

static double next_event(const nrw_run_state *run)
{
    const double t = run->world->time_s;
    double next = fmin(run->scenario->deadline_s, (double)run->next_frame * run->frame_s);
    return fmin(next, fmax(t, nrw_control_next_s(&run->control, t)));
}

/* One step of at most h. A step that diverges is taken back and tried at half its
 * length, down to 1/STEP_CUT_MAX of the longest; then the failure stands. */
static nrw_status step_once(nrw_run_state *run, double h, double most)
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
static double longest_step(const nrw_run_state *run)
{
    const double most = run->config->step_max_s > 0.0 ? run->config->step_max_s : NRW_STEP_MAX_S;
    const nrw_flow *flow = nrw_channel_flow(run->channel);
    return flow ? fmin(most, nrw_flow_step_max_s(flow)) : most;
}

static nrw_status advance_to(nrw_run_state *run, double event)
{
    nrw_world *world = run->world;
    const double most = longest_step(run);
    if (!(run->step_cap_s > 0.0))
        run->step_cap_s = most;
    while (event - world->time_s > NRW_RUN_TIME_TOLERANCE_S) {
        const double left = event - world->time_s;
        nrw_status status = step_once(run, left / ceil(left / run->step_cap_s - 1e-6), most);
        if (status != NRW_OK)
            return status;
    }
    world->time_s = event; /* sums of steps carry rounding: events are exact */
    return NRW_OK;
}

static nrw_status change_legs(nrw_run_state *run, bool *switched)
{
    nrw_leg_end end;
    size_t next;
    *switched = false;
    while (run->control.leg < run->schedule->n_legs &&
           nrw_control_ends(&run->control, run->world->time_s, &end, &next)) {
        *switched = true;
        if (run->control.warning[0] != '\0')
            nrw_run_warn(run, "%s", run->control.warning);
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
static nrw_status keep_steering(nrw_run_state *run)
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
            return nrw_run_out_of_memory(run);
        result->steering = steering;
        run->steering_capacity = capacity;
    }
    result->steering[result->n_steering++] = now;
    return NRW_OK;
}

static nrw_status loop(nrw_run_state *run)
{
    nrw_status status = enter_leg(run, 0);
    const double deadline = run->scenario->deadline_s;
    while (status == NRW_OK) {
        const double t = run->world->time_s;
        if (t >= (double)run->next_frame * run->frame_s - NRW_RUN_TIME_TOLERANCE_S) {
            status = nrw_run_take_frame(run);
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
        if (t >= deadline - NRW_RUN_TIME_TOLERANCE_S) {
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

static nrw_status begin(nrw_run_state *run)
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
    double **arrays[] = {&result->x_um,      &result->y_um,       &result->z_um,
                         &result->moment_x,  &result->moment_y,   &result->moment_z,
                         &result->radius_um, &result->furthest_um};
    for (size_t k = 0; k < sizeof arrays / sizeof *arrays; k++) {
        *arrays[k] = calloc(n, sizeof(double));
        if (!*arrays[k])
            return nrw_run_out_of_memory(run);
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
        return nrw_run_out_of_memory(run);
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
        const char *quick =
            particles->kind == NRW_MOMENT_INDUCED
                ? nrw_drive_too_quick(&leg->drive, particles->relaxation_time_s, &time_s)
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
    nrw_run_state run;
    memset(&run, 0, sizeof run);
    run.scenario = scenario;
    run.channel = channel;
    run.schedule = schedule;
    run.config = config;
    run.result = result;
    run.errors = errors;
    if (schedule->n_legs == 0)
        return nrw_errors_add(errors, NRW_BAD_INPUT, "at least one leg",
                              "the schedule has no legs");
    nrw_status status = check_legs(scenario, schedule, config->model, errors);
    if (status != NRW_OK)
        return status;
    status = begin(&run);
    if (status == NRW_OK) {
        status = loop(&run);
        /* what was done is kept whatever stopped it */
        nrw_status finished = nrw_run_finish(&run);
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
