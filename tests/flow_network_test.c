/* Networks of resistances: Kirchhoff's laws hold to rounding, also where the
 * resistances differ by many orders; what can't be solved is refused. */
#include <criterion/criterion.h>
#include <float.h>
#include <math.h>
#include <string.h>

#include "flow_network.h"
#include "random.h"

enum { NODES = 60, RESISTORS = 110 };

typedef struct random_network {
    nrw_resistor resistors[RESISTORS];
    bool is_given[NODES];
    double pressure[NODES], inflow[NODES];
    double pressures[NODES], flows[RESISTORS];
    nrw_flow_network network;
} random_network;

/* A tree with loops; resistances over `decades`, two given pressures. */
static void make(random_network *r, uint64_t seed, double decades)
{
    memset(r, 0, sizeof *r);
    for (uint32_t k = 0; k < RESISTORS; k++) {
        int to =
            k + 1 < NODES ? (int)k + 1 : (int)(NODES * nrw_uniform(seed, NRW_STREAM_START, k, 0));
        int from = (int)(to * nrw_uniform(seed, NRW_STREAM_START, k, 1));
        if (from == to)
            from = to == 0 ? 1 : 0;
        double power = decades * nrw_uniform(seed, NRW_STREAM_START, k, 2);
        r->resistors[k] = (nrw_resistor){from, to, pow(10, power)};
    }
    r->is_given[7] = r->is_given[31] = true;
    r->pressure[7] = 3;
    r->pressure[31] = -2;
    r->inflow[11] = 0.5;
    r->inflow[50] = -0.2;
    r->network =
        (nrw_flow_network){r->resistors, RESISTORS, r->is_given, r->pressure, r->inflow, NODES};
}

static double imbalance(const random_network *r, int node, double *size)
{
    double sum = r->inflow[node];
    *size = fabs(sum);
    for (size_t k = 0; k < RESISTORS; k++) {
        double out = r->resistors[k].from == node ? r->flows[k]
                     : r->resistors[k].to == node ? -r->flows[k]
                                                  : 0;
        sum -= out;
        *size += fabs(out);
    }
    return sum;
}

Test(flow_network, flows_balance_to_rounding_at_every_node)
{
    for (uint64_t seed = 1; seed <= 20; seed++) {
        random_network r;
        make(&r, seed, seed % 2 ? 0.0 : 9.0);
        cr_assert_eq(nrw_flow_network_solve(&r.network, r.pressures, r.flows, NULL), NRW_OK);
        for (int node = 0; node < NODES; node++) {
            double size, left = imbalance(&r, node, &size);
            /* a few sums of at most RESISTORS terms */
            cr_assert(r.is_given[node] || fabs(left) <= 8 * DBL_EPSILON * size,
                      "seed %d, node %d: %g of %g", (int)seed, node, left, size);
        }
    }
}

Test(flow_network, flows_are_pressure_differences_over_resistances)
{
    for (uint64_t seed = 1; seed <= 20; seed++) {
        random_network r;
        make(&r, seed, 9.0);
        cr_assert_eq(nrw_flow_network_solve(&r.network, r.pressures, r.flows, NULL), NRW_OK);
        cr_assert_eq(r.pressures[7], 3.0);
        cr_assert_eq(r.pressures[31], -2.0);
        for (size_t k = 0; k < RESISTORS; k++) {
            const nrw_resistor *e = &r.resistors[k];
            double drop = r.pressures[e->from] - r.pressures[e->to];
            /* pressures are good to rounding times the condition, 1e9 at most: what a
             * flow claims is within that of the pressures */
            cr_assert(fabs(drop - r.flows[k] * e->resistance) <= 1e-7 * fabs(drop) + 1e-7,
                      "seed %d, resistor %zu", (int)seed, k);
        }
    }
}

Test(flow_network, two_solutions_add_up)
{
    random_network a, b, sum;
    make(&a, 3, 4.0);
    b = sum = a;
    for (int i = 0; i < NODES; i++) {
        b.pressure[i] = i == 31 ? 4.0 : -1.0;
        b.inflow[i] = i == 20 ? 1.5 : 0.0;
        sum.pressure[i] = a.pressure[i] + b.pressure[i];
        sum.inflow[i] = a.inflow[i] + b.inflow[i];
    }
    random_network *all[] = {&a, &b, &sum};
    for (int i = 0; i < 3; i++) {
        nrw_flow_network network = {all[i]->resistors, RESISTORS,      all[i]->is_given,
                                    all[i]->pressure,  all[i]->inflow, NODES};
        cr_assert_eq(nrw_flow_network_solve(&network, all[i]->pressures, all[i]->flows, NULL),
                     NRW_OK);
    }
    for (int k = 0; k < RESISTORS; k++)
        cr_assert(fabs(a.flows[k] + b.flows[k] - sum.flows[k]) <= 1e-9);
}

Test(flow_network, a_part_at_rest_has_no_flow)
{
    /* 0-1 with given pressures, 2-3-4 for itself and without inflow */
    const nrw_resistor resistors[] = {{0, 1, 2}, {2, 3, 1}, {3, 4, 1}};
    const bool is_given[5] = {true, true};
    const double pressure[5] = {1, 0}, inflow[5] = {0};
    nrw_flow_network network = {resistors, 3, is_given, pressure, inflow, 5};
    double pressures[5], flows[3];
    cr_assert_eq(nrw_flow_network_solve(&network, pressures, flows, NULL), NRW_OK);
    cr_assert_eq(flows[0], 0.5);
    cr_assert_eq(flows[1], 0.0);
    cr_assert_eq(flows[2], 0.0);
}

Test(flow_network, given_flows_alone_must_balance)
{
    const nrw_resistor resistors[] = {{0, 1, 2}, {1, 2, 1}};
    const bool is_given[3] = {false};
    const double pressure[3] = {0};
    double inflow[3] = {2, 0, -2}, pressures[3], flows[2];
    nrw_flow_network network = {resistors, 2, is_given, pressure, inflow, 3};
    cr_assert_eq(nrw_flow_network_solve(&network, pressures, flows, NULL), NRW_OK);
    cr_assert_eq(flows[0], 2.0);
    cr_assert_eq(flows[1], 2.0);
    cr_assert(fabs(pressures[0] - pressures[2] - 6) < 1e-12);
    inflow[2] = -1;
    nrw_errors errors;
    nrw_errors_init(&errors);
    cr_assert_eq(nrw_flow_network_solve(&network, pressures, flows, &errors), NRW_REFUSED);
    cr_assert(strstr(errors.items[0].what, "more fluid enters than leaves"));
    nrw_errors_clear(&errors);
}

/* Nodes 1 and 2 hang together by nothing, 0 and 3 by 1e20 times more: singular in
 * double precision, or flows that still balance; never a wrong answer in silence. */
Test(flow_network, hopeless_resistances_are_refused_or_balanced)
{
    const nrw_resistor resistors[] = {{0, 1, 1e20}, {1, 2, 1}, {2, 3, 1e20}};
    const bool is_given[4] = {true, false, false, true};
    const double pressure[4] = {1, 0, 0, 0}, inflow[4] = {0};
    nrw_flow_network network = {resistors, 3, is_given, pressure, inflow, 4};
    double pressures[4], flows[3];
    nrw_status status = nrw_flow_network_solve(&network, pressures, flows, NULL);
    if (status == NRW_OK)
        cr_assert(fabs(flows[1] - 0.5e-20) < 1e-26);
    else
        cr_assert_eq(status, NRW_DIVERGED);
}
