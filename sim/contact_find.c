#include "contact_find.h"

enum {
    /* Up to here all pairs are tested for the list, in lanes; beyond, those of close
     * blocks. */
    ALL_PAIRS_MAX = 512,
    /* Lists that one sorting of the particles serves; blocks widen slowly. */
    LISTS_A_SORT = 8
};

#define FAR_AWAY_UM 1e6f

/* A block wider than so many reaches holds strays: each looks around for itself. */
#define WIDE 4.0f

static bool has_room(const nrw_contacts *contacts, size_t place)
{
    return contacts->found_starts[place] + NRW_CONTACT_MOST <= contacts->capacity;
}

static bool find_among_all(nrw_contacts *contacts, size_t n)
{
    const nrw_kernels *kernels = nrw_kernels_get();
    uint32_t *starts = contacts->found_starts;
    for (size_t i = 0; i < n; i++) {
        if (!has_room(contacts, i))
            return false;
        const size_t count =
            kernels->close(contacts->n_rows, contacts->sort_x, contacts->sort_y, contacts->sort_z,
                           contacts->sort_radius, i, NRW_CONTACT_REACH, NRW_CONTACT_SURE,
                           NRW_CONTACT_MOST, contacts->found + starts[i]);
        if (count > NRW_CONTACT_MOST)
            return false;
        starts[i + 1] = starts[i] + (uint32_t)count;
    }
    return true;
}

/* Blocks within reach of a box, into near_blocks. */
static size_t look_around(nrw_contacts *contacts, const float low[3], const float high[3],
                          float reach)
{
    const size_t n =
        nrw_block_tree_near(&contacts->tree, low, high, reach, 0, contacts->near_blocks);
    for (size_t k = 0; k < n; k++)
        contacts->near_blocks[k] = contacts->tree.nodes[contacts->near_blocks[k]].first;
    return n;
}

static bool is_wide(const nrw_block_node *leaf, float reach)
{
    return leaf->radius > WIDE * reach;
}

static bool find_around(nrw_contacts *contacts, const nrw_block_node *leaf, float reach)
{
    const nrw_kernels *kernels = nrw_kernels_get();
    const nrw_block_tree *tree = &contacts->tree;
    uint32_t *starts = contacts->found_starts;
    const bool wide = is_wide(leaf, reach);
    size_t n_blocks = wide ? 0 : look_around(contacts, leaf->low, leaf->high, reach);
    const size_t first = (size_t)leaf->first * NRW_BLOCK;
    for (size_t i = first; i < first + NRW_BLOCK && i < tree->n; i++) {
        if (!has_room(contacts, i))
            return false;
        if (wide)
            n_blocks = look_around(contacts, tree->points[i].at, tree->points[i].at, reach);
        const size_t count = kernels->close_blocks(
            n_blocks, contacts->near_blocks, contacts->sort_x, contacts->sort_y, contacts->sort_z,
            contacts->sort_radius, i, NRW_CONTACT_REACH, NRW_CONTACT_SURE, NRW_CONTACT_MOST,
            contacts->found + starts[i]);
        if (count > NRW_CONTACT_MOST)
            return false;
        starts[i + 1] = starts[i] + (uint32_t)count;
    }
    return true;
}

/* The lists of all blocks, in their order. */
static bool find_by_blocks(nrw_contacts *contacts, float largest_radius)
{
    enum { DEEPEST = 64 };
    /* a thousandth for the rounding of places */
    const float reach = 1.001f * NRW_CONTACT_REACH * 2.0f * largest_radius;
    uint32_t stack[DEEPEST];
    size_t n_stack = 1;
    stack[0] = 0;
    while (n_stack > 0) {
        const nrw_block_node *node = &contacts->tree.nodes[stack[--n_stack]];
        if (node->n_blocks == 1) {
            if (!find_around(contacts, node, reach))
                return false;
            continue;
        }
        stack[n_stack++] = node->right;
        stack[n_stack++] = node->left;
    }
    return true;
}

static void sort_places(nrw_contacts *contacts, size_t n, const double *x, const double *y,
                        const double *z)
{
    nrw_block_tree *tree = &contacts->tree;
    if (contacts->n_builds % LISTS_A_SORT == 0 || tree->n != n || !contacts->by_tree)
        nrw_block_tree_sort(tree, n, x, y, z);
    else
        nrw_block_tree_move(tree, x, y, z);
    for (size_t i = 0; i < n; i++) {
        contacts->sort_x[i] = tree->points[i].at[0];
        contacts->sort_y[i] = tree->points[i].at[1];
        contacts->sort_z[i] = tree->points[i].at[2];
    }
}

bool nrw_contacts_find(nrw_contacts *contacts, size_t n, const double *x, const double *y,
                       const double *z, const float *radius, float largest_radius)
{
    const bool by_tree = n > ALL_PAIRS_MAX;
    if (by_tree)
        sort_places(contacts, n, x, y, z);
    contacts->by_tree = by_tree;
    for (size_t i = 0; i < contacts->n_rows; i++) {
        contacts->sort_radius[i] = i < n ? radius[nrw_contacts_particle(contacts, i)] : 0.0f;
        if (by_tree && i < n)
            continue;
        contacts->sort_x[i] = i < n ? (float)(x[i] - x[0]) : FAR_AWAY_UM;
        contacts->sort_y[i] = i < n ? (float)(y[i] - y[0]) : FAR_AWAY_UM;
        contacts->sort_z[i] = i < n ? (float)z[i] : FAR_AWAY_UM;
    }
    contacts->found_starts[0] = 0;
    return by_tree ? find_by_blocks(contacts, largest_radius) : find_among_all(contacts, n);
}
