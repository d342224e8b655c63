#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "average.h"
#include "particle.h"
#include "small_setup.h"

/* Averaged moments with a fixed part: what sizes, moments and touching neighbours make of
 * their spins. */

/* Spin that keeps pace with the field, over its rate: that of an orbit in 64 steps of
 * fourth order a period, in single precision. */
#define PACE 1e-5

static small_setup setup;

static void end(void)
{
    small_setup_clear(&setup);
}

TestSuite(held_spin, .fini = end);

static nrw_excitation averaged(const nrw_world *world, const nrw_field *field)
{
    const nrw_average average = nrw_average_of(&world->body, field);
    nrw_excitation excitation = small_excitation(world, field);
    excitation.lone_spin = average.spin;
    excitation.lag_torque = average.lag_torque;
    excitation.hold_pN_um = average.hold_pN_um;
    excitation.rate_rad_s = average.rate_rad_s;
    return excitation;
}

/* Spins about z, in units of the field's rate, of particles at the given places. */
static void spins_of(const nrw_field *field, size_t n, double *spins)
{
    nrw_world *world = small_world(&setup, false);
    const nrw_excitation excitation = averaged(world, field);
    nrw_errors errors;
    nrw_errors_init(&errors);
    double taken;
    cr_assert_eq(nrw_world_step(world, &excitation, 1e-5, &taken, &errors), NRW_OK);
    for (size_t row = 0; row < n; row++)
        spins[world->contacts.order[row]] =
            (double)world->spin_z[row] / (2.0 * NRW_PI * field->frequency_Hz);
    nrw_errors_clear(&errors);
    nrw_world_destroy(world);
}

static double step_out_Hz(double moment_fAm2, double field_mT)
{
    const nrw_body body = nrw_body_of(setup.scenario, NULL);
    return moment_fAm2 * field_mT * body.floor.ms / (2.0 * NRW_PI * body.spin_drag_pN_um_s);
}

static const double TOUCHING[2][3] = {{-1.5, 0.0, NAN}, {1.5, 0.0, NAN}};

Test(held_spin, touching_permanent_moments_below_step_out_keep_pace_with_the_field)
{
    setup = small_setup_open(2, TOUCHING);
    small_setup_permanent(&setup, 30.0, NULL);
    const nrw_field field = small_rotating(10.0, 50.0, 0.0);
    double spins[2];
    spins_of(&field, 2, spins);
    cr_assert_float_eq(spins[0], 1.0, PACE);
    cr_assert_float_eq(spins[1], 1.0, PACE);
}

Test(held_spin, brakes_lower_the_step_out)
{
    setup = small_setup_open(2, TOUCHING);
    small_setup_permanent(&setup, 30.0, NULL);
    const double step_out = step_out_Hz(30.0, 10.0);
    const nrw_body body = nrw_body_of(setup.scenario, NULL);
    /* a touching pair resists by 1 + e ms of a lone sphere's, e of the pull 0.15 m²/d⁴ */
    const double gap = nrw_contact_gap_um(setup.scenario, 0.15 * 900.0 / 81.0) / 1.5;
    const double resisted = 1.0 + nrw_contact_brake(gap) * body.floor.ms;
    cr_assert_gt(resisted, 1.3);
    const nrw_field field = small_rotating(10.0, 0.9 * step_out, 0.0);
    double spins[2];
    spins_of(&field, 2, spins);
    const double x = 0.9 * resisted;
    /* Adler 1946 at x step-outs; brakes and mobilities are single precision, and the gap
     * under two that repel the floor's force a little moves in the step */
    cr_assert_float_eq(spins[0], (x - sqrt(x * x - 1.0)) / x, 2e-3 * spins[0]);
    cr_assert_lt(spins[0], 0.7);
}

Test(held_spin, spread_of_moments_changes_nothing_below_step_out_and_the_slip_beyond)
{
    const double apart[2][3] = {{-150.0, 0.0, NAN}, {150.0, 0.0, NAN}};
    setup = small_setup_open(2, apart);
    small_setup_permanent(&setup, 30.0, NULL);
    setup.scenario->particles.moment_cv = 0.2;
    nrw_world *world = small_world(&setup, false);
    const double moments[2] = {(double)world->moment[0], (double)world->moment[1]};
    nrw_world_destroy(world);
    cr_assert_gt(fabs(moments[0] - moments[1]), 0.02);
    double spins[2];
    nrw_field field = small_rotating(10.0, 50.0, 0.0);
    spins_of(&field, 2, spins);
    cr_assert_float_eq(spins[0], 1.0, PACE);
    cr_assert_float_eq(spins[1], 1.0, PACE);
    field = small_rotating(10.0, 2.0 * step_out_Hz(30.0, 10.0), 0.0);
    spins_of(&field, 2, spins);
    for (int i = 0; i < 2; i++) {
        const double x = 2.0 / moments[i];
        /* the nominal particle's mean is that of 12 orbits: within 1 % of Adler's */
        cr_assert_float_eq(spins[i], 1.0 - sqrt(1.0 - 1.0 / (x * x)), 0.01 * spins[i]);
    }
}

Test(held_spin, induced_moments_are_braked_as_before)
{
    setup = small_setup_open(2, TOUCHING);
    const nrw_field field = small_rotating(10.0, 50.0, 0.0);
    double spins[2];
    spins_of(&field, 2, spins);
    nrw_world *world = small_world(&setup, false);
    const nrw_average lone = nrw_average_of(&world->body, &field);
    cr_assert_eq(lone.hold_pN_um, 0.0);
    cr_assert_lt(spins[0] * 2.0 * NRW_PI * 50.0, 0.9 * lone.spin.z);
    nrw_world_destroy(world);
}
