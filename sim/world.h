/* The world of one run: the particles' state and everything sized once for
 * stepping it. Constant model (scenario, channel, body) apart from mutable data. */
#ifndef NRW_WORLD_H
#define NRW_WORLD_H

#include <stdint.h>

#include "arena.h"
#include "body.h"
#include "channel.h"
#include "contact.h"
#include "far_field.h"
#include "kernel.h"
#include "run.h"
#include "vec3.h"

/* Where rows without a particle stand (and, negative, "no neighbour"): far from any
 * map and from each other, so that their terms vanish, yet without underflow. */
#define NRW_FAR_AWAY_UM 2e6f

/* Substeps that share one evaluation of the smooth forces, at most. */
enum { NRW_MAX_SUBSTEPS = 64 };

/* What the field does to a nominal particle during a step. */
typedef struct nrw_excitation {
    nrw_sym3 tensor;                            /* ⟨m mᵀ⟩ over the step, (fA·m²)² */
    nrw_vec3 torque;                            /* ⟨m × B⟩ over the step, pN·µm */
    double size2;                               /* ⟨m·m⟩, for the contact gap */
    int n_substeps;                             /* 1: only the averages are used */
    nrw_sym3 substep_tensors[NRW_MAX_SUBSTEPS]; /* (n_substeps) mean over each */
    /* own moments, and doublets: B in mT at the middle of the step; the field that the
     * moment of induced doublets follows; the induced part of own moments, fA·m² */
    nrw_vec3 field, lagged, induced;
    /* a fixed part that the averages are of (nrw_average): else 0 */
    nrw_vec3 lone_spin, lag_torque;
    double hold_pN_um, rate_rad_s;
    /* mutual induction: the field, and the phase of the step's middle, NAN for averages */
    nrw_field drive;
    double phase_rad;
} nrw_excitation;

/* Where a particle last looked for the side walls (screen.h): from there the nearest is
 * near µm away, against `away`, and the one across far µm along it. */
typedef struct nrw_wall_view {
    double x, y, away[2], near, far;
} nrw_wall_view;

typedef struct nrw_world {
    const nrw_scenario *scenario; /* borrowed */
    const nrw_channel *channel;   /* borrowed */
    nrw_body body;
    double rolling_factor, pair_flow_factor, brake_factor;
    uint64_t seed;
    bool own_moments; /* moments with a fixed part in the resolved model: each is followed */
    struct nrw_mutual *mutual;     /* owned; NULL: no mutual induction (mutual.h) */
    struct nrw_doublets *doublets; /* owned; NULL: spheres (doublet_world.h) */

    size_t n, padded;    /* particles in the channel; rows */
    size_t n_made;       /* with those that left through an end: they stand behind the others,
                            where and as they left, and nothing acts on them */
    uint32_t *ids;       /* (n_made) number of each particle in the scenario */
    bool by_place;       /* large swarms are kept by place (world_order.h) ... */
    uint64_t next_order; /* ... and sorted again when so many contact lists were made */
    /* state */
    double *x, *y, *z;    /* (n) centres, µm */
    double *ux, *uy, *uz; /* (n) directions of the moments' fixed parts */
    double *kept[6];      /* (n) copies of the six arrays above */
    double kept_time_s, kept_overlap;
    double time_s;
    uint32_t step; /* counter of the noise */
    /* constants per particle */
    float *radius;       /* (padded) µm */
    float *moment;       /* (padded) moment over the nominal one; 0 in the padding */
    float *inverse_drag; /* (padded) 1/ξ_i */
    float *ceiling;      /* (padded) highest centre, µm */
    float largest_radius;

    /* Scratch of a step, (padded), by row: contacts.order[row] is the particle. */
    float *row_radius, *row_moment, *row_inverse_drag, *row_ceiling;
    float *fx0, *fy0, *fz0; /* positions relative to the origin, at the step's beginning */
    float *px, *py, *pz;    /* the same at the substep's beginning */
    float *places;          /* ((padded + 1) x 4) the same and the moment, row by row */
    float *delta;           /* gap over radius */
    float *mt, *mz, *mr, *ms, *rolling, *dmz;
    float *along, *across;              /* mobilities along and across the floor, µm/s per pN */
    float *brake[NRW_N_TENSOR];         /* Σ_j e (1 − r̂ r̂ᵀ) over contacts */
    float *excess_sum;                  /* Σ_j e over contacts */
    float *moves;                       /* ((padded + 1) x 4) moved_x, y, z, row by row */
    float *slide_x, *slide_y, *slide_z; /* torque of sliding over 8πηa³, 1/s */
    float *spin_x, *spin_y, *spin_z;    /* 1/s */
    float *spins;                       /* ((padded + 1) x 4) the same, row by row */
    float *noise;                       /* (4 × padded) normals, by particle */
    double carried_um_s;                /* the fastest of these: */
    float *flow_x, *flow_y;          /* how the channel's flow carries a free sphere, µm/s, and */
    float *turn_x, *turn_y, *turn_z; /* turns it, 1/s; 0 at rest */
    float *base_x, *base_y, *base_z; /* velocity without close neighbours' dipoles, µm/s */
    float *vx, *vy, *vz;             /* smooth velocity, µm/s */
    float *old_x, *old_y, *old_z;    /* (n) base velocity of the step before, by particle */
    float *moved_x, *moved_y, *moved_z; /* (n) mean velocity of the last step, by particle */
    bool has_old_velocity;
    double old_step_s;
    double own_allowed_s; /* own moments: what the error rule allows after the last step */
    float *qx, *qy, *tz;  /* torques on the fluid, see nrw_pair_task */
    nrw_pair_task task;
    nrw_near_task near;
    nrw_contact_solve solve;
    nrw_rows_task rows;                 /* the same arrays, as the kernels of a step take them */
    float *sum_x, *sum_y, *sum_z;       /* displacements since the step's beginning, µm */
    float *start_x, *start_y, *start_z; /* those until then since the list was made */
    float *own_mx, *own_my, *own_mz;
    double *field_x, *field_y, *field_z; /* (n) field of the others, mT, by particle */
    float *free_x, *free_y, *free_z, *move_xy, *move_z;
    float *floor_force, *floor_slope, *floor_z, *floor_give, *ceiling_z;
    float *wall_x, *wall_y, *wall_gap, *wall_give;
    float *wall_free2; /* so far, squared, a row may go in the step before walls may be near */
    double *seen_x, *seen_y, *seen_wall; /* (n) place where the distance to the side walls was
                                            last looked up, and that distance, µm */
    float *wall_mt[3], *wall_scratch[6], *wall_slope; /* of wall_drag.h */
    float *strayed;              /* (groups of NRW_CONTACT_GROUP rows) scratch of stray.h */
    uint8_t *stuck;              /* (n) by particle, 1: stuck to a side wall (adhesion.h) */
    nrw_wall_view *views;        /* (n) by particle; x NAN: not yet */
    float *wall_near, *wall_far; /* distances to the walls now, µm */
    float *share;                /* of the pair flow that the walls leave */
    nrw_contacts contacts;
    nrw_far_field far; /* for swarms that are worth one */
    double origin_x, origin_y, origin_z;
    nrw_arena arena;

    /* counts over the run */
    uint64_t n_steps; /* substeps */
    uint64_t n_pair_interactions, n_sweeps;
    double largest_overlap;
    double spin_sum_Hz_s; /* ∫ mean spin along the drive's axis dt / 2π */
    double substep_s;     /* length of the last substep */
} nrw_world;

/* Places the particles (positions_um, or at random in the release circle
 * without overlap) and draws sizes and moments from the seed. NRW_REFUSED when
 * they don't fit, NRW_BAD_INPUT when given positions overlap each other or a
 * wall. `count` particles are made (at most the scenario's). */
nrw_status nrw_world_create(const nrw_scenario *scenario, const nrw_channel *channel,
                            const nrw_draw *draw, uint64_t seed, size_t count, bool own_moments,
                            nrw_world **world, nrw_errors *errors);
void nrw_world_destroy(nrw_world *world);

/* Fills x, y (n) with start positions in the circle, at least `apart` µm from
 * each other and `clear` µm from the walls; false when they don't fit. */
bool nrw_place_in_circle(const nrw_channel *channel, const double centre[2], double radius_um,
                         double apart_um, double clear_um, uint64_t seed, size_t n, double *x,
                         double *y);

/* Height of a particle's centre at rest. */
double nrw_world_rest_height_um(const nrw_world *world, double radius_um);

/* Takes those that passed an inlet's or outlet's end out of the channel. */
void nrw_world_take_out(nrw_world *world);

/* Advances by at most h_s, returns the time taken in *taken_s (less when the
 * error rule asks for it). NRW_DIVERGED with the reason in `errors` when the
 * state is no longer to be trusted; the state is then that before the step. */
nrw_status nrw_world_step(nrw_world *world, const nrw_excitation *excitation, double h_s,
                          double *taken_s, nrw_errors *errors);

/* The longest time over which the dipole forces of close neighbours, of mean square
 * moment size2 in (fA·m²)², can be held without becoming unstable, s: their stiffness is
 * about 0.3 ⟨m²⟩/d⁵ a pair. nrw_world_step keeps to its own, finer bound by substeps,
 * except for own moments, whose steps the caller must keep shorter: for them also what the
 * error rule allows after the last step. O(n). */
double nrw_world_stable_s(const nrw_world *world, double size2);

/* Keeps the state as it is now, and goes back to it: a step that failed is taken
 * again, shorter. One state is kept. */
void nrw_world_keep(nrw_world *world);
void nrw_world_go_back(nrw_world *world);

/* Call when the drive changes abruptly: the next step has no past to compare
 * its velocities with. */
void nrw_world_drive_changed(nrw_world *world);

#endif
