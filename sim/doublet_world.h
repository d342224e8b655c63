/* The doublets of a world: their axes, and everything sized once for stepping them.
 * Internal to sim/doublet_*.c and the few places of world.c, step.c and run.c that
 * hand over to them. */
#ifndef NRW_DOUBLET_WORLD_H
#define NRW_DOUBLET_WORLD_H

#include "cell_grid.h"
#include "doublet_mobility.h"
#include "world.h"

/* A unilateral spring on one lobe or between two: force = max(0, k (overlap − the
 * displacement along n)); or the drag of lobes that slide past each other, k drag/step,
 * the overlap what they slid without it, against it. Vectors of six act on a body's
 * displacement and turn. */
typedef struct nrw_doublet_contact {
    uint32_t i, j;             /* bodies; j: NRW_DOUBLET_ALONE against walls */
    double ji[6], jj[6];       /* how the distance answers */
    double wi[6], wj[6];       /* displacement per force */
    double overlap, stiffness; /* µm, pN/µm */
    double moves, give;        /* J·w, µm/pN; 1/(1 + k J·w) */
    double least;              /* smallest force: 0, or -INFINITY for drag */
    double force;              /* pN */
} nrw_doublet_contact;

#define NRW_DOUBLET_ALONE UINT32_MAX

/* A body during a step: where it would go without contacts, and how it gives way. */
typedef struct nrw_doublet_body {
    double radius;               /* of the sphere of equal volume */
    nrw_vec3 force, torque;      /* all but that of the field on the moment */
    nrw_vec3 field;              /* of the others, mean of both lobes, mT */
    nrw_vec3 mean_torque;        /* of the field on the moment over the step */
    nrw_vec3 spin;               /* mean over the step, 1/s */
    nrw_vec3 moment;             /* fA·m², at the step's beginning */
    nrw_sym3 brake;              /* resistance to turning by contacts, pN·µm·s */
    nrw_vec3 middle, axis, side; /* predicted */
    nrw_mat6 factor;             /* Cholesky factor of the resistance */
    nrw_mat6 mobility;           /* its inverse */
    nrw_mat6 give;               /* displacement per contact force over the step, which the drive
                                    holds back */
    double moved[6];             /* displacement and turn by contacts */
} nrw_doublet_body;

typedef struct nrw_doublets {
    nrw_doublet_medium medium;
    double along, across; /* induced: polarisabilities at the drive's present size */
    double lag_s;         /* relaxation time */
    double layer_pN;      /* double layer of a nominal lobe: amplitude at contact */
    /* state, beside the world's middles and directions of moments */
    nrw_vec3 *axes, *kept_axes;          /* (n) unit */
    nrw_vec3 *moved, *kept_moved;        /* (2n) velocity of each lobe in the last step, µm/s */
    nrw_doublet_body *bodies;            /* (n) */
    double *lobe_x, *lobe_y, *lobe_z;    /* (2n) lobes 2i and 2i + 1 of body i, along its axis and
                                            against it; for imaging and walls */
    double *seen_x, *seen_y, *seen_wall; /* (2n) as in nrw_world */
    double *ref_x, *ref_y, *ref_z;       /* (n) middles when the list was made */
    bool listed;
    double safe_s; /* step that the bounds on moves call for, by the last; 0: unknown */
    size_t n_pairs, pairs_capacity;
    uint32_t (*pairs)[2]; /* bodies whose lobes may meet */
    size_t n_contacts, contacts_capacity;
    nrw_doublet_contact *contacts;
    nrw_cell_grid grid;    /* owned */
    nrw_pair_task dipoles; /* of the lobes, (2n padded) */
    float *mx, *my, *mz;   /* of it */
    nrw_arena arena;
} nrw_doublets;

/* Makes the doublets of a world whose particles' sizes and directions are drawn;
 * their axes lie in the plane. NRW_NO_MEMORY. */
nrw_status nrw_doublets_create(nrw_world *world, nrw_errors *errors);
void nrw_doublets_destroy(nrw_doublets *doublets);
void nrw_doublets_keep(nrw_world *world);
void nrw_doublets_go_back(nrw_world *world);

/* Refuses given positions in which lobes overlap each other or a wall. */
nrw_status nrw_doublets_check_positions(nrw_world *world, nrw_errors *errors);

/* Radius of the sphere that holds particle i however it turns, µm. */
double nrw_doublets_reach_um(const nrw_world *world, size_t i);

/* Fills the lobes' centres from middles and axes. */
void nrw_doublets_place_lobes(nrw_world *world);

/* What imaging sees of lobes, put over what it sees of the middles: the largest cluster
 * (lobes closer than 1.5 of their diameters are joined) and the visible area. radii
 * (n, in; 2n scratch) µm, marks (n, out; 2n scratch). */
void nrw_doublets_measure(nrw_world *world, nrw_morphology_work *work, double *radii_um,
                          double smallest_visible_um2, nrw_morphology *seen, uint8_t *marks);
void nrw_doublets_axis(const nrw_world *world, size_t i, float axis[3]);
/* fA·m², at the last step's beginning. */
nrw_vec3 nrw_doublets_moment(const nrw_world *world, size_t i);

/* What the drive does in a step from t_s (since its beginning) on; may shorten *h_s. */
void nrw_doublets_step_length(const nrw_world *world, const nrw_field *field, double *h_s);
void nrw_doublets_excite(nrw_world *world, const nrw_field *field, double phase_rad,
                         nrw_excitation *excitation);

/* nrw_world_step for doublets. */
nrw_status nrw_doublets_step(nrw_world *world, const nrw_excitation *excitation, double h_s,
                             double *taken_s, nrw_errors *errors);

/* --- parts of a step ---------------------------------------------------------- */

/* Moments, dipole forces, torques and fields of all lobes at the present places. */
void nrw_doublets_pair_forces(nrw_world *world, const nrw_excitation *excitation);

/* Turns body i under the drive through h_s: fills axis, side, spin, mean torque. */
void nrw_doublets_turn(const nrw_world *world, size_t i, const nrw_excitation *excitation,
                       double h_s);

/* Makes the list anew when it is old; false: more pairs than fit. */
bool nrw_doublets_list(nrw_world *world);

/* Lubrication of touching lobes at the present places (5.9): brakes, and the torque of
 * the sliding of the last step; and once the spins are known, how those push sideways.
 * Added to the bodies' forces and torques. (5.10) */
void nrw_doublets_brake(nrw_world *world, const nrw_excitation *excitation);
void nrw_doublets_rub(nrw_world *world, const nrw_excitation *excitation);

/* Contacts of the predicted places, solved into moved; false: more than fit. */
bool nrw_doublets_find_contacts(nrw_world *world, const nrw_excitation *excitation, double h_s);
void nrw_doublets_solve_contacts(nrw_world *world, double h_s);

/* Largest overlap of lobes at the present places, of their distance. */
double nrw_doublets_overlap(const nrw_world *world);

#endif
