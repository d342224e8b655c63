/* One simulated run of a schedule. */
#ifndef NRW_RUN_H
#define NRW_RUN_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "channel.h"
#include "error.h"
#include "morphology.h"
#include "scenario.h"
#include "schedule.h"

/* The longest step where nothing asks for shorter ones: four a frame of 10 Hz. */
#define NRW_STEP_MAX_S 0.025

typedef enum nrw_model { NRW_MODEL_AUTO, NRW_MODEL_AVERAGED, NRW_MODEL_RESOLVED } nrw_model;

typedef enum nrw_fate {
    NRW_FATE_WALL,
    NRW_FATE_WASHED_OUT,
    NRW_FATE_DELIVERED,
    NRW_FATE_LEFT_BEHIND,
    NRW_FATE_IN_TRANSIT,
    NRW_FATE_SCATTERED,
    NRW_N_FATES
} nrw_fate;

/* Causes of a loss (contract: lost_by_place). */
typedef enum nrw_loss_cause {
    NRW_LOSS_PLUGGED,
    NRW_LOSS_POCKET,
    NRW_LOSS_IN_THROAT,
    NRW_LOSS_WRONG_BRANCH,
    NRW_LOSS_PAST_BUT_APART,
    NRW_LOSS_STUCK,
    NRW_LOSS_SWEPT,
    NRW_LOSS_OTHER,
    NRW_N_LOSS_CAUSES
} nrw_loss_cause;

/* Why a leg ended. */
typedef enum nrw_leg_end {
    NRW_LEG_CONDITION,
    NRW_LEG_TIMEOUT,
    NRW_LEG_STALL,
    NRW_LEG_DEADLINE,
    NRW_LEG_STOPPED /* the run stopped: interrupt or numerical failure */
} nrw_leg_end;

/* Factors of one batch on nominal parameters; 1 everywhere is nominal. */
typedef struct nrw_draw {
    double moment, viscosity, rolling, pair_flow;
} nrw_draw;

/* Called now and then from the running thread with simulated time done; return
 * true to stop the run (it then ends as NRW_INTERRUPTED with what was done). */
typedef bool (*nrw_progress)(void *context, double simulated_s, double of_s);

typedef struct nrw_run_config {
    uint64_t seed;
    nrw_model model;
    nrw_draw draw;
    double keep_fraction;      /* (0, 1]: simulate only this share of the particles (planner) */
    double step_max_s;         /* 0: the default NRW_STEP_MAX_S */
    bool record;               /* keep frames (morphology, trajectory) in the result */
    double trajectory_every_s; /* spacing of stored positions; 0: every frame */
    nrw_progress progress;     /* may be NULL */
    void *progress_context;
} nrw_run_config;

typedef struct nrw_frame {
    double time_s;
    int leg; /* index into the schedule */
    double heading_rad;
    double speed_um_s; /* of the centroid since the last frame */
    nrw_morphology seen;
} nrw_frame;

/* What a run saw of a leg, for judging what the model assumes (validity.h). NAN: not seen. */
typedef struct nrw_leg_seen {
    double fastest_um_s;      /* the centroid's largest speed over 2 s */
    double highest_um;        /* top of the highest particle at any frame */
    double area_fraction;     /* largest: of the particles in the ellipse of the swarm */
    double rear_um, front_um; /* stretch of the route that the swarm was on */
    double largest_overlap;   /* of two particles, over a diameter */
} nrw_leg_seen;

enum { NRW_LAYERS_TOLD = 4 };

/* Means over a leg's frames (leg_tally.h). */
typedef struct nrw_leg_tally {
    size_t n_frames, n_screened;         /* frames; those with side walls near */
    double pair_flow_share;              /* that side walls leave; NAN: not screened */
    double layers_mean;                  /* of the particles' layers, from 1; NAN: no floor */
    int layers_most;                     /* the highest at any frame; 0: no floor */
    double layer_share[NRW_LAYERS_TOLD]; /* of the particles in each; the last: and above */
} nrw_leg_tally;

typedef struct nrw_leg_visit {
    int leg;
    double start_s, end_s;
    nrw_leg_end end;
    nrw_model model; /* the one used: averaged or resolved */
    double mason_number, cycle_displacement, shedding_number;
    nrw_leg_seen seen;
    nrw_leg_tally tally;
} nrw_leg_visit;

/* Where the drive headed from a time on, until the next one: for playing a run
 * on a rig (planner/waveform.h). */
typedef struct nrw_steering {
    double time_s;
    int visit;             /* index into visits */
    double heading_rad[2]; /* of the main and the other setting, without wobble */
    double tilt_deg[2];    /* eased */
} nrw_steering;

typedef struct nrw_loss_place {
    char place[NRW_NAME_SIZE * 2]; /* e.g. "vessel mouth-end" or "throat 1" */
    double at_um[2];               /* mean position of those lost there */
    nrw_loss_cause cause;
    double fraction;
} nrw_loss_place;

/* Everything a run yields. Owned; clear with nrw_run_result_clear. Filled as
 * far as the run got even when it fails or is interrupted. */
typedef struct nrw_run_result {
    size_t n_particles;
    double *x_um, *y_um, *z_um;             /* (n) final centres */
    double *moment_x, *moment_y, *moment_z; /* (n) fA·m² at the end */
    double *radius_um;                      /* (n) */
    nrw_fate *fates;                        /* (n) */
    uint8_t *causes;                        /* (n) nrw_loss_cause of those not delivered */
    uint8_t *gathered; /* (n) 1: in the largest cluster when the first leg ended (the run, if
                          it never did) */
    uint8_t *arrived;  /* (n) 1: inside the target circle at some frame, or at the end */
    double fate_fraction[NRW_N_FATES];
    nrw_loss_place *losses;
    size_t n_losses;

    double time_s;           /* simulated */
    double time_to_target_s; /* first frame with goal.fraction_min inside the target; NAN: never */
    double held_fraction;    /* least share inside the target at frames from then until
                                goal.hold_s later; NAN: the run ended before that */
    double *furthest_um;     /* (n) furthest position along the route reached, at frames */
    nrw_morphology final;
    double path_um; /* length of the centroid's path */
    double mean_speed_um_s, mean_spin_Hz, visible_fraction_of_time;
    uint64_t steps, pair_interactions;
    double largest_overlap; /* of diameters, over the run */
    double gap_um;          /* start gap under the first particle */

    nrw_frame *frames; /* (n_frames), if recorded */
    size_t n_frames;
    nrw_leg_visit *visits; /* (n_visits) */
    size_t n_visits;
    nrw_steering *steering; /* (n_steering), if recorded: one each time it changed */
    size_t n_steering;
    float *trajectory_um;      /* (n_stored x n x 3), if recorded */
    float *trajectory_axis;    /* (n_stored x n x 3) unit axes of doublets; NULL for spheres */
    double *trajectory_time_s; /* (n_stored) */
    size_t n_stored;

    char **warnings; /* (n_warnings) sentences, owned */
    size_t n_warnings;
} nrw_run_result;

nrw_run_config nrw_run_config_defaults(void);

/* Runs a schedule with the field that it asks for (whether the rig can give it is
 * planner/rig.h's business). Returns NRW_OK, NRW_REFUSED or NRW_BAD_INPUT (the
 * particles can't be placed; NRW_REFUSED also for the averaged model with a drive of mode
 * sampled), NRW_DIVERGED (what and where in `errors`; the result holds what was
 * done) or NRW_INTERRUPTED. Deterministic in (inputs, seed, config). Thread
 * safe: runs share only the const inputs. Cost O(n²) per step. */
nrw_status nrw_run(const nrw_scenario *scenario, const nrw_channel *channel,
                   const nrw_schedule *schedule, const nrw_run_config *config,
                   nrw_run_result *result, nrw_errors *errors);
void nrw_run_result_clear(nrw_run_result *result);

/* The regime numbers of one setting (docs/physics.md, section 7). */
typedef struct nrw_regime {
    double moment_fAm2;
    double mason_number;       /* 1/N_b */
    double cycle_displacement; /* N_b = 0.3 m²/(d⁵ ξ f) */
    double shedding_number;    /* Λ = aΩ sin δ / v_c */
    double spin_Hz;            /* mean, near the floor, along the spin axis */
    double lone_speed_um_s;    /* rolling speed of a lone particle, with rolling_factor */
    double rim_speed_um_s;     /* aΩ sin δ: that of rolling without slip */
    double step_out_Hz;        /* of a permanent moment or a remanent part, near the floor; NAN
                                  without */
    nrw_model recommended;
    char reason[160];
} nrw_regime;

/* Regime of a setting in a scenario with factors `draw` (NULL: nominal). */
nrw_regime nrw_regime_of(const nrw_scenario *scenario, const nrw_drive_setting *setting,
                         const nrw_draw *draw);

/* A lone nominal particle: drag in unbounded fluid (doublets: mean over directions),
 * pN·s/µm; the frequency up to which it follows a turning field there (NAN for induced
 * spheres, which follow none); the gap under it, µm (NAN without a floor). */
typedef struct nrw_lone_particle {
    double drag_pN_s_um, step_out_Hz, gap_um;
} nrw_lone_particle;
nrw_lone_particle nrw_lone_particle_of(const nrw_scenario *scenario, double field_mT);

/* λ = 0.05 m²/(d³ kT) at field_mT. */
double nrw_thermal_coupling(const nrw_scenario *scenario, double field_mT);

const char *nrw_fate_name(nrw_fate fate);
const char *nrw_loss_cause_name(nrw_loss_cause cause);
const char *nrw_leg_end_name(nrw_leg_end end);
const char *nrw_model_name(nrw_model model);

#endif
