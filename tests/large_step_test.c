/* How long the substeps of large swarms are: as the typical particle allows. */
#include <criterion/criterion.h>
#include <math.h>

#include "small_setup.h"
#include "world.h"

/* Eight groups of rows. */
enum { N = 8 * NRW_CONTACT_GROUP, COLUMNS = 46, STRIDE = 601 };

/* Substeps of 25 ms when every `every`-th particle's moment is so many times the others'. */
static uint64_t substeps(double factor, size_t every)
{
    small_setup setup = small_setup_lattice(N, COLUMNS, STRIDE);
    nrw_world *world = small_world(&setup, false);
    for (size_t i = 100; i < N; i += every)
        world->moment[i] *= (float)factor;
    const nrw_field field = small_rotating(9.0, 50.0, 0.0);
    const nrw_excitation excitation = small_excitation(world, &field);
    double taken;
    cr_assert_eq(nrw_world_step(world, &excitation, 0.025, &taken, NULL), NRW_OK);
    const uint64_t n = world->n_steps;
    nrw_world_destroy(world);
    small_setup_clear(&setup);
    return n;
}

Test(large_step, one_stiff_particle_does_not_shorten_the_substeps_of_thousands)
{
    cr_assert_eq(substeps(1.0, N), 1u);
    cr_assert_eq(substeps(1.5, N), 1u);
    /* some of many places do, and all of them */
    cr_assert_geq(substeps(1.5, 64), 2u);
    cr_assert_geq(substeps(1.5, 1), 3u);
    /* and nobody may be stiffer than what is still stable */
    cr_assert_geq(substeps(2.3, N), 2u);
}
