#include "race.h"

#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "schedule_file.h"
#include "small_setup.h"
#include "temporary_folder.h"

static const char pond[] =
    "format: narrows-scenario/1\n"
    "fluid: {medium: water, temperature_C: 25}\n"
    "particles: {count: 6, diameter_um: 3, density_kg_m3: 1800,\n"
    "            magnetics: {kind: induced, susceptibility: 0.3, relaxation_time_s: 1.0e-5}}\n"
    "channel: {open: true, nodes: {far: {at_um: [100, 0]}}}\n"
    "release: {at_um: [0, 0], radius_um: 9}\n"
    "target: {node: far, radius_um: 50}\n"
    "deadline_s: 1\n"
    "uncertainty: {rolling_cv: 0.5}\n";

static const char rolling[] =
    "format: narrows-schedule/1\n"
    "legs: [{name: roll, drive: {mode: rotating, tilt_deg: 40, field_mT: 10, frequency_Hz: 50},\n"
    "        timeout_s: 0.5}]\n";

enum { TRIALS = 3 };

typedef struct track {
    small_setup setup;
    nrw_schedule schedules[2];
    nrw_trial trials[TRIALS];
    nrw_outcome outcomes[2][TRIALS];
    nrw_race_lane lanes[2];
    size_t n_runs;
} track;

static nrw_status count_run(void *context, size_t lane, size_t trial, const nrw_outcome *outcome,
                            const nrw_run_result *run, const nrw_errors *errors)
{
    (void)lane;
    (void)trial;
    (void)outcome;
    (void)errors;
    track *t = context;
    cr_assert_eq(run->n_particles, 6, "the whole result is there");
    t->n_runs++;
    return NRW_OK;
}

/* Two lanes whose schedules differ in their tilt. */
static track make_track(void)
{
    track t;
    memset(&t, 0, sizeof t);
    t.setup = small_setup_of(pond);
    for (int k = 0; k < 2; k++)
        cr_assert_eq(nrw_schedule_parse(rolling, strlen(rolling), "s", t.setup.scenario,
                                        &t.schedules[k], NULL),
                     NRW_OK);
    t.schedules[1].legs[0].drive.main.tilt_deg = 60.0;
    cr_assert_eq(
        nrw_trials_draw(&t.setup.scenario->uncertainty, 1, NRW_TRIALS_SEARCH, 0, TRIALS, t.trials),
        NRW_OK);
    return t;
}

static void run_track(track *t, nrw_checkpoint *checkpoint)
{
    for (int k = 0; k < 2; k++)
        t->lanes[k] = (nrw_race_lane){&t->schedules[k], 0, TRIALS, t->outcomes[k]};
    const nrw_race race = {.scenario = t->setup.scenario,
                           .channel = t->setup.channel,
                           .trials = t->trials,
                           .context = t,
                           .keep = count_run,
                           .checkpoint = checkpoint};
    memset(t->outcomes, 0, sizeof t->outcomes);
    t->n_runs = 0;
    cr_assert_eq(nrw_race_run(&race, 2, t->lanes, NULL), NRW_OK);
}

static void clear_track(track *t)
{
    nrw_schedule_clear(&t->schedules[0]);
    nrw_schedule_clear(&t->schedules[1]);
    small_setup_clear(&t->setup);
}

/* Every field but the padding. */
static void expect_same(const nrw_outcome *a, const nrw_outcome *b)
{
    cr_expect_eq(a->status, b->status);
    cr_expect_eq(a->delivered, b->delivered);
    cr_expect_eq(a->time_s, b->time_s);
    cr_expect_eq(isnan(a->time_to_target_s), isnan(b->time_to_target_s));
    cr_expect_eq(a->furthest_um, b->furthest_um);
    cr_expect_eq(a->out_of_time, b->out_of_time);
    cr_expect_eq(memcmp(a->fate, b->fate, sizeof a->fate), 0);
    cr_expect_eq(memcmp(a->loss, b->loss, sizeof a->loss), 0);
}

Test(race, runs_that_a_checkpoint_holds_are_not_run_again)
{
    track t = make_track();
    char folder[256], target[300], key[65];
    const char *job = "a race";
    nrw_checkpoint *checkpoint = NULL;
    temporary_folder_make(folder);
    (void)snprintf(target, sizeof target, "%s/results", folder);
    cr_assert_eq(nrw_checkpoint_key(1, &job, key), NRW_OK);
    cr_assert_eq(nrw_checkpoint_open(target, key, false, &checkpoint, NULL), NRW_OK);
    run_track(&t, checkpoint);
    cr_expect_eq(t.n_runs, 2 * TRIALS);
    nrw_outcome first[2][TRIALS];
    memcpy(first, t.outcomes, sizeof first);
    nrw_checkpoint_close(checkpoint, true);

    cr_assert_eq(nrw_checkpoint_open(target, key, true, &checkpoint, NULL), NRW_OK);
    run_track(&t, checkpoint);
    cr_expect_eq(t.n_runs, 0);
    for (int lane = 0; lane < 2; lane++)
        for (int k = 0; k < TRIALS; k++)
            expect_same(&first[lane][k], &t.outcomes[lane][k]);
    cr_expect_neq(first[0][0].furthest_um, first[1][0].furthest_um, "lanes are told apart");
    cr_expect_neq(first[0][0].furthest_um, first[0][1].furthest_um, "and trials");

    t.schedules[0].legs[0].drive.main.tilt_deg = 41.0;
    run_track(&t, checkpoint);
    cr_expect_eq(t.n_runs, TRIALS, "another schedule is another run");
    nrw_checkpoint_close(checkpoint, false);
    temporary_folder_remove(folder);
    clear_track(&t);
}

Test(race, outcomes_do_not_depend_on_company)
{
    track t = make_track();
    run_track(&t, NULL);
    nrw_outcome alone;
    const nrw_race_lane one = {&t.schedules[1], 2, 1, &alone};
    const nrw_race race = {
        .scenario = t.setup.scenario, .channel = t.setup.channel, .trials = t.trials};
    cr_assert_eq(nrw_race_run(&race, 1, &one, NULL), NRW_OK);
    expect_same(&alone, &t.outcomes[1][2]);
    clear_track(&t);
}

static bool at_once(void)
{
    return true;
}

Test(race, interrupted_runs_say_so)
{
    track t = make_track();
    nrw_outcome outcomes[TRIALS];
    const nrw_race_lane lane = {&t.schedules[0], 0, TRIALS, outcomes};
    const nrw_race race = {.scenario = t.setup.scenario,
                           .channel = t.setup.channel,
                           .trials = t.trials,
                           .interrupted = at_once};
    cr_expect_eq(nrw_race_run(&race, 1, &lane, NULL), NRW_INTERRUPTED);
    for (int k = 0; k < TRIALS; k++)
        cr_expect_eq(outcomes[k].status, NRW_INTERRUPTED);
    clear_track(&t);
}
