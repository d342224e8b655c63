#include "yaml_doc.h"

#include <criterion/criterion.h>
#include <locale.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "input_case.h"
#include "yaml_number.h"
#include "yaml_read.h"

/* A document with its errors, before nrw_yaml_finish. */
typedef struct read_text {
    nrw_errors errors;
    nrw_yaml_doc *doc;
    const nrw_yaml_node *root;
} read_text;

static void open_bytes(read_text *r, const char *text, size_t size)
{
    nrw_errors_init(&r->errors);
    cr_assert_eq(nrw_yaml_create(text, size, "text.yaml", &r->errors, &r->doc), NRW_OK);
    r->root = nrw_yaml_root(r->doc);
}

static void open_text(read_text *r, const char *text)
{
    open_bytes(r, text, strlen(text));
}

static void close_text(read_text *r)
{
    nrw_yaml_destroy(r->doc);
    nrw_errors_clear(&r->errors);
}

/* The text (with a '^' at the place of the error) yields that one error. */
static void expect_error_in(const char *marked, const char *key, const char *what,
                            const char *expected)
{
    char text[4096];
    int line, column;
    input_case wanted = {"", marked, key, what, expected};
    cr_assert(strlen(marked) < sizeof text);
    (void)strcpy(text, marked);
    input_take_mark(text, &line, &column);
    read_text r;
    open_text(&r, text);
    cr_expect_eq(nrw_yaml_finish(r.doc), NRW_BAD_INPUT);
    input_expect(&wanted, &r.errors, line, column);
    close_text(&r);
}

/* --- the tree ---------------------------------------------------------------- */

Test(yaml_doc, every_key_and_value_knows_its_line_and_column)
{
    read_text r;
    open_text(&r, "a: 1\nlist:\n  - é: {x: yes}\n  - 'two'\n");
    cr_assert(r.root);
    const nrw_yaml_node *list = nrw_yaml_get(r.root, "list");
    cr_assert_eq(list->n_children, 2);
    cr_assert_eq(list->key_line, 2);
    cr_assert_eq(list->key_column, 1);
    const nrw_yaml_node *x = nrw_yaml_get(nrw_yaml_get(list->first, "é"), "x");
    cr_assert_str_eq(x->text, "yes");
    cr_assert(x->plain);
    cr_assert_eq(x->line, 3);
    cr_assert_eq(x->column, 12); /* characters, not bytes */
    cr_assert_eq(x->key_column, 9);
    cr_assert_not(list->first->next->plain);
    cr_assert_eq(list->first->next->line, 4);
    char path[64];
    nrw_yaml_path(x, path, sizeof path);
    cr_assert_str_eq(path, "list[0].\"é\".x");
    cr_assert_eq(nrw_yaml_finish(r.doc), NRW_OK);
    cr_assert_null(nrw_yaml_get(r.root, "b"));
    cr_assert_null(nrw_yaml_get(NULL, "b"));
    close_text(&r);
}

Test(yaml_doc, paths_are_cut_where_they_dont_fit)
{
    read_text r;
    open_text(&r, "alpha: {beta: [1]}\n");
    char path[9];
    nrw_yaml_path(nrw_yaml_get(nrw_yaml_get(r.root, "alpha"), "beta")->first, path, sizeof path);
    cr_assert_str_eq(path, "alpha.be");
    close_text(&r);
}

Test(yaml_doc, a_byte_order_mark_and_crlf_dont_shift_places)
{
    read_text r;
    open_text(&r, "\xEF\xBB\xBF"
                  "a: 1\r\nb: 2\r\n");
    cr_assert_eq(nrw_yaml_get(r.root, "a")->column, 4);
    cr_assert_eq(nrw_yaml_get(r.root, "b")->line, 2);
    cr_assert_eq(nrw_yaml_get(r.root, "b")->column, 4);
    close_text(&r);
}

Test(yaml_doc, a_file_is_one_mapping)
{
    expect_error_in("^", "", "the file is empty", "a mapping");
    expect_error_in("^# only a remark\n", "", "the file is empty", "a mapping");
    expect_error_in("^- 1\n", "", "the file is a list", "a mapping");
    expect_error_in("^hello\n", "", "the file is 'hello'", "a mapping");
    expect_error_in("--- \na: 1\n^---\nb: 2\n", "", "second document", "one document");
    read_text r;
    open_bytes(&r, "", 0);
    cr_assert_eq(nrw_yaml_finish(r.doc), NRW_BAD_INPUT);
    cr_assert_eq(r.errors.items[0].line, 1);
    close_text(&r);
}

Test(yaml_doc, malformed_text_is_reported_where_it_breaks)
{
    expect_error_in("a: [1, 2\nb^: 3\n", "", "did not find expected ',' or ']'", "well-formed");
    expect_error_in("a:\n^\t- 1\n", "", "cannot start any token", "spaces instead of the tab");
    expect_error_in("ä: 1\n^\tb: 1\n", "", "tab character", "spaces instead of the tab");
    expect_error_in("a: 'x\n^", "", "unexpected end of stream", "well-formed");
    expect_error_in("a: b^: c\n", "", "mapping values are not allowed", "well-formed");
    expect_error_in("a: 1\nb: x^\x01y\n", "", "is no text", "UTF-8");
    expect_error_in("a: 1\nb: é^\xFFy\n", "", "is no text", "UTF-8");
    expect_error_in("a: ^\"x\\0y\"\n", "a", "NUL", "without NUL");
}

Test(yaml_doc, a_nul_byte_is_no_text)
{
    read_text r;
    open_bytes(&r, "a: 1\nb:\0 2\n", 11);
    cr_assert_eq(nrw_yaml_finish(r.doc), NRW_BAD_INPUT);
    cr_assert_eq(r.errors.items[0].line, 2);
    cr_assert_eq(r.errors.items[0].column, 3);
    close_text(&r);
}

Test(yaml_doc, what_the_files_have_no_use_for_is_refused)
{
    expect_error_in("a: ^!!int 3\n", "a", "tag", "without a tag");
    expect_error_in("a: ^!x [3]\n", "a", "tag", "without a tag");
    expect_error_in("? ^[1]\n: 2\n", "", "can't be a key", "plain text");
    expect_error_in("x: &k a\n^*k : 2\n", "", "alias can't be a key", "plain text");
}

Test(yaml_doc, duplicate_keys_keep_the_first_and_report_the_rest)
{
    read_text r;
    open_text(&r, "a: 1\nb: {c: 1, d: 2, c: 3}\na: 2\na: 4\n");
    cr_assert_str_eq(nrw_yaml_get(r.root, "a")->text, "1");
    cr_assert_eq(r.root->n_children, 2);
    const nrw_yaml_node *b = nrw_yaml_get(r.root, "b");
    cr_assert_eq(b->n_children, 2);
    cr_assert_eq(b->first->next->index, 1);
    cr_assert_null(b->first->next->next);
    cr_assert_eq(nrw_yaml_finish(r.doc), NRW_BAD_INPUT);
    cr_assert_eq(r.errors.n_items, 3);
    cr_assert_str_eq(r.errors.items[0].key, "b.c");
    cr_assert_eq(r.errors.items[0].column, 17);
    cr_assert_eq(r.errors.items[1].line, 3);
    cr_assert_eq(r.errors.items[2].line, 4);
    close_text(&r);
}

/* --- bounds ------------------------------------------------------------------ */

static char *repeated(const char *head, const char *unit, size_t n, const char *tail)
{
    size_t length = strlen(unit), used = strlen(head);
    char *text = malloc(used + n * length + strlen(tail) + 1);
    cr_assert_not_null(text);
    memcpy(text, head, used);
    for (size_t i = 0; i < n; i++, used += length)
        memcpy(text + used, unit, length);
    (void)strcpy(text + used, tail);
    return text;
}

Test(yaml_doc, nesting_is_bounded)
{
    char *text = repeated("a: ", "[", 63, "1");
    char *closed = repeated(text, "]", 63, "\n");
    read_text r;
    open_text(&r, closed);
    cr_assert_eq(nrw_yaml_finish(r.doc), NRW_OK);
    close_text(&r);
    free(text);
    free(closed);
    text = repeated("a: ", "[", 1000000, "\n");
    open_text(&r, text);
    cr_assert_eq(nrw_yaml_finish(r.doc), NRW_BAD_INPUT);
    cr_assert_eq(r.errors.n_items, 1);
    cr_assert_eq(r.errors.items[0].column, 67); /* the 64th bracket is the first too deep */
    cr_assert(strstr(r.errors.items[0].what, "nested too deeply"));
    close_text(&r);
    free(text);
}

Test(yaml_doc, files_beyond_64_MiB_are_refused)
{
    size_t size = NRW_YAML_SIZE_MAX + 1;
    char *text = malloc(size);
    cr_assert_not_null(text);
    memset(text, '#', size);
    read_text r;
    open_bytes(&r, text, size);
    cr_assert_eq(nrw_yaml_finish(r.doc), NRW_BAD_INPUT);
    cr_assert(strstr(r.errors.items[0].what, "too large"));
    cr_assert_eq(r.errors.items[0].line, 1);
    close_text(&r);
    free(text);
}

Test(yaml_doc, a_stream_without_end_is_read_no_further_than_the_bound)
{
    char *text;
    size_t size;
    nrw_errors errors;
    nrw_errors_init(&errors);
    cr_assert_eq(nrw_yaml_load_text("/dev/zero", &text, &size, &errors), NRW_BAD_INPUT);
    cr_assert_null(text);
    cr_assert(strstr(errors.items[0].what, "too large"));
    nrw_errors_clear(&errors);
}

Test(yaml_doc, aliases_stand_for_copies_of_their_anchors)
{
    read_text r;
    open_text(&r, "a: &it {x: [1, 2]}\nb: *it\nc: [*it, &n 5, *n]\n");
    cr_assert_eq(nrw_yaml_finish(r.doc), NRW_OK);
    const nrw_yaml_node *b = nrw_yaml_get(r.root, "b");
    const nrw_yaml_node *two = nrw_yaml_get(b, "x")->first->next;
    cr_assert_str_eq(two->text, "2");
    cr_assert_eq(two->line, 1); /* where it is written */
    cr_assert_eq(b->key_line, 2);
    char path[64];
    nrw_yaml_path(two, path, sizeof path);
    cr_assert_str_eq(path, "b.x[1]"); /* where it is used */
    const nrw_yaml_node *c = nrw_yaml_get(r.root, "c");
    cr_assert_eq(c->n_children, 3);
    cr_assert_null(c->first->key);
    cr_assert_str_eq(c->first->next->next->text, "5");
    close_text(&r);
}

Test(yaml_doc, aliases_without_end_or_beginning_are_refused)
{
    expect_error_in("a: &it [1, ^*it]\n", "a[1]", "inside its own anchor", "complete");
    expect_error_in("a: ^*it\n", "a", "has no anchor", "before it");
    expect_error_in("b: [^*it]\na: &it 1\n", "b[0]", "has no anchor", "before it");
}

Test(yaml_doc, aliases_of_aliases_expand_to_a_bound)
{
    char text[2048] = "a0: &a0 [1, 1, 1, 1, 1, 1, 1, 1, 1, 1]\n";
    for (int i = 1; i < 12; i++) {
        size_t used = strlen(text);
        used += (size_t)snprintf(text + used, sizeof text - used, "a%d: &a%d [", i, i);
        for (int k = 0; k < 10; k++)
            used +=
                (size_t)snprintf(text + used, sizeof text - used, "%s*a%d", k ? ", " : "", i - 1);
        (void)snprintf(text + used, sizeof text - used, "]\n");
    }
    read_text r;
    open_text(&r, text);
    cr_assert_eq(nrw_yaml_finish(r.doc), NRW_BAD_INPUT);
    cr_assert_eq(r.errors.n_items, 1);
    cr_assert(strstr(r.errors.items[0].what, "expand too far"));
    cr_assert(r.errors.items[0].line > 1);
    close_text(&r);
}

Test(yaml_doc, the_list_of_errors_is_bounded_and_says_how_many_more)
{
    char *text = repeated("v: [", "x,\n", NRW_YAML_ERRORS_MAX + 5, "]\n");
    double values[NRW_YAML_ERRORS_MAX + 5];
    read_text r;
    open_text(&r, text);
    cr_assert_not(nrw_yaml_vector(r.doc, nrw_yaml_get(r.root, "v"), 0, NRW_YAML_ERRORS_MAX + 5,
                                  (nrw_yaml_range)NRW_FROM_TO(0, 1), "numbers", values, NULL));
    cr_assert_eq(nrw_yaml_finish(r.doc), NRW_BAD_INPUT);
    cr_assert_eq(r.errors.n_items, NRW_YAML_ERRORS_MAX + 1);
    const nrw_error *last = &r.errors.items[NRW_YAML_ERRORS_MAX];
    cr_assert(strstr(last->what, "5 further errors"));
    cr_assert_eq(last->line, NRW_YAML_ERRORS_MAX + 1);
    close_text(&r);
    free(text);
}

Test(yaml_doc, many_keys_and_many_duplicates_stay_cheap)
{
    /* a million keys, all the same: quadratic work would not end */
    char *text = repeated("", "k: 1\n", 1000000, "");
    read_text r;
    open_text(&r, text);
    cr_assert_eq(nrw_yaml_n_errors(r.doc), 999999);
    cr_assert_eq(nrw_yaml_finish(r.doc), NRW_BAD_INPUT);
    cr_assert_eq(r.errors.n_items, NRW_YAML_ERRORS_MAX + 1);
    close_text(&r);
    free(text);
}

/* --- numbers ----------------------------------------------------------------- */

static void expect_number(const char *text, double value)
{
    double read = NAN;
    cr_expect_eq(nrw_yaml_number_read(text, &read), NRW_YAML_NUMBER, "'%s' is no number", text);
    cr_expect_eq(read, value, "'%s' is %.17g, not %.17g", text, read, value);
}

static void expect_kind(const char *text, nrw_yaml_number_kind kind)
{
    double value = 0.0;
    nrw_yaml_number_kind found = nrw_yaml_number_read(text, &value);
    cr_expect_eq(found, kind, "'%s': %d", text, (int)found);
}

/* Spellings and values of YAML 1.1 "int" and "float" (2005) and of YAML 1.2.2
 * section 10.3.2, from memory. */
Test(yaml_number, spellings_of_both_versions_are_numbers)
{
    expect_number("0", 0.0);
    expect_number("-0", 0.0);
    expect_number("+3", 3.0);
    expect_number("12", 12.0);
    expect_number("1e-5", 1e-5);
    expect_number("1.0e-5", 1e-5);
    expect_number("1E5", 1e5);
    expect_number("-1.5E+2", -150.0);
    expect_number(".5", 0.5);
    expect_number("-.5e1", -5.0);
    expect_number("5.", 5.0);
    expect_number("5.e1", 50.0);
    expect_number("0x1F", 31.0);
    expect_number("0xff", 255.0);
    expect_number("-0x1f", -31.0);
    expect_number("0o17", 15.0);
    expect_number("0b101", 5.0);
    expect_number("1_000", 1000.0);
    expect_number("0b1010_0111_0100_1010_1110", 685230.0); /* the example of YAML 1.1 */
    expect_number("685_230", 685230.0);
    expect_number("+685_230", 685230.0);
    expect_number("0x0A_74_AE", 685230.0);
    expect_number("190:20:30", 685230.0);
    expect_number("6.8523015e+5", 685230.15);
    expect_number("685_230.15", 685230.15);
    expect_number("190:20:30.15", 685230.15);
    expect_number("5:30", 330.0);
    expect_number("007", 7.0); /* the same in base 8 and 10 */
    expect_number("08", 8.0);  /* no octal number */
    expect_number("00.5", 0.5);
    expect_number("010.5", 10.5);
    expect_number("0.1", 0.1);
    expect_number("1.7976931348623157e308", 1.7976931348623157e308);
    expect_number("4.9e-324", 4.9e-324);
    expect_number("0e999999999", 0.0);
    expect_number("0.333333333333333333333333333333333333333333333333333", 1.0 / 3.0);
}

Test(yaml_number, other_texts_are_none)
{
    static const char *const texts[] = {
        "",      "-",     "+",    ".",   "..5",  "1e",   "e5",    "1e+", "0x",   "0xG", "0o8",
        "-0o7",  "0b2",   "_1",   "1,5", "1 2",  "5 um", "1.2.3", "NaN", "nan",  "inf", "true",
        "0x1p3", "1_0e5", "5:60", "5:",  "5:1:", "--1",  "١",     "1d5", "0x1.8"};
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++)
        expect_kind(texts[i], NRW_YAML_NOT_A_NUMBER);
}

Test(yaml_number, what_no_double_can_hold_is_told_apart)
{
    expect_kind(".nan", NRW_YAML_NOT_FINITE);
    expect_kind(".inf", NRW_YAML_NOT_FINITE);
    expect_kind("-.INF", NRW_YAML_NOT_FINITE);
    expect_kind("1e309", NRW_YAML_NUMBER_TOO_LARGE);
    expect_kind("-1.8e308", NRW_YAML_NUMBER_TOO_LARGE);
    expect_kind("1e-400", NRW_YAML_NUMBER_TOO_SMALL);
    expect_kind("010", NRW_YAML_NUMBER_AMBIGUOUS);
    expect_kind("-017", NRW_YAML_NUMBER_AMBIGUOUS);
    char *digits = repeated("", "9", 401, "");
    expect_kind(digits, NRW_YAML_NUMBER_TOO_LONG);
    expect_kind(digits + 1, NRW_YAML_NUMBER_TOO_LARGE);
    free(digits);
    char *hexadecimal = repeated("0x", "f", 300, "");
    expect_kind(hexadecimal, NRW_YAML_NUMBER_TOO_LARGE);
    free(hexadecimal);
    char *words = repeated("", "word ", 200, "");
    expect_kind(words, NRW_YAML_NOT_A_NUMBER);
    free(words);
}

Test(yaml_number, the_locale_changes_nothing)
{
    /* any of these writes 0,5; a machine without them leaves "C" in force */
    if (!setlocale(LC_NUMERIC, "de_DE.UTF-8") && !setlocale(LC_NUMERIC, "fr_FR.UTF-8"))
        cr_skip_test("no locale with a decimal comma is installed");
    expect_number("0.5", 0.5);
    expect_kind("0,5", NRW_YAML_NOT_A_NUMBER);
}

/* --- typed values ------------------------------------------------------------ */

Test(yaml_read, booleans_are_true_and_false_alone)
{
    read_text r;
    open_text(&r, "v: [true, True, TRUE, false, False, FALSE, yes, on, y, tRUE, 1, 'true', "
                  "null, [true]]\n");
    bool value;
    for (const nrw_yaml_node *node = nrw_yaml_get(r.root, "v")->first; node; node = node->next) {
        value = node->index >= 3;
        bool good = nrw_yaml_boolean(r.doc, node, &value);
        cr_expect_eq(good, node->index < 6);
        if (good)
            cr_expect_eq(value, node->index < 3);
    }
    cr_assert_eq(nrw_yaml_n_errors(r.doc), 8);
    close_text(&r);
}

Test(yaml_read, ranges_with_open_ends_leave_the_end_out)
{
    read_text r;
    open_text(&r, "v: [0, 1e-9, 0.5, 1]\n");
    const nrw_yaml_node *node = nrw_yaml_get(r.root, "v")->first;
    static const bool closed[] = {true, true, true, true}, above[] = {false, true, true, true},
                      below[] = {true, true, true, false}, between[] = {false, true, true, false};
    for (; node; node = node->next) {
        double value;
        unsigned i = node->index;
        cr_expect_eq(nrw_yaml_number(r.doc, node, (nrw_yaml_range)NRW_FROM_TO(0, 1), &value),
                     closed[i]);
        cr_expect_eq(nrw_yaml_number(r.doc, node, (nrw_yaml_range)NRW_ABOVE_TO(0, 1), &value),
                     above[i]);
        cr_expect_eq(nrw_yaml_number(r.doc, node, (nrw_yaml_range)NRW_FROM_BELOW(0, 1), &value),
                     below[i]);
        cr_expect_eq(nrw_yaml_number(r.doc, node, (nrw_yaml_range)NRW_BETWEEN(0, 1), &value),
                     between[i]);
    }
    close_text(&r);
}

Test(yaml_read, a_value_that_is_wrong_leaves_the_default)
{
    read_text r;
    open_text(&r, "v: 5\n");
    double value = 0.25;
    cr_assert_not(nrw_yaml_number(r.doc, r.root->first, (nrw_yaml_range)NRW_FROM_TO(0, 1), &value));
    cr_assert_eq(value, 0.25);
    close_text(&r);
}

Test(yaml_read, whole_numbers_may_be_spelt_as_floats)
{
    read_text r;
    open_text(&r, "v: [1e3, 2.0, 2.5, 1e300]\n");
    const nrw_yaml_node *node = nrw_yaml_get(r.root, "v")->first;
    long long value = 0;
    nrw_yaml_range any = NRW_FROM_TO(0, 1e18);
    cr_assert(nrw_yaml_integer(r.doc, node, any, &value) && value == 1000);
    cr_assert(nrw_yaml_integer(r.doc, node->next, any, &value) && value == 2);
    cr_assert_not(nrw_yaml_integer(r.doc, node->next->next, any, &value));
    cr_assert_not(nrw_yaml_integer(r.doc, node->next->next->next, any, &value));
    close_text(&r);
}

Test(yaml_read, a_wrong_unit_or_none_suggests_the_right_one)
{
    static const char *const words[] = {"diameter_um", "diameter_cv", "deadline_s", "x"};
    char expected[128];
    nrw_yaml_expect_word("diameter_nm", words, 4, expected, sizeof expected);
    cr_assert_str_eq(expected, "did you mean 'diameter_um'?");
    nrw_yaml_expect_word("deadline_min", words, 4, expected, sizeof expected);
    cr_assert_str_eq(expected, "did you mean 'deadline_s'?");
    nrw_yaml_expect_word("deadline", words, 4, expected, sizeof expected);
    cr_assert_str_eq(expected, "did you mean 'deadline_s'?");
    nrw_yaml_expect_word("w", words, 4, expected, sizeof expected);
    cr_assert_str_eq(expected, "one of: diameter_um, diameter_cv, deadline_s, x");
    nrw_yaml_expect_word("w", words, 0, expected, sizeof expected);
    cr_assert_str_eq(expected, "there are none");
    nrw_yaml_expect_word("w", words, 4, expected, 12);
    cr_assert_str_eq(expected, "one of: dia");
}

Test(yaml_read, names_are_printable_and_of_some_length)
{
    cr_assert_null(nrw_yaml_name_fault("a", 4));
    cr_assert_null(nrw_yaml_name_fault("Köl", 5));
    cr_assert_not_null(nrw_yaml_name_fault("abcd", 4));
    cr_assert_not_null(nrw_yaml_name_fault("", 4));
    cr_assert_not_null(nrw_yaml_name_fault("  ", 4));
    cr_assert_not_null(nrw_yaml_name_fault("a\nb", 9));
    cr_assert_not_null(nrw_yaml_name_fault("a\x7F", 9));
    cr_assert_not_null(nrw_yaml_name_fault("a\xC2\x85", 9));     /* next line, U+0085 */
    cr_assert_not_null(nrw_yaml_name_fault("a\xE2\x80\xA8", 9)); /* line separator */
    cr_assert_not_null(nrw_yaml_name_fault("\xEF\xBB\xBF"
                                           "a",
                                           9));
}
