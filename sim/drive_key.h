/* The keys of a drive in the files: which mode has which, and in what range. */
#ifndef NRW_DRIVE_KEY_H
#define NRW_DRIVE_KEY_H

#include "drive.h"
#include "yaml_read.h"

typedef enum nrw_drive_key_type {
    NRW_DRIVE_KEY_NUMBER, /* a double of nrw_drive_setting */
    NRW_DRIVE_KEY_VECTOR, /* an nrw_vec3 of it */
    NRW_DRIVE_KEY_OTHER
} nrw_drive_key_type;

#define NRW_DRIVE_MODE_BIT(mode) (1u << (unsigned)(mode))

typedef struct nrw_drive_key {
    const char *key;
    nrw_drive_key_type type;
    unsigned modes;    /* NRW_DRIVE_MODE_BIT of those that have it */
    unsigned required; /* of those that can't do without */
    size_t offset;     /* in nrw_drive_setting */
    nrw_yaml_range range;
} nrw_drive_key;

/* All keys, in the order in which they are written; a static table. */
const nrw_drive_key *nrw_drive_keys(size_t *n);
const nrw_drive_key *nrw_drive_key_find(const char *key);

/* Ranges of what stands inside `wobble` and `alternate`, and of a heading. */
#define NRW_WOBBLE_DEGREES NRW_FROM_TO(0.0, 180.0)
#define NRW_WOBBLE_PERIODS NRW_FROM_TO(0.0, 1e6)
#define NRW_ALTERNATE_SHARES NRW_BETWEEN(0.0, 1.0)
/* Every switch ends a step, so that shorter periods could not be worked through. */
#define NRW_ALTERNATE_PERIODS NRW_FROM_TO(1e-3, 1e6)
#define NRW_HEADING_DEGREES NRW_FROM_TO(-3600.0, 3600.0)

/* What an alternate drive of that mode starts from: the outer drive's values of
 * the keys that its mode has, the defaults of the others. */
nrw_drive_setting nrw_drive_inherit(const nrw_drive_setting *outer, nrw_drive_mode mode);

typedef enum nrw_drive_vary {
    NRW_DRIVE_VARY_GOOD,
    NRW_DRIVE_VARY_UNKNOWN,    /* no key of a drive */
    NRW_DRIVE_VARY_OTHER_MODE, /* a key, but not of this drive's mode (or it has no alternate) */
    NRW_DRIVE_VARY_NO_NUMBER   /* a key whose value is no single number */
} nrw_drive_vary;

/* Whether a sweep may vary that key of a drive, and in which range. Keys are
 * those whose value is a number: field_mT, ..., heading (degrees); inside,
 * "wobble.deg", "wobble.period_s", "alternate.share", "alternate.period_s" and
 * "alternate.drive.KEY". */
nrw_drive_vary nrw_drive_vary_key(const nrw_drive *drive, const char *key, nrw_yaml_range *range);

/* Sets such a key. Where the alternate drive has the same value of it, it goes
 * along, as one that leaves the key out does. False, and nothing changed, if
 * nrw_drive_vary_key doesn't call the key good; ranges are not checked. */
bool nrw_drive_set_key(nrw_drive *drive, const char *key, double value);

#endif
