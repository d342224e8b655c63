#include "timeline.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#define ITEMS_MAX 10000000

static nrw_status append(nrw_timeline *timeline, size_t *capacity, const nrw_timeline_item *item,
                         nrw_errors *errors)
{
    if (timeline->n_items == *capacity) {
        const size_t wanted = *capacity ? 2 * *capacity : 64;
        nrw_timeline_item *items =
            wanted <= ITEMS_MAX ? realloc(timeline->items, wanted * sizeof *items) : NULL;
        if (!items)
            return nrw_errors_add(errors, NRW_NO_MEMORY, NULL, "no memory for the times of legs");
        timeline->items = items;
        *capacity = wanted;
    }
    timeline->items[timeline->n_items++] = *item;
    return NRW_OK;
}

static bool heads_by_feedback(const nrw_drive_setting *setting)
{
    return setting->mode != NRW_DRIVE_GENERAL && setting->mode != NRW_DRIVE_OFF &&
           setting->heading_kind != NRW_HEADING_FIXED;
}

static bool needs_imaging(const nrw_leg *leg)
{
    return (leg->until.present & ~(unsigned)NRW_UNTIL_ELAPSED) || leg->stall_after_s > 0.0 ||
           heads_by_feedback(&leg->drive.main) ||
           (leg->drive.alternate_share > 0.0 && heads_by_feedback(&leg->drive.other));
}

static bool refuse_what_has_no_times(const nrw_schedule *schedule, nrw_errors *errors)
{
    bool refused = false;
    for (size_t i = 0; i < schedule->n_legs; i++) {
        const nrw_leg *leg = &schedule->legs[i];
        if (!needs_imaging(leg))
            continue;
        refused = true;
        (void)nrw_errors_add(errors, NRW_REFUSED, "times and headings from a run",
                             "leg \"%s\" follows what imaging sees", leg->name);
    }
    return refused;
}

/* Length of a leg that ends by the clock; *timed_out: by its timeout. */
static double length_s(const nrw_leg *leg, bool *timed_out)
{
    double elapsed = INFINITY;
    if (leg->until.present & NRW_UNTIL_ELAPSED)
        elapsed = leg->until.elapsed_s + leg->until.dwell_s;
    *timed_out = leg->timeout_s < elapsed;
    return fmin(elapsed, leg->timeout_s);
}

static size_t next_leg(const nrw_schedule *schedule, size_t leg, bool timed_out, const int *visits)
{
    const int aim = schedule->legs[leg].on_timeout_leg;
    size_t next = timed_out && aim >= 0 ? (size_t)aim : leg + 1;
    while (next < schedule->n_legs && visits[next] >= schedule->legs[next].max_visits)
        next++;
    return next;
}

nrw_status nrw_timeline_of_schedule(const nrw_schedule *schedule, double deadline_s,
                                    nrw_timeline *timeline, nrw_errors *errors)
{
    memset(timeline, 0, sizeof *timeline);
    if (refuse_what_has_no_times(schedule, errors))
        return NRW_REFUSED;
    int *visits = calloc(schedule->n_legs + 1, sizeof *visits);
    if (!visits)
        return nrw_errors_add(errors, NRW_NO_MEMORY, NULL, "out of memory");
    nrw_status status = NRW_OK;
    size_t capacity = 0, leg = 0;
    while (status == NRW_OK && leg < schedule->n_legs && timeline->end_s < deadline_s) {
        const nrw_drive *drive = &schedule->legs[leg].drive;
        bool timed_out;
        const double length = length_s(&schedule->legs[leg], &timed_out);
        const nrw_timeline_item item = {
            timeline->end_s,
            (int)leg,
            timeline->end_s,
            {drive->main.heading_deg * NRW_DEGREE, drive->other.heading_deg * NRW_DEGREE},
            {drive->main.tilt_deg, drive->other.tilt_deg}};
        visits[leg]++;
        if (length > 0.0)
            status = append(timeline, &capacity, &item, errors);
        timeline->end_s = fmin(timeline->end_s + length, deadline_s);
        leg = next_leg(schedule, leg, timed_out, visits);
    }
    free(visits);
    if (status == NRW_OK && !isfinite(timeline->end_s))
        status = nrw_errors_add(errors, NRW_REFUSED, "a timeout or a deadline",
                                "the schedule has no end");
    if (status == NRW_OK && timeline->n_items == 0)
        status = nrw_errors_add(errors, NRW_REFUSED, "a leg of some length",
                                "the schedule lasts no time");
    if (status != NRW_OK)
        nrw_timeline_clear(timeline);
    return status;
}

nrw_status nrw_timeline_of_run(const nrw_run_result *run, nrw_timeline *timeline,
                               nrw_errors *errors)
{
    memset(timeline, 0, sizeof *timeline);
    size_t capacity = 0;
    nrw_status status = NRW_OK;
    if (run->n_steering == 0 || run->n_visits == 0)
        return nrw_errors_add(errors, NRW_REFUSED, "a run that was recorded",
                              "the run tells no times");
    for (size_t i = 0; i < run->n_steering && status == NRW_OK; i++) {
        const nrw_steering *steering = &run->steering[i];
        const nrw_leg_visit *visit = &run->visits[steering->visit];
        const double until = i + 1 < run->n_steering ? run->steering[i + 1].time_s : run->time_s;
        if (!(until > steering->time_s))
            continue;
        const nrw_timeline_item item = {steering->time_s,
                                        visit->leg,
                                        visit->start_s,
                                        {steering->heading_rad[0], steering->heading_rad[1]},
                                        {steering->tilt_deg[0], steering->tilt_deg[1]}};
        status = append(timeline, &capacity, &item, errors);
    }
    timeline->end_s = run->time_s;
    if (status == NRW_OK && timeline->n_items == 0)
        status =
            nrw_errors_add(errors, NRW_REFUSED, "a run of some length", "the run lasted no time");
    if (status != NRW_OK)
        nrw_timeline_clear(timeline);
    return status;
}

void nrw_timeline_clear(nrw_timeline *timeline)
{
    free(timeline->items);
    memset(timeline, 0, sizeof *timeline);
}
