#include "trial_record.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "checkpoint.h"

/* --- from a run ---------------------------------------------------------------- */

/* The fates and causes of a run that failed: what lay in the target is not
 * delivered. */
static nrw_status undeliver(nrw_run_result *run)
{
    const size_t n = run->n_particles;
    nrw_fate *fates = malloc((n + 1) * sizeof *fates);
    uint8_t *causes = malloc(n + 1);
    if (!fates || !causes) {
        free(fates);
        free(causes);
        return NRW_NO_MEMORY;
    }
    size_t counts[NRW_N_FATES] = {0};
    for (size_t i = 0; i < n; i++) {
        const bool inside = run->fates[i] == NRW_FATE_DELIVERED;
        fates[i] = inside ? NRW_FATE_IN_TRANSIT : run->fates[i];
        causes[i] = inside ? (uint8_t)NRW_LOSS_OTHER : run->causes[i];
        counts[fates[i]]++;
    }
    for (int k = 0; k < NRW_N_FATES; k++)
        run->fate_fraction[k] = (double)counts[k] / (double)n;
    run->fates = fates;
    run->causes = causes;
    return NRW_OK;
}

/* The run's sentences with tabs between; NULL without any. */
static char *join_warnings(const nrw_run_result *run)
{
    size_t size = 1;
    for (size_t k = 0; k < run->n_warnings; k++)
        size += strlen(run->warnings[k]) + 1;
    char *text = run->n_warnings > 0 ? malloc(size) : NULL;
    for (size_t k = 0, used = 0; text && k < run->n_warnings; k++)
        used +=
            (size_t)snprintf(text + used, size - used, "%s%s", k > 0 ? "\t" : "", run->warnings[k]);
    return text;
}

bool nrw_trial_record_warning(const nrw_trial_record *record, size_t k, char *text, size_t size)
{
    const char *at = record->warnings;
    for (; at && k > 0; k--) {
        at = strchr(at, '\t');
        at = at ? at + 1 : NULL;
    }
    if (!at)
        return false;
    (void)snprintf(text, size, "%.*s", (int)strcspn(at, "\t"), at);
    return true;
}

nrw_status nrw_trial_record_init(nrw_trial_record *record, const nrw_trial *trial,
                                 const nrw_outcome *outcome, const nrw_channel *channel,
                                 const nrw_run_result *run, const nrw_errors *errors)
{
    memset(record, 0, sizeof *record);
    record->trial = *trial;
    record->outcome = *outcome;
    record->visible_fraction = run->visible_fraction_of_time;
    record->held_fraction = run->held_fraction;
    const bool failed = outcome->status != NRW_OK;
    nrw_run_result judged = *run; /* arrays borrowed */
    nrw_status status = failed ? undeliver(&judged) : NRW_OK;
    if (status != NRW_OK)
        return status;
    if (failed) {
        record->outcome.delivered = 0.0;
        record->outcome.time_s = run->time_s;
        record->outcome.time_to_target_s = record->held_fraction = NAN;
        memcpy(record->outcome.fate, judged.fate_fraction, sizeof judged.fate_fraction);
        if (errors->n_items > 0) /* one line of text, cut short if need be */
            (void)snprintf(record->failure, sizeof record->failure, "%.180s",
                           errors->items[errors->n_items - 1].what);
    }
    if (trial->index == 0)
        record->warnings = join_warnings(run);
    status = nrw_loss_flow_of_run(&record->flow, channel, &judged, run->gathered, run->arrived);
    if (failed) {
        free(judged.fates);
        free(judged.causes);
    }
    return status;
}

void nrw_trial_record_clear(nrw_trial_record *record)
{
    nrw_loss_flow_clear(&record->flow);
    free(record->warnings);
    memset(record, 0, sizeof *record);
    record->outcome.status = NRW_INTERRUPTED;
}

/* --- text ---------------------------------------------------------------------- */

static void write_flow(const nrw_loss_flow *flow, FILE *file)
{
    nrw_word_integer(file, (int64_t)flow->n);
    nrw_word_integer(file, (int64_t)flow->n_stages);
    for (size_t k = 0; k < flow->n_stages; k++) {
        const nrw_flow_stage *stage = &flow->stages[k];
        nrw_word_integer(file, (int64_t)stage->kind);
        nrw_word_integer(file, (int64_t)stage->throat);
        nrw_word_integer(file, (int64_t)stage->n_reached);
        nrw_word_integer(file, (int64_t)stage->n_lost);
    }
    nrw_word_integer(file, (int64_t)flow->n_exits);
    for (size_t k = 0; k < flow->n_exits; k++) {
        const nrw_flow_exit *out = &flow->exits[k];
        nrw_word_integer(file, (int64_t)out->stage);
        nrw_word_integer(file, (int64_t)out->fate);
        nrw_word_integer(file, (int64_t)out->cause);
        nrw_word_integer(file, out->vessel);
        nrw_word_integer(file, (int64_t)out->n);
        nrw_word_number(file, out->at_um[0]);
        nrw_word_number(file, out->at_um[1]);
        nrw_word_number(file, out->route_um);
        nrw_word_number(file, out->route_low_um);
        nrw_word_number(file, out->route_high_um);
    }
}

enum { MANY = 1 << 30 };

static void read_flow(nrw_loss_flow *flow, nrw_words *words)
{
    flow->n = (size_t)nrw_words_bounded(words, 0, MANY);
    const size_t n_stages = (size_t)nrw_words_bounded(words, 0, 1 << 16);
    flow->stages = calloc(n_stages + 1, sizeof *flow->stages);
    words->bad = words->bad || !flow->stages;
    for (size_t k = 0; !words->bad && k < n_stages; k++) {
        nrw_flow_stage *stage = &flow->stages[flow->n_stages++];
        stage->kind = (nrw_flow_kind)nrw_words_bounded(words, 0, NRW_FLOW_RETAINED);
        stage->throat = (size_t)nrw_words_bounded(words, 0, MANY);
        stage->n_reached = (size_t)nrw_words_bounded(words, 0, MANY);
        stage->n_lost = (size_t)nrw_words_bounded(words, 0, MANY);
    }
    /* never more exits than particles */
    const size_t n_exits = (size_t)nrw_words_bounded(words, 0, (int64_t)flow->n);
    flow->exits = calloc(n_exits + 1, sizeof *flow->exits);
    words->bad = words->bad || !flow->exits;
    for (size_t k = 0; !words->bad && k < n_exits; k++) {
        nrw_flow_exit *out = &flow->exits[flow->n_exits++];
        out->stage = (size_t)nrw_words_bounded(words, 0, (int64_t)n_stages - 1);
        out->fate = (nrw_fate)nrw_words_bounded(words, 0, NRW_N_FATES - 1);
        out->cause = (nrw_loss_cause)nrw_words_bounded(words, 0, NRW_N_LOSS_CAUSES - 1);
        out->vessel = (int)nrw_words_bounded(words, -1, MANY);
        out->n = (size_t)nrw_words_bounded(words, 0, MANY);
        out->at_um[0] = nrw_words_number(words);
        out->at_um[1] = nrw_words_number(words);
        out->route_um = nrw_words_number(words);
        out->route_low_um = nrw_words_number(words);
        out->route_high_um = nrw_words_number(words);
    }
}

/* The record's own numbers, in the order of the text. */
enum { N_NUMBERS = 6 };

static void list_numbers(nrw_trial_record *record, double *numbers[N_NUMBERS])
{
    nrw_draw *draw = &record->trial.draw;
    double *const all[N_NUMBERS] = {
        &draw->moment,    &draw->viscosity,          &draw->rolling,
        &draw->pair_flow, &record->visible_fraction, &record->held_fraction};
    memcpy(numbers, all, sizeof all);
}

void nrw_trial_record_write(const nrw_trial_record *record, FILE *file)
{
    nrw_trial_record copy = *record;
    double *numbers[N_NUMBERS];
    list_numbers(&copy, numbers);
    nrw_word_integer(file, (int64_t)record->trial.index);
    nrw_word_integer(file, (int64_t)record->trial.seed);
    nrw_outcome_write(&record->outcome, file);
    for (int k = 0; k < N_NUMBERS; k++)
        nrw_word_number(file, *numbers[k]);
    write_flow(&record->flow, file);
    /* last, since they have blanks */
    (void)fprintf(file, " %s", record->failure);
    if (record->warnings)
        (void)fprintf(file, "\t%s", record->warnings);
}

bool nrw_trial_record_read(nrw_trial_record *record, const char *text)
{
    nrw_words words = {text, false};
    double *numbers[N_NUMBERS];
    memset(record, 0, sizeof *record);
    list_numbers(record, numbers);
    record->trial.index = (size_t)nrw_words_bounded(&words, 0, INT64_MAX);
    record->trial.seed = (uint64_t)nrw_words_bounded(&words, 0, INT64_MAX);
    nrw_outcome_read(&record->outcome, &words);
    for (int k = 0; k < N_NUMBERS; k++)
        *numbers[k] = nrw_words_number(&words);
    read_flow(&record->flow, &words);
    if (words.bad) {
        nrw_trial_record_clear(record);
        return false;
    }
    if (*words.at != ' ')
        return true;
    const char *failure = words.at + 1, *tab = strchr(failure, '\t');
    (void)snprintf(record->failure, sizeof record->failure, "%.*s",
                   (int)(tab ? (size_t)(tab - failure) : strlen(failure)), failure);
    if (tab)
        record->warnings = strdup(tab + 1);
    return true;
}

/* --- trials.csv ------------------------------------------------------------------ */

static double arrived_fraction(const nrw_loss_flow *flow)
{
    for (size_t k = 0; k < flow->n_stages; k++)
        if (flow->stages[k].kind == NRW_FLOW_TARGET)
            return (double)flow->stages[k].n_reached / (double)flow->n;
    return NAN;
}

static void csv_row(nrw_csv *csv, const char *name, const nrw_trial_record *record)
{
    static const nrw_fate columns[] = {NRW_FATE_WALL, NRW_FATE_LEFT_BEHIND, NRW_FATE_WASHED_OUT,
                                       NRW_FATE_SCATTERED, NRW_FATE_IN_TRANSIT};
    const nrw_outcome *outcome = &record->outcome;
    if (name)
        nrw_csv_text(csv, name);
    nrw_csv_integer(csv, (int64_t)record->trial.index);
    nrw_csv_integer(csv, (int64_t)record->trial.seed);
    nrw_csv_number(csv, outcome->delivered);
    nrw_csv_number(csv, outcome->time_to_target_s);
    for (size_t k = 0; k < sizeof columns / sizeof *columns; k++)
        nrw_csv_number(csv, outcome->fate[columns[k]]);
    for (int k = 0; k < NRW_N_DRAWN; k++)
        nrw_csv_number(csv, nrw_drawn_factor(&record->trial.draw, k));
    nrw_csv_number(csv, outcome->time_s);
    nrw_csv_number(csv, record->visible_fraction);
    nrw_csv_number(csv, arrived_fraction(&record->flow));
    nrw_csv_number(csv, record->held_fraction);
    nrw_csv_integer(csv, outcome->status == NRW_DIVERGED);
    nrw_csv_end_record(csv);
}

nrw_status nrw_trial_records_csv(nrw_store *store, size_t n_lanes, const char *const *names,
                                 size_t n_trials, const nrw_trial_record *records,
                                 nrw_errors *errors)
{
    static const char file_name[] = "trials.csv";
    char header[320] = "";
    size_t used = (size_t)snprintf(header, sizeof header,
                                   "%strial,seed,delivered_fraction,time_to_target_s,wall,"
                                   "left_behind,washed_out,scattered,in_transit",
                                   names ? "strategy," : "");
    for (int k = 0; k < NRW_N_DRAWN; k++)
        used += (size_t)snprintf(header + used, sizeof header - used, ",%s", nrw_drawn_key(k));
    (void)snprintf(header + used, sizeof header - used,
                   ",time_s,visible_fraction_of_time,arrived,held_fraction,failed");
    FILE *file;
    nrw_status status = nrw_store_file_open(store, file_name, &file, errors);
    if (status != NRW_OK)
        return status;
    nrw_csv csv;
    nrw_csv_begin(&csv, file, header);
    for (size_t lane = 0; lane < n_lanes; lane++)
        for (size_t k = 0; k < n_trials; k++)
            if (nrw_trial_record_done(&records[lane * n_trials + k]))
                csv_row(&csv, names ? names[lane] : NULL, &records[lane * n_trials + k]);
    return nrw_store_file_close(store, file_name, file, errors);
}
