#include "fate.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

const char *nrw_fate_name(nrw_fate fate)
{
    static const char *const names[NRW_N_FATES] = {"wall",        "washed_out", "delivered",
                                                   "left_behind", "in_transit", "scattered"};
    return (unsigned)fate < NRW_N_FATES ? names[fate] : "unknown";
}

const char *nrw_loss_cause_name(nrw_loss_cause cause)
{
    static const char *const names[NRW_N_LOSS_CAUSES] = {
        "plugged",        "pocket", "in_throat", "wrong_branch",
        "past_but_apart", "stuck",  "swept",     "other"};
    return (unsigned)cause < NRW_N_LOSS_CAUSES ? names[cause] : "unknown";
}

static nrw_fate fate_of(const nrw_scenario *scenario, const nrw_channel *channel,
                        const nrw_run_result *result, size_t i, bool in_largest, bool stuck,
                        bool washed)
{
    size_t n_throats;
    const nrw_throat *throats = nrw_channel_throats(channel, &n_throats);
    if (stuck)
        return NRW_FATE_WALL;
    if (washed)
        return NRW_FATE_WASHED_OUT;
    const double *target = scenario->target.at_um;
    if (hypot(result->x_um[i] - target[0], result->y_um[i] - target[1]) <=
        scenario->target.radius_um)
        return NRW_FATE_DELIVERED;
    double s = nrw_channel_route_project_um(channel, result->x_um[i], result->y_um[i]);
    if (n_throats > 0 && s < throats[n_throats - 1].exit_um)
        return NRW_FATE_LEFT_BEHIND;
    return in_largest ? NRW_FATE_IN_TRANSIT : NRW_FATE_SCATTERED;
}

typedef struct loss_key {
    nrw_loss_cause cause;
    int throat; /* index of the throat that names the place, or -1 */
    int vessel; /* else the vessel, or -1 */
} loss_key;

/* How far to the side of the route a point lies. */
static double off_route_um(const nrw_channel *channel, double s, double x, double y)
{
    double at[2];
    nrw_channel_route_point(channel, s, at, NULL);
    return hypot(x - at[0], y - at[1]);
}

static loss_key loss_of(const nrw_scenario *scenario, const nrw_channel *channel,
                        const nrw_run_result *result, size_t i)
{
    const double x = result->x_um[i], y = result->y_um[i];
    const double d = scenario->particles.diameter_um;
    const double gathered = nrw_scenario_gathered_diameter_um(scenario);
    loss_key key = {NRW_LOSS_OTHER, -1, nrw_channel_vessel_at(channel, x, y)};
    if (result->fates[i] == NRW_FATE_WALL) {
        key.cause = NRW_LOSS_STUCK;
        return key;
    }
    if (result->fates[i] == NRW_FATE_WASHED_OUT) {
        key.cause = NRW_LOSS_SWEPT;
        return key;
    }
    if (key.vessel >= 0 && !nrw_channel_route_has_vessel(channel, key.vessel) &&
        nrw_channel_distance_um(channel, x, y, NULL) > -d) {
        /* off the route: a wrong branch, unless still within the join of vessels */
        double s = nrw_channel_route_project_um(channel, x, y);
        if (off_route_um(channel, s, x, y) > 0.5 * nrw_channel_route_width_um(channel, s)) {
            key.cause = NRW_LOSS_WRONG_BRANCH;
            return key;
        }
    }
    const double s = nrw_channel_route_project_um(channel, x, y);
    size_t n_throats;
    const nrw_throat *throats = nrw_channel_throats(channel, &n_throats);
    for (size_t k = 0; k < n_throats; k++) {
        if (s >= throats[k].exit_um)
            continue;
        if (s >= throats[k].entry_um) {
            key.cause = NRW_LOSS_IN_THROAT;
            key.throat = (int)k;
        } else if (s > throats[k].entry_um - gathered) {
            /* before the mouth: in a corner beside it, or in the plug */
            bool beside = off_route_um(channel, s, x, y) > throats[k].narrowest_um &&
                          nrw_channel_distance_um(channel, x, y, NULL) < 1.5 * d;
            key.cause = beside ? NRW_LOSS_POCKET : NRW_LOSS_PLUGGED;
            key.throat = (int)k;
        }
        return key;
    }
    key.cause = NRW_LOSS_PAST_BUT_APART;
    return key;
}

static void name_place(const nrw_scenario *scenario, const loss_key *key, char *text, size_t size)
{
    if (key->throat >= 0) {
        (void)snprintf(text, size, "throat %d", key->throat + 1);
    } else if (key->vessel >= 0) {
        const nrw_vessel *vessel = &scenario->map.vessels[key->vessel];
        /* two names of up to 63 bytes: cut rather than overflow */
        (void)snprintf(text, size, "%.55s to %.55s", scenario->map.nodes[vessel->from].name,
                       scenario->map.nodes[vessel->to].name);
    } else {
        (void)snprintf(text, size, "open");
    }
}

static int same_place(const nrw_loss_place *a, const char *place, nrw_loss_cause cause)
{
    return a->cause == cause && strcmp(a->place, place) == 0;
}

/* Largest loss first; ties in order of finding. */
static void sort_losses(nrw_loss_place *losses, size_t n)
{
    for (size_t i = 1; i < n; i++) {
        nrw_loss_place moved = losses[i];
        size_t k = i;
        while (k > 0 && losses[k - 1].fraction < moved.fraction) {
            losses[k] = losses[k - 1];
            k--;
        }
        losses[k] = moved;
    }
}

static nrw_status add_loss(const nrw_scenario *scenario, const nrw_channel *channel,
                           nrw_run_result *result, size_t i, nrw_errors *errors)
{
    loss_key key = loss_of(scenario, channel, result, i);
    if (result->causes)
        result->causes[i] = (uint8_t)key.cause;
    char place[sizeof result->losses->place];
    name_place(scenario, &key, place, sizeof place);
    size_t k = 0;
    while (k < result->n_losses && !same_place(&result->losses[k], place, key.cause))
        k++;
    if (k == result->n_losses) {
        nrw_loss_place *losses = realloc(result->losses, (k + 1) * sizeof *losses);
        if (!losses)
            return nrw_errors_add(errors, NRW_NO_MEMORY, "", "no memory for the losses");
        result->losses = losses;
        memset(&losses[k], 0, sizeof losses[k]);
        memcpy(losses[k].place, place, sizeof place);
        losses[k].cause = key.cause;
        result->n_losses++;
    }
    /* counts and sums for now; divided once all are in */
    result->losses[k].fraction += 1.0;
    result->losses[k].at_um[0] += result->x_um[i];
    result->losses[k].at_um[1] += result->y_um[i];
    return NRW_OK;
}

nrw_status nrw_fate_judge(const nrw_scenario *scenario, const nrw_channel *channel,
                          const uint8_t *in_largest, const uint8_t *stuck, const uint8_t *washed,
                          nrw_run_result *result, nrw_errors *errors)
{
    size_t counts[NRW_N_FATES] = {0};
    const size_t n = result->n_particles;
    for (size_t i = 0; i < n; i++) {
        result->fates[i] = fate_of(scenario, channel, result, i, in_largest[i] != 0,
                                   stuck && stuck[i], washed && washed[i]);
        counts[result->fates[i]]++;
        if (result->fates[i] == NRW_FATE_DELIVERED)
            continue;
        nrw_status status = add_loss(scenario, channel, result, i, errors);
        if (status != NRW_OK)
            return status;
    }
    for (int k = 0; k < NRW_N_FATES; k++)
        result->fate_fraction[k] = (double)counts[k] / (double)n;
    for (size_t k = 0; k < result->n_losses; k++) {
        double count = result->losses[k].fraction;
        result->losses[k].at_um[0] /= count;
        result->losses[k].at_um[1] /= count;
        result->losses[k].fraction = count / (double)n;
    }
    sort_losses(result->losses, result->n_losses);
    return NRW_OK;
}
