/* Whether a particle that has gone far may meet one that is not listed. */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "small_setup.h"
#include "stray.h"

/* Square lattices of 100 and 400 particles 9 µm apart, beyond the reach of lists: the larger
 * one has a tree. */
enum { MOST = 400 };

#define PITCH 9.0

static double start[MOST][3];
static small_setup setup;
static nrw_world *world;

static void open_lattice(size_t side)
{
    const nrw_field none = small_rotating(0.0, 50.0, 0.0);
    double taken;
    for (size_t k = 0; k < side * side; k++) {
        start[k][0] = PITCH * (double)(k % side);
        start[k][1] = PITCH * (double)(k / side);
        start[k][2] = NAN;
    }
    setup = small_setup_open(side * side, (const double(*)[3])start);
    world = small_world(&setup, false);
    const nrw_excitation excitation = small_excitation(world, &none);
    cr_assert_eq(nrw_world_step(world, &excitation, 0.001, &taken, NULL), NRW_OK);
    cr_assert_eq(world->contacts.n_pairs, 0u);
    cr_assert_eq(world->contacts.by_tree, side > 14);
    const size_t bytes = world->padded * sizeof(float);
    float *const all[] = {world->sum_x,    world->sum_y,    world->sum_z,
                          world->start_x,  world->start_y,  world->start_z,
                          world->solve.ux, world->solve.uy, world->solve.uz};
    for (size_t k = 0; k < sizeof all / sizeof *all; k++)
        memset(all[k], 0, bytes);
}

static void close_lattice(void)
{
    nrw_world_destroy(world);
    small_setup_clear(&setup);
}

/* Moves a particle within the step, the last part of the way in its last substep. */
static void go(size_t particle, double x, double y, double last_x)
{
    const size_t row = world->contacts.row_of[particle];
    world->sum_x[row] += (float)x;
    world->sum_y[row] += (float)y;
    world->px[row] += (float)x;
    world->py[row] += (float)y;
    world->solve.ux[row] = (float)last_x;
}

Test(stray, who_goes_where_nobody_is_meets_nobody)
{
    for (size_t side = 10; side <= 20; side += 10) {
        open_lattice(side);
        cr_assert_not(nrw_stray_may_meet(world));
        go(3 * side + 3, 0.8, 0.0, 0.1); /* not far */
        cr_assert_not(nrw_stray_may_meet(world));
        go(3 * side + 3, 2.0, 2.0, 1.0); /* far, between four */
        cr_assert_not(nrw_stray_may_meet(world));
        close_lattice();
    }
}

Test(stray, who_touches_one_that_is_not_listed_meets_it)
{
    for (size_t side = 10; side <= 20; side += 10) {
        open_lattice(side);
        go(3 * side + 3, PITCH - 3.1, 0.0, 0.0);
        cr_assert_not(nrw_stray_may_meet(world));
        go(3 * side + 3, 0.2, 0.0, 0.0);
        cr_assert(nrw_stray_may_meet(world));
        close_lattice();
    }
}

Test(stray, what_the_next_substep_may_bring_counts)
{
    for (size_t side = 10; side <= 20; side += 10) {
        open_lattice(side);
        go(3 * side + 3, PITCH - 3.8, 0.0, 0.7);
        cr_assert_not(nrw_stray_may_meet(world));
        go(3 * side + 3, 0.0, 0.0, 1.0); /* would overlap */
        cr_assert(nrw_stray_may_meet(world));
        go(3 * side + 3, 0.0, 0.0, -1.0); /* goes away */
        cr_assert_not(nrw_stray_may_meet(world));
        close_lattice();
    }
}

Test(stray, two_that_have_both_gone_far_find_each_other)
{
    for (size_t side = 10; side <= 20; side += 10) {
        open_lattice(side);
        go(3 * side + 3, 3.05, 0.0, 0.0);
        go(3 * side + 4, -3.05, 0.0, 0.0);
        cr_assert(nrw_stray_may_meet(world));
        close_lattice();
    }
}

Test(stray, a_swarm_that_moves_as_one_has_no_strays)
{
    for (size_t side = 10; side <= 20; side += 10) {
        open_lattice(side);
        for (size_t i = 0; i < side * side; i++)
            go(i, 5.0, 1.0, 2.0);
        cr_assert_not(nrw_stray_may_meet(world));
        go(3 * side + 3, PITCH - 2.9, 0.0, 0.0); /* but for one, which has its neighbour there */
        cr_assert(nrw_stray_may_meet(world));
        close_lattice();
    }
}

Test(stray, listed_ones_are_not_met)
{
    const double at[2][3] = {{0.0, 0.0, NAN}, {4.5, 0.0, NAN}};
    const nrw_field none = small_rotating(0.0, 50.0, 0.0);
    double taken;
    setup = small_setup_open(2, at);
    world = small_world(&setup, false);
    const nrw_excitation excitation = small_excitation(world, &none);
    cr_assert_eq(nrw_world_step(world, &excitation, 0.001, &taken, NULL), NRW_OK);
    cr_assert_eq(world->contacts.n_pairs, 1u);
    go(0, 2.0, 0.0, 0.0);
    cr_assert_not(nrw_stray_may_meet(world));
    close_lattice();
}
