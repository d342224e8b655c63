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

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "peaks.h"

#define NRW_LANES 16

/* Rows of a group, which contact.h sorts, and which the sweeps of large swarms take at a time:
 * a multiple of NRW_LANES. Peaks are taken of such groups. */
enum { NRW_CONTACT_GROUP = 256 };

/* Where the four floats of a row begin in "rows of four": within a chunk of 16, rows r,
 * r + 4, r + 8 and r + 12 stand together, as a transposition of vectors leaves them. */
static inline size_t nrw_four_of(size_t row)
{
    return 4 * (row / NRW_LANES * NRW_LANES) + 16 * (row % 4) + row % NRW_LANES / 4 * 4;
}

/* Components of a symmetric tensor in the kernels' order. */
enum { NRW_XX, NRW_XY, NRW_XZ, NRW_YY, NRW_YZ, NRW_ZZ, NRW_N_TENSOR };

typedef struct nrw_pair_task {
    size_t n;                   /* padded */
    size_t n_filled;            /* rows with a particle; the last row of an odd number
                                   has a partner in the padding */
    const float *x, *y, *z;     /* (n) µm; z from the floor */
    const float *moment;        /* (n) moment over the nominal one, common direction */
    const float *mx, *my, *mz;  /* (n) fA·m², own moments (permanent, resolved) */
    const float *qx, *qy, *tz;  /* (n) torque on the fluid over 8πη, µm³/s: rolling
                                   direction (T_y, −T_x) and vertical part */
    float tensor[NRW_N_TENSOR]; /* 3·µ0/4π·⟨m mᵀ⟩ of the nominal particle, up to a multiple
                                   of the unit tensor */
    float core2;                /* µm²; closer pairs are treated as if at this distance²,
                                   by the kernels of half the pairs with M_zz taken out */
    float radius2;              /* a² of the Faxén correction, µm² */
    float *fx, *fy, *fz;        /* (n) out: pN */
    float *ux, *uy, *uz;        /* (n) out: pair flow, µm/s */
    float *bx, *by, *bz;        /* (n) out: field of the others, mT */
    float *response[3 * NRW_N_TENSOR]; /* (n) out: force per unit of each tensor component */
} nrw_pair_task;

typedef void nrw_pair_kernel(const nrw_pair_task *task, size_t first, size_t last);
/* All rows at once, each pair once. Flow has no self term. */
typedef void nrw_tile_kernel(const nrw_pair_task *task);

/* Listed pairs of blocks of 16 rows (far_field.h), each pair once: the rows of block k are
 * to be taken with the blocks others[starts[k]...starts[k + 1]), none before their own,
 * which comes first if it is there. Places x, y, z of nrw_pair_task count from an origin
 * of each block. */
typedef struct nrw_block_task {
    nrw_pair_task pair;
    const uint32_t *starts; /* (n/16 + 1) */
    const uint32_t *others; /* per slot */
    const float *shifts;    /* (slots x 3) origin of the rows' block less that of the other */
} nrw_block_task;

typedef void nrw_block_kernel(const nrw_block_task *task);

/* Four particles of neighbouring rows (pair_list.h): a cache line that the kernels load
 * whole. Places are whole numbers modulo 2^32 of a unit of length that is small against
 * the cutoff: differences of neighbours are exact wherever they are. Empty places have no
 * moment. */
enum { NRW_QUAD = 4, NRW_QUAD_FLOATS = 16 };
typedef struct nrw_quad {
    _Alignas(64) int32_t x[NRW_QUAD];
    int32_t y[NRW_QUAD], z[NRW_QUAD];
    float moment[NRW_QUAD];
} nrw_quad;

/* Places of quads, axis by axis in double precision, µm; arrays are (4 n_quads) by row. */
typedef struct nrw_quad_rows {
    size_t n_quads;
    const uint32_t *order;  /* particle of each row */
    const double *given[3]; /* by particle */
    double *at[3];          /* those of the rows */
    const double *ref[3];   /* where they were */
    double drift[3];        /* how far all have moved since */
} nrw_quad_rows;

/* Fills `at`; the square of how far somebody has moved from `ref` beyond the drift. */
typedef double nrw_quad_take_kernel(const nrw_quad_rows *rows);
/* Places in the quads' units: turn · at. */
typedef void nrw_quad_places_kernel(const nrw_quad_rows *rows, const double turn[3][3],
                                    nrw_quad *quads);
/* Forces of nrw_quad_task as turnᵀ · force · moment, in place. */
typedef void nrw_quad_turn_kernel(size_t n_quads, const nrw_quad *quads, const float turn[3][3],
                                  float *forces);

/* Some blocks of NRW_LANES rows and the boxes around their particles. */
typedef struct nrw_block_boxes {
    size_t n;
    uint32_t *blocks;        /* (n) rising */
    float *low[3], *high[3]; /* (n, padded to a multiple of NRW_LANES with boxes out of reach) */
} nrw_block_boxes;

/* Blocks of four quads among which a quad's neighbours are. */
typedef struct nrw_quad_search {
    const nrw_quad *quads;
    nrw_block_boxes boxes;
    float apart2; /* square of how near boxes must come */
    float reach2; /* and particles, in the quads' units */
} nrw_quad_search;

/* Quads after quad `own`, whose box is given, with a particle within the reach of one of its
 * own: 16 times their number, in the order of the blocks, into `found` (room for
 * 4 n_blocks + 1). Returns how many. */
typedef size_t nrw_quads_within_kernel(const nrw_quad_search *search, size_t own,
                                       const float low[3], const float high[3], uint32_t *found);

/* Dipoles of each quad's particles with each other and with the listed quads: each pair of
 * quads is in one list, of either of the two. Slots of a quad's list are fours, filled up
 * with n_quads, which has no moments. */
typedef struct nrw_quad_task {
    size_t n_quads;         /* a multiple of four */
    const nrw_quad *quads;  /* (n_quads + 1); the last stands for none */
    const uint32_t *starts; /* (n_quads + 1) */
    const uint32_t *others; /* per slot: 16 × quad */
    const uint32_t *owners; /* per four slots: the quad whose they are */
    float tensor[3];        /* of nrw_pair_task, in principal axes, which x, y, z are along */
    float core2, cutoff2;   /* squares of units; what is farther than the cutoff is left out */
    float *forces;          /* (n_quads + 1 x 16) out: x, y and z of the four and nothing; of the
                               others on each, over its own moment and with the other sign, pN if
                               the unit were a µm */
} nrw_quad_task;

typedef void nrw_quad_kernel(const nrw_quad_task *task);

/* Expansions of the far field (far_field.h) to this order, terms of the sources' moments
 * and of local expansions that are kept, and room for potentials of a node side by side. */
enum { NRW_FAR_ORDER = 4, NRW_FAR_MOMENTS = 16, NRW_FAR_LOCALS = 25, NRW_FAR_POTENTIALS = 8 };

typedef struct nrw_far_task {
    /* by row, in the order of the tree's blocks */
    const float *x, *y;                 /* from the centre of their block, µm */
    const float *z;                     /* like the centres' */
    const float *moment, *qx, *qy, *tz; /* as in nrw_pair_task */
    float tensor[NRW_N_TENSOR], radius2;
    float *fx, *fy, *fz, *ux, *uy, *uz; /* in, out: the far field's part is added */
    float *response[3 * NRW_N_TENSOR];
    /* by node */
    const struct nrw_block_node *nodes; /* block_tree.h */
    size_t n_nodes;
    const float *centre_x, *centre_y, *centre_z; /* (n_nodes + 1); the last stands for none */
    float *moments; /* (n_nodes + 1 x NRW_FAR_MOMENTS x 4) of moment, qx, qy, tz */
    float *locals;  /* (n_nodes + 1 x NRW_FAR_LOCALS x NRW_FAR_POTENTIALS) */
    /* who is expanded about whom, 16 targets a chunk, and every node is one; slot s of a chunk
     * holds the s-th source of each, or n_nodes: none */
    size_t n_chunks;
    const uint32_t *targets; /* (n_chunks x 16) */
    const uint32_t *starts;  /* (n_chunks + 1) */
    const uint32_t *sources; /* per slot */
    int dipole_potential;    /* which of the potentials is the dipoles' */
} nrw_far_task;

typedef void nrw_far_kernel(const nrw_far_task *task);

/* The list of close neighbours as the kernels see it (contact.h). Arrays per row
 * are (n_rows), rows of four floats (n_rows + 1): the last one stands for "no
 * neighbour", far away. */
typedef struct nrw_contact_rows {
    size_t n_rows;
    const uint32_t *starts;
    const uint32_t *partner;                  /* per slot: nrw_four_of its row */
    const uint32_t *self;                     /* (n_rows) nrw_four_of each row */
    const uint32_t *first_group, *last_group; /* of nrw_contacts */
    const float *touch;
    float *nx, *ny, *nz, *gap; /* per slot */
    int16_t *short_n[3];       /* ... instead of nx, ny, nz: times NRW_UNIT, rounded; else NULL */
} nrw_contact_rows;

/* What stands for 1 where slots hold whole numbers of 16 bits, in swarms whose lists no cache
 * near the processor holds: directions are off by 1e-5, less than a nanometre at a particle's
 * surface. */
#define NRW_UNIT 32767.0f

/* Directions and overlaps of all listed pairs from positions, and sums over each
 * row's neighbours. */
typedef struct nrw_near_task {
    nrw_contact_rows rows;
    const float *places; /* (n_rows + 1 x 4) x, y, z in µm, moment over the nominal one */
    float candidate_um;  /* pairs closer than this count in `crowd` */
    /* first guess of the contact forces over the stiffness: those of the last solve (in;
     * out: 0 beyond its ends); NULL: max(0, gap) */
    float *held;                     /* (slots) pN */
    const uint32_t *held_ends;       /* (chunks) */
    float stiffness;                 /* pN/µm */
    float *warm_x, *warm_y, *warm_z; /* out: Σ guess n, µm */
    /* out: bound of the largest eigenvalue of Σ m mᵀ, m along (1, 1, √(across/along)) n: of
     * the mobilities' own measure, in which rows close to a floor see their contacts nearer
     * to its plane. Both NULL: of Σ n nᵀ */
    float *crowd;
    const float *along, *across; /* (n_rows) mobilities along and across the floor */
    float tensor[NRW_N_TENSOR];  /* as in nrw_pair_task */
    float tensor_rest;           /* what was taken from its diagonal: T is with it */
    float core2;
    float *fx, *fy, *fz; /* out: dipole force of the listed neighbours */
    float *stiff;        /* out: Σ m m' max(tr T, 2 n·Tn, 4 (tr T − 3 n·Tn))/r⁵, pN/µm */
    float *response[3 * NRW_N_TENSOR]; /* in, out: less the listed neighbours' part */
    float largest_overlap;             /* in, out: of contact distances */
} nrw_near_task;

typedef void nrw_near_kernel(nrw_near_task *task);

/* Lubrication of touching particles (brake.h). With x the share of reach_um by which
 * two are apart, e = contact (1 − x)/(1 + bend x), 0 from x = 1 on. */
typedef struct nrw_brake_task {
    nrw_contact_rows rows;
    float contact, reach_um, bend;
    float *excess;              /* (slots) e; out of brakes, in of friction */
    int16_t *short_excess;      /* ... instead of it, with short_n: e/contact × NRW_UNIT */
    float *brake[NRW_N_TENSOR]; /* out: Σ e (1 − n nᵀ) */
    float *excess_sum;          /* out: Σ e */
    const float *moves;         /* (n_rows + 1 x 4) velocities, µm/s; NULL: slide isn't made */
    float slide_scale;          /* 1/2a */
    float *slide_x, *slide_y, *slide_z; /* out: slide_scale Σ e n × (v − v_j), 1/s */
    float drag_scale;                   /* 4πηa */
    float *drag_x, *drag_y, *drag_z;    /* out: −drag_scale Σ e (v − v_j)⊥, pN */
    const float *spins;                 /* (n_rows + 1 x 4) 1/s */
    float strength;                     /* 4πηa² */
    float *fx, *fy, *fz;                /* in, out: pN */
} nrw_brake_task;

typedef void nrw_brake_kernel(const nrw_brake_task *task);

/* What the contact solve works on; displacements from the substep's beginning. */
typedef struct nrw_contact_solve {
    nrw_contact_rows rows;
    const float *free_x, *free_y, *free_z;         /* displacement without contacts, µm */
    const float *move_xy, *move_z;                 /* mobility × step, µm/pN */
    const float *warm_x, *warm_y, *warm_z, *crowd; /* of nrw_near_task */
    const float *n_neighbours;                     /* (n_rows) bound of `crowd` for any motion */
    float stiffness;                               /* pN/µm */
    /* floor: force − slope (u_z − z), never negative; give 1/(1 + slope move_z);
     * slope NULL without a floor */
    const float *floor_force, *floor_slope, *floor_z, *floor_give;
    const float *ceiling; /* largest u_z; NULL: none */
    /* side walls: overlap wall_gap − w·u, give k move_xy/(1 + k move_xy); wall_x NULL:
     * none near */
    const float *wall_x, *wall_y, *wall_gap, *wall_give;
    float *ux, *uy, *uz;    /* out: displacement, µm */
    float *force[2], *step; /* (slots) contact force, pN, out: the last first; scratch */
    uint16_t *short_step;   /* (slots) scratch instead of `step`, with short_n */
    bool held;              /* force[0] holds the first guess of nrw_near_task; else the gaps do */
    /* drag against sliding along each other, drag_scale e pN/µm on each; excess_sum NULL: none */
    const float *excess, *excess_sum; /* of nrw_brake_task */
    const int16_t *short_excess;      /* ... instead of `excess`, with short_n */
    float contact;                    /* of nrw_brake_task */
    float drag_scale, drag_reach_um;
    float *drag_x, *drag_y, *drag_z; /* (n_rows) in: first guess; out: that force, pN */
    float *ease_xy, *ease_z;         /* (n_rows) scratch: share of a sweep's change that is made */
    uint32_t *ends;                  /* (chunks) scratch: slots that may touch */
    float reach_um;                  /* ... closer than this plus their displacement */
    float *place[2], *crowded;       /* (n_rows + 1 x 4) scratch, the last row zero */
    float stiffest;                  /* scratch: typical stiffness × move_xy × crowd (peaks.h) */
    float *farthest2; /* (groups) scratch: largest square of a first guess's displacement, µm² */
    int sweeps;       /* least number */
    float tolerance;  /* µm */
    int sweeps_done;  /* out */
    int usual[2];     /* in, out: accelerated ones that the last solve needed that
                         was not held, or was; 0: none yet */
    float residual;   /* out: largest correction of the last sweep, µm */
} nrw_contact_solve;

/* Of the rows' stiffness × move_xy × crowd. */
typedef nrw_peaks nrw_stiffest_kernel(const nrw_contact_solve *solve);
/* First guess in the rows [first, last), multiples of NRW_LANES, from the contact forces that the
 * near task took, and the rows of mobility × crowd that the first sweep reads; returns the largest
 * square of a displacement. */
typedef float nrw_begin_kernel(nrw_contact_solve *solve, size_t first, size_t last);
/* `ends` of these rows' chunks, whose particles and their neighbours move by up to `reach`. */
typedef void nrw_reached_kernel(nrw_contact_solve *solve, size_t first, size_t last, float reach);
/* What one sweep does: from place[from] to place[1 - from]. */
typedef struct nrw_contact_sweep {
    int from;
    float gain, momentum;
} nrw_contact_sweep;

/* A sweep over rows [first, last), multiples of NRW_LANES; returns the largest correction. */
typedef float nrw_sweep_kernel(nrw_contact_solve *solve, const nrw_contact_sweep *sweep,
                               size_t first, size_t last);

/* What the kernels of a step (step.c) read and write, by row; units as in world.h. */
typedef struct nrw_rows_task {
    size_t n_rows;
    const uint32_t *order; /* 4 × particle */
    /* constants */
    float radius, weight, kT, rolling_factor, pair_flow_factor, stiffness;
    float spin_per_torque; /* 1/8πηa³ */
    float torque[3];       /* pN·µm */
    bool has_floor;
    float layer_amplitude, debye, rest_gap, hard; /* amplitude 0: no double layer */
    const float *row_radius, *row_moment, *row_inverse_drag;
    const float *row_ceiling; /* NULL: none */
    const float *mz, *mr, *ms, *rolling, *dmz, *along, *across;
    float *brake[NRW_N_TENSOR];
    const float *slide_x, *slide_y, *slide_z; /* of nrw_brake_task; NULL: none */
    /* spins, and the torques on the fluid of nrw_pair_task */
    float *spin_x, *spin_y, *spin_z, *spins, *qx, *qy, *tz;
    const float *fx, *fy, *fz, *ux, *uy, *uz; /* forces and pair flow */
    float *base_x, *base_y, *base_z, *vx, *vy, *vz;
    const float *noise;          /* (4 a particle); NULL: none */
    const float *warm_z, *stiff; /* of nrw_near_task */
    const float *excess_sum;     /* of nrw_brake_task */
    float sliding;               /* drag against sliding over it, pN·s/µm; 0: none */
    float *free_x, *free_y, *free_z, *move_xy, *move_z;
    float *floor_force, *floor_slope, *floor_z, *floor_give, *ceiling_z;
    float *px, *py, *pz, *places, *sum_x, *sum_y, *sum_z;
    const float *start_x, *start_y, *start_z;
    const float *flow_x, *flow_y;
    const float *wall_near, *wall_far; /* of screen, µm */
    float *share_out;                  /* of screen: what side walls leave of the pair flow */
    const float *share;                /* the same in base; NULL: all */
} nrw_rows_task;

typedef void nrw_rows_kernel(const nrw_rows_task *task);
/* v = base + mobility × Σ forces (NULL: none). Change of the planar velocity, µm/s, and
 * stiffness × the mobility that drag against sliding leaves, 1/s. */
typedef void nrw_velocity_kernel(const nrw_rows_task *task, const float *const forces[2][3],
                                 nrw_peaks *change, nrw_peaks *stiff);
typedef void nrw_predict_kernel(const nrw_rows_task *task, float h);
/* How far the first n rows have gone, start + sum, and how far each went last (n_rows), µm:
 * means of both; the farthest of each group of NRW_CONTACT_GROUP rows, against the means, now
 * or after one more displacement like its last; and returned, the largest of the last. */
typedef float nrw_strayed_kernel(const nrw_rows_task *task, const float *const last[3], size_t n,
                                 float means[2][3], float *farthest);
/* The largest of the displacements u of a substep of h s that `predict` has begun, µm: in the
 * plane and without noise, and of all; NAN, both: some row's isn't a number. */
typedef void nrw_farthest_kernel(const nrw_rows_task *task, const float *const u[3], float h,
                                 float largest[2]);
/* Adds the displacements u to the places. */
typedef void nrw_store_kernel(const nrw_rows_task *task, const float *const u[3]);

/* Blocks among which the neighbours of some rows are. */
typedef struct nrw_close_search {
    nrw_block_boxes boxes;           /* blocks NULL: the first n, wherever they are */
    const float *x, *y, *z, *radius; /* by row, a multiple of NRW_LANES, µm */
    float reach, inner;              /* contact distances */
    float largest_radius;
    size_t most; /* neighbours, up to 128 */
} nrw_close_search;

/* Rows of those blocks that are within reach·(radius_i + radius_j) of row i, without i itself:
 * first those within `inner`, then the others, each rising. For n <= NRW_QUAD rows from
 * `first` on (NRW_QUAD of them are read unless n is 1), from found + starts[0] on, and where
 * each row's end into starts[1 ... n]. False: some row that is read has more than `most`.
 * `found` must have room for NRW_QUAD · most + 2 NRW_LANES from starts[0] on. */
typedef bool nrw_close_kernel(const nrw_close_search *search, size_t first, size_t n,
                              uint32_t *found, uint32_t *starts);

/* See nrw_normal_array in random.h. */
typedef void nrw_normals_kernel(uint64_t seed, uint32_t stream, uint32_t step, size_t n,
                                float *normals);

typedef struct nrw_kernels {
    const char *name;                   /* "x86-64-v4", ... */
    nrw_pair_kernel *averaged;          /* forces from a common tensor */
    nrw_pair_kernel *averaged_response; /* the same for each tensor component alone */
    nrw_pair_kernel *own_moments;       /* forces and fields of individual moments */
    nrw_pair_kernel *flow_floor;        /* pair flow above the floor */
    nrw_pair_kernel *flow_unbounded;
    nrw_tile_kernel *tile_averaged;      /* forces from a common tensor */
    nrw_tile_kernel *tile_averaged_flow; /* the same and the pair flow above the floor */
    nrw_tile_kernel *tile_flow;          /* pair flow above the floor alone */
    nrw_tile_kernel *tile_response;      /* forces for each tensor component alone */
    nrw_quad_kernel *quad_dipoles;       /* forces from a common tensor, within a cutoff */
    nrw_quads_within_kernel *quads_within;
    nrw_quad_take_kernel *quad_take;
    nrw_quad_places_kernel *quad_places;
    nrw_quad_turn_kernel *quad_turn;
    nrw_block_kernel *block_averaged;      /* forces from a common tensor, of all listed pairs */
    nrw_block_kernel *block_averaged_flow; /* ... and the pair flow above the floor */
    nrw_block_kernel *block_flow, *block_response;
    /* moments of all nodes; local expansions of the dipoles' and the flow's potentials, or
     * of the responses' three; those down to the blocks; their fields at the particles */
    nrw_far_kernel *far_gather;
    nrw_far_kernel *far_across_dipoles, *far_across_flow, *far_across_both, *far_across_response;
    nrw_far_kernel *far_spread;
    nrw_far_kernel *far_dipoles, *far_flow, *far_response;
    nrw_near_kernel *near_geometry, *near_dipoles, *near_response;
    nrw_near_kernel *near_overlap; /* only largest_overlap: nothing else is written */
    nrw_brake_kernel *brakes, *friction;
    nrw_stiffest_kernel *stiffest;
    nrw_begin_kernel *begin;
    nrw_reached_kernel *reached;
    nrw_sweep_kernel *first_sweep, *sweep;
    nrw_close_kernel *close;
    nrw_rows_kernel *spins, *base, *screen;
    nrw_velocity_kernel *velocity;
    nrw_predict_kernel *predict;
    nrw_farthest_kernel *farthest;
    nrw_store_kernel *store;
    nrw_strayed_kernel *strayed;
    nrw_normals_kernel *normals;
} nrw_kernels;

/* The best kernels for this processor; a static table, thread safe. */
const nrw_kernels *nrw_kernels_get(void);

/* Those of every level that this processor can run, the best first; their number. */
enum { NRW_KERNEL_LEVELS = 3 };
size_t nrw_kernels_all(const nrw_kernels *tables[NRW_KERNEL_LEVELS]);

#endif
