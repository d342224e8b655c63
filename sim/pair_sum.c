#include "pair_sum.h"

#include "mutual.h"
#include "own_moment.h"

void nrw_pair_tensor(float tensor[NRW_N_TENSOR], nrw_sym3 m)
{
    const double c = 3.0 * NRW_MU0_4PI;
    tensor[NRW_XX] = (float)(c * (m.xx - m.zz));
    tensor[NRW_XY] = (float)(c * m.xy);
    tensor[NRW_XZ] = (float)(c * m.xz);
    tensor[NRW_YY] = (float)(c * (m.yy - m.zz));
    tensor[NRW_YZ] = (float)(c * m.yz);
    tensor[NRW_ZZ] = 0.0f;
}

/* All pairs one by one. */
static void sum_all(nrw_world *world, bool responses, bool flow)
{
    const nrw_kernels *kernels = nrw_kernels_get();
    const nrw_pair_task *task = &world->task;
    if (responses)
        kernels->tile_response(task);
    else if (!world->own_moments)
        (flow ? kernels->tile_averaged_flow : kernels->tile_averaged)(task);
    if (flow && (responses || world->own_moments))
        kernels->tile_flow(task);
    world->n_pair_interactions +=
        (uint64_t)world->n * (world->n - 1) * (uint64_t)(!world->own_moments + flow);
}

/* The same with a far field. False: no memory for its lists. */
static bool sum_far(nrw_world *world, bool responses, bool flow)
{
    nrw_far_field *far = &world->far;
    const uint32_t *order = world->contacts.order;
    const int both =
        (world->own_moments || responses ? 0 : NRW_FAR_DIPOLES) | (flow ? NRW_FAR_FLOW : 0);
    if (responses && !nrw_far_field_sum(far, &world->task, order, world->x, world->y, world->z,
                                        NRW_FAR_RESPONSE))
        return false;
    if (both && !nrw_far_field_sum(far, &world->task, order, world->x, world->y, world->z, both))
        return false;
    world->n_pair_interactions += 2 * far->n_near_pairs * (uint64_t)(!world->own_moments + flow);
    return true;
}

void nrw_pair_sum(nrw_world *world, const nrw_excitation *excitation)
{
    const nrw_kernels *kernels = nrw_kernels_get();
    nrw_pair_task *task = &world->task;
    const size_t n = world->n;
    const bool flow = world->pair_flow_factor > 0.0, above_floor = flow && world->body.has_floor;
    const bool responses = !world->own_moments && excitation->n_substeps > 1;
    if (n < 2)
        return;
    nrw_pair_tensor(task->tensor, excitation->tensor);
    if (world->mutual) {
        nrw_mutual_forces(world);
    } else if (world->own_moments) {
        kernels->own_moments(task, 0, n);
        nrw_own_moments_keep_fields(world);
        world->n_pair_interactions += (uint64_t)n * (n - 1);
    }
    if (n < NRW_PAIR_SUM_FAR_LEAST || !sum_far(world, responses, above_floor))
        sum_all(world, responses, above_floor);
    if (flow && !above_floor) {
        kernels->flow_unbounded(task, 0, n);
        world->n_pair_interactions += (uint64_t)n * (n - 1);
    }
}

void nrw_pair_sum_phase(nrw_world *world, nrw_sym3 tensor)
{
    float t[NRW_N_TENSOR];
    nrw_pair_tensor(t, tensor);
    nrw_pair_task *task = &world->task;
    float *out[3] = {task->fx, task->fy, task->fz};
    for (int axis = 0; axis < 3; axis++) {
        const float *const *r = (const float *const *)task->response;
        const float *restrict xx = r[3 * NRW_XX + axis], *restrict xy = r[3 * NRW_XY + axis];
        const float *restrict xz = r[3 * NRW_XZ + axis], *restrict yy = r[3 * NRW_YY + axis];
        const float *restrict yz = r[3 * NRW_YZ + axis], *restrict zz = r[3 * NRW_ZZ + axis];
        float *restrict f = out[axis];
        for (size_t i = 0; i < world->n; i++)
            f[i] = t[NRW_XX] * xx[i] + t[NRW_XY] * xy[i] + t[NRW_XZ] * xz[i] + t[NRW_YY] * yy[i] +
                   t[NRW_YZ] * yz[i] + t[NRW_ZZ] * zz[i];
    }
}
