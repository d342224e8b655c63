#include "example_run.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

const char example_scenario[] =
    "format: narrows-scenario/1\n"
    "title: Example <of> one & \"throat\"\n"
    "fluid: {medium: water, temperature_C: 25}\n"
    "particles:\n"
    "  count: 40\n"
    "  diameter_um: 3\n"
    "  density_kg_m3: 1800\n"
    "  magnetics: {kind: induced, susceptibility: 0.3}\n"
    "channel:\n"
    "  depth_um: 60\n"
    "  nodes:\n"
    "    west: {at_um: [-100, 0]}\n"
    "    start: {at_um: [0, 0]}\n"
    "    gate: {at_um: [200, 0]}\n"
    "    goal: {at_um: [400, 0]}\n"
    "    east: {at_um: [500, 0]}\n"
    "  vessels:\n"
    "    - {from: west, to: start, width_um: 120}\n"
    "    - {from: start, to: gate, width_um: [[0, 120], [0.6, 120], [0.9, "
    "12], [1, 12]]}\n"
    "    - {from: gate, to: goal, width_um: [[0, 12], [0.2, 12], [0.5, 120], "
    "[1, 120]]}\n"
    "    - {from: goal, to: east, width_um: 120}\n"
    "release: {node: start, radius_um: 20}\n"
    "target: {node: goal, radius_um: 40}\n"
    "deadline_s: 90\n";

static double width_at(double s)
{
    if (s < 120)
        return 120;
    if (s < 180)
        return 120 - 108 * (s - 120) / 60;
    if (s < 240)
        return 12;
    return s < 300 ? 12 + 108 * (s - 240) / 60 : 120;
}

static double noise(size_t i, unsigned salt)
{
    unsigned bits = (unsigned)i * 2654435761u + salt * 40503u;
    bits ^= bits >> 15;
    bits *= 2246822519u;
    bits ^= bits >> 13;
    return (double)(bits & 0xffffff) / 0x1000000;
}

/* The swarm as an incompressible blob: particle i is behind a share (i + ½)/n of
 * its area, which fills the width that the channel leaves it. */
static void place(size_t n, double time_s, double *x, double *y)
{
    double side = 3 * sqrt((double)n) * (time_s < 15 ? 1.6 - 0.04 * time_s : 1);
    double s = time_s < 15 ? -side / 2 : -side / 2 + 7 * (time_s - 15);
    s = fmin(s, 400 - side / 2);
    double area = 0, each = side * side / (double)n;
    for (size_t i = 0; i < n; i++) {
        double width = fmin(side, width_at(s) - 3);
        for (; area < ((double)i + 0.5) * each; s += 0.25) {
            width = fmin(side, width_at(s) - 3);
            area += 0.25 * width;
        }
        x[i] = s + 2 * noise(i, 3) - 1;
        y[i] = width * (noise(i, 1) - 0.5);
        /* The last one is left before the gate. */
        if (i == 0 && time_s > 40)
            x[i] = 150, y[i] = 25;
    }
}

/* Front and tail leave the outermost particle out, as 95 % and 5 % of forty do. */
static void measure(const double *x, const double *y, size_t n, nrw_morphology *seen)
{
    double sx = 0, sy = 0, xx = 0, yy = 0;
    for (size_t i = 0; i < n; i++) {
        sx += x[i];
        sy += y[i];
    }
    sx /= (double)n;
    sy /= (double)n;
    double front[2] = {-1e9, -1e9}, tail[2] = {1e9, 1e9}, low = y[0], high = y[0];
    for (size_t i = 0; i < n; i++) {
        xx += (x[i] - sx) * (x[i] - sx);
        yy += (y[i] - sy) * (y[i] - sy);
        front[1] = fmax(front[1], fmin(front[0], x[i]));
        front[0] = fmax(front[0], x[i]);
        tail[1] = fmin(tail[1], fmax(tail[0], x[i]));
        tail[0] = fmin(tail[0], x[i]);
        low = fmin(low, y[i]);
        high = fmax(high, y[i]);
    }
    xx /= (double)n;
    yy /= (double)n;
    *seen = (nrw_morphology){.x_um = sx,
                             .y_um = sy,
                             .major_um = 4 * sqrt(fmax(xx, yy)),
                             .minor_um = 4 * sqrt(fmin(xx, yy)),
                             .angle_deg = xx >= yy ? 0 : 90,
                             .aspect_ratio = sqrt(fmax(xx, yy) / fmin(xx, yy)),
                             .spread_um = 2 * sqrt(xx + yy),
                             .width_across_um = high - low,
                             .front_um = front[1],
                             .tail_um = tail[1],
                             .rear_x_um = NAN,
                             .rear_y_um = NAN,
                             .largest_cluster_fraction = 0.975,
                             .neighbour_distance_um = 3.1,
                             .visible_area_um2 = NAN,
                             .visible = true};
}

static void *array(size_t n, size_t size)
{
    void *memory = calloc(n ? n : 1, size);
    cr_assert(memory != NULL);
    return memory;
}

static void make_schedule(nrw_schedule *schedule)
{
    static const char *const names[] = {"gather", "squeeze, then <b>go</b>", "bring home"};
    static const double tilts[] = {0, 30, 8};
    schedule->n_legs = 3;
    schedule->legs = array(3, sizeof *schedule->legs);
    for (int i = 0; i < 3; i++) {
        nrw_leg *leg = &schedule->legs[i];
        *leg = nrw_leg_defaults();
        (void)snprintf(leg->name, sizeof leg->name, "%s", names[i]);
        leg->drive.main.field_mT = 10;
        leg->drive.main.frequency_Hz = 50;
        leg->drive.main.tilt_deg = tilts[i];
        leg->timeout_s = 60;
    }
    schedule->legs[0].until =
        (nrw_condition){.present = NRW_UNTIL_CLUSTER_ABOVE, .cluster_above = 0.9};
    schedule->legs[1].drive.main.heading_kind = NRW_HEADING_CENTRELINE;
    schedule->legs[1].drive.main.wobble_deg = 30;
    schedule->legs[1].drive.main.wobble_period_s = 3;
    schedule->legs[1].until = (nrw_condition){
        .present = NRW_UNTIL_TAIL_PAST,
        .tail_past = {.node = 2, .name = "gate", .distance_um = 50},
    };
    schedule->legs[2].drive.main.heading_kind = NRW_HEADING_NODE;
    schedule->legs[2].drive.main.heading_node = 3;
    (void)snprintf(schedule->legs[2].drive.main.heading_name, NRW_NAME_SIZE, "goal");
    schedule->legs[2].until = (nrw_condition){
        .present = NRW_UNTIL_CENTROID_WITHIN,
        .centroid_within = {.node = 3, .name = "goal", .distance_um = 15},
    };
}

static int leg_at(double time_s)
{
    return time_s < 15 ? 0 : time_s < 60 ? 1 : 2;
}

static void make_frames(nrw_run_result *run, size_t n, size_t n_frames)
{
    double *x = array(n, sizeof *x), *y = array(n, sizeof *y);
    run->n_frames = run->n_stored = n_frames;
    run->frames = array(n_frames, sizeof *run->frames);
    run->trajectory_um = array(3 * n * n_frames, sizeof *run->trajectory_um);
    run->trajectory_time_s = array(n_frames, sizeof *run->trajectory_time_s);
    for (size_t k = 0; k < n_frames; k++) {
        nrw_frame *frame = &run->frames[k];
        frame->time_s = 80.0 * (double)k / (double)(n_frames > 1 ? n_frames - 1 : 1);
        frame->leg = leg_at(frame->time_s);
        frame->heading_rad = frame->leg == 1 ? 0.5 * sin(frame->time_s * 2.1) : 0;
        frame->speed_um_s = k == 0 ? NAN : frame->leg ? 7 : 0.1;
        place(n, frame->time_s, x, y);
        measure(x, y, n, &frame->seen);
        run->trajectory_time_s[k] = frame->time_s;
        for (size_t i = 0; i < n; i++) {
            float *at = run->trajectory_um + 3 * (k * n + i);
            at[0] = (float)x[i];
            at[1] = (float)y[i];
            at[2] = 1.53f;
        }
    }
    run->final = run->frames[n_frames - 1].seen;
    memcpy(run->x_um, x, n * sizeof *x);
    memcpy(run->y_um, y, n * sizeof *y);
    free(x);
    free(y);
}

static void make_visits(nrw_run_result *run)
{
    static const double ends[] = {15, 60, 80};
    run->n_visits = 3;
    run->visits = array(3, sizeof *run->visits);
    for (int i = 0; i < 3; i++)
        run->visits[i] = (nrw_leg_visit){.leg = i,
                                         .start_s = i ? ends[i - 1] : 0,
                                         .end_s = ends[i],
                                         .end = i == 1 ? NRW_LEG_TIMEOUT : NRW_LEG_CONDITION,
                                         .model = NRW_MODEL_AVERAGED,
                                         .mason_number = 1.27,
                                         .cycle_displacement = 0.79,
                                         .shedding_number = 0.06 * i};
}

static char *copy(const char *text)
{
    char *memory = array(strlen(text) + 1, 1);
    strcpy(memory, text);
    return memory;
}

void example_run_make_sized(example_run *example, size_t n, size_t n_frames)
{
    memset(example, 0, sizeof *example);
    nrw_run_result *run = &example->run;
    make_schedule(&example->schedule);
    run->n_particles = n;
    double **arrays[] = {&run->x_um,     &run->y_um,     &run->z_um,     &run->moment_x,
                         &run->moment_y, &run->moment_z, &run->radius_um};
    for (size_t i = 0; i < sizeof arrays / sizeof *arrays; i++)
        *arrays[i] = array(n, sizeof(double));
    run->fates = array(n, sizeof *run->fates);
    make_frames(run, n, n_frames);
    make_visits(run);
    for (size_t i = 0; i < n; i++) {
        run->z_um[i] = 1.53;
        run->moment_x[i] = 30;
        run->radius_um[i] = 1.4 + 0.2 * noise(i, 9);
        run->fates[i] = i == 0 ? NRW_FATE_LEFT_BEHIND : NRW_FATE_DELIVERED;
        if (i % 13 == 1)
            run->fates[i] = NRW_FATE_SCATTERED;
        run->fate_fraction[run->fates[i]] += 1 / (double)n;
    }
    run->n_losses = 2;
    run->losses = array(2, sizeof *run->losses);
    run->losses[0] = (nrw_loss_place){.place = "vessel gate-goal",
                                      .at_um = {330, 5},
                                      .cause = NRW_LOSS_PAST_BUT_APART,
                                      .fraction = run->fate_fraction[NRW_FATE_SCATTERED]};
    run->losses[1] = (nrw_loss_place){.place = "throat 1",
                                      .at_um = {150, 25},
                                      .cause = NRW_LOSS_POCKET,
                                      .fraction = run->fate_fraction[NRW_FATE_LEFT_BEHIND]};
    run->time_s = 80;
    run->time_to_target_s = 72.5;
    run->path_um = 415;
    run->mean_speed_um_s = 415.0 / 80;
    run->mean_spin_Hz = 1.4;
    run->visible_fraction_of_time = 1;
    run->steps = 10000;
    run->pair_interactions = (uint64_t)n * n * 10000;
    run->largest_overlap = 0.009;
    run->gap_um = 0.03;
    run->n_warnings = 1;
    run->warnings = array(1, sizeof *run->warnings);
    run->warnings[0] = copy("leg \"squeeze, then <b>go</b>\" ended by its timeout");
}

void example_run_make(example_run *example)
{
    example_run_make_sized(example, 40, 60);
}

void example_run_clear(example_run *example)
{
    nrw_run_result *run = &example->run;
    void *owned[] = {run->x_um,
                     run->y_um,
                     run->z_um,
                     run->moment_x,
                     run->moment_y,
                     run->moment_z,
                     run->radius_um,
                     run->fates,
                     run->losses,
                     run->frames,
                     run->visits,
                     run->trajectory_um,
                     run->trajectory_time_s};
    for (size_t i = 0; i < sizeof owned / sizeof *owned; i++)
        free(owned[i]);
    for (size_t i = 0; i < run->n_warnings; i++)
        free(run->warnings[i]);
    free(run->warnings);
    nrw_schedule_clear(&example->schedule);
    memset(example, 0, sizeof *example);
}
