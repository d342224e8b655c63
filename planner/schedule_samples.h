/* Samples that a schedule's drives play: found, read, and copied along. */
#ifndef NRW_SCHEDULE_SAMPLES_H
#define NRW_SCHEDULE_SAMPLES_H

#include "../sim/drive_file.h"
#include "../sim/scenario.h"
#include "../sim/schedule.h"
#include "../sim/store.h"

/* What the reader of drives needs to find the samples that they name; borrowed. */
typedef struct nrw_samples_context {
    const char *schedule_path; /* relative paths start beside it */
    const nrw_scenario *scenario;
    nrw_schedule *schedule; /* gets and owns what is read */
} nrw_samples_context;

/* `open` of an nrw_samples_source, with an nrw_samples_context. Legs that name the same
 * file at the same rate share its samples. A file that isn't where it is named is looked
 * for beside the schedule by its name alone: there a results folder holds it. */
const nrw_samples *nrw_schedule_open_samples(void *context, nrw_yaml_doc *doc,
                                             const nrw_yaml_node *file, double sample_rate_Hz);

/* Copies the files of a schedule's samples into a results folder, each by its name alone,
 * those that are there already left out. NRW_OK, NRW_IO_FAILED, NRW_NO_MEMORY. */
nrw_status nrw_schedule_copy_samples(const nrw_schedule *schedule, nrw_store *store,
                                     nrw_errors *errors);

/* Digest of all samples of a schedule, "" without any: tells schedules apart whose text
 * is the same. */
void nrw_schedule_samples_digest(const nrw_schedule *schedule, char hex[65]);

#endif
