/* The report of a run: one whole page, safe, the same every time. */
#include <criterion/criterion.h>
#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <zlib.h>

#include "example_run.h"
#include "report.h"
#include "report_map.h"
#include "schedule_file.h"
#include "tag_balance.h"
#include "temporary_folder.h"
#include "trajectory.h"

static nrw_errors errors;
static example_run example;
static nrw_scenario *scenario;
static nrw_channel *channel;
static nrw_result *result;
static nrw_report_input input;

static void load(const char *text)
{
    cr_assert_eq(nrw_scenario_parse(text, strlen(text), "scenario.yaml", &scenario, &errors),
                 NRW_OK, "%s", errors.n_items ? errors.items[0].what : "");
    cr_assert_eq(nrw_channel_create(scenario, &channel, &errors), NRW_OK, "%s",
                 errors.n_items ? errors.items[0].what : "");
    input.scenario = scenario;
    input.channel = channel;
}

static void setup(void)
{
    nrw_errors_init(&errors);
    example_run_make(&example);
    load(example_scenario);
    result = nrw_result_create("run");
    nrw_result_provenance(result, &(nrw_provenance){.version = "0.1.0",
                                                    .seed = 7,
                                                    .threads = 2,
                                                    .model = "auto",
                                                    .scenario_sha256 = scenario->sha256,
                                                    .started = "2030-01-31T12:00:00Z",
                                                    .wall_s = 1.5});
    nrw_result_run_figures(result, &example.schedule, &example.run);
    input.schedule = &example.schedule;
    input.run = &example.run;
    input.result = result;
    input.schedule_text = "legs: <none> & 'so'";
}

static void teardown(void)
{
    nrw_result_destroy(result);
    nrw_channel_destroy(channel);
    nrw_scenario_destroy(scenario);
    example_run_clear(&example);
    nrw_errors_clear(&errors);
}

TestSuite(report, .init = setup, .fini = teardown);

static char *make(void)
{
    char *html;
    size_t size;
    cr_assert_eq(nrw_report_make(&input, &html, &size, &errors), NRW_OK);
    cr_assert_eq(strlen(html), size);
    return html;
}

static void expect_whole(const char *html)
{
    char problem[256];
    cr_assert_str_empty(tag_balance(html, problem), "%s", problem);
}

static void expect_text(const char *html, const char *text)
{
    cr_assert(strstr(html, text), "the report lacks: %s", text);
}

static void expect_none(const char *html, const char *text)
{
    const char *found = strstr(html, text);
    cr_assert(found == NULL, "the report has: %.100s", found);
}

Test(report, page_is_well_formed_with_every_section)
{
    static const char *const sections[] = {"summary",  "map",       "replay", "moments",
                                           "time",     "legs",      "fates",  "warnings",
                                           "validity", "provenance"};
    char *html = make();
    expect_whole(html);
    for (size_t i = 0; i < sizeof sections / sizeof *sections; i++) {
        char text[64];
        (void)snprintf(text, sizeof text, "<section id='%s'", sections[i]);
        expect_text(html, text);
    }
    free(html);
}

/* href is looked at by tag_balance: ids of the page alone. */
Test(report, page_needs_and_names_nothing_outside)
{
    static const char *const outside[] = {"://", " src=",  "url(",           "@import", "<link",
                                          "<a ", "fetch(", "XMLHttpRequest", "<iframe"};
    char *html = make();
    for (size_t i = 0; i < sizeof outside / sizeof *outside; i++)
        expect_none(html, outside[i]);
    expect_text(html, "default-src 'none'");
    free(html);
}

Test(report, texts_of_the_user_are_shown_as_text)
{
    char *html = make();
    expect_none(html, "<of>");
    expect_text(html, "<h1>Example &lt;of&gt; one &amp; &quot;throat&quot;</h1>");
    expect_none(html, "<b>go</b>");
    expect_text(html, "squeeze, then &lt;b&gt;go&lt;/b&gt;");
    expect_text(html, "squeeze, then \\u003cb\\u003ego\\u003c/b\\u003e");
    expect_none(html, "<none>");
    free(html);
}

Test(report, title_with_a_script_stays_a_title)
{
    free(scenario->title);
    scenario->title = strdup("</title><script>alert(1)</script><img onerror='x'>");
    char *html = make();
    expect_whole(html);
    expect_none(html, "<script>alert");
    expect_none(html, "<img");
    expect_text(html, "&lt;/title&gt;&lt;script&gt;alert(1)");
    free(html);
}

Test(report, same_run_gives_the_same_bytes)
{
    char *one = make(), *other = make();
    cr_assert_str_eq(one, other);
    free(one);
    free(other);
}

Test(report, summary_tells_verdict_loss_and_what_next)
{
    char *html = make();
    expect_text(html, "<strong>90\u00a0%</strong>");
    expect_text(html, "36 of 40 particles lie in the target circle after 80 s");
    expect_text(html, "The goal of at least 30\u00a0% is reached.");
    expect_text(html, "7.5\u00a0% at vessel gate-goal, around (330, 5) µm: past the throat, but "
                      "apart from the swarm.");
    expect_text(html, "Collect: drive back");
    expect_text(html, "not a medical device");
    free(html);
    scenario->goal.fraction_min = 0.95;
    html = make();
    expect_text(html, "The goal of at least 95\u00a0% is not reached.");
    free(html);
}

Test(report, averaged_model_beyond_its_range_is_told_and_marked)
{
    char *html = make();
    expect_text(html, "The period-averaged model was used within its range.");
    free(html);
    example.run.visits[1].shedding_number = 0.4;
    html = make();
    expect_text(html, "The period-averaged model was used outside its range in 1 leg visit ");
    expect_text(html, "<td class='mark'>0.4</td>");
    free(html);
}

Test(report, legs_are_in_words)
{
    char *html = make();
    expect_text(html, "rotating in the plane, 10 mT at 50 Hz");
    expect_text(html,
                "rotating, tilted 30°, 10 mT at 50 Hz; along the centreline, swinging ±30° in "
                "3 s");
    expect_text(html, "the tail is past “gate” by 50 µm");
    expect_text(html, "<td class='mark'>its time limit</td>");
    free(html);
}

Test(report, alternation_says_only_what_differs)
{
    nrw_drive *drive = &example.schedule.legs[1].drive;
    drive->alternate_share = 0.3;
    drive->alternate_period_s = 0.4;
    drive->other = drive->main;
    drive->other.tilt_deg = 90;
    char *html = make();
    expect_text(html,
                "swinging ±30° in 3 s; for the last 30\u00a0% of every 0.4 s instead rotating, "
                "tilted 90°, 10 mT at 50 Hz</td>");
    free(html);
}

Test(report, moments_follow_the_swarm_through_the_throat)
{
    nrw_moment moments[9];
    size_t n = nrw_report_moments_choose(&input, 9, moments), n_throats;
    const nrw_throat *throat = nrw_channel_throats(channel, &n_throats);
    cr_assert_eq(n_throats, 1);
    cr_assert_eq(n, 5);
    cr_assert_str_eq(moments[0].name, "Release");
    cr_assert_str_eq(moments[1].name, "At the mouth of the throat");
    cr_assert_str_eq(moments[2].name, "In the throat");
    cr_assert_str_eq(moments[3].name, "Past the throat");
    cr_assert_str_eq(moments[4].name, "The end");
    for (size_t i = 1; i < n; i++)
        cr_assert_gt(moments[i].time_s, moments[i - 1].time_s);
    const nrw_morphology *mouth = &example.run.frames[moments[1].frame].seen;
    const nrw_morphology *within = &example.run.frames[moments[2].frame].seen;
    cr_assert_geq(mouth->front_um, throat->entry_um);
    cr_assert_lt(mouth->tail_um, throat->entry_um);
    cr_assert(within->tail_um < throat->at_route_um && throat->at_route_um < within->front_um);
}

Test(report, nothing_is_drawn_of_a_run_that_was_refused)
{
    input.run = NULL;
    char *html = make();
    expect_whole(html);
    expect_text(html, "Nothing was simulated");
    expect_none(html, "<section id='moments'");
    free(html);
    input.channel = NULL;
    html = make();
    expect_whole(html);
    free(html);
}

Test(report, run_without_stored_frames_still_has_its_end)
{
    size_t n_stored = example.run.n_stored, n_frames = example.run.n_frames;
    example.run.n_stored = example.run.n_frames = 0;
    char *html = make();
    expect_whole(html);
    expect_text(html, "<b>1 The end</b>");
    example.run.n_stored = n_stored;
    example.run.n_frames = n_frames;
    free(html);
}

Test(report, open_map_has_no_walls)
{
    static const char open_scenario[] =
        "format: narrows-scenario/1\nfluid: {medium: water, temperature_C: 25}\n"
        "particles: {count: 40, diameter_um: 3, density_kg_m3: 1800, magnetics: {kind: induced, "
        "susceptibility: 0.3}}\n"
        "channel: {open: true, nodes: {start: {at_um: [0, 0]}, gate: {at_um: [200, 0]}, "
        "goal: {at_um: [400, 0]}, x: {at_um: [1, 1]}}}\n"
        "release: {node: start, radius_um: 20}\ntarget: {node: goal, radius_um: 40}\n"
        "deadline_s: 90\n";
    nrw_channel_destroy(channel);
    nrw_scenario_destroy(scenario);
    load(open_scenario);
    char *html = make();
    expect_whole(html);
    expect_text(html, "<h1>Untitled scenario</h1>");
    expect_none(html, "id='channel-shape'");
    free(html);
}

/* --- the replay's data ---------------------------------------------------------- */

static json_t *replay_data(const char *html)
{
    static const char start[] = "id='replay-data'>";
    const char *from = strstr(html, start) + sizeof start - 1, *to = strstr(from, "</script>");
    json_error_t wrong;
    json_t *data = json_loadb(from, (size_t)(to - from), JSON_REJECT_DUPLICATES, &wrong);
    cr_assert(data != NULL, "%s", wrong.text);
    return data;
}

static size_t decode64(const char *text, unsigned char *bytes)
{
    static const char letters[] =
        "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    size_t n = 0;
    unsigned word = 0;
    int bits = 0;
    for (; *text && *text != '='; text++) {
        word = word << 6 | (unsigned)(strchr(letters, *text) - letters);
        bits += 6;
        if (bits >= 8) {
            bits -= 8;
            bytes[n++] = (unsigned char)(word >> bits & 0xff);
        }
    }
    return n;
}

static double item(const json_t *array, size_t i)
{
    return json_number_value(json_array_get(array, i));
}

/* Undoes what pack() did and compares with the run: half a step of the grid, and
 * the float32 positions' own rounding (below 1e-4 µm here). */
static void expect_positions(const json_t *data, const char *key)
{
    const nrw_run_result *run = &example.run;
    const json_t *copy = json_object_get(data, key);
    size_t n = run->n_particles,
           stride = (size_t)json_integer_value(json_object_get(copy, "stride"));
    size_t n_frames = (run->n_stored + stride - 1) / stride, n_values = 2 * n * n_frames;
    const char *text = json_string_value(json_object_get(copy, "bytes"));
    unsigned char *bytes = malloc(strlen(text)), *raw = malloc(2 * n_values);
    uLongf size = (uLongf)decode64(text, bytes);
    if (json_is_true(json_object_get(copy, "deflated"))) {
        uLongf raw_size = (uLongf)(2 * n_values);
        cr_assert_eq(uncompress(raw, &raw_size, bytes, size), Z_OK);
        size = raw_size;
    } else {
        memcpy(raw, bytes, size);
    }
    cr_assert_eq(size, 2 * n_values);
    double step = json_number_value(json_object_get(data, "step")), worst = 0;
    uint16_t *last = calloc(2 * n, sizeof *last);
    for (size_t k = 0; k < n_frames; k++)
        for (size_t j = 0; j < 2 * n; j++) {
            size_t at = 2 * n * k + j, axis = j < n ? 0 : 1;
            last[j] = (uint16_t)(last[j] + (raw[at] | raw[n_values + at] << 8));
            double back = item(json_object_get(data, "origin"), axis) + step * last[j];
            size_t particle = j < n ? j : j - n;
            float was = run->trajectory_um[3 * (k * stride * n + particle) + axis];
            worst = fmax(worst, fabs(back - (double)was));
        }
    cr_assert_leq(worst, step / 2 + 1e-4);
    free(last);
    free(raw);
    free(bytes);
}

Test(report, replay_holds_the_run_within_half_a_step)
{
    char *html = make();
    json_t *data = replay_data(html);
    cr_assert_leq(json_number_value(json_object_get(data, "step")), 3.0 / 64 + 1e-12);
    cr_assert_eq(json_array_size(json_object_get(data, "times")), example.run.n_stored);
    cr_assert_eq(json_array_size(json_object_get(data, "frames")), example.run.n_frames);
    cr_assert_str_eq(json_string_value(json_array_get(json_object_get(data, "legs"), 1)),
                     "squeeze, then <b>go</b>");
    cr_assert_eq(strlen(json_string_value(json_object_get(data, "fates"))), 40);
    expect_positions(data, "fine");
    expect_positions(data, "coarse");
    json_decref(data);
    free(html);
}

/* --- sizes --------------------------------------------------------------------------- */

/* A page of that many particles and frames that jitter by a quarter of a micrometre, as
 * Brownian particles of this size do in a tenth of a second; noise is what doesn't
 * compress. */
static size_t size_of_page(size_t n_particles, size_t n_frames)
{
    example_run large;
    char *html;
    size_t size;
    unsigned bits = 1;
    example_run_make_sized(&large, n_particles, n_frames);
    for (size_t i = 0; i < 3 * large.run.n_stored * n_particles; i++) {
        bits = bits * 1664525u + 1013904223u;
        large.run.trajectory_um[i] += (float)(bits >> 8) / 0x1000000 / 4;
    }
    input.run = &large.run;
    input.schedule = &large.schedule;
    cr_assert_eq(nrw_report_make(&input, &html, &size, &errors), NRW_OK);
    free(html);
    example_run_clear(&large);
    return size;
}

/* The demo has 150 particles and runs for at most 300 s at 10 frames a second. */
Test(report, page_of_the_demo_is_below_5_MB)
{
    cr_assert_lt(size_of_page(150, 3000), 5000000);
}

Test(report, page_of_5000_particles_is_below_20_MB)
{
    cr_assert_lt(size_of_page(5000, 900), 20000000);
}

/* --- from a folder ---------------------------------------------------------------- */

Test(report, report_made_again_from_its_folder_is_the_same)
{
    char base[256], folder[512], *text, *schedule_text, *again;
    size_t size;
    nrw_store *store;
    temporary_folder_make(base);
    path_join(folder, base, "results");
    cr_assert_eq(nrw_schedule_text(&example.schedule, &schedule_text, &errors), NRW_OK);
    input.schedule_text = schedule_text;
    cr_assert_eq(nrw_result_text(result, &text, &errors), NRW_OK);
    cr_assert_eq(nrw_store_open(folder, false, &store, &errors), NRW_OK);
    nrw_store_run(store, scenario, &example.schedule, &example.run, "0.1.0", &errors);
    nrw_store_put(store, "result.json", text, strlen(text), &errors);
    nrw_store_put(store, "scenario.yaml", scenario->text, scenario->text_size, &errors);
    nrw_store_put(store, "schedule.yaml", schedule_text, strlen(schedule_text), &errors);
    cr_assert_eq(nrw_store_commit(store, NULL, &errors), NRW_OK);
    input.dir = folder;
    char *html = make();
    cr_assert_eq(nrw_report_remake(folder, &again, &size, &errors), NRW_OK, "%s",
                 errors.n_items ? errors.items[0].what : "");
    cr_assert_str_eq(again, html);
    free(again);
    free(html);
    free(text);
    free(schedule_text);
    temporary_folder_remove(base);
}

Test(report, folder_that_holds_no_run_is_refused)
{
    char base[256], *html;
    size_t size;
    temporary_folder_make(base);
    cr_assert_eq(nrw_report_remake(base, &html, &size, &errors), NRW_BAD_INPUT);
    cr_assert(html == NULL);
    temporary_folder_remove(base);
}
