#include "kernel.h"

#define DECLARE(suffix)                                                                            \
    nrw_pair_kernel nrw_pair_averaged_##suffix, nrw_pair_response_##suffix,                        \
        nrw_pair_own_##suffix, nrw_pair_flow_floor_##suffix, nrw_pair_flow_unbounded_##suffix;
#define TABLE(text, suffix)                                                                        \
    static const nrw_kernels kernels_##suffix = {                                                  \
        text,                                                                                      \
        nrw_pair_averaged_##suffix,                                                                \
        nrw_pair_response_##suffix,                                                                \
        nrw_pair_own_##suffix,                                                                     \
        nrw_pair_flow_floor_##suffix,                                                              \
        nrw_pair_flow_unbounded_##suffix,                                                          \
    };

#if defined(__x86_64__)

/* clang-format off */
DECLARE(_v2) DECLARE(_v3) DECLARE(_v4)
TABLE("x86-64-v2", _v2) TABLE("x86-64-v3", _v3) TABLE("x86-64-v4", _v4)
/* clang-format on */

const nrw_kernels *nrw_kernels_get(void)
{
    __builtin_cpu_init();
    if (__builtin_cpu_supports("avx512f") && __builtin_cpu_supports("avx512vl") &&
        __builtin_cpu_supports("avx512dq") && __builtin_cpu_supports("avx512bw"))
        return &kernels__v4;
    if (__builtin_cpu_supports("avx2") && __builtin_cpu_supports("fma"))
        return &kernels__v3;
    return &kernels__v2;
}

#else

/* clang-format off */
DECLARE(_plain)
TABLE("plain", _plain)
/* clang-format on */

const nrw_kernels *nrw_kernels_get(void)
{
    return &kernels__plain;
}

#endif
