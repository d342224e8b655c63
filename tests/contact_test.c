#include <criterion/criterion.h>
#include <math.h>
#include <stdint.h>
#include <string.h>

#include "contact.h"

enum { MOST = 400 };

/* h/ξ of the reference particle in a step of 8 ms near the floor, µm/pN; k of 60
 * pN/µm makes 2kh/ξ = 19, far beyond what an explicit step bears. */
#define MOVE 0.16f
#define STIFFNESS 60.0f
#define DIAMETER 3.0f

static double x[MOST], y[MOST], z[MOST];
static float radius[MOST], px[MOST], py[MOST], pz[MOST], x0[MOST], y0[MOST], z0[MOST];
static float move_xy[MOST], move_z[MOST];
static nrw_arena arena;
static nrw_contacts contacts;

static double uniform(uint64_t *state)
{
    *state = *state * 6364136223846793005u + 1442695040888963407u;
    return (double)(*state >> 11) * 0x1p-53;
}

static void begin(void)
{
    memset(&arena, 0, sizeof arena);
    memset(&contacts, 0, sizeof contacts);
    nrw_contacts_layout(&contacts, &arena, MOST);
    cr_assert(nrw_arena_commit(&arena));
    nrw_contacts_layout(&contacts, &arena, MOST);
    cr_assert(nrw_cell_grid_init(&contacts.grid, MOST));
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
    nrw_contacts_refresh(&contacts, n, x, y, z, radius, largest_radius(n));
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

static void assert_list_is_brute_force(size_t n)
{
    size_t at = 0;
    for (size_t i = 0; i < n; i++)
        for (size_t j = i + 1; j < n; j++) {
            const float contact = radius[i] + radius[j];
            if (distance_between(i, j) >= (double)(NRW_CONTACT_REACH * contact))
                continue;
            cr_assert_lt(at, contacts.n_pairs);
            cr_assert_eq(contacts.i[at], i);
            cr_assert_eq(contacts.j[at], j);
            cr_assert_eq(contacts.distance[at], contact);
            at++;
        }
    cr_assert_eq(at, contacts.n_pairs);
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

Test(contact, list_is_kept_while_no_touching_pair_can_be_missing)
{
    const size_t n = 200;
    scatter(n, 5, 60.0, 3.0);
    refresh(n);
    uint64_t state = 9;
    for (int step = 0; step < 200; step++) {
        for (size_t i = 0; i < n; i++) {
            x[i] += 0.04 * (uniform(&state) - 0.5);
            y[i] += 0.04 * (uniform(&state) - 0.5);
            z[i] += 0.04 * (uniform(&state) - 0.5);
        }
        refresh(n);
        size_t at = 0;
        for (size_t i = 0; i < n; i++)
            for (size_t j = i + 1; j < n; j++) {
                while (at < contacts.n_pairs &&
                       (contacts.i[at] < i || (contacts.i[at] == i && contacts.j[at] < j)))
                    at++;
                if (distance_between(i, j) >= (double)(radius[i] + radius[j]))
                    continue;
                cr_assert(at < contacts.n_pairs && contacts.i[at] == i && contacts.j[at] == j,
                          "step %d: pair %zu, %zu is missing", step, i, j);
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
    x[17] += 0.2; /* farther than a tenth of the largest radius */
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

/* --- two particles ------------------------------------------------------------- */

static nrw_contact_solve solve_of(size_t n, int sweeps)
{
    nrw_contact_solve solve;
    memset(&solve, 0, sizeof solve);
    solve.n = n;
    solve.x = px;
    solve.y = py;
    solve.z = pz;
    solve.move_xy = move_xy;
    solve.move_z = move_z;
    solve.stiffness = STIFFNESS;
    solve.sweeps = sweeps;
    return solve;
}

/* Starts a step: the list, the begin positions, the prediction by a drift. */
static void predict(size_t n, const double (*drift)[3])
{
    contacts.valid = false;
    refresh(n);
    for (size_t i = 0; i < n; i++) {
        x0[i] = (float)x[i];
        y0[i] = (float)y[i];
        z0[i] = (float)z[i];
        px[i] = x0[i] + (drift ? (float)drift[i][0] : 0.0f);
        py[i] = y0[i] + (drift ? (float)drift[i][1] : 0.0f);
        pz[i] = z0[i] + (drift ? (float)drift[i][2] : 0.0f);
    }
}

static void put(size_t i, double at_x, double at_y, double at_z)
{
    x[i] = at_x;
    y[i] = at_y;
    z[i] = at_z;
}

static double solved_distance(size_t i, size_t j)
{
    const double dx = (double)px[i] - (double)px[j], dy = (double)py[i] - (double)py[j];
    const double dz = (double)pz[i] - (double)pz[j];
    return sqrt(dx * dx + dy * dy + dz * dz);
}

/* Float positions of a few µm: 2e-7, in dozens of sweeps. */
#define FLOAT_UM 1e-6

Test(contact, two_that_overlap_part_as_implicit_euler_has_it)
{
    /* along x, the diagonal, and straight up with a mobility of its own */
    const double directions[3][3] = {{1, 0, 0}, {0.6, 0.8, 0}, {0, 0, 1}};
    for (int k = 0; k < 3; k++) {
        const double start = 0.15;
        const float across = 0.25f * MOVE;
        put(0, 0.0, 0.0, 3.0);
        put(1, (DIAMETER - start) * directions[k][0], (DIAMETER - start) * directions[k][1],
            3.0 + (DIAMETER - start) * directions[k][2]);
        move_z[0] = move_z[1] = across;
        predict(2, NULL);
        nrw_contact_solve solve = solve_of(2, 60);
        nrw_contacts_warm_start(&contacts, &solve, x0, y0, z0);
        nrw_contacts_solve(&contacts, &solve);
        /* C' = C/(1 + 2kh/ξ) */
        const double give = 2.0 * (double)(k == 2 ? across : MOVE);
        const double left = start / (1.0 + STIFFNESS * give);
        cr_assert_float_eq(DIAMETER - solved_distance(0, 1), left, FLOAT_UM);
        cr_assert_float_eq((double)contacts.force[0], STIFFNESS * left, STIFFNESS * FLOAT_UM);
    }
}

Test(contact, two_that_are_driven_together_are_held_by_an_implicit_spring)
{
    put(0, -1.55, 0.0, 3.0);
    put(1, 1.55, 0.0, 3.0);
    const double drift[2][3] = {{0.3, 0.0, 0.0}, {-0.3, 0.0, 0.0}};
    predict(2, drift);
    nrw_contact_solve solve = solve_of(2, 60);
    nrw_contacts_warm_start(&contacts, &solve, x0, y0, z0);
    nrw_contacts_solve(&contacts, &solve);
    /* predicted overlap 0.5 over the same factor */
    const double left = 0.5 / (1.0 + 2.0 * STIFFNESS * MOVE);
    cr_assert_float_eq(DIAMETER - solved_distance(0, 1), left, FLOAT_UM);
}

Test(contact, the_quicker_of_two_moves_more)
{
    put(0, 0.0, 0.0, 3.0);
    put(1, 2.85, 0.0, 3.0);
    move_xy[1] = 3.0f * MOVE;
    predict(2, NULL);
    nrw_contact_solve solve = solve_of(2, 60);
    nrw_contacts_warm_start(&contacts, &solve, x0, y0, z0);
    nrw_contacts_solve(&contacts, &solve);
    cr_assert_float_eq((double)(px[1] - x0[1]), -3.0 * (double)(px[0] - x0[0]), 5.0 * FLOAT_UM);
    cr_assert_lt(px[0], x0[0]);
}

Test(contact, contacts_never_pull)
{
    put(0, 0.0, 0.0, 3.0);
    put(1, 2.95, 0.0, 3.0); /* touching, and driven apart */
    const double drift[2][3] = {{-0.2, 0.0, 0.0}, {0.2, 0.0, 0.0}};
    predict(2, drift);
    nrw_contact_solve solve = solve_of(2, 200);
    nrw_contacts_warm_start(&contacts, &solve, x0, y0, z0);
    nrw_contacts_solve(&contacts, &solve);
    /* the force of the warm start is taken back as a whole */
    cr_assert_eq(contacts.force[0], 0.0f);
    cr_assert_float_eq((double)(px[0] - x0[0]), -0.2, FLOAT_UM);
    cr_assert_float_eq((double)(px[1] - x0[1]), 0.2, FLOAT_UM);
}

Test(contact, two_apart_are_left_alone)
{
    put(0, 0.0, 0.0, 3.0);
    put(1, 3.2, 0.0, 3.0); /* listed, but not touching */
    predict(2, NULL);
    nrw_contact_solve solve = solve_of(2, 12);
    nrw_contacts_warm_start(&contacts, &solve, x0, y0, z0);
    nrw_contacts_solve(&contacts, &solve);
    cr_assert_eq(contacts.n_pairs, 1u);
    cr_assert_eq(px[0], x0[0]);
    cr_assert_eq(px[1], x0[1]);
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
    const size_t n = squeeze(drift_of, 0.0);
    drift_of[3][0] = 0.5; /* one is driven, to break the symmetry */
    predict(n, (const double(*)[3])drift_of);
    nrw_contact_solve solve = solve_of(n, 20);
    nrw_contacts_warm_start(&contacts, &solve, x0, y0, z0);
    nrw_contacts_solve(&contacts, &solve);
    double sum_x = -0.5, sum_y = 0.0, moved = 0.0;
    for (size_t i = 0; i < n; i++) {
        sum_x += (double)(px[i] - x0[i]);
        sum_y += (double)(py[i] - y0[i]);
        moved += fabs((double)(px[i] - x0[i]));
    }
    cr_assert_gt(moved, 1.0);
    cr_assert_float_eq(sum_x, 0.0, (double)n * FLOAT_UM);
    cr_assert_float_eq(sum_y, 0.0, (double)n * FLOAT_UM);
}

Test(contact, the_sweeps_of_a_step_come_near_the_converged_solve)
{
    const size_t n = squeeze(drift_of, 0.004);
    static float converged_x[MOST], converged_y[MOST];
    predict(n, (const double(*)[3])drift_of);
    nrw_contact_solve solve = solve_of(n, 2000);
    nrw_contacts_warm_start(&contacts, &solve, x0, y0, z0);
    nrw_contacts_solve(&contacts, &solve);
    memcpy(converged_x, px, sizeof px);
    memcpy(converged_y, py, sizeof py);
    const double overlap = (double)nrw_contacts_overlap(&contacts, px, py, pz);

    predict(n, (const double(*)[3])drift_of);
    /* as step.c chooses: 6 + 0.7 kh/ξ, more while something moves by 1e-3 d */
    solve = solve_of(n, 13);
    solve.tolerance = 1e-3f * DIAMETER;
    nrw_contacts_warm_start(&contacts, &solve, x0, y0, z0);
    nrw_contacts_solve(&contacts, &solve);
    double error = 0.0;
    for (size_t i = 0; i < n; i++)
        error =
            fmax(error, hypot((double)(px[i] - converged_x[i]), (double)(py[i] - converged_y[i])));
    cr_assert_leq(solve.residual, solve.tolerance);
    /* 0.0022 measured, after 25 sweeps */
    cr_assert_leq(error, 0.005 * DIAMETER, "%.3g of a diameter", error / DIAMETER);
    cr_assert_float_eq((double)nrw_contacts_overlap(&contacts, px, py, pz), overlap, 0.002);
}

Test(contact, sweeps_go_on_while_something_still_moves)
{
    const size_t n = squeeze(drift_of, 0.02);
    predict(n, (const double(*)[3])drift_of);
    nrw_contact_solve solve = solve_of(n, 4);
    solve.tolerance = 1e-4f;
    nrw_contacts_solve(&contacts, &solve); /* cold: no warm start */
    cr_assert_gt(solve.sweeps_done, 4);
    cr_assert_leq(solve.sweeps_done, 16); /* four times the least */
}

/* --- walls, floor, ceiling -------------------------------------------------------- */

Test(contact, a_wall_gives_way_like_an_implicit_spring)
{
    put(0, 0.0, 1.4, 3.0);
    const double drift[1][3] = {{0.1, -0.3, 0.0}};
    predict(1, drift);
    nrw_contact_solve solve = solve_of(1, 100);
    /* a wall along y = 0, fluid above: overlap 0.1 at the start */
    nrw_wall_contact wall = {0, 0.0f, 1.0f, 0.1f, x0[0], y0[0], 0.0f};
    solve.walls = &wall;
    solve.n_walls = 1;
    nrw_contacts_solve(&contacts, &solve);
    const double left = 0.4 / (1.0 + STIFFNESS * MOVE);
    cr_assert_float_eq(1.5 - (double)py[0], left, FLOAT_UM);
    cr_assert_float_eq((double)px[0], 0.1, FLOAT_UM); /* walls are smooth */
    cr_assert_float_eq((double)wall.force, STIFFNESS * left, STIFFNESS * FLOAT_UM);
}

Test(contact, a_wall_does_not_hold_what_leaves_it)
{
    put(0, 0.0, 1.6, 3.0);
    const double drift[1][3] = {{0.0, 0.2, 0.0}};
    predict(1, drift);
    nrw_contact_solve solve = solve_of(1, 20);
    nrw_wall_contact wall = {0, 0.0f, 1.0f, -0.1f, x0[0], y0[0], 0.0f};
    solve.walls = &wall;
    solve.n_walls = 1;
    nrw_contacts_solve(&contacts, &solve);
    cr_assert_float_eq((double)py[0], 1.8, FLOAT_UM);
    cr_assert_eq(wall.force, 0.0f);
}

static void floor_and_ceiling(float predicted, float force0, float slope, float ceiling,
                              float *solved, float *force)
{
    float z_start = predicted, kept = force0;
    nrw_floor_contact floor = {&force0, &slope, &z_start, &kept, &ceiling};
    put(0, 0.0, 0.0, (double)predicted);
    predict(1, NULL);
    nrw_contact_solve solve = solve_of(1, 20);
    solve.floor = &floor;
    pz[0] = *solved;
    nrw_contacts_solve(&contacts, &solve);
    *solved = pz[0];
    *force = kept;
}

Test(contact, the_floor_answers_a_push_along_its_slope)
{
    /* linearised at z = 1.6 with 0.1 pN and 12 pN/µm; then pushed down by 0.05 */
    float z_now = 1.55f, force = 0.0f;
    floor_and_ceiling(1.6f, 0.1f, 12.0f, 60.0f, &z_now, &force);
    /* z' = z + h/ξ (F' − F), F' = F − slope (z' − z0) */
    const double moved = 0.05 * 12.0 * MOVE / (1.0 + 12.0 * MOVE);
    cr_assert_float_eq((double)z_now, 1.55 + moved, FLOAT_UM);
    cr_assert_float_eq((double)force, 0.1 + moved / MOVE, FLOAT_UM * 20.0);
}

Test(contact, the_floor_never_pulls)
{
    float z_now = 1.9f, force = 0.0f;
    floor_and_ceiling(1.6f, 0.1f, 12.0f, 60.0f, &z_now, &force);
    cr_assert_eq(force, 0.0f);
    /* it takes back the 0.1 pN that it had lent, no more */
    cr_assert_float_eq((double)z_now, 1.9 - 0.1 * MOVE, FLOAT_UM);
}

Test(contact, nothing_stays_above_the_ceiling)
{
    float z_now = 8.7f, force = 0.0f;
    floor_and_ceiling(8.4f, 0.0f, 0.0f, 8.5f, &z_now, &force);
    cr_assert_float_eq((double)z_now, 8.5, 1e-5);
}

/* --- overlap --------------------------------------------------------------------- */

Test(contact, overlap_is_the_largest_share_of_the_distance)
{
    put(0, 0.0, 0.0, 3.0);
    put(1, 2.9, 0.0, 3.0);
    put(2, 2.9, 2.4, 3.0);
    predict(3, NULL);
    cr_assert_float_eq((double)nrw_contacts_overlap(&contacts, px, py, pz), 0.2, FLOAT_UM);
    put(1, 3.1, 0.0, 3.0);
    put(2, 3.1, 3.1, 3.0);
    predict(3, NULL);
    cr_assert_eq(contacts.n_pairs, 2u);
    cr_assert_eq(nrw_contacts_overlap(&contacts, px, py, pz), 0.0f);
}

Test(contact, a_position_that_is_no_number_does_not_hide)
{
    for (int k = 0; k < 3; k++) {
        put(0, 0.0, 0.0, 3.0);
        put(1, 2.9, 0.0, 3.0);
        put(2, 2.9, 2.9, 3.0);
        predict(3, NULL);
        px[k] = NAN;
        cr_assert(isnan(nrw_contacts_overlap(&contacts, px, py, pz)), "particle %d", k);
    }
}
