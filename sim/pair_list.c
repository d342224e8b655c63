#include "pair_list.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Slots that quarters of four particles have room for at first, on average. */
enum { SLOTS_A_QUARTER = 24, ROW_ARRAYS = 7, QUARTERS = 4, QUARTER = NRW_BLOCK / QUARTERS };

/* Blocks serve several lists before their particles are sorted anew: they widen slowly. */
enum { LISTS_A_SORT = 4 };

/* Rows without a particle stand far from each other's block. */
#define FAR_AWAY_UM 1e6f

static size_t rows_of(size_t n)
{
    return (n + NRW_BLOCK - 1) / NRW_BLOCK * NRW_BLOCK;
}

static bool make_room(nrw_pair_list *list, size_t slots)
{
    if (slots <= list->slot_capacity)
        return true;
    uint32_t *others = realloc(list->others, slots * sizeof *others);
    if (others)
        list->others = others;
    float *shifts = realloc(list->shifts, 3 * slots * sizeof *shifts);
    if (shifts)
        list->shifts = shifts;
    if (!others || !shifts)
        return false;
    list->slot_capacity = slots;
    return true;
}

bool nrw_pair_list_init(nrw_pair_list *list, size_t capacity)
{
    memset(list, 0, sizeof *list);
    list->kernels = nrw_kernels_get();
    if (!nrw_block_tree_init(&list->tree, capacity))
        return false;
    const size_t n_rows = rows_of(capacity), n_blocks = n_rows / NRW_BLOCK;
    list->starts = malloc((QUARTERS * n_blocks + 1) * sizeof *list->starts);
    list->origins = malloc(3 * n_blocks * sizeof *list->origins);
    list->rows = aligned_alloc(64, ROW_ARRAYS * n_rows * sizeof *list->rows);
    bool all = list->starts && list->origins && list->rows;
    for (int axis = 0; axis < 3; axis++) {
        list->ref[axis] = malloc(capacity * sizeof(double));
        all = all && list->ref[axis];
    }
    if (all && make_room(list, SLOTS_A_QUARTER * QUARTERS * n_blocks))
        return true;
    nrw_pair_list_clear(list);
    return false;
}

void nrw_pair_list_clear(nrw_pair_list *list)
{
    nrw_block_tree_clear(&list->tree);
    free(list->starts);
    free(list->others);
    free(list->shifts);
    free(list->origins);
    free(list->rows);
    for (int axis = 0; axis < 3; axis++)
        free(list->ref[axis]);
    memset(list, 0, sizeof *list);
}

/* --- list ------------------------------------------------------------------- */

typedef struct box {
    float low[3], high[3];
} box;

static box quarter_box(const nrw_block_tree *tree, size_t first, size_t last)
{
    box b;
    memcpy(b.low, tree->points[first].at, sizeof b.low);
    memcpy(b.high, tree->points[first].at, sizeof b.high);
    for (size_t row = first + 1; row < last; row++)
        for (int axis = 0; axis < 3; axis++) {
            const float at = tree->points[row].at[axis];
            b.low[axis] = at < b.low[axis] ? at : b.low[axis];
            b.high[axis] = at > b.high[axis] ? at : b.high[axis];
        }
    return b;
}

/* Lists of a block's quarters. */
static bool list_block(nrw_pair_list *list, const nrw_block_node *leaf, float reach,
                       uint32_t *found)
{
    const nrw_block_tree *tree = &list->tree;
    const size_t n_found =
        nrw_block_tree_near(tree, leaf->low, leaf->high, reach, leaf->first, found);
    if (!make_room(list, list->n_slots + QUARTERS * n_found) &&
        !make_room(list, 2 * (list->n_slots + QUARTERS * n_found)))
        return false;
    for (size_t quarter = 0; quarter < QUARTERS; quarter++) {
        const size_t first = (size_t)leaf->first * NRW_BLOCK + quarter * QUARTER;
        const size_t last = first + QUARTER < tree->n ? first + QUARTER : tree->n;
        list->starts[QUARTERS * leaf->first + quarter] = (uint32_t)list->n_slots;
        if (first >= last)
            continue;
        const box b = quarter_box(tree, first, last);
        for (size_t k = 0; k < n_found; k++) {
            const nrw_block_node *other = &tree->nodes[found[k]];
            if (nrw_boxes_apart2_um2(b.low, b.high, other->low, other->high) < reach * reach)
                list->others[list->n_slots++] = other->first;
        }
    }
    return true;
}

static bool build(nrw_pair_list *list)
{
    const nrw_block_tree *tree = &list->tree;
    const float reach = (float)(list->cutoff_um + list->skin_um);
    uint32_t *found = malloc(tree->n_blocks * sizeof *found);
    if (!found)
        return false;
    list->n_slots = 0;
    bool done = true;
    /* leaves lie in the nodes by depth; blocks are wanted in their order */
    uint32_t stack[64];
    size_t n_stack = 1;
    stack[0] = 0;
    while (done && n_stack > 0) {
        const nrw_block_node *node = &tree->nodes[stack[--n_stack]];
        if (node->n_blocks == 1) {
            done = list_block(list, node, reach, found);
            continue;
        }
        stack[n_stack++] = node->right;
        stack[n_stack++] = node->left;
    }
    free(found);
    list->starts[QUARTERS * tree->n_blocks] = (uint32_t)list->n_slots;
    list->n_builds++;
    return done;
}

/* --- refresh ---------------------------------------------------------------- */

static bool moved_too_far(const nrw_pair_list *list, const double *const places[3])
{
    const double limit = 0.5 * list->skin_um;
    double largest = 0.0;
    for (size_t i = 0; i < list->tree.n; i++) {
        double square = 0.0;
        for (int axis = 0; axis < 3; axis++) {
            const double moved = places[axis][i] - list->ref[axis][i];
            square += moved * moved;
        }
        largest = square > largest ? square : largest;
    }
    return !(largest <= limit * limit);
}

/* Places from their block's origin, and what lies between the origins. */
static void take_places(nrw_pair_list *list, const double *const places[3])
{
    const nrw_block_tree *tree = &list->tree;
    const size_t n_rows = tree->n_rows;
    for (size_t block = 0; block < tree->n_blocks; block++)
        for (int axis = 0; axis < 3; axis++)
            list->origins[3 * block + (size_t)axis] = places[axis][tree->order[block * NRW_BLOCK]];
    for (int axis = 0; axis < 3; axis++)
        for (size_t row = 0; row < n_rows; row++) {
            const size_t block = row / NRW_BLOCK;
            list->rows[(size_t)axis * n_rows + row] =
                row < tree->n ? (float)(places[axis][tree->order[row]] -
                                        list->origins[3 * block + (size_t)axis])
                              : FAR_AWAY_UM;
        }
    for (size_t quarter = 0; quarter < QUARTERS * tree->n_blocks; quarter++)
        for (size_t slot = list->starts[quarter]; slot < list->starts[quarter + 1]; slot++)
            for (size_t axis = 0; axis < 3; axis++)
                list->shifts[3 * slot + axis] =
                    (float)(list->origins[3 * (quarter / QUARTERS) + axis] -
                            list->origins[3 * (size_t)list->others[slot] + axis]);
}

bool nrw_pair_list_refresh(nrw_pair_list *list, size_t n, const double *x_um, const double *y_um,
                           const double *z_um, double cutoff_um, double skin_um)
{
    const double *const places[3] = {x_um, y_um, z_um};
    const bool same = list->n_builds > 0 && n == list->tree.n && cutoff_um == list->cutoff_um &&
                      skin_um == list->skin_um;
    if (!same || moved_too_far(list, places)) {
        list->cutoff_um = cutoff_um;
        list->skin_um = skin_um;
        if (same && list->n_builds % LISTS_A_SORT != 0)
            nrw_block_tree_move(&list->tree, x_um, y_um, z_um);
        else
            nrw_block_tree_sort(&list->tree, n, x_um, y_um, z_um);
        if (!build(list))
            return false;
        for (int axis = 0; axis < 3; axis++)
            memcpy(list->ref[axis], places[axis], n * sizeof(double));
    }
    take_places(list, places);
    return true;
}

/* --- forces ----------------------------------------------------------------- */

void nrw_pair_list_forces(nrw_pair_list *list, const float *moment,
                          const float tensor[NRW_N_TENSOR], float core2, float *force_pN)
{
    const nrw_block_tree *tree = &list->tree;
    const size_t n_rows = tree->n_rows;
    float *moments = list->rows + 3 * n_rows, *f[3];
    for (size_t row = 0; row < n_rows; row++)
        moments[row] = row < tree->n ? moment[tree->order[row]] : 0.0f;
    for (size_t axis = 0; axis < 3; axis++)
        f[axis] = list->rows + (4 + axis) * n_rows;
    nrw_block_task *task = &list->task;
    task->pair = (nrw_pair_task){.n = n_rows,
                                 .n_filled = tree->n,
                                 .x = list->rows,
                                 .y = list->rows + n_rows,
                                 .z = list->rows + 2 * n_rows,
                                 .moment = moments,
                                 .core2 = core2,
                                 .fx = f[0],
                                 .fy = f[1],
                                 .fz = f[2]};
    memcpy(task->pair.tensor, tensor, sizeof task->pair.tensor);
    task->rows_a_list = QUARTER;
    task->starts = list->starts;
    task->others = list->others;
    task->shifts = list->shifts;
    task->cutoff2 = (float)(list->cutoff_um * list->cutoff_um);
    list->kernels->block_within(task);
    for (size_t row = 0; row < tree->n; row++)
        for (size_t axis = 0; axis < 3; axis++)
            force_pN[3 * (size_t)tree->order[row] + axis] = f[axis][row];
}
