#include "estimate.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "example_run.h"
#include "random.h"
#include "small_setup.h"

/* --- made-up trials ---------------------------------------------------------- */

enum { SWARM = 100 };

/* A record with so many of 100 delivered, the others plugged. */
static nrw_trial_record record_of(size_t index, size_t delivered, double time_to_target_s)
{
    nrw_trial_record record;
    memset(&record, 0, sizeof record);
    record.trial = (nrw_trial){index, 1000 + index, {1.0, 1.0, 1.0, 1.0}};
    record.outcome.status = NRW_OK;
    record.outcome.delivered = (double)delivered / SWARM;
    record.outcome.time_s = 50.0;
    record.outcome.time_to_target_s = time_to_target_s;
    record.visible_fraction = 0.5;
    record.held_fraction = time_to_target_s > 0.0 ? 0.8 : NAN;
    double furthest[SWARM], zeros[SWARM];
    nrw_fate fates[SWARM];
    int vessels[SWARM];
    uint8_t causes[SWARM];
    for (size_t i = 0; i < SWARM; i++) {
        furthest[i] = zeros[i] = 0.0;
        fates[i] = i < delivered ? NRW_FATE_DELIVERED : NRW_FATE_LEFT_BEHIND;
        vessels[i] = -1;
        causes[i] = NRW_LOSS_PLUGGED;
    }
    const nrw_particle_history history = {SWARM, furthest, NULL,  NULL,    fates,
                                          zeros, zeros,    zeros, vessels, causes};
    cr_assert_eq(nrw_loss_flow_init(&record.flow, NULL, 0, &history), NRW_OK);
    return record;
}

static nrw_scenario scenario_with_deadline(double deadline_s)
{
    nrw_scenario scenario;
    memset(&scenario, 0, sizeof scenario);
    scenario.deadline_s = deadline_s;
    scenario.goal.fraction_min = 0.7;
    return scenario;
}

static void clear_records(size_t n, nrw_trial_record *records)
{
    for (size_t k = 0; k < n; k++)
        nrw_trial_record_clear(&records[k]);
}

Test(estimate, figures_of_four_trials_by_hand)
{
    const nrw_scenario scenario = scenario_with_deadline(60.0);
    nrw_trial_record records[5] = {record_of(0, 100, 20.0), record_of(1, 80, 40.0),
                                   record_of(2, 0, NAN), record_of(3, 60, 30.0)};
    nrw_trial_record_clear(&records[4]); /* not done: counts nowhere */
    nrw_estimate estimate;
    cr_assert_eq(nrw_estimate_of(&estimate, &scenario, 5, records, 0.8), NRW_OK);
    cr_expect_eq(estimate.n_trials, 4);
    cr_expect_float_eq(estimate.delivered, 0.6, 1e-15);
    cr_expect_eq(estimate.n_reached, 2, "0.8 itself reaches 0.8");
    cr_expect_eq(estimate.n_held, 3);
    cr_expect_eq(estimate.n_arrived, 3);
    /* three of four arrived by 40 s: half by the second arrival */
    cr_expect_float_eq(estimate.arrival.median_s, 30.0, 0.0);
    /* type 7: 0.3 of the way from 0 to 0.6 */
    cr_expect_float_eq(estimate.p10, 0.18, 1e-15);
    cr_expect_float_eq(estimate.fates[NRW_FATE_LEFT_BEHIND], 0.4, 1e-15);
    cr_expect_float_eq(estimate.causes[NRW_LOSS_PLUGGED], 0.4, 1e-15);
    cr_expect_float_eq(estimate.visible_fraction, 0.5, 1e-15);
    cr_expect_eq(estimate.flow.n, 4 * SWARM);
    cr_expect_str_eq(estimate.advice, "", "nothing is uncertain");
    nrw_estimate_clear(&estimate);
    clear_records(4, records);
}

Test(estimate, a_schedule_that_ends_early_without_arriving_waits_until_the_deadline)
{
    /* ended at 50 s; arrivals at 55 and 58 s: censored at its end, it would leave the
     * sample before them, and the median would be 55 s */
    const nrw_scenario scenario = scenario_with_deadline(60.0);
    nrw_trial_record records[4] = {record_of(0, 0, NAN), record_of(1, 0, NAN),
                                   record_of(2, 90, 55.0), record_of(3, 90, 58.0)};
    nrw_estimate estimate;
    cr_assert_eq(nrw_estimate_of(&estimate, &scenario, 4, records, 0.7), NRW_OK);
    cr_expect_float_eq(estimate.arrival.median_s, 58.0, 0.0);
    nrw_estimate_clear(&estimate);
    clear_records(4, records);
}

Test(estimate, without_a_trial_done_has_no_figures)
{
    const nrw_scenario scenario = scenario_with_deadline(60.0);
    nrw_trial_record *records = nrw_trial_records_create(3);
    nrw_estimate estimate;
    cr_assert_eq(nrw_estimate_of(&estimate, &scenario, 3, records, 0.7), NRW_INTERRUPTED);
    cr_expect_eq(estimate.n_trials, 0);
    cr_expect(isnan(estimate.delivered));
    cr_expect(isnan(estimate.interval.low));
    nrw_estimate_clear(&estimate);
    nrw_trial_records_destroy(3, records);
}

/* Trials of a population whose mean is known: 0.9 of the swarm, but 0.3 in one
 * trial of five, each ± 0.05: mean 0.78. */
static nrw_interval interval_of(uint32_t experiment, size_t n)
{
    const nrw_scenario scenario = scenario_with_deadline(60.0);
    nrw_trial_record *records = nrw_trial_records_create(n);
    for (uint32_t k = 0; k < n; k++) {
        const uint32_t counter[4] = {k, experiment, 0, 0}, key[2] = {77, 5};
        uint32_t words[4];
        nrw_philox(counter, key, words);
        const size_t middle = words[0] < UINT32_MAX / 5 ? 30 : 90;
        records[k] = record_of(k, middle - 5 + words[1] % 11, NAN);
    }
    nrw_estimate estimate;
    cr_assert_eq(nrw_estimate_of(&estimate, &scenario, n, records, 0.7), NRW_OK);
    const nrw_interval interval = estimate.interval;
    nrw_estimate_clear(&estimate);
    nrw_trial_records_destroy(n, records);
    return interval;
}

Test(estimate, interval_of_forty_trials_covers_the_known_mean_in_nine_cases_of_ten)
{
    enum { EXPERIMENTS = 300 };
    int covered = 0;
    for (uint32_t k = 0; k < EXPERIMENTS; k++) {
        const nrw_interval interval = interval_of(k, 40);
        covered += interval.low <= 0.78 && 0.78 <= interval.high;
    }
    /* promised 95 %; 300 experiments tell it to ± 1.3 %, so 90 % is four of them below */
    cr_expect_geq(covered, EXPERIMENTS * 90 / 100);
    cr_expect_lt(covered, EXPERIMENTS, "an interval that always covers is too wide");
}

Test(estimate, interval_is_half_as_wide_with_four_times_the_trials)
{
    enum { EXPERIMENTS = 60 };
    double narrow = 0.0, wide = 0.0;
    for (uint32_t k = 0; k < EXPERIMENTS; k++) {
        const nrw_interval a = interval_of(k, 40), b = interval_of(k, 160);
        wide += a.high - a.low;
        narrow += b.high - b.low;
    }
    /* mean widths of 60 experiments scatter by 2 %; few trials widen the first by 3 % */
    cr_expect_float_eq(wide / narrow, 2.0, 0.15);
}

/* --- records --------------------------------------------------------------------- */

Test(trial_record, comes_back_from_its_text_to_the_last_bit)
{
    nrw_trial_record record = record_of(7, 37, 1.0 / 3.0), back;
    record.trial.draw = (nrw_draw){0.1, 1.0 / 7.0, 2.0, 3.0};
    record.outcome.status = NRW_DIVERGED;
    record.outcome.loss[NRW_LOSS_POCKET] = 0.3;
    record.outcome.out_of_time = true;
    strcpy(record.failure, "two particles overlap");
    char *text = NULL;
    size_t size = 0;
    FILE *file = open_memstream(&text, &size);
    nrw_trial_record_write(&record, file);
    (void)fclose(file);
    cr_assert(nrw_trial_record_read(&back, text));
    cr_expect_eq(memcmp(&back.trial, &record.trial, sizeof back.trial), 0);
    cr_expect_eq(back.outcome.status, NRW_DIVERGED);
    cr_expect_eq(back.outcome.time_to_target_s, 1.0 / 3.0);
    cr_expect_eq(back.outcome.loss[NRW_LOSS_POCKET], 0.3);
    cr_expect(back.outcome.out_of_time);
    cr_expect_eq(back.flow.n_exits, record.flow.n_exits);
    cr_expect_eq(back.flow.exits[0].n, 63);
    cr_expect_eq(back.flow.exits[0].cause, NRW_LOSS_PLUGGED);
    cr_expect_str_eq(back.failure, "two particles overlap");
    nrw_trial_record_clear(&back);
    /* cut anywhere among its numbers it is no record */
    text[size - strlen(" two particles overlap") - 8] = '\0';
    cr_expect_not(nrw_trial_record_read(&back, text));
    free(text);
    nrw_trial_record_clear(&record);
}

Test(trial_record, of_a_failed_run_delivers_nothing_and_keeps_every_particle)
{
    example_run example;
    example_run_make(&example);
    small_setup setup = small_setup_of(example_scenario);
    nrw_run_result *run = &example.run;
    run->causes = calloc(run->n_particles, 1);
    run->furthest_um = calloc(run->n_particles, sizeof(double));
    const nrw_trial trial = {3, 9, {1.0, 1.0, 1.0, 1.0}};
    nrw_outcome outcome;
    memset(&outcome, 0, sizeof outcome);
    outcome.status = NRW_DIVERGED;
    nrw_errors errors;
    nrw_errors_init(&errors);
    nrw_errors_add(&errors, NRW_DIVERGED, "", "the step fell");
    nrw_trial_record record;
    cr_assert_gt(run->fate_fraction[NRW_FATE_DELIVERED], 0.0, "the example delivers some");
    cr_assert_eq(nrw_trial_record_init(&record, &trial, &outcome, setup.channel, run, &errors),
                 NRW_OK);
    cr_expect_eq(record.outcome.delivered, 0.0);
    cr_expect_eq(record.outcome.fate[NRW_FATE_DELIVERED], 0.0);
    cr_expect_float_eq(
        record.outcome.fate[NRW_FATE_IN_TRANSIT],
        run->fate_fraction[NRW_FATE_DELIVERED] + run->fate_fraction[NRW_FATE_IN_TRANSIT], 1e-12);
    cr_expect_eq(record.flow.stages[record.flow.n_stages - 1].n_reached, 0);
    cr_expect_eq(record.flow.n, run->n_particles);
    cr_expect_str_eq(record.failure, "the step fell");
    nrw_trial_record_clear(&record);
    nrw_errors_clear(&errors);
    free(run->causes);
    free(run->furthest_um);
    example_run_clear(&example);
    small_setup_clear(&setup);
}
