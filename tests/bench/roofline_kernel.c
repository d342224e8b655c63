/* How many multiply-adds of whole vectors a core does in a second: the roof under
 * which the pair kernels work. Compiled once per instruction set, as they are. */
#include "bench.h"
#include "kernel_name.h"
#include "lanes.h"

bench_roof_kernel NRW_KERNEL(bench_multiply_adds_);

/* Independent sums: more than latency × units of any processor in sight, and few
 * enough to stay in registers where there are 16. */
enum { CHAINS = 12, ROUNDS = 4096 };

bench_roof NRW_KERNEL(bench_multiply_adds_)(float seed)
{
    nrw_lanes sums[CHAINS];
    for (int k = 0; k < CHAINS; k++)
        sums[k] = lanes_all(seed + (float)k);
    /* the factor shrinks and the summand feeds: values stay normal for ever */
    const nrw_lanes factor = lanes_all(0.999f), summand = lanes_all(seed * 0.001f);
    for (int round = 0; round < ROUNDS; round++)
        for (int k = 0; k < CHAINS; k++)
            sums[k] = lanes_fma(sums[k], factor, summand);
    nrw_lanes sum = sums[0];
    for (int k = 1; k < CHAINS; k++)
        sum = sum + sums[k];
    return (bench_roof){(double)CHAINS * ROUNDS, NRW_WIDTH, lanes_sum(sum)};
}
