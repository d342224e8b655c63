#include <criterion/criterion.h>
#include <math.h>
#include <stdint.h>
#include <string.h>

#include "contact.h"
#include "units.h"
#include "vec3.h"

enum { MOST = 400 }; /* a multiple of NRW_LANES */

/* h/ξ of the reference particle in a step of 8 ms near the floor, µm/pN; k of 60
 * pN/µm makes 2kh/ξ = 19, far beyond what an explicit step bears. */
#define MOVE 0.16f
#define STIFFNESS 60.0f
#define DIAMETER 3.0f

static double x[MOST], y[MOST], z[MOST];
static float radius[MOST];
static nrw_arena arena;
static nrw_contacts contacts;

/* A step's arrays, by row. */
enum { N_ARRAYS = 20 };
static float arrays[N_ARRAYS][MOST];
static _Alignas(64) float places[4 * (MOST + 1)], scratch[3][4 * (MOST + 1)];
static float *const free_x = arrays[0], *const free_y = arrays[1], *const free_z = arrays[2];
static float *const move_xy = arrays[3], *const move_z = arrays[4];

static double uniform(uint64_t *state)
{
    *state = *state * 6364136223846793005u + 1442695040888963407u;
    return (double)(*state >> 11) * 0x1p-53;
}

/* Whether slots are as in large swarms. */
static bool compact;

static void make_contacts(size_t n)
{
    nrw_contacts_clear(&contacts);
    nrw_arena_clear(&arena);
    memset(&contacts, 0, sizeof contacts);
    nrw_contacts_layout(&contacts, &arena, n, compact);
    cr_assert(nrw_arena_commit(&arena));
    nrw_contacts_layout(&contacts, &arena, n, compact);
    cr_assert(nrw_block_tree_init(&contacts.tree, n));
}

static void begin(void)
{
    for (int i = 0; i < MOST; i++) {
        radius[i] = 0.5f * DIAMETER;
        move_xy[i] = move_z[i] = MOVE;
    }
}

static void end(void)
{
    nrw_contacts_clear(&contacts);
    nrw_arena_clear(&arena);
}

TestSuite(contact, .init = begin, .fini = end);

static float largest_radius(size_t n)
{
    float largest = 0.0f;
    for (size_t i = 0; i < n; i++)
        largest = radius[i] > largest ? radius[i] : largest;
    return largest;
}

static void refresh(size_t n)
{
    if (contacts.n != n || contacts.compact != compact)
        make_contacts(n);
    (void)nrw_contacts_refresh(&contacts, n, x, y, z, radius, largest_radius(n));
}

static double distance_between(size_t i, size_t j)
{
    const double dx = x[i] - x[j], dy = y[i] - y[j], dz = z[i] - z[j];
    return sqrt(dx * dx + dy * dy + dz * dz);
}

/* --- the list ------------------------------------------------------------------ */

static void scatter(size_t n, uint64_t seed, double extent, double height)
{
    uint64_t state = seed;
    for (size_t i = 0; i < n; i++) {
        x[i] = 100.0 + extent * uniform(&state);
        y[i] = -50.0 + extent * uniform(&state);
        z[i] = 1.5 + height * uniform(&state);
        radius[i] = (float)(1.2 + 0.6 * uniform(&state));
    }
}

/* Neighbours of particle i in the list, rising. */
static size_t neighbours(size_t i, size_t *found)
{
    const size_t row = contacts.row_of[i], chunk = row / NRW_LANES;
    size_t n = 0;
    cr_assert_eq(contacts.order[row], i);
    for (size_t slot = contacts.starts[chunk] + row % NRW_LANES; slot < contacts.starts[chunk + 1];
         slot += NRW_LANES) {
        if (contacts.partner[slot] == nrw_four_of(contacts.n_rows))
            continue;
        size_t partner = 0;
        while (nrw_four_of(partner) != contacts.partner[slot])
            partner++;
        const size_t j = contacts.order[partner];
        cr_assert_eq(contacts.touch[slot], radius[i] + radius[j]);
        /* by insertion, for the comparisons below */
        size_t at = n++;
        for (; at > 0 && found[at - 1] > j; at--)
            found[at] = found[at - 1];
        found[at] = j;
    }
    return n;
}

static void assert_list_is_brute_force(size_t n)
{
    size_t n_listed = 0, found[MOST];
    for (size_t i = 0; i < n; i++) {
        const size_t count = neighbours(i, found);
        size_t at = 0;
        for (size_t j = 0; j < n; j++) {
            if (j == i ||
                distance_between(i, j) >= (double)(NRW_CONTACT_REACH * (radius[i] + radius[j])))
                continue;
            cr_assert(at < count && found[at] == j, "pair %zu, %zu", i, j);
            at++;
        }
        cr_assert_eq(at, count);
        n_listed += count;
    }
    cr_assert_eq(n_listed, 2 * contacts.n_pairs);
}

Test(contact, list_holds_every_close_pair_in_order)
{
    const double heights[] = {0.2, 12.0, 60.0};
    for (int k = 0; k < 3; k++) {
        scatter(MOST, (uint64_t)k + 1, k == 0 ? 90.0 : 40.0, heights[k]);
        contacts.valid = false;
        refresh(MOST);
        cr_assert_gt(contacts.n_pairs, 100u);
        cr_assert_not(contacts.overflow);
        assert_list_is_brute_force(MOST);
    }
}

Test(contact, list_is_kept_while_no_close_pair_can_be_missing)
{
    const size_t n = 200;
    scatter(n, 5, 60.0, 3.0);
    refresh(n);
    uint64_t state = 9;
    for (int step = 0; step < 200; step++) {
        for (size_t i = 0; i < n; i++) {
            x[i] += 0.08 * (uniform(&state) - 0.5);
            y[i] += 0.08 * (uniform(&state) - 0.5);
            z[i] += 0.08 * (uniform(&state) - 0.5);
        }
        refresh(n);
        for (size_t i = 0; i < n; i++) {
            size_t found[MOST];
            const size_t count = neighbours(i, found);
            for (size_t j = 0, at = 0; j < n; j++) {
                const bool listed = at < count && found[at] == j;
                at += listed;
                cr_assert(listed || j == i ||
                              distance_between(i, j) >=
                                  (double)(NRW_CONTACT_SURE * (radius[i] + radius[j])),
                          "step %d: pair %zu, %zu is missing", step, i, j);
            }
        }
    }
    cr_assert_gt(contacts.n_builds, 1u);
    cr_assert_lt(contacts.n_builds, 100u);
}

Test(contact, a_swarm_that_moves_as_one_keeps_its_list)
{
    scatter(100, 6, 50.0, 3.0);
    refresh(100);
    for (int step = 0; step < 50; step++) {
        for (size_t i = 0; i < 100; i++) {
            x[i] += 0.5;
            y[i] -= 0.25;
        }
        refresh(100);
    }
    cr_assert_eq(contacts.n_builds, 1u);
    x[17] += 0.5; /* farther than a quarter of the largest radius */
    refresh(100);
    cr_assert_eq(contacts.n_builds, 2u);
}

Test(contact, particles_on_top_of_each_other_are_reported)
{
    for (size_t i = 0; i < 200; i++) {
        x[i] = 1e-3 * (double)i;
        y[i] = 0.0;
        z[i] = 2.0;
    }
    refresh(200);
    cr_assert(contacts.overflow);
}

/* Both ways of finding neighbours: all pairs for small swarms, close blocks for large ones. */
enum { MANY = 1500 };
static double many[3][MANY];
static float many_sizes[MANY];

static void assert_blocks_find_all(void)
{
    make_contacts(MANY);
    (void)nrw_contacts_refresh(&contacts, MANY, many[0], many[1], many[2], many_sizes, 1.8f);
    cr_assert_not(contacts.overflow);
    size_t n_close = 0;
    for (size_t i = 0; i < MANY; i++)
        for (size_t j = 0; j < i; j++) {
            const double dx = many[0][i] - many[0][j], dy = many[1][i] - many[1][j];
            const double dz = many[2][i] - many[2][j];
            const double reach = (double)(NRW_CONTACT_REACH * (many_sizes[i] + many_sizes[j]));
            n_close += dx * dx + dy * dy + dz * dz < reach * reach;
        }
    cr_assert_eq(contacts.n_pairs, n_close);
}

static void scatter_many(void)
{
    uint64_t state = 4;
    for (size_t i = 0; i < MANY; i++) {
        many[0][i] = 120.0 * uniform(&state);
        many[1][i] = 120.0 * uniform(&state);
        many[2][i] = 1.5 + 4.0 * uniform(&state);
        many_sizes[i] = (float)(1.2 + 0.6 * uniform(&state));
    }
}

Test(contact, large_swarms_get_the_same_list_from_blocks)
{
    scatter_many();
    assert_blocks_find_all();
}

Test(contact, strays_far_from_a_large_swarm_find_their_neighbours_too)
{
    scatter_many();
    /* pairs of strays: their blocks are hundreds of micrometres wide */
    uint64_t state = 6;
    for (size_t i = 0; i + 1 < 90; i += 2)
        for (int axis = 0; axis < 3; axis++) {
            many[axis][i] = 3000.0 * uniform(&state);
            many[axis][i + 1] = many[axis][i] + 2.5 * uniform(&state);
        }
    assert_blocks_find_all();
}

/* --- two particles ------------------------------------------------------------- */

/* Whether `crowd` is told of the mobilities. */
static bool knows_floor;

/* Lists what is close, takes directions and overlaps at the present positions. */
static float measure(size_t n)
{
    contacts.valid = false;
    refresh(n);
    nrw_near_task near;
    memset(&near, 0, sizeof near);
    near.rows = nrw_contacts_rows(&contacts);
    near.places = places;
    near.core2 = 1.0f;
    near.warm_x = arrays[5];
    near.warm_y = arrays[6];
    near.warm_z = arrays[7];
    near.crowd = arrays[8];
    near.candidate_um = 0.2f * DIAMETER;
    if (knows_floor) {
        near.along = move_xy;
        near.across = move_z;
    }
    for (size_t row = 0; row <= contacts.n_rows; row++) {
        const bool real = row < n;
        const size_t i = real ? contacts.order[row] : 0;
        const float away = row < contacts.n_rows ? 1e6f : -1e6f;
        float *place = places + nrw_four_of(row);
        place[0] = real ? (float)x[i] : away;
        place[1] = real ? (float)y[i] : away;
        place[2] = real ? (float)z[i] : 0.0f;
    }
    nrw_kernels_get()->near_geometry(&near);
    return near.largest_overlap;
}

/* A substep whose drift (by particle) is given. */
static nrw_contact_solve begin_step(size_t n, const double (*drift)[3])
{
    (void)measure(n);
    nrw_contact_solve solve;
    memset(&solve, 0, sizeof solve);
    solve.rows = nrw_contacts_rows(&contacts);
    solve.free_x = free_x;
    solve.free_y = free_y;
    solve.free_z = free_z;
    solve.move_xy = move_xy;
    solve.move_z = move_z;
    solve.warm_x = arrays[5];
    solve.warm_y = arrays[6];
    solve.warm_z = arrays[7];
    solve.crowd = arrays[8];
    solve.n_neighbours = contacts.n_neighbours;
    solve.stiffness = STIFFNESS;
    solve.force[0] = contacts.force[0];
    solve.force[1] = contacts.force[1];
    solve.ends = contacts.ends;
    solve.farthest2 = contacts.farthest2;
    solve.reach_um = 0.02f * DIAMETER;
    solve.step = contacts.step;
    solve.short_step = contacts.short_step;
    solve.ux = arrays[9];
    solve.uy = arrays[10];
    solve.uz = arrays[11];
    solve.place[0] = scratch[0];
    solve.place[1] = scratch[1];
    solve.crowded = scratch[2];
    for (size_t row = 0; row < contacts.n_rows; row++) {
        const size_t i = contacts.order[row];
        const bool driven = drift && row < n;
        free_x[row] = driven ? (float)drift[i][0] : 0.0f;
        free_y[row] = driven ? (float)drift[i][1] : 0.0f;
        free_z[row] = driven ? (float)drift[i][2] : 0.0f;
    }
    return solve;
}

/* Displacement of particle i. */
static nrw_vec3 moved(const nrw_contact_solve *solve, size_t i)
{
    const size_t row = contacts.row_of[i];
    return (nrw_vec3){(double)solve->ux[row], (double)solve->uy[row], (double)solve->uz[row]};
}

static void put(size_t i, double at_x, double at_y, double at_z)
{
    x[i] = at_x;
    y[i] = at_y;
    z[i] = at_z;
}

static double solved_distance(const nrw_contact_solve *solve, size_t i, size_t j)
{
    const nrw_vec3 ui = moved(solve, i), uj = moved(solve, j);
    const double dx = x[i] + ui.x - x[j] - uj.x, dy = y[i] + ui.y - y[j] - uj.y;
    const double dz = z[i] + ui.z - z[j] - uj.z;
    return sqrt(dx * dx + dy * dy + dz * dz);
}

/* Of the first pair of the first row. */
static float contact_force(const nrw_contact_solve *solve)
{
    return contacts.force[solve->sweeps_done % 2][contacts.starts[0]];
}

/* Converged: what is left to move is below what floats of a few µm resolve. */
static void converge(nrw_contact_solve *solve)
{
    solve->sweeps = 400;
    nrw_contacts_solve(solve);
}

/* Float positions of a few µm: 2e-7, in dozens of sweeps. */
#define FLOAT_UM 1e-6

Test(contact, two_that_overlap_part_as_implicit_euler_has_it)
{
    /* along x, the diagonal, and straight up with a mobility of its own */
    const double directions[3][3] = {{1, 0, 0}, {0.6, 0.8, 0}, {0, 0, 1}};
    for (int k = 0; k < 3; k++) {
        const double start = 0.15;
        put(0, 0.0, 0.0, 3.0);
        put(1, (DIAMETER - start) * directions[k][0], (DIAMETER - start) * directions[k][1],
            3.0 + (DIAMETER - start) * directions[k][2]);
        move_z[0] = move_z[1] = 0.25f * MOVE;
        nrw_contact_solve solve = begin_step(2, NULL);
        converge(&solve);
        /* C' = C/(1 + 2kh/ξ) */
        const double give = 2.0 * (double)MOVE * (k == 2 ? 0.25 : 1.0);
        const double left = start / (1.0 + STIFFNESS * give);
        cr_assert_float_eq(DIAMETER - solved_distance(&solve, 0, 1), left, FLOAT_UM);
        cr_assert_float_eq((double)contact_force(&solve), STIFFNESS * left, STIFFNESS * FLOAT_UM);
    }
}

Test(contact, two_that_are_driven_together_are_held_by_an_implicit_spring)
{
    put(0, -1.55, 0.0, 3.0);
    put(1, 1.55, 0.0, 3.0);
    const double drift[2][3] = {{0.3, 0.0, 0.0}, {-0.3, 0.0, 0.0}};
    nrw_contact_solve solve = begin_step(2, drift);
    converge(&solve);
    /* predicted overlap 0.5 over the same factor */
    const double left = 0.5 / (1.0 + 2.0 * STIFFNESS * MOVE);
    cr_assert_float_eq(DIAMETER - solved_distance(&solve, 0, 1), left, FLOAT_UM);
}

Test(contact, the_quicker_of_two_moves_more)
{
    put(0, 0.0, 0.0, 3.0);
    put(1, 2.85, 0.0, 3.0);
    move_xy[1] = 3.0f * MOVE;
    nrw_contact_solve solve = begin_step(2, NULL);
    converge(&solve);
    cr_assert_float_eq(moved(&solve, 1).x, -3.0 * moved(&solve, 0).x, 5.0 * FLOAT_UM);
    cr_assert_lt(moved(&solve, 0).x, 0.0);
}

Test(contact, contacts_never_pull)
{
    put(0, 0.0, 0.0, 3.0);
    put(1, 2.95, 0.0, 3.0); /* touching, and driven apart */
    const double drift[2][3] = {{-0.2, 0.0, 0.0}, {0.2, 0.0, 0.0}};
    nrw_contact_solve solve = begin_step(2, drift);
    converge(&solve);
    /* the force of the warm start is taken back as a whole */
    cr_assert_eq(contact_force(&solve), 0.0f);
    cr_assert_float_eq(moved(&solve, 0).x, -0.2, FLOAT_UM);
    cr_assert_float_eq(moved(&solve, 1).x, 0.2, FLOAT_UM);
}

Test(contact, two_apart_are_left_alone)
{
    put(0, 0.0, 0.0, 3.0);
    put(1, 3.2, 0.0, 3.0); /* listed, but not touching */
    nrw_contact_solve solve = begin_step(2, NULL);
    converge(&solve);
    cr_assert_eq(contacts.n_pairs, 1u);
    cr_assert_eq(moved(&solve, 0).x, 0.0);
    cr_assert_eq(moved(&solve, 1).x, 0.0);
}

Test(contact, pairs_that_meet_unexpectedly_are_solved_all_the_same)
{
    /* three in a row, the first driven hard: the push arrives at the third, which
     * stands outside the margin of expected contacts and never was near one */
    put(0, 0.0, 0.0, 3.0);
    put(1, 3.0, 0.0, 3.0);
    put(2, 6.6, 0.0, 3.0);
    const double drift[3][3] = {{2.9, 0.0, 0.0}, {0.0, 0.0, 0.0}, {0.0, 0.0, 0.0}};
    move_xy[1] = 20.0f * MOVE; /* light: flies far */
    nrw_contact_solve solve = begin_step(3, drift);
    converge(&solve);
    for (size_t i = 0; i < 3; i++)
        cr_assert(fabs(moved(&solve, i).x) < 3.0, "particle %zu moves %g", i, moved(&solve, i).x);
    cr_assert_lt(DIAMETER - solved_distance(&solve, 1, 2), 0.3);
}

/* --- clusters ------------------------------------------------------------------ */

/* A triangular lattice squeezed to 0.97 diameters, drawn toward its middle. */
static size_t squeeze(double drift[MOST][3], double inward)
{
    size_t n = 0;
    for (int a = -5; a <= 5; a++)
        for (int b = -5; b <= 5; b++) {
            const double at_x = 2.91 * (a + 0.5 * b), at_y = 2.91 * 0.8660254037844386 * b;
            if (hypot(at_x, at_y) > 13.0)
                continue;
            put(n, at_x, at_y, 1.6);
            drift[n][0] = -inward * at_x;
            drift[n][1] = -inward * at_y;
            drift[n][2] = 0.0;
            n++;
        }
    return n;
}

static double drift_of[MOST][3];

Test(contact, pair_impulses_leave_the_centre_of_equal_particles_where_it_was)
{
    /* at any number of sweeps: both ways of a pair get the same force to the last bit */
    const size_t n = squeeze(drift_of, 0.0);
    drift_of[3][0] = 0.5; /* one is driven, to break the symmetry */
    nrw_contact_solve solve = begin_step(n, (const double(*)[3])drift_of);
    solve.sweeps = 4;
    solve.tolerance = 1.0f;
    nrw_contacts_solve(&solve);
    double sum_x = -0.5, sum_y = 0.0, total = 0.0;
    for (size_t i = 0; i < n; i++) {
        sum_x += moved(&solve, i).x;
        sum_y += moved(&solve, i).y;
        total += fabs(moved(&solve, i).x);
    }
    cr_assert_gt(total, 1.0);
    cr_assert_float_eq(sum_x, 0.0, (double)n * FLOAT_UM);
    cr_assert_float_eq(sum_y, 0.0, (double)n * FLOAT_UM);
}

Test(contact, the_sweeps_of_a_step_come_near_the_converged_solve)
{
    static nrw_vec3 converged[MOST];
    const size_t n = squeeze(drift_of, 0.004);
    nrw_contact_solve solve = begin_step(n, (const double(*)[3])drift_of);
    converge(&solve);
    for (size_t i = 0; i < n; i++)
        converged[i] = moved(&solve, i);

    solve = begin_step(n, (const double(*)[3])drift_of);
    /* as step.c chooses */
    solve.sweeps = 2;
    solve.tolerance = 2e-3f * DIAMETER;
    nrw_contacts_solve(&solve);
    double error = 0.0;
    for (size_t i = 0; i < n; i++) {
        const nrw_vec3 u = moved(&solve, i);
        error = fmax(error, hypot(u.x - converged[i].x, u.y - converged[i].y));
    }
    cr_assert_leq(solve.residual, solve.tolerance);
    /* the slowest case: a squeezed lattice that expands as a whole, 0.0083 measured */

    cr_assert_leq(error, 0.01 * DIAMETER, "%.3g of a diameter after %d sweeps", error / DIAMETER,
                  solve.sweeps_done);
}

/* Sweeps of a solve as step.c asks for it: one near the floor, which hardly moves up and down,
 * driven sideways between two that lean on it and are heavy. */
static int sweeps_between_two(float *residual)
{
    const double drift[3][3] = {{0.3, 0.0, 0.0}, {0.0, 0.0, 0.0}, {0.0, 0.0, 0.0}};
    put(0, 0.0, 0.0, 1.6);
    put(1, 1.9, 0.0, 3.6);
    put(2, -1.9, 0.0, 3.6);
    contacts.valid = false;
    refresh(3);
    for (size_t row = 0; row < 3; row++) {
        const bool low = contacts.order[row] == 0;
        move_xy[row] = low ? 8.0f * MOVE : 0.1f * MOVE;
        move_z[row] = low ? 0.3f * MOVE : 0.1f * MOVE;
    }
    nrw_contact_solve solve = begin_step(3, drift);
    solve.sweeps = 2;
    solve.tolerance = 2e-3f * DIAMETER;
    nrw_contacts_solve(&solve);
    *residual = solve.residual;
    return solve.sweeps_done;
}

Test(contact, one_near_the_floor_between_two_that_lean_on_it_comes_to_rest)
{
    float residual;
    knows_floor = true;
    cr_assert_leq(sweeps_between_two(&residual), 20);
    cr_assert_leq(residual, 2e-3f * DIAMETER);
    /* with the bound of the directions alone it swings for long: 38 sweeps, 14 with the right one
     */
    knows_floor = false;
    cr_assert_gt(sweeps_between_two(&residual), 30);
}

Test(contact, sweeps_go_on_while_something_still_moves)
{
    const size_t n = squeeze(drift_of, 0.02);
    nrw_contact_solve solve = begin_step(n, (const double(*)[3])drift_of);
    solve.sweeps = 3;
    solve.tolerance = 1e-4f;
    nrw_contacts_solve(&solve);
    cr_assert_gt(solve.sweeps_done, 3);
    cr_assert_leq(solve.residual, solve.tolerance);
}

Test(contact, compact_slots_lead_to_the_same_displacements)
{
    const size_t n = squeeze(drift_of, 0.02);
    static nrw_vec3 plain[MOST];
    double moved_by = 0.0, off = 0.0, sum_x = 0.0;
    for (int k = 0; k < 2; k++) {
        compact = k == 1;
        nrw_contact_solve solve = begin_step(n, (const double(*)[3])drift_of);
        converge(&solve);
        cr_assert_eq(solve.rows.short_n[0] != NULL, compact);
        for (size_t i = 0; i < n; i++) {
            const nrw_vec3 u = moved(&solve, i);
            if (k == 0)
                plain[i] = u;
            else
                sum_x += u.x - drift_of[i][0];
            moved_by = fmax(moved_by, nrw_vec3_norm(u));
            off = fmax(off, nrw_vec3_norm(nrw_vec3_add(u, nrw_vec3_scale(plain[i], -1.0))));
        }
    }
    cr_assert_gt(moved_by, 0.05);
    /* directions to 1.5e-5 */
    cr_assert_leq(off, 5e-5, "%g", off);
    /* both ways of a pair have the same direction, to the sign */
    cr_assert_float_eq(sum_x / (double)n, 0.0, 1e-6);
}

Test(contact, a_solve_that_starts_from_the_forces_of_the_last_one_is_done_at_once)
{
    const size_t n = squeeze(drift_of, 0.004);
    nrw_contact_solve solve = begin_step(n, (const double(*)[3])drift_of);
    converge(&solve);
    const nrw_vec3 before = moved(&solve, 3);
    const nrw_contact_rows *rows = &solve.rows;
    for (size_t row = 0; row < rows->n_rows; row++) {
        double sum[3] = {0.0, 0.0, 0.0};
        const size_t chunk = row / NRW_LANES;
        for (size_t slot = rows->starts[chunk] + row % NRW_LANES; slot < contacts.ends[chunk];
             slot += NRW_LANES) {
            const double guess = (double)solve.force[0][slot] / (double)STIFFNESS;
            sum[0] += guess * (double)rows->nx[slot];
            sum[1] += guess * (double)rows->ny[slot];
            sum[2] += guess * (double)rows->nz[slot];
        }
        for (size_t axis = 0; axis < 3; axis++)
            arrays[5 + axis][row] = (float)sum[axis];
    }
    solve.held = true;
    solve.sweeps = 1;
    /* what floats resolve of forces of tens of pN, through the stiffness */
    solve.tolerance = 1e-4f;
    nrw_contacts_solve(&solve);
    cr_assert_leq(solve.sweeps_done, 3);
    const nrw_vec3 now = moved(&solve, 3);
    cr_assert_float_eq(now.x, before.x, 1e-4);
    cr_assert_float_eq(now.y, before.y, 1e-4);
}

/* --- walls, floor, ceiling -------------------------------------------------------- */

Test(contact, a_wall_gives_way_like_an_implicit_spring)
{
    put(0, 0.0, 1.4, 3.0);
    const double drift[1][3] = {{0.1, -0.3, 0.0}};
    nrw_contact_solve solve = begin_step(1, drift);
    /* a wall along y = 0, fluid above: overlap 0.1 at the start */
    static float wall_x[NRW_LANES], wall_y[NRW_LANES] = {1.0f}, wall_gap[NRW_LANES] = {0.1f};
    static float give[NRW_LANES] = {STIFFNESS * MOVE / (1.0f + STIFFNESS * MOVE)};
    solve.wall_give = give;
    solve.wall_x = wall_x;
    solve.wall_y = wall_y;
    solve.wall_gap = wall_gap;
    converge(&solve);
    const double left = 0.4 / (1.0 + STIFFNESS * MOVE);
    cr_assert_float_eq(1.5 - (y[0] + moved(&solve, 0).y), left, FLOAT_UM);
    cr_assert_float_eq(moved(&solve, 0).x, 0.1, FLOAT_UM); /* walls are smooth */
}

Test(contact, a_wall_does_not_hold_what_leaves_it)
{
    put(0, 0.0, 1.6, 3.0);
    const double drift[1][3] = {{0.0, 0.2, 0.0}};
    nrw_contact_solve solve = begin_step(1, drift);
    static float wall_x[NRW_LANES], wall_y[NRW_LANES] = {1.0f}, wall_gap[NRW_LANES] = {-0.1f};
    static float give[NRW_LANES] = {STIFFNESS * MOVE / (1.0f + STIFFNESS * MOVE)};
    solve.wall_give = give;
    solve.wall_x = wall_x;
    solve.wall_y = wall_y;
    solve.wall_gap = wall_gap;
    converge(&solve);
    cr_assert_float_eq(moved(&solve, 0).y, 0.2, FLOAT_UM);
}

/* Height reached by one that is driven to `free` from z = 1.6, above a floor with
 * the given force and slope there, below a ceiling. */
static double height_reached(double driven_to, float force, float slope, double ceiling)
{
    static float forces[NRW_LANES], slopes[NRW_LANES], heights[NRW_LANES], gives[NRW_LANES];
    static float most[NRW_LANES];
    put(0, 0.0, 0.0, 1.6);
    const double drift[1][3] = {{0.0, 0.0, driven_to - 1.6}};
    nrw_contact_solve solve = begin_step(1, drift);
    forces[0] = force;
    slopes[0] = slope;
    most[0] = (float)(ceiling - 1.6);
    solve.floor_force = forces;
    solve.floor_slope = slopes;
    solve.floor_z = heights;
    gives[0] = 1.0f / (1.0f + slope * MOVE);
    solve.floor_give = gives;
    solve.ceiling = most;
    converge(&solve);
    return 1.6 + moved(&solve, 0).z;
}

Test(contact, the_floor_answers_a_push_along_its_slope)
{
    /* z' = f + h/ξ F', F' = F − slope (z' − z0), linearised at 1.6 µm */
    const double free = 1.53, force = 0.1, slope = 12.0;
    const double expected = (free + MOVE * (force + slope * 1.6)) / (1.0 + MOVE * slope);
    cr_assert_float_eq(height_reached(free, 0.1f, 12.0f, 60.0), expected, FLOAT_UM);
}

Test(contact, the_floor_never_pulls)
{
    cr_assert_float_eq(height_reached(1.9, 0.1f, 12.0f, 60.0), 1.9, FLOAT_UM);
}

Test(contact, the_ceiling_gives_way_like_an_implicit_spring)
{
    const double expected = 1.7 + 0.2 / (1.0 + STIFFNESS * MOVE);
    cr_assert_float_eq(height_reached(1.9, 0.0f, 0.0f, 1.7), expected, FLOAT_UM);
}

/* --- overlap --------------------------------------------------------------------- */

Test(contact, overlap_is_the_largest_share_of_the_distance)
{
    put(0, 0.0, 0.0, 3.0);
    put(1, 2.9, 0.0, 3.0);
    put(2, 2.9, 2.4, 3.0);
    cr_assert_float_eq((double)measure(3), 0.2, FLOAT_UM);
    put(1, 3.1, 0.0, 3.0);
    put(2, 3.1, 4.0, 3.0); /* 1.33 diameters from one, 1.69 from the other */
    cr_assert_eq(measure(3), 0.0f);
    cr_assert_eq(contacts.n_pairs, 2u);
}
