/* Benchmarks (`make bench`): how near the machine's limit, how far from the usual
 * ways, and whether what is fast is also right. docs/performance.md tells how to read
 * them.
 *
 * Contenders are measured side by side: one after the other in slices of milliseconds,
 * round after round, so that whatever else the machine does hits all of them; a ratio is
 * the median of the rounds' ratios. Kernels are timed by the time that their thread
 * had a core (the rest is the scheduler's), whole runs and commands by the wall clock,
 * unless the machine is too busy for it to mean anything: then `notes` say so. */
#ifndef BENCH_H
#define BENCH_H

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "channel.h"
#include "kernel.h"
#include "scenario.h"
#include "schedule.h"
#include "world.h"

/* --- clock.c --------------------------------------------------------------------- */

double bench_wall_s(void);
double bench_core_s(void); /* that the calling thread had a core */
double bench_load(void);   /* runnable tasks, mean over the last minute; NAN: unknown */

/* --- spread.c -------------------------------------------------------------------- */

/* Median and quartiles of n values. */
typedef struct bench_spread {
    double median, low, high;
    size_t n;
} bench_spread;

/* Those of values (n), which it sorts. NAN all of them for n = 0 or a NAN among them. */
bench_spread bench_spread_of(size_t n, double *values);
bench_spread bench_spread_scale(bench_spread spread, double factor);
/* Of above[i]/below[i] (n). */
bench_spread bench_spread_ratio(size_t n, const double *above, const double *below);
/* A single value. */
bench_spread bench_spread_one(double value);

/* Slope of log y against log x (n) by least squares. */
double bench_exponent(size_t n, const double *x, const double *y);

/* --- race.c ---------------------------------------------------------------------- */

typedef struct bench_contender {
    double (*seconds)(void *context, size_t calls); /* core time of so many calls; NAN: failed */
    void *context;
    size_t calls;   /* in a slice; 0: bench_race finds how many fill it */
    double *each_s; /* (rounds) out: seconds of one call, round by round */
} bench_contender;

/* Runs the contenders (n) in turn, `rounds` times, each for about slice_s or one call. */
void bench_race(size_t n, bench_contender *contenders, size_t rounds, double slice_s);

/* --- report.c -------------------------------------------------------------------- */

typedef struct bench_report {
    json_t *root;                  /* owned; see docs/performance.md for its keys */
    bool quick;                    /* fewer and shorter repeats */
    const char *narrows, *scripts; /* the program, the folder of the Python sources */
} bench_report;

void bench_report_begin(bench_report *report);
void bench_title(const char *title);
/* A figure, with what it is in a few words;
 * without a value: null, and why. */
void bench_figure(bench_report *report, const char *key, bench_spread value, const char *words);
void bench_missing(bench_report *report, const char *key, const char *why);
/* How a figure was had when the machine was too busy for the plain way: into "notes". */
void bench_note(bench_report *report, const char *key, const char *how);
/* A number among the details of a section. */
void bench_detail(bench_report *report, const char *section, const char *key, double value);
/* A row of a table among the details: the object, which it takes over. */
void bench_row(bench_report *report, const char *table, json_t *row);
json_t *bench_real(double value); /* null for NAN and infinities */
/* Completes and writes it; figures that no section gave are null. False: not written. */
bool bench_report_write(bench_report *report, const char *path);

/* --- machine.c ------------------------------------------------------------------- */

void bench_machine(bench_report *report);
double bench_processors(void);

/* --- roofline.c ------------------------------------------------------------------ */

typedef struct bench_roof {
    double n_vectors; /* multiply-adds of whole vectors done */
    int width;        /* floats in each */
    float sum;        /* so that they are done */
} bench_roof;
typedef bench_roof bench_roof_kernel(float seed);

/* The one of the level that nrw_kernels_get chose. */
bench_roof_kernel *bench_roof_of_level(const char *level);

/* Multiply and multiply-add instructions that a vector of pairs takes when equation (7.2)
 * is worked out as it stands, each pair once: distance 3, 1/r with its Newton step 4, r⁻²
 * and r⁻⁵ 3, M·r 9, r·M·r 3, radial part 3, force 6, sums of both sides 6. It is the unit
 * of work: kernels that find a way with fewer come nearer the bound by that. Sums, the
 * larger of two and the estimate of 1/√ go to other units and are left out: the bound is
 * generous. */
enum { BENCH_DIPOLE_OPS = 37 };
/* ... and those that the kernels do in fact (pair_lanes.h). */
enum { BENCH_DIPOLE_OPS_DONE = 34 };

/* --- swarm.c: particles for the pair kernels ------------------------------------- */

/* A layer of particles on the floor; arrays (n, padded as the kernels want). Owned. */
typedef struct bench_swarm {
    size_t n, padded;
    float *x, *y, *z, *moment;          /* (padded) */
    float *fx, *fy, *fz;                /* (padded) out */
    double tensor[NRW_N_TENSOR], core2; /* as in nrw_pair_task */
    void *block;
} bench_swarm;

/* n particles of 3 µm at an area fraction of 0.6, jittered; false: no memory. */
bool bench_swarm_make(bench_swarm *swarm, size_t n, uint64_t seed);
void bench_swarm_clear(bench_swarm *swarm);
nrw_pair_task bench_swarm_task(bench_swarm *swarm);

/* Largest difference of forces (n x 3) as a share of their root mean square. */
double bench_force_error(size_t n, const double (*forces)[3], const double (*reference)[3]);

/* --- naive.c: as it is written first --------------------------------------------- */

typedef struct bench_naive bench_naive;

/* Particles as structs of doubles. cutoff_um INFINITY: all pairs; half: each pair in the
 * list once. Takes the places of
 * the swarm. NULL: no memory. */
bench_naive *bench_naive_create(const bench_swarm *swarm, double cutoff_um, double skin_um,
                                bool half);
void bench_naive_destroy(bench_naive *naive);
void bench_naive_place(bench_naive *naive, size_t n, const double (*at_um)[3]);
/* Remakes the list where the particles have moved too far for it; true if it did. */
bool bench_naive_refresh(bench_naive *naive);
/* Forces by the list, or of all pairs: each particle sums over its neighbours. */
void bench_naive_forces(bench_naive *naive);
const double (*bench_naive_result(const bench_naive *naive))[3]; /* (n x 3) pN, borrowed */
double bench_naive_pairs(const bench_naive *naive);              /* directed, within the cutoff */

/* --- script.c: Python beside us -------------------------------------------------- */

typedef struct bench_script bench_script;

/* Starts tests/bench/FILE on the swarm, has it compute the forces, and gives them to
 * `forces` (n x 3). NULL with the reason in `why` (size) where Python or a module is
 * missing or it failed. */
bench_script *bench_script_start(const bench_report *report, const char *file,
                                 const bench_swarm *swarm, double cutoff_um, double (*forces)[3],
                                 char *why, size_t size);
/* A function of the script; "": the one that gave the forces. */
typedef struct bench_script_part {
    bench_script *script;
    const char *function;
} bench_script_part;

/* Core seconds of `calls` evaluations of a bench_script_part: for bench_race. */
double bench_script_seconds(void *part, size_t calls);
void bench_script_stop(bench_script *script);

/* --- setting.c: scenarios to run ------------------------------------------------- */

typedef struct bench_setting {
    nrw_scenario *scenario; /* owned, as the channel and the schedule's legs */
    nrw_channel *channel;
    nrw_schedule schedule;
} bench_setting;

/* The demo's gate grown with the swarm's diameter, √(n/150), with all of its physics; the
 * swarm is released packed, gathered by flat rotation for gather_s, then driven at tilt 30
 * and a wobbling heading along the centreline until the deadline. False with the reason
 * on stderr. */
bool bench_setting_gate(bench_setting *setting, size_t n, double gather_s, double deadline_s);
/* The same swarm and drive on an open floor, toward +x; `bare`: without floor, noise and
 * pair flow, and contacts do not brake. */
bool bench_setting_open(bench_setting *setting, size_t n, bool bare);
/* The demo itself, with the schedule of a file. */
#define BENCH_BY_HAND "scenarios/schedules/straight-gate-by-hand.yaml"
bool bench_setting_demo(bench_setting *setting, const char *schedule);
void bench_setting_clear(bench_setting *setting);

/* Longest step: nrw_run's default. */
#define BENCH_STEP_S NRW_STEP_MAX_S
/* A world of that, and what a rotating field of 10 mT, 50 Hz and a tilt does to
 * it in the averaged model. */
nrw_world *bench_world_make(const bench_setting *setting, uint64_t seed);
nrw_excitation bench_excitation(const nrw_world *world, double tilt_deg);

/* --- sections -------------------------------------------------------------------- */

void bench_dense(bench_report *report);    /* all pairs against bound, naive C, NumPy */
void bench_listed(bench_report *report);   /* neighbour lists against naive C, SciPy */
void bench_rkf45(bench_report *report);    /* GSL's integrator on the same forces */
void bench_runs(bench_report *report);     /* simulated seconds per wall second */
void bench_scaling(bench_report *report);  /* cost and memory against n */
void bench_replicas(bench_report *report); /* two trials on two threads */
void bench_commands(bench_report *report); /* plan, estimate, sweep on the demo */
void bench_accuracy(bench_report *report); /* fine steps and stiff contacts as reference */

/* What a child does for bench_scaling: makes a world of n, takes two steps, prints
 * bytes. Exit status. */
int bench_memory_of(size_t n);

#endif
