#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "bench.h"
#include "random.h"

#define DIAMETER_UM 3.0
#define FILLED 0.6     /* area fraction of the layer */
#define JITTER_UM 0.25 /* pairs stay farther apart than the core */
#define FAR_UM 2e6f    /* where rows without a particle stand */

enum { N_ARRAYS = 7 };

/* A triangular lattice in a square, jittered, heights a little above rest. */
static void place(bench_swarm *swarm, uint64_t seed)
{
    const double pi = 3.14159265358979323846;
    const double spacing = DIAMETER_UM * sqrt(pi / (2.0 * sqrt(3.0) * FILLED));
    const size_t columns = (size_t)ceil(sqrt((double)swarm->n * 0.8660254037844386));
    for (size_t i = 0; i < swarm->padded; i++) {
        const size_t row = i / columns, column = i % columns;
        const bool real = i < swarm->n;
        double jitter[3];
        for (uint32_t k = 0; k < 3; k++)
            jitter[k] = nrw_uniform(seed, NRW_STREAM_START, (uint32_t)i, k);
        const double x = spacing * ((double)column + 0.5 * (double)(row % 2));
        const double y = spacing * 0.8660254037844386 * (double)row;
        const double half = 0.5 * spacing * (double)columns;
        swarm->x[i] = real ? (float)(x - half + JITTER_UM * (2.0 * jitter[0] - 1.0)) : FAR_UM;
        swarm->y[i] = real ? (float)(y - half + JITTER_UM * (2.0 * jitter[1] - 1.0)) : FAR_UM;
        swarm->z[i] = real ? (float)(1.53 + 0.2 * jitter[2]) : 1.5f;
        swarm->moment[i] = real ? (float)(0.9 + 0.2 * jitter[1]) : 0.0f;
    }
}

bool bench_swarm_make(bench_swarm *swarm, size_t n, uint64_t seed)
{
    memset(swarm, 0, sizeof *swarm);
    swarm->n = n;
    swarm->padded = (n + NRW_LANES - 1) / NRW_LANES * NRW_LANES;
    float *block = aligned_alloc(64, N_ARRAYS * swarm->padded * sizeof(float));
    if (!block)
        return false;
    memset(block, 0, N_ARRAYS * swarm->padded * sizeof(float));
    float **arrays[N_ARRAYS] = {&swarm->x,  &swarm->y,  &swarm->z, &swarm->moment,
                                &swarm->fx, &swarm->fy, &swarm->fz};
    for (size_t k = 0; k < N_ARRAYS; k++)
        *arrays[k] = block + k * swarm->padded;
    swarm->block = block;
    /* 3·µ0/4π·⟨m mᵀ⟩ of 30 fA·m² in a field that turns about an axis tilted by 30° */
    const double c = 0.3 * 450.0, tilt = 3.14159265358979323846 / 6.0;
    swarm->tensor[NRW_XX] = c;
    swarm->tensor[NRW_YY] = c * cos(tilt) * cos(tilt);
    swarm->tensor[NRW_YZ] = -c * cos(tilt) * sin(tilt);
    swarm->tensor[NRW_ZZ] = c * sin(tilt) * sin(tilt);
    /* inside the core a multiple of the unit tensor does exert a force, and the kernels leave
     * it out: no pair comes so close here */
    swarm->core2 = 0.36 * DIAMETER_UM * DIAMETER_UM;
    place(swarm, seed);
    return true;
}

void bench_swarm_clear(bench_swarm *swarm)
{
    free(swarm->block);
    memset(swarm, 0, sizeof *swarm);
}

nrw_pair_task bench_swarm_task(bench_swarm *swarm)
{
    nrw_pair_task task;
    memset(&task, 0, sizeof task);
    task.n = swarm->padded;
    task.n_filled = swarm->n;
    task.x = swarm->x;
    task.y = swarm->y;
    task.z = swarm->z;
    task.moment = swarm->moment;
    task.fx = swarm->fx;
    task.fy = swarm->fy;
    task.fz = swarm->fz;
    for (int k = 0; k < NRW_N_TENSOR; k++)
        task.tensor[k] = (float)swarm->tensor[k];
    task.core2 = (float)swarm->core2;
    return task;
}

double bench_force_error(size_t n, const double (*forces)[3], const double (*reference)[3])
{
    double squares = 0.0, largest = 0.0;
    for (size_t i = 0; i < n; i++)
        for (int k = 0; k < 3; k++) {
            const double difference = fabs(forces[i][k] - reference[i][k]);
            squares += reference[i][k] * reference[i][k];
            if (!(difference <= largest))
                largest = difference;
        }
    return largest / sqrt(squares / (double)n);
}
