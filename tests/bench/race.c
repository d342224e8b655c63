#include <math.h>

#include "bench.h"

/* How many calls fill a slice. The first call also warms caches and is not judged. */
static size_t calls_in(const bench_contender *contender, double slice_s)
{
    (void)contender->seconds(contender->context, 1);
    size_t calls = 1;
    for (;;) {
        const double taken = contender->seconds(contender->context, calls);
        if (!(taken < slice_s))
            return calls;
        const double wanted = (double)calls * fmin(10.0, slice_s / fmax(taken, 1e-9));
        const size_t more = (size_t)wanted;
        if (taken > 0.7 * slice_s || more <= calls)
            return calls;
        calls = more;
    }
}

void bench_race(size_t n, bench_contender *contenders, size_t rounds, double slice_s)
{
    for (size_t k = 0; k < n; k++)
        if (contenders[k].calls == 0)
            contenders[k].calls = calls_in(&contenders[k], slice_s);
    for (size_t round = 0; round < rounds; round++)
        for (size_t k = 0; k < n; k++) {
            bench_contender *it = &contenders[k];
            it->each_s[round] = it->seconds(it->context, it->calls) / (double)it->calls;
        }
}
