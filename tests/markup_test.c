/* Templates: what is escaped, and how numbers are shown to people. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "markup.h"

static void expect_figure(double value, const char *expected)
{
    char text[NRW_FIGURE_SIZE];
    cr_assert_str_eq(nrw_figure_text(value, text), expected, "%s is not %s", text, expected);
}

Test(markup, texts_are_escaped_and_our_own_are_not)
{
    nrw_markup out = {0};
    nrw_markup_put(&out, "<p title='%s'>%s%r</p>", "it's \"x\"", "<script>a & b\x01</script>",
                   "<b>");
    cr_assert_str_eq(out.text, "<p title='it&#39;s &quot;x&quot;'>&lt;script&gt;a &amp; b\uFFFD"
                               "&lt;/script&gt;<b></p>");
    nrw_markup_clear(&out);
}

Test(markup, every_kind_of_field_is_filled)
{
    nrw_markup out = {0};
    nrw_markup_put(&out, "%d %z %c %f %n %p %% %s.", -3, (size_t)7, 1.23456, 0.1, 1234.5678, 0.925,
                   (const char *)NULL);
    cr_assert_str_eq(out.text, "-3 7 1.23 0.1 1235 92.5\u00a0% % .");
    nrw_markup_clear(&out);
}

Test(markup, coordinates_are_short_and_never_break_a_path)
{
    nrw_markup out = {0};
    nrw_markup_put(&out, "%c %c %c %c", -0.001, 100.0, NAN, 1e6 + 0.004);
    cr_assert_str_eq(out.text, "0 100 0 1000000");
    nrw_markup_clear(&out);
}

Test(markup, figures_have_three_digits)
{
    expect_figure(0, "0");
    expect_figure(12.345, "12.3");
    expect_figure(12.0, "12");
    expect_figure(0.5, "0.5");
    expect_figure(99.96, "100");
    expect_figure(-4.158, "\u22124.16");
    expect_figure(123456, "123456");
    expect_figure(0.00123456, "0.00123");
    expect_figure(2.8e-6, "2.8\u00b710\u207b\u2076");
    expect_figure(1.5e9, "1.5\u00b710\u2079");
    expect_figure(NAN, "\u2013");
    expect_figure(INFINITY, "\u221e");
}

Test(markup, large_texts_grow)
{
    nrw_markup out = {0};
    for (int i = 0; i < 100000; i++)
        nrw_markup_put(&out, "%s", "ab");
    cr_assert_eq(out.size, 200000);
    cr_assert_eq(strlen(out.text), 200000);
    cr_assert_not(out.failed);
    nrw_markup_clear(&out);
}
