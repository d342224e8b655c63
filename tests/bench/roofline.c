#include <string.h>

#include "bench.h"

#if defined(__x86_64__) && !defined(NRW_KERNELS_PLAIN)

bench_roof_kernel bench_multiply_adds__v2, bench_multiply_adds__v3, bench_multiply_adds__v4;

bench_roof_kernel *bench_roof_of_level(const char *level)
{
    if (strcmp(level, "x86-64-v4") == 0)
        return bench_multiply_adds__v4;
    if (strcmp(level, "x86-64-v3") == 0)
        return bench_multiply_adds__v3;
    return strcmp(level, "x86-64-v2") == 0 ? bench_multiply_adds__v2 : NULL;
}

#else

bench_roof_kernel bench_multiply_adds__plain;

bench_roof_kernel *bench_roof_of_level(const char *level)
{
    return strcmp(level, "plain") == 0 ? bench_multiply_adds__plain : NULL;
}

#endif
