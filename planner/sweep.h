/* Sweeps: which state, speed and cohesion each setting of the drive gives, on an
 * open floor after a standard gathering, with repeats (docs/sweep.md). */
#ifndef NRW_SWEEP_H
#define NRW_SWEEP_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include "checkpoint.h"
#include "result.h"
#include "run.h"
#include "scenario.h"
#include "state.h"
#include "store.h"

typedef enum nrw_sweep_way { NRW_SWEEP_ALONE, NRW_SWEEP_UP, NRW_SWEEP_DOWN } nrw_sweep_way;

typedef struct nrw_sweep_config {
    uint64_t seed;
    nrw_model model;
    bool both_ways; /* the last key goes up through its values and down again in one run */
    nrw_state_limits limits;
    nrw_checkpoint *checkpoint; /* NULL: none; borrowed */
    /* called with runs done; true stops the sweep; may be NULL */
    bool (*progress)(void *context, size_t done, size_t of);
    void *context;
    bool (*interrupted)(void); /* asked within runs, from any thread; may be NULL */
} nrw_sweep_config;

nrw_sweep_config nrw_sweep_config_defaults(void);

/* One repeat of one row. */
typedef struct nrw_sweep_repeat {
    bool done, failed; /* failed: stopped by a numerical failure; no features */
    nrw_state state;
    nrw_state_features seen;
    double gather_s; /* until gathered; NAN: not within the time for it */
    char *failure;   /* of its run; NULL: none; owned */
} nrw_sweep_repeat;

/* One point of the grid, gone through one way. */
typedef struct nrw_sweep_row {
    size_t point; /* index in the grid, the last key the fastest */
    nrw_sweep_way way;
    bool beyond_rig;                  /* not run */
    size_t n_done, n_failed, n_agree; /* repeats; those that share the state */
    nrw_state state;                  /* of more than half of the repeats done, else unclassified */
    nrw_state_features mean;          /* over the repeats done */
    double cohesion_least, speed_deviation_um_s, gather_s;
} nrw_sweep_row;

/* A state map. Owned: clear. */
typedef struct nrw_sweep_map {
    const nrw_scenario *scenario; /* borrowed; its sweep block is what was varied */
    size_t n_points, n_repeats;
    bool both_ways;
    nrw_sweep_row *rows; /* (n_rows): by point; both ways: by point, up before down */
    size_t n_rows;
    nrw_sweep_repeat *repeats; /* (n_rows x n_repeats) */
    size_t n_beyond_rig, n_failed, n_not_gathered;
    char failure[256]; /* where and why the first that failed did; "" if none did */
    uint64_t *seeds;   /* (n_repeats) the same for every point */
} nrw_sweep_map;

/* Runs the sweep of a scenario that has one. NRW_OK; NRW_REFUSED when the rig can
 * give none of the points, or not the gathering; NRW_INTERRUPTED with what was
 * done; NRW_DIVERGED when every repeat failed; failures. The map depends on scenario, seed, model
 * and both_ways alone. Clear it in every case. */
nrw_status nrw_sweep_run(const nrw_scenario *scenario, const nrw_sweep_config *config,
                         nrw_sweep_map *map, nrw_errors *errors);
void nrw_sweep_map_clear(nrw_sweep_map *map);

/* Value of key k (index into the sweep's keys) at a point. */
double nrw_sweep_value(const nrw_sweep *sweep, size_t point, size_t k);

/* Values of the last key: points of a line. */
size_t nrw_sweep_per_line(const nrw_sweep *sweep);

/* Fills the rows' states and means from the repeats. */
void nrw_sweep_summarise(nrw_sweep_map *map);

/* Row of a point and way; NULL: there is none. */
const nrw_sweep_row *nrw_sweep_find(const nrw_sweep_map *map, size_t point, nrw_sweep_way way);

const char *nrw_sweep_way_name(nrw_sweep_way way); /* "alone", "up", "down" */

/* Where cohesion falls below the limit along the last key: successive values, in
 * the order of the file, the one at or above it and the next below. */
typedef struct nrw_cohesion_edge {
    size_t last_held, first_lost; /* points */
    nrw_sweep_way way;
} nrw_cohesion_edge;

/* All of them: edges (at most `most`), in order of points. */
size_t nrw_sweep_edges(const nrw_sweep_map *map, const nrw_state_limits *limits,
                       nrw_cohesion_edge *edges, size_t most);

/* --- what it leaves behind (sweep_figures.c) ------------------------------------ */

/* sweep.csv: a row for each row of the map: the keys' values, `way`, `state`,
 * `agreement`, `repeats`, `failed`, the features, `cohesion_least`,
 * `speed_deviation_um_s`, `gather_time_s`. repeats.csv: the same for each repeat,
 * with `repeat` and `seed`. */
nrw_status nrw_sweep_csv(nrw_store *store, const nrw_sweep_map *map, nrw_errors *errors);

/* The contract's figures of `sweep`, and ours: `grid_points`, `repeats`,
 * `cohesion_lost`, `hysteresis`, `agreement`. */
void nrw_sweep_figures(nrw_result *result, const nrw_sweep_map *map);

/* The same in words, with the map as a table. */
void nrw_sweep_describe(const nrw_sweep_map *map, FILE *stream);

/* "frequency_Hz 50, tilt_deg 30": the values of the first n keys at a point. */
void nrw_sweep_point_words(const nrw_sweep *sweep, size_t point, size_t n, char *text, size_t size);

#endif
