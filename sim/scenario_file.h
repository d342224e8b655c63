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

/* A start position that could be read. */
typedef struct nrw_placed {
    double at[3]; /* µm; z -INFINITY where left out */
    const nrw_yaml_node *node;
} nrw_placed;

/* That particles (n) of that diameter don't lie in one another, by more than a tenth of
 * it. O(n). */
void nrw_scenario_check_overlaps(nrw_yaml_doc *doc, const nrw_placed *all, size_t n,
                                 double diameter_um);

/* What the blocks must be for each other: call it when all have been read. */
void nrw_scenario_check_together(nrw_yaml_doc *doc, const nrw_yaml_node *root,
                                 const nrw_scenario *scenario);

/* The picture of `mask` is left to nrw_scenario_read_mask. */
void nrw_scenario_read_map(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_map *map);

/* Reads the picture of a map and extracts the vessels. Call it last, and only while
 * the document has no errors: it needs nodes, flow and the release. */
void nrw_scenario_read_mask(nrw_yaml_doc *doc, const nrw_yaml_node *channel,
                            nrw_scenario *scenario);

/* Needs the map's nodes. */
void nrw_scenario_read_flow(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_scenario *scenario);

/* That every inlet and outlet is the end of one vessel. Needs the vessels. */
void nrw_scenario_check_flow(nrw_yaml_doc *doc, const nrw_yaml_node *node,
                             const nrw_scenario *scenario);

/* Path of a file that a scenario names: beside the scenario's own, unless it starts
 * at the root. The caller frees it; NULL: no memory. */
char *nrw_scenario_beside(const char *scenario_path, const char *file);

/* Need the map's nodes. */
void nrw_scenario_read_release(nrw_yaml_doc *doc, const nrw_yaml_node *node,
                               nrw_scenario *scenario);
void nrw_scenario_read_target(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_scenario *scenario);
void nrw_scenario_read_route(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_scenario *scenario);
void nrw_scenario_read_goal(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_scenario *scenario);
void nrw_scenario_read_sweep(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_scenario *scenario);

void nrw_scenario_read_rig(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_rig *rig);

/* The keys of a coil (or an axis) beyond the contract's: for a struct with a
 * member `extras` of nrw_rig_coil_extras. */
/* clang-format off */
#define NRW_COIL_EXTRAS_FIELDS(structure) \
    NRW_OPTIONAL("current_rms_max_A", NRW_YAML_DOUBLE, structure, extras.current_rms_max_A, \
                 NRW_ABOVE_TO(0.0, 1e6)), \
    NRW_OPTIONAL("slew_max_A_s", NRW_YAML_DOUBLE, structure, extras.slew_max_A_s, \
                 NRW_ABOVE_TO(0.0, 1e12)), \
    NRW_OPTIONAL_OTHER("thermal"), \
    NRW_OPTIONAL_OTHER("pair")
/* clang-format on */

/* Reads `thermal` and `pair` of a coil. Returns the field in mT/A at the middle
 * of the pair (0 without one); `axis` (may be NULL) gets its direction, a key
 * that coils have and axes don't. */
double nrw_scenario_read_coil_extras(nrw_yaml_doc *doc, const nrw_yaml_node *node,
                                     nrw_rig_coil_extras *extras, double axis[3]);

/* Reads what a rig may have besides axes and limits: coils, mutual_mH,
 * amplifier_gain, ambient_uT. */
void nrw_scenario_read_coils(nrw_yaml_doc *doc, const nrw_yaml_node *rig_node, nrw_rig *rig);

/* Reads a file that the scenario names by its path from the scenario's own folder; a
 * results folder holds it beside the scenario by its name alone. Returns where it was
 * found, NULL after an error at `node` that says what was expected; the caller frees
 * that and *bytes. */
char *nrw_scenario_load_beside(nrw_yaml_doc *doc, const nrw_yaml_node *node,
                               const char *scenario_path, const char *file, const char *expected,
                               char **bytes, size_t *n_bytes);

/* Reads the CSV file of `calibration` into the scenario and its rig. Call it after the
 * rig has been read. */
void nrw_scenario_read_calibration(nrw_yaml_doc *doc, const nrw_yaml_node *rig_node,
                                   nrw_scenario *scenario);
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
