#include "validity.h"

#include <math.h>
#include <string.h>

#include "average.h"
#include "body.h"
#include "flow.h"
#include "flow_duct.h"
#include "particle.h"
#include "validity_words.h"

/* Saturation of magnetite (Cullity & Graham 2009): where a scenario gives none, its
 * particles have less iron oxide than that, so that they saturate earlier. */
#define MAGNETITE_kA_m 480.0
/* Iron oxide or polymer and glass across water (Israelachvili 2011), 1e-20 J; and
 * Gregory's wavelength. */
#define HAMAKER_pN_um 0.01
#define WAVELENGTH_um 0.1
/* Places along the route at which its width is asked for. */
enum { WIDTH_SAMPLES = 400 };

/* What a leg's numbers follow from. */
typedef struct basis {
    const nrw_scenario *scenario;
    const nrw_channel *channel;
    const nrw_leg *leg;
    const nrw_leg_seen *seen;
    nrw_body body;
    int n; /* settings: 1, or 2 with alternation */
    const nrw_drive_setting *settings[2];
    double shares[2]; /* of the time */
    nrw_regime regimes[2];
    double peaks_mT[2];
    bool resolved, many, closed;
    double narrowest_um, widest_um; /* on the leg's way, or the route; INFINITY: no side walls */
} basis;

nrw_model nrw_leg_recommended_model(const nrw_scenario *scenario, const nrw_leg *leg,
                                    const nrw_draw *draw)
{
    nrw_model model = nrw_regime_of(scenario, &leg->drive.main, draw).recommended;
    if (leg->drive.alternate_share > 0.0 && model != NRW_MODEL_RESOLVED)
        model = nrw_regime_of(scenario, &leg->drive.other, draw).recommended;
    return model;
}

/* Least and largest width of the stretch that the swarm was on, or of the whole route. */
static void find_widths(basis *b)
{
    b->narrowest_um = b->widest_um = INFINITY;
    if (!b->closed)
        return;
    double from = 0.0, to = nrw_channel_route_length_um(b->channel);
    b->narrowest_um = nrw_channel_narrowest_um(b->channel, NULL);
    if (b->seen && isfinite(b->seen->rear_um) && isfinite(b->seen->front_um)) {
        from = b->seen->rear_um;
        to = b->seen->front_um;
        b->narrowest_um = INFINITY;
    }
    b->widest_um = 0.0;
    for (int k = 0; k <= WIDTH_SAMPLES; k++) {
        const double width =
            nrw_channel_route_width_um(b->channel, from + (to - from) * (double)k / WIDTH_SAMPLES);
        b->narrowest_um = fmin(b->narrowest_um, width);
        b->widest_um = fmax(b->widest_um, width);
    }
}

static void fill(basis *b, const nrw_draw *draw)
{
    const nrw_drive *drive = &b->leg->drive;
    b->body = nrw_body_of(b->scenario, draw);
    b->n = drive->alternate_share > 0.0 ? 2 : 1;
    b->settings[0] = &drive->main;
    b->settings[1] = &drive->other;
    b->shares[0] = 1.0 - drive->alternate_share;
    b->shares[1] = drive->alternate_share;
    for (int k = 0; k < b->n; k++) {
        const nrw_field field = nrw_drive_field(b->settings[k], 0.0, b->settings[k]->tilt_deg);
        b->regimes[k] = nrw_regime_of(b->scenario, b->settings[k], draw);
        b->peaks_mT[k] =
            b->settings[k]->samples ? b->settings[k]->samples->peak_mT : nrw_field_peak_mT(&field);
    }
    b->many = b->scenario->particles.count > 1;
    b->closed = b->channel && !nrw_channel_is_open(b->channel);
    find_widths(b);
}

/* --- numbers; NAN: does not apply ---------------------------------------------------- */

static double largest_field_mT(const basis *b)
{
    return b->n > 1 ? fmax(b->peaks_mT[0], b->peaks_mT[1]) : b->peaks_mT[0];
}

static double reynolds(const basis *b)
{
    double fastest = b->seen ? fmax(0.0, b->seen->fastest_um_s) : 0.0;
    for (int k = 0; k < b->n; k++)
        fastest = fmax(fastest, 2.0 * NRW_PI * fabs(b->regimes[k].spin_Hz) * b->body.radius_um);
    /* µm²/s times kg/m³ over Pa s */
    return 1e-12 * b->scenario->fluid.density_kg_m3 * fastest * b->body.radius_um /
           b->body.viscosity_Pa_s;
}

static double coupling(const basis *b)
{
    double m2 = 0.0;
    if (!b->many || !(largest_field_mT(b) > 0.0))
        return NAN;
    for (int k = 0; k < b->n; k++)
        m2 += b->shares[k] * b->regimes[k].moment_fAm2 * b->regimes[k].moment_fAm2;
    return 0.05 * m2 / (pow(b->body.diameter_um, 3.0) * b->body.kT_pN_um);
}

static double cycle_displacement(const basis *b)
{
    return b->n > 1 ? fmax(b->regimes[0].cycle_displacement, b->regimes[1].cycle_displacement)
                    : b->regimes[0].cycle_displacement;
}

static double shedding(const basis *b)
{
    return b->n > 1 ? fmax(b->regimes[0].shedding_number, b->regimes[1].shedding_number)
                    : b->regimes[0].shedding_number;
}

static double frequency_Hz(const nrw_drive_setting *setting)
{
    return nrw_drive_field(setting, 0.0, setting->tilt_deg).frequency_Hz;
}

/* Of the quickest swing in the averaged model. */
static double turns(const basis *b)
{
    double least = INFINITY;
    for (int k = 0; k < b->n && !b->resolved; k++) {
        const double f = frequency_Hz(b->settings[k]);
        if (!(f > 0.0))
            continue;
        if (b->n > 1)
            least = fmin(least, f * b->shares[k] * b->leg->drive.alternate_period_s);
        if (b->settings[k]->wobble_deg > 0.0)
            least = fmin(least, f * b->settings[k]->wobble_period_s);
    }
    return isfinite(least) ? least : NAN;
}

static double step_out_ratio(const basis *b)
{
    double largest = NAN;
    /* a remanent part may slip, the rest follows; and each doublet is followed */
    if (b->body.kind == NRW_MOMENT_INDUCED)
        return NAN;
    for (int k = 0; k < b->n; k++)
        if (isfinite(b->regimes[k].step_out_Hz))
            largest = fmax(largest, frequency_Hz(b->settings[k]) / b->regimes[k].step_out_Hz);
    return largest;
}

static double alignment(const basis *b)
{
    double least = NAN;
    if (!(b->body.permanent_fAm2 > 0.0) || b->resolved)
        return NAN;
    for (int k = 0; k < b->n; k++)
        if (b->peaks_mT[k] > 0.0)
            least = fmin(least, b->body.permanent_fAm2 * b->peaks_mT[k] / b->body.kT_pN_um);
    return least;
}

static double lag(const basis *b)
{
    double largest = NAN;
    if (b->body.kind != NRW_MOMENT_INDUCED || !(b->body.relaxation_s > 0.0))
        return NAN;
    for (int k = 0; k < b->n; k++)
        if (frequency_Hz(b->settings[k]) > 0.0)
            largest =
                fmax(largest, 2.0 * NRW_PI * frequency_Hz(b->settings[k]) * b->body.relaxation_s);
    return largest;
}

/* How far two laws of magnetisation differ, whichever is used: with a saturation
 * Fröhlich-Kennelly and Langevin, without one linear and Langevin up to magnetite's. */
static double law_difference(const basis *b)
{
    const nrw_particles *particles = &b->scenario->particles;
    const double applied = largest_field_mT(b) / (4.0 * NRW_PI * NRW_MU0_4PI);
    if (b->body.kind != NRW_MOMENT_INDUCED || !(applied > 0.0))
        return NAN;
    const bool saturates = isfinite(particles->saturation_kA_m);
    const double plain = nrw_sphere_magnetisation_kA_m(
        NRW_LAW_FROHLICH_KENNELLY, particles->saturation_kA_m, particles->susceptibility, applied);
    const double langevin = nrw_sphere_magnetisation_kA_m(
        NRW_LAW_LANGEVIN, saturates ? particles->saturation_kA_m : MAGNETITE_kA_m,
        particles->susceptibility, applied);
    return fmax(plain, langevin) / fmin(plain, langevin) - 1.0;
}

/* Two touching spheres along the field: (m/m0)² − 1 with m/m0 = 1/(1 − K/4). */
static double induction(const basis *b)
{
    const double k = nrw_sphere_susceptibility(b->scenario->particles.susceptibility) / 3.0;
    if (b->body.kind != NRW_MOMENT_INDUCED || !b->many)
        return NAN;
    return 1.0 / ((1.0 - 0.25 * k) * (1.0 - 0.25 * k)) - 1.0;
}

static bool gap_follows_from_layers(const basis *b)
{
    return b->body.has_floor && isnan(b->body.given_gap_um) && isfinite(b->body.gap_um);
}

/* Retarded pull of a plane on a sphere (Gregory 1981): −d/dg of A a/6g/(1 + 14 g/λ). */
static double attraction(const basis *b)
{
    const double g = b->body.gap_um, s = 14.0 * g / WAVELENGTH_um;
    if (!gap_follows_from_layers(b) || !(b->body.weight_pN > 0.0))
        return NAN;
    return HAMAKER_pN_um * b->body.radius_um / (6.0 * g * g) * (1.0 + 2.0 * s) /
           ((1.0 + s) * (1.0 + s)) / b->body.weight_pN;
}

/* Before a run: no higher than a gathered sheet that stands up with the field's plane. */
static double top_um(const basis *b)
{
    double top = NAN;
    if (b->seen && isfinite(b->seen->highest_um))
        return b->seen->highest_um;
    const double across =
        b->many ? nrw_scenario_gathered_diameter_um(b->scenario) - b->body.diameter_um : 0.0;
    for (int k = 0; k < b->n; k++) {
        const double tilt =
            b->settings[k]->mode == NRW_DRIVE_ROTATING ? b->settings[k]->tilt_deg : 0.0;
        top = fmax(top, b->body.gap_um + b->body.diameter_um + across * sin(tilt * NRW_DEGREE));
    }
    return top;
}

static double ceiling(const basis *b)
{
    const double depth = b->scenario->map.depth_um, a = b->body.radius_um;
    if (!b->body.has_floor || !isfinite(depth))
        return NAN;
    return 0.5625 * a / fmax(depth - top_um(b) + a, a);
}

static double depth_ratio(const basis *b)
{
    const double depth = b->scenario->map.depth_um;
    if (!b->many || !b->scenario->model.pair_flow || !isfinite(depth))
        return NAN;
    return nrw_scenario_gathered_diameter_um(b->scenario) / depth;
}

static double width_ratio(const basis *b)
{
    if (!b->many || !b->scenario->model.pair_flow || !b->closed)
        return NAN;
    return b->narrowest_um / b->body.diameter_um;
}

/* Rollers at a height h in a duct that is closed pump what must flow back: over the flow
 * that they make at their own height, 2 W p'(h) p(h)/C with the duct's profile p of
 * pressure-driven flow and its conductance C (docs/validity.md). Through ports fluid may
 * come and go. */
static double return_flow(const basis *b)
{
    const double depth = b->scenario->map.depth_um, width = b->widest_um;
    const bool flows = b->channel && nrw_channel_flow(b->channel);
    if (!b->many || !b->scenario->model.pair_flow || !b->closed || flows || !isfinite(depth))
        return NAN;
    const double height = fmin(fmax(b->body.radius_um, 0.5 * top_um(b)), 0.5 * depth);
    double slope[2];
    const double profile = nrw_duct_profile_um2(width, depth, 0.0, height, slope);
    return 2.0 * width * fabs(slope[1]) * profile / nrw_duct_conductance_um4(width, depth);
}

/* A flow carries the swarm too, so that its speed says nothing then. */
static double rim_ratio(const basis *b)
{
    double rim = 0.0;
    const bool flows = b->channel && nrw_channel_flow(b->channel);
    if (!b->many || !b->scenario->model.pair_flow || !b->seen || flows)
        return NAN;
    for (int k = 0; k < b->n; k++)
        rim += b->shares[k] * b->regimes[k].rim_speed_um_s;
    return rim > 0.0 ? b->seen->fastest_um_s / rim : NAN;
}

static double crowding(const basis *b)
{
    const double d = b->body.diameter_um;
    if (!b->many)
        return NAN;
    if (b->seen && isfinite(b->seen->area_fraction))
        return b->seen->area_fraction;
    if (!b->scenario->has_release)
        return NAN;
    return (double)b->scenario->particles.count * d * d /
           (4.0 * b->scenario->release.radius_um * b->scenario->release.radius_um);
}

static double number_of(const basis *b, nrw_assumption assumption)
{
    switch (assumption) {
    case NRW_ASSUME_NO_INERTIA:
        return reynolds(b);
    case NRW_ASSUME_BONDS_BEAT_HEAT:
        return coupling(b);
    case NRW_ASSUME_PAIRS_REST:
        return b->many ? cycle_displacement(b) : NAN;
    case NRW_ASSUME_COHESION:
        return b->many ? shedding(b) : NAN;
    case NRW_ASSUME_MANY_TURNS:
        return turns(b);
    case NRW_ASSUME_IN_STEP:
        return step_out_ratio(b);
    case NRW_ASSUME_ALIGNED:
        return alignment(b);
    case NRW_ASSUME_ONE_LAG:
        return lag(b);
    case NRW_ASSUME_MAGNETISATION:
        return law_difference(b);
    case NRW_ASSUME_POINT_DIPOLES:
        return induction(b);
    case NRW_ASSUME_THIN_DOUBLE_LAYER:
        return gap_follows_from_layers(b) ? b->body.radius_um / b->body.debye_um : NAN;
    case NRW_ASSUME_FAR_DOUBLE_LAYERS:
        return gap_follows_from_layers(b) ? b->body.gap_um / b->body.debye_um : NAN;
    case NRW_ASSUME_NO_ATTRACTION:
        return attraction(b);
    case NRW_ASSUME_FREE_OF_SIDES:
        return b->closed && !b->scenario->model.wall_drag
                   ? 2.008 * b->body.radius_um / b->narrowest_um
                   : NAN;
    case NRW_ASSUME_FREE_OF_CEILING:
        return ceiling(b);
    case NRW_ASSUME_DEEP_CHANNEL:
        return depth_ratio(b);
    case NRW_ASSUME_OPEN_PAIR_FLOW:
        return b->scenario->model.wall_screening ? NAN : width_ratio(b);
    case NRW_ASSUME_NO_RETURN_FLOW:
        return return_flow(b);
    case NRW_ASSUME_PAIR_FLOW_CONTACT:
        return rim_ratio(b);
    case NRW_ASSUME_THIN_SWARM:
        return crowding(b);
    case NRW_ASSUME_HARD_CONTACTS:
        return b->seen && b->many ? b->seen->largest_overlap : NAN;
    default:
        return NAN;
    }
}

/* --- states ---------------------------------------------------------------------------- */

static nrw_validity_state judge(bool least, double value, double marginal, double outside)
{
    if (least ? value < outside : value > outside)
        return NRW_VALIDITY_OUTSIDE;
    return (least ? value < marginal : value > marginal) ? NRW_VALIDITY_MARGINAL : NRW_VALIDITY_OK;
}

static void add(nrw_validity *validity, nrw_assumption assumption, double value, double marginal,
                double outside)
{
    const nrw_assumption_row *row = nrw_assumption_row_of(assumption);
    if (isnan(value))
        return;
    size_t at = validity->n_items++;
    for (; at > 0 && validity->items[at - 1].assumption > assumption; at--)
        validity->items[at] = validity->items[at - 1];
    const nrw_validity_state state = judge(row->words.least, value, marginal, outside);
    validity->items[at] =
        (nrw_validity_item){assumption, state, value, marginal, outside, row->texts[state]};
}

void nrw_validity_add(nrw_validity *validity, nrw_assumption assumption, double value)
{
    const nrw_assumption_row *row = nrw_assumption_row_of(assumption);
    add(validity, assumption, value, row->marginal, row->outside);
}

/* Bounds that depend on the leg: whoever follows each turn or each moment needs no
 * average; mutual induction takes in the first part of what point dipoles lack. */
static void add_number(nrw_validity *validity, const basis *b, nrw_assumption assumption)
{
    const nrw_assumption_row *row = nrw_assumption_row_of(assumption);
    double marginal = row->marginal, outside = row->outside;
    if (assumption == NRW_ASSUME_PAIRS_REST && b->resolved)
        marginal = outside = INFINITY;
    if (assumption == NRW_ASSUME_IN_STEP && b->resolved)
        outside = INFINITY;
    if (assumption == NRW_ASSUME_POINT_DIPOLES && b->scenario->model.mutual_induction) {
        marginal = 0.25;
        outside = 0.5;
    }
    add(validity, assumption, number_of(b, assumption), marginal, outside);
}

static void add_flow(nrw_validity *validity, const nrw_channel *channel)
{
    const nrw_flow *flow = channel ? nrw_channel_flow(channel) : NULL;
    if (!flow)
        return;
    const nrw_flow_figures figures = nrw_flow_figures_of(flow);
    nrw_validity_add(validity, NRW_ASSUME_SLOW_FLOW, figures.reynolds_number);
    nrw_validity_add(validity, NRW_ASSUME_STEADY_FLOW, figures.womersley_number);
    nrw_validity_add(validity, NRW_ASSUME_FLOW_CELLS, figures.cells_across);
}

void nrw_validity_of_leg(const nrw_scenario *scenario, const nrw_channel *channel,
                         const nrw_leg *leg, nrw_model model, const nrw_draw *draw,
                         const nrw_leg_seen *seen, nrw_validity *validity)
{
    basis b;
    memset(&b, 0, sizeof b);
    memset(validity, 0, sizeof *validity);
    validity->model =
        model == NRW_MODEL_AUTO ? nrw_leg_recommended_model(scenario, leg, draw) : model;
    b.scenario = scenario;
    b.channel = channel;
    b.leg = leg;
    b.seen = seen;
    b.resolved = validity->model == NRW_MODEL_RESOLVED;
    fill(&b, draw);
    for (int k = 0; k < NRW_N_ASSUMPTIONS; k++)
        add_number(validity, &b, (nrw_assumption)k);
    add_flow(validity, channel);
}

nrw_validity_state nrw_validity_worst(const nrw_validity *validity)
{
    nrw_validity_state worst = NRW_VALIDITY_OK;
    for (size_t k = 0; k < validity->n_items; k++)
        if (validity->items[k].state > worst)
            worst = validity->items[k].state;
    return worst;
}
