/* Narrows, the part that predicts: scenarios, channels, schedules, runs.
 *
 * This is the public face of sim/; programs include it (and
 * planner/narrows_plan.h) and nothing else. */
#ifndef NARROWS_SIM_H
#define NARROWS_SIM_H

#include "channel.h"
#include "drive.h"
#include "error.h"
#include "fluid.h"
#include "mobility.h"
#include "morphology.h"
#include "particle.h"
#include "result.h"
#include "run.h"
#include "scenario.h"
#include "schedule.h"
#include "store.h"
#include "suggest.h"
#include "trajectory.h"
#include "units.h"
#include "validity.h"
#include "version.h"

#endif
