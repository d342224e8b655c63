#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "input_case.h"
#include "npy.h"
#include "samples_file.h"
#include "samples_npy.h"
#include "schedule_file.h"
#include "schedule_samples.h"
#include "temporary_folder.h"

/* Files of samples, and schedules that name them. */

static char folder[256], csv_path[512], npy_path[512], json_path[512], schedule_path[512];
static nrw_scenario *scenario;
static nrw_errors errors;
static nrw_samples *samples;
static char fault[300];

static void begin(void)
{
    temporary_folder_make(folder);
    (void)path_join(csv_path, folder, "field.csv");
    (void)path_join(npy_path, folder, "field.npy");
    (void)path_join(json_path, folder, "waveform.json");
    (void)path_join(schedule_path, folder, "schedule.yaml");
    scenario = input_scenario(INPUT_EXAMPLE_SCENARIO);
    nrw_errors_init(&errors);
    samples = NULL;
    fault[0] = '\0';
}

static void end(void)
{
    nrw_samples_destroy(samples);
    nrw_errors_clear(&errors);
    nrw_scenario_destroy(scenario);
    temporary_folder_remove(folder);
}

TestSuite(samples_file, .init = begin, .fini = end);

static nrw_status read_csv(const char *text)
{
    nrw_samples_destroy(samples);
    file_write(csv_path, text);
    return nrw_samples_read_csv("field.csv", csv_path, &samples, fault, sizeof fault);
}

static void expect_sample(size_t k, double x, double y, double z)
{
    cr_assert_float_eq(samples->field_mT[k][0], x, 1e-6); /* floats of 10 mT */
    cr_assert_float_eq(samples->field_mT[k][1], y, 1e-6);
    cr_assert_float_eq(samples->field_mT[k][2], z, 1e-6);
}

/* --- CSV ------------------------------------------------------------------------ */

Test(samples_file, columns_are_found_by_name_whatever_stands_beside_them)
{
    cr_assert_eq(read_csv("leg,y_mT,time_s,\"note\",x_mT,z_mT\r\n"
                          "\"a, \"\"b\"\"\",2,0.5,,1e0,-3.25\r\n"
                          "a,-2,0.75,n,10,+4\r\n"
                          "\r\n"
                          "a,0.000001,1,n,.5,123456789012345e-14\r\n"),
                 NRW_OK, "%s", fault);
    cr_assert_eq(samples->n, 3);
    cr_assert_float_eq(samples->rate_Hz, 4.0, 1e-12);
    expect_sample(0, 1.0, 2.0, -3.25);
    expect_sample(1, 10.0, -2.0, 4.0);
    expect_sample(2, 0.5, 1e-6, 1.23456789012345);
    cr_assert_str_eq(samples->file, "field.csv");
    cr_assert_str_eq(samples->path, csv_path);
}

Test(samples_file, vertical_field_may_be_left_out_or_empty)
{
    cr_assert_eq(read_csv("time_s,x_mT,y_mT\n0,1,2\n1,3,4\n"), NRW_OK, "%s", fault);
    expect_sample(1, 3.0, 4.0, 0.0);
    cr_assert_eq(read_csv("time_s,x_mT,y_mT,z_mT\n0,1,2,\n1,3,4,\n"), NRW_OK, "%s", fault);
    expect_sample(1, 3.0, 4.0, 0.0);
}

Test(samples_file, faults_are_told_with_their_line_and_field)
{
    static const struct {
        const char *text, *fault;
    } cases[] = {
        {"", "is empty"},
        {"time_s,x_mT\n0,1\n1,2\n", "line 1: has no column y_mT"},
        {"t,x_mT,y_mT\n0,1,2\n1,2,3\n", "line 1: has no column time_s"},
        {"time_s,x_mT,y_mT\n", "holds 0 samples"},
        {"time_s,x_mT,y_mT\n0,1,2\n", "holds 1 samples"},
        {"time_s,x_mT,y_mT\n0,1,2\n1,2\n", "line 3: has 2 fields, the header 3"},
        {"time_s,x_mT,y_mT\n0,1,2\n1,2,3,4\n", "line 3: has 4 fields, the header 3"},
        {"time_s,x_mT,y_mT\n0,1,2\n1,2,1.2.3\n", "line 3, field 3: y_mT '1.2.3' is no number"},
        {"time_s,x_mT,y_mT\n0,1,2\n1,,3\n", "line 3, field 2: x_mT '' is no number"},
        {"time_s,x_mT,y_mT\n0,1,2\n1,-,3\n", "x_mT '-' is no number"},
        {"time_s,x_mT,y_mT\n0,1,2\n1,nan,3\n", "x_mT 'nan' is no number"},
        {"time_s,x_mT,y_mT\n0,1,2\ninf,3,3\n", "time_s 'inf' is no number"},
        {"time_s,x_mT,y_mT\n0,1,2\n1,20000,3\n", "line 3, field 2: x_mT 20000 is beyond"},
        {"time_s,x_mT,y_mT\n0,1,2\n1,2,3\n1,2,3\n", "line 4: time_s 1 is not after 1"},
        {"time_s,x_mT,y_mT\n0,1,2\n1,2,3\n0.5,2,3\n", "line 4: time_s 0.5 is not after 1"},
        {"time_s,x_mT,y_mT\n0,1,2\n1,2,3\n3,2,3\n", "is not evenly sampled: 1 s from sample 1"},
        {"time_s,x_mT,y_mT\n0,1,2\n1e-9,2,3\n", "samples a second"},
        {"time_s,x_mT,y_mT\n0,\"1,2\n", "line 2: more than 256 fields, or a quote"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        cr_expect_eq(read_csv(cases[i].text), NRW_BAD_INPUT, "'%s' is taken", cases[i].text);
        cr_expect_not_null(strstr(fault, cases[i].fault), "'%s' against '%s'", fault,
                           cases[i].fault);
        cr_expect_null(samples);
    }
    char missing[512];
    cr_assert_eq(nrw_samples_read_csv("x", path_join(missing, folder, "none.csv"), &samples, fault,
                                      sizeof fault),
                 NRW_BAD_INPUT);
    cr_assert_not_null(strstr(fault, "can't be read"));
    cr_assert_eq(nrw_samples_read_csv("x", folder, &samples, fault, sizeof fault), NRW_BAD_INPUT);
    cr_assert_not_null(strstr(fault, "no regular file"), "a folder: %s", fault);
    cr_assert_eq(nrw_samples_read_csv("x", "/dev/zero", &samples, fault, sizeof fault),
                 NRW_BAD_INPUT);
}

Test(samples_file, times_rounded_to_few_digits_are_even_enough)
{
    char text[4096] = "time_s,x_mT,y_mT\n";
    for (int k = 0; k < 60; k++) /* 300 samples a second to five digits: 1.5e-3 of an interval */
        (void)snprintf(text + strlen(text), sizeof text - strlen(text), "%.5f,1,2\n", k / 300.0);
    cr_assert_eq(read_csv(text), NRW_OK, "%s", fault);
    cr_assert_float_eq(samples->rate_Hz, 300.0, 0.01);
}

/* --- currents --------------------------------------------------------------------- */

static void write_npy(size_t rows, size_t columns, const double *values)
{
    FILE *file = fopen(npy_path, "wb");
    cr_assert_not_null(file);
    (void)nrw_npy_begin(file, rows, columns);
    nrw_npy_put(file, values, rows * columns);
    cr_assert_eq(fclose(file), 0);
}

static nrw_status read_npy(double rate_Hz)
{
    nrw_samples_destroy(samples);
    return nrw_samples_read_npy("field.npy", npy_path, rate_Hz, &scenario->rig, &samples, fault,
                                sizeof fault);
}

Test(samples_file, currents_become_the_field_that_the_rig_makes_of_them)
{
    const double currents[9] = {1.0, 0.0, 0.0, 0.0, 2.0, 0.0, 0.5, 0.0, -1.5};
    write_npy(3, 3, currents);
    scenario->rig.rotation_deg = 90.0; /* coil x along the map's y */
    cr_assert_eq(read_npy(500.0), NRW_OK, "%s", fault);
    cr_assert_eq(samples->n, 3);
    cr_assert_eq(samples->rate_Hz, 500.0);
    expect_sample(0, 0.0, 2.0, 0.0);
    expect_sample(1, -4.0, 0.0, 0.0);
    expect_sample(2, 0.0, 1.0, -3.0);
}

Test(samples_file, rate_of_currents_is_that_of_the_waveform_beside_them)
{
    const double currents[6] = {1.0, 0.0, 0.0, 0.0, 2.0, 0.0};
    write_npy(2, 3, currents);
    cr_assert_eq(read_npy(0.0), NRW_BAD_INPUT);
    cr_assert_not_null(strstr(fault, "waveform.json"), "%s", fault);
    file_write(json_path, "{\"format\": \"narrows-waveform/1\", \"sample_rate_Hz\": 8000}");
    cr_assert_eq(read_npy(0.0), NRW_OK, "%s", fault);
    cr_assert_eq(samples->rate_Hz, 8000.0);
    file_write(json_path, "{\"sample_rate_Hz\": -3}");
    cr_assert_eq(read_npy(0.0), NRW_BAD_INPUT);
}

Test(samples_file, currents_that_do_not_fit_the_rig_or_the_format_are_told)
{
    const double currents[6] = {1.0, 0.0, 0.0, 0.0, 2.0, 1e6};
    write_npy(3, 2, currents);
    cr_assert_eq(read_npy(500.0), NRW_BAD_INPUT);
    cr_assert_not_null(strstr(fault, "coils"), "%s", fault);
    write_npy(2, 3, currents);
    cr_assert_eq(read_npy(500.0), NRW_BAD_INPUT);
    cr_assert_not_null(strstr(fault, "sample 2"), "%s", fault);
    write_npy(3, 3, (const double[9]){0.0});
    FILE *file = fopen(npy_path, "r+b");
    cr_assert_not_null(file);
    cr_assert_eq(fseek(file, 0, SEEK_END), 0);
    const long whole = ftell(file);
    cr_assert_eq(fclose(file), 0);
    size_t size;
    char *bytes = file_bytes(npy_path, &size);
    file = fopen(npy_path, "wb");
    cr_assert_eq(fwrite(bytes, 1, (size_t)whole - 1, file), (size_t)whole - 1);
    cr_assert_eq(fclose(file), 0);
    cr_assert_eq(read_npy(500.0), NRW_BAD_INPUT);
    cr_assert_not_null(strstr(fault, "ends at sample 3 of 3"), "%s", fault);
    free(bytes);
    static const char *const headers[][2] = {
        {"no npy", "is no .npy file"},
        {"\x93NUMPY\x01\x02 ", "is no .npy file"},
    };
    for (size_t i = 0; i < 2; i++) {
        file_write(npy_path, headers[i][0]);
        cr_expect_eq(read_npy(500.0), NRW_BAD_INPUT);
        cr_expect_not_null(strstr(fault, headers[i][1]), "%s", fault);
    }
    scenario->rig.present = false;
    write_npy(2, 3, currents);
    cr_assert_eq(read_npy(500.0), NRW_BAD_INPUT);
    cr_assert_not_null(strstr(fault, "no rig"), "%s", fault);
}

/* A header by hand, with any dictionary. */
static nrw_status read_header_of(const char *dictionary)
{
    FILE *file = fopen(npy_path, "wb");
    const size_t length = strlen(dictionary);
    const unsigned char start[10] = {0x93, 'N', 'U', 'M', 'P', 'Y', 1, 0, (unsigned char)length, 0};
    cr_assert_eq(fwrite(start, 1, 10, file), 10);
    cr_assert_eq(fwrite(dictionary, 1, length, file), length);
    for (int i = 0; i < 6 * 8; i++)
        (void)fputc(0, file);
    cr_assert_eq(fclose(file), 0);
    return read_npy(500.0);
}

Test(samples_file, headers_of_other_arrays_are_refused)
{
    cr_expect_eq(read_header_of("{'descr': '<f8', 'fortran_order': False, 'shape': (2, 3), }"),
                 NRW_OK, "%s", fault);
    static const char *const bad[][2] = {
        {"{'descr': '>f4', 'fortran_order': False, 'shape': (2, 3), }", "another type"},
        {"{'descr': '<i4', 'fortran_order': False, 'shape': (2, 3), }", "another type"},
        {"{'descr': '<f4', 'fortran_order': True, 'shape': (2, 3), }", "row after row"},
        {"{'descr': '<f4', 'fortran_order': False, 'shape': (6,), }", "no shape"},
        {"{'descr': '<f4', 'fortran_order': False, 'shape': (2, 3, 4), }", "no shape"},
        {"{'descr': '<f4', 'fortran_order': False, 'shape': (1, 3), }", "holds 1 samples"},
        {"{'descr': '<f4', 'fortran_order': False, 'shape': (99999999999, 3), }", "samples"},
        {"{'descr': '<f4', 'fortran_order': False}", "no shape"},
    };
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        cr_expect_eq(read_header_of(bad[i][0]), NRW_BAD_INPUT, "%s", bad[i][0]);
        cr_expect_not_null(strstr(fault, bad[i][1]), "%s", fault);
    }
}

/* --- schedules ------------------------------------------------------------------- */

#define PLAYED                                                                                     \
    "format: narrows-schedule/1\n"                                                                 \
    "legs:\n"                                                                                      \
    "- name: play\n"                                                                               \
    "  drive: {mode: sampled, file: field.csv}\n"

static const char FIELD[] = "time_s,x_mT,y_mT,z_mT\n7,1,2,3\n7.5,4,5,6\n8,4,5,5\n";

static nrw_status parse(const char *text, nrw_schedule *schedule)
{
    return nrw_schedule_parse(text, strlen(text), schedule_path, scenario, schedule, &errors);
}

static nrw_schedule good(const char *text)
{
    nrw_schedule schedule;
    char line[2048] = "";
    const nrw_status status = parse(text, &schedule);
    if (errors.n_items > 0)
        nrw_error_format(&errors.items[0], line, sizeof line);
    cr_assert_eq(status, NRW_OK, "%s", line);
    return schedule;
}

Test(samples_file, leg_of_samples_ends_with_them_unless_it_says_otherwise)
{
    file_write(csv_path, FIELD);
    nrw_schedule schedule = good(PLAYED);
    const nrw_leg *leg = &schedule.legs[0];
    cr_assert_eq(leg->drive.main.mode, NRW_DRIVE_SAMPLED);
    cr_assert_eq(schedule.n_samples, 1);
    cr_assert_eq(leg->drive.main.samples, schedule.samples[0]);
    cr_assert_float_eq(leg->timeout_s, 1.0, 1e-12);
    nrw_schedule_clear(&schedule);
    schedule = good(PLAYED "  timeout_s: 0.25\n");
    cr_assert_eq(schedule.legs[0].timeout_s, 0.25);
    nrw_schedule_clear(&schedule);
}

Test(samples_file, legs_share_a_file_and_find_it_by_its_name_alone_in_a_results_folder)
{
    file_write(csv_path, FIELD);
    nrw_schedule schedule = good(PLAYED "- name: other\n"
                                        "  drive: {mode: off}\n"
                                        "  until: {elapsed_s: 1}\n"
                                        "- name: again\n"
                                        "  drive: {mode: sampled, file: field.csv}\n");
    cr_assert_eq(schedule.n_samples, 1);
    cr_assert_eq(schedule.legs[0].drive.main.samples, schedule.legs[2].drive.main.samples);
    nrw_schedule_clear(&schedule);
    char *moved = input_replace(PLAYED, "field.csv", "elsewhere/field.csv");
    schedule = good(moved);
    cr_assert_str_eq(schedule.samples[0]->path, csv_path);
    cr_assert_str_eq(schedule.samples[0]->file, "elsewhere/field.csv");
    nrw_schedule_clear(&schedule);
    free(moved);
}

Test(samples_file, drives_of_samples_are_written_as_they_are_read)
{
    const double currents[6] = {1.0, 0.0, 0.0, 0.0, 2.0, 0.0};
    file_write(csv_path, FIELD);
    write_npy(2, 3, currents);
    nrw_schedule first = good(PLAYED "- name: currents\n"
                                     "  drive: {mode: sampled, file: field.npy, sample_rate_Hz: "
                                     "123.4}\n");
    char *text;
    cr_assert_eq(nrw_schedule_text(&first, &text, NULL), NRW_OK);
    cr_assert_not_null(strstr(text, "drive: {mode: sampled, file: \"field.csv\"}"), "%s", text);
    cr_assert_not_null(strstr(text, "file: \"field.npy\", sample_rate_Hz: 123.4}"), "%s", text);
    nrw_schedule second = good(text);
    for (int k = 0; k < 2; k++) {
        cr_assert_eq(second.legs[k].timeout_s, first.legs[k].timeout_s);
        cr_assert_str_eq(second.samples[k]->sha256, first.samples[k]->sha256);
        cr_assert_eq(second.samples[k]->rate_Hz, first.samples[k]->rate_Hz);
    }
    char digest[65], other[65];
    nrw_schedule_samples_digest(&first, digest);
    nrw_schedule_samples_digest(&second, other);
    cr_assert_str_eq(digest, other);
    cr_assert_eq(strlen(digest), 64);
    free(text);
    nrw_schedule_clear(&first);
    nrw_schedule_clear(&second);
}

/* Errors of the schedule: at the '^'. */
static void expect_cases(const input_case *cases, size_t n)
{
    file_write(csv_path, FIELD);
    for (size_t i = 0; i < n; i++) {
        char *text = input_replace(PLAYED, cases[i].old_text, cases[i].new_text);
        int line, column;
        nrw_schedule schedule;
        nrw_errors_clear(&errors);
        nrw_errors_init(&errors);
        input_take_mark(text, &line, &column);
        char name[512];
        (void)snprintf(name, sizeof name, "%s", schedule_path);
        cr_expect_eq(parse(text, &schedule), NRW_BAD_INPUT, "'%s' is taken", cases[i].new_text);
        cr_expect(schedule.n_legs == 0 && schedule.n_samples == 0);
        for (size_t k = 0; k < errors.n_items; k++) /* the folder has a name of its own each time */
            (void)snprintf(errors.items[k].file, sizeof errors.items[k].file, "case.yaml");
        input_expect(&cases[i], &errors, line, column);
        free(text);
    }
}

Test(samples_file, errors_of_a_drive_of_samples_have_their_place)
{
#define OLD "{mode: sampled, file: field.csv}"
    static const input_case cases[] = {
        {"  drive: " OLD, "  ^drive: {mode: sampled}", "legs[0].drive.file", "is missing",
         "mode 'sampled' needs it"},
        {OLD, "{mode: sampled, file: ^none.csv}", "legs[0].drive.file", "'none.csv' can't be read",
         "time_s, x_mT, y_mT, z_mT"},
        {OLD, "{mode: sampled, file: ^[a]}", "legs[0].drive.file", "is a list", "path"},
        {OLD, "{mode: sampled, file: field.csv, ^heading: 3}", "legs[0].drive.heading",
         "is no key of mode 'sampled'", "file"},
        {OLD, "{mode: sampled, file: field.csv, ^field_mT: 3}", "legs[0].drive.field_mT",
         "is no key of mode 'sampled'", "sample_rate_Hz"},
        {OLD, "{mode: sampled, file: field.csv, ^sample_rate_Hz: 3}",
         "legs[0].drive.sample_rate_Hz", "has times of its own", ".npy"},
        {OLD, "{mode: sampled, file: x.npy, sample_rate_Hz: ^0}", "legs[0].drive.sample_rate_Hz",
         "0", "above 0"},
        {OLD,
         "{mode: sampled, file: field.csv, ^alternate: {share: 0.5, period_s: 1, drive: "
         "{mode: off}}}",
         "legs[0].drive.alternate", "is no key of mode 'sampled'", "file"},
        {OLD,
         "{mode: off, alternate: {share: 0.5, period_s: 1, drive: {mode: ^sampled, file: "
         "field.csv}}}",
         "legs[0].drive.alternate.drive.mode", "half of an alternation", "heading"},
        {OLD, "{mode: rotating, field_mT: 1, frequency_Hz: 2, ^file: field.csv}",
         "legs[0].drive.file", "is no key of mode 'rotating'", "tilt_deg"},
    };
#undef OLD
    expect_cases(cases, sizeof cases / sizeof *cases);
}

Test(samples_file, faults_inside_the_file_are_told_at_its_name)
{
    nrw_schedule schedule;
    file_write(csv_path, "time_s,x_mT,y_mT\n0,1,2\n1,x,3\n");
    cr_assert_eq(parse(PLAYED, &schedule), NRW_BAD_INPUT);
    cr_assert_eq(errors.n_items, 1);
    cr_assert_eq(errors.items[0].line, 4);
    cr_assert_str_eq(errors.items[0].key, "legs[0].drive.file");
    cr_assert_not_null(strstr(errors.items[0].what, "line 3, field 2: x_mT 'x' is no number"));
}

Test(samples_file, sweeps_play_no_samples)
{
    static const input_case cases[] = {
        {"drive: {mode: rotating, field_mT: 10, frequency_Hz: 50}\n  vary: {frequency_Hz: [5, 10, "
         "20, 50, 100], tilt_deg: [0, 10, 20, 30, 40, 90]}",
         "drive: {mode: ^sampled, file: field.csv}\n  vary: {heading: [1]}", "sweep.drive.mode",
         "only be played by a leg", "heading"},
    };
    input_expect_scenario_cases(INPUT_EXAMPLE_SCENARIO, cases, 1);
}
