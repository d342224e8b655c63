/* The report of an export: limits and currents. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "example_run.h"
#include "npy.h"
#include "report_case.h"
#include "temporary_folder.h"

static const char rig[] =
    "rig:\n  field_max_mT: 12\n  frequency_max_Hz: 100\n  sample_rate_Hz: 1000\n  axes:\n"
    "    x: {mT_per_A: 2, resistance_ohm: 3, inductance_mH: 10, current_max_A: 8, voltage_max_V: "
    "60}\n"
    "    y: {mT_per_A: 2, resistance_ohm: 3, inductance_mH: 10, current_max_A: 8, voltage_max_V: "
    "60}\n";

static const char export_figures[] =
    "{\"samples\": 2000, \"duration_s\": 2, \"peak_current_A\": {\"x\": 5, \"y\": 2}, "
    "\"rms_current_A\": {\"x\": 3.5, \"y\": 1.4}, \"peak_voltage_V\": {\"x\": 31, \"y\": 12}, "
    "\"limits\": [{\"limit\": \"voltage x\", \"value\": 61, \"allowed\": 60, \"ok\": false, "
    "\"source\": \"rig\", \"unit\": \"V\", \"kind\": \"rig\", \"who\": \"\", \"where\": \"\", "
    "\"action\": \"\", \"distance_mm\": null}, {\"limit\": \"implants\", \"value\": 12, "
    "\"allowed\": 0.5, \"ok\": false, \"source\": \"a <table>\", \"unit\": \"mT\", \"kind\": "
    "\"inform\", \"who\": \"people\", \"where\": \"near\", \"action\": \"keep away\", "
    "\"distance_mm\": 300}], \"times_from\": \"clock\", \"stored_energy_J\": 0.2, \"joins\": 3, "
    "\"longest_join_s\": 0.002, \"allowed_by_name\": [\"voltage\"]}";

static report_case it;

/* Currents of 5 sin and 2 cos A at 10 Hz. */
static void write_currents(void)
{
    char path[512];
    FILE *file = fopen(path_join(path, it.dir, "currents.npy"), "wb");
    cr_assert(file != NULL);
    (void)nrw_npy_begin(file, 2000, 2);
    for (int i = 0; i < 2000; i++) {
        double angle = 2 * 3.14159265358979 * 10 * i / 1000.0;
        nrw_npy_put(file, (const double[]){5 * sin(angle), 2 * cos(angle)}, 2);
    }
    cr_assert_eq(fclose(file), 0);
}

static char *make(const char *figures)
{
    char *scenario = malloc(strlen(example_scenario) + sizeof rig);
    strcat(strcpy(scenario, example_scenario), rig);
    report_case_init(&it, scenario, "export", figures);
    free(scenario);
    write_currents();
    return report_case_make(&it);
}

static void clear(char *html)
{
    free(html);
    report_case_clear(&it);
}

Test(report_export, limits_that_were_set_aside_are_named)
{
    char *html = make(export_figures);
    expect_text(html, "1 limits of the rig are exceeded and were allowed by name: voltage.");
    expect_text(html, "<th scope='row'>voltage x</th><td class='mark'>61</td>");
    expect_text(html, "<td>a &lt;table&gt;</td><td>keep away</td>");
    expect_text(html, "met from about 300 mm off the middle on");
    expect_none(html, "Samples can’t steer");
    clear(html);
}

Test(report_export, samples_of_a_run_say_what_they_deliver_without_imaging)
{
    char *html = make("{\"samples\": 2000, \"duration_s\": 2, \"limits\": [], \"times_from\": "
                      "\"run\", \"playback\": {\"trials\": 16, \"failed\": 0, "
                      "\"nominal_delivered\": 1, \"delivered_fraction\": 0.55, \"low\": 0.37, "
                      "\"high\": 0.73}}");
    expect_text(html,
                "they deliver 100\u00a0% of the nominal batch, and <span class='mark'>55\u00a0%"
                "</span> (95 %: 37\u00a0% to 73\u00a0%) over 16 batches");
    clear(html);
}

static double number_after(const char *text, const char *before)
{
    const char *at = strstr(text, before);
    cr_assert(at != NULL, "%s", before);
    return atof(at + strlen(before));
}

/* The axis reaches 1.12 times the limit of 8 A; 148 units high from 30 on: 8 A lies at
 * 30 + 74 (1 - 1/1.12), 5 A at 30 + 74 (1 - 5/8.96). Bins of 420 over 20 turns of 100
 * samples: the largest sample of a bin is at least 5 cos(2π 2.5/100) = 4.94 A where a crest
 * falls into it, and some crest's sample is 5 A itself. */
Test(report_export, currents_keep_their_peaks_and_limits)
{
    char *html = make(export_figures);
    char *currents = section_of(html, "currents");
    double limit = number_after(currents, "class='limit-line' d='M44 ");
    cr_assert_float_eq(limit, 30 + 74 * (1 + 1 / 1.12), 0.01); /* the lower one comes first */
    const char *edge = strstr(currents, "class='current-edge' d='");
    double highest = 1e9;
    for (const char *at = edge; at && *at != '>'; at++)
        if ((*at == 'M' || *at == 'L') && strchr(at, ' '))
            highest = fmin(highest, atof(strchr(at, ' ')));
    cr_assert_float_eq(highest, 30 + 74 * (1 - 5 / 8.96), 0.01);
    expect_times(currents, "class='picture'", 3); /* x, y, close up */
    expect_text(currents, "<th scope='row'>x</th><td>5</td><td>8</td><td>3.5</td><td>31</td>");
    free(currents);
    clear(html);
}

Test(report_export, refused_export_says_what_the_rig_lacks)
{
    char *html =
        make("{\"samples\": null, \"duration_s\": null, \"limits\": [{\"limit\": \"field\", "
             "\"value\": 20, \"allowed\": 12, \"ok\": false, \"unit\": \"mT\", \"kind\": "
             "\"rig\"}]}");
    expect_text(html, "can’t play this schedule: 1 of its limits are exceeded");
    expect_none(html, "<section id='currents'");
    expect_none(html, "<section id='people'");
    clear(html);
}

Test(report_export, cut_file_of_currents_is_left_out)
{
    char *html = make(export_figures), path[512];
    free(html);
    file_write(path_join(path, it.dir, "currents.npy"), "\x93NUMPY\x01");
    html = report_case_make(&it);
    expect_none(html, "<section id='currents'");
    clear(html);
}
