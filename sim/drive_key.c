#include "drive_key.h"

#include <string.h>

#define BIT(mode) NRW_DRIVE_MODE_BIT(NRW_DRIVE_##mode)
/* All but SAMPLED, which is played as it is: no heading, no wobble, no alternation. */
#define ALL                                                                                        \
    (BIT(ROTATING) | BIT(PRECESSING) | BIT(OSCILLATING) | BIT(STEADY) | BIT(OFF) | BIT(GENERAL))
#define WITH_FIELD (BIT(ROTATING) | BIT(PRECESSING) | BIT(OSCILLATING) | BIT(STEADY))
#define PERIODIC (BIT(ROTATING) | BIT(PRECESSING) | BIT(OSCILLATING))

#define NUMBER(key, modes, required, range)                                                        \
    {                                                                                              \
#key, NRW_DRIVE_KEY_NUMBER, (modes), (required), offsetof(nrw_drive_setting, key), range   \
    }
#define VECTOR(key, modes)                                                                         \
    {                                                                                              \
#key, NRW_DRIVE_KEY_VECTOR, (modes), 0, offsetof(nrw_drive_setting, key), FIELDS           \
    }
#define OTHER(key, modes, required)                                                                \
    {                                                                                              \
#key, NRW_DRIVE_KEY_OTHER, (modes), (required), 0,                                         \
        {                                                                                          \
            0.0, 0.0, false, false                                                                 \
        }                                                                                          \
    }
/* Fields up to 10 T, frequencies up to 1 MHz: far beyond any coil for a chip. */
#define FIELDS                                                                                     \
    {                                                                                              \
        -1e4, 1e4, false, false                                                                    \
    }

static const nrw_drive_key KEYS[] = {
    OTHER(mode, ALL | BIT(SAMPLED), 0),
    OTHER(file, BIT(SAMPLED), BIT(SAMPLED)),
    OTHER(sample_rate_Hz, BIT(SAMPLED), 0),
    NUMBER(tilt_deg, BIT(ROTATING), 0, NRW_FROM_TO(0.0, 90.0)),
    OTHER(sense, BIT(ROTATING), 0),
    OTHER(axis, BIT(PRECESSING), BIT(PRECESSING)),
    NUMBER(cone_deg, BIT(PRECESSING), BIT(PRECESSING), NRW_FROM_TO(0.0, 90.0)),
    NUMBER(elevation_deg, BIT(STEADY), 0, NRW_FROM_TO(-90.0, 90.0)),
    VECTOR(steady_mT, BIT(GENERAL)),
    VECTOR(cos_mT, BIT(GENERAL)),
    VECTOR(sin_mT, BIT(GENERAL)),
    NUMBER(field_mT, WITH_FIELD, WITH_FIELD, NRW_FROM_TO(0.0, 1e4)),
    NUMBER(bias_mT, BIT(OSCILLATING), 0, FIELDS),
    NUMBER(frequency_Hz, PERIODIC | BIT(GENERAL), PERIODIC, NRW_ABOVE_TO(0.0, 1e6)),
    OTHER(heading, ALL, 0),
    NUMBER(lookahead_um, ALL, 0, NRW_FROM_TO(0.0, 1e7)),
    NUMBER(ease_um, ALL, 0, NRW_FROM_TO(0.0, 1e7)),
    OTHER(steer_by, ALL, 0),
    OTHER(wobble, ALL, 0),
    OTHER(alternate, ALL, 0),
};

const nrw_drive_key *nrw_drive_keys(size_t *n)
{
    *n = sizeof KEYS / sizeof *KEYS;
    return KEYS;
}

const nrw_drive_key *nrw_drive_key_find(const char *key)
{
    for (size_t i = 0; i < sizeof KEYS / sizeof *KEYS; i++)
        if (strcmp(KEYS[i].key, key) == 0)
            return &KEYS[i];
    return NULL;
}

static size_t size_of(const nrw_drive_key *key)
{
    return key->type == NRW_DRIVE_KEY_VECTOR ? sizeof(nrw_vec3) : sizeof(double);
}

nrw_drive_setting nrw_drive_inherit(const nrw_drive_setting *outer, nrw_drive_mode mode)
{
    const nrw_drive_setting defaults = nrw_drive_setting_defaults();
    nrw_drive_setting setting = *outer;
    setting.mode = mode;
    for (size_t i = 0; i < sizeof KEYS / sizeof *KEYS; i++) {
        if (KEYS[i].type == NRW_DRIVE_KEY_OTHER || KEYS[i].modes & NRW_DRIVE_MODE_BIT(mode))
            continue;
        memcpy((char *)&setting + KEYS[i].offset, (const char *)&defaults + KEYS[i].offset,
               size_of(&KEYS[i]));
    }
    if (mode != NRW_DRIVE_ROTATING)
        setting.sense = defaults.sense;
    if (mode != NRW_DRIVE_PRECESSING)
        setting.axis = defaults.axis;
    return setting;
}

/* --- keys that a sweep varies ------------------------------------------------ */

static const char ALTERNATE_DRIVE[] = "alternate.drive.";

/* Numbers that stand inside a block. */
static const struct {
    const char *key;
    bool of_alternate;
    size_t offset; /* in nrw_drive if of_alternate, else in nrw_drive_setting */
    nrw_yaml_range range;
} INNER[] = {
    {"wobble.deg", false, offsetof(nrw_drive_setting, wobble_deg), NRW_WOBBLE_DEGREES},
    {"wobble.period_s", false, offsetof(nrw_drive_setting, wobble_period_s),
     NRW_ABOVE_TO(0.0, 1e6)},
    {"alternate.share", true, offsetof(nrw_drive, alternate_share), NRW_ALTERNATE_SHARES},
    {"alternate.period_s", true, offsetof(nrw_drive, alternate_period_s), NRW_ALTERNATE_PERIODS},
};

enum { N_INNER = sizeof INNER / sizeof *INNER };

static int find_inner(const char *key)
{
    for (int i = 0; i < N_INNER; i++)
        if (strcmp(INNER[i].key, key) == 0)
            return i;
    return -1;
}

static nrw_drive_vary vary_key_of(const nrw_drive_setting *setting, const char *key,
                                  nrw_yaml_range *range)
{
    const nrw_drive_key *found = nrw_drive_key_find(key);
    bool heading = strcmp(key, "heading") == 0;
    if (!found)
        return NRW_DRIVE_VARY_UNKNOWN;
    if (!(found->modes & NRW_DRIVE_MODE_BIT(setting->mode)) ||
        (heading && setting->mode == NRW_DRIVE_GENERAL))
        return NRW_DRIVE_VARY_OTHER_MODE;
    if (found->type != NRW_DRIVE_KEY_NUMBER && !heading)
        return NRW_DRIVE_VARY_NO_NUMBER;
    *range = heading ? (nrw_yaml_range)NRW_HEADING_DEGREES : found->range;
    return NRW_DRIVE_VARY_GOOD;
}

nrw_drive_vary nrw_drive_vary_key(const nrw_drive *drive, const char *key, nrw_yaml_range *range)
{
    const size_t prefix = sizeof ALTERNATE_DRIVE - 1;
    bool alternates = drive->alternate_share > 0.0;
    int inner = find_inner(key);
    if (inner >= 0) {
        *range = INNER[inner].range;
        return INNER[inner].of_alternate && !alternates ? NRW_DRIVE_VARY_OTHER_MODE
                                                        : NRW_DRIVE_VARY_GOOD;
    }
    if (strncmp(key, ALTERNATE_DRIVE, prefix) != 0)
        return vary_key_of(&drive->main, key, range);
    nrw_drive_vary vary = vary_key_of(&drive->other, key + prefix, range);
    return vary == NRW_DRIVE_VARY_GOOD && !alternates ? NRW_DRIVE_VARY_OTHER_MODE : vary;
}

static bool same_heading(const nrw_drive_setting *a, const nrw_drive_setting *b)
{
    return a->heading_kind == b->heading_kind && a->heading_node == b->heading_node &&
           a->heading_deg >= b->heading_deg && a->heading_deg <= b->heading_deg;
}

static void set_heading(nrw_drive_setting *setting, double value)
{
    setting->heading_kind = NRW_HEADING_FIXED;
    setting->heading_deg = value;
    setting->heading_node = -1;
    setting->heading_name[0] = '\0';
}

/* The number of a setting that a key (of a good kind, not the heading) means. */
static double *number_of(nrw_drive_setting *setting, const char *key)
{
    int inner = find_inner(key);
    size_t offset = inner >= 0 ? INNER[inner].offset : nrw_drive_key_find(key)->offset;
    return (double *)(void *)((char *)setting + offset);
}

bool nrw_drive_set_key(nrw_drive *drive, const char *key, double value)
{
    const size_t prefix = sizeof ALTERNATE_DRIVE - 1;
    nrw_yaml_range range;
    if (nrw_drive_vary_key(drive, key, &range) != NRW_DRIVE_VARY_GOOD)
        return false;
    int inner = find_inner(key);
    if (inner >= 0 && INNER[inner].of_alternate) {
        memcpy((char *)drive + INNER[inner].offset, &value, sizeof value);
        return true;
    }
    bool only_other = strncmp(key, ALTERNATE_DRIVE, prefix) == 0;
    const char *name = only_other ? key + prefix : key;
    const nrw_drive_key *found = nrw_drive_key_find(name);
    bool of_other = !found || found->modes & NRW_DRIVE_MODE_BIT(drive->other.mode);
    if (strcmp(name, "heading") == 0) {
        bool along = only_other || same_heading(&drive->main, &drive->other);
        if (!only_other)
            set_heading(&drive->main, value);
        if (along)
            set_heading(&drive->other, value);
        return true;
    }
    double *main = number_of(&drive->main, name), *other = number_of(&drive->other, name);
    bool along = only_other || (of_other && *other >= *main && *other <= *main);
    if (!only_other)
        *main = value;
    if (along)
        *other = value;
    return true;
}
