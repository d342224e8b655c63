/* The command line: options, the table of commands, help and dispatch.
 *
 * A command is one file cmd_NAME.c that defines nrw_command_NAME, and one word
 * in NRW_COMMANDS below. */
#ifndef NRW_COMMAND_H
#define NRW_COMMAND_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include "narrows_plan.h"
#include "narrows_sim.h"

/* The commands, in the order of --help. */
#define NRW_COMMANDS(X)                                                                            \
    X(check)                                                                                       \
    X(run)                                                                                         \
    X(sweep)                                                                                       \
    X(plan)                                                                                        \
    X(estimate)                                                                                    \
    X(compare)                                                                                     \
    X(export)                                                                                      \
    X(report)

/* The options: bit, name, argument ("" for a switch), help. */
#define NRW_OPTIONS(X)                                                                             \
    X(SCHEDULE, "schedule", "FILE", "the schedule to use")                                         \
    X(STRATEGY, "strategy", "NAME", "a strategy to compare, by its name; may be repeated")         \
    X(OUT, "out", "DIR", "write a results folder; it appears whole or not at all")                 \
    X(SEED, "seed", "N", "seed of everything random (default 1)")                                  \
    X(THREADS, "threads", "N", "threads to use (default: all); the result does not depend on it")  \
    X(MODEL, "model", "NAME", "auto, averaged or resolved (default auto)")                         \
    X(TRIALS, "trials", "N", "number of repeated trials")                                          \
    X(TRIAL, "trial", "K", "redo this one trial of an estimate (0 is the first)")                  \
    X(GOAL, "goal", "F", "delivered fraction whose probability is asked for, 0 to 1")              \
    X(HALF_WIDTH, "half-width", "W", "stop when the mean is known to within W either way")         \
    X(JSON, "json", "", "print the result as JSON, and nothing else, on stdout")                   \
    X(QUIET, "quiet", "", "no progress and no readable result, only errors")                       \
    X(FORCE, "force", "", "replace DIR though it is not empty")                                    \
    X(ALLOW, "allow", "NAME", "go on though this limit of the rig is exceeded; may be repeated")   \
    X(LIMITS, "limits", "FILE", "levels for people from this file (default: built in)")            \
    X(RATE, "rate", "HZ", "samples a second (default: the rig's sample_rate_Hz)")                  \
    X(WIZARD, "wizard", "", "list what to verify before the first experiment")                     \
    X(BOTH_WAYS, "both-ways", "", "sweep the last key up and down again: shows hysteresis")        \
    X(FORMAT, "format", "NAME", "html or md (Markdown, for notebooks); default html")              \
    X(FIGURES, "figures", "DIR", "write every picture as a file of its own into this folder")      \
    X(RESUME, "resume", "", "go on with an interrupted DIR")                                       \
    X(HELP, "help", "", "this text, examples first")                                               \
    X(VERSION, "version", "", "print the version")

enum {
#define NRW_OPTION_INDEX(bit, name, argument, help) NRW_OPTION_INDEX_##bit,
    NRW_OPTIONS(NRW_OPTION_INDEX)
#undef NRW_OPTION_INDEX
        NRW_N_OPTIONS
};

enum {
#define NRW_OPTION_BIT(bit, name, argument, help) NRW_OPTION_##bit = 1 << NRW_OPTION_INDEX_##bit,
    NRW_OPTIONS(NRW_OPTION_BIT)
#undef NRW_OPTION_BIT
        NRW_OPTION_EVERYWHERE = NRW_OPTION_THREADS | NRW_OPTION_JSON | NRW_OPTION_QUIET |
                                NRW_OPTION_HELP | NRW_OPTION_VERSION
};

/* What the user asked for. Strings are borrowed from argv; the lists are
 * owned (nrw_command_options_clear). */
typedef struct nrw_command_options {
    unsigned given; /* NRW_OPTION_... bits that were on the command line */
    const char *out;
    uint64_t seed;
    int threads; /* 0: not given */
    nrw_model model;
    int trials;   /* 0: not given */
    size_t trial; /* if given */
    double goal;  /* if given, as the next */
    double half_width;
    bool json, quiet, force, resume;
    unsigned allowed;       /* NRW_EXPORT_ALLOW_... bits */
    const char *limits;     /* NULL: not given */
    double rate_Hz;         /* 0: not given */
    bool markdown;          /* --format md */
    const char *figures;    /* NULL: not given */
    const char **schedules; /* (n_schedules) in the order given */
    size_t n_schedules;
    const char **strategies; /* (n_strategies) likewise */
    size_t n_strategies;
    const char **files; /* (n_files) the arguments that are no options */
    size_t n_files;
} nrw_command_options;

/* One command. `run` appends what went wrong to `errors` and returns the status
 * that decides the exit; it prints its own result. */
typedef struct nrw_command {
    const char *name;
    const char *summary;   /* one line, for the list of commands */
    const char *arguments; /* e.g. "SCENARIO --schedule FILE" */
    const char *examples;  /* lines, each "  narrows ...\n" */
    const char *details;   /* paragraphs below the options; may be "" */
    unsigned options;      /* NRW_OPTION_... bits beyond NRW_OPTION_EVERYWHERE */
    size_t files_min, files_max;
    size_t schedules_min, schedules_max;
    nrw_status (*run)(const nrw_command_options *options, nrw_errors *errors);
} nrw_command;

#define NRW_COMMAND_DECLARE(name) extern const nrw_command nrw_command_##name;
NRW_COMMANDS(NRW_COMMAND_DECLARE)
#undef NRW_COMMAND_DECLARE

/* The program: parses, dispatches, prints the errors; returns the exit status. */
int nrw_command_main(int argc, char **argv);

/* Takes a command line apart. Options may stand before, between and after the
 * files, as `--name value` or `--name=value`; `--` ends them. On success
 * *command is the command asked for, or NULL when only --help or --version is
 * wanted. Every mistake is added to `errors` as NRW_BAD_USAGE. The options are
 * to be cleared in every case. */
nrw_status nrw_command_parse(int argc, char **argv, const nrw_command **command,
                             nrw_command_options *options, nrw_errors *errors);
void nrw_command_options_clear(nrw_command_options *options);

/* Help of a command, or of the program (NULL). */
void nrw_command_help(const nrw_command *command, FILE *stream);

/* Prints the errors from `first` on, one a line, to stderr. */
void nrw_command_print_errors(const nrw_errors *errors, size_t first);

/* Threads that parallel work will use now. */
int nrw_command_threads(void);

#endif
