/* Inside of the scenario reader: its parts, one a block of the file (contract
 * section 2), and what the reader of schedules shares with it.
 *
 * Each part reads its block into the scenario and reports all that is wrong in
 * it; what could not be read keeps its default, so that later parts go on. */
#ifndef NRW_SCENARIO_FILE_H
#define NRW_SCENARIO_FILE_H

#include "scenario.h"
#include "yaml_read.h"

/* Coordinates and lengths of a map, µm: up to 10 m either way. */
#define NRW_COORDINATES NRW_FROM_TO(-1e7, 1e7)
#define NRW_LENGTHS NRW_ABOVE_TO(0.0, 1e7)

#define NRW_NODES_MAX 10000
#define NRW_VESSELS_MAX 10000

void nrw_scenario_read_fluid(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_fluid *fluid);

/* Needs the map, for the heights of positions. */
void nrw_scenario_read_particles(nrw_yaml_doc *doc, const nrw_yaml_node *node, const nrw_map *map,
                                 nrw_particles *particles);

void nrw_scenario_read_map(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_map *map);

/* Need the map's nodes. */
void nrw_scenario_read_release(nrw_yaml_doc *doc, const nrw_yaml_node *node,
                               nrw_scenario *scenario);
void nrw_scenario_read_target(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_scenario *scenario);
void nrw_scenario_read_route(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_scenario *scenario);
void nrw_scenario_read_goal(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_scenario *scenario);
void nrw_scenario_read_sweep(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_scenario *scenario);

void nrw_scenario_read_rig(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_rig *rig);
void nrw_scenario_read_imaging(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_imaging *imaging);
void nrw_scenario_read_uncertainty(nrw_yaml_doc *doc, const nrw_yaml_node *node,
                                   nrw_uncertainty *uncertainty);
void nrw_scenario_read_model(nrw_yaml_doc *doc, const nrw_yaml_node *node,
                             nrw_model_options *model);

/* Reads the name of one of the map's nodes into its index and, if `name` is not
 * NULL, its name (NRW_NAME_SIZE). Unknown names are reported with a suggestion;
 * false then. */
bool nrw_scenario_read_node(nrw_yaml_doc *doc, const nrw_yaml_node *node, const nrw_map *map,
                            int *index, char *name);

#endif
