#include "report.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "report_parts.h"
#include "schedule_file.h"
#include "store.h"
#include "trajectory.h"

nrw_status nrw_report_run(const nrw_report_input *input, char **html, size_t *size,
                          nrw_errors *errors)
{
    nrw_report report = {.in = input};
    nrw_report_begin(&report, "Run");
    nrw_report_summary(&report);
    nrw_report_map(&report);
    nrw_report_replay(&report);
    nrw_report_moments(&report);
    nrw_report_time(&report);
    nrw_report_legs(&report);
    nrw_report_fates(&report);
    nrw_report_warnings(&report);
    nrw_report_validity(&report);
    nrw_report_provenance(&report);
    nrw_report_end(&report);
    return nrw_report_take(&report, html, size, errors);
}

nrw_status nrw_report_take(nrw_report *report, char **html, size_t *size, nrw_errors *errors)
{
    if (report->out.failed) {
        nrw_markup_clear(&report->out);
        *html = NULL;
        *size = 0;
        return nrw_errors_add(errors, NRW_NO_MEMORY, NULL, "no memory for the report");
    }
    *html = report->out.text;
    *size = report->out.size;
    return NRW_OK;
}

/* --- from a folder ---------------------------------------------------------- */

/* What a results folder of a run holds, read back. */
typedef struct results_folder {
    nrw_scenario *scenario;
    nrw_channel *channel;
    nrw_schedule schedule;
    char *schedule_text;
    nrw_run_result run;
    nrw_result *result;
} results_folder;

static void clear_folder(results_folder *folder)
{
    nrw_result_destroy(folder->result);
    nrw_run_result_clear(&folder->run);
    nrw_schedule_clear(&folder->schedule);
    free(folder->schedule_text);
    nrw_channel_destroy(folder->channel);
    nrw_scenario_destroy(folder->scenario);
}

static nrw_status load_result(const char *dir, results_folder *folder, nrw_errors *errors)
{
    char *text, path[4096];
    size_t size;
    nrw_status status = nrw_store_read(dir, "result.json", &text, &size, errors);
    if (status != NRW_OK)
        return status;
    (void)snprintf(path, sizeof path, "%s/result.json", dir);
    status = nrw_result_parse(text, size, path, &folder->result, errors);
    free(text);
    if (status != NRW_OK)
        return status;
    const char *command = nrw_result_get_string(folder->result, "command");
    if (!command || strcmp(command, "run") != 0)
        return nrw_errors_add_at(errors, NRW_BAD_INPUT, path, 0, 0, "command", "run",
                                 "reports are remade of runs only, not of \"%s\"",
                                 command ? command : "");
    return NRW_OK;
}

static nrw_status load_folder(const char *dir, results_folder *folder, nrw_errors *errors)
{
    char path[4096];
    size_t size;
    memset(folder, 0, sizeof *folder);
    nrw_status status = load_result(dir, folder, errors);
    (void)snprintf(path, sizeof path, "%s/scenario.yaml", dir);
    if (status == NRW_OK)
        status = nrw_scenario_load(path, &folder->scenario, errors);
    (void)snprintf(path, sizeof path, "%s/schedule.yaml", dir);
    if (status == NRW_OK)
        status = nrw_schedule_load_text(path, folder->scenario, &folder->schedule,
                                        &folder->schedule_text, &size, errors);
    if (status == NRW_OK)
        status = nrw_channel_create(folder->scenario, &folder->channel, errors);
    if (status == NRW_OK)
        status = nrw_run_result_load(dir, &folder->schedule, &folder->run, errors);
    return status;
}

nrw_status nrw_report_remake(const char *dir, char **html, size_t *size, nrw_errors *errors)
{
    results_folder folder;
    *html = NULL;
    *size = 0;
    nrw_status status = load_folder(dir, &folder, errors);
    if (status == NRW_OK) {
        const nrw_report_input input = {.scenario = folder.scenario,
                                        .channel = folder.channel,
                                        .schedule = &folder.schedule,
                                        .run = &folder.run,
                                        .result = folder.result,
                                        .schedule_text = folder.schedule_text};
        status = nrw_report_run(&input, html, size, errors);
    }
    clear_folder(&folder);
    return status;
}
