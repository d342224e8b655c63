#include "recipe.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "../sim/run.h"
#include "rig.h"

/* Shares of the deadline; what is left over is margin. */
#define GATHER_SHARE 0.12
#define HOME_SHARE 0.16
#define MARGIN_SHARE 0.06
/* The last way home may take what earlier legs have left. */
#define LAST_HOME_SHARE 0.4
/* Share of the swarm that is one cluster, with its middle past a throat: most is through. */
#define MOST_OF_IT 0.7
/* A swarm is gathered when this share is one cluster. */
#define GATHERED_FRACTION 0.9

/* --- drives ----------------------------------------------------------------- */

static nrw_drive_setting rotating(const nrw_recipe *recipe, double tilt_deg)
{
    nrw_drive_setting setting = nrw_drive_setting_defaults();
    setting.mode = NRW_DRIVE_ROTATING;
    setting.field_mT = recipe->field_mT;
    setting.frequency_Hz = recipe->frequency_Hz;
    setting.tilt_deg = tilt_deg;
    return setting;
}

static nrw_drive carrying(const nrw_recipe *recipe)
{
    nrw_drive drive;
    memset(&drive, 0, sizeof drive);
    drive.main = rotating(recipe, recipe->tilt_deg);
    drive.main.heading_kind = NRW_HEADING_CENTRELINE;
    drive.main.lookahead_um = recipe->lookahead_um;
    drive.main.steer_by_rear = recipe->steer_by_rear;
    drive.main.wobble_deg = recipe->wobble_deg;
    drive.main.wobble_period_s = recipe->wobble_period_s;
    drive.other = drive.main;
    if (recipe->share > 0.0) {
        drive.other.tilt_deg = recipe->other_tilt_deg;
        drive.alternate_share = recipe->share;
        drive.alternate_period_s = recipe->period_s;
    }
    return drive;
}

double nrw_recipe_available_field_mT(const nrw_recipe *recipe, const nrw_scenario *scenario,
                                     double fallback_mT)
{
    if (!scenario->rig.present)
        return fallback_mT;
    const double tilts[] = {0.0, recipe->tilt_deg, recipe->other_tilt_deg, recipe->push_tilt_deg,
                            recipe->home_tilt_deg};
    double available = INFINITY;
    for (size_t k = 0; k < sizeof tilts / sizeof *tilts; k++) {
        nrw_drive drive = carrying(recipe);
        drive.main.tilt_deg = tilts[k];
        drive.main.field_mT = 1.0;
        available = fmin(available, nrw_rig_available_field_mT(&scenario->rig, &drive.main, NULL));
    }
    /* rounded down, so that the number in the file is within the rig too */
    return floor(available * 1000.0) / 1000.0;
}

/* --- places ----------------------------------------------------------------- */

/* "s along the route" as a node of the map and a distance beyond it. */
static nrw_place_condition place_at(const nrw_scenario *scenario, const nrw_channel *channel,
                                    double s)
{
    nrw_place_condition place;
    memset(&place, 0, sizeof place);
    place.node = -1;
    double nearest = INFINITY;
    for (size_t k = 0; k < scenario->map.n_nodes; k++) {
        if (!nrw_channel_is_open(channel) && !nrw_channel_route_has_node(channel, (int)k))
            continue;
        double away = fabs(nrw_channel_route_node_um(channel, (int)k) - s);
        if (away < nearest) {
            nearest = away;
            place.node = (int)k;
        }
    }
    if (place.node < 0)
        return place;
    memcpy(place.name, scenario->map.nodes[place.node].name, sizeof place.name);
    place.distance_um = s - nrw_channel_route_node_um(channel, place.node);
    return place;
}

/* Node that stands where the target is, -1 if none does. */
static int target_node(const nrw_scenario *scenario)
{
    if (scenario->target.node >= 0)
        return scenario->target.node;
    for (size_t k = 0; k < scenario->map.n_nodes; k++)
        if (hypot(scenario->map.nodes[k].at_um[0] - scenario->target.at_um[0],
                  scenario->map.nodes[k].at_um[1] - scenario->target.at_um[1]) <
            0.2 * scenario->target.radius_um)
            return (int)k;
    return -1;
}

/* --- legs ------------------------------------------------------------------- */

typedef struct builder {
    const nrw_recipe *recipe;
    const nrw_scenario *scenario;
    const nrw_channel *channel;
    nrw_schedule *schedule;
    size_t capacity;
    double carry_s; /* time for all carrying legs */
    double gathered_um;
} builder;

static nrw_leg *add_leg(builder *build, const char *name)
{
    nrw_schedule *schedule = build->schedule;
    if (schedule->n_legs == build->capacity) {
        size_t capacity = build->capacity ? 2 * build->capacity : 8;
        nrw_leg *legs = realloc(schedule->legs, capacity * sizeof *legs);
        if (!legs)
            return NULL;
        schedule->legs = legs;
        build->capacity = capacity;
    }
    nrw_leg *leg = &schedule->legs[schedule->n_legs++];
    *leg = nrw_leg_defaults();
    (void)snprintf(leg->name, sizeof leg->name, "%s", name);
    return leg;
}

static bool add_gather(builder *build, const char *name, double timeout_s)
{
    nrw_leg *leg = add_leg(build, name);
    if (!leg)
        return false;
    leg->drive.main = rotating(build->recipe, 0.0);
    leg->drive.other = leg->drive.main;
    leg->until.present = NRW_UNTIL_CLUSTER_ABOVE;
    leg->until.cluster_above = GATHERED_FRACTION;
    leg->until.dwell_s = 2.0;
    leg->timeout_s = timeout_s;
    return true;
}

/* Where the tail should be after throat k: half a swarm past its exit, yet short
 * of the next throat and of the target. */
static double beyond_throat(const builder *build, size_t k)
{
    size_t n_throats;
    const nrw_throat *throats = nrw_channel_throats(build->channel, &n_throats);
    double room = 0.4 * build->gathered_um;
    if (k + 1 < n_throats)
        room = fmin(room, 0.4 * (throats[k + 1].entry_um - throats[k].exit_um));
    else
        room = fmin(room, 0.5 * (nrw_channel_route_length_um(build->channel) - throats[k].exit_um));
    return throats[k].exit_um + fmax(0.0, room);
}

/* Where the centroid should be when most of the swarm is through: the target beyond the last
 * throat, else a swarm past the exit or before the next throat. */
static double centroid_beyond(const builder *build, size_t k)
{
    size_t n_throats;
    const nrw_throat *throats = nrw_channel_throats(build->channel, &n_throats);
    if (k + 1 == n_throats)
        return nrw_channel_route_length_um(build->channel);
    return throats[k].exit_um +
           fmin(build->gathered_um, 0.5 * (throats[k + 1].entry_um - throats[k].exit_um));
}

/* A swarm that advances less than its particles are long, for so long, is stuck. */
static double stall_s(const builder *build)
{
    return fmax(12.0, 0.05 * build->scenario->deadline_s);
}

static nrw_leg *add_carry(builder *build, const char *verb, size_t k, double timeout_s)
{
    char name[NRW_NAME_SIZE];
    (void)snprintf(name, sizeof name, "%s throat %zu", verb, k + 1);
    nrw_leg *leg = add_leg(build, name);
    if (!leg)
        return NULL;
    leg->drive = carrying(build->recipe);
    if (build->recipe->leave_by_centroid) {
        leg->until.present = NRW_UNTIL_CENTROID_PAST | NRW_UNTIL_CLUSTER_ABOVE;
        leg->until.cluster_above = MOST_OF_IT;
        leg->until.centroid_past =
            place_at(build->scenario, build->channel, centroid_beyond(build, k));
    } else {
        leg->until.present = NRW_UNTIL_TAIL_PAST;
        leg->until.tail_past = place_at(build->scenario, build->channel, beyond_throat(build, k));
    }
    leg->timeout_s = timeout_s;
    leg->stall_after_s = stall_s(build);
    leg->stall_min_um = build->scenario->particles.diameter_um;
    leg->max_visits = 3;
    return leg;
}

/* Passing, and pushing where that stalls. A swarm that is through finds the
 * push's condition fulfilled and goes on at once. */
static bool add_pass(builder *build, size_t k, double timeout_s)
{
    const bool push = build->recipe->push_tilt_deg > 0.0;
    const int before = (int)build->schedule->n_legs - 1;
    nrw_leg *leg = add_carry(build, "pass", k, push ? 0.6 * timeout_s : timeout_s);
    if (!leg)
        return false;
    leg->until.dwell_s = build->recipe->dwell_s;
    /* a plug that can't be pushed is laid flat where it stands and tried again */
    leg->stall_leg = push ? (int)build->schedule->n_legs : before;
    if (!push)
        return true;
    leg = add_carry(build, "push through", k, 0.4 * timeout_s);
    if (!leg)
        return false;
    leg->drive.main.tilt_deg = build->recipe->push_tilt_deg;
    leg->drive.other.tilt_deg = build->recipe->push_tilt_deg;
    leg->drive.alternate_share = 0.0;
    leg->stall_leg = before;
    return true;
}

static bool has_room_to_regather(const builder *build, size_t k)
{
    size_t n_throats;
    const nrw_throat *throats = nrw_channel_throats(build->channel, &n_throats);
    return k + 1 < n_throats &&
           throats[k + 1].entry_um - throats[k].exit_um > 1.5 * build->gathered_um;
}

static bool add_passes(builder *build)
{
    size_t n_throats;
    const nrw_throat *throats = nrw_channel_throats(build->channel, &n_throats);
    double from = 0.0, total = 0.0;
    for (size_t k = 0; k < n_throats; k++)
        total = beyond_throat(build, k);
    for (size_t k = 0; k < n_throats; k++) {
        double to = beyond_throat(build, k);
        if (!add_pass(build, k, build->carry_s * (to - from) / total))
            return false;
        from = to;
        if (build->recipe->regather && has_room_to_regather(build, k)) {
            char name[NRW_NAME_SIZE];
            (void)snprintf(name, sizeof name, "regather after throat %zu", k + 1);
            if (!add_gather(build, name, 0.05 * build->scenario->deadline_s))
                return false;
        }
    }
    (void)throats;
    return true;
}

/* Toward the target, tilt falling in proportion inside one swarm radius. */
static nrw_drive homing(const builder *build)
{
    nrw_drive drive;
    memset(&drive, 0, sizeof drive);
    drive.main = rotating(build->recipe, build->recipe->home_tilt_deg);
    int node = target_node(build->scenario);
    if (node >= 0) {
        drive.main.heading_kind = NRW_HEADING_NODE;
        drive.main.heading_node = node;
        memcpy(drive.main.heading_name, build->scenario->map.nodes[node].name,
               sizeof drive.main.heading_name);
        drive.main.ease_um = 15.0;
    } else {
        drive.main.heading_kind = NRW_HEADING_CENTRELINE;
        drive.main.lookahead_um = 0.5 * build->gathered_um;
    }
    drive.other = drive.main;
    return drive;
}

static bool add_home(builder *build, const char *name, double timeout_s)
{
    nrw_leg *leg = add_leg(build, name);
    if (!leg)
        return false;
    const double reach = fmax(0.15 * build->scenario->target.radius_um, 6.0);
    leg->drive = homing(build);
    int node = target_node(build->scenario);
    if (node >= 0) {
        leg->until.present = NRW_UNTIL_CENTROID_WITHIN;
        leg->until.centroid_within.node = node;
        memcpy(leg->until.centroid_within.name, build->scenario->map.nodes[node].name,
               sizeof leg->until.centroid_within.name);
        leg->until.centroid_within.distance_um = reach;
    } else {
        leg->until.centroid_past = place_at(build->scenario, build->channel,
                                            nrw_channel_route_length_um(build->channel) - reach);
        if (leg->until.centroid_past.node >= 0)
            leg->until.present = NRW_UNTIL_CENTROID_PAST;
    }
    leg->until.dwell_s = 2.0;
    leg->timeout_s = timeout_s;
    return true;
}

/* Back toward the throat for a while: large pieces are faster than small ones and
 * pick them up on the way. */
static bool add_back(builder *build, int round)
{
    char name[NRW_NAME_SIZE];
    (void)snprintf(name, sizeof name, "collect %d", round);
    nrw_leg *leg = add_leg(build, name);
    if (!leg)
        return false;
    double direction[2];
    nrw_channel_route_point(build->channel, nrw_channel_route_length_um(build->channel), NULL,
                            direction);
    leg->drive.main = rotating(build->recipe, fmin(build->recipe->tilt_deg, 40.0));
    leg->drive.main.heading_deg = atan2(-direction[1], -direction[0]) / NRW_DEGREE;
    leg->drive.other = leg->drive.main;
    leg->until.present = NRW_UNTIL_ELAPSED;
    leg->until.elapsed_s = build->recipe->collect_s;
    leg->timeout_s = build->recipe->collect_s + 1.0;
    return true;
}

static bool add_hold(builder *build)
{
    nrw_leg *leg = add_leg(build, "hold");
    if (!leg)
        return false;
    leg->drive = homing(build);
    if (target_node(build->scenario) < 0)
        leg->drive.main = rotating(build->recipe, 0.0);
    leg->until.present = NRW_UNTIL_ELAPSED;
    leg->until.elapsed_s = fmax(5.0, build->scenario->goal.hold_s);
    leg->timeout_s = leg->until.elapsed_s + 1.0;
    return true;
}

/* Without reshaping: gathered, then one constant tilt all the way. */
static bool add_simple(builder *build, double gather_s)
{
    if (!add_gather(build, "gather", gather_s))
        return false;
    nrw_leg *leg = add_leg(build, "carry");
    if (!leg)
        return false;
    const double reach = fmax(0.15 * build->scenario->target.radius_um, 6.0);
    leg->drive = carrying(build->recipe);
    leg->until.centroid_past = place_at(build->scenario, build->channel,
                                        nrw_channel_route_length_um(build->channel) - reach);
    if (leg->until.centroid_past.node >= 0)
        leg->until.present = NRW_UNTIL_CENTROID_PAST;
    leg->timeout_s = build->scenario->deadline_s;
    /* a swarm that has not moved for so long is plugged: it stays where it is */
    leg->stall_after_s = fmax(30.0, 0.15 * build->scenario->deadline_s);
    leg->stall_min_um = 0.5 * build->scenario->particles.diameter_um;
    leg->stall_leg = (int)build->schedule->n_legs;
    leg = add_leg(build, "rest");
    if (!leg)
        return false;
    leg->drive.main = rotating(build->recipe, 0.0);
    leg->drive.other = leg->drive.main;
    leg->until.present = NRW_UNTIL_ELAPSED;
    leg->until.elapsed_s = 1.0;
    leg->timeout_s = 2.0;
    return true;
}

/* Four times what a swarm took to gather: that grows with the number of
 * particles and their size, and falls with the speed at which bonds pull,
 * v_c = N_b f d/2 (docs/physics.md, section 8). */
static double gather_timeout_s(const builder *build)
{
    const double reference_um_s = 29.5, reference_s = 7.0, reference_um = 3.0, reference_n = 150.0;
    const nrw_particles *particles = &build->scenario->particles;
    nrw_drive_setting setting = rotating(build->recipe, 0.0);
    nrw_regime regime = nrw_regime_of(build->scenario, &setting, NULL);
    const double pull =
        0.5 * regime.cycle_displacement * setting.frequency_Hz * particles->diameter_um;
    const double time = reference_s * ((double)particles->count / reference_n) *
                        (particles->diameter_um / reference_um) * reference_um_s / fmax(pull, 1e-3);
    return fmin(fmax(4.0 * time, 8.0), GATHER_SHARE * build->scenario->deadline_s);
}

nrw_status nrw_recipe_schedule(const nrw_recipe *recipe, const nrw_scenario *scenario,
                               const nrw_channel *channel, nrw_schedule *schedule,
                               nrw_errors *errors)
{
    memset(schedule, 0, sizeof *schedule);
    builder build;
    memset(&build, 0, sizeof build);
    build.recipe = recipe;
    build.scenario = scenario;
    build.channel = channel;
    build.schedule = schedule;
    build.gathered_um = nrw_scenario_gathered_diameter_um(scenario);
    const double deadline = scenario->deadline_s, gather_s = gather_timeout_s(&build);
    const double collect_s = recipe->collects * (recipe->collect_s + 0.05 * deadline);
    const double home_s = HOME_SHARE * deadline, last_s = LAST_HOME_SHARE * deadline;
    build.carry_s = deadline * (1.0 - MARGIN_SHARE) - gather_s - collect_s - home_s -
                    fmax(5.0, scenario->goal.hold_s);
    build.carry_s = fmax(build.carry_s, 0.3 * deadline);
    bool built;
    if (!recipe->reshaping) {
        built = add_simple(&build, gather_s);
    } else {
        built = add_gather(&build, "gather", gather_s) && add_passes(&build) &&
                add_home(&build, "home", recipe->collects > 0 ? home_s : last_s);
        for (int k = 1; built && k <= recipe->collects; k++) {
            char name[NRW_NAME_SIZE];
            (void)snprintf(name, sizeof name, "home again %d", k);
            built = add_back(&build, k) && add_home(&build, name, 0.05 * deadline);
        }
        built = built && add_hold(&build);
    }
    if (built)
        return NRW_OK;
    nrw_schedule_clear(schedule);
    return nrw_errors_add(errors, NRW_NO_MEMORY, "", "no memory for a schedule");
}

void nrw_recipe_describe(const nrw_recipe *recipe, char *text, size_t size)
{
    int used = snprintf(text, size, "tilt %.3g deg", recipe->tilt_deg);
    if (recipe->share > 0.0 && used > 0 && (size_t)used < size)
        used += snprintf(text + used, size - (size_t)used,
                         " alternating with %.3g deg (%.0f %% of every %.3g s)",
                         recipe->other_tilt_deg, 100.0 * recipe->share, recipe->period_s);
    if (recipe->wobble_deg > 0.0 && used > 0 && (size_t)used < size)
        used +=
            snprintf(text + used, size - (size_t)used, ", heading wobbling by %.3g deg over %.3g s",
                     recipe->wobble_deg, recipe->wobble_period_s);
    if (used > 0 && (size_t)used < size)
        (void)snprintf(text + used, size - (size_t)used, ", %.3g Hz, %.3g mT", recipe->frequency_Hz,
                       recipe->field_mT);
}
