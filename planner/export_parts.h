/* Inside of an export: its parts, one a file. */
#ifndef NRW_EXPORT_PARTS_H
#define NRW_EXPORT_PARTS_H

#include "export.h"

/* --- export_limit.c ------------------------------------------------------------ */

/* Finds what the legs ask of the rig. */
void nrw_export_ask(nrw_export *export);

/* Adds the checks of the rig: the worst of all settings, and of the wave if there
 * is one. */
nrw_status nrw_export_check_rig(nrw_export *export, nrw_errors *errors);

/* Adds the checks that inform, from the wave. */
nrw_status nrw_export_inform(nrw_export *export, nrw_errors *errors);

/* NRW_REFUSED, with a reason each, if a limit of the rig is exceeded that is not
 * allowed by name: what only the wave shows, such as heating. */
nrw_status nrw_export_refuse_measured(const nrw_export *export, nrw_errors *errors);

/* --- export_sampled.c ------------------------------------------------------------ */

enum { NRW_STRETCH_SAMPLES = 16384 };

/* Lines of the spectrum of a stretch of the wave, by rising frequency, into components
 * (room), for fields without a period: rms of each, all directions, within 3 % where lines
 * are three bins of 1/length_s apart. *static_mT gets the size of the mean. */
nrw_status nrw_export_stretch(const nrw_wave *wave, double start_s, double length_s,
                              nrw_exposure_component *components, size_t room, size_t *n,
                              double *static_mT, nrw_errors *errors);

/* --- export_segments.c ----------------------------------------------------------- */

typedef enum nrw_segment_kind {
    NRW_SEGMENT_ENTER, /* from no current into the loop */
    NRW_SEGMENT_LOOP,  /* whole periods of everything in the drive */
    NRW_SEGMENT_LEAVE, /* from the loop's beginning to no current; also the abort */
    NRW_N_SEGMENT_KINDS
} nrw_segment_kind;

/* One leg for a waveform generator: three pieces that fit together. Mode sampled: of no
 * samples and 0 loops. */
typedef struct nrw_leg_segments {
    size_t first[NRW_N_SEGMENT_KINDS]; /* first sample among those of all legs */
    size_t samples[NRW_N_SEGMENT_KINDS];
    double frequency_Hz[2]; /* main and other as the loop plays them */
    double largest_shift;   /* of a frequency or slow period, as a share of it */
    long long loops;        /* that fill the leg's time; -1: until its condition */
} nrw_leg_segments;

typedef struct nrw_segments {
    nrw_leg_segments *legs; /* (n_legs), owned */
    size_t n_legs;
    double *field_mT;  /* (n_samples x 3), in the heading's frame for legs that feedback
                          turns, in the map's for others; owned */
    double *current_A; /* (n_samples x n_coils) at that heading; owned */
    size_t n_samples;
    double sample_rate_Hz;
} nrw_segments;

/* Makes the segments of every leg. Frequencies and slow periods are shifted, by
 * the share that is told, where they don't fit whole samples or each other. */
nrw_status nrw_export_segments(const nrw_export *export, nrw_segments *segments,
                               nrw_errors *errors);
void nrw_segments_clear(nrw_segments *segments);

/* Name of a kind, a static string. */
const char *nrw_segment_kind_name(nrw_segment_kind kind);

/* Whether feedback turns a leg's heading. */
bool nrw_export_is_fed_back(const nrw_leg *leg);

/* --- texts and tables, each malloc'ed; the caller frees ----------------------------- */

/* steps.json: every leg with drive, conditions, segments (export_steps.c). */
nrw_status nrw_export_steps(const nrw_export *export, const nrw_segments *segments, char **text,
                            nrw_errors *errors);

/* waveform.json: how to read the sampled files (export_steps.c). */
nrw_status nrw_export_waveform_json(const nrw_export *export, size_t data_offset,
                                    size_t segments_offset, char **text, nrw_errors *errors);

/* bench-card.html: one page to print (export_card.c). */
nrw_status nrw_export_card(const nrw_export *export, char **html, size_t *size, nrw_errors *errors);

#endif
