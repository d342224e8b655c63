/* Recipes: the few numbers that a search turns, and the schedule that they
 * stand for on a given route (docs/planning.md, section 3). */
#ifndef NRW_RECIPE_H
#define NRW_RECIPE_H

#include <stddef.h>

#include "../sim/channel.h"
#include "../sim/error.h"
#include "../sim/scenario.h"
#include "../sim/schedule.h"

/* How the swarm is carried. Angles in degrees, times in s. */
typedef struct nrw_recipe {
    char name[NRW_NAME_SIZE];
    double field_mT, frequency_Hz;
    double tilt_deg;
    double other_tilt_deg;  /* second tilt in alternation */
    double share, period_s; /* of the other tilt; share 0: one tilt alone */
    double push_tilt_deg;   /* tilt when the swarm stalls before a throat; 0: none */
    double wobble_deg, wobble_period_s;
    double lookahead_um;
    bool leave_by_centroid; /* a throat is passed when the centroid is through, not the tail */
    bool steer_by_rear;
    double dwell_s; /* goes on that long once 95 % are through a throat */
    double home_tilt_deg;
    int collects; /* times that it drives back and comes home again */
    double collect_s;
    bool regather;  /* laid flat again between throats where there is room */
    bool reshaping; /* false: the simple baseline, gather then one constant tilt */
} nrw_recipe;

/* Schedule of a recipe for a scenario and its channel: gather, pass each throat
 * (with dwell; on a stall pushed through at a steeper tilt, and if that stalls too
 * laid flat and tried again), come home, collect, hold. Timeouts share out the deadline. Fills
 * *schedule (owned by the caller). NRW_NO_MEMORY. */
nrw_status nrw_recipe_schedule(const nrw_recipe *recipe, const nrw_scenario *scenario,
                               const nrw_channel *channel, nrw_schedule *schedule,
                               nrw_errors *errors);

/* The largest field in mT, to 1e-3 below, that the rig gives in all shapes that
 * the recipe uses at its frequency; without a rig `fallback_mT`. */
double nrw_recipe_available_field_mT(const nrw_recipe *recipe, const nrw_scenario *scenario,
                                     double fallback_mT);

/* The recipe in words, e.g. "tilt 50 deg, 85 Hz, 12 mT". */
void nrw_recipe_describe(const nrw_recipe *recipe, char *text, size_t size);

#endif
