/* A made-up run: what a passage through one throat may look like, drawn with
 * closed formulas and no simulation, for tests of files and pictures. */
#ifndef EXAMPLE_RUN_H
#define EXAMPLE_RUN_H

#include "run.h"
#include "schedule.h"

typedef struct example_run {
    nrw_schedule schedule; /* three legs; the scenario's nodes are start, gate, goal */
    nrw_run_result run;
} example_run;

/* The scenario that it belongs to, as YAML. */
extern const char example_scenario[];

/* A small one (40 particles, 60 frames), and one of any size. */
void example_run_make(example_run *example);
void example_run_make_sized(example_run *example, size_t n_particles, size_t n_frames);
void example_run_clear(example_run *example);

#endif
