/* Contacts: who is close to whom, and the implicit contact solve.
 *
 * Contacts are stiff springs of stiffness k between surfaces. Their step is
 * implicit Euler: the displacements u of a step minimise
 *
 *   Σ_i ½ (u_i − g_i)·M_i⁻¹ (u_i − g_i) + Σ_pairs ½ k max(0, gap − n·(u_i − u_j))²
 *     + walls + floor,
 *
 * g the displacement without contacts, M mobility × step. Directions n and
 * overlaps `gap` are taken once, at the substep's beginning. The unknowns are the
 * contact forces, all changed at once in each sweep (Jacobi with Chebyshev momentum, each
 * pair's step scaled by how crowded its two particles are), starting from those that
 * the gaps give at a step's beginning, later in the step from the last substep's: neither
 * the stiffness sets the step, nor is a stored multiplier part of the state, nor does an
 * unfinished solve push the swarm as a whole (docs/physics.md, section 4).
 *
 * Layout: every particle has a row; 16 rows make a chunk, worked on in vector
 * lanes. Slot s of a chunk holds the s-th neighbour of each of its rows, both
 * directions of each pair, so that no sum crosses lanes and nothing is scattered.
 * Rows are sorted by their number of neighbours to keep the chunks full, within groups of
 * NRW_CONTACT_GROUP. In large swarms the groups follow each other along the swarm's longer
 * side, so that neighbours are at most a swarm's width apart, and several sweeps go over the
 * swarm in one wave, each a few groups behind the one before it: what is read from memory
 * serves all of them (temporal blocking: Wellein, Hager, Zeiser, Wittmann & Fehske 2009). Three
 * at a time do so close behind each other, over some groups, before the next three follow: what
 * the second cache holds serves these three. */
#ifndef NRW_CONTACT_H
#define NRW_CONTACT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "arena.h"
#include "block_tree.h"
#include "kernel.h"

/* Pairs closer than this many contact distances are listed. With less the fastest of a
 * large swarm would end its steps early, see nrw_contacts_limit_um. */
#define NRW_CONTACT_REACH 1.6f
/* The list is made anew when a particle has moved by so many radii... */
#define NRW_CONTACT_REFRESH 0.25f
/* ... so none closer than this is ever unlisted at a step's beginning; listed ones within it
 * stand first. */
#define NRW_CONTACT_SURE 1.15f

typedef struct nrw_contacts {
    size_t n, n_rows, n_chunks;    /* n_rows: a multiple of NRW_LANES */
    size_t capacity;               /* of slots */
    size_t n_slots;                /* in use, with the empty ones */
    size_t n_pairs;                /* listed pairs */
    uint32_t *order;               /* (n_rows) particle of each row; n beyond the last */
    uint32_t *row_of;              /* (n) row of each particle */
    uint32_t *starts;              /* (n_chunks + 1) first slot of each chunk, in slots */
    uint32_t *partner;             /* (capacity) nrw_four_of the neighbour's row; of n_rows: none */
    float *touch;                  /* (capacity) contact distance, µm */
    float *nx, *ny, *nz, *gap;     /* (capacity) toward the row from its neighbour; overlap, µm */
    float *force[2], *step;        /* (capacity) of the solve: pN, and scratch */
    float *excess;                 /* (capacity) lubrication's excess resistance (brake.h) */
    bool compact;                  /* instead of nx, ny, nz, excess, step, which are NULL then: */
    int16_t *short_n[3];           /* (capacity) × NRW_UNIT */
    int16_t *short_excess;         /* (capacity) over that in contact, × NRW_UNIT */
    uint16_t *short_step;          /* (capacity) */
    uint32_t *ends;                /* (n_chunks) scratch of the solve */
    uint32_t *order4;              /* (n_rows) 4 × order */
    float *n_neighbours;           /* (n_rows) listed ones */
    uint32_t *self;                /* (n_rows) nrw_four_of each row */
    double *ref_x, *ref_y, *ref_z; /* (n) positions when the list was made */
    double ref_means[3];           /* of these */
    float *sort_x, *sort_y, *sort_z, *sort_radius; /* (n_rows) scratch */
    uint32_t *found;        /* (capacity) scratch: places of neighbours, place by place */
    uint32_t *found_starts; /* (n + 1) */
    bool valid;
    bool overflow; /* more pairs than fit: the particles lie on top of each other */
    uint64_t n_builds;
    nrw_block_tree tree;  /* owned; where the particles lie in large swarms */
    bool by_tree;         /* places below are the tree's rows, else the particles themselves */
    uint32_t *row_place;  /* (n_rows) place of each row's particle */
    uint32_t *place_self; /* (n) nrw_four_of the row of each place */
    uint32_t *line;       /* (n) places in the order of the rows, but for sorting in groups */
    uint32_t *first_group, *last_group; /* (groups) with neighbours of its rows, itself at least */
    float *farthest2;                   /* (groups) scratch of the solve */
    nrw_block_boxes near;               /* (n_rows/16, padded) scratch: blocks near some */
} nrw_contacts;

/* From so many particles on, whose contacts the second cache no longer holds, sweeps go in
 * waves; and from so many on, when they come from memory, what is read of each slot is compact. */
enum { NRW_CONTACT_WAVES_LEAST = 4096, NRW_CONTACT_COMPACT_LEAST = 16384 };

/* Neighbours of a particle, at most. */
enum { NRW_CONTACT_MOST = 63 };

/* Takes the arrays for n particles from the arena; `compact`: with 16 bits where they do for what
 * is read of a slot (kernel.h, NRW_UNIT). */
void nrw_contacts_layout(nrw_contacts *contacts, nrw_arena *arena, size_t n, bool compact);
/* A particle that moved farther than this against the swarm's mean since the list was
 * made may touch one that is not listed (stray.h). */
float nrw_contacts_limit_um(float largest_radius);

/* Displacements since the list was made, by row. */
void nrw_contacts_moved(const nrw_contacts *contacts, const double *x, const double *y,
                        const double *z, float *moved_x, float *moved_y, float *moved_z);

void nrw_contacts_clear(nrw_contacts *contacts);

/* Remakes the list if some particle moved, against the swarm's mean, by more
 * than NRW_CONTACT_REFRESH radii since it was made; true if it did (the rows have then
 * changed). x, y, z (n) µm, radius (n) µm, largest_radius their maximum. */
bool nrw_contacts_refresh(nrw_contacts *contacts, size_t n, const double *x, const double *y,
                          const double *z, const float *radius, float largest_radius);

/* Sweeps to convergence: at least solve->sweeps, until none moves by more than
 * solve->tolerance. Deterministic: fixed order of summation. */
void nrw_contacts_solve(nrw_contact_solve *solve);

/* The parts of `contacts` that the kernels read. */
nrw_contact_rows nrw_contacts_rows(const nrw_contacts *contacts);

#endif
