/* The world of one run: the particles' state and everything sized once for
 * stepping it. Constant model (scenario, channel, body) apart from mutable data. */
#ifndef NRW_WORLD_H
#define NRW_WORLD_H

#include <stdint.h>

#include "arena.h"
#include "body.h"
#include "channel.h"
#include "contact.h"
#include "kernel.h"
#include "run.h"
#include "vec3.h"

/* Substeps that share one evaluation of the smooth forces, at most. */
enum { NRW_MAX_SUBSTEPS = 64 };

/* What the field does to a nominal particle during a step. */
typedef struct nrw_excitation {
    nrw_sym3 tensor;   /* ⟨m mᵀ⟩ over the step, (fA·m²)² */
    nrw_vec3 torque;   /* ⟨m × B⟩ over the step, pN·µm */
    double size2;      /* ⟨m·m⟩, for the contact gap */
    int n_substeps;    /* 1: only the averages are used */
    nrw_sym3 substep_tensors[NRW_MAX_SUBSTEPS]; /* (n_substeps) mean over each */
    nrw_vec3 field;    /* permanent moments, resolved: B in mT at the middle of the step */
} nrw_excitation;

typedef struct nrw_world {
    const nrw_scenario *scenario; /* borrowed */
    const nrw_channel *channel;   /* borrowed */
    nrw_body body;
    double rolling_factor, pair_flow_factor, brake_factor;
    uint64_t seed;
    bool own_moments; /* permanent moments in the resolved model */

    size_t n, padded;
    /* state */
    double *x, *y, *z;      /* (n) centres, µm */
    double *ux, *uy, *uz;   /* (n) directions of permanent moments */
    double time_s;
    uint32_t step;          /* counter of the noise */
    /* constants per particle */
    float *radius;          /* (padded) µm */
    float *moment;          /* (padded) moment over the nominal one; 0 in the padding */
    float *inverse_drag;    /* (n) 1/ξ_i */
    float largest_radius;

    /* scratch of a step, all (padded) */
    float *fx0, *fy0, *fz0; /* positions relative to the origin, at the step's beginning */
    float *px, *py, *pz;    /* being solved */
    float *delta;           /* gap over radius */
    float *mt, *mz, *mr, *ms, *rolling, *dmz;
    float *move_xy, *move_z;
    float *brake[NRW_N_TENSOR]; /* Σ_j e (1 − r̂ r̂ᵀ) over contacts */
    float *spin_x, *spin_y, *spin_z; /* 1/s */
    float *noise;           /* (4 × padded) normals */
    float *vx, *vy, *vz;    /* smooth velocity, µm/s */
    float *old_vx, *old_vy, *old_vz;
    bool has_old_velocity;
    double old_step_s;
    nrw_pair_task task;
    float *own_mx, *own_my, *own_mz;
    nrw_wall_contact *walls; /* (n) */
    nrw_floor_contact floor;
    nrw_contacts contacts;
    double origin_x, origin_y;
    nrw_arena arena;

    /* counts over the run */
    uint64_t n_steps, n_pair_interactions, n_sweeps;
    double largest_overlap;
    double spin_sum_Hz_s;    /* ∫ mean spin along the drive's axis dt / 2π */
    double substep_s;        /* length of the last substep */
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

/* Advances by at most h_s, returns the time taken in *taken_s (less when the
 * error rule asks for it). NRW_DIVERGED with the reason in `errors` when the
 * state is no longer to be trusted; the state is then that before the step. */
nrw_status nrw_world_step(nrw_world *world, const nrw_excitation *excitation, double h_s,
                          double *taken_s, nrw_errors *errors);

/* Call when the drive changes abruptly: the next step has no past to compare
 * its velocities with. */
void nrw_world_drive_changed(nrw_world *world);

#endif
