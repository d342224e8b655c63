#include "race.h"

#include <assert.h>
#include <math.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "schedule_file.h"
#include "sha256.h"

enum { DIGEST_SIZE = 17, UNIT_SIZE = 64 };

typedef struct race_task {
    const nrw_race_lane *lane;
    size_t lane_index;
    size_t trial;         /* within the lane */
    bool known;           /* done before */
    char unit[UNIT_SIZE]; /* in the race's checkpoint; "" without one */
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
    outcome->out_of_time =
        result->n_visits > 0 && result->visits[result->n_visits - 1].end == NRW_LEG_DEADLINE;
}

/* --- outcomes as words --------------------------------------------------------- */

enum { N_NUMBERS = 4 + NRW_N_FATES + NRW_N_LOSS_CAUSES };

static void list_numbers(nrw_outcome *outcome, double *numbers[N_NUMBERS])
{
    size_t at = 0;
    numbers[at++] = &outcome->delivered;
    numbers[at++] = &outcome->time_s;
    numbers[at++] = &outcome->time_to_target_s;
    numbers[at++] = &outcome->furthest_um;
    for (int k = 0; k < NRW_N_FATES; k++)
        numbers[at++] = &outcome->fate[k];
    for (int k = 0; k < NRW_N_LOSS_CAUSES; k++)
        numbers[at++] = &outcome->loss[k];
}

void nrw_outcome_write(const nrw_outcome *outcome, FILE *file)
{
    nrw_outcome copy = *outcome;
    double *numbers[N_NUMBERS];
    list_numbers(&copy, numbers);
    nrw_word_integer(file, outcome->status == NRW_DIVERGED);
    nrw_word_integer(file, outcome->out_of_time);
    for (int k = 0; k < N_NUMBERS; k++)
        nrw_word_number(file, *numbers[k]);
}

void nrw_outcome_read(nrw_outcome *outcome, nrw_words *words)
{
    double *numbers[N_NUMBERS];
    memset(outcome, 0, sizeof *outcome);
    list_numbers(outcome, numbers);
    outcome->status = nrw_words_bounded(words, 0, 1) ? NRW_DIVERGED : NRW_OK;
    outcome->out_of_time = nrw_words_bounded(words, 0, 1) != 0;
    for (int k = 0; k < N_NUMBERS; k++)
        *numbers[k] = nrw_words_number(words);
}

/* --- the race's own checkpoint ------------------------------------------------------ */

/* A schedule by the digest of its text. */
static nrw_status digest_of(const nrw_schedule *schedule, char digest[DIGEST_SIZE],
                            nrw_errors *errors)
{
    char *text = NULL, hex[65];
    nrw_status status = nrw_schedule_text(schedule, &text, errors);
    if (status != NRW_OK)
        return status;
    nrw_sha256_hex(text, strlen(text), hex);
    memcpy(digest, hex, DIGEST_SIZE - 1);
    digest[DIGEST_SIZE - 1] = '\0';
    free(text);
    return NRW_OK;
}

static bool recall(const nrw_race *race, const race_task *task)
{
    nrw_words words = {nrw_checkpoint_find(race->checkpoint, task->unit), false};
    if (!words.at)
        return false;
    nrw_outcome outcome;
    nrw_outcome_read(&outcome, &words);
    if (!words.bad)
        task->lane->outcomes[task->trial] = outcome;
    return !words.bad;
}

static nrw_status remember(const nrw_race *race, const race_task *task, const nrw_outcome *outcome)
{
    char *text = NULL;
    size_t size = 0;
    FILE *file = open_memstream(&text, &size);
    nrw_status status = NRW_NO_MEMORY;
    if (file) {
        nrw_outcome_write(outcome, file);
        if (fclose(file) == 0)
            status = nrw_checkpoint_add(race->checkpoint, task->unit, text, NULL);
    }
    free(text);
    return status;
}

/* --- runs --------------------------------------------------------------------------- */

/* One run; the result is the caller's to clear. */
static void run_task(race_state *state, const race_task *task, nrw_run_result *result,
                     nrw_errors *errors)
{
    const nrw_race *race = state->race;
    assert(task->lane); /* every task is listed */
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
    if (done && !task->known && task->unit[0] != '\0') {
        /* an outcome that could not be kept is only run again */
        (void)remember(race, task, outcome);
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

/* Tasks in order of lanes and trials; those that were done before have their
 * outcomes. */
static nrw_status list_tasks(const nrw_race *race, size_t n_lanes, const nrw_race_lane *lanes,
                             race_task *tasks, nrw_errors *errors)
{
    size_t at = 0;
    for (size_t k = 0; k < n_lanes; k++) {
        char digest[DIGEST_SIZE] = "";
        nrw_status status =
            race->checkpoint ? digest_of(lanes[k].schedule, digest, errors) : NRW_OK;
        if (status != NRW_OK)
            return status;
        for (size_t t = 0; t < lanes[k].n_trials; t++) {
            race_task *task = &tasks[at++];
            *task = (race_task){.lane = &lanes[k], .lane_index = k, .trial = t};
            if (race->checkpoint) {
                const nrw_trial *trial = &race->trials[lanes[k].first_trial + t];
                (void)snprintf(task->unit, sizeof task->unit, "run/%s/%llu", digest,
                               (unsigned long long)trial->seed);
                task->known = recall(race, task);
            } else if (race->known) {
                task->known = race->known(race->context, k, t, &lanes[k].outcomes[t]);
            }
        }
    }
    return NRW_OK;
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
    nrw_status status = list_tasks(race, n_lanes, lanes, tasks, errors);
    if (status != NRW_OK) {
        free(tasks);
        free(each);
        return status;
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
    status = worst_status(n_tasks, tasks, each, errors);
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
