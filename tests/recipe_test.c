#include "recipe.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "plan.h"
#include "rig.h"
#include "schedule_file.h"
#include "small_setup.h"

static const char TWO_GATES[] =
    "format: narrows-scenario/1\n"
    "title: two gates\n"
    "fluid: {medium: water, temperature_C: 25}\n"
    "particles:\n"
    "  count: 60\n"
    "  diameter_um: 3\n"
    "  density_kg_m3: 1800\n"
    "  magnetics: {kind: induced, susceptibility: 0.3, relaxation_time_s: 1.0e-5}\n"
    "channel:\n"
    "  depth_um: 40\n"
    "  nodes: {a: {at_um: [-60, 0]}, b: {at_um: [0, 0]}, c: {at_um: [200, 0]}, d: {at_um: [400, "
    "0]}, e: {at_um: [460, 0]}}\n"
    "  vessels:\n"
    "  - {from: a, to: b, width_um: 80}\n"
    "  - {from: b, to: c, width_um: [[0, 80], [0.4, 10], [0.6, 10], [1, 80]]}\n"
    "  - {from: c, to: d, width_um: [[0, 80], [0.4, 10], [0.6, 10], [1, 80]]}\n"
    "  - {from: d, to: e, width_um: 80}\n"
    "release: {node: b, radius_um: 20}\n"
    "target: {node: d, radius_um: 30}\n"
    "deadline_s: 200\n"
    "rig:\n"
    "  field_max_mT: 12\n"
    "  frequency_max_Hz: 100\n"
    "  axes:\n"
    "    x: {mT_per_A: 2, resistance_ohm: 3, inductance_mH: 10, current_max_A: 8, voltage_max_V: "
    "20}\n"
    "    y: {mT_per_A: 2, resistance_ohm: 3, inductance_mH: 10, current_max_A: 8, voltage_max_V: "
    "20}\n"
    "    z: {mT_per_A: 2, resistance_ohm: 3, inductance_mH: 10, current_max_A: 8, voltage_max_V: "
    "20}\n";

enum { MOST = 32 };

typedef struct library {
    small_setup setup;
    nrw_necessary necessary;
    nrw_recipe recipes[MOST];
    size_t n;
} library;

static library take_library(void)
{
    library taken;
    memset(&taken, 0, sizeof taken);
    taken.setup = small_setup_of(TWO_GATES);
    taken.necessary = nrw_necessary_of(taken.setup.scenario, taken.setup.channel);
    taken.n = nrw_recipe_library(taken.setup.scenario, taken.setup.channel, &taken.necessary,
                                 taken.recipes, MOST);
    cr_assert_gt(taken.n, 8);
    return taken;
}

static nrw_schedule schedule_of(const library *taken, const nrw_recipe *recipe)
{
    nrw_schedule schedule;
    cr_assert_eq(
        nrw_recipe_schedule(recipe, taken->setup.scenario, taken->setup.channel, &schedule, NULL),
        NRW_OK);
    return schedule;
}

Test(recipe, every_schedule_is_within_the_rig_and_reads_back_the_same)
{
    library taken = take_library();
    for (size_t k = 0; k < taken.n; k++) {
        nrw_schedule schedule = schedule_of(&taken, &taken.recipes[k]), again;
        nrw_errors errors;
        nrw_errors_init(&errors);
        cr_expect_eq(nrw_rig_check_schedule(taken.setup.scenario, &schedule, &errors), NRW_OK,
                     "'%s': %s", taken.recipes[k].name, errors.n_items ? errors.items[0].what : "");
        char *text = NULL, *text_again = NULL;
        cr_assert_eq(nrw_schedule_text(&schedule, &text, &errors), NRW_OK);
        cr_assert_eq(nrw_schedule_parse(text, strlen(text), "written.yaml", taken.setup.scenario,
                                        &again, &errors),
                     NRW_OK, "'%s' is refused: %s\n%s", taken.recipes[k].name,
                     errors.n_items ? errors.items[0].what : "", text);
        cr_assert_eq(nrw_schedule_text(&again, &text_again, &errors), NRW_OK);
        cr_expect_str_eq(text, text_again);
        free(text);
        free(text_again);
        nrw_schedule_clear(&schedule);
        nrw_schedule_clear(&again);
        nrw_errors_clear(&errors);
    }
    small_setup_clear(&taken.setup);
}

Test(recipe, the_voltage_of_the_coils_bounds_the_field_at_high_frequency)
{
    library taken = take_library();
    /* 20 V over |3 + i 2π 85 · 0.01| = 6.13 ohm: 3.26 A or 6.5 mT, less the reserve for joins */
    nrw_recipe recipe = taken.recipes[0];
    recipe.frequency_Hz = 85.0;
    double field = nrw_recipe_available_field_mT(&recipe, taken.setup.scenario, 10.0);
    cr_expect_lt(field, 6.53);
    cr_expect_gt(field, 6.53 * (1.0 - 2.0 * NRW_RIG_JOIN_RESERVE));
    small_setup_clear(&taken.setup);
}

Test(recipe, each_throat_is_passed_and_pushed_in_order_before_coming_home)
{
    library taken = take_library();
    nrw_schedule schedule = schedule_of(&taken, &taken.recipes[0]);
    static const char *const names[] = {"gather",
                                        "pass throat 1",
                                        "push through throat 1",
                                        "regather after throat 1",
                                        "pass throat 2",
                                        "push through throat 2",
                                        "home",
                                        "hold"};
    cr_assert_eq(schedule.n_legs, sizeof names / sizeof *names);
    double last = -INFINITY;
    for (size_t k = 0; k < schedule.n_legs; k++) {
        const nrw_leg *leg = &schedule.legs[k];
        cr_expect_str_eq(leg->name, names[k]);
        if (!(leg->until.present & NRW_UNTIL_TAIL_PAST))
            continue;
        double s = nrw_channel_route_node_um(taken.setup.channel, leg->until.tail_past.node) +
                   leg->until.tail_past.distance_um;
        cr_expect_geq(s, last, "leg '%s' goes back", leg->name);
        last = s;
    }
    /* a stall leads on to the push, and from there back to lying flat */
    cr_expect_eq(schedule.legs[1].stall_leg, 2);
    cr_expect_eq(schedule.legs[2].stall_leg, 0);
    cr_expect_eq(schedule.legs[5].stall_leg, 3);
    nrw_schedule_clear(&schedule);
    small_setup_clear(&taken.setup);
}

Test(recipe, timeouts_leave_a_margin_before_the_deadline)
{
    library taken = take_library();
    for (size_t k = 0; k < taken.n; k++) {
        nrw_schedule schedule = schedule_of(&taken, &taken.recipes[k]);
        double sum = 0.0;
        /* the last way home is planned with 16 % and may take what others leave */
        const double planned_s = 0.16 * taken.setup.scenario->deadline_s;
        for (size_t i = 0; i < schedule.n_legs; i++)
            sum += strcmp(schedule.legs[i].name, "home") == 0
                       ? fmin(schedule.legs[i].timeout_s, planned_s)
                       : schedule.legs[i].timeout_s;
        cr_expect_leq(sum, 1.05 * taken.setup.scenario->deadline_s, "'%s' may take %g s",
                      taken.recipes[k].name, sum);
        nrw_schedule_clear(&schedule);
    }
    small_setup_clear(&taken.setup);
}

Test(recipe, by_its_middle_a_throat_is_passed_when_most_is_at_the_target)
{
    library taken = take_library();
    nrw_recipe recipe = taken.recipes[0];
    recipe.leave_by_centroid = true;
    nrw_schedule schedule = schedule_of(&taken, &recipe);
    size_t n_throats;
    (void)nrw_channel_throats(taken.setup.channel, &n_throats);
    double last = 0.0;
    for (size_t i = 0; i < schedule.n_legs; i++) {
        const nrw_leg *leg = &schedule.legs[i];
        if (strncmp(leg->name, "pass", 4) != 0)
            continue;
        cr_expect_eq(leg->until.present, NRW_UNTIL_CENTROID_PAST | NRW_UNTIL_CLUSTER_ABOVE);
        cr_expect_float_eq(leg->until.cluster_above, 0.7, 1e-12);
        const double s =
            nrw_channel_route_node_um(taken.setup.channel, leg->until.centroid_past.node) +
            leg->until.centroid_past.distance_um;
        cr_expect_gt(s, last);
        last = s;
    }
    cr_expect_float_eq(last, nrw_channel_route_length_um(taken.setup.channel), 1e-6);
    nrw_schedule_clear(&schedule);
    small_setup_clear(&taken.setup);
}

Test(recipe, baselines_keep_to_ten_degrees_without_wobble_or_alternation)
{
    library taken = take_library();
    nrw_recipe simple[MOST];
    size_t n = nrw_recipe_baselines(taken.setup.scenario, taken.setup.channel, &taken.necessary,
                                    simple, MOST);
    cr_assert_gt(n, 1);
    for (size_t k = 0; k < n; k++) {
        nrw_schedule schedule = schedule_of(&taken, &simple[k]);
        for (size_t i = 0; i < schedule.n_legs; i++) {
            const nrw_drive *drive = &schedule.legs[i].drive;
            cr_expect_leq(drive->main.tilt_deg, 10.0);
            cr_expect_eq(drive->main.wobble_deg, 0.0);
            cr_expect_eq(drive->alternate_share, 0.0);
        }
        nrw_schedule_clear(&schedule);
    }
    small_setup_clear(&taken.setup);
}

Test(recipe, variations_depend_on_seed_and_index_alone_and_stay_within_the_rig)
{
    library taken = take_library();
    for (uint32_t k = 0; k < 50; k++) {
        nrw_recipe a =
            nrw_recipe_vary(&taken.recipes[3], taken.setup.scenario, &taken.necessary, 7, k);
        nrw_recipe b =
            nrw_recipe_vary(&taken.recipes[3], taken.setup.scenario, &taken.necessary, 7, k);
        nrw_recipe c =
            nrw_recipe_vary(&taken.recipes[3], taken.setup.scenario, &taken.necessary, 8, k);
        cr_expect_eq(a.tilt_deg, b.tilt_deg);
        cr_expect_eq(a.frequency_Hz, b.frequency_Hz);
        /* tilt and frequency may end at the same bound, all three hardly */
        cr_expect(a.tilt_deg != c.tilt_deg || a.frequency_Hz != c.frequency_Hz ||
                  a.lookahead_um != c.lookahead_um);
        nrw_schedule schedule = schedule_of(&taken, &a);
        cr_expect_eq(nrw_rig_check_schedule(taken.setup.scenario, &schedule, NULL), NRW_OK);
        nrw_schedule_clear(&schedule);
    }
    small_setup_clear(&taken.setup);
}
