/* The averaged model against the resolved one over a grid of N_b and Λ: drift, spin, aspect
 * and spacing of a gathered swarm, several seeds each. Prints CSV, and puts the table into
 * a page:
 *   models_validate docs/regime.md [SEEDS] */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "validate.h"

static const char SCENARIO[] =
    "format: narrows-scenario/1\n"
    "fluid: {medium: water, temperature_C: 25}\n"
    "particles:\n"
    "  count: 60\n"
    "  diameter_um: 3.0\n"
    "  density_kg_m3: 1800\n"
    "  magnetics: {kind: induced, susceptibility: 0.30, relaxation_time_s: 1.0e-5}\n"
    "channel: {open: true}\n"
    "release: {at_um: [0, 0], radius_um: 16}\n"
    "target: {at_um: [500, 0], radius_um: 50}\n"
    "deadline_s: 10\n";

static const char SCHEDULE[] =
    "format: narrows-schedule/1\n"
    "legs:\n"
    "  - name: drift\n"
    "    drive: {mode: rotating, tilt_deg: 20, field_mT: 10, frequency_Hz: 50}\n";

static const double CYCLES[] = {0.25, 0.5, 1.0, 2.0, 4.0, 10.0};
static const double SHEDDINGS[] = {0.05, 0.15, 0.28, 0.6, 1.5};
enum { N_CYCLES = 6, N_SHEDDINGS = 5, SEEDS_MAX = 12, TEXT_SIZE = 1 << 14 };

/* What is compared, over the last two thirds of a run. */
typedef struct measures {
    double drift_um_s, spin_Hz, aspect, spacing_um, cluster;
} measures;

static measures measure(const nrw_run_result *run)
{
    measures m = {0.0, run->mean_spin_Hz, 0.0, 0.0, 0.0};
    const size_t first = run->n_frames / 3, n = run->n_frames - first;
    const nrw_frame *from = &run->frames[first], *to = &run->frames[run->n_frames - 1];
    m.drift_um_s = (to->seen.x_um - from->seen.x_um) / (to->time_s - from->time_s);
    for (size_t k = first; k < run->n_frames; k++) {
        m.aspect += run->frames[k].seen.aspect_ratio / (double)n;
        m.spacing_um += run->frames[k].seen.neighbour_distance_um / (double)n;
        m.cluster += run->frames[k].seen.largest_cluster_fraction / (double)n;
    }
    return m;
}

/* Sets frequency and lag so that the regime has these numbers; both go with them in
 * proportion, but for lags that are no longer small. */
static nrw_regime set_regime(validate_case *it, double cycle, double shedding)
{
    nrw_drive_setting *drive = &it->schedule.legs[0].drive.main;
    nrw_regime regime = nrw_regime_of(it->scenario, drive, NULL);
    for (int round = 0; round < 6; round++) {
        drive->frequency_Hz *= regime.cycle_displacement / cycle;
        regime = nrw_regime_of(it->scenario, drive, NULL);
        it->scenario->particles.relaxation_time_s *= shedding / regime.shedding_number;
        regime = nrw_regime_of(it->scenario, drive, NULL);
    }
    return regime;
}

typedef struct point {
    validate_mean averaged[5], resolved[5];
    nrw_regime regime;
} point;

static void put_values(double *values, int seed, const measures *m)
{
    const double all[5] = {m->drift_um_s, m->spin_Hz, m->aspect, m->spacing_um, m->cluster};
    for (int k = 0; k < 5; k++)
        values[k * SEEDS_MAX + seed] = all[k];
}

static point run_point(double cycle, double shedding, int n_seeds)
{
    validate_case it = validate_make(SCENARIO, SCHEDULE);
    double values[2][5 * SEEDS_MAX];
    point p;
    p.regime = set_regime(&it, cycle, shedding);
    for (int seed = 0; seed < n_seeds; seed++)
        for (int k = 0; k < 2; k++) {
            const nrw_model model = k ? NRW_MODEL_RESOLVED : NRW_MODEL_AVERAGED;
            nrw_run_result run = validate_run(&it, model, (uint64_t)seed + 1, true);
            const measures m = measure(&run);
            put_values(values[k], seed, &m);
            nrw_run_result_clear(&run);
        }
    for (int k = 0; k < 5; k++) {
        p.averaged[k] = validate_mean_of((size_t)n_seeds, values[0] + k * SEEDS_MAX);
        p.resolved[k] = validate_mean_of((size_t)n_seeds, values[1] + k * SEEDS_MAX);
    }
    validate_clear(&it);
    return p;
}

static void put_row(char *text, double cycle, double shedding, const point *p)
{
    const size_t used = strlen(text);
    const validate_mean *a = p->averaged, *r = p->resolved;
    (void)snprintf(
        text + used, TEXT_SIZE - used,
        "| %g | %g | %.2f, %.2f | %+.0f %% ± %.0f | %+.0f %% | %.2f, %.2f | %.2f, %.2f | "
        "%.0f %%, %.0f %% | %s |\n",
        cycle, shedding, a[0].mean, r[0].mean, 100.0 * (a[0].mean / r[0].mean - 1.0),
        100.0 * hypot(a[0].half, r[0].half) / fabs(r[0].mean),
        100.0 * (a[1].mean / r[1].mean - 1.0), a[2].mean, r[2].mean, a[3].mean, r[3].mean,
        100.0 * a[4].mean, 100.0 * r[4].mean, nrw_model_name(p->regime.recommended));
    (void)printf("%g,%g", cycle, shedding);
    for (int k = 0; k < 5; k++)
        (void)printf(",%g,%g,%g,%g", a[k].mean, a[k].half, r[k].mean, r[k].half);
    (void)printf(",%s\n", nrw_model_name(p->regime.recommended));
    (void)fflush(stdout);
}

int main(int argc, char **argv)
{
    static char text[TEXT_SIZE];
    const int wanted = argc > 2 ? atoi(argv[2]) : 6;
    const int n_seeds = wanted < 2 ? 2 : wanted > SEEDS_MAX ? SEEDS_MAX : wanted;
    if (argc < 2) {
        (void)fprintf(stderr, "models_validate PAGE [SEEDS]\n");
        return 2;
    }
    (void)snprintf(text, sizeof text,
                   "| N_b | Λ | drift, µm/s | averaged over resolved | spin | aspect | spacing, µm "
                   "| one cluster | `auto` takes |\n"
                   "| --- | --- | --- | --- | --- | --- | --- | --- | --- |\n");
    static const char *const names[] = {"drift_um_s", "spin_Hz", "aspect", "spacing_um", "cluster"};
    (void)printf("cycle_displacement,shedding_number");
    for (int k = 0; k < 5; k++)
        (void)printf(",averaged_%s,half,resolved_%s,half", names[k], names[k]);
    (void)printf(",recommended\n");
    for (int i = 0; i < N_CYCLES; i++)
        for (int j = 0; j < N_SHEDDINGS; j++) {
            const point p = run_point(CYCLES[i], SHEDDINGS[j], n_seeds);
            put_row(text, CYCLES[i], SHEDDINGS[j], &p);
        }
    const size_t used = strlen(text);
    (void)snprintf(
        text + used, sizeof text - used,
        "\n(%d seeds a point; pairs are averaged, resolved; ± is half the 95 %% interval "
        "over seeds.)\n",
        n_seeds);
    validate_insert(argv[1], "models", text);
    return 0;
}
