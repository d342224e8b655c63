#include "series.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

typedef struct series_work {
    const nrw_series *series;
    nrw_trial_family family;
    size_t first, n_lanes;
    const nrw_series_lane *lanes;
    const nrw_trial *trials;
    nrw_errors *errors;
} series_work;

nrw_trial_record *nrw_trial_records_create(size_t n)
{
    nrw_trial_record *records = calloc(n + 1, sizeof *records);
    for (size_t k = 0; records && k < n; k++)
        records[k].outcome.status = NRW_INTERRUPTED;
    return records;
}

void nrw_trial_records_destroy(size_t n, nrw_trial_record *records)
{
    for (size_t k = 0; records && k < n; k++)
        nrw_trial_record_clear(&records[k]);
    free(records);
}

/* --- the checkpoint ---------------------------------------------------------------- */

static void name_unit(const series_work *work, size_t lane, size_t trial, char *unit, size_t size)
{
    static const char *const families[] = {
        [NRW_TRIALS_ESTIMATE] = "trial", [NRW_TRIALS_SEARCH] = "search",
        [NRW_TRIALS_VERIFY] = "verify",  [NRW_TRIALS_RECHECK] = "recheck",
        [NRW_TRIALS_SWEEP] = "sweep",
    };
    (void)snprintf(unit, size, "%s/%s/%zu", work->lanes[lane].name, families[work->family],
                   work->first + trial);
}

static bool known(void *context, size_t lane, size_t trial, nrw_outcome *outcome)
{
    series_work *work = context;
    char unit[160];
    name_unit(work, lane, trial, unit, sizeof unit);
    const char *text = nrw_checkpoint_find(work->series->checkpoint, unit);
    nrw_trial_record *record = &work->lanes[lane].records[trial];
    if (!text || !nrw_trial_record_read(record, text))
        return false;
    *outcome = record->outcome;
    return true;
}

static nrw_status save(series_work *work, size_t lane, size_t trial)
{
    char unit[160], *text = NULL;
    size_t size = 0;
    FILE *file = open_memstream(&text, &size);
    nrw_status status = NRW_NO_MEMORY;
    name_unit(work, lane, trial, unit, sizeof unit);
    if (file) {
        nrw_trial_record_write(&work->lanes[lane].records[trial], file);
        if (fclose(file) == 0)
            status = nrw_checkpoint_add(work->series->checkpoint, unit, text, work->errors);
    }
    free(text);
    return status;
}

static nrw_status keep(void *context, size_t lane, size_t trial, const nrw_outcome *outcome,
                       const nrw_run_result *run, const nrw_errors *errors)
{
    series_work *work = context;
    nrw_status status =
        nrw_trial_record_init(&work->lanes[lane].records[trial], &work->trials[trial], outcome,
                              work->series->channel, run, errors);
    if (status == NRW_OK && work->series->checkpoint)
        status = save(work, lane, trial);
    if (status == NRW_NO_MEMORY)
        nrw_errors_add(work->errors, status, "", "no memory to keep a trial");
    return status;
}

static bool tell(void *context, size_t done, size_t of)
{
    const nrw_series *series = ((series_work *)context)->series;
    const bool stop = series->progress && series->progress(series->context, done, of);
    return stop || (series->interrupted && series->interrupted());
}

/* --- the series -------------------------------------------------------------------- */

static nrw_status run_lanes(series_work *work, size_t n, nrw_race_lane *race_lanes,
                            nrw_outcome *outcomes)
{
    const nrw_series *series = work->series;
    for (size_t k = 0; k < work->n_lanes; k++)
        race_lanes[k] = (nrw_race_lane){work->lanes[k].schedule, 0, n, outcomes + k * n};
    nrw_race race;
    memset(&race, 0, sizeof race);
    race.scenario = series->scenario;
    race.channel = series->channel;
    race.trials = work->trials;
    race.model = series->model;
    race.progress = tell;
    race.context = work;
    race.interrupted = series->interrupted;
    race.keep = keep;
    race.known = series->checkpoint ? known : NULL;
    return nrw_race_run(&race, work->n_lanes, race_lanes, work->errors);
}

nrw_status nrw_series_run(const nrw_series *series, nrw_trial_family family, size_t first, size_t n,
                          size_t n_lanes, const nrw_series_lane *lanes, nrw_errors *errors)
{
    nrw_trial *trials = calloc(n + 1, sizeof *trials);
    nrw_race_lane *race_lanes = calloc(n_lanes + 1, sizeof *race_lanes);
    nrw_outcome *outcomes = calloc(n * n_lanes + 1, sizeof *outcomes);
    nrw_status status = NRW_NO_MEMORY;
    if (trials && race_lanes && outcomes)
        status =
            nrw_trials_draw(&series->scenario->uncertainty, series->seed, family, first, n, trials);
    if (status != NRW_OK) {
        (void)nrw_errors_add(errors, status, "", "no memory for %zu trials", n);
    } else {
        series_work work = {series, family, first, n_lanes, lanes, trials, errors};
        status = run_lanes(&work, n, race_lanes, outcomes);
    }
    free(trials);
    free(race_lanes);
    free(outcomes);
    return status;
}
