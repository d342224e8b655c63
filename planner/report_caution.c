/* What the figures hold for, and what to take care of. */
#include "report_parts.h"

#include <math.h>

static void put_switches(nrw_report *report)
{
    const nrw_model_options *model = &report->in->scenario->model;
    nrw_markup *out = &report->out;
    nrw_markup_put(out,
                   "<p>Brownian motion %r, gravity %r, flow between particles %r, mutual induction "
                   "%r; rolling factor %n, pair-flow factor %n.",
                   model->brownian ? "on" : "off", model->gravity ? "on" : "off",
                   model->pair_flow ? "on" : "off", model->mutual_induction ? "on" : "off",
                   model->rolling_factor, model->pair_flow_factor);
    if (report->in->run)
        nrw_markup_put(out,
                       " Gap under a lone particle at the start: %n µm. Largest overlap of two "
                       "particles: %p of a diameter.",
                       report->in->run->gap_um, report->in->run->largest_overlap);
    nrw_markup_put(out, "</p>\n");
}

void nrw_report_validity(nrw_report *report)
{
    nrw_report_section(report, "validity", "Validity and care");
    nrw_report_assumptions(report);
    put_switches(report);
    nrw_report_care(report);
    nrw_report_section_end(report);
}

void nrw_report_care(nrw_report *report)
{
    nrw_markup_put(
        &report->out,
        "<p>Predicted by a model: spheres that roll on a floor and meet as point dipoles, in fluid "
        "without inertia. Not modelled: dry friction, the drag of side walls (unless "
        "<code>wall_drag</code> is on) and ceiling on a particle's own motion, the flow back "
        "through closed channels, shapes other than "
        "spheres and doublets of two lobes. Speeds are the least certain, the ranking of schedules "
        "the most.</p>\n"
        "<h3>Before this is tried on a bench</h3>\n<ul class='care'>\n"
        "<li>Strong coils: currents and stored energy can hurt; interlock, fuse and discharge "
        "them. Fields move tools and pinch fingers between magnets and iron.</li>\n"
        "<li>Implants and pacemakers: keep people who carry them, and magnetic media, well away "
        "from the field.</li>\n"
        "<li>Heating: coils, and at high frequency conducting and magnetic matter, warm up; watch "
        "temperatures.</li>\n"
        "<li>Particles: avoid inhaling or spilling them. In anything that lives, a swarm can block "
        "vessels (emboli), and nothing here says what is safe there.</li>\n"
        "<li>Local codes, approvals and licensed practice come before anything this report "
        "says.</li>\n</ul>\n"
        "<p><strong>A research planning aid, not a medical device.</strong></p>\n");
}
