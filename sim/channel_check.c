#include "channel_check.h"

#include <math.h>
#include <stdbool.h>
#include <stdio.h>

#include "mask.h"

/* A place this far outside still counts as on the wall, µm; in a picture a pixel. */
#define ON_WALL_UM 1e-6

static double on_wall_um(const nrw_scenario *scenario)
{
    return scenario->map.mask ? scenario->map.mask->frame.pixel_um : ON_WALL_UM;
}

static const char *file_of(const nrw_scenario *scenario)
{
    return scenario->path ? scenario->path : "";
}

/* Refuses a point outside the channel, with how far it is. */
static nrw_status check_point(const nrw_scenario *scenario, const nrw_outline *outline,
                              const double at[2], const char *key, const char *name,
                              nrw_errors *errors)
{
    double distance = nrw_outline_distance_um(outline, at[0], at[1], NULL);
    if (distance >= -on_wall_um(scenario))
        return NRW_OK;
    return nrw_errors_add_at(
        errors, NRW_BAD_INPUT, file_of(scenario), 0, 0, key, "a place inside the channel",
        "%s (%g, %g) lies %.4g um outside the channel", name, at[0], at[1], -distance);
}

static nrw_status check_release(const nrw_scenario *scenario, const nrw_outline *outline,
                                nrw_errors *errors)
{
    const nrw_place *release = &scenario->release;
    const char *key = release->node >= 0 ? "release.node" : "release.at_um";
    nrw_status status = check_point(scenario, outline, release->at_um, key, "the release", errors);
    if (status != NRW_OK || scenario->particles.positions_um)
        return status;
    double distance = nrw_outline_distance_um(outline, release->at_um[0], release->at_um[1], NULL);
    /* Round walls are drawn with chords: a circle that just fits must pass. */
    if (distance >= release->radius_um - NRW_OUTLINE_SAGITTA_UM - on_wall_um(scenario))
        return NRW_OK;
    char expected[128];
    (void)snprintf(expected, sizeof expected,
                   "at most %.4g um there, or a place farther from the walls", fmax(distance, 0.0));
    return nrw_errors_add_at(errors, NRW_BAD_INPUT, file_of(scenario), 0, 0, "release.radius_um",
                             expected,
                             "release circle outside the channel: with radius %g um it reaches "
                             "%.4g um into the wall",
                             release->radius_um, release->radius_um - fmax(distance, 0.0));
}

/* Contacts push a particle out that overlaps a wall by a tenth of its diameter; more is
 * a mistake. */
#define START_OVERLAP 0.1

static nrw_status check_positions(const nrw_scenario *scenario, const nrw_outline *outline,
                                  nrw_errors *errors)
{
    nrw_status status = NRW_OK;
    const nrw_particles *particles = &scenario->particles;
    for (size_t i = 0; i < particles->count; i++) {
        const double *at = particles->positions_um[i];
        char key[64];
        const double distance = nrw_outline_distance_um(outline, at[0], at[1], NULL);
        const double overlap = 0.5 * particles->diameter_um - fmax(distance, 0.0);
        (void)snprintf(key, sizeof key, "particles.positions_um[%zu]", i);
        nrw_status found = check_point(scenario, outline, at, key, "the particle", errors);
        if (found == NRW_OK &&
            overlap > START_OVERLAP * particles->diameter_um + on_wall_um(scenario))
            found = nrw_errors_add_at(errors, NRW_BAD_INPUT, file_of(scenario), 0, 0, key,
                                      "a centre at least a radius from the walls",
                                      "the particle at (%g, %g) reaches %.4g um into a wall", at[0],
                                      at[1], overlap);
        status = found != NRW_OK ? found : status;
    }
    return status;
}

static bool has_vessel(const nrw_map *map, size_t node)
{
    for (size_t v = 0; v < map->n_vessels; v++)
        if ((size_t)map->vessels[v].from == node || (size_t)map->vessels[v].to == node)
            return true;
    return false;
}

nrw_status nrw_channel_check_places(const nrw_scenario *scenario, const nrw_outline *outline,
                                    nrw_errors *errors)
{
    nrw_status status = NRW_OK, found;
    if (scenario->has_release && (found = check_release(scenario, outline, errors)) != NRW_OK)
        status = found;
    const nrw_place *target = &scenario->target;
    const char *key = target->node >= 0 ? "target.node" : "target.at_um";
    if ((found = check_point(scenario, outline, target->at_um, key, "the target", errors)) !=
        NRW_OK)
        status = found;
    if (scenario->particles.positions_um &&
        (found = check_positions(scenario, outline, errors)) != NRW_OK)
        status = found;
    for (size_t i = 0; i < scenario->map.n_nodes; i++) {
        const nrw_node *node = &scenario->map.nodes[i];
        char path[128];
        (void)snprintf(path, sizeof path, "channel.nodes.%s.at_um", node->name);
        if (!has_vessel(&scenario->map, i) &&
            (found = check_point(scenario, outline, node->at_um, path, "the node", errors)) !=
                NRW_OK)
            status = found;
    }
    return status;
}
