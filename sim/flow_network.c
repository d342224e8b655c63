#include "flow_network.h"

#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Inflows of a part without an outlet must cancel to this share of their sizes. */
#define BALANCED 1e-9

typedef struct solver {
    const nrw_flow_network *network;
    double *pressures, *flows;
    int *part;     /* (n_nodes) lowest-numbered node that a node is connected to */
    bool *is_open; /* (n_nodes), at a part's lowest node: some pressure in it is given */
    int *unknown;  /* (n_nodes) row of a node's pressure, -1: known */
    size_t n_unknowns;
    size_t *order; /* (n_resistors) by rising resistance */
    /* the widest tree, rooted where the pressure is known */
    int *parent_resistor; /* (n_nodes) -1 at roots */
    int *queue;           /* (n_nodes) roots first, each node after its parent */
} solver;

static void solver_clear(solver *s)
{
    free(s->part);
    free(s->is_open);
    free(s->unknown);
    free(s->order);
    free(s->parent_resistor);
    free(s->queue);
}

static nrw_status allocate(solver *s)
{
    size_t n = s->network->n_nodes + 1, m = s->network->n_resistors + 1;
    s->part = malloc(n * sizeof *s->part);
    s->is_open = calloc(n, sizeof *s->is_open);
    s->unknown = malloc(n * sizeof *s->unknown);
    s->order = malloc(m * sizeof *s->order);
    s->parent_resistor = malloc(n * sizeof *s->parent_resistor);
    s->queue = malloc(n * sizeof *s->queue);
    return s->part && s->is_open && s->unknown && s->order && s->parent_resistor && s->queue
               ? NRW_OK
               : NRW_NO_MEMORY;
}

/* --- parts ----------------------------------------------------------------------- */

static int find_root(int *part, int node)
{
    while (part[node] != node)
        node = part[node] = part[part[node]];
    return node;
}

static bool join(int *part, int a, int b)
{
    a = find_root(part, a);
    b = find_root(part, b);
    if (a == b)
        return false;
    part[a > b ? a : b] = a > b ? b : a;
    return true;
}

static void find_parts(solver *s)
{
    const nrw_flow_network *network = s->network;
    for (size_t i = 0; i < network->n_nodes; i++)
        s->part[i] = (int)i;
    for (size_t k = 0; k < network->n_resistors; k++)
        (void)join(s->part, network->resistors[k].from, network->resistors[k].to);
    for (size_t i = 0; i < network->n_nodes; i++) {
        s->part[i] = find_root(s->part, (int)i);
        if (network->is_given[i])
            s->is_open[s->part[i]] = true;
    }
}

/* Whether the pressure at a node is known beforehand: given, or the part's
 * reference. */
static bool is_known(const solver *s, size_t node)
{
    return s->network->is_given[node] || (!s->is_open[s->part[node]] && s->part[node] == (int)node);
}

static nrw_status check_balance(const solver *s, nrw_errors *errors)
{
    const nrw_flow_network *network = s->network;
    for (size_t root = 0; root < network->n_nodes; root++) {
        double sum = 0.0, size = 0.0;
        if (s->part[root] != (int)root || s->is_open[root])
            continue;
        for (size_t i = root; i < network->n_nodes; i++)
            if (s->part[i] == (int)root) {
                sum += network->inflow[i];
                size += fabs(network->inflow[i]);
            }
        if (fabs(sum) > BALANCED * size)
            return nrw_errors_add(
                errors, NRW_REFUSED, "flows that balance, or an end with a given pressure",
                "more fluid enters than leaves: %.6g too much, and no end of that "
                "part of the network has a given pressure",
                sum);
    }
    return NRW_OK;
}

/* --- pressures --------------------------------------------------------------------- */

static void number_unknowns(solver *s)
{
    for (size_t i = 0; i < s->network->n_nodes; i++) {
        s->unknown[i] = is_known(s, i) ? -1 : (int)s->n_unknowns++;
        s->pressures[i] = s->network->is_given[i] ? s->network->pressure[i] : 0.0;
    }
}

/* Flows by the pressures as they are. */
static void flows_of_pressures(const solver *s)
{
    for (size_t k = 0; k < s->network->n_resistors; k++) {
        const nrw_resistor *r = &s->network->resistors[k];
        s->flows[k] = (s->pressures[r->from] - s->pressures[r->to]) / r->resistance;
    }
}

/* What enters every unknown node and does not leave it. */
static void imbalances(const solver *s, double *imbalance)
{
    for (size_t i = 0; i < s->network->n_nodes; i++)
        if (s->unknown[i] >= 0)
            imbalance[s->unknown[i]] = s->network->inflow[i];
    for (size_t k = 0; k < s->network->n_resistors; k++) {
        const nrw_resistor *r = &s->network->resistors[k];
        int ends[2] = {s->unknown[r->from], s->unknown[r->to]};
        for (int e = 0; e < 2; e++)
            if (ends[e] >= 0)
                imbalance[ends[e]] += e ? s->flows[k] : -s->flows[k];
    }
}

/* The symmetric matrix of conductances, scaled to a unit diagonal so that vessels
 * of very different width cost no digits; scale (n_unknowns) gets the factors. */
static void fill_matrix(const solver *s, double *matrix, double *scale)
{
    size_t n = s->n_unknowns;
    for (size_t k = 0; k < s->network->n_resistors; k++) {
        const nrw_resistor *r = &s->network->resistors[k];
        int a = s->unknown[r->from], b = s->unknown[r->to];
        double conductance = 1.0 / r->resistance;
        if (a >= 0)
            matrix[(size_t)a * (n + 1)] += conductance;
        if (b >= 0)
            matrix[(size_t)b * (n + 1)] += conductance;
        if (a >= 0 && b >= 0) {
            matrix[(size_t)a * n + (size_t)b] -= conductance;
            matrix[(size_t)b * n + (size_t)a] -= conductance;
        }
    }
    for (size_t i = 0; i < n; i++)
        scale[i] = 1.0 / sqrt(matrix[i * (n + 1)]);
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++)
            matrix[i * n + j] *= scale[i] * scale[j];
}

/* Factors the matrix and solves twice; the second round is a refinement.
 * NRW_DIVERGED: singular within rounding. */
static nrw_status solve_rounds(const solver *s, double *matrix, double *scale, double *step,
                               size_t *order)
{
    size_t n = s->n_unknowns;
    int sign;
    gsl_matrix_view factors = gsl_matrix_view_array(matrix, n, n);
    gsl_vector_view steps = gsl_vector_view_array(step, n);
    gsl_permutation permutation = {n, order};
    (void)gsl_linalg_LU_decomp(&factors.matrix, &permutation, &sign);
    for (size_t i = 0; i < n; i++) /* looked at here: GSL would end the program */
        if (!(fabs(matrix[i * (n + 1)]) > 0.0))
            return NRW_DIVERGED;
    for (int round = 0; round < 2; round++) {
        flows_of_pressures(s);
        imbalances(s, step);
        for (size_t i = 0; i < n; i++)
            step[i] *= scale[i];
        (void)gsl_linalg_LU_svx(&factors.matrix, &permutation, &steps.vector);
        for (size_t i = 0; i < s->network->n_nodes; i++)
            if (s->unknown[i] >= 0)
                s->pressures[i] += scale[s->unknown[i]] * step[s->unknown[i]];
    }
    return NRW_OK;
}

static nrw_status solve_pressures(const solver *s, nrw_errors *errors)
{
    size_t n = s->n_unknowns;
    if (n == 0)
        return NRW_OK;
    if (n > NRW_FLOW_UNKNOWNS_MAX)
        return nrw_errors_add(errors, NRW_REFUSED, "at most 2000",
                              "the flow network has %zu nodes of unknown pressure", n);
    double *matrix = calloc(n * n, sizeof *matrix), *scale = malloc(n * sizeof *scale);
    double *step = malloc(n * sizeof *step);
    size_t *order = malloc(n * sizeof *order);
    nrw_status status = NRW_NO_MEMORY;
    if (matrix && scale && step && order) {
        fill_matrix(s, matrix, scale);
        status = solve_rounds(s, matrix, scale, step, order);
    }
    for (size_t i = 0; i < s->network->n_nodes && status == NRW_OK; i++)
        if (!isfinite(s->pressures[i]))
            status = NRW_DIVERGED;
    free(matrix);
    free(scale);
    free(step);
    free(order);
    if (status == NRW_DIVERGED)
        return nrw_errors_add(errors, status, "resistances of a like size",
                              "the pressures of the flow network can't be found: its resistances "
                              "differ by too much");
    return status;
}

/* --- balance ------------------------------------------------------------------------- */

typedef struct ranked {
    double resistance;
    size_t index;
} ranked;

static int compare_ranked(const void *left, const void *right)
{
    const ranked *a = left, *b = right;
    if (a->resistance != b->resistance)
        return a->resistance < b->resistance ? -1 : 1;
    return (a->index > b->index) - (a->index < b->index);
}

static nrw_status rank_resistors(solver *s)
{
    size_t n = s->network->n_resistors;
    ranked *list = malloc((n + 1) * sizeof *list);
    if (!list)
        return NRW_NO_MEMORY;
    for (size_t k = 0; k < n; k++)
        list[k] = (ranked){s->network->resistors[k].resistance, k};
    qsort(list, n, sizeof *list, compare_ranked);
    for (size_t k = 0; k < n; k++)
        s->order[k] = list[k].index;
    free(list);
    return NRW_OK;
}

/* Marks the resistors of the widest forest (Kruskal 1956, Proc. Am. Math. Soc. 7:48)
 * in which all nodes of known pressure count as one. */
static void mark_forest(solver *s, bool *in_forest)
{
    const nrw_flow_network *network = s->network;
    int known = -1;
    for (size_t i = 0; i < network->n_nodes; i++)
        s->part[i] = (int)i;
    for (size_t i = 0; i < network->n_nodes; i++)
        if (s->unknown[i] < 0) {
            if (known >= 0)
                (void)join(s->part, known, (int)i);
            known = (int)i;
        }
    for (size_t k = 0; k < network->n_resistors; k++) {
        const nrw_resistor *r = &network->resistors[s->order[k]];
        in_forest[s->order[k]] = join(s->part, r->from, r->to);
    }
}

/* Walks the forest from the known nodes. Several sweeps over the resistors instead
 * of adjacency lists: the solution above costs more. */
static size_t walk_forest(solver *s, const bool *in_forest)
{
    const nrw_flow_network *network = s->network;
    size_t n = 0;
    bool *seen = s->is_open; /* no longer needed for the parts */
    for (size_t i = 0; i < network->n_nodes; i++) {
        s->parent_resistor[i] = -1;
        seen[i] = s->unknown[i] < 0;
        if (seen[i])
            s->queue[n++] = (int)i;
    }
    for (bool grew = true; grew;) {
        grew = false;
        for (size_t k = 0; k < network->n_resistors; k++) {
            const nrw_resistor *r = &network->resistors[k];
            if (!in_forest[k] || seen[r->from] == seen[r->to])
                continue;
            int node = seen[r->from] ? r->to : r->from;
            seen[node] = true;
            s->parent_resistor[node] = (int)k;
            s->queue[n++] = node;
            grew = true;
        }
    }
    return n;
}

/* Hands each node's imbalance to its parent, leaves first. */
static nrw_status balance(solver *s)
{
    const nrw_flow_network *network = s->network;
    bool *in_forest = calloc(network->n_resistors + 1, sizeof *in_forest);
    double *left = malloc((network->n_nodes + 1) * sizeof *left);
    nrw_status status = in_forest && left ? rank_resistors(s) : NRW_NO_MEMORY;
    if (status == NRW_OK) {
        mark_forest(s, in_forest);
        size_t n = walk_forest(s, in_forest);
        for (size_t i = 0; i < network->n_nodes; i++)
            left[i] = network->inflow[i];
        for (size_t k = 0; k < network->n_resistors; k++) {
            if (in_forest[k])
                continue;
            left[network->resistors[k].from] -= s->flows[k];
            left[network->resistors[k].to] += s->flows[k];
        }
        /* The tree's flows are what the rest leaves: exact but for these sums. */
        while (n-- > 0) {
            int node = s->queue[n], k = s->parent_resistor[node];
            if (k < 0)
                continue;
            bool leaves = network->resistors[k].from == node;
            s->flows[k] = leaves ? left[node] : -left[node];
            left[leaves ? network->resistors[k].to : network->resistors[k].from] += left[node];
        }
    }
    free(in_forest);
    free(left);
    return status;
}

nrw_status nrw_flow_network_solve(const nrw_flow_network *network, double *pressures, double *flows,
                                  nrw_errors *errors)
{
    solver s = {.network = network, .pressures = pressures, .flows = flows};
    nrw_status status = allocate(&s);
    if (status == NRW_OK) {
        find_parts(&s);
        status = check_balance(&s, errors);
    }
    if (status == NRW_OK) {
        number_unknowns(&s);
        status = solve_pressures(&s, errors);
    }
    if (status == NRW_OK) {
        flows_of_pressures(&s);
        status = balance(&s);
    }
    solver_clear(&s);
    if (status == NRW_NO_MEMORY)
        return nrw_errors_add(errors, status, "", "no memory for the flow network");
    return status;
}
