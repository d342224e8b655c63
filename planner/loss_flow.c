#include "loss_flow.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* released, gathered, two for each throat, target, retained */
static size_t count_stages(size_t n_throats)
{
    return 4 + 2 * n_throats;
}

static void set_stages(nrw_loss_flow *flow, size_t n_throats)
{
    size_t s = 0;
    flow->stages[s++] = (nrw_flow_stage){NRW_FLOW_RELEASED, 0, 0, 0};
    flow->stages[s++] = (nrw_flow_stage){NRW_FLOW_GATHERED, 0, 0, 0};
    for (size_t k = 0; k < n_throats; k++) {
        flow->stages[s++] = (nrw_flow_stage){NRW_FLOW_THROAT_ENTERED, k, 0, 0};
        flow->stages[s++] = (nrw_flow_stage){NRW_FLOW_THROAT_PASSED, k, 0, 0};
    }
    flow->stages[s++] = (nrw_flow_stage){NRW_FLOW_TARGET, 0, 0, 0};
    flow->stages[s++] = (nrw_flow_stage){NRW_FLOW_RETAINED, 0, 0, 0};
}

static bool has_reached(const nrw_flow_stage *stage, const nrw_throat *throats,
                        const nrw_particle_history *history, size_t i)
{
    switch (stage->kind) {
    case NRW_FLOW_RELEASED:
        return true;
    case NRW_FLOW_GATHERED:
        return !history->gathered || history->gathered[i];
    case NRW_FLOW_THROAT_ENTERED:
        return history->furthest_um[i] >= throats[stage->throat].entry_um;
    case NRW_FLOW_THROAT_PASSED:
        return history->furthest_um[i] >= throats[stage->throat].exit_um;
    case NRW_FLOW_TARGET:
        return (history->arrived && history->arrived[i]) || history->fates[i] == NRW_FATE_DELIVERED;
    case NRW_FLOW_RETAINED:
        return history->fates[i] == NRW_FATE_DELIVERED;
    }
    return false;
}

static size_t last_stage(const nrw_loss_flow *flow, const nrw_throat *throats,
                         const nrw_particle_history *history, size_t i)
{
    size_t s = flow->n_stages - 1;
    while (!has_reached(&flow->stages[s], throats, history, i))
        s--;
    return s;
}

static int compare_exits(const nrw_flow_exit *a, const nrw_flow_exit *b)
{
    if (a->stage != b->stage)
        return a->stage < b->stage ? -1 : 1;
    if (a->vessel != b->vessel)
        return a->vessel < b->vessel ? -1 : 1;
    if (a->fate != b->fate)
        return a->fate < b->fate ? -1 : 1;
    return (a->cause > b->cause) - (a->cause < b->cause);
}

/* Joins `more` to the exits (room for one more is there), keeping their order. */
static void join_exit(nrw_loss_flow *flow, const nrw_flow_exit *more)
{
    size_t place = 0;
    while (place < flow->n_exits && compare_exits(&flow->exits[place], more) < 0)
        place++;
    nrw_flow_exit *at = &flow->exits[place];
    if (place == flow->n_exits || compare_exits(at, more) != 0) {
        memmove(at + 1, at, (flow->n_exits - place) * sizeof *at);
        *at = *more;
        flow->n_exits++;
        return;
    }
    double share = (double)more->n / (double)(at->n + more->n);
    at->at_um[0] += share * (more->at_um[0] - at->at_um[0]);
    at->at_um[1] += share * (more->at_um[1] - at->at_um[1]);
    at->route_um += share * (more->route_um - at->route_um);
    at->route_low_um = fmin(at->route_low_um, more->route_low_um);
    at->route_high_um = fmax(at->route_high_um, more->route_high_um);
    at->n += more->n;
}

static nrw_status reserve_exit(nrw_loss_flow *flow)
{
    /* grows by doubling whenever the count is a power of two */
    size_t n = flow->n_exits;
    if (n > 0 && (n & (n - 1)) != 0)
        return NRW_OK;
    nrw_flow_exit *exits = realloc(flow->exits, 2 * (n + 1) * sizeof *exits);
    if (!exits)
        return NRW_NO_MEMORY;
    flow->exits = exits;
    return NRW_OK;
}

nrw_status nrw_loss_flow_init(nrw_loss_flow *flow, const nrw_throat *throats, size_t n_throats,
                              const nrw_particle_history *history)
{
    memset(flow, 0, sizeof *flow);
    flow->n_stages = count_stages(n_throats);
    flow->stages = malloc(flow->n_stages * sizeof *flow->stages);
    nrw_status status = flow->stages ? NRW_OK : NRW_NO_MEMORY;
    if (status == NRW_OK)
        set_stages(flow, n_throats);
    for (size_t i = 0; status == NRW_OK && i < history->n; i++) {
        size_t last = last_stage(flow, throats, history, i);
        for (size_t s = 0; s <= last; s++)
            flow->stages[s].n_reached++;
        flow->n++;
        if (last == flow->n_stages - 1)
            continue;
        flow->stages[last].n_lost++;
        status = reserve_exit(flow);
        const double route_um = history->route_um[i];
        const nrw_flow_exit one = {last,
                                   history->fates[i],
                                   history->vessels[i],
                                   1,
                                   {history->x_um[i], history->y_um[i]},
                                   route_um,
                                   route_um,
                                   route_um,
                                   history->causes ? (nrw_loss_cause)history->causes[i]
                                                   : NRW_LOSS_OTHER};
        if (status == NRW_OK)
            join_exit(flow, &one);
    }
    if (status != NRW_OK)
        nrw_loss_flow_clear(flow);
    return status;
}

void nrw_loss_flow_clear(nrw_loss_flow *flow)
{
    free(flow->stages);
    free(flow->exits);
    memset(flow, 0, sizeof *flow);
}

nrw_status nrw_loss_flow_add(nrw_loss_flow *flow, const nrw_loss_flow *other)
{
    /* Into a copy first, so that a failure leaves `flow` whole. */
    const nrw_loss_flow *base = flow->n_stages > 0 ? flow : other;
    nrw_loss_flow sum = *base;
    sum.stages = malloc((base->n_stages + 1) * sizeof *sum.stages);
    sum.exits = malloc((flow->n_exits + other->n_exits + 1) * sizeof *sum.exits);
    if (!sum.stages || !sum.exits) {
        free(sum.stages);
        free(sum.exits);
        return NRW_NO_MEMORY;
    }
    memcpy(sum.stages, base->stages, base->n_stages * sizeof *sum.stages);
    if (base->n_exits > 0)
        memcpy(sum.exits, base->exits, base->n_exits * sizeof *sum.exits);
    if (base == flow) {
        sum.n += other->n;
        for (size_t s = 0; s < sum.n_stages; s++) {
            sum.stages[s].n_reached += other->stages[s].n_reached;
            sum.stages[s].n_lost += other->stages[s].n_lost;
        }
        for (size_t e = 0; e < other->n_exits; e++)
            join_exit(&sum, &other->exits[e]);
    }
    nrw_loss_flow_clear(flow);
    *flow = sum;
    return NRW_OK;
}

nrw_status nrw_loss_flow_of_run(nrw_loss_flow *flow, const nrw_channel *channel,
                                const nrw_run_result *run, const uint8_t *gathered,
                                const uint8_t *arrived)
{
    size_t n = run->n_particles, n_throats = 0;
    memset(flow, 0, sizeof *flow);
    double *route_um = malloc((n + 1) * sizeof *route_um);
    int *vessels = malloc((n + 1) * sizeof *vessels);
    nrw_status status = route_um && vessels ? NRW_OK : NRW_NO_MEMORY;
    for (size_t i = 0; status == NRW_OK && i < n; i++) {
        route_um[i] = nrw_channel_route_project_um(channel, run->x_um[i], run->y_um[i]);
        vessels[i] = nrw_channel_vessel_at(channel, run->x_um[i], run->y_um[i]);
    }
    if (status == NRW_OK) {
        const nrw_throat *throats = nrw_channel_throats(channel, &n_throats);
        const nrw_particle_history history = {n,          run->furthest_um, gathered,  arrived,
                                              run->fates, run->x_um,        run->y_um, route_um,
                                              vessels,    run->causes};
        status = nrw_loss_flow_init(flow, throats, n_throats, &history);
    }
    free(route_um);
    free(vessels);
    return status;
}

/* Shares of counts (n) of `total` in tenths of a percent, rounded so that they
 * sum to exactly 1000: less than one tenth each is left over by rounding down, and
 * the largest remainders get it. */
static void apportion(size_t n, const size_t *counts, size_t total, int *tenths)
{
    size_t given = 0;
    for (size_t k = 0; k < n; k++) {
        tenths[k] = total > 0 ? (int)(counts[k] * 1000 / total) : 0;
        given += (size_t)tenths[k];
    }
    for (; total > 0 && given < 1000; given++) {
        size_t best = 0, best_rest = 0;
        for (size_t k = 0; k < n; k++) {
            size_t whole = counts[k] * 1000, got = (size_t)tenths[k] * total;
            if (whole > got && whole - got > best_rest) {
                best_rest = whole - got;
                best = k;
            }
        }
        tenths[best]++;
    }
}

nrw_status nrw_loss_flow_tenths(const nrw_loss_flow *flow, int *tenths)
{
    size_t *counts = calloc(flow->n_stages + 1, sizeof *counts);
    if (!counts)
        return NRW_NO_MEMORY;
    /* a stage has those lost there, the last those retained */
    for (size_t s = 0; s < flow->n_stages; s++)
        counts[s] = s + 1 < flow->n_stages ? flow->stages[s].n_lost : flow->stages[s].n_reached;
    apportion(flow->n_stages, counts, flow->n, tenths);
    free(counts);
    return NRW_OK;
}

nrw_status nrw_loss_flow_exit_tenths(const nrw_loss_flow *flow, int *tenths)
{
    size_t *counts = calloc(flow->n_exits + 1, sizeof *counts);
    if (!counts)
        return NRW_NO_MEMORY;
    for (size_t e = 0; e < flow->n_exits; e++)
        counts[e] = flow->exits[e].n;
    if (flow->n_stages > 0)
        counts[flow->n_exits] = flow->stages[flow->n_stages - 1].n_reached;
    apportion(flow->n_exits + 1, counts, flow->n, tenths);
    free(counts);
    return NRW_OK;
}

void nrw_flow_stage_name(const nrw_flow_stage *stage, char *text, size_t size)
{
    switch (stage->kind) {
    case NRW_FLOW_RELEASED:
        (void)snprintf(text, size, "released");
        return;
    case NRW_FLOW_GATHERED:
        (void)snprintf(text, size, "gathered");
        return;
    case NRW_FLOW_THROAT_ENTERED:
        (void)snprintf(text, size, "throat %zu entered", stage->throat + 1);
        return;
    case NRW_FLOW_THROAT_PASSED:
        (void)snprintf(text, size, "throat %zu passed", stage->throat + 1);
        return;
    case NRW_FLOW_TARGET:
        (void)snprintf(text, size, "target");
        return;
    case NRW_FLOW_RETAINED:
        (void)snprintf(text, size, "retained");
        return;
    }
}
