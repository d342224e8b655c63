/* The usual way with a library's integrator: GSL's embedded Runge-Kutta-Fehlberg 4(5)
 * on the same forces in plain double precision, against nrw_world_step. Dipoles of all
 * pairs and contact springs in unbounded fluid; no noise, so that both must arrive at
 * the same places. */
#include <gsl/gsl_errno.h>
#include <gsl/gsl_odeiv2.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "bench.h"

#define N_PARTICLES 150
#define GATHER_S 12.0
#define SPAN_S 0.2
#define TOLERANCE_UM 3e-3 /* of a step: 0.001 diameters */

enum { ROUNDS_MOST = 11 };

typedef struct rkf45_case {
    nrw_world *world;
    nrw_excitation excitation;
    double tensor[NRW_N_TENSOR], core2, stiffness;
    double start[3 * N_PARTICLES], end[3 * N_PARTICLES];
    double radius[N_PARTICLES], moment[N_PARTICLES], inverse_drag[N_PARTICLES];
    double tolerance;
    size_t n_evaluations;
} rkf45_case;

static void add_pair(const rkf45_case *it, const double *at, double *rate, size_t i, size_t j)
{
    const double *m = it->tensor;
    const double dx = at[3 * i] - at[3 * j], dy = at[3 * i + 1] - at[3 * j + 1];
    const double dz = at[3 * i + 2] - at[3 * j + 2];
    const double distance2 = dx * dx + dy * dy + dz * dz, r2 = fmax(distance2, it->core2);
    const double ax = m[NRW_XX] * dx + m[NRW_XY] * dy + m[NRW_XZ] * dz;
    const double ay = m[NRW_XY] * dx + m[NRW_YY] * dy + m[NRW_YZ] * dz;
    const double az = m[NRW_XZ] * dx + m[NRW_YZ] * dy + m[NRW_ZZ] * dz;
    const double strength = it->moment[i] * it->moment[j] / (r2 * r2 * sqrt(r2));
    double radial =
        strength * (m[NRW_XX] + m[NRW_YY] + m[NRW_ZZ] - 5.0 * (ax * dx + ay * dy + az * dz) / r2);
    const double touch = it->radius[i] + it->radius[j];
    if (distance2 < touch * touch) {
        const double distance = sqrt(distance2);
        radial += it->stiffness * (touch - distance) / distance;
    }
    const double f[3] = {2.0 * strength * ax + radial * dx, 2.0 * strength * ay + radial * dy,
                         2.0 * strength * az + radial * dz};
    for (size_t k = 0; k < 3; k++) {
        rate[3 * i + k] += it->inverse_drag[i] * f[k];
        rate[3 * j + k] -= it->inverse_drag[j] * f[k];
    }
}

static int rates(double t, const double at[], double rate[], void *context)
{
    (void)t;
    rkf45_case *it = context;
    it->n_evaluations++;
    memset(rate, 0, 3 * N_PARTICLES * sizeof *rate);
    for (size_t i = 0; i < N_PARTICLES; i++)
        for (size_t j = 0; j < i; j++)
            add_pair(it, at, rate, i, j);
    return GSL_SUCCESS;
}

static double gsl_seconds(void *context, size_t calls)
{
    rkf45_case *it = context;
    gsl_odeiv2_system system = {rates, NULL, 3 * N_PARTICLES, it};
    double seconds = 0.0;
    for (size_t k = 0; k < calls; k++) {
        const double begun = bench_core_s();
        gsl_odeiv2_driver *driver =
            gsl_odeiv2_driver_alloc_y_new(&system, gsl_odeiv2_step_rkf45, 1e-3, it->tolerance, 0.0);
        double t = 0.0;
        memcpy(it->end, it->start, sizeof it->end);
        const int status = gsl_odeiv2_driver_apply(driver, &t, SPAN_S, it->end);
        gsl_odeiv2_driver_free(driver);
        seconds += status == GSL_SUCCESS ? bench_core_s() - begun : NAN;
    }
    return seconds;
}

static bool advance(rkf45_case *it, double seconds)
{
    const double until = it->world->time_s + seconds;
    nrw_status status = NRW_OK;
    while (status == NRW_OK && until - it->world->time_s > 1e-9) {
        nrw_errors errors;
        double taken;
        nrw_errors_init(&errors);
        status = nrw_world_step(it->world, &it->excitation,
                                fmin(BENCH_STEP_S, until - it->world->time_s), &taken, &errors);
        nrw_errors_clear(&errors);
    }
    return status == NRW_OK;
}

static double world_seconds(void *context, size_t calls)
{
    rkf45_case *it = context;
    double seconds = 0.0;
    for (size_t k = 0; k < calls; k++) {
        nrw_world_go_back(it->world);
        const double begun = bench_core_s();
        seconds += advance(it, SPAN_S) ? 0.0 : NAN;
        seconds += bench_core_s() - begun;
    }
    return seconds;
}

static bool open_case(rkf45_case *it, bench_setting *setting)
{
    memset(it, 0, sizeof *it);
    if (!bench_setting_open(setting, N_PARTICLES, true))
        return false;
    it->world = bench_world_make(setting, 1);
    if (!it->world)
        return false;
    const nrw_world *world = it->world;
    it->excitation = bench_excitation(world, 0.0);
    if (!advance(it, GATHER_S))
        return false;
    nrw_world_keep(it->world);
    const nrw_sym3 m = it->excitation.tensor;
    const double parts[NRW_N_TENSOR] = {m.xx, m.xy, m.xz, m.yy, m.yz, m.zz};
    for (int k = 0; k < NRW_N_TENSOR; k++)
        it->tensor[k] = 3.0 * NRW_MU0_4PI * parts[k];
    it->core2 = (double)world->task.core2;
    it->stiffness = setting->scenario->model.contact_stiffness_pN_um;
    for (size_t i = 0; i < N_PARTICLES; i++) {
        it->start[3 * i] = world->x[i];
        it->start[3 * i + 1] = world->y[i];
        it->start[3 * i + 2] = world->z[i];
        it->radius[i] = (double)world->radius[i];
        it->moment[i] = (double)world->moment[i];
        it->inverse_drag[i] = (double)world->inverse_drag[i];
    }
    return true;
}

/* Median over particles of the distance between two outcomes, µm; and how far they
 * came from the start. */
static double apart(const rkf45_case *it, const double *a, const double *b)
{
    double distances[N_PARTICLES];
    for (size_t i = 0; i < N_PARTICLES; i++)
        distances[i] = sqrt(pow(a[3 * i] - b[3 * i], 2.0) + pow(a[3 * i + 1] - b[3 * i + 1], 2.0) +
                            pow(a[3 * i + 2] - b[3 * i + 2], 2.0));
    (void)it;
    return bench_spread_of(N_PARTICLES, distances).median;
}

/* Both against the integrator at a hundredth of the tolerance. */
static bool agrees(bench_report *report, rkf45_case *it)
{
    double fine[3 * N_PARTICLES], ours[3 * N_PARTICLES];
    it->tolerance = 0.01 * TOLERANCE_UM;
    const bool good = !isnan(gsl_seconds(it, 1));
    memcpy(fine, it->end, sizeof fine);
    it->tolerance = TOLERANCE_UM;
    it->n_evaluations = 0;
    if (!good || isnan(gsl_seconds(it, 1)) || isnan(world_seconds(it, 1)))
        return false;
    for (size_t i = 0; i < N_PARTICLES; i++) {
        ours[3 * i] = it->world->x[i];
        ours[3 * i + 1] = it->world->y[i];
        ours[3 * i + 2] = it->world->z[i];
    }
    const double moved = apart(it, fine, it->start), world = apart(it, ours, fine);
    bench_detail(report, "agreement", "rkf45_evaluations", (double)it->n_evaluations);
    bench_detail(report, "agreement", "rkf45_moved_um", moved);
    bench_detail(report, "agreement", "rkf45_against_fine_um", apart(it, it->end, fine));
    bench_detail(report, "agreement", "world_against_fine_um", world);
    return world < 0.02 * 3.0; /* 2 % of a diameter */
}

void bench_rkf45(bench_report *report)
{
    double each[2][ROUNDS_MOST];
    const size_t rounds = report->quick ? 5 : ROUNDS_MOST;
    bench_setting setting;
    rkf45_case it;
    bench_title("GSL's rkf45 on the same forces");
    if (!open_case(&it, &setting)) {
        bench_missing(report, "pair_vs_gsl", "the swarm could not be made");
    } else if (!agrees(report, &it)) {
        bench_missing(report, "pair_vs_gsl", "the two ways end at different places");
    } else {
        bench_contender contenders[2] = {{gsl_seconds, &it, 1, each[0]},
                                         {world_seconds, &it, 0, each[1]}};
        bench_race(2, contenders, rounds, 0.02);
        bench_figure(report, "pair_vs_gsl", bench_spread_ratio(rounds, each[0], each[1]),
                     "150 gathered particles, 0.2 s: rkf45's core time over ours");
    }
    nrw_world_destroy(it.world);
    bench_setting_clear(&setting);
}
