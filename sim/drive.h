/* The drive: what the coils are asked to do, and the field it gives.
 *
 * Every drive is B(t) = S + C cos 2πft + Q sin 2πft; the named modes are cases
 * of it, set up relative to a heading h in the plane (docs/physics.md,
 * section 2). Wobble and alternation act on top, slowly. */
#ifndef NRW_DRIVE_H
#define NRW_DRIVE_H

#include <stdbool.h>

#include "samples.h"
#include "units.h"

#define NRW_NAME_SIZE 64

typedef enum nrw_drive_mode {
    NRW_DRIVE_ROTATING,
    NRW_DRIVE_PRECESSING,
    NRW_DRIVE_OSCILLATING,
    NRW_DRIVE_STEADY,
    NRW_DRIVE_OFF,
    NRW_DRIVE_GENERAL,
    NRW_DRIVE_SAMPLED /* plays samples once, from the leg's start; no other key acts */
} nrw_drive_mode;

typedef enum nrw_sense { NRW_SENSE_LEFT, NRW_SENSE_RIGHT } nrw_sense;
typedef enum nrw_cone_axis { NRW_AXIS_ALONG, NRW_AXIS_ACROSS, NRW_AXIS_VERTICAL } nrw_cone_axis;
typedef enum nrw_heading_kind {
    NRW_HEADING_FIXED,     /* heading_deg, anticlockwise from +x */
    NRW_HEADING_NODE,      /* toward heading_node */
    NRW_HEADING_CENTRELINE /* toward the route's point ahead of the swarm */
} nrw_heading_kind;

/* One setting of the field, without alternation. Plain data, copied freely. */
typedef struct nrw_drive_setting {
    nrw_drive_mode mode;
    double field_mT;
    double frequency_Hz;
    double tilt_deg;                    /* rotating: 0 in plane ... 90 rolling */
    nrw_sense sense;                    /* rotating */
    nrw_cone_axis axis;                 /* precessing */
    double cone_deg;                    /* precessing: half-angle */
    double bias_mT;                     /* oscillating: steady part along p */
    double elevation_deg;               /* steady: above the plane */
    nrw_vec3 steady_mT, cos_mT, sin_mT; /* general: in the map's frame */
    const nrw_samples *samples;         /* sampled: borrowed from the schedule that it stands in */
    double sample_rate_Hz; /* sampled: as the file gives it; 0: the samples' file knows */

    nrw_heading_kind heading_kind;
    double heading_deg;
    int heading_node;                 /* index into the scenario's nodes, -1: none */
    char heading_name[NRW_NAME_SIZE]; /* name of that node, "" otherwise */
    double lookahead_um;              /* centreline; 0: one gathered diameter */
    double ease_um;                   /* node: distance inside which tilt falls; 0: none */
    bool steer_by_rear;               /* feedback follows the rear 30 % */
    double wobble_deg;                /* heading swings ± this; 0: none */
    double wobble_period_s;
} nrw_drive_setting;

/* A setting and, if alternate_share > 0, a second one that takes over for that
 * share at the end of each alternation period. */
typedef struct nrw_drive {
    nrw_drive_setting main;
    double alternate_share; /* 0: no alternation; below 1 */
    double alternate_period_s;
    nrw_drive_setting other;
} nrw_drive;

/* B(t) = steady + cos·cos 2πft + sin·sin 2πft in mT, map frame. */
typedef struct nrw_field {
    nrw_vec3 steady, cos, sin;
    double frequency_Hz; /* 0: steady only */
} nrw_field;

/* Defaults of the contract: rotating, no field, heading 0. */
nrw_drive_setting nrw_drive_setting_defaults(void);

/* Field of a setting for a heading in radians (anticlockwise from +x; already
 * including wobble) and a tilt in degrees (setting->tilt_deg, or less while
 * easing; used by mode rotating only). In mode general the vectors stand in the
 * map's frame and `heading_rad` is taken as the wobble angle alone. Mode sampled has no
 * such field: nothing is given for it (samples.h has its own). */
nrw_field nrw_drive_field(const nrw_drive_setting *setting, double heading_rad, double tilt_deg);

/* Field vector in mT at phase 2πft = phase_rad. */
nrw_vec3 nrw_field_at(const nrw_field *field, double phase_rad);

/* Largest |B(t)| over a period, mT, to 1e-6 of it. */
double nrw_field_peak_mT(const nrw_field *field);

/* Angle in radians that wobble adds to the heading at time t_s since the leg
 * began: deg × sin(2π t/period). */
double nrw_drive_wobble_rad(const nrw_drive_setting *setting, double t_s);

/* The setting in force at time t_s since the leg began. */
const nrw_drive_setting *nrw_drive_at(const nrw_drive *drive, double t_s);

/* Time since the leg began at which the setting next changes after t_s;
 * INFINITY without alternation. */
double nrw_drive_next_switch_s(const nrw_drive *drive, double t_s);

/* The slow controls of a drive (wobble, alternation) are taken to change nothing in how
 * moments follow the field. Returns the key of the first whose time is shorter than
 * NRW_SLOW_TIMES relaxation times, NULL if there is none; *time_s gets its time (of an
 * alternation the shorter part). */
#define NRW_SLOW_TIMES 10.0
const char *nrw_drive_too_quick(const nrw_drive *drive, double relaxation_time_s, double *time_s);

/* Name of a mode as in the files ("rotating", ...); a static string. */
const char *nrw_drive_mode_name(nrw_drive_mode mode);

#endif
