/* An estimate in words, for the terminal. */
#include <math.h>
#include <stdlib.h>

#include "estimate.h"

static const char *cause_words(const nrw_loss_flow *flow, nrw_loss_cause cause)
{
    static const char *const words[NRW_N_LOSS_CAUSES] = {
        [NRW_LOSS_PLUGGED] = "plugged up before a throat",
        [NRW_LOSS_POCKET] = "in a pocket beside a throat's mouth",
        [NRW_LOSS_IN_THROAT] = "inside a throat",
        [NRW_LOSS_WRONG_BRANCH] = "in a wrong branch",
        [NRW_LOSS_PAST_BUT_APART] = "past the throats, apart from the target",
        [NRW_LOSS_STUCK] = "stuck to a wall",
        [NRW_LOSS_SWEPT] = "washed out through an outlet",
        [NRW_LOSS_OTHER] = "on the way, far from any throat",
    };
    const size_t without_throats = 4; /* released, gathered, target, retained */
    if (cause == NRW_LOSS_PAST_BUT_APART && flow->n_stages == without_throats)
        return "apart from the target";
    return (unsigned)cause < NRW_N_LOSS_CAUSES ? words[cause] : "lost";
}

static void describe_delivery(const nrw_scenario *scenario, const nrw_estimate *estimate,
                              FILE *stream)
{
    (void)fprintf(
        stream, "Delivered: %.1f %% on average over %zu trials (95 %% interval %.1f to %.1f %%).\n",
        100.0 * estimate->delivered, estimate->n_trials, 100.0 * estimate->interval.low,
        100.0 * estimate->interval.high);
    (void)fprintf(stream, "A bad trial in ten still delivers %.1f %%.\n", 100.0 * estimate->p10);
    (void)fprintf(
        stream, "At least %.3g %% arrive in %zu of %zu trials: probability %.2f (%.2f to %.2f).\n",
        100.0 * estimate->goal, estimate->n_reached, estimate->n_trials,
        (double)estimate->n_reached / (double)estimate->n_trials, estimate->reached.low,
        estimate->reached.high);
    if (scenario->goal.hold_s > 0.0)
        (void)fprintf(stream,
                      "%.3g %% were reached and then kept for %.4g s in %zu of %zu trials (%.2f to "
                      "%.2f).\n",
                      100.0 * scenario->goal.fraction_min, scenario->goal.hold_s, estimate->n_held,
                      estimate->n_trials, estimate->held.low, estimate->held.high);
    if (estimate->n_failed > 0)
        (void)fprintf(stream, "%zu trials ended in a numerical failure and count as nothing.\n",
                      estimate->n_failed);
}

static void describe_time(const nrw_scenario *scenario, const nrw_estimate *estimate, FILE *stream)
{
    const nrw_interval *limits = &estimate->arrival.median_limits_s;
    if (isnan(estimate->arrival.median_s))
        (void)fprintf(stream, "Fewer than half of the trials ever had %.3g %% in the target.\n",
                      100.0 * scenario->goal.fraction_min);
    else if (isnan(limits->high))
        (void)fprintf(stream,
                      "%.3g %% in the target: after %.4g s in the median (no upper limit).\n",
                      100.0 * scenario->goal.fraction_min, estimate->arrival.median_s);
    else
        (void)fprintf(stream,
                      "%.3g %% in the target: after %.4g s in the median (%.4g to %.4g s).\n",
                      100.0 * scenario->goal.fraction_min, estimate->arrival.median_s, limits->low,
                      limits->high);
    (void)fprintf(stream, "Imaging sees the swarm %.0f %% of the time.\n",
                  100.0 * estimate->visible_fraction);
}

static void describe_stages(const nrw_loss_flow *flow, const int *tenths, FILE *stream)
{
    (void)fprintf(stream, "\n  %-18s %9s %9s\n", "stage", "reach it", "lost then");
    for (size_t s = 0; s < flow->n_stages; s++) {
        char name[48];
        int lost = 0;
        for (size_t e = 0; e < flow->n_exits; e++)
            lost += flow->exits[e].stage == s ? tenths[e] : 0;
        nrw_flow_stage_name(&flow->stages[s], name, sizeof name);
        (void)fprintf(stream, "  %-18s %7.1f %% %7.1f %%\n", name,
                      100.0 * (double)flow->stages[s].n_reached / (double)flow->n, lost / 10.0);
    }
}

/* One line for a vessel and a cause, whatever stage and fate; none if no exit has both. */
static void describe_place(const nrw_scenario *scenario, const nrw_loss_flow *flow,
                           const int *tenths, int vessel, nrw_loss_cause cause, FILE *stream)
{
    int lost = 0;
    size_t n = 0;
    double low = INFINITY, high = -INFINITY;
    for (size_t e = 0; e < flow->n_exits; e++) {
        const nrw_flow_exit *out = &flow->exits[e];
        if (out->vessel != vessel || out->cause != cause)
            continue;
        lost += tenths[e];
        n += out->n;
        low = fmin(low, out->route_low_um);
        high = fmax(high, out->route_high_um);
    }
    if (n == 0)
        return;
    char name[2 * NRW_NAME_SIZE + 8];
    nrw_estimate_vessel_name(scenario, vessel, name, sizeof name);
    (void)fprintf(stream, "  %5.1f %%  %s: %s, %.4g to %.4g um along the route\n", lost / 10.0,
                  name, cause_words(flow, cause), low, high);
}

static void describe_losses(const nrw_scenario *scenario, const nrw_estimate *estimate,
                            FILE *stream)
{
    const nrw_loss_flow *flow = &estimate->flow;
    int *tenths = calloc(flow->n_exits + 1, sizeof *tenths);
    if (tenths && nrw_loss_flow_exit_tenths(flow, tenths) == NRW_OK) {
        describe_stages(flow, tenths, stream);
        (void)fprintf(stream, "\nWhere they are at the end:\n");
        for (int vessel = -1; vessel < (int)scenario->map.n_vessels; vessel++)
            for (int cause = 0; cause < NRW_N_LOSS_CAUSES; cause++)
                describe_place(scenario, flow, tenths, vessel, (nrw_loss_cause)cause, stream);
        (void)fprintf(stream, "  %5.1f %%  in the target\n", tenths[flow->n_exits] / 10.0);
    }
    free(tenths);
}

void nrw_estimate_describe(const nrw_scenario *scenario, const nrw_estimate *estimate, FILE *stream)
{
    if (estimate->n_trials == 0) {
        (void)fprintf(stream, "No trial was done.\n");
        return;
    }
    describe_delivery(scenario, estimate, stream);
    describe_time(scenario, estimate, stream);
    describe_losses(scenario, estimate, stream);
    if (estimate->advice[0])
        (void)fprintf(stream, "\n%s\n", estimate->advice);
}
