/* Drives in files: read from a YAML value, written as one (contract section 3). */
#ifndef NRW_DRIVE_FILE_H
#define NRW_DRIVE_FILE_H

#include "scenario.h"
#include "yaml_out.h"
#include "yaml_read.h"

/* Reads a drive: keys of its mode, their ranges, headings toward nodes of the
 * map. `vary` (may be NULL) is a sweep's mapping whose keys need not stand in
 * the drive. All that is wrong is reported; false then, and *drive holds what
 * could be read. What it holds is as the writer below writes it: sense is left
 * at a tilt of 90 degrees, and keys of other modes have their defaults. */
bool nrw_drive_read(nrw_yaml_doc *doc, const nrw_yaml_node *node, const nrw_map *map,
                    const nrw_yaml_node *vary, nrw_drive *drive);

/* Writes a drive as a mapping in one line. Reading it gives the same drive to
 * the last bit, except for values of keys that its mode doesn't have. */
void nrw_drive_write(nrw_yaml_out *out, const nrw_drive *drive);

#endif
