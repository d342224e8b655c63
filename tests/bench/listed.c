/* Dipole forces within a cutoff, about a hundred neighbours a particle: our list of
 * quads against naive C and SciPy's tree. The particles move as they did in a run, so that
 * lists must be kept up as in one; that counts. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "bench.h"
#include "pair_list.h"

#define N_PARTICLES 4000
#define CUTOFF_UM 20.5
#define SKIN_UM 2.0
/* Of the run: gathered, then driven for a while; places are recorded every 8 ms. */
#define GATHER_S 25.0
#define DRIVE_S 2.0
#define TILT_DEG 30.0
#define EVALUATION_S 0.008

enum { ROUNDS_MOST = 41, N_FRAMES = 100 };

/* Places of one contender, who goes through the recorded ones by itself, to and fro. */
typedef struct moving {
    const double *frames; /* (N_FRAMES x 3 x n), not owned */
    double *axes[3];      /* (n), or */
    double (*at)[3];      /* (n) */
    size_t step;
} moving;

typedef struct listed_case {
    bench_swarm swarm;
    double *frames;
    bench_roof_kernel *roof;
    float sum;
    nrw_pair_list list;
    float *forces; /* (n x 3) */
    float tensor[NRW_N_TENSOR];
    bench_naive *full, *half;
    moving ours, full_at, half_at;
    double evaluations, upkeep_s, forces_s;
} listed_case;

/* Places of the next evaluation, as axes or side by side, whichever the contender reads. */
static void shift(moving *it, size_t n)
{
    const size_t turn = ++it->step % (2 * (N_FRAMES - 1));
    const size_t frame = turn < N_FRAMES ? turn : 2 * (N_FRAMES - 1) - turn;
    for (size_t axis = 0; axis < 3; axis++) {
        const double *from = it->frames + (3 * frame + axis) * n;
        if (it->axes[axis])
            memcpy(it->axes[axis], from, n * sizeof *from);
        for (size_t i = 0; it->at && i < n; i++)
            it->at[i][axis] = from[i];
    }
}

static bool make_moving(moving *it, const double *frames, size_t n, bool as_axes)
{
    memset(it, 0, sizeof *it);
    it->frames = frames;
    if (!as_axes)
        return (it->at = calloc(n, sizeof *it->at)) != NULL;
    for (int axis = 0; axis < 3; axis++)
        it->axes[axis] = calloc(n, sizeof(double));
    return it->axes[0] && it->axes[1] && it->axes[2];
}

static void clear_moving(moving *it)
{
    for (int axis = 0; axis < 3; axis++)
        free(it->axes[axis]);
    free(it->at);
}

static double our_seconds(void *context, size_t calls)
{
    listed_case *it = context;
    double seconds = 0.0;
    for (size_t k = 0; k < calls; k++) {
        shift(&it->ours, it->swarm.n);
        const double begun = bench_core_s();
        if (!nrw_pair_list_refresh(&it->list, it->swarm.n, it->ours.axes[0], it->ours.axes[1],
                                   it->ours.axes[2], CUTOFF_UM, SKIN_UM))
            return NAN;
        const double kept = bench_core_s();
        nrw_pair_list_forces(&it->list, it->swarm.moment, it->tensor, (float)it->swarm.core2,
                             it->forces);
        const double done = bench_core_s();
        seconds += done - begun;
        it->upkeep_s += kept - begun;
        it->forces_s += done - kept;
        it->evaluations += 1.0;
    }
    return seconds;
}

static double naive_seconds(bench_naive *naive, moving *at, size_t n, size_t calls)
{
    double seconds = 0.0;
    for (size_t k = 0; k < calls; k++) {
        shift(at, n);
        bench_naive_place(naive, n, (const double(*)[3])at->at);
        const double begun = bench_core_s();
        (void)bench_naive_refresh(naive);
        bench_naive_forces(naive);
        seconds += bench_core_s() - begun;
    }
    return seconds;
}

static double full_seconds(void *context, size_t calls)
{
    listed_case *it = context;
    return naive_seconds(it->full, &it->full_at, it->swarm.n, calls);
}

static double half_seconds(void *context, size_t calls)
{
    listed_case *it = context;
    return naive_seconds(it->half, &it->half_at, it->swarm.n, calls);
}

static double roof_seconds(void *context, size_t calls)
{
    listed_case *it = context;
    const double begun = bench_core_s();
    for (size_t k = 0; k < calls; k++)
        it->sum += it->roof(1.0f + 1e-20f * it->sum).sum;
    return bench_core_s() - begun;
}

/* --- agreement ------------------------------------------------------------------- */

/* Forces of all at the same places, after some steps; script: at the first places. */
static bool agrees(bench_report *report, listed_case *it, double (*script)[3])
{
    const size_t n = it->swarm.n;
    double(*forces)[3] = calloc(n, sizeof *forces);
    if (!forces)
        return false;
    bool good = true;
    if (script) {
        bench_naive_forces(it->full);
        const double error =
            bench_force_error(n, (const double(*)[3])script, bench_naive_result(it->full));
        bench_detail(report, "agreement", "listed_kdtree_against_naive", error);
        good = error < 1e-9;
    }
    (void)our_seconds(it, 25);
    (void)full_seconds(it, 25);
    (void)half_seconds(it, 25);
    const double(*reference)[3] = bench_naive_result(it->full);
    for (size_t i = 0; i < n; i++)
        for (size_t k = 0; k < 3; k++)
            forces[i][k] = (double)it->forces[3 * i + k];
    const double ours = bench_force_error(n, (const double(*)[3])forces, reference);
    const double half = bench_force_error(n, bench_naive_result(it->half), reference);
    free(forces);
    bench_detail(report, "agreement", "listed_against_naive", ours);
    bench_detail(report, "agreement", "listed_half_against_naive", half);
    /* a pair at the cutoff itself may fall on either side in single precision */
    return good && ours < 1e-3 && half < 1e-9;
}

/* --- the section ----------------------------------------------------------------- */

static bool advance(nrw_world *world, const nrw_excitation *excitation, double until_s)
{
    nrw_errors errors;
    nrw_errors_init(&errors);
    bool done = true;
    while (done && world->time_s < until_s - 1e-9) {
        double taken;
        done = nrw_world_step(world, excitation, fmin(BENCH_STEP_S, until_s - world->time_s),
                              &taken, &errors) == NRW_OK;
    }
    nrw_errors_clear(&errors);
    return done;
}

/* One frame. Particles stand in the order that they have in the first: a world sorts them anew
 * now and then. */
static void record_frame(const nrw_world *world, const uint32_t *place_of, double *frame)
{
    const double *const places[3] = {world->x, world->y, world->z};
    for (size_t axis = 0; axis < 3; axis++)
        for (size_t i = 0; i < world->n; i++)
            frame[axis * world->n + place_of[world->ids[i]]] = places[axis][i];
}

/* Frames of a run, and the swarm as it is in the first. */
static bool record(nrw_world *world, double *frames, bench_swarm *swarm)
{
    static uint32_t place_of[N_PARTICLES];
    const nrw_excitation flat = bench_excitation(world, 0.0);
    const nrw_excitation tilted = bench_excitation(world, TILT_DEG);
    const size_t n = world->n;
    float *const begun[3] = {swarm->x, swarm->y, swarm->z};
    bool done = advance(world, &flat, GATHER_S);
    for (size_t frame = 0; done && frame < N_FRAMES; frame++) {
        done = advance(world, &tilted, GATHER_S + DRIVE_S + EVALUATION_S * (double)frame);
        for (size_t i = 0; i < n && frame == 0; i++) {
            place_of[world->ids[i]] = (uint32_t)i;
            swarm->moment[i] = world->moment[i];
        }
        record_frame(world, place_of, frames + 3 * frame * n);
    }
    for (size_t i = 0; i < n; i++)
        for (size_t axis = 0; axis < 3; axis++)
            begun[axis][i] = (float)frames[axis * n + i];
    /* all contenders begin at the same places as the script, which takes them from these */
    for (size_t axis = 0; axis < 3; axis++)
        for (size_t i = 0; i < n; i++)
            frames[axis * n + i] = (double)begun[axis][i];
    return done;
}

static bool record_run(double *frames, bench_swarm *swarm)
{
    bench_setting setting;
    nrw_world *world = NULL;
    bool done = bench_setting_open(&setting, N_PARTICLES, false);
    if (done) {
        world = bench_world_make(&setting, 1);
        done = world && record(world, frames, swarm);
    }
    nrw_world_destroy(world);
    bench_setting_clear(&setting);
    return done;
}

static bool open_case(listed_case *it)
{
    memset(it, 0, sizeof *it);
    it->frames = calloc(3 * (size_t)N_FRAMES * N_PARTICLES, sizeof *it->frames);
    if (!it->frames || !bench_swarm_make(&it->swarm, N_PARTICLES, 1) ||
        !record_run(it->frames, &it->swarm) || !nrw_pair_list_init(&it->list, N_PARTICLES))
        return false;
    it->roof = bench_roof_of_level(nrw_kernels_get()->name);
    it->forces = calloc(3 * (size_t)N_PARTICLES, sizeof *it->forces);
    it->full = bench_naive_create(&it->swarm, CUTOFF_UM, SKIN_UM, false);
    it->half = bench_naive_create(&it->swarm, CUTOFF_UM, SKIN_UM, true);
    for (int k = 0; k < NRW_N_TENSOR; k++)
        it->tensor[k] = (float)it->swarm.tensor[k];
    return make_moving(&it->ours, it->frames, N_PARTICLES, true) &&
           make_moving(&it->full_at, it->frames, N_PARTICLES, false) &&
           make_moving(&it->half_at, it->frames, N_PARTICLES, false) && it->roof && it->forces &&
           it->full && it->half;
}

static void close_case(listed_case *it)
{
    bench_naive_destroy(it->full);
    bench_naive_destroy(it->half);
    nrw_pair_list_clear(&it->list);
    clear_moving(&it->ours);
    clear_moving(&it->full_at);
    clear_moving(&it->half_at);
    bench_swarm_clear(&it->swarm);
    free(it->forces);
    free(it->frames);
}

static bench_spread rates(size_t n, double *each, double pairs)
{
    const bench_spread s = bench_spread_of(n, each);
    return (bench_spread){1e-9 * pairs / s.median, 1e-9 * pairs / s.high, 1e-9 * pairs / s.low, n};
}

static void tell(bench_report *report, listed_case *it, size_t rounds, double each[6][ROUNDS_MOST],
                 double pairs, bool script)
{
    enum { ROOF, OURS, FULL, HALF, FRESH, REUSED };
    const bench_roof roof = it->roof(1.0f);
    const double needed = pairs * BENCH_DIPOLE_OPS / (2.0 * roof.width) / roof.n_vectors;
    const double evaluations_a_list = it->evaluations / (double)it->list.n_builds;
    bench_figure(report, "pair_fraction_of_bound",
                 bench_spread_scale(bench_spread_ratio(rounds, each[ROOF], each[OURS]), needed),
                 "within the cutoff, upkeep included, of what multiply-adds alone would take");
    bench_figure(report, "pair_vs_naive", bench_spread_ratio(rounds, each[FULL], each[OURS]),
                 "over naive C that sums over all neighbours of each particle");
    bench_figure(report, "pair_vs_naive_half", bench_spread_ratio(rounds, each[HALF], each[OURS]),
                 "over naive C that takes each pair once");
    if (script) {
        bench_figure(report, "pair_vs_kdtree", bench_spread_ratio(rounds, each[FRESH], each[OURS]),
                     "over a SciPy script that makes its tree for each evaluation");
        bench_figure(report, "pair_vs_kdtree_reused",
                     bench_spread_ratio(rounds, each[REUSED], each[OURS]),
                     "over one that uses its pairs again, making them not counted");
    }
    bench_figure(report, "pair_gdir_per_s_core", rates(rounds, each[OURS], pairs),
                 "e9 useful directed pairs a second, upkeep included");
    bench_detail(report, "listed", "neighbours", pairs / (double)it->swarm.n);
    bench_detail(report, "listed", "evaluations_a_list", evaluations_a_list);
    /* a slot is four particles with four */
    bench_detail(report, "listed", "useful_lanes", pairs / 2.0 / (16.0 * (double)it->list.n_slots));
    bench_detail(report, "listed", "upkeep_share", it->upkeep_s / (it->upkeep_s + it->forces_s));
    bench_detail(report, "listed", "naive_gdir_per_s_core",
                 rates(rounds, each[FULL], pairs).median);
}

void bench_listed(bench_report *report)
{
    static double each[6][ROUNDS_MOST];
    const size_t rounds = report->quick ? 7 : ROUNDS_MOST;
    listed_case it;
    char why[256] = "no memory";
    double(*forces)[3] = calloc(N_PARTICLES, sizeof *forces);
    bench_title("Dipole forces within 6.8 diameters by neighbour lists");
    if (!open_case(&it) || !forces) {
        bench_missing(report, "pair_gdir_per_s_core", why);
        close_case(&it);
        free(forces);
        return;
    }
    const double pairs = bench_naive_pairs(it.full);
    bench_script *script =
        bench_script_start(report, "near_pairs.py", &it.swarm, CUTOFF_UM, forces, why, sizeof why);
    if (!script)
        bench_missing(report, "pair_vs_kdtree", why);
    if (agrees(report, &it, script ? forces : NULL)) {
        bench_script_part fresh = {script, ""}, reused = {script, "reused"};
        bench_contender contenders[6] = {{roof_seconds, &it, 0, each[0]},
                                         {our_seconds, &it, 30, each[1]},
                                         {full_seconds, &it, 15, each[2]},
                                         {half_seconds, &it, 15, each[3]},
                                         {bench_script_seconds, &fresh, 1, each[4]},
                                         {bench_script_seconds, &reused, 1, each[5]}};
        bench_race(script ? 6 : 4, contenders, rounds, 0.01);
        tell(report, &it, rounds, each, pairs, script != NULL);
    } else {
        bench_missing(report, "pair_gdir_per_s_core", "the contenders' forces differ");
    }
    bench_script_stop(script);
    close_case(&it);
    free(forces);
}
