/* What the model assumes: each number can be driven to each of its states by an input. */
#include "validity.h"

#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "channel_setup.h"
#include "small_setup.h"
#include "validity_list.h"

static const char gate[] =
    "format: narrows-scenario/1\n"
    "title: A gate\n"
    "fluid: {medium: custom, viscosity_mPa_s: 0.89, density_kg_m3: 1000, temperature_C: 25}\n"
    "particles:\n"
    "  count: 50\n"
    "  diameter_um: 3.0\n"
    "  density_kg_m3: 1800\n"
    "  magnetics: {kind: induced, susceptibility: 0.3, saturation_kA_m: 400, relaxation_time_s: "
    "1.0e-5}\n"
    "channel:\n"
    "  depth_um: 60\n"
    "  nodes: {z: {at_um: [-150, 0]}, a: {at_um: [0, 0]}, b: {at_um: [300, 0]}, e: {at_um: [400, "
    "0]}}\n"
    "  vessels: [{from: z, to: a, width_um: 120}, {from: a, to: b, width_um: 120}, {from: b, to: "
    "e, width_um: 120}]\n"
    "flow: {inlets: [{node: z, rate_nl_min: 1.0}], outlets: [{node: e, pressure_Pa: 0}]}\n"
    "release: {node: a, radius_um: 40}\n"
    "target: {node: b, radius_um: 40}\n"
    "deadline_s: 10\n";

static small_setup setup;
static nrw_leg leg;
static nrw_leg_seen seen;
static nrw_model model;

static void begin(void)
{
    setup = small_setup_of(gate);
    leg = nrw_leg_defaults();
    leg.drive.main.field_mT = 10.0;
    leg.drive.main.frequency_Hz = 50.0;
    leg.drive.main.tilt_deg = 10.0;
    leg.drive.other = leg.drive.main;
    seen = (nrw_leg_seen){.fastest_um_s = 0.5,
                          .highest_um = 4.0,
                          .area_fraction = 0.05,
                          .rear_um = 0.0,
                          .front_um = 100.0,
                          .largest_overlap = 0.01};
    model = NRW_MODEL_AUTO;
}

static void end(void)
{
    small_setup_clear(&setup);
}

TestSuite(validity, .init = begin, .fini = end);

static const nrw_validity_item *judged(nrw_assumption assumption, nrw_validity *validity)
{
    nrw_validity_of_leg(setup.scenario, setup.channel, &leg, model, NULL, &seen, validity);
    for (size_t k = 0; k < validity->n_items; k++)
        if (validity->items[k].assumption == assumption)
            return &validity->items[k];
    return NULL;
}

static void expect(nrw_assumption assumption, nrw_validity_state state)
{
    nrw_validity validity;
    const nrw_validity_item *item = judged(assumption, &validity);
    const char *key = nrw_assumption_words_of(assumption).key;
    cr_assert_not_null(item, "%s is not judged", key);
    cr_assert_eq(item->state, state, "%s is %s at %g", key, nrw_validity_state_name(item->state),
                 item->value);
    cr_assert_gt(strlen(item->text), 20);
}

static void expect_none(nrw_assumption assumption)
{
    nrw_validity validity;
    cr_assert_null(judged(assumption, &validity), "%s", nrw_assumption_words_of(assumption).key);
}

/* A quantity at three values gives the three states. */
static void expect_states(nrw_assumption assumption, double *quantity, double ok, double marginal,
                          double outside)
{
    *quantity = ok;
    expect(assumption, NRW_VALIDITY_OK);
    *quantity = marginal;
    expect(assumption, NRW_VALIDITY_MARGINAL);
    *quantity = outside;
    expect(assumption, NRW_VALIDITY_OUTSIDE);
}

static void make_permanent(double moment_fAm2)
{
    setup.scenario->particles.kind = NRW_MOMENT_PERMANENT;
    setup.scenario->particles.moment_fAm2 = moment_fAm2;
}

static void replace(char text[4096], const char *from, const char *to)
{
    char rest[4096], *at = strstr(text, from);
    cr_assert_not_null(at);
    strcpy(rest, at + strlen(from));
    strcpy(at, to);
    strcat(text, rest);
}

/* The gate with two pieces of its text replaced. */
static void remake_channel_twice(const char *from, const char *to, const char *from2,
                                 const char *to2)
{
    char text[4096];
    strcpy(text, gate);
    replace(text, from, to);
    replace(text, from2, to2);
    small_setup_clear(&setup);
    setup = small_setup_of(text);
}

static void remake_channel(const char *from, const char *to)
{
    remake_channel_twice(from, to, "", "");
}

Test(validity, every_number_of_an_ordinary_leg_holds)
{
    nrw_validity validity;
    setup.scenario->release.radius_um = 150.0;
    nrw_validity_of_leg(setup.scenario, setup.channel, &leg, model, NULL, &seen, &validity);
    for (size_t k = 0; k < validity.n_items; k++)
        cr_expect_eq(validity.items[k].state, NRW_VALIDITY_OK, "%s: %g",
                     nrw_assumption_words_of(validity.items[k].assumption).key,
                     validity.items[k].value);
    cr_assert_eq(nrw_validity_worst(&validity), NRW_VALIDITY_OK);
    cr_assert_gt(validity.n_items, 15);
}

Test(validity, items_stand_in_the_order_of_the_list)
{
    nrw_validity validity;
    nrw_validity_of_leg(setup.scenario, setup.channel, &leg, model, NULL, &seen, &validity);
    nrw_validity_add(&validity, NRW_ASSUME_UNIFORM_FIELD, 0.001);
    nrw_validity_add(&validity, NRW_ASSUME_ALIGNED, NAN); /* adds nothing */
    for (size_t k = 1; k < validity.n_items; k++)
        cr_assert_lt(validity.items[k - 1].assumption, validity.items[k].assumption);
    cr_assert_eq(validity.items[validity.n_items - 1].assumption, NRW_ASSUME_UNIFORM_FIELD);
}

Test(validity, inertia_by_speed)
{
    /* Re = rho U a/eta: 0.1 at 59 mm/s for 1.5 um in water */
    expect_states(NRW_ASSUME_NO_INERTIA, &seen.fastest_um_s, 1e3, 1e5, 1e6);
    seen.fastest_um_s = NAN;
    expect(NRW_ASSUME_NO_INERTIA, NRW_VALIDITY_OK);
}

Test(validity, reynolds_number_is_that_of_its_formula)
{
    nrw_validity validity;
    seen.fastest_um_s = 2e5;
    const nrw_validity_item *item = judged(NRW_ASSUME_NO_INERTIA, &validity);
    /* 1000 kg/m3 x 0.2 m/s x 1.5e-6 m / 0.89e-3 Pa s, to rounding */
    cr_assert_float_eq(item->value, 1000.0 * 0.2 * 1.5e-6 / 0.89e-3, 1e-12);
}

Test(validity, bonds_by_field)
{
    /* lambda goes with the field's square: 424 at 10 mT */
    expect_states(NRW_ASSUME_BONDS_BEAT_HEAT, &leg.drive.main.field_mT, 10.0, 1.2, 0.5);
    leg.drive.main.mode = NRW_DRIVE_OFF; /* nothing is held, and nothing assumed of bonds */
    expect_none(NRW_ASSUME_BONDS_BEAT_HEAT);
}

Test(validity, way_of_pairs_by_frequency_unless_turns_are_followed)
{
    model = NRW_MODEL_AVERAGED;
    expect_states(NRW_ASSUME_PAIRS_REST, &leg.drive.main.frequency_Hz, 50.0, 7.0, 3.0);
    model = NRW_MODEL_RESOLVED;
    expect(NRW_ASSUME_PAIRS_REST, NRW_VALIDITY_OK);
    model = NRW_MODEL_AUTO; /* resolves by itself */
    expect(NRW_ASSUME_PAIRS_REST, NRW_VALIDITY_OK);
}

Test(validity, shedding_by_tilt)
{
    leg.drive.main.frequency_Hz = 100.0;
    expect_states(NRW_ASSUME_COHESION, &leg.drive.main.tilt_deg, 5.0, 30.0, 60.0);
}

Test(validity, the_worse_of_two_alternating_settings_is_judged)
{
    leg.drive.main.frequency_Hz = leg.drive.other.frequency_Hz = 100.0;
    leg.drive.main.tilt_deg = 5.0;
    leg.drive.other.tilt_deg = 60.0;
    expect(NRW_ASSUME_COHESION, NRW_VALIDITY_OK);
    leg.drive.alternate_share = 0.5;
    leg.drive.alternate_period_s = 1.0;
    expect(NRW_ASSUME_COHESION, NRW_VALIDITY_OUTSIDE);
}

Test(validity, turns_within_an_alternation_or_a_wobble)
{
    model = NRW_MODEL_AVERAGED;
    expect_none(NRW_ASSUME_MANY_TURNS);
    leg.drive.alternate_share = 0.25;
    expect_states(NRW_ASSUME_MANY_TURNS, &leg.drive.alternate_period_s, 1.0, 0.5, 0.2);
    leg.drive.alternate_share = 0.0;
    leg.drive.main.wobble_deg = 20.0;
    expect_states(NRW_ASSUME_MANY_TURNS, &leg.drive.main.wobble_period_s, 3.0, 0.1, 0.05);
    model = NRW_MODEL_RESOLVED;
    expect_none(NRW_ASSUME_MANY_TURNS);
}

Test(validity, step_out_of_permanent_moments)
{
    expect_none(NRW_ASSUME_IN_STEP);
    make_permanent(30.0);
    model = NRW_MODEL_AVERAGED;
    leg.drive.main.tilt_deg = 0.0;
    const double f = nrw_regime_of(setup.scenario, &leg.drive.main, NULL).step_out_Hz;
    expect_states(NRW_ASSUME_IN_STEP, &leg.drive.main.frequency_Hz, 0.5 * f, 0.95 * f, 1.1 * f);
    model = NRW_MODEL_RESOLVED; /* each moment is followed, but where it slips is not known */
    expect(NRW_ASSUME_IN_STEP, NRW_VALIDITY_MARGINAL);
}

Test(validity, alignment_of_averaged_permanent_moments)
{
    model = NRW_MODEL_AVERAGED;
    expect_none(NRW_ASSUME_ALIGNED);
    make_permanent(1.0);
    setup.scenario->particles.moment_fAm2 = 1.0; /* mB/kT = 243 at 1 mT */
    leg.drive.main.mode = NRW_DRIVE_STEADY;
    expect_states(NRW_ASSUME_ALIGNED, &leg.drive.main.field_mT, 1.0, 0.05, 0.01);
    model = NRW_MODEL_RESOLVED;
    expect_none(NRW_ASSUME_ALIGNED);
}

Test(validity, lag_by_relaxation_time)
{
    expect_states(NRW_ASSUME_ONE_LAG, &setup.scenario->particles.relaxation_time_s, 1e-5, 1e-3,
                  1e-2);
    setup.scenario->particles.relaxation_time_s = 0.0;
    expect_none(NRW_ASSUME_ONE_LAG);
}

Test(validity, law_of_magnetisation_by_saturation)
{
    expect_states(NRW_ASSUME_MAGNETISATION, &setup.scenario->particles.saturation_kA_m, 400.0, 10.0,
                  2.5);
}

Test(validity, the_laws_differ_whichever_is_used)
{
    setup.scenario->particles.saturation_kA_m = 10.0;
    setup.scenario->particles.law = NRW_LAW_LANGEVIN;
    expect(NRW_ASSUME_MAGNETISATION, NRW_VALIDITY_MARGINAL);
}

Test(validity, without_saturation_strong_fields_are_told)
{
    nrw_validity validity;
    setup.scenario->particles.saturation_kA_m = INFINITY;
    setup.scenario->particles.susceptibility = 20.0;
    leg.drive.main.field_mT = 10.0;
    const nrw_validity_item *weak = judged(NRW_ASSUME_MAGNETISATION, &validity);
    cr_assert_eq(weak->state, NRW_VALIDITY_OK);
    leg.drive.main.field_mT = 400.0; /* linear: 830 kA/m, more than magnetite has */
    expect(NRW_ASSUME_MAGNETISATION, NRW_VALIDITY_OUTSIDE);
}

Test(validity, point_dipoles_by_susceptibility)
{
    double *chi = &setup.scenario->particles.susceptibility;
    expect_states(NRW_ASSUME_POINT_DIPOLES, chi, 0.3, 1.0, 3.0);
    setup.scenario->model.mutual_induction = true; /* takes in what point dipoles lack first */
    expect_states(NRW_ASSUME_POINT_DIPOLES, chi, 1.0, 3.0, 20.0);
    make_permanent(30.0); /* magnetised evenly, a sphere is a point dipole outside */
    expect_none(NRW_ASSUME_POINT_DIPOLES);
}

Test(validity, double_layer_by_debye_length)
{
    expect_states(NRW_ASSUME_THIN_DOUBLE_LAYER, &setup.scenario->particles.debye_nm, 10.0, 200.0,
                  500.0);
}

Test(validity, gap_over_debye_length_by_potential)
{
    setup.scenario->particles.roughness_nm = 0.1;
    setup.scenario->model.brownian = false; /* without heat the gap is that of the forces */
    setup.scenario->particles.density_kg_m3 = 20000.0;
    setup.scenario->particles.debye_nm = 100.0;
    expect_states(NRW_ASSUME_FAR_DOUBLE_LAYERS, &setup.scenario->particles.surface_potential_mV,
                  50.0, 10.0, 5.0);
}

Test(validity, pull_of_the_floor_by_debye_length)
{
    expect_states(NRW_ASSUME_NO_ATTRACTION, &setup.scenario->particles.debye_nm, 10.0, 4.0, 0.5);
}

Test(validity, a_given_gap_asks_nothing_of_double_layers)
{
    setup.scenario->particles.surface_gap_um = 0.03;
    expect_none(NRW_ASSUME_THIN_DOUBLE_LAYER);
    expect_none(NRW_ASSUME_FAR_DOUBLE_LAYERS);
    expect_none(NRW_ASSUME_NO_ATTRACTION);
}

Test(validity, side_walls_by_size_against_width)
{
    double *d = &setup.scenario->particles.diameter_um; /* the vessel is 120 um wide */
    expect_states(NRW_ASSUME_FREE_OF_SIDES, d, 3.0, 10.0, 30.0);
    expect_none(NRW_ASSUME_OPEN_PAIR_FLOW); /* they do weaken it */
    setup.scenario->model.wall_screening = false;
    expect_states(NRW_ASSUME_OPEN_PAIR_FLOW, d, 3.0, 10.0, 30.0);
    setup.scenario->model.pair_flow = false;
    expect_none(NRW_ASSUME_OPEN_PAIR_FLOW);
    setup.scenario->model.wall_drag = true;
    expect_none(NRW_ASSUME_FREE_OF_SIDES);
}

Test(validity, ceiling_by_height_reached)
{
    /* 9/16 a/(distance of the centre) with 60 um of depth */
    expect_states(NRW_ASSUME_FREE_OF_CEILING, &seen.highest_um, 4.0, 50.0, 58.5);
    setup.scenario->map.depth_um = INFINITY;
    expect_none(NRW_ASSUME_FREE_OF_CEILING);
}

Test(validity, before_a_run_a_tilted_sheet_is_taken_to_stand_up)
{
    nrw_validity flat, steep;
    nrw_validity_of_leg(setup.scenario, setup.channel, &leg, model, NULL, NULL, &flat);
    leg.drive.main.tilt_deg = 90.0;
    nrw_validity_of_leg(setup.scenario, setup.channel, &leg, model, NULL, NULL, &steep);
    double drag[2] = {NAN, NAN};
    for (size_t k = 0; k < flat.n_items; k++)
        if (flat.items[k].assumption == NRW_ASSUME_FREE_OF_CEILING)
            drag[0] = flat.items[k].value;
    for (size_t k = 0; k < steep.n_items; k++)
        if (steep.items[k].assumption == NRW_ASSUME_FREE_OF_CEILING)
            drag[1] = steep.items[k].value;
    cr_assert_gt(drag[1], 1.3 * drag[0]); /* 26 of 60 um against 8 */
}

Test(validity, depth_against_the_gathered_swarm)
{
    expect_states(NRW_ASSUME_DEEP_CHANNEL, &setup.scenario->map.depth_um, 60.0, 15.0, 6.0);
}

/* Without ports what rollers pump must flow back. Between plates the number is
 * 12(½ − x)x(1 − x) at x of the depth, 0.577 at most (x = 0.211). */
Test(validity, return_flow_by_height)
{
    expect_none(NRW_ASSUME_NO_RETURN_FLOW); /* inlet and outlet let it out */
    remake_channel("flow: {inlets: [{node: z, rate_nl_min: 1.0}], outlets: [{node: e, pressure_Pa: "
                   "0}]}\n",
                   "");
    expect_states(NRW_ASSUME_NO_RETURN_FLOW, &setup.scenario->map.depth_um, 400.0, 30.0, 9.5);
    nrw_validity validity;
    setup.scenario->map.depth_um = 10.0;
    seen.highest_um = 4.2;
    const double x = 0.21, between_plates = 12.0 * (0.5 - x) * x * (1.0 - x);
    /* 120 um wide at 10 deep: side walls take 0.63/12 of the conductance */
    cr_assert_float_eq(judged(NRW_ASSUME_NO_RETURN_FLOW, &validity)->value, between_plates,
                       0.07 * between_plates);
    setup.scenario->model.pair_flow = false;
    expect_none(NRW_ASSUME_NO_RETURN_FLOW);
}

/* A flow carries a swarm too: its speed says nothing of rolling then. */
Test(validity, speed_against_the_particles_rims)
{
    expect_none(NRW_ASSUME_PAIR_FLOW_CONTACT);
    nrw_channel_destroy(setup.channel);
    setup.channel = NULL;
    const double rim = nrw_regime_of(setup.scenario, &leg.drive.main, NULL).rim_speed_um_s;
    cr_assert_gt(rim, 0.5);
    expect_states(NRW_ASSUME_PAIR_FLOW_CONTACT, &seen.fastest_um_s, 0.2 * rim, 0.8 * rim,
                  1.2 * rim);
}

Test(validity, crowding_as_seen_or_as_released)
{
    expect_states(NRW_ASSUME_THIN_SWARM, &seen.area_fraction, 0.05, 0.8, 2.0);
    seen.area_fraction = NAN; /* 50 of 3 um in a disc */
    expect_states(NRW_ASSUME_THIN_SWARM, &setup.scenario->release.radius_um, 40.0, 12.0, 7.0);
}

Test(validity, contacts_by_overlap)
{
    expect_states(NRW_ASSUME_HARD_CONTACTS, &seen.largest_overlap, 0.01, 0.04, 0.08);
}

Test(validity, flow_by_its_rate)
{
    expect(NRW_ASSUME_SLOW_FLOW, NRW_VALIDITY_OK);
    remake_channel("rate_nl_min: 1.0", "rate_nl_min: 2000");
    expect(NRW_ASSUME_SLOW_FLOW, NRW_VALIDITY_MARGINAL);
    remake_channel("rate_nl_min: 1.0", "rate_nl_min: 20000");
    expect(NRW_ASSUME_SLOW_FLOW, NRW_VALIDITY_OUTSIDE);
}

Test(validity, pulses_by_the_fluid_that_they_must_move)
{
    /* half the depth times the root of the angular frequency over nu: 30 um at 100 Hz */
    static const char *const fluids[] = {"viscosity_mPa_s: 3.5", "viscosity_mPa_s: 0.89",
                                         "viscosity_mPa_s: 0.5"};
    for (int k = 0; k < 3; k++) {
        remake_channel_twice("rate_nl_min: 1.0",
                             "rate_nl_min: 1.0, amplitude_nl_min: 0.5, frequency_Hz: 100",
                             "viscosity_mPa_s: 0.89", fluids[k]);
        expect(NRW_ASSUME_STEADY_FLOW, (nrw_validity_state)k);
    }
}

Test(validity, a_fluid_at_rest_asks_nothing_of_flow)
{
    remake_channel("flow: {inlets: [{node: z, rate_nl_min: 1.0}], outlets: [{node: e, pressure_Pa: "
                   "0}]}\n",
                   "");
    expect_none(NRW_ASSUME_SLOW_FLOW);
    expect_none(NRW_ASSUME_STEADY_FLOW);
    expect_none(NRW_ASSUME_FLOW_CELLS);
}

/* The cells' number follows from memory and size, up to huge maps; the number is judged
 * as any other. */
Test(validity, cells_and_uniformity_by_their_numbers)
{
    static const struct {
        nrw_assumption assumption;
        double values[3];
    } cases[] = {{NRW_ASSUME_FLOW_CELLS, {10, 6, 3}},
                 {NRW_ASSUME_UNIFORM_FIELD, {0.001, 0.02, 0.1}}};
    for (size_t c = 0; c < 2; c++) {
        for (int k = 0; k < 3; k++) {
            nrw_validity validity = {.n_items = 0};
            nrw_validity_add(&validity, cases[c].assumption, cases[c].values[k]);
            cr_assert_eq(validity.items[0].state, (nrw_validity_state)k);
        }
    }
}

Test(validity, bounds_themselves_still_hold)
{
    nrw_validity validity = {.n_items = 0};
    nrw_validity_add(&validity, NRW_ASSUME_HARD_CONTACTS, 0.03);
    nrw_validity_add(&validity, NRW_ASSUME_BONDS_BEAT_HEAT, 11.0);
    cr_assert_eq(validity.items[0].state, NRW_VALIDITY_OK);
    cr_assert_eq(validity.items[1].state, NRW_VALIDITY_OK);
}

Test(validity, each_assumption_has_key_name_and_source)
{
    for (int k = 0; k < NRW_N_ASSUMPTIONS; k++) {
        const nrw_assumption_words words = nrw_assumption_words_of((nrw_assumption)k);
        cr_assert_not_null(words.key);
        cr_assert_gt(strlen(words.name), 8);
        cr_assert_gt(strlen(words.source), 8);
        for (int other = 0; other < k; other++)
            cr_assert_str_neq(words.key, nrw_assumption_words_of((nrw_assumption)other).key);
    }
}

/* --- over a schedule ------------------------------------------------------------------- */

Test(validity, a_list_warns_once_for_each_assumption_outside_and_names_the_legs)
{
    nrw_leg legs[2] = {leg, leg};
    strcpy(legs[0].name, "first");
    strcpy(legs[1].name, "second");
    legs[0].drive.main.frequency_Hz = legs[1].drive.main.frequency_Hz = 100.0;
    legs[1].drive.main.tilt_deg = 60.0;
    const nrw_schedule schedule = {.legs = legs, .n_legs = 2};
    nrw_validity_list list = {NULL, 0, false};
    nrw_result *result = nrw_result_create("run");
    nrw_validity_list_add(&list, setup.scenario, setup.channel, &schedule, NULL, model, NULL, NULL);
    nrw_validity_figures(result, &list);
    cr_assert_eq(nrw_result_get_size(result, "figures.validity"), 2);
    cr_assert_str_eq(nrw_result_get_string(result, "figures.validity.1.leg"), "second");
    cr_assert_str_eq(nrw_result_get_string(result, "figures.validity.1.state"), "outside");
    cr_assert_str_eq(nrw_result_get_string(result, "figures.validity.1.model"), "resolved");
    cr_assert_null(nrw_result_get_string(result, "figures.validity.1.strategy"));
    cr_assert_eq(nrw_result_get_size(result, "warnings"), 1);
    const char *warning = nrw_result_get_string(result, "warnings.0");
    cr_assert_not_null(strstr(warning, "Lambda"));
    cr_assert_not_null(strstr(warning, "in leg 'second':"));
    nrw_result_destroy(result);
    nrw_validity_list_clear(&list);
}

Test(validity, a_run_lists_the_legs_that_it_entered_with_what_it_saw)
{
    nrw_leg legs[2] = {leg, leg};
    strcpy(legs[0].name, "entered twice");
    strcpy(legs[1].name, "never");
    const nrw_schedule schedule = {.legs = legs, .n_legs = 2};
    nrw_leg_visit visits[2] = {{.leg = 0, .model = NRW_MODEL_AVERAGED, .seen = seen},
                               {.leg = 0, .model = NRW_MODEL_AVERAGED, .seen = seen}};
    visits[1].seen.largest_overlap = 0.2;
    const nrw_run_result run = {.visits = visits, .n_visits = 2};
    nrw_validity_list list = {NULL, 0, false};
    nrw_validity_list_add(&list, setup.scenario, setup.channel, &schedule, "mine", model, NULL,
                          &run);
    cr_assert_eq(list.n, 1);
    cr_assert_str_eq(list.entries[0].strategy, "mine");
    cr_assert_eq(nrw_validity_worst(&list.entries[0].validity), NRW_VALIDITY_OUTSIDE);
    nrw_validity_list_clear(&list);
}
