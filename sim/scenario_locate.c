#include "scenario_locate.h"

#include <stdbool.h>
#include <string.h>

#include "yaml_doc.h"

/* Whether `key` is the path of this value or of one inside it. */
static bool leads_to(const nrw_yaml_node *node, const char *key)
{
    char path[sizeof((nrw_error *)0)->key];
    nrw_yaml_path(node, path, sizeof path);
    size_t length = strlen(path);
    return strncmp(path, key, length) == 0 && strchr(".[", key[length]) != NULL;
}

/* The innermost value on the way to `key`; strchr above finds the terminator of
 * an exact match too. */
static const nrw_yaml_node *find(const nrw_yaml_node *root, const char *key)
{
    const nrw_yaml_node *found = root, *child = root->first;
    while (child) {
        if (leads_to(child, key)) {
            found = child;
            child = child->first;
        } else {
            child = child->next;
        }
    }
    return found;
}

void nrw_scenario_locate(const nrw_scenario *scenario, nrw_errors *errors, size_t first)
{
    nrw_yaml_doc *doc = NULL;
    if (!errors || !scenario->text ||
        nrw_yaml_create(scenario->text, scenario->text_size, "", NULL, &doc) != NRW_OK)
        return;
    const nrw_yaml_node *root = nrw_yaml_root(doc);
    for (size_t i = first; i < errors->n_items && root; i++) {
        nrw_error *error = &errors->items[i];
        if (!error->key[0] || error->line != 0)
            continue;
        const nrw_yaml_node *node = find(root, error->key);
        error->line = node->line;
        error->column = node->column;
    }
    nrw_yaml_destroy(doc);
}
