#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "leg_tally.h"
#include "particle.h"
#include "run.h"
#include "small_setup.h"

/* How high a swarm stands, and that results tell it. */

static small_setup setup;
static nrw_leg leg;
static nrw_run_result result;

static void begin(void)
{
    leg = nrw_leg_defaults();
    leg.drive.main.field_mT = 10.0;
    leg.drive.main.frequency_Hz = 50.0;
    memset(&result, 0, sizeof result);
}

static void end(void)
{
    nrw_run_result_clear(&result);
    small_setup_clear(&setup);
}

TestSuite(layers, .init = begin, .fini = end);

static void run_for(double seconds)
{
    leg.timeout_s = seconds;
    nrw_schedule schedule = {.legs = &leg, .n_legs = 1};
    const nrw_run_config config = nrw_run_config_defaults();
    nrw_errors errors;
    nrw_errors_init(&errors);
    const nrw_status status =
        nrw_run(setup.scenario, setup.channel, &schedule, &config, &result, &errors);
    cr_assert_eq(status, NRW_OK, "%s", errors.n_items ? errors.items[0].what : "");
    nrw_errors_clear(&errors);
}

Test(layers, a_layer_is_a_diameter_and_begins_half_a_one_below)
{
    setup = small_setup_open(1, NULL);
    cr_assert_eq(nrw_layer_of(1.6, 1.6, 3.0), 1);
    cr_assert_eq(nrw_layer_of(1.5, 1.6, 3.0), 1);
    cr_assert_eq(nrw_layer_of(3.09, 1.6, 3.0), 1);
    cr_assert_eq(nrw_layer_of(3.11, 1.6, 3.0), 2);
    cr_assert_eq(nrw_layer_of(1.6 + 9.0, 1.6, 3.0), 4);
}

/* Three that lean on each other, in a leaning heap. */
static void heap(void)
{
    static const double at[3][3] = {{0.0, 0.0, 1.65}, {1.6, 0.3, 4.3}, {0.4, 1.2, 6.9}};
    setup = small_setup_open(3, at);
}

Test(layers, a_vertical_field_raises_a_standing_file)
{
    heap();
    leg.drive.main.mode = NRW_DRIVE_STEADY;
    leg.drive.main.elevation_deg = 90.0;
    run_for(4.0);
    for (int i = 1; i < 3; i++) {
        /* straight up, each on the one below */
        cr_assert_float_eq(result.x_um[i], result.x_um[0], 0.05);
        cr_assert_float_eq(result.y_um[i], result.y_um[0], 0.05);
        /* contacts of 150 pN/µm give way by up to 4 % */
        cr_assert_float_eq(result.z_um[i] - result.z_um[i - 1], 3.0, 0.12);
    }
    const nrw_leg_tally *tally = &result.visits[0].tally;
    cr_assert_eq(tally->layers_most, 3);
    cr_assert_float_eq(tally->layers_mean, 2.0, 0.05);
    for (int k = 0; k < 3; k++)
        cr_assert_float_eq(tally->layer_share[k], 1.0 / 3.0, 0.05);
    cr_assert_eq(tally->layer_share[3], 0.0);
}

Test(layers, the_lowest_of_a_file_is_pressed_to_the_gap_of_the_whole_weight)
{
    /* dipoles and contacts of the file carry each other; the floor carries all three
     * (docs/physics.md, equation 5.11, with the load of three) */
    heap();
    leg.drive.main.mode = NRW_DRIVE_STEADY;
    leg.drive.main.elevation_deg = 90.0;
    run_for(6.0);
    const double weight = nrw_particle_weight_pN(setup.scenario, 3.0);
    const double gap = nrw_particle_gap_um(setup.scenario, 3.0, 3.0 * weight, false);
    cr_assert_lt(gap, nrw_particle_gap_um(setup.scenario, 3.0, weight, false) - 0.005);
    /* sweeps end within 6 nm a substep; one particle alone would stand 10 nm higher */
    cr_assert_float_eq(result.z_um[0] - 1.5, gap, 0.003, "%g against %g", result.z_um[0] - 1.5,
                       gap);
}

Test(layers, without_a_field_the_heap_falls_down)
{
    heap();
    leg.drive.main.mode = NRW_DRIVE_OFF;
    run_for(20.0);
    for (int i = 0; i < 3; i++)
        cr_assert_lt(result.z_um[i], 2.0, "%d at %g", i, result.z_um[i]);
    cr_assert_eq(result.visits[0].tally.layers_most, 3); /* at the start */
}

static void loose_swarm(void)
{
    setup = small_setup_open(1, NULL);
    setup.scenario->particles.count = 40;
    setup.scenario->release.radius_um = 18.0;
    setup.scenario->model.pair_flow = true;
    setup.scenario->model.brownian = true;
}

Test(layers, a_sheet_in_the_plane_is_one_layer_and_a_tilted_one_stands_in_several)
{
    loose_swarm();
    run_for(8.0);
    const nrw_leg_tally flat = result.visits[0].tally;
    nrw_run_result_clear(&result);
    leg.drive.main.tilt_deg = 30.0;
    run_for(8.0);
    const nrw_leg_tally tilted = result.visits[0].tally;
    cr_assert_gt(flat.layer_share[0], 0.98, "%g", flat.layer_share[0]);
    cr_assert_geq(tilted.layers_most, 3);
    cr_assert_gt(tilted.layers_mean, flat.layers_mean + 0.3, "%g", tilted.layers_mean);
    double sum = 0.0;
    for (int k = 0; k < NRW_LAYERS_TOLD; k++)
        sum += tilted.layer_share[k];
    cr_assert_float_eq(sum, 1.0, 1e-12);
}

Test(layers, without_a_floor_nothing_is_counted)
{
    static const double at[2][3] = {{0.0, 0.0, 0.0}, {4.0, 0.0, 0.0}};
    setup = small_setup_open(2, at);
    setup.scenario->map.has_floor = false;
    setup.scenario->model.gravity = false;
    run_for(0.5);
    cr_assert_eq(result.visits[0].tally.layers_most, 0);
    cr_assert(isnan(result.visits[0].tally.layers_mean));
}
