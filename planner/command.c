#include "command.h"

#include <errno.h>
#include <omp.h>
#include <stdlib.h>
#include <string.h>

#include "interrupt.h"

typedef struct option_entry {
    const char *name, *argument, *help;
} option_entry;

static const option_entry option_entries[] = {
#define ENTRY(bit, name, argument, help) {name, argument, help},
    NRW_OPTIONS(ENTRY)
#undef ENTRY
};

static const char *const option_names[] = {
#define NAME(bit, name, argument, help) name,
    NRW_OPTIONS(NAME)
#undef NAME
};

static const nrw_command *const commands[] = {
#define COMMAND(name) &nrw_command_##name,
    NRW_COMMANDS(COMMAND)
#undef COMMAND
};

enum {
#define INDEX(name) INDEX_##name,
    NRW_COMMANDS(INDEX)
#undef INDEX
        N_COMMANDS
};

enum { THREADS_MAX = 1024, TRIALS_MAX = 1000000 };

/* --- parsing ------------------------------------------------------------------ */

/* A whole number without sign, in [least, most]. */
static nrw_status parse_number(const char *option, const char *text, uint64_t least, uint64_t most,
                               uint64_t *value, nrw_errors *errors)
{
    char expected[96];
    (void)snprintf(expected, sizeof expected, "a whole number from %llu to %llu",
                   (unsigned long long)least, (unsigned long long)most);
    char *end = NULL;
    errno = 0;
    unsigned long long number = 0;
    if (text[0] >= '0' && text[0] <= '9')
        number = strtoull(text, &end, 10);
    if (!end || *end || errno || number < least || number > most)
        return nrw_errors_add(errors, NRW_BAD_USAGE, expected, "--%s: '%s'", option, text);
    *value = number;
    return NRW_OK;
}

static nrw_status parse_model(const char *text, nrw_model *model, nrw_errors *errors)
{
    static const nrw_model models[] = {NRW_MODEL_AUTO, NRW_MODEL_AVERAGED, NRW_MODEL_RESOLVED};
    for (size_t i = 0; i < sizeof models / sizeof *models; i++) {
        if (strcmp(text, nrw_model_name(models[i])) == 0) {
            *model = models[i];
            return NRW_OK;
        }
    }
    return nrw_errors_add(errors, NRW_BAD_USAGE, "auto, averaged or resolved", "--model: '%s'",
                          text);
}

static nrw_status parse_allowance(const char *text, unsigned *allowed, nrw_errors *errors)
{
    char expected[160] = "";
    const unsigned bit = nrw_export_allowance(text);
    *allowed |= bit;
    for (int i = 0; i < NRW_N_ALLOWANCES; i++)
        (void)snprintf(expected + strlen(expected), sizeof expected - strlen(expected), "%s%s",
                       i ? ", " : "one of: ", nrw_export_allowance_name(i));
    return bit ? NRW_OK : nrw_errors_add(errors, NRW_BAD_USAGE, expected, "--allow: '%s'", text);
}

/* A number above 0 and at most `most`. */
static nrw_status parse_real(const char *option, const char *text, double most,
                             const char *expected, double *value, nrw_errors *errors)
{
    char *end = NULL;
    *value = strtod(text, &end);
    if (end != text && *end == '\0' && *value > 0.0 && *value <= most)
        return NRW_OK;
    return nrw_errors_add(errors, NRW_BAD_USAGE, expected, "--%s: '%s'", option, text);
}

static nrw_status parse_format(const char *text, bool *markdown, nrw_errors *errors)
{
    *markdown = strcmp(text, "md") == 0;
    if (*markdown || strcmp(text, "html") == 0)
        return NRW_OK;
    return nrw_errors_add(errors, NRW_BAD_USAGE, "html or md", "--format: '%s'", text);
}

/* Stores the value of option number `index`. */
static nrw_status take_option(int index, const char *value, nrw_command_options *options,
                              nrw_errors *errors)
{
    uint64_t number = 0;
    nrw_status status = NRW_OK;
    const char *name = option_names[index];
    options->given |= 1U << index;
    switch (index) {
    case NRW_OPTION_INDEX_SCHEDULE:
        options->schedules[options->n_schedules++] = value;
        break;
    case NRW_OPTION_INDEX_STRATEGY:
        options->strategies[options->n_strategies++] = value;
        break;
    case NRW_OPTION_INDEX_OUT:
        options->out = value;
        if (!value[0])
            status = nrw_errors_add(errors, NRW_BAD_USAGE, "the name of a folder", "--out: ''");
        break;
    case NRW_OPTION_INDEX_SEED:
        status = parse_number(name, value, 0, UINT64_MAX, &options->seed, errors);
        break;
    case NRW_OPTION_INDEX_THREADS:
        status = parse_number(name, value, 1, THREADS_MAX, &number, errors);
        options->threads = (int)number;
        break;
    case NRW_OPTION_INDEX_MODEL:
        status = parse_model(value, &options->model, errors);
        break;
    case NRW_OPTION_INDEX_TRIALS:
        status = parse_number(name, value, 1, TRIALS_MAX, &number, errors);
        options->trials = (int)number;
        break;
    case NRW_OPTION_INDEX_TRIAL:
        status = parse_number(name, value, 0, TRIALS_MAX - 1, &number, errors);
        options->trial = (size_t)number;
        break;
    case NRW_OPTION_INDEX_GOAL:
        status = parse_real(name, value, 1.0, "a fraction, above 0 and at most 1", &options->goal,
                            errors);
        break;
    case NRW_OPTION_INDEX_HALF_WIDTH:
        status = parse_real(name, value, 1.0, "a fraction, above 0 and at most 1",
                            &options->half_width, errors);
        break;
    case NRW_OPTION_INDEX_ALLOW:
        status = parse_allowance(value, &options->allowed, errors);
        break;
    case NRW_OPTION_INDEX_LIMITS:
        options->limits = value;
        break;
    case NRW_OPTION_INDEX_RATE:
        status = parse_real(name, value, 1e9, "samples a second, above 0 and at most 1e9",
                            &options->rate_Hz, errors);
        break;
    case NRW_OPTION_INDEX_FORMAT:
        status = parse_format(value, &options->markdown, errors);
        break;
    case NRW_OPTION_INDEX_FIGURES:
        options->figures = value;
        if (!value[0])
            status = nrw_errors_add(errors, NRW_BAD_USAGE, "the name of a folder", "--figures: ''");
        break;
    case NRW_OPTION_INDEX_JSON:
        options->json = true;
        break;
    case NRW_OPTION_INDEX_QUIET:
        options->quiet = true;
        break;
    case NRW_OPTION_INDEX_FORCE:
        options->force = true;
        break;
    case NRW_OPTION_INDEX_RESUME:
        options->resume = true;
        break;
    default: /* --help and --version: being given is all */
        break;
    }
    return status;
}

/* Adds "unknown WHAT 'word'" with the nearest of the names, if any is near. */
static nrw_status add_unknown(nrw_errors *errors, const char *what, const char *dashes,
                              const char *word, const char *const *names, size_t n_names)
{
    char expected[96] = "'narrows --help' lists them";
    const char *near = nrw_suggest(word, names, n_names);
    if (near)
        (void)snprintf(expected, sizeof expected, "did you mean '%s%s'?", dashes, near);
    return nrw_errors_add(errors, NRW_BAD_USAGE, expected, "unknown %s '%s%s'", what, dashes, word);
}

/* Parses argv[*at], an option, and moves *at to its last word. */
static nrw_status parse_option(int argc, char **argv, int *at, nrw_command_options *options,
                               nrw_errors *errors)
{
    const char *text = argv[*at] + 2;
    if (strcmp(argv[*at], "-h") == 0)
        text = "help";
    const char *equals = strchr(text, '=');
    size_t length = equals ? (size_t)(equals - text) : strlen(text);
    for (int i = 0; i < NRW_N_OPTIONS; i++) {
        const option_entry *entry = &option_entries[i];
        if (strlen(entry->name) != length || strncmp(entry->name, text, length) != 0)
            continue;
        if (!entry->argument[0]) {
            if (equals)
                return nrw_errors_add(errors, NRW_BAD_USAGE, "no value", "--%s: '%s'", entry->name,
                                      equals + 1);
            return take_option(i, "", options, errors);
        }
        if (equals)
            return take_option(i, equals + 1, options, errors);
        if (*at + 1 >= argc)
            return nrw_errors_add(errors, NRW_BAD_USAGE, entry->argument, "--%s: no value follows",
                                  entry->name);
        return take_option(i, argv[++*at], options, errors);
    }
    char word[64];
    if (argv[*at][1] != '-')
        return nrw_errors_add(errors, NRW_BAD_USAGE, "'narrows --help' lists them",
                              "unknown option '%s'", argv[*at]);
    (void)snprintf(word, sizeof word, "%.*s", (int)(length < 63 ? length : 63), text);
    return add_unknown(errors, "option", "--", word, option_names, NRW_N_OPTIONS);
}

static const nrw_command *find_command(const char *name, nrw_errors *errors)
{
    const char *names[N_COMMANDS];
    for (size_t i = 0; i < N_COMMANDS; i++) {
        names[i] = commands[i]->name;
        if (strcmp(names[i], name) == 0)
            return commands[i];
    }
    (void)add_unknown(errors, "command", "", name, names, N_COMMANDS);
    return NULL;
}

/* Whether the numbers of files and schedules are those that the command takes. */
static void check_counts(const nrw_command *command, const nrw_command_options *options,
                         nrw_errors *errors)
{
    if (options->n_files < command->files_min || options->n_files > command->files_max)
        nrw_errors_add(errors, NRW_BAD_USAGE, command->arguments, "%s: %s", command->name,
                       options->n_files < command->files_min ? "an input file is missing"
                                                             : "too many input files");
    if (options->n_schedules < command->schedules_min)
        nrw_errors_add(errors, NRW_BAD_USAGE, command->arguments, "%s: --schedule is missing",
                       command->name);
    else if (options->n_schedules > command->schedules_max)
        nrw_errors_add(errors, NRW_BAD_USAGE, command->arguments, "%s: too many --schedule",
                       command->name);
}

nrw_status nrw_command_parse(int argc, char **argv, const nrw_command **command,
                             nrw_command_options *options, nrw_errors *errors)
{
    size_t first = errors->n_items;
    size_t room = argc > 0 ? (size_t)argc : 1;
    const char *name = NULL;
    bool only_files = false;

    *command = NULL;
    *options = (nrw_command_options){.seed = 1, .model = NRW_MODEL_AUTO};
    options->schedules = calloc(room, sizeof *options->schedules);
    options->strategies = calloc(room, sizeof *options->strategies);
    options->files = calloc(room, sizeof *options->files);
    if (!options->schedules || !options->strategies || !options->files)
        return nrw_errors_add(errors, NRW_NO_MEMORY, NULL, "out of memory");

    for (int i = 1; i < argc; i++) {
        if (!only_files && strcmp(argv[i], "--") == 0)
            only_files = true;
        else if (!only_files && argv[i][0] == '-' && argv[i][1])
            (void)parse_option(argc, argv, &i, options, errors);
        else if (!name)
            name = argv[i];
        else
            options->files[options->n_files++] = argv[i];
    }
    if (name)
        *command = find_command(name, errors);
    if (name && !*command)
        return NRW_BAD_USAGE;
    if (options->given & (NRW_OPTION_HELP | NRW_OPTION_VERSION))
        return errors->n_items > first ? NRW_BAD_USAGE : NRW_OK;
    if (!name)
        nrw_errors_add(errors, NRW_BAD_USAGE, "narrows COMMAND [OPTIONS] FILE...",
                       "no command is given");
    if (*command)
        check_counts(*command, options, errors);
    return !*command || errors->n_items > first ? NRW_BAD_USAGE : NRW_OK;
}

void nrw_command_options_clear(nrw_command_options *options)
{
    free(options->schedules);
    free(options->strategies);
    free(options->files);
    *options = (nrw_command_options){0};
}

/* --- help --------------------------------------------------------------------- */

static void print_options(unsigned which, FILE *stream)
{
    (void)fputs("\nOptions\n", stream);
    for (int i = 0; i < NRW_N_OPTIONS; i++) {
        char left[48];
        if (!(which & 1U << i))
            continue;
        (void)snprintf(left, sizeof left, "--%s %s", option_entries[i].name,
                       option_entries[i].argument);
        (void)fprintf(stream, "  %-16s %s\n", left, option_entries[i].help);
    }
}

static void print_program_help(FILE *stream)
{
    unsigned used = NRW_OPTION_EVERYWHERE;
    (void)fputs("Examples\n", stream);
    for (size_t i = 0; i < N_COMMANDS; i++) {
        const char *end = strchr(commands[i]->examples, '\n');
        (void)fprintf(stream, "%.*s\n", (int)(end - commands[i]->examples), commands[i]->examples);
        used |= commands[i]->options;
    }
    (void)fputs("\nUsage\n  narrows COMMAND [OPTIONS] FILE...\n\nCommands\n", stream);
    for (size_t i = 0; i < N_COMMANDS; i++)
        (void)fprintf(stream, "  %-10s %s\n", commands[i]->name, commands[i]->summary);
    print_options(used, stream);
    (void)fputs("\nExit status\n"
                "  0    done\n"
                "  1    the files are good, but the answer is no\n"
                "  2    wrong usage, or a bad input file\n"
                "  3    numerical or system failure\n"
                "  130  interrupted; what was done is saved\n"
                "\n'narrows COMMAND --help' tells more. A prediction by a model, for research:\n"
                "not a medical device.\n",
                stream);
}

void nrw_command_help(const nrw_command *command, FILE *stream)
{
    if (!command) {
        print_program_help(stream);
        return;
    }
    (void)fprintf(stream, "Examples\n%s\nUsage\n  narrows %s %s\n\n%s\n", command->examples,
                  command->name, command->arguments, command->summary);
    if (command->details[0])
        (void)fprintf(stream, "\n%s", command->details);
    print_options(NRW_OPTION_EVERYWHERE | command->options, stream);
}

/* --- dispatch ----------------------------------------------------------------- */

void nrw_command_print_errors(const nrw_errors *errors, size_t first)
{
    for (size_t i = first; i < errors->n_items; i++) {
        char text[2048];
        nrw_error_format(&errors->items[i], text, sizeof text);
        (void)fprintf(stderr, "%s\n", text);
    }
}

int nrw_command_threads(void)
{
    return omp_get_max_threads();
}

/* Says which options have no effect, so that nobody waits for one. */
static void note_unused(const nrw_command *command, const nrw_command_options *options)
{
    unsigned unused = options->given & ~(command->options | NRW_OPTION_EVERYWHERE);
    for (int i = 0; i < NRW_N_OPTIONS && !options->quiet; i++)
        if (unused & 1U << i)
            (void)fprintf(stderr, "note: --%s has no effect on '%s'\n", option_names[i],
                          command->name);
}

static nrw_status dispatch(const nrw_command *command, const nrw_command_options *options,
                           nrw_errors *errors)
{
    if (options->given & NRW_OPTION_HELP) {
        nrw_command_help(command, stdout);
        return NRW_OK;
    }
    if (!command || options->given & NRW_OPTION_VERSION) {
        (void)printf("narrows %s\n", NRW_VERSION);
        return NRW_OK;
    }
    if (options->threads > 0)
        omp_set_num_threads(options->threads);
    note_unused(command, options);
    nrw_interrupt_install();
    return command->run(options, errors);
}

int nrw_command_main(int argc, char **argv)
{
    nrw_errors errors;
    nrw_command_options options;
    const nrw_command *command = NULL;

    nrw_errors_init(&errors);
    nrw_status status = nrw_command_parse(argc, argv, &command, &options, &errors);
    if (status == NRW_OK)
        status = dispatch(command, &options, &errors);
    if (fflush(stdout) != 0 && nrw_status_exit_code(status) < 3)
        status = nrw_errors_add(&errors, NRW_IO_FAILED, NULL, "stdout: %s", strerror(errno));
    nrw_command_print_errors(&errors, 0);
    nrw_command_options_clear(&options);
    nrw_errors_clear(&errors);
    return nrw_status_exit_code(status);
}
