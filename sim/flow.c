#include "flow.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "flow_duct.h"
#include "flow_field.h"
#include "flow_network.h"
#include "mask.h"

/* µm³/s of a nl/min. */
#define UM3_S_PER_NL_MIN (1e6 / 60.0)
#define UM_PER_MM 1e3
#define STEPS_PER_PERIOD 16.0
/* Fluid enters and leaves beyond the end of a vessel, in widths of it. */
#define SOURCE_BEYOND 0.3
/* In a picture, particles have left this many cells (and a diameter) before the
 * wall. */
#define END_CELLS 3.0
/* Within so many cells of a wall the flow turns along it. */
#define WALL_CELLS 1.5

/* One part of the flow: all given rates, all given pressures, or one pulse. */
typedef struct part {
    bool by_pressure;
    int port;             /* the one that pulses; -1: steady */
    double *vessel_um3_s; /* (n_vessels) */
    double *node_Pa;      /* (n_nodes) */
} part;

typedef struct end {
    int port;
    double at_um[2], outward[2], half_width_um;
    double passed_um; /* along outward from at_um: beyond it particles are gone */
    double reach_um;  /* ... up to here */
} end;

struct nrw_flow {
    const nrw_channel *channel;
    nrw_map map; /* borrowed parts */
    double depth_um;
    nrw_flow_port *ports; /* (n_ports) */
    size_t n_ports;
    part parts[NRW_FLOW_PARTS_MAX];
    size_t n_parts;
    end *ends; /* (n_ports) */
    nrw_flow_field *field;
    nrw_flow_figures figures;
};

void nrw_flow_destroy(nrw_flow *flow)
{
    if (!flow)
        return;
    for (size_t k = 0; k < flow->n_parts; k++) {
        free(flow->parts[k].vessel_um3_s);
        free(flow->parts[k].node_Pa);
    }
    free(flow->ports);
    free(flow->ends);
    nrw_flow_field_destroy(flow->field);
    free(flow);
}

/* --- network ----------------------------------------------------------------------- */

typedef struct circuit {
    nrw_resistor *resistors; /* (n_vessels + ports with a tube) */
    size_t n_resistors, n_nodes;
    int *port_node; /* (n_ports) node at which the port's condition holds */
    bool *is_given; /* (n_nodes) */
    double *pressure, *inflow, *pressures, *flows;
} circuit;

static void circuit_clear(circuit *c)
{
    free(c->resistors);
    free(c->port_node);
    free(c->is_given);
    free(c->pressure);
    free(c->inflow);
    free(c->pressures);
    free(c->flows);
}

static double vessel_resistance(const nrw_centreline *line, double depth, double viscosity)
{
    double sum = 0.0;
    for (size_t i = 0; i + 1 < line->n_points; i++) {
        const nrw_centre_point *p = &line->points[i];
        if (p[1].s_um > p[0].s_um)
            sum += nrw_duct_taper_resistance(p[1].s_um - p[0].s_um, p[0].width_um, p[1].width_um,
                                             depth, viscosity);
    }
    return sum;
}

static nrw_status build_circuit(const nrw_flow *flow, const nrw_scenario *scenario,
                                const nrw_centreline *lines, circuit *c)
{
    const nrw_map *map = &flow->map;
    size_t most = map->n_nodes + flow->n_ports + 1, edges = map->n_vessels + flow->n_ports + 1;
    c->resistors = malloc(edges * sizeof *c->resistors);
    c->port_node = malloc((flow->n_ports + 1) * sizeof *c->port_node);
    c->is_given = calloc(most, sizeof *c->is_given);
    c->pressure = calloc(most, sizeof *c->pressure);
    c->inflow = calloc(most, sizeof *c->inflow);
    c->pressures = calloc(most, sizeof *c->pressures);
    c->flows = calloc(edges, sizeof *c->flows);
    if (!c->resistors || !c->port_node || !c->is_given || !c->pressure || !c->inflow ||
        !c->pressures || !c->flows)
        return NRW_NO_MEMORY;
    const double viscosity = scenario->fluid.viscosity_Pa_s;
    for (size_t v = 0; v < map->n_vessels; v++)
        c->resistors[c->n_resistors++] =
            (nrw_resistor){map->vessels[v].from, map->vessels[v].to,
                           vessel_resistance(&lines[v], flow->depth_um, viscosity)};
    c->n_nodes = map->n_nodes;
    for (size_t k = 0; k < flow->n_ports; k++) {
        const nrw_flow_port *port = &flow->ports[k];
        c->port_node[k] = port->node;
        if (port->tube_radius_um > 0.0) {
            c->port_node[k] = (int)c->n_nodes++;
            c->resistors[c->n_resistors++] =
                (nrw_resistor){c->port_node[k], port->node,
                               nrw_tube_resistance(port->tube_length_mm * UM_PER_MM,
                                                   port->tube_radius_um, viscosity)};
        }
        c->is_given[c->port_node[k]] = port->by_pressure;
    }
    return NRW_OK;
}

/* What a part asks for at a port: µm³/s into the map, or Pa. */
static double asked(const nrw_flow *flow, const part *p, size_t port)
{
    const nrw_flow_port *at = &flow->ports[port];
    if (at->by_pressure != p->by_pressure || (p->port >= 0 && p->port != (int)port))
        return 0.0;
    double value = p->port >= 0      ? at->amplitude
                   : at->by_pressure ? at->pressure_Pa
                                     : at->rate_nl_min;
    if (at->by_pressure)
        return value;
    return (at->is_outlet ? -UM3_S_PER_NL_MIN : UM3_S_PER_NL_MIN) * value;
}

static nrw_status refuse(nrw_status status, const nrw_scenario *scenario, nrw_errors *errors)
{
    const char *file = scenario->path ? scenario->path : "";
    if (status == NRW_REFUSED)
        return nrw_errors_add_at(errors, NRW_BAD_INPUT, file, 0, 0, "flow",
                                 "rates that sum to nothing, or an end with pressure_Pa in every "
                                 "part of the map that fluid enters or leaves",
                                 "what flows in does not flow out: no outlet takes the rest");
    if (status == NRW_NO_MEMORY)
        return nrw_errors_add(errors, status, "", "no memory for the flow");
    return nrw_errors_add_at(errors, status, file, 0, 0, "flow", "vessels of a like size",
                             "the flow can't be computed");
}

/* Largest imbalance of a node over the flows there. */
static double imbalance_of(const circuit *c)
{
    double worst = 0.0;
    for (size_t node = 0; node < c->n_nodes; node++) {
        double sum = c->inflow[node], size = fabs(sum);
        for (size_t k = 0; k < c->n_resistors; k++) {
            const nrw_resistor *r = &c->resistors[k];
            double into = r->to == (int)node     ? c->flows[k]
                          : r->from == (int)node ? -c->flows[k]
                                                 : 0.0;
            sum += into;
            size += fabs(into);
        }
        if (!c->is_given[node] && size > 0.0)
            worst = fmax(worst, fabs(sum) / size);
    }
    return worst;
}

static nrw_status add_part(nrw_flow *flow, circuit *c, bool by_pressure, int port)
{
    part *p = &flow->parts[flow->n_parts];
    bool any = false;
    *p = (part){.by_pressure = by_pressure, .port = port};
    memset(c->pressure, 0, c->n_nodes * sizeof *c->pressure);
    memset(c->inflow, 0, c->n_nodes * sizeof *c->inflow);
    for (size_t k = 0; k < flow->n_ports; k++) {
        double value = asked(flow, p, k);
        any = any || fabs(value) > 0.0;
        if (by_pressure && flow->ports[k].by_pressure)
            c->pressure[c->port_node[k]] = value;
        else if (!by_pressure)
            c->inflow[c->port_node[k]] += value;
    }
    if (!any)
        return NRW_OK;
    nrw_flow_network network = {c->resistors, c->n_resistors, c->is_given,
                                c->pressure,  c->inflow,      c->n_nodes};
    nrw_status status = nrw_flow_network_solve(&network, c->pressures, c->flows, NULL);
    if (status != NRW_OK)
        return status;
    flow->figures.imbalance = fmax(flow->figures.imbalance, imbalance_of(c));
    p->vessel_um3_s = malloc((flow->map.n_vessels + 1) * sizeof *p->vessel_um3_s);
    p->node_Pa = malloc((flow->map.n_nodes + 1) * sizeof *p->node_Pa);
    flow->n_parts++;
    if (!p->vessel_um3_s || !p->node_Pa)
        return NRW_NO_MEMORY;
    memcpy(p->vessel_um3_s, c->flows, flow->map.n_vessels * sizeof *p->vessel_um3_s);
    memcpy(p->node_Pa, c->pressures, flow->map.n_nodes * sizeof *p->node_Pa);
    return NRW_OK;
}

static nrw_status solve_network(nrw_flow *flow, const nrw_scenario *scenario,
                                const nrw_centreline *lines)
{
    circuit c = {0};
    nrw_status status = build_circuit(flow, scenario, lines, &c);
    if (status == NRW_OK)
        status = add_part(flow, &c, false, -1);
    if (status == NRW_OK)
        status = add_part(flow, &c, true, -1);
    for (size_t k = 0; k < flow->n_ports && status == NRW_OK; k++)
        if (flow->ports[k].amplitude > 0.0)
            status = add_part(flow, &c, flow->ports[k].by_pressure, (int)k);
    circuit_clear(&c);
    return status;
}

/* --- ends ------------------------------------------------------------------------------ */

static int vessel_at(const nrw_map *map, int node, bool *starts)
{
    for (size_t v = 0; v < map->n_vessels; v++)
        if (map->vessels[v].from == node || map->vessels[v].to == node) {
            *starts = map->vessels[v].from == node;
            return (int)v;
        }
    return -1;
}

static void place_ends(nrw_flow *flow, const nrw_centreline *lines, double diameter_um)
{
    for (size_t k = 0; k < flow->n_ports; k++) {
        bool starts = false;
        int vessel = vessel_at(&flow->map, flow->ports[k].node, &starts);
        const nrw_centreline *line = &lines[vessel];
        const nrw_centre_point *p = &line->points[starts ? 0 : line->n_points - 1];
        double sign = starts ? -1.0 : 1.0, width = p->width_um;
        end *e = &flow->ends[k];
        *e = (end){.port = (int)k, .half_width_um = 0.5 * width, .reach_um = 2.0 * width};
        for (int c = 0; c < 2; c++) {
            e->at_um[c] = p->at_um[c];
            e->outward[c] = sign * p->along[c];
        }
        if (flow->map.mask)
            e->passed_um = -fmin(diameter_um + END_CELLS * nrw_flow_field_spacing_um(flow->field),
                                 0.5 * line->length_um);
    }
}

int nrw_flow_end_passed(const nrw_flow *flow, double x_um, double y_um)
{
    for (size_t k = 0; k < flow->n_ports; k++) {
        const end *e = &flow->ends[k];
        double rx = x_um - e->at_um[0], ry = y_um - e->at_um[1];
        double out = rx * e->outward[0] + ry * e->outward[1];
        double aside = fabs(rx * e->outward[1] - ry * e->outward[0]);
        if (out > e->passed_um && out < e->reach_um && aside <= e->half_width_um)
            return e->port;
    }
    return -1;
}

/* --- field ------------------------------------------------------------------------------ */

static bool carries(const nrw_flow *flow, size_t vessel)
{
    double most = 0.0, own = 0.0;
    for (size_t k = 0; k < flow->n_parts; k++)
        for (size_t v = 0; v < flow->map.n_vessels; v++) {
            most = fmax(most, fabs(flow->parts[k].vessel_um3_s[v]));
            if (v == vessel)
                own = fmax(own, fabs(flow->parts[k].vessel_um3_s[v]));
        }
    return own > 1e-6 * most;
}

static double narrowest_of(const nrw_centreline *line)
{
    double least = INFINITY;
    for (size_t i = 0; i < line->n_points; i++)
        least = fmin(least, line->points[i].width_um);
    return least;
}

/* What a part brings in at a port's node: what leaves it into its vessel. */
static double port_inflow(const nrw_flow *flow, const part *p, size_t port)
{
    bool starts = false;
    int vessel = vessel_at(&flow->map, flow->ports[port].node, &starts);
    return starts ? p->vessel_um3_s[vessel] : -p->vessel_um3_s[vessel];
}

static nrw_status solve_field(nrw_flow *flow, const part *p)
{
    nrw_flow_source *sources = malloc((flow->n_ports + 1) * sizeof *sources);
    if (!sources)
        return NRW_NO_MEMORY;
    const double spacing = nrw_flow_field_spacing_um(flow->field);
    for (size_t k = 0; k < flow->n_ports; k++) {
        const end *e = &flow->ends[k];
        double from = flow->map.mask ? -1.5 * spacing : SOURCE_BEYOND * 2.0 * e->half_width_um;
        sources[k] = (nrw_flow_source){{e->at_um[0], e->at_um[1]}, {e->outward[0], e->outward[1]},
                                       e->half_width_um,           from,
                                       from + 1.5 * spacing,       port_inflow(flow, p, k)};
    }
    nrw_status status = nrw_flow_field_solve(flow->field, sources, flow->n_ports);
    free(sources);
    return status;
}

static nrw_status make_field(nrw_flow *flow, const nrw_scenario *scenario,
                             const nrw_centreline *lines)
{
    double narrowest = INFINITY;
    for (size_t v = 0; v < flow->map.n_vessels; v++)
        if (carries(flow, v))
            narrowest = fmin(narrowest, narrowest_of(&lines[v]));
    if (!isfinite(narrowest)) /* nothing flows: any cells will do */
        narrowest = narrowest_of(&lines[0]);
    nrw_flow_field_request request = {.channel = flow->channel,
                                      .map = &flow->map,
                                      .lines = lines,
                                      .depth_um = flow->depth_um,
                                      .narrowest_um = narrowest};
    nrw_status status = nrw_flow_field_create(&request, &flow->field);
    if (status != NRW_OK)
        return status;
    flow->figures.spacing_um = nrw_flow_field_spacing_um(flow->field);
    flow->figures.cells_across = narrowest / flow->figures.spacing_um;
    place_ends(flow, lines, scenario->particles.diameter_um);
    for (size_t k = 0; k < flow->n_parts && status == NRW_OK; k++)
        status = solve_field(flow, &flow->parts[k]);
    return status;
}

/* --- figures ------------------------------------------------------------------------------ */

static void take_figures(nrw_flow *flow, const nrw_scenario *scenario, const nrw_centreline *lines)
{
    nrw_flow_figures *figures = &flow->figures;
    const double density = scenario->fluid.density_kg_m3;
    const double viscosity = scenario->fluid.viscosity_Pa_s;
    for (size_t v = 0; v < flow->map.n_vessels; v++) {
        double rate = 0.0, width = narrowest_of(&lines[v]);
        for (size_t k = 0; k < flow->n_parts; k++)
            rate += fabs(flow->parts[k].vessel_um3_s[v]);
        double velocity = rate / (width * flow->depth_um);
        if (velocity > figures->fastest_um_s) {
            figures->fastest_um_s = velocity;
            figures->reynolds_number =
                nrw_reynolds_number(fmin(width, flow->depth_um), velocity, density, viscosity);
        }
    }
    for (size_t k = 0; k < flow->n_ports; k++)
        if (flow->ports[k].amplitude > 0.0)
            figures->womersley_number =
                fmax(figures->womersley_number,
                     nrw_womersley_number(flow->depth_um, flow->ports[k].frequency_Hz, density,
                                          viscosity));
}

nrw_flow_figures nrw_flow_figures_of(const nrw_flow *flow)
{
    return flow->figures;
}

nrw_status nrw_flow_create(const nrw_scenario *scenario, const nrw_channel *channel,
                           const nrw_centreline *lines, nrw_flow **flow, nrw_errors *errors)
{
    *flow = NULL;
    nrw_flow *f = calloc(1, sizeof *f);
    if (!f)
        return refuse(NRW_NO_MEMORY, scenario, errors);
    f->channel = channel;
    f->map = scenario->map;
    f->depth_um = scenario->map.depth_um;
    f->n_ports = scenario->flow.n_ports;
    f->ports = malloc((f->n_ports + 1) * sizeof *f->ports);
    f->ends = malloc((f->n_ports + 1) * sizeof *f->ends);
    nrw_status status = f->ports && f->ends ? NRW_OK : NRW_NO_MEMORY;
    if (status == NRW_OK) {
        memcpy(f->ports, scenario->flow.ports, f->n_ports * sizeof *f->ports);
        status = solve_network(f, scenario, lines);
    }
    if (status == NRW_OK)
        status = make_field(f, scenario, lines);
    if (status != NRW_OK) {
        nrw_flow_destroy(f);
        return refuse(status, scenario, errors);
    }
    take_figures(f, scenario, lines);
    *flow = f;
    return NRW_OK;
}

/* --- at a time ------------------------------------------------------------------------------ */

nrw_flow_now nrw_flow_at_time(const nrw_flow *flow, double time_s, double viscosity_factor)
{
    nrw_flow_now now = {.n_parts = flow->n_parts};
    for (size_t k = 0; k < flow->n_parts; k++) {
        const part *p = &flow->parts[k];
        now.factor[k] = p->by_pressure ? 1.0 / viscosity_factor : 1.0;
        if (p->port >= 0) {
            const nrw_flow_port *port = &flow->ports[p->port];
            now.factor[k] *=
                sin(2.0 * NRW_PI * port->frequency_Hz * time_s + NRW_DEGREE * port->phase_deg);
        }
    }
    return now;
}

nrw_flow_now nrw_flow_steady(const nrw_flow *flow)
{
    nrw_flow_now now = {.n_parts = flow->n_parts};
    for (size_t k = 0; k < flow->n_parts; k++)
        now.factor[k] = flow->parts[k].port >= 0 ? 0.0 : 1.0;
    return now;
}

double nrw_flow_step_max_s(const nrw_flow *flow)
{
    double fastest = 0.0;
    for (size_t k = 0; k < flow->n_ports; k++)
        if (flow->ports[k].amplitude > 0.0)
            fastest = fmax(fastest, flow->ports[k].frequency_Hz);
    return fastest > 0.0 ? 1.0 / (STEPS_PER_PERIOD * fastest) : INFINITY;
}

double nrw_flow_vessel_um3_s(const nrw_flow *flow, const nrw_flow_now *now, size_t vessel)
{
    double sum = 0.0;
    for (size_t k = 0; k < now->n_parts; k++)
        sum += now->factor[k] * flow->parts[k].vessel_um3_s[vessel];
    return sum;
}

/* Pressures that given rates need go with the viscosity; they are told for the nominal
 * one. */
double nrw_flow_node_Pa(const nrw_flow *flow, const nrw_flow_now *now, size_t node)
{
    double sum = 0.0;
    for (size_t k = 0; k < now->n_parts; k++)
        sum += now->factor[k] * flow->parts[k].node_Pa[node];
    return sum;
}

double nrw_flow_depth_um(const nrw_flow *flow)
{
    return flow->depth_um;
}

/* --- at a place --------------------------------------------------------------------------------
 */

nrw_flow_local nrw_flow_at(const nrw_flow *flow, const nrw_flow_now *now, const double at_um[3])
{
    nrw_flow_local local = {{0.0, 0.0}, {0.0, 0.0, 0.0}};
    double away[2];
    double distance = nrw_channel_distance_um(flow->channel, at_um[0], at_um[1], away);
    if (!(distance > 0.0))
        return local;
    nrw_flow_spot spot = nrw_flow_field_spot(flow->field, at_um[0], at_um[1]);
    double width = fmax(nrw_flow_field_width_um(flow->field, &spot), 2.0 * distance);
    double fall[2] = {0.0, 0.0}, slope[2];
    for (size_t k = 0; k < now->n_parts; k++) {
        double of_part[2];
        nrw_flow_field_fall(flow->field, k, &spot, of_part);
        fall[0] += now->factor[k] * of_part[0];
        fall[1] += now->factor[k] * of_part[1];
    }
    /* no flow through walls, which the cells know to half of one only */
    double layer = WALL_CELLS * nrw_flow_field_spacing_um(flow->field);
    double against = away[0] * fall[0] + away[1] * fall[1];
    double less = fmax(1.0 - distance / layer, 0.0) * against;
    fall[0] -= less * away[0];
    fall[1] -= less * away[1];
    /* y grows toward the wall, z toward the ceiling */
    double profile =
        nrw_duct_profile_um2(width, flow->depth_um, 0.5 * width - distance, at_um[2], slope);
    local.velocity_um_s[0] = profile * fall[0];
    local.velocity_um_s[1] = profile * fall[1];
    local.spin_per_s[0] = -0.5 * slope[1] * fall[1];
    local.spin_per_s[1] = 0.5 * slope[1] * fall[0];
    local.spin_per_s[2] = -0.5 * slope[0] * (away[0] * fall[1] - away[1] * fall[0]);
    return local;
}
