/* Narrows, the part that decides and tells: schedules, plans, results, reports.
 *
 * This is the public face of planner/; programs include it (and
 * sim/narrows_sim.h) and nothing else. */
#ifndef NARROWS_PLAN_H
#define NARROWS_PLAN_H

#include "checkpoint.h"
#include "compare.h"
#include "estimate.h"
#include "export.h"
#include "flow_words.h"
#include "limit.h"
#include "plan.h"
#include "report.h"
#include "rig.h"
#include "rig_words.h"
#include "schedule_file.h"
#include "schedule_samples.h"
#include "strategy.h"
#include "sweep.h"
#include "validity_list.h"

#endif
