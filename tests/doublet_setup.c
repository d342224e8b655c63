#include "doublet_setup.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

small_setup doublet_setup(size_t n, const double (*at_um)[3], bool floor, const char *magnetics,
                          const char *shape)
{
    char yaml[1500];
    (void)snprintf(yaml, sizeof yaml,
                   "format: narrows-scenario/1\n"
                   "fluid: {medium: water, temperature_C: 25}\n"
                   "particles:\n"
                   "  count: 1\n"
                   "  diameter_um: 3.0\n"
                   "  density_kg_m3: 1800\n"
                   "  %s\n"
                   "  shape: %s\n"
                   "channel: {open: true, floor: %s}\n"
                   "release: {at_um: [0, 0], radius_um: 40}\n"
                   "target: {at_um: [500, 0], radius_um: 50}\n"
                   "deadline_s: 100\n"
                   "model: {brownian: false, pair_flow: false, gravity: %s}\n",
                   magnetics, shape, floor ? "true" : "false", floor ? "true" : "false");
    small_setup setup = small_setup_of(yaml);
    nrw_particles *particles = &setup.scenario->particles;
    particles->count = n;
    particles->positions_um = malloc(n * sizeof *particles->positions_um);
    cr_assert_not_null(particles->positions_um);
    memcpy(particles->positions_um, at_um, n * sizeof *at_um);
    return setup;
}

double doublet_advance(nrw_world *world, const nrw_field *field, nrw_vec3 axis, double seconds,
                       double h_s)
{
    nrw_errors errors;
    nrw_errors_init(&errors);
    const double begun = world->time_s, end = begun + seconds;
    double turned = 0.0;
    while (end - world->time_s > 1e-9) {
        nrw_excitation excitation;
        memset(&excitation, 0, sizeof excitation);
        double h = end - world->time_s, taken;
        if (h_s > 0.0)
            h = h / ceil(h / h_s - 1e-6);
        else
            nrw_doublets_step_length(world, field, &h);
        const double phase = 2.0 * NRW_PI * field->frequency_Hz * (world->time_s + 0.5 * h);
        nrw_doublets_excite(world, field, phase, &excitation);
        const nrw_status status = nrw_world_step(world, &excitation, h, &taken, &errors);
        cr_assert_eq(status, NRW_OK, "%s", errors.n_items ? errors.items[0].what : "");
        for (size_t i = 0; i < world->n; i++)
            turned +=
                taken / (double)world->n * nrw_vec3_dot(axis, world->doublets->bodies[i].spin);
    }
    nrw_errors_clear(&errors);
    return turned / seconds;
}

nrw_field doublet_steady(double x_mT, double y_mT, double z_mT)
{
    nrw_field field;
    memset(&field, 0, sizeof field);
    field.steady = (nrw_vec3){x_mT, y_mT, z_mT};
    return field;
}
