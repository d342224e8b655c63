#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "input_case.h"
#include "rig_curve.h"
#include "signs.h"

static nrw_scenario *scenario_with(const char *rig)
{
    char text[4000];
    (void)snprintf(text, sizeof text,
                   "format: narrows-scenario/1\n"
                   "fluid: {medium: water, temperature_C: 25}\n"
                   "particles: {count: 3, diameter_um: 3, density_kg_m3: 1800, magnetics: {kind: "
                   "induced, susceptibility: 0.3, relaxation_time_s: 1e-5}}\n"
                   "channel: {open: true, nodes: {a: {at_um: [0, 0]}, b: {at_um: [30, 40]}}}\n"
                   "release: {node: a, radius_um: 6}\n"
                   "target: {node: b, radius_um: 5}\n"
                   "imaging: {pixel_um: 2}\n"
                   "deadline_s: 20\n%s\n",
                   rig);
    return input_scenario(text);
}

#define ELECTRIC "resistance_ohm: 3, inductance_mH: 10, current_max_A: 8, voltage_max_V: 60"
#define RIG "rig: {field_max_mT: 12, frequency_max_Hz: 800, rotation_deg: 90, axes: "

static const nrw_sign_check *check_about(const nrw_sign_check *checks, size_t n, const char *what)
{
    for (size_t i = 0; i < n; i++)
        if (strcmp(checks[i].what, what) == 0)
            return &checks[i];
    return NULL;
}

Test(signs, coils_are_told_with_size_and_direction_in_the_map)
{
    nrw_scenario *scenario =
        scenario_with(RIG "{x: {mT_per_A: 2, " ELECTRIC "}, y: {mT_per_A: -1.5, " ELECTRIC
                          "}, z: {mT_per_A: -3, " ELECTRIC "}}}");
    nrw_sign_check checks[NRW_SIGNS_MAX];
    size_t n;
    cr_assert_eq(nrw_signs_list(scenario, checks, &n, NULL), NRW_OK);
    /* the rig is turned by 90 degrees: its x is the map's y, its y the map's -x */
    const nrw_sign_check *x = check_about(checks, n, "Coil x"),
                         *y = check_about(checks, n, "Coil y");
    cr_assert_not_null(strstr(x->expect, "2 mT, in the plane, at 90 degrees"), "%s", x->expect);
    cr_assert_not_null(strstr(y->expect, "1.5 mT, in the plane, at 0 degrees"), "%s", y->expect);
    cr_assert_not_null(strstr(check_about(checks, n, "Coil z")->expect, "3 mT, straight down"));
    cr_assert_not_null(check_about(checks, n, "Left or right"));
    const nrw_sign_check *scale = check_about(checks, n, "Scale and place of the map");
    cr_assert_not_null(strstr(scale->expect, "50 um apart, 25 pixels"), "%s", scale->expect);
    cr_assert_not_null(strstr(scale->expect, "at 53 degrees"), "%s", scale->expect);
    cr_assert_not_null(strstr(check_about(checks, n, "Rolling toward heading 0")->expect, "+x"));
    cr_assert_not_null(strstr(check_about(checks, n, "Rolling toward heading 90")->expect, "+y"));
    nrw_scenario_destroy(scenario);
}

Test(signs, flat_rig_has_no_rolling_and_missing_rig_is_told)
{
    nrw_scenario *scenario =
        scenario_with(RIG "{x: {mT_per_A: 2, " ELECTRIC "}, y: {mT_per_A: 2, " ELECTRIC "}}}");
    nrw_sign_check checks[NRW_SIGNS_MAX];
    size_t n;
    cr_assert_eq(nrw_signs_list(scenario, checks, &n, NULL), NRW_OK);
    cr_assert_null(check_about(checks, n, "Rolling toward heading 0"));
    nrw_scenario_destroy(scenario);
    scenario = scenario_with("");
    cr_assert_eq(nrw_signs_list(scenario, checks, &n, NULL), NRW_BAD_INPUT);
    nrw_scenario_destroy(scenario);
}

Test(rig_curve, falls_where_the_voltage_takes_over)
{
    nrw_scenario *scenario =
        scenario_with(RIG "{x: {mT_per_A: 2, " ELECTRIC "}, y: {mT_per_A: 2, " ELECTRIC "}}}");
    nrw_rig_curve_point points[16];
    const size_t n = nrw_rig_curve(&scenario->rig, points, 16);
    /* 1 2 5 10 20 50 100 200 500 800 */
    cr_assert_eq(n, 10);
    cr_assert_float_eq(points[9].frequency_Hz, 800.0, 0.0);
    cr_assert_float_eq(points[0].flat_mT, 12.0, 1e-6);
    cr_assert_str_eq(points[0].flat_limit, "field");
    const double expected =
        2.0 * 60.0 * (1.0 - NRW_RIG_JOIN_RESERVE) / nrw_rig_impedance_ohm(3.0, 0.01, 800.0);
    cr_assert_float_eq(points[9].flat_mT, expected, 1e-6 * expected);
    cr_assert_eq(strncmp(points[9].flat_limit, "voltage", 7), 0);
    cr_assert_float_eq(points[3].rolling_mT, 0.0, 0.0);
    cr_assert_str_eq(points[3].rolling_limit, "axis");
    cr_assert_float_eq(nrw_rig_corner_Hz(3.0, 0.01), 47.746, 1e-3);
    nrw_scenario_destroy(scenario);
}

Test(rig_curve, off_centre_field_of_helmholtz_pairs_is_told)
{
    nrw_scenario *scenario = scenario_with(
        RIG "{x: {pair: {radius_mm: 50, spacing_mm: 50, turns: 100}, " ELECTRIC
            "}, y: {pair: {radius_mm: 50, spacing_mm: 50, turns: 100}, " ELECTRIC "}}}");
    nrw_rig_uniformity uniformity;
    cr_assert(nrw_rig_uniformity_at(scenario, 5.0, &uniformity));
    /* on the axis, a tenth of the radius off: COI-05 */
    cr_assert_float_eq(uniformity.field_error, 0.0001139423245, 1e-9);
    /* its slope: 4 · 1.152 (z/R)³/R of 12 mT, less the next order */
    cr_assert_float_eq(uniformity.gradient_mT_mm, 12.0 * 4 * 1.152 * 1e-3 / 50.0, 3e-5);
    cr_assert_gt(uniformity.drift_um_s, 0.0);
    /* 1.152 (z/R)⁴ = 0.01 at 0.305 R; the next order makes it a little more */
    cr_assert_float_eq(uniformity.usable_mm, 15.5, 0.5);
    nrw_scenario_destroy(scenario);
    scenario =
        scenario_with(RIG "{x: {mT_per_A: 2, " ELECTRIC "}, y: {mT_per_A: 2, " ELECTRIC "}}}");
    cr_assert_not(nrw_rig_uniformity_at(scenario, 5.0, &uniformity));
    nrw_scenario_destroy(scenario);
}
