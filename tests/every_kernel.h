/* The kernels of every instruction set that this processor runs, and the plain ones that
 * processors of other kinds get. */
#ifndef TESTS_EVERY_KERNEL_H
#define TESTS_EVERY_KERNEL_H

#include "kernel.h"

enum { EVERY_KERNEL_MOST = NRW_KERNEL_LEVELS + 1 };

/* Copies of their tables, the best first; their number. */
size_t every_kernel(nrw_kernels kernels[EVERY_KERNEL_MOST]);

#endif
