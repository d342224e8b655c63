#include "schedule_file.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "drive_key.h"
#include "input_case.h"
#include "random.h"

/* A schedule of one leg on line 3 (drive in line 4), for cases of its drive. */
#define HEAD "format: narrows-schedule/1\nlegs:\n- name: a\n"
static const char ONE_LEG[] = HEAD "  drive: {mode: rotating, field_mT: 10, frequency_Hz: 50}\n";

static void expect_cases(const char *good, const input_case *cases, size_t n)
{
    nrw_scenario *scenario = input_scenario(INPUT_EXAMPLE_SCENARIO);
    nrw_schedule schedule;
    cr_assert_eq(nrw_schedule_parse(good, strlen(good), "good.yaml", scenario, &schedule, NULL),
                 NRW_OK, "not good: %s", good);
    nrw_schedule_clear(&schedule);
    for (size_t i = 0; i < n; i++) {
        char *text = input_replace(good, cases[i].old_text, cases[i].new_text);
        int line, column;
        nrw_errors errors;
        input_take_mark(text, &line, &column);
        nrw_errors_init(&errors);
        cr_expect_eq(
            nrw_schedule_parse(text, strlen(text), "case.yaml", scenario, &schedule, &errors),
            NRW_BAD_INPUT, "'%s' is taken", cases[i].new_text);
        cr_expect(schedule.n_legs == 0 && !schedule.legs);
        input_expect(&cases[i], &errors, line, column);
        nrw_errors_clear(&errors);
        free(text);
    }
    nrw_scenario_destroy(scenario);
}

#define CASES(good, ...)                                                                           \
    do {                                                                                           \
        static const input_case cases[] = {__VA_ARGS__};                                           \
        expect_cases(good, cases, sizeof cases / sizeof *cases);                                   \
    } while (0)

/* Parses a good schedule of the example's map. */
static nrw_schedule good_schedule(const char *text)
{
    nrw_scenario *scenario = input_scenario(INPUT_EXAMPLE_SCENARIO);
    nrw_schedule schedule;
    nrw_errors errors;
    char line[2048] = "";
    nrw_errors_init(&errors);
    nrw_status status =
        nrw_schedule_parse(text, strlen(text), "good.yaml", scenario, &schedule, &errors);
    if (errors.n_items > 0)
        nrw_error_format(&errors.items[0], line, sizeof line);
    cr_assert_eq(status, NRW_OK, "%s\n%s", line, text);
    nrw_errors_clear(&errors);
    nrw_scenario_destroy(scenario);
    return schedule;
}

static nrw_drive good_drive(const char *drive)
{
    char text[2048];
    (void)snprintf(text, sizeof text, HEAD "  drive: %s\n", drive);
    nrw_schedule schedule = good_schedule(text);
    nrw_drive copy = schedule.legs[0].drive;
    nrw_schedule_clear(&schedule);
    return copy;
}

/* --- good files -------------------------------------------------------------- */

Test(schedule_file, the_contracts_example_is_read_value_by_value)
{
    nrw_schedule s = good_schedule(INPUT_EXAMPLE_SCHEDULE);
    cr_assert_eq(s.n_legs, 3);
    const nrw_leg *gather = &s.legs[0], *squeeze = &s.legs[1], *home = &s.legs[2];
    cr_assert_str_eq(gather->name, "gather");
    cr_assert_eq(gather->drive.main.mode, NRW_DRIVE_ROTATING);
    cr_assert_eq(gather->drive.main.field_mT, 10.0);
    cr_assert_eq(gather->drive.main.frequency_Hz, 50.0);
    cr_assert_eq(gather->drive.main.heading_kind, NRW_HEADING_FIXED);
    cr_assert_eq(gather->drive.alternate_share, 0.0);
    cr_assert_eq(gather->until.present, (unsigned)NRW_UNTIL_CLUSTER_ABOVE);
    cr_assert_eq(gather->until.cluster_above, 0.9);
    cr_assert_eq(gather->timeout_s, 60.0);
    cr_assert_eq(gather->on_timeout_leg, -1);
    cr_assert_eq(gather->stall_leg, -1);
    cr_assert_eq(gather->max_visits, 3);
    cr_assert_eq(squeeze->drive.main.tilt_deg, 30.0);
    cr_assert_eq(squeeze->drive.main.heading_kind, NRW_HEADING_CENTRELINE);
    cr_assert_eq(squeeze->drive.main.wobble_deg, 30.0);
    cr_assert_eq(squeeze->drive.main.wobble_period_s, 3.0);
    cr_assert_eq(squeeze->until.tail_past.node, 2);
    cr_assert_str_eq(squeeze->until.tail_past.name, "mouth");
    cr_assert_eq(squeeze->until.tail_past.distance_um, 300.0);
    cr_assert_eq(home->drive.main.heading_kind, NRW_HEADING_NODE);
    cr_assert_eq(home->drive.main.heading_node, 3);
    cr_assert_str_eq(home->drive.main.heading_name, "end");
    cr_assert_eq(home->until.centroid_within.distance_um, 30.0);
    nrw_schedule_clear(&s);
}

Test(schedule_file, legs_may_name_later_legs_and_themselves)
{
    nrw_schedule s = good_schedule(
        "format: narrows-schedule/1\nlegs:\n"
        "- {name: a, drive: {mode: off}, timeout_s: 5, on_timeout: b, max_visits: 7,\n"
        "   on_stall: {after_s: 3, min_um: 2, leg: a}}\n"
        "- {name: b, drive: {mode: off}, until: {elapsed_s: 3, dwell_s: 1, spread_below_um: 9,\n"
        "   width_below_um: 8, aspect_above: 1, aspect_below: 2,\n"
        "   centroid_past: {node: end, beyond_um: -4}}}\n");
    cr_assert_eq(s.legs[0].on_timeout_leg, 1);
    cr_assert_eq(s.legs[0].stall_leg, 0);
    cr_assert_eq(s.legs[0].stall_after_s, 3.0);
    cr_assert_eq(s.legs[0].stall_min_um, 2.0);
    cr_assert_eq(s.legs[0].max_visits, 7);
    cr_assert(isinf(s.legs[1].timeout_s));
    const nrw_condition *until = &s.legs[1].until;
    cr_assert_eq(until->present, (unsigned)(NRW_UNTIL_ELAPSED | NRW_UNTIL_SPREAD_BELOW |
                                            NRW_UNTIL_WIDTH_BELOW | NRW_UNTIL_ASPECT_ABOVE |
                                            NRW_UNTIL_ASPECT_BELOW | NRW_UNTIL_CENTROID_PAST));
    cr_assert_eq(until->dwell_s, 1.0);
    cr_assert_eq(until->centroid_past.distance_um, -4.0);
    nrw_schedule_clear(&s);
}

Test(schedule_file, every_mode_has_its_keys)
{
    nrw_drive d = good_drive("{mode: rotating, tilt_deg: 5, sense: right, field_mT: 1, "
                             "frequency_Hz: 2, steer_by: rear, heading: end, ease_um: 10}");
    cr_assert(d.main.sense == NRW_SENSE_RIGHT && d.main.steer_by_rear);
    cr_assert_eq(d.main.ease_um, 10.0);
    d = good_drive("{mode: precessing, axis: vertical, cone_deg: 35, field_mT: 1, "
                   "frequency_Hz: 2, heading: 90, lookahead_um: 5}");
    cr_assert(d.main.mode == NRW_DRIVE_PRECESSING && d.main.axis == NRW_AXIS_VERTICAL);
    cr_assert_eq(d.main.heading_deg, 90.0);
    cr_assert_eq(d.main.lookahead_um, 5.0);
    d = good_drive("{mode: oscillating, bias_mT: -3, field_mT: 1, frequency_Hz: 2}");
    cr_assert_eq(d.main.bias_mT, -3.0);
    d = good_drive("{mode: steady, elevation_deg: -90, field_mT: 1}");
    cr_assert_eq(d.main.elevation_deg, -90.0);
    d = good_drive("{mode: off}");
    cr_assert_eq(d.main.mode, NRW_DRIVE_OFF);
    d = good_drive("{mode: general, steady_mT: [1, 2, 3], sin_mT: [0, 0, 4], frequency_Hz: 2}");
    cr_assert_eq(d.main.steady_mT.z, 3.0);
    cr_assert_eq(d.main.sin_mT.z, 4.0);
    cr_assert_eq(d.main.cos_mT.z, 0.0);
    d = good_drive("{mode: general, steady_mT: [1, 2, 3]}");
    cr_assert_eq(d.main.frequency_Hz, 0.0);
}

Test(schedule_file, an_alternate_drive_inherits_what_it_leaves_out)
{
    nrw_drive d = good_drive("{mode: rotating, tilt_deg: 26, sense: right, field_mT: 11, "
                             "frequency_Hz: 84, heading: centreline, lookahead_um: 52, "
                             "steer_by: rear, wobble: {deg: 33, period_s: 8}, "
                             "alternate: {share: 0.48, period_s: 0.7, drive: {tilt_deg: 58}}}");
    cr_assert_eq(d.alternate_share, 0.48);
    cr_assert_eq(d.alternate_period_s, 0.7);
    nrw_drive_setting wanted = d.main;
    wanted.tilt_deg = 58.0;
    cr_assert_eq(memcmp(&wanted, &d.other, sizeof wanted), 0);
}

Test(schedule_file, an_alternate_of_another_mode_inherits_only_what_that_mode_has)
{
    nrw_drive d = good_drive("{mode: rotating, tilt_deg: 26, sense: right, field_mT: 11, "
                             "frequency_Hz: 84, heading: end, wobble: {deg: 33, period_s: 8}, "
                             "alternate: {share: 0.5, period_s: 1, drive: {mode: steady}}}");
    nrw_drive_setting wanted = d.main;
    wanted.mode = NRW_DRIVE_STEADY;
    wanted.tilt_deg = 0.0;
    wanted.frequency_Hz = 0.0;
    wanted.sense = NRW_SENSE_LEFT;
    cr_assert_eq(memcmp(&wanted, &d.other, sizeof wanted), 0);
    /* and heading, which 'off' and 'general' have no use for, reaches the other */
    d = good_drive("{mode: general, cos_mT: [1, 0, 0], frequency_Hz: 3, heading: end, "
                   "alternate: {share: 0.5, period_s: 1, drive: {mode: rotating, field_mT: 4}}}");
    cr_assert_eq(d.other.heading_kind, NRW_HEADING_NODE);
    cr_assert_eq(d.other.frequency_Hz, 3.0);
    cr_assert_eq(d.other.cos_mT.x, 0.0);
}

Test(schedule_file, an_alternate_may_put_off_what_the_outer_drive_has)
{
    nrw_drive d = good_drive("{mode: rotating, field_mT: 1, frequency_Hz: 8, heading: end, "
                             "steer_by: rear, wobble: {deg: 33, period_s: 8}, alternate: {share: "
                             "0.5, period_s: 1, drive: {heading: 0, steer_by: centroid, wobble: "
                             "{deg: 0}}}}");
    cr_assert_eq(d.other.heading_kind, NRW_HEADING_FIXED);
    cr_assert_eq(d.other.heading_node, -1);
    cr_assert_str_eq(d.other.heading_name, "");
    cr_assert_eq(d.other.wobble_deg, 0.0);
    cr_assert_not(d.other.steer_by_rear);
}

Test(schedule_file, headings_in_quotes_are_names_and_plain_numbers_are_degrees)
{
    char *text = input_replace(INPUT_GATE, "    mouth: {at_um",
                               "    12: {at_um: [0, 9]}\n"
                               "    mouth: {at_um");
    nrw_scenario *scenario = input_scenario(text);
    static const char drives[] =
        "format: narrows-schedule/1\nlegs:\n"
        "- {name: a, drive: {mode: steady, field_mT: 1, heading: 12}}\n"
        "- {name: b, drive: {mode: steady, field_mT: 1, heading: \"12\"}}\n";
    nrw_schedule s;
    cr_assert_eq(nrw_schedule_parse(drives, strlen(drives), "x", scenario, &s, NULL), NRW_OK);
    cr_assert_eq(s.legs[0].drive.main.heading_kind, NRW_HEADING_FIXED);
    cr_assert_eq(s.legs[0].drive.main.heading_deg, 12.0);
    cr_assert_eq(s.legs[1].drive.main.heading_kind, NRW_HEADING_NODE);
    cr_assert_eq(s.legs[1].drive.main.heading_node, 1);
    char *written;
    cr_assert_eq(nrw_schedule_text(&s, &written, NULL), NRW_OK);
    cr_assert(strstr(written, "heading: \"12\""));
    free(written);
    nrw_schedule_clear(&s);
    nrw_scenario_destroy(scenario);
    free(text);
}

/* --- errors ------------------------------------------------------------------ */

Test(schedule_file, errors_of_a_schedule_and_its_legs_stand_at_their_place)
{
    CASES(
        INPUT_EXAMPLE_SCHEDULE,
        {"narrows-schedule/1", "^narrows-schedule/2", "format", "newer than this program",
         "narrows-schedule/1"},
        {"narrows-schedule/1", "^narrows-scenario/1", "format", "another kind of file",
         "narrows-schedule/1"},
        {"format: narrows-schedule/1\n", "^", "format", "is missing", "narrows-schedule/1"},
        {"legs:\n", "^title: x\nlegs:\n", "title", "unknown key", "one of: format, legs"},
        {"  - name: gather\n    drive", "  - ^drive", "legs[0].name", "is missing", "required"},
        {"name: squeeze", "name: ^gather", "legs[1].name", "is the name of legs[0] too",
         "another name"},
        {"name: squeeze", "name: ^''", "legs[1].name", "is an empty name", "1 to 63 bytes"},
        {"name: squeeze", "name:^", "legs[1].name", "is empty", "a name"},
        {"timeout_s: 60", "timeout_s: ^0", "legs[0].timeout_s", "out of range", "s above 0"},
        {"timeout_s: 60", "timeout_s: 60\n    on_timeout: ^sqeeze", "legs[0].on_timeout",
         "'sqeeze' is no leg", "did you mean 'squeeze'?"},
        {"timeout_s: 60", "^on_timeout: squeeze", "legs[0].on_timeout", "has no timeout",
         "timeout_s"},
        {"timeout_s: 60", "max_visits: ^0", "legs[0].max_visits", "out of range",
         "a whole number from 1"},
        {"timeout_s: 60", "max_visits: ^1.5", "legs[0].max_visits", "not a whole number", "whole"},
        {"timeout_s: 60", "^on_stall: {after_s: 3, min_um: 2}", "legs[0].on_stall.leg",
         "is missing", "required"},
        {"timeout_s: 60", "on_stall: {after_s: ^0, min_um: 2, leg: gather}",
         "legs[0].on_stall.after_s", "out of range", "s above 0"},
        {"timeout_s: 60", "on_stall: {after_s: 1, min_um: 2, leg: ^x}", "legs[0].on_stall.leg",
         "'x' is no leg", "one of: gather, squeeze, bring home"},
        {"timeout_s: 60", "^time_out_s: 60", "legs[0].time_out_s", "unknown key",
         "did you mean 'timeout_s'?"});
    CASES(ONE_LEG,
          {"legs:\n- name: a\n  drive: {mode: rotating, field_mT: 10, frequency_Hz: 50}\n",
           "legs: ^[]\n", "legs", "is a list of 0", "1 to 10,000"},
          {"legs:\n- name: a\n  drive: {mode: rotating, field_mT: 10, frequency_Hz: 50}\n",
           "legs: ^a\n", "legs", "is 'a'", "a list of legs"},
          {"- name: a\n  drive: {mode: rotating, field_mT: 10, frequency_Hz: 50}", "- ^3",
           "legs[0]", "is '3'", "a mapping"});
}

Test(schedule_file, errors_of_conditions_stand_at_their_place)
{
#define OLD "{cluster_above: 0.9}"
    CASES(
        INPUT_EXAMPLE_SCHEDULE,
        {OLD, "{cluster_above: ^1}", "legs[0].until.cluster_above", "out of range",
         "from 0 to below 1"},
        {OLD, "{^cluster: 0.9, elapsed_s: 1}", "legs[0].until.cluster", "unknown key",
         "did you mean"},
        {OLD, "{spread_below_um: ^0}", "legs[0].until.spread_below_um", "out of range",
         "µm above 0"},
        {OLD, "{aspect_below: ^1}", "legs[0].until.aspect_below", "out of range", "above 1"},
        {OLD, "{aspect_above: ^3, aspect_below: 2}", "legs[0].until.aspect_above",
         "can't hold together", "less than aspect_below"},
        {OLD, "{elapsed_s: ^-1}", "legs[0].until.elapsed_s", "out of range", "s above 0"},
        {OLD, "{elapsed_s: 1, dwell_s: ^-1}", "legs[0].until.dwell_s", "out of range", "s from 0"},
        {OLD, "{tail_past: {node: ^moth, beyond_um: 1}}", "legs[0].until.tail_past.node",
         "'moth' is no node", "did you mean 'mouth'?"},
        {OLD, "{^tail_past: {node: mouth}}", "legs[0].until.tail_past.beyond_um", "is missing",
         "µm"},
        {OLD, "{tail_past: {node: mouth, ^distance_um: 1, beyond_um: 1}}",
         "legs[0].until.tail_past.distance_um", "unknown key", "node, beyond_um"},
        {OLD, "{centroid_within: {node: end, distance_um: ^0}}",
         "legs[0].until.centroid_within.distance_um", "out of range", "µm above 0"},
        {OLD, "{centroid_past: ^end}", "legs[0].until.centroid_past", "is 'end'", "a mapping"},
        {OLD, "^soon", "legs[0].until", "is 'soon'", "a mapping"});
    static const input_case empty[] = {{"    until: {cluster_above: 0.9}", "    ^until: {}",
                                        "legs[0].until", "holds no condition", "at least one"},
                                       {"    until: {cluster_above: 0.9}",
                                        "    ^until: {dwell_s: 3}", "legs[0].until",
                                        "holds no condition", "at least one"}};
    expect_cases(INPUT_EXAMPLE_SCHEDULE, empty, 2);
#undef OLD
}

Test(schedule_file, errors_of_drives_stand_at_their_place)
{
#define OLD "{mode: rotating, field_mT: 10, frequency_Hz: 50}"
#define ROLL "mode: rotating, field_mT: 1, frequency_Hz: 2"
    CASES(
        ONE_LEG, {OLD, "{mode: ^rotate}", "legs[0].drive.mode", "is 'rotate'", "'rotating'"},
        {OLD, "{" ROLL ", ^tilt: 3}", "legs[0].drive.tilt", "unknown key",
         "did you mean 'tilt_deg'?"},
        {OLD, "{" ROLL ", tilt_deg: ^90.1}", "legs[0].drive.tilt_deg", "out of range",
         "degrees from 0 to 90"},
        {OLD, "{" ROLL ", ^cone_deg: 3}", "legs[0].drive.cone_deg", "is no key of mode 'rotating'",
         "one of: mode, tilt_deg"},
        {OLD, "{mode: oscillating, field_mT: 1, frequency_Hz: 2, ^tilt_deg: 3}",
         "legs[0].drive.tilt_deg", "is no key of mode 'oscillating'", "bias_mT"},
        {OLD, "{mode: off, ^field_mT: 3}", "legs[0].drive.field_mT", "is no key of mode 'off'",
         "one of: mode, heading"},
        {OLD, "{" ROLL ", tilt_deg: 90, ^sense: left}", "legs[0].drive.sense",
         "means nothing at a tilt of 90", "leave it out"},
        {OLD, "{" ROLL ", sense: ^up}", "legs[0].drive.sense", "is 'up'", "left, right"},
        {OLD, "{mode: precessing, axis: ^x, cone_deg: 1, field_mT: 1, frequency_Hz: 2}",
         "legs[0].drive.axis", "is 'x'", "along, across, vertical"},
        {OLD, "{mode: precessing, axis: along, cone_deg: ^91, field_mT: 1, frequency_Hz: 2}",
         "legs[0].drive.cone_deg", "out of range", "from 0 to 90"},
        {OLD, "{mode: steady, field_mT: 1, elevation_deg: ^-91}", "legs[0].drive.elevation_deg",
         "out of range", "from -90 to 90"},
        {OLD, "{mode: rotating, field_mT: ^-1, frequency_Hz: 2}", "legs[0].drive.field_mT",
         "out of range", "mT from 0"},
        {OLD, "{mode: rotating, field_mT: 1, frequency_Hz: ^0}", "legs[0].drive.frequency_Hz",
         "out of range", "Hz above 0"},
        {OLD, "{mode: general, cos_mT: ^[1, 2], frequency_Hz: 1}", "legs[0].drive.cos_mT",
         "is a list of 2", "[x, y, z] in mT"},
        {OLD, "{mode: general, cos_mT: [1, 2, ^x], frequency_Hz: 1}", "legs[0].drive.cos_mT[2]",
         "'x' is no number", "a number in mT"},
        {OLD, "{mode: general, cos_mT: [1, 2, 3], frequency_Hz: 1, ^heading: 3}",
         "legs[0].drive.heading", "is no key of mode 'general'", "map's frame"},
        {OLD, "{" ROLL ", heading: ^nd}", "legs[0].drive.heading", "'nd' is no node",
         "did you mean 'end'?"},
        {OLD, "{" ROLL ", heading: ^1e9}", "legs[0].drive.heading", "out of range", "3600"},
        {OLD, "{" ROLL ", heading: ^.nan}", "legs[0].drive.heading", "not a finite number", ""},
        {OLD, "{" ROLL ", heading: ^[1]}", "legs[0].drive.heading", "is no heading", "centreline"},
        {OLD, "{" ROLL ", steer_by: ^front}", "legs[0].drive.steer_by", "is 'front'",
         "centroid, rear"},
        {OLD, "{" ROLL ", ^wobble: {deg: 3}}", "legs[0].drive.wobble.period_s", "is missing",
         "above 0"},
        {OLD, "{" ROLL ", wobble: {deg: 3, period_s: ^0}}", "legs[0].drive.wobble.period_s",
         "period 0", "above 0"},
        {OLD, "{" ROLL ", wobble: {deg: ^181, period_s: 1}}", "legs[0].drive.wobble.deg",
         "out of range", "degrees from 0 to 180"},
        {OLD, "^rotating", "legs[0].drive", "is 'rotating'", "a mapping"});
    static const input_case missing[] = {
        {"  drive: " OLD, "  ^drive: {field_mT: 10, frequency_Hz: 50}", "legs[0].drive.mode",
         "is missing", "rotating, precessing"},
        {"  drive: " OLD, "  ^drive: {mode: rotating, frequency_Hz: 50}", "legs[0].drive.field_mT",
         "is missing", "mode 'rotating' needs it"},
        {"  drive: " OLD, "  ^drive: {mode: precessing, cone_deg: 3, field_mT: 1, frequency_Hz: 5}",
         "legs[0].drive.axis", "is missing", "mode 'precessing' needs it"},
        {"  drive: " OLD, "  ^drive: {mode: general, frequency_Hz: 5}", "legs[0].drive",
         "has no field", "steady_mT, cos_mT or sin_mT"},
        {"  drive: " OLD, "  ^drive: {mode: general, sin_mT: [0, 1, 0]}",
         "legs[0].drive.frequency_Hz", "is missing", "needs it"},
    };
    expect_cases(ONE_LEG, missing, sizeof missing / sizeof *missing);
}

Test(schedule_file, drives_that_change_quicker_than_moments_follow_are_refused)
{
    /* the example's moments relax within 1e-5 s; ten times that is asked for */
    CASES(ONE_LEG,
          {OLD, "{" ROLL ", wobble: {deg: 9, period_s: ^9e-5}}", "legs[0].drive.wobble.period_s",
           "9e-05 s is too quick for moments that take 1e-05 s", "ten times"},
          {OLD, "{" ROLL ", alternate: {share: 0.05, period_s: ^1e-3, drive: {tilt_deg: 3}}}",
           "legs[0].drive.alternate.period_s", "5e-05 s is too quick", "ten times"},
          {OLD,
           "{" ROLL ", alternate: {share: 0.5, period_s: 1, drive: {wobble: {deg: 9, "
           "period_s: ^9e-5}}}}",
           "legs[0].drive.alternate.drive.wobble.period_s", "9e-05 s is too quick", "ten times"});
    const nrw_drive drive =
        good_drive("{" ROLL ", wobble: {deg: 9, period_s: 1.1e-4}, alternate: {share: 0.2, "
                   "period_s: 1e-3, drive: {tilt_deg: 3}}}");
    cr_assert_eq(drive.alternate_period_s, 1e-3);
}

Test(schedule_file, errors_of_alternates_stand_at_their_place)
{
    CASES(ONE_LEG,
          {OLD, "{" ROLL ", alternate: {share: ^1, period_s: 1, drive: {}}}",
           "legs[0].drive.alternate.share", "out of range", "above 0 to below 1"},
          {OLD, "{" ROLL ", alternate: {share: ^0, period_s: 1, drive: {}}}",
           "legs[0].drive.alternate.share", "out of range", "above 0 to below 1"},
          {OLD, "{" ROLL ", alternate: {share: 0.5, period_s: ^0, drive: {}}}",
           "legs[0].drive.alternate.period_s", "out of range", "from 0.001"},
          {OLD, "{" ROLL ", alternate: {share: 0.5, period_s: ^1e-6, drive: {}}}",
           "legs[0].drive.alternate.period_s", "out of range", "from 0.001"},
          {OLD, "{" ROLL ", ^alternate: {share: 0.5, period_s: 1}}",
           "legs[0].drive.alternate.drive", "is missing", "required"},
          {OLD, "{" ROLL ", alternate: {share: 0.5, period_s: 1, drive: {^bias_mT: 1}}}",
           "legs[0].drive.alternate.drive.bias_mT", "is no key of mode 'rotating'", "tilt_deg"},
          {OLD,
           "{" ROLL ", alternate: {share: 0.5, period_s: 1, drive: {mode: off, ^field_mT: 1}}}",
           "legs[0].drive.alternate.drive.field_mT", "is no key of mode 'off'", "one of"},
          {OLD,
           "{mode: steady, field_mT: 1, alternate: {share: 0.5, period_s: 1, ^drive: "
           "{mode: rotating}}}",
           "legs[0].drive.alternate.drive.frequency_Hz", "is missing", "needs it"},
          {OLD,
           "{" ROLL ", tilt_deg: 90, alternate: {share: 0.5, period_s: 1, drive: {^sense: "
           "left}}}",
           "legs[0].drive.alternate.drive.sense", "means nothing", "leave it out"},
          {OLD,
           "{" ROLL ", alternate: {share: 0.5, period_s: 1, drive: {tilt_deg: 3, "
           "^alternate: {share: 0.5, period_s: 1, drive: {}}}}}",
           "legs[0].drive.alternate.drive.alternate", "inside an alternate", "two drives"});
#undef OLD
#undef ROLL
}

Test(schedule_file, all_errors_come_at_once_in_the_files_order)
{
    static const char text[] = "format: narrows-schedule/1\n"
                               "legs:\n"
                               "- name: a\n"
                               "  drive: {mode: rotating, field_mT: x, heading: nowhere}\n"
                               "  until: {elapsed_s: 0}\n"
                               "- {name: a, drive: {mode: off}, extra: 1}\n";
    static const struct {
        int line, column;
    } places[] = {{4, 3}, {4, 37}, {4, 49}, {5, 22}, {6, 10}, {6, 33}};
    nrw_scenario *scenario = input_scenario(INPUT_EXAMPLE_SCENARIO);
    nrw_schedule schedule;
    nrw_errors errors;
    nrw_errors_init(&errors);
    cr_assert_eq(nrw_schedule_parse(text, strlen(text), "x", scenario, &schedule, &errors),
                 NRW_BAD_INPUT);
    cr_assert_eq(errors.n_items, sizeof places / sizeof *places);
    for (size_t i = 0; i < errors.n_items; i++) {
        cr_expect_eq(errors.items[i].line, places[i].line);
        cr_expect_eq(errors.items[i].column, places[i].column, "%s at column %d",
                     errors.items[i].key, errors.items[i].column);
    }
    nrw_errors_clear(&errors);
    nrw_scenario_destroy(scenario);
}

/* --- writing ----------------------------------------------------------------- */

static bool same_schedule(const nrw_schedule *a, const nrw_schedule *b)
{
    /* every byte of a leg is set by the reader, padding by the defaults' memset */
    return a->n_legs == b->n_legs && memcmp(a->legs, b->legs, a->n_legs * sizeof *a->legs) == 0;
}

/* Reads, writes and reads again; the two readings agree to the last byte. */
static void expect_round_trip(const nrw_scenario *scenario, const char *text)
{
    nrw_schedule first, second;
    char *written;
    cr_assert_eq(nrw_schedule_parse(text, strlen(text), "x", scenario, &first, NULL), NRW_OK,
                 "not good: %s", text);
    cr_assert_eq(nrw_schedule_text(&first, &written, NULL), NRW_OK);
    cr_assert_eq(nrw_schedule_parse(written, strlen(written), "x", scenario, &second, NULL), NRW_OK,
                 "can't be read again:\n%s", written);
    cr_assert(same_schedule(&first, &second), "%s\nis written as\n%s", text, written);
    free(written);
    nrw_schedule_clear(&first);
    nrw_schedule_clear(&second);
}

Test(schedule_file, the_example_is_written_in_the_contracts_words)
{
    nrw_schedule s = good_schedule(INPUT_EXAMPLE_SCHEDULE);
    char *text;
    cr_assert_eq(nrw_schedule_text(&s, &text, NULL), NRW_OK);
    cr_assert_str_eq(
        text, "format: narrows-schedule/1\n"
              "legs:\n"
              "- name: gather\n"
              "  drive: {mode: rotating, field_mT: 10, frequency_Hz: 50}\n"
              "  until: {cluster_above: 0.9}\n"
              "  timeout_s: 60\n"
              "- name: squeeze\n"
              "  drive: {mode: rotating, tilt_deg: 30, field_mT: 10, frequency_Hz: 50, heading: "
              "centreline, wobble: {deg: 30, period_s: 3}}\n"
              "  until: {tail_past: {node: mouth, beyond_um: 300}}\n"
              "  timeout_s: 120\n"
              "- name: bring home\n"
              "  drive: {mode: rotating, tilt_deg: 8, field_mT: 10, frequency_Hz: 50, heading: "
              "end}\n"
              "  until: {centroid_within: {node: end, distance_um: 30}}\n"
              "  timeout_s: 100\n");
    free(text);
    nrw_schedule_clear(&s);
}

/* Pseudo-random choices, the same every time. */
typedef struct dice {
    uint32_t index;
} dice;

static double roll(dice *d, double low, double high)
{
    return low + (high - low) * nrw_uniform(7, NRW_STREAM_SEARCH, d->index++, 0);
}

static bool toss(dice *d)
{
    return roll(d, 0.0, 1.0) < 0.5;
}

static void put(char *text, const char *format, double value)
{
    size_t used = strlen(text);
    (void)snprintf(text + used, 8192 - used, format, value);
}

static void put_heading(char *text, dice *d)
{
    static const char *const headings[] = {"", ", heading: end", ", heading: centreline"};
    int choice = (int)roll(d, 0.0, 4.0);
    put(text, choice < 3 ? headings[choice] : ", heading: %.17g", roll(d, -400.0, 400.0));
    if (toss(d))
        put(text, ", lookahead_um: %.17g", roll(d, 0.0, 99.0));
    if (toss(d))
        put(text, ", ease_um: %.17g", roll(d, 0.0, 99.0));
    put(text, toss(d) ? ", steer_by: rear" : toss(d) ? ", steer_by: centroid" : "", 0.0);
    if (toss(d)) {
        put(text, ", wobble: {deg: %.17g", toss(d) ? roll(d, 0.0, 180.0) : 0.0);
        put(text, ", period_s: %.17g}", roll(d, 1e-3, 99.0));
    }
}

/* The keys of a mode in [0, 6), without braces. */
static void put_setting(char *text, dice *d, int mode, bool alternates)
{
    static const char *const heads[] = {"mode: rotating",    "mode: precessing, axis: across",
                                        "mode: oscillating", "mode: steady",
                                        "mode: off",         "mode: general"};
    put(text, heads[mode], 0.0);
    if (mode < 4)
        put(text, ", field_mT: %.17g", roll(d, 0.0, 20.0));
    if (mode < 3)
        put(text, ", frequency_Hz: %.17g", roll(d, 1e-3, 200.0));
    if (mode == 0 && toss(d))
        put(text, ", tilt_deg: %.17g, sense: right", roll(d, 0.0, 89.0));
    else if (mode == 0)
        put(text, ", tilt_deg: 90", 0.0);
    if (mode == 1)
        put(text, ", cone_deg: %.17g", roll(d, 0.0, 90.0));
    if (mode == 2 && toss(d))
        put(text, ", bias_mT: %.17g", roll(d, -5.0, 5.0));
    if (mode == 3 && toss(d))
        put(text, ", elevation_deg: %.17g", roll(d, -90.0, 90.0));
    if (mode == 5) {
        put(text, ", steady_mT: [%.17g, 0, 1]", roll(d, -5.0, 5.0));
        put(text, ", sin_mT: [0, %.17g, 1e-300]", roll(d, -5.0, 5.0));
        put(text, ", frequency_Hz: %.17g", roll(d, 1e-3, 200.0));
    }
    if (mode != 5 || alternates)
        put_heading(text, d);
}

static void put_leg(char *text, dice *d)
{
    bool alternates = toss(d);
    put(text, ", drive: {", 0.0);
    put_setting(text, d, (int)roll(d, 0.0, 6.0), alternates);
    if (alternates) {
        put(text, ", alternate: {share: %.17g", roll(d, 1e-6, 0.999));
        put(text, ", period_s: %.17g, drive: {", roll(d, 1e-3, 9.0));
        put_setting(text, d, (int)roll(d, 0.0, 6.0), false);
        put(text, "}}", 0.0);
    }
    put(text, "}", 0.0);
    if (toss(d)) {
        put(text, ", until: {elapsed_s: %.17g", roll(d, 1e-3, 99.0));
        if (toss(d))
            put(text, ", tail_past: {node: mouth, beyond_um: %.17g}", roll(d, -99.0, 99.0));
        if (toss(d))
            put(text, ", dwell_s: %.17g", roll(d, 0.0, 9.0));
        put(text, "}", 0.0);
    }
    if (toss(d))
        put(text, ", timeout_s: %.17g, on_timeout: \"null\"", roll(d, 1e-3, 99.0));
    if (toss(d))
        put(text, ", on_stall: {after_s: %.17g, min_um: 0.1, leg: 'it''s: \"1\"'}",
            roll(d, 1e-3, 99.0));
    if (toss(d))
        put(text, ", max_visits: 12", 0.0);
    put(text, "}\n", 0.0);
}

Test(schedule_file, what_is_written_reads_back_to_the_last_bit)
{
    nrw_scenario *scenario = input_scenario(INPUT_EXAMPLE_SCENARIO);
    dice d = {0};
    expect_round_trip(scenario, INPUT_EXAMPLE_SCHEDULE);
    for (int i = 0; i < 400; i++) {
        char text[8192] = "format: narrows-schedule/1\nlegs:\n- {name: 'null'";
        put_leg(text, &d);
        put(text, "- {name: 'it''s: \"1\"'", 0.0);
        put_leg(text, &d);
        put(text, "- {name: ' Zug ä 3 '", 0.0);
        put_leg(text, &d);
        expect_round_trip(scenario, text);
    }
    nrw_scenario_destroy(scenario);
}

Test(schedule_file, a_stream_gets_the_same_text)
{
    nrw_schedule s = good_schedule(INPUT_EXAMPLE_SCHEDULE);
    char *text, streamed[4096] = "";
    FILE *stream = tmpfile();
    cr_assert_not_null(stream);
    cr_assert_eq(nrw_schedule_text(&s, &text, NULL), NRW_OK);
    cr_assert_eq(nrw_schedule_write(&s, stream, NULL), NRW_OK);
    rewind(stream);
    cr_assert_eq(fread(streamed, 1, sizeof streamed - 1, stream), strlen(text));
    cr_assert_str_eq(streamed, text);
    (void)fclose(stream);
    stream = fopen("/dev/full", "w");
    if (stream) {
        cr_assert_eq(nrw_schedule_write(&s, stream, NULL), NRW_IO_FAILED);
        (void)fclose(stream);
    }
    free(text);
    nrw_schedule_clear(&s);
}

/* --- keys that a sweep varies ------------------------------------------------ */

Test(drive_key, a_swept_key_changes_the_drive_and_the_alternate_that_leaves_it_out)
{
    nrw_drive d = good_drive("{mode: rotating, tilt_deg: 26, field_mT: 11, frequency_Hz: 84, "
                             "heading: end, alternate: {share: 0.4, period_s: 1, drive: "
                             "{tilt_deg: 58}}}");
    cr_assert(nrw_drive_set_key(&d, "tilt_deg", 30.0));
    cr_assert(d.main.tilt_deg == 30.0 && d.other.tilt_deg == 58.0);
    cr_assert(nrw_drive_set_key(&d, "field_mT", 5.0));
    cr_assert(d.main.field_mT == 5.0 && d.other.field_mT == 5.0);
    cr_assert(nrw_drive_set_key(&d, "alternate.drive.tilt_deg", 70.0));
    cr_assert(d.main.tilt_deg == 30.0 && d.other.tilt_deg == 70.0);
    cr_assert(nrw_drive_set_key(&d, "alternate.share", 0.2) && d.alternate_share == 0.2);
    cr_assert(nrw_drive_set_key(&d, "wobble.deg", 9.0) && d.other.wobble_deg == 9.0);
    cr_assert(nrw_drive_set_key(&d, "heading", 45.0));
    cr_assert(d.main.heading_kind == NRW_HEADING_FIXED && d.other.heading_deg == 45.0);
    cr_assert_eq(d.main.heading_node, -1);
}

Test(drive_key, other_keys_are_refused_and_change_nothing)
{
    static const char *const keys[] = {"cone_deg",        "sense",  "cos_mT",
                                       "alternate.share", "tilt",   "alternate.drive.tilt_deg",
                                       "alternate",       "wobble", ""};
    nrw_drive d = good_drive("{mode: rotating, field_mT: 11, frequency_Hz: 84}"), before = d;
    for (size_t i = 0; i < sizeof keys / sizeof *keys; i++)
        cr_expect_not(nrw_drive_set_key(&d, keys[i], 1.0), "'%s' is taken", keys[i]);
    cr_assert_eq(memcmp(&d, &before, sizeof d), 0);
}
