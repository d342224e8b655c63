/* The report of an export: limits, what the coils play, what the rig gives. */
#include "report_parts.h"

#include <math.h>
#include <string.h>

#include "rig.h"
#include "svg.h"

/* A limit of result.json. */
typedef struct limit_row {
    const char *limit, *unit, *who, *where, *source, *action;
    double value, allowed, distance_mm;
    bool ok, hard;
} limit_row;

static const char *text_of(const nrw_report *report, size_t i, const char *key)
{
    const char *text = nrw_report_string(report, "figures.limits.%zu.%s", i, key);
    return text ? text : "";
}

static limit_row take_row(const nrw_report *report, size_t i)
{
    char path[64];
    (void)snprintf(path, sizeof path, "figures.limits.%zu.ok", i);
    return (limit_row){.limit = text_of(report, i, "limit"),
                       .unit = text_of(report, i, "unit"),
                       .who = text_of(report, i, "who"),
                       .where = text_of(report, i, "where"),
                       .source = text_of(report, i, "source"),
                       .action = text_of(report, i, "action"),
                       .value = nrw_report_number(report, "figures.limits.%zu.value", i),
                       .allowed = nrw_report_number(report, "figures.limits.%zu.allowed", i),
                       .distance_mm =
                           nrw_report_number(report, "figures.limits.%zu.distance_mm", i),
                       .ok = nrw_result_get_bool(report->in->result, path),
                       .hard = strcmp(text_of(report, i, "kind"), "rig") == 0};
}

static size_t count_exceeded(const nrw_report *report, bool hard)
{
    size_t n = nrw_report_size(report, "figures.limits"), exceeded = 0;
    for (size_t i = 0; i < n; i++) {
        const limit_row row = take_row(report, i);
        exceeded += row.hard == hard && !row.ok;
    }
    return exceeded;
}

static bool is_refused(const nrw_report *report)
{
    return isnan(nrw_report_number(report, "figures.samples"));
}

/* --- summary ------------------------------------------------------------------------ */

static void put_names_allowed(nrw_report *report)
{
    nrw_markup *out = &report->out;
    size_t n = nrw_report_size(report, "figures.allowed_by_name");
    for (size_t i = 0; i < n; i++)
        nrw_markup_put(out, "%r%s", i ? ", " : ": ",
                       nrw_report_string(report, "figures.allowed_by_name.%zu", i));
}

/* What the samples are worth where nothing watches. */
static void put_playback(nrw_report *report)
{
    if (isnan(nrw_report_number(report, "figures.playback.trials")))
        return;
    nrw_markup_put(&report->out,
                   "<dt>Without imaging</dt><dd>Samples can’t steer: played as they are they "
                   "deliver %p of the nominal batch, and <span class='mark'>%p</span> (95 %%: %p "
                   "to %p) over %n batches as uncertain as the scenario says.</dd>\n",
                   nrw_report_number(report, "figures.playback.nominal_delivered"),
                   nrw_report_number(report, "figures.playback.delivered_fraction"),
                   nrw_report_number(report, "figures.playback.low"),
                   nrw_report_number(report, "figures.playback.high"),
                   nrw_report_number(report, "figures.playback.trials"));
}

static void put_played(nrw_report *report)
{
    nrw_markup *out = &report->out;
    const char *from = nrw_report_string(report, "figures.times_from");
    bool of_run = from && strcmp(from, "run") == 0;
    nrw_markup_put(
        out,
        "<p class='verdict'><strong>%n s</strong> <span>of currents, %n samples, for the "
        "%z legs of the schedule. %r</span></p>\n<dl class='short'>\n",
        nrw_report_number(report, "figures.duration_s"),
        nrw_report_number(report, "figures.samples"), report->in->schedule->n_legs,
        count_exceeded(report, true) == 0 ? "Every limit of the rig is kept."
                                          : "Limits of the rig are exceeded.");
    nrw_markup_put(out, "<dt>Times</dt><dd>%r</dd>\n",
                   of_run ? "Some legs follow what imaging sees. The sampled currents are those of "
                            "one simulated run; on a bench with imaging, follow steps.json."
                          : "Every leg ends by the clock.");
    put_playback(report);
    nrw_markup_put(out,
                   "<dt>Joins</dt><dd>%n between legs and phases, the longest %n ms; at most %n J "
                   "are stored in the coils.</dd>\n",
                   nrw_report_number(report, "figures.joins"),
                   1e3 * nrw_report_number(report, "figures.longest_join_s"),
                   nrw_report_number(report, "figures.stored_energy_J"));
    if (count_exceeded(report, true) > 0) {
        nrw_markup_put(out,
                       "<dt>Set aside</dt><dd class='mark'>%z limits of the rig are exceeded "
                       "and were allowed by name",
                       count_exceeded(report, true));
        put_names_allowed(report);
        nrw_markup_put(out, ".</dd>\n");
    }
    nrw_markup_put(out,
                   "<dt>People</dt><dd>%z of the levels for people are exceeded in the middle "
                   "of the coils; what to do stands beside each.</dd>\n",
                   count_exceeded(report, false));
}

void nrw_report_export_summary(nrw_report *report)
{
    nrw_markup *out = &report->out;
    nrw_report_section(report, "summary", "In short");
    if (is_refused(report))
        nrw_markup_put(out,
                       "<p class='verdict'><strong>No</strong> <span>The rig can’t play this "
                       "schedule: %z of its limits are exceeded; the table below says which."
                       "</span></p>\n<dl class='short'>\n",
                       count_exceeded(report, true));
    else
        put_played(report);
    nrw_markup_put(out, "<dt>Next</dt><dd><ul>\n%r</ul></dd>\n</dl>\n",
                   is_refused(report)
                       ? "<li>Plan again: <code>narrows plan</code> keeps within the rig. Or lower "
                         "field, frequency or tilt in the legs that are named.</li>\n"
                       : "<li>Check signs and frames before the first experiment: <code>narrows "
                         "check scenario.yaml --wizard</code>.</li>\n<li>Measure the field at one "
                         "low current on every axis against the calibration, then play the first "
                         "leg alone. bench-card.html is to print.</li>\n");
    nrw_report_section_end(report);
}

/* --- limits -------------------------------------------------------------------------- */

static const char *state_of(const limit_row *row)
{
    return isnan(row->value) ? "not known" : row->ok ? "below" : "exceeded";
}

static void put_rig_limits(nrw_report *report)
{
    static const char *const heads[] = {"Limit", "Asked", "Allowed", "Unit", "Which is"};
    nrw_markup *out = &report->out;
    size_t n = nrw_report_size(report, "figures.limits");
    nrw_report_table_begin(report, "Limits of the rig", 5, heads);
    for (size_t i = 0; i < n; i++) {
        const limit_row row = take_row(report, i);
        if (row.hard)
            nrw_markup_put(out,
                           "<tr><th scope='row'>%s</th><td%r>%n</td><td>%n</td><td>%s</td>"
                           "<td%r>%r</td></tr>\n",
                           row.limit, row.ok ? "" : " class='mark'", row.value, row.allowed,
                           row.unit, row.ok ? "" : " class='mark'", state_of(&row));
    }
    nrw_report_table_end(report);
    nrw_markup_put(out, "<p class='quiet'>From the rig block of the scenario. One that is exceeded "
                        "refuses the export, unless it is allowed by name (<code>--allow</code>)."
                        "</p>\n");
}

static void put_people_row(nrw_markup *out, const limit_row *row)
{
    nrw_markup_put(out,
                   "<tr><th scope='row'>%s</th><td%r>%n</td><td>%n</td><td>%s</td><td%r>%r</td>"
                   "<td>%s; %s",
                   row->limit, row->ok ? "" : " class='mark'", row->value, row->allowed,
                   row->unit[0] ? row->unit : "sum", row->ok ? "" : " class='mark'", state_of(row),
                   row->who, row->where);
    if (isfinite(row->distance_mm))
        nrw_markup_put(out, "; met from about %n mm off the middle on", row->distance_mm);
    nrw_markup_put(out, "</td><td>%s</td><td>%s</td></tr>\n", row->source, row->action);
}

static void put_people(nrw_report *report)
{
    static const char *const heads[] = {"Level",    "Value",      "Allowed", "Unit",
                                        "Which is", "Who, where", "Source",  "What to do"};
    nrw_markup *out = &report->out;
    size_t n = nrw_report_size(report, "figures.limits");
    nrw_report_section(report, "people", "People and sample");
    nrw_report_table_begin(report, "Levels for people and sample", 8, heads);
    for (size_t i = 0; i < n; i++) {
        const limit_row row = take_row(report, i);
        if (!row.hard)
            put_people_row(out, &row);
    }
    nrw_report_table_end(report);
    nrw_markup_put(out, "<p class='quiet'>These inform and decide nothing. A sum is that of rms "
                        "field over level, over all frequencies. Fields are those in the middle of "
                        "the coils and fall off outside; measure where people are.</p>\n");
    nrw_report_section_end(report);
}

void nrw_report_export_limits(nrw_report *report)
{
    nrw_report_section(report, "rig-limits", "Limits of the rig");
    put_rig_limits(report);
    nrw_report_section_end(report);
    if (!is_refused(report))
        put_people(report);
}

/* --- the rig's curve --------------------------------------------------------------------- */

#define CURVE_POINTS 60

/* Largest field of a rotation at a tilt against frequency. */
static void fill_curve(const nrw_rig *rig, double tilt_deg, const double *frequencies,
                       double *fields)
{
    nrw_drive_setting setting = nrw_drive_setting_defaults();
    setting.heading_kind = NRW_HEADING_CENTRELINE;
    setting.tilt_deg = tilt_deg;
    for (int i = 0; i < CURVE_POINTS; i++) {
        setting.frequency_Hz = frequencies[i];
        fields[i] = nrw_rig_available_field_mT(rig, &setting, NULL);
    }
}

static void put_curve(nrw_report *report, const double *frequencies, const double *flat,
                      const double *rolling)
{
    enum { WIDTH = 620, HEIGHT = 270, LEFT = 52, TOP = 28, RIGHT = 14, BOTTOM = 44 };
    nrw_markup *out = &report->out;
    double top = 1e-9;
    for (int i = 0; i < CURVE_POINTS; i++)
        top = fmax(top, 1.12 * fmax(flat[i], rolling[i]));
    nrw_svg_plot plot = {out,
                         LEFT,
                         TOP,
                         WIDTH - LEFT - RIGHT,
                         HEIGHT - TOP - BOTTOM,
                         0,
                         frequencies[CURVE_POINTS - 1],
                         0,
                         top};
    nrw_markup_put(out, "<figure class='single'>");
    nrw_svg_open(out, "rig-picture", WIDTH, HEIGHT, "Largest field against frequency",
                 "Largest rotating field that currents, voltages and the rig's own limit allow, "
                 "for rotation in the plane and for rolling; the table below has the values.");
    nrw_svg_axis_y(&plot, "field, mT");
    nrw_svg_line(&plot, "line-1", CURVE_POINTS, frequencies, flat);
    nrw_svg_line(&plot, "line-2", CURVE_POINTS, frequencies, rolling);
    nrw_svg_axis_x(&plot, "frequency, Hz");
    nrw_svg_close(out);
    nrw_markup_put(out,
                   "<figcaption>Largest rotating field at any heading; without a vertical coil "
                   "there is no rolling.<ul class='key'><li><svg class='sample' viewBox='0 0 26 "
                   "10' aria-hidden='true'><path class='line-1' d='M0 5h26'/></svg>in the "
                   "plane</li><li><svg class='sample' viewBox='0 0 26 10' aria-hidden='true'>"
                   "<path class='line-2' d='M0 5h26'/></svg>rolling (tilt 90°)</li></ul>"
                   "</figcaption></figure>\n");
}

void nrw_report_export_rig(nrw_report *report)
{
    static const char *const heads[] = {"Frequency, Hz", "In the plane, mT", "Rolling, mT"};
    const nrw_rig *rig = &report->in->scenario->rig;
    double frequencies[CURVE_POINTS], flat[CURVE_POINTS], rolling[CURVE_POINTS];
    if (!rig->present)
        return;
    for (int i = 0; i < CURVE_POINTS; i++)
        frequencies[i] = rig->frequency_max_Hz * (i + 1) / CURVE_POINTS;
    fill_curve(rig, 0.0, frequencies, flat);
    fill_curve(rig, 90.0, frequencies, rolling);
    nrw_report_section(report, "rig", "What the rig gives");
    put_curve(report, frequencies, flat, rolling);
    nrw_report_data_begin(report, "largest field against frequency", 3, heads);
    for (int i = 0; i < CURVE_POINTS; i++)
        nrw_markup_put(&report->out, "<tr><th scope='row'>%n</th><td>%n</td><td>%n</td></tr>\n",
                       frequencies[i], flat[i], rolling[i]);
    nrw_report_data_end(report);
    nrw_report_section_end(report);
}
