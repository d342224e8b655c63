/* CSV and the numbers in it. */
#include <criterion/criterion.h>
#include <locale.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "csv.h"
#include "number.h"

static void expect_text(double value, const char *expected)
{
    char text[NRW_NUMBER_SIZE];
    cr_assert_str_eq(nrw_number_text(value, text), expected);
}

Test(number, is_the_shortest_that_reads_back)
{
    expect_text(0.1, "0.1");
    expect_text(1.0 / 3.0, "0.3333333333333333");
    expect_text(150, "150");
    expect_text(1e-5, "1e-05");
    expect_text(0.1 + 0.2, "0.30000000000000004");
    expect_text(-0.0, "-0");
    expect_text(NAN, "");
    expect_text(INFINITY, "");
}

Test(number, reads_back_to_the_same_bits)
{
    uint64_t bits = 0x9e3779b97f4a7c15u;
    for (int i = 0; i < 20000; i++) {
        double value;
        char text[NRW_NUMBER_SIZE];
        bits = bits * 6364136223846793005u + 1442695040888963407u;
        memcpy(&value, &bits, sizeof value);
        if (!isfinite(value))
            continue;
        double back = nrw_number_read(nrw_number_text(value, text));
        cr_assert(memcmp(&back, &value, sizeof back) == 0, "%s", text);
    }
}

Test(number, reads_only_whole_numbers)
{
    cr_assert(isnan(nrw_number_read("")));
    cr_assert(isnan(nrw_number_read("1.5x")));
    cr_assert(isnan(nrw_number_read("1.5.2")));
    cr_assert_eq(nrw_number_read("-2.5e3"), -2500);
}

/* Skipped where no locale with a decimal comma is installed. */
Test(number, has_a_point_in_every_locale)
{
    static const char *const commas[] = {"de_DE.UTF-8", "fr_FR.UTF-8", "de_DE", "fr_FR"};
    bool set = false;
    for (size_t i = 0; i < 4 && !set; i++)
        set = setlocale(LC_NUMERIC, commas[i]) != NULL;
    if (!set)
        cr_skip_test("no locale with a decimal comma");
    expect_text(0.5, "0.5");
    cr_assert_eq(nrw_number_read("0.5"), 0.5);
}

Test(csv, quotes_what_needs_it_and_leaves_the_rest)
{
    char *text = NULL;
    size_t size = 0;
    nrw_csv csv;
    FILE *stream = open_memstream(&text, &size);
    nrw_csv_begin(&csv, stream, "a,b,c");
    nrw_csv_text(&csv, "plain");
    nrw_csv_text(&csv, "a \"b\", c");
    nrw_csv_text(&csv, "two\nlines");
    nrw_csv_end_record(&csv);
    nrw_csv_integer(&csv, -7);
    nrw_csv_number(&csv, NAN);
    nrw_csv_number(&csv, 2.5);
    nrw_csv_end_record(&csv);
    fclose(stream);
    cr_assert_str_eq(text, "a,b,c\r\n"
                           "plain,\"a \"\"b\"\", c\",\"two\nlines\"\r\n"
                           "-7,,2.5\r\n");
    free(text);
}

Test(csv, parse_gives_back_what_was_written)
{
    static const char text[] = "a,b\r\n\"x \"\"y\"\", z\",1.5\r\n,\r\n";
    nrw_csv_table table;
    cr_assert_eq(nrw_csv_parse(text, sizeof text - 1, &table), 0);
    cr_assert_eq(table.n_records, 3);
    cr_assert_eq(table.n_columns, 2);
    cr_assert_eq(nrw_csv_column(&table, "b"), 1);
    cr_assert_eq(nrw_csv_column(&table, "c"), -1);
    cr_assert_str_eq(nrw_csv_field(&table, 1, 0), "x \"y\", z");
    cr_assert_eq(nrw_csv_value(&table, 1, 1), 1.5);
    cr_assert(isnan(nrw_csv_value(&table, 2, 1)));
    nrw_csv_table_clear(&table);
}

Test(csv, parse_accepts_bare_line_feeds_and_a_last_line_without_one)
{
    nrw_csv_table table;
    cr_assert_eq(nrw_csv_parse("a,b\n1,2\n3,4", 11, &table), 0);
    cr_assert_eq(table.n_records, 3);
    cr_assert_eq(nrw_csv_value(&table, 2, 1), 4);
    nrw_csv_table_clear(&table);
}

Test(csv, parse_names_the_record_that_is_wrong)
{
    nrw_csv_table table;
    cr_assert_eq(nrw_csv_parse("a,b\n1,2\n3\n", 10, &table), 3);
    cr_assert_eq(nrw_csv_parse("a,b\n\"1,2\n", 9, &table), 2);
    cr_assert(table.fields == NULL);
}
