/* The table of trends in docs/trends.md, with its plots: trends_validate PAGE FOLDER
 * [SEEDS]. */
#include <stdlib.h>
#include <string.h>

#include "trend.h"

static void put(FILE *file, const validate_row *row)
{
    (void)fprintf(file, "| %s | %s | **%s** | %s |", row->measured, row->predicted, row->verdict,
                  row->cause);
    if (row->plot)
        (void)fprintf(file, " [plot](trends/%s) |\n", row->plot);
    else
        (void)fprintf(file, " |\n");
}

int main(int argc, char **argv)
{
    static trend_result (*const trends[])(const trend_options *) = {
        trend_tilted_bond, trend_magic_angle,        trend_chain_length, trend_step_out,
        trend_gap,         trend_file_of_rollers,    trend_density,      trend_break_up,
        trend_elongation,  trend_synchronous_crystal};
    static const char *const names[] = {"tilted bond", "magic angle", "chain length", "step-out",
                                        "gap",         "file",        "density",      "break-up",
                                        "elongation",  "in step"};
    if (argc < 3) {
        (void)fprintf(stderr, "use: trends_validate PAGE FOLDER [SEEDS] [NAME]\n");
        return 2;
    }
    const trend_options options = {argv[2], argc > 3 ? atoi(argv[3]) : 6};
    char *text = NULL;
    size_t size = 0;
    FILE *file = open_memstream(&text, &size);
    if (!file)
        return 1;
    (void)fprintf(file, "| measured | predicted | | how sure, or the likely cause | |\n"
                        "| --- | --- | --- | --- | --- |\n");
    for (size_t k = 0; k < sizeof trends / sizeof *trends; k++) {
        if (argc > 4 && strcmp(argv[4], names[k]) != 0)
            continue;
        (void)fprintf(stderr, "  %s\n", names[k]);
        const trend_result result = trends[k](&options);
        for (size_t i = 0; i < result.n; i++)
            put(file, &result.rows[i]);
    }
    (void)fprintf(file, "\n(%d seeds a point; ± is half the 95 %% interval over seeds.)\n",
                  options.n_seeds);
    if (fclose(file) != 0)
        return 1;
    if (argc > 4)
        (void)fputs(text, stdout); /* one alone, to look at */
    else
        validate_insert(argv[1], "trends", text);
    free(text);
    return 0;
}
