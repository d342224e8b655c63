#include "necessary.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "../sim/flow.h"
#include "../sim/run.h"
#include "recipe.h"
#include "rig.h"

/* Swarms were seen to drift at 0.15 to 0.45 of aΩ, the rim speed of a lone
 * particle spinning near the floor; twice the largest is a bound that refuses
 * nothing feasible (docs/planning.md, section 2). */
#define SPEED_BOUND 0.9
/* Share of the deadline that may be spent on the way: gathering comes first. */
#define WAY_SHARE 0.9
/* Flow in the middle of a duct over its mean: 2.096 in a square one, less in others
 * (Bruus 2008, eq. 3.48). */
#define DUCT_MIDDLE 2.1
/* Slower than this many particle diameters a second is a crawl. */
#define CRAWL_PER_S 0.2
/* Below this coupling heat scatters the swarm. */
#define COUPLING_MIN 2.0
/* Without a rig any field is allowed: judged at this one. */
#define FIELD_WITHOUT_RIG_MT 10.0
#define FREQUENCY_WITHOUT_RIG_HZ 100.0

const char *nrw_necessary_name(nrw_necessary_kind kind)
{
    static const char *const names[NRW_N_NEEDS] = {"geometry", "torque", "axis", "gather", "speed"};
    return (unsigned)kind < NRW_N_NEEDS ? names[kind] : "unknown";
}

static nrw_necessary_check *check_of(nrw_necessary *necessary, nrw_necessary_kind kind)
{
    nrw_necessary_check *check = &necessary->checks[kind];
    check->kind = kind;
    check->holds = true;
    check->unit = "";
    check->value = check->needed = NAN;
    return check;
}

static void judge_geometry(nrw_necessary *necessary, const nrw_scenario *scenario,
                           const nrw_channel *channel)
{
    nrw_necessary_check *check = check_of(necessary, NRW_NEED_GEOMETRY);
    const double d = scenario->particles.diameter_um;
    double at[2] = {0.0, 0.0};
    check->unit = "um";
    check->needed = d;
    check->value = nrw_channel_widest_path_um(channel, at);
    check->holds = check->value >= d;
    size_t n_throats;
    const nrw_throat *throats = nrw_channel_throats(channel, &n_throats);
    size_t throat = 0;
    double nearest = INFINITY;
    for (size_t k = 0; k < n_throats; k++) {
        double away = hypot(throats[k].at_um[0] - at[0], throats[k].at_um[1] - at[1]);
        if (away < nearest) {
            nearest = away;
            throat = k + 1;
        }
    }
    char place[80];
    if (throat > 0)
        (void)snprintf(place, sizeof place, "throat %zu near (%.4g, %.4g) um", throat, at[0],
                       at[1]);
    else
        (void)snprintf(place, sizeof place, "the way near (%.4g, %.4g) um", at[0], at[1]);
    if (check->holds) {
        (void)snprintf(check->text, sizeof check->text,
                       "the narrowest place lets a disc of %.3g um through; a particle is %.3g um",
                       check->value, d);
        return;
    }
    (void)snprintf(check->text, sizeof check->text,
                   "%s is too narrow: it lets a disc of %.3g um through, but a particle is %.3g um "
                   "across",
                   place, check->value, d);
    (void)snprintf(check->change, sizeof check->change,
                   "a throat wider than %.3g um there, or particles smaller than %.3g um", d,
                   check->value);
}

static bool has_axis(const nrw_scenario *scenario, int axis)
{
    return !scenario->rig.present || scenario->rig.n_coils > 0 || scenario->rig.axes[axis].present;
}

static void judge_axis(nrw_necessary *necessary, const nrw_scenario *scenario, bool carried)
{
    nrw_necessary_check *check = check_of(necessary, NRW_NEED_AXIS);
    check->holds =
        carried || (has_axis(scenario, 2) && has_axis(scenario, 0) && has_axis(scenario, 1));
    if (check->holds) {
        (void)snprintf(check->text, sizeof check->text,
                       carried ? "a flow can carry the particles" : "the rig has x, y and z");
        return;
    }
    (void)snprintf(
        check->text, sizeof check->text,
        "the rig lacks the %s axis: particles travel by rolling, which needs a field that "
        "turns out of the plane, in any heading",
        !has_axis(scenario, 2)   ? "z"
        : !has_axis(scenario, 0) ? "x"
                                 : "y");
    (void)snprintf(check->change, sizeof check->change, "a coil for that axis");
}

static double fastest_flow_um_s(const nrw_channel *channel)
{
    const nrw_flow *flow = nrw_channel_flow(channel);
    return flow ? DUCT_MIDDLE * nrw_flow_figures_of(flow).fastest_um_s : 0.0;
}

static void judge_torque(nrw_necessary *necessary, const nrw_scenario *scenario,
                         const nrw_channel *channel)
{
    nrw_necessary_check *check = check_of(necessary, NRW_NEED_TORQUE);
    if (fastest_flow_um_s(channel) > 0.0) {
        (void)snprintf(check->text, sizeof check->text, "a flow can carry the particles");
        return;
    }
    const nrw_particles *particles = &scenario->particles;
    check->holds = particles->kind == NRW_MOMENT_PERMANENT || particles->relaxation_time_s > 0.0 ||
                   particles->remanent_fAm2 > 0.0;
    if (check->holds && !scenario->map.has_floor) {
        check->holds = false;
        (void)snprintf(
            check->text, sizeof check->text,
            "there is no floor (floor: false): a uniform field turns particles but moves "
            "them only by rolling on a floor");
        (void)snprintf(check->change, sizeof check->change, "a floor");
    } else if (check->holds) {
        (void)snprintf(check->text, sizeof check->text, "the field can turn the particles");
    } else {
        (void)snprintf(check->text, sizeof check->text,
                       "the particles' moment follows the field without lag (relaxation_time_s is "
                       "0): no torque acts on a sphere, so it can't roll");
        (void)snprintf(check->change, sizeof check->change,
                       "particles with a relaxation time or a permanent moment");
    }
}

/* Largest rim speed aΩ that the rig reaches, over frequencies. */
static void find_fastest(nrw_necessary *necessary, const nrw_scenario *scenario)
{
    const nrw_rig *rig = &scenario->rig;
    const double top = rig->present ? rig->frequency_max_Hz : FREQUENCY_WITHOUT_RIG_HZ;
    double best = 0.0;
    for (int k = 1; k <= 20; k++) {
        nrw_drive_setting setting = nrw_drive_setting_defaults();
        setting.tilt_deg = 90.0;
        setting.heading_kind = NRW_HEADING_CENTRELINE;
        setting.frequency_Hz = top * k / 20.0;
        setting.field_mT =
            rig->present ? nrw_rig_available_field_mT(rig, &setting, NULL) : FIELD_WITHOUT_RIG_MT;
        if (!(setting.field_mT > 0.0))
            continue;
        nrw_regime regime = nrw_regime_of(scenario, &setting, NULL);
        double rim = NRW_PI * scenario->particles.diameter_um * fabs(regime.spin_Hz);
        if (rim > best * (1.0 + 1e-9)) {
            best = rim;
            necessary->best_frequency_Hz = setting.frequency_Hz;
            necessary->field_mT = setting.field_mT;
        }
    }
    necessary->fastest_um_s = SPEED_BOUND * best;
}

static void judge_gather(nrw_necessary *necessary, const nrw_scenario *scenario)
{
    nrw_necessary_check *check = check_of(necessary, NRW_NEED_GATHER);
    const double field = scenario->rig.present ? scenario->rig.field_max_mT : FIELD_WITHOUT_RIG_MT;
    check->value = nrw_thermal_coupling(scenario, field);
    check->needed = COUPLING_MIN;
    check->holds = check->value >= check->needed;
    if (check->holds) {
        (void)snprintf(
            check->text, sizeof check->text,
            "magnetic attraction at %.3g mT is %.3g times the thermal energy (from about "
            "11 a swarm gathers surely)",
            field, check->value);
        return;
    }
    (void)snprintf(
        check->text, sizeof check->text,
        "the rig is too weak: at its largest field, %.3g mT, attraction is only %.2g times "
        "the thermal energy, and the swarm can't gather",
        field, check->value);
    (void)snprintf(check->change, sizeof check->change,
                   "a field of at least %.3g mT (attraction 11 times the thermal energy), or more "
                   "magnetic particles",
                   field * sqrt(11.0 / fmax(check->value, 1e-30)));
}

static void judge_speed(nrw_necessary *necessary, const nrw_scenario *scenario,
                        const nrw_channel *channel)
{
    nrw_necessary_check *check = check_of(necessary, NRW_NEED_SPEED);
    /* the way to the edge of the target is enough */
    const double way = fmax(0.0, nrw_channel_route_length_um(channel) - scenario->target.radius_um);
    /* the slowest batch that is still plausible: one standard deviation each */
    const nrw_uncertainty *u = &scenario->uncertainty;
    const double slow = 1.0 / ((1.0 + u->viscosity_cv) * (1.0 + u->moment_cv));
    check->unit = "um/s";
    const double flow = fastest_flow_um_s(channel);
    check->value = necessary->fastest_um_s * slow + flow;
    check->needed = way / (WAY_SHARE * scenario->deadline_s);
    check->holds = check->value >= check->needed;
    if (check->holds) {
        (void)snprintf(check->text, sizeof check->text,
                       "%.4g um in %.4g s needs %.3g um/s; the bound with this rig%s is %.3g um/s",
                       way, scenario->deadline_s, check->needed, flow > 0.0 ? " and flow" : "",
                       check->value);
        return;
    }
    const double factor = check->needed / fmax(check->value, 1e-30);
    /* where even the bound is a crawl the rig is the reason, whatever the deadline */
    const bool weak = check->value < CRAWL_PER_S * scenario->particles.diameter_um;
    const bool limited = scenario->rig.present;
    (void)snprintf(check->text, sizeof check->text,
                   "%s: the way of %.4g um within the deadline of %.4g s needs %.3g um/s, but with "
                   "at most %.3g mT and %.3g Hz%s a swarm can't be faster than %.3g um/s",
                   weak ? "the rig is too weak" : "the deadline is too short", way,
                   scenario->deadline_s, check->needed, necessary->field_mT,
                   necessary->best_frequency_Hz, flow > 0.0 ? " and the flow" : "", check->value);
    (void)snprintf(check->change, sizeof check->change, "a deadline of at least %.3g s%s",
                   scenario->deadline_s * factor, limited ? ", or a stronger rig" : "");
    if (limited) {
        /* speed grows with field² and with frequency */
        size_t used = strlen(check->change);
        (void)snprintf(check->change + used, sizeof check->change - used,
                       " (%.3g mT at the same frequency)", necessary->field_mT * sqrt(factor));
    }
}

nrw_necessary nrw_necessary_of(const nrw_scenario *scenario, const nrw_channel *channel)
{
    nrw_necessary necessary;
    memset(&necessary, 0, sizeof necessary);
    judge_geometry(&necessary, scenario, channel);
    judge_torque(&necessary, scenario, channel);
    judge_axis(&necessary, scenario, fastest_flow_um_s(channel) > 0.0);
    find_fastest(&necessary, scenario);
    judge_gather(&necessary, scenario);
    judge_speed(&necessary, scenario, channel);
    return necessary;
}

const nrw_necessary_check *nrw_necessary_failure(const nrw_necessary *necessary)
{
    for (int k = 0; k < NRW_N_NEEDS; k++)
        if (!necessary->checks[k].holds)
            return &necessary->checks[k];
    return NULL;
}
