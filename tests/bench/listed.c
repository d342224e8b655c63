/* Dipole forces within a cutoff: neighbour lists, their upkeep included. */
#include "bench.h"

void bench_listed(bench_report *report)
{
    static const char *const keys[] = {"pair_gdir_per_s_core", "pair_fraction_of_bound",
                                       "pair_vs_naive", "pair_vs_kdtree"};
    bench_title("Dipole forces by neighbour lists");
    for (size_t k = 0; k < sizeof keys / sizeof *keys; k++)
        bench_missing(report, keys[k], "there is no kernel over lists of far neighbours yet");
}
