/* The flow block of a scenario: inlets and outlets. */
#include <math.h>
#include <stdlib.h>

#include "scenario_file.h"

#define N(array) (sizeof(array) / sizeof *(array))

#define RATES NRW_FROM_TO(-1e9, 1e9)
#define AMPLITUDES NRW_FROM_TO(0.0, 1e9)
/* Faster pulses than the steps of a run would be lost. */
#define FREQUENCIES NRW_ABOVE_TO(0.0, 100.0)
enum { PORTS_MAX = 1000, PULSES_MAX = 16 };

static const nrw_yaml_field PORT_FIELDS[] = {
    NRW_REQUIRED_OTHER("node"),
    NRW_OPTIONAL("rate_nl_min", NRW_YAML_DOUBLE, nrw_flow_port, rate_nl_min, RATES),
    NRW_OPTIONAL("pressure_Pa", NRW_YAML_DOUBLE, nrw_flow_port, pressure_Pa, RATES),
    NRW_OPTIONAL("amplitude_nl_min", NRW_YAML_DOUBLE, nrw_flow_port, amplitude, AMPLITUDES),
    NRW_OPTIONAL("amplitude_Pa", NRW_YAML_DOUBLE, nrw_flow_port, amplitude, AMPLITUDES),
    NRW_OPTIONAL("frequency_Hz", NRW_YAML_DOUBLE, nrw_flow_port, frequency_Hz, FREQUENCIES),
    NRW_OPTIONAL("phase_deg", NRW_YAML_DOUBLE, nrw_flow_port, phase_deg,
                 NRW_FROM_TO(-360.0, 360.0)),
    NRW_OPTIONAL_OTHER("tube"),
};

static void read_tube(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_flow_port *port)
{
    static const nrw_yaml_field fields[] = {
        NRW_REQUIRED("radius_um", NRW_YAML_DOUBLE, nrw_flow_port, tube_radius_um,
                     NRW_FROM_TO(0.1, 1e5)),
        NRW_REQUIRED("length_mm", NRW_YAML_DOUBLE, nrw_flow_port, tube_length_mm,
                     NRW_ABOVE_TO(0.0, 1e5)),
    };
    if (!port->by_pressure)
        (void)nrw_yaml_error_at_key(doc, node, "pressure_Pa, or no tube",
                                    "a given rate passes any tube");
    else
        (void)nrw_yaml_fields(doc, node, fields, N(fields), port);
}

/* That the keys of a port belong to each other. */
static void check_port(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_flow_port *port)
{
    const nrw_yaml_node *rate = nrw_yaml_get(node, "rate_nl_min");
    const nrw_yaml_node *pressure = nrw_yaml_get(node, "pressure_Pa");
    const nrw_yaml_node *pulse_rate = nrw_yaml_get(node, "amplitude_nl_min");
    const nrw_yaml_node *pulse_pressure = nrw_yaml_get(node, "amplitude_Pa");
    const nrw_yaml_node *frequency = nrw_yaml_get(node, "frequency_Hz");
    const nrw_yaml_node *phase = nrw_yaml_get(node, "phase_deg");
    const nrw_yaml_node *wrong = port->by_pressure ? pulse_rate : pulse_pressure;
    bool pulses = pulse_rate || pulse_pressure;
    if (rate && pressure)
        (void)nrw_yaml_error_at_key(doc, pressure, "one of rate_nl_min and pressure_Pa",
                                    "the rate is given too");
    if (!rate && !pressure && !port->is_outlet)
        (void)nrw_yaml_error(doc, node, "rate_nl_min or pressure_Pa",
                             "nothing says how much flows in");
    if (wrong)
        (void)nrw_yaml_error_at_key(doc, wrong,
                                    port->by_pressure ? "amplitude_Pa, as pressure_Pa"
                                                      : "amplitude_nl_min, as rate_nl_min",
                                    "does not belong to what is given");
    if (pulses && !frequency)
        (void)nrw_yaml_error_missing(doc, node, "frequency_Hz", "a number in Hz above 0");
    if (frequency && !pulses)
        (void)nrw_yaml_error_at_key(doc, frequency, "an amplitude with it",
                                    "a frequency needs something that pulses");
    if (phase && !pulses)
        (void)nrw_yaml_error_at_key(doc, phase, "an amplitude with it",
                                    "a phase needs something that pulses");
}

static void read_port(nrw_yaml_doc *doc, const nrw_yaml_node *node, bool is_outlet,
                      nrw_scenario *scenario)
{
    nrw_flow_port port = {.node = -1, .is_outlet = is_outlet};
    if (!nrw_yaml_is_map(doc, node))
        return;
    (void)nrw_yaml_fields(doc, node, PORT_FIELDS, N(PORT_FIELDS), &port);
    port.by_pressure =
        nrw_yaml_get(node, "pressure_Pa") || (is_outlet && !nrw_yaml_get(node, "rate_nl_min"));
    check_port(doc, node, &port);
    const nrw_yaml_node *name = nrw_yaml_get(node, "node");
    const nrw_yaml_node *tube = nrw_yaml_get(node, "tube");
    if (tube)
        read_tube(doc, tube, &port);
    if (!name || !nrw_scenario_read_node(doc, name, &scenario->map, &port.node, NULL))
        return;
    nrw_node *at = &scenario->map.nodes[port.node];
    if (at->is_inlet || at->is_outlet) {
        (void)nrw_yaml_error(doc, name, "a node of its own", "'%.63s' is an %s already", at->name,
                             at->is_inlet ? "inlet" : "outlet");
        return;
    }
    at->is_inlet = !is_outlet;
    at->is_outlet = is_outlet;
    scenario->flow.ports[scenario->flow.n_ports++] = port;
}

static void read_ports(nrw_yaml_doc *doc, const nrw_yaml_node *list, bool is_outlet,
                       nrw_scenario *scenario)
{
    if (!list || !nrw_yaml_is_list(doc, list, is_outlet ? "a list of outlets" : "a list of inlets"))
        return;
    if (list->n_children == 0 || list->n_children > PORTS_MAX) {
        (void)nrw_yaml_error(doc, list, "1 to 1000", "there are %u", list->n_children);
        return;
    }
    for (const nrw_yaml_node *child = list->first; child; child = child->next)
        read_port(doc, child, is_outlet, scenario);
}

void nrw_scenario_read_flow(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_scenario *scenario)
{
    static const nrw_yaml_field fields[] = {
        NRW_REQUIRED_OTHER("inlets"),
        NRW_REQUIRED_OTHER("outlets"),
    };
    if (!node || !nrw_yaml_is_map(doc, node))
        return;
    if (scenario->map.open) {
        (void)nrw_yaml_error_at_key(doc, node, "leave it out, or a channel with vessels",
                                    "an open map has no vessels to flow through");
        return;
    }
    (void)nrw_yaml_fields(doc, node, fields, N(fields), NULL);
    scenario->flow.ports = calloc(2 * (size_t)PORTS_MAX, sizeof *scenario->flow.ports);
    if (!scenario->flow.ports) {
        (void)nrw_yaml_no_memory(doc);
        return;
    }
    read_ports(doc, nrw_yaml_get(node, "inlets"), false, scenario);
    read_ports(doc, nrw_yaml_get(node, "outlets"), true, scenario);
    size_t pulses = 0;
    for (size_t i = 0; i < scenario->flow.n_ports; i++)
        pulses += scenario->flow.ports[i].amplitude > 0.0;
    if (pulses > PULSES_MAX)
        (void)nrw_yaml_error(doc, node, "at most 16", "%zu inlets and outlets pulse", pulses);
}

static size_t n_vessels_at(const nrw_map *map, int node)
{
    size_t n = 0;
    for (size_t v = 0; v < map->n_vessels; v++)
        n += (size_t)(map->vessels[v].from == node) + (size_t)(map->vessels[v].to == node);
    return n;
}

static void check_ends(nrw_yaml_doc *doc, const nrw_yaml_node *list, const nrw_scenario *scenario)
{
    const nrw_map *map = &scenario->map;
    for (const nrw_yaml_node *child = list ? list->first : NULL; child; child = child->next) {
        const nrw_yaml_node *name = nrw_yaml_get(child, "node");
        int node = name ? nrw_scenario_node(scenario, name->text) : -1;
        size_t n = node >= 0 ? n_vessels_at(map, node) : 1;
        if (n == 1)
            continue;
        if (n == 0)
            (void)nrw_yaml_error(doc, name, "the end of a vessel",
                                 map->mask ? "no vessel of the picture ends at '%.63s'"
                                           : "no vessel ends at '%.63s'",
                                 map->nodes[node].name);
        else
            (void)nrw_yaml_error(doc, name, "the end of one vessel", "%zu vessels meet at '%.63s'",
                                 n, map->nodes[node].name);
    }
}

void nrw_scenario_check_flow(nrw_yaml_doc *doc, const nrw_yaml_node *node,
                             const nrw_scenario *scenario)
{
    if (!node || nrw_yaml_n_errors(doc) > 0)
        return;
    check_ends(doc, nrw_yaml_get(node, "inlets"), scenario);
    check_ends(doc, nrw_yaml_get(node, "outlets"), scenario);
}
