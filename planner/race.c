#include "race.h"

#include <math.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>

typedef struct race_task {
    const nrw_race_lane *lane;
    size_t lane_index;
    size_t trial; /* within the lane */
    bool known;   /* done before */
} race_task;

typedef struct race_state {
    const nrw_race *race;
    atomic_bool stop;
    size_t done, of;
} race_state;

static bool asked_to_stop(void *context, double simulated_s, double of_s)
{
    (void)simulated_s;
    (void)of_s;
    race_state *state = context;
    if (state->race->interrupted && state->race->interrupted())
        atomic_store(&state->stop, true);
    return atomic_load(&state->stop);
}

static void summarise(const nrw_run_result *result, nrw_outcome *outcome)
{
    outcome->delivered = result->fate_fraction[NRW_FATE_DELIVERED];
    outcome->time_s = result->time_s;
    outcome->time_to_target_s = result->time_to_target_s;
    memcpy(outcome->fate, result->fate_fraction, sizeof outcome->fate);
    double furthest = 0.0;
    for (size_t i = 0; i < result->n_particles; i++)
        furthest += result->furthest_um[i];
    outcome->furthest_um = furthest / (double)result->n_particles;
    for (size_t k = 0; k < result->n_losses; k++)
        outcome->loss[result->losses[k].cause] += result->losses[k].fraction;
    outcome->out_of_time = result->n_visits > 0 &&
                           result->visits[result->n_visits - 1].end == NRW_LEG_DEADLINE;
}

/* One run; the result is the caller's to clear. */
static void run_task(race_state *state, const race_task *task, nrw_run_result *result,
                     nrw_errors *errors)
{
    const nrw_race *race = state->race;
    nrw_outcome *outcome = &task->lane->outcomes[task->trial];
    const nrw_trial *trial = &race->trials[task->lane->first_trial + task->trial];
    memset(result, 0, sizeof *result);
    if (task->known)
        return;
    memset(outcome, 0, sizeof *outcome);
    outcome->time_to_target_s = NAN;
    outcome->status = NRW_INTERRUPTED;
    if (atomic_load(&state->stop))
        return;
    nrw_run_config config = nrw_run_config_defaults();
    config.seed = trial->seed;
    config.draw = trial->draw;
    config.model = race->model;
    config.record = race->record;
    config.trajectory_every_s = race->trajectory_every_s;
    config.progress = asked_to_stop;
    config.progress_context = state;
    outcome->status =
        nrw_run(race->scenario, race->channel, task->lane->schedule, &config, result, errors);
    if (outcome->status == NRW_OK)
        summarise(result, outcome);
}

/* Notes a run that is done; one thread at a time. */
static void note_task(race_state *state, const race_task *task, const nrw_run_result *result,
                      const nrw_errors *errors)
{
    const nrw_race *race = state->race;
    nrw_outcome *outcome = &task->lane->outcomes[task->trial];
    const bool done = outcome->status == NRW_OK || outcome->status == NRW_DIVERGED;
    if (done && !task->known && race->keep) {
        nrw_status status =
            race->keep(race->context, task->lane_index, task->trial, outcome, result, errors);
        if (status != NRW_OK) {
            outcome->status = status;
            atomic_store(&state->stop, true);
        }
    }
    state->done += done;
    if (race->progress && race->progress(race->context, state->done, state->of))
        atomic_store(&state->stop, true);
}

static size_t count_tasks(size_t n_lanes, const nrw_race_lane *lanes)
{
    size_t n = 0;
    for (size_t k = 0; k < n_lanes; k++)
        n += lanes[k].n_trials;
    return n;
}

static nrw_status worst_status(size_t n_tasks, const race_task *tasks, const nrw_errors *each,
                               nrw_errors *errors)
{
    nrw_status worst = NRW_OK;
    for (size_t k = 0; k < n_tasks; k++) {
        nrw_status status = tasks[k].lane->outcomes[tasks[k].trial].status;
        if (status == NRW_OK || status == NRW_DIVERGED)
            continue;
        if (status == NRW_INTERRUPTED) {
            worst = NRW_INTERRUPTED;
            continue;
        }
        for (size_t e = 0; e < each[k].n_items; e++)
            nrw_errors_add(errors, status, each[k].items[e].expected, "%s", each[k].items[e].what);
        return status;
    }
    return worst;
}

nrw_status nrw_race_run(const nrw_race *race, size_t n_lanes, const nrw_race_lane *lanes,
                        nrw_errors *errors)
{
    const size_t n_tasks = count_tasks(n_lanes, lanes);
    if (n_tasks == 0)
        return NRW_OK;
    race_task *tasks = calloc(n_tasks, sizeof *tasks);
    nrw_errors *each = calloc(n_tasks, sizeof *each);
    if (!tasks || !each) {
        free(tasks);
        free(each);
        return nrw_errors_add(errors, NRW_NO_MEMORY, "", "no memory for %zu runs", n_tasks);
    }
    size_t at = 0;
    for (size_t k = 0; k < n_lanes; k++)
        for (size_t t = 0; t < lanes[k].n_trials; t++) {
            const bool known =
                race->known && race->known(race->context, k, t, &lanes[k].outcomes[t]);
            tasks[at++] = (race_task){&lanes[k], k, t, known};
        }
    race_state state = {.race = race, .of = n_tasks};
    atomic_init(&state.stop, false);
#pragma omp parallel for schedule(dynamic, 1)
    for (size_t k = 0; k < n_tasks; k++) {
        nrw_run_result result;
        run_task(&state, &tasks[k], &result, &each[k]);
#pragma omp critical(nrw_race_note)
        note_task(&state, &tasks[k], &result, &each[k]);
        nrw_run_result_clear(&result);
    }
    nrw_status status = worst_status(n_tasks, tasks, each, errors);
    for (size_t k = 0; k < n_tasks; k++)
        nrw_errors_clear(&each[k]);
    free(tasks);
    free(each);
    return status;
}

double nrw_outcomes_mean(size_t n, const nrw_outcome *outcomes)
{
    double sum = 0.0;
    for (size_t k = 0; k < n; k++)
        sum += outcomes[k].delivered;
    return sum / (double)n;
}
