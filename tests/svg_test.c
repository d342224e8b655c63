/* Pictures: scales, axes, lines. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "svg.h"
#include "tag_balance.h"

static nrw_markup out;

static void setup(void)
{
    memset(&out, 0, sizeof out);
}

static void teardown(void)
{
    nrw_markup_clear(&out);
}

TestSuite(svg, .init = setup, .fini = teardown);

static nrw_svg_plot example_plot(void)
{
    return (nrw_svg_plot){&out, 50, 20, 400, 200, 0, 100, -1, 1};
}

static size_t count(const char *what)
{
    size_t n = 0;
    for (const char *at = out.text; (at = strstr(at, what)); at++)
        n++;
    return n;
}

Test(svg, titles_are_escaped_and_named_by_the_picture)
{
    char problem[256];
    nrw_svg_open(&out, "x", 10, 20, "</title><script>alert(1)</script>", "a & 'b'");
    nrw_svg_close(&out);
    cr_assert_str_empty(tag_balance(out.text, problem), "%s", problem);
    cr_assert(strstr(out.text, "<script") == NULL);
    cr_assert(strstr(out.text, "aria-labelledby='x-title x-desc'"));
    cr_assert(strstr(out.text, "&lt;/title&gt;&lt;script&gt;"));
}

Test(svg, steps_are_one_two_or_five)
{
    cr_assert_float_eq(nrw_svg_step(100, 5), 20, 1e-12);
    cr_assert_float_eq(nrw_svg_step(100, 7), 20, 1e-12);
    cr_assert_float_eq(nrw_svg_step(7, 7), 1, 1e-12);
    cr_assert_float_eq(nrw_svg_step(0.3, 1), 0.5, 1e-12);
    cr_assert_float_eq(nrw_svg_step(6e5, 10), 1e5, 1e-6);
    cr_assert_eq(nrw_svg_step(0, 5), 1, "no range: any step will do");
}

Test(svg, data_lands_where_the_axes_say)
{
    nrw_svg_plot plot = example_plot();
    cr_assert_float_eq(nrw_svg_x(&plot, 0), 50, 1e-12);
    cr_assert_float_eq(nrw_svg_x(&plot, 100), 450, 1e-12);
    cr_assert_float_eq(nrw_svg_y(&plot, 1), 20, 1e-12, "up is less");
    cr_assert_float_eq(nrw_svg_y(&plot, -1), 220, 1e-12);
    nrw_svg_axis_x(&plot, "time, s");
    cr_assert(strstr(out.text, "<path d='M130 220v4'/><text x='130' y='237' "
                               "text-anchor='middle'>20</text>"));
}

Test(svg, axes_have_zero_and_not_minus_zero)
{
    nrw_svg_plot plot = example_plot();
    nrw_svg_axis_y(&plot, "<b>");
    cr_assert(strstr(out.text, ">0</text>"));
    cr_assert(strstr(out.text, "&lt;b&gt;"));
    cr_assert_geq(count("class='grid'"), 4);
    cr_assert_leq(count("class='grid'"), 9);
}

Test(svg, lines_break_where_there_is_no_value)
{
    const double x[] = {0, 10, 20, 30, 40}, y[] = {0, 0.5, NAN, 0.5, 0};
    nrw_svg_plot plot = example_plot();
    nrw_svg_line(&plot, "line", 5, x, y);
    cr_assert_str_eq(out.text, "<path class='line' d='M50 120L90 70M170 70L210 120'/>\n");
}

Test(svg, lines_stay_inside_their_area_and_are_thinned)
{
    enum { N = 10000 };
    static double x[N], y[N];
    nrw_svg_plot plot = example_plot();
    for (int i = 0; i < N; i++) {
        x[i] = 100.0 * i / (N - 1);
        y[i] = i % 2000 ? 0.3 : 50; /* spikes far above the axis */
    }
    nrw_svg_line(&plot, "line", N, x, y);
    cr_assert_lt(count("L"), 2000);
    cr_assert_geq(count(" 20L"), 4, "spikes end at the top");
    cr_assert(strstr(out.text, "L450 "), "the last point is drawn");
}

Test(svg, areas_go_there_and_back)
{
    const double x[] = {0, 100}, low[] = {-1, -1}, high[] = {0, 1};
    nrw_svg_plot plot = example_plot();
    nrw_svg_area(&plot, "body", 2, x, low, high);
    cr_assert_str_eq(out.text, "<path class='body' d='M50 120L450 20L450 220L50 220Z'/>\n");
}

Test(svg, bands_are_cut_to_the_area_and_left_out_beyond_it)
{
    nrw_svg_plot plot = example_plot();
    nrw_svg_band_x(&plot, "leg", -10, 50);
    cr_assert_str_eq(out.text, "<rect class='leg' x='50' y='20' width='200' height='200'/>\n");
    size_t size = out.size;
    nrw_svg_band_x(&plot, "leg", 110, 120);
    nrw_svg_band_y(&plot, "leg", 2, 3);
    cr_assert_eq(out.size, size);
}

Test(svg, scale_bars_have_round_lengths_that_are_true)
{
    nrw_svg_scale_bar(&out, 300, 200, 2.5, 100); /* up to 40 µm: 20 µm, 50 units */
    cr_assert(strstr(out.text, "d='M250 200h50'"));
    cr_assert(strstr(out.text, ">20 µm</text>"));
}
