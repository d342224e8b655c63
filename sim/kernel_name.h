/* Names of kernels, which are compiled once per instruction set, and how their short loops
 * are unrolled. Included by kernel sources alone. */
#ifndef NRW_KERNEL_NAME_H
#define NRW_KERNEL_NAME_H

/* NRW_KERNEL(nrw_pair_) is nrw_pair__v4 where the suffix is _v4. */
#ifndef NRW_KERNEL_SUFFIX
#define NRW_KERNEL_SUFFIX _plain
#endif
#define NRW_JOIN2(a, b) a##b
#define NRW_JOIN(a, b) NRW_JOIN2(a, b)
#define NRW_KERNEL(name) NRW_JOIN(name, NRW_KERNEL_SUFFIX)

/* Before loops over up to four rows: gcc keeps what they work on in registers only where it
 * unrolls them at once; clang needs no telling. */
#if defined(__clang__)
#define NRW_UNROLL
#else
#define NRW_UNROLL _Pragma("GCC unroll 4")
#endif

/* A loop of int i from first to last, both known when it is compiled, once loops around it are
 * unrolled: what it works out with i, gcc would else work out at each turn. */
#if defined(__clang__)
#define NRW_EACH(i, first, last) for (int i = (first); i <= (last); i++)
#else
#define NRW_EACH(i, first, last) _Pragma("GCC unroll 16") for (int i = (first); i <= (last); i++)
#endif

#endif
