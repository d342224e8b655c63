/* report.html of an export. */
#include <math.h>
#include <string.h>

#include "export_parts.h"
#include "report_parts.h"
#include "svg.h"

#define CURVE_POINTS 60

static void put_summary(nrw_report *report, const nrw_export *export)
{
    nrw_markup *out = &report->out;
    size_t exceeded = 0, informs = 0;
    for (size_t i = 0; i < export->n_checks; i++) {
        exceeded += export->checks[i].hard && !export->checks[i].ok;
        informs += !export->checks[i].hard && !export->checks[i].ok;
    }
    nrw_report_section(report, "summary", "In short");
    if (export->refused)
        nrw_markup_put(out,
                       "<p><strong>The rig can't play this schedule.</strong> %z of its "
                       "limits are exceeded; the table below says which.</p>\n",
                       exceeded);
    else
        nrw_markup_put(out,
                       "<p><strong>%n s at %n samples a second</strong>, %z joins, the longest %n "
                       "ms. Stored energy up to %n J.</p>\n",
                       export->duration_s, nrw_wave_sample_rate_Hz(export->wave), export->n_joins,
                       1e3 * export->longest_join_s, export->energy_J);
    if (!export->refused && exceeded > 0)
        nrw_markup_put(out,
                       "<p class='mark'>%z limits of the rig are exceeded and were set aside "
                       "by name.</p>\n",
                       exceeded);
    if (export->times == NRW_EXPORT_TIMES_RUN && export->wave)
        nrw_markup_put(out, "<p>Some legs follow what imaging sees. The sampled currents are those "
                            "of one simulated run; on a bench with imaging, follow steps.json.</p>"
                            "\n");
    if (!export->refused)
        nrw_markup_put(out,
                       "<p>%z of the levels for people are exceeded in the middle of the "
                       "coils; what to do stands beside each.</p>\n",
                       informs);
    nrw_report_section_end(report);
}

static const char *state_of(const nrw_limit_check *check)
{
    return isnan(check->value) ? "not known" : check->ok ? "below" : "exceeded";
}

static void put_rig_limits(nrw_report *report, const nrw_export *export)
{
    nrw_markup *out = &report->out;
    nrw_report_section(report, "rig-limits", "Limits of the rig");
    nrw_markup_put(out, "<div class='scroll' tabindex='0' role='region' "
                        "aria-label='Limits of the rig'><table>\n<thead><tr>"
                        "<th scope='col'>Limit</th><th scope='col'>Asked</th>"
                        "<th scope='col'>Allowed</th><th scope='col'>Unit</th>"
                        "<th scope='col'></th></tr></thead>\n<tbody>\n");
    for (size_t i = 0; i < export->n_checks; i++) {
        const nrw_limit_check *check = &export->checks[i];
        if (check->hard)
            nrw_markup_put(out,
                           "<tr><th scope='row'>%s</th><td%r>%n</td><td>%n</td><td>%s</td>"
                           "<td>%r</td></tr>\n",
                           check->limit, check->ok ? "" : " class='mark'", check->value,
                           check->allowed, check->unit, state_of(check));
    }
    nrw_markup_put(out, "</tbody></table></div>\n<p class='quiet'>From the rig block of the "
                        "scenario. One that is exceeded refuses the export, unless it is allowed "
                        "by name (--allow).</p>\n");
    nrw_report_section_end(report);
}

static void put_people_row(nrw_markup *out, const nrw_limit_check *check)
{
    nrw_markup_put(out,
                   "<tr><th scope='row'>%s</th><td%r>%n</td><td>%n</td><td>%s</td><td>%r</td>"
                   "<td>%s; %s",
                   check->limit, check->ok ? "" : " class='mark'", check->value, check->allowed,
                   check->unit[0] ? check->unit : "sum", state_of(check), check->who, check->where);
    if (isfinite(check->distance_mm))
        nrw_markup_put(out, "; met from about %n mm off the middle on", check->distance_mm);
    nrw_markup_put(out, "</td><td>%s</td><td>%s</td></tr>\n", check->source, check->action);
}

static void put_people(nrw_report *report, const nrw_export *export)
{
    nrw_markup *out = &report->out;
    nrw_report_section(report, "people", "People and sample");
    nrw_markup_put(out, "<div class='scroll' tabindex='0' role='region' "
                        "aria-label='Levels for people and sample'><table>\n<thead><tr>"
                        "<th scope='col'>Level</th><th scope='col'>Value</th>"
                        "<th scope='col'>Level</th><th scope='col'>Unit</th><th scope='col'></th>"
                        "<th scope='col'>Who, where</th><th scope='col'>Source</th>"
                        "<th scope='col'>What to do</th></tr></thead>\n<tbody>\n");
    for (size_t i = 0; i < export->n_checks; i++)
        if (!export->checks[i].hard)
            put_people_row(out, &export->checks[i]);
    nrw_markup_put(
        out, "</tbody></table></div>\n<p class='quiet'>These inform and decide nothing. A sum "
             "is that of rms field over level, over all frequencies. Fields are those in the "
             "middle of the coils and fall off outside; measure where people are.</p>\n");
    nrw_report_section_end(report);
}

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

static void put_curve(nrw_report *report, const nrw_export *export)
{
    nrw_markup *out = &report->out;
    const nrw_rig *rig = &export->config.scenario->rig;
    double frequencies[CURVE_POINTS], flat[CURVE_POINTS], rolling[CURVE_POINTS], top = 0.0;
    for (int i = 0; i < CURVE_POINTS; i++)
        frequencies[i] = rig->frequency_max_Hz * (i + 1) / CURVE_POINTS;
    fill_curve(rig, 0.0, frequencies, flat);
    fill_curve(rig, 90.0, frequencies, rolling);
    for (int i = 0; i < CURVE_POINTS; i++)
        top = fmax(top, fmax(flat[i], rolling[i]));
    nrw_report_section(report, "rig", "What the rig gives");
    nrw_svg_plot plot = {out, 52.0, 12.0, 560.0, 190.0, 0.0, rig->frequency_max_Hz, 0.0, 1.1 * top};
    nrw_svg_open(out, "curve", 630.0, 245.0, "Largest field against frequency",
                 "Largest rotating field that currents, voltages and the rig's own limit allow, "
                 "for rotation in the plane and for rolling.");
    nrw_svg_axis_x(&plot, "frequency, Hz");
    nrw_svg_axis_y(&plot, "field, mT");
    nrw_svg_line(&plot, "line-1", CURVE_POINTS, frequencies, flat);
    nrw_svg_line(&plot, "line-2", CURVE_POINTS, frequencies, rolling);
    nrw_svg_close(out);
    nrw_markup_put(out, "<p class='quiet'>Rotation in the plane and rolling (tilt 90°), any "
                        "heading; where the rig has no vertical coil, rolling has none.</p>\n");
    static const char *const heads[] = {"Hz", "in the plane, mT", "rolling, mT"};
    nrw_report_data_begin(report, "largest field against frequency", 3, heads);
    for (int i = 0; i < CURVE_POINTS; i++)
        nrw_markup_put(out, "<tr><td>%n</td><td>%n</td><td>%n</td></tr>\n", frequencies[i], flat[i],
                       rolling[i]);
    nrw_report_data_end(report);
    nrw_report_section_end(report);
}

nrw_status nrw_export_report(const nrw_export *export, const nrw_result *result,
                             const char *schedule_text, char **html, size_t *size,
                             nrw_errors *errors)
{
    const nrw_export_config *config = &export->config;
    const nrw_report_input input = {
        .scenario = config->scenario,
        .channel = config->channel,
        .schedule = config->schedule,
        .run = export->run.n_visits > 0 ? &export->run : NULL,
        .result = result,
        .schedule_text = schedule_text,
    };
    nrw_report report = {.in = &input};
    nrw_report_begin(&report, "Export");
    put_summary(&report, export);
    put_rig_limits(&report, export);
    if (export->wave)
        put_people(&report, export);
    nrw_report_legs(&report);
    put_curve(&report, export);
    nrw_report_warnings(&report);
    nrw_report_validity(&report);
    nrw_report_provenance(&report);
    nrw_report_end(&report);
    *html = report.out.text;
    *size = report.out.size;
    if (!report.out.failed)
        return NRW_OK;
    nrw_markup_clear(&report.out);
    *html = NULL;
    return nrw_errors_add(errors, NRW_NO_MEMORY, NULL, "out of memory");
}
