/* Rollers: alone, in a file, and many of them. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "trend.h"

static const char go[] =
    "format: narrows-schedule/1\nlegs:\n  - {name: roll, drive: {mode: rotating, "
    "tilt_deg: 90, field_mT: %g, frequency_Hz: %g}, until: {elapsed_s: %g}}\n";

/* Mean displacement along x over a time, of particles in an open map. */
static double speed_um_s(const char *particles, const char *release, const char *model,
                         double field_mT, double frequency_Hz, double seconds, uint64_t seed)
{
    char scenario[8192], schedule[512];
    (void)snprintf(scenario, sizeof scenario,
                   "format: narrows-scenario/1\ntitle: Rollers\nfluid: {medium: water, "
                   "temperature_C: 25}\nparticles:\n%schannel: {open: true}\n%starget: {at_um: [0, "
                   "0], radius_um: 1000}\ndeadline_s: %g\nmodel: {%s}\n",
                   particles, release, seconds, model);
    (void)snprintf(schedule, sizeof schedule, go, field_mT, frequency_Hz, seconds);
    validate_case it = validate_make(scenario, schedule);
    nrw_run_result run = validate_run(&it, NRW_MODEL_RESOLVED, seed, true);
    const nrw_frame *last = &run.frames[run.n_frames - 1];
    const double speed = (last->seen.x_um - run.frames[0].seen.x_um) / last->time_s;
    nrw_run_result_clear(&run);
    validate_clear(&it);
    return speed;
}

/* --- one -------------------------------------------------------------------------------- */

trend_result trend_step_out(const trend_options *options)
{
    enum { N = 15 };
    static const double ratios[N] = {0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8,
                                     0.9, 1.0, 1.1, 1.3, 1.6, 2.0, 3.0};
    static const char particle[] =
        "  positions_um: [[0, 0]]\n  diameter_um: 3.0\n  density_kg_m3: 1800\n  magnetics: {kind: "
        "permanent, moment_fAm2: 10}\n  moments_deg: [0]\n";
    trend_result result = {.n = 1};
    validate_row *row = &result.rows[0];
    double frequency[N], speed[N], adler[N];
    char scenario[1024], schedule[512];
    (void)snprintf(
        scenario, sizeof scenario,
        "format: narrows-scenario/1\ntitle: Roller\nfluid: {medium: water, temperature_C: "
        "25}\nparticles:\n%schannel: {open: true}\ntarget: {at_um: [0, 0], radius_um: "
        "10}\ndeadline_s: 1\nmodel: {brownian: false}\n",
        particle);
    (void)snprintf(schedule, sizeof schedule, go, 1.0, 1.0, 1.0);
    validate_case it = validate_make(scenario, schedule);
    const nrw_regime regime = nrw_regime_of(it.scenario, &it.schedule.legs[0].drive.main, NULL);
    const double slope = regime.lone_speed_um_s; /* at 1 Hz, far below step-out */
    validate_clear(&it);
#pragma omp parallel for schedule(dynamic)
    for (int k = 0; k < N; k++) {
        frequency[k] = ratios[k] * regime.step_out_Hz;
        speed[k] = speed_um_s(particle, "", "brownian: false", 1.0, frequency[k],
                              fmax(4.0, 20.0 / frequency[k]), 1);
        const double x = ratios[k];
        adler[k] = slope * regime.step_out_Hz * (x <= 1.0 ? x : x - sqrt(x * x - 1.0));
    }
    row->plot = "step-out.svg";
    const validate_series series[] = {
        {"runs", N, frequency, speed, NULL, false},
        {"rolling at the rate of Adler 1946", N, frequency, adler, NULL, true}};
    const validate_plot plot = {row->plot,
                                "A lone permanent roller, 3 µm, 10 fA·m², 1 mT",
                                "frequency of the field, Hz",
                                "speed, µm/s",
                                false,
                                false,
                                2,
                                series};
    validate_plot_write(options->folder, &plot);
    int peak = 0;
    double straight = 0.0;
    for (int k = 0; k < N; k++) {
        peak = speed[k] > speed[peak] ? k : peak;
        if (ratios[k] <= 0.9)
            straight = fmax(straight, fabs(speed[k] / (slope * frequency[k]) - 1.0));
    }
    (void)snprintf(
        row->measured, sizeof row->measured,
        "The speed of magnetic microspheres rolling on glass grows in proportion to the "
        "field's rotation up to a threshold, and falls beyond it (Agayan, Smith & Kopelman "
        "2008, J. Appl. Phys. 104:054915, arXiv:0803.0328; abstract seen)");
    (void)snprintf(
        row->predicted, sizeof row->predicted,
        "Proportional up to %.0f Hz within %.0f %%, largest at %.2f of step-out, %.0f %% of "
        "that at three times step-out",
        0.9 * regime.step_out_Hz, 100.0 * straight, ratios[peak],
        100.0 * speed[N - 1] / speed[peak]);
    const bool agrees = straight < 0.05 && ratios[peak] >= 0.9 && ratios[peak] <= 1.1 &&
                        speed[N - 1] < 0.3 * speed[peak];
    (void)snprintf(row->verdict, sizeof row->verdict, "%s", agrees ? "agrees" : "disagrees");
    (void)snprintf(
        row->cause, sizeof row->cause,
        "Trend only: their thresholds also hang on the surfaces, which here only set the "
        "gap");
    return result;
}

/* Exact rolling at the gaps that were measured, for a spin at the field's frequency. */
trend_result trend_gap(const trend_options *options)
{
    enum { N = 40 };
    const double a = 4.15, rim = 2.0 * NRW_PI * 40.0 * a;
    double gap[N], speed[N];
    for (int k = 0; k < N; k++) {
        gap[k] = 10.0 * pow(20.0, (double)k / (N - 1));
        speed[k] = rim * nrw_floor_mobility_exact(1e-3 * gap[k] / a).rolling;
    }
    const double at[] = {20.0, 80.0}, measured[] = {80.0, 40.0};
    const validate_series series[] = {
        {"exact rolling, spin at 40 Hz", N, gap, speed, NULL, true},
        {"measured (gaps of the range given)", 2, at, measured, NULL, false}};
    const validate_plot plot = {"roller-gap.svg",
                                "Roller of 8.3 µm at 40 Hz over its gap",
                                "gap, nm",
                                "speed, µm/s",
                                true,
                                false,
                                2,
                                series};
    validate_plot_write(options->folder, &plot);
    const double near = rim * nrw_floor_mobility_exact(0.020 / a).rolling;
    const double far = rim * nrw_floor_mobility_exact(0.080 / a).rolling;
    trend_result result = {.n = 2};
    validate_row *row = &result.rows[0];
    row->plot = "roller-gap.svg";
    (void)snprintf(
        row->measured, sizeof row->measured,
        "A superparamagnetic sphere of 8.3 µm rolls at 40 µm/s in a field of 40 Hz with "
        "its weight alone, at 80 µm/s with 0.2 of its weight more; gaps lie between 20 and "
        "80 nm, which with which was not seen (Disharoon, Neeves & Marr 2019, Langmuir 35:3455; "
        "abstract seen; rows EXT-04, EXT-05)");
    (void)snprintf(
        row->predicted, sizeof row->predicted,
        "%.0f µm/s at 80 nm, %.0f µm/s at 20 nm, if it spins at 40 Hz: %.1f and %.1f times "
        "as fast",
        far, near, far / 40.0, near / 80.0);
    (void)snprintf(row->verdict, sizeof row->verdict, "partly");
    (void)snprintf(row->cause, sizeof row->cause,
                   "The theory is an upper bound, as it must be; the sphere's own spin was not "
                   "measured and lies below the field's where its moment only lags. rolling_factor "
                   "0.4 to 0.7 would take it in");
    row = &result.rows[1];
    (void)snprintf(
        row->measured, sizeof row->measured,
        "Gap and slip of that sphere grow with its rate of rotation under its weight alone "
        "(the same; row EXT-06)");
    (void)snprintf(row->predicted, sizeof row->predicted,
                   "No change: the gap hangs on forces only");
    (void)snprintf(row->verdict, sizeof row->verdict, "disagrees");
    (void)snprintf(
        row->cause, sizeof row->cause,
        "A sphere without inertia over a plane feels no lift (Stokes flow is reversible); "
        "roughness, surface forces or inertia must do it, and none of them is modelled. "
        "Speeds at high frequency are upper estimates");
    return result;
}

/* --- many --------------------------------------------------------------------------------- */

trend_result trend_density(const trend_options *options)
{
    enum { N = 7, MOST = 12, COUNT = 150 };
    static const double fractions[N] = {0.01, 0.03, 0.06, 0.10, 0.15, 0.20, 0.25};
    static const char lone_particle[] =
        "  positions_um: [[0, 0]]\n  diameter_um: 1.5\n  density_kg_m3: 5000\n  magnetics: {kind: "
        "permanent, moment_fAm2: 0.5}\n";
    static const char particles[] = "  count: 150\n  diameter_um: 1.5\n  density_kg_m3: 5000\n  "
                                    "magnetics: {kind: permanent, moment_fAm2: 0.5}\n";
    const int n_seeds = options->n_seeds > MOST ? MOST : options->n_seeds;
    double speed[N][MOST], mean[N], half[N], fit[N], lone[MOST];
#pragma omp parallel for collapse(2) schedule(dynamic)
    for (int k = 0; k < N; k++)
        for (int seed = 0; seed < n_seeds; seed++) {
            char release[128];
            (void)snprintf(release, sizeof release, "release: {at_um: [0, 0], radius_um: %.3f}\n",
                           0.75 * sqrt(COUNT / fractions[k]));
            speed[k][seed] =
                speed_um_s(particles, release, "brownian: true", 3.0, 4.0, 0.5, (uint64_t)seed + 1);
        }
    for (int seed = 0; seed < n_seeds; seed++)
        lone[seed] =
            speed_um_s(lone_particle, "", "brownian: false", 3.0, 4.0, 2.0, (uint64_t)seed + 1);
    const double alone = validate_mean_of((size_t)n_seeds, lone).mean;
    double xx = 0.0, xy = 0.0;
    validate_means(N, (size_t)n_seeds, sizeof *speed / sizeof **speed, *speed, mean, half);
    for (int k = 0; k < N; k++) {
        xx += fractions[k] * fractions[k];
        xy += fractions[k] * (mean[k] - alone);
    }
    double residual = 0.0;
    for (int k = 0; k < N; k++) {
        fit[k] = alone + xy / xx * fractions[k];
        residual = fmax(residual, fabs(mean[k] - fit[k]) / (mean[N - 1] - alone));
    }
    trend_result result = {.n = 1};
    validate_row *row = &result.rows[0];
    row->plot = "density.svg";
    const validate_series series[] = {
        {"runs, mean and 95 %", N, fractions, mean, half, false},
        {"straight from the lone roller", N, fractions, fit, NULL, true}};
    const validate_plot plot = {row->plot,
                                "150 rollers of 1.5 µm with weak moments, 4 Hz, over their density",
                                "area fraction",
                                "mean speed, µm/s",
                                false,
                                false,
                                2,
                                series};
    validate_plot_write(options->folder, &plot);
    (void)snprintf(
        row->measured, sizeof row->measured,
        "Where hydrodynamics dominate, the mean speed of magnetic rollers grows linearly "
        "with their density (Junot, Cebers & Tierno 2021, Soft Matter, arXiv:2109.00289; "
        "abstract seen); groups of rollers outrun single ones (Driscoll et al. 2017, Nat. "
        "Phys. 13:375, arXiv:1609.08673; abstract seen; rows EXT-15, EXT-16)");
    (void)snprintf(
        row->predicted, sizeof row->predicted,
        "%.2f µm/s alone, %.2f ± %.2f at an area fraction of 0.25; a straight line through "
        "the lone roller misses by at most %.0f %% of the rise",
        alone, mean[N - 1], half[N - 1], 100.0 * residual);
    (void)snprintf(row->verdict, sizeof row->verdict, "%s",
                   mean[N - 1] > alone + half[N - 1] && residual < 0.25 ? "agrees" : "partly");
    (void)snprintf(row->cause, sizeof row->cause,
                   "Trend only: their slope was not seen, and ours, a tenfold rise, is the sum of "
                   "flows by pairs, an upper estimate at the dense end; theirs are ellipsoids");
    return result;
}

trend_result trend_file_of_rollers(const trend_options *options)
{
    enum { N = 8, MOST = 12 };
    static const int lengths[N] = {1, 2, 3, 4, 6, 8, 12, 16};
    const int n_seeds = options->n_seeds > MOST ? MOST : options->n_seeds;
    double speed[N][MOST], mean[N], half[N], count[N];
#pragma omp parallel for collapse(2) schedule(dynamic)
    for (int k = 0; k < N; k++)
        for (int seed = 0; seed < n_seeds; seed++) {
            char particles[2048];
            size_t used = (size_t)snprintf(particles, sizeof particles, "  positions_um: [");
            for (int i = 0; i < lengths[k]; i++)
                used += (size_t)snprintf(particles + used, sizeof particles - used, "%s[%.2f, 0]",
                                         i ? ", " : "", 3.02 * i);
            (void)snprintf(particles + used, sizeof particles - used,
                           "]\n  diameter_um: 3.0\n  density_kg_m3: 1800\n  magnetics: {kind: "
                           "permanent, moment_fAm2: 5}\n");
            /* long before it turns up on end, which takes seconds */
            speed[k][seed] =
                speed_um_s(particles, "", "brownian: true", 2.0, 10.0, 1.0, (uint64_t)seed + 1);
        }
    validate_means(N, (size_t)n_seeds, sizeof *speed / sizeof **speed, *speed, mean, half);
    for (int k = 0; k < N; k++) {
        count[k] = lengths[k];
    }
    trend_result result = {.n = 1};
    validate_row *row = &result.rows[0];
    row->plot = "file.svg";
    const validate_series series[] = {{"runs, mean and 95 %", N, count, mean, half, false}};
    const validate_plot plot = {row->plot,
                                "A file of permanent rollers, 3 µm, 10 Hz",
                                "rollers in the file",
                                "speed, µm/s",
                                false,
                                false,
                                1,
                                series};
    validate_plot_write(options->folder, &plot);
    const double late = (mean[N - 1] - mean[N - 2]) / (count[N - 1] - count[N - 2]);
    const double early = (mean[3] - mean[0]) / 3.0;
    (void)snprintf(row->measured, sizeof row->measured,
                   "Chains of colloidal rotors near a plate move faster than single ones, up to a "
                   "speed that no longer grows with length (Martinez-Pedrero, Ortiz-Ambriz, "
                   "Pagonabarraga & Tierno 2015, Phys. Rev. Lett. 115:138301, arXiv:1601.00806; "
                   "abstract seen; row EXT-14)");
    (void)snprintf(
        row->predicted, sizeof row->predicted,
        "%.1f ± %.1f µm/s alone, %.1f ± %.1f for 4, %.1f ± %.1f for 16; each roller more "
        "adds %.2f µm/s up to 4 and %.2f beyond 12",
        mean[0], half[0], mean[3], half[3], mean[N - 1], half[N - 1], early, late);
    (void)snprintf(row->verdict, sizeof row->verdict, "%s",
                   mean[3] > mean[0] + half[3] + half[0] && late < 0.3 * early ? "agrees"
                   : mean[3] > mean[0]                                         ? "partly"
                                                                               : "disagrees");
    (void)snprintf(row->cause, sizeof row->cause,
                   "Trend only: theirs is an elliptical field, and the rotors' flow at contact is "
                   "regularised here");
    return result;
}
