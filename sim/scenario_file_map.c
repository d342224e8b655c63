#include "scenario_file.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define N(array) (sizeof(array) / sizeof *(array))

/* Names out of which a misspelt node is guessed. */
#define N_GUESSES 100

/* --- nodes ------------------------------------------------------------------- */

static int find_node(const nrw_map *map, const char *name)
{
    for (size_t i = 0; i < map->n_nodes; i++)
        if (strcmp(map->nodes[i].name, name) == 0)
            return (int)i;
    return -1;
}

bool nrw_scenario_read_node(nrw_yaml_doc *doc, const nrw_yaml_node *node, const nrw_map *map,
                            int *index, char *name)
{
    const char *words[N_GUESSES];
    char expected[384], is[96];
    size_t n = map->n_nodes < N_GUESSES ? map->n_nodes : N_GUESSES;
    const char *text = nrw_yaml_text(doc, node, "a node's name");
    if (!text)
        return false;
    int found = find_node(map, text);
    if (found < 0) {
        for (size_t i = 0; i < n; i++)
            words[i] = map->nodes[i].name;
        nrw_yaml_expect_word(text, words, n, expected, sizeof expected);
        return nrw_yaml_error(doc, node, expected, "%s is no node of the map",
                              nrw_yaml_describe(node, is));
    }
    *index = found;
    if (name)
        memcpy(name, map->nodes[found].name, NRW_NAME_SIZE);
    return true;
}

static bool node_name_allowed(nrw_yaml_doc *doc, const nrw_yaml_node *node)
{
    static const char expected[] = "a node's name of 1 to 63 bytes";
    const char *fault = nrw_yaml_name_fault(node->key, NRW_NAME_SIZE);
    if (strcmp(node->key, "<<") == 0)
        fault = "is an unknown key (merging is not supported)";
    else if (strcmp(node->key, "centreline") == 0)
        fault = "is no node's name (as a heading it means the route)";
    return !fault || nrw_yaml_error_at_key(doc, node, expected, "%s", fault);
}

/* Nodes whose place is wrong are kept, at NAN, so that those who name them are
 * not reported as well. */
static void read_nodes(nrw_yaml_doc *doc, const nrw_yaml_node *list, nrw_map *map)
{
    static const nrw_yaml_field fields[] = {NRW_REQUIRED_OTHER("at_um")};
    if (!nrw_yaml_is_map(doc, list))
        return;
    if (list->n_children > NRW_NODES_MAX) {
        (void)nrw_yaml_error_at_key(doc, list, "at most 10,000", "there are %u nodes",
                                    list->n_children);
        return;
    }
    map->nodes = calloc(list->n_children + 1, sizeof *map->nodes);
    if (!map->nodes) {
        (void)nrw_yaml_no_memory(doc);
        return;
    }
    for (const nrw_yaml_node *child = list->first; child; child = child->next) {
        nrw_node node = {.at_um = {NAN, NAN}};
        double at_um[2];
        if (!node_name_allowed(doc, child))
            continue;
        memcpy(node.name, child->key, strlen(child->key) + 1);
        bool good = nrw_yaml_fields(doc, child, fields, N(fields), NULL);
        const nrw_yaml_node *at = nrw_yaml_get(child, "at_um");
        if (at &&
            nrw_yaml_vector(doc, at, 2, 2, (nrw_yaml_range)NRW_COORDINATES, "[x, y] in µm", at_um,
                            NULL) &&
            good)
            memcpy(node.at_um, at_um, sizeof at_um);
        map->nodes[map->n_nodes++] = node;
    }
}

/* --- vessels ----------------------------------------------------------------- */

static void read_via(nrw_yaml_doc *doc, const nrw_yaml_node *list, nrw_vessel *vessel)
{
    if (!list || !nrw_yaml_is_list(doc, list, "a list of [x, y] in µm") || list->n_children == 0)
        return;
    vessel->via_um = malloc(list->n_children * sizeof *vessel->via_um);
    if (!vessel->via_um) {
        (void)nrw_yaml_no_memory(doc);
        return;
    }
    vessel->n_via = list->n_children;
    for (const nrw_yaml_node *child = list->first; child; child = child->next) {
        double *at = vessel->via_um[child->index];
        at[0] = at[1] = NAN;
        (void)nrw_yaml_vector(doc, child, 2, 2, (nrw_yaml_range)NRW_COORDINATES, "[x, y] in µm", at,
                              NULL);
    }
}

static void read_width_pair(nrw_yaml_doc *doc, const nrw_yaml_node *pair, double *before,
                            nrw_width_point *point)
{
    static const char expected[] = "[fraction of the length, width in µm]";
    if (!nrw_yaml_is_list(doc, pair, expected))
        return;
    if (pair->n_children != 2) {
        (void)nrw_yaml_error(doc, pair, expected, "is a list of %u", pair->n_children);
        return;
    }
    (void)nrw_yaml_number(doc, pair->first->next, (nrw_yaml_range)NRW_LENGTHS, &point->width_um);
    if (!nrw_yaml_number(doc, pair->first, (nrw_yaml_range)NRW_FROM_TO(0.0, 1.0), &point->fraction))
        return;
    if (point->fraction < *before)
        (void)nrw_yaml_error(doc, pair->first, "fractions that never fall", "%g comes after %g",
                             point->fraction, *before);
    *before = point->fraction;
}

static void read_widths(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_vessel *vessel)
{
    static const char expected[] = "a width in µm, or a list of [fraction of the length, width]";
    double before = 0.0;
    if (!node)
        return;
    if (node->kind == NRW_YAML_MAP || (node->kind == NRW_YAML_LIST && node->n_children == 0)) {
        (void)nrw_yaml_error(doc, node, expected, "gives no width");
        return;
    }
    size_t n = node->kind == NRW_YAML_LIST ? node->n_children : 1;
    vessel->widths = calloc(n, sizeof *vessel->widths);
    if (!vessel->widths) {
        (void)nrw_yaml_no_memory(doc);
        return;
    }
    vessel->n_widths = n;
    if (node->kind == NRW_YAML_SCALAR)
        (void)nrw_yaml_number(doc, node, (nrw_yaml_range)NRW_LENGTHS, &vessel->widths[0].width_um);
    for (const nrw_yaml_node *child = node->first; child; child = child->next)
        read_width_pair(doc, child, &before, &vessel->widths[child->index]);
}

static bool same_point(const double a_um[2], const double b_um[2])
{
    return a_um[0] >= b_um[0] && a_um[0] <= b_um[0] && a_um[1] >= b_um[1] && a_um[1] <= b_um[1];
}

/* Every piece of a centreline needs a direction. Points that could not be read
 * are NAN and equal to nothing. */
static void check_pieces(nrw_yaml_doc *doc, const nrw_yaml_node *node, const nrw_map *map,
                         const nrw_vessel *vessel)
{
    if (vessel->from < 0 || vessel->to < 0)
        return;
    const nrw_yaml_node *via = nrw_yaml_get(node, "via_um");
    const nrw_yaml_node *at = via ? via->first : NULL;
    const double *before = map->nodes[vessel->from].at_um;
    for (size_t i = 0; i <= vessel->n_via; i++) {
        const double *here = i < vessel->n_via ? vessel->via_um[i] : map->nodes[vessel->to].at_um;
        if (same_point(before, here))
            (void)nrw_yaml_error(doc, i < vessel->n_via ? at : nrw_yaml_get(node, "to"),
                                 "a place of its own",
                                 "is at the point before it: the vessel has no length there");
        before = here;
        at = at ? at->next : NULL;
    }
}

static void read_vessel(nrw_yaml_doc *doc, const nrw_yaml_node *node, const nrw_map *map,
                        nrw_vessel *vessel)
{
    static const nrw_yaml_field fields[] = {
        NRW_REQUIRED_OTHER("from"),
        NRW_REQUIRED_OTHER("to"),
        NRW_REQUIRED_OTHER("width_um"),
        NRW_OPTIONAL_OTHER("via_um"),
    };
    vessel->from = vessel->to = -1;
    if (!nrw_yaml_is_map(doc, node))
        return;
    (void)nrw_yaml_fields(doc, node, fields, N(fields), NULL);
    const nrw_yaml_node *from = nrw_yaml_get(node, "from"), *to = nrw_yaml_get(node, "to");
    if (from)
        (void)nrw_scenario_read_node(doc, from, map, &vessel->from, NULL);
    if (to)
        (void)nrw_scenario_read_node(doc, to, map, &vessel->to, NULL);
    read_via(doc, nrw_yaml_get(node, "via_um"), vessel);
    read_widths(doc, nrw_yaml_get(node, "width_um"), vessel);
    if (vessel->from >= 0 && vessel->from == vessel->to)
        (void)nrw_yaml_error(doc, to, "another node", "is the node that the vessel comes from");
    else
        check_pieces(doc, node, map, vessel);
}

static void read_vessels(nrw_yaml_doc *doc, const nrw_yaml_node *list, nrw_map *map)
{
    if (!nrw_yaml_is_list(doc, list, "a list of vessels"))
        return;
    if (list->n_children == 0 || list->n_children > NRW_VESSELS_MAX) {
        (void)nrw_yaml_error(doc, list, "1 to 10,000", "there are %u vessels", list->n_children);
        return;
    }
    map->vessels = calloc(list->n_children, sizeof *map->vessels);
    if (!map->vessels) {
        (void)nrw_yaml_no_memory(doc);
        return;
    }
    map->n_vessels = list->n_children;
    for (const nrw_yaml_node *child = list->first; child; child = child->next)
        read_vessel(doc, child, map, &map->vessels[child->index]);
}

/* --- the channel ------------------------------------------------------------- */

static void check_open(nrw_yaml_doc *doc, const nrw_yaml_node *node, const nrw_map *map)
{
    const nrw_yaml_node *vessels = nrw_yaml_get(node, "vessels");
    const nrw_yaml_node *floor = nrw_yaml_get(node, "floor");
    const nrw_yaml_node *depth = nrw_yaml_get(node, "depth_um");
    if (map->open && vessels)
        (void)nrw_yaml_error_at_key(doc, vessels, "leave it out", "an open map has no vessels");
    if (!map->has_floor && !map->open && floor)
        (void)nrw_yaml_error(doc, floor, "open: true with it",
                             "a channel with side walls has a floor");
    if (!map->has_floor && map->open && depth)
        (void)nrw_yaml_error_at_key(doc, depth, "leave it out",
                                    "without a floor there is no ceiling");
}

/* What a channel with walls can't do without. */
static void check_closed(nrw_yaml_doc *doc, const nrw_yaml_node *node)
{
    if (!nrw_yaml_get(node, "depth_um"))
        (void)nrw_yaml_error_missing(doc, node, "depth_um",
                                     "a number in µm above 0, or open: true");
    if (nrw_yaml_get(node, "mask"))
        return;
    if (!nrw_yaml_get(node, "nodes"))
        (void)nrw_yaml_error_missing(doc, node, "nodes", "the map's nodes, a mask or open: true");
    if (!nrw_yaml_get(node, "vessels"))
        (void)nrw_yaml_error_missing(doc, node, "vessels",
                                     "the map's vessels, a mask or open: true");
}

/* A picture is the whole map, but for its nodes. */
static void check_mask(nrw_yaml_doc *doc, const nrw_yaml_node *node, const nrw_map *map)
{
    const nrw_yaml_node *vessels = nrw_yaml_get(node, "vessels");
    const nrw_yaml_node *mask = nrw_yaml_get(node, "mask");
    if (mask && map->open)
        (void)nrw_yaml_error_at_key(doc, mask, "leave it out", "an open map has no picture");
    else if (mask && vessels)
        (void)nrw_yaml_error_at_key(doc, vessels, "leave it out",
                                    "the vessels of a mask come from its picture");
}

void nrw_scenario_read_map(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_map *map)
{
    static const nrw_yaml_field fields[] = {
        NRW_OPTIONAL_SWITCH("open", nrw_map, open),
        NRW_OPTIONAL_SWITCH("floor", nrw_map, has_floor),
        NRW_OPTIONAL("depth_um", NRW_YAML_DOUBLE, nrw_map, depth_um, NRW_LENGTHS),
        NRW_OPTIONAL_OTHER("nodes"),
        NRW_OPTIONAL_OTHER("vessels"),
        NRW_OPTIONAL_OTHER("mask"),
    };
    if (!node || !nrw_yaml_is_map(doc, node))
        return;
    (void)nrw_yaml_fields(doc, node, fields, N(fields), map);
    const nrw_yaml_node *nodes = nrw_yaml_get(node, "nodes");
    const nrw_yaml_node *vessels = nrw_yaml_get(node, "vessels");
    if (nodes)
        read_nodes(doc, nodes, map);
    if (vessels)
        read_vessels(doc, vessels, map);
    check_open(doc, node, map);
    check_mask(doc, node, map);
    if (!map->open)
        check_closed(doc, node);
}
