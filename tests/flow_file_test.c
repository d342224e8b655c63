/* The flow block of a scenario: what it holds, and what is wrong with it. */
#include <criterion/criterion.h>
#include <stdlib.h>

#include "input_case.h"

static const char FLOW[] =
    "deadline_s: 300\n"
    "flow:\n"
    "  inlets: [{node: inlet, rate_nl_min: 0.5, amplitude_nl_min: 0.2, frequency_Hz: 1.5,\n"
    "            phase_deg: 90}]\n"
    "  outlets: [{node: end, pressure_Pa: 3, tube: {radius_um: 100, length_mm: 200}}]\n";

static char *with_flow(void)
{
    return input_replace(INPUT_GATE, "deadline_s: 300\n", FLOW);
}

Test(flow_file, ports_are_read_as_written)
{
    char *text = with_flow();
    nrw_scenario *scenario = input_scenario(text);
    free(text);
    cr_assert_eq(scenario->flow.n_ports, 2);
    const nrw_flow_port *in = &scenario->flow.ports[0], *out = &scenario->flow.ports[1];
    cr_assert_eq(in->node, 0);
    cr_assert(!in->is_outlet && !in->by_pressure);
    cr_assert_eq(in->rate_nl_min, 0.5);
    cr_assert_eq(in->amplitude, 0.2);
    cr_assert_eq(in->frequency_Hz, 1.5);
    cr_assert_eq(in->phase_deg, 90);
    cr_assert_eq(out->node, 2);
    cr_assert(out->is_outlet && out->by_pressure);
    cr_assert_eq(out->pressure_Pa, 3);
    cr_assert_eq(out->tube_radius_um, 100);
    cr_assert_eq(out->tube_length_mm, 200);
    cr_assert(scenario->map.nodes[0].is_inlet && scenario->map.nodes[2].is_outlet);
    cr_assert(!scenario->map.nodes[1].is_inlet && !scenario->map.nodes[1].is_outlet);
    nrw_scenario_destroy(scenario);
}

Test(flow_file, an_outlet_of_which_nothing_is_said_is_at_pressure_0)
{
    char *text = input_replace(INPUT_GATE, "deadline_s: 300\n",
                               "deadline_s: 300\n"
                               "flow: {inlets: [{node: inlet, pressure_Pa: 1}],\n"
                               "       outlets: [{node: end}]}\n");
    nrw_scenario *scenario = input_scenario(text);
    free(text);
    cr_assert(scenario->flow.ports[1].by_pressure);
    cr_assert_eq(scenario->flow.ports[1].pressure_Pa, 0);
    nrw_scenario_destroy(scenario);
}

Test(flow_file, without_the_block_nothing_flows)
{
    nrw_scenario *scenario = input_scenario(INPUT_GATE);
    cr_assert_eq(scenario->flow.n_ports, 0);
    nrw_scenario_destroy(scenario);
}

Test(flow_file, what_is_wrong_is_told_at_its_place)
{
    static const input_case cases[] = {
        {"node: inlet, rate", "node: ^inlat, rate", "flow.inlets[0].node", "'inlat' is no node",
         "did you mean 'inlet'?"},
        {"rate_nl_min: 0.5", "rate_nl_min: ^lots", "flow.inlets[0].rate_nl_min", "no number",
         "nl/min"},
        {"rate_nl_min: 0.5, amplitude_nl_min", "rate_nl_min: 0.5, ^pressure_Pa: 1, amplitude_Pa",
         "flow.inlets[0].pressure_Pa", "the rate is given too", "one of"},
        {"rate_nl_min: 0.5, amplitude_nl_min: 0.2, frequency_Hz: 1.5,\n            phase_deg: 90",
         "rate_nl_min: 1, ^tubing: 3", "flow.inlets[0].tubing", "unknown key", "tube"},
        {"amplitude_nl_min: 0.2", "^amplitude_Pa: 0.2", "flow.inlets[0].amplitude_Pa",
         "does not belong", "amplitude_nl_min"},
        {"{node: inlet, rate_nl_min: 0.5, amplitude_nl_min: 0.2, frequency_Hz: 1.5,\n"
         "            phase_deg: 90",
         "^{node: inlet, rate_nl_min: 0.5, amplitude_nl_min: 0.2, phase_deg: 90",
         "flow.inlets[0].frequency_Hz", "missing", "Hz"},
        {"amplitude_nl_min: 0.2, frequency_Hz: 1.5,\n            phase_deg: 90",
         "^frequency_Hz: 1.5", "flow.inlets[0].frequency_Hz", "needs something that pulses",
         "amplitude"},
        {"frequency_Hz: 1.5", "frequency_Hz: ^1000", "flow.inlets[0].frequency_Hz", "out of range",
         "100"},
        {"outlets: [{node: end,", "outlets: [{node: ^inlet,", "flow.outlets[0].node",
         "'inlet' is an inlet already", "a node of its own"},
        {"outlets: [{node: end,", "outlets: [{node: ^mouth,", "flow.outlets[0].node",
         "2 vessels meet at 'mouth'", "the end of one vessel"},
        {"pressure_Pa: 3, tube", "rate_nl_min: 3, ^tube", "flow.outlets[0].tube", "passes any tube",
         "pressure_Pa"},
        {"radius_um: 100, length_mm", "radius_um: ^0, length_mm", "flow.outlets[0].tube.radius_um",
         "out of range", "µm"},
        {"outlets: [{node: end, pressure_Pa: 3, tube: {radius_um: 100, length_mm: 200}}]",
         "outlets: ^[]", "flow.outlets", "there are 0", "1 to 1000"},
    };
    char *good = with_flow();
    input_expect_scenario_cases(good, cases, sizeof cases / sizeof *cases);
    free(good);
}

Test(flow_file, flow_needs_vessels)
{
    static const input_case open = {"channel: {open: true}\n",
                                    "channel: {open: true}\n^flow: {inlets: [{node: a, "
                                    "rate_nl_min: 1}], outlets: [{node: b}]}\n",
                                    "flow", "no vessels to flow through", "leave it out"};
    static const char good[] = "format: narrows-scenario/1\n"
                               "fluid: {medium: water, temperature_C: 25}\n"
                               "particles: {count: 1, diameter_um: 3.0, density_kg_m3: 1800,\n"
                               "            magnetics: {kind: induced, susceptibility: 0.3}}\n"
                               "channel: {open: true}\n"
                               "release: {at_um: [0, 0], radius_um: 4}\n"
                               "target: {at_um: [50, 0], radius_um: 4}\n"
                               "deadline_s: 300\n";
    input_expect_scenario_cases(good, &open, 1);
}
