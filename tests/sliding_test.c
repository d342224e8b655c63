#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "brake.h"
#include "small_setup.h"

/* Neighbours that slide along each other drag at each other: docs/physics.md, equation
 * 5.10. Pairs against the exact theory are in external/two_spheres_test.c. */

static small_setup setup;

static void end(void)
{
    small_setup_clear(&setup);
}

TestSuite(sliding, .fini = end);

enum { N_HEX = 19, MOST = N_HEX };

/* A hexagon of 19 in unbounded fluid, neighbours `apart` µm from each other. */
static nrw_world *hexagon(double apart)
{
    double at[N_HEX][3];
    size_t n = 0;
    for (int a = -2; a <= 2; a++)
        for (int b = -2; b <= 2; b++) {
            if (a + b < -2 || a + b > 2)
                continue;
            at[n][0] = apart * (a + 0.5 * b);
            at[n][1] = apart * 0.8660254037844386 * b;
            at[n++][2] = 0.0;
        }
    cr_assert_eq(n, N_HEX);
    setup = small_setup_open(N_HEX, (const double(*)[3])at);
    setup.scenario->map.has_floor = false;
    setup.scenario->model.gravity = false;
    return small_world(&setup, false);
}

/* The torque of the field without its dipoles. */
static nrw_excitation torque_alone(const nrw_world *world)
{
    const nrw_field field = small_rotating(10.0, 50.0, 20.0);
    nrw_excitation excitation = small_excitation(world, &field);
    memset(&excitation.tensor, 0, sizeof excitation.tensor);
    return excitation;
}

static nrw_vec3 place(const nrw_world *world, size_t i)
{
    return (nrw_vec3){world->x[i], world->y[i], world->z[i]};
}

static nrw_vec3 spin_of(const nrw_world *world, size_t i)
{
    const size_t row = world->contacts.row_of[i];
    return (nrw_vec3){(double)world->spin_x[row], (double)world->spin_y[row],
                      (double)world->spin_z[row]};
}

static nrw_vec3 less(nrw_vec3 a, nrw_vec3 b)
{
    return nrw_vec3_add(a, nrw_vec3_scale(b, -1.0));
}

static double excess_at(nrw_brake_law law, double beyond_um)
{
    const double x = fmax(0.0, beyond_um) / (double)law.reach_um;
    return x < 1.0 ? (double)law.contact * (1.0 - x) / (1.0 + (double)law.bend * x) : 0.0;
}

/* Force on particle i by its neighbours, from places before a step, and velocities and
 * spins during it. */
static nrw_vec3 force_on(const nrw_world *world, nrw_brake_law law, const nrw_vec3 *before,
                         const nrw_vec3 *velocity, size_t i)
{
    const double a = 1.5, eta = world->body.viscosity_Pa_s;
    nrw_vec3 force = {0.0, 0.0, 0.0};
    for (size_t j = 0; j < world->n; j++) {
        const nrw_vec3 r = less(before[j], before[i]); /* from i to j */
        const double distance = nrw_vec3_norm(r);
        if (j == i || distance > 3.8)
            continue;
        const nrw_vec3 n = nrw_vec3_scale(r, 1.0 / distance);
        const nrw_vec3 past = less(velocity[i], velocity[j]);
        const nrw_vec3 turning = nrw_vec3_scale(
            nrw_vec3_cross(nrw_vec3_add(spin_of(world, i), spin_of(world, j)), n), a);
        nrw_vec3 shear = nrw_vec3_add(past, turning);
        shear = less(shear, nrw_vec3_scale(n, nrw_vec3_dot(shear, n)));
        const double c = 4.0 * NRW_PI * eta * a * excess_at(law, distance - 3.0);
        force = nrw_vec3_add(force, nrw_vec3_scale(shear, -c));
    }
    return force;
}

Test(sliding, a_step_balances_drag_and_shear_on_every_particle)
{
    /* apart, so that none touches: stiff springs magnify what the sweeps leave */
    nrw_world *world = hexagon(3.04);
    const nrw_excitation excitation = torque_alone(world);
    const nrw_brake_law law = nrw_brake_law_of(world, excitation.size2);
    const double h = 0.004, xi = world->body.drag_pN_s_um;
    small_advance(world, &excitation, 10.0 * h, h);
    nrw_vec3 before[MOST], velocity[MOST];
    for (size_t i = 0; i < world->n; i++)
        before[i] = place(world, i);
    small_advance(world, &excitation, h, h);
    for (size_t i = 0; i < world->n; i++)
        velocity[i] = nrw_vec3_scale(less(place(world, i), before[i]), 1.0 / h);
    double largest = 0.0;
    for (size_t i = 0; i < world->n; i++) {
        const nrw_vec3 force = force_on(world, law, before, velocity, i);
        const nrw_vec3 missing = less(nrw_vec3_scale(velocity[i], xi), force);
        /* sweeps end when none moves a particle by more than 6 nm in the substep */
        cr_assert_leq(nrw_vec3_norm(missing), xi * 0.006 / h, "particle %zu", i);
        largest = fmax(largest, nrw_vec3_norm(velocity[i]));
    }
    cr_assert_gt(largest, 3.0 * 0.006 / h);
    nrw_world_destroy(world);
}

/* What the field puts in leaves through the drags of spins and places: contacts only
 * pass it on, also from one that slides to one that doesn't. */
Test(sliding, contacts_keep_the_swarm_s_momentum_and_angular_momentum)
{
    nrw_world *world = hexagon(2.99);
    const nrw_excitation excitation = torque_alone(world);
    const double h = 0.001;
    small_advance(world, &excitation, 200.0 * h, h);
    nrw_vec3 before[MOST], momentum = {0.0, 0.0, 0.0}, left = {0.0, 0.0, 0.0};
    for (size_t i = 0; i < world->n; i++)
        before[i] = place(world, i);
    small_advance(world, &excitation, h, h);
    for (size_t i = 0; i < world->n; i++) {
        const nrw_vec3 drag =
            nrw_vec3_scale(less(place(world, i), before[i]), world->body.drag_pN_s_um / h);
        momentum = nrw_vec3_add(momentum, drag);
        left = nrw_vec3_add(left, nrw_vec3_cross(before[i], drag));
        left = nrw_vec3_add(left, nrw_vec3_scale(spin_of(world, i), world->body.spin_drag_pN_um_s));
    }
    const nrw_vec3 in = nrw_vec3_scale(excitation.torque, (double)world->n);
    /* the brake on a spin takes its neighbours to spin alike, and those at the rim do
     * not; the arms are 2.99 µm instead of 3 */
    cr_assert_leq(nrw_vec3_norm(less(left, in)), 0.02 * nrw_vec3_norm(in), "%g of %g", left.z,
                  in.z);
    cr_assert_leq(nrw_vec3_norm(momentum), 1e-3 * nrw_vec3_norm(in) / 3.0);
    nrw_world_destroy(world);
}

Test(sliding, a_swarm_that_moves_as_one_does_not_feel_it)
{
    double moved[2];
    for (int k = 0; k < 2; k++) {
        nrw_world *world = hexagon(2.999);
        setup.scenario->model.contact_sliding = k == 1;
        nrw_excitation excitation = torque_alone(world);
        memset(&excitation.torque, 0, sizeof excitation.torque);
        world->body.weight_pN = 0.0;
        world->rows.weight = 0.5f; /* all sink alike */
        small_advance(world, &excitation, 0.1, 0.004);
        moved[k] = world->z[7];
        nrw_world_destroy(world);
        small_setup_clear(&setup);
    }
    cr_assert_lt(moved[0], -0.5);
    cr_assert_float_eq(moved[1], moved[0], 1e-5);
    setup = small_setup_open(1, NULL);
}

Test(sliding, one_pulled_along_its_neighbours_takes_them_along)
{
    /* three in a row, the middle one alone feels a force: it goes slower, they go with
     * it, and what all three go together is what it would alone */
    double moved[2][3];
    for (int k = 0; k < 2; k++) {
        const double at[3][3] = {{-3.001, 0.0, 0.0}, {0.0, 0.0, 0.0}, {3.001, 0.0, 0.0}};
        setup = small_setup_open(3, at);
        setup.scenario->map.has_floor = false;
        setup.scenario->model.contact_sliding = k == 1;
        nrw_world *world = small_world(&setup, false);
        world->radius[0] = world->radius[2] = 1.5f;
        world->rows.weight = 0.0f;
        nrw_excitation excitation = torque_alone(world);
        memset(&excitation.torque, 0, sizeof excitation.torque);
        /* the force of a dipole far below would do; a moving fluid is simpler */
        world->flow_y[world->contacts.row_of[1]] = 0.0f;
        for (int step = 0; step < 25; step++) {
            small_advance(world, &excitation, 0.004, 0.004);
            world->flow_y[world->contacts.row_of[1]] = 10.0f;
        }
        for (int i = 0; i < 3; i++)
            moved[k][i] = world->y[i];
        nrw_world_destroy(world);
        small_setup_clear(&setup);
    }
    cr_assert_gt(moved[0][1], 0.9);
    cr_assert_float_eq(moved[0][0], 0.0, 1e-6);
    cr_assert_lt(moved[1][1], 0.8 * moved[0][1]);
    cr_assert_gt(moved[1][0], 0.1 * moved[0][1]);
    cr_assert_float_eq(moved[1][0] + moved[1][1] + moved[1][2], moved[0][1], 0.02);
    setup = small_setup_open(1, NULL);
}

Test(sliding, permanent_moments_are_turned_by_it_too)
{
    /* two without a field, the second carried past the first: both are turned the same
     * way, as gears between racks */
    const double at[2][3] = {{0.0, 0.0, 0.0}, {3.001, 0.0, 0.0}}, headings[2] = {0.0, 0.0};
    setup = small_setup_open(2, at);
    small_setup_permanent(&setup, 30.0, headings);
    setup.scenario->map.has_floor = false;
    setup.scenario->model.gravity = false;
    nrw_world *world = small_world(&setup, true);
    const nrw_field none = {{0.0, 0.0, 0.0}, {0.0, 0.0, 0.0}, {0.0, 0.0, 0.0}, 0.0};
    const nrw_excitation excitation = small_excitation(world, &none);
    for (int step = 0; step < 10; step++) {
        world->flow_y[world->contacts.row_of[1]] = step == 0 ? 0.0f : 20.0f;
        small_advance(world, &excitation, 0.001, 0.001);
    }
    for (size_t i = 0; i < 2; i++)
        cr_assert_gt(spin_of(world, i).z, 0.2, "%g", spin_of(world, i).z);
    nrw_world_destroy(world);
}
