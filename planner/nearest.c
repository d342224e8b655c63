/* The nearest change that would make a job feasible: one thing at a time is
 * changed in a copy of the scenario, and the best recipe run again. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "plan.h"

enum { CHANGE_TRIALS = 2 };

typedef struct change {
    const char *words; /* with one %g for the new value */
    double width_factor, deadline_factor, count_factor;
} change;

static const change CHANGES[] = {
    {"more time: a deadline of %.3g s", 1.0, 1.6, 1.0},
    {"wider throats: at least %.3g um", 1.35, 1.0, 1.0},
    {"fewer particles: about %.3g", 1.0, 1.0, 0.5},
    {"wider throats: at least %.3g um", 1.9, 1.0, 1.0},
};
enum { N_CHANGES = sizeof CHANGES / sizeof *CHANGES };

/* A scenario with its own vessels; the rest is borrowed from the original. */
typedef struct variant {
    nrw_scenario scenario;
    nrw_vessel *vessels;
    nrw_width_point *widths;
    nrw_channel *channel;
    nrw_schedule schedule;
    nrw_outcome outcomes[CHANGE_TRIALS];
    double value; /* for the words */
    bool usable;
} variant;

static void variant_clear(variant *v)
{
    nrw_schedule_clear(&v->schedule);
    nrw_channel_destroy(v->channel);
    free(v->vessels);
    free(v->widths);
    memset(v, 0, sizeof *v);
}

static bool widen(variant *v, const nrw_scenario *original, double factor)
{
    const nrw_map *map = &original->map;
    const double gathered = nrw_scenario_gathered_diameter_um(original);
    size_t n_points = 0;
    for (size_t k = 0; k < map->n_vessels; k++)
        n_points += map->vessels[k].n_widths;
    v->vessels = malloc((map->n_vessels + 1) * sizeof *v->vessels);
    v->widths = malloc((n_points + 1) * sizeof *v->widths);
    if (!v->vessels || !v->widths)
        return false;
    nrw_width_point *points = v->widths;
    for (size_t k = 0; k < map->n_vessels; k++) {
        v->vessels[k] = map->vessels[k];
        v->vessels[k].widths = points;
        for (size_t p = 0; p < map->vessels[k].n_widths; p++) {
            points[p] = map->vessels[k].widths[p];
            if (points[p].width_um < gathered)
                points[p].width_um = fmin(gathered, factor * points[p].width_um);
        }
        points += map->vessels[k].n_widths;
    }
    v->scenario.map.vessels = v->vessels;
    v->scenario.map.mask = NULL; /* a picture's walls as its vessels draw them */
    return true;
}

static void prepare(variant *v, const change *what, const nrw_race *race, const nrw_recipe *recipe)
{
    nrw_errors ignored;
    nrw_errors_init(&ignored);
    v->scenario = *race->scenario;
    v->scenario.deadline_s *= what->deadline_factor;
    v->value = v->scenario.deadline_s;
    if (what->count_factor < 1.0) {
        v->scenario.particles.count =
            (size_t)fmax(1.0, round(what->count_factor * (double)v->scenario.particles.count));
        v->value = (double)v->scenario.particles.count;
        v->usable = v->scenario.particles.positions_um == NULL;
    } else {
        v->usable = true;
    }
    if (what->width_factor > 1.0)
        v->usable = v->usable && widen(v, race->scenario, what->width_factor);
    v->usable =
        v->usable && nrw_channel_create(&v->scenario, &v->channel, &ignored) == NRW_OK &&
        nrw_recipe_schedule(recipe, &v->scenario, v->channel, &v->schedule, &ignored) == NRW_OK;
    if (v->usable && what->width_factor > 1.0)
        v->value = nrw_channel_narrowest_um(v->channel, NULL);
    nrw_errors_clear(&ignored);
}

nrw_status nrw_plan_nearest_change(const nrw_race *race, const nrw_recipe *recipe,
                                   double time_factor, char *text, size_t size, nrw_errors *errors)
{
    nrw_status status = NRW_OK;
    const double goal = race->scenario->goal.fraction_min;
    double best = 0.0;
    for (size_t k = 0; k < N_CHANGES && status == NRW_OK; k++) {
        variant v;
        memset(&v, 0, sizeof v);
        change what = CHANGES[k];
        if (what.deadline_factor > 1.0)
            what.deadline_factor = time_factor;
        prepare(&v, &what, race, recipe);
        if (v.usable) {
            nrw_race changed = *race;
            changed.checkpoint = NULL; /* another scenario */
            changed.scenario = &v.scenario;
            changed.channel = v.channel;
            const nrw_race_lane lane = {&v.schedule, 0, CHANGE_TRIALS, v.outcomes};
            status = nrw_race_run(&changed, 1, &lane, errors);
            double mean = status == NRW_OK ? nrw_outcomes_mean(CHANGE_TRIALS, v.outcomes) : 0.0;
            if (status == NRW_OK && mean >= goal) {
                char words[160];
                (void)snprintf(words, sizeof words, CHANGES[k].words, v.value);
                (void)snprintf(text, size, "%s (then %.0f %% in %d trials with the same recipe)",
                               words, 100.0 * mean, CHANGE_TRIALS);
                variant_clear(&v);
                return NRW_OK;
            }
            best = fmax(best, mean);
        }
        variant_clear(&v);
    }
    (void)snprintf(
        text, size,
        "none of these alone was enough: %.2g times the deadline, throats up to 1.9 times "
        "wider, half the particles (at best %.0f %%)",
        time_factor, 100.0 * best);
    return status;
}
