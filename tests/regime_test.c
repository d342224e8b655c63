#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "average.h"
#include "particle.h"
#include "small_setup.h"

/* Relative, of a few dozen operations. */
#define ROUNDING 1e-12

static small_setup setup;

static void begin(void)
{
    setup = small_setup_open(1, NULL);
}

static void end(void)
{
    small_setup_clear(&setup);
}

TestSuite(regime, .init = begin, .fini = end);

static nrw_drive_setting rotating(double field_mT, double frequency_Hz, double tilt_deg)
{
    nrw_drive_setting setting = nrw_drive_setting_defaults();
    setting.field_mT = field_mT;
    setting.frequency_Hz = frequency_Hz;
    setting.tilt_deg = tilt_deg;
    return setting;
}

static nrw_regime regime_of(const nrw_drive_setting *setting)
{
    return nrw_regime_of(setup.scenario, setting, NULL);
}

/* Drag along the floor at the gap of a lone particle. */
static double drag_near_floor(void)
{
    const nrw_body body = nrw_body_of(setup.scenario, NULL);
    return 6.0 * NRW_PI * setup.scenario->fluid.viscosity_Pa_s * 1.5 /
           nrw_floor_mobility_at(nrw_floor_table_get(), body.gap_um / 1.5).mt;
}

Test(regime, numbers_are_those_of_their_formulas)
{
    const nrw_drive_setting setting = rotating(10.0, 50.0, 30.0);
    const nrw_regime regime = regime_of(&setting);
    const double m = nrw_particle_moment_fAm2(&setup.scenario->particles, 3.0, 10.0);
    const double xi = drag_near_floor();
    /* the moment lags by 3e-3 rad, and shrinks by half the square of that */
    cr_assert_float_eq(regime.moment_fAm2, m, 1e-5 * m);
    const double cycle = 0.3 * m * m / (243.0 * xi * 50.0);
    cr_assert_float_eq(regime.cycle_displacement, cycle, 2e-5 * cycle);
    cr_assert_float_eq(regime.mason_number, 1.0 / cycle, 2e-5 / cycle);
    const nrw_body body = nrw_body_of(setup.scenario, NULL);
    const nrw_field field = nrw_drive_field(&setting, 0.0, 30.0);
    const nrw_average average = nrw_average_of(&body, &field);
    const double bond = 0.15 * m * m / (81.0 * xi);
    const double shedding = 1.5 * average.spin.y / bond; /* Ω sin δ is the part along the floor */
    cr_assert_float_eq(regime.shedding_number, shedding, 2e-5 * shedding);
    cr_assert_float_eq(regime.lone_speed_um_s, 1.5 * average.spin.y * body.floor.rolling,
                       ROUNDING * regime.lone_speed_um_s);
    const double along =
        average.spin.y * sin(30.0 * NRW_DEGREE) + average.spin.z * cos(30.0 * NRW_DEGREE);
    cr_assert_float_eq(regime.spin_Hz, along / (2.0 * NRW_PI), ROUNDING * regime.spin_Hz);
}

Test(regime, the_reference_particle_is_where_the_exploration_had_it)
{
    /* moment 30 fA·m² at 10 mT and a Ω near 14 µm/s at 50 Hz: rounded, from a gap a
     * little smaller (docs/physics.md, section 8) */
    const nrw_drive_setting setting = rotating(10.0, 50.0, 90.0);
    const nrw_regime regime = regime_of(&setting);
    cr_assert_float_eq(regime.moment_fAm2, 30.0, 0.05 * 30.0);
    cr_assert_float_eq(1.5 * 2.0 * NRW_PI * regime.spin_Hz, 14.0, 0.15 * 14.0);
}

Test(regime, cycle_displacement_falls_with_frequency_and_grows_with_the_field_squared)
{
    const nrw_drive_setting slow = rotating(5.0, 20.0, 0.0), fast = rotating(5.0, 80.0, 0.0);
    const nrw_drive_setting strong = rotating(10.0, 20.0, 0.0);
    const double base = regime_of(&slow).cycle_displacement;
    /* the lag at 80 Hz is 5e-3 rad */
    cr_assert_float_eq(regime_of(&fast).cycle_displacement, base / 4.0, 1e-4 * base);
    cr_assert_float_eq(regime_of(&strong).cycle_displacement, 4.0 * base, 1e-9 * base);
}

Test(regime, the_averaged_model_is_for_slow_pairs_and_cohesive_swarms)
{
    const nrw_drive_setting good = rotating(10.0, 50.0, 20.0);
    nrw_regime regime = regime_of(&good);
    cr_assert_leq(regime.cycle_displacement, 2.0);
    cr_assert_lt(regime.shedding_number, 0.3);
    cr_assert_eq(regime.recommended, NRW_MODEL_AVERAGED, "%s", regime.reason);

    const nrw_drive_setting slow = rotating(10.0, 5.0, 20.0);
    regime = regime_of(&slow);
    cr_assert_gt(regime.cycle_displacement, 2.0);
    cr_assert_eq(regime.recommended, NRW_MODEL_RESOLVED, "%s", regime.reason);
    cr_assert_not_null(strstr(regime.reason, "above 2"));

    /* a field so weak and fast that spin outruns the bonds; both fall with B² */
    const nrw_drive_setting spun = rotating(10.0, 2000.0, 90.0);
    regime = regime_of(&spun);
    cr_assert_gt(regime.shedding_number, 0.3);
    cr_assert_eq(regime.recommended, NRW_MODEL_RESOLVED, "%s", regime.reason);
    cr_assert_not_null(strstr(regime.reason, "not below 0.3"));
}

Test(regime, a_steady_field_needs_no_average)
{
    nrw_drive_setting setting = rotating(10.0, 50.0, 0.0);
    setting.mode = NRW_DRIVE_STEADY;
    const nrw_regime regime = regime_of(&setting);
    cr_assert_eq(regime.recommended, NRW_MODEL_AVERAGED);
    cr_assert_eq(regime.cycle_displacement, 0.0);
    cr_assert(isnan(regime.mason_number));
    cr_assert_eq(regime.spin_Hz, 0.0);
}

Test(regime, permanent_moments_without_a_field_are_followed_one_by_one)
{
    /* their mean tensor would be nothing, but they attract and turn each other */
    small_setup_permanent(&setup, 30.0, NULL);
    nrw_drive_setting setting = rotating(10.0, 50.0, 0.0);
    setting.mode = NRW_DRIVE_OFF;
    cr_assert_eq(regime_of(&setting).recommended, NRW_MODEL_RESOLVED);
    setting.mode = NRW_DRIVE_STEADY;
    cr_assert_eq(regime_of(&setting).recommended, NRW_MODEL_AVERAGED);
}

Test(regime, spin_is_signed_along_the_drive_s_axis)
{
    nrw_drive_setting setting = rotating(10.0, 50.0, 0.0);
    setting.sense = NRW_SENSE_RIGHT;
    /* the axis turns over with the sense, so the particles go with it */
    cr_assert_gt(regime_of(&setting).spin_Hz, 0.0);
}

Test(regime, step_out_is_that_near_the_floor)
{
    small_setup_permanent(&setup, 30.0, NULL);
    const nrw_drive_setting flat = rotating(10.0, 50.0, 0.0), upright = rotating(10.0, 50.0, 90.0);
    const nrw_body body = nrw_body_of(setup.scenario, NULL);
    const double unbounded =
        nrw_step_out_rad_s(30.0, 10.0, body.spin_drag_pN_um_s) / (2.0 * NRW_PI);
    cr_assert_float_eq(regime_of(&flat).step_out_Hz, unbounded * body.floor.ms,
                       ROUNDING * unbounded);
    cr_assert_float_eq(regime_of(&upright).step_out_Hz, unbounded * body.floor.mr,
                       ROUNDING * unbounded);
    cr_assert_float_eq(regime_of(&flat).spin_Hz, 50.0, 1e-3);
}

Test(regime, induced_moments_have_no_step_out)
{
    const nrw_drive_setting setting = rotating(10.0, 50.0, 0.0);
    cr_assert(isnan(regime_of(&setting).step_out_Hz));
}

Test(regime, a_draw_reaches_every_number)
{
    const nrw_drive_setting setting = rotating(10.0, 50.0, 30.0);
    const nrw_draw draw = {1.1, 0.8, 0.5, 1.0};
    const nrw_regime nominal = regime_of(&setting);
    const nrw_regime drawn = nrw_regime_of(setup.scenario, &setting, &draw);
    cr_assert_float_eq(drawn.cycle_displacement, nominal.cycle_displacement * 1.21 / 0.8,
                       1e-9 * drawn.cycle_displacement);
    /* spin goes with moment over viscosity (one factor of the moment: the lag's torque
     * is m·B), and so does the lone speed, times the rolling factor */
    cr_assert_float_eq(drawn.spin_Hz, nominal.spin_Hz * 1.1 / 0.8, 1e-9 * drawn.spin_Hz);
    cr_assert_float_eq(drawn.lone_speed_um_s, 0.5 * nominal.lone_speed_um_s * 1.1 / 0.8,
                       1e-9 * drawn.lone_speed_um_s);
}

Test(regime, thermal_coupling_is_the_dipole_energy_of_a_circle_of_contact_over_kT)
{
    const double m = nrw_particle_moment_fAm2(&setup.scenario->particles, 3.0, 10.0);
    const double kT = 1.380649e-5 * 298.15;
    const double expected = 0.05 * m * m / (27.0 * kT);
    cr_assert_float_eq(nrw_thermal_coupling(setup.scenario, 10.0), expected, ROUNDING * expected);
}
