#include "straight_route.h"

#include <criterion/criterion.h>
#include <math.h>

nrw_channel *straight_route(double from_x_um, double from_y_um, double to_x_um, double to_y_um)
{
    nrw_scenario scenario = {
        .fluid = {NRW_MEDIUM_WATER, 25.0, 8.9e-4, 997.0},
        .particles = {.count = 150,
                      .diameter_um = 3.0,
                      .density_kg_m3 = 1800.0,
                      .kind = NRW_MOMENT_INDUCED,
                      .susceptibility = 0.3,
                      .saturation_kA_m = INFINITY,
                      .surface_gap_um = NAN},
        .map = {.open = true, .has_floor = true, .depth_um = INFINITY},
        .has_release = true,
        .release = {-1, {from_x_um, from_y_um}, 34.0},
        .target = {-1, {to_x_um, to_y_um}, 90.0},
        .deadline_s = 300.0,
    };
    nrw_channel *channel = NULL;
    nrw_errors errors;
    nrw_errors_init(&errors);
    nrw_status status = nrw_channel_create(&scenario, &channel, &errors);
    cr_assert_eq(status, NRW_OK, "%s", errors.n_items ? errors.items[0].what : "");
    nrw_errors_clear(&errors);
    return channel;
}
