#include "schedule.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

nrw_leg nrw_leg_defaults(void)
{
    nrw_leg leg;
    memset(&leg, 0, sizeof leg);
    leg.drive.main = nrw_drive_setting_defaults();
    leg.drive.other = nrw_drive_setting_defaults();
    leg.until.centroid_within.node = -1;
    leg.until.centroid_past.node = -1;
    leg.until.tail_past.node = -1;
    leg.timeout_s = INFINITY;
    leg.on_timeout_leg = -1;
    leg.stall_leg = -1;
    leg.max_visits = 3;
    return leg;
}

void nrw_schedule_clear(nrw_schedule *schedule)
{
    for (size_t i = 0; i < schedule->n_samples; i++)
        nrw_samples_destroy(schedule->samples[i]);
    free(schedule->samples);
    free(schedule->legs);
    memset(schedule, 0, sizeof *schedule);
}
