#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "control.h"
#include "small_setup.h"

/* A channel with a corner: from (0, 0) along x to (300, 0), then along y to
 * (300, 300). */
static const char yaml[] = "format: narrows-scenario/1\n"
                           "title: a corner\n"
                           "fluid: {medium: water, temperature_C: 25}\n"
                           "particles:\n"
                           "  count: 80\n"
                           "  diameter_um: 3.0\n"
                           "  density_kg_m3: 1800\n"
                           "  magnetics: {kind: induced, susceptibility: 0.30}\n"
                           "channel:\n"
                           "  depth_um: 60\n"
                           "  nodes:\n"
                           "    a: {at_um: [0, 0]}\n"
                           "    b: {at_um: [300, 0]}\n"
                           "    c: {at_um: [300, 300]}\n"
                           "    before: {at_um: [-60, 0]}\n"
                           "    behind: {at_um: [300, 360]}\n"
                           "  vessels:\n"
                           "    - {from: before, to: a, width_um: 80}\n"
                           "    - {from: a, to: b, width_um: 80}\n"
                           "    - {from: b, to: c, width_um: 80}\n"
                           "    - {from: c, to: behind, width_um: 80}\n"
                           "release: {node: a, radius_um: 30}\n"
                           "target: {node: c, radius_um: 30}\n"
                           "deadline_s: 100\n";

enum { A, B, C, N_LEGS = 3 };

static small_setup setup;
static nrw_leg legs[N_LEGS];
static nrw_schedule schedule;
static nrw_control control;

static void begin(void)
{
    setup = small_setup_of(yaml);
    for (int k = 0; k < N_LEGS; k++) {
        legs[k] = nrw_leg_defaults();
        legs[k].drive.main.tilt_deg = 30.0;
        (void)snprintf(legs[k].name, sizeof legs[k].name, "leg %d", k);
    }
    schedule = (nrw_schedule){.legs = legs, .n_legs = N_LEGS};
    cr_assert_eq(nrw_control_init(&control, setup.scenario, setup.channel, &schedule, NULL),
                 NRW_OK);
}

static void end(void)
{
    nrw_control_clear(&control);
    small_setup_clear(&setup);
}

TestSuite(control, .init = begin, .fini = end);

/* A round swarm of 30 µm about a point of the first vessel. */
static nrw_observation at(double x, double y)
{
    nrw_observation observation;
    memset(&observation, 0, sizeof observation);
    nrw_morphology *seen = &observation.seen;
    seen->x_um = x;
    seen->y_um = y;
    seen->rear_x_um = x - 10.0;
    seen->rear_y_um = y;
    seen->spread_um = 30.0;
    seen->width_across_um = 25.0;
    seen->aspect_ratio = 1.5;
    seen->largest_cluster_fraction = 0.8;
    seen->front_um = x + 15.0;
    seen->tail_um = x - 15.0;
    seen->visible = true;
    return observation;
}

static bool ends_at(double t, nrw_leg_end *why, size_t *next)
{
    return nrw_control_ends(&control, t, why, next);
}

/* Whether the leg in force ends by a condition at t after a frame at t. */
static bool holds(double t, nrw_observation observation)
{
    nrw_leg_end why;
    size_t next;
    nrw_control_observe(&control, t, &observation);
    const bool over = ends_at(t, &why, &next);
    cr_assert(!over || why == NRW_LEG_CONDITION);
    return over;
}

/* One condition: must not hold for `no`, must hold for `yes`. */
static void assert_condition(unsigned bit, nrw_observation no, nrw_observation yes)
{
    legs[0].until.present = bit;
    nrw_control_enter(&control, 0, 5.0);
    cr_assert_not(holds(5.1, no));
    cr_assert(holds(5.2, yes));
}

/* --- each condition ---------------------------------------------------------------- */

Test(control, spread_below)
{
    nrw_observation no = at(50.0, 0.0), yes = no;
    legs[0].until.spread_below_um = 28.0;
    yes.seen.spread_um = 27.9;
    assert_condition(NRW_UNTIL_SPREAD_BELOW, no, yes);
}

Test(control, width_below)
{
    nrw_observation no = at(50.0, 0.0), yes = no;
    legs[0].until.width_below_um = 20.0;
    yes.seen.width_across_um = 19.9;
    assert_condition(NRW_UNTIL_WIDTH_BELOW, no, yes);
}

Test(control, aspect_above)
{
    nrw_observation no = at(50.0, 0.0), yes = no;
    legs[0].until.aspect_above = 2.0;
    yes.seen.aspect_ratio = 2.1;
    assert_condition(NRW_UNTIL_ASPECT_ABOVE, no, yes);
}

Test(control, aspect_below)
{
    nrw_observation no = at(50.0, 0.0), yes = no;
    legs[0].until.aspect_below = 1.3;
    yes.seen.aspect_ratio = 1.2;
    assert_condition(NRW_UNTIL_ASPECT_BELOW, no, yes);
}

Test(control, cluster_above)
{
    nrw_observation no = at(50.0, 0.0), yes = no;
    legs[0].until.cluster_above = 0.9;
    yes.seen.largest_cluster_fraction = 0.95;
    assert_condition(NRW_UNTIL_CLUSTER_ABOVE, no, yes);
}

Test(control, centroid_within)
{
    legs[0].until.centroid_within.node = B;
    legs[0].until.centroid_within.distance_um = 20.0;
    assert_condition(NRW_UNTIL_CENTROID_WITHIN, at(275.0, 5.0), at(285.0, 5.0));
}

Test(control, centroid_past_counts_along_the_route_and_may_be_before_the_node)
{
    legs[0].until.centroid_past.node = B;
    legs[0].until.centroid_past.distance_um = -50.0;
    assert_condition(NRW_UNTIL_CENTROID_PAST, at(249.0, 3.0), at(251.0, -3.0));
}

Test(control, tail_past)
{
    legs[0].until.tail_past.node = B;
    legs[0].until.tail_past.distance_um = 40.0;
    nrw_observation no = at(300.0, 60.0), yes = no;
    no.seen.tail_um = 339.0;
    yes.seen.tail_um = 341.0;
    assert_condition(NRW_UNTIL_TAIL_PAST, no, yes);
}

Test(control, what_is_no_number_satisfies_nothing)
{
    legs[0].until.spread_below_um = 28.0;
    legs[0].until.aspect_above = 2.0;
    nrw_observation yes = at(50.0, 0.0);
    yes.seen.spread_um = 20.0;
    nrw_observation no = yes;
    no.seen.spread_um = NAN;
    assert_condition(NRW_UNTIL_SPREAD_BELOW, no, yes);
}

Test(control, several_conditions_must_hold_at_once)
{
    legs[0].until.spread_below_um = 28.0;
    legs[0].until.cluster_above = 0.9;
    legs[0].until.present = NRW_UNTIL_SPREAD_BELOW | NRW_UNTIL_CLUSTER_ABOVE;
    nrw_control_enter(&control, 0, 0.0);
    nrw_observation tight = at(50.0, 0.0), whole = tight, both = tight;
    tight.seen.spread_um = both.seen.spread_um = 20.0;
    whole.seen.largest_cluster_fraction = both.seen.largest_cluster_fraction = 0.95;
    cr_assert_not(holds(0.1, tight));
    cr_assert_not(holds(0.2, whole)); /* not one after the other */
    cr_assert(holds(0.3, both));
}

Test(control, a_frame_without_a_visible_swarm_satisfies_nothing)
{
    legs[0].until.spread_below_um = 28.0;
    legs[0].until.present = NRW_UNTIL_SPREAD_BELOW;
    nrw_control_enter(&control, 0, 0.0);
    nrw_observation hidden = at(50.0, 0.0);
    hidden.seen.spread_um = 20.0;
    hidden.seen.visible = false;
    cr_assert_not(holds(0.1, hidden));
    hidden.seen.visible = true;
    cr_assert(holds(0.2, hidden));
}

/* --- exact times ---------------------------------------------------------------------- */

Test(control, elapsed_alone_ends_at_its_exact_time_whatever_is_seen)
{
    legs[0].until.present = NRW_UNTIL_ELAPSED;
    legs[0].until.elapsed_s = 1.2345;
    nrw_control_enter(&control, 0, 10.0);
    nrw_leg_end why;
    size_t next;
    cr_assert_float_eq(nrw_control_next_s(&control, 10.0), 11.2345, 1e-12);
    cr_assert_not(ends_at(11.2344, &why, &next));
    cr_assert(ends_at(nrw_control_next_s(&control, 10.0), &why, &next));
    cr_assert_eq(why, NRW_LEG_CONDITION);
    cr_assert_eq(next, 1u);
}

Test(control, elapsed_with_another_waits_for_both)
{
    legs[0].until.present = NRW_UNTIL_ELAPSED | NRW_UNTIL_SPREAD_BELOW;
    legs[0].until.elapsed_s = 1.05;
    legs[0].until.spread_below_um = 28.0;
    nrw_observation tight = at(50.0, 0.0), loose = tight;
    tight.seen.spread_um = 20.0;
    nrw_leg_end why;
    size_t next;
    nrw_control_enter(&control, 0, 0.0);
    cr_assert_not(holds(1.0, tight));
    /* the last frame showed it, so the leg ends the moment that the time is up */
    cr_assert(ends_at(1.05, &why, &next));

    nrw_control_enter(&control, 0, 0.0);
    cr_assert_not(holds(1.0, loose));
    cr_assert_not(ends_at(1.05, &why, &next));
    cr_assert(holds(1.1, tight));
}

Test(control, dwell_keeps_the_leg_going_from_when_the_conditions_first_held)
{
    legs[0].until.present = NRW_UNTIL_SPREAD_BELOW;
    legs[0].until.spread_below_um = 28.0;
    legs[0].until.dwell_s = 0.73;
    nrw_control_enter(&control, 0, 0.0);
    nrw_observation tight = at(50.0, 0.0), loose = tight;
    tight.seen.spread_um = 20.0;
    cr_assert_not(holds(1.0, tight));
    cr_assert_not(holds(1.1, loose)); /* "first held": it need not go on holding */
    nrw_leg_end why;
    size_t next;
    cr_assert_float_eq(nrw_control_next_s(&control, 1.1), 1.73, 1e-12);
    cr_assert_not(ends_at(1.729, &why, &next));
    cr_assert(ends_at(1.73, &why, &next));
    cr_assert_eq(why, NRW_LEG_CONDITION);
}

Test(control, dwell_after_elapsed_counts_from_its_exact_time)
{
    legs[0].until.present = NRW_UNTIL_ELAPSED;
    legs[0].until.elapsed_s = 1.5;
    legs[0].until.dwell_s = 0.5;
    nrw_control_enter(&control, 0, 0.0);
    nrw_leg_end why;
    size_t next;
    cr_assert_not(ends_at(1.5, &why, &next));
    cr_assert_float_eq(nrw_control_next_s(&control, 1.5), 2.0, 1e-12);
    cr_assert_not(ends_at(1.9, &why, &next));
    cr_assert(ends_at(2.0, &why, &next));
}

Test(control, a_leg_without_conditions_lasts_until_its_timeout_without_complaint)
{
    legs[0].timeout_s = 3.21;
    nrw_control_enter(&control, 0, 2.0);
    nrw_leg_end why;
    size_t next;
    cr_assert_float_eq(nrw_control_next_s(&control, 2.0), 5.21, 1e-12);
    cr_assert_not(holds(5.0, at(50.0, 0.0)));
    cr_assert(ends_at(5.21, &why, &next));
    cr_assert_eq(why, NRW_LEG_TIMEOUT);
    cr_assert_eq(next, 1u);
    cr_assert_str_empty(control.warning);
}

Test(control, a_timeout_warns_and_goes_on_or_to_the_leg_named)
{
    legs[0].until.present = NRW_UNTIL_SPREAD_BELOW;
    legs[0].until.spread_below_um = 28.0;
    legs[0].timeout_s = 3.0;
    nrw_leg_end why;
    size_t next;
    nrw_control_enter(&control, 0, 0.0);
    cr_assert(ends_at(3.0, &why, &next));
    cr_assert_eq(why, NRW_LEG_TIMEOUT);
    cr_assert_eq(next, 1u);
    cr_assert_not_null(strstr(control.warning, "'leg 0'"));
    cr_assert_not_null(strstr(control.warning, "timeout of 3 s"));
    legs[0].on_timeout_leg = 2;
    cr_assert(ends_at(3.0, &why, &next));
    cr_assert_eq(next, 2u);
}

Test(control, a_condition_that_holds_at_the_timeout_counts_first)
{
    legs[0].until.present = NRW_UNTIL_ELAPSED;
    legs[0].until.elapsed_s = 3.0;
    legs[0].timeout_s = 3.0;
    nrw_control_enter(&control, 0, 0.0);
    nrw_leg_end why;
    size_t next;
    cr_assert(ends_at(3.0, &why, &next));
    cr_assert_eq(why, NRW_LEG_CONDITION);
}

Test(control, switches_of_an_alternation_are_exact_times_too)
{
    legs[0].drive.alternate_share = 0.3;
    legs[0].drive.alternate_period_s = 0.4;
    legs[0].drive.other = legs[0].drive.main;
    nrw_control_enter(&control, 0, 2.0);
    cr_assert_float_eq(nrw_control_next_s(&control, 2.0), 2.28, 1e-12);
    cr_assert_float_eq(nrw_control_next_s(&control, 2.28), 2.4, 1e-12);
    int which;
    (void)nrw_control_setting(&control, 2.2, &which);
    cr_assert_eq(which, 0);
    (void)nrw_control_setting(&control, 2.28, &which);
    cr_assert_eq(which, 1);
    (void)nrw_control_setting(&control, 2.4, &which);
    cr_assert_eq(which, 0);
}

/* --- stalls and visits --------------------------------------------------------------------- */

static void setup_stall(void)
{
    legs[1].stall_after_s = 2.0;
    legs[1].stall_min_um = 10.0;
    legs[1].stall_leg = 0;
    nrw_control_enter(&control, 1, 0.0);
}

/* First frame, of 10 a second, at which a swarm of this speed counts as stalled. */
static double stalls_at(double speed_um_s, double until_s)
{
    for (int k = 0; k <= (int)(10.0 * until_s); k++) {
        const double t = 0.1 * k;
        nrw_leg_end why;
        size_t next;
        const nrw_observation observation = at(20.0 + speed_um_s * t, 0.0);
        nrw_control_observe(&control, t, &observation);
        if (ends_at(t, &why, &next)) {
            cr_assert_eq(why, NRW_LEG_STALL);
            cr_assert_eq(next, 0u);
            return t;
        }
    }
    return INFINITY;
}

Test(control, a_swarm_that_stands_stalls_after_the_time_given)
{
    setup_stall();
    cr_assert_float_eq(stalls_at(0.0, 5.0), 2.0, 1e-9);
    cr_assert_not_null(strstr(control.warning, "stalled"));
}

Test(control, a_swarm_that_advances_enough_does_not_stall)
{
    setup_stall();
    cr_assert_eq(stalls_at(5.1, 20.0), INFINITY);
}

Test(control, a_swarm_that_is_too_slow_stalls)
{
    setup_stall();
    cr_assert_float_eq(stalls_at(4.9, 5.0), 2.0, 1e-9);
}

Test(control, a_new_leg_starts_to_count_afresh)
{
    setup_stall();
    cr_assert_float_eq(stalls_at(0.0, 5.0), 2.0, 1e-9);
    nrw_control_enter(&control, 1, 2.0);
    nrw_leg_end why;
    size_t next;
    nrw_observation observation = at(20.0, 0.0);
    nrw_control_observe(&control, 2.1, &observation);
    cr_assert_not(ends_at(2.1, &why, &next));
}

Test(control, a_swarm_out_of_sight_is_not_judged_to_stall)
{
    setup_stall();
    nrw_leg_end why;
    size_t next;
    nrw_observation observation = at(20.0, 0.0);
    nrw_control_observe(&control, 0.0, &observation);
    observation.seen.visible = false;
    for (int k = 1; k <= 50; k++) {
        nrw_control_observe(&control, 0.1 * k, &observation);
        cr_assert_not(ends_at(0.1 * k, &why, &next), "at %g s", 0.1 * k);
    }
    /* seen again, far ahead: it did advance */
    observation = at(80.0, 0.0);
    nrw_control_observe(&control, 5.1, &observation);
    cr_assert_not(ends_at(5.1, &why, &next));
}

Test(control, a_leg_is_entered_at_most_max_visits_times)
{
    legs[1].until.present = NRW_UNTIL_SPREAD_BELOW;
    legs[1].until.spread_below_um = 1.0;
    legs[1].timeout_s = 1.0;
    legs[1].on_timeout_leg = 0;
    legs[0].max_visits = 2;
    nrw_leg_end why;
    size_t next;
    nrw_control_enter(&control, 0, 0.0);
    nrw_control_enter(&control, 1, 1.0);
    cr_assert(ends_at(2.0, &why, &next));
    cr_assert_eq(next, 0u);
    nrw_control_enter(&control, 0, 2.0);
    nrw_control_enter(&control, 1, 3.0);
    cr_assert(ends_at(4.0, &why, &next));
    /* a third time is one too many: on to the first that may be entered */
    cr_assert_eq(next, 1u);
    cr_assert_not_null(strstr(control.warning, "max_visits"));
}

Test(control, after_the_last_leg_nothing_more_ends)
{
    nrw_leg_end why;
    size_t next;
    nrw_control_enter(&control, N_LEGS, 0.0);
    cr_assert_not(ends_at(5.0, &why, &next));
    cr_assert_eq(nrw_control_next_s(&control, 5.0), 5.0);
    const nrw_observation observation = at(50.0, 0.0);
    nrw_control_observe(&control, 5.0, &observation);
}

/* --- headings -------------------------------------------------------------------------------- */

static double heading_after(nrw_observation observation)
{
    nrw_control_enter(&control, 0, 0.0);
    nrw_control_observe(&control, 0.1, &observation);
    return control.heading_rad[0];
}

Test(control, a_fixed_heading_does_not_turn)
{
    legs[0].drive.main.heading_deg = 40.0;
    cr_assert_float_eq(heading_after(at(50.0, 20.0)), 40.0 * NRW_DEGREE, 1e-15);
}

Test(control, a_node_is_headed_for_from_the_centroid_or_from_the_rear)
{
    legs[0].drive.main.heading_kind = NRW_HEADING_NODE;
    legs[0].drive.main.heading_node = B;
    cr_assert_float_eq(heading_after(at(50.0, 20.0)), atan2(-20.0, 250.0), 1e-12);
    legs[0].drive.main.steer_by_rear = true;
    cr_assert_float_eq(heading_after(at(50.0, 20.0)), atan2(-20.0, 260.0), 1e-12);
}

Test(control, the_centreline_is_headed_for_a_lookahead_ahead_on_the_route)
{
    nrw_drive_setting *drive = &legs[0].drive.main;
    drive->heading_kind = NRW_HEADING_CENTRELINE;
    drive->lookahead_um = 50.0;
    /* from (100, 10) toward (150, 0) */
    cr_assert_float_eq(heading_after(at(100.0, 10.0)), atan2(-10.0, 50.0), 1e-3);
    /* round the corner: from (280, 0) toward (300, 30); the bend may be cut a little */
    cr_assert_float_eq(heading_after(at(280.0, 0.0)), atan2(30.0, 20.0), 0.06);
    drive->steer_by_rear = true;
    cr_assert_float_eq(heading_after(at(100.0, 10.0)), atan2(-10.0, 50.0), 1e-3);
}

Test(control, lookahead_left_out_is_one_gathered_diameter)
{
    legs[0].drive.main.heading_kind = NRW_HEADING_CENTRELINE;
    const double gathered = 3.0 * sqrt(80.0 / 0.80);
    cr_assert_float_eq(heading_after(at(100.0, 10.0)), atan2(-10.0, gathered), 1e-3);
}

Test(control, the_route_ends_at_the_target)
{
    legs[0].drive.main.heading_kind = NRW_HEADING_CENTRELINE;
    legs[0].drive.main.lookahead_um = 50.0;
    cr_assert_float_eq(heading_after(at(310.0, 280.0)), atan2(20.0, -10.0), 1e-3);
    /* past it: back, not on */
    cr_assert_float_eq(heading_after(at(300.0, 320.0)), -NRW_PI / 2.0, 1e-3);
}

Test(control, tilt_eases_in_proportion_inside_the_distance)
{
    nrw_drive_setting *drive = &legs[0].drive.main;
    drive->heading_kind = NRW_HEADING_NODE;
    drive->heading_node = B;
    drive->ease_um = 20.0;
    (void)heading_after(at(200.0, 0.0));
    cr_assert_float_eq(control.tilt_deg[0], 30.0, 1e-12);
    (void)heading_after(at(295.0, 0.0));
    cr_assert_float_eq(control.tilt_deg[0], 7.5, 1e-12);
    (void)heading_after(at(300.0, 0.0));
    cr_assert_float_eq(control.tilt_deg[0], 0.0, 1e-12);
    nrw_control_enter(&control, 0, 9.0);
    cr_assert_float_eq(control.tilt_deg[0], 30.0, 1e-12); /* until it is seen again */
}

Test(control, both_drives_of_an_alternation_steer_for_themselves)
{
    nrw_drive *drive = &legs[0].drive;
    drive->alternate_share = 0.5;
    drive->alternate_period_s = 1.0;
    drive->other = drive->main;
    drive->main.heading_kind = NRW_HEADING_NODE;
    drive->main.heading_node = B;
    drive->other.heading_kind = NRW_HEADING_NODE;
    drive->other.heading_node = C;
    drive->other.tilt_deg = 90.0;
    (void)heading_after(at(100.0, 0.0));
    cr_assert_float_eq(control.heading_rad[0], 0.0, 1e-12);
    cr_assert_float_eq(control.heading_rad[1], atan2(300.0, 200.0), 1e-12);
    cr_assert_eq(control.tilt_deg[1], 90.0);
}

Test(control, out_of_sight_the_last_heading_is_kept)
{
    legs[0].drive.main.heading_kind = NRW_HEADING_NODE;
    legs[0].drive.main.heading_node = B;
    const double before = heading_after(at(50.0, 20.0));
    nrw_observation hidden = at(200.0, -30.0);
    hidden.seen.visible = false;
    nrw_control_observe(&control, 0.2, &hidden);
    cr_assert_eq(control.heading_rad[0], before);
}
