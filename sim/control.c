#include "control.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Exact times are sums of steps: equal within this, s. */
#define TIME_TOLERANCE_S 1e-9

static const nrw_leg *leg_in_force(const nrw_control *control)
{
    return &control->schedule->legs[control->leg];
}

nrw_status nrw_control_init(nrw_control *control, const nrw_scenario *scenario,
                            const nrw_channel *channel, const nrw_schedule *schedule,
                            nrw_errors *errors)
{
    memset(control, 0, sizeof *control);
    control->scenario = scenario;
    control->channel = channel;
    control->schedule = schedule;
    control->visits = calloc(schedule->n_legs + 1, sizeof *control->visits);
    if (!control->visits)
        return nrw_errors_add(errors, NRW_NO_MEMORY, "", "no memory for a run");
    return NRW_OK;
}

void nrw_control_clear(nrw_control *control)
{
    free(control->visits);
    free(control->marks);
    memset(control, 0, sizeof *control);
}

void nrw_control_enter(nrw_control *control, size_t leg, double t_s)
{
    control->leg = leg;
    control->leg_start_s = t_s;
    control->held = false;
    control->held_since_s = NAN;
    control->n_marks = 0;
    if (leg >= control->schedule->n_legs)
        return;
    control->visits[leg]++;
    const nrw_drive *drive = &control->schedule->legs[leg].drive;
    const nrw_drive_setting *settings[2] = {&drive->main, &drive->other};
    for (int k = 0; k < 2; k++) {
        control->tilt_deg[k] = settings[k]->tilt_deg;
        if (settings[k]->heading_kind == NRW_HEADING_FIXED)
            control->heading_rad[k] = settings[k]->heading_deg * NRW_DEGREE;
    }
}

const nrw_drive_setting *nrw_control_setting(const nrw_control *control, double t_s, int *which)
{
    const nrw_drive *drive = &leg_in_force(control)->drive;
    const nrw_drive_setting *setting = nrw_drive_at(drive, t_s - control->leg_start_s);
    *which = setting == &drive->main ? 0 : 1;
    return setting;
}

/* --- feedback headings ------------------------------------------------------ */

static void steer(nrw_control *control, int which, const nrw_drive_setting *setting,
                  const nrw_morphology *seen)
{
    double at[2] = {seen->x_um, seen->y_um};
    if (setting->steer_by_rear) {
        at[0] = seen->rear_x_um;
        at[1] = seen->rear_y_um;
    }
    double to[2];
    if (setting->heading_kind == NRW_HEADING_CENTRELINE) {
        double ahead = setting->lookahead_um;
        if (!(ahead > 0.0))
            ahead = nrw_scenario_gathered_diameter_um(control->scenario);
        double s = nrw_channel_route_project_um(control->channel, at[0], at[1]);
        /* the route ends at the target: beyond it there is nothing to head for */
        double end = nrw_channel_route_length_um(control->channel);
        nrw_channel_route_point(control->channel, fmin(s + ahead, end), to, NULL);
    } else if (setting->heading_kind == NRW_HEADING_NODE) {
        memcpy(to, control->scenario->map.nodes[setting->heading_node].at_um, sizeof to);
    } else {
        return;
    }
    double dx = to[0] - at[0], dy = to[1] - at[1], distance = hypot(dx, dy);
    if (distance > 1e-9)
        control->heading_rad[which] = atan2(dy, dx);
    if (setting->heading_kind == NRW_HEADING_NODE && setting->ease_um > 0.0)
        control->tilt_deg[which] = setting->tilt_deg * fmin(1.0, distance / setting->ease_um);
}

/* --- conditions ------------------------------------------------------------- */

static bool conditions_hold(const nrw_control *control, const nrw_morphology *seen)
{
    const nrw_condition *until = &leg_in_force(control)->until;
    const unsigned p = until->present;
    if ((p & NRW_UNTIL_SPREAD_BELOW) && !(seen->spread_um < until->spread_below_um))
        return false;
    if ((p & NRW_UNTIL_WIDTH_BELOW) && !(seen->width_across_um < until->width_below_um))
        return false;
    if ((p & NRW_UNTIL_ASPECT_ABOVE) && !(seen->aspect_ratio > until->aspect_above))
        return false;
    if ((p & NRW_UNTIL_ASPECT_BELOW) && !(seen->aspect_ratio < until->aspect_below))
        return false;
    if ((p & NRW_UNTIL_CLUSTER_ABOVE) && !(seen->largest_cluster_fraction > until->cluster_above))
        return false;
    if (p & NRW_UNTIL_CENTROID_WITHIN) {
        const double *node = control->scenario->map.nodes[until->centroid_within.node].at_um;
        if (!(hypot(seen->x_um - node[0], seen->y_um - node[1]) <=
              until->centroid_within.distance_um))
            return false;
    }
    if (p & NRW_UNTIL_CENTROID_PAST) {
        double s = nrw_channel_route_project_um(control->channel, seen->x_um, seen->y_um);
        double node = nrw_channel_route_node_um(control->channel, until->centroid_past.node);
        if (!(s >= node + until->centroid_past.distance_um))
            return false;
    }
    if (p & NRW_UNTIL_TAIL_PAST) {
        double node = nrw_channel_route_node_um(control->channel, until->tail_past.node);
        if (!(seen->tail_um >= node + until->tail_past.distance_um))
            return false;
    }
    return true;
}

static void mark_progress(nrw_control *control, double t_s, const nrw_morphology *seen)
{
    if (!(leg_in_force(control)->stall_after_s > 0.0))
        return;
    if (control->n_marks == control->capacity) {
        size_t capacity = control->capacity ? 2 * control->capacity : 256;
        nrw_progress_mark *marks = realloc(control->marks, capacity * sizeof *marks);
        if (!marks)
            return; /* a stall is then seen later, from the marks that there are */
        control->marks = marks;
        control->capacity = capacity;
    }
    control->marks[control->n_marks++] = (nrw_progress_mark){
        t_s, nrw_channel_route_project_um(control->channel, seen->x_um, seen->y_um)};
}

static bool elapsed_holds(const nrw_control *control, double t_s)
{
    const nrw_condition *until = &leg_in_force(control)->until;
    return !(until->present & NRW_UNTIL_ELAPSED) ||
           t_s - control->leg_start_s >= until->elapsed_s - TIME_TOLERANCE_S;
}

static void note_held(nrw_control *control, double t_s)
{
    if (control->held && isnan(control->held_since_s) && elapsed_holds(control, t_s))
        control->held_since_s = t_s;
}

void nrw_control_observe(nrw_control *control, double t_s, const nrw_observation *observation)
{
    if (control->leg >= control->schedule->n_legs)
        return;
    const unsigned by_frame = leg_in_force(control)->until.present & ~(unsigned)NRW_UNTIL_ELAPSED;
    control->in_sight = observation->seen.visible;
    if (!control->in_sight) {
        control->held = false;
        return;
    }
    const nrw_drive *drive = &leg_in_force(control)->drive;
    steer(control, 0, &drive->main, &observation->seen);
    if (drive->alternate_share > 0.0)
        steer(control, 1, &drive->other, &observation->seen);
    control->held = by_frame != 0 && conditions_hold(control, &observation->seen);
    note_held(control, t_s);
    mark_progress(control, t_s, &observation->seen);
}

/* --- leg ends --------------------------------------------------------------- */

double nrw_control_next_s(const nrw_control *control, double t_s)
{
    if (control->leg >= control->schedule->n_legs)
        return t_s;
    const nrw_leg *leg = leg_in_force(control);
    double next = control->leg_start_s + leg->timeout_s;
    double change =
        control->leg_start_s + nrw_drive_next_switch_s(&leg->drive, t_s - control->leg_start_s);
    next = fmin(next, change);
    if (leg->until.present & NRW_UNTIL_ELAPSED) {
        double elapsed = control->leg_start_s + leg->until.elapsed_s;
        if (elapsed > t_s + TIME_TOLERANCE_S)
            next = fmin(next, elapsed);
    }
    if (!isnan(control->held_since_s)) {
        double dwelt = control->held_since_s + leg->until.dwell_s;
        if (dwelt > t_s + TIME_TOLERANCE_S)
            next = fmin(next, dwelt);
    }
    return next;
}

static bool stalled(const nrw_control *control, double t_s)
{
    const nrw_leg *leg = leg_in_force(control);
    /* out of sight there is nothing to tell an advance from */
    if (!(leg->stall_after_s > 0.0) || control->n_marks == 0 || !control->in_sight)
        return false;
    const double since = t_s - leg->stall_after_s;
    if (control->marks[0].time_s > since + TIME_TOLERANCE_S)
        return false;
    size_t k = 0;
    while (k + 1 < control->n_marks && control->marks[k + 1].time_s <= since + TIME_TOLERANCE_S)
        k++;
    double advance = control->marks[control->n_marks - 1].route_um - control->marks[k].route_um;
    return advance < leg->stall_min_um;
}

/* A leg that was entered as often as it may be is passed over. */
static size_t allowed_leg(nrw_control *control, size_t wanted)
{
    size_t leg = wanted;
    while (leg < control->schedule->n_legs &&
           control->visits[leg] >= control->schedule->legs[leg].max_visits)
        leg++;
    if (leg != wanted)
        (void)snprintf(control->warning, sizeof control->warning,
                       "leg '%s' was due once more than its max_visits of %d: passed over",
                       control->schedule->legs[wanted].name,
                       control->schedule->legs[wanted].max_visits);
    return leg;
}

bool nrw_control_ends(nrw_control *control, double t_s, nrw_leg_end *end, size_t *next_leg)
{
    control->warning[0] = '\0';
    if (control->leg >= control->schedule->n_legs)
        return false;
    const nrw_leg *leg = leg_in_force(control);
    const bool only_elapsed = leg->until.present == NRW_UNTIL_ELAPSED;
    if (only_elapsed && isnan(control->held_since_s) && elapsed_holds(control, t_s))
        control->held_since_s = t_s;
    note_held(control, t_s);
    if (!isnan(control->held_since_s) &&
        t_s >= control->held_since_s + leg->until.dwell_s - TIME_TOLERANCE_S) {
        *end = NRW_LEG_CONDITION;
        *next_leg = allowed_leg(control, control->leg + 1);
        return true;
    }
    if (t_s >= control->leg_start_s + leg->timeout_s - TIME_TOLERANCE_S) {
        *end = NRW_LEG_TIMEOUT;
        size_t wanted = leg->on_timeout_leg >= 0 ? (size_t)leg->on_timeout_leg : control->leg + 1;
        *next_leg = allowed_leg(control, wanted);
        if (control->warning[0] == '\0' && leg->until.present)
            (void)snprintf(control->warning, sizeof control->warning,
                           "leg '%s' ran into its timeout of %g s", leg->name, leg->timeout_s);
        return true;
    }
    if (stalled(control, t_s)) {
        *end = NRW_LEG_STALL;
        *next_leg = allowed_leg(control, (size_t)leg->stall_leg);
        if (control->warning[0] == '\0')
            (void)snprintf(control->warning, sizeof control->warning,
                           "leg '%s' stalled: less than %g µm in %g s", leg->name,
                           leg->stall_min_um, leg->stall_after_s);
        return true;
    }
    return false;
}
