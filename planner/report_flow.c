/* The way of the particles from release to target as a stream that loses some at
 * each stage; from the `losses` of result.json. */
#include "report_parts.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "svg.h"

enum {
    WIDTH = 920,
    HEIGHT = 280,
    SHORT_HEIGHT = 156, /* when nothing is lost */
    LEFT = 8,
    RIGHT = 128, /* for the words beside what is retained */
    STREAM_TOP = 46,
    STREAM_HEIGHT = 96, /* of all particles */
    DRAIN = 196,        /* where the losses end */
    MOST_STAGES = 64,
    MOST_EXITS = 256
};

typedef struct flow_exit {
    size_t stage;
    const char *after, *vessel, *cause;
    nrw_fate fate;
    double particles, percent, at_um[2];
} flow_exit;

typedef struct flow_stage {
    const char *name;
    double reached, lost, lost_percent;
} flow_stage;

typedef struct loss_stream {
    const char *path;
    double particles, retained_percent;
    flow_stage stages[MOST_STAGES];
    size_t n_stages;
    flow_exit exits[MOST_EXITS];
    size_t n_exits;
} loss_stream;

static size_t stage_named(const loss_stream *flow, const char *name)
{
    size_t s = 0;
    while (name && s < flow->n_stages && strcmp(flow->stages[s].name, name) != 0)
        s++;
    return s;
}

static void take_stages(const nrw_report *report, loss_stream *flow)
{
    size_t n = nrw_report_size(report, "%s.stages", flow->path);
    flow->n_stages = 0;
    for (size_t s = 0; s < n && s < MOST_STAGES; s++) {
        flow_stage *stage = &flow->stages[flow->n_stages];
        stage->name = nrw_report_string(report, "%s.stages.%zu.stage", flow->path, s);
        stage->reached = nrw_report_number(report, "%s.stages.%zu.reached", flow->path, s);
        stage->lost = nrw_report_number(report, "%s.stages.%zu.lost", flow->path, s);
        stage->lost_percent =
            nrw_report_number(report, "%s.stages.%zu.lost_percent", flow->path, s);
        flow->n_stages += stage->name != NULL;
    }
}

static void take_exits(const nrw_report *report, loss_stream *flow)
{
    size_t n = nrw_report_size(report, "%s.exits", flow->path);
    flow->n_exits = 0;
    for (size_t e = 0; e < n && e < MOST_EXITS; e++) {
        flow_exit *one = &flow->exits[flow->n_exits];
        one->after = nrw_report_string(report, "%s.exits.%zu.after", flow->path, e);
        one->vessel = nrw_report_string(report, "%s.exits.%zu.vessel", flow->path, e);
        one->cause = nrw_report_string(report, "%s.exits.%zu.cause", flow->path, e);
        one->fate =
            nrw_report_fate_named(nrw_report_string(report, "%s.exits.%zu.fate", flow->path, e));
        one->particles = nrw_report_number(report, "%s.exits.%zu.particles", flow->path, e);
        one->percent = nrw_report_number(report, "%s.exits.%zu.percent", flow->path, e);
        for (int k = 0; k < 2; k++)
            one->at_um[k] = nrw_report_number(report, "%s.exits.%zu.at_um.%d", flow->path, e, k);
        one->stage = stage_named(flow, one->after);
        flow->n_exits += one->stage < flow->n_stages && one->fate < NRW_N_FATES && one->cause;
    }
}

static bool take_flow(const nrw_report *report, const char *path, loss_stream *flow)
{
    flow->path = path;
    flow->particles = nrw_report_number(report, "%s.particles", path);
    flow->retained_percent = nrw_report_number(report, "%s.retained_percent", path);
    take_stages(report, flow);
    take_exits(report, flow);
    return flow->n_stages > 1 && flow->particles > 0;
}

/* --- picture ------------------------------------------------------------------ */

/* A few words for what happened, to stand below the stream. */
static const char *short_cause(nrw_fate fate, nrw_loss_cause cause)
{
    if (cause == NRW_LOSS_PAST_BUT_APART && fate == NRW_FATE_IN_TRANSIT)
        return "past, with the swarm";
    static const char *const words[NRW_N_LOSS_CAUSES] = {[NRW_LOSS_PLUGGED] = "plugged",
                                                         [NRW_LOSS_POCKET] = "in a pocket",
                                                         [NRW_LOSS_IN_THROAT] = "in the throat",
                                                         [NRW_LOSS_WRONG_BRANCH] = "wrong branch",
                                                         [NRW_LOSS_PAST_BUT_APART] = "past, apart",
                                                         [NRW_LOSS_STUCK] = "stuck",
                                                         [NRW_LOSS_SWEPT] = "swept out",
                                                         [NRW_LOSS_OTHER] = "on the way"};
    return (unsigned)cause < NRW_N_LOSS_CAUSES ? words[cause] : "";
}

static double column_width(const loss_stream *flow)
{
    return (double)(WIDTH - LEFT - RIGHT) / (double)flow->n_stages;
}

/* The stream: as thick as the share that reached each stage, thinner from below. */
static void put_stream(nrw_markup *out, const loss_stream *flow)
{
    double wide = column_width(flow);
    nrw_markup_put(out, "<path class='stream' d='M%d %dH%c", LEFT, STREAM_TOP,
                   LEFT + wide * (double)flow->n_stages);
    for (size_t k = flow->n_stages; k-- > 0;) {
        double thick = STREAM_HEIGHT * flow->stages[k].reached / flow->particles;
        double x = LEFT + wide * (double)k;
        /* straight under the stage's own column; the step lies at its left edge */
        nrw_markup_put(out, "L%c %cL%c %c", x + wide, STREAM_TOP + thick, x, STREAM_TOP + thick);
    }
    nrw_markup_put(out, "Z'/>\n");
}

/* What leaves at the end of a stage's column: a ribbon that runs on a little and
 * turns down to the drain. `from` is its upper edge in the stream. */
static void put_ribbon(nrw_markup *out, const flow_exit *one, double x, double from, double thick,
                       double to)
{
    double inner = 6, outer = inner + thick, end = to + thick, low = from + thick;
    nrw_markup_put(out,
                   "<path class='lost-%r' d='M%c %cH%cQ%c %c %c %cV%dH%cV%cQ%c %c %c %cH%cZ'/>\n",
                   nrw_fate_name(one->fate), x, from, end - outer, end, from, end, from + outer,
                   DRAIN, to, low + inner, to, low, to - inner, low, x);
}

/* Words of an exit below the drain, on one line or two, cut to the column; returns
 * the next line's height. */
static double put_words(nrw_markup *out, const flow_exit *one, double x, double y, double wide)
{
    const double line = 14, small = 11.0 / 12;
    char percent[NRW_FIGURE_SIZE], text[96];
    const char *cause = short_cause(one->fate, nrw_report_cause_named(one->cause));
    (void)nrw_figure_text(one->percent, percent);
    (void)snprintf(text, sizeof text, "%s %% %s", percent, cause);
    if (small * nrw_svg_text_width(text) > wide) {
        nrw_markup_put(out, "<text class='note' x='%c' y='%c'>%s %%</text>", x, y, percent);
        (void)snprintf(text, sizeof text, "%s", cause);
        y += line;
    }
    size_t length = strlen(text);
    while (length > 3 && small * nrw_svg_text_width(text) > wide)
        strcpy(text + --length - 1, "."); /* our own words, of plain letters */
    nrw_markup_put(out, "<text class='note' x='%c' y='%c'>%s</text>\n", x, y, text);
    return y + line;
}

/* The exits of one stage, the lowest in the stream nearest, so that none cross. */
static void put_stage_exits(nrw_markup *out, const loss_stream *flow, size_t s)
{
    double x = LEFT + column_width(flow) * (double)(s + 1), to = x + 8, line = DRAIN + 15;
    double bottom = STREAM_TOP + STREAM_HEIGHT * flow->stages[s].reached / flow->particles;
    size_t n_left = 0;
    for (size_t e = flow->n_exits; e-- > 0;) {
        const flow_exit *one = &flow->exits[e];
        if (one->stage != s)
            continue;
        double thick = STREAM_HEIGHT * one->particles / flow->particles;
        put_ribbon(out, one, x, bottom - thick, fmax(thick, 0.8), to);
        bottom -= thick;
        to += thick + 2;
        if (line < HEIGHT - 30)
            line = put_words(out, one, x + 4, line, column_width(flow) - 8);
        else
            n_left++;
    }
    if (n_left > 0)
        nrw_markup_put(out, "<text class='note' x='%c' y='%d'>and %z more</text>\n", x + 4,
                       HEIGHT - 4, n_left);
}

static void put_stage_names(nrw_markup *out, const loss_stream *flow)
{
    double wide = column_width(flow);
    for (size_t k = 0; k < flow->n_stages; k++) {
        double x = LEFT + wide * (double)k;
        bool fits = nrw_svg_text_width(flow->stages[k].name) < wide - 6;
        nrw_markup_put(out, "<path class='rule' d='M%c %dv%d'/>", x, STREAM_TOP - 6,
                       STREAM_HEIGHT + 12);
        if (fits || flow->n_stages <= 8)
            nrw_markup_put(out, "<text x='%c' y='14'>%s</text>", x + 3, flow->stages[k].name);
        else
            nrw_markup_put(out, "<text x='%c' y='14'>%z</text>", x + 3, k + 1);
        nrw_markup_put(out, "<text class='note' x='%c' y='30'>%p</text>\n", x + 3,
                       flow->stages[k].reached / flow->particles);
    }
}

static void put_picture(nrw_report *report, const loss_stream *flow)
{
    nrw_markup *out = &report->out;
    double retained = flow->stages[flow->n_stages - 1].reached / flow->particles;
    double right = LEFT + column_width(flow) * (double)flow->n_stages;
    nrw_markup_put(out, "<figure class='wide'><div class='scroll' tabindex='0' role='region' "
                        "aria-label='Loss flow'>\n");
    nrw_svg_open(
        out, "flow-picture", WIDTH, flow->n_exits > 0 ? HEIGHT : SHORT_HEIGHT,
        "Particles from release to target",
        "A stream as thick as the share of particles that reached each stage; what is lost "
        "after a stage bends down out of it. The tables below have the values.");
    put_stream(out, flow);
    for (size_t s = 0; s < flow->n_stages; s++)
        put_stage_exits(out, flow, s);
    put_stage_names(out, flow);
    nrw_markup_put(out,
                   "<text x='%c' y='%c'>%n %% in the target</text><text class='note' x='%c' "
                   "y='%c'>at the end</text>\n",
                   right + 6, STREAM_TOP + STREAM_HEIGHT * retained / 2 + 2, flow->retained_percent,
                   right + 6, STREAM_TOP + STREAM_HEIGHT * retained / 2 + 17);
    nrw_svg_close(out);
    nrw_markup_put(out, "</div>\n<figcaption>From release to target: the stream is as thick as the "
                        "share that reached each stage. What went no further bends down, coloured "
                        "by its fate.</figcaption>\n");
}

/* --- tables --------------------------------------------------------------------- */

static void put_stage_rows(nrw_report *report, const loss_stream *flow)
{
    static const char *const heads[] = {"Stage", "Reached it", "Share", "Went no further", "Share"};
    nrw_report_data_begin(report, "stages of the way", 5, heads);
    for (size_t k = 0; k < flow->n_stages; k++) {
        const flow_stage *stage = &flow->stages[k];
        bool last = k + 1 == flow->n_stages;
        nrw_markup_put(&report->out, "<tr><th scope='row'>%s</th><td>%n</td><td>%p</td>",
                       stage->name, stage->reached, stage->reached / flow->particles);
        if (last)
            nrw_markup_put(&report->out, "<td>–</td><td>–</td></tr>\n");
        else
            nrw_markup_put(&report->out, "<td>%n</td><td>%n %%</td></tr>\n", stage->lost,
                           stage->lost_percent);
    }
    nrw_report_data_end(report);
}

static void put_exit_rows(nrw_report *report, const loss_stream *flow)
{
    static const char *const heads[] = {"After", "Where",     "Around, µm", "What happened",
                                        "Fate",  "Particles", "Share"};
    nrw_markup *out = &report->out;
    if (flow->n_exits == 0)
        return;
    nrw_report_data_begin(report, "where and why particles were lost", 7, heads);
    for (size_t e = 0; e < flow->n_exits; e++) {
        const flow_exit *one = &flow->exits[e];
        nrw_markup_put(out,
                       "<tr><th scope='row'>%s</th><td>%s</td><td>(%n, %n)</td><td>%r</td>"
                       "<td>%r</td><td>%n</td><td>%n %%</td></tr>\n",
                       one->after, one->vessel, one->at_um[0], one->at_um[1],
                       nrw_report_cause_word(nrw_report_cause_named(one->cause)),
                       nrw_report_fate_word(one->fate), one->particles, one->percent);
    }
    nrw_report_data_end(report);
}

void nrw_report_flow(nrw_report *report, const char *path)
{
    loss_stream *flow = calloc(1, sizeof *flow);
    if (!flow) {
        report->out.failed = true;
        return;
    }
    if (take_flow(report, path, flow)) {
        nrw_report_section(report, "losses", "Losses");
        put_picture(report, flow);
        put_stage_rows(report, flow);
        put_exit_rows(report, flow);
        nrw_markup_put(&report->out, "</figure>\n");
        nrw_report_section_end(report);
    }
    free(flow);
}
