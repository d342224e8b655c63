/* Legs, fates, losses and warnings as tables and lists. */
#include "report_parts.h"

#include <math.h>
#include <stdio.h>

/* --- legs ------------------------------------------------------------------- */

static const char *end_word(nrw_leg_end end)
{
    switch (end) {
    case NRW_LEG_CONDITION:
        return "its condition";
    case NRW_LEG_TIMEOUT:
        return "its time limit";
    case NRW_LEG_STALL:
        return "a stall";
    case NRW_LEG_DEADLINE:
        return "the deadline";
    case NRW_LEG_STOPPED:
        break;
    }
    return "the run’s stop";
}

static void put_leg_cells(nrw_report *report, const nrw_leg *leg)
{
    nrw_markup *out = &report->out;
    nrw_markup_put(out, "<th scope='row'>%s</th><td>", leg->name);
    nrw_report_drive_words(out, &leg->drive);
    nrw_markup_put(out, "</td><td>");
    nrw_report_until_words(out, leg);
    nrw_markup_put(out, "</td><td>");
    nrw_report_exit_words(out, report->in->schedule, leg);
    nrw_markup_put(out, "</td>");
}

static void put_visit(nrw_report *report, size_t number, const nrw_leg_visit *visit)
{
    nrw_markup *out = &report->out;
    bool averaged = visit->model == NRW_MODEL_AVERAGED;
    nrw_markup_put(out, "<tr><td>%z</td>", number);
    put_leg_cells(report, &report->in->schedule->legs[visit->leg]);
    nrw_markup_put(out, "<td>%n</td><td>%n</td><td%r>%r</td><td>%r</td>", visit->start_s,
                   visit->end_s, visit->end == NRW_LEG_CONDITION ? "" : " class='mark'",
                   end_word(visit->end), averaged ? "averaged" : "resolved");
    nrw_markup_put(
        out, "<td%r>%n</td><td%r>%n</td></tr>\n",
        averaged && visit->cycle_displacement > 2 ? " class='mark'" : "", visit->cycle_displacement,
        averaged && visit->shedding_number >= 0.3 ? " class='mark'" : "", visit->shedding_number);
}

void nrw_report_legs(nrw_report *report)
{
    const nrw_report_input *in = report->in;
    nrw_markup *out = &report->out;
    if (in->schedule->n_legs == 0)
        return;
    nrw_report_section(report, "legs", "Legs");
    nrw_markup_put(out, "<div class='scroll' tabindex='0' role='region' aria-label='Legs of the "
                        "schedule'><table class='legs'>\n<thead><tr><th scope='col'>#</th>"
                        "<th scope='col'>Leg</th><th scope='col'>Drive</th>"
                        "<th scope='col'>Until</th><th scope='col'>Limits</th>");
    if (in->run)
        nrw_markup_put(out, "<th scope='col'>From, s</th><th scope='col'>To, s</th>"
                            "<th scope='col'>Ended by</th><th scope='col'>Model</th>"
                            "<th scope='col'>N<sub>b</sub></th><th scope='col'>Λ</th>");
    nrw_markup_put(out, "</tr></thead>\n<tbody>\n");
    for (size_t i = 0; in->run && i < in->run->n_visits; i++)
        put_visit(report, i + 1, &in->run->visits[i]);
    for (size_t i = 0; !in->run && i < in->schedule->n_legs; i++) {
        nrw_markup_put(out, "<tr><td>%z</td>", i + 1);
        put_leg_cells(report, &in->schedule->legs[i]);
        nrw_markup_put(out, "</tr>\n");
    }
    nrw_markup_put(out, "</tbody></table></div>\n");
    if (in->run)
        nrw_markup_put(out, "<p class='quiet'>N<sub>b</sub>: displacement of a touching pair in "
                            "one turn of the field; averaging over turns holds up to 2. Λ: spin "
                            "against attraction; below 0.3 the swarm keeps together. Marked: out "
                            "of range, or not ended by its condition.</p>\n");
    nrw_report_section_end(report);
}

/* --- fates ------------------------------------------------------------------ */

static void put_fate_rows(nrw_report *report)
{
    const nrw_run_result *run = report->in->run;
    nrw_markup *out = &report->out;
    nrw_markup_put(out, "<table class='fates'>\n<thead><tr><th scope='col'>Fate</th>"
                        "<th scope='col'>Particles</th><th scope='col'>Share</th>"
                        "<th scope='col' class='bar-head'><span class='unseen'>As a bar</span>"
                        "</th></tr></thead>\n<tbody>\n");
    for (int i = 0; i < NRW_N_FATES; i++) {
        /* the delivered first, then the losses */
        int fate = i == 0 ? NRW_FATE_DELIVERED : i <= (int)NRW_FATE_DELIVERED ? i - 1 : i;
        double fraction = run->fate_fraction[fate];
        nrw_markup_put(out,
                       "<tr><th scope='row'>%r</th><td>%z</td><td>%p</td><td class='bar'>"
                       "<span class='fate-%r' style='width:%c%%'></span></td></tr>\n",
                       nrw_report_fate_word((nrw_fate)fate),
                       (size_t)lround(fraction * (double)run->n_particles), fraction,
                       nrw_fate_name((nrw_fate)fate), 100 * fraction);
    }
    nrw_markup_put(out, "</tbody></table>\n");
}

static void put_loss_rows(nrw_report *report)
{
    const nrw_run_result *run = report->in->run;
    nrw_markup *out = &report->out;
    if (run->n_losses == 0)
        return;
    nrw_markup_put(out, "<h3>Where and why particles were lost</h3>\n<div class='scroll' "
                        "tabindex='0' role='region' aria-label='Losses by place'><table>\n<thead>"
                        "<tr><th scope='col'>Mark</th><th scope='col'>Place</th>"
                        "<th scope='col'>At, µm</th><th scope='col'>Share</th>"
                        "<th scope='col'>What happened</th><th scope='col'>What usually helps</th>"
                        "</tr></thead>\n<tbody>\n");
    for (size_t i = 0; i < run->n_losses; i++) {
        const nrw_loss_place *loss = &run->losses[i];
        char letter[2] = {i < 26 ? (char)('A' + (int)i) : '\0', '\0'};
        nrw_markup_put(out,
                       "<tr><th scope='row'>%r</th><td>%s</td><td>(%n, %n)</td><td>%p</td>"
                       "<td>%r</td><td>%r</td></tr>\n",
                       letter, loss->place, loss->at_um[0], loss->at_um[1], loss->fraction,
                       nrw_report_cause_word(loss->cause), nrw_report_cause_advice(loss->cause));
    }
    nrw_markup_put(out, "</tbody></table></div>\n");
}

void nrw_report_fates(nrw_report *report)
{
    if (!report->in->run)
        return;
    nrw_report_section(report, "fates", "Fates");
    put_fate_rows(report);
    put_loss_rows(report);
    nrw_report_section_end(report);
}

/* --- warnings --------------------------------------------------------------- */

void nrw_report_warnings(nrw_report *report)
{
    size_t n = nrw_result_get_size(report->in->result, "warnings");
    nrw_markup *out = &report->out;
    nrw_report_section(report, "warnings", "Warnings");
    nrw_markup_put(out, n ? "<ul class='warnings'>\n" : "<p>None.</p>\n");
    for (size_t i = 0; i < n; i++) {
        char path[48];
        (void)snprintf(path, sizeof path, "warnings.%zu", i);
        nrw_markup_put(out, "<li>%s</li>\n", nrw_result_get_string(report->in->result, path));
    }
    nrw_markup_put(out, n ? "</ul>\n" : "");
    nrw_report_section_end(report);
}
