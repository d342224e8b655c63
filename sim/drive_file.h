/* Drives in files: read from a YAML value, written as one (contract section 3). */
#ifndef NRW_DRIVE_FILE_H
#define NRW_DRIVE_FILE_H

#include "scenario.h"
#include "yaml_out.h"
#include "yaml_read.h"

/* Where a reader gets the samples that a drive names. `open` returns what the drive
 * borrows, or NULL after it has reported what is wrong at `file`; sample_rate_Hz is 0
 * where the drive gives none. */
typedef struct nrw_samples_source {
    const nrw_samples *(*open)(void *context, nrw_yaml_doc *doc, const nrw_yaml_node *file,
                               double sample_rate_Hz);
    void *context;
} nrw_samples_source;

/* Reads a drive: keys of its mode, their ranges, headings toward nodes of the
 * map. `vary` (may be NULL) is a sweep's mapping whose keys need not stand in
 * the drive. Mode sampled is refused without a source (NULL). All that is wrong is reported; false
 * then, and *drive holds what could be read. What it holds is as the writer below writes it: sense
 * is left at a tilt of 90 degrees, and keys of other modes have their defaults. */
bool nrw_drive_read(nrw_yaml_doc *doc, const nrw_yaml_node *node, const nrw_map *map,
                    const nrw_yaml_node *vary, const nrw_samples_source *source, nrw_drive *drive);

/* That the moments can follow the slow controls of a drive that was read from `node`
 * (nrw_drive_too_quick). Reports where not; false then. */
bool nrw_drive_check_lag(nrw_yaml_doc *doc, const nrw_yaml_node *node, const nrw_drive *drive,
                         const nrw_particles *particles);

/* Writes a drive as a mapping in one line. Reading it gives the same drive to
 * the last bit, except for values of keys that its mode doesn't have. */
void nrw_drive_write(nrw_yaml_out *out, const nrw_drive *drive);

#endif
