#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <jansson.h>

#include "coil.h"
#include "csv.h"
#include "export.h"
#include "input_case.h"
#include "schedule_file.h"
#include "sha256.h"
#include "temporary_folder.h"

#define SCENARIO                                                                                   \
    "format: narrows-scenario/1\n"                                                                 \
    "fluid: {medium: water, temperature_C: 25}\n"                                                  \
    "particles: {count: 3, diameter_um: 3, density_kg_m3: 1800, magnetics: {kind: induced, "       \
    "susceptibility: 0.3, relaxation_time_s: 1e-5}}\n"                                             \
    "channel: {open: true, nodes: {a: {at_um: [0, 0]}, b: {at_um: [30, 40]}}}\n"                   \
    "release: {node: a, radius_um: 6}\n"                                                           \
    "target: {node: b, radius_um: 5}\n"                                                            \
    "deadline_s: 20\n"                                                                             \
    "rig:\n"                                                                                       \
    "  field_max_mT: 12\n"                                                                         \
    "  frequency_max_Hz: 100\n"                                                                    \
    "  sample_rate_Hz: 10000\n"                                                                    \
    "  rotation_deg: 25\n"                                                                         \
    "  axes:\n"                                                                                    \
    "    x: {mT_per_A: 2.0, resistance_ohm: 3, inductance_mH: 10, current_max_A: 8, "              \
    "voltage_max_V: 60}\n"                                                                         \
    "    y: {mT_per_A: -1.7, resistance_ohm: 3, inductance_mH: 10, current_max_A: 8, "             \
    "voltage_max_V: 60}\n"                                                                         \
    "    z: {mT_per_A: 2.3, resistance_ohm: 3, inductance_mH: 10, current_max_A: 8, "              \
    "voltage_max_V: 60}\n"

#define CLOCKED                                                                                    \
    "format: narrows-schedule/1\n"                                                                 \
    "legs:\n"                                                                                      \
    "  - {name: flat, drive: {mode: rotating, field_mT: 10, frequency_Hz: 50}, until: "            \
    "{elapsed_s: 0.5}}\n"                                                                          \
    "  - {name: \"roll, tilted\", drive: {mode: rotating, field_mT: 9, frequency_Hz: 40, "         \
    "tilt_deg: 35, heading: 60}, until: {elapsed_s: 0.5}}\n"                                       \
    "  - {name: two, drive: {mode: rotating, field_mT: 8, frequency_Hz: 50, tilt_deg: 20, "        \
    "alternate: {share: 0.25, period_s: 0.08, drive: {tilt_deg: 80}}}, until: {elapsed_s: 0.8}}\n"

#define FED_BACK                                                                                   \
    "format: narrows-schedule/1\n"                                                                 \
    "legs:\n"                                                                                      \
    "  - {name: gather, drive: {mode: rotating, field_mT: 10, frequency_Hz: 50}, until: "          \
    "{elapsed_s: 1}}\n"                                                                            \
    "  - {name: home, drive: {mode: rotating, field_mT: 10, frequency_Hz: 50, tilt_deg: 20, "      \
    "heading: b, ease_um: 10}, until: {centroid_within: {node: b, distance_um: 1}}, timeout_s: "   \
    "3}\n"

typedef struct bench {
    nrw_scenario *scenario;
    nrw_channel *channel;
    nrw_schedule schedule;
    nrw_limits limits;
    nrw_errors errors;
    nrw_export export;
    char folder[256], out[512];
} bench;

static void set_up(bench *b, const char *scenario, const char *schedule)
{
    memset(b, 0, sizeof *b);
    nrw_errors_init(&b->errors);
    b->scenario = input_scenario(scenario);
    char text[1500] = "";
    nrw_status status = nrw_channel_create(b->scenario, &b->channel, &b->errors);
    if (status == NRW_OK)
        status = nrw_schedule_parse(schedule, strlen(schedule), "s.yaml", b->scenario, &b->schedule,
                                    &b->errors);
    if (status == NRW_OK)
        status = nrw_limits_default(&b->limits, &b->errors);
    if (b->errors.n_items)
        nrw_error_format(&b->errors.items[0], text, sizeof text);
    cr_assert_eq(status, NRW_OK, "%s", text);
}

static nrw_status prepare(bench *b, unsigned allowed)
{
    const nrw_export_config config = {.scenario = b->scenario,
                                      .channel = b->channel,
                                      .schedule = &b->schedule,
                                      .limits = &b->limits,
                                      .seed = 1,
                                      .allowed = allowed};
    return nrw_export_prepare(&b->export, &config, &b->errors);
}

static void write_out(bench *b)
{
    nrw_store *store = NULL;
    temporary_folder_make(b->folder);
    (void)path_join(b->out, b->folder, "bench");
    cr_assert_eq(nrw_store_open(b->out, false, &store, &b->errors), NRW_OK);
    const nrw_status status = nrw_export_write(&b->export, store, &b->errors);
    cr_assert_eq(status, NRW_OK, "%s", b->errors.n_items ? b->errors.items[0].what : "");
    cr_assert_eq(nrw_store_commit(store, NULL, &b->errors), NRW_OK);
}

static void tear_down(bench *b)
{
    if (b->folder[0])
        temporary_folder_remove(b->folder);
    nrw_export_clear(&b->export);
    nrw_limits_clear(&b->limits);
    nrw_schedule_clear(&b->schedule);
    nrw_channel_destroy(b->channel);
    nrw_scenario_destroy(b->scenario);
    nrw_errors_clear(&b->errors);
}

static char *read_out(const bench *b, const char *name, size_t *size)
{
    char path[512];
    size_t ignored;
    return file_bytes(path_join(path, b->out, name), size ? size : &ignored);
}

/* The drive of contract section 3, written out here once more. */
static void rotating_field(double field, double frequency, double tilt_deg, double heading_deg,
                           double t, double out[3])
{
    const double h[3] = {cos(heading_deg * NRW_DEGREE), sin(heading_deg * NRW_DEGREE), 0};
    const double p[3] = {-h[1], h[0], 0};
    const double c = cos(tilt_deg * NRW_DEGREE), s = sin(tilt_deg * NRW_DEGREE);
    const double phase = 2 * NRW_PI * frequency * t;
    for (int i = 0; i < 3; i++)
        out[i] = field * (cos(phase) * h[i] + sin(phase) * (p[i] * c - (i == 2 ? s : 0.0)));
}

/* Coils at 25 degrees with 2, −1.7 and 2.3 mT/A: field by hand from the file. */
static void field_of_currents(const nrw_csv_table *table, size_t record, double field[3])
{
    const double x = 2.0 * nrw_csv_value(table, record, nrw_csv_column(table, "x_A"));
    const double y = -1.7 * nrw_csv_value(table, record, nrw_csv_column(table, "y_A"));
    const double c = cos(25 * NRW_DEGREE), s = sin(25 * NRW_DEGREE);
    field[0] = c * x - s * y;
    field[1] = s * x + c * y;
    field[2] = 2.3 * nrw_csv_value(table, record, nrw_csv_column(table, "z_A"));
}

Test(export, currents_give_back_the_scheduled_drive)
{
    bench b;
    set_up(&b, SCENARIO, CLOCKED);
    cr_assert_eq(prepare(&b, 0), NRW_OK);
    write_out(&b);
    size_t size;
    char *text = read_out(&b, "currents.csv", &size);
    nrw_csv_table table;
    cr_assert_eq(nrw_csv_parse(text, size, &table), 0);
    cr_assert_eq(table.n_records, 18001 + 1);
    cr_assert_eq(b.export.samples, 18001);
    size_t compared = 0;
    for (size_t record = 1; record < table.n_records; record += 3) {
        const double t = nrw_csv_value(&table, record, 0);
        const char *leg = nrw_csv_field(&table, record, 1);
        double made[3], asked[3];
        field_of_currents(&table, record, made);
        if (t > 0.02 && t < 0.5 - 1e-6) {
            cr_assert_str_eq(leg, "flat");
            rotating_field(10, 50, 0, 0, t, asked);
        } else if (t > 0.52 && t < 1.0 - 1e-6) {
            cr_assert_str_eq(leg, "roll, tilted");
            rotating_field(9, 40, 35, 60, t - 0.5, asked);
        } else if (t > 1.0 && t < 1.78) {
            cr_assert_str_eq(leg, "two");
            const double into = fmod(t - 1.0, 0.08);
            if (into < 0.01 || fabs(into - 0.06) < 0.01)
                continue; /* joins */
            rotating_field(8, 50, into < 0.06 ? 20 : 80, 0, t - 1.0, asked);
        } else {
            continue;
        }
        /* the promise is 0.1 %; the file keeps 8 digits */
        for (int i = 0; i < 3; i++)
            cr_assert_float_eq(made[i], asked[i], 1e-6 * 10, "axis %d at %g s", i, t);
        compared++;
    }
    cr_assert_gt(compared, 4000);
    nrw_csv_table_clear(&table);
    free(text);
    tear_down(&b);
}

Test(export, voltages_drive_the_coils_to_the_currents)
{
    bench b;
    set_up(&b, SCENARIO, CLOCKED);
    cr_assert_eq(prepare(&b, 0), NRW_OK);
    write_out(&b);
    size_t size;
    char *text = read_out(&b, "currents.csv", &size);
    nrw_csv_table table;
    cr_assert_eq(nrw_csv_parse(text, size, &table), 0);
    /* L dI/dt + R I = V stepped by the trapezoidal rule from the voltages alone */
    const char axes[3] = {'x', 'y', 'z'};
    for (int k = 0; k < 3; k++) {
        char amperes[8], volts[8];
        (void)snprintf(amperes, sizeof amperes, "%c_A", axes[k]);
        (void)snprintf(volts, sizeof volts, "%c_V", axes[k]);
        const int a = nrw_csv_column(&table, amperes), v = nrw_csv_column(&table, volts);
        const double h = 1e-4, r = 3.0, l = 10e-3;
        double current = 0.0, worst = 0.0;
        for (size_t record = 2; record < table.n_records; record++) {
            const double mean =
                0.5 * (nrw_csv_value(&table, record, v) + nrw_csv_value(&table, record - 1, v));
            current = (current * (l / h - r / 2) + mean) / (l / h + r / 2);
            worst = fmax(worst, fabs(current - nrw_csv_value(&table, record, a)));
        }
        /* (ωh)²/12 of 5 A at the fastest change, a join of 1 ms: 4 % of it at most */
        cr_assert_lt(worst, 0.2, "coil %c strays by %g A", axes[k], worst);
    }
    nrw_csv_table_clear(&table);
    free(text);
    tear_down(&b);
}

Test(export, binary_currents_are_those_of_the_table)
{
    bench b;
    set_up(&b, SCENARIO, CLOCKED);
    cr_assert_eq(prepare(&b, 0), NRW_OK);
    write_out(&b);
    size_t size, csv_size;
    char *binary = read_out(&b, "currents.npy", &size);
    char *text = read_out(&b, "currents.csv", &csv_size);
    nrw_csv_table table;
    cr_assert_eq(nrw_csv_parse(text, csv_size, &table), 0);
    const size_t offset = size - b.export.samples * 3 * 4;
    for (size_t i = 0; i < b.export.samples; i += 101) {
        float row[3];
        memcpy(row, binary + offset + i * sizeof row, sizeof row);
        for (int k = 0; k < 3; k++)
            cr_assert_float_eq((double)row[k], nrw_csv_value(&table, i + 1, 5 + k), 5e-7,
                               "float32 keeps 24 bits of 5 A");
    }
    nrw_csv_table_clear(&table);
    free(text);
    free(binary);
    tear_down(&b);
}

Test(export, segments_loop_without_a_seam_and_begin_and_end_at_nothing)
{
    bench b;
    set_up(&b, SCENARIO, CLOCKED);
    cr_assert_eq(prepare(&b, 0), NRW_OK);
    write_out(&b);
    size_t size, csv_size;
    char *binary = read_out(&b, "segments.npy", &size);
    char *text = read_out(&b, "segments.csv", &csv_size);
    nrw_csv_table table;
    cr_assert_eq(nrw_csv_parse(text, csv_size, &table), 0);
    cr_assert_eq(table.n_records, 1 + 9);
    size_t total = 0;
    for (size_t i = 1; i < table.n_records; i++)
        total += (size_t)nrw_csv_value(&table, i, nrw_csv_column(&table, "samples"));
    const float *rows = (const float *)(const void *)(binary + size - total * 6 * 4);
    for (size_t leg = 0; leg < 3; leg++) {
        const size_t enter = (size_t)nrw_csv_value(&table, 3 * leg + 1, 3);
        const size_t loop = (size_t)nrw_csv_value(&table, 3 * leg + 2, 3);
        const size_t leave = (size_t)nrw_csv_value(&table, 3 * leg + 3, 3);
        const size_t n = (size_t)nrw_csv_value(&table, 3 * leg + 2, 4);
        const size_t end = leave + (size_t)nrw_csv_value(&table, 3 * leg + 3, 4);
        for (int c = 0; c < 6; c++) {
            cr_assert_float_eq(rows[6 * enter + c], 0.0, 1e-6);
            cr_assert_float_eq(rows[6 * (end - 1) + c], 0.0, 1e-6);
            /* the step over a seam is like the steps on either side of it: second
             * differences stay below the square of the fastest phase step, joins
             * of a millisecond included */
            const float *before = &rows[6 * (loop + n - 1)], *first = &rows[6 * loop];
            const double seam = (double)first[c] - (double)before[c];
            const double next = (double)first[6 + c] - (double)first[c];
            cr_assert_float_eq(seam, next, 0.6, "leg %zu, column %d", leg, c);
            const double into = (double)first[c] - (double)rows[6 * (loop - 1) + c];
            cr_assert_float_eq(into, seam, 1e-4, "enter meets the loop as the loop meets itself");
            const double out = (double)rows[6 * leave + c] - (double)before[c];
            cr_assert_float_eq(out, seam, 0.3, "leave goes on where the loop would");
        }
    }
    /* 0.5 s less two fades of about 10 ms, over loops of 20 ms */
    cr_assert_float_eq(nrw_csv_value(&table, 2, nrw_csv_column(&table, "loops")), 24.0, 0.0);
    nrw_csv_table_clear(&table);
    free(text);
    free(binary);
    tear_down(&b);
}

Test(export, checksums_are_those_of_the_files)
{
    bench b;
    set_up(&b, SCENARIO, CLOCKED);
    cr_assert_eq(prepare(&b, 0), NRW_OK);
    write_out(&b);
    char *sums = read_out(&b, "SHA256SUMS", NULL);
    static const char *const names[] = {"currents.csv",   "currents.npy", "segments.csv",
                                        "segments.npy",   "steps.json",   "waveform.json",
                                        "bench-card.html"};
    for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
        size_t size;
        char *bytes = read_out(&b, names[i], &size), hex[65], line[200];
        nrw_sha256_hex(bytes, size, hex);
        (void)snprintf(line, sizeof line, "%s  %s\n", hex, names[i]);
        cr_assert_not_null(strstr(sums, line), "%s", names[i]);
        free(bytes);
    }
    free(sums);
    tear_down(&b);
}

Test(export, imaging_legs_take_times_from_a_run_and_stand_as_steps)
{
    bench b;
    set_up(&b, SCENARIO, FED_BACK);
    cr_assert_eq(prepare(&b, 0), NRW_OK);
    cr_assert_eq(b.export.times, NRW_EXPORT_TIMES_RUN);
    write_out(&b);
    char *text = read_out(&b, "steps.json", NULL);
    json_error_t error;
    json_t *root = json_loads(text, JSON_REJECT_DUPLICATES, &error);
    cr_assert_not_null(root, "%s", error.text);
    cr_assert_str_eq(json_string_value(json_object_get(root, "format")), "narrows-steps/1");
    json_t *steps = json_object_get(root, "steps");
    cr_assert_eq(json_array_size(steps), 2);
    json_t *home = json_array_get(steps, 1);
    json_t *until = json_object_get(json_object_get(home, "until"), "centroid_within");
    cr_assert_str_eq(json_string_value(json_object_get(until, "node")), "b");
    cr_assert_float_eq(json_number_value(json_array_get(json_object_get(until, "at_um"), 1)), 40.0,
                       0.0);
    json_t *heading =
        json_object_get(json_object_get(json_object_get(home, "drive"), "main"), "heading");
    cr_assert_str_eq(json_string_value(json_object_get(heading, "kind")), "node");
    cr_assert_float_eq(json_number_value(json_object_get(heading, "ease_um")), 10.0, 0.0);
    cr_assert(json_is_null(json_object_get(home, "next")));
    cr_assert(json_is_null(json_object_get(json_object_get(home, "segments"), "loops")));
    json_decref(root);
    free(text);
    tear_down(&b);
}

Test(export, fixed_times_follow_the_runs_headings)
{
    bench b;
    set_up(&b, SCENARIO, FED_BACK);
    cr_assert_eq(prepare(&b, 0), NRW_OK);
    const nrw_run_result *run = &b.export.run;
    cr_assert_gt(run->n_steering, 5);
    size_t compared = 0;
    for (size_t i = 0; i + 1 < run->n_steering; i++) {
        const nrw_steering *s = &run->steering[i];
        const nrw_leg_visit *visit = &run->visits[s->visit];
        const double t = run->steering[i + 1].time_s - 1e-4;
        if (t - s->time_s < 0.05 || visit->leg != 1)
            continue;
        nrw_wave_sample sample;
        double asked[3];
        nrw_wave_at(b.export.wave, t, &sample);
        rotating_field(10, 50, s->tilt_deg[0], s->heading_rad[0] / NRW_DEGREE, t - visit->start_s,
                       asked);
        for (int c = 0; c < 3; c++)
            cr_assert_float_eq(sample.field_mT[c], asked[c], 1e-8);
        compared++;
    }
    cr_assert_gt(compared, 5);
    tear_down(&b);
}

static const nrw_limit_check *check_named(const nrw_export *export, const char *name)
{
    for (size_t i = 0; i < export->n_checks; i++)
        if (strcmp(export->checks[i].limit, name) == 0)
            return &export->checks[i];
    cr_assert_fail("no check %s", name);
    return NULL;
}

Test(export, beyond_the_rig_is_refused_unless_allowed_by_name)
{
    bench b;
    char *strong = input_replace(CLOCKED, "field_mT: 10", "field_mT: 12.5");
    set_up(&b, SCENARIO, strong);
    cr_assert_eq(prepare(&b, 0), NRW_REFUSED);
    cr_assert(b.export.refused);
    cr_assert_null(b.export.wave);
    cr_assert_not(check_named(&b.export, "field")->ok);
    cr_assert(check_named(&b.export, "current x")->ok);
    nrw_export_clear(&b.export);
    nrw_errors_clear(&b.errors);
    cr_assert_eq(prepare(&b, NRW_EXPORT_ALLOW_VOLTAGE), NRW_REFUSED, "another name doesn't help");
    nrw_export_clear(&b.export);
    nrw_errors_clear(&b.errors);
    cr_assert_eq(prepare(&b, NRW_EXPORT_ALLOW_FIELD), NRW_OK);
    cr_assert_not(check_named(&b.export, "field")->ok, "it is still told");
    cr_assert_not_null(b.export.wave);
    tear_down(&b);
    free(strong);
}

Test(export, allowances_are_known_by_name)
{
    for (int i = 0; i < NRW_N_ALLOWANCES; i++)
        cr_assert_eq(nrw_export_allowance(nrw_export_allowance_name(i)), 1u << i);
    cr_assert_eq(nrw_export_allowance("axis"), 0);
}

Test(export, hot_coil_is_refused_by_its_temperature)
{
    bench b;
    char *hot = input_replace(SCENARIO, "mT_per_A: 2.0,",
                              "mT_per_A: 2.0, thermal: {resistance_K_W: 30, capacity_J_K: 1, "
                              "temperature_max_C: 60},");
    set_up(&b, hot, CLOCKED);
    cr_assert_eq(prepare(&b, 0), NRW_REFUSED);
    const nrw_limit_check *check = check_named(&b.export, "temperature x");
    /* about 37 W into 1 J/K for some 1.8 s */
    cr_assert_gt(check->value, 70.0);
    cr_assert_lt(check->value, 110.0);
    tear_down(&b);
    free(hot);
}

Test(export, rms_of_a_turning_field_reaches_the_exposure_figures)
{
    bench b;
    set_up(&b, SCENARIO, CLOCKED);
    cr_assert_eq(prepare(&b, 0), NRW_OK);
    const nrw_limit_check *check = check_named(&b.export, "occupational-alternating");
    /* the flat leg alone: 10 mT rms at 50 Hz over 1 mT; the alternating one has
     * more lines and no less than the 8 mT of one of them */
    cr_assert_geq(check->value, 10.0 - 1e-9);
    cr_assert_lt(check->value, 40.0);
    cr_assert_not(check->ok);
    cr_assert_float_eq(check_named(&b.export, "heating-product")->value,
                       10e-3 * 50 / (4e-7 * NRW_PI), 1.0);
    cr_assert_float_eq(check_named(&b.export, "stored-energy")->value, 0.5 * 0.01 * 34.6, 0.06,
                       "up to 5.9 A in coil y, whose field per ampere is least");
    tear_down(&b);
}

Test(export, scenario_without_coils_is_told_so)
{
    bench b;
    char *bare = strdup(SCENARIO);
    *strstr(bare, "  axes:") = '\0';
    set_up(&b, bare, CLOCKED);
    cr_assert_eq(prepare(&b, 0), NRW_BAD_INPUT);
    cr_assert_not_null(strstr(b.errors.items[0].what, "no coil"));
    tear_down(&b);
    free(bare);
}

Test(export, bench_card_is_one_page_of_its_own_without_links)
{
    bench b;
    set_up(&b, SCENARIO, CLOCKED);
    cr_assert_eq(prepare(&b, 0), NRW_OK);
    write_out(&b);
    char *card = read_out(&b, "bench-card.html", NULL);
    cr_assert_not_null(strstr(card, "roll, tilted"));
    cr_assert_not_null(strstr(card, "To stop"));
    cr_assert_not_null(strstr(card, "not a medical device"));
    cr_assert_null(strstr(card, "http"));
    cr_assert_null(strstr(card, "href"));
    free(card);
    tear_down(&b);
}

Test(export, distance_at_which_the_field_falls_to_a_level_follows_from_the_geometry)
{
    bench b;
    char *paired = input_replace(SCENARIO, "x: {mT_per_A: 2.0,",
                                 "x: {pair: {radius_mm: 50, spacing_mm: 50, turns: 100},");
    char *both = input_replace(paired, "y: {mT_per_A: -1.7,",
                               "y: {pair: {radius_mm: 40, spacing_mm: 40, turns: 80},");
    char *all = input_replace(both, "z: {mT_per_A: 2.3,",
                              "z: {pair: {radius_mm: 30, spacing_mm: 30, turns: 60},");
    set_up(&b, all, CLOCKED);
    cr_assert_eq(prepare(&b, 0), NRW_OK);
    const nrw_limit_check *check = check_named(&b.export, "implants");
    cr_assert_not(check->ok);
    /* on the axis of the largest pair, by the coils' own code */
    const double centre[3] = {0, 0, 0}, axis[3] = {1, 0, 0};
    nrw_coil pair[2];
    double middle[3], away[3];
    nrw_coil_pair(50, 50, 100, centre, axis, pair);
    nrw_coil_group_mT(pair, 2, 1.0, centre, middle);
    nrw_coil_group_mT(pair, 2, 1.0, (const double[3]){check->distance_mm, 0, 0}, away);
    cr_assert_float_eq(away[0] / middle[0], check->allowed / check->value, 1e-9);
    tear_down(&b);
    set_up(&b, both, CLOCKED);
    cr_assert_eq(prepare(&b, 0), NRW_OK);
    cr_assert(isnan(check_named(&b.export, "implants")->distance_mm), "one geometry is missing");
    tear_down(&b);
    free(all);
    free(both);
    free(paired);
}

/* --- as much of JSON Schema as docs/steps.schema.json uses -------------------------- */

static bool is_of_type(const json_t *value, const char *type)
{
    return (strcmp(type, "object") == 0 && json_is_object(value)) ||
           (strcmp(type, "array") == 0 && json_is_array(value)) ||
           (strcmp(type, "string") == 0 && json_is_string(value)) ||
           (strcmp(type, "number") == 0 && json_is_number(value)) ||
           (strcmp(type, "integer") == 0 && json_is_integer(value)) ||
           (strcmp(type, "null") == 0 && json_is_null(value));
}

static bool type_fits(const json_t *value, const json_t *type)
{
    if (!type)
        return true;
    if (json_is_string(type))
        return is_of_type(value, json_string_value(type));
    for (size_t i = 0; i < json_array_size(type); i++)
        if (is_of_type(value, json_string_value(json_array_get(type, i))))
            return true;
    return false;
}

static void follow(const json_t *root, const json_t *schema, json_t *value, const char *where)
{
    const char *reference = json_string_value(json_object_get(schema, "$ref"));
    if (reference) {
        schema = json_object_get(json_object_get(root, "$defs"), reference + strlen("#/$defs/"));
        cr_assert_not_null(schema, "%s", reference);
    }
    cr_assert(type_fits(value, json_object_get(schema, "type")), "type of %s", where);
    const json_t *constant = json_object_get(schema, "const");
    cr_assert(!constant || json_equal(constant, value), "%s", where);
    const json_t *choices = json_object_get(schema, "enum");
    bool found = !choices;
    for (size_t i = 0; i < json_array_size(choices); i++)
        found = found || json_equal(json_array_get(choices, i), value);
    cr_assert(found, "value of %s", where);
    const json_t *items = json_object_get(schema, "items");
    for (size_t i = 0; items && i < json_array_size(value); i++)
        follow(root, items, json_array_get(value, i), where);
    if (!json_is_object(value))
        return;
    const json_t *required = json_object_get(schema, "required");
    for (size_t i = 0; i < json_array_size(required); i++) {
        const char *key = json_string_value(json_array_get(required, i));
        cr_assert_not_null(json_object_get(value, key), "%s lacks %s", where, key);
    }
    const char *key;
    json_t *child;
    json_object_foreach(value, key, child)
    {
        const json_t *inner = json_object_get(json_object_get(schema, "properties"), key);
        cr_assert_not_null(inner, "%s has the unknown %s", where, key);
        follow(root, inner, child, key);
    }
}

static void assert_follows_schema(const bench *b)
{
    json_error_t error;
    char *text = read_out(b, "steps.json", NULL);
    json_t *steps = json_loads(text, JSON_REJECT_DUPLICATES, &error);
    json_t *schema = json_load_file("docs/steps.schema.json", JSON_REJECT_DUPLICATES, &error);
    cr_assert_not_null(steps);
    cr_assert_not_null(schema, "run from the top folder: %s", error.text);
    follow(schema, schema, steps, "steps.json");
    json_decref(schema);
    json_decref(steps);
    free(text);
}

Test(export, step_table_follows_its_schema)
{
    static const char *const schedules[] = {CLOCKED, FED_BACK};
    for (size_t i = 0; i < 2; i++) {
        bench b;
        set_up(&b, SCENARIO, schedules[i]);
        cr_assert_eq(prepare(&b, 0), NRW_OK);
        write_out(&b);
        assert_follows_schema(&b);
        tear_down(&b);
    }
}

/* --- samples --------------------------------------------------------------------- */

#define LONG_TURN                                                                                  \
    "format: narrows-schedule/1\n"                                                                 \
    "legs:\n"                                                                                      \
    "  - {name: turn, drive: {mode: rotating, field_mT: 10, frequency_Hz: 47, tilt_deg: 20}, "     \
    "until: {elapsed_s: 2}}\n"

/* A second bench that plays the currents.csv of the first. */
static void set_up_played(bench *second, const bench *first, const char *scenario)
{
    char text[1200];
    (void)snprintf(text, sizeof text,
                   "format: narrows-schedule/1\nlegs:\n- name: play\n"
                   "  drive: {mode: sampled, file: \"%s/currents.csv\"}\n",
                   first->out);
    set_up(second, scenario, text);
}

static const nrw_limit_check *check_of(const bench *b, const char *limit)
{
    for (size_t i = 0; i < b->export.n_checks; i++)
        if (strcmp(b->export.checks[i].limit, limit) == 0)
            return &b->export.checks[i];
    cr_assert_fail("no limit %s", limit);
    return NULL;
}

Test(export, samples_of_a_turn_have_the_figures_of_the_turn)
{
    bench first, second;
    set_up(&first, SCENARIO, LONG_TURN);
    cr_assert_eq(prepare(&first, 0), NRW_OK);
    write_out(&first);
    set_up_played(&second, &first, SCENARIO);
    cr_assert_eq(prepare(&second, 0), NRW_OK);
    cr_assert_eq(second.export.times, NRW_EXPORT_TIMES_CLOCK);
    cr_assert_eq(second.export.samples, first.export.samples);
    for (int k = 0; k < 3; k++) {
        cr_assert_float_eq(second.export.peak_A[k], first.export.peak_A[k], 1e-5);
        cr_assert_float_eq(second.export.rms_A[k], first.export.rms_A[k], 1e-5);
        /* the steepest is a fade of some ten samples, and a rate spans two of them */
        cr_assert_float_eq(second.export.peak_V[k], first.export.peak_V[k],
                           0.03 * first.export.peak_V[k], "%g of %g V", second.export.peak_V[k],
                           first.export.peak_V[k]);
    }
    /* the fades at both ends broaden the line: 1 % of a stretch of 1.6 s */
    static const char *const same[] = {"public-alternating", "occupational-alternating",
                                       "heating-product"};
    for (size_t i = 0; i < 3; i++) {
        const double turn = check_of(&first, same[i])->value;
        cr_expect_float_eq(check_of(&second, same[i])->value, turn, 0.03 * turn, "%s: %g of %g",
                           same[i], check_of(&second, same[i])->value, turn);
    }
    /* a peak-to-peak change is taken with the steepest slope, which a fade has */
    const double slope = check_of(&first, "nerve-stimulation-normal")->value;
    cr_expect_float_eq(check_of(&second, "nerve-stimulation-normal")->value, slope, 0.02 * slope);
    write_out(&second);
    assert_follows_schema(&second);
    tear_down(&second);
    tear_down(&first);
}

Test(export, samples_need_as_many_a_second_and_an_amplifier_without_a_gain)
{
    bench first, second;
    set_up(&first, SCENARIO, LONG_TURN);
    cr_assert_eq(prepare(&first, 0), NRW_OK);
    write_out(&first);
    set_up_played(&second, &first, SCENARIO);
    nrw_export_config config = {.scenario = second.scenario,
                                .channel = second.channel,
                                .schedule = &second.schedule,
                                .limits = &second.limits,
                                .sample_rate_Hz = 5000.0};
    cr_assert_eq(nrw_export_prepare(&second.export, &config, &second.errors), NRW_BAD_INPUT);
    cr_assert_not_null(strstr(second.errors.items[0].what, "5000 Hz for samples of 10000 Hz"));
    nrw_export_clear(&second.export);
    /* without a rate asked for, that of the samples is taken where it is above the rig's */
    second.scenario->rig.sample_rate_Hz = 4000.0;
    cr_assert_eq(prepare(&second, 0), NRW_OK);
    cr_assert_eq(second.export.samples, first.export.samples);
    nrw_export_clear(&second.export);
    second.scenario->rig.gains[0] = (nrw_rig_gain){50.0, 0.9, -5.0};
    second.scenario->rig.n_gains = 1;
    cr_assert_eq(prepare(&second, 0), NRW_BAD_INPUT);
    tear_down(&second);
    tear_down(&first);
}
