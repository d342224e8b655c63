#include "sweep.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "small_setup.h"

/* Ten particles in a narrow channel that the sweep must not see, two keys. */
static const char narrow[] =
    "format: narrows-scenario/1\n"
    "fluid: {medium: water, temperature_C: 25}\n"
    "particles: {count: 10, diameter_um: 3, density_kg_m3: 1800,\n"
    "            magnetics: {kind: induced, susceptibility: 0.3, relaxation_time_s: 1.0e-5}}\n"
    "channel:\n"
    "  depth_um: 60\n"
    "  nodes: {z: {at_um: [-60, 0]}, a: {at_um: [0, 0]}, b: {at_um: [60, 0]}, c: {at_um: [90, "
    "0]}}\n"
    "  vessels: [{from: z, to: a, width_um: 30}, {from: a, to: b, width_um: 30}, {from: b, to: c, "
    "width_um: 30}]\n"
    "release: {node: a, radius_um: 11}\n"
    "target: {node: b, radius_um: 10}\n"
    "deadline_s: 5\n"
    "rig: {field_max_mT: 12, frequency_max_Hz: 100, sample_rate_Hz: 10000, axes: {\n"
    "  x: {mT_per_A: 2, resistance_ohm: 3, inductance_mH: 10, current_max_A: 8, voltage_max_V: "
    "60},\n"
    "  y: {mT_per_A: 2, resistance_ohm: 3, inductance_mH: 10, current_max_A: 8, voltage_max_V: "
    "60},\n"
    "  z: {mT_per_A: 2, resistance_ohm: 3, inductance_mH: 10, current_max_A: 8, voltage_max_V: "
    "60}}}\n"
    "sweep:\n"
    "  drive: {mode: rotating, field_mT: 10, frequency_Hz: 50, heading: b}\n"
    "  vary: {field_mT: [8, 10], tilt_deg: [0, 30, 60]}\n"
    "  seconds: 3\n"
    "  repeats: 2\n";

static nrw_status sweep_with(const small_setup *setup, nrw_sweep_config config, nrw_sweep_map *map)
{
    nrw_errors errors;
    nrw_errors_init(&errors);
    nrw_status status = nrw_sweep_run(setup->scenario, &config, map, &errors);
    nrw_errors_clear(&errors);
    return status;
}

Test(sweep, the_last_key_is_the_fastest)
{
    small_setup setup = small_setup_of(narrow);
    const nrw_sweep *sweep = &setup.scenario->sweep;
    const double fields[] = {8, 8, 8, 10, 10, 10}, tilts[] = {0, 30, 60, 0, 30, 60};
    for (size_t point = 0; point < 6; point++) {
        cr_expect_eq(nrw_sweep_value(sweep, point, 0), fields[point]);
        cr_expect_eq(nrw_sweep_value(sweep, point, 1), tilts[point]);
    }
    char text[64];
    nrw_sweep_point_words(sweep, 4, 2, text, sizeof text);
    cr_expect_str_eq(text, "field_mT 10, tilt_deg 30");
    small_setup_clear(&setup);
}

Test(sweep, every_point_and_repeat_is_seen_on_an_open_floor)
{
    small_setup setup = small_setup_of(narrow);
    nrw_sweep_map map;
    cr_assert_eq(sweep_with(&setup, nrw_sweep_config_defaults(), &map), NRW_OK);
    cr_expect_eq(map.n_rows, 6);
    for (size_t r = 0; r < map.n_rows; r++) {
        cr_expect_eq(map.rows[r].n_done, 2);
        cr_expect_eq(map.rows[r].way, NRW_SWEEP_ALONE);
        cr_expect(map.rows[r].gather_s > 0.0, "all points gather alike");
        cr_expect_eq(map.rows[r].gather_s, map.rows[0].gather_s);
    }
    /* flat it stays, tilted it rolls along +x: there is no node to head for */
    cr_expect_lt(map.rows[3].mean.speed_um_s, map.rows[4].mean.speed_um_s);
    cr_expect_gt(map.rows[4].mean.along_um_s, 0.0);
    cr_expect_float_eq(map.rows[4].mean.along_um_s, map.rows[4].mean.speed_um_s, 0.2,
                       "straight but for noise");
    nrw_sweep_map_clear(&map);
    small_setup_clear(&setup);
}

Test(sweep, both_ways_ends_at_the_top_and_comes_back)
{
    small_setup setup = small_setup_of(narrow);
    nrw_sweep_config config = nrw_sweep_config_defaults();
    config.both_ways = true;
    nrw_sweep_map map, alone;
    cr_assert_eq(sweep_with(&setup, config, &map), NRW_OK);
    cr_assert_eq(sweep_with(&setup, nrw_sweep_config_defaults(), &alone), NRW_OK);
    cr_expect_eq(map.n_rows, 12);
    for (size_t point = 0; point < 6; point++) {
        const nrw_sweep_row *up = nrw_sweep_find(&map, point, NRW_SWEEP_UP);
        const nrw_sweep_row *down = nrw_sweep_find(&map, point, NRW_SWEEP_DOWN);
        cr_assert(up && down);
        cr_expect_eq(up->point, point);
        cr_expect_eq(down->point, point);
        cr_expect_eq(up->n_done + down->n_done, 4);
    }
    /* the way up begins as the point alone does: the same seed, drive and time */
    cr_expect_eq(nrw_sweep_find(&map, 0, NRW_SWEEP_UP)->mean.spread_um,
                 alone.rows[0].mean.spread_um);
    cr_expect_neq(nrw_sweep_find(&map, 0, NRW_SWEEP_DOWN)->mean.spread_um,
                  alone.rows[0].mean.spread_um, "the way down has a past");
    cr_expect_null(nrw_sweep_find(&map, 0, NRW_SWEEP_ALONE));
    nrw_sweep_map_clear(&map);
    nrw_sweep_map_clear(&alone);
    small_setup_clear(&setup);
}

Test(sweep, points_beyond_the_rig_are_left_out_and_none_at_all_is_refused)
{
    small_setup setup = small_setup_of(narrow);
    nrw_sweep *sweep = &setup.scenario->sweep;
    nrw_sweep_map map;
    sweep->keys[1].n_values = 1;
    sweep->keys[0].values[0] = 20.0;
    cr_assert_eq(sweep_with(&setup, nrw_sweep_config_defaults(), &map), NRW_OK);
    cr_expect_eq(map.n_beyond_rig, 1);
    cr_expect(map.rows[0].beyond_rig);
    cr_expect_eq(map.rows[0].n_done, 0);
    cr_expect_eq(map.rows[1].n_done, 2);
    nrw_sweep_map_clear(&map);
    sweep->keys[0].values[1] = 20.0;
    cr_expect_eq(sweep_with(&setup, nrw_sweep_config_defaults(), &map), NRW_REFUSED);
    nrw_sweep_map_clear(&map);
    small_setup_clear(&setup);
}

/* --- maps made by hand ---------------------------------------------------------------- */

static nrw_sweep_map map_of(const nrw_scenario *scenario, size_t n_repeats)
{
    nrw_sweep_map map;
    memset(&map, 0, sizeof map);
    map.scenario = scenario;
    map.n_points = map.n_rows = 6;
    map.n_repeats = n_repeats;
    map.rows = calloc(6, sizeof *map.rows);
    map.repeats = calloc(6 * n_repeats, sizeof *map.repeats);
    for (size_t r = 0; r < 6; r++)
        map.rows[r].point = r;
    for (size_t k = 0; k < 6 * n_repeats; k++)
        map.repeats[k].done = true;
    return map;
}

Test(sweep, a_state_needs_more_than_half_of_the_repeats)
{
    small_setup setup = small_setup_of(narrow);
    nrw_sweep_map map = map_of(setup.scenario, 4);
    const nrw_state states[4] = {NRW_STATE_TORN, NRW_STATE_ROLLING, NRW_STATE_ROLLING,
                                 NRW_STATE_TORN};
    for (size_t k = 0; k < 4; k++)
        map.repeats[k].state = states[k];
    nrw_sweep_summarise(&map);
    cr_expect_eq(map.rows[0].state, NRW_STATE_UNCLASSIFIED);
    cr_expect_eq(map.rows[0].n_agree, 2);
    map.repeats[0].state = NRW_STATE_ROLLING;
    nrw_sweep_summarise(&map);
    cr_expect_eq(map.rows[0].state, NRW_STATE_ROLLING);
    cr_expect_eq(map.rows[0].n_agree, 3);
    /* one that failed has no say */
    map.repeats[1].failed = true;
    nrw_sweep_summarise(&map);
    cr_expect_eq(map.rows[0].n_done, 3);
    cr_expect_eq(map.rows[0].state, NRW_STATE_ROLLING);
    nrw_sweep_map_clear(&map);
    small_setup_clear(&setup);
}

Test(sweep, cohesion_is_lost_within_a_line_not_across_lines)
{
    small_setup setup = small_setup_of(narrow);
    const nrw_state_limits limits = nrw_state_limits_defaults();
    nrw_sweep_map map = map_of(setup.scenario, 1);
    const double cohesions[6] = {1.0, 0.9, 0.9, 0.5, 0.95, 0.6};
    for (size_t k = 0; k < 6; k++)
        map.repeats[k].seen.cohesion = cohesions[k];
    nrw_sweep_summarise(&map);
    nrw_cohesion_edge edges[6];
    cr_assert_eq(nrw_sweep_edges(&map, &limits, edges, 6), 1,
                 "from the end of one line to the start of the next is no loss");
    cr_expect_eq(edges[0].last_held, 4);
    cr_expect_eq(edges[0].first_lost, 5);
    nrw_sweep_map_clear(&map);
    small_setup_clear(&setup);
}
