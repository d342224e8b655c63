#include <criterion/criterion.h>
#include <gsl/gsl_sf_bessel.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "run.h"
#include "small_setup.h"

/* Whole small runs. The scenarios are open maps unless a channel is the point. */

enum { MOST_LEGS = 4 };

static small_setup setup;
static nrw_leg legs[MOST_LEGS];
static nrw_schedule schedule;
static nrw_run_config config;
static nrw_run_result result;
static nrw_errors errors;

static void begin(void)
{
    setup = small_setup_open(1, NULL);
    for (int k = 0; k < MOST_LEGS; k++) {
        legs[k] = nrw_leg_defaults();
        legs[k].drive.main.field_mT = 10.0;
        legs[k].drive.main.frequency_Hz = 50.0;
        (void)snprintf(legs[k].name, sizeof legs[k].name, "leg %d", k);
    }
    schedule = (nrw_schedule){.legs = legs, .n_legs = 1};
    config = nrw_run_config_defaults();
    memset(&result, 0, sizeof result);
    nrw_errors_init(&errors);
}

static void end(void)
{
    nrw_run_result_clear(&result);
    nrw_errors_clear(&errors);
    small_setup_clear(&setup);
}

TestSuite(run, .init = begin, .fini = end);

static void run_to(nrw_run_result *into)
{
    nrw_run_result_clear(into);
    const nrw_status status =
        nrw_run(setup.scenario, setup.channel, &schedule, &config, into, &errors);
    cr_assert_eq(status, NRW_OK, "%s", errors.n_items ? errors.items[0].what : "");
}

static void run(void)
{
    run_to(&result);
}

/* A loose swarm with noise and pair flow. */
static void swarm_of(size_t n)
{
    setup.scenario->particles.count = n;
    setup.scenario->release.radius_um = 1.5 * sqrt((double)n / 0.4);
    setup.scenario->model.brownian = true;
    setup.scenario->model.pair_flow = true;
}

static bool same_bits(const nrw_run_result *a, const nrw_run_result *b)
{
    const size_t bytes = a->n_particles * sizeof(double);
    return a->n_particles == b->n_particles && a->n_frames == b->n_frames &&
           memcmp(a->x_um, b->x_um, bytes) == 0 && memcmp(a->y_um, b->y_um, bytes) == 0 &&
           memcmp(a->z_um, b->z_um, bytes) == 0 && a->steps == b->steps &&
           a->mean_spin_Hz == b->mean_spin_Hz && a->path_um == b->path_um;
}

/* --- determinism ----------------------------------------------------------------------- */

Test(run, the_same_seed_gives_the_same_bits_and_another_does_not)
{
    swarm_of(40);
    legs[0].timeout_s = 2.0;
    legs[0].drive.main.tilt_deg = 20.0;
    nrw_run_result again;
    memset(&again, 0, sizeof again);
    run();
    run_to(&again);
    cr_assert(same_bits(&result, &again));
    config.seed = 2;
    run_to(&again);
    cr_assert_not(same_bits(&result, &again));
    nrw_run_result_clear(&again);
}

Test(run, runs_in_parallel_are_those_in_turn)
{
    enum { N_RUNS = 4 };
    swarm_of(30);
    legs[0].timeout_s = 1.0;
    legs[0].drive.main.tilt_deg = 20.0;
    nrw_run_result in_turn[N_RUNS], parallel[N_RUNS];
    nrw_status statuses[N_RUNS];
    for (int pass = 0; pass < 2; pass++) {
        nrw_run_result *results = pass == 0 ? in_turn : parallel;
#pragma omp parallel for num_threads(2) schedule(dynamic) if (pass == 1)
        for (int k = 0; k < N_RUNS; k++) {
            nrw_run_config own = config;
            own.seed = (uint64_t)k + 1;
            own.model = k % 2 == 0 ? NRW_MODEL_AVERAGED : NRW_MODEL_RESOLVED;
            statuses[k] =
                nrw_run(setup.scenario, setup.channel, &schedule, &own, &results[k], NULL);
        }
        for (int k = 0; k < N_RUNS; k++)
            cr_assert_eq(statuses[k], NRW_OK);
    }
    for (int k = 0; k < N_RUNS; k++) {
        cr_assert(same_bits(&in_turn[k], &parallel[k]), "run %d", k);
        nrw_run_result_clear(&in_turn[k]);
        nrw_run_result_clear(&parallel[k]);
    }
}

/* --- frames and exact times -------------------------------------------------------------- */

Test(run, frames_come_at_the_frame_rate_from_the_start)
{
    setup.scenario->imaging.frame_rate_Hz = 7.0;
    legs[0].timeout_s = 3.0;
    run();
    cr_assert_eq(result.n_frames, 22u); /* 0 to 21/7 s */
    for (size_t k = 0; k < result.n_frames; k++)
        cr_assert_float_eq(result.frames[k].time_s, (double)k / 7.0, 1e-12);
    cr_assert_eq(result.visible_fraction_of_time, 1.0);
}

Test(run, the_deadline_is_exact)
{
    setup.scenario->deadline_s = 1.2345;
    run();
    cr_assert_eq(result.time_s, 1.2345);
    cr_assert_eq(result.n_visits, 1u);
    cr_assert_eq(result.visits[0].end, NRW_LEG_DEADLINE);
    cr_assert_eq(result.visits[0].end_s, 1.2345);
}

Test(run, legs_begin_and_end_at_exact_times_between_frames)
{
    schedule.n_legs = 3;
    legs[0].until.present = NRW_UNTIL_ELAPSED;
    legs[0].until.elapsed_s = 0.3333;
    legs[1].timeout_s = 0.25;
    legs[2].until.present = NRW_UNTIL_ELAPSED;
    legs[2].until.elapsed_s = 0.1;
    legs[2].until.dwell_s = 0.05;
    run();
    cr_assert_eq(result.n_visits, 3u);
    const double ends[3] = {0.3333, 0.3333 + 0.25, 0.3333 + 0.25 + 0.15};
    for (int k = 0; k < 3; k++) {
        cr_assert_eq(result.visits[k].leg, k);
        cr_assert_float_eq(result.visits[k].end_s, ends[k], 1e-12);
        cr_assert_eq(result.visits[k].start_s, k ? result.visits[k - 1].end_s : 0.0);
    }
    cr_assert_eq(result.visits[0].end, NRW_LEG_CONDITION);
    cr_assert_eq(result.visits[1].end, NRW_LEG_TIMEOUT);
    cr_assert_float_eq(result.time_s, ends[2], 1e-12);
}

Test(run, a_condition_ends_its_leg_at_the_frame_that_shows_it)
{
    legs[0].drive.main.tilt_deg = 90.0;
    legs[0].until.present = NRW_UNTIL_CENTROID_PAST;
    legs[0].until.centroid_past.node = 0;
    /* an open map of the test's own has no nodes: past 1.0 µm of the route's start */
    small_setup_clear(&setup);
    setup = small_setup_of("format: narrows-scenario/1\n"
                           "title: a straight channel\n"
                           "fluid: {medium: water, temperature_C: 25}\n"
                           "particles:\n"
                           "  count: 1\n"
                           "  diameter_um: 3.0\n"
                           "  density_kg_m3: 1800\n"
                           "  magnetics: {kind: induced, susceptibility: 0.30,\n"
                           "              relaxation_time_s: 1.03e-5}\n"
                           "channel:\n"
                           "  depth_um: 60\n"
                           "  nodes: {a: {at_um: [0, 0]}, b: {at_um: [300, 0]}}\n"
                           "  vessels: [{from: a, to: b, width_um: 60}]\n"
                           "release: {at_um: [100, 0], radius_um: 18}\n"
                           "target: {at_um: [200, 0], radius_um: 15}\n"
                           "deadline_s: 20\n"
                           "model: {brownian: false}\n");
    legs[0].until.centroid_past.distance_um = 101.0;
    run();
    cr_assert_eq(result.visits[0].end, NRW_LEG_CONDITION);
    const double frame = result.visits[0].end_s * 10.0;
    cr_assert_float_eq(frame, round(frame), 1e-9);
    const nrw_frame *last = &result.frames[result.n_frames - 1];
    cr_assert_geq(last->seen.x_um, 101.0);
    cr_assert_lt(result.frames[result.n_frames - 2].seen.x_um, 101.0);
}

Test(run, alternation_shares_the_time_as_asked)
{
    /* half of each odd period off: half the spin of the drive alone */
    legs[0].timeout_s = 3.0;
    run();
    const double alone = result.mean_spin_Hz;
    cr_assert_gt(alone, 0.5);
    legs[0].drive.alternate_share = 0.5;
    legs[0].drive.alternate_period_s = 0.173;
    legs[0].drive.other.mode = NRW_DRIVE_OFF;
    legs[0].timeout_s = 0.173 * 17.0;
    run();
    /* switches are exact; single-precision spins */
    cr_assert_float_eq(result.mean_spin_Hz, 0.5 * alone, 1e-6 * alone);
}

/* --- what a lone particle shows ----------------------------------------------------------------
 */

Test(run, a_lone_roller_reports_the_regime_s_speed_and_spin)
{
    legs[0].timeout_s = 4.0;
    legs[0].drive.main.tilt_deg = 60.0;
    legs[0].drive.main.heading_deg = 30.0;
    run();
    const nrw_regime regime = nrw_regime_of(setup.scenario, &legs[0].drive.main, NULL);
    cr_assert_float_eq(result.mean_speed_um_s, regime.lone_speed_um_s,
                       1e-4 * regime.lone_speed_um_s);
    cr_assert_float_eq(result.mean_spin_Hz, regime.spin_Hz, 1e-4 * regime.spin_Hz);
    cr_assert_float_eq(atan2(result.y_um[0], result.x_um[0]), 30.0 * NRW_DEGREE, 1e-4);
    cr_assert_float_eq(result.path_um, 4.0 * regime.lone_speed_um_s, 1e-3 * result.path_um);
    cr_assert_eq(result.visits[0].cycle_displacement, regime.cycle_displacement);
    cr_assert_eq(result.visits[0].shedding_number, regime.shedding_number);
}

Test(run, permanent_moments_keep_pace_in_the_resolved_model)
{
    small_setup_permanent(&setup, 30.0, NULL);
    config.model = NRW_MODEL_RESOLVED;
    legs[0].timeout_s = 1.0;
    run();
    /* the first turn catches up from any heading: half a turn in 50 at most */
    cr_assert_float_eq(result.mean_spin_Hz, 50.0, 0.5);
    cr_assert_eq(result.visits[0].model, NRW_MODEL_RESOLVED);
    const double m = sqrt(pow(result.moment_x[0], 2.0) + pow(result.moment_y[0], 2.0) +
                          pow(result.moment_z[0], 2.0));
    cr_assert_float_eq(m, 30.0, 1e-9);
}

Test(run, a_swarm_of_permanent_moments_keeps_pace_in_either_model)
{
    small_setup_permanent(&setup, 30.0, NULL);
    swarm_of(30);
    setup.scenario->particles.moment_cv = 0.2;
    setup.scenario->deadline_s = 0.5;
    for (int k = 0; k < 2; k++) {
        config.model = k ? NRW_MODEL_RESOLVED : NRW_MODEL_AVERAGED;
        run();
        /* far below step-out (469 Hz); the resolved moments start in any direction and turn
         * to the field within a millisecond, up to half a turn in 25 */
        cr_assert_float_eq(result.mean_spin_Hz, 50.0, 1.0, "%g", result.mean_spin_Hz);
    }
}

Test(run, strong_permanent_moments_take_steps_short_enough_to_hold)
{
    /* their pair forces, ten times the reference particle's, are unstable beyond 1 ms */
    swarm_of(20);
    small_setup_permanent(&setup, 100.0, NULL);
    setup.scenario->model.contact_stiffness_pN_um = 600.0;
    legs[0].drive.main.frequency_Hz = 10.0;
    legs[0].timeout_s = 1.0;
    run();
    cr_assert_eq(result.visits[0].model, NRW_MODEL_RESOLVED);
    cr_assert_float_eq(result.mean_spin_Hz, 10.0, 0.5);
    cr_assert_lt(result.largest_overlap, 0.15);
}

Test(run, final_moments_of_induced_particles_are_those_of_the_last_instant)
{
    setup.scenario->particles.relaxation_time_s = 0.0;
    legs[0].timeout_s = 1.005; /* a quarter of a period after a whole number of them */
    run();
    const double m = nrw_regime_of(setup.scenario, &legs[0].drive.main, NULL).moment_fAm2;
    cr_assert_float_eq(result.moment_x[0], 0.0, 1e-6 * m);
    cr_assert_float_eq(result.moment_y[0], m, 1e-6 * m);
}

/* --- models -------------------------------------------------------------------------------- */

Test(run, auto_takes_the_model_of_the_regime_and_says_so)
{
    swarm_of(5);
    schedule.n_legs = 2;
    legs[0].timeout_s = legs[1].timeout_s = 0.2;
    legs[1].drive.main.frequency_Hz = 5.0;
    run();
    cr_assert_eq(result.visits[0].model, NRW_MODEL_AVERAGED);
    cr_assert_eq(result.visits[1].model, NRW_MODEL_RESOLVED);
    cr_assert_gt(result.visits[1].cycle_displacement, 2.0);
}

static bool warned_of(const char *text)
{
    for (size_t k = 0; k < result.n_warnings; k++)
        if (strstr(result.warnings[k], text))
            return true;
    return false;
}

Test(run, the_averaged_model_outside_its_range_is_warned_of)
{
    legs[0].drive.main.frequency_Hz = 5.0;
    legs[0].timeout_s = 0.2;
    config.model = NRW_MODEL_AVERAGED;
    run();
    cr_assert_eq(result.visits[0].model, NRW_MODEL_AVERAGED);
    cr_assert(warned_of("outside its range"));
    config.model = NRW_MODEL_AUTO;
    run();
    cr_assert_not(warned_of("outside its range"));
}

Test(run, a_moment_without_lag_is_warned_of)
{
    setup.scenario->particles.relaxation_time_s = 0.0;
    legs[0].timeout_s = 0.1;
    run();
    cr_assert(warned_of("without lag"));
}

/* Speed along x from 6 s on, once the swarm has gathered. */
static double drift_um_s(nrw_model model, uint64_t seed)
{
    config.model = model;
    config.seed = seed;
    run();
    const nrw_frame *from = &result.frames[60], *to = &result.frames[result.n_frames - 1];
    return (to->seen.x_um - from->seen.x_um) / (to->time_s - from->time_s);
}

Test(run, where_the_averaged_model_holds_the_resolved_one_agrees_with_it)
{
    /* N_b = 0.5, Λ = 0.15 */
    swarm_of(60);
    schedule.n_legs = 2;
    legs[0].timeout_s = 4.0;
    legs[1].timeout_s = 12.0;
    legs[1].drive.main.tilt_deg = 20.0;
    double averaged = 0.0, resolved = 0.0;
    for (uint64_t seed = 1; seed <= 2; seed++) {
        averaged += 0.5 * drift_um_s(NRW_MODEL_AVERAGED, seed);
        cr_assert_gt(result.final.largest_cluster_fraction, 0.95);
        resolved += 0.5 * drift_um_s(NRW_MODEL_RESOLVED, seed);
        cr_assert_gt(result.final.largest_cluster_fraction, 0.95);
    }
    /* 4 % apart as measured, and seeds scatter by 2 %: twice that of a mean of two more */
    cr_assert_gt(averaged, 1.0);
    cr_assert_float_eq(resolved, averaged, 0.08 * averaged, "%.4f against %.4f", resolved,
                       averaged);
}

Test(run, a_shorter_step_gives_the_same_drift)
{
    swarm_of(60);
    schedule.n_legs = 2;
    legs[0].timeout_s = 4.0;
    legs[1].timeout_s = 12.0;
    legs[1].drive.main.tilt_deg = 20.0;
    double coarse = 0.0, fine = 0.0;
    for (uint64_t seed = 1; seed <= 2; seed++) {
        config.step_max_s = 0.0; /* the default of 8 ms */
        coarse += 0.5 * drift_um_s(NRW_MODEL_AVERAGED, seed);
        config.step_max_s = 0.002;
        fine += 0.5 * drift_um_s(NRW_MODEL_AVERAGED, seed);
    }
    /* seeds scatter by 2 %; three standard errors of the difference */
    cr_assert_float_eq(coarse, fine, 0.06 * fine, "%.4f against %.4f", coarse, fine);
}

/* --- interruption, refusal, failure ---------------------------------------------------------- */

static bool stop_after_one_second(void *context, double simulated_s, double of_s)
{
    (void)of_s;
    int *calls = context;
    ++*calls;
    return simulated_s > 0.999;
}

Test(run, an_interrupted_run_keeps_what_was_done)
{
    swarm_of(30);
    legs[0].timeout_s = 3.0;
    legs[0].drive.main.tilt_deg = 20.0;
    int calls = 0;
    config.progress = stop_after_one_second;
    config.progress_context = &calls;
    cr_assert_eq(nrw_run(setup.scenario, setup.channel, &schedule, &config, &result, &errors),
                 NRW_INTERRUPTED);
    cr_assert_eq(calls, 11);
    cr_assert_float_eq(result.time_s, 1.0, 1e-12);
    cr_assert_eq(result.n_frames, 11u);
    cr_assert_eq(result.visits[0].end, NRW_LEG_STOPPED);
    double sum = 0.0;
    for (int k = 0; k < NRW_N_FATES; k++)
        sum += result.fate_fraction[k];
    cr_assert_float_eq(sum, 1.0, 1e-12);

    /* it is where the whole run was at that time */
    nrw_run_result whole;
    memset(&whole, 0, sizeof whole);
    config.progress = NULL;
    config.trajectory_every_s = 0.0;
    run_to(&whole);
    cr_assert_float_eq(whole.trajectory_time_s[10], 1.0, 1e-12);
    for (size_t i = 0; i < whole.n_particles; i++)
        cr_assert_eq(whole.trajectory_um[3 * (10 * whole.n_particles + i)], (float)result.x_um[i]);
    nrw_run_result_clear(&whole);
}

Test(run, what_cannot_start_is_refused_with_a_reason)
{
    setup.scenario->particles.count = 500;
    setup.scenario->release.radius_um = 10.0;
    cr_assert_eq(nrw_run(setup.scenario, setup.channel, &schedule, &config, &result, &errors),
                 NRW_REFUSED);
    cr_assert_eq(errors.n_items, 1u);
    schedule.n_legs = 0;
    nrw_run_result_clear(&result);
    cr_assert_eq(nrw_run(setup.scenario, setup.channel, &schedule, &config, &result, &errors),
                 NRW_BAD_INPUT);
}

Test(run, drives_quicker_than_the_moments_are_refused_with_a_reason)
{
    setup.scenario->particles.relaxation_time_s = 0.1;
    legs[0].drive.main.wobble_deg = 20.0;
    legs[0].drive.main.wobble_period_s = 0.9;
    cr_assert_eq(nrw_run(setup.scenario, setup.channel, &schedule, &config, &result, &errors),
                 NRW_REFUSED);
    cr_assert_eq(errors.n_items, 1u);
    cr_assert(strstr(errors.items[0].what, "wobble.period_s of 0.9 s is too quick"), "%s",
              errors.items[0].what);
}

Test(run, a_quick_wobble_is_followed)
{
    /* a heading that swings by ±60° ten times a second slows a roller by J0(60°) = 0.744,
     * the mean of cos(w sin 2πt/T) (Abramowitz & Stegun, 9.1.18); steps of the default
     * 20 ms would see five points of a swing */
    setup.scenario->deadline_s = 2.0;
    legs[0].drive.main.tilt_deg = 90.0;
    legs[0].timeout_s = 2.0;
    run();
    const double straight = hypot(result.x_um[0], result.y_um[0]);
    legs[0].drive.main.wobble_deg = 60.0;
    legs[0].drive.main.wobble_period_s = 0.1;
    run();
    /* a step's heading is that of its middle: 32 of them a swing miss the mean by 1e-3 */
    cr_assert_float_eq(hypot(result.x_um[0], result.y_um[0]) / straight,
                       gsl_sf_bessel_J0(60.0 * NRW_DEGREE), 2e-3);
}

Test(run, a_diverging_run_says_so_and_keeps_its_frames)
{
    swarm_of(20);
    schedule.n_legs = 2;
    legs[0].timeout_s = 1.0;
    legs[1].timeout_s = 5.0;
    legs[1].drive.main.field_mT = 2000.0;
    cr_assert_eq(nrw_run(setup.scenario, setup.channel, &schedule, &config, &result, &errors),
                 NRW_DIVERGED);
    cr_assert_eq(errors.n_items, 1u);
    cr_assert_geq(result.time_s, 1.0);
    cr_assert_geq(result.n_frames, 11u);
    for (size_t i = 0; i < result.n_particles; i++)
        cr_assert(isfinite(result.x_um[i]) && isfinite(result.z_um[i]));
}

/* --- results ------------------------------------------------------------------------------------
 */

Test(run, fates_sum_to_one_and_the_target_is_noticed)
{
    swarm_of(30);
    setup.scenario->target.at_um[0] = 0.0;
    legs[0].timeout_s = 1.0;
    run();
    double sum = 0.0;
    for (int k = 0; k < NRW_N_FATES; k++)
        sum += result.fate_fraction[k];
    cr_assert_float_eq(sum, 1.0, 1e-12);
    cr_assert_eq(result.fate_fraction[NRW_FATE_DELIVERED], 1.0);
    cr_assert_eq(result.time_to_target_s, 0.0);
    setup.scenario->target.at_um[0] = 400.0;
    run();
    cr_assert_eq(result.fate_fraction[NRW_FATE_DELIVERED], 0.0);
    cr_assert(isnan(result.time_to_target_s));
}

Test(run, positions_are_stored_as_often_as_asked_and_at_the_end)
{
    legs[0].timeout_s = 1.25;
    config.trajectory_every_s = 0.4;
    run();
    const double times[] = {0.0, 0.4, 0.8, 1.2, 1.25};
    cr_assert_eq(result.n_stored, 5u);
    for (int k = 0; k < 5; k++)
        cr_assert_float_eq(result.trajectory_time_s[k], times[k], 1e-12);
    config.record = false;
    run();
    cr_assert_eq(result.n_stored, 0u);
    cr_assert_eq(result.n_frames, 0u);
    cr_assert_geq(result.steps, 50u); /* 25 ms at most */
}

Test(run, a_share_of_the_particles_can_be_simulated)
{
    swarm_of(40);
    config.keep_fraction = 0.25;
    legs[0].timeout_s = 0.1;
    run();
    cr_assert_eq(result.n_particles, 10u);
}

Test(run, a_swarm_too_small_to_see_is_out_of_sight)
{
    swarm_of(10);
    setup.scenario->imaging.smallest_visible_um2 = 1000.0; /* ten discs have 71 */
    legs[0].timeout_s = 0.5;
    legs[0].until.present = NRW_UNTIL_SPREAD_BELOW;
    legs[0].until.spread_below_um = 1e6;
    run();
    cr_assert_eq(result.visible_fraction_of_time, 0.0);
    cr_assert_eq(result.visits[0].end, NRW_LEG_TIMEOUT);
    cr_assert(warned_of("timeout"));
}

Test(run, imaging_s_noise_moves_what_is_steered_by_and_not_the_swarm)
{
    setup.scenario->imaging.centroid_noise_um = 3.0;
    legs[0].timeout_s = 1.0;
    legs[0].drive.main.heading_kind = NRW_HEADING_CENTRELINE;
    legs[0].drive.main.lookahead_um = 20.0;
    run();
    /* the particle lies at the origin: its frames say so, its headings scatter */
    double spread = 0.0;
    for (size_t k = 0; k < result.n_frames; k++) {
        cr_assert_lt(hypot(result.frames[k].seen.x_um, result.frames[k].seen.y_um), 0.5);
        spread = fmax(spread, fabs(result.frames[k].heading_rad));
    }
    cr_assert(spread > 0.05 && spread < 0.6, "%g", spread);
}

Test(run, wobble_swings_the_heading_of_the_frames)
{
    legs[0].timeout_s = 3.0;
    legs[0].drive.main.wobble_deg = 30.0;
    legs[0].drive.main.wobble_period_s = 3.0;
    run();
    for (size_t k = 0; k < result.n_frames; k++) {
        const double expected =
            30.0 * NRW_DEGREE * sin(2.0 * NRW_PI * result.frames[k].time_s / 3.0);
        cr_assert_float_eq(result.frames[k].heading_rad, expected, 1e-9);
    }
}
