/* What scenario files get wrong: each error at its place, with what is expected there. */
#include "scenario.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "input_case.h"

#define CASES(good, ...)                                                                           \
    do {                                                                                           \
        static const input_case cases[] = {__VA_ARGS__};                                           \
        input_expect_scenario_cases(good, cases, sizeof cases / sizeof *cases);                    \
    } while (0)

/* --- errors, each at its place ----------------------------------------------- */

Test(scenario_refused, formats_other_than_its_own_are_refused_by_name)
{
    CASES(INPUT_GATE,
          {"format: narrows-scenario/1", "format: ^narrows-scenario/2", "format",
           "newer than this program", "narrows-scenario/1"},
          {"format: narrows-scenario/1", "format: ^narrows-scenario/1.1", "format", "newer", "/1"},
          {"format: narrows-scenario/1", "format: ^narrows-schedule/1", "format",
           "another kind of file", "narrows-scenario/1"},
          {"format: narrows-scenario/1", "format: ^narrows", "format", "unknown format", "/1"},
          {"format: narrows-scenario/1", "format: ^narrows-scenario/0", "format", "unknown", "/1"},
          {"format: narrows-scenario/1", "format: ^1", "format", "unknown format", "/1"},
          {"format: narrows-scenario/1\n", "^", "format", "is missing", "narrows-scenario/1"});
}

Test(scenario_refused, missing_keys_are_reported_where_they_should_stand)
{
    static const input_case cases[] = {
        {"format: narrows-scenario/1\ntitle: Gate\nfluid: {medium: water, temperature_C: 25}\n",
         "^format: narrows-scenario/1\ntitle: Gate\n", "fluid", "is missing", "required"},
        {"fluid: {medium: water, temperature_C: 25}", "^fluid: {medium: water}",
         "fluid.temperature_C", "is missing", "a number in °C from 0 to 100"},
        {"fluid: {medium: water, temperature_C: 25}", "^fluid: {temperature_C: 25}", "fluid.medium",
         "is missing", "water"},
        {"fluid: {medium: water, temperature_C: 25}",
         "^fluid: {viscosity_mPa_s: 1, temperature_C: 25}", "fluid.density_kg_m3", "is missing",
         "kg/m³"},
        {"particles:\n  count: 150\n", "^particles:\n", "particles.count", "is missing",
         "positions_um"},
        {"particles:\n  count: 150\n  diameter_um: 3.0\n", "^particles:\n  count: 150\n",
         "particles.diameter_um", "is missing", "µm"},
        {"magnetics: {kind: induced, susceptibility: 0.3}", "^magnetics: {kind: induced}",
         "particles.magnetics.susceptibility", "is missing", "a number above 0"},
        {"magnetics: {kind: induced, susceptibility: 0.3}", "^magnetics: {kind: permanent}",
         "particles.magnetics.moment_fAm2", "is missing", "fA·m²"},
        {"magnetics: {kind: induced, susceptibility: 0.3}", "^magnetics: {susceptibility: 0.3}",
         "particles.magnetics.kind", "is missing", "required"},
        {"channel:\n  depth_um: 60\n", "^channel:\n", "channel.depth_um", "is missing",
         "open: true"},
        {"    inlet: {at_um: [-200, 0]}", "    ^inlet: {}", "channel.nodes.inlet.at_um",
         "is missing", "required"},
        {"- {from: inlet, to: mouth, width_um: 220}", "- ^{from: inlet, to: mouth}",
         "channel.vessels[0].width_um", "is missing", "required"},
        {"target: {node: end, radius_um: 90}", "^target: {node: end}", "target.radius_um",
         "is missing", "above 0"},
        {"target: {node: end, radius_um: 90}", "^target: {radius_um: 90}", "target.node",
         "is missing", "at_um"},
    };
    input_expect_scenario_cases(INPUT_GATE, cases, sizeof cases / sizeof *cases);
}

Test(scenario_refused, a_missing_block_is_reported_at_the_beginning_of_the_file)
{
    static const char *const blocks[] = {"target: {node: end, radius_um: 90}\n",
                                         "release: {node: inlet, radius_um: 34}\n",
                                         "deadline_s: 300\n"};
    static const char *const keys[] = {"target", "release", "deadline_s"};
    for (int i = 0; i < 3; i++) {
        input_case expected = {"", "", keys[i], "is missing", ""};
        nrw_errors errors;
        nrw_scenario *scenario;
        char *text = input_replace(INPUT_GATE, blocks[i], "");
        nrw_errors_init(&errors);
        cr_assert(nrw_scenario_parse(text, strlen(text), "x", &scenario, &errors) == NRW_BAD_INPUT);
        input_expect(&expected, &errors, 1, 1);
        nrw_errors_clear(&errors);
        free(text);
    }
}

Test(scenario_refused, unknown_keys_come_with_the_key_that_was_meant)
{
    CASES(INPUT_GATE,
          {"  diameter_um: 3.0\n", "  diameter_um: 3.0\n  ^diametr_cv: 0\n", "particles.diametr_cv",
           "unknown key", "did you mean 'diameter_cv'?"},
          {"  density_kg_m3: 1800\n", "  density_kg_m3: 1800\n  ^diameter_nm: 3000\n",
           "particles.diameter_nm", "unknown key", "did you mean 'diameter_um'?"},
          {"deadline_s: 300", "deadline_s: 300\n^deadline_min: 5", "deadline_min", "unknown key",
           "did you mean 'deadline_s'?"},
          {"deadline_s: 300", "deadline_s: 300\n^Goal: {}", "Goal", "unknown key", "'goal'"},
          {"deadline_s: 300", "deadline_s: 300\n^extra: 1", "extra", "unknown key",
           "one of: format, title"},
          {"susceptibility: 0.3", "susceptibility: 0.3, ^moment_fAm2: 3",
           "particles.magnetics.moment_fAm2", "belongs to kind 'permanent'", "leave it out"},
          {"medium: water,", "medium: water, ^viscosity_mPa_s: 1,", "fluid.viscosity_mPa_s",
           "belongs to medium 'custom'", "leave it out"},
          {"{medium: water,", "{^<<: {medium: water}, medium: water,", "fluid.\"<<\"",
           "unknown key", "written out"},
          {"{at_um: [400, 0]}", "{at_um: [400, 0], ^x: 1}", "channel.nodes.mouth.x", "unknown key",
           "at_um"},
          {"to: mouth, width_um", "to: mouth, ^tow: 1, width_um", "channel.vessels[0].tow",
           "unknown key", "did you mean 'to'?"});
}

Test(scenario_refused, duplicate_keys_are_errors_at_the_second)
{
    CASES(INPUT_GATE,
          {"title: Gate", "title: Gate\n^title: Gate", "title", "first in line 2", "once"},
          {"    mouth: {at_um", "    ^inlet: {at_um: [0, 0]}\n    mouth: {at_um",
           "channel.nodes.inlet", "given again (first in line 12)", "once"},
          {"radius_um: 34}", "radius_um: 34, ^radius_um: 35}", "release.radius_um", "given again",
           "once"});
}

Test(scenario_refused, numbers_out_of_range_say_what_is_allowed)
{
    CASES(
        INPUT_GATE,
        {"count: 150", "count: ^0", "particles.count", "0 is out of range",
         "a whole number from 1 to 10000000"},
        {"count: 150", "count: ^10_000_001", "particles.count", "out of range", "10000000"},
        {"count: 150", "count: ^2.5", "particles.count", "not a whole number", "whole"},
        {"diameter_um: 3.0", "diameter_um: ^0.049", "particles.diameter_um",
         "0.049 is out of range", "a number in µm from 0.05 to 1000"},
        {"diameter_um: 3.0", "diameter_um: 3\n  diameter_cv: ^2.01", "particles.diameter_cv",
         "out of range", "from 0 to 2"},
        {"density_kg_m3: 1800", "density_kg_m3: ^0", "particles.density_kg_m3", "out of range",
         "kg/m³ above 0"},
        {"susceptibility: 0.3", "susceptibility: ^-0.3", "particles.magnetics.susceptibility",
         "out of range", "above 0"},
        {"susceptibility: 0.3", "susceptibility: 1, saturation_kA_m: ^0",
         "particles.magnetics.saturation_kA_m", "out of range", "above 0"},
        {"susceptibility: 0.3", "susceptibility: 1, relaxation_time_s: ^-1e-9",
         "particles.magnetics.relaxation_time_s", "out of range", "from 0"},
        {"temperature_C: 25", "temperature_C: ^100.5", "fluid.temperature_C", "out of range",
         "from 0 to 100"},
        {"depth_um: 60", "depth_um: ^-1", "channel.depth_um", "out of range", "above 0"},
        {"[-200, 0]", "[^-2e7, 0]", "channel.nodes.inlet.at_um[0]", "out of range",
         "a number in µm from -10000000 to 10000000"},
        {"to: mouth, width_um: 220", "to: mouth, width_um: ^0", "channel.vessels[0].width_um",
         "out of range", "above 0"},
        {"[0.3, 16]", "[0.3, ^0]", "channel.vessels[1].width_um[1][1]", "out of range", "above 0"},
        {"[1, 220]", "[^1.01, 220]", "channel.vessels[1].width_um[2][0]", "out of range",
         "from 0 to 1"},
        {"radius_um: 34", "radius_um: ^0", "release.radius_um", "out of range", "above 0"},
        {"deadline_s: 300", "deadline_s: ^0", "deadline_s", "out of range",
         "a number in s above 0"});
}

Test(scenario_refused, optional_blocks_have_ranges_too)
{
#define LINE "deadline_s: 300\n"
    CASES(INPUT_GATE,
          {LINE, LINE "goal: {fraction_min: ^1.1}\n", "goal.fraction_min", "out of range",
           "from 0 to 1"},
          {LINE, LINE "goal: {hold_s: ^300}\n", "goal.hold_s", "no less than the deadline",
           "deadline_s"},
          {LINE, LINE "goal: {keep_visible: ^yes}\n", "goal.keep_visible", "is 'yes'",
           "true or false"},
          {LINE, LINE "goal: {no_go: [{at_um: [0, 0], radius_um: ^-1}]}\n",
           "goal.no_go[0].radius_um", "out of range", "above 0"},
          {LINE, LINE "rig: {field_max_mT: ^0, frequency_max_Hz: 100}\n", "rig.field_max_mT",
           "out of range", "mT above 0"},
          {LINE, LINE "^rig: {field_max_mT: 12}\n", "rig.frequency_max_Hz", "is missing", "Hz"},
          {LINE,
           LINE "rig: {field_max_mT: 12, frequency_max_Hz: 100, axes: {x: &c {mT_per_A: 1, "
                "resistance_ohm: 3, inductance_mH: 10, current_max_A: 8, voltage_max_V: 60}, y: "
                "*c, ^w: 1}}\n",
           "rig.axes.w", "unknown key", "one of: x, y, z"},
          {LINE,
           LINE "rig: {field_max_mT: 12, frequency_max_Hz: 100, axes: {x: {mT_per_A: ^0, "
                "resistance_ohm: 3, inductance_mH: 10, current_max_A: 8, voltage_max_V: 60}, y: "
                "{mT_per_A: 1, resistance_ohm: 3, inductance_mH: 10, current_max_A: 8, "
                "voltage_max_V: 60}}}\n",
           "rig.axes.x.mT_per_A", "without field", "than 0"},
          {LINE, LINE "imaging: {frame_rate_Hz: ^0}\n", "imaging.frame_rate_Hz", "out of range",
           "Hz above 0"},
          {LINE, LINE "uncertainty: {moment_cv: ^-0.1}\n", "uncertainty.moment_cv", "out of range",
           "from 0 to 2"},
          {LINE, LINE "model: {rolling_factor: ^-1}\n", "model.rolling_factor", "out of range",
           "from 0"},
          {LINE, LINE "model: {contact_stiffness_pN_um: ^19}\n", "model.contact_stiffness_pN_um",
           "out of range", "pN/µm from 20 to 1000"},
          {LINE, LINE "model: {contact_brake_factor: ^-1}\n", "model.contact_brake_factor",
           "out of range", "from 0"},
          {LINE, LINE "model: {wall_screening: ^no way}\n", "model.wall_screening", "is 'no way'",
           "true or false"},
          {LINE, LINE "model: {wall_drag: ^0.5}\n", "model.wall_drag", "is '0.5'", "true or false"},
          {LINE, LINE "model: {contact_sliding: ^2}\n", "model.contact_sliding", "is '2'",
           "true or false"},
          {LINE, LINE "model: {brownian: ^1}\n", "model.brownian", "is '1'", "true or false"},
          {LINE, LINE "goal:^\n", "goal", "is empty", "a mapping of keys"});
#undef LINE
}

Test(scenario_refused, values_of_the_wrong_type_say_what_they_are)
{
    CASES(
        INPUT_GATE,
        {"diameter_um: 3.0", "diameter_um: ^3 um", "particles.diameter_um",
         "'3 um' is no number (the unit stands in the key)", "a number in µm"},
        {"diameter_um: 3.0", "diameter_um: ^\"3.0\"", "particles.diameter_um",
         "is text, as it stands in quotes", "a number"},
        {"diameter_um: 3.0", "diameter_um: ^[3]", "particles.diameter_um", "is a list", "a number"},
        {"diameter_um: 3.0", "diameter_um:^", "particles.diameter_um", "is empty", "a number"},
        {"diameter_um: 3.0", "diameter_um: ^.nan", "particles.diameter_um", "not a finite number",
         "a number"},
        {"diameter_um: 3.0", "diameter_um: ^-.inf", "particles.diameter_um", "not a finite number",
         "a number"},
        {"diameter_um: 3.0", "diameter_um: ^1e999", "particles.diameter_um", "overflows",
         "a number"},
        {"diameter_um: 3.0", "diameter_um: ^1e-999", "particles.diameter_um", "underflows",
         "a number"},
        {"diameter_um: 3.0", "diameter_um: ^010", "particles.diameter_um", "octal", "a number"},
        {"diameter_um: 3.0", "diameter_um: ^thick", "particles.diameter_um", "'thick' is no number",
         "a number"},
        {"title: Gate", "title: ^[a]", "title", "is a list", "text"},
        {"fluid: {medium: water, temperature_C: 25}", "fluid: ^water", "fluid", "is 'water'",
         "a mapping"},
        {"medium: water", "medium: ^watr", "fluid.medium", "is 'watr'", "did you mean 'water'?"},
        {"kind: induced", "kind: ^soft", "particles.magnetics.kind", "is 'soft'",
         "one of: permanent, induced"},
        {"[-200, 0]", "^[-200]", "channel.nodes.inlet.at_um", "is a list of 1", "[x, y]"},
        {"[-200, 0]", "^-200", "channel.nodes.inlet.at_um", "is '-200'", "[x, y] in µm"},
        {"[0.3, 16]", "^0.3", "channel.vessels[1].width_um[1]", "is '0.3'", "[fraction"},
        {"[0.3, 16]", "^[0.3]", "channel.vessels[1].width_um[1]", "is a list of 1", "[fraction"},
        {"to: mouth, width_um: 220", "to: mouth, width_um: ^[]", "channel.vessels[0].width_um",
         "gives no width", "a width"});
}

Test(scenario_refused, blocks_that_are_not_built_yet_are_said_to_be)
{
    CASES(INPUT_GATE,
          {"  count: 150\n", "  count: 150\n  adhesion: {rate_per_s: ^-0.1}\n",
           "particles.adhesion.rate_per_s", "out of range", "from 0"},
          {"  count: 150\n", "  count: 150\n  adhesion: {release_pN: ^-1}\n",
           "particles.adhesion.release_pN", "out of range", "pN from 0"});
}

Test(scenario_refused, mutual_induction_is_for_spheres_with_a_susceptibility_alone)
{
    char *on = input_replace(INPUT_GATE, "deadline_s: 300",
                             "deadline_s: 300\nmodel: {mutual_induction: true}");
    nrw_scenario *scenario = input_scenario(on);
    cr_assert(scenario->model.mutual_induction);
    nrw_scenario_destroy(scenario);
    free(on);
#define KIND "{kind: induced, susceptibility: 0.3}\nchannel:\n"
#define KEY "\nmodel: {mutual_induction: ^true}\nchannel:\n"
    CASES(INPUT_GATE,
          {KIND, "{kind: induced, susceptibility: 0.3, saturation_kA_m: 4}" KEY,
           "model.mutual_induction", "not derived for a saturation", "false"},
          {KIND, "{kind: induced, susceptibility: 0.3, remanent_fAm2: 4}" KEY,
           "model.mutual_induction", "not derived for a remanent part", "false"},
          {KIND, "{kind: permanent, moment_fAm2: 4}" KEY, "model.mutual_induction",
           "not derived for permanent moments", "false"});
#undef KIND
#undef KEY
}

Test(scenario_refused, names_must_be_names_of_nodes_that_exist)
{
    CASES(INPUT_GATE,
          {"from: mouth, to: end", "from: ^mouht, to: end", "channel.vessels[1].from",
           "'mouht' is no node", "did you mean 'mouth'?"},
          {"{node: end,", "{node: ^exit,", "target.node", "'exit' is no node",
           "one of: inlet, mouth, end"},
          {"deadline_s: 300", "deadline_s: 300\nroute: [inlet, ^mid, end]", "route[1]",
           "'mid' is no node", "one of"},
          {"deadline_s: 300", "deadline_s: 300\nroute: [inlet, mouth, ^mouth]", "route[2]", "again",
           "another node"},
          {"deadline_s: 300", "deadline_s: 300\nroute: ^[]", "route", "empty list", "nodes"},
          {"    mouth: {at_um", "    ^centreline: {at_um: [0, 0]}\n    mouth: {at_um",
           "channel.nodes.centreline", "no node's name", "a node's name"},
          {"    mouth: {at_um", "    ^'': {at_um: [0, 0]}\n    mouth: {at_um", "channel.nodes.\"\"",
           "empty name", "a node's name"},
          {"    mouth: {at_um", "    ^\"a\\tb\": {at_um: [0, 0]}\n    mouth: {at_um",
           "channel.nodes.\"a?b\"", "can't be printed", "a node's name"},
          {"    mouth: {at_um",
           "    ^n234567890123456789012345678901234567890123456789012345678901234: {at_um: [0, "
           "0]}\n    mouth: {at_um",
           "channel.nodes.\"n23456789012345678901234567890123456789012345678901234567890...\"",
           "too long", "63 bytes"});
}

Test(scenario_refused, what_doesnt_fit_together_is_refused)
{
    CASES(INPUT_GATE,
          {"depth_um: 60", "depth_um: ^3", "channel.depth_um", "no more than the diameter",
           "particles.diameter_um"},
          {"depth_um: 60", "depth_um: 60\n  floor: ^false", "channel.floor", "has a floor",
           "open: true"},
          {"from: inlet, to: mouth", "from: inlet, to: ^inlet", "channel.vessels[0].to",
           "the vessel comes from", "another node"},
          {"[[500, 20]]", "[^[400, 0], [500, 20]]", "channel.vessels[1].via_um[0]", "no length",
           "place of its own"},
          {"[[500, 20]]", "[[500, 20], ^[500, 20]]", "channel.vessels[1].via_um[1]", "no length",
           "place of its own"},
          {"[1, 220]", "[^0.2, 220]", "channel.vessels[1].width_um[2][0]", "0.2 comes after 0.3",
           "never fall"},
          {"target: {node: end, radius_um", "target: {node: end, ^at_um: [1, 1], radius_um",
           "target.at_um", "a second time", "not both"},
          {"count: 150", "count: 3\n  positions_um: ^[[0, 0]]", "particles.positions_um",
           "1 positions for 3 particles", "as many as count"},
          {"count: 150", "count: 150\n  surface: {gap_um: 1, ^debye_nm: 3}",
           "particles.surface.debye_nm", "without gap_um", "leave it out"},
          {"count: 150", "count: 150\n  ^moments_deg: [1]", "particles.moments_deg",
           "needs positions_um", "leave it out"},
          {"count: 150", "positions_um: [[0, 0]]\n  ^moments_deg: [1]", "particles.moments_deg",
           "belongs to magnetics of kind 'permanent'", "leave it out"});
}

Test(scenario_refused, sizes_that_dont_fit_are_refused)
{
    CASES(INPUT_GATE,
          /* the largest of 150 of 3 µm is about 3 exp(0.0999 x 2.47 - 0.005) = 3.8 µm */
          {"count: 150\n  diameter_um: 3.0\n  density_kg_m3: 1800\n  magnetics: {kind: induced, "
           "susceptibility: 0.3}\nchannel:\n  depth_um: 60",
           "count: 150\n  diameter_um: 3.0\n  diameter_cv: ^0.1\n  density_kg_m3: 1800\n  "
           "magnetics: {kind: induced, susceptibility: 0.3}\nchannel:\n  depth_um: 3.5",
           "particles.diameter_cv", "the largest of 150 particles would be about 3.8",
           "a deeper channel"},
          {"count: 150", "count: 150\n  surface: {gap_um: ^57}", "particles.surface.gap_um",
           "no room", "less the diameter"},
          {"count: 150", "count: 150\n  surface: {roughness_nm: ^57000}",
           "particles.surface.roughness_nm", "in the ceiling", "less the diameter"},
          {"release: {node: inlet, radius_um: 34}", "release: {node: inlet, radius_um: ^1.4}",
           "release.radius_um", "no particle of 3 µm fits", "at least the radius"});
}

Test(scenario_refused, moments_and_fluids_that_cannot_be_are_refused)
{
#define KIND "{kind: induced, susceptibility: 0.3}"
    CASES(INPUT_GATE,
          {KIND, "{kind: induced, susceptibility: ^-0.3}", "particles.magnetics.susceptibility",
           "-0.3 is out of range", "above 0"},
          {KIND, "{kind: induced, susceptibility: 0.3, saturation_kA_m: ^0}",
           "particles.magnetics.saturation_kA_m", "0 is out of range", "above 0"},
          {KIND, "{kind: induced, susceptibility: 0.3, ^magnetisation_law: langevin}",
           "particles.magnetics.magnetisation_law", "needs a saturation", "saturation_kA_m"},
          {KIND,
           "{kind: induced, susceptibility: 0.3, saturation_kA_m: 4, magnetisation_law: ^linear}",
           "particles.magnetics.magnetisation_law", "is 'linear'", "langevin"},
          {KIND, "{kind: permanent, moment_fAm2: 3, ^magnetisation_law: langevin}",
           "particles.magnetics.magnetisation_law", "induced", "leave it out"},
          {KIND, "{kind: induced, susceptibility: 0.3, relaxation_time_s: ^-1e-5}",
           "particles.magnetics.relaxation_time_s", "out of range", "from 0"},
          {KIND, "{kind: permanent, moment_fAm2: ^-30}", "particles.magnetics.moment_fAm2",
           "-30 is out of range", "above 0"},
          {KIND, "{kind: permanent, moment_fAm2: 30, moment_cv: ^-0.1}",
           "particles.magnetics.moment_cv", "out of range", "from 0"},
          {"{medium: water, temperature_C: 25}",
           "{temperature_C: 25, density_kg_m3: 1000, viscosity_mPa_s: ^0}", "fluid.viscosity_mPa_s",
           "0 is out of range", "above 0"},
          {"{medium: water, temperature_C: 25}",
           "{temperature_C: 25, density_kg_m3: 1000, viscosity_mPa_s: ^-1}",
           "fluid.viscosity_mPa_s", "-1 is out of range", "above 0"},
          {"count: 150\n  diameter_um: 3.0", "count: 150\n  diameter_um: ^-3",
           "particles.diameter_um", "-3 is out of range", "0.05"},
          {"density_kg_m3: 1800", "density_kg_m3: ^-1", "particles.density_kg_m3", "out of range",
           "above 0"});
#undef KIND
}

Test(scenario_refused, a_remanent_part_belongs_to_induced_moments)
{
    CASES(INPUT_GATE,
          {"susceptibility: 0.3}", "susceptibility: 0.3, remanent_fAm2: ^-1}",
           "particles.magnetics.remanent_fAm2", "-1 is out of range", "from 0"},
          {"{kind: induced, susceptibility: 0.3}",
           "{kind: permanent, moment_fAm2: 3, ^remanent_fAm2: 1}",
           "particles.magnetics.remanent_fAm2", "belongs to kind 'induced'", "leave it out"});
}

Test(scenario_refused, a_sweep_s_drive_must_be_slow_enough_for_the_moments)
{
    CASES(INPUT_GATE,
          {"{kind: induced, susceptibility: 0.3}",
           "{kind: induced, susceptibility: 0.3, relaxation_time_s: 0.2}\nsweep:\n"
           "  drive: {mode: rotating, field_mT: 1, wobble: {deg: 9, period_s: ^1.9}}\n"
           "  vary: {frequency_Hz: [1, 2]}",
           "sweep.drive.wobble.period_s", "too quick for moments that take 0.2 s", "ten times"});
}

Test(scenario_refused, positions_are_checked_one_by_one)
{
    CASES(
        INPUT_GATE,
        {"count: 150", "positions_um: ^[]", "particles.positions_um", "empty list", "at least one"},
        {"count: 150", "positions_um: ^3", "particles.positions_um", "is '3'", "a list"},
        {"count: 150", "positions_um: [[0, 0], ^[1]]", "particles.positions_um[1]",
         "is a list of 1", "[x, y]"},
        {"count: 150", "positions_um: [[0, 0], [5, 5], ^[0, -0.0]]", "particles.positions_um[2]",
         "same as position 0", "its own place"},
        {"count: 150", "positions_um: [[0, 0, 2], [0, 0, 6], ^[0, 0, 2]]",
         "particles.positions_um[2]", "same as position 0", "its own place"},
        {"count: 150", "positions_um: [[0, 0], [9, 9], ^[1.5, 1.5]]", "particles.positions_um[2]",
         "overlaps position 0: they are 2.121 µm apart", "a diameter apart"},
        {"count: 150", "positions_um: [[0, 0, 9], ^[0, 0, 6.4], [0, 0, 3.6]]",
         "particles.positions_um[1]", "overlaps position 0: they are 2.6 µm apart",
         "a diameter apart"},
        {"count: 150", "positions_um: [[0, 0, ^1.49]]", "particles.positions_um[0][2]",
         "into the floor", "at least the radius"},
        {"count: 150", "positions_um: [[0, 0, ^58.6]]", "particles.positions_um[0][2]",
         "into the ceiling", "below the ceiling"});
    static const char old_text[] = "{kind: induced, susceptibility: 0.3}";
    static const input_case headings = {
        old_text,
        "{kind: permanent, moment_fAm2: 3}\n  positions_um: [[0, 0]]\n"
        "  moments_deg: ^[1, 2]",
        "particles.moments_deg", "a list of 2 for 1 positions", "one for each"};
    char *good = input_replace(INPUT_GATE, "count: 150", "count: 1");
    input_expect_scenario_cases(good, &headings, 1);
    free(good);
}

Test(scenario_refused, open_maps_have_no_walls_route_or_ceiling_without_a_floor)
{
    char *text = input_replace(INPUT_GATE, "  depth_um: 60", "  open: true");
    const char *vessels = strstr(text, "  vessels:"), *release = strstr(text, "release:");
    size_t head = (size_t)(vessels - text);
    char *good = malloc(strlen(text) + 1);
    cr_assert(good);
    memcpy(good, text, head);
    (void)strcpy(good + head, release);
    free(text);
    static const input_case cases[] = {
        {"  open: true\n", "  open: true\n  ^vessels: [{from: inlet, to: end, width_um: 3}]\n",
         "channel.vessels", "open map has no vessels", "leave it out"},
        {"  open: true\n", "  open: true\n  floor: false\n  ^depth_um: 60\n", "channel.depth_um",
         "no ceiling", "leave it out"},
        {"deadline_s: 300", "deadline_s: 300\n^route: [inlet, end]", "route", "straight line",
         "leave it out"},
    };
    input_expect_scenario_cases(good, cases, sizeof cases / sizeof *cases);
    free(good);
}

Test(scenario_refused, a_sweep_varies_numbers_of_its_drive)
{
#define SWEEP "deadline_s: 300\nsweep: {drive: {mode: rotating, field_mT: 10, frequency_Hz: 5}, "
    CASES(INPUT_GATE,
          {"deadline_s: 300", SWEEP "vary: {^tilt: [1]}}", "sweep.vary.tilt", "unknown key",
           "did you mean"},
          {"deadline_s: 300", SWEEP "vary: {^cone_deg: [1]}}", "sweep.vary.cone_deg",
           "no key of this drive (mode 'rotating')", "drive has"},
          {"deadline_s: 300", SWEEP "vary: {^alternate.share: [0.1]}}",
           "sweep.vary.\"alternate.share\"", "no key of this drive", "drive has"},
          {"deadline_s: 300", SWEEP "vary: {^sense: [left]}}", "sweep.vary.sense",
           "can't be varied", "a number"},
          {"deadline_s: 300", SWEEP "vary: {tilt_deg: [0, ^91]}}", "sweep.vary.tilt_deg[1]",
           "out of range", "degrees from 0 to 90"},
          {"deadline_s: 300", SWEEP "vary: {tilt_deg: ^[]}}", "sweep.vary.tilt_deg",
           "is a list of 0", "values"},
          {"deadline_s: 300", SWEEP "vary: ^{}}", "sweep.vary", "varies 0 keys", "1 to 32"},
          {"deadline_s: 300", SWEEP "repeats: ^0, vary: {tilt_deg: [0]}}", "sweep.repeats",
           "out of range", "a whole number from 1"},
          {"deadline_s: 300",
           "deadline_s: 300\nsweep: {^drive: {mode: rotating, field_mT: 10}, "
           "vary: {tilt_deg: [0]}}",
           "sweep.drive.frequency_Hz", "is missing", "mode 'rotating' needs it"});
#undef SWEEP
}

/* --- all errors, and their order ------------------------------------------- */

Test(scenario_refused, all_errors_of_a_file_come_at_once_in_its_order)
{
    static const char text[] = "format: narrows-scenario/1\n"                        /* 1 */
                               "fluid: {medium: water, temperature_C: 250}\n"        /* 2 */
                               "particles:\n"                                        /* 3 */
                               "  count: 0\n"                                        /* 4 */
                               "  diameter_um: 3.0\n"                                /* 5 */
                               "  densty_kg_m3: 1800\n"                              /* 6 */
                               "  magnetics: {kind: induced, susceptibility: 0.3}\n" /* 7 */
                               "channel:\n"                                          /* 8 */
                               "  depth_um: 60\n"                                    /* 9 */
                               "  nodes: {a: {at_um: [0, 0]}, b: {at_um: [1, x]}}\n" /* 10 */
                               "  vessels: [{from: a, to: c, width_um: -1}]\n"       /* 11 */
                               "release: {node: a, radius_um: 34}\n"                 /* 12 */
                               "release: {node: b, radius_um: 34}\n"                 /* 13 */
                               "deadline_s: soon\n";                                 /* 14 */
    static const struct {
        int line;
        const char *key;
    } expected[] = {{1, "target"},
                    {2, "fluid.temperature_C"},
                    {3, "particles.density_kg_m3"},
                    {4, "particles.count"},
                    {6, "particles.densty_kg_m3"},
                    {10, "channel.nodes.b.at_um[1]"},
                    {11, "channel.vessels[0].to"},
                    {11, "channel.vessels[0].width_um"},
                    {13, "release"},
                    {14, "deadline_s"}};
    nrw_errors errors;
    nrw_scenario *scenario;
    nrw_errors_init(&errors);
    (void)nrw_errors_add(&errors, NRW_BAD_USAGE, "", "an error from before");
    cr_assert(nrw_scenario_parse(text, sizeof text - 1, "many.yaml", &scenario, &errors) ==
              NRW_BAD_INPUT);
    cr_assert_eq(errors.n_items, 1 + sizeof expected / sizeof *expected);
    cr_assert_str_eq(errors.items[0].what, "an error from before");
    for (size_t i = 0; i + 1 < errors.n_items; i++) {
        cr_expect_eq(errors.items[i + 1].line, expected[i].line);
        cr_expect_str_eq(errors.items[i + 1].key, expected[i].key);
        cr_expect_str_eq(errors.items[i + 1].file, "many.yaml");
    }
    char line[2048];
    nrw_error_format(&errors.items[2], line, sizeof line);
    cr_assert_str_eq(
        line, "many.yaml:2:39: fluid.temperature_C: 250 is out of range; a number in °C from 0 "
              "to 100");
    nrw_errors_clear(&errors);
}

Test(scenario_refused, errors_may_go_nowhere)
{
    nrw_scenario *scenario;
    cr_assert(nrw_scenario_parse("a: [", 4, "x", &scenario, NULL) == NRW_BAD_INPUT);
    cr_assert(nrw_scenario_parse("a: 1", 4, "x", &scenario, NULL) == NRW_BAD_INPUT);
    cr_assert(!scenario);
}

Test(scenario_refused, a_file_that_cant_be_read_is_named)
{
    static const char *const paths[] = {"/nonexistent/narrows.yaml", "/"};
    for (int i = 0; i < 2; i++) {
        nrw_errors errors;
        nrw_scenario *scenario;
        nrw_errors_init(&errors);
        cr_assert(nrw_scenario_load(paths[i], &scenario, &errors) == NRW_BAD_INPUT);
        cr_assert(!scenario && errors.n_items == 1);
        cr_assert_str_eq(errors.items[0].file, paths[i]);
        cr_assert_eq(errors.items[0].line, 0);
        nrw_errors_clear(&errors);
    }
}

/* --- shape ------------------------------------------------------------------- */

#define KIND "  magnetics: {kind: induced, susceptibility: 0.3}\n"
#define PERMANENT_KIND "  magnetics: {kind: permanent, moment_fAm2: 30}\n"

Test(scenario_refused, wrong_shapes_are_refused)
{
    CASES(INPUT_GATE,
          {KIND, KIND "  shape: {kind: doublet, aspect: ^2.5}\n", "particles.shape.aspect", "2.5",
           "from 1 to 2"},
          {KIND, KIND "  shape: {kind: doublet, aspect: ^0.9}\n", "particles.shape.aspect", "0.9",
           "from 1 to 2"},
          {KIND, KIND "  ^shape: {kind: doublet}\n", "particles.shape.aspect", "missing", "number"},
          {KIND, KIND "  shape: {kind: ^rod, aspect: 2}\n", "particles.shape.kind", "rod",
           "sphere, doublet"},
          {KIND, KIND "  shape: {kind: sphere, ^aspect: 2}\n", "particles.shape.aspect",
           "belongs to kind 'doublet'", "leave it out"},
          {KIND, KIND "  shape: {kind: doublet, aspect: 2, ^moment: along}\n",
           "particles.shape.moment", "belongs to magnetics of kind 'permanent'", "leave it out"},
          {KIND, PERMANENT_KIND "  ^shape: {kind: doublet, aspect: 2}\n", "particles.shape.moment",
           "missing", "along or across"},
          {KIND, PERMANENT_KIND "  shape: {kind: doublet, aspect: 2, moment: ^up}\n",
           "particles.shape.moment", "up", "along, across"},
          {KIND, KIND "  shape: {kind: doublet, aspect: 2, ^lobes: 2}\n", "particles.shape.lobes",
           "unknown key", "one of"});
}

Test(scenario_refused, doublets_in_a_flow_are_refused)
{
    char *flow = input_replace(INPUT_GATE, "deadline_s: 300\n",
                               "deadline_s: 300\nflow:\n"
                               "  inlets: [{node: inlet, rate_nl_min: 0.5}]\n"
                               "  outlets: [{node: end, pressure_Pa: 0}]\n");
    CASES(flow, {KIND, KIND "  shape: {kind: ^doublet, aspect: 2}\n", "particles.shape.kind",
                 "how a flow carries and turns doublets", "sphere"});
    free(flow);
}
