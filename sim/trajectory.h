/* The files that one run leaves in a results folder: final.csv, morphology.csv
 * and trajectory.h5 (contract section 4; docs/results.md says what each column
 * and element means). */
#ifndef NRW_TRAJECTORY_H
#define NRW_TRAJECTORY_H

#include "error.h"
#include "run.h"
#include "scenario.h"
#include "schedule.h"
#include "store.h"

/* final.csv: one row a particle, by id. */
nrw_status nrw_store_final_csv(nrw_store *store, const nrw_run_result *run, nrw_errors *errors);

/* morphology.csv: one row an imaging frame. */
nrw_status nrw_store_morphology_csv(nrw_store *store, const nrw_schedule *schedule,
                                    const nrw_run_result *run, nrw_errors *errors);

/* trajectory.h5: H5MD 1.1 (de Buyl et al. 2014, Comput. Phys. Commun. 185:1546),
 * float32 positions, compressed; the same run gives the same bytes. `creator`
 * is the program's version. The file is made in memory and written like any
 * other, so that a full disk can't upset the HDF5 library; memory: about the
 * size of the file. HDF5 isn't thread safe: call this (and
 * nrw_run_result_load) from one thread of the process at a time. */
nrw_status nrw_store_trajectory(nrw_store *store, const nrw_scenario *scenario,
                                const nrw_run_result *run, const char *creator, nrw_errors *errors);

/* All of the above. */
nrw_status nrw_store_run(nrw_store *store, const nrw_scenario *scenario,
                         const nrw_schedule *schedule, const nrw_run_result *run,
                         const char *creator, nrw_errors *errors);

/* Reads back what nrw_store_run and nrw_result_run_figures wrote, for remaking a
 * report: particles, fates, losses, legs, frames, trajectory, figures, warnings.
 * Not restored: nrw_morphology's rear_x_um, rear_y_um, visible_area_um2 of the
 * frames (NAN). Fails with NRW_IO_FAILED or NRW_BAD_INPUT. The caller clears
 * *run. */
nrw_status nrw_run_result_load(const char *dir, const nrw_schedule *schedule, nrw_run_result *run,
                               nrw_errors *errors);

#endif
