/* How far the farthest particle has strayed from the others, against double precision. */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "every_kernel.h"

enum { ROWS = 32 };

static _Alignas(64) float start[3][ROWS], sums[3][ROWS], last[3][ROWS];

/* The farthest from the mean of start + sum + times × last. */
static double farthest_of(size_t n, double times)
{
    double at[3][ROWS], mean[3] = {0.0, 0.0, 0.0}, farthest = 0.0;
    for (int axis = 0; axis < 3; axis++)
        for (size_t row = 0; row < n; row++) {
            at[axis][row] = (double)start[axis][row] + (double)sums[axis][row] +
                            times * (double)last[axis][row];
            mean[axis] += at[axis][row] / (double)n;
        }
    for (size_t row = 0; row < n; row++) {
        double square = 0.0;
        for (int axis = 0; axis < 3; axis++)
            square += pow(at[axis][row] - mean[axis], 2.0);
        farthest = fmax(farthest, sqrt(square));
    }
    return farthest;
}

static void assert_strayed(size_t n, double drift_um, double last_um)
{
    for (size_t row = 0; row < ROWS; row++)
        for (int axis = 0; axis < 3; axis++) {
            /* rows without a particle hold anything */
            const bool filled = row < n;
            start[axis][row] =
                filled ? (float)(drift_um + 0.3 * sin((double)row + 2.0 * axis)) : 0.0f;
            sums[axis][row] = filled ? (float)(0.1 * cos(3.0 * (double)row + axis)) : 50.0f;
            last[axis][row] = filled ? (float)(last_um * sin(5.0 * (double)row + axis)) : 70.0f;
        }
    nrw_rows_task task;
    memset(&task, 0, sizeof task);
    task.n_rows = ROWS;
    task.start_x = start[0];
    task.start_y = start[1];
    task.start_z = start[2];
    task.sum_x = sums[0];
    task.sum_y = sums[1];
    task.sum_z = sums[2];
    const float *const last_of[3] = {last[0], last[1], last[2]};
    const double gone = farthest_of(n, 0.0), then = farthest_of(n, 1.0);
    double largest = 0.0, mean_gone[3] = {0.0, 0.0, 0.0};
    for (size_t row = 0; row < n; row++) {
        double square = 0.0;
        for (int axis = 0; axis < 3; axis++) {
            square += pow((double)last[axis][row], 2.0);
            mean_gone[axis] += ((double)start[axis][row] + (double)sums[axis][row]) / (double)n;
        }
        largest = fmax(largest, sqrt(square));
    }
    nrw_kernels kernels[EVERY_KERNEL_MOST];
    const size_t n_kernels = every_kernel(kernels);
    for (size_t k = 0; k < n_kernels; k++) {
        float means[2][3], farthest = NAN;
        /* single precision of the drift */
        const double close = 1e-6 * (1.0 + drift_um);
        const float most = kernels[k].strayed(&task, last_of, n, means, &farthest);
        cr_assert_float_eq((double)farthest, fmax(gone, then), close, "%s, %zu rows",
                           kernels[k].name, n);
        cr_assert_float_eq((double)most, largest, 1e-6, "%s, %zu rows", kernels[k].name, n);
        for (int axis = 0; axis < 3; axis++)
            cr_assert_float_eq((double)means[0][axis], mean_gone[axis], close);
    }
}

Test(strayed_kernel, a_common_drift_does_not_count_however_many_rows_there_are)
{
    static const size_t numbers[] = {2, 5, 15, 16, 17, 21, 31, 32};
    for (size_t k = 0; k < sizeof numbers / sizeof *numbers; k++) {
        assert_strayed(numbers[k], 0.0, 0.2);
        assert_strayed(numbers[k], 3.0, 0.2);
        assert_strayed(numbers[k], 3.0, 0.0); /* now is farther than next */
    }
}
