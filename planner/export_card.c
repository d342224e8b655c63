/* The bench card: one page to print and lie beside the microscope. */
#include <math.h>
#include <string.h>

#include "export_parts.h"
#include "markup.h"
#include "report_parts.h"

static const char style[] =
    "@page{size:A4 landscape;margin:10mm}"
    "body{font:10pt/1.3 sans-serif;margin:1.5em auto;max-width:270mm;color:#111;background:#fff}"
    "h1{font-size:15pt;margin:0}h2{font-size:11pt;margin:.9em 0 .2em}p{margin:.2em 0}"
    "table{border-collapse:collapse;width:100%}"
    "th,td{border:1px solid #888;padding:.15em .4em;text-align:left;vertical-align:top}"
    "thead th{background:#eee}.columns{display:flex;gap:2em}.columns>*{flex:1}"
    "ul{margin:.1em 0;padding-left:1.2em}.box{display:inline-block;width:.9em;height:.9em;"
    "border:1px solid "
    "#111;margin-right:.5em;vertical-align:-.1em}td:first-child{white-space:nowrap}ul.boxes{list-"
    "style:none;padding-left:0}"
    "footer{margin-top:.8em;font-size:8.5pt}"
    "@media print{body{margin:0;max-width:none;font-size:9pt}}";

/* What to look for while a leg runs, from what ends it. */
static const char *watch_for(const nrw_leg *leg)
{
    const unsigned present = leg->until.present;
    if (present & NRW_UNTIL_TAIL_PAST)
        return "a neck before the throat, a rod in it, a blob behind; stragglers on the shoulders";
    if (present & (NRW_UNTIL_CENTROID_PAST | NRW_UNTIL_CENTROID_WITHIN))
        return "one piece, on its way; pieces that stay behind";
    if (present & NRW_UNTIL_CLUSTER_ABOVE)
        return "pieces that join; one piece at the end";
    if (present & (NRW_UNTIL_SPREAD_BELOW | NRW_UNTIL_WIDTH_BELOW | NRW_UNTIL_ASPECT_ABOVE |
                   NRW_UNTIL_ASPECT_BELOW))
        return "the shape, until it fits";
    return "one piece, in the field of view";
}

/* When the samples play a leg: each visit from its start to the next one's. */
static void put_times(nrw_markup *out, const nrw_timeline *timeline, int leg)
{
    const char *before = "";
    for (size_t i = 0; i < timeline->n_items;) {
        size_t next = i + 1;
        const nrw_timeline_item *item = &timeline->items[i];
        while (next < timeline->n_items && timeline->items[next].leg == item->leg &&
               !(timeline->items[next].leg_start_s > item->leg_start_s))
            next++;
        if (item->leg == leg) {
            nrw_markup_put(out, "%r%n to %n s", before, item->time_s,
                           next < timeline->n_items ? timeline->items[next].time_s
                                                    : timeline->end_s);
            before = "<br/>";
        }
        i = next;
    }
    if (!before[0])
        nrw_markup_put(out, "not played");
}

static void put_leg(nrw_markup *out, const nrw_export *export, size_t index)
{
    const nrw_schedule *schedule = export->config.schedule;
    const nrw_leg *leg = &schedule->legs[index];
    nrw_markup_put(out, "<tr><td><span class='box'></span>%z</td><th scope='row'>%s</th><td>",
                   index + 1, leg->name);
    nrw_report_drive_words(out, &leg->drive);
    nrw_markup_put(out, "</td><td>");
    nrw_report_until_words(out, leg);
    nrw_markup_put(out, "</td><td>");
    nrw_report_exit_words(out, schedule, leg);
    nrw_markup_put(out, "</td><td>");
    put_times(out, &export->timeline, (int)index);
    nrw_markup_put(out, "</td><td>%r</td></tr>\n", watch_for(leg));
}

static void put_legs(nrw_markup *out, const nrw_export *export)
{
    nrw_markup_put(out,
                   "<h2>Legs</h2>\n<table><thead><tr><th>#</th><th>Leg</th><th>Field</th>"
                   "<th>Until</th><th>Or</th><th>%r</th><th>Watch for</th></tr></thead>\n<tbody>\n",
                   export->times == NRW_EXPORT_TIMES_RUN ? "In the run" : "From, to");
    for (size_t i = 0; i < export->config.schedule->n_legs; i++)
        put_leg(out, export, i);
    nrw_markup_put(out, "</tbody></table>\n");
}

static void put_coils(nrw_markup *out, const nrw_export *export)
{
    const nrw_rig_model *model = &export->model;
    nrw_markup_put(out, "<div><h2>Coils</h2>\n<table><thead><tr><th>Coil</th><th>Peak A</th>"
                        "<th>of</th><th>RMS A</th><th>Peak V</th><th>of</th></tr></thead>\n"
                        "<tbody>\n");
    for (int k = 0; k < model->n_coils; k++)
        nrw_markup_put(out,
                       "<tr><th scope='row'>%s</th><td>%n</td><td>%n</td><td>%n</td><td>%n</td>"
                       "<td>%n</td></tr>\n",
                       model->names[k], export->peak_A[k], model->allowed[NRW_RIG_PEAK_A][k],
                       export->rms_A[k], export->peak_V[k], model->allowed[NRW_RIG_PEAK_V][k]);
    nrw_markup_put(out, "</tbody></table>\n<p>Stored energy up to %n J. %z samples at %n Hz, %n s.",
                   export->energy_J, export->samples, nrw_wave_sample_rate_Hz(export->wave),
                   export->duration_s);
    for (int i = 0; i < NRW_N_ALLOWANCES; i++)
        if (export->config.allowed & 1U << i)
            nrw_markup_put(out, " <strong>Limit set aside by name: %r.</strong>",
                           nrw_export_allowance_name(i));
    nrw_markup_put(out, "</p></div>\n");
}

static void put_people(nrw_markup *out, const nrw_export *export)
{
    nrw_markup_put(out, "<div><h2>People: levels that are exceeded in the middle of the coils</h2>"
                        "\n<ul>\n");
    size_t n = 0;
    for (size_t i = 0; i < export->n_checks; i++) {
        const nrw_limit_check *check = &export->checks[i];
        if (check->hard || check->ok)
            continue;
        nrw_markup_put(out, "<li>%s: %n against %n %s (%s). To do: %s.</li>\n", check->limit,
                       check->value, check->allowed, check->unit, check->who, check->action);
        n++;
    }
    if (n == 0)
        nrw_markup_put(out, "<li>None of those listed; the figures are in report.html.</li>\n");
    nrw_markup_put(out, "</ul></div>\n");
}

static void put_habits(nrw_markup *out)
{
    nrw_markup_put(
        out,
        "<div class='columns'><div><h2>Before</h2>\n<ul class='boxes'>\n"
        "<li><span class='box'></span>Signs and frames checked (narrows check --wizard).</li>\n"
        "<li><span class='box'></span>Interlock, fuses, discharge path of the coils.</li>\n"
        "<li><span class='box'></span>People with implants out; magnetic tools away.</li>\n"
        "<li><span class='box'></span>SHA256SUMS agree with the files loaded.</li>\n</ul></div>\n"
        "<div><h2>On a stall</h2>\n<ul>\n"
        "<li>No advance: take the leg that the table names; if it names none, gather again for "
        "some seconds and try once more.</li>\n"
        "<li>A plug at the mouth: drive back by one diameter, gather, approach again.</li>\n"
        "<li>Pieces apart: drive back for some seconds and home again; waiting joins nothing."
        "</li>\n</ul></div>\n"
        "<div><h2>To stop</h2>\n<ul>\n"
        "<li>Play the leg's <code>leave</code> segment at the end of a loop, then nothing.</li>\n"
        "<li>In an emergency cut the amplifiers; the coils must discharge by themselves.</li>\n"
        "</ul></div></div>\n");
}

static void put_playback(nrw_markup *out, const nrw_playback *playback)
{
    if (playback->n_trials > 0)
        nrw_markup_put(
            out,
            "<p><strong>Currents alone can't steer.</strong> Played without imaging they "
            "deliver %p of the nominal batch, and %p (%p to %p) over %z batches as "
            "uncertain as the scenario says.</p>\n",
            playback->nominal, playback->delivered, playback->interval.low, playback->interval.high,
            playback->n_trials);
}

nrw_status nrw_export_card(const nrw_export *export, char **html, size_t *size, nrw_errors *errors)
{
    nrw_markup out = {0};
    const nrw_scenario *scenario = export->config.scenario;
    const bool from_run = export->times == NRW_EXPORT_TIMES_RUN;
    const char *title = scenario->title ? scenario->title : "Untitled scenario";
    nrw_markup_put(&out,
                   "<!DOCTYPE html>\n<html lang='en'><head><meta charset='utf-8'/>\n"
                   "<title>Bench card: %s</title>\n<style>%r</style></head>\n<body>\n"
                   "<h1>%s</h1>\n<p>%z particles of %n µm; %r</p>\n",
                   title, style, title, scenario->particles.count, scenario->particles.diameter_um,
                   from_run ? "times in currents.csv are those of one simulated run: with imaging, "
                              "follow steps.json instead."
                            : "every leg ends by the clock.");
    put_playback(&out, &export->playback);
    put_legs(&out, export);
    nrw_markup_put(&out, "<div class='columns'>\n");
    put_coils(&out, export);
    put_people(&out, export);
    nrw_markup_put(&out, "</div>\n");
    put_habits(&out);
    nrw_markup_put(&out,
                   "<footer>Scenario %s. Predicted by a model; a research planning aid, not a "
                   "medical device. Local rules and licensed practice come first.</footer>\n"
                   "</body></html>\n",
                   scenario->sha256);
    *html = out.text;
    *size = out.size;
    if (!out.failed)
        return NRW_OK;
    nrw_markup_clear(&out);
    *html = NULL;
    return nrw_errors_add(errors, NRW_NO_MEMORY, NULL, "out of memory");
}
