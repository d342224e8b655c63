/* Chains and swarms. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "trend.h"

static int seeds_of(const trend_options *options, int most)
{
    return options->n_seeds > most ? most : options->n_seeds;
}

/* --- chains in a slowly rotating field ------------------------------------------------------- */

enum { CHAIN = 96, TURNS = 3 };

/* Neighbours closer than 1.2 diameters, mean over particles; at: (n x 3). */
static double mean_contacts(size_t n, const float *at)
{
    size_t count = 0;
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++) {
            const double dx = (double)at[3 * i] - (double)at[3 * j];
            const double dy = (double)at[3 * i + 1] - (double)at[3 * j + 1];
            const double dz = (double)at[3 * i + 2] - (double)at[3 * j + 2];
            count += j != i && sqrt(dx * dx + dy * dy + dz * dz) < 3.6;
        }
    return (double)count / (double)n;
}

/* Mean length of what is left of a straight chain of 96 over the last third of three turns or 30 s,
 * all particles over all pieces, and the contacts of a particle, which in chains are 2 at most. */
static double length_left(double frequency_Hz, uint64_t seed, double *mason, double *contacts)
{
    char scenario[4096], schedule[512];
    size_t used = (size_t)snprintf(scenario, sizeof scenario,
                                   "format: narrows-scenario/1\ntitle: A chain\nfluid: {medium: "
                                   "water, temperature_C: 25}\nparticles:\n  positions_um: [");
    for (int i = 0; i < CHAIN; i++)
        used += (size_t)snprintf(scenario + used, sizeof scenario - used, "%s[%.2f, 0]",
                                 i ? ", " : "", 3.0 * i);
    const double seconds = fmax(TURNS / frequency_Hz, 30.0); /* pieces take time to settle */
    (void)snprintf(
        scenario + used, sizeof scenario - used,
        "]\n  diameter_um: 3.0\n  density_kg_m3: 1800\n  magnetics: {kind: induced, "
        "susceptibility: 0.30}\nchannel: {open: true, floor: false}\ntarget: {at_um: [0, "
        "0], radius_um: 300}\ndeadline_s: %g\nimaging: {frame_rate_Hz: %g}\nmodel: "
        "{gravity: false}\n",
        seconds, fmin(10.0, 20.0 * frequency_Hz));
    (void)snprintf(schedule, sizeof schedule,
                   "format: narrows-schedule/1\nlegs:\n  - {name: turn, drive: {mode: rotating, "
                   "field_mT: 10, frequency_Hz: %g}, until: {elapsed_s: %g}}\n",
                   frequency_Hz, seconds);
    validate_case it = validate_make(scenario, schedule);
    nrw_run_result run = validate_run(&it, NRW_MODEL_RESOLVED, seed, true);
    double n_pieces = 0.0, touching = 0.0, n = 0.0;
    for (size_t k = 0; k < run.n_stored; k++) {
        if (run.trajectory_time_s[k] < seconds * (TURNS - 1.0) / TURNS)
            continue;
        n_pieces += (double)validate_clusters(CHAIN, run.trajectory_um + k * CHAIN * 3, 3.6);
        touching += mean_contacts(CHAIN, run.trajectory_um + k * CHAIN * 3);
        n += 1.0;
    }
    *contacts = touching / n;
    /* Mn = 144 η ω/(µ0 M²), Melle et al. 2003 */
    const double volume = NRW_PI / 6.0 * 27.0;
    const double m = nrw_particle_moment_fAm2(&it.scenario->particles, 3.0, 10.0) / volume;
    *mason = 144.0 * it.scenario->fluid.viscosity_Pa_s * 2.0 * NRW_PI * frequency_Hz /
             (4e-7 * NRW_PI * 1e6 * m * m);
    nrw_run_result_clear(&run);
    validate_clear(&it);
    return CHAIN * n / n_pieces;
}

trend_result trend_chain_length(const trend_options *options)
{
    enum { N = 10, MOST = 12 };
    static const double frequencies[N] = {0.03, 0.06, 0.09, 0.13, 0.19, 0.28, 0.4, 0.6, 1.2, 2.4};
    /* a chain breaks into a few pieces, which makes lengths scatter */
    const int n_seeds = seeds_of(&(trend_options){NULL, 2 * options->n_seeds}, MOST);
    double length[N][MOST], touching[N][MOST], mason[N], mean[N], half[N], guide[N], longest[N];
#pragma omp parallel for collapse(2) schedule(dynamic)
    for (int k = 0; k < N; k++)
        for (int seed = 0; seed < n_seeds; seed++) {
            double mn;
            length[k][seed] =
                length_left(frequencies[k], (uint64_t)seed + 1, &mn, &touching[k][seed]);
            if (seed == 0)
                mason[k] = mn;
        }
    validate_means(N, (size_t)n_seeds, sizeof *length / sizeof **length, *length, mean, half);
    for (int k = 0; k < N; k++) {
        /* free-draining chain against the largest torque of its bonds: N(N + 1) = 72/Mn */
        longest[k] = -0.5 + sqrt(0.25 + 72.0 / mason[k]);
    }
    for (int k = 0; k < N; k++)
        guide[k] = mean[2] * sqrt(mason[2] / mason[k]);
    /* the longest are cut short by the 96 that there are; where particles have a tenth more
     * neighbours than in straight chains of that length, pieces are clumps */
    int from = 0, to = 0;
    while (from < N && longest[from] > CHAIN)
        from++;
    for (to = from; to < N; to++)
        if (validate_mean_of((size_t)n_seeds, touching[to]).mean > 2.2 * (1.0 - 1.0 / mean[to]))
            break;
    const validate_mean slope = validate_log_slope((size_t)(to - from), mason + from, mean + from);
    trend_result result = {.n = 1};
    validate_row *row = &result.rows[0];
    row->plot = "chain-length.svg";
    const validate_series series[] = {{"runs, mean and 95 %", N, mason, mean, half, false},
                                      {"power −½", N, mason, guide, NULL, true},
                                      {"longest straight chain", N, mason, longest, NULL, true}};
    const validate_plot plot = {row->plot,
                                "What a rotating field leaves of a chain of 96",
                                "Mason number 144 ηω/µ0M²",
                                "mean length, particles",
                                true,
                                true,
                                3,
                                series};
    validate_plot_write(options->folder, &plot);
    (void)snprintf(
        row->measured, sizeof row->measured,
        "Chains in a rotating field shorten as the Mason number to the power −½ (Melle, "
        "Calderón, Rubio & Fuller 2003, Phys. Rev. E 68:041503, from memory; the trend also "
        "in Brics, Šints, Kitenbergs & Cēbers, arXiv:2011.01003, abstract seen; rows ROT-09, "
        "EXT-22)");
    (void)snprintf(
        row->predicted, sizeof row->predicted,
        "Power %.2f ± %.2f for Mason numbers of %.3f to %.2f, mean lengths of %.1f down to "
        "%.1f",
        slope.mean, slope.half, mason[from], mason[to - 1], mean[from], mean[to - 1]);
    const bool near = fabs(slope.mean + 0.5) <= 0.1;
    (void)snprintf(row->verdict, sizeof row->verdict, "%s", near ? "agrees" : "partly");
    (void)snprintf(
        row->cause, sizeof row->cause,
        "Pieces of one chain stay close, collide and join again, the more the faster they "
        "turn; experiments start dilute. Particles that are pulled drive no flow here, so "
        "that long chains are dragged too hard");
    return result;
}

/* --- swarms that have gathered --------------------------------------------------------------- */

static const char swarm[] =
    "format: narrows-scenario/1\ntitle: A swarm\nfluid: {medium: water, temperature_C: 25}\n"
    "particles:\n  count: 100\n  diameter_um: 3.0\n  diameter_cv: 0.05\n  density_kg_m3: 1800\n"
    "  magnetics: {kind: induced, susceptibility: 0.30, relaxation_time_s: 1.0e-5}\n"
    "channel: {open: true}\nrelease: {at_um: [0, 0], radius_um: 28}\n"
    "target: {at_um: [0, 0], radius_um: 2000}\ndeadline_s: 25\n";

/* Gathers for 10 s, then drives for 15 s: what imaging sees at the end. */
static nrw_morphology after(const char *drive, uint64_t seed)
{
    char schedule[1024];
    (void)snprintf(
        schedule, sizeof schedule,
        "format: narrows-schedule/1\nlegs:\n  - {name: gather, drive: {mode: rotating, "
        "field_mT: 10, frequency_Hz: 50}, until: {elapsed_s: 10}}\n  - {name: go, drive: "
        "{%s}, until: {elapsed_s: 15}}\n",
        drive);
    validate_case it = validate_make(swarm, schedule);
    nrw_run_result run = validate_run(&it, NRW_MODEL_AUTO, seed, false);
    const nrw_morphology final = run.final;
    nrw_run_result_clear(&run);
    validate_clear(&it);
    return final;
}

trend_result trend_break_up(const trend_options *options)
{
    enum { N = 8, MOST = 12 };
    static const double tilts[N] = {0, 10, 20, 30, 40, 50, 60, 70};
    const int n_seeds = seeds_of(options, MOST);
    double share[N][MOST], mean[N], half[N];
#pragma omp parallel for collapse(2) schedule(dynamic)
    for (int k = 0; k < N; k++)
        for (int seed = 0; seed < n_seeds; seed++) {
            char drive[160];
            (void)snprintf(drive, sizeof drive,
                           "mode: rotating, tilt_deg: %g, field_mT: 10, frequency_Hz: 50",
                           tilts[k]);
            share[k][seed] = after(drive, (uint64_t)seed + 1).largest_cluster_fraction;
        }
    double whole = 0.0, broken = NAN;
    validate_means(N, (size_t)n_seeds, sizeof *share / sizeof **share, *share, mean, half);
    for (int k = 0; k < N; k++) {
        if (mean[k] > 0.95)
            whole = tilts[k];
        if (mean[k] < 0.8 && isnan(broken))
            broken = tilts[k];
    }
    trend_result result = {.n = 1};
    validate_row *row = &result.rows[0];
    row->plot = "break-up.svg";
    const validate_series series[] = {{"runs, mean and 95 %", N, tilts, mean, half, false}};
    const validate_plot plot = {row->plot,
                                "100 gathered particles after 15 s in a tilted field",
                                "tilt, degrees",
                                "share in the largest cluster",
                                false,
                                false,
                                1,
                                series};
    validate_plot_write(options->folder, &plot);
    (void)snprintf(
        row->measured, sizeof row->measured,
        "Assemblies that a rotating field has gathered break into pieces when the field is "
        "pitched enough to carry them (assemblies of paramagnetic nanoparticles, 4 mT, 10 "
        "Hz: PMC7366293, figure 5, caption seen; row EXT-19)");
    if (isfinite(broken))
        (void)snprintf(
            row->predicted, sizeof row->predicted,
            "Whole up to %.0f° (%.0f %% and more in one cluster), in pieces from %.0f° on", whole,
            95.0, broken);
    else
        (void)snprintf(row->predicted, sizeof row->predicted,
                       "%.0f %% or more in one cluster at every tilt up to 70°", 80.0);
    (void)snprintf(row->verdict, sizeof row->verdict, "%s",
                   isfinite(broken) && whole >= 10.0 ? "agrees" : "disagrees");
    (void)snprintf(row->cause, sizeof row->cause,
                   "Trend only: no angle was given, and theirs are a thousand times smaller");
    return result;
}

trend_result trend_elongation(const trend_options *options)
{
    enum { N = 6, MOST = 12 };
    static const double ratios[N] = {1.0, 0.8, 0.6, 0.4, 0.2, 0.1};
    const int n_seeds = seeds_of(options, MOST);
    double aspect[N][MOST], mean[N], half[N];
#pragma omp parallel for collapse(2) schedule(dynamic)
    for (int k = 0; k < N; k++)
        for (int seed = 0; seed < n_seeds; seed++) {
            char drive[160];
            (void)snprintf(
                drive, sizeof drive,
                "mode: general, frequency_Hz: 50, cos_mT: [10, 0, 0], sin_mT: [0, %g, 0]",
                10.0 * ratios[k]);
            aspect[k][seed] = after(drive, (uint64_t)seed + 1).aspect_ratio;
        }
    validate_means(N, (size_t)n_seeds, sizeof *aspect / sizeof **aspect, *aspect, mean, half);
    trend_result result = {.n = 1};
    validate_row *row = &result.rows[0];
    row->plot = "elongation.svg";
    const validate_series series[] = {{"runs, mean and 95 %", N, ratios, mean, half, false}};
    const validate_plot plot = {row->plot,
                                "100 gathered particles after 15 s in an elliptical field",
                                "short over long half-axis of the field",
                                "aspect ratio",
                                false,
                                false,
                                1,
                                series};
    validate_plot_write(options->folder, &plot);
    (void)snprintf(
        row->measured, sizeof row->measured,
        "A swarm of paramagnetic nanoparticles lengthens reversibly into a ribbon of very "
        "large aspect ratio as the ratio of the field's parts is tuned (Yu, Wang, Du, Wang "
        "& Zhang 2018, Nat. Commun. 9:3260; abstract seen; row EXT-03)");
    (void)snprintf(row->predicted, sizeof row->predicted,
                   "Aspect %.1f ± %.1f in a round field, %.1f ± %.1f at a ratio of 0.1", mean[0],
                   half[0], mean[N - 1], half[N - 1]);
    const bool longer = mean[N - 1] - half[N - 1] > mean[0] + half[0];
    (void)snprintf(row->verdict, sizeof row->verdict, "%s",
                   !longer                       ? "disagrees"
                   : mean[N - 1] > 3.0 * mean[0] ? "agrees"
                                                 : "partly");
    (void)snprintf(
        row->cause, sizeof row->cause,
        "Theirs are chains of nanoparticles in millions, in an oscillating field, held by "
        "flows; ours a hundred spheres whose contacts hold the shape");
    return result;
}

/* --- permanent moments in step or not ----------------------------------------------------------
 */

/* Up to 4.6 in a crystal of 40. */
static double contacts(const nrw_run_result *run)
{
    float *at = malloc(run->n_particles * 3 * sizeof *at);
    if (!at)
        return NAN;
    for (size_t i = 0; i < run->n_particles; i++) {
        at[3 * i] = (float)run->x_um[i];
        at[3 * i + 1] = (float)run->y_um[i];
        at[3 * i + 2] = (float)run->z_um[i];
    }
    const double mean = mean_contacts(run->n_particles, at);
    free(at);
    return mean;
}

trend_result trend_synchronous_crystal(const trend_options *options)
{
    enum { N = 6, MOST = 12 };
    static const double ratios[N] = {0.3, 0.5, 0.8, 1.1, 1.5, 2.2};
    static const char scenario[] =
        "format: narrows-scenario/1\ntitle: Spinners\nfluid: {medium: water, temperature_C: 25}\n"
        "particles:\n  count: 40\n  diameter_um: 3.0\n  density_kg_m3: 1800\n  magnetics: {kind: "
        "permanent, moment_fAm2: 12}\nchannel: {open: true}\nrelease: {at_um: [0, 0], radius_um: "
        "20}\ntarget: {at_um: [0, 0], radius_um: 2000}\ndeadline_s: 20\n";
    const int n_seeds = seeds_of(options, MOST);
    double share[N][MOST], mean[N], half[N];
    nrw_drive_setting setting = nrw_drive_setting_defaults();
    setting.field_mT = 1.5;
    setting.frequency_Hz = 1.0;
    validate_case probe =
        validate_make(scenario, "format: narrows-schedule/1\nlegs:\n  - {name: a, "
                                "drive: {mode: off}, until: {elapsed_s: 1}}\n");
    const double step_out = nrw_regime_of(probe.scenario, &setting, NULL).step_out_Hz;
    validate_clear(&probe);
#pragma omp parallel for collapse(2) schedule(dynamic)
    for (int k = 0; k < N; k++)
        for (int seed = 0; seed < n_seeds; seed++) {
            char schedule[512];
            (void)snprintf(schedule, sizeof schedule,
                           "format: narrows-schedule/1\nlegs:\n  - {name: spin, drive: {mode: "
                           "rotating, field_mT: 1.5, frequency_Hz: %g}, until: {elapsed_s: 20}}\n",
                           ratios[k] * step_out);
            validate_case it = validate_make(scenario, schedule);
            nrw_run_result run = validate_run(&it, NRW_MODEL_RESOLVED, (uint64_t)seed + 1, false);
            share[k][seed] = contacts(&run);
            nrw_run_result_clear(&run);
            validate_clear(&it);
        }
    validate_means(N, (size_t)n_seeds, sizeof *share / sizeof **share, *share, mean, half);
    trend_result result = {.n = 1};
    validate_row *row = &result.rows[0];
    row->plot = "in-step.svg";
    const validate_series series[] = {{"runs, mean and 95 %", N, ratios, mean, half, false}};
    const validate_plot plot = {row->plot,
                                "40 permanent moments after 20 s in a flat rotating field",
                                "frequency over step-out",
                                "neighbours in contact",
                                true,
                                false,
                                1,
                                series};
    validate_plot_write(options->folder, &plot);
    (void)snprintf(
        row->measured, sizeof row->measured,
        "Magnetic colloids in a rotating field form crystals where single particles keep in "
        "step with it, and a disordered state where they don't (Yan, Bae & Granick 2015, "
        "Soft Matter 11:147, doi 10.1039/c4sm01962h; abstract seen; predicted by Jäger & "
        "Klapp 2011)");
    (void)snprintf(
        row->predicted, sizeof row->predicted,
        "%.1f ± %.1f neighbours in contact at 0.3 of step-out, %.1f ± %.1f at 1.1, %.1f ± "
        "%.1f at 2.2",
        mean[0], half[0], mean[3], half[3], mean[N - 1], half[N - 1]);
    (void)snprintf(row->verdict, sizeof row->verdict, "%s",
                   mean[0] - half[0] > mean[N - 1] + half[N - 1] ? "agrees" : "disagrees");
    (void)snprintf(row->cause, sizeof row->cause,
                   "Trend only: theirs are Janus spheres of another moment");
    return result;
}
