#include "small_setup.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

small_setup small_setup_of(const char *yaml)
{
    small_setup setup = {NULL, NULL};
    nrw_errors errors;
    nrw_errors_init(&errors);
    nrw_status status =
        nrw_scenario_parse(yaml, strlen(yaml), "small.yaml", &setup.scenario, &errors);
    if (status == NRW_OK)
        status = nrw_channel_create(setup.scenario, &setup.channel, &errors);
    cr_assert_eq(status, NRW_OK, "%s: %s", errors.n_items ? errors.items[0].key : "",
                 errors.n_items ? errors.items[0].what : "");
    nrw_errors_clear(&errors);
    return setup;
}

small_setup small_setup_open(size_t n, const double (*at_um)[3])
{
    small_setup setup = small_setup_of("format: narrows-scenario/1\n"
                                       "title: a few particles in an open map\n"
                                       "fluid: {medium: water, temperature_C: 25}\n"
                                       "particles:\n"
                                       "  count: 1\n"
                                       "  diameter_um: 3.0\n"
                                       "  density_kg_m3: 1800\n"
                                       "  magnetics: {kind: induced, susceptibility: 0.30,\n"
                                       "              relaxation_time_s: 1.03e-5}\n"
                                       "channel: {open: true}\n"
                                       "release: {at_um: [0, 0], radius_um: 40}\n"
                                       "target: {at_um: [500, 0], radius_um: 50}\n"
                                       "deadline_s: 100\n"
                                       "model: {brownian: false, pair_flow: false}\n");
    if (!at_um)
        return setup;
    nrw_particles *particles = &setup.scenario->particles;
    particles->count = n;
    particles->positions_um = malloc(n * sizeof *particles->positions_um);
    cr_assert_not_null(particles->positions_um);
    memcpy(particles->positions_um, at_um, n * sizeof *at_um);
    return setup;
}

small_setup small_setup_lattice(size_t n, size_t columns, size_t stride)
{
    double(*at)[3] = malloc(n * sizeof *at);
    cr_assert_not_null(at);
    for (size_t k = 0; k < n; k++) {
        const size_t i = k * stride % n, row = k / columns, column = k % columns;
        at[i][0] = 3.03 * ((double)column + 0.5 * (double)(row % 2)) + 0.05 * sin(3.0 * (double)k);
        at[i][1] = 2.65 * (double)row + 0.05 * cos(5.0 * (double)k);
        at[i][2] = NAN;
    }
    const small_setup setup = small_setup_open(n, (const double(*)[3])at);
    free(at);
    return setup;
}

void small_setup_permanent(small_setup *setup, double moment_fAm2, const double *moments_deg)
{
    nrw_particles *particles = &setup->scenario->particles;
    particles->kind = NRW_MOMENT_PERMANENT;
    particles->moment_fAm2 = moment_fAm2;
    if (!moments_deg)
        return;
    particles->moments_deg = malloc(particles->count * sizeof(double));
    cr_assert_not_null(particles->moments_deg);
    memcpy(particles->moments_deg, moments_deg, particles->count * sizeof(double));
}

void small_setup_clear(small_setup *setup)
{
    nrw_channel_destroy(setup->channel);
    nrw_scenario_destroy(setup->scenario);
}

nrw_world *small_world(const small_setup *setup, bool own_moments)
{
    return small_world_of_seed(setup, own_moments, 1);
}

nrw_world *small_world_of_seed(const small_setup *setup, bool own_moments, uint64_t seed)
{
    const nrw_draw nominal = {1.0, 1.0, 1.0, 1.0};
    nrw_world *world = NULL;
    nrw_errors errors;
    nrw_errors_init(&errors);
    nrw_status status =
        nrw_world_create(setup->scenario, setup->channel, &nominal, seed,
                         setup->scenario->particles.count, own_moments, &world, &errors);
    cr_assert_eq(status, NRW_OK, "%s", errors.n_items ? errors.items[0].what : "");
    nrw_errors_clear(&errors);
    return world;
}

nrw_excitation small_excitation(const nrw_world *world, const nrw_field *field)
{
    nrw_excitation excitation;
    memset(&excitation, 0, sizeof excitation);
    excitation.n_substeps = 1;
    excitation.field = field->steady;
    excitation.size2 = world->body.permanent_fAm2 * world->body.permanent_fAm2;
    if (world->own_moments)
        return excitation;
    const nrw_average average = nrw_average_of(&world->body, field);
    excitation.tensor = average.moment2;
    excitation.torque = average.torque;
    excitation.size2 = average.size2;
    return excitation;
}

void small_advance(nrw_world *world, const nrw_excitation *excitation, double seconds, double h_s)
{
    nrw_errors errors;
    nrw_errors_init(&errors);
    const double end = world->time_s + seconds;
    while (end - world->time_s > 1e-9) {
        const double left = end - world->time_s;
        double taken = 0.0;
        nrw_status status =
            nrw_world_step(world, excitation, left / ceil(left / h_s - 1e-6), &taken, &errors);
        cr_assert_eq(status, NRW_OK, "%s", errors.n_items ? errors.items[0].what : "");
    }
    nrw_errors_clear(&errors);
}

nrw_field small_rotating(double field_mT, double frequency_Hz, double tilt_deg)
{
    nrw_drive_setting setting = nrw_drive_setting_defaults();
    setting.field_mT = field_mT;
    setting.frequency_Hz = frequency_Hz;
    setting.tilt_deg = tilt_deg;
    return nrw_drive_field(&setting, 0.0, tilt_deg);
}
