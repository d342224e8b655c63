/* Sums with a far field against plain sums over all pairs in double precision. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "dipole.h"
#include "far_field.h"
#include "mobility.h"

enum { MOST = 2000, ROWS = 2000, OUTPUTS = 6, N_RESPONSES = 3 * NRW_N_TENSOR };

#define RADIUS 1.5
#define VISCOSITY 8.9e-4

static double x[MOST], y[MOST], z[MOST];
static uint32_t order[ROWS];
static _Alignas(64) float inputs[4][ROWS], outputs[OUTPUTS][ROWS], responses[N_RESPONSES][ROWS];
static double expected[OUTPUTS][MOST];
static const nrw_sym3 moment2 = {1030.0, 40.0, -83.0, 630.0, 200.0, 147.0};

static double uniform(uint64_t *state)
{
    *state = *state * 6364136223846793005u + 1442695040888963407u;
    return (double)(*state >> 11) * 0x1p-53;
}

/* --- swarms ------------------------------------------------------------------------- */

typedef void swarm(size_t n, uint64_t *state);

static void on_grid(size_t n, double pitch, size_t layers, uint64_t *state)
{
    size_t at = 0;
    const double extent = pitch * sqrt((double)n / (double)layers / 3.1);
    for (size_t layer = 0; at < n; layer++)
        for (double u = -extent; u < extent && at < n; u += pitch)
            for (double v = -extent; v < extent && at < n; v += pitch) {
                if (layer + 1 < layers && u * u + v * v > extent * extent)
                    continue;
                x[at] = u + 0.3 * uniform(state);
                y[at] = v + 0.3 * uniform(state);
                z[at++] = 1.55 + 3.2 * (double)layer + 0.1 * uniform(state);
            }
}

static void gathered(size_t n, uint64_t *state)
{
    on_grid(n, 3.2, 1, state);
}

static void spread(size_t n, uint64_t *state)
{
    on_grid(n, 6.0, 1, state);
}

static void stacked(size_t n, uint64_t *state)
{
    on_grid(n, 3.3, 6, state);
}

/* A rod three particles wide, as in a throat. */
static void drawn_out(size_t n, uint64_t *state)
{
    for (size_t i = 0; i < n; i++) {
        x[i] = 3.3 * (double)(i / 3) + 0.2 * uniform(state);
        y[i] = 3.3 * (double)(i % 3) + 0.2 * uniform(state);
        z[i] = 1.6 + 0.2 * uniform(state);
    }
}

/* Two swarms far apart, and a stray between them. */
static void parted(size_t n, uint64_t *state)
{
    on_grid(n, 3.2, 1, state);
    for (size_t i = n / 2; i < n; i++)
        x[i] += 2000.0;
    x[0] = 900.0;
}

static void make(swarm *place, size_t n, uint64_t seed)
{
    uint64_t state = seed;
    place(n, &state);
    for (size_t i = 0; i < ROWS; i++)
        order[i] = (uint32_t)i;
    for (size_t i = n; i-- > 1;) {
        const size_t j = (size_t)(uniform(&state) * (double)(i + 1));
        const uint32_t kept = order[i];
        order[i] = order[j];
        order[j] = kept;
    }
    for (size_t row = 0; row < ROWS; row++) {
        inputs[0][row] = (float)(0.8 + 0.4 * uniform(&state));
        inputs[1][row] = (float)(60.0 + 40.0 * uniform(&state));
        inputs[2][row] = (float)(40.0 * uniform(&state) - 20.0);
        inputs[3][row] = (float)(100.0 + 50.0 * uniform(&state));
    }
}

static nrw_pair_task task_of(size_t n)
{
    const double c = 0.3;
    nrw_pair_task task = {.n = ROWS,
                          .n_filled = n,
                          .moment = inputs[0],
                          .qx = inputs[1],
                          .qy = inputs[2],
                          .tz = inputs[3],
                          .core2 = 7.3f,
                          .radius2 = (float)(RADIUS * RADIUS),
                          .fx = outputs[0],
                          .fy = outputs[1],
                          .fz = outputs[2],
                          .ux = outputs[3],
                          .uy = outputs[4],
                          .uz = outputs[5]};
    const double tensor[NRW_N_TENSOR] = {moment2.xx, moment2.xy, moment2.xz,
                                         moment2.yy, moment2.yz, moment2.zz};
    for (int k = 0; k < NRW_N_TENSOR; k++)
        task.tensor[k] = (float)(c * tensor[k]);
    for (int k = 0; k < N_RESPONSES; k++)
        task.response[k] = responses[k];
    return task;
}

/* --- plain sums --------------------------------------------------------------------- */

static void add(int first, size_t row, double factor, nrw_vec3 v)
{
    expected[first][row] += factor * v.x;
    expected[first + 1][row] += factor * v.y;
    expected[first + 2][row] += factor * v.z;
}

static void expect(size_t n)
{
    const double per_torque = 8.0 * NRW_PI * VISCOSITY;
    memset(expected, 0, sizeof expected);
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++) {
            if (i == j)
                continue;
            const uint32_t to = order[i], from = order[j];
            const nrw_vec3 r = {x[to] - x[from], y[to] - y[from], z[to] - z[from]};
            add(0, i, (double)inputs[0][i] * (double)inputs[0][j],
                nrw_averaged_force_pN(moment2, r));
            /* the kernels' q is (T_y, −T_x) */
            const nrw_vec3 torque = {-(double)inputs[2][j] * per_torque,
                                     (double)inputs[1][j] * per_torque,
                                     (double)inputs[3][j] * per_torque};
            const nrw_vec3 at = {r.x, r.y, z[to]};
            add(3, i, 1.0, nrw_rotlet_floor_faxen_um_s(torque, z[from], RADIUS, at, VISCOSITY));
        }
}

/* Root mean square and largest error of three outputs over the root mean square. */
static void errors_of(size_t n, int first, double *rms, double *largest)
{
    double square = 0.0, off = 0.0;
    *largest = 0.0;
    for (size_t i = 0; i < n; i++) {
        double one = 0.0;
        for (int k = first; k < first + 3; k++) {
            one += pow((double)outputs[k][i] - expected[k][i], 2.0);
            square += pow(expected[k][i], 2.0);
        }
        off += one;
        *largest = fmax(*largest, sqrt(one));
    }
    *rms = sqrt(off / square);
    *largest /= sqrt(square / (double)n);
}

/* Measured: forces to 3.4e-4...7.7e-4 of their root mean square on average (a square lattice turned
 * by two degrees is the worst), 5.6e-3 for the worst particle; flow 5e-4...1.5e-3 and 6.7e-3 (drawn
 * out and stacked, the worst of the swarms). A step's own error rule is 0.1 diameters, the noise of
 * a seed 2 %. */
#define FORCE_RMS 9e-4
#define FORCE_LARGEST 8e-3
#define FLOW_RMS 1.8e-3
#define FLOW_LARGEST 1.4e-2

static void assert_sums(size_t n, int what, const char *name)
{
    double rms, largest;
    if (what & NRW_FAR_DIPOLES) {
        errors_of(n, 0, &rms, &largest);
        cr_log_info("%s: forces %.2g, worst %.2g", name, rms, largest);
        cr_assert_leq(rms, FORCE_RMS, "%s: %.3g", name, rms);
        cr_assert_leq(largest, FORCE_LARGEST, "%s: %.3g", name, largest);
    }
    if (what & NRW_FAR_FLOW) {
        errors_of(n, 3, &rms, &largest);
        cr_log_info("%s: flow %.2g, worst %.2g", name, rms, largest);
        cr_assert_leq(rms, FLOW_RMS, "%s: %.3g", name, rms);
        cr_assert_leq(largest, FLOW_LARGEST, "%s: %.3g", name, largest);
    }
}

static const struct {
    swarm *place;
    const char *name;
} swarms[] = {{gathered, "gathered"},
              {spread, "spread"},
              {stacked, "stacked"},
              {drawn_out, "drawn out"},
              {parted, "parted"}};
enum { N_SWARMS = sizeof swarms / sizeof *swarms };

/* --- tests -------------------------------------------------------------------------- */

Test(far_field, sums_are_the_plain_sums_in_swarms_of_every_shape)
{
    enum { N = 1300 };
    nrw_far_field far;
    cr_assert(nrw_far_field_init(&far, MOST));
    for (int k = 0; k < N_SWARMS; k++) {
        make(swarms[k].place, N, 7);
        expect(N);
        const nrw_pair_task task = task_of(N);
        for (int what = 1; what <= 3; what++) {
            memset(outputs, 0xff, sizeof outputs);
            cr_assert(nrw_far_field_sum(&far, &task, order, x, y, z, what));
            assert_sums(N, what, swarms[k].name);
        }
        /* it must be the far field that is tested: most pairs are not summed one by one */
        cr_assert_lt(2 * far.n_near_pairs, (uint64_t)N * (N - 1) * 9 / 10);
    }
    nrw_far_field_clear(&far);
}

Test(far_field, every_instruction_set_gives_the_same_sums)
{
    enum { N = 1009 };
    const nrw_kernels *kernels[NRW_KERNEL_LEVELS];
    const size_t n_levels = nrw_kernels_all(kernels);
    nrw_far_field far;
    cr_assert(nrw_far_field_init(&far, MOST));
    make(gathered, N, 3);
    expect(N);
    const nrw_pair_task task = task_of(N);
    for (size_t level = 0; level < n_levels; level++) {
        far.kernels = kernels[level];
        cr_assert(nrw_far_field_sum(&far, &task, order, x, y, z, 3));
        assert_sums(N, 3, kernels[level]->name);
    }
    nrw_far_field_clear(&far);
}

Test(far_field, responses_make_the_forces_of_their_tensor)
{
    enum { N = 1100 };
    nrw_far_field far;
    cr_assert(nrw_far_field_init(&far, MOST));
    const nrw_kernels *kernels[NRW_KERNEL_LEVELS];
    const size_t n_levels = nrw_kernels_all(kernels);
    for (size_t level = 0; level < n_levels; level++) {
        far.kernels = kernels[level];
        make(stacked, N, 5);
        const nrw_pair_task task = task_of(N);
        cr_assert(nrw_far_field_sum(&far, &task, order, x, y, z, NRW_FAR_DIPOLES));
        cr_assert(nrw_far_field_sum(&far, &task, order, x, y, z, NRW_FAR_RESPONSE));
        double largest = 0.0, off = 0.0;
        for (size_t i = 0; i < N; i++)
            for (int axis = 0; axis < 3; axis++) {
                double sum = 0.0;
                for (int k = 0; k < NRW_N_TENSOR; k++)
                    sum += (double)task.tensor[k] * (double)responses[3 * k + axis][i];
                off = fmax(off, fabs(sum - (double)outputs[axis][i]));
                largest = fmax(largest, fabs(sum));
            }
        /* the same expansions: single precision apart, and terms of six components that
         * cancel to a third */
        cr_assert_leq(off, 1e-5 * largest, "%s: %.3g", kernels[level]->name, off / largest);
    }
    nrw_far_field_clear(&far);
}

Test(far_field, lists_serve_while_particles_move)
{
    enum { N = 1200 };
    nrw_far_field far;
    cr_assert(nrw_far_field_init(&far, MOST));
    make(gathered, N, 11);
    const nrw_pair_task task = task_of(N);
    cr_assert(nrw_far_field_sum(&far, &task, order, x, y, z, 3));
    /* a turn by as much as keeps the list: nobody comes too close, and with it a drift */
    double edge = 0.0;
    for (size_t i = 0; i < N; i++)
        edge = fmax(edge, hypot(x[i], y[i]));
    const double angle = 0.98 * NRW_FAR_KEEP * RADIUS / edge;
    for (size_t i = 0; i < N; i++) {
        const double kept = x[i];
        x[i] = x[i] * cos(angle) - y[i] * sin(angle) + 40.0;
        y[i] = kept * sin(angle) + y[i] * cos(angle);
    }
    expect(N);
    cr_assert(nrw_far_field_sum(&far, &task, order, x, y, z, 3));
    cr_assert_eq(far.n_builds, 1);
    assert_sums(N, 3, "turned");
    x[7] += 3.0 * NRW_FAR_KEEP * RADIUS;
    z[7] += 4.0;
    expect(N);
    cr_assert(nrw_far_field_sum(&far, &task, order, x, y, z, 3));
    cr_assert_eq(far.n_builds, 2);
    assert_sums(N, 3, "one farther");
    nrw_far_field_clear(&far);
}

Test(far_field, one_of_many_may_go_half_as_far_again)
{
    enum { N = 1200 };
    nrw_far_field far;
    cr_assert(nrw_far_field_init(&far, MOST));
    make(gathered, N, 17);
    const nrw_pair_task task = task_of(N);
    cr_assert(nrw_far_field_sum(&far, &task, order, x, y, z, 3));
    z[7] += 1.45 * NRW_FAR_KEEP * RADIUS;
    expect(N);
    cr_assert(nrw_far_field_sum(&far, &task, order, x, y, z, 3));
    cr_assert_eq(far.n_builds, 1);
    assert_sums(N, 3, "one");
    /* but not one here and one there */
    for (size_t i = 0; i < N; i += NRW_CONTACT_GROUP)
        z[i] += 1.1 * NRW_FAR_KEEP * RADIUS;
    expect(N);
    cr_assert(nrw_far_field_sum(&far, &task, order, x, y, z, 3));
    cr_assert_eq(far.n_builds, 2);
    assert_sums(N, 3, "several");
    nrw_far_field_clear(&far);
}

Test(far_field, the_order_of_the_rows_changes_no_bit)
{
    enum { N = 1050 };
    static float before[OUTPUTS][ROWS];
    nrw_far_field far;
    cr_assert(nrw_far_field_init(&far, MOST));
    make(gathered, N, 13);
    nrw_pair_task task = task_of(N);
    cr_assert(nrw_far_field_sum(&far, &task, order, x, y, z, 3));
    memcpy(before, outputs, sizeof before);
    /* rows the other way round */
    for (size_t i = 0; i < N / 2; i++) {
        const uint32_t kept = order[i];
        order[i] = order[N - 1 - i];
        order[N - 1 - i] = kept;
        for (int k = 0; k < 4; k++) {
            const float value = inputs[k][i];
            inputs[k][i] = inputs[k][N - 1 - i];
            inputs[k][N - 1 - i] = value;
        }
    }
    cr_assert(nrw_far_field_sum(&far, &task, order, x, y, z, 3));
    for (int k = 0; k < OUTPUTS; k++)
        for (size_t i = 0; i < N; i++)
            cr_assert_eq(outputs[k][i], before[k][N - 1 - i]);
    nrw_far_field_clear(&far);
}

Test(far_field, few_particles_are_summed_one_by_one)
{
    nrw_far_field far;
    cr_assert(nrw_far_field_init(&far, MOST));
    const size_t counts[] = {2, 3, 16, 17, 40};
    for (size_t k = 0; k < sizeof counts / sizeof *counts; k++) {
        make(gathered, counts[k], 17);
        expect(counts[k]);
        const nrw_pair_task task = task_of(counts[k]);
        cr_assert(nrw_far_field_sum(&far, &task, order, x, y, z, 3));
        assert_sums(counts[k], 3, "few");
    }
    nrw_far_field_clear(&far);
}
