/* How far the farthest particle has strayed from the others, against double precision. */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "every_kernel.h"

enum { ROWS = 32 };

static _Alignas(64) float start[3][ROWS], sums[3][ROWS];

static void assert_strayed(size_t n, double drift_um)
{
    memset(start, 0, sizeof start);
    memset(sums, 0, sizeof sums);
    double mean[3] = {0.0, 0.0, 0.0}, farthest = 0.0;
    for (size_t row = 0; row < n; row++)
        for (int axis = 0; axis < 3; axis++) {
            start[axis][row] = (float)(drift_um + 0.3 * sin((double)row + 2.0 * axis));
            sums[axis][row] = (float)(0.1 * cos(3.0 * (double)row + axis));
            mean[axis] += (double)(start[axis][row] + sums[axis][row]) / (double)n;
        }
    for (size_t row = 0; row < n; row++) {
        double square = 0.0;
        for (int axis = 0; axis < 3; axis++)
            square += pow((double)(start[axis][row] + sums[axis][row]) - mean[axis], 2.0);
        farthest = fmax(farthest, sqrt(square));
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
    nrw_kernels kernels[EVERY_KERNEL_MOST];
    const size_t n_kernels = every_kernel(kernels);
    for (size_t k = 0; k < n_kernels; k++)
        /* single precision of the drift */
        cr_assert_float_eq((double)kernels[k].strayed(&task, n), farthest, 1e-6 * (1.0 + drift_um),
                           "%s, %zu rows", kernels[k].name, n);
}

Test(strayed_kernel, a_common_drift_does_not_count_however_many_rows_there_are)
{
    static const size_t numbers[] = {2, 5, 15, 16, 17, 21, 31, 32};
    for (size_t k = 0; k < sizeof numbers / sizeof *numbers; k++) {
        assert_strayed(numbers[k], 0.0);
        assert_strayed(numbers[k], 3.0);
    }
}
