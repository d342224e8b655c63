/* Kernels of a step that work on rows alone, against double precision, for each instruction
 * set that this processor has. */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "every_kernel.h"

/* Three groups, the last one not full. */
enum { ROWS = 2 * NRW_CONTACT_GROUP + 48, N_GROUPS = 3 };

static _Alignas(64) float u[3][ROWS], free_of[3][ROWS], velocity[3][ROWS], base[3][ROWS];
static _Alignas(64) float along[ROWS], across[ROWS], stiff[ROWS], excess_sum[ROWS];
static _Alignas(64) float places[4 * ROWS], at[3][ROWS], sums[3][ROWS], moment[ROWS];

static void fill(void)
{
    for (size_t row = 0; row < ROWS; row++) {
        const double k = (double)row;
        for (int axis = 0; axis < 3; axis++) {
            u[axis][row] = (float)(0.3 * sin(3.0 * k + axis));
            free_of[axis][row] = (float)(0.2 * cos(2.0 * k + axis));
            velocity[axis][row] = (float)(20.0 * sin(5.0 * k + 2.0 * axis));
            base[axis][row] = (float)(3.0 * cos(k + axis));
            at[axis][row] = (float)(10.0 * sin(0.1 * k + axis));
            sums[axis][row] = (float)(0.1 * cos(0.3 * k + axis));
        }
        along[row] = (float)(20.0 + 5.0 * sin(k));
        across[row] = 0.3f * along[row];
        stiff[row] = (float)(0.02 + 0.01 * cos(7.0 * k));
        if (row == 300)
            stiff[row] *= 6.0f;
        excess_sum[row] = (float)(2.0 + 1.5 * sin(11.0 * k));
        moment[row] = (float)(1.0 + 0.1 * sin(k));
    }
}

static nrw_rows_task task_of(void)
{
    nrw_rows_task task;
    memset(&task, 0, sizeof task);
    task.n_rows = ROWS;
    task.free_x = free_of[0];
    task.free_y = free_of[1];
    task.free_z = free_of[2];
    task.vx = velocity[0];
    task.vy = velocity[1];
    task.vz = velocity[2];
    task.base_x = base[0];
    task.base_y = base[1];
    task.base_z = base[2];
    task.along = along;
    task.across = across;
    task.stiff = stiff;
    task.excess_sum = excess_sum;
    task.px = at[0];
    task.py = at[1];
    task.pz = at[2];
    task.places = places;
    task.sum_x = sums[0];
    task.sum_y = sums[1];
    task.sum_z = sums[2];
    task.row_moment = moment;
    return task;
}

Test(step_kernel, the_farthest_is_told_with_noise_and_without)
{
    const double h = 0.01;
    const float *const moved[3] = {u[0], u[1], u[2]};
    nrw_kernels kernels[EVERY_KERNEL_MOST];
    const size_t n_kernels = every_kernel(kernels);
    double smooth = 0.0, all = 0.0;
    fill();
    for (size_t row = 0; row < ROWS; row++) {
        const double x = (double)u[0][row], y = (double)u[1][row], z = (double)u[2][row];
        all = fmax(all, sqrt(x * x + y * y + z * z));
        smooth = fmax(smooth, hypot(x - (double)free_of[0][row] + h * (double)velocity[0][row],
                                    y - (double)free_of[1][row] + h * (double)velocity[1][row]));
    }
    cr_assert_gt(fabs(smooth - all), 0.05);
    for (size_t k = 0; k < n_kernels; k++) {
        const nrw_rows_task task = task_of();
        float largest[2];
        kernels[k].farthest(&task, moved, (float)h, largest);
        cr_assert_float_eq((double)largest[0], smooth, 1e-6, "%s", kernels[k].name);
        cr_assert_float_eq((double)largest[1], all, 1e-6, "%s", kernels[k].name);
        for (int axis = 0; axis < 3; axis++) {
            const float kept = u[axis][37];
            u[axis][37] = NAN;
            kernels[k].farthest(&task, moved, (float)h, largest);
            u[axis][37] = kept;
            cr_assert(isnan(largest[0]) && isnan(largest[1]), "%s", kernels[k].name);
        }
    }
}

/* Root mean square over the groups of rows of each one's largest, and the largest of all. */
static void peaks_of(const double values[ROWS], double *typical, double *largest)
{
    double squares = 0.0;
    *largest = 0.0;
    for (size_t first = 0; first < ROWS; first += NRW_CONTACT_GROUP) {
        double most = 0.0;
        for (size_t row = first; row < first + NRW_CONTACT_GROUP && row < ROWS; row++)
            most = fmax(most, values[row]);
        squares += most * most;
        *largest = fmax(*largest, most);
    }
    *typical = sqrt(squares / N_GROUPS);
}

Test(step_kernel, drag_against_sliding_takes_of_the_stiffness)
{
    const float *const forces[2][3] = {{NULL, NULL, NULL}, {NULL, NULL, NULL}};
    nrw_kernels kernels[EVERY_KERNEL_MOST];
    const size_t n_kernels = every_kernel(kernels);
    for (int drags = 0; drags < 2; drags++) {
        const double sliding = drags ? 0.0168 : 0.0; /* 4πηa of 3 µm in water, pN·s/µm */
        double values[ROWS], typical, largest;
        fill();
        for (size_t row = 0; row < ROWS; row++)
            values[row] = (double)along[row] * (double)stiff[row] /
                          (1.0 + sliding * (double)along[row] * (double)excess_sum[row]);
        peaks_of(values, &typical, &largest);
        cr_assert_gt(largest, 1.1 * typical);
        for (size_t k = 0; k < n_kernels; k++) {
            nrw_peaks change, of;
            fill();
            nrw_rows_task task = task_of();
            task.sliding = (float)sliding;
            kernels[k].velocity(&task, forces, &change, &of);
            cr_assert_float_eq((double)of.largest, largest, 1e-6 * largest, "%s", kernels[k].name);
            cr_assert_float_eq((double)of.typical, typical, 1e-6 * typical, "%s", kernels[k].name);
        }
    }
}

Test(step_kernel, velocities_change_by_what_is_told)
{
    static float pushes[2][3][ROWS];
    nrw_kernels kernels[EVERY_KERNEL_MOST];
    const size_t n_kernels = every_kernel(kernels);
    for (int part = 0; part < 2; part++)
        for (int axis = 0; axis < 3; axis++)
            for (size_t row = 0; row < ROWS; row++)
                pushes[part][axis][row] =
                    (float)(0.2 * sin(1.0 + (double)row * (2.0 + part) + axis));
    const float *const forces[2][3] = {{pushes[0][0], pushes[0][1], pushes[0][2]},
                                       {pushes[1][0], pushes[1][1], pushes[1][2]}};
    for (size_t k = 0; k < n_kernels; k++) {
        double expected[3][ROWS], values[ROWS], typical, largest;
        fill();
        for (size_t row = 0; row < ROWS; row++) {
            for (int axis = 0; axis < 3; axis++)
                expected[axis][row] =
                    (double)base[axis][row] +
                    (double)(axis < 2 ? along : across)[row] *
                        ((double)pushes[0][axis][row] + (double)pushes[1][axis][row]);
            values[row] = hypot(expected[0][row] - (double)velocity[0][row],
                                expected[1][row] - (double)velocity[1][row]);
        }
        peaks_of(values, &typical, &largest);
        const nrw_rows_task task = task_of();
        nrw_peaks change, stiffness;
        kernels[k].velocity(&task, forces, &change, &stiffness);
        cr_assert_float_eq((double)change.largest, largest, 1e-6 * largest, "%s", kernels[k].name);
        cr_assert_float_eq((double)change.typical, typical, 1e-6 * typical, "%s", kernels[k].name);
        for (int axis = 0; axis < 3; axis++)
            for (size_t row = 0; row < ROWS; row++)
                cr_assert_float_eq((double)velocity[axis][row], expected[axis][row], 1e-5);
    }
}

Test(step_kernel, displacements_go_to_places_and_sums)
{
    const float *const moved[3] = {u[0], u[1], u[2]};
    nrw_kernels kernels[EVERY_KERNEL_MOST];
    const size_t n_kernels = every_kernel(kernels);
    for (size_t k = 0; k < n_kernels; k++) {
        static float before[3][ROWS], before_sums[3][ROWS];
        fill();
        memcpy(before, at, sizeof before);
        memcpy(before_sums, sums, sizeof before_sums);
        const nrw_rows_task task = task_of();
        kernels[k].store(&task, moved);
        for (size_t row = 0; row < ROWS; row++) {
            for (int axis = 0; axis < 3; axis++) {
                cr_assert_eq(at[axis][row], before[axis][row] + u[axis][row]);
                cr_assert_eq(sums[axis][row], before_sums[axis][row] + u[axis][row]);
                cr_assert_eq(places[nrw_four_of(row) + (size_t)axis], at[axis][row]);
            }
            cr_assert_eq(places[nrw_four_of(row) + 3], moment[row]);
        }
    }
}
