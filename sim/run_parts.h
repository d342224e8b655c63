/* Inside of a run: its state, and its parts, one a file. */
#ifndef NRW_RUN_PARTS_H
#define NRW_RUN_PARTS_H

#include <stdint.h>

#include "control.h"
#include "excitation.h"
#include "leg_watch.h"
#include "run.h"
#include "world.h"

#define NRW_RUN_TIME_TOLERANCE_S 1e-9

typedef struct nrw_run_state {
    const nrw_scenario *scenario;
    const nrw_channel *channel;
    const nrw_schedule *schedule;
    const nrw_run_config *config;
    nrw_run_result *result;
    nrw_errors *errors;
    nrw_world *world;
    nrw_control control;
    nrw_morphology_work *morphology;
    uint8_t *in_largest;  /* (n) by the particle's number, as all in the result */
    uint8_t *stuck;       /* (n) likewise: stuck to a wall at the end */
    uint8_t *marks;       /* (n) the same in the world's order, as the next */
    double *radius_um;    /* (n) */
    size_t n_dots;        /* what imaging sees: particles, or lobes; room in marks, radius_um */
    nrw_observation seen; /* of the last frame, with imaging's noise */
    nrw_exciter exciter;
    double frame_s;      /* spacing of frames */
    uint64_t next_frame; /* index of the next one */
    uint64_t n_visible;
    double last_x, last_y, last_time_s;
    size_t last_n;
    double next_store_s;
    size_t frames_capacity, stored_capacity, visits_capacity, steering_capacity;
    double spin_sum;              /* ∫ mean spin along the drive's axis dt, rad */
    double least_held;            /* share inside the target since it was reached; NAN: not yet */
    double step_cap_s;            /* longest step for the time being; grows back after a failure */
    uint64_t n_steps, n_repeated; /* steps taken, and taken again because they failed */
    nrw_leg_watch watch;          /* what is seen of the leg in force */
} nrw_run_state;

/* --- run.c ------------------------------------------------------------------------- */

nrw_status nrw_run_out_of_memory(nrw_run_state *run);

/* Adds a warning once; equal sentences are not repeated. */
void nrw_run_warn(nrw_run_state *run, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

/* --- run_frame.c: what imaging sees ------------------------------------------------- */

/* The swarm as it is now, without imaging's noise; fills in_largest. */
nrw_observation nrw_run_observe(nrw_run_state *run);

/* A frame: what is seen of it, recorded and handed to the control. */
nrw_status nrw_run_take_frame(nrw_run_state *run);

/* Marks those inside the target, returns their share. */
double nrw_run_arrive(nrw_run_state *run);

/* How far along the route every particle has come. */
void nrw_run_note_furthest(nrw_run_state *run);

/* Stores the positions in the trajectory. */
nrw_status nrw_run_store_positions(nrw_run_state *run);

/* --- run_end.c ----------------------------------------------------------------------- */

/* Fills the result with the state at the end, and judges every particle's fate. */
nrw_status nrw_run_finish(nrw_run_state *run);

#endif
