#include "duct_flow.h"

#include <criterion/criterion.h>
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdlib.h>

#include "mobility.h"

/* Point forces along and up a wall, and the grid on which no slip is asked for; spacings
 * grow away from the torque. */
enum { ALONG = 15, UP = 11, N_FORCES = ALONG * UP, CHECKS_ALONG = 22, CHECKS_UP = 16 };
enum { N_CHECKS = CHECKS_ALONG * CHECKS_UP };
#define FIRST_SPACING 0.07
#define GROWTH_ALONG 1.22
#define GROWTH_UP 1.27

struct duct_flow {
    int axis;
    double height;
    double at[N_FORCES][3];
    double force[N_FORCES][3];
};

/* What a flow's components do in the mirrors x = 0 and y = 0. */
static void signs_of(int axis, double sx[3], double sy[3])
{
    const double y_sign = axis == 1 ? 1.0 : -1.0;
    sx[0] = 1.0;
    sx[1] = sx[2] = -1.0;
    sy[0] = sy[2] = y_sign;
    sy[1] = -y_sign;
}

/* Velocity at a point by a unit force along `component` at `from` and its mirrors. */
static void force_flow(int axis, const double from[3], int component, nrw_vec3 at, double u[3])
{
    double sx[3], sy[3];
    signs_of(axis, sx, sy);
    u[0] = u[1] = u[2] = 0.0;
    for (int mirror = 0; mirror < 4; mirror++) {
        const bool mx = mirror & 1, my = mirror & 2;
        const double sign = (mx ? sx[component] : 1.0) * (my ? sy[component] : 1.0);
        double g[3][3];
        nrw_stokeslet_floor(
            from[2],
            (nrw_vec3){at.x - (mx ? -from[0] : from[0]), at.y - (my ? -from[1] : from[1]), at.z},
            g);
        for (int k = 0; k < 3; k++)
            u[k] += sign * g[k][component];
    }
}

nrw_vec3 duct_flow_free_at(const duct_flow *flow, nrw_vec3 at)
{
    const nrw_vec3 torque = {0.0, flow->axis == 1 ? 1.0 : 0.0, flow->axis == 2 ? 1.0 : 0.0};
    return nrw_rotlet_floor_um_s(torque, flow->height, at, 1.0 / (8.0 * NRW_PI));
}

nrw_vec3 duct_flow_at(const duct_flow *flow, nrw_vec3 at)
{
    nrw_vec3 sum = duct_flow_free_at(flow, at);
    for (size_t i = 0; i < N_FORCES; i++)
        for (int c = 0; c < 3; c++) {
            double u[3];
            force_flow(flow->axis, flow->at[i], c, at, u);
            sum.x += flow->force[i][c] * u[0];
            sum.y += flow->force[i][c] * u[1];
            sum.z += flow->force[i][c] * u[2];
        }
    return sum;
}

/* Each force stands behind the wall by a little more than its spacing. */
static void place_forces(duct_flow *flow, double reach[2])
{
    double x = 0.0, dx = FIRST_SPACING, z = 0.0, dz = FIRST_SPACING;
    for (size_t i = 0; i < ALONG; i++, x += dx, dx *= GROWTH_ALONG) {
        z = 0.0;
        dz = FIRST_SPACING;
        for (size_t k = 0; k < UP; k++, z += dz, dz *= GROWTH_UP) {
            double *at = flow->at[i * UP + k];
            at[0] = x + 0.5 * dx;
            at[1] = 0.5 + 1.2 * fmax(dx, dz);
            at[2] = z + 0.5 * dz;
        }
    }
    reach[0] = x;
    reach[1] = z;
}

/* Fractions 0...1 spread as the spacings are. */
static double spread(double share, double reach, double growth)
{
    const double scale = FIRST_SPACING / log(growth);
    return scale * (exp(share * log1p(reach / scale)) - 1.0);
}

duct_flow *duct_flow_create(int axis, double height)
{
    duct_flow *flow = calloc(1, sizeof *flow);
    cr_assert_not_null(flow);
    flow->axis = axis;
    flow->height = height;
    double reach[2];
    place_forces(flow, reach);
    gsl_matrix *a = gsl_matrix_alloc(3 * N_CHECKS, 3 * N_FORCES);
    gsl_vector *b = gsl_vector_alloc(3 * N_CHECKS), *rest = gsl_vector_alloc(3 * N_CHECKS);
    gsl_vector *x = gsl_vector_alloc(3 * N_FORCES), *tau = gsl_vector_alloc(3 * N_FORCES);
    gsl_vector *norm = gsl_vector_alloc(3 * N_FORCES);
    gsl_permutation *order = gsl_permutation_alloc(3 * N_FORCES);
    for (size_t k = 0; k < N_CHECKS; k++) {
        const double along = ((double)(k / CHECKS_UP) + 0.3) / CHECKS_ALONG;
        const double up = ((double)(k % CHECKS_UP) + 0.5) / CHECKS_UP;
        const nrw_vec3 at = {spread(along, reach[0], GROWTH_ALONG), 0.5,
                             spread(up, reach[1], GROWTH_UP)};
        for (size_t i = 0; i < 3 * N_FORCES; i++) {
            double u[3];
            force_flow(axis, flow->at[i / 3], (int)(i % 3), at, u);
            for (size_t c = 0; c < 3; c++)
                gsl_matrix_set(a, 3 * k + c, i, u[c]);
        }
        const nrw_vec3 free_flow = duct_flow_free_at(flow, at);
        gsl_vector_set(b, 3 * k, -free_flow.x);
        gsl_vector_set(b, 3 * k + 1, -free_flow.y);
        gsl_vector_set(b, 3 * k + 2, -free_flow.z);
    }
    int sign;
    gsl_linalg_QRPT_decomp(a, tau, order, &sign, norm);
    gsl_linalg_QRPT_lssolve2(a, tau, order, b, gsl_linalg_QRPT_rank(a, 1e-10), x, rest);
    for (size_t i = 0; i < 3 * N_FORCES; i++)
        flow->force[i / 3][i % 3] = gsl_vector_get(x, i);
    gsl_matrix_free(a);
    gsl_vector *vectors[] = {b, rest, x, tau, norm};
    for (size_t k = 0; k < sizeof vectors / sizeof *vectors; k++)
        gsl_vector_free(vectors[k]);
    gsl_permutation_free(order);
    return flow;
}

void duct_flow_destroy(duct_flow *flow)
{
    free(flow);
}
