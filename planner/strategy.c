#include "strategy.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "plan.h"
#include "schedule_file.h"
#include "suggest.h"

enum { SEARCH_TRIALS = 2 };

static const char *const names[NRW_N_STRATEGIES] = {
    "keep-gathered", "all-chains", "constant-tilt", "tilt-and-wobble", "planned",
};

const char *nrw_strategy_name(nrw_strategy strategy)
{
    return (unsigned)strategy < NRW_N_STRATEGIES ? names[strategy] : "unknown";
}

int nrw_strategy_find(const char *name, const char **nearest)
{
    for (int k = 0; k < NRW_N_STRATEGIES; k++)
        if (strcmp(names[k], name) == 0)
            return k;
    if (nearest)
        *nearest = nrw_suggest(name, names, NRW_N_STRATEGIES);
    return -1;
}

/* --- recipes ------------------------------------------------------------------- */

/* Tilts of a strategy; a 0 ends them. */
static const double tilts[NRW_N_STRATEGIES][NRW_STRATEGY_RECIPES] = {
    [NRW_STRATEGY_ALL_CHAINS] = {70.0, 80.0, 85.0, 0.0},
    [NRW_STRATEGY_CONSTANT_TILT] = {20.0, 30.0, 42.0, 55.0},
    [NRW_STRATEGY_TILT_AND_WOBBLE] = {25.0, 38.0, 50.0, 0.0},
};

#define WOBBLE_DEG 30.0
#define WOBBLE_PERIOD_S 4.0

size_t nrw_strategy_recipes(nrw_strategy strategy, const nrw_scenario *scenario,
                            const nrw_channel *channel, nrw_recipe *recipes)
{
    const nrw_necessary necessary = nrw_necessary_of(scenario, channel);
    if (strategy == NRW_STRATEGY_KEEP_GATHERED)
        return nrw_recipe_baselines(scenario, channel, &necessary, recipes, NRW_STRATEGY_RECIPES);
    nrw_recipe base;
    /* the library's first recipe has the frequency that carries best */
    if (strategy == NRW_STRATEGY_PLANNED ||
        nrw_recipe_library(scenario, channel, &necessary, &base, 1) == 0)
        return 0;
    size_t n = 0;
    for (size_t k = 0; k < NRW_STRATEGY_RECIPES && tilts[strategy][k] > 0.0; k++) {
        nrw_recipe recipe = base;
        recipe.tilt_deg = tilts[strategy][k];
        recipe.other_tilt_deg = recipe.share = recipe.period_s = 0.0;
        recipe.wobble_deg = strategy == NRW_STRATEGY_TILT_AND_WOBBLE ? WOBBLE_DEG : 0.0;
        recipe.wobble_period_s = strategy == NRW_STRATEGY_TILT_AND_WOBBLE ? WOBBLE_PERIOD_S : 0.0;
        recipe.reshaping = false; /* one drive all the way, as keep-gathered has */
        recipe.home_tilt_deg = 0.0;
        (void)snprintf(recipe.name, sizeof recipe.name, "%s-%g", names[strategy], recipe.tilt_deg);
        recipe.field_mT = nrw_recipe_available_field_mT(&recipe, scenario, 10.0);
        if (recipe.field_mT > 0.0)
            recipes[n++] = recipe;
    }
    return n;
}

/* Without its first leg, the gathering. */
static void drop_gathering(nrw_schedule *schedule)
{
    memmove(schedule->legs, schedule->legs + 1, (schedule->n_legs - 1) * sizeof *schedule->legs);
    schedule->n_legs--;
    for (size_t k = 0; k < schedule->n_legs; k++) {
        nrw_leg *leg = &schedule->legs[k];
        leg->stall_leg -= leg->stall_leg > 0;
        leg->on_timeout_leg -= leg->on_timeout_leg > 0;
    }
}

nrw_status nrw_strategy_schedule(nrw_strategy strategy, const nrw_recipe *recipe,
                                 const nrw_scenario *scenario, const nrw_channel *channel,
                                 nrw_schedule *schedule, nrw_errors *errors)
{
    nrw_status status = nrw_recipe_schedule(recipe, scenario, channel, schedule, errors);
    if (status == NRW_OK && strategy == NRW_STRATEGY_ALL_CHAINS && schedule->n_legs > 1)
        drop_gathering(schedule);
    return status;
}

/* --- choosing ---------------------------------------------------------------------- */

static double mean_delivered(size_t n, const nrw_trial_record *records)
{
    double sum = 0.0;
    for (size_t k = 0; k < n; k++)
        sum += records[k].outcome.delivered;
    return sum / (double)n;
}

/* Runs the recipes on the search's trials; *best becomes the index of the one that
 * delivers most, the first of equals. */
static nrw_status race_recipes(const nrw_series *series, size_t n, const nrw_recipe *recipes,
                               const nrw_schedule *schedules, size_t *best, nrw_errors *errors)
{
    nrw_trial_record *records = nrw_trial_records_create(n * SEARCH_TRIALS);
    if (!records)
        return nrw_errors_add(errors, NRW_NO_MEMORY, "", "no memory for the trials");
    nrw_series_lane lanes[NRW_STRATEGY_RECIPES];
    char lane_names[NRW_STRATEGY_RECIPES][NRW_NAME_SIZE];
    for (size_t k = 0; k < n; k++) {
        /* the baselines' names have blanks */
        (void)snprintf(lane_names[k], sizeof lane_names[k], "%.63s", recipes[k].name);
        for (char *c = lane_names[k]; *c; c++)
            *c = *c == ' ' ? '_' : *c;
        lanes[k] = (nrw_series_lane){lane_names[k], &schedules[k], records + k * SEARCH_TRIALS};
    }
    nrw_status status =
        nrw_series_run(series, NRW_TRIALS_SEARCH, 0, SEARCH_TRIALS, n, lanes, errors);
    *best = 0;
    for (size_t k = 1; status == NRW_OK && k < n; k++)
        if (mean_delivered(SEARCH_TRIALS, lanes[k].records) >
            mean_delivered(SEARCH_TRIALS, lanes[*best].records))
            *best = k;
    nrw_trial_records_destroy(n * SEARCH_TRIALS, records);
    return status;
}

static nrw_status choose_recipe(const nrw_series *series, nrw_strategy strategy,
                                nrw_strategy_choice *choice, nrw_errors *errors)
{
    nrw_recipe recipes[NRW_STRATEGY_RECIPES];
    nrw_schedule schedules[NRW_STRATEGY_RECIPES];
    const size_t n = nrw_strategy_recipes(strategy, series->scenario, series->channel, recipes);
    if (n == 0)
        return nrw_errors_add(errors, NRW_REFUSED, "a stronger rig",
                              "the rig can't give the field of strategy '%s'", names[strategy]);
    memset(schedules, 0, sizeof schedules);
    nrw_status status = NRW_OK;
    for (size_t k = 0; status == NRW_OK && k < n; k++)
        status = nrw_strategy_schedule(strategy, &recipes[k], series->scenario, series->channel,
                                       &schedules[k], errors);
    size_t best = 0;
    if (status == NRW_OK)
        status = race_recipes(series, n, recipes, schedules, &best, errors);
    for (size_t k = 0; k < n; k++) {
        if (status == NRW_OK && k == best)
            choice->schedule = schedules[k];
        else
            nrw_schedule_clear(&schedules[k]);
    }
    choice->n_tried = n;
    nrw_recipe_describe(&recipes[best], choice->words, sizeof choice->words);
    return status;
}

/* --- planned -------------------------------------------------------------------------- */

/* In the checkpoint: number tried, words, then the lines of the schedule, all with
 * tabs between. */
#define PLANNED_UNIT "planned/schedule"

static void swap_bytes(char *text, char from, char to)
{
    for (char *c = text; *c; c++)
        *c = *c == from ? to : *c;
}

static bool recall_plan(const nrw_series *series, nrw_strategy_choice *choice)
{
    const char *kept = nrw_checkpoint_find(series->checkpoint, PLANNED_UNIT);
    char *text = kept ? strdup(kept) : NULL;
    char *words = text ? strchr(text, '\t') : NULL;
    char *lines = words ? strchr(words + 1, '\t') : NULL;
    bool good = false;
    if (lines) {
        *words++ = *lines++ = '\0';
        swap_bytes(lines, '\t', '\n');
        choice->n_tried = (size_t)strtoul(text, NULL, 10);
        (void)snprintf(choice->words, sizeof choice->words, "%s", words);
        nrw_errors ignored;
        nrw_errors_init(&ignored);
        good = nrw_schedule_parse(lines, strlen(lines), "planned", series->scenario,
                                  &choice->schedule, &ignored) == NRW_OK;
        nrw_errors_clear(&ignored);
    }
    free(text);
    return good;
}

static nrw_status remember_plan(const nrw_series *series, const nrw_strategy_choice *choice,
                                nrw_errors *errors)
{
    char *lines = NULL, *text = NULL;
    nrw_status status = nrw_schedule_text(&choice->schedule, &lines, errors);
    if (status != NRW_OK)
        return status;
    const size_t size = strlen(lines) + sizeof choice->words + 32;
    text = malloc(size);
    if (text) {
        (void)snprintf(text, size, "%zu\t%s\t%s", choice->n_tried, choice->words, lines);
        swap_bytes(text, '\n', '\t');
        status = nrw_checkpoint_add(series->checkpoint, PLANNED_UNIT, text, errors);
    } else {
        status = nrw_errors_add(errors, NRW_NO_MEMORY, "", "out of memory");
    }
    free(lines);
    free(text);
    return status;
}

static void tell_plan(void *context, const char *stage, double best, size_t done, size_t of)
{
    (void)stage;
    (void)best;
    const nrw_series *series = context;
    if (series->progress)
        (void)series->progress(series->context, done, of);
}

static nrw_status search_plan(const nrw_series *series, nrw_strategy_choice *choice,
                              nrw_errors *errors)
{
    nrw_plan_config config = nrw_plan_config_defaults();
    nrw_plan_result plan;
    nrw_series told = *series; /* the planner's context isn't const */
    config.seed = series->seed;
    config.model = series->model;
    config.progress = tell_plan;
    config.context = &told;
    config.interrupted = series->interrupted;
    config.checkpoint = series->checkpoint;
    nrw_status status = nrw_plan(series->scenario, series->channel, &config, &plan, errors);
    /* the best that there is competes, whether it is enough or not */
    if (status == NRW_REFUSED && plan.schedule.n_legs > 0)
        status = NRW_OK;
    if (status == NRW_REFUSED)
        nrw_errors_add(errors, status, plan.nearest_change, "nothing can be planned: %s",
                       plan.reason);
    if (status == NRW_OK) {
        choice->schedule = plan.schedule;
        memset(&plan.schedule, 0, sizeof plan.schedule);
        choice->n_tried = plan.n_candidates;
        nrw_recipe_describe(&plan.recipe, choice->words, sizeof choice->words);
        if (series->checkpoint)
            status = remember_plan(series, choice, errors);
    }
    nrw_plan_result_clear(&plan);
    return status;
}

nrw_status nrw_strategy_choose(const nrw_series *series, nrw_strategy strategy,
                               nrw_strategy_choice *choice, nrw_errors *errors)
{
    memset(choice, 0, sizeof *choice);
    if (strategy != NRW_STRATEGY_PLANNED)
        return choose_recipe(series, strategy, choice, errors);
    return recall_plan(series, choice) ? NRW_OK : search_plan(series, choice, errors);
}

void nrw_strategy_choice_clear(nrw_strategy_choice *choice)
{
    nrw_schedule_clear(&choice->schedule);
    memset(choice, 0, sizeof *choice);
}
