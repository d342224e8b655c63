#include <criterion/criterion.h>
#include <math.h>
#include <stdint.h>
#include <string.h>

#include "dipole.h"
#include "every_kernel.h"
#include "kernel.h"
#include "mobility.h"

/* Every kernel against plain sums over pairs in double precision, written from
 * the formulas (or taken from the references for single pairs), for each
 * instruction set that this processor has. */

enum { N = 37, PADDED = 48, N_RESPONSES = 3 * NRW_N_TENSOR };

#define RADIUS 1.5
#define CORE 2.7 /* 1.8 radii */
#define VISCOSITY 8.9e-4

/* Largest error as a share of the largest value: 1e-7 to 7e-7 measured. Float
 * positions of up to 40 µm are good to 2e-6 µm, which the fourth power of a
 * distance of 3 µm makes 3e-6 at worst. */
#define FLOAT_ERROR 3e-6

static _Alignas(64) float x[PADDED], y[PADDED], z[PADDED], moment[PADDED];
static _Alignas(64) float mx[PADDED], my[PADDED], mz[PADDED], qx[PADDED], qy[PADDED], tz[PADDED];
static _Alignas(64) float out[9][PADDED], responses[N_RESPONSES][PADDED];
static double expected[9][N];

/* --- a random swarm ------------------------------------------------------------ */

static double uniform(uint64_t *state)
{
    *state = *state * 6364136223846793005u + 1442695040888963407u;
    return (double)(*state >> 11) * 0x1p-53;
}

static bool too_close(size_t i, double apart)
{
    for (size_t j = 0; j < i; j++) {
        const double dx = (double)(x[i] - x[j]), dy = (double)(y[i] - y[j]);
        const double dz = (double)(z[i] - z[j]);
        if (dx * dx + dy * dy + dz * dz < apart * apart)
            return true;
    }
    return false;
}

static void make_swarm(uint64_t seed, double extent, double apart)
{
    uint64_t state = seed;
    for (size_t i = 0; i < PADDED; i++) {
        const bool real = i < N;
        do {
            x[i] = real ? (float)(extent * (2.0 * uniform(&state) - 1.0)) : 1e7f;
            y[i] = real ? (float)(extent * (2.0 * uniform(&state) - 1.0)) : 1e7f;
            z[i] = real ? (float)(1.55 + 4.0 * uniform(&state)) : 1.5f;
        } while (real && too_close(i, apart));
        moment[i] = real ? (float)(0.8 + 0.4 * uniform(&state)) : 0.0f;
        float *vectors[] = {&mx[i], &my[i], &mz[i], &qx[i], &qy[i], &tz[i]};
        for (int k = 0; k < 6; k++)
            *vectors[k] = real ? (float)(60.0 * uniform(&state) - 30.0) : 0.0f;
    }
    memset(out, 0, sizeof out);
    memset(responses, 0, sizeof responses);
    memset(expected, 0, sizeof expected);
}

static nrw_pair_task task_of(void)
{
    nrw_pair_task task;
    memset(&task, 0, sizeof task);
    task.n = PADDED;
    task.n_filled = N;
    task.x = x;
    task.y = y;
    task.z = z;
    task.moment = moment;
    task.mx = mx;
    task.my = my;
    task.mz = mz;
    task.qx = qx;
    task.qy = qy;
    task.tz = tz;
    task.core2 = (float)(CORE * CORE);
    task.radius2 = (float)(RADIUS * RADIUS);
    float **outputs[] = {&task.fx, &task.fy, &task.fz, &task.ux, &task.uy,
                         &task.uz, &task.bx, &task.by, &task.bz};
    for (int k = 0; k < 9; k++)
        *outputs[k] = out[k];
    for (int k = 0; k < N_RESPONSES; k++)
        task.response[k] = responses[k];
    return task;
}

/* ⟨m mᵀ⟩ of a moment of 30 fA·m² in a tilted field, and some mixed parts. */
static const nrw_sym3 tensor = {450.0, 40.0, -70.0, 330.0, -195.0, 120.0};

static void set_tensor(nrw_pair_task *task, nrw_sym3 m)
{
    const double parts[NRW_N_TENSOR] = {m.xx, m.xy, m.xz, m.yy, m.yz, m.zz};
    for (int k = 0; k < NRW_N_TENSOR; k++)
        task->tensor[k] = (float)(0.3 * parts[k]);
}

static nrw_vec3 from_to(size_t j, size_t i)
{
    return (nrw_vec3){(double)x[i] - (double)x[j], (double)y[i] - (double)y[j],
                      (double)z[i] - (double)z[j]};
}

static void add(int first, size_t i, double scale, nrw_vec3 v)
{
    expected[first][i] += scale * v.x;
    expected[first + 1][i] += scale * v.y;
    expected[first + 2][i] += scale * v.z;
}

static void assert_outputs(const char *name, int first, int last, double tolerance)
{
    double largest = 0.0, error = 0.0;
    for (int k = first; k < last; k++)
        for (size_t i = 0; i < N; i++) {
            largest = fmax(largest, fabs(expected[k][i]));
            error = fmax(error, fabs(expected[k][i] - (double)out[k][i]));
            cr_assert(isfinite(out[k][i]));
        }
    cr_assert_gt(largest, 0.0);
    cr_assert_leq(error, tolerance * largest, "%s: error %.3g of the largest value", name,
                  error / largest);
}

/* --- forces from a common tensor ------------------------------------------------- */

static void expect_averaged(void)
{
    for (size_t i = 0; i < N; i++)
        for (size_t j = 0; j < N; j++)
            if (j != i)
                add(0, i, (double)moment[i] * (double)moment[j],
                    nrw_averaged_force_pN(tensor, from_to(j, i)));
}

Test(kernel, averaged_forces_are_the_sum_over_pairs)
{
    nrw_kernels kernels[EVERY_KERNEL_MOST];
    const size_t n_kernels = every_kernel(kernels);
    for (uint64_t seed = 1; seed <= 5; seed++)
        for (size_t k = 0; k < n_kernels; k++) {
            make_swarm(seed, 40.0, 2.8);
            nrw_pair_task task = task_of();
            set_tensor(&task, tensor);
            expect_averaged();
            kernels[k].averaged(&task, 0, N);
            assert_outputs(kernels[k].name, 0, 3, FLOAT_ERROR);
        }
}

/* The reference for pairs closer than the core, from the formula as stated: powers
 * of the distance stop growing, the direction keeps its length. */
static nrw_vec3 averaged_in_core(nrw_sym3 m, nrw_vec3 r)
{
    const double r2 = fmax(nrw_vec3_dot(r, r), CORE * CORE);
    const nrw_vec3 mr = nrw_sym3_times(m, r);
    const double trace = m.xx + m.yy + m.zz;
    const double radial = trace - 5.0 * nrw_vec3_dot(mr, r) / r2;
    return nrw_vec3_scale(nrw_vec3_add(nrw_vec3_scale(mr, 2.0), nrw_vec3_scale(r, radial)),
                          0.3 / (r2 * r2 * sqrt(r2)));
}

Test(kernel, closer_than_the_core_forces_stay_bounded_and_as_stated)
{
    nrw_kernels kernels[EVERY_KERNEL_MOST];
    const size_t n_kernels = every_kernel(kernels);
    for (size_t k = 0; k < n_kernels; k++) {
        make_swarm(3, 8.0, 0.3); /* many overlaps */
        nrw_pair_task task = task_of();
        set_tensor(&task, tensor);
        for (size_t i = 0; i < N; i++)
            for (size_t j = 0; j < N; j++)
                add(0, i, (double)moment[i] * (double)moment[j],
                    averaged_in_core(tensor, from_to(j, i)));
        kernels[k].averaged(&task, 0, N);
        assert_outputs(kernels[k].name, 0, 3, FLOAT_ERROR);
    }
}

Test(kernel, outside_the_core_the_stated_form_is_the_dipole_force)
{
    const nrw_vec3 r = {2.1, -1.3, 1.4};
    const nrw_vec3 a = averaged_in_core(tensor, r), b = nrw_averaged_force_pN(tensor, r);
    cr_assert_float_eq(a.x, b.x, 1e-12);
    cr_assert_float_eq(a.y, b.y, 1e-12);
    cr_assert_float_eq(a.z, b.z, 1e-12);
}

Test(kernel, responses_contracted_with_a_tensor_are_the_averaged_forces)
{
    nrw_kernels kernels[EVERY_KERNEL_MOST];
    const size_t n_kernels = every_kernel(kernels);
    for (size_t k = 0; k < n_kernels; k++) {
        make_swarm(7, 40.0, 2.8);
        nrw_pair_task task = task_of();
        set_tensor(&task, tensor);
        expect_averaged();
        kernels[k].averaged_response(&task, 0, N);
        for (size_t i = 0; i < N; i++)
            for (int axis = 0; axis < 3; axis++) {
                double sum = 0.0;
                for (int c = 0; c < NRW_N_TENSOR; c++)
                    sum += (double)task.tensor[c] * (double)responses[3 * c + axis][i];
                out[axis][i] = (float)sum;
            }
        assert_outputs(kernels[k].name, 0, 3, FLOAT_ERROR);
    }
}

Test(kernel, each_response_is_the_force_of_its_component_alone)
{
    nrw_kernels kernels[EVERY_KERNEL_MOST];
    const size_t n_kernels = every_kernel(kernels);
    for (int c = 0; c < NRW_N_TENSOR; c++) {
        nrw_sym3 unit = {0.0, 0.0, 0.0, 0.0, 0.0, 0.0};
        double *parts[] = {&unit.xx, &unit.xy, &unit.xz, &unit.yy, &unit.yz, &unit.zz};
        *parts[c] = 1.0 / 0.3;
        for (size_t k = 0; k < n_kernels; k++) {
            make_swarm(11, 40.0, 2.8);
            nrw_pair_task task = task_of();
            kernels[k].averaged_response(&task, 0, N);
            for (size_t i = 0; i < N; i++)
                for (size_t j = 0; j < N; j++)
                    if (j != i)
                        add(0, i, (double)moment[i] * (double)moment[j],
                            nrw_averaged_force_pN(unit, from_to(j, i)));
            for (int axis = 0; axis < 3; axis++)
                memcpy(out[axis], responses[3 * c + axis], sizeof out[axis]);
            assert_outputs(kernels[k].name, 0, 3, FLOAT_ERROR);
        }
    }
}

/* --- own moments --------------------------------------------------------------- */

static nrw_vec3 moment_of(size_t i)
{
    return (nrw_vec3){(double)mx[i], (double)my[i], (double)mz[i]};
}

Test(kernel, own_moments_feel_the_forces_and_fields_of_all_others)
{
    nrw_kernels kernels[EVERY_KERNEL_MOST];
    const size_t n_kernels = every_kernel(kernels);
    for (size_t k = 0; k < n_kernels; k++) {
        make_swarm(13, 40.0, 2.8);
        nrw_pair_task task = task_of();
        for (size_t i = 0; i < N; i++)
            for (size_t j = 0; j < N; j++) {
                if (j == i)
                    continue;
                const nrw_vec3 r = from_to(j, i);
                add(0, i, 1.0, nrw_dipole_force_pN(moment_of(j), moment_of(i), r));
                add(6, i, 1.0, nrw_dipole_field_mT(moment_of(j), r));
            }
        kernels[k].own_moments(&task, 0, N);
        assert_outputs(kernels[k].name, 0, 3, FLOAT_ERROR);
        assert_outputs(kernels[k].name, 6, 9, FLOAT_ERROR);
    }
}

Test(kernel, torques_from_the_fields_balance_the_orbital_ones)
{
    /* Σ m × B + Σ r × F = 0 for any set of dipoles alone with each other */
    make_swarm(17, 40.0, 2.8);
    nrw_pair_task task = task_of();
    nrw_kernels_get()->own_moments(&task, 0, N);
    nrw_vec3 total = {0.0, 0.0, 0.0};
    double size = 0.0;
    for (size_t i = 0; i < N; i++) {
        const nrw_vec3 b = {(double)out[6][i], (double)out[7][i], (double)out[8][i]};
        const nrw_vec3 f = {(double)out[0][i], (double)out[1][i], (double)out[2][i]};
        const nrw_vec3 at = {(double)x[i], (double)y[i], (double)z[i]};
        const nrw_vec3 own = nrw_vec3_cross(moment_of(i), b), orbital = nrw_vec3_cross(at, f);
        total = nrw_vec3_add(total, nrw_vec3_add(own, orbital));
        size += nrw_vec3_norm(orbital);
    }
    cr_assert_leq(nrw_vec3_norm(total), FLOAT_ERROR * size);
}

/* --- pair flow ----------------------------------------------------------------- */

/* q = (T_y, −T_x)/8πη and T_z/8πη back to the torque. */
static nrw_vec3 torque_of(size_t j)
{
    const double unit = 8.0 * NRW_PI * VISCOSITY;
    return (nrw_vec3){-unit * (double)qy[j], unit * (double)qx[j], unit * (double)tz[j]};
}

Test(kernel, flow_above_the_floor_is_that_of_rotlets_with_images_seen_by_spheres)
{
    nrw_kernels kernels[EVERY_KERNEL_MOST];
    const size_t n_kernels = every_kernel(kernels);
    for (size_t k = 0; k < n_kernels; k++) {
        make_swarm(19, 40.0, 2.8);
        nrw_pair_task task = task_of();
        for (size_t i = 0; i < N; i++) {
            for (size_t j = 0; j < N; j++) {
                if (j == i)
                    continue;
                nrw_vec3 at = from_to(j, i);
                at.z = (double)z[i];
                add(3, i, 1.0,
                    nrw_rotlet_floor_faxen_um_s(torque_of(j), (double)z[j], RADIUS, at, VISCOSITY));
            }
            /* the particle's own image comes along: 2a²q/(2h)⁴, for the caller to take off */
            const double self = 2.0 * RADIUS * RADIUS / pow(2.0 * (double)z[i], 4.0);
            add(3, i, self, (nrw_vec3){(double)qx[i], (double)qy[i], 0.0});
        }
        kernels[k].flow_floor(&task, 0, N);
        assert_outputs(kernels[k].name, 3, 6, FLOAT_ERROR);
    }
}

Test(kernel, flow_in_unbounded_fluid_is_that_of_plain_rotlets)
{
    nrw_kernels kernels[EVERY_KERNEL_MOST];
    const size_t n_kernels = every_kernel(kernels);
    for (size_t k = 0; k < n_kernels; k++) {
        make_swarm(23, 40.0, 2.8);
        nrw_pair_task task = task_of();
        for (size_t i = 0; i < N; i++)
            for (size_t j = 0; j < N; j++)
                if (j != i)
                    add(3, i, 1.0,
                        nrw_rotlet_unbounded_um_s(torque_of(j), from_to(j, i), VISCOSITY));
        kernels[k].flow_unbounded(&task, 0, N);
        assert_outputs(kernels[k].name, 3, 6, FLOAT_ERROR);
    }
}

/* --- half of the pairs ------------------------------------------------------------ */

static void expect_flow(void)
{
    for (size_t i = 0; i < N; i++)
        for (size_t j = 0; j < N; j++) {
            nrw_vec3 at = from_to(j, i);
            at.z = (double)z[i];
            if (j != i)
                add(3, i, 1.0,
                    nrw_rotlet_floor_faxen_um_s(torque_of(j), (double)z[j], RADIUS, at, VISCOSITY));
        }
}

Test(kernel, each_pair_once_gives_what_all_rows_give)
{
    nrw_kernels kernels[EVERY_KERNEL_MOST];
    const size_t n_kernels = every_kernel(kernels);
    for (uint64_t seed = 1; seed <= 5; seed++)
        for (size_t k = 0; k < n_kernels; k++) {
            nrw_tile_kernel *const tiles[] = {kernels[k].tile_averaged, kernels[k].tile_flow,
                                              kernels[k].tile_averaged_flow};
            for (int which = 0; which < 3; which++) {
                make_swarm(seed, 40.0, 2.8);
                nrw_pair_task task = task_of();
                set_tensor(&task, tensor);
                if (which != 1)
                    expect_averaged();
                if (which != 0)
                    expect_flow();
                tiles[which](&task);
                if (which != 1)
                    assert_outputs(kernels[k].name, 0, 3, FLOAT_ERROR);
                if (which != 0)
                    assert_outputs(kernels[k].name, 3, 6, FLOAT_ERROR);
            }
        }
}

Test(kernel, each_pair_once_gives_every_response)
{
    nrw_kernels kernels[EVERY_KERNEL_MOST];
    const size_t n_kernels = every_kernel(kernels);
    static float rows[N_RESPONSES][PADDED];
    for (size_t k = 0; k < n_kernels; k++) {
        make_swarm(31, 40.0, 2.8);
        nrw_pair_task task = task_of();
        kernels[k].averaged_response(&task, 0, N);
        memcpy(rows, responses, sizeof rows);
        memset(responses, 0, sizeof responses);
        kernels[k].tile_response(&task);
        double largest = 0.0, error = 0.0;
        for (int c = 0; c < N_RESPONSES; c++)
            for (size_t i = 0; i < N; i++) {
                largest = fmax(largest, fabs((double)rows[c][i]));
                error = fmax(error, fabs((double)rows[c][i] - (double)responses[c][i]));
            }
        cr_assert_leq(error, FLOAT_ERROR * largest, "%s: %.3g", kernels[k].name, error / largest);
    }
}

Test(kernel, each_pair_once_keeps_the_sum_of_forces_at_nothing)
{
    make_swarm(37, 40.0, 2.8);
    nrw_pair_task task = task_of();
    set_tensor(&task, tensor);
    nrw_kernels_get()->tile_averaged(&task);
    for (int axis = 0; axis < 3; axis++) {
        double sum = 0.0, size = 0.0;
        for (size_t i = 0; i < N; i++) {
            sum += (double)out[axis][i];
            size += fabs((double)out[axis][i]);
        }
        cr_assert_leq(fabs(sum), 1e-6 * size);
    }
}

/* --- all of them ----------------------------------------------------------------- */

static void run_all(const nrw_kernels *kernels, const nrw_pair_task *task, size_t first,
                    size_t last)
{
    kernels->averaged_response(task, first, last);
    kernels->own_moments(task, first, last);
    kernels->flow_floor(task, first, last);
}

Test(kernel, rows_in_parts_give_the_same_bits_as_in_one)
{
    static float whole[9][PADDED], whole_responses[N_RESPONSES][PADDED];
    nrw_kernels kernels[EVERY_KERNEL_MOST];
    const size_t n_kernels = every_kernel(kernels);
    for (size_t k = 0; k < n_kernels; k++) {
        make_swarm(29, 40.0, 2.8);
        nrw_pair_task task = task_of();
        run_all(&kernels[k], &task, 0, N);
        memcpy(whole, out, sizeof out);
        memcpy(whole_responses, responses, sizeof responses);
        memset(out, 0, sizeof out);
        memset(responses, 0, sizeof responses);
        run_all(&kernels[k], &task, 13, 21);
        run_all(&kernels[k], &task, 21, N);
        run_all(&kernels[k], &task, 0, 13);
        cr_assert_eq(memcmp(whole, out, sizeof out), 0, "%s", kernels[k].name);
        cr_assert_eq(memcmp(whole_responses, responses, sizeof responses), 0, "%s",
                     kernels[k].name);

        kernels[k].averaged(&task, 0, N);
        memcpy(whole, out, sizeof out);
        kernels[k].averaged(&task, 20, N);
        kernels[k].averaged(&task, 0, 20);
        cr_assert_eq(memcmp(whole, out, sizeof out), 0, "%s", kernels[k].name);
    }
}

Test(kernel, rows_outside_the_range_are_left_alone)
{
    make_swarm(31, 40.0, 2.8);
    nrw_pair_task task = task_of();
    out[0][5] = 77.0f;
    out[0][9] = 78.0f;
    nrw_kernels_get()->own_moments(&task, 6, 9);
    cr_assert_eq(out[0][5], 77.0f);
    cr_assert_eq(out[0][9], 78.0f);
    cr_assert_neq(out[0][6], 0.0f);
}

Test(kernel, the_table_chosen_is_one_of_those_that_run_here)
{
    const nrw_kernels *kernels = nrw_kernels_get();
    cr_assert_eq(kernels, nrw_kernels_get());
    cr_assert_not_null(kernels->name);
    cr_assert_gt(strlen(kernels->name), 0u);
}
