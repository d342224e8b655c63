/* The report of a plan: verdict, verification, search, conditions, refusals. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "example_run.h"
#include "report_case.h"

#define CONDITIONS                                                                                 \
    "\"conditions\": [{\"condition\": \"geometry\", \"holds\": true, \"value\": 12, \"needed\": "  \
    "3, \"unit\": \"um\", \"text\": \"a disc of 12 um fits\"}, {\"condition\": \"speed\", "        \
    "\"holds\": true, \"value\": 20, \"needed\": 4, \"unit\": \"um/s\", \"text\": \"it is quick "  \
    "enough\"}]"

#define VERIFICATION                                                                               \
    "\"verification\": [{\"trial\": 0, \"delivered_fraction\": 1, \"time_s\": 60, "                \
    "\"time_to_target_s\": 50, \"without_reshaping\": 0}, {\"trial\": 1, \"delivered_fraction\": " \
    "0.9, \"time_s\": 70, \"time_to_target_s\": null, \"without_reshaping\": 0.1}, {\"trial\": "   \
    "2, "                                                                                          \
    "\"delivered_fraction\": 0.8, \"time_s\": 65, \"time_to_target_s\": 55, "                      \
    "\"without_reshaping\": 0.2}]"

static const char found_figures[] =
    "{\"found\": true, \"delivered_fraction\": 0.9, \"delivered_low\": 0.65, \"delivered_high\": "
    "1, "
    "\"time_s\": 65, \"legs\": 3, \"candidates_tried\": 5, \"best_without_reshaping\": 0.1, "
    "\"reason\": null, \"nearest_change\": null, \"recipe\": \"tilt 50 deg, 20 um ahead\", "
    "\"lost\": {\"wall\": 0, \"left_behind\": 0.07, \"washed_out\": 0, \"scattered\": 0.03, "
    "\"in_transit\": 0}, \"lost_by_cause\": {\"plugged\": 0.07, \"past_but_apart\": "
    "0.03}, " VERIFICATION ", " CONDITIONS "}";

static const char missed_figures[] =
    "{\"found\": false, \"delivered_fraction\": 0.2, \"delivered_low\": 0.1, \"delivered_high\": "
    "0.3, \"time_s\": 65, \"best_without_reshaping\": 0.1, \"candidates_tried\": 5, \"reason\": "
    "\"the best schedule of 5 delivers 20 %, throat 1 of 12 um plugs\", \"nearest_change\": \"a "
    "throat of 14 um\", " VERIFICATION ", " CONDITIONS "}";

static report_case it;

static char *make(const char *figures)
{
    report_case_init(&it, example_scenario, "plan", figures);
    return report_case_make(&it);
}

static void clear(char *html)
{
    free(html);
    report_case_clear(&it);
}

Test(report_plan, verdict_has_mean_interval_and_goal)
{
    char *html = make(found_figures);
    expect_text(html, "<strong>90\u00a0%</strong>");
    expect_text(html, "over 3 fresh trials, 95 % interval 65\u00a0% to 100\u00a0%. The goal of at "
                      "least 30\u00a0% is reached.");
    expect_text(html, "“tilt 50 deg, 20 µm ahead”");
    expect_none(html, "class='reason'");
    clear(html);
}

/* Differences 1, 0.8 and 0.6: mean 0.8, standard error 0.2/sqrt(3), Student's t with two
 * degrees of freedom 4.3027: 0.8 ± 0.4969, drawn in to 100 points. */
Test(report_plan, plan_and_simple_schedule_are_compared_trial_by_trial)
{
    char *html = make(found_figures);
    expect_text(html,
                "delivers 10\u00a0% on the same trials: 80 points less, 95 % interval 30.3 to "
                "100, trial by trial");
    char *trials = section_of(html, "verification");
    expect_times(trials, "<circle ", 6);
    expect_text(trials, "<td>90\u00a0%</td><td>10\u00a0%</td><td>70</td><td>–</td>");
    free(trials);
    clear(html);
}

Test(report_plan, largest_loss_is_named_with_what_helps)
{
    char *html = make(found_figures);
    expect_text(html, "7\u00a0% on average: the swarm plugged the way before the mouth. Soften");
    clear(html);
}

Test(report_plan, what_was_not_found_has_reason_and_nearest_change_before_all_else)
{
    char *html = make(missed_figures);
    expect_text(html, "is not reached: this is the best that was found");
    expect_text(html, "<b>Why not.</b> The best schedule of 5 delivers 20 %, throat 1 of 12 µm "
                      "plugs.</p>");
    expect_text(html, "<b>What would change it.</b> A throat of 14 µm.</p>");
    expect_order(html, "<b>Why not.</b>", "<dt>Asked</dt>");
    clear(html);
}

Test(report_plan, conditions_are_a_table_with_units)
{
    char *html = make(found_figures);
    expect_text(html, "<th scope='row'>speed</th><td>yes</td><td>20 µm/s</td><td>4 µm/s</td><td>It "
                      "is quick enough.</td>");
    clear(html);
}

/* --- refused before any search ---------------------------------------------------- */

/* The example's throat, 2 µm wide: no particle of 3 µm passes. */
static char *shut_scenario(void)
{
    char *text = strdup(example_scenario);
    for (char *at = text; (at = strstr(at, " 12]")) != NULL; at += 4)
        memcpy(at, "  2]", 4);
    return text;
}

Test(report_plan, refusal_has_a_map_with_a_ring_where_it_stops)
{
    char *scenario = shut_scenario();
    report_case_init(
        &it, scenario, "plan",
        "{\"found\": false, \"delivered_fraction\": null, \"reason\": \"throat 1 is too "
        "narrow\", \"nearest_change\": \"a throat wider than 3 um\", \"verification\": "
        "[], \"conditions\": [{\"condition\": \"geometry\", \"holds\": false, "
        "\"value\": 2, \"needed\": 3, \"unit\": \"um\", \"text\": \"too narrow\"}]}");
    cr_assert(it.channel != NULL);
    char *html = report_case_make(&it);
    expect_text(html, "<strong>No</strong>");
    expect_text(html, "Nothing was simulated");
    expect_text(html, "<td class='mark'>no</td>");
    char *map = section_of(html, "map");
    expect_times(map, "class='blockage'", 1);
    expect_text(map, "stops here: 2 µm, a particle is 3 µm");
    /* the throat spans x = 180 to 240 µm on a map of -100 to 500, drawn 920 wide with 3 % and
     * a particle of room: 439 to 527 */
    double x = atof(strstr(map, "class='blockage' cx='") + strlen("class='blockage' cx='"));
    cr_assert(x > 430 && x < 535, "the ring is at %g", x);
    expect_none(html, "<section id='legs'");
    expect_none(html, "<section id='replay'");
    free(map);
    free(scenario);
    clear(html);
}

Test(report_plan, channel_that_can_not_be_built_is_sketched)
{
    report_case_init(&it, example_scenario, "plan", missed_figures);
    it.input.channel = NULL;
    char *html = report_case_make(&it);
    char *map = section_of(html, "map");
    expect_times(map, "class='vessel'", 4);
    free(map);
    clear(html);
}

/* --- the search --------------------------------------------------------------------- */

static const char search_csv[] =
    "stage,recipe,trials,delivered_mean,delivered_least,time_s,diverged,field_mT,frequency_Hz,"
    "tilt_deg,other_tilt_deg,steer_by\r\n"
    "library,\"slow, sure\",1,1,1,100,0,12,50,45,,rear\r\n" /* judged again: not on the front */
    "library,quick,1,0.5,0.5,40,0,12,90,50,,rear\r\n"       /* on the front */
    "library,idle,1,0.4,0.4,60,0,12,90,50,,rear\r\n"        /* slower and worse: not on it */
    "survivors,\"slow, sure\",3,0.9,0.7,90,0,12,50,45,,rear\r\n" /* on the front */
    "keep-gathered,keep-gathered 5,2,0,0,80,0,12,50,5,,rear\r\n"
    "verification,\"slow, sure\",8,0.85,0.6,95,0,12,50,45,,rear\r\n";

Test(report_plan, front_steps_over_candidates_that_nothing_beats)
{
    report_case_init(&it, example_scenario, "plan", found_figures);
    report_case_file(&it, "search.csv", search_csv);
    char *html = report_case_make(&it);
    char *search = section_of(html, "search");
    /* axis: 108 s over 850 units from 46; 110 points over 256 units, 106 on top at 30:
     * (40 s, 50 %) and (90 s, 90 %) */
    char front[96];
    (void)snprintf(
        front, sizeof front, "class='front-line' d='M%g %gH%gV%g'",
        round((46 + 850 * 40 / 108.0) * 100) / 100, round((30 + 256 * 56 / 110.0) * 100) / 100,
        round((46 + 850 * 90 / 108.0) * 100) / 100, round((30 + 256 * 16 / 110.0) * 100) / 100);
    expect_text(search, front);
    expect_times(search, "<g class='candidate", 6);
    expect_times(search, "candidate earlier", 1);
    expect_times(search, "candidate simple", 1);
    expect_times(search, "candidate verified", 1);
    expect_text(search, "<td>slow, sure</td><td>8</td><td>85\u00a0%</td><td>60\u00a0%</td>");
    free(search);
    clear(html);
}

Test(report_plan, damaged_table_is_left_out)
{
    report_case_init(&it, example_scenario, "plan", found_figures);
    report_case_file(&it, "search.csv", "stage,recipe\r\nlibrary\r\n");
    char *html = report_case_make(&it);
    expect_none(html, "<section id='search'");
    clear(html);
}
