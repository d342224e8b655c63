#include "progress.h"

#include <criterion/criterion.h>
#include <criterion/new/assert.h>

Test(progress, a_line_tells_done_rate_and_time_left)
{
    nrw_progress_line line = {.what = "run", .unit = "s simulated"};
    char text[128];
    nrw_progress_line_format(&line, 30.0, 300.0, 2.0, text, sizeof text);
    cr_assert_str_eq(text, "run: 30 of 300 s simulated (10 %), 15 per second, about 18 s left");
}

Test(progress, long_times_are_told_in_minutes_and_hours)
{
    nrw_progress_line line = {.what = "run", .unit = "s"};
    char text[128];
    nrw_progress_line_format(&line, 1.0, 201.0, 1.0, text, sizeof text);
    cr_assert_not_null(strstr(text, "3 min 20 s left"));
    nrw_progress_line_format(&line, 1.0, 7501.0, 1.0, text, sizeof text);
    cr_assert_not_null(strstr(text, "2 h 5 min left"));
}

Test(progress, nothing_done_yet_promises_nothing)
{
    nrw_progress_line line = {.what = "run", .unit = "s"};
    char text[128];
    nrw_progress_line_format(&line, 0.0, 10.0, 0.0, text, sizeof text);
    cr_assert_str_eq(text, "run: 0 of 10 s (0 %), 0 per second, about ? left");
}

Test(progress, a_quiet_line_has_no_stream)
{
    nrw_progress_line line = nrw_progress_line_begin("run", "s", true);
    cr_assert_null(line.stream);
    nrw_progress_line_update(&line, 1.0, 2.0);
    nrw_progress_line_end(&line);
}
