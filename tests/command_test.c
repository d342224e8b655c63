#include "command.h"

#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdlib.h>
#include <string.h>

enum { WORDS_MAX = 24 };

typedef struct parsed {
    nrw_status status;
    const nrw_command *command;
    nrw_command_options options;
    nrw_errors errors;
} parsed;

/* Parses "narrows" and the words of `line`; `storage` must outlive the result. */
static parsed parse(const char *line, char *storage)
{
    char *argv[WORDS_MAX] = {(char *)"narrows"};
    int argc = 1;
    parsed result = {0};
    strcpy(storage, line);
    for (char *word = strtok(storage, " "); word; word = strtok(NULL, " "))
        argv[argc++] = word;
    nrw_errors_init(&result.errors);
    result.status = nrw_command_parse(argc, argv, &result.command, &result.options, &result.errors);
    return result;
}

static void clear(parsed *result)
{
    nrw_command_options_clear(&result->options);
    nrw_errors_clear(&result->errors);
}

/* The only error of a line that must be wrong usage. */
static void assert_refused(const char *line, const char *expected_text)
{
    char storage[256], text[1024];
    parsed result = parse(line, storage);
    cr_assert_eq(result.status, NRW_BAD_USAGE, "'%s' was accepted", line);
    cr_assert_eq(result.errors.n_items, 1, "'%s': %zu errors", line, result.errors.n_items);
    nrw_error_format(&result.errors.items[0], text, sizeof text);
    cr_assert_str_eq(text, expected_text);
    clear(&result);
}

Test(command, defaults_are_the_contracts)
{
    char storage[256];
    parsed result = parse("check map.yaml", storage);
    cr_assert_eq(result.status, NRW_OK);
    cr_assert_str_eq(result.command->name, "check");
    cr_assert_eq(result.options.n_files, 1);
    cr_assert_str_eq(result.options.files[0], "map.yaml");
    cr_assert_eq(result.options.seed, 1);
    cr_assert_eq(result.options.model, NRW_MODEL_AUTO);
    cr_assert_eq(result.options.threads, 0);
    cr_assert_not(result.options.json || result.options.quiet || result.options.force);
    cr_assert_null(result.options.out);
    clear(&result);
}

Test(command, options_stand_anywhere_in_both_spellings)
{
    char storage[256];
    parsed result = parse("--seed=7 run --schedule a.yaml map.yaml --out dir --model=resolved "
                          "--threads 2 --json --quiet --force --resume",
                          storage);
    cr_assert_eq(result.status, NRW_OK);
    cr_assert_str_eq(result.command->name, "run");
    cr_assert_eq(result.options.seed, 7);
    cr_assert_eq(result.options.n_schedules, 1);
    cr_assert_str_eq(result.options.schedules[0], "a.yaml");
    cr_assert_str_eq(result.options.files[0], "map.yaml");
    cr_assert_str_eq(result.options.out, "dir");
    cr_assert_eq(result.options.model, NRW_MODEL_RESOLVED);
    cr_assert_eq(result.options.threads, 2);
    cr_assert(result.options.json && result.options.quiet && result.options.force &&
              result.options.resume);
    clear(&result);
}

Test(command, the_largest_seed_is_exact)
{
    char storage[256];
    parsed result = parse("check a --seed 18446744073709551615", storage);
    cr_assert_eq(result.status, NRW_OK);
    cr_assert_eq(result.options.seed, UINT64_MAX);
    clear(&result);
}

Test(command, two_dashes_end_the_options)
{
    char storage[256];
    parsed result = parse("check -- --seed", storage);
    cr_assert_eq(result.status, NRW_OK);
    cr_assert_str_eq(result.options.files[0], "--seed");
    clear(&result);
}

Test(command, a_misspelt_command_or_option_gets_a_suggestion)
{
    assert_refused("chekc a.yaml", "unknown command 'chekc'; did you mean 'check'?");
    assert_refused("check a.yaml --jsno", "unknown option '--jsno'; did you mean '--json'?");
    assert_refused("check a.yaml --sede=3", "unknown option '--sede'; did you mean '--seed'?");
    assert_refused("sumarise a.yaml", "unknown command 'sumarise'; 'narrows --help' lists them");
    assert_refused("check a.yaml -x", "unknown option '-x'; 'narrows --help' lists them");
}

Test(command, bad_values_say_what_is_allowed)
{
    assert_refused("check a --seed -1",
                   "--seed: '-1'; a whole number from 0 to 18446744073709551615");
    assert_refused("check a --seed 18446744073709551616",
                   "--seed: '18446744073709551616'; a whole number from 0 to "
                   "18446744073709551615");
    assert_refused("check a --threads 0", "--threads: '0'; a whole number from 1 to 1024");
    assert_refused("check a --trials 3x", "--trials: '3x'; a whole number from 1 to 1000000");
    assert_refused("check a --seed=", "--seed: ''; a whole number from 0 to 18446744073709551615");
    assert_refused("check a --model fast", "--model: 'fast'; auto, averaged or resolved");
    assert_refused("check a --json=yes", "--json: 'yes'; no value");
    assert_refused("check a --out", "--out: no value follows; DIR");
    assert_refused("check a --out=", "--out: ''; the name of a folder");
}

Test(command, missing_and_surplus_files_are_refused)
{
    assert_refused("", "no command is given; narrows COMMAND [OPTIONS] FILE...");
    char storage[256];
    static const char *const lines[] = {"check", "check a b", "run a",
                                        "run a --schedule b --schedule c"};
    for (size_t i = 0; i < sizeof lines / sizeof *lines; i++) {
        parsed result = parse(lines[i], storage);
        cr_assert_eq(result.status, NRW_BAD_USAGE, "'%s'", lines[i]);
        clear(&result);
    }
}

Test(command, every_mistake_is_told_at_once)
{
    char storage[256];
    parsed result = parse("check a --seed x --threads 0 --wrong", storage);
    cr_assert_eq(result.errors.n_items, 3);
    clear(&result);
}

Test(command, help_needs_no_files)
{
    char storage[256];
    parsed result = parse("run --help", storage);
    cr_assert_eq(result.status, NRW_OK);
    cr_assert_str_eq(result.command->name, "run");
    clear(&result);
    result = parse("--version", storage);
    cr_assert_eq(result.status, NRW_OK);
    cr_assert_null(result.command);
    clear(&result);
}

static char *help_of(const nrw_command *command)
{
    char *text = NULL;
    size_t size = 0;
    FILE *stream = open_memstream(&text, &size);
    nrw_command_help(command, stream);
    cr_assert_eq(fclose(stream), 0);
    return text;
}

Test(command, help_starts_with_examples_and_lists_every_command)
{
    char *text = help_of(NULL);
    cr_assert_eq(strncmp(text, "Examples\n  narrows ", 19), 0);
#define LISTED(name) cr_assert_not_null(strstr(text, "\n  " #name " "), #name " is not listed");
    NRW_COMMANDS(LISTED)
#undef LISTED
    free(text);
#define HELPED(name)                                                                               \
    text = help_of(&nrw_command_##name);                                                           \
    cr_assert_eq(strncmp(text, "Examples\n  narrows " #name " ", 20 + strlen(#name)), 0);          \
    cr_assert_not_null(strstr(text, "--json"));                                                    \
    free(text);
    NRW_COMMANDS(HELPED)
#undef HELPED
}
