#include "kernel.h"

#define DECLARE(suffix)                                                                            \
    nrw_pair_kernel nrw_pair_averaged_##suffix, nrw_pair_response_##suffix, nrw_pair_own_##suffix, \
        nrw_pair_flow_floor_##suffix, nrw_pair_flow_unbounded_##suffix;                            \
    nrw_tile_kernel nrw_tile_averaged_##suffix, nrw_tile_averaged_flow_##suffix,                   \
        nrw_tile_flow_##suffix, nrw_tile_response_##suffix;                                        \
    nrw_quad_kernel nrw_quad_dipoles_##suffix;                                                     \
    nrw_quads_within_kernel nrw_quad_within_##suffix;                                              \
    nrw_quad_take_kernel nrw_quad_take_##suffix;                                                   \
    nrw_quad_places_kernel nrw_quad_places_##suffix;                                               \
    nrw_quad_turn_kernel nrw_quad_turn_##suffix;                                                   \
    nrw_block_kernel nrw_block_averaged_##suffix, nrw_block_averaged_flow_##suffix,                \
        nrw_block_flow_##suffix, nrw_block_response_##suffix;                                      \
    nrw_far_kernel nrw_far_gather_##suffix, nrw_far_across_dipoles_##suffix,                       \
        nrw_far_across_flow_##suffix, nrw_far_across_both_##suffix,                                \
        nrw_far_across_response_##suffix, nrw_far_spread_##suffix, nrw_far_dipoles_##suffix,       \
        nrw_far_flow_##suffix, nrw_far_response_##suffix;                                          \
    nrw_near_kernel nrw_near_geometry_##suffix, nrw_near_dipoles_##suffix,                         \
        nrw_near_response_##suffix, nrw_near_overlap_##suffix;                                     \
    nrw_brake_kernel nrw_contact_brakes_##suffix, nrw_contact_friction_##suffix;                   \
    nrw_stiffest_kernel nrw_contact_stiffest_##suffix;                                             \
    nrw_begin_kernel nrw_contact_begin_##suffix;                                                   \
    nrw_reached_kernel nrw_contact_reached_##suffix;                                               \
    nrw_sweep_kernel nrw_contact_first_sweep_##suffix, nrw_contact_sweep_##suffix;                 \
    nrw_close_kernel nrw_contact_close_##suffix;                                                   \
    nrw_rows_kernel nrw_step_spins_##suffix, nrw_step_base_##suffix, nrw_step_screen_##suffix;     \
    nrw_velocity_kernel nrw_step_velocity_##suffix;                                                \
    nrw_predict_kernel nrw_step_predict_##suffix;                                                  \
    nrw_farthest_kernel nrw_step_farthest_##suffix;                                                \
    nrw_store_kernel nrw_step_store_##suffix;                                                      \
    nrw_strayed_kernel nrw_step_strayed_##suffix;                                                  \
    nrw_normals_kernel nrw_normals_##suffix;
#define TABLE(text, suffix)                                                                        \
    static const nrw_kernels kernels_##suffix = {                                                  \
        .name = text,                                                                              \
        .averaged = nrw_pair_averaged_##suffix,                                                    \
        .averaged_response = nrw_pair_response_##suffix,                                           \
        .own_moments = nrw_pair_own_##suffix,                                                      \
        .flow_floor = nrw_pair_flow_floor_##suffix,                                                \
        .flow_unbounded = nrw_pair_flow_unbounded_##suffix,                                        \
        .tile_averaged = nrw_tile_averaged_##suffix,                                               \
        .tile_averaged_flow = nrw_tile_averaged_flow_##suffix,                                     \
        .tile_flow = nrw_tile_flow_##suffix,                                                       \
        .tile_response = nrw_tile_response_##suffix,                                               \
        .quad_dipoles = nrw_quad_dipoles_##suffix,                                                 \
        .quads_within = nrw_quad_within_##suffix,                                                  \
        .quad_take = nrw_quad_take_##suffix,                                                       \
        .quad_places = nrw_quad_places_##suffix,                                                   \
        .quad_turn = nrw_quad_turn_##suffix,                                                       \
        .block_averaged = nrw_block_averaged_##suffix,                                             \
        .block_averaged_flow = nrw_block_averaged_flow_##suffix,                                   \
        .block_flow = nrw_block_flow_##suffix,                                                     \
        .block_response = nrw_block_response_##suffix,                                             \
        .far_gather = nrw_far_gather_##suffix,                                                     \
        .far_across_dipoles = nrw_far_across_dipoles_##suffix,                                     \
        .far_across_flow = nrw_far_across_flow_##suffix,                                           \
        .far_across_both = nrw_far_across_both_##suffix,                                           \
        .far_across_response = nrw_far_across_response_##suffix,                                   \
        .far_spread = nrw_far_spread_##suffix,                                                     \
        .far_dipoles = nrw_far_dipoles_##suffix,                                                   \
        .far_flow = nrw_far_flow_##suffix,                                                         \
        .far_response = nrw_far_response_##suffix,                                                 \
        .near_geometry = nrw_near_geometry_##suffix,                                               \
        .near_dipoles = nrw_near_dipoles_##suffix,                                                 \
        .near_response = nrw_near_response_##suffix,                                               \
        .near_overlap = nrw_near_overlap_##suffix,                                                 \
        .brakes = nrw_contact_brakes_##suffix,                                                     \
        .friction = nrw_contact_friction_##suffix,                                                 \
        .stiffest = nrw_contact_stiffest_##suffix,                                                 \
        .begin = nrw_contact_begin_##suffix,                                                       \
        .reached = nrw_contact_reached_##suffix,                                                   \
        .first_sweep = nrw_contact_first_sweep_##suffix,                                           \
        .sweep = nrw_contact_sweep_##suffix,                                                       \
        .close = nrw_contact_close_##suffix,                                                       \
        .spins = nrw_step_spins_##suffix,                                                          \
        .base = nrw_step_base_##suffix,                                                            \
        .screen = nrw_step_screen_##suffix,                                                        \
        .velocity = nrw_step_velocity_##suffix,                                                    \
        .predict = nrw_step_predict_##suffix,                                                      \
        .farthest = nrw_step_farthest_##suffix,                                                    \
        .store = nrw_step_store_##suffix,                                                          \
        .strayed = nrw_step_strayed_##suffix,                                                      \
        .normals = nrw_normals_##suffix,                                                           \
    };

#if defined(__x86_64__) && !defined(NRW_KERNELS_PLAIN)

/* clang-format off */
DECLARE(_v2) DECLARE(_v3) DECLARE(_v4)
TABLE("x86-64-v2", _v2) TABLE("x86-64-v3", _v3) TABLE("x86-64-v4", _v4)
    /* clang-format on */

    size_t nrw_kernels_all(const nrw_kernels *tables[NRW_KERNEL_LEVELS])
{
    size_t n = 0;
    __builtin_cpu_init();
    if (__builtin_cpu_supports("avx512f") && __builtin_cpu_supports("avx512vl") &&
        __builtin_cpu_supports("avx512dq") && __builtin_cpu_supports("avx512bw"))
        tables[n++] = &kernels__v4;
    if (__builtin_cpu_supports("avx2") && __builtin_cpu_supports("fma"))
        tables[n++] = &kernels__v3;
    tables[n++] = &kernels__v2;
    return n;
}

#else

/* clang-format off */
DECLARE(_plain)
TABLE("plain", _plain)
/* clang-format on */

size_t nrw_kernels_all(const nrw_kernels *tables[NRW_KERNEL_LEVELS])
{
    tables[0] = &kernels__plain;
    return 1;
}

#endif

const nrw_kernels *nrw_kernels_get(void)
{
    const nrw_kernels *tables[NRW_KERNEL_LEVELS];
    (void)nrw_kernels_all(tables);
    return tables[0];
}
