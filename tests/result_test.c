/* result.json: built, written, read back. */
#include <criterion/criterion.h>
#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "example_run.h"
#include "result.h"

static char *text_of(const nrw_result *result)
{
    char *text;
    cr_assert_eq(nrw_result_text(result, &text, NULL), NRW_OK);
    return text;
}

static json_t *reread(const nrw_result *result)
{
    char *text = text_of(result);
    json_error_t wrong;
    json_t *root = json_loads(text, JSON_REJECT_DUPLICATES, &wrong);
    cr_assert(root != NULL, "%s in %s", wrong.text, text);
    free(text);
    return root;
}

Test(result, text_is_exactly_this)
{
    nrw_result *result = nrw_result_create("run");
    nrw_result_provenance(result, &(nrw_provenance){.version = "0.1.0",
                                                    .seed = 7,
                                                    .threads = 2,
                                                    .model = "auto",
                                                    .scenario_sha256 = "ab",
                                                    .started = "2030-01-31T12:00:00Z",
                                                    .wall_s = 0.1});
    nrw_result_number(result, "third", 1.0 / 3.0);
    nrw_result_number(result, "whole", 1);
    nrw_result_number(result, "none", NAN);
    nrw_result_integer(result, "steps", 42);
    nrw_result_bool(result, "found", true);
    nrw_result_string(result, "quoted", "a \"b\"\n\\ \x01 µ");
    nrw_result_numbers(result, "at_um", 2, (const double[]){0.5, -2});
    nrw_result_open_array(result, "list");
    nrw_result_open_object(result, NULL);
    nrw_result_null(result, "x");
    nrw_result_close(result);
    nrw_result_close(result);
    nrw_result_open_object(result, "empty");
    nrw_result_close(result);
    nrw_result_warn(result, "careful");
    char *text = text_of(result);
    cr_assert_str_eq(text, "{\n"
                           "  \"format\": \"narrows-result/1\",\n"
                           "  \"command\": \"run\",\n"
                           "  \"provenance\": {\n"
                           "    \"version\": \"0.1.0\",\n"
                           "    \"seed\": 7,\n"
                           "    \"threads\": 2,\n"
                           "    \"model\": \"auto\",\n"
                           "    \"scenario_sha256\": \"ab\",\n"
                           "    \"started\": \"2030-01-31T12:00:00Z\",\n"
                           "    \"wall_s\": 0.1\n"
                           "  },\n"
                           "  \"figures\": {\n"
                           "    \"third\": 0.3333333333333333,\n"
                           "    \"whole\": 1.0,\n"
                           "    \"none\": null,\n"
                           "    \"steps\": 42,\n"
                           "    \"found\": true,\n"
                           "    \"quoted\": \"a \\\"b\\\"\\n\\\\ \\u0001 µ\",\n"
                           "    \"at_um\": [0.5, -2.0],\n"
                           "    \"list\": [\n"
                           "      {\n"
                           "        \"x\": null\n"
                           "      }\n"
                           "    ],\n"
                           "    \"empty\": {}\n"
                           "  },\n"
                           "  \"warnings\": [\n"
                           "    \"careful\"\n"
                           "  ]\n"
                           "}\n");
    free(text);
    nrw_result_destroy(result);
}

Test(result, seed_beyond_what_json_readers_hold_is_text)
{
    nrw_result *result = nrw_result_create("run");
    nrw_result_provenance(result, &(nrw_provenance){.version = "0", .seed = UINT64_MAX});
    cr_assert_str_eq(nrw_result_get_string(result, "provenance.seed"), "18446744073709551615");
    nrw_result_destroy(result);
}

Test(result, calls_that_do_not_fit_are_told_at_the_end)
{
    char *text;
    nrw_result *result = nrw_result_create("run");
    nrw_result_number(result, NULL, 1);
    cr_assert_neq(nrw_result_text(result, &text, NULL), NRW_OK);
    nrw_result_destroy(result);
    result = nrw_result_create("run");
    nrw_result_open_array(result, "list");
    cr_assert_neq(nrw_result_text(result, &text, NULL), NRW_OK, "an array is still open");
    nrw_result_destroy(result);
    result = nrw_result_create("run");
    nrw_result_close(result);
    cr_assert_neq(nrw_result_text(result, &text, NULL), NRW_OK, "nothing was open");
    nrw_result_destroy(result);
    result = nrw_result_create("run");
    for (int i = 0; i < 100; i++)
        nrw_result_open_object(result, "deeper");
    cr_assert_neq(nrw_result_text(result, &text, NULL), NRW_OK, "deeper than it can be");
    nrw_result_destroy(result);
}

Test(result, run_figures_have_every_key_of_the_contract)
{
    static const char *const keys[] = {"delivered_fraction",
                                       "lost",
                                       "lost_by_place",
                                       "time_s",
                                       "spread_um",
                                       "largest_cluster_fraction",
                                       "aspect_ratio",
                                       "centroid_um",
                                       "mean_speed_um_s",
                                       "mean_spin_Hz",
                                       "steps",
                                       "visible_fraction_of_time",
                                       "pair_interactions"};
    example_run example;
    example_run_make(&example);
    nrw_result *result = nrw_result_create("run");
    nrw_result_run_figures(result, &example.schedule, &example.run);
    json_t *root = reread(result);
    json_t *figures = json_object_get(root, "figures");
    for (size_t i = 0; i < sizeof keys / sizeof *keys; i++)
        cr_assert(json_object_get(figures, keys[i]), "%s", keys[i]);
    json_t *lost = json_object_get(figures, "lost");
    cr_assert_eq(json_object_size(lost), 5);
    cr_assert_eq(json_array_size(json_object_get(root, "warnings")), example.run.n_warnings);
    json_decref(root);
    nrw_result_destroy(result);
    example_run_clear(&example);
}

/* Six correctly rounded fractions added up: five roundings of at most 2^-54
 * each and six of the sum. */
Test(result, delivered_and_lost_add_up_to_one)
{
    example_run example;
    example_run_make(&example);
    nrw_result *result = nrw_result_create("run");
    nrw_result_run_figures(result, &example.schedule, &example.run);
    static const char *const lost[] = {"figures.lost.wall", "figures.lost.left_behind",
                                       "figures.lost.washed_out", "figures.lost.scattered",
                                       "figures.lost.in_transit"};
    double sum = nrw_result_get_number(result, "figures.delivered_fraction");
    cr_assert(sum > 0 && sum < 1, "an example that shows something");
    for (size_t i = 0; i < 5; i++)
        sum += nrw_result_get_number(result, lost[i]);
    cr_assert_float_eq(sum, 1, 1e-15);
    nrw_result_destroy(result);
    example_run_clear(&example);
}

Test(result, parse_gives_the_same_text_again)
{
    example_run example;
    example_run_make(&example);
    nrw_result *result = nrw_result_create("run"), *again;
    nrw_result_provenance(result, &(nrw_provenance){.version = "0.1.0", .wall_s = 1.25});
    nrw_result_run_figures(result, &example.schedule, &example.run);
    char *text = text_of(result);
    cr_assert_eq(nrw_result_parse(text, strlen(text), "result.json", &again, NULL), NRW_OK);
    char *text_again = text_of(again);
    cr_assert_str_eq(text, text_again);
    cr_assert_str_eq(nrw_result_get_string(again, "figures.legs.0.name"),
                     example.schedule.legs[example.run.visits[0].leg].name);
    cr_assert_eq(nrw_result_get_size(again, "figures.legs"), example.run.n_visits);
    cr_assert(isnan(nrw_result_get_number(again, "figures.no.such")));
    cr_assert(nrw_result_get_string(again, "figures.time_s") == NULL);
    free(text);
    free(text_again);
    nrw_result_destroy(result);
    nrw_result_destroy(again);
    example_run_clear(&example);
}

Test(result, parse_refuses_other_formats_and_broken_files)
{
    static const char *const wrong[] = {"",
                                        "{",
                                        "[]",
                                        "{\"format\": \"narrows-result/2\"}",
                                        "{\"format\": 1}",
                                        "{\"format\": \"narrows-result/1\", \"figures\": []}"};
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
        nrw_result *result;
        nrw_errors errors;
        nrw_errors_init(&errors);
        cr_assert_eq(nrw_result_parse(wrong[i], strlen(wrong[i]), "r.json", &result, &errors),
                     NRW_BAD_INPUT);
        cr_assert(result == NULL);
        cr_assert_eq(errors.n_items, 1);
        nrw_errors_clear(&errors);
    }
}
