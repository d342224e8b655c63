#include <math.h>
#include <stdio.h>
#include <time.h>

#include "bench.h"

static double clock_s(clockid_t id)
{
    struct timespec now;
    if (clock_gettime(id, &now) != 0)
        return NAN;
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

double bench_wall_s(void)
{
    return clock_s(CLOCK_MONOTONIC);
}

double bench_core_s(void)
{
    return clock_s(CLOCK_THREAD_CPUTIME_ID);
}

double bench_load(void)
{
    double load = NAN;
    FILE *file = fopen("/proc/loadavg", "r");
    if (!file)
        return NAN;
    if (fscanf(file, "%lf", &load) != 1)
        load = NAN;
    (void)fclose(file);
    return load;
}
