#include "scenario.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "fluid.h"
#include "input_case.h"
#include "temporary_folder.h"

/* The gate with one change that is good. */
static nrw_scenario *changed(const char *old_text, const char *new_text)
{
    char *text = input_replace(INPUT_GATE, old_text, new_text);
    nrw_scenario *scenario = input_scenario(text);
    free(text);
    return scenario;
}

static nrw_scenario *with_line(const char *line)
{
    char block[1024];
    (void)snprintf(block, sizeof block, "deadline_s: 300\n%s\n", line);
    return changed("deadline_s: 300\n", block);
}

/* --- what good files give ---------------------------------------------------- */

Test(scenario_file, the_contracts_example_is_read_value_by_value)
{
    nrw_scenario *s = input_scenario(INPUT_EXAMPLE_SCENARIO);
    cr_assert_str_eq(s->title, "Example with one throat");
    cr_assert_str_eq(s->path, "good.yaml");
    cr_assert_eq(s->particles.count, 150);
    cr_assert_eq(s->particles.diameter_um, 3.0);
    cr_assert_eq(s->particles.diameter_cv, 0.05);
    cr_assert_eq(s->particles.density_kg_m3, 1800.0);
    cr_assert(s->particles.kind == NRW_MOMENT_INDUCED);
    cr_assert_eq(s->particles.susceptibility, 0.30);
    cr_assert_eq(s->particles.saturation_kA_m, 40.0);
    cr_assert_eq(s->particles.relaxation_time_s, 1.0e-5);
    cr_assert(!s->particles.positions_um && !s->particles.moments_deg);
    cr_assert_eq(s->map.n_nodes, 5);
    cr_assert_str_eq(s->map.nodes[2].name, "mouth");
    cr_assert_eq(s->map.nodes[2].at_um[0], 400.0);
    cr_assert_eq(s->map.n_vessels, 4);
    const nrw_vessel *vessel = &s->map.vessels[2];
    cr_assert(vessel->from == 2 && vessel->to == 3 && vessel->n_via == 1 && vessel->n_widths == 4);
    cr_assert_eq(vessel->via_um[0][1], 20.0);
    cr_assert_eq(vessel->widths[1].fraction, 0.3);
    cr_assert_eq(vessel->widths[1].width_um, 16.0);
    cr_assert(s->has_release && s->release.node == 1 && s->target.node == 3);
    cr_assert_eq(s->target.at_um[0], 900.0);
    cr_assert_eq(s->target.radius_um, 90.0);
    cr_assert(s->n_route_nodes == 3 && s->route_nodes[1] == 2);
    cr_assert_eq(s->deadline_s, 300.0);
    cr_assert(s->rig.present && s->rig.axes[2].present);
    cr_assert_eq(s->rig.axes[2].voltage_max_V, 60.0);
    cr_assert_eq(s->imaging.pixel_um, 1.3);
    cr_assert_eq(s->uncertainty.rolling_cv, 0.4);
    cr_assert(s->sweep.present && s->sweep.n_keys == 2 && s->sweep.repeats == 3);
    cr_assert_str_eq(s->sweep.keys[1].key, "tilt_deg");
    cr_assert_eq(s->sweep.keys[1].n_values, 6);
    cr_assert_eq(s->sweep.keys[1].values[5], 90.0);
    cr_assert_eq(s->text_size, strlen(INPUT_EXAMPLE_SCENARIO));
    cr_assert_str_eq(s->text, INPUT_EXAMPLE_SCENARIO);
    cr_assert_eq(strlen(s->sha256), 64);
    nrw_scenario_destroy(s);
}

Test(scenario_file, what_is_left_out_has_the_contracts_defaults)
{
    nrw_scenario *s = input_scenario(INPUT_GATE);
    cr_assert_eq(s->particles.diameter_cv, 0.0);
    cr_assert(isinf(s->particles.saturation_kA_m));
    cr_assert_eq(s->particles.relaxation_time_s, 0.0);
    cr_assert_eq(s->particles.surface_potential_mV, 50.0);
    cr_assert_eq(s->particles.debye_nm, 10.0);
    cr_assert_eq(s->particles.roughness_nm, 5.0);
    cr_assert(isnan(s->particles.surface_gap_um));
    cr_assert_eq(s->particles.adhesion_rate_per_s, 0.0);
    cr_assert_eq(s->particles.adhesion_release_pN, 0.5);
    cr_assert(!s->map.open && s->map.has_floor);
    cr_assert_eq(s->goal.fraction_min, 0.3);
    cr_assert_eq(s->goal.hold_s, 0.0);
    cr_assert(!s->goal.keep_visible && s->goal.n_no_go == 0 && !s->route_nodes);
    cr_assert(!s->rig.present && !s->sweep.present);
    cr_assert_eq(s->imaging.frame_rate_Hz, 10.0);
    cr_assert_eq(s->imaging.smallest_visible_um2, 0.0);
    cr_assert_eq(s->uncertainty.moment_cv, 0.0);
    cr_assert(s->model.brownian && s->model.gravity && s->model.pair_flow);
    cr_assert(!s->model.mutual_induction);
    cr_assert_eq(s->model.rolling_factor, 1.0);
    cr_assert_eq(s->model.contact_brake_factor, 1.0);
    cr_assert(s->model.contact_sliding && s->model.wall_screening && !s->model.wall_drag);
    cr_assert_eq(s->model.contact_stiffness_pN_um, 150.0);
    nrw_scenario_destroy(s);
    s = changed("title: Gate\n", "");
    cr_assert_str_eq(s->title, "");
    nrw_scenario_destroy(s);
}

Test(scenario_file, water_takes_viscosity_and_density_from_the_temperature)
{
    nrw_scenario *s = changed("temperature_C: 25", "temperature_C: 37");
    cr_assert(s->fluid.medium == NRW_MEDIUM_WATER);
    cr_assert_eq(s->fluid.viscosity_Pa_s, nrw_water_viscosity_Pa_s(37.0 + 273.15));
    cr_assert_eq(s->fluid.density_kg_m3, nrw_water_density_kg_m3(37.0));
    nrw_scenario_destroy(s);
}

Test(scenario_file, a_custom_fluid_has_its_own_with_or_without_the_word)
{
    static const char *const fluids[] = {
        "{viscosity_mPa_s: 3.5, density_kg_m3: 1050, temperature_C: 37}",
        "{medium: custom, viscosity_mPa_s: 3.5, density_kg_m3: 1050, temperature_C: 37}"};
    for (int i = 0; i < 2; i++) {
        nrw_scenario *s = changed("{medium: water, temperature_C: 25}", fluids[i]);
        cr_assert(s->fluid.medium == NRW_MEDIUM_CUSTOM);
        /* 3.5 × 0.001 rounds once */
        cr_assert_float_eq(s->fluid.viscosity_Pa_s, 3.5e-3, 1e-18);
        cr_assert_eq(s->fluid.density_kg_m3, 1050.0);
        cr_assert_eq(s->fluid.temperature_C, 37.0);
        nrw_scenario_destroy(s);
    }
}

Test(scenario_file, permanent_moments_may_start_in_given_places_and_headings)
{
    char *text = input_replace(INPUT_GATE, "{kind: induced, susceptibility: 0.3}",
                               "{kind: permanent, moment_fAm2: 30, moment_cv: 0.1}\n"
                               "  moments_deg: [0, -90.5]");
    char *placed = input_replace(text, "  count: 150", "  positions_um: [[1, 2], [3, 4, 5]]");
    nrw_scenario *s = input_scenario(placed);
    cr_assert(s->particles.kind == NRW_MOMENT_PERMANENT);
    cr_assert_eq(s->particles.moment_fAm2, 30.0);
    cr_assert_eq(s->particles.moment_cv, 0.1);
    cr_assert_eq(s->particles.count, 2);
    cr_assert(isnan(s->particles.positions_um[0][2]));
    cr_assert_eq(s->particles.positions_um[1][2], 5.0);
    cr_assert_eq(s->particles.moments_deg[1], -90.5);
    nrw_scenario_destroy(s);
    free(text);
    free(placed);
}

Test(scenario_file, positions_stand_in_for_a_release)
{
    char *text = input_replace(INPUT_GATE, "release: {node: inlet, radius_um: 34}\n", "");
    char *placed = input_replace(text, "  count: 150", "  positions_um: [[0, 0], [4, 0]]");
    nrw_scenario *s = input_scenario(placed);
    cr_assert(!s->has_release && s->release.node == -1);
    cr_assert_eq(s->release.at_um[0], 2.0);
    cr_assert_eq(s->release.radius_um, 3.5); /* 2 µm and a radius */
    nrw_scenario_destroy(s);
    free(text);
    free(placed);
}

Test(scenario_file, an_open_map_needs_neither_walls_nor_depth)
{
    static const char good[] = "format: narrows-scenario/1\n"
                               "fluid: {medium: water, temperature_C: 25}\n"
                               "particles:\n"
                               "  positions_um: [[0, 0, -20]]\n"
                               "  diameter_um: 3\n"
                               "  density_kg_m3: 1800\n"
                               "  magnetics: {kind: permanent, moment_fAm2: 30}\n"
                               "channel: {open: true, floor: false, nodes: {y: {at_um: [5, 5]}}}\n"
                               "target: {node: y, radius_um: 1e3}\n"
                               "deadline_s: 10\n";
    nrw_scenario *s = input_scenario(good);
    cr_assert(s->map.open && !s->map.has_floor && isinf(s->map.depth_um));
    cr_assert_eq(s->particles.positions_um[0][2], -20.0); /* any sign without a floor */
    cr_assert_eq(nrw_scenario_node(s, "y"), 0);
    cr_assert_eq(nrw_scenario_node(s, "n"), -1);
    nrw_scenario_destroy(s);
}

Test(scenario_file, words_that_yaml_1_1_takes_for_booleans_and_numbers_may_be_names)
{
    char *text = input_replace(INPUT_GATE, "    inlet: {at_um", "    on: {at_um");
    char *other = input_replace(text, "from: inlet", "from: on");
    free(text);
    text = input_replace(other, "{node: inlet", "{node: \"on\"");
    free(other);
    other = input_replace(text, "    mouth: {at_um", "    y: {at_um: [0, 9]}\n    007: {at_um");
    free(text);
    text = input_replace(other, "to: mouth", "to: 007");
    free(other);
    other = input_replace(text, "from: mouth", "from: '007'");
    nrw_scenario *s = input_scenario(other);
    cr_assert_eq(nrw_scenario_node(s, "on"), 0);
    cr_assert_eq(nrw_scenario_node(s, "y"), 1);
    cr_assert_eq(nrw_scenario_node(s, "007"), 2);
    nrw_scenario_destroy(s);
    free(text);
    free(other);
}

Test(scenario_file, a_rig_may_leave_out_coil_z_or_all_coils)
{
    nrw_scenario *s = with_line(
        "rig: {field_max_mT: 12, frequency_max_Hz: 100, axes: {x: &coil {mT_per_A: -2, "
        "resistance_ohm: 3, inductance_mH: 10, current_max_A: 8, voltage_max_V: 60}, y: *coil}}");
    cr_assert(s->rig.axes[1].present && !s->rig.axes[2].present);
    cr_assert_eq(s->rig.axes[1].mT_per_A, -2.0);
    cr_assert_eq(s->rig.sample_rate_Hz, 10000.0);
    nrw_scenario_destroy(s);
    s = with_line("rig: {field_max_mT: 12, frequency_max_Hz: 100}");
    cr_assert(s->rig.present && s->rig.axes[2].present);
    cr_assert(isinf(s->rig.axes[2].current_max_A));
    nrw_scenario_destroy(s);
}

Test(scenario_file, a_swept_key_need_not_stand_in_the_drive)
{
    nrw_scenario *s = with_line("sweep: {drive: {mode: rotating, field_mT: 10}, vary: "
                                "{frequency_Hz: [5, 10], heading: [0, 90], wobble.deg: [1]}}");
    cr_assert_eq(s->sweep.drive.main.frequency_Hz, 5.0);
    cr_assert_str_eq(s->sweep.keys[2].key, "wobble.deg");
    cr_assert_eq(s->sweep.keys[1].values[1], 90.0);
    cr_assert(s->sweep.repeats == 3);
    cr_assert_eq(s->sweep.seconds, 20.0);
    nrw_scenario_destroy(s);
}

Test(scenario_file, gathered_diameter_is_one_layer_at_four_fifths)
{
    nrw_scenario *s = input_scenario(INPUT_GATE);
    /* d·sqrt(N/0.80), contract section 4; 3·sqrt(187.5) */
    cr_assert_float_eq(nrw_scenario_gathered_diameter_um(s), 41.07919181288746, 1e-12);
    nrw_scenario_destroy(s);
}

Test(scenario_file, saturation_is_frohlich_and_kennelly_s_unless_langevin_s_is_asked_for)
{
    char *text =
        input_replace(INPUT_GATE, "susceptibility: 0.3", "susceptibility: 0.3, saturation_kA_m: 4");
    nrw_scenario *scenario = input_scenario(text);
    cr_assert_eq(scenario->particles.law, NRW_LAW_FROHLICH_KENNELLY);
    nrw_scenario_destroy(scenario);
    char *langevin = input_replace(text, "saturation_kA_m: 4",
                                   "saturation_kA_m: 4, magnetisation_law: langevin");
    scenario = input_scenario(langevin);
    cr_assert_eq(scenario->particles.law, NRW_LAW_LANGEVIN);
    nrw_scenario_destroy(scenario);
    free(text);
    free(langevin);
}

Test(scenario_file, a_remanent_part_has_a_heading)
{
    char *text = input_replace(INPUT_GATE, "susceptibility: 0.3}",
                               "susceptibility: 0.3, remanent_fAm2: 0.5}\n"
                               "  positions_um: [[-200, 0]]\n  moments_deg: [30]");
    char *one = input_replace(text, "count: 150", "count: 1");
    nrw_scenario *scenario = input_scenario(one);
    cr_assert_eq(scenario->particles.remanent_fAm2, 0.5);
    cr_assert_eq(scenario->particles.moments_deg[0], 30.0);
    nrw_scenario_destroy(scenario);
    free(text);
    free(one);
    scenario = input_scenario(INPUT_GATE);
    cr_assert_eq(scenario->particles.remanent_fAm2, 0.0);
    nrw_scenario_destroy(scenario);
}

Test(scenario_file, loading_and_parsing_give_the_same_scenario)
{
    char folder[256], path[512];
    temporary_folder_make(folder);
    file_write(path_join(path, folder, "example.yaml"), INPUT_EXAMPLE_SCENARIO);
    nrw_scenario *parsed = input_scenario(INPUT_EXAMPLE_SCENARIO), *loaded;
    cr_assert(nrw_scenario_load(path, &loaded, NULL) == NRW_OK);
    cr_assert_str_eq(loaded->path, path);
    cr_assert_str_eq(loaded->sha256, parsed->sha256);
    cr_assert_str_eq(loaded->text, parsed->text);
    cr_assert(memcmp(&loaded->rig, &parsed->rig, sizeof loaded->rig) == 0);
    nrw_scenario_destroy(parsed);
    nrw_scenario_destroy(loaded);
    temporary_folder_remove(folder);
}

Test(scenario_file, half_a_million_positions_are_read)
{
    size_t n = 500000, used = 0, size = n * 20 + 1000;
    char *text = malloc(size);
    cr_assert(text);
    used += (size_t)snprintf(text, size,
                             "format: narrows-scenario/1\n"
                             "fluid: {medium: water, temperature_C: 25}\n"
                             "channel: {open: true}\ntarget: {at_um: [0, 0], "
                             "radius_um: 1}\ndeadline_s: 1\nparticles: {diameter_um: "
                             "1, density_kg_m3: 2000, magnetics: {kind: permanent, "
                             "moment_fAm2: 1}, positions_um: [");
    for (size_t i = 0; i < n; i++)
        used += (size_t)snprintf(text + used, size - used, "[%zu,%zu],\n", i % 1000, i / 1000);
    (void)snprintf(text + used, size - used, "]}\n");
    nrw_scenario *scenario = input_scenario(text);
    cr_assert_eq(scenario->particles.count, n);
    cr_assert_eq(scenario->particles.positions_um[n - 1][1], 499.0);
    nrw_scenario_destroy(scenario);
    free(text);
}

/* --- shape ------------------------------------------------------------------- */

#define KIND "  magnetics: {kind: induced, susceptibility: 0.3}\n"
#define PERMANENT_KIND "  magnetics: {kind: permanent, moment_fAm2: 30}\n"

Test(scenario_file, doublets_have_an_aspect_and_permanent_ones_a_moment_along_or_across)
{
    nrw_scenario *s = changed(KIND, KIND "  shape: {kind: doublet, aspect: 1.6}\n");
    cr_assert(s->particles.shape.doublet);
    cr_assert_eq(s->particles.shape.aspect, 1.6);
    nrw_scenario_destroy(s);
    s = changed(KIND, PERMANENT_KIND "  shape: {kind: doublet, aspect: 2, moment: across}\n");
    cr_assert_eq(s->particles.shape.moment, NRW_MOMENT_ACROSS);
    nrw_scenario_destroy(s);
    s = changed(KIND, KIND "  shape: {kind: sphere}\n");
    cr_assert(!s->particles.shape.doublet && s->particles.shape.aspect == 1.0);
    nrw_scenario_destroy(s);
    s = input_scenario(INPUT_GATE);
    cr_assert(!s->particles.shape.doublet && s->particles.shape.aspect == 1.0);
    nrw_scenario_destroy(s);
}
