/* Contacts: who touches whom, and the implicit contact solve.
 *
 * Contacts are stiff springs of stiffness k between surfaces. Their step is
 * implicit Euler, solved by projection with all contacts at once (Jacobi,
 * under-relaxed), warm-started from the positions, so that neither the stiffness
 * sets the step nor a stored multiplier is part of the state
 * (docs/physics.md, section 4). */
#ifndef NRW_CONTACT_H
#define NRW_CONTACT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "arena.h"
#include "cell_grid.h"

/* Pairs closer than this many contact distances are listed. */
#define NRW_CONTACT_REACH 1.25f

/* Half list of close pairs, i < j, sorted by (i, j). */
typedef struct nrw_contacts {
    size_t n_pairs, capacity;
    uint32_t *i, *j;            /* (capacity) */
    float *distance;            /* (capacity) contact distance, µm */
    float *force;               /* (capacity) pN, of the last solve */
    float *last_change;         /* (capacity) scratch: of the force in the last sweep, pN */
    float *gx, *gy, *gz;        /* (capacity) scratch: change of the contact force, pN */
    double *ref_x, *ref_y, *ref_z; /* (n) positions when the list was made */
    bool valid;
    bool overflow;              /* more pairs than fit: the particles lie on top of each other */
    uint64_t n_builds;
    nrw_cell_grid grid;         /* owned */
} nrw_contacts;

/* One particle's local constraint by side walls, linearised once a step:
 * overlap = start + n·(x − x0). */
typedef struct nrw_wall_contact {
    uint32_t particle;
    float nx, ny;   /* into the fluid */
    float overlap;  /* at the predicted start position x0, positive inside the wall, µm */
    float x0, y0;
    float force;    /* pN */
} nrw_wall_contact;

/* Floor and ceiling of a particle, linearised about the predicted height:
 * force = force0 − slope·(z − z0), never negative. */
typedef struct nrw_floor_contact {
    float *force0, *slope, *z0; /* (n) */
    float *force;               /* (n) */
    float *ceiling;             /* highest centre, µm; one number per particle */
} nrw_floor_contact;

void nrw_contacts_layout(nrw_contacts *contacts, nrw_arena *arena, size_t n);

/* Remakes the list if some particle moved, against the swarm's mean, by more
 * than a third of the skin since it was made. x, y, z (n) µm, radius (n) µm,
 * largest_radius their maximum. */
void nrw_contacts_refresh(nrw_contacts *contacts, size_t n, const double *x, const double *y,
                          const double *z, const float *radius, float largest_radius);

/* What the solve works on: float positions relative to an origin (z from the
 * floor), and mobilities times the step. */
typedef struct nrw_contact_solve {
    size_t n;
    float *x, *y, *z;               /* (n) in: predicted; out: solved */
    const float *move_xy, *move_z;  /* (n) µm/pN: step × mobility along and across the floor */
    float stiffness;                /* pN/µm */
    nrw_wall_contact *walls;        /* (n_walls) */
    size_t n_walls;
    nrw_floor_contact *floor;       /* NULL without a floor */
    int sweeps;                     /* least number */
    float tolerance;                /* µm: sweeps go on while something still moves by more */
    int sweeps_done;                /* out */
    float residual;                 /* out: largest move in the last sweep, µm */
} nrw_contact_solve;

/* Adds the warm-start contact forces at the positions x0, y0, z0 (n) of the
 * step's beginning to the displacement: x += move·Σ force n, and remembers them. */
void nrw_contacts_warm_start(nrw_contacts *contacts, nrw_contact_solve *solve, const float *x0,
                             const float *y0, const float *z0);

/* Sweeps to convergence. Deterministic: fixed order of summation. */
void nrw_contacts_solve(nrw_contacts *contacts, nrw_contact_solve *solve);

/* Largest overlap of listed pairs as a share of their contact distance; NAN if a
 * position is. */
float nrw_contacts_overlap(const nrw_contacts *contacts, const float *x, const float *y,
                           const float *z);

void nrw_contacts_clear(nrw_contacts *contacts);

#endif
