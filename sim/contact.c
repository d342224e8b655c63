#include "contact_find.h"

#include <math.h>
#include <string.h>

#include "means.h"

enum {
    /* Slots that a particle may need on average; 12 neighbours touch in close
     * packing, 18 are within reach in a crystal, and rows of unequal length leave
     * some empty. */
    SLOTS_PER_PARTICLE = 28,
    MAX_SWEEPS = 40,
    /* Sweeps that go together over a large swarm, and of these to begin with, before it is known
     * how many are needed. */
    MOST_IN_WAVE = 24,
    FIRST_WAVE = 6,
    /* Of a wave, those that go close behind each other, and over so many groups at a time. */
    TEAM = 3,
    TEAM_GROUPS = 32,
    SURE_SWEEPS = 200
};

/* Sweeps are a Chebyshev semi-iteration (Golub & Varga 1961) for eigenvalues up to HIGHEST
 * of the bound that can't diverge, and down to that divided by SPAN + SPAN_STIFF κ, κ the
 * largest of the rows' stiffness × mobility × step × crowd: the slowest modes, of a heap as
 * a whole, lie lower, and what waiting for them costs is not worth it. Found on runs and
 * recorded substeps of 1 to 10 ms of gathered and tilted swarms of 150 to 2000, at 45 to 1500
 * pN/µm; with constant momentum (Polyak 1964) there are two more sweeps at 150 pN/µm and twice
 * as many at 400. With HIGHEST below 1 some swarms diverge; with shorter spans heaps are pressed
 * together. */
static const float HIGHEST = 1.1f;
static const float SPAN = 12.0f;
static const float SPAN_STIFF = 0.2f;
/* They move particles farther than plain ones: up to so many tolerances is near enough. */
static const float NEARLY = 2.0f;
/* In large swarms the groups' largest corrections are what has to be small, in root mean
 * square: the largest of ever more particles would be ever later so. None may exceed the
 * tolerance by more than this factor. */
static const float FARTHEST = 4.0f;
/* Corrections larger than the first by this factor mean that the solve diverges. */
static const float LARGEST_GROWTH = 4.0f;

/* What a slot holds in single precision or in 16 bits. */
static void take_slots(nrw_contacts *contacts, nrw_arena *arena)
{
    const size_t capacity = contacts->capacity;
    float **slots[] = {&contacts->touch, &contacts->gap, &contacts->force[0], &contacts->force[1]};
    float **plain[] = {&contacts->nx, &contacts->ny, &contacts->nz, &contacts->step,
                       &contacts->excess};
    int16_t **shorts[] = {&contacts->short_n[0], &contacts->short_n[1], &contacts->short_n[2],
                          &contacts->short_excess};
    for (size_t k = 0; k < sizeof slots / sizeof *slots; k++)
        *slots[k] = nrw_arena_take(arena, capacity, sizeof(float));
    for (size_t k = 0; k < sizeof plain / sizeof *plain && !contacts->compact; k++)
        *plain[k] = nrw_arena_take(arena, capacity, sizeof(float));
    for (size_t k = 0; k < sizeof shorts / sizeof *shorts && contacts->compact; k++)
        *shorts[k] = nrw_arena_take(arena, capacity, sizeof(int16_t));
    if (contacts->compact)
        contacts->short_step = nrw_arena_take(arena, capacity, sizeof(uint16_t));
}

void nrw_contacts_layout(nrw_contacts *contacts, nrw_arena *arena, size_t n, bool compact)
{
    const size_t n_rows = (n + NRW_LANES - 1) / NRW_LANES * NRW_LANES;
    contacts->n = n;
    contacts->compact = compact;
    contacts->n_rows = n_rows;
    contacts->n_chunks = n_rows / NRW_LANES;
    contacts->capacity = SLOTS_PER_PARTICLE * n_rows;
    const size_t capacity = contacts->capacity;
    contacts->order = nrw_arena_take(arena, n_rows, sizeof(uint32_t));
    contacts->ends = nrw_arena_take(arena, contacts->n_chunks, sizeof(uint32_t));
    contacts->order4 = nrw_arena_take(arena, n_rows, sizeof(uint32_t));
    contacts->n_neighbours = nrw_arena_take(arena, n_rows, sizeof(float));
    contacts->self = nrw_arena_take(arena, n_rows, sizeof(uint32_t));
    contacts->row_place = nrw_arena_take(arena, n_rows, sizeof(uint32_t));
    contacts->place_self = nrw_arena_take(arena, n_rows, sizeof(uint32_t));
    contacts->line = nrw_arena_take(arena, n_rows, sizeof(uint32_t));
    const size_t n_groups = n_rows / NRW_CONTACT_GROUP + 1;
    contacts->first_group = nrw_arena_take(arena, n_groups, sizeof(uint32_t));
    contacts->last_group = nrw_arena_take(arena, n_groups, sizeof(uint32_t));
    contacts->farthest2 = nrw_arena_take(arena, n_groups, sizeof(float));
    const size_t n_blocks = (contacts->n_chunks + NRW_LANES - 1) / NRW_LANES * NRW_LANES;
    contacts->near.blocks = nrw_arena_take(arena, n_blocks, sizeof(uint32_t));
    for (int axis = 0; axis < 3; axis++) {
        contacts->near.low[axis] = nrw_arena_take(arena, n_blocks, sizeof(float));
        contacts->near.high[axis] = nrw_arena_take(arena, n_blocks, sizeof(float));
    }
    contacts->row_of = nrw_arena_take(arena, n_rows, sizeof(uint32_t));
    contacts->starts = nrw_arena_take(arena, contacts->n_chunks + 1, sizeof(uint32_t));
    contacts->partner = nrw_arena_take(arena, capacity, sizeof(uint32_t));
    take_slots(contacts, arena);
    contacts->ref_x = nrw_arena_take(arena, n, sizeof(double));
    contacts->ref_y = nrw_arena_take(arena, n, sizeof(double));
    contacts->ref_z = nrw_arena_take(arena, n, sizeof(double));
    float **sorts[] = {&contacts->sort_x, &contacts->sort_y, &contacts->sort_z,
                       &contacts->sort_radius};
    for (size_t k = 0; k < sizeof sorts / sizeof *sorts; k++)
        *sorts[k] = nrw_arena_take(arena, n_rows, sizeof(float));
    contacts->found = nrw_arena_take(arena, capacity + NRW_QUAD * NRW_CONTACT_MOST + 2 * NRW_LANES,
                                     sizeof(uint32_t));
    contacts->found_starts = nrw_arena_take(arena, n + 1, sizeof(uint32_t));
}

void nrw_contacts_clear(nrw_contacts *contacts)
{
    nrw_block_tree_clear(&contacts->tree);
}

nrw_contact_rows nrw_contacts_rows(const nrw_contacts *contacts)
{
    return (nrw_contact_rows){
        contacts->n_rows,      contacts->starts,
        contacts->partner,     contacts->self,
        contacts->first_group, contacts->last_group,
        contacts->touch,       contacts->nx,
        contacts->ny,          contacts->nz,
        contacts->gap,         {contacts->short_n[0], contacts->short_n[1], contacts->short_n[2]}};
}

/* --- refresh ---------------------------------------------------------------- */

static bool moved_too_far(const nrw_contacts *contacts, size_t n, const double *x, const double *y,
                          const double *z, const double means[3], double limit)
{
    const double *const now[3] = {x, y, z};
    const double *const before[3] = {contacts->ref_x, contacts->ref_y, contacts->ref_z};
    const double drift[3] = {means[0] - contacts->ref_means[0], means[1] - contacts->ref_means[1],
                             means[2] - contacts->ref_means[2]};
    /* in groups, since the first that has moved too far is enough */
    for (size_t first = 0; first < n; first += NRW_CONTACT_GROUP) {
        const size_t last = first + NRW_CONTACT_GROUP < n ? first + NRW_CONTACT_GROUP : n;
        const double largest = nrw_farthest2(now, before, drift, first, last);
        if (!(largest <= limit * limit))
            return true;
    }
    return false;
}

/* Rows by falling number of neighbours within windows, else by place. A single chunk
 * gains nothing by it. */
static void sort_rows(nrw_contacts *contacts)
{
    const uint32_t *starts = contacts->found_starts;
    const size_t n = contacts->n, window = n <= NRW_LANES ? 1 : NRW_CONTACT_GROUP;
    for (size_t first = 0; first < n; first += window) {
        const size_t last = first + window < n ? first + window : n;
        uint32_t rows[NRW_CONTACT_MOST + 2] = {0};
        for (size_t k = first; k < last; k++) {
            const size_t place = contacts->line[k];
            rows[NRW_CONTACT_MOST - (starts[place + 1] - starts[place]) + 1]++;
        }
        for (size_t k = 0; k <= NRW_CONTACT_MOST; k++)
            rows[k + 1] += rows[k];
        for (size_t k = first; k < last; k++) {
            const size_t place = contacts->line[k];
            const size_t row =
                first + rows[NRW_CONTACT_MOST - (starts[place + 1] - starts[place])]++;
            contacts->order[row] = nrw_contacts_particle(contacts, place);
            contacts->row_place[row] = (uint32_t)place;
            contacts->row_of[contacts->order[row]] = (uint32_t)row;
            contacts->place_self[place] = (uint32_t)nrw_four_of(row);
        }
    }
    for (size_t row = n; row < contacts->n_rows; row++) {
        contacts->order[row] = (uint32_t)n;
        contacts->row_place[row] = 0;
    }
}

/* The slots of a chunk, `width` a row. */
static void fill_chunk(nrw_contacts *contacts, size_t chunk, const uint32_t counts[NRW_LANES],
                       uint32_t width)
{
    const uint32_t none = (uint32_t)nrw_four_of(contacts->n_rows), *self = contacts->place_self;
    const float *radius = contacts->sort_radius;
    const size_t begin = contacts->starts[chunk];
    uint32_t nearest = none, farthest = 0;
    for (size_t lane = 0; lane < NRW_LANES; lane++) {
        const size_t place = contacts->row_place[chunk * NRW_LANES + lane];
        const uint32_t *others = contacts->found + contacts->found_starts[place];
        const float own = radius[place];
        uint32_t *partner = contacts->partner + begin + lane;
        float *touch = contacts->touch + begin + lane;
        for (size_t slot = 0; slot < counts[lane]; slot++) {
            partner[slot * NRW_LANES] = self[others[slot]];
            touch[slot * NRW_LANES] = own + radius[others[slot]];
            nearest = self[others[slot]] < nearest ? self[others[slot]] : nearest;
            farthest = self[others[slot]] > farthest ? self[others[slot]] : farthest;
        }
        for (size_t slot = counts[lane]; slot < width; slot++) {
            partner[slot * NRW_LANES] = none;
            touch[slot * NRW_LANES] = 1.0f;
        }
    }
    const size_t own = chunk * NRW_LANES / NRW_CONTACT_GROUP;
    uint32_t *first = contacts->first_group + own, *last = contacts->last_group + own;
    const uint32_t from = nearest / (4 * NRW_CONTACT_GROUP),
                   to = farthest / (4 * NRW_CONTACT_GROUP);
    *first = from < *first ? from : *first;
    *last = to > *last ? to : *last;
}

static bool fill_slots(nrw_contacts *contacts)
{
    const uint32_t *found_starts = contacts->found_starts;
    contacts->starts[0] = 0;
    for (size_t group = 0; group <= contacts->n_rows / NRW_CONTACT_GROUP; group++)
        contacts->first_group[group] = contacts->last_group[group] = (uint32_t)group;
    for (size_t chunk = 0; chunk < contacts->n_chunks; chunk++) {
        const uint32_t *order = contacts->order + chunk * NRW_LANES;
        const uint32_t *places = contacts->row_place + chunk * NRW_LANES;
        const uint32_t begin = contacts->starts[chunk];
        uint32_t width = 0, counts[NRW_LANES];
        for (size_t lane = 0; lane < NRW_LANES; lane++) {
            const uint32_t place = places[lane];
            counts[lane] =
                order[lane] < contacts->n ? found_starts[place + 1] - found_starts[place] : 0;
            contacts->n_neighbours[chunk * NRW_LANES + lane] = (float)counts[lane];
            width = counts[lane] > width ? counts[lane] : width;
        }
        if (begin + width * NRW_LANES > contacts->capacity)
            return false;
        fill_chunk(contacts, chunk, counts, width);
        contacts->starts[chunk + 1] = begin + width * NRW_LANES;
    }
    contacts->n_slots = contacts->starts[contacts->n_chunks];
    return true;
}

static void build(nrw_contacts *contacts, size_t n, const double *x, const double *y,
                  const double *z, const float *radius, float largest_radius)
{
    for (size_t i = 0; i < contacts->n_rows; i++)
        contacts->self[i] = (uint32_t)nrw_four_of(i);
    const bool found = nrw_contacts_find(contacts, n, x, y, z, radius, largest_radius);
    contacts->overflow = !found;
    if (found) {
        sort_rows(contacts);
        contacts->overflow = !fill_slots(contacts);
    }
    for (size_t row = 0; row < contacts->n_rows; row++)
        contacts->order4[row] = 4 * contacts->order[row];
    contacts->n_pairs = found ? contacts->found_starts[n] / 2 : 0;
    memcpy(contacts->ref_x, x, n * sizeof *x);
    memcpy(contacts->ref_y, y, n * sizeof *y);
    memcpy(contacts->ref_z, z, n * sizeof *z);
    contacts->valid = !contacts->overflow;
    contacts->n_builds++;
}

bool nrw_contacts_refresh(nrw_contacts *contacts, size_t n, const double *x, const double *y,
                          const double *z, const float *radius, float largest_radius)
{
    const double limit = (double)(NRW_CONTACT_REFRESH * largest_radius);
    double means[3];
    nrw_means(n, x, y, z, means);
    if (contacts->valid && !moved_too_far(contacts, n, x, y, z, means, limit))
        return false;
    build(contacts, n, x, y, z, radius, largest_radius);
    memcpy(contacts->ref_means, means, sizeof means);
    return true;
}

/* --- solve ------------------------------------------------------------------ */

/* Of a sweep's corrections, µm. */
static bool diverges(nrw_peaks now, nrw_peaks first, float tolerance)
{
    return !(now.largest <= LARGEST_GROWTH * first.largest + tolerance);
}

static bool small_enough(const nrw_contact_solve *solve, nrw_peaks now)
{
    return now.typical <= solve->tolerance && now.largest <= FARTHEST * solve->tolerance;
}

/* Neither lengthened nor with momentum. */
static const nrw_contact_sweep PLAIN_SWEEP = {0, 1.0f, 0.0f};

static float sweep_rows(nrw_contact_solve *solve, const nrw_contact_sweep *sweep, size_t k,
                        size_t first, size_t last)
{
    const nrw_kernels *kernels = nrw_kernels_get();
    const int done = solve->sweeps_done + (int)k;
    const nrw_contact_sweep it = {done % 2, sweep->gain, sweep->momentum};
    return (done == 0 ? kernels->first_sweep : kernels->sweep)(solve, &it, first, last);
}

/* Sweeps on their way over the groups of rows, before the very first of them the first guess. */
typedef struct sweep_wave {
    const nrw_contact_sweep *sweeps;
    size_t begins; /* 1: the first stage is the first guess, and the sweeps follow; else 0 */
    size_t n_stages, n_groups;
    size_t next[MOST_IN_WAVE + 1]; /* group that each takes next */
    nrw_peaks_sum corrections[MOST_IN_WAVE];
} sweep_wave;

/* Which slots of a group may touch, by how far its rows and their neighbours' groups go by the
 * first guess. */
static void find_ends(nrw_contact_solve *solve, size_t group, size_t begin, size_t end)
{
    float farthest2 = 0.0f;
    for (size_t k = solve->rows.first_group[group]; k <= solve->rows.last_group[group]; k++)
        farthest2 = fmaxf(farthest2, solve->farthest2[k]);
    const float reach = fmaxf(solve->reach_um + 2.5f * sqrtf(farthest2), solve->drag_reach_um);
    nrw_kernels_get()->reached(solve, begin, end, reach);
}

/* One stage of a wave over a group. */
static void take_group(nrw_contact_solve *solve, sweep_wave *wave, size_t stage, size_t group)
{
    const size_t n_rows = solve->rows.n_rows, begin = group * NRW_CONTACT_GROUP;
    const size_t end = begin + NRW_CONTACT_GROUP < n_rows ? begin + NRW_CONTACT_GROUP : n_rows;
    if (stage < wave->begins) {
        solve->farthest2[group] = nrw_kernels_get()->begin(solve, begin, end);
        return;
    }
    const size_t k = stage - wave->begins;
    if (wave->begins && k == 0)
        find_ends(solve, group, begin, end);
    nrw_peaks_add(&wave->corrections[k], sweep_rows(solve, &wave->sweeps[k], k, begin, end));
}

/* A group is taken again as soon as the stage before has been through all groups with
 * neighbours of its rows. */
static bool may_go_on(const nrw_contact_solve *solve, const sweep_wave *wave, size_t k)
{
    const size_t group = wave->next[k];
    return group < wave->n_groups && (k == 0 || wave->next[k - 1] == wave->n_groups ||
                                      wave->next[k - 1] > solve->rows.last_group[group]);
}

/* The farthest of the stages [first, last) that can go on takes its next group; false: none
 * can. */
static bool go_on(nrw_contact_solve *solve, sweep_wave *wave, size_t first, size_t last)
{
    for (size_t k = last; k-- > first;) {
        if (!may_go_on(solve, wave, k))
            continue;
        take_group(solve, wave, k, wave->next[k]++);
        return true;
    }
    return false;
}

/* Some sweeps; the corrections of each. Together they go in a wave over the groups of rows, so
 * that what is read from memory serves for all of them, and in teams of a few, each over some
 * groups before the next team follows, so that what the second cache holds serves for all of a
 * team (temporal blocking: Wellein et al. 2009). The same bits as one after the other. */
static void take_sweeps(nrw_contact_solve *solve, const nrw_contact_sweep *sweeps, size_t n_sweeps,
                        nrw_peaks *done)
{
    const size_t n_groups = (solve->rows.n_rows + NRW_CONTACT_GROUP - 1) / NRW_CONTACT_GROUP;
    const size_t begins = solve->sweeps_done == 0, n_stages = n_sweeps + begins;
    sweep_wave wave = {
        .sweeps = sweeps, .begins = begins, .n_stages = n_stages, .n_groups = n_groups};
    while (wave.next[n_stages - 1] < n_groups)
        for (size_t first = 0; first < n_stages; first += TEAM) {
            const size_t last = first + TEAM < n_stages ? first + TEAM : n_stages;
            const size_t until = wave.next[first] + TEAM_GROUPS;
            while (wave.next[first] < until && go_on(solve, &wave, first, last)) {
            }
        }
    for (size_t k = 0; k < n_sweeps; k++)
        done[k] = nrw_peaks_of(&wave.corrections[k]);
    solve->sweeps_done += (int)n_sweeps;
}

/* The forces of the last sweep to force[0]. */
static void put_last_first(nrw_contact_solve *solve)
{
    if (solve->sweeps_done % 2 == 0)
        return;
    float *last = solve->force[1];
    solve->force[1] = solve->force[0];
    solve->force[0] = last;
}

/* Every listed neighbour counted, plain steps from the gaps' forces: slow but sure, for the
 * rare case in which pairs met that were not expected to. */
static void solve_surely(nrw_contact_solve *solve)
{
    const float *crowd = solve->crowd;
    const bool held = solve->held;
    const int done = solve->sweeps_done;
    solve->crowd = solve->n_neighbours;
    solve->held = false;
    solve->sweeps_done = 0;
    nrw_peaks last;
    do
        take_sweeps(solve, &PLAIN_SWEEP, 1, &last);
    while (solve->sweeps_done < SURE_SWEEPS && !small_enough(solve, last));
    solve->residual = last.largest;
    put_last_first(solve);
    solve->sweeps_done += done;
    solve->crowd = crowd;
    solve->held = held;
}

/* A Chebyshev semi-iteration on its way. */
typedef struct iteration {
    float gain, width, rate; /* of a sweep; what corrections fall by in one, as a logarithm */
    float weight;            /* of the next sweep */
    int done;                /* accelerated sweeps */
    int needed;              /* ... after which the corrections were near the tolerance, or 0 */
} iteration;

static iteration iteration_of(const nrw_contact_solve *solve)
{
    const float span = SPAN + SPAN_STIFF * solve->stiffest, root = sqrtf(span);
    return (iteration){2.0f / (HIGHEST + HIGHEST / span),
                       (span - 1.0f) / (span + 1.0f),
                       logf((root + 1.0f) / (root - 1.0f)),
                       1.0f,
                       0,
                       0};
}

static nrw_contact_sweep next_sweep(iteration *it)
{
    const nrw_contact_sweep sweep = {0, it->weight * it->gain, it->weight - 1.0f};
    const float squared = it->width * it->width * (it->done > 0 ? it->weight : 2.0f);
    it->weight = 1.0f / (1.0f - 0.25f * squared);
    it->done++;
    return sweep;
}

/* Sweeps until the typical correction is `near`, by the rate at which they converge. */
static int sweeps_left(const iteration *it, float typical, float near)
{
    const float left = ceilf(logf(typical / near) / it->rate);
    return left > 1.0f ? (int)fminf(left, (float)(MOST_IN_WAVE - 1)) : 1;
}

/* Accelerated sweeps to take together, next: one in small swarms, else to begin with as many as
 * the last such solve needed, and then as many as are left. `*close`: a plain one may go with
 * them. */
static size_t sweeps_ahead(const nrw_contact_solve *solve, const iteration *it, float typical,
                           float near, bool *close)
{
    *close = false;
    if (solve->rows.n_rows < NRW_CONTACT_WAVES_LEAST)
        return 1;
    const int usual = solve->usual[solve->held];
    if (solve->sweeps_done == 0 && usual == 0)
        return FIRST_WAVE;
    const int left = solve->sweeps_done == 0 ? usual : sweeps_left(it, typical, near);
    *close = left < MOST_IN_WAVE;
    return (size_t)(*close ? left : MOST_IN_WAVE - 1);
}

/* Accelerated sweeps until two in a row, of which one may be small by chance, have come
 * near the tolerance or should have, and a plain one, which takes out what momentum carried
 * too far and tells how near it is. `last`, in: INFINITY to begin with; out: that one's
 * corrections. False: they diverge from the first one's. */
static bool accelerate(nrw_contact_solve *solve, int most, nrw_peaks *first, nrw_peaks *last)
{
    const float near = NEARLY * solve->tolerance;
    const bool very_first = solve->sweeps_done == 0;
    iteration it = iteration_of(solve);
    bool close, well;
    do {
        nrw_contact_sweep sweeps[MOST_IN_WAVE];
        nrw_peaks done[MOST_IN_WAVE];
        const size_t n = sweeps_ahead(solve, &it, last->typical, near, &close);
        const int begun = it.done;
        for (size_t k = 0; k < n; k++)
            sweeps[k] = next_sweep(&it);
        sweeps[n] = PLAIN_SWEEP;
        take_sweeps(solve, sweeps, n + close, done);
        for (size_t k = 0; k < n && it.needed == 0; k++) {
            const float before = k > 0 ? done[k - 1].typical : last->typical;
            if (done[k].typical <= near && before <= 2.0f * near)
                it.needed = begun + (int)k + 1;
        }
        *last = done[n - 1 + close];
        if (very_first && begun == 0)
            *first = done[0];
        if (very_first)
            solve->usual[solve->held] =
                it.needed > 0 ? it.needed : it.done + sweeps_left(&it, done[n - 1].typical, near);
        well = !diverges(done[n - 1], *first, solve->tolerance);
    } while (well && !close && solve->sweeps_done < most &&
             !(solve->sweeps_done >= solve->sweeps && it.needed > 0));
    if (!close)
        take_sweeps(solve, &PLAIN_SWEEP, 1, last);
    return well;
}

void nrw_contacts_solve(nrw_contact_solve *solve)
{
    const int most = solve->sweeps > MAX_SWEEPS ? solve->sweeps : MAX_SWEEPS;
    bool well;
    nrw_peaks first, last = {INFINITY, INFINITY};
    solve->stiffest = nrw_kernels_get()->stiffest(solve).typical;
    solve->sweeps_done = 0;
    do
        well = accelerate(solve, most, &first, &last);
    while (well && solve->sweeps_done < most &&
           (!small_enough(solve, last) || solve->sweeps_done < solve->sweeps));
    solve->residual = last.largest;
    put_last_first(solve);
    if (!well)
        solve_surely(solve);
}

float nrw_contacts_limit_um(float largest_radius)
{
    /* two that were just out of reach may each come half the way */
    return (NRW_CONTACT_REACH - 1.0f) * largest_radius;
}

void nrw_contacts_moved(const nrw_contacts *contacts, const double *x, const double *y,
                        const double *z, float *moved_x, float *moved_y, float *moved_z)
{
    for (size_t row = 0; row < contacts->n; row++) {
        const uint32_t i = contacts->order[row];
        moved_x[row] = (float)(x[i] - contacts->ref_x[i]);
        moved_y[row] = (float)(y[i] - contacts->ref_y[i]);
        moved_z[row] = (float)(z[i] - contacts->ref_z[i]);
    }
}
