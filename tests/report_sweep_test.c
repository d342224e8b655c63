/* State maps: cells, disagreement, colour scales. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "example_run.h"
#include "report_case.h"
#include "report_scale.h"

/* --- scales --------------------------------------------------------------------------- */

/* Relative luminance of "#rrggbb" by its definition in WCAG 2. */
static double luminance(const char *colour)
{
    unsigned part[3];
    double weight[3] = {0.2126, 0.7152, 0.0722}, sum = 0;
    cr_assert_eq(sscanf(colour, "#%2x%2x%2x", &part[0], &part[1], &part[2]), 3);
    for (int i = 0; i < 3; i++) {
        double v = part[i] / 255.0;
        sum += weight[i] * (v <= 0.04045 ? v / 12.92 : pow((v + 0.055) / 1.055, 2.4));
    }
    return sum;
}

Test(report_sweep, scales_grow_lighter_from_end_to_end)
{
    for (int scale = NRW_SCALE_CIVIDIS; scale <= NRW_SCALE_VIRIDIS; scale++) {
        double last = -1;
        for (int i = 0; i <= 100; i++) {
            char colour[8];
            nrw_scale_colour((nrw_scale)scale, i / 100.0, colour);
            cr_assert_gt(luminance(colour), last, "scale %d at %d %%", scale, i);
            last = luminance(colour);
        }
    }
}

/* Ends of the two scales as published with matplotlib: viridis #440154 to #fde725, cividis
 * #00224e to #fee838. */
Test(report_sweep, scales_have_their_published_ends)
{
    char colour[8];
    nrw_scale_colour(NRW_SCALE_VIRIDIS, 0, colour);
    cr_assert_str_eq(colour, "#440154");
    nrw_scale_colour(NRW_SCALE_VIRIDIS, 7, colour);
    cr_assert_str_eq(colour, "#fde725");
    nrw_scale_colour(NRW_SCALE_CIVIDIS, -1, colour);
    cr_assert_str_eq(colour, "#00224e");
    nrw_scale_colour(NRW_SCALE_CIVIDIS, 1, colour);
    cr_assert_str_eq(colour, "#fee838");
}

/* WCAG 2 asks for a contrast of 4.5; black or white always gives it. */
Test(report_sweep, text_on_a_cell_can_be_read)
{
    for (int i = 0; i <= 100; i++) {
        char colour[8];
        nrw_scale_colour(NRW_SCALE_VIRIDIS, i / 100.0, colour);
        double light = luminance(colour) + 0.05;
        cr_assert_geq(nrw_scale_is_dark(colour) ? 1.05 / light : light / 0.05, 4.5);
    }
}

/* --- maps ------------------------------------------------------------------------------- */

static char *scenario_with(const char *sweep)
{
    char *text = malloc(strlen(example_scenario) + strlen(sweep) + 1);
    return strcat(strcpy(text, example_scenario), sweep);
}

static const char grid[] =
    "sweep:\n  drive: {mode: rotating, field_mT: 10, frequency_Hz: 50}\n"
    "  vary: {frequency_Hz: [20, 80], tilt_deg: [0, 30, 60]}\n  seconds: 3\n  repeats: 3\n";

static const char sweep_csv[] =
    "frequency_Hz,tilt_deg,way,state,agreement,repeats,failed,cohesion,speed_um_s,aspect_ratio,"
    "stacking,gather_time_s\r\n"
    "20,0,alone,vortex,1,3,0,1,0,1.1,1,2\r\n"
    "20,30,alone,rolling,1,3,0,0.98,1.5,1.2,1,2\r\n"
    "20,60,alone,torn,0.6666666666666666,3,0,0.55,2.5,1.9,1.2,2\r\n"
    "80,0,alone,vortex,1,3,0,1,0,1.1,1,2\r\n"
    "80,30,alone,rolling,1,3,0,0.9,4,1.3,1,2\r\n"
    "80,60,alone,beyond_rig,,0,0,,,,,\r\n";

static const char sweep_figures[] =
    "{\"points\": 6, \"grid_points\": 6, \"repeats\": 3, \"agreement\": 0.93, \"states\": "
    "{\"vortex\": 2, \"rolling\": 2, \"torn\": 1, \"beyond_rig\": 1}, \"cohesion_lost\": [{\"at\": "
    "{\"frequency_Hz\": 20}, \"way\": \"alone\", \"key\": \"tilt_deg\", \"between\": [30, 60]}]}";

static report_case it;

static char *make(const char *sweep, const char *csv)
{
    char *scenario = scenario_with(sweep);
    report_case_init(&it, scenario, "sweep", sweep_figures);
    report_case_file(&it, "sweep.csv", csv);
    free(scenario);
    return report_case_make(&it);
}

static void clear(char *html)
{
    free(html);
    report_case_clear(&it);
}

Test(report_sweep, summary_says_where_cohesion_is_lost)
{
    char *html = make(grid, sweep_csv);
    expect_text(html, "<strong>6 points</strong>");
    expect_text(html, "<li>between <code>tilt_deg</code> 30 and 60 at <code>frequency_Hz</code> "
                      "20</li>");
    expect_text(html, "<li><b>torn</b> at 1: one large cluster and pieces apart from it</li>");
    expect_text(html, "1 are beyond the rig");
    clear(html);
}

/* Five maps of numbers and one of states, five cells each and one crossed out. */
Test(report_sweep, every_setting_is_a_cell)
{
    char *html = make(grid, sweep_csv);
    char *maps = section_of(html, "maps");
    expect_times(maps, "class='picture'", 6);
    expect_times(maps, "<rect class='cell'", 30);
    expect_times(maps, "<rect class='void'", 6);
    expect_times(maps, ">vortex</text>", 2);
    expect_times(maps, "2 of 3</text>", 6); /* the torn one, in every map */
    expect_text(maps, "<th scope='row'>frequency_Hz 20, tilt_deg 60</th><td>alone</td><td>torn</td>"
                      "<td>66.7\u00a0%</td><td>3</td><td>0.55</td>");
    free(maps);
    clear(html);
}

/* Low frequencies below, small tilts on the left: y grows downward. */
Test(report_sweep, axes_grow_rightward_and_upward)
{
    char *html = make(grid, sweep_csv);
    char *maps = section_of(html, "maps");
    /* rows of 40 from 30 on: 80 Hz above 20 Hz; columns of 386/3 from 64 on */
    expect_order(maps, "x='56' y='94' text-anchor='end'>20<",
                 "x='56' y='54' text-anchor='end'>80<");
    expect_text(maps, "x='128.33' y='126' text-anchor='middle'>0<");
    /* cohesion 0.55 at (20 Hz, 60°): the lower right cell */
    expect_text(maps, "<rect class='cell' x='321.33' y='70'");
    free(maps);
    clear(html);
}

Test(report_sweep, both_ways_have_maps_of_their_own)
{
    char *html = make("sweep:\n  drive: {mode: rotating, field_mT: 10, frequency_Hz: 50}\n  vary: "
                      "{tilt_deg: [0, 60]}\n",
                      "tilt_deg,way,state,agreement,repeats,failed,cohesion\r\n"
                      "0,up,vortex,1,3,0,1\r\n0,down,torn,1,3,0,0.6\r\n"
                      "60,up,sheets,1,3,0,0.3\r\n60,down,sheets,1,3,0,0.3\r\n");
    expect_text(html, "<h3>on the way up</h3>");
    expect_order(html, "<h3>on the way up</h3>", "<h3>on the way down</h3>");
    char *maps = section_of(html, "maps");
    expect_order(maps, ">vortex</text>", ">torn</text>");
    free(maps);
    clear(html);
}

Test(report_sweep, table_of_another_grid_is_left_out)
{
    char *html = make(grid, "tilt_deg,way,state,repeats\r\n0,alone,vortex,3\r\n");
    expect_none(html, "<section id='maps'");
    clear(html);
}
