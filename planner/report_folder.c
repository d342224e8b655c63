#include "report_folder.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "schedule_file.h"
#include "store.h"
#include "trajectory.h"

#define PATH_SIZE 4096

void nrw_report_folder_clear(nrw_report_folder *folder)
{
    nrw_result_destroy(folder->result);
    nrw_run_result_clear(&folder->run);
    nrw_schedule_clear(&folder->schedule);
    free(folder->schedule_text);
    nrw_channel_destroy(folder->channel);
    nrw_scenario_destroy(folder->scenario);
    free(folder->dir);
    memset(folder, 0, sizeof *folder);
}

static bool holds(const char *dir, const char *name)
{
    char path[PATH_SIZE];
    struct stat found;
    (void)snprintf(path, sizeof path, "%s/%s", dir, name);
    return stat(path, &found) == 0 && S_ISREG(found.st_mode);
}

static nrw_status load_result(const char *dir, nrw_report_folder *folder, nrw_errors *errors)
{
    char *text, path[PATH_SIZE];
    size_t size;
    if (!holds(dir, "result.json"))
        return nrw_errors_add_at(errors, NRW_BAD_INPUT, dir, 0, 0, "",
                                 "a folder that narrows wrote with --out",
                                 "is no results folder: there is no result.json");
    nrw_status status = nrw_store_read(dir, "result.json", &text, &size, errors);
    if (status != NRW_OK)
        return status;
    (void)snprintf(path, sizeof path, "%s/result.json", dir);
    status = nrw_result_parse(text, size, path, &folder->result, errors);
    free(text);
    if (status == NRW_OK && !nrw_result_get_string(folder->result, "command"))
        status = nrw_errors_add_at(errors, NRW_BAD_INPUT, path, 0, 0, "command",
                                   "the command that wrote it", "is missing");
    return status;
}

static nrw_status load_inputs(const char *dir, nrw_report_folder *folder, nrw_errors *errors)
{
    char path[PATH_SIZE];
    size_t size;
    (void)snprintf(path, sizeof path, "%s/scenario.yaml", dir);
    nrw_status status = nrw_scenario_load(path, &folder->scenario, errors);
    if (status != NRW_OK)
        return status;
    if (holds(dir, "schedule.yaml")) {
        (void)snprintf(path, sizeof path, "%s/schedule.yaml", dir);
        status = nrw_schedule_load_text(path, folder->scenario, &folder->schedule,
                                        &folder->schedule_text, &size, errors);
    }
    if (status != NRW_OK)
        return status;
    /* a channel that can't do the job is part of the result, not an error of its report */
    nrw_errors refusals;
    nrw_errors_init(&refusals);
    status = nrw_channel_create(folder->scenario, &folder->channel, &refusals);
    for (size_t i = 0; status != NRW_OK && status != NRW_REFUSED && i < refusals.n_items; i++)
        nrw_errors_add(errors, status, NULL, "%s", refusals.items[i].what);
    nrw_errors_clear(&refusals);
    return status == NRW_REFUSED ? NRW_OK : status;
}

nrw_status nrw_report_folder_load(const char *dir, nrw_report_folder *folder, nrw_errors *errors)
{
    memset(folder, 0, sizeof *folder);
    folder->dir = strdup(dir);
    if (!folder->dir)
        return nrw_errors_add(errors, NRW_NO_MEMORY, NULL, "no memory for reading results");
    nrw_status status = load_result(dir, folder, errors);
    if (status == NRW_OK)
        status = load_inputs(dir, folder, errors);
    if (status == NRW_OK && folder->schedule.n_legs > 0 && holds(dir, "final.csv"))
        status = nrw_run_result_load(dir, &folder->schedule, &folder->run, errors);
    return status;
}

nrw_report_input nrw_report_folder_input(const nrw_report_folder *folder)
{
    return (nrw_report_input){.scenario = folder->scenario,
                              .channel = folder->channel,
                              .schedule = &folder->schedule,
                              .run = folder->run.n_particles > 0 ? &folder->run : NULL,
                              .result = folder->result,
                              .schedule_text = folder->schedule_text,
                              .dir = folder->dir};
}
