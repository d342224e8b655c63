/* Two particles: the angles at which bonds vanish. */
#include <math.h>
#include <string.h>

#include "trend.h"

static const char scenario[] =
    "format: narrows-scenario/1\n"
    "title: Two particles\n"
    "fluid: {medium: water, temperature_C: 25}\n"
    "particles:\n"
    "  positions_um: [[0, -3], [0, 3]]\n"
    "  diameter_um: 3.0\n"
    "  density_kg_m3: 1800\n"
    "  magnetics: {kind: induced, susceptibility: 0.30, relaxation_time_s: 1.0e-5}\n"
    "channel: {open: true}\n"
    "target: {at_um: [0, 0], radius_um: 50}\n"
    "deadline_s: 0.05\n"
    "model: {brownian: false, pair_flow: false}\n";

/* Rate at which a pair comes together, µm/s; it starts 2 diameters apart, across the
 * heading. */
static double closing_um_s(const char *drive)
{
    char schedule[512];
    (void)snprintf(schedule, sizeof schedule,
                   "format: narrows-schedule/1\nlegs:\n  - {name: on, drive: {%s, field_mT: 10, "
                   "frequency_Hz: 100}, until: {elapsed_s: 0.05}}\n",
                   drive);
    validate_case it = validate_make(scenario, schedule);
    nrw_run_result run = validate_run(&it, NRW_MODEL_RESOLVED, 1, false);
    const double apart = hypot(run.x_um[1] - run.x_um[0], run.y_um[1] - run.y_um[0]);
    nrw_run_result_clear(&run);
    validate_clear(&it);
    return (6.0 - apart) / 0.05;
}

/* Where the rate passes through zero, straight between the points about it. */
static double crossing(size_t n, const double *x, const double *y)
{
    for (size_t i = 1; i < n; i++)
        if ((y[i] > 0.0) != (y[i - 1] > 0.0))
            return x[i - 1] + (x[i] - x[i - 1]) * y[i - 1] / (y[i - 1] - y[i]);
    return NAN;
}

enum { ANGLES = 19 };

/* The drive at an angle, and the bond that (7.1) gives over the largest one. */
static double measure(const char *format, double (*theory)(double), const trend_options *options,
                      const char *file, const char *title, const char *label)
{
    double angle[ANGLES], rate[ANGLES], expected[ANGLES];
    for (int k = 0; k < ANGLES; k++) {
        char drive[160];
        angle[k] = 90.0 * k / (ANGLES - 1);
        (void)snprintf(drive, sizeof drive, format, angle[k]);
        rate[k] = closing_um_s(drive);
    }
    double scale = 0.0;
    for (int k = 0; k < ANGLES; k++)
        scale = fmax(scale, rate[k]);
    double largest = 0.0;
    for (int k = 0; k < ANGLES; k++)
        largest = fmax(largest, theory(angle[k]));
    for (int k = 0; k < ANGLES; k++)
        expected[k] = scale * theory(angle[k]) / largest;
    const validate_series series[] = {
        {"runs, turns resolved", ANGLES, angle, rate, NULL, false},
        {"averaged dipoles (7.2), same largest", ANGLES, angle, expected, NULL, true}};
    const validate_plot plot = {file,  title, label, "coming together, µm/s",
                                false, false, 2,     series};
    validate_plot_write(options->folder, &plot);
    return crossing(ANGLES, angle, rate);
}

/* Abreast, from (7.2): 3/2 cos² δ − 1. */
static double tilted(double deg)
{
    return 1.5 * pow(cos(deg * NRW_DEGREE), 2.0) - 1.0;
}

/* In the plane, precession about the vertical: 3/2 sin² θ − 1. */
static double precessing(double deg)
{
    return 1.5 * pow(sin(deg * NRW_DEGREE), 2.0) - 1.0;
}

static void judge(validate_row *row, double got, double expected)
{
    const bool agrees = fabs(got - expected) < 1.0;
    (void)snprintf(row->predicted, sizeof row->predicted,
                   "A pair 2 diameters apart neither attracts nor repels at %.1f°", got);
    (void)snprintf(row->verdict, sizeof row->verdict, "%s", agrees ? "agrees" : "disagrees");
}

trend_result trend_tilted_bond(const trend_options *options)
{
    trend_result result = {.n = 1};
    validate_row *row = &result.rows[0];
    row->plot = "tilted-bond.svg";
    judge(row,
          measure("mode: rotating, tilt_deg: %.1f", tilted, options, row->plot,
                  "Bond abreast in a tilted rotating field", "tilt, degrees"),
          35.26);
    (void)snprintf(
        row->measured, sizeof row->measured,
        "In a rotating field whose plane is tilted, the bond across the tilt vanishes at "
        "cos²δ = ⅔, 35.3° (averaged dipoles: Martin, Anderson & Tigges 1998, J. Chem. "
        "Phys. 108:3765, from memory; a result of theory)");
    (void)snprintf(row->cause, sizeof row->cause,
                   "A pair that repels moves apart within the run, hence the shallower end of the "
                   "curve");
    return result;
}

trend_result trend_magic_angle(const trend_options *options)
{
    trend_result result = {.n = 1};
    validate_row *row = &result.rows[0];
    row->plot = "magic-angle.svg";
    judge(row,
          measure("mode: precessing, axis: vertical, cone_deg: %.1f", precessing, options,
                  row->plot, "Bond in the plane, field precessing about the vertical",
                  "half-angle of the cone, degrees"),
          54.74);
    (void)snprintf(
        row->measured, sizeof row->measured,
        "A monolayer of paramagnetic particles in a field that precesses about its normal "
        "attracts at 90° and stops doing so between 50° and 55° (Hilou, Du, Kuei & Biswal "
        "2018, Phys. Rev. Materials 2:025602, authors and volume from memory; abstract "
        "seen); the averaged pair energy changes sign at 54.7°");
    (void)snprintf(
        row->cause, sizeof row->cause,
        "Near 54.7° experiments see microphases that pair forces do not explain; neither "
        "do ours");
    return result;
}
