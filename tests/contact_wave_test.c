/* The contacts of large swarms, whose sweeps go in waves. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "small_setup.h"
#include "world.h"

/* 45 columns by 111 rows of a lattice, in 20 groups. */
enum { N = NRW_CONTACT_WAVES_LEAST + 899, COLUMNS = 45, STRIDE = 1201 };
/* 83 by 209 of them, whose slots are compact. */
enum { LARGE = NRW_CONTACT_COMPACT_LEAST + 899, LARGE_COLUMNS = 83 };
enum { MOST_GROUPS = LARGE / NRW_CONTACT_GROUP + 1 };

/* A world some steps on, in the middle of its contacts; the lattice stretched so many times. */
static nrw_world *stretched(const small_setup *setup, double times)
{
    nrw_world *world = small_world(setup, false);
    for (size_t i = 0; i < world->n; i++) {
        world->x[i] *= times;
        world->y[i] *= times;
    }
    const nrw_field field = small_rotating(10.0, 50.0, 30.0);
    const nrw_excitation excitation = small_excitation(world, &field);
    small_advance(world, &excitation, 0.06, 0.02);
    return world;
}

static nrw_world *pressed(const small_setup *setup)
{
    return stretched(setup, 1.0);
}

static size_t groups_of(const nrw_world *world)
{
    return (world->contacts.n_rows + NRW_CONTACT_GROUP - 1) / NRW_CONTACT_GROUP;
}

static size_t group_of(uint32_t four)
{
    return four / (4 * NRW_CONTACT_GROUP);
}

/* Solves the last substep's contacts again from their gaps, by groups that wait as told;
 * displacements by row to u. `usual`: sweeps that are expected, out: that were needed. */
static int solve_expecting(nrw_world *world, const uint32_t *last_group, int *usual, float *u)
{
    nrw_contact_solve solve = world->solve;
    const size_t n_rows = solve.rows.n_rows;
    float *const drags[3] = {solve.drag_x, solve.drag_y, solve.drag_z};
    for (int axis = 0; axis < 3 && solve.excess_sum; axis++)
        memset(drags[axis], 0, n_rows * sizeof(float));
    solve.held = false;
    solve.usual[0] = *usual;
    solve.rows.last_group = last_group;
    nrw_contacts_solve(&solve);
    *usual = solve.usual[0];
    memcpy(u, solve.ux, n_rows * sizeof(float));
    memcpy(u + n_rows, solve.uy, n_rows * sizeof(float));
    memcpy(u + 2 * n_rows, solve.uz, n_rows * sizeof(float));
    return solve.sweeps_done;
}

static int solve_again(nrw_world *world, const uint32_t *last_group, float *u)
{
    int usual = world->solve.usual[0];
    return solve_expecting(world, last_group, &usual, u);
}

static void expect_the_bits_of_sweeps_one_after_the_other(size_t n_particles, size_t columns)
{
    small_setup setup = small_setup_lattice(n_particles, columns, STRIDE);
    nrw_world *world = pressed(&setup);
    cr_assert_eq(world->contacts.compact, n_particles >= NRW_CONTACT_COMPACT_LEAST);
    const size_t n_groups = groups_of(world), size = 3 * world->solve.rows.n_rows;
    float *wave = malloc(size * sizeof *wave), *plain = malloc(size * sizeof *plain);
    uint32_t all[MOST_GROUPS + 1], none[MOST_GROUPS + 1];
    cr_assert(wave && plain);
    for (size_t group = 0; group < n_groups; group++) {
        all[group] = (uint32_t)n_groups - 1;
        none[group] = (uint32_t)group;
    }
    const int sweeps = solve_again(world, world->contacts.last_group, wave);
    cr_assert_eq(solve_again(world, all, plain), sweeps);
    cr_assert_gt(sweeps, 6);
    cr_assert_eq(memcmp(wave, plain, size * sizeof *wave), 0);
    float largest = 0.0f;
    for (size_t k = 0; k < size; k++)
        largest = fmaxf(largest, fabsf(wave[k]));
    cr_assert_gt(largest, 0.01f);
    /* and it does matter for whom a group waits */
    (void)solve_again(world, none, plain);
    cr_assert_neq(memcmp(wave, plain, size * sizeof *wave), 0);
    free(wave);
    free(plain);
    nrw_world_destroy(world);
    small_setup_clear(&setup);
}

Test(contact_wave, a_wave_gives_the_bits_of_sweeps_one_after_the_other)
{
    expect_the_bits_of_sweeps_one_after_the_other(N, COLUMNS);
}

Test(contact_wave, with_compact_slots_too)
{
    expect_the_bits_of_sweeps_one_after_the_other(LARGE, LARGE_COLUMNS);
}

Test(contact_wave, the_next_solve_expects_as_many_sweeps_as_the_last_one_needed)
{
    small_setup setup = small_setup_lattice(N, COLUMNS, STRIDE);
    nrw_world *world = pressed(&setup);
    const size_t size = 3 * world->solve.rows.n_rows;
    const double tolerance = (double)world->solve.tolerance;
    float *first = malloc(size * sizeof *first), *then = malloc(size * sizeof *then);
    cr_assert(first && then);
    int usual = 0;
    const int sweeps = solve_expecting(world, world->contacts.last_group, &usual, first);
    cr_assert_gt(usual, 6);
    cr_assert_leq(usual, sweeps);
    /* far too few, as many as are needed, and far too many: the same within what a sweep may
     * still change, and what is needed is found */
    const int expected[3] = {2, usual, 20};
    for (int k = 0; k < 3; k++) {
        int needed = expected[k];
        const int done = solve_expecting(world, world->contacts.last_group, &needed, then);
        double off = 0.0;
        for (size_t i = 0; i < size; i++)
            off = fmax(off, fabs((double)then[i] - (double)first[i]));
        cr_assert_leq(off, 8.0 * tolerance, "%d expected", expected[k]);
        cr_assert_leq(abs(needed - usual), 2, "%d expected: %d, not %d", expected[k], needed,
                      usual);
        cr_assert_geq(done, usual);
        if (k == 1) /* and a plain one */
            cr_assert_eq(done, usual + 1);
    }
    free(first);
    free(then);
    nrw_world_destroy(world);
    small_setup_clear(&setup);
}

Test(contact_wave, groups_wait_for_all_their_neighbours_and_few_others)
{
    small_setup setup = small_setup_lattice(N, COLUMNS, STRIDE);
    nrw_world *world = pressed(&setup);
    const nrw_contacts *contacts = &world->contacts;
    const size_t n_groups = groups_of(world);
    uint32_t first[MOST_GROUPS + 1], last[MOST_GROUPS + 1];
    for (size_t group = 0; group < n_groups; group++)
        first[group] = last[group] = (uint32_t)group;
    for (size_t chunk = 0; chunk < contacts->n_chunks; chunk++)
        for (size_t slot = contacts->starts[chunk]; slot < contacts->starts[chunk + 1]; slot++) {
            if (contacts->partner[slot] == nrw_four_of(contacts->n_rows))
                continue;
            const size_t own = chunk * NRW_LANES / NRW_CONTACT_GROUP;
            const size_t other = group_of(contacts->partner[slot]);
            first[own] = other < first[own] ? (uint32_t)other : first[own];
            last[own] = other > last[own] ? (uint32_t)other : last[own];
            /* who is waited for waits as well */
            cr_assert_geq(contacts->last_group[other], own);
        }
    for (size_t group = 0; group < n_groups; group++) {
        cr_assert_eq(contacts->first_group[group], first[group]);
        cr_assert_eq(contacts->last_group[group], last[group]);
        /* 1.6 diameters along the swarm hold some 80 particles */
        cr_assert_leq(last[group], group + 2);
    }
    nrw_world_destroy(world);
    small_setup_clear(&setup);
}

/* Overlap of a slot's pair where the solve has moved its two, µm. */
static double overlap_then(const nrw_contact_solve *solve, size_t row, size_t slot)
{
    const float *other = solve->place[solve->sweeps_done % 2] + solve->rows.partner[slot];
    const double own[3] = {(double)solve->ux[row], (double)solve->uy[row], (double)solve->uz[row]};
    const float *const n[3] = {solve->rows.nx, solve->rows.ny, solve->rows.nz};
    double overlap = (double)solve->rows.gap[slot];
    for (int axis = 0; axis < 3; axis++)
        overlap += (double)n[axis][slot] * ((double)other[axis] - own[axis]);
    return overlap;
}

Test(contact_wave, what_is_left_out_by_how_far_those_around_go_does_not_touch)
{
    small_setup setup = small_setup_lattice(N, COLUMNS, STRIDE);
    nrw_world *world = stretched(&setup, 1.2);
    const size_t n_groups = groups_of(world);
    nrw_contact_solve solve = world->solve;
    const nrw_contact_rows *rows = &solve.rows;
    solve.held = false;
    /* a swarm at rest, few of whom touch, in which one is on its way; drag against sliding would
     * leave nothing out */
    solve.excess_sum = NULL;
    solve.drag_reach_um = 0.0f;
    for (size_t row = 0; row < rows->n_rows; row++)
        world->free_x[row] = world->free_y[row] = world->free_z[row] = 0.0f;
    world->free_x[world->contacts.row_of[0]] = 0.5f;
    nrw_contacts_solve(&solve);
    size_t n_out = 0, n_shorter = 0;
    float farthest = 0.0f;
    for (size_t group = 0; group < n_groups; group++)
        farthest = fmaxf(farthest, solve.farthest2[group]);
    const float reach = solve.reach_um + 2.5f * sqrtf(farthest); /* by the farthest of all */
    for (size_t row = 0; row < world->n; row++) {
        const size_t chunk = row / NRW_LANES;
        for (size_t slot = solve.ends[chunk] + row % NRW_LANES; slot < rows->starts[chunk + 1];
             slot += NRW_LANES) {
            if (rows->partner[slot] == nrw_four_of(rows->n_rows))
                continue;
            cr_assert_lt(overlap_then(&solve, row, slot), 0.0);
            n_out++;
            n_shorter += rows->gap[slot] > -reach;
        }
    }
    cr_assert_gt(n_out, world->n / 10);
    cr_assert_gt(n_shorter, 0);
    nrw_world_destroy(world);
    small_setup_clear(&setup);
}

Test(contact_wave, groups_follow_each_other_along_the_longer_side)
{
    small_setup setup = small_setup_lattice(N, COLUMNS, STRIDE);
    nrw_world *world = pressed(&setup);
    double before = -INFINITY;
    for (size_t first = 0; first < world->n; first += NRW_CONTACT_GROUP) {
        double sum = 0.0, n = 0.0;
        for (size_t row = first; row < first + NRW_CONTACT_GROUP && row < world->n; row++, n++)
            sum += world->y[world->contacts.order[row]];
        cr_assert_gt(sum / n, before + 3.0);
        before = sum / n;
    }
    nrw_world_destroy(world);
    small_setup_clear(&setup);
}
