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
#include <stdint.h>

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

/* The list of close neighbours as the kernels see it (contact.h). Arrays per row
 * are (n_rows), rows of four floats (n_rows + 1): the last one stands for "no
 * neighbour", far away. */
typedef struct nrw_contact_rows {
    size_t n_rows;
    const uint32_t *starts, *partner;
    const uint32_t *self;      /* (n_rows) 0, 1, 2, ... */
    const float *touch;
    float *nx, *ny, *nz, *gap; /* per slot */
} nrw_contact_rows;

/* Directions and overlaps of all listed pairs from positions, and sums over each
 * row's neighbours. */
typedef struct nrw_near_task {
    nrw_contact_rows rows;
    const float *places;        /* (n_rows + 1 x 4) x, y, z in µm, moment over the nominal one */
    float candidate_um;                 /* pairs closer than this count in `crowd` */
    float *warm_x, *warm_y, *warm_z;    /* out: Σ max(0, gap) n */
    float *crowd;                       /* out: bound of the largest eigenvalue of Σ n nᵀ */
    float tensor[NRW_N_TENSOR];         /* as in nrw_pair_task */
    float core2;
    float *fx, *fy, *fz;                /* out: dipole force of the listed neighbours */
    float *response[3 * NRW_N_TENSOR];  /* in, out: less the listed neighbours' part */
    float largest_overlap;              /* in, out: of contact distances */
} nrw_near_task;

typedef void nrw_near_kernel(nrw_near_task *task);

/* Contact brakes and friction (step.c): the excess resistance falls as a parabola
 * from `contact` at touch to 0 at reach_um beyond it. */
typedef struct nrw_brake_task {
    nrw_contact_rows rows;
    float contact, reach_um;
    float *brake[NRW_N_TENSOR]; /* out: Σ e (1 − n nᵀ) */
    const float *spins;         /* (n_rows + 1 x 4) 1/s */
    float strength;             /* 4πηa² */
    float *fx, *fy, *fz;        /* in, out: pN */
} nrw_brake_task;

typedef void nrw_brake_kernel(const nrw_brake_task *task);

/* What the contact solve works on; displacements from the substep's beginning. */
typedef struct nrw_contact_solve {
    nrw_contact_rows rows;
    const float *free_x, *free_y, *free_z; /* displacement without contacts, µm */
    const float *move_xy, *move_z;         /* mobility × step, µm/pN */
    const float *warm_x, *warm_y, *warm_z, *crowd; /* of nrw_near_task */
    const float *n_neighbours;             /* (n_rows) bound of `crowd` for any motion */
    float stiffness;                       /* pN/µm */
    /* floor: force − slope (u_z − z), never negative; give 1/(1 + slope move_z);
     * slope NULL without a floor */
    const float *floor_force, *floor_slope, *floor_z, *floor_give;
    const float *ceiling;                  /* largest u_z; NULL: none */
    /* side walls: overlap wall_gap − w·u, give k move_xy/(1 + k move_xy); wall_x NULL:
     * none near */
    const float *wall_x, *wall_y, *wall_gap, *wall_give;
    float *ux, *uy, *uz;                   /* out: displacement, µm */
    float *force, *change, *step;          /* (slots) out: contact force, pN; scratch */
    float *place[2], *crowded;             /* (n_rows + 1 x 4) scratch, the last row zero */
    int sweeps;                            /* least number */
    float tolerance;                       /* µm */
    int sweeps_done;                       /* out */
    float residual;                        /* out: largest correction of the last sweep, µm */
} nrw_contact_solve;

typedef void nrw_begin_kernel(nrw_contact_solve *solve);
/* One sweep from place[from] to place[1 - from]; returns the largest correction. */
typedef float nrw_sweep_kernel(nrw_contact_solve *solve, int from, float gain, float momentum);

/* Indices j of x, y, z (n, padded) within reach·(radius_i + radius_j) of particle
 * i, rising, without i itself; `found` must have room for n + NRW_LANES. */
typedef size_t nrw_close_kernel(size_t n, const float *x, const float *y, const float *z,
                                const float *radius, size_t i, float reach, uint32_t *found);

typedef struct nrw_kernels {
    const char *name;                  /* "x86-64-v4", ... */
    nrw_pair_kernel *averaged;         /* forces from a common tensor */
    nrw_pair_kernel *averaged_response;/* the same for each tensor component alone */
    nrw_pair_kernel *own_moments;      /* forces and fields of individual moments */
    nrw_pair_kernel *flow_floor;       /* pair flow above the floor */
    nrw_pair_kernel *flow_unbounded;
    nrw_near_kernel *near_geometry, *near_dipoles, *near_response;
    nrw_brake_kernel *brakes, *friction;
    nrw_begin_kernel *begin;
    nrw_sweep_kernel *first_sweep, *sweep;
    nrw_close_kernel *close;
} nrw_kernels;

/* The best kernels for this processor; a static table, thread safe. */
const nrw_kernels *nrw_kernels_get(void);

#endif
