/* The summary: what was asked, what came out, how sure, what next. */
#include "report_parts.h"

#include <math.h>

/* --- verdict ---------------------------------------------------------------- */

static void put_strip(nrw_report *report, const double fractions[NRW_N_FATES])
{
    nrw_markup *out = &report->out;
    nrw_markup_put(out, "<div class='strip' role='img' aria-label='Of all particles: ");
    for (int i = 0; i < NRW_N_FATES; i++)
        if (fractions[i] > 0)
            nrw_markup_put(out, "%p %r; ", fractions[i], nrw_report_fate_word((nrw_fate)i));
    nrw_markup_put(out, "'>");
    for (int i = 0; i < NRW_N_FATES; i++)
        if (fractions[i] > 0)
            nrw_markup_put(out, "<span class='fate-%r' style='width:%c%%'></span>",
                           nrw_fate_name((nrw_fate)i), 100 * fractions[i]);
    nrw_markup_put(out, "</div>\n");
}

void nrw_report_strip(nrw_report *report, const char *path)
{
    double fractions[NRW_N_FATES], sum = 0;
    for (int i = 0; i < NRW_N_FATES; i++) {
        fractions[i] =
            i == NRW_FATE_DELIVERED
                ? nrw_report_number(report, "%s.delivered_fraction", path)
                : nrw_report_number(report, "%s.lost.%s", path, nrw_fate_name((nrw_fate)i));
        sum += fractions[i];
    }
    if (isfinite(sum))
        put_strip(report, fractions);
}

static void put_verdict(nrw_report *report)
{
    const nrw_scenario *scenario = report->in->scenario;
    const nrw_run_result *run = report->in->run;
    nrw_markup *out = &report->out;
    double delivered = run->fate_fraction[NRW_FATE_DELIVERED];
    bool partial = nrw_result_get_bool(report->in->result, "figures.partial");
    size_t count = (size_t)lround(delivered * (double)run->n_particles);
    nrw_markup_put(out,
                   "<p class='verdict'><strong>%p</strong> <span>delivered: %z of %z particles "
                   "lie in the target circle after %n s. ",
                   delivered, count, run->n_particles, run->time_s);
    if (partial)
        nrw_markup_put(out, "The run stopped before its end; this is what was done.");
    else
        nrw_markup_put(out, "The goal of at least %p is %r.", scenario->goal.fraction_min,
                       delivered >= scenario->goal.fraction_min ? "reached" : "not reached");
    nrw_markup_put(out, "</span></p>\n");
    put_strip(report, run->fate_fraction);
}

/* --- sentences -------------------------------------------------------------- */

static void put_place(nrw_markup *out, const nrw_scenario *scenario, const nrw_place *place)
{
    if (place->node >= 0)
        nrw_markup_put(out, "“%s”", scenario->map.nodes[place->node].name);
    else
        nrw_markup_put(out, "(%n, %n) µm", place->at_um[0], place->at_um[1]);
}

static void put_way(nrw_report *report)
{
    const nrw_channel *channel = report->in->channel;
    double gathered = nrw_scenario_gathered_diameter_um(report->in->scenario);
    nrw_markup *out = &report->out;
    size_t n_throats = 0;
    if (!channel || nrw_channel_is_open(channel)) {
        nrw_markup_put(out, channel ? ", without side walls" : "");
        return;
    }
    (void)nrw_channel_throats(channel, &n_throats);
    double narrowest = nrw_channel_narrowest_um(channel, NULL);
    nrw_markup_put(out, ", %n µm along the centreline", nrw_channel_route_length_um(channel));
    if (n_throats == 0)
        nrw_markup_put(out, ", nowhere narrower than the gathered swarm (%n µm)", gathered);
    else
        nrw_markup_put(out,
                       " through %z throat%r, %n µm at the narrowest: %n of the gathered swarm’s "
                       "%n µm, so it must change its shape",
                       n_throats, n_throats > 1 ? "s" : "", narrowest, narrowest / gathered,
                       gathered);
}

void nrw_report_asked(nrw_report *report)
{
    const nrw_scenario *scenario = report->in->scenario;
    nrw_markup *out = &report->out;
    nrw_markup_put(
        out, "<dt>Asked</dt><dd>Bring %z %r %r of %n µm from ", scenario->particles.count,
        scenario->particles.kind == NRW_MOMENT_INDUCED ? "induced" : "permanent",
        scenario->particles.shape.doublet ? "doublets with the volume of spheres" : "particles",
        scenario->particles.diameter_um);
    if (scenario->has_release)
        put_place(out, scenario, &scenario->release);
    else
        nrw_markup_put(out, "their given places");
    nrw_markup_put(out, " to ");
    put_place(out, scenario, &scenario->target);
    put_way(report);
    nrw_markup_put(out, ". Deadline %n s.</dd>\n", scenario->deadline_s);
}

static void put_done(nrw_report *report)
{
    const nrw_run_result *run = report->in->run;
    nrw_markup *out = &report->out;
    size_t n_timeouts = 0;
    for (size_t i = 0; i < run->n_visits; i++)
        n_timeouts += run->visits[i].end == NRW_LEG_TIMEOUT;
    nrw_markup_put(out, "<dt>Done</dt><dd>%z leg visit%r in %n s", run->n_visits,
                   run->n_visits == 1 ? "" : "s", run->time_s);
    if (n_timeouts > 0)
        nrw_markup_put(out, ", %z of them ended by a time limit", n_timeouts);
    if (isfinite(run->time_to_target_s))
        nrw_markup_put(out, "; the swarm reached the target after %n s", run->time_to_target_s);
    else
        nrw_markup_put(out, "; the swarm as a whole did not reach the target");
    nrw_markup_put(out, ". On the way its centroid moved at %n µm/s on average.</dd>\n",
                   run->mean_speed_um_s);
}

static const nrw_loss_place *largest_loss(const nrw_run_result *run)
{
    const nrw_loss_place *largest = NULL;
    for (size_t i = 0; i < run->n_losses; i++)
        if (!largest || run->losses[i].fraction > largest->fraction)
            largest = &run->losses[i];
    return largest;
}

static void put_loss(nrw_report *report)
{
    const nrw_loss_place *loss = largest_loss(report->in->run);
    nrw_markup *out = &report->out;
    nrw_markup_put(out, "<dt>Largest loss</dt><dd>");
    if (loss)
        nrw_markup_put(out, "%p at %s, around (%n, %n) µm: %r.", loss->fraction, loss->place,
                       loss->at_um[0], loss->at_um[1], nrw_report_cause_word(loss->cause));
    else
        nrw_markup_put(out, "None.");
    nrw_markup_put(out, "</dd>\n");
}

/* The averaged model holds for N_b ≤ 2 and Λ < 0.3 (docs/physics.md, section 7). */
static bool outside_range(const nrw_leg_visit *visit)
{
    return visit->model == NRW_MODEL_AVERAGED &&
           (visit->cycle_displacement > 2 || visit->shedding_number >= 0.3);
}

static void put_confidence(nrw_report *report)
{
    const nrw_run_result *run = report->in->run;
    nrw_markup *out = &report->out;
    size_t n_outside = 0, n_averaged = 0;
    const nrw_leg_visit *loosest = NULL;
    for (size_t i = 0; i < run->n_visits; i++) {
        n_outside += outside_range(&run->visits[i]);
        n_averaged += run->visits[i].model == NRW_MODEL_AVERAGED;
        if (!loosest || run->visits[i].shedding_number > loosest->shedding_number)
            loosest = &run->visits[i];
    }
    nrw_markup_put(out, "<dt>Confidence</dt><dd>One run with nominal properties and one seed: "
                        "there is no interval, and where much is lost another seed may differ by "
                        "tens of per cent. ");
    if (n_outside > 0)
        nrw_markup_put(out,
                       "The period-averaged model was used outside its range in %z leg "
                       "visit%r (table below): don't rely on those.",
                       n_outside, n_outside > 1 ? "s" : "");
    else if (n_averaged == 0)
        nrw_markup_put(out, "The field's turns were resolved in every leg.");
    else
        nrw_markup_put(out, "The period-averaged model was used within its range.");
    if (loosest && loosest->shedding_number > 0.5)
        nrw_markup_put(out,
                       " In leg “%s” Λ is %n: particles may be shed faster than bonds pull them "
                       "back, and what happens there is the least sure.",
                       report->in->schedule->legs[loosest->leg].name, loosest->shedding_number);
    nrw_markup_put(out, "</dd>\n");
}

void nrw_report_next_measure(nrw_report *report)
{
    nrw_markup_put(&report->out,
                   "<li>Measure the speed of one lone roller and of the gathered swarm at one "
                   "setting of the coils: they fix <code>rolling_factor</code> and "
                   "<code>pair_flow_factor</code>, the least certain inputs.</li>\n");
}

static void put_next(nrw_report *report)
{
    const nrw_run_result *run = report->in->run;
    const nrw_loss_place *loss = largest_loss(run);
    nrw_markup *out = &report->out;
    nrw_markup_put(out, "<dt>Next</dt><dd><ul>\n");
    if (loss)
        nrw_markup_put(out, "<li>%r</li>\n", nrw_report_cause_advice(loss->cause));
    for (size_t i = 0; i < run->n_visits; i++) {
        if (run->visits[i].end != NRW_LEG_TIMEOUT)
            continue;
        nrw_markup_put(out,
                       "<li>Leg “%s” ran into its time limit: see in the pictures whether its "
                       "condition was near, or out of reach.</li>\n",
                       report->in->schedule->legs[run->visits[i].leg].name);
        break;
    }
    nrw_markup_put(out, "<li>Run the same files with other seeds (<code>--seed 2</code>, "
                        "<code>3</code>, …) before you believe a difference.</li>\n");
    nrw_report_next_measure(report);
    nrw_markup_put(out, "</ul></dd>\n");
}

void nrw_report_summary(nrw_report *report)
{
    nrw_markup *out = &report->out;
    nrw_report_section(report, "summary", "In short");
    if (report->in->run)
        put_verdict(report);
    else
        nrw_markup_put(out, "<p class='verdict'><strong>No</strong> <span>Nothing was simulated: "
                            "the warnings below give the reason.</span></p>\n");
    nrw_markup_put(out, "<dl class='short'>\n");
    nrw_report_asked(report);
    if (report->in->run) {
        put_done(report);
        put_loss(report);
        put_confidence(report);
        put_next(report);
    }
    nrw_markup_put(out, "</dl>\n");
    nrw_report_section_end(report);
}
