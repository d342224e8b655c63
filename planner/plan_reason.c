/* Why nothing is found. */
#include "plan_parts.h"

#include <math.h>
#include <stdio.h>

/* How far along the route the particles came, mean over the verification. */
static double mean_way_um(const nrw_planner *plan)
{
    const nrw_plan_result *result = plan->result;
    double sum = 0.0;
    for (size_t k = 0; k < result->n_verification; k++)
        sum += result->verification[k].furthest_um / (double)result->n_verification;
    return sum;
}

/* Where most particles were still on their way, not held up before a throat: the
 * deadline that their pace asks for, with a third to spare, over the one given.
 * 1: time was not the trouble. */
double nrw_plan_time_factor(const nrw_planner *plan)
{
    const nrw_plan_result *result = plan->result;
    double underway = 0.0;
    for (size_t k = 0; k < result->n_verification; k++) {
        const nrw_outcome *outcome = &result->verification[k];
        underway += outcome->out_of_time ? 1.0 - outcome->delivered : outcome->loss[NRW_LOSS_OTHER];
    }
    if (underway < 0.5 * (double)result->n_verification)
        return 1.0;
    const double way = nrw_channel_route_length_um(plan->channel), came = mean_way_um(plan);
    if (came > way - plan->scenario->target.radius_um)
        return 1.0; /* most were at the target or past it */
    return fmax(1.0, 1.33 * way / fmax(came, 1e-3 * way));
}

void nrw_plan_explain_losses(nrw_planner *plan)
{
    static const char *const causes[NRW_N_LOSS_CAUSES] = {
        "plug up before a throat",
        "stay in a pocket beside a throat's mouth",
        "stay inside a throat",
        "take a wrong branch",
        "are past the throats but apart from the target",
        "stick to walls",
        "are swept out",
        "never come near a throat"};
    nrw_plan_result *result = plan->result;
    double loss[NRW_N_LOSS_CAUSES] = {0}, late = 0.0;
    const double n = (double)result->n_verification;
    for (size_t k = 0; k < result->n_verification; k++) {
        for (int c = 0; c < NRW_N_LOSS_CAUSES; c++)
            loss[c] += result->verification[k].loss[c] / n;
        late += result->verification[k].out_of_time / n;
    }
    int worst = 0;
    for (int c = 1; c < NRW_N_LOSS_CAUSES; c++)
        if (loss[c] > loss[worst])
            worst = c;
    size_t n_throats;
    const nrw_throat *throats = nrw_channel_throats(plan->channel, &n_throats);
    char narrow[120] = "";
    size_t tightest = 0;
    for (size_t k = 1; k < n_throats; k++)
        if (throats[k].narrowest_um < throats[tightest].narrowest_um)
            tightest = k;
    if (n_throats > 0)
        (void)snprintf(narrow, sizeof narrow,
                       " (the narrowest, throat %zu, is %.3g um, %.2f of the gathered swarm)",
                       tightest + 1, throats[tightest].narrowest_um,
                       throats[tightest].narrowest_um /
                           nrw_scenario_gathered_diameter_um(plan->scenario));
    const double more_time = nrw_plan_time_factor(plan);
    if (more_time > 1.0) {
        (void)snprintf(result->reason, sizeof result->reason,
                       "the deadline is too short: the best schedule of %zu delivers %.0f %% on "
                       "average; its swarm came %.3g um of the %.3g um in %.3g s, so that it needs "
                       "about %.3g s",
                       result->n_candidates, 100.0 * result->delivered, mean_way_um(plan),
                       nrw_channel_route_length_um(plan->channel), plan->scenario->deadline_s,
                       more_time * plan->scenario->deadline_s);
        return;
    }
    (void)snprintf(
        result->reason, sizeof result->reason,
        "the best schedule of %zu delivers %.0f %% on average, below the goal of %.0f %%: "
        "%.0f %% of the particles %s%s%s",
        result->n_candidates, 100.0 * result->delivered, 100.0 * plan->scenario->goal.fraction_min,
        100.0 * loss[worst], causes[worst], worst <= NRW_LOSS_IN_THROAT ? narrow : "",
        late > 0.5 ? "; most runs were still under way at the deadline" : "");
}

/* A search tries hundreds of runs, and what it starts from is known of spheres only. */
void nrw_plan_refuse_doublets(nrw_plan_result *result)
{
    (void)snprintf(result->reason, sizeof result->reason,
                   "schedules are not searched for doublets, which are followed one by one, a "
                   "hundred times slower than the averaged spheres of a search");
    (void)snprintf(result->nearest_change, sizeof result->nearest_change,
                   "plan for spheres of the same volume, then judge that schedule with the "
                   "doublets by 'narrows estimate'");
}

void nrw_plan_refuse_early(nrw_plan_result *result, const nrw_necessary_check *failure)
{
    (void)snprintf(result->reason, sizeof result->reason, "%s", failure->text);
    (void)snprintf(result->nearest_change, sizeof result->nearest_change, "%s", failure->change);
}
