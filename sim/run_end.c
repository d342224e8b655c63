#include "run_parts.h"

#include <math.h>
#include <string.h>

#include "average.h"
#include "doublet_world.h"
#include "fate.h"
#include "mutual.h"
#include "sampled_average.h"

/* Share of repeated steps above which a result says so. */
#define REPEATED_MAX 0.01

/* Moments of the particles at the end, for final.csv. */
static void final_moments(nrw_run_state *run)
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
        nrw_vec3 m = soft ? nrw_doublets_moment(world, i) : nrw_vec3_scale(sphere, scale);
        if (world->mutual && i < world->n && world->n_steps > 0)
            m = nrw_mutual_moment(world, id, phase_rad);
        result->moment_x[id] = m.x;
        result->moment_y[id] = m.y;
        result->moment_z[id] = m.z;
    }
}

/* Sentences about the run as a whole; what each leg assumes is judged by validity.h. */
static void judge_run(nrw_run_state *run)
{
    if (run->scenario->particles.kind == NRW_MOMENT_INDUCED && !run->world->doublets &&
        !(run->scenario->particles.relaxation_time_s > 0.0) &&
        !(run->scenario->particles.remanent_fAm2 > 0.0))
        nrw_run_warn(run,
                     "the moment follows the field without lag (relaxation_time_s is 0): no torque "
                     "acts on a sphere, so nothing spins or rolls");
    if ((double)run->n_repeated > REPEATED_MAX * (double)run->n_steps)
        nrw_run_warn(run, "%.1f %% of the steps had to be taken again at half their length",
                     100.0 * (double)run->n_repeated / (double)run->n_steps);
}

nrw_status nrw_run_finish(nrw_run_state *run)
{
    nrw_run_result *result = run->result;
    nrw_world *world = run->world;
    result->time_s = world->time_s;
    result->final = nrw_run_observe(run).seen;
    for (size_t i = 0; i < world->n_made; i++) {
        const uint32_t id = world->ids[i];
        result->x_um[id] = world->x[i];
        result->y_um[id] = world->y[i];
        result->z_um[id] = world->z[i];
    }
    final_moments(run);
    (void)nrw_run_arrive(run);
    if (result->n_visits == 1 && result->visits[0].end >= NRW_LEG_DEADLINE)
        memcpy(result->gathered, run->in_largest, world->n_made);
    nrw_run_note_furthest(run);
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
        status = nrw_run_store_positions(run);
    return status;
}
