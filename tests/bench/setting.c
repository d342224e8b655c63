#include <math.h>
#include <stdio.h>
#include <string.h>

#include "average.h"
#include "bench.h"
#include "schedule_file.h"

#define PARTICLES                                                                                  \
    "format: narrows-scenario/1\n"                                                                 \
    "fluid: {medium: water, temperature_C: 25}\n"                                                  \
    "particles:\n"                                                                                 \
    "  count: %zu\n"                                                                               \
    "  diameter_um: 3.0\n"                                                                         \
    "  diameter_cv: 0.05\n"                                                                        \
    "  density_kg_m3: 1800\n"                                                                      \
    "  magnetics: {kind: induced, susceptibility: 0.30, relaxation_time_s: 1.0e-5}\n"

/* scenarios/straight-gate.yaml with lengths in the plane times a factor. */
static const char gate[] =
    PARTICLES "channel:\n"
              "  depth_um: 60\n"
              "  nodes:\n"
              "    shore: {at_um: [%.9g, 0]}\n"
              "    pond: {at_um: [0, 0]}\n"
              "    mouth: {at_um: [%.9g, 0]}\n"
              "    room: {at_um: [%.9g, 0]}\n"
              "    far: {at_um: [%.9g, 0]}\n"
              "  vessels:\n"
              "    - {from: shore, to: pond, width_um: %.9g}\n"
              "    - {from: pond, to: mouth, width_um: %.9g}\n"
              "    - {from: mouth, to: room, width_um: [[0, %.9g], [0.34, %.9g], [0.57, %.9g], "
              "[0.9, %.9g]]}\n"
              "    - {from: room, to: far, width_um: %.9g}\n"
              "release: {node: pond, radius_um: %.9g}\n"
              "target: {node: room, radius_um: %.9g}\n"
              "deadline_s: %.9g\n"
              "imaging: {frame_rate_Hz: 10, pixel_um: 1.3, centroid_noise_um: 2, "
              "smallest_visible_um2: 400}\n";

static const char drive[] =
    "format: narrows-schedule/1\n"
    "legs:\n"
    "  - name: gather\n"
    "    drive: {mode: rotating, field_mT: 10, frequency_Hz: 50}\n"
    "    until: {elapsed_s: %.9g}\n"
    "    timeout_s: %.9g\n"
    "  - name: squeeze\n"
    "    drive: {mode: rotating, tilt_deg: 30, field_mT: 10, frequency_Hz: 50,\n"
    "            heading: centreline, wobble: {deg: 30, period_s: 3}}\n"
    "    until: {elapsed_s: %.9g}\n"
    "    timeout_s: %.9g\n";

static const char open_floor[] = PARTICLES "channel: {open: true%s}\n"
                                           "release: {at_um: [0, 0], radius_um: %.9g}\n"
                                           "target: {at_um: [10000, 0], radius_um: 10}\n"
                                           "deadline_s: 1000\n"
                                           "%s";

static bool told(nrw_status status, nrw_errors *errors)
{
    if (status != NRW_OK)
        for (size_t k = 0; k < errors->n_items; k++)
            (void)fprintf(stderr, "bench: %s: %s\n", errors->items[k].key, errors->items[k].what);
    nrw_errors_clear(errors);
    return status == NRW_OK;
}

static bool make(bench_setting *setting, const char *scenario, const char *schedule)
{
    nrw_errors errors;
    nrw_errors_init(&errors);
    memset(setting, 0, sizeof *setting);
    nrw_status status = nrw_scenario_parse(scenario, strlen(scenario), "bench scenario",
                                           &setting->scenario, &errors);
    if (status == NRW_OK)
        status = nrw_channel_create(setting->scenario, &setting->channel, &errors);
    if (status == NRW_OK && schedule)
        status = nrw_schedule_parse(schedule, strlen(schedule), "bench schedule", setting->scenario,
                                    &setting->schedule, &errors);
    return told(status, &errors);
}

bool bench_setting_gate(bench_setting *setting, size_t n, double gather_s, double deadline_s)
{
    const double s = sqrt((double)n / 150.0), wide = 180.0 * s, throat = 14.5 * s;
    char scenario[2048], schedule[1024];
    (void)snprintf(scenario, sizeof scenario, gate, n, -120.0 * s, 100.0 * s, 380.0 * s, 480.0 * s,
                   wide, wide, wide, throat, throat, wide, wide, 28.0 * s, 70.0 * s, deadline_s);
    (void)snprintf(schedule, sizeof schedule, drive, gather_s, gather_s + 1.0, deadline_s,
                   deadline_s + 1.0);
    return make(setting, scenario, schedule);
}

bool bench_setting_demo(bench_setting *setting, const char *schedule)
{
    nrw_errors errors;
    nrw_errors_init(&errors);
    memset(setting, 0, sizeof *setting);
    nrw_status status =
        nrw_scenario_load("scenarios/straight-gate.yaml", &setting->scenario, &errors);
    if (status == NRW_OK)
        status = nrw_channel_create(setting->scenario, &setting->channel, &errors);
    if (status == NRW_OK)
        status = nrw_schedule_load(schedule, setting->scenario, &setting->schedule, &errors);
    return told(status, &errors);
}

bool bench_setting_open(bench_setting *setting, size_t n, bool bare)
{
    char scenario[2048], schedule[1024];
    (void)snprintf(scenario, sizeof scenario, open_floor, n, bare ? ", floor: false" : "",
                   10.0 + 2.2 * sqrt((double)n),
                   bare ? "model: {brownian: false, pair_flow: false, gravity: false, "
                          "contact_brake_factor: 0}\n"
                        : "");
    (void)snprintf(schedule, sizeof schedule, drive, 5.0, 6.0, 1000.0, 1001.0);
    return make(setting, scenario, schedule);
}

void bench_setting_clear(bench_setting *setting)
{
    nrw_schedule_clear(&setting->schedule);
    nrw_channel_destroy(setting->channel);
    nrw_scenario_destroy(setting->scenario);
    memset(setting, 0, sizeof *setting);
}

nrw_world *bench_world_make(const bench_setting *setting, uint64_t seed)
{
    const nrw_draw nominal = {1.0, 1.0, 1.0, 1.0};
    nrw_world *world = NULL;
    nrw_errors errors;
    nrw_errors_init(&errors);
    return told(nrw_world_create(setting->scenario, setting->channel, &nominal, seed,
                                 setting->scenario->particles.count, false, &world, &errors),
                &errors)
               ? world
               : NULL;
}

nrw_excitation bench_excitation(const nrw_world *world, double tilt_deg)
{
    const double tilt = tilt_deg * NRW_PI / 180.0;
    const nrw_field field = {.cos = {10.0, 0.0, 0.0},
                             .sin = {0.0, 10.0 * cos(tilt), -10.0 * sin(tilt)},
                             .frequency_Hz = 50.0};
    const nrw_average average = nrw_average_of(&world->body, &field);
    nrw_excitation excitation;
    memset(&excitation, 0, sizeof excitation);
    excitation.n_substeps = 1;
    excitation.tensor = average.moment2;
    excitation.torque = average.torque;
    excitation.size2 = average.size2;
    return excitation;
}
