#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "particle.h"
#include "small_setup.h"

/* Touching particles that turn the same way brake each other: docs/physics.md,
 * equations 5.9 and 5.10. */

static small_setup setup;

static void end(void)
{
    small_setup_clear(&setup);
}

TestSuite(step_brake, .fini = end);

/* Two in unbounded fluid without weight, `apart` µm from each other along x. */
static nrw_world *pair_world(double apart)
{
    const double at[2][3] = {{0.0, 0.0, 0.0}, {apart, 0.0, 0.0}};
    setup = small_setup_open(2, at);
    setup.scenario->map.has_floor = false;
    setup.scenario->model.gravity = false;
    return small_world(&setup, false);
}

/* The torque of the reference particle's field alone: no magnetic force, so that
 * the contact's own is seen; the contact gap is that of the field. */
static nrw_excitation torque_alone(const nrw_world *world, double tilt_deg)
{
    const nrw_field field = small_rotating(10.0, 50.0, tilt_deg);
    nrw_excitation excitation = small_excitation(world, &field);
    memset(&excitation.tensor, 0, sizeof excitation.tensor);
    return excitation;
}

static double brake_at_contact(const nrw_excitation *excitation)
{
    const double press = 0.15 * excitation->size2 / 81.0; /* 0.15 m²/d⁴ */
    return nrw_contact_brake(nrw_contact_gap_um(setup.scenario, press) / 1.5);
}

static double free_spin(const nrw_world *world, const nrw_excitation *excitation)
{
    return nrw_vec3_norm(excitation->torque) / world->body.spin_drag_pN_um_s;
}

/* One very short step: spins and forces at the start's places. */
static void look(nrw_world *world, const nrw_excitation *excitation)
{
    small_advance(world, excitation, 1e-6, 1e-6);
}

Test(step_brake, law_is_the_lubrication_of_two_spheres_that_turn_alike)
{
    /* Y11 + Y12 of two equal spheres over 8πηa³ is ¼ ln(a/gap) + 0.6754 near contact
     * (1/5 ln + 0.7028 and 1/20 ln − 0.0274; Jeffrey & Onishi 1984, tables of Kim &
     * Karrila 1991, from memory); the excess over a free sphere takes 1 off. */
    cr_assert_float_eq(nrw_contact_brake(0.01), 0.25 * log(100.0) + 0.6754 - 1.0, 0.005);
    cr_assert_float_eq(nrw_contact_brake(0.001), 0.25 * log(1000.0) + 0.6754 - 1.0, 0.005);
    cr_assert_eq(nrw_contact_brake(0.5), 0.0);
}

Test(step_brake, touching_pair_spins_slower_by_the_stated_factor)
{
    nrw_world *world = pair_world(2.999);
    const nrw_excitation excitation = torque_alone(world, 0.0);
    look(world, &excitation);
    const double e = brake_at_contact(&excitation);
    cr_assert(e > 0.3 && e < 1.2, "%g", e);
    const double expected = free_spin(world, &excitation) / (1.0 + e);
    for (int i = 0; i < 2; i++)
        cr_assert_float_eq((double)world->spin_z[i], expected, 1e-5 * expected);
    nrw_world_destroy(world);
}

Test(step_brake, spin_about_the_line_of_centres_is_not_braked)
{
    nrw_world *world = pair_world(2.999);
    nrw_excitation excitation = torque_alone(world, 0.0);
    excitation.torque = (nrw_vec3){excitation.torque.z, 0.0, 0.0};
    look(world, &excitation);
    cr_assert_float_eq((double)world->spin_x[0], free_spin(world, &excitation),
                       1e-5 * (double)world->spin_x[0]);
    nrw_world_destroy(world);
}

Test(step_brake, braking_fades_with_the_gap_and_never_rises)
{
    double last = 0.0;
    for (double apart = 2.98; apart < 3.6; apart += 0.02) {
        nrw_world *world = pair_world(apart);
        const nrw_excitation excitation = torque_alone(world, 0.0);
        look(world, &excitation);
        const double share = (double)world->spin_z[0] / free_spin(world, &excitation);
        cr_assert_geq(share, last - 1e-6, "at %g", apart);
        last = share;
        nrw_world_destroy(world);
        small_setup_clear(&setup);
    }
    cr_assert_float_eq(last, 1.0, 1e-6);
    setup = small_setup_open(1, NULL);
}

Test(step_brake, the_factor_scales_it_and_zero_takes_it_away)
{
    const double factors[] = {0.0, 0.5};
    for (int k = 0; k < 2; k++) {
        nrw_world *world = pair_world(2.999);
        world->brake_factor = factors[k];
        const nrw_excitation excitation = torque_alone(world, 0.0);
        look(world, &excitation);
        const double e = factors[k] * brake_at_contact(&excitation);
        const double expected = free_spin(world, &excitation) / (1.0 + e);
        cr_assert_float_eq((double)world->spin_z[0], expected, 1e-5 * expected);
        nrw_world_destroy(world);
        small_setup_clear(&setup);
    }
    setup = small_setup_open(1, NULL);
}

/* Force on a particle of the last step's smooth velocity. */
static nrw_vec3 force_on(const nrw_world *world, int i)
{
    const double xi = world->body.drag_pN_s_um;
    return (nrw_vec3){xi * (double)world->vx[i], xi * (double)world->vy[i],
                      xi * (double)world->vz[i]};
}

Test(step_brake, what_brakes_the_spins_turns_the_pair)
{
    /* What the field puts in, 2T, leaves through both spins' drag, 8πηa³ Ω each, and
     * the couple of the tangential forces on the pair */
    nrw_world *world = pair_world(2.999);
    const nrw_excitation excitation = torque_alone(world, 30.0);
    look(world, &excitation);
    nrw_vec3 out = {0.0, 0.0, 0.0};
    for (int i = 0; i < 2; i++) {
        const nrw_vec3 spin = {(double)world->spin_x[i], (double)world->spin_y[i],
                               (double)world->spin_z[i]};
        const nrw_vec3 at = {i == 0 ? 0.0 : 2.999, 0.0, 0.0};
        out = nrw_vec3_add(out, nrw_vec3_scale(spin, world->body.spin_drag_pN_um_s));
        out = nrw_vec3_add(out, nrw_vec3_cross(at, force_on(world, i)));
    }
    /* the arm is taken as 2a, and is 2.999 µm */
    const nrw_vec3 in = nrw_vec3_scale(excitation.torque, 2.0);
    const nrw_vec3 missing = nrw_vec3_add(in, nrw_vec3_scale(out, -1.0));
    cr_assert_leq(nrw_vec3_norm(missing), 5e-4 * nrw_vec3_norm(in));
    /* both ways of leaving matter here */
    cr_assert_gt(fabs(force_on(world, 1).y) * 3.0, 0.2 * in.z);
    nrw_world_destroy(world);
}

Test(step_brake, the_pair_is_turned_the_way_it_spins)
{
    nrw_world *world = pair_world(2.999);
    const nrw_excitation excitation = torque_alone(world, 0.0);
    look(world, &excitation);
    cr_assert_gt(excitation.torque.z, 0.0);
    cr_assert_gt(world->vy[1], 0.0f);
    cr_assert_float_eq((double)world->vy[0], -(double)world->vy[1], 1e-6);
    cr_assert_float_eq((double)world->vx[1], 0.0, 1e-6);
    nrw_world_destroy(world);
}

Test(step_brake, a_particle_between_two_is_braked_by_both)
{
    const double at[3][3] = {{-2.999, 0.0, 0.0}, {0.0, 0.0, 0.0}, {2.999, 0.0, 0.0}};
    setup = small_setup_open(3, at);
    setup.scenario->map.has_floor = false;
    setup.scenario->model.gravity = false;
    nrw_world *world = small_world(&setup, false);
    const nrw_excitation excitation = torque_alone(world, 0.0);
    look(world, &excitation);
    const double e = brake_at_contact(&excitation), free = free_spin(world, &excitation);
    cr_assert_float_eq((double)world->spin_z[1], free / (1.0 + 2.0 * e), 1e-5 * free);
    cr_assert_float_eq((double)world->spin_z[0], free / (1.0 + e), 1e-5 * free);
    /* its two tangential forces cancel */
    cr_assert_float_eq(force_on(world, 1).y, 0.0, 1e-6);
    nrw_world_destroy(world);
}
