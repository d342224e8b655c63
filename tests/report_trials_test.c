/* Reports over trials: estimates, comparisons, losses as a stream. */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "example_run.h"
#include "report_case.h"

#define LOSSES                                                                                     \
    "{\"particles\": 200, \"stages\": ["                                                           \
    "{\"stage\": \"released\", \"reached\": 200, \"lost\": 0, \"lost_percent\": 0},"               \
    "{\"stage\": \"throat 1 entered\", \"reached\": 200, \"lost\": 50, \"lost_percent\": 25},"     \
    "{\"stage\": \"throat 1 passed\", \"reached\": 150, \"lost\": 30, \"lost_percent\": 15},"      \
    "{\"stage\": \"retained\", \"reached\": 120, \"lost\": 0, \"lost_percent\": 0}], \"exits\": [" \
    "{\"after\": \"throat 1 entered\", \"vessel\": \"start to gate\", \"cause\": \"in_throat\","   \
    " \"fate\": \"left_behind\", \"particles\": 50, \"percent\": 25, \"at_um\": [210, 1],"         \
    " \"route_um\": [200, 210, 220]},"                                                             \
    "{\"after\": \"throat 1 passed\", \"vessel\": \"gate to goal\", \"cause\": "                   \
    "\"past_but_apart\","                                                                          \
    " \"fate\": \"scattered\", \"particles\": 30, \"percent\": 15, \"at_um\": [300, 9],"           \
    " \"route_um\": [280, 300, 330]}], \"retained_percent\": 60}"

static const char estimate_figures[] =
    "{\"trials\": 4, \"delivered_fraction\": 0.6, \"delivered_low\": 0.2, \"delivered_high\": 0.9, "
    "\"delivered_p10\": 0.1, \"lost\": {\"wall\": 0, \"left_behind\": 0.25, \"washed_out\": 0, "
    "\"scattered\": 0.15, \"in_transit\": 0}, \"time_to_target_s\": {\"median\": 50, \"low\": 30, "
    "\"high\": null}, \"visible_fraction_of_time\": 0.9, \"delivered_cautious\": [0.15, 0.93], "
    "\"failed\": 1, \"goal\": {\"fraction\": 0.5, \"trials\": 3, \"probability\": 0.75, \"low\": "
    "0.3, \"high\": 0.95}, \"hold\": {\"fraction\": 0.3, \"seconds\": 5, \"trials\": 2}, "
    "\"losses\": " LOSSES ", \"sensitivity\": {\"parameters\": [{\"parameter\": \"rolling\", "
    "\"rank_coefficient\": 0.8, \"rank_interval\": [0.4, 1], \"first_order\": 0.6, "
    "\"first_order_interval\": [0.2, 0.9]}, {\"parameter\": \"moment\", \"rank_coefficient\": 0.1, "
    "\"rank_interval\": [-0.3, 0.5], \"first_order\": 0, \"first_order_interval\": [0, 0.2]}], "
    "\"explained\": 0.7, \"advice\": \"measure the rolling factor first\"}}";

static const char trials_csv[] =
    "trial,seed,delivered_fraction,time_to_target_s,wall,left_behind,washed_out,scattered,"
    "in_transit,moment,viscosity,rolling,pair_flow,time_s\r\n"
    "0,11,1,30,0,0,0,0,0,0.9,1,1.5,1,60\r\n"
    "1,12,0.8,50,0,0.1,0,0.1,0,1,1,1.2,1,60\r\n"
    "2,13,0.6,50,0,0.2,0,0.2,0,1.1,1,0.9,1,70\r\n"
    "3,14,0,,0,0.7,0,0.3,0,1.2,1,0.5,1,80\r\n";

static report_case it;

static char *make_estimate(void)
{
    report_case_init(&it, example_scenario, "estimate", estimate_figures);
    report_case_file(&it, "trials.csv", trials_csv);
    return report_case_make(&it);
}

static void clear(char *html)
{
    free(html);
    report_case_clear(&it);
}

Test(report_trials, estimate_tells_mean_goal_time_and_what_to_measure)
{
    char *html = make_estimate();
    expect_text(html, "<strong>60\u00a0%</strong> <span>delivered on average over 4 trials, 95 % "
                      "interval 20\u00a0% to 90\u00a0%.");
    expect_text(html, "At least 50\u00a0% arrive in 3 of the trials: probability 75\u00a0%");
    expect_text(html, "30\u00a0% were reached and then kept for 5 s in 2 of the trials");
    expect_text(html, "after 50 s in the median trial (95 % interval 30 to no upper limit)");
    expect_text(html, "<li>Measure the rolling factor first.</li>");
    expect_text(html, "1 trials ended in a numerical failure");
    expect_text(html, "25 % in start to gate, around (210, 1) µm: still in the throat at the end.");
    clear(html);
}

Test(report_trials, every_trial_is_a_dot)
{
    char *html = make_estimate();
    char *trials = section_of(html, "trials");
    expect_times(trials, "<circle ", 4);
    expect_text(trials, "<th scope='row'>3</th><td>14</td><td>0\u00a0%</td><td>–</td>");
    free(trials);
    clear(html);
}

/* Three of four arrive, at 30 s and twice at 50 s; the fourth was watched for 80 s: shares
 * of 25 % and 75 %. */
Test(report_trials, arrivals_rise_in_steps)
{
    char *html = make_estimate();
    char *arrival = section_of(html, "arrival");
    expect_text(arrival, "<th scope='row'>30</th><td>4</td><td>1</td><td>25\u00a0%</td>");
    expect_text(arrival, "<th scope='row'>50</th><td>3</td><td>2</td><td>75\u00a0%</td>");
    expect_text(arrival, "median 50 s");
    free(arrival);
    clear(html);
}

Test(report_trials, parameters_whose_interval_holds_zero_are_open)
{
    char *html = make_estimate();
    char *sensitivity = section_of(html, "sensitivity");
    expect_times(sensitivity, "class='point'", 1);
    expect_times(sensitivity, "class='point unsure'", 1);
    expect_order(sensitivity, "rolling factor", "magnetic moment");
    free(sensitivity);
    clear(html);
}

/* The stream is 96 high where all are: 96, 96, 72 and 57.6, from 46 downward. */
Test(report_trials, stream_is_as_thick_as_what_is_left)
{
    char *html = make_estimate();
    char *losses = section_of(html, "losses");
    expect_text(losses,
                "class='stream' d='M8 46H792L792 103.6L596 103.6L596 118L400 118L400 142L204 "
                "142L204 142L8 142Z'");
    expect_times(losses, "class='lost-left_behind'", 1);
    expect_times(losses, "class='lost-scattered'", 1);
    expect_text(losses, "25 % in the throat");
    expect_text(losses, "60 % in the target");
    expect_text(losses, "<td>gate to goal</td><td>(300, 9)</td><td>past the throat, but apart from "
                        "the swarm</td><td>scattered</td><td>30</td><td>15 %</td>");
    free(losses);
    clear(html);
}

Test(report_trials, losses_of_all_trials_lie_on_the_map)
{
    char *html = make_estimate();
    char *map = section_of(html, "map");
    expect_times(map, "class='lost-mark ", 2);
    free(map);
    clear(html);
}

Test(report_trials, estimate_without_any_trial_says_so)
{
    report_case_init(&it, example_scenario, "estimate",
                     "{\"trials\": 0, \"delivered_fraction\": null}");
    char *html = report_case_make(&it);
    expect_text(html, "No trial was done");
    expect_none(html, "<section id='trials'");
    clear(html);
}

/* --- comparisons ---------------------------------------------------------------------- */

#define STRATEGY(name, mean, low, high)                                                            \
    "{\"name\": \"" name "\", \"words\": \"tilt 50 deg, 20 um ahead\", \"trials\": 2, "            \
    "\"delivered_fraction\": " mean ", \"delivered_low\": " low ", \"delivered_high\": " high ", " \
    "\"delivered_p10\": 0, \"lost\": {\"wall\": 0, \"left_behind\": 0.1, \"washed_out\": 0, "      \
    "\"scattered\": 0.05, \"in_transit\": 0}, \"lost_by_cause\": {\"plugged\": 0.1, "              \
    "\"past_but_apart\": 0.05}, \"goal\": {\"fraction\": 0.3, \"trials\": 2}, \"time_s\": 60}"

static const char compare_figures[] =
    "{\"strategies\": [" STRATEGY("a<b>", "0.85", "0.7", "1") ", " STRATEGY(
        "planned", "0.8", "0.6",
        "0.9") ", " STRATEGY("flat", "0.1", "0",
                             "0.2") "], \"pairs\": [{\"a\": \"a<b>\", \"b\": \"planned\", "
                                    "\"difference\": 0.05, \"low\": -0.1, \"high\": 0.2, \"p\": "
                                    "0.4, \"trials\": 2}, {\"a\": \"a<b>\", \"b\": \"flat\", "
                                    "\"difference\": 0.75, \"low\": 0.5, \"high\": 1.2, \"p\": "
                                    "0.01, \"trials\": 2}], \"best\": null, \"leader\": \"a<b>\", "
                                    "\"expected_excess\": 0.03, \"recheck\": null, \"verdict\": "
                                    "\"A tie: 'a<b>' has the highest mean.\"}";

static char *make_comparison(void)
{
    report_case_init(&it, example_scenario, "compare", compare_figures);
    report_case_file(&it, "trials.csv",
                     "strategy,trial,seed,delivered_fraction\r\na<b>,0,11,1\r\na<b>,1,12,0.7\r\n"
                     "planned,0,11,0.9\r\nplanned,1,12,0.7\r\nflat,1,12,0.1\r\n");
    return report_case_make(&it);
}

Test(report_trials, tie_is_told_as_a_tie_and_names_are_text)
{
    char *html = make_comparison();
    expect_text(html, "<strong>A tie</strong> <span>&#39;a&lt;b&gt;&#39; has the highest mean.");
    expect_none(html, "a<b>");
    expect_text(html, "tilt 50 deg, 20 µm ahead");
    clear(html);
}

Test(report_trials, every_strategy_has_its_row_of_dots)
{
    char *html = make_comparison();
    char *trials = section_of(html, "trials");
    expect_times(trials, "<circle ", 5); /* flat has no trial 0 */
    expect_text(trials, "<th scope='row'>0</th><td>100\u00a0%</td><td>90\u00a0%</td><td>–</td>");
    free(trials);
    clear(html);
}

Test(report_trials, pairs_that_differ_for_sure_are_filled)
{
    char *html = make_comparison();
    char *pairs = section_of(html, "pairs");
    expect_times(pairs, "class='point'", 1);
    expect_times(pairs, "class='point unsure'", 1);
    expect_text(pairs, "<td>75</td><td>50 to 100</td>"); /* 1.2 can't be */
    free(pairs);
    clear(html);
}
