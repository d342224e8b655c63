#include "scenario.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "mask.h"

static void destroy_map(nrw_map *map)
{
    for (size_t i = 0; i < map->n_vessels; i++) {
        free(map->vessels[i].via_um);
        free(map->vessels[i].widths);
    }
    free(map->vessels);
    free(map->nodes);
    nrw_mask_destroy(map->mask);
}

void nrw_scenario_destroy(nrw_scenario *scenario)
{
    if (!scenario)
        return;
    for (size_t i = 0; i < scenario->sweep.n_keys; i++)
        free(scenario->sweep.keys[i].values);
    free(scenario->sweep.keys);
    destroy_map(&scenario->map);
    free(scenario->flow.ports);
    free(scenario->particles.positions_um);
    free(scenario->particles.moments_deg);
    free(scenario->route_nodes);
    free(scenario->goal.no_go);
    free(scenario->title);
    free(scenario->path);
    free(scenario->text);
    free(scenario);
}

int nrw_scenario_node(const nrw_scenario *scenario, const char *name)
{
    for (size_t i = 0; i < scenario->map.n_nodes; i++)
        if (strcmp(scenario->map.nodes[i].name, name) == 0)
            return (int)i;
    return -1;
}

nrw_scenario_picture nrw_scenario_picture_of(const nrw_scenario *scenario)
{
    const nrw_mask *mask = scenario->map.mask;
    if (!mask || !mask->file)
        return (nrw_scenario_picture){NULL, NULL, 0, NULL};
    const char *slash = strrchr(mask->file, '/');
    return (nrw_scenario_picture){slash ? slash + 1 : mask->file, mask->bytes, mask->n_bytes,
                                  mask->sha256};
}

double nrw_scenario_gathered_diameter_um(const nrw_scenario *scenario)
{
    const nrw_particles *particles = &scenario->particles;
    return particles->diameter_um * sqrt((double)particles->count / 0.80);
}
