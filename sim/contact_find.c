#include "contact_find.h"

#include <string.h>

enum {
    /* Up to here all pairs are tested for the list, in lanes; beyond, those of close
     * blocks. */
    ALL_PAIRS_MAX = 192,
    /* Lists that one sorting of the particles serves; blocks widen slowly. */
    LISTS_A_SORT = 32,
    /* Blocks that one look around the tree serves. */
    BLOCKS_A_SEARCH = 8,
    /* Places of a bin in which they are lined up. */
    A_BIN = 32
};

#define FAR_AWAY_UM 1e6f

/* A block wider than so many reaches holds strays: each looks around for itself. */
#define WIDE 8.0f

static bool is_wide(const nrw_block_node *node, float reach)
{
    return node->radius > WIDE * reach;
}

static bool find_rows(nrw_contacts *contacts, const nrw_close_search *search, size_t first,
                      size_t n)
{
    uint32_t *starts = contacts->found_starts + first;
    return starts[0] <= contacts->capacity &&
           nrw_kernels_get()->close(search, first, n, contacts->found, starts);
}

static nrw_close_search search_of(const nrw_contacts *contacts, float largest_radius)
{
    return (nrw_close_search){contacts->near,   contacts->sort_x,      contacts->sort_y,
                              contacts->sort_z, contacts->sort_radius, NRW_CONTACT_REACH,
                              NRW_CONTACT_SURE, largest_radius,        NRW_CONTACT_MOST};
}

static bool find_among_all(nrw_contacts *contacts, float largest_radius)
{
    nrw_close_search search = search_of(contacts, largest_radius);
    search.boxes = (nrw_block_boxes){.n = contacts->n_chunks};
    for (size_t i = 0; i < contacts->n; i += NRW_QUAD) {
        const size_t left = contacts->n - i;
        if (!find_rows(contacts, &search, i, left < NRW_QUAD ? left : NRW_QUAD))
            return false;
    }
    return true;
}

static bool find_around(nrw_contacts *contacts, const nrw_block_node *node,
                        const nrw_block_front *front, float largest_radius, float reach)
{
    const nrw_block_tree *tree = &contacts->tree;
    nrw_close_search search = search_of(contacts, largest_radius);
    const bool wide = is_wide(node, reach);
    if (!wide)
        nrw_block_tree_around(tree, front, node->low, node->high, reach, 0, &search.boxes);
    const size_t first = (size_t)node->first * NRW_BLOCK, together = wide ? 1 : NRW_QUAD;
    const size_t all = first + (size_t)node->n_blocks * NRW_BLOCK;
    const size_t last = all < tree->n ? all : tree->n;
    for (size_t i = first; i < last; i += together) {
        if (wide)
            nrw_block_tree_around(tree, front, tree->points[i].at, tree->points[i].at, reach, 0,
                                  &search.boxes);
        if (!find_rows(contacts, &search, i, last - i < together ? last - i : together))
            return false;
    }
    return true;
}

/* The lists of all blocks, in their order. */
static bool find_by_blocks(nrw_contacts *contacts, float largest_radius)
{
    /* a thousandth for the rounding of places */
    const float reach = 1.001f * NRW_CONTACT_REACH * 2.0f * largest_radius;
    nrw_block_walk walk;
    const nrw_block_front *front;
    nrw_block_walk_begin(&walk, &contacts->tree, reach, BLOCKS_A_SEARCH, WIDE * reach);
    for (const nrw_block_node *node; (node = nrw_block_walk_next(&walk, &front)) != NULL;)
        if (!find_around(contacts, node, front, largest_radius, reach))
            return false;
    return true;
}

/* The longer side of a swarm, by its spread, which strays don't decide. */
static int along_of(const nrw_block_tree *tree)
{
    double squares[2] = {0.0, 0.0};
    for (size_t place = 0; place < tree->n; place++)
        for (int axis = 0; axis < 2; axis++) {
            const double at = (double)tree->points[place].at[axis];
            squares[axis] += at * at;
        }
    return squares[1] > squares[0];
}

void nrw_contacts_line_up(nrw_contacts *contacts)
{
    const nrw_block_tree *tree = &contacts->tree;
    const size_t n = tree->n;
    uint32_t *line = contacts->line;
    if (n < NRW_CONTACT_WAVES_LEAST) {
        for (size_t place = 0; place < n; place++)
            line[place] = (uint32_t)place;
        return;
    }
    /* a sort by counting; what the list is found with has room, and is written anew */
    const size_t n_bins = n / A_BIN;
    uint32_t *ends = contacts->found, *bins = ends + n_bins + 1;
    const int axis = along_of(tree);
    const float low = tree->nodes[0].low[axis], side = tree->nodes[0].high[axis] - low;
    const float last = (float)(n_bins - 1), scale = side > 0.0f ? (float)n_bins / side : 0.0f;
    memset(ends, 0, (n_bins + 1) * sizeof *ends);
    for (size_t place = 0; place < n; place++) {
        const float at = scale * (tree->points[place].at[axis] - low);
        bins[place] = (uint32_t)(at < last ? at : last);
        ends[bins[place] + 1]++;
    }
    for (size_t bin = 0; bin < n_bins; bin++)
        ends[bin + 1] += ends[bin];
    for (size_t place = 0; place < n; place++)
        line[ends[bins[place]]++] = (uint32_t)place;
}

static void sort_places(nrw_contacts *contacts, size_t n, const double *x, const double *y,
                        const double *z)
{
    nrw_block_tree *tree = &contacts->tree;
    if (contacts->n_builds % LISTS_A_SORT == 0 || tree->n != n || !contacts->by_tree) {
        nrw_block_tree_sort(tree, n, x, y, z);
        nrw_contacts_line_up(contacts);
    } else
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
    if (!by_tree)
        for (size_t i = 0; i < n; i++)
            contacts->line[i] = (uint32_t)i;
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
    return by_tree ? find_by_blocks(contacts, largest_radius)
                   : find_among_all(contacts, largest_radius);
}
