#include "channel_setup.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <string.h>

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
