#include "input_check.h"

#include <stdlib.h>
#include <string.h>

#include "schedule_file.h"

static const char *check_errors(const nrw_errors *errors)
{
    if (errors->n_items == 0)
        return "refused without a reason";
    for (size_t i = 0; i < errors->n_items; i++) {
        const nrw_error *error = &errors->items[i];
        if (error->status != NRW_BAD_INPUT)
            return "refused with another status than bad input";
        if (error->line < 1 || error->column < 1)
            return "refused without a place";
        if (!error->what[0] || strcmp(error->file, "bytes.yaml") != 0)
            return "refused without a text or the file's name";
        if (i > 0 && (error->line < error[-1].line ||
                      (error->line == error[-1].line && error->column < error[-1].column)))
            return "errors out of order";
    }
    return NULL;
}

const char *input_check_scenario(const char *text, size_t size, size_t *n_taken)
{
    nrw_errors errors;
    nrw_scenario *scenario;
    nrw_errors_init(&errors);
    nrw_status status = nrw_scenario_parse(text, size, "bytes.yaml", &scenario, &errors);
    const char *fault = NULL;
    if (status == NRW_OK) {
        ++*n_taken;
        fault = !scenario || errors.n_items > 0 ? "taken with errors" : NULL;
    } else
        fault = scenario ? "refused, but given" : check_errors(&errors);
    nrw_scenario_destroy(scenario);
    nrw_errors_clear(&errors);
    return fault;
}

static const char *check_written(const nrw_scenario *scenario, const nrw_schedule *schedule)
{
    nrw_schedule again;
    char *text, *second = NULL;
    if (nrw_schedule_text(schedule, &text, NULL) != NRW_OK)
        return "can't be written";
    const char *fault = NULL;
    if (nrw_schedule_parse(text, strlen(text), "written", scenario, &again, NULL) != NRW_OK)
        fault = "written, but not read again";
    else if (again.n_legs != schedule->n_legs ||
             memcmp(again.legs, schedule->legs, again.n_legs * sizeof *again.legs) != 0)
        fault = "read again as another schedule";
    else if (nrw_schedule_text(&again, &second, NULL) != NRW_OK || strcmp(second, text) != 0)
        fault = "written differently the second time";
    free(text);
    free(second);
    nrw_schedule_clear(&again);
    return fault;
}

const char *input_check_schedule(const nrw_scenario *scenario, const char *text, size_t size,
                                 size_t *n_taken)
{
    nrw_errors errors;
    nrw_schedule schedule;
    nrw_errors_init(&errors);
    nrw_status status = nrw_schedule_parse(text, size, "bytes.yaml", scenario, &schedule, &errors);
    const char *fault;
    if (status == NRW_OK) {
        ++*n_taken;
        fault = errors.n_items > 0 ? "taken with errors" : check_written(scenario, &schedule);
    } else
        fault = schedule.legs ? "refused, but given" : check_errors(&errors);
    nrw_schedule_clear(&schedule);
    nrw_errors_clear(&errors);
    return fault;
}
