#include "flow_words.h"

#include <math.h>

#include "estimate.h"
#include "flow.h"

#define NL_MIN_PER_UM3_S 6e-5 /* 1 nl is 1e6 µm³ */

static const nrw_flow *flow_of(const nrw_channel *channel)
{
    return channel ? nrw_channel_flow(channel) : NULL;
}

static double narrowest_um(const nrw_vessel *vessel)
{
    double least = INFINITY;
    for (size_t i = 0; i < vessel->n_widths; i++)
        least = fmin(least, vessel->widths[i].width_um);
    return least;
}

static double mean_um_s(const nrw_scenario *scenario, size_t vessel, double rate_um3_s)
{
    return rate_um3_s / (narrowest_um(&scenario->map.vessels[vessel]) * scenario->map.depth_um);
}

void nrw_flow_add_figures(nrw_result *result, const nrw_scenario *scenario,
                          const nrw_channel *channel)
{
    const nrw_flow *flow = flow_of(channel);
    if (!flow) {
        nrw_result_null(result, "flow");
        return;
    }
    const nrw_flow_now now = nrw_flow_steady(flow);
    const nrw_flow_figures figures = nrw_flow_figures_of(flow);
    char name[2 * NRW_NAME_SIZE + 8];
    nrw_result_open_object(result, "flow");
    nrw_result_open_array(result, "vessels");
    for (size_t v = 0; v < scenario->map.n_vessels; v++) {
        const double rate = nrw_flow_vessel_um3_s(flow, &now, v);
        nrw_estimate_vessel_name(scenario, (int)v, name, sizeof name);
        nrw_result_open_object(result, NULL);
        nrw_result_string(result, "vessel", name);
        nrw_result_number(result, "rate_nl_min", NL_MIN_PER_UM3_S * rate);
        nrw_result_number(result, "mean_um_s", mean_um_s(scenario, v, rate));
        nrw_result_close(result);
    }
    nrw_result_close(result);
    double lowest = INFINITY;
    for (size_t k = 0; k < scenario->map.n_nodes; k++)
        lowest = fmin(lowest, nrw_flow_node_Pa(flow, &now, k));
    nrw_result_open_array(result, "nodes");
    for (size_t k = 0; k < scenario->map.n_nodes; k++) {
        nrw_result_open_object(result, NULL);
        nrw_result_string(result, "node", scenario->map.nodes[k].name);
        nrw_result_number(result, "pressure_Pa", nrw_flow_node_Pa(flow, &now, k) - lowest);
        nrw_result_close(result);
    }
    nrw_result_close(result);
    nrw_result_number(result, "fastest_um_s", figures.fastest_um_s);
    nrw_result_number(result, "reynolds_number", figures.reynolds_number);
    nrw_result_number(result, "womersley_number", figures.womersley_number);
    nrw_result_number(result, "imbalance", figures.imbalance);
    nrw_result_close(result);
}

void nrw_flow_describe(const nrw_scenario *scenario, const nrw_channel *channel, FILE *stream)
{
    const nrw_flow *flow = flow_of(channel);
    if (!flow)
        return;
    const nrw_flow_now now = nrw_flow_steady(flow);
    const nrw_flow_figures figures = nrw_flow_figures_of(flow);
    char name[2 * NRW_NAME_SIZE + 8];
    (void)fprintf(stream, "\nFlow\n");
    for (size_t v = 0; v < scenario->map.n_vessels; v++) {
        const double rate = nrw_flow_vessel_um3_s(flow, &now, v);
        nrw_estimate_vessel_name(scenario, (int)v, name, sizeof name);
        (void)fprintf(stream, "  %-22s %.4g nl/min, %.4g um/s where it is narrowest\n", name,
                      NL_MIN_PER_UM3_S * rate, mean_um_s(scenario, v, rate));
    }
    (void)fprintf(stream, "  %-22s %.4g um/s%s\n", "fastest mean", figures.fastest_um_s,
                  figures.womersley_number > 0.0 ? ", pulses at their peak" : "");
    (void)fprintf(stream, "  %-22s %.3g\n", "Reynolds number", figures.reynolds_number);
    if (figures.womersley_number > 0.0)
        (void)fprintf(stream, "  %-22s %.3g\n", "Womersley number", figures.womersley_number);
}
