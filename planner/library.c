/* The planner's hand recipes. Which ones come first is what runs over several
 * maps showed (docs/planning.md, section 4). */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "../sim/random.h"
#include "plan.h"

typedef struct hand {
    const char *name;
    double tilt, other, share, period, wobble, wobble_period, frequency_share;
    bool by_centroid; /* passed when the middle is through, whatever is left behind */
} hand;

/* Induced moments: Λ falls with frequency alone, so fast drives shear. */
static const hand INDUCED[] = {
    {"two tilts 5/86", 5, 86, 0.25, 0.5, 0, 0, 1.0, false},
    {"two tilts 7/86", 7, 86, 0.25, 0.64, 0, 0, 1.0, false},
    {"two tilts 7/90, slow", 7, 90, 0.3, 1.0, 0, 0, 1.0, false},
    {"two tilts 5/86, quick, middle", 5, 86, 0.25, 0.35, 0, 0, 1.0, true},
    {"two tilts 5/80, quick, middle", 5, 80, 0.25, 0.35, 0, 0, 1.0, true},
    {"two tilts 10/90", 10, 90, 0.3, 0.4, 0, 0, 0.85, false},
    {"plates 45", 45, 0, 0, 0, 0, 0, 0.85, false},
    {"plates 40", 40, 0, 0, 0, 0, 0, 0.85, false},
    {"plates 45, top frequency", 45, 0, 0, 0, 0, 0, 1.0, false},
    {"two tilts 26/58", 26, 58, 0.48, 0.7, 33, 8, 0.85, false},
    {"plates 52", 52, 0, 0, 0, 0, 0, 0.85, false},
    {"plates 60", 60, 0, 0, 0, 0, 0, 0.85, false},
    {"plates 45, wobble", 45, 0, 0, 0, 20, 4, 0.85, false},
    {"plates 70", 70, 0, 0, 0, 0, 0, 0.85, false},
    {"two tilts 40/70", 40, 70, 0.4, 1.5, 0, 0, 0.7, false},
    {"files 80", 80, 0, 0, 0, 0, 0, 0.6, false},
};

/* Permanent moments turn with the field below step-out: cohesion asks for small
 * tilts, speed does not need them large. */
static const hand PERMANENT[] = {
    {"gentle 5", 5, 0, 0, 0, 0, 0, 0.5, false},
    {"gentle 10", 10, 0, 0, 0, 25, 4, 0.5, false},
    {"plates 50, slow", 50, 0, 0, 0, 0, 0, 0.25, false},
    {"gentle 3, fast", 3, 0, 0, 0, 0, 0, 1.0, false},
    {"soft 20, wobble", 20, 0, 0, 0, 25, 4, 0.3, false},
    {"plates 60, slow", 60, 0, 0, 0, 0, 0, 0.3, false},
    {"two tilts 5/60", 5, 60, 0.3, 1.0, 0, 0, 0.3, false},
    {"plates 40", 40, 0, 0, 0, 0, 0, 0.4, false},
    {"files 80", 80, 0, 0, 0, 0, 0, 0.3, false},
    {"two tilts 10/90", 10, 90, 0.3, 0.4, 0, 0, 0.4, false},
    {"plates 50", 50, 0, 0, 0, 20, 5, 0.6, false},
    {"files 90, slow", 90, 0, 0, 0, 0, 0, 0.15, false},
};

static double top_frequency_Hz(const nrw_scenario *scenario, const nrw_necessary *necessary)
{
    if (scenario->rig.present)
        return fmin(scenario->rig.frequency_max_Hz, fmax(necessary->best_frequency_Hz, 1.0));
    return 100.0;
}

/* Steep enough for batches whose pair flow and rolling are weak: at 20 degrees more than
 * the pass one in twelve stayed plugged, at 25 to 35 none. A swarm that already passes
 * at a steep tilt is pushed at 86: at 90, where nothing gathers it sideways, it was lost in
 * one trial of twelve (docs/planning.md, section 3). */
static double push_tilt_deg(double tilt_deg)
{
    return fmin(86.0, fmax(fmin(tilt_deg + 28.0, 74.0), tilt_deg + 10.0));
}

/* What all recipes share. */
static nrw_recipe common(const nrw_scenario *scenario)
{
    nrw_recipe recipe;
    memset(&recipe, 0, sizeof recipe);
    const double gathered = nrw_scenario_gathered_diameter_um(scenario);
    recipe.lookahead_um = 1.25 * gathered;
    recipe.steer_by_rear = true;
    recipe.dwell_s = fmin(5.0, 0.02 * scenario->deadline_s);
    recipe.home_tilt_deg = 22.0;
    recipe.collects = 0;
    recipe.collect_s = 4.0;
    recipe.regather = true;
    recipe.reshaping = true;
    return recipe;
}

static void set_field(nrw_recipe *recipe, const nrw_scenario *scenario)
{
    recipe->field_mT = nrw_recipe_available_field_mT(recipe, scenario, 10.0);
}

size_t nrw_recipe_library(const nrw_scenario *scenario, const nrw_channel *channel,
                          const nrw_necessary *necessary, nrw_recipe *recipes, size_t most)
{
    (void)channel;
    const bool permanent = scenario->particles.kind == NRW_MOMENT_PERMANENT;
    const hand *hands = permanent ? PERMANENT : INDUCED;
    const size_t n_hands =
        permanent ? sizeof PERMANENT / sizeof *PERMANENT : sizeof INDUCED / sizeof *INDUCED;
    const double top = top_frequency_Hz(scenario, necessary);
    size_t n = 0;
    for (size_t k = 0; k < n_hands && n < most; k++) {
        nrw_recipe recipe = common(scenario);
        (void)snprintf(recipe.name, sizeof recipe.name, "%s", hands[k].name);
        recipe.tilt_deg = hands[k].tilt;
        recipe.other_tilt_deg = hands[k].other;
        recipe.share = hands[k].share;
        recipe.period_s = hands[k].period;
        recipe.wobble_deg = hands[k].wobble;
        recipe.wobble_period_s = hands[k].wobble_period;
        recipe.frequency_Hz = hands[k].frequency_share * top;
        recipe.leave_by_centroid = hands[k].by_centroid;
        recipe.push_tilt_deg = push_tilt_deg(fmax(recipe.tilt_deg, recipe.other_tilt_deg));
        set_field(&recipe, scenario);
        if (recipe.field_mT > 0.0)
            recipes[n++] = recipe;
    }
    return n;
}

size_t nrw_recipe_baselines(const nrw_scenario *scenario, const nrw_channel *channel,
                            const nrw_necessary *necessary, nrw_recipe *recipes, size_t most)
{
    (void)channel;
    static const double tilts[] = {10.0, 6.0};
    size_t n = 0;
    for (size_t k = 0; k < sizeof tilts / sizeof *tilts && n < most; k++) {
        nrw_recipe recipe = common(scenario);
        (void)snprintf(recipe.name, sizeof recipe.name, "keep-gathered, tilt %g", tilts[k]);
        recipe.tilt_deg = tilts[k];
        recipe.frequency_Hz = top_frequency_Hz(scenario, necessary);
        recipe.reshaping = false;
        recipe.home_tilt_deg = 0.0;
        set_field(&recipe, scenario);
        if (recipe.field_mT > 0.0)
            recipes[n++] = recipe;
    }
    return n;
}

static double within(double value, double low, double high)
{
    return value < low ? low : value > high ? high : value;
}

nrw_recipe nrw_recipe_vary(const nrw_recipe *recipe, const nrw_scenario *scenario,
                           const nrw_necessary *necessary, uint64_t seed, uint32_t index)
{
    nrw_recipe varied = *recipe;
    double a[4], b[4], c[4];
    nrw_normal4(seed, NRW_STREAM_SEARCH, index, 0, a);
    nrw_normal4(seed, NRW_STREAM_SEARCH, index, 1, b);
    nrw_normal4(seed, NRW_STREAM_SEARCH, index, 2, c);
    (void)snprintf(varied.name, sizeof varied.name, "varied %u", index + 1);
    varied.tilt_deg = round(within(recipe->tilt_deg + 10.0 * a[0], 2.0, 90.0));
    if (recipe->share > 0.0) {
        varied.other_tilt_deg = round(within(recipe->other_tilt_deg + 12.0 * a[1], 0.0, 90.0));
        varied.share = round(100.0 * within(recipe->share + 0.12 * a[2], 0.1, 0.9)) / 100.0;
        varied.period_s =
            round(100.0 * within(recipe->period_s * exp(0.4 * a[3]), 0.2, 10.0)) / 100.0;
    }
    const double steepest =
        fmax(varied.tilt_deg, recipe->share > 0.0 ? varied.other_tilt_deg : 0.0);
    varied.push_tilt_deg = round(within(push_tilt_deg(steepest) + 6.0 * c[0], 20.0, 90.0));
    varied.wobble_deg = round(within(recipe->wobble_deg + 12.0 * b[0], 0.0, 60.0));
    if (varied.wobble_deg < 5.0)
        varied.wobble_deg = 0.0;
    const double period = recipe->wobble_period_s > 0.0 ? recipe->wobble_period_s : 4.0;
    varied.wobble_period_s = varied.wobble_deg > 0.0
                                 ? round(10.0 * within(period * exp(0.4 * b[1]), 1.0, 20.0)) / 10.0
                                 : 0.0;
    const double top = top_frequency_Hz(scenario, necessary);
    varied.frequency_Hz =
        round(10.0 * within(recipe->frequency_Hz * exp(0.25 * b[2]), 0.1 * top, top)) / 10.0;
    varied.lookahead_um = round(within(recipe->lookahead_um * exp(0.3 * b[3]),
                                       2.0 * scenario->particles.diameter_um, 400.0));
    varied.home_tilt_deg = round(within(recipe->home_tilt_deg + 6.0 * c[0], 4.0, 45.0));
    varied.steer_by_rear = c[1] > -1.0 ? recipe->steer_by_rear : !recipe->steer_by_rear;
    varied.collects = c[2] > 0.3 ? 2 : recipe->collects;
    varied.dwell_s = round(10.0 * within(recipe->dwell_s * exp(0.5 * c[3]), 0.5, 20.0)) / 10.0;
    set_field(&varied, scenario);
    return varied;
}
