#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "coil.h"
#include "rig.h"
#include "scenario.h"
#include "temporary_folder.h"

#define HEAD                                                                                       \
    "format: narrows-scenario/1\n"                                                                 \
    "fluid: {medium: water, temperature_C: 25}\n"                                                  \
    "particles: {count: 2, diameter_um: 3, density_kg_m3: 1800, magnetics: {kind: induced, "       \
    "susceptibility: 0.3}}\n"                                                                      \
    "channel: {open: true, nodes: {a: {at_um: [0, 0]}, b: {at_um: [9, 0]}}}\n"                     \
    "release: {node: a, radius_um: 5}\n"                                                           \
    "target: {node: b, radius_um: 5}\n"                                                            \
    "deadline_s: 10\n"
#define RIG "rig: {field_max_mT: 12, frequency_max_Hz: 100, "
#define ELECTRIC "resistance_ohm: 3, inductance_mH: 10, current_max_A: 8, voltage_max_V: 60"
#define AXES                                                                                       \
    "axes: {x: {mT_per_A: 2, " ELECTRIC "}, y: {mT_per_A: 2, " ELECTRIC                            \
    "}, z: {mT_per_A: 2, " ELECTRIC "}}"

static nrw_scenario *parse(const char *rig, const char *name, char *error, size_t size)
{
    char text[4000];
    (void)snprintf(text, sizeof text, "%s%s\n", HEAD, rig);
    nrw_scenario *scenario = NULL;
    nrw_errors errors;
    nrw_errors_init(&errors);
    (void)nrw_scenario_parse(text, strlen(text), name, &scenario, &errors);
    error[0] = '\0';
    if (errors.n_items)
        nrw_error_format(&errors.items[0], error, size);
    nrw_errors_clear(&errors);
    return scenario;
}

Test(rig_file, coils_of_any_direction_and_their_extras)
{
    char error[1500];
    nrw_scenario *scenario = parse(
        RIG
        "room_C: 25, ambient_uT: [20, 0, -45], mutual_mH: [[a, b, -1.5]], amplifier_gain: [[0, 1, "
        "0], [100, 0.9, -12]],\n"
        "  coils: [{name: a, mT_per_A: [2, 0.1, 0], " ELECTRIC ", slew_max_A_s: 900, "
        "current_rms_max_A: 4, thermal: {resistance_K_W: 1.5, capacity_J_K: 300, "
        "temperature_max_C: 80}},\n"
        "    {name: b, pair: {radius_mm: 50, spacing_mm: 50, turns: 100, axis: [0, 3, "
        "4]}, " ELECTRIC "}]}",
        "s.yaml", error, sizeof error);
    cr_assert_not_null(scenario, "%s", error);
    const nrw_rig *rig = &scenario->rig;
    cr_assert_eq(rig->n_coils, 2);
    cr_assert_float_eq(rig->coils[0].mT_per_A[1], 0.1, 0.0);
    cr_assert_float_eq(rig->coils[0].extras.slew_max_A_s, 900.0, 0.0);
    cr_assert_float_eq(rig->coils[0].extras.current_rms_max_A, 4.0, 0.0);
    cr_assert_float_eq(rig->coils[0].extras.thermal_capacity_J_K, 300.0, 0.0);
    cr_assert_float_eq(rig->mutual_mH[1][0], -1.5, 0.0);
    cr_assert_float_eq(rig->gains[1].phase_deg, -12.0, 0.0);
    cr_assert_float_eq(rig->ambient_uT[2], -45.0, 0.0);
    cr_assert_float_eq(rig->room_C, 25.0, 0.0);
    /* Helmholtz: 1.798352571 mT/A (COI-04), along (0, 0.6, 0.8) */
    cr_assert_float_eq(rig->coils[1].mT_per_A[1], 0.6 * 1.798352571, 1e-9);
    cr_assert_float_eq(rig->coils[1].mT_per_A[2], 0.8 * 1.798352571, 1e-9);
    nrw_scenario_destroy(scenario);
}

Test(rig_file, axis_from_its_geometry_agrees_with_the_coils_of_biot_and_savart)
{
    char error[1500];
    nrw_scenario *scenario =
        parse(RIG "axes: {x: {pair: {radius_mm: 40, spacing_mm: 55, turns: 70}, " ELECTRIC
                  "}, y: {mT_per_A: 2, " ELECTRIC "}}}",
              "s.yaml", error, sizeof error);
    cr_assert_not_null(scenario, "%s", error);
    const double centre[3] = {0, 0, 0}, axis[3] = {1, 0, 0};
    nrw_coil pair[2];
    double field[3];
    nrw_coil_pair(40, 55, 70, centre, axis, pair);
    nrw_coil_group_mT(pair, 2, 1.0, centre, field);
    cr_assert_float_eq(scenario->rig.axes[0].mT_per_A, field[0], 1e-12 * field[0]);
    nrw_scenario_destroy(scenario);
}

Test(rig_file, calibration_replaces_the_matrix_of_axes)
{
    char folder[256], path[512], name[512], error[1500];
    temporary_folder_make(folder);
    (void)path_join(path, folder, "measured.csv");
    (void)path_join(name, folder, "s.yaml");
    file_write(path, "coil,x_mT_per_A,y_mT_per_A,z_mT_per_A\nx,10,0,1\ny,0,8,0\nz,0,0,6\n");
    nrw_scenario *scenario =
        parse(RIG AXES ", calibration: measured.csv}", name, error, sizeof error);
    cr_assert_not_null(scenario, "%s", error);
    nrw_rig_model model;
    cr_assert_eq(nrw_rig_model_init(&model, &scenario->rig, NULL), NRW_OK);
    double currents[NRW_COILS_MAX];
    nrw_rig_currents_A(&model, (const double[3]){5, 4, 2}, currents);
    cr_assert_float_eq(currents[2], 0.25, 1e-12, "COI-22");
    cr_assert_float_eq(model.resistance_ohm[2], 3.0, 0.0, "the rest is the axes'");
    nrw_scenario_destroy(scenario);

    file_write(path, "coil,x_mT_per_A,y_mT_per_A,z_mT_per_A\nx,10,0,1\ny,0,8,0\n");
    cr_assert_null(parse(RIG AXES ", calibration: measured.csv}", name, error, sizeof error));
    cr_assert_not_null(strstr(error, "no row for coil 'z'"), "%s", error);
    temporary_folder_remove(folder);
}

Test(rig_file, mistakes_are_told_with_their_place)
{
    const struct {
        const char *rig, *expected;
    } cases[] = {
        {RIG "coils: [{name: a, " ELECTRIC "}]}", "rig.coils[0].mT_per_A: is missing"},
        {RIG "coils: [{name: a, mT_per_A: [0, 0, 0], " ELECTRIC "}]}", "without field"},
        {RIG "coils: [{name: a, mT_per_A: [1, 0, 0], " ELECTRIC
             "}, {name: a, mT_per_A: [1, 0, 0], " ELECTRIC "}]}",
         "again"},
        {RIG AXES ", coils: []}", "beside coils"},
        {RIG AXES ", mutual_mH: [[x, q, 1]]}", "'q' is no coil"},
        {RIG AXES ", mutual_mH: [[x, y, 11]]}", "can't be a mutual inductance"},
        {RIG AXES ", amplifier_gain: [[10, 1, 0], [5, 1, 0]]}", "doesn't rise"},
        {RIG AXES ", calibration: nowhere.csv}", "can't read"},
        {RIG AXES ", ambient_uT: [1, 2]}", "rig.ambient_uT"},
        {RIG "axes: {x: {pair: {radius_mm: 40, spacing_mm: 55}, " ELECTRIC
             "}, y: {mT_per_A: 2, " ELECTRIC "}}}",
         "rig.axes.x.pair.turns: is missing"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char error[1500];
        cr_assert_null(parse(cases[i].rig, "s.yaml", error, sizeof error), "case %zu", i);
        cr_assert_not_null(strstr(error, cases[i].expected), "case %zu: %s", i, error);
    }
}
