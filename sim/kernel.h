/* Pair kernels: one source, compiled for several instruction sets, chosen once
 * by what the processor has.
 *
 * All kernels read float arrays of n particles, n a multiple of NRW_LANES, padded
 * with particles of no moment and no torque far away. Positions are relative to a
 * point near the swarm, so that float keeps 1e-7 of the swarm's size. Each works
 * on the rows [first, last) and sums over all n in a fixed order: rows may be
 * shared out among threads without changing a bit. A naive double twin lives in
 * the tests. */
#ifndef NRW_KERNEL_H
#define NRW_KERNEL_H

#include <stddef.h>

#define NRW_LANES 16

/* Components of a symmetric tensor in the kernels' order. */
enum { NRW_XX, NRW_XY, NRW_XZ, NRW_YY, NRW_YZ, NRW_ZZ, NRW_N_TENSOR };

typedef struct nrw_pair_task {
    size_t n;                         /* padded */
    const float *x, *y, *z;           /* (n) µm; z from the floor */
    const float *moment;              /* (n) moment over the nominal one, common direction */
    const float *mx, *my, *mz;        /* (n) fA·m², own moments (permanent, resolved) */
    const float *qx, *qy, *tz;        /* (n) torque on the fluid over 8πη, µm³/s: rolling
                                         direction (T_y, −T_x) and vertical part */
    float tensor[NRW_N_TENSOR];       /* 3·µ0/4π·⟨m mᵀ⟩ of the nominal particle */
    float core2;                      /* µm²; closer pairs are treated as if at this distance² */
    float radius2;                    /* a² of the Faxén correction, µm² */
    float *fx, *fy, *fz;              /* (n) out: pN */
    float *ux, *uy, *uz;              /* (n) out: pair flow, µm/s */
    float *bx, *by, *bz;              /* (n) out: field of the others, mT */
    float *response[3 * NRW_N_TENSOR];/* (n) out: force per unit of each tensor component */
} nrw_pair_task;

typedef void nrw_pair_kernel(const nrw_pair_task *task, size_t first, size_t last);

typedef struct nrw_kernels {
    const char *name;                  /* "x86-64-v4", ... */
    nrw_pair_kernel *averaged;         /* forces from a common tensor */
    nrw_pair_kernel *averaged_response;/* the same for each tensor component alone */
    nrw_pair_kernel *own_moments;      /* forces and fields of individual moments */
    nrw_pair_kernel *flow_floor;       /* pair flow above the floor */
    nrw_pair_kernel *flow_unbounded;
} nrw_kernels;

/* The best kernels for this processor; a static table, thread safe. */
const nrw_kernels *nrw_kernels_get(void);

#endif
