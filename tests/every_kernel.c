/* kernel.c once more, with the plain kernels alone and under other names; the Makefile
 * compiles those for the tests where the library goes without. */
#ifndef NRW_KERNELS_PLAIN
#define NRW_KERNELS_PLAIN
#endif
#define nrw_kernels_all plain_kernels_all
#define nrw_kernels_get plain_kernels_get
#include "../sim/kernel.c"
#undef nrw_kernels_all
#undef nrw_kernels_get

#include "every_kernel.h"

size_t nrw_kernels_all(const nrw_kernels *tables[NRW_KERNEL_LEVELS]);

size_t every_kernel(nrw_kernels kernels[EVERY_KERNEL_MOST])
{
    const nrw_kernels *tables[NRW_KERNEL_LEVELS];
    size_t n = nrw_kernels_all(tables);
    for (size_t k = 0; k < n; k++)
        kernels[k] = *tables[k];
    kernels[n++] = *plain_kernels_get();
    return n;
}
