#include "report.h"

#include <string.h>

#include "report_folder.h"
#include "report_parts.h"

/* What every report ends with. */
static void put_end(nrw_report *report)
{
    nrw_report_warnings(report);
    nrw_report_validity(report);
    nrw_report_provenance(report);
    nrw_report_end(report);
}

/* The pictures and tables of the run that was recorded, if one was. */
static void put_run(nrw_report *report)
{
    nrw_report_map(report);
    nrw_report_replay(report);
    nrw_report_moments(report);
    nrw_report_time(report);
    nrw_report_legs(report);
    nrw_report_flow(report, "figures.losses");
    nrw_report_fates(report);
}

static void put_plan(nrw_report *report)
{
    nrw_report_plan_summary(report);
    nrw_report_plan_trials(report);
    nrw_report_map(report);
    nrw_report_replay(report);
    nrw_report_moments(report);
    nrw_report_time(report);
    nrw_report_legs(report);
    nrw_report_flow(report, "figures.run.losses");
    nrw_report_fates(report);
    nrw_report_search(report);
    nrw_report_conditions(report);
}

static void put_estimate(nrw_report *report)
{
    nrw_report_estimate_summary(report);
    nrw_report_estimate_trials(report);
    nrw_report_arrival(report);
    nrw_report_flow(report, "figures.losses");
    nrw_report_map(report);
    nrw_report_sensitivity(report);
    nrw_report_legs(report);
}

static void put_compare(nrw_report *report)
{
    nrw_report_compare_summary(report);
    nrw_report_compare_trials(report);
    nrw_report_compare_pairs(report);
    nrw_report_compare_losses(report);
    nrw_report_map(report);
}

static void put_sweep(nrw_report *report)
{
    nrw_report_sweep_summary(report);
    nrw_report_sweep_maps(report);
}

static void put_export(nrw_report *report)
{
    nrw_report_export_summary(report);
    nrw_report_export_limits(report);
    nrw_report_export_currents(report);
    nrw_report_legs(report);
    nrw_report_export_rig(report);
}

static const struct {
    const char *command, *kind;
    void (*put)(nrw_report *report);
} kinds[] = {{"plan", "Plan", put_plan},
             {"estimate", "Estimate", put_estimate},
             {"compare", "Comparison", put_compare},
             {"sweep", "Sweep", put_sweep},
             {"export", "Export", put_export}};

nrw_status nrw_report_make(const nrw_report_input *input, char **html, size_t *size,
                           nrw_errors *errors)
{
    nrw_report report = {.in = input};
    size_t n = sizeof kinds / sizeof *kinds, k = 0;
    while (k < n && !nrw_report_is(&report, kinds[k].command))
        k++;
    nrw_report_begin(&report, k < n ? kinds[k].kind : "Run");
    nrw_report_outside(&report);
    if (k < n) {
        kinds[k].put(&report);
    } else {
        nrw_report_summary(&report);
        put_run(&report);
    }
    put_end(&report);
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

static nrw_status refuse(const char *dir, const char *command, nrw_errors *errors)
{
    const char *expected = strcmp(command, "report") == 0
                               ? "the folders that it sets side by side"
                               : "a folder of run, plan, estimate, compare, sweep or export";
    return nrw_errors_add_at(errors, NRW_BAD_INPUT, dir, 0, 0, "", expected,
                             "a report can't be made of a result of \"%s\"", command);
}

nrw_status nrw_report_remake(const char *dir, char **html, size_t *size, nrw_errors *errors)
{
    nrw_report_folder folder;
    *html = NULL;
    *size = 0;
    nrw_status status = nrw_report_folder_load(dir, &folder, errors);
    if (status == NRW_OK) {
        const nrw_report_input input = nrw_report_folder_input(&folder);
        const nrw_report probe = {.in = &input};
        bool known = nrw_report_is(&probe, "run");
        for (size_t k = 0; k < sizeof kinds / sizeof *kinds; k++)
            known = known || nrw_report_is(&probe, kinds[k].command);
        status = known ? nrw_report_make(&input, html, size, errors)
                       : refuse(dir, nrw_result_get_string(folder.result, "command"), errors);
    }
    nrw_report_folder_clear(&folder);
    return status;
}
