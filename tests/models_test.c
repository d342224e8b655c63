#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "run.h"
#include "small_setup.h"

/* The averaged model against the resolved one, and what `auto` takes: a small part of the
 * grid of docs/regime.md (60 particles, tilt 20°, two seeds). */

static small_setup setup;
static nrw_leg leg;

static void begin(void)
{
    setup = small_setup_open(1, NULL);
    setup.scenario->particles.count = 60;
    setup.scenario->release.radius_um = 16.0;
    setup.scenario->model.brownian = true;
    setup.scenario->model.pair_flow = true;
    setup.scenario->deadline_s = 6.0;
    leg = nrw_leg_defaults();
    leg.drive.main.field_mT = 10.0;
    leg.drive.main.frequency_Hz = 50.0;
    leg.drive.main.tilt_deg = 20.0;
}

static void end(void)
{
    small_setup_clear(&setup);
}

TestSuite(models, .init = begin, .fini = end);

/* Sets N_b by the frequency and Λ by the relaxation time. */
static nrw_regime set_regime(double cycle, double shedding)
{
    nrw_drive_setting *drive = &leg.drive.main;
    nrw_regime regime = nrw_regime_of(setup.scenario, drive, NULL);
    for (int round = 0; round < 6; round++) {
        drive->frequency_Hz *= regime.cycle_displacement / cycle;
        regime = nrw_regime_of(setup.scenario, drive, NULL);
        setup.scenario->particles.relaxation_time_s *= shedding / regime.shedding_number;
        regime = nrw_regime_of(setup.scenario, drive, NULL);
    }
    cr_assert_float_eq(regime.cycle_displacement, cycle, 1e-3 * cycle);
    cr_assert_float_eq(regime.shedding_number, shedding, 1e-3 * shedding);
    return regime;
}

typedef struct seen {
    double drift_um, spin_Hz, aspect, cluster; /* means of two seeds */
} seen;

static seen look(nrw_model model)
{
    const nrw_schedule schedule = {.legs = &leg, .n_legs = 1};
    seen sum = {0.0, 0.0, 0.0, 0.0};
    for (uint64_t seed = 1; seed <= 2; seed++) {
        nrw_run_config config = nrw_run_config_defaults();
        nrw_run_result result;
        nrw_errors errors;
        nrw_errors_init(&errors);
        config.model = model;
        config.seed = seed;
        cr_assert_eq(nrw_run(setup.scenario, setup.channel, &schedule, &config, &result, &errors),
                     NRW_OK, "%s", errors.n_items ? errors.items[0].what : "");
        sum.drift_um += 0.5 * (result.final.x_um - result.frames[20].seen.x_um);
        sum.spin_Hz += 0.5 * result.mean_spin_Hz;
        sum.aspect += 0.5 * result.final.aspect_ratio;
        sum.cluster += 0.5 * result.final.largest_cluster_fraction;
        nrw_run_result_clear(&result);
        nrw_errors_clear(&errors);
    }
    return sum;
}

Test(models, where_auto_averages_the_resolved_model_says_the_same)
{
    const double cycles[] = {0.5, 2.0}, sheddings[] = {0.15, 0.28};
    for (int i = 0; i < 2; i++)
        for (int j = 0; j < 2; j++) {
            const nrw_regime regime = set_regime(cycles[i], sheddings[j]);
            cr_expect_eq(regime.recommended, NRW_MODEL_AVERAGED, "%s", regime.reason);
            const seen a = look(NRW_MODEL_AVERAGED), r = look(NRW_MODEL_RESOLVED);
            /* 4 % by the table, and the scatter of two seeds over 4 s */
            cr_expect_float_eq(a.drift_um, r.drift_um, 0.08 * r.drift_um,
                               "N_b %g, Lambda %g: %g %g", cycles[i], sheddings[j], a.drift_um,
                               r.drift_um);
            cr_expect_float_eq(a.spin_Hz, r.spin_Hz, 0.05 * r.spin_Hz);
            cr_expect_float_eq(a.aspect, r.aspect, 0.1);
            cr_expect_float_eq(a.cluster, r.cluster, 0.02);
        }
}

Test(models, where_contacts_open_in_each_turn_auto_resolves_and_the_average_brakes_too_much)
{
    const nrw_regime regime = set_regime(10.0, 0.28);
    cr_expect_eq(regime.recommended, NRW_MODEL_RESOLVED, "%s", regime.reason);
    const seen a = look(NRW_MODEL_AVERAGED), r = look(NRW_MODEL_RESOLVED);
    /* 18 % by the table */
    cr_expect_lt(a.spin_Hz, 0.93 * r.spin_Hz, "%g %g", a.spin_Hz, r.spin_Hz);
}

Test(models, where_spin_tears_a_swarm_auto_resolves_and_the_average_holds_it_together)
{
    const nrw_regime regime = set_regime(2.0, 1.5);
    cr_expect_eq(regime.recommended, NRW_MODEL_RESOLVED, "%s", regime.reason);
    const seen a = look(NRW_MODEL_AVERAGED), r = look(NRW_MODEL_RESOLVED);
    /* 31 % by the table, and aspects of 1.3 and 2.5 over 10 s */
    cr_expect_lt(a.spin_Hz, 0.85 * r.spin_Hz, "%g %g", a.spin_Hz, r.spin_Hz);
    cr_expect_gt(r.aspect, a.aspect + 0.2, "%g %g", a.aspect, r.aspect);
}
