#include "contact.h"

#include <math.h>
#include <string.h>

/* Half-list pairs a particle may have on average; close packing of equal spheres
 * has 6 within reach, mixed sizes more. */
enum { PAIRS_PER_PARTICLE = 14, MAX_SWEEP_FACTOR = 4 };

/* Under-relaxation of the simultaneous sweeps, and the share of the last change
 * that is repeated (heavy ball, Polyak 1964). Without momentum 0.8 diverges in
 * dense swarms; momentum both allows a longer and needs fewer sweeps. */
static const float RELAXATION = 0.55f;
static const float MOMENTUM = 0.4f;

void nrw_contacts_layout(nrw_contacts *contacts, nrw_arena *arena, size_t n)
{
    contacts->capacity = PAIRS_PER_PARTICLE * n + 16;
    const size_t capacity = contacts->capacity;
    contacts->i = nrw_arena_take(arena, capacity, sizeof *contacts->i);
    contacts->j = nrw_arena_take(arena, capacity, sizeof *contacts->j);
    contacts->distance = nrw_arena_take(arena, capacity, sizeof(float));
    contacts->force = nrw_arena_take(arena, capacity, sizeof(float));
    contacts->last_change = nrw_arena_take(arena, capacity, sizeof(float));
    contacts->gx = nrw_arena_take(arena, capacity, sizeof(float));
    contacts->gy = nrw_arena_take(arena, capacity, sizeof(float));
    contacts->gz = nrw_arena_take(arena, capacity, sizeof(float));
    contacts->ref_x = nrw_arena_take(arena, n, sizeof(double));
    contacts->ref_y = nrw_arena_take(arena, n, sizeof(double));
    contacts->ref_z = nrw_arena_take(arena, n, sizeof(double));
}

static double mean(size_t n, const double *values)
{
    double sum = 0.0;
    for (size_t i = 0; i < n; i++)
        sum += values[i];
    return sum / (double)n;
}

static bool moved_too_far(const nrw_contacts *contacts, size_t n, const double *x, const double *y,
                          const double *z, double limit)
{
    const double mx = mean(n, x) - mean(n, contacts->ref_x);
    const double my = mean(n, y) - mean(n, contacts->ref_y);
    const double mz = mean(n, z) - mean(n, contacts->ref_z);
    double largest = 0.0;
    for (size_t i = 0; i < n; i++) {
        const double dx = x[i] - contacts->ref_x[i] - mx;
        const double dy = y[i] - contacts->ref_y[i] - my;
        const double dz = z[i] - contacts->ref_z[i] - mz;
        const double moved = dx * dx + dy * dy + dz * dz;
        largest = moved > largest ? moved : largest;
    }
    return !(largest <= limit * limit);
}

/* Inserts j into the rising partners [begin, end) of the row being filled. */
static void insert_partner(nrw_contacts *contacts, size_t begin, uint32_t partner, float distance)
{
    size_t at = contacts->n_pairs++;
    while (at > begin && contacts->j[at - 1] > partner) {
        contacts->j[at] = contacts->j[at - 1];
        contacts->distance[at] = contacts->distance[at - 1];
        at--;
    }
    contacts->j[at] = partner;
    contacts->distance[at] = distance;
}

static void build(nrw_contacts *contacts, size_t n, const double *x, const double *y,
                  const double *z, const float *radius, float largest_radius)
{
    nrw_cell_grid *grid = &contacts->grid;
    nrw_cell_grid_sort(grid, n, x, y, z, (double)(NRW_CONTACT_REACH * 2.0f * largest_radius));
    contacts->n_pairs = 0;
    contacts->overflow = false;
    for (size_t i = 0; i < n; i++) {
        const size_t begin = contacts->n_pairs;
        nrw_cell_range ranges[NRW_CELL_BLOCK];
        size_t n_ranges = nrw_cell_grid_around(grid, x[i], y[i], z[i], ranges);
        for (size_t r = 0; r < n_ranges; r++) {
            for (uint32_t item = ranges[r].begin; item < ranges[r].end; item++) {
                const uint32_t j = grid->items[item];
                if (j <= i)
                    continue;
                const double dx = x[i] - x[j], dy = y[i] - y[j], dz = z[i] - z[j];
                const float distance = radius[i] + radius[j];
                const double reach = (double)(NRW_CONTACT_REACH * distance);
                if (dx * dx + dy * dy + dz * dz >= reach * reach)
                    continue;
                if (contacts->n_pairs == contacts->capacity) {
                    contacts->overflow = true;
                    return;
                }
                insert_partner(contacts, begin, j, distance);
            }
        }
        for (size_t pair = begin; pair < contacts->n_pairs; pair++)
            contacts->i[pair] = (uint32_t)i;
    }
    memcpy(contacts->ref_x, x, n * sizeof *x);
    memcpy(contacts->ref_y, y, n * sizeof *y);
    memcpy(contacts->ref_z, z, n * sizeof *z);
    contacts->valid = true;
    contacts->n_builds++;
}

void nrw_contacts_refresh(nrw_contacts *contacts, size_t n, const double *x, const double *y,
                          const double *z, const float *radius, float largest_radius)
{
    /* braking reaches to 1.14 contact distances and contacts to 1: two particles
     * that each moved by 0.05 still leave no unlisted pair inside */
    const double limit = 0.1 * (double)largest_radius;
    if (!contacts->valid || moved_too_far(contacts, n, x, y, z, limit))
        build(contacts, n, x, y, z, radius, largest_radius);
}

void nrw_contacts_warm_start(nrw_contacts *contacts, nrw_contact_solve *solve, const float *x0,
                             const float *y0, const float *z0)
{
    for (size_t pair = 0; pair < contacts->n_pairs; pair++) {
        const uint32_t i = contacts->i[pair], j = contacts->j[pair];
        const float dx = x0[i] - x0[j], dy = y0[i] - y0[j], dz = z0[i] - z0[j];
        const float r = sqrtf(dx * dx + dy * dy + dz * dz);
        const float overlap = contacts->distance[pair] - r;
        contacts->force[pair] = 0.0f;
        contacts->last_change[pair] = 0.0f;
        if (!(overlap > 0.0f) || !(r > 0.0f))
            continue;
        const float force = solve->stiffness * overlap, per_r = force / r;
        contacts->force[pair] = force;
        solve->x[i] += solve->move_xy[i] * per_r * dx;
        solve->y[i] += solve->move_xy[i] * per_r * dy;
        solve->z[i] += solve->move_z[i] * per_r * dz;
        solve->x[j] -= solve->move_xy[j] * per_r * dx;
        solve->y[j] -= solve->move_xy[j] * per_r * dy;
        solve->z[j] -= solve->move_z[j] * per_r * dz;
    }
}

/* Changes of all pair forces from the present positions. */
static void sweep_pairs(nrw_contacts *contacts, const nrw_contact_solve *solve)
{
    const float *restrict x = solve->x, *restrict y = solve->y, *restrict z = solve->z;
    const float *restrict move_xy = solve->move_xy, *restrict move_z = solve->move_z;
    const uint32_t *restrict first = contacts->i, *restrict second = contacts->j;
    const float *restrict distance = contacts->distance;
    float *restrict force = contacts->force, *restrict last = contacts->last_change;
    float *restrict gx = contacts->gx, *restrict gy = contacts->gy, *restrict gz = contacts->gz;
    const float k = solve->stiffness;
    const size_t n_pairs = contacts->n_pairs;
#pragma omp simd
    for (size_t pair = 0; pair < n_pairs; pair++) {
        const uint32_t i = first[pair], j = second[pair];
        const float dx = x[i] - x[j], dy = y[i] - y[j], dz = z[i] - z[j];
        const float r2 = dx * dx + dy * dy + dz * dz;
        const float inverse = 1.0f / sqrtf(r2 > 1e-12f ? r2 : 1e-12f);
        const float nx = dx * inverse, ny = dy * inverse, nz = dz * inverse;
        const float give = (move_xy[i] + move_xy[j]) * (nx * nx + ny * ny) +
                           (move_z[i] + move_z[j]) * nz * nz;
        const float old = force[pair];
        const float wanted = k * (distance[pair] - r2 * inverse);
        float now = old + RELAXATION * (wanted - old) / (1.0f + k * give) + MOMENTUM * last[pair];
        now = now > 0.0f ? now : 0.0f;
        const float change = now - old;
        force[pair] = now;
        last[pair] = change;
        gx[pair] = change * nx;
        gy[pair] = change * ny;
        gz[pair] = change * nz;
    }
}

static float apply_pairs(const nrw_contacts *contacts, nrw_contact_solve *solve)
{
    float largest = 0.0f;
    for (size_t pair = 0; pair < contacts->n_pairs; pair++) {
        const float gx = contacts->gx[pair], gy = contacts->gy[pair], gz = contacts->gz[pair];
        if (gx == 0.0f && gy == 0.0f && gz == 0.0f)
            continue;
        const uint32_t i = contacts->i[pair], j = contacts->j[pair];
        solve->x[i] += solve->move_xy[i] * gx;
        solve->y[i] += solve->move_xy[i] * gy;
        solve->z[i] += solve->move_z[i] * gz;
        solve->x[j] -= solve->move_xy[j] * gx;
        solve->y[j] -= solve->move_xy[j] * gy;
        solve->z[j] -= solve->move_z[j] * gz;
        const float moved = solve->move_xy[i] * (fabsf(gx) + fabsf(gy));
        largest = moved > largest ? moved : largest;
    }
    return largest;
}

static void sweep_walls(nrw_contact_solve *solve)
{
    for (size_t w = 0; w < solve->n_walls; w++) {
        nrw_wall_contact *wall = &solve->walls[w];
        const uint32_t i = wall->particle;
        const float overlap = wall->overlap - wall->nx * (solve->x[i] - wall->x0) -
                              wall->ny * (solve->y[i] - wall->y0);
        const float wanted = solve->stiffness * overlap;
        float now = wall->force + RELAXATION * (wanted - wall->force) /
                                      (1.0f + solve->stiffness * solve->move_xy[i]);
        now = now > 0.0f ? now : 0.0f;
        const float change = now - wall->force;
        wall->force = now;
        solve->x[i] += solve->move_xy[i] * change * wall->nx;
        solve->y[i] += solve->move_xy[i] * change * wall->ny;
    }
}

/* One unknown each, so exact given the rest: no relaxation. */
static void sweep_floor(nrw_contact_solve *solve)
{
    nrw_floor_contact *floor = solve->floor;
    const size_t n = solve->n;
    float *restrict z = solve->z;
    float *restrict force = floor->force;
    const float *restrict move = solve->move_z;
    const float *restrict force0 = floor->force0, *restrict slope = floor->slope;
    const float *restrict z0 = floor->z0, *restrict ceiling = floor->ceiling;
    const float k = solve->stiffness;
#pragma omp simd
    for (size_t i = 0; i < n; i++) {
        const float stiff = slope[i];
        const float wanted = force0[i] - stiff * (z[i] - z0[i]);
        float now = force[i] + (wanted - force[i]) / (1.0f + stiff * move[i]);
        now = now > 0.0f ? now : 0.0f;
        const float moved = z[i] + move[i] * (now - force[i]);
        force[i] = now;
        /* the ceiling stores no force: it gives way like a spring of stiffness k */
        const float above = moved - ceiling[i];
        z[i] = above > 0.0f ? moved - above * (k * move[i]) / (1.0f + k * move[i]) : moved;
    }
}

void nrw_contacts_solve(nrw_contacts *contacts, nrw_contact_solve *solve)
{
    int sweep = 0;
    float residual = 0.0f;
    const int most = MAX_SWEEP_FACTOR * solve->sweeps;
    while (sweep < most) {
        if (contacts->n_pairs > 0) {
            sweep_pairs(contacts, solve);
            residual = apply_pairs(contacts, solve);
        }
        if (solve->n_walls > 0)
            sweep_walls(solve);
        if (solve->floor)
            sweep_floor(solve);
        sweep++;
        if (sweep >= solve->sweeps && residual <= solve->tolerance)
            break;
    }
    solve->sweeps_done = sweep;
    solve->residual = residual;
}

float nrw_contacts_overlap(const nrw_contacts *contacts, const float *x, const float *y,
                           const float *z)
{
    float largest = 0.0f;
    for (size_t pair = 0; pair < contacts->n_pairs; pair++) {
        const uint32_t i = contacts->i[pair], j = contacts->j[pair];
        const float dx = x[i] - x[j], dy = y[i] - y[j], dz = z[i] - z[j];
        const float r = sqrtf(dx * dx + dy * dy + dz * dz);
        const float overlap = 1.0f - r / contacts->distance[pair];
        if (isnan(overlap))
            return overlap; /* compared with later pairs it would be lost */
        largest = overlap > largest ? overlap : largest;
    }
    return largest;
}

void nrw_contacts_clear(nrw_contacts *contacts)
{
    nrw_cell_grid_clear(&contacts->grid);
}
