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
    free(scenario->calibration_path);
    free(scenario->calibration);
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

static const char *without_folders(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash ? slash + 1 : path;
}

size_t nrw_scenario_companions(const nrw_scenario *scenario,
                               nrw_scenario_companion companions[NRW_COMPANIONS_MAX])
{
    const nrw_mask *mask = scenario->map.mask;
    size_t n = 0;
    if (mask && mask->file)
        companions[n++] = (nrw_scenario_companion){without_folders(mask->file), mask->bytes,
                                                   mask->n_bytes, mask->sha256};
    if (scenario->calibration)
        companions[n++] = (nrw_scenario_companion){
            without_folders(scenario->calibration_path), scenario->calibration,
            scenario->calibration_size, scenario->calibration_sha256};
    return n;
}

double nrw_scenario_gathered_diameter_um(const nrw_scenario *scenario)
{
    const nrw_particles *particles = &scenario->particles;
    return particles->diameter_um * sqrt((double)particles->count / 0.80);
}
