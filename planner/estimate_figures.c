/* What an estimate leaves behind: figures of result.json. */
#include <math.h>
#include <stdlib.h>

#include "estimate.h"

void nrw_estimate_vessel_name(const nrw_scenario *scenario, int vessel, char *text, size_t size)
{
    if (vessel < 0 || (size_t)vessel >= scenario->map.n_vessels) {
        (void)snprintf(text, size, "open map");
        return;
    }
    const nrw_vessel *v = &scenario->map.vessels[vessel];
    (void)snprintf(text, size, "%s to %s", scenario->map.nodes[v->from].name,
                   scenario->map.nodes[v->to].name);
}

static void add_interval(nrw_result *result, const char *key, nrw_interval interval)
{
    const double limits[] = {interval.low, interval.high};
    nrw_result_numbers(result, key, 2, limits);
}

static void add_share(nrw_result *result, size_t n, size_t of, nrw_interval interval)
{
    nrw_result_integer(result, "trials", (int64_t)n);
    nrw_result_number(result, "probability", of > 0 ? (double)n / (double)of : NAN);
    nrw_result_number(result, "low", interval.low);
    nrw_result_number(result, "high", interval.high);
}

static void add_goal(nrw_result *result, const nrw_scenario *scenario, const nrw_estimate *estimate)
{
    nrw_result_open_object(result, "goal");
    nrw_result_number(result, "fraction", estimate->goal);
    add_share(result, estimate->n_reached, estimate->n_trials, estimate->reached);
    nrw_result_close(result);
    nrw_result_open_object(result, "hold");
    nrw_result_number(result, "fraction", scenario->goal.fraction_min);
    nrw_result_number(result, "seconds", scenario->goal.hold_s);
    nrw_result_integer(result, "arrived", (int64_t)estimate->n_arrived);
    add_share(result, estimate->n_held, estimate->n_trials, estimate->held);
    nrw_result_close(result);
}

/* --- losses ------------------------------------------------------------------------ */

static void add_stages(nrw_result *result, const nrw_loss_flow *flow, const int *tenths)
{
    nrw_result_open_array(result, "stages");
    for (size_t s = 0; s < flow->n_stages; s++) {
        char name[48];
        int lost = 0;
        for (size_t e = 0; e < flow->n_exits; e++)
            lost += flow->exits[e].stage == s ? tenths[e] : 0;
        nrw_flow_stage_name(&flow->stages[s], name, sizeof name);
        nrw_result_open_object(result, NULL);
        nrw_result_string(result, "stage", name);
        nrw_result_integer(result, "reached", (int64_t)flow->stages[s].n_reached);
        nrw_result_integer(result, "lost", (int64_t)flow->stages[s].n_lost);
        nrw_result_number(result, "lost_percent", lost / 10.0);
        nrw_result_close(result);
    }
    nrw_result_close(result);
}

static void add_exits(nrw_result *result, const nrw_scenario *scenario, const nrw_loss_flow *flow,
                      const int *tenths)
{
    nrw_result_open_array(result, "exits");
    for (size_t e = 0; e < flow->n_exits; e++) {
        const nrw_flow_exit *out = &flow->exits[e];
        const double along[] = {out->route_low_um, out->route_um, out->route_high_um};
        char after[48], vessel[2 * NRW_NAME_SIZE + 8];
        nrw_flow_stage_name(&flow->stages[out->stage], after, sizeof after);
        nrw_estimate_vessel_name(scenario, out->vessel, vessel, sizeof vessel);
        nrw_result_open_object(result, NULL);
        nrw_result_string(result, "after", after);
        nrw_result_string(result, "vessel", vessel);
        nrw_result_string(result, "cause", nrw_loss_cause_name(out->cause));
        nrw_result_string(result, "fate", nrw_fate_name(out->fate));
        nrw_result_integer(result, "particles", (int64_t)out->n);
        nrw_result_number(result, "percent", tenths[e] / 10.0);
        nrw_result_numbers(result, "at_um", 2, out->at_um);
        nrw_result_numbers(result, "route_um", 3, along);
        nrw_result_close(result);
    }
    nrw_result_close(result);
}

static void add_vessels(nrw_result *result, const nrw_scenario *scenario, const nrw_loss_flow *flow,
                        const int *tenths)
{
    nrw_result_open_array(result, "vessels");
    for (int vessel = -1; vessel < (int)scenario->map.n_vessels; vessel++) {
        size_t n = 0;
        int lost = 0;
        for (size_t e = 0; e < flow->n_exits; e++) {
            if (flow->exits[e].vessel != vessel)
                continue;
            n += flow->exits[e].n;
            lost += tenths[e];
        }
        if (n == 0)
            continue;
        char name[2 * NRW_NAME_SIZE + 8];
        nrw_estimate_vessel_name(scenario, vessel, name, sizeof name);
        nrw_result_open_object(result, NULL);
        nrw_result_string(result, "vessel", name);
        nrw_result_integer(result, "lost", (int64_t)n);
        nrw_result_number(result, "percent", lost / 10.0);
        nrw_result_close(result);
    }
    nrw_result_close(result);
}

void nrw_loss_flow_figures(nrw_result *result, const nrw_scenario *scenario,
                           const nrw_loss_flow *flow)
{
    int *tenths = calloc(flow->n_exits + 1, sizeof *tenths);
    if (!tenths || flow->n == 0 || nrw_loss_flow_exit_tenths(flow, tenths) != NRW_OK) {
        free(tenths);
        nrw_result_null(result, "losses");
        return;
    }
    nrw_result_open_object(result, "losses");
    nrw_result_integer(result, "particles", (int64_t)flow->n);
    add_stages(result, flow, tenths);
    add_exits(result, scenario, flow, tenths);
    add_vessels(result, scenario, flow, tenths);
    nrw_result_number(result, "retained_percent", tenths[flow->n_exits] / 10.0);
    nrw_result_close(result);
    free(tenths);
}

void nrw_run_loss_figures(nrw_result *result, const nrw_scenario *scenario,
                          const nrw_channel *channel, const nrw_run_result *run)
{
    nrw_loss_flow flow = {0};
    if (run->furthest_um &&
        nrw_loss_flow_of_run(&flow, channel, run, run->gathered, run->arrived) == NRW_OK)
        nrw_loss_flow_figures(result, scenario, &flow);
    else
        nrw_result_null(result, "losses");
    nrw_loss_flow_clear(&flow);
}

static void add_lost(nrw_result *result, const nrw_estimate *estimate)
{
    static const nrw_fate lost[] = {NRW_FATE_WALL, NRW_FATE_LEFT_BEHIND, NRW_FATE_WASHED_OUT,
                                    NRW_FATE_SCATTERED, NRW_FATE_IN_TRANSIT};
    const bool any = estimate->n_trials > 0;
    nrw_result_open_object(result, "lost");
    for (size_t k = 0; k < sizeof lost / sizeof *lost; k++)
        nrw_result_number(result, nrw_fate_name(lost[k]), any ? estimate->fates[lost[k]] : NAN);
    nrw_result_close(result);
    nrw_result_open_object(result, "lost_by_cause");
    for (int k = 0; k < NRW_N_LOSS_CAUSES; k++)
        nrw_result_number(result, nrw_loss_cause_name((nrw_loss_cause)k),
                          any ? estimate->causes[k] : NAN);
    nrw_result_close(result);
}

/* --- sensitivity --------------------------------------------------------------------- */

static void add_sensitivity(nrw_result *result, const nrw_estimate *estimate)
{
    nrw_result_open_object(result, "sensitivity");
    nrw_result_open_array(result, "parameters");
    for (size_t k = 0; k < estimate->n_varied; k++) {
        const nrw_sensitivity *part = &estimate->sensitivities[k];
        nrw_result_open_object(result, NULL);
        nrw_result_string(result, "parameter", nrw_drawn_key(estimate->varied[k]));
        nrw_result_number(result, "rank_coefficient", part->rank_coefficient);
        add_interval(result, "rank_interval", part->rank_interval);
        nrw_result_number(result, "first_order", part->first_order);
        add_interval(result, "first_order_interval", part->first_order_interval);
        nrw_result_close(result);
    }
    nrw_result_close(result);
    nrw_result_number(result, "explained", estimate->explained);
    nrw_result_string(result, "advice", estimate->advice[0] ? estimate->advice : NULL);
    nrw_result_close(result);
}

void nrw_estimate_figures(nrw_result *result, const nrw_scenario *scenario,
                          const nrw_estimate *estimate)
{
    nrw_result_integer(result, "trials", (int64_t)estimate->n_trials);
    nrw_result_number(result, "delivered_fraction", estimate->delivered);
    nrw_result_number(result, "delivered_low", estimate->interval.low);
    nrw_result_number(result, "delivered_high", estimate->interval.high);
    nrw_result_number(result, "delivered_p10", estimate->p10);
    add_lost(result, estimate);
    nrw_result_open_object(result, "time_to_target_s");
    nrw_result_number(result, "median", estimate->arrival.median_s);
    nrw_result_number(result, "low", estimate->arrival.median_limits_s.low);
    nrw_result_number(result, "high", estimate->arrival.median_limits_s.high);
    nrw_result_close(result);
    nrw_result_number(result, "visible_fraction_of_time", estimate->visible_fraction);
    nrw_result_number(result, "deviation", estimate->deviation);
    add_interval(result, "delivered_cautious", estimate->cautious);
    nrw_result_integer(result, "failed", (int64_t)estimate->n_failed);
    nrw_result_number(result, "time_s", estimate->time_s);
    add_goal(result, scenario, estimate);
    nrw_loss_flow_figures(result, scenario, &estimate->flow);
    add_sensitivity(result, estimate);
}
