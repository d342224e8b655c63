#include "far_field.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "means.h"

enum {
    /* Room of the lists at first, pairs a block; they grow where a swarm needs more. */
    NEAR_A_BLOCK = 24,
    FAR_A_BLOCK = 64,
    /* Targets are sorted by their number of sources within windows of so many nodes. */
    SORT_WINDOW = 512,
    /* Lists that one sorting of the particles serves; blocks widen slowly. */
    LISTS_A_SORT = 4,
    INPUTS = 7, /* x, y, z, moment, qx, qy, tz */
    N_RESPONSES = 3 * NRW_N_TENSOR,
    ROW_ARRAYS = INPUTS + 6 + N_RESPONSES
};

/* Contact lists reach this many radii (contact.h), and a spread of sizes beyond: what they
 * take out of the sums again must have been summed pair by pair. */
#define TOUCHING 4.0

/* Single particles of large swarms may go so much farther than others before lists are made
 * anew. */
#define FARTHEST 1.5

/* Rows without a particle have no weights; at this height their images are apart. */
#define NO_PARTICLE_UM 1.0f

/* The node that stands for none is so far from all that nothing overflows. */
#define NONE_UM 1e4f

/* --- memory ----------------------------------------------------------------- */

/* Room for `wanted` items at least, half as much more when it has to grow. NULL: none,
 * and the block stays as it is. */
static void *enlarge(void *block, size_t *capacity, size_t wanted, size_t size)
{
    if (wanted <= *capacity)
        return block;
    const size_t more = wanted + wanted / 2;
    void *larger = realloc(block, more * size);
    if (larger)
        *capacity = more;
    return larger;
}

/* near and near_shifts have one capacity. */
static bool grow_near(nrw_far_field *far, size_t wanted)
{
    size_t capacity = far->near_capacity;
    uint32_t *near = enlarge(far->near, &capacity, wanted, sizeof *near);
    if (!near)
        return false;
    far->near = near;
    float *shifts = enlarge(far->near_shifts, &far->near_capacity, wanted, 3 * sizeof *shifts);
    if (!shifts)
        return false;
    far->near_shifts = shifts;
    return true;
}

static bool grow_far(nrw_far_field *far, size_t wanted)
{
    uint32_t *pairs = enlarge(far->far, &far->far_capacity, wanted, 2 * sizeof *pairs);
    if (pairs)
        far->far = pairs;
    return pairs != NULL;
}

static bool grow_slots(nrw_far_field *far, size_t wanted)
{
    uint32_t *sources = enlarge(far->sources, &far->slot_capacity, wanted, sizeof *sources);
    if (sources)
        far->sources = sources;
    return sources != NULL;
}

bool nrw_far_field_init(nrw_far_field *far, size_t capacity)
{
    memset(far, 0, sizeof *far);
    far->kernels = nrw_kernels_get();
    if (!nrw_block_tree_init(&far->tree, capacity))
        return false;
    const size_t n_blocks = (capacity + NRW_BLOCK - 1) / NRW_BLOCK, n_rows = n_blocks * NRW_BLOCK;
    const size_t n_nodes = nrw_block_tree_most_nodes(capacity) + 1;
    const size_t n_chunks = n_nodes / NRW_LANES + 1;
    far->near_starts = malloc((n_blocks + 1) * sizeof *far->near_starts);
    far->counts = malloc((n_nodes + 1) * sizeof *far->counts);
    far->targets = malloc(n_chunks * NRW_LANES * sizeof *far->targets);
    far->starts = malloc((n_chunks + 1) * sizeof *far->starts);
    far->centres = malloc(3 * n_nodes * sizeof *far->centres);
    far->node_centres = malloc(3 * n_nodes * sizeof *far->node_centres);
    far->moments = aligned_alloc(64, n_nodes * 4 * NRW_FAR_MOMENTS * sizeof *far->moments);
    far->locals = aligned_alloc(64, n_nodes * NRW_FAR_LOCALS * NRW_FAR_POTENTIALS * sizeof(float));
    far->rows = aligned_alloc(64, ROW_ARRAYS * n_rows * sizeof *far->rows);
    far->row_of = malloc(capacity * sizeof *far->row_of);
    bool all = far->near_starts && far->counts && far->targets && far->starts && far->centres &&
               far->node_centres && far->moments && far->locals && far->rows && far->row_of;
    for (int axis = 0; axis < 3; axis++) {
        far->ref[axis] = malloc(capacity * sizeof(double));
        all = all && far->ref[axis];
    }
    if (all && grow_near(far, NEAR_A_BLOCK * n_blocks) && grow_far(far, FAR_A_BLOCK * n_blocks) &&
        grow_slots(far, 2 * FAR_A_BLOCK * n_blocks))
        return true;
    nrw_far_field_clear(far);
    return false;
}

void nrw_far_field_clear(nrw_far_field *far)
{
    nrw_block_tree_clear(&far->tree);
    void *blocks[] = {far->near_starts, far->near,         far->near_shifts, far->far,
                      far->counts,      far->targets,      far->starts,      far->sources,
                      far->centres,     far->node_centres, far->moments,     far->locals,
                      far->rows,        far->row_of,       far->ref[0],      far->ref[1],
                      far->ref[2]};
    for (size_t k = 0; k < sizeof blocks / sizeof *blocks; k++)
        free(blocks[k]);
    memset(far, 0, sizeof *far);
}

/* --- lists ------------------------------------------------------------------ */

/* Near pairs stand in the same scratch as far ones, counted from its end. */
static bool note_near(nrw_far_field *far, uint32_t a, uint32_t b)
{
    if (!grow_near(far, far->n_near + 1))
        return false;
    const uint32_t first = far->tree.nodes[a].first, second = far->tree.nodes[b].first;
    /* until the lists are sorted, the pair stands where the shifts will */
    uint32_t *pair = (uint32_t *)(void *)(far->near_shifts + 3 * far->n_near++);
    pair[0] = first < second ? first : second;
    pair[1] = first < second ? second : first;
    return true;
}

static bool note_far(nrw_far_field *far, uint32_t a, uint32_t b)
{
    if (!grow_far(far, far->n_far + 1))
        return false;
    far->far[2 * far->n_far] = a;
    far->far[2 * far->n_far + 1] = b;
    far->n_far++;
    return true;
}

static bool is_far(const nrw_far_field *far, const nrw_block_node *a, const nrw_block_node *b)
{
    float square = 0.0f;
    for (int axis = 0; axis < 3; axis++)
        square += (a->centre[axis] - b->centre[axis]) * (a->centre[axis] - b->centre[axis]);
    const float radii = a->radius + b->radius;
    const float open = radii * (float)(1.0 / NRW_FAR_OPENING), apart = radii + far->apart_um;
    return open * open < square && apart * apart < square;
}

static bool pair_nodes(nrw_far_field *far, uint32_t a, uint32_t b)
{
    const nrw_block_node *one = &far->tree.nodes[a], *other = &far->tree.nodes[b];
    if (is_far(far, one, other))
        return note_far(far, a, b);
    const bool single = one->n_blocks == 1, other_single = other->n_blocks == 1;
    if (single && other_single)
        return note_near(far, a, b);
    if (other_single || (!single && one->radius > other->radius))
        return pair_nodes(far, one->left, b) && pair_nodes(far, one->right, b);
    return pair_nodes(far, a, other->left) && pair_nodes(far, a, other->right);
}

/* All pairs among the particles of a node; the depth of the calls is that of the tree. */
static bool pair_within(nrw_far_field *far, uint32_t at)
{
    const nrw_block_node *node = &far->tree.nodes[at];
    if (node->n_blocks == 1)
        return note_near(far, at, at);
    return pair_within(far, node->left) && pair_within(far, node->right) &&
           pair_nodes(far, node->left, node->right);
}

static size_t particles_of(const nrw_block_tree *tree, size_t block)
{
    const size_t left = tree->n - block * NRW_BLOCK;
    return left < NRW_BLOCK ? left : NRW_BLOCK;
}

/* Near pairs by their first block. */
static void sort_near(nrw_far_field *far)
{
    const nrw_block_tree *tree = &far->tree;
    const uint32_t *pairs = (const uint32_t *)(const void *)far->near_shifts;
    uint32_t *starts = far->near_starts;
    memset(starts, 0, (tree->n_blocks + 1) * sizeof *starts);
    far->n_near_pairs = 0;
    for (size_t k = 0; k < far->n_near; k++) {
        const size_t a = pairs[3 * k], b = pairs[3 * k + 1];
        starts[a + 1]++;
        far->n_near_pairs += a == b ? particles_of(tree, a) * (particles_of(tree, a) - 1) / 2
                                    : particles_of(tree, a) * particles_of(tree, b);
    }
    for (size_t block = 0; block < tree->n_blocks; block++)
        starts[block + 1] += starts[block];
    for (size_t k = far->n_near; k-- > 0;)
        far->near[--starts[pairs[3 * k] + 1]] = pairs[3 * k + 1];
    memmove(starts, starts + 1, tree->n_blocks * sizeof *starts);
    starts[tree->n_blocks] = (uint32_t)far->n_near;
}

/* The nodes [first, last) by falling number of sources: targets from n on; how many there are
 * then. */
static size_t sort_window(nrw_far_field *far, uint32_t first, uint32_t last, size_t n)
{
    uint32_t most = 0;
    for (uint32_t node = first; node < last; node++)
        most = far->counts[node] > most ? far->counts[node] : most;
    /* a sort by counting would need room for the longest list: heights in steps of the
     * longest over 255 are fine enough */
    size_t places[257] = {n};
    const uint32_t step = most / 255 + 1;
    for (uint32_t node = first; node < last; node++)
        places[255 - far->counts[node] / step + 1]++;
    for (size_t k = 0; k < 256; k++)
        places[k + 1] += places[k];
    for (uint32_t node = first; node < last; node++)
        far->targets[places[255 - far->counts[node] / step]++] = node;
    return places[256];
}

/* Targets, which all nodes are, by falling number of sources, so that chunks are full, within
 * windows: nodes that follow each other lie close together and share sources. `counts` holds
 * the number of each. */
static void sort_targets(nrw_far_field *far)
{
    const uint32_t n_nodes = (uint32_t)far->tree.n_nodes;
    size_t n = 0;
    for (uint32_t first = 0; first < n_nodes; first += SORT_WINDOW)
        n = sort_window(far, first, first + SORT_WINDOW < n_nodes ? first + SORT_WINDOW : n_nodes,
                        n);
}

/* Far pairs, both ways, as slots of chunks of 16 targets. */
static bool sort_far(nrw_far_field *far)
{
    const uint32_t n_nodes = (uint32_t)far->tree.n_nodes;
    memset(far->counts, 0, (n_nodes + 1) * sizeof *far->counts);
    for (size_t k = 0; k < 2 * far->n_far; k++)
        far->counts[far->far[k]]++;
    sort_targets(far);
    far->n_chunks = (n_nodes + NRW_LANES - 1) / NRW_LANES;
    for (size_t k = n_nodes; k < far->n_chunks * NRW_LANES; k++)
        far->targets[k] = n_nodes;
    far->starts[0] = 0;
    for (size_t chunk = 0; chunk < far->n_chunks; chunk++) {
        uint32_t width = 0;
        for (size_t lane = 0; lane < NRW_LANES; lane++) {
            const uint32_t count = far->counts[far->targets[chunk * NRW_LANES + lane]];
            width = count > width ? count : width;
        }
        far->starts[chunk + 1] = far->starts[chunk] + width * NRW_LANES;
    }
    far->n_slots = far->starts[far->n_chunks];
    if (!grow_slots(far, far->n_slots))
        return false;
    for (size_t slot = 0; slot < far->n_slots; slot++)
        far->sources[slot] = n_nodes;
    /* from here on `counts` is where the next source of a node goes */
    for (size_t chunk = 0; chunk < far->n_chunks; chunk++)
        for (size_t lane = 0; lane < NRW_LANES; lane++)
            far->counts[far->targets[chunk * NRW_LANES + lane]] =
                far->starts[chunk] + (uint32_t)lane;
    for (size_t k = 0; k < far->n_far; k++) {
        const uint32_t a = far->far[2 * k], b = far->far[2 * k + 1];
        far->sources[far->counts[a]] = b;
        far->sources[far->counts[b]] = a;
        far->counts[a] += NRW_LANES;
        far->counts[b] += NRW_LANES;
    }
    return true;
}

/* How far particles have moved since the lists were made, against the mean. */
static nrw_peaks moved_um(const nrw_far_field *far, const double *const places[3],
                          const double means[3])
{
    const size_t n = far->tree.n;
    const double mean[3] = {means[0] - far->ref_means[0], means[1] - far->ref_means[1],
                            means[2] - far->ref_means[2]};
    nrw_peaks_sum peaks = {0};
    for (size_t first = 0; first < n; first += NRW_CONTACT_GROUP) {
        const size_t last = first + NRW_CONTACT_GROUP < n ? first + NRW_CONTACT_GROUP : n;
        const double largest =
            nrw_farthest2(places, (const double *const[]){far->ref[0], far->ref[1], far->ref[2]},
                          mean, first, last);
        nrw_peaks_add(&peaks, (float)sqrt(largest));
    }
    return nrw_peaks_of(&peaks);
}

/* Blocks serve several lists: they widen slowly, unless somebody has jumped. */
static void sort_or_move(nrw_far_field *far, size_t n, const double *const places[3],
                         nrw_peaks moved)
{
    if (far->tree.n == n && far->n_builds % LISTS_A_SORT != 0 &&
        (double)moved.largest <= LISTS_A_SORT * far->keep_um)
        nrw_block_tree_move(&far->tree, places[0], places[1], places[2]);
    else
        nrw_block_tree_sort(&far->tree, n, places[0], places[1], places[2]);
}

static bool refresh(nrw_far_field *far, size_t n, const double *const places[3])
{
    const bool any = far->n_builds > 0 && far->tree.n == n;
    double means[3];
    nrw_means(n, places[0], places[1], places[2], means);
    const nrw_peaks moved = any ? moved_um(far, places, means) : (nrw_peaks){NAN, NAN};
    if ((double)moved.typical <= far->keep_um && (double)moved.largest <= FARTHEST * far->keep_um)
        return true;
    sort_or_move(far, n, places, moved);
    far->n_near = far->n_far = 0;
    if (!pair_within(far, 0) || !sort_far(far)) {
        far->tree.n = 0; /* made anew next time */
        return false;
    }
    sort_near(far);
    for (size_t row = 0; row < n; row++)
        far->row_of[far->tree.order[row]] = (uint32_t)row;
    for (int axis = 0; axis < 3; axis++)
        memcpy(far->ref[axis], places[axis], n * sizeof(double));
    memcpy(far->ref_means, means, sizeof means);
    far->n_builds++;
    return true;
}

/* --- one sum ---------------------------------------------------------------- */

/* The centre of a block, the mean of where its particles are now, and their places: in the plane
 * from it. */
static void take_block(nrw_far_field *far, const double *const places[3], size_t block,
                       double centre[3])
{
    const nrw_block_tree *tree = &far->tree;
    const size_t first = block * NRW_BLOCK, n = particles_of(tree, block);
    for (size_t axis = 0; axis < 3; axis++) {
        float *to = far->rows + axis * tree->n_rows + first;
        double at[NRW_BLOCK], sum = 0.0;
        for (size_t k = 0; k < n; k++) {
            at[k] = places[axis][tree->order[first + k]];
            sum += at[k];
        }
        centre[axis] = sum / (double)n;
        for (size_t k = 0; k < n; k++)
            to[k] = (float)(axis < 2 ? at[k] - centre[axis] : at[k]);
    }
}

/* Centres of all nodes, and the places of their particles. */
static void take_places(nrw_far_field *far, const double *const places[3])
{
    const nrw_block_tree *tree = &far->tree;
    for (size_t node = tree->n_nodes; node-- > 0;) {
        const nrw_block_node *at = &tree->nodes[node];
        double *centre = far->centres + 3 * node;
        if (at->n_blocks == 1) {
            take_block(far, places, at->first, centre);
            continue;
        }
        const double *left = far->centres + 3 * (size_t)at->left;
        const double *right = far->centres + 3 * (size_t)at->right;
        const double share = (double)tree->nodes[at->left].n_blocks / (double)at->n_blocks;
        for (int axis = 0; axis < 3; axis++)
            centre[axis] = right[axis] + share * (left[axis] - right[axis]);
    }
}

/* The same in single precision, from the root's; z from where the particles' z is. */
static void place_nodes(nrw_far_field *far)
{
    const size_t n_nodes = far->tree.n_nodes;
    for (size_t axis = 0; axis < 3; axis++) {
        float *to = far->node_centres + axis * (n_nodes + 1);
        const double origin = axis < 2 ? far->centres[axis] : 0.0;
        for (size_t node = 0; node < n_nodes; node++)
            to[node] = (float)(far->centres[3 * node + axis] - origin);
        to[n_nodes] = axis == 0 ? to[0] + NONE_UM : to[0];
    }
}

/* What the task gives by its rows, by ours; and what stands in the empty ones. */
static void take_rows(nrw_far_field *far, const nrw_pair_task *task, const uint32_t *order,
                      bool flow)
{
    const nrw_block_tree *tree = &far->tree;
    const size_t n_rows = tree->n_rows;
    float *const rows = far->rows;
    for (size_t k = 0; k < INPUTS; k++)
        for (size_t row = tree->n; row < n_rows; row++)
            rows[k * n_rows + row] = k == 2 ? NO_PARTICLE_UM : 0.0f;
    for (size_t i = 0; i < tree->n; i++) {
        const size_t row = far->row_of[order[i]];
        rows[3 * n_rows + row] = task->moment[i];
        rows[4 * n_rows + row] = flow ? task->qx[i] : 0.0f;
        rows[5 * n_rows + row] = flow ? task->qy[i] : 0.0f;
        rows[6 * n_rows + row] = flow ? task->tz[i] : 0.0f;
    }
}

/* Blocks' places, from their index; the near pairs' shifts need them. */
static void take_shifts(nrw_far_field *far)
{
    const nrw_block_tree *tree = &far->tree;
    /* counts have served: here they are the node of each block */
    for (size_t node = 0; node < tree->n_nodes; node++)
        if (tree->nodes[node].n_blocks == 1)
            far->counts[tree->nodes[node].first] = (uint32_t)node;
    for (size_t block = 0; block < tree->n_blocks; block++)
        for (size_t slot = far->near_starts[block]; slot < far->near_starts[block + 1]; slot++) {
            const double *own = far->centres + 3 * (size_t)far->counts[block];
            const double *other = far->centres + 3 * (size_t)far->counts[far->near[slot]];
            far->near_shifts[3 * slot] = (float)(own[0] - other[0]);
            far->near_shifts[3 * slot + 1] = (float)(own[1] - other[1]);
            far->near_shifts[3 * slot + 2] = 0.0f;
        }
}

static nrw_block_task near_task(const nrw_far_field *far, const nrw_pair_task *given)
{
    const size_t n_rows = far->tree.n_rows;
    float *const rows = far->rows;
    nrw_block_task task;
    memset(&task, 0, sizeof task);
    task.pair.n = n_rows;
    task.pair.n_filled = far->tree.n;
    const float **inputs[INPUTS] = {&task.pair.x,  &task.pair.y,  &task.pair.z, &task.pair.moment,
                                    &task.pair.qx, &task.pair.qy, &task.pair.tz};
    for (size_t k = 0; k < INPUTS; k++)
        *inputs[k] = rows + k * n_rows;
    float **outputs[6] = {&task.pair.fx, &task.pair.fy, &task.pair.fz,
                          &task.pair.ux, &task.pair.uy, &task.pair.uz};
    for (size_t k = 0; k < 6; k++)
        *outputs[k] = rows + (INPUTS + k) * n_rows;
    for (size_t k = 0; k < N_RESPONSES; k++)
        task.pair.response[k] = rows + (INPUTS + 6 + k) * n_rows;
    memcpy(task.pair.tensor, given->tensor, sizeof task.pair.tensor);
    task.pair.core2 = given->core2;
    task.pair.radius2 = given->radius2;
    task.starts = far->near_starts;
    task.others = far->near;
    task.shifts = far->near_shifts;
    return task;
}

static nrw_far_task far_task(const nrw_far_field *far, const nrw_pair_task *rows, int what)
{
    const size_t n_nodes = far->tree.n_nodes;
    nrw_far_task task = {.x = rows->x,
                         .y = rows->y,
                         .z = rows->z,
                         .moment = rows->moment,
                         .qx = rows->qx,
                         .qy = rows->qy,
                         .tz = rows->tz,
                         .radius2 = rows->radius2,
                         .fx = rows->fx,
                         .fy = rows->fy,
                         .fz = rows->fz,
                         .ux = rows->ux,
                         .uy = rows->uy,
                         .uz = rows->uz,
                         .nodes = far->tree.nodes,
                         .n_nodes = n_nodes,
                         .centre_x = far->node_centres,
                         .centre_y = far->node_centres + (n_nodes + 1),
                         .centre_z = far->node_centres + 2 * (n_nodes + 1),
                         .moments = far->moments,
                         .locals = far->locals,
                         .n_chunks = far->n_chunks,
                         .targets = far->targets,
                         .starts = far->starts,
                         .sources = far->sources,
                         .dipole_potential = what & NRW_FAR_FLOW ? 4 : 0};
    memcpy(task.tensor, rows->tensor, sizeof task.tensor);
    memcpy(task.response, rows->response, sizeof task.response);
    return task;
}

static void sum_near(const nrw_kernels *kernels, const nrw_block_task *task, int what)
{
    if (what & NRW_FAR_RESPONSE)
        kernels->block_response(task);
    else if (what == NRW_FAR_DIPOLES)
        kernels->block_averaged(task);
    else if (what == NRW_FAR_FLOW)
        kernels->block_flow(task);
    else
        kernels->block_averaged_flow(task);
}

static void sum_far(const nrw_kernels *kernels, const nrw_far_task *task, int what)
{
    kernels->far_gather(task);
    if (what & NRW_FAR_RESPONSE)
        kernels->far_across_response(task);
    else if (what == NRW_FAR_DIPOLES)
        kernels->far_across_dipoles(task);
    else if (what == NRW_FAR_FLOW)
        kernels->far_across_flow(task);
    else
        kernels->far_across_both(task);
    kernels->far_spread(task);
    if (what & NRW_FAR_RESPONSE)
        kernels->far_response(task);
    if (what & NRW_FAR_DIPOLES)
        kernels->far_dipoles(task);
    if (what & NRW_FAR_FLOW)
        kernels->far_flow(task);
}

/* Outputs [first, first + n_outputs) of our rows, by the task's. */
static void give(const nrw_far_field *far, size_t first, size_t n_outputs, const uint32_t *order,
                 float *const *to)
{
    enum { AT_A_TIME = 64 };
    const size_t n = far->tree.n;
    for (size_t begin = 0; begin < n; begin += AT_A_TIME) {
        const size_t count = n - begin < AT_A_TIME ? n - begin : AT_A_TIME;
        uint32_t rows[AT_A_TIME];
        for (size_t i = 0; i < count; i++)
            rows[i] = far->row_of[order[begin + i]];
        for (size_t k = 0; k < n_outputs; k++) {
            const float *from = far->rows + (INPUTS + first + k) * far->tree.n_rows;
            for (size_t i = 0; i < count; i++)
                to[k][begin + i] = from[rows[i]];
        }
    }
}

bool nrw_far_field_sum(nrw_far_field *far, const nrw_pair_task *task, const uint32_t *order,
                       const double *x_um, const double *y_um, const double *z_um, int what)
{
    const double *const places[3] = {x_um, y_um, z_um};
    const double radius = sqrt((double)task->radius2);
    far->keep_um = NRW_FAR_KEEP * radius;
    far->apart_um = (float)(2.0 * FARTHEST * far->keep_um + TOUCHING * radius);
    if (!refresh(far, task->n_filled, places))
        return false;
    take_places(far, places);
    place_nodes(far);
    take_rows(far, task, order, what & NRW_FAR_FLOW);
    take_shifts(far);
    const nrw_block_task near = near_task(far, task);
    const nrw_far_task expansions = far_task(far, &near.pair, what);
    sum_near(far->kernels, &near, what);
    sum_far(far->kernels, &expansions, what);
    float *const to[6] = {task->fx, task->fy, task->fz, task->ux, task->uy, task->uz};
    const size_t first = what & NRW_FAR_DIPOLES ? 0 : 3, last = what & NRW_FAR_FLOW ? 6 : 3;
    if (first < last)
        give(far, first, last - first, order, to + first);
    if (what & NRW_FAR_RESPONSE)
        give(far, 6, N_RESPONSES, order, task->response);
    return true;
}
