#include "pair_list.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum {
    SLOTS_A_QUAD = 24, /* that there is room for at first, on average */
    QUADS_A_BLOCK = NRW_BLOCK / NRW_QUAD,
    FILLED = 4, /* slots of a list are a multiple */
    /* Blocks serve several lists before their particles are sorted anew: they widen slowly. */
    LISTS_A_SORT = 32,
    /* Blocks that look for their neighbours among the same ones. */
    BLOCKS_A_SEARCH = 8,
    /* Particles by which it is guessed how the swarm as a whole has moved. */
    DRIFT_SAMPLE = 64
};

/* The cutoff in units of length: differences up to it are exact as floats. */
#define CUTOFF_UNITS 0x1p24
/* Rows without a particle stand so many cutoffs from the first of their block: beyond
 * reach, also modulo 2^32 units. */
#define CUTOFFS_AWAY 64.0

static size_t rows_of(size_t n)
{
    return (n + NRW_BLOCK - 1) / NRW_BLOCK * NRW_BLOCK;
}

static bool make_room(nrw_pair_list *list, size_t slots)
{
    if (slots <= list->slot_capacity)
        return true;
    const size_t wanted = slots + slots / 2;
    uint32_t *others = realloc(list->others, wanted * sizeof *others);
    if (others)
        list->others = others;
    uint32_t *owners = realloc(list->owners, (wanted / FILLED + 1) * sizeof *owners);
    if (owners)
        list->owners = owners;
    if (!others || !owners)
        return false;
    list->slot_capacity = wanted;
    return true;
}

static bool allocate(nrw_pair_list *list, size_t n_rows)
{
    const size_t n_quads = n_rows / NRW_QUAD;
    list->starts = malloc((n_quads + 1) * sizeof *list->starts);
    list->left_to = malloc(n_quads * sizeof *list->left_to);
    list->left = malloc(2 * ((FILLED - 1) * n_quads + 1) * sizeof *list->left);
    list->blocks = malloc(n_rows / NRW_BLOCK * sizeof *list->blocks);
    list->boxes = malloc(6 * rows_of(n_rows / NRW_BLOCK) * sizeof *list->boxes);
    list->quads = aligned_alloc(64, (n_quads + 1) * sizeof *list->quads);
    list->forces = aligned_alloc(64, (n_quads + 1) * NRW_QUAD_FLOATS * sizeof *list->forces);
    list->eigen = gsl_eigen_symmv_alloc(3);
    bool all = list->starts && list->left_to && list->left && list->blocks && list->boxes &&
               list->quads && list->forces && list->eigen;
    for (int axis = 0; axis < 3; axis++) {
        list->at[axis] = malloc(n_rows * sizeof(double));
        list->ref[axis] = malloc(n_rows * sizeof(double));
        all = all && list->at[axis] && list->ref[axis];
    }
    return all && make_room(list, SLOTS_A_QUAD * n_quads);
}

bool nrw_pair_list_init(nrw_pair_list *list, size_t capacity)
{
    memset(list, 0, sizeof *list);
    list->kernels = nrw_kernels_get();
    if (nrw_block_tree_init(&list->tree, capacity) && allocate(list, rows_of(capacity)))
        return true;
    nrw_pair_list_clear(list);
    return false;
}

void nrw_pair_list_clear(nrw_pair_list *list)
{
    nrw_block_tree_clear(&list->tree);
    free(list->starts);
    free(list->others);
    free(list->owners);
    free(list->left_to);
    free(list->left);
    free(list->blocks);
    free(list->boxes);
    free(list->quads);
    free(list->forces);
    gsl_eigen_symmv_free(list->eigen);
    for (int axis = 0; axis < 3; axis++) {
        free(list->at[axis]);
        free(list->ref[axis]);
    }
    memset(list, 0, sizeof *list);
}

/* --- places ----------------------------------------------------------------- */

/* How far the particles of some rows have moved since the list was made, on average. */
static double drift_of(const double *given, const uint32_t *order, const double *ref, size_t n)
{
    const size_t stride = n / DRIFT_SAMPLE + 1;
    double sum = 0.0, count = 0.0;
    for (size_t row = 0; row < n; row += stride, count += 1.0)
        sum += given[order[row]] - ref[row];
    return sum / count;
}

static void place_row(nrw_pair_list *list, const double *const places[3], size_t row)
{
    const nrw_block_tree *tree = &list->tree;
    const size_t first = row / NRW_BLOCK * NRW_BLOCK;
    for (int axis = 0; axis < 3; axis++)
        list->at[axis][row] = row < tree->n
                                  ? places[axis][tree->order[row]]
                                  : list->at[axis][first] + CUTOFFS_AWAY * list->cutoff_um;
}

/* Takes the places over. False: some particle has moved by more than half of the skin
 * against the others since the list was made. */
static bool take_places(nrw_pair_list *list, const double *const places[3])
{
    const nrw_block_tree *tree = &list->tree;
    const double limit = 0.5 * list->skin_um;
    nrw_quad_rows rows = {.n_quads = tree->n / NRW_QUAD, .order = tree->order};
    for (int axis = 0; axis < 3; axis++) {
        rows.given[axis] = places[axis];
        rows.at[axis] = list->at[axis];
        rows.ref[axis] = list->ref[axis];
        rows.drift[axis] = drift_of(places[axis], tree->order, list->ref[axis], tree->n);
    }
    double largest = list->kernels->quad_take(&rows);
    for (size_t row = rows.n_quads * NRW_QUAD; row < tree->n_rows; row++) {
        double square = 0.0;
        place_row(list, places, row);
        for (int axis = 0; axis < 3; axis++)
            square += pow(list->at[axis][row] - list->ref[axis][row] - rows.drift[axis], 2.0);
        largest = row < tree->n && square > largest ? square : largest;
    }
    return largest <= limit * limit;
}

/* The list is made for these places. */
static void keep_places(nrw_pair_list *list, const double *const places[3])
{
    for (size_t row = 0; row < list->tree.n_rows; row++) {
        place_row(list, places, row);
        for (int axis = 0; axis < 3; axis++)
            list->ref[axis][row] = list->at[axis][row];
    }
}

/* --- list ------------------------------------------------------------------- */

typedef struct box {
    float low[3], high[3];
} box;

static box quad_box(const nrw_block_tree *tree, size_t quad)
{
    const size_t first = quad * NRW_QUAD;
    const size_t last = first + NRW_QUAD < tree->n ? first + NRW_QUAD : tree->n;
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

/* The boxes' error of single precision, µm. */
static float box_error_um(const nrw_block_tree *tree)
{
    float largest = 0.0f;
    for (int axis = 0; axis < 3; axis++)
        largest = fmaxf(largest, fmaxf(-tree->nodes[0].low[axis], tree->nodes[0].high[axis]));
    return 1e-6f * largest;
}

/* Blocks that come near some of a node's, for the search of its quads. */
static nrw_quad_search search_around(nrw_pair_list *list, const nrw_block_node *node,
                                     float reach_um)
{
    const nrw_block_tree *tree = &list->tree;
    const double reach = (list->cutoff_um + list->skin_um) / list->cutoff_um * CUTOFF_UNITS;
    const size_t most = rows_of(tree->n_blocks);
    nrw_quad_search search = {.quads = list->quads,
                              .boxes.blocks = list->blocks,
                              .apart2 = reach_um * reach_um,
                              .reach2 = (float)(reach * reach)};
    for (size_t axis = 0; axis < 3; axis++) {
        search.boxes.low[axis] = list->boxes + 2 * axis * most;
        search.boxes.high[axis] = search.boxes.low[axis] + most;
    }
    nrw_block_tree_around(tree, NULL, node->low, node->high, reach_um, node->first, &search.boxes);
    return search;
}

/* What the quads before left to this one goes into its list; false: no memory. */
static bool take_left(nrw_pair_list *list, size_t quad)
{
    for (uint32_t entry = list->left_to[quad]; entry != 0; entry = list->left[2 * entry + 1]) {
        if (!make_room(list, list->n_slots + 1))
            return false;
        list->others[list->n_slots++] = list->left[2 * entry];
    }
    return true;
}

/* Quads beyond the last full vector of a list take this one into theirs, as far as they
 * come after it (the last n_found slots); empty ones fill up what is left. */
static void fill_up(nrw_pair_list *list, size_t quad, size_t n_found)
{
    const size_t n = list->n_slots - list->starts[quad];
    if (n % FILLED <= n_found)
        for (size_t k = n % FILLED; k > 0; k--) {
            const uint32_t entry = (uint32_t)++list->n_left;
            const size_t other = list->others[--list->n_slots] / NRW_QUAD_FLOATS;
            list->left[2 * entry] = (uint32_t)(NRW_QUAD_FLOATS * quad);
            list->left[2 * entry + 1] = list->left_to[other];
            list->left_to[other] = entry;
        }
    while (list->n_slots % FILLED != 0)
        list->others[list->n_slots++] =
            (uint32_t)(NRW_QUAD_FLOATS * (list->tree.n_rows / NRW_QUAD));
    for (size_t slot = list->starts[quad]; slot < list->n_slots; slot += FILLED)
        list->owners[slot / FILLED] = (uint32_t)quad;
}

/* Lists of a node's quads. */
static bool list_node(nrw_pair_list *list, const nrw_block_node *node, float reach_um)
{
    const size_t begin = (size_t)node->first * QUADS_A_BLOCK;
    const size_t end = begin + (size_t)node->n_blocks * QUADS_A_BLOCK;
    const nrw_quad_search search = search_around(list, node, reach_um);
    for (size_t quad = begin; quad < end; quad++) {
        list->starts[quad] = (uint32_t)list->n_slots;
        if (quad * NRW_QUAD >= list->tree.n)
            continue;
        if (!take_left(list, quad) ||
            !make_room(list, list->n_slots + QUADS_A_BLOCK * search.boxes.n + FILLED))
            return false;
        const box b = quad_box(&list->tree, quad);
        const size_t n =
            list->kernels->quads_within(&search, quad, b.low, b.high, list->others + list->n_slots);
        list->n_slots += n;
        fill_up(list, quad, n);
    }
    return true;
}

static bool list_all(nrw_pair_list *list)
{
    const nrw_block_tree *tree = &list->tree;
    const float reach_um = (float)(list->cutoff_um + list->skin_um) + box_error_um(tree);
    bool done = true;
    /* nodes lie by depth; blocks are wanted in their order */
    uint32_t stack[64];
    size_t n_stack = 1;
    stack[0] = 0;
    while (done && n_stack > 0) {
        const nrw_block_node *node = &tree->nodes[stack[--n_stack]];
        if (node->n_blocks <= BLOCKS_A_SEARCH) {
            done = list_node(list, node, reach_um);
            continue;
        }
        stack[n_stack++] = node->right;
        stack[n_stack++] = node->left;
    }
    return done;
}

static void place_quads(nrw_pair_list *list, const double turn[3][3])
{
    const nrw_quad_rows rows = {.n_quads = list->tree.n_rows / NRW_QUAD,
                                .at = {list->at[0], list->at[1], list->at[2]}};
    list->kernels->quad_places(&rows, turn, list->quads);
}

static bool build(nrw_pair_list *list)
{
    const size_t n_rows = list->tree.n_rows, n_quads = n_rows / NRW_QUAD;
    const double scale = CUTOFF_UNITS / list->cutoff_um;
    const double straight[3][3] = {{scale, 0.0, 0.0}, {0.0, scale, 0.0}, {0.0, 0.0, scale}};
    memset(&list->quads[n_quads], 0, sizeof *list->quads);
    memset(list->left_to, 0, n_quads * sizeof *list->left_to);
    place_quads(list, straight);
    list->n_slots = list->n_left = 0;
    const bool done = list_all(list);
    list->starts[n_quads] = (uint32_t)list->n_slots;
    list->n_builds++;
    return done;
}

bool nrw_pair_list_refresh(nrw_pair_list *list, size_t n, const double *x_um, const double *y_um,
                           const double *z_um, double cutoff_um, double skin_um)
{
    const double *const places[3] = {x_um, y_um, z_um};
    const bool same = list->n_builds > 0 && n == list->tree.n && cutoff_um == list->cutoff_um &&
                      skin_um == list->skin_um;
    if (same && take_places(list, places))
        return true;
    list->cutoff_um = cutoff_um;
    list->skin_um = skin_um;
    if (same && list->n_builds % LISTS_A_SORT != 0)
        nrw_block_tree_move(&list->tree, x_um, y_um, z_um);
    else
        nrw_block_tree_sort(&list->tree, n, x_um, y_um, z_um);
    keep_places(list, places);
    return build(list);
}

/* --- forces ----------------------------------------------------------------- */

/* Principal values and axes (by row) of a tensor. */
static void principal_axes(nrw_pair_list *list, const float tensor[NRW_N_TENSOR], float values[3],
                           double axes[3][3])
{
    static const int component[3][3] = {
        {NRW_XX, NRW_XY, NRW_XZ}, {NRW_XY, NRW_YY, NRW_YZ}, {NRW_XZ, NRW_YZ, NRW_ZZ}};
    double matrix[9], value[3], columns[9];
    for (size_t k = 0; k < 9; k++)
        matrix[k] = (double)tensor[component[k / 3][k % 3]];
    gsl_matrix_view a = gsl_matrix_view_array(matrix, 3, 3);
    gsl_matrix_view v = gsl_matrix_view_array(columns, 3, 3);
    gsl_vector_view of = gsl_vector_view_array(value, 3);
    gsl_eigen_symmv(&a.matrix, &of.vector, &v.matrix, list->eigen);
    gsl_eigen_symmv_sort(&of.vector, &v.matrix, GSL_EIGEN_SORT_VAL_ASC);
    for (size_t k = 0; k < 3; k++) {
        values[k] = (float)value[k];
        for (size_t axis = 0; axis < 3; axis++)
            axes[k][axis] = columns[3 * axis + k];
    }
}

static void take_moments(nrw_pair_list *list, const float *moment)
{
    const nrw_block_tree *tree = &list->tree;
    for (size_t quad = 0; quad < tree->n_rows / NRW_QUAD; quad++)
        for (size_t r = 0; r < NRW_QUAD; r++) {
            const size_t row = NRW_QUAD * quad + r;
            list->quads[quad].moment[r] = row < tree->n ? moment[tree->order[row]] : 0.0f;
        }
}

static void give_forces(const nrw_pair_list *list, float *force_pN)
{
    const nrw_block_tree *tree = &list->tree;
    for (size_t quad = 0; quad < tree->n_rows / NRW_QUAD; quad++)
        for (size_t r = 0; r < NRW_QUAD && NRW_QUAD * quad + r < tree->n; r++) {
            const float *f = list->forces + NRW_QUAD_FLOATS * quad + r;
            float *out = force_pN + 3 * (size_t)tree->order[NRW_QUAD * quad + r];
            out[0] = f[0];
            out[1] = f[NRW_QUAD];
            out[2] = f[2 * NRW_QUAD];
        }
}

void nrw_pair_list_forces(nrw_pair_list *list, const float *moment,
                          const float tensor[NRW_N_TENSOR], float core2, float *force_pN)
{
    const nrw_block_tree *tree = &list->tree;
    const double scale = CUTOFF_UNITS / list->cutoff_um;
    nrw_quad_task task = {.n_quads = tree->n_rows / NRW_QUAD,
                          .quads = list->quads,
                          .starts = list->starts,
                          .others = list->others,
                          .owners = list->owners,
                          .core2 = (float)((double)core2 * scale * scale),
                          .cutoff2 = (float)(CUTOFF_UNITS * CUTOFF_UNITS),
                          .forces = list->forces};
    double axes[3][3], turn[3][3];
    float back[3][3];
    principal_axes(list, tensor, task.tensor, axes);
    /* forces go with the inverse fourth power of length; the kernel's have the other sign */
    for (int k = 0; k < 3; k++)
        for (int axis = 0; axis < 3; axis++) {
            turn[k][axis] = scale * axes[k][axis];
            back[k][axis] = (float)(-pow(scale, 4.0) * axes[k][axis]);
        }
    take_moments(list, moment);
    place_quads(list, (const double(*)[3])turn);
    list->kernels->quad_dipoles(&task);
    list->kernels->quad_turn(task.n_quads, list->quads, (const float(*)[3])back, list->forces);
    give_forces(list, force_pN);
}
