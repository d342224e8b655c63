#include "world_order.h"

#include <string.h>

#include "contact_find.h"

/* Contact lists that one order serves: some seconds, in which a swarm mixes little. */
#define LISTS_AN_ORDER 256

/* Arrays by particle, at most, and the largest of their items. */
enum { MOST_ARRAYS = 40, LARGEST_ITEM = sizeof(nrw_wall_view) };

typedef struct particle_array {
    void *items;
    size_t size; /* of an item */
} particle_array;

/* All that is kept by particle, but the state that nrw_world_keep keeps. */
static size_t arrays_of(const nrw_world *world, particle_array arrays[MOST_ARRAYS])
{
    double *const doubles[] = {world->x,       world->y,      world->z,       world->ux,
                               world->uy,      world->uz,     world->field_x, world->field_y,
                               world->field_z, world->seen_x, world->seen_y,  world->seen_wall};
    float *const floats[] = {world->radius,  world->moment,  world->inverse_drag,
                             world->ceiling, world->old_x,   world->old_y,
                             world->moved_x, world->moved_y, world->moved_z};
    size_t n = 0;
    for (size_t k = 0; k < sizeof doubles / sizeof *doubles; k++)
        arrays[n++] = (particle_array){doubles[k], sizeof(double)};
    for (size_t k = 0; k < sizeof floats / sizeof *floats; k++)
        arrays[n++] = (particle_array){floats[k], sizeof(float)};
    arrays[n++] = (particle_array){world->views, sizeof *world->views};
    arrays[n++] = (particle_array){world->stuck, sizeof *world->stuck};
    arrays[n++] = (particle_array){world->ids, sizeof *world->ids};
    return n;
}

void nrw_world_swap(nrw_world *world, size_t i, size_t j)
{
    particle_array arrays[MOST_ARRAYS];
    const size_t n_arrays = arrays_of(world, arrays);
    for (size_t k = 0; k < n_arrays; k++) {
        const size_t size = arrays[k].size;
        unsigned char kept[LARGEST_ITEM], *items = arrays[k].items;
        memcpy(kept, items + i * size, size);
        memmove(items + i * size, items + j * size, size);
        memcpy(items + j * size, kept, size);
    }
}

/* Item i becomes what item order[i] was. */
static void permute(particle_array array, const uint32_t *order, size_t n, unsigned char *scratch)
{
    unsigned char *items = array.items;
    const size_t size = array.size;
    for (size_t i = 0; i < n; i++)
        memcpy(scratch + i * size, items + order[i] * size, size);
    memcpy(items, scratch, n * size);
}

/* Doublets and mutual induction keep arrays of their own by particle, and are too slow for
 * swarms that would gain. */
static bool is_due(const nrw_world *world)
{
    return world->n >= NRW_WORLD_BY_PLACE_LEAST && !world->doublets && !world->mutual &&
           (!world->by_place || world->contacts.n_builds >= world->next_order);
}

void nrw_world_keep_by_place(nrw_world *world)
{
    if (!is_due(world))
        return;
    nrw_contacts *contacts = &world->contacts;
    const size_t n = world->n;
    nrw_block_tree_sort(&contacts->tree, n, world->x, world->y, world->z);
    nrw_contacts_line_up(contacts);
    for (size_t i = 0; i < n; i++)
        contacts->line[i] = contacts->tree.order[contacts->line[i]];
    const uint32_t *order = contacts->line;
    /* what the list is found with has room for the largest items, and is written anew */
    unsigned char *scratch = (unsigned char *)contacts->found;
    particle_array arrays[MOST_ARRAYS];
    const size_t n_arrays = arrays_of(world, arrays);
    for (size_t k = 0; k < n_arrays; k++)
        permute(arrays[k], order, n, scratch);
    for (int k = 0; k < 6; k++)
        permute((particle_array){world->kept[k], sizeof(double)}, order, n, scratch);
    contacts->valid = false;
    contacts->tree.n = world->far.tree.n = 0;
    world->by_place = true;
    world->next_order = contacts->n_builds + LISTS_AN_ORDER;
}
