#include "block_tree.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "block_cut.h"
#include "means.h"

/* Where a block is halved further: the kernels leave out quarters of it. */
enum { QUARTER = NRW_BLOCK / 4 };

static size_t blocks_of(size_t n)
{
    return (n + NRW_BLOCK - 1) / NRW_BLOCK;
}

size_t nrw_block_tree_most_nodes(size_t n)
{
    return 2 * blocks_of(n) - 1;
}

bool nrw_block_tree_init(nrw_block_tree *tree, size_t capacity)
{
    memset(tree, 0, sizeof *tree);
    const size_t n_rows = NRW_BLOCK * blocks_of(capacity);
    tree->capacity = capacity;
    tree->order = malloc(n_rows * sizeof *tree->order);
    tree->points = malloc(n_rows * sizeof *tree->points);
    tree->nodes = malloc(nrw_block_tree_most_nodes(capacity) * sizeof *tree->nodes);
    if (tree->order && tree->points && tree->nodes)
        return true;
    nrw_block_tree_clear(tree);
    return false;
}

void nrw_block_tree_clear(nrw_block_tree *tree)
{
    free(tree->order);
    free(tree->points);
    free(tree->nodes);
    memset(tree, 0, sizeof *tree);
}

/* --- sort ------------------------------------------------------------------- */

static float smaller(float a, float b)
{
    return a < b ? a : b;
}

static float larger(float a, float b)
{
    return a > b ? a : b;
}

static float middle_of(float a, float b, float c)
{
    const float low = smaller(a, b), high = larger(a, b);
    return c < low ? low : smaller(c, high);
}

/* Puts the `nth` smallest along an axis in its place, the smaller ones before it
 * (Hoare 1961). */
static void select_nth(nrw_block_point *points, size_t n, size_t nth, int axis)
{
    ptrdiff_t low = 0, high = (ptrdiff_t)n - 1, at = (ptrdiff_t)nth;
    while (low < high) {
        const float pivot = middle_of(points[low].at[axis], points[(low + high) / 2].at[axis],
                                      points[high].at[axis]);
        ptrdiff_t i = low, j = high;
        while (i <= j) {
            while (points[i].at[axis] < pivot)
                i++;
            while (points[j].at[axis] > pivot)
                j--;
            if (i > j)
                break;
            const nrw_block_point kept = points[i];
            points[i++] = points[j];
            points[j--] = kept;
        }
        if (at <= j)
            high = j;
        else if (at >= i)
            low = i;
        else
            return;
    }
}

static void box_of(const nrw_block_point *points, size_t n, float low[3], float high[3])
{
    for (int axis = 0; axis < 3; axis++)
        low[axis] = high[axis] = points[0].at[axis];
    for (size_t i = 1; i < n; i++)
        for (int axis = 0; axis < 3; axis++) {
            const float at = points[i].at[axis];
            low[axis] = smaller(at, low[axis]);
            high[axis] = larger(at, high[axis]);
        }
}

static int longest_side(const float low[3], const float high[3])
{
    int axis = high[1] - low[1] > high[0] - low[0] ? 1 : 0;
    return high[2] - low[2] > high[axis] - low[axis] ? 2 : axis;
}

/* Halves the particles of a block until quarters are left. */
static void sort_block(nrw_block_point *points, size_t n)
{
    for (size_t part = NRW_BLOCK; part > QUARTER; part /= 2)
        for (size_t first = 0; first + part / 2 < n; first += part) {
            const size_t count = n - first < part ? n - first : part;
            float low[3], high[3];
            box_of(points + first, count, low, high);
            select_nth(points + first, count, part / 2, longest_side(low, high));
        }
}

static size_t particles_of(const nrw_block_tree *tree, const nrw_block_node *node)
{
    const size_t begin = (size_t)node->first * NRW_BLOCK;
    const size_t all = (size_t)node->n_blocks * NRW_BLOCK;
    return tree->n - begin < all ? tree->n - begin : all;
}

/* A cell is flat when its thinnest side is less than this share of a block's in the plane. */
static const float FLAT = 0.7f;

/* Where to cut a node's box, along `*axis`: into so many blocks, and the rest. */
static uint32_t cut_of(const nrw_block_node *node, int *axis)
{
    const int longest = longest_side(node->low, node->high);
    const int one = (longest + 1) % 3, other = (longest + 2) % 3;
    float side[3];
    for (int k = 0; k < 3; k++)
        side[k] = node->high[k] - node->low[k];
    const int second = side[one] >= side[other] ? one : other;
    const float thinnest = side[3 - longest - second];
    const float plane = side[longest] * side[second] / (float)node->n_blocks;
    *axis = longest;
    if (!(thinnest * thinnest < FLAT * FLAT * plane))
        return (node->n_blocks + 1) / 2;
    const nrw_block_cut cut = nrw_block_cut_of(node->n_blocks, side[longest] / side[second]);
    *axis = cut.across_longer ? longest : second;
    return cut.first;
}

/* Cuts a node in two. Its box is that of the cuts above, which is enough to choose the side
 * by while there are many blocks, later that of its particles. */
static void split(nrw_block_tree *tree, size_t at)
{
    nrw_block_node *node = &tree->nodes[at];
    nrw_block_point *points = tree->points + (size_t)node->first * NRW_BLOCK;
    const size_t n = particles_of(tree, node);
    node->left = node->right = 0;
    if (node->n_blocks == 1) {
        sort_block(points, n);
        return;
    }
    if (node->n_blocks <= NRW_BLOCK_CUT_MOST)
        box_of(points, n, node->low, node->high);
    int axis;
    const uint32_t first = cut_of(node, &axis);
    const size_t cut = (size_t)first * NRW_BLOCK;
    select_nth(points, n, cut, axis);
    /* all of a part's nodes, one less than twice its blocks, stand together */
    node->left = (uint32_t)at + 1;
    node->right = (uint32_t)at + 2 * first;
    nrw_block_node *left = &tree->nodes[node->left], *right = &tree->nodes[node->right];
    *left = *right = *node;
    left->n_blocks = first;
    right->first += first;
    right->n_blocks -= first;
    left->high[axis] = right->low[axis] = points[cut].at[axis];
}

static void measure_block(const nrw_block_tree *tree, nrw_block_node *node)
{
    const nrw_block_point *points = tree->points + (size_t)node->first * NRW_BLOCK;
    const size_t n = particles_of(tree, node);
    box_of(points, n, node->low, node->high);
    float sum[3] = {0.0f, 0.0f, 0.0f};
    for (size_t i = 0; i < n; i++)
        for (int axis = 0; axis < 3; axis++)
            sum[axis] += points[i].at[axis];
    for (int axis = 0; axis < 3; axis++)
        node->centre[axis] = sum[axis] / (float)n;
}

static void measure_parent(const nrw_block_tree *tree, nrw_block_node *node)
{
    const nrw_block_node *left = &tree->nodes[node->left], *right = &tree->nodes[node->right];
    const float share = (float)particles_of(tree, left) / (float)particles_of(tree, node);
    for (int axis = 0; axis < 3; axis++) {
        node->low[axis] = smaller(left->low[axis], right->low[axis]);
        node->high[axis] = larger(left->high[axis], right->high[axis]);
        node->centre[axis] =
            right->centre[axis] + share * (left->centre[axis] - right->centre[axis]);
    }
}

/* Boxes, centres and radii, children first. */
static void measure(nrw_block_tree *tree)
{
    for (size_t at = tree->n_nodes; at-- > 0;) {
        nrw_block_node *node = &tree->nodes[at];
        if (node->n_blocks == 1)
            measure_block(tree, node);
        else
            measure_parent(tree, node);
        float square = 0.0f;
        for (int axis = 0; axis < 3; axis++) {
            const float off =
                larger(node->centre[axis] - node->low[axis], node->high[axis] - node->centre[axis]);
            square += off * off;
        }
        node->radius = sqrtf(square);
    }
}

/* Places of the particles in the order of the rows. */
static void take_points(nrw_block_tree *tree, const double *const places[3])
{
    nrw_means(tree->n, places[0], places[1], places[2], tree->origin_um);
    for (size_t row = 0; row < tree->n; row++) {
        nrw_block_point *point = &tree->points[row];
        point->particle = tree->order[row];
        for (int axis = 0; axis < 3; axis++)
            point->at[axis] = (float)(places[axis][point->particle] - tree->origin_um[axis]);
    }
}

void nrw_block_tree_sort(nrw_block_tree *tree, size_t n, const double *x_um, const double *y_um,
                         const double *z_um)
{
    if (tree->n != n)
        for (size_t i = 0; i < n; i++)
            tree->order[i] = (uint32_t)i;
    tree->n = n;
    tree->n_blocks = blocks_of(n);
    tree->n_rows = NRW_BLOCK * tree->n_blocks;
    take_points(tree, (const double *const[]){x_um, y_um, z_um});
    box_of(tree->points, n, tree->nodes[0].low, tree->nodes[0].high);
    tree->nodes[0].first = 0;
    tree->nodes[0].n_blocks = (uint32_t)tree->n_blocks;
    tree->n_nodes = 2 * tree->n_blocks - 1;
    for (size_t at = 0; at < tree->n_nodes; at++)
        split(tree, at);
    measure(tree);
    for (size_t row = 0; row < tree->n_rows; row++)
        tree->order[row] = row < n ? tree->points[row].particle : (uint32_t)n;
}

void nrw_block_tree_move(nrw_block_tree *tree, const double *x_um, const double *y_um,
                         const double *z_um)
{
    take_points(tree, (const double *const[]){x_um, y_um, z_um});
    measure(tree);
}

/* Nodes still to look at, the next one last; returns how many. */
static size_t look_below(const nrw_block_front *from, uint32_t *stack)
{
    if (!from) {
        stack[0] = 0;
        return 1;
    }
    for (size_t k = 0; k < from->n; k++)
        stack[k] = from->nodes[from->n - 1 - k];
    return from->n;
}

static bool is_near(const nrw_block_node *node, const float low[3], const float high[3],
                    float reach_um)
{
    return nrw_boxes_apart2_um2(node->low, node->high, low, high) < reach_um * reach_um;
}

size_t nrw_block_tree_near(const nrw_block_tree *tree, const nrw_block_front *from,
                           const float low[3], const float high[3], float reach_um, size_t first,
                           uint32_t *found)
{
    uint32_t stack[NRW_BLOCK_DEEPEST + NRW_BLOCK_FRONT];
    size_t n_stack = look_below(from, stack), n_found = 0;
    while (n_stack > 0) {
        const uint32_t at = stack[--n_stack];
        const nrw_block_node *node = &tree->nodes[at];
        if (node->first + node->n_blocks <= first || !is_near(node, low, high, reach_um))
            continue;
        if (node->n_blocks == 1) {
            found[n_found++] = at;
            continue;
        }
        stack[n_stack++] = node->right;
        stack[n_stack++] = node->left;
    }
    return n_found;
}

void nrw_block_tree_around(const nrw_block_tree *tree, const nrw_block_front *from,
                           const float low[3], const float high[3], float reach_um, size_t first,
                           nrw_block_boxes *near)
{
    near->n = nrw_block_tree_near(tree, from, low, high, reach_um, first, near->blocks);
    const size_t padded = (near->n + NRW_LANES - 1) / NRW_LANES * NRW_LANES;
    for (size_t k = 0; k < padded; k++) {
        const nrw_block_node *node = &tree->nodes[near->blocks[k < near->n ? k : 0]];
        for (int axis = 0; axis < 3; axis++) {
            near->low[axis][k] = k < near->n ? node->low[axis] : INFINITY;
            near->high[axis][k] = k < near->n ? node->high[axis] : INFINITY;
        }
    }
    for (size_t k = 0; k < near->n; k++)
        near->blocks[k] = tree->nodes[near->blocks[k]].first;
}

/* What of `wider` comes near a node, down to nodes no larger than it as far as there is room. */
static void narrow(const nrw_block_tree *tree, const nrw_block_front *wider,
                   const nrw_block_node *around, float reach_um, nrw_block_front *front)
{
    uint32_t stack[NRW_BLOCK_FRONT];
    size_t n_stack = look_below(wider, stack);
    front->n = 0;
    while (n_stack > 0) {
        const uint32_t at = stack[--n_stack];
        const nrw_block_node *node = &tree->nodes[at];
        if (!is_near(node, around->low, around->high, reach_um))
            continue;
        /* all that is still to be looked at may have to find a place */
        if (node->n_blocks <= around->n_blocks || front->n + n_stack + 2 > NRW_BLOCK_FRONT) {
            front->nodes[front->n++] = at;
            continue;
        }
        stack[n_stack++] = node->right;
        stack[n_stack++] = node->left;
    }
}

void nrw_block_walk_begin(nrw_block_walk *walk, const nrw_block_tree *tree, float reach_um,
                          size_t most, float widest_um)
{
    walk->tree = tree;
    walk->reach_um = reach_um;
    walk->widest_um = widest_um;
    walk->most = most;
    walk->n_stack = 1;
    walk->stack[0] = walk->depths[0] = 0;
}

const nrw_block_node *nrw_block_walk_next(nrw_block_walk *walk, const nrw_block_front **front)
{
    while (walk->n_stack > 0) {
        walk->n_stack--;
        const uint32_t depth = walk->depths[walk->n_stack];
        const nrw_block_node *node = &walk->tree->nodes[walk->stack[walk->n_stack]];
        /* those of its ancestors stand: who comes after it, but for its own, is not deeper */
        narrow(walk->tree, depth > 0 ? &walk->fronts[depth - 1] : NULL, node, walk->reach_um,
               &walk->fronts[depth]);
        *front = &walk->fronts[depth];
        if (node->n_blocks == 1 ||
            (node->n_blocks <= walk->most && node->radius <= walk->widest_um))
            return node;
        const uint32_t children[2] = {node->right, node->left};
        for (int k = 0; k < 2; k++) {
            walk->stack[walk->n_stack] = children[k];
            walk->depths[walk->n_stack++] = depth + 1;
        }
    }
    return NULL;
}
