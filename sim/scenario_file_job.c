#include "scenario_file.h"

#include <stdlib.h>
#include <string.h>

#include "drive_file.h"
#include "drive_key.h"

#define N(array) (sizeof(array) / sizeof *(array))

#define N_POINTS_MAX 1000000 /* of a sweep */

/* --- places ------------------------------------------------------------------ */

/* A disc about a node or a point. */
static void read_place(nrw_yaml_doc *doc, const nrw_yaml_node *node, const nrw_map *map,
                       nrw_place *place)
{
    static const nrw_yaml_field fields[] = {
        NRW_OPTIONAL_OTHER("node"),
        NRW_OPTIONAL_OTHER("at_um"),
        NRW_REQUIRED("radius_um", NRW_YAML_DOUBLE, nrw_place, radius_um, NRW_LENGTHS),
    };
    place->node = -1;
    if (!nrw_yaml_is_map(doc, node))
        return;
    (void)nrw_yaml_fields(doc, node, fields, N(fields), place);
    const nrw_yaml_node *name = nrw_yaml_get(node, "node"), *at = nrw_yaml_get(node, "at_um");
    if (!name && !at)
        (void)nrw_yaml_error_missing(doc, node, "node", "a node's name, or at_um: [x, y]");
    if (name && at)
        (void)nrw_yaml_error_at_key(doc, name->index > at->index ? name : at,
                                    "node or at_um, not both", "is the place a second time");
    if (at)
        (void)nrw_yaml_vector(doc, at, 2, 2, (nrw_yaml_range)NRW_COORDINATES, "[x, y] in µm",
                              place->at_um, NULL);
    if (name && nrw_scenario_read_node(doc, name, map, &place->node, NULL))
        memcpy(place->at_um, map->nodes[place->node].at_um, sizeof place->at_um);
}

void nrw_scenario_read_release(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_scenario *scenario)
{
    if (!node)
        return;
    scenario->has_release = true;
    read_place(doc, node, &scenario->map, &scenario->release);
}

void nrw_scenario_read_target(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_scenario *scenario)
{
    if (node)
        read_place(doc, node, &scenario->map, &scenario->target);
}

/* --- route ------------------------------------------------------------------- */

void nrw_scenario_read_route(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_scenario *scenario)
{
    static const char expected[] = "a list of nodes to pass";
    if (!node || !nrw_yaml_is_list(doc, node, expected))
        return;
    if (scenario->map.open)
        (void)nrw_yaml_error_at_key(doc, node, "leave it out",
                                    "in an open map the route is the straight line");
    if (node->n_children == 0) {
        (void)nrw_yaml_error(doc, node, expected, "is an empty list");
        return;
    }
    scenario->route_nodes = malloc(node->n_children * sizeof *scenario->route_nodes);
    if (!scenario->route_nodes) {
        (void)nrw_yaml_no_memory(doc);
        return;
    }
    scenario->n_route_nodes = node->n_children;
    int before = -1;
    for (const nrw_yaml_node *child = node->first; child; child = child->next) {
        int *here = &scenario->route_nodes[child->index];
        *here = -1;
        if (nrw_scenario_read_node(doc, child, &scenario->map, here, NULL) && *here == before)
            (void)nrw_yaml_error(doc, child, "another node", "is the node before it again");
        before = *here;
    }
}

/* --- goal -------------------------------------------------------------------- */

static void read_no_go(nrw_yaml_doc *doc, const nrw_yaml_node *list, nrw_scenario *scenario)
{
    nrw_goal *goal = &scenario->goal;
    if (!list || !nrw_yaml_is_list(doc, list, "a list of discs: node or at_um, and radius_um"))
        return;
    goal->no_go = calloc(list->n_children + 1, sizeof *goal->no_go);
    if (!goal->no_go) {
        (void)nrw_yaml_no_memory(doc);
        return;
    }
    goal->n_no_go = list->n_children;
    for (const nrw_yaml_node *child = list->first; child; child = child->next)
        read_place(doc, child, &scenario->map, &goal->no_go[child->index]);
}

void nrw_scenario_read_goal(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_scenario *scenario)
{
    static const nrw_yaml_field fields[] = {
        NRW_OPTIONAL("fraction_min", NRW_YAML_DOUBLE, nrw_goal, fraction_min,
                     NRW_FROM_TO(0.0, 1.0)),
        NRW_OPTIONAL("hold_s", NRW_YAML_DOUBLE, nrw_goal, hold_s, NRW_FROM_TO(0.0, 1e7)),
        NRW_OPTIONAL_SWITCH("keep_visible", nrw_goal, keep_visible),
        NRW_OPTIONAL_OTHER("no_go"),
    };
    if (!node || !nrw_yaml_is_map(doc, node))
        return;
    (void)nrw_yaml_fields(doc, node, fields, N(fields), &scenario->goal);
    read_no_go(doc, nrw_yaml_get(node, "no_go"), scenario);
}

/* --- sweep ------------------------------------------------------------------- */

static bool vary_key_fits(nrw_yaml_doc *doc, const nrw_yaml_node *node, const nrw_drive *drive,
                          nrw_yaml_range *range)
{
    const char *words[32];
    size_t n_keys, n = 0;
    const nrw_drive_key *keys = nrw_drive_keys(&n_keys);
    for (size_t i = 0; i < n_keys && n < N(words); i++)
        if (nrw_drive_vary_key(drive, keys[i].key, range) == NRW_DRIVE_VARY_GOOD)
            words[n++] = keys[i].key;
    switch (nrw_drive_vary_key(drive, node->key, range)) {
    case NRW_DRIVE_VARY_GOOD:
        return true;
    case NRW_DRIVE_VARY_OTHER_MODE:
        return nrw_yaml_error_at_key(doc, node, "a key that the sweep's drive has",
                                     "is no key of this drive (mode '%s')",
                                     nrw_drive_mode_name(drive->main.mode));
    case NRW_DRIVE_VARY_NO_NUMBER:
        return nrw_yaml_error_at_key(doc, node, "a key whose value is a number", "can't be varied");
    case NRW_DRIVE_VARY_UNKNOWN:
        break;
    }
    return nrw_yaml_unknown_key(doc, node, words, n);
}

static void read_values(nrw_yaml_doc *doc, const nrw_yaml_node *node, const nrw_drive *drive,
                        nrw_sweep_key *key)
{
    nrw_yaml_range range;
    const char *fault = nrw_yaml_name_fault(node->key, sizeof key->key);
    if (!vary_key_fits(doc, node, drive, &range) || fault ||
        !nrw_yaml_is_list(doc, node, "a list of values"))
        return;
    if (node->n_children == 0 || node->n_children > N_POINTS_MAX) {
        (void)nrw_yaml_error(doc, node, "1 to 1,000,000 values", "is a list of %u",
                             node->n_children);
        return;
    }
    memcpy(key->key, node->key, strlen(node->key) + 1);
    key->values = calloc(node->n_children, sizeof *key->values);
    if (!key->values) {
        (void)nrw_yaml_no_memory(doc);
        return;
    }
    key->n_values = node->n_children;
    (void)nrw_yaml_vector(doc, node, 1, N_POINTS_MAX, range, "a list of values", key->values, NULL);
}

static void read_vary(nrw_yaml_doc *doc, const nrw_yaml_node *map, nrw_sweep *sweep)
{
    double n_points = 1.0;
    if (!nrw_yaml_is_map(doc, map))
        return;
    if (map->n_children == 0 || map->n_children > 32) {
        (void)nrw_yaml_error(doc, map, "1 to 32 keys of a drive, each with a list of values",
                             "varies %u keys", map->n_children);
        return;
    }
    sweep->keys = calloc(map->n_children, sizeof *sweep->keys);
    if (!sweep->keys) {
        (void)nrw_yaml_no_memory(doc);
        return;
    }
    sweep->n_keys = map->n_children;
    for (const nrw_yaml_node *child = map->first; child; child = child->next) {
        nrw_sweep_key *key = &sweep->keys[child->index];
        read_values(doc, child, &sweep->drive, key);
        n_points *= key->n_values > 0 ? (double)key->n_values : 1.0;
        /* A key that only varies has its first value in the drive itself. */
        if (key->n_values > 0)
            (void)nrw_drive_set_key(&sweep->drive, key->key, key->values[0]);
    }
    if (n_points > N_POINTS_MAX)
        (void)nrw_yaml_error_at_key(doc, map, "at most 1,000,000 points", "makes %g points",
                                    n_points);
}

void nrw_scenario_read_sweep(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_scenario *scenario)
{
    static const nrw_yaml_field fields[] = {
        NRW_REQUIRED_OTHER("drive"),
        NRW_REQUIRED_OTHER("vary"),
        NRW_OPTIONAL("seconds", NRW_YAML_DOUBLE, nrw_sweep, seconds, NRW_ABOVE_TO(0.0, 1e7)),
        NRW_OPTIONAL("repeats", NRW_YAML_INT, nrw_sweep, repeats, NRW_FROM_TO(1, 1000000)),
    };
    nrw_sweep *sweep = &scenario->sweep;
    if (!node || !nrw_yaml_is_map(doc, node))
        return;
    sweep->present = true;
    sweep->seconds = 20.0;
    sweep->repeats = 3;
    (void)nrw_yaml_fields(doc, node, fields, N(fields), sweep);
    const nrw_yaml_node *drive = nrw_yaml_get(node, "drive"), *vary = nrw_yaml_get(node, "vary");
    size_t n_errors = nrw_yaml_n_errors(doc);
    if (drive)
        (void)(nrw_drive_read(doc, drive, &scenario->map, vary, NULL, &sweep->drive) &&
               nrw_drive_check_lag(doc, drive, &sweep->drive, &scenario->particles));
    /* What belongs to a drive that could not be read nobody can tell. */
    if (drive && vary && n_errors == nrw_yaml_n_errors(doc))
        read_vary(doc, vary, sweep);
}
