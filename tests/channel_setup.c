#include "channel_setup.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <string.h>

#include "random.h"

static const char HEAD[] = "format: narrows-scenario/1\n"
                           "title: a channel\n"
                           "fluid: {medium: water, temperature_C: 25}\n"
                           "particles:\n"
                           "  count: 150\n"
                           "  diameter_um: %g\n"
                           "  density_kg_m3: 1800\n"
                           "  magnetics: {kind: induced, susceptibility: 0.30}\n"
                           "deadline_s: 100\n"
                           "%s";

const char CHANNEL_EXAMPLE[] = "channel:\n"
                               "  depth_um: 60\n"
                               "  nodes:\n"
                               "    inlet:   {at_um: [-200, 0]}\n"
                               "    release: {at_um: [0, 0]}\n"
                               "    mouth:   {at_um: [400, 0]}\n"
                               "    end:     {at_um: [900, 0]}\n"
                               "    outlet:  {at_um: [1100, 0]}\n"
                               "  vessels:\n"
                               "    - {from: inlet, to: release, width_um: 220}\n"
                               "    - {from: release, to: mouth, width_um: 220}\n"
                               "    - {from: mouth, to: end, via_um: [[500, 20]],\n"
                               "       width_um: [[0, 220], [0.3, 16], [0.5, 16], [0.8, 220]]}\n"
                               "    - {from: end, to: outlet, width_um: 220}\n"
                               "release: {node: release, radius_um: 34}\n"
                               "target:  {node: end, radius_um: 90}\n"
                               "route: [release, mouth, end]\n";

channel_setup channel_setup_sized(const char *body, double diameter_um)
{
    static char text[200000];
    channel_setup setup = {.status = NRW_OK};
    nrw_errors_init(&setup.errors);
    int length = snprintf(text, sizeof text, HEAD, diameter_um, body);
    cr_assert(length > 0 && (size_t)length < sizeof text);
    nrw_status read =
        nrw_scenario_parse(text, strlen(text), "channel.yaml", &setup.scenario, &setup.errors);
    cr_assert_eq(read, NRW_OK, "%s: %s", setup.errors.n_items ? setup.errors.items[0].key : "",
                 setup.errors.n_items ? setup.errors.items[0].what : "");
    setup.status = nrw_channel_create(setup.scenario, &setup.channel, &setup.errors);
    cr_assert((setup.status == NRW_OK) == (setup.channel != NULL));
    return setup;
}

channel_setup channel_setup_of(const char *body)
{
    return channel_setup_sized(body, 3.0);
}

channel_setup channel_setup_good(const char *body)
{
    channel_setup setup = channel_setup_of(body);
    cr_assert_eq(setup.status, NRW_OK, "%s: %s",
                 setup.errors.n_items ? setup.errors.items[0].key : "",
                 setup.errors.n_items ? setup.errors.items[0].what : "");
    return setup;
}

void channel_setup_clear(channel_setup *setup)
{
    nrw_channel_destroy(setup->channel);
    nrw_scenario_destroy(setup->scenario);
    nrw_errors_clear(&setup->errors);
}

const char CHANNEL_STRAIGHT[] = "channel:\n"
                                "  depth_um: 60\n"
                                "  nodes: {a: {at_um: [0, 0]}, b: {at_um: [300, 0]}}\n"
                                "  vessels: [{from: a, to: b, width_um: 80}]\n"
                                "release: {at_um: [50, 0], radius_um: 30}\n"
                                "target: {at_um: [250, 0], radius_um: 30}\n";

const char CHANNEL_FORK[] = "channel:\n"
                            "  depth_um: 60\n"
                            "  nodes:\n"
                            "    a: {at_um: [-200, 0]}\n"
                            "    fork: {at_um: [0, 0]}\n"
                            "    left: {at_um: [150, 150]}\n"
                            "    right: {at_um: [150, -150]}\n"
                            "  vessels:\n"
                            "    - {from: a, to: fork, width_um: 80}\n"
                            "    - {from: fork, to: left, width_um: 30}\n"
                            "    - {from: fork, to: right, width_um: 24}\n"
                            "release: {at_um: [-100, 0], radius_um: 34}\n"
                            "target: {at_um: [120, 120], radius_um: 10}\n";

const char CHANNEL_THIN_WALL[] =
    "channel:\n"
    "  depth_um: 60\n"
    "  nodes: {a: {at_um: [0, 0]}, b: {at_um: [200, 0]}, c: {at_um: [200, 40.2]},\n"
    "          d: {at_um: [0, 40.2]}}\n"
    "  vessels:\n"
    "    - {from: a, to: b, width_um: 40}\n"
    "    - {from: c, to: d, width_um: 40}\n"
    "    - {from: b, to: c, width_um: 0.6, via_um: [[230, 0], [230, 40.2]]}\n"
    "release: {at_um: [50, 0], radius_um: 15}\n"
    "target: {at_um: [50, 40.2], radius_um: 15}\n";

double channel_setup_exact_um(const channel_setup *setup, double x, double y)
{
    return nrw_channel_distance_exact_um(setup->channel, x, y);
}

double channel_setup_uniform(uint32_t index, uint32_t step, double low, double high)
{
    return low + (high - low) * nrw_uniform(7, NRW_STREAM_START, index, step);
}

double channel_setup_area_um2(const channel_setup *setup)
{
    size_t n;
    const nrw_wall_segment *walls = nrw_channel_outline(setup->channel, &n);
    double twice = 0.0;
    for (size_t i = 0; i < n; i++)
        twice += walls[i].a_um[0] * walls[i].b_um[1] - walls[i].a_um[1] * walls[i].b_um[0];
    return 0.5 * twice;
}
