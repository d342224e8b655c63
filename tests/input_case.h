/* Support for tests of the readers of files: a text with a mark where the error
 * is, and what the error should say. */
#ifndef INPUT_CASE_H
#define INPUT_CASE_H

#include "error.h"
#include "scenario.h"

/* A small good scenario, with the least that is required. */
extern const char INPUT_GATE[];
/* The example of contract section 2, without `flow`, and the one of section 3. */
extern const char INPUT_EXAMPLE_SCENARIO[];
extern const char INPUT_EXAMPLE_SCHEDULE[];

/* One error: in the good text, `old` becomes `new`; '^' in it stands just before
 * the place of the error and is taken out. */
typedef struct input_case {
    const char *old_text, *new_text;
    const char *key;             /* the error's key path */
    const char *what, *expected; /* parts of its texts */
} input_case;

/* `text` with the first `old_text` replaced; the caller frees it. */
char *input_replace(const char *text, const char *old_text, const char *new_text);

/* Takes the '^' out of a text; tells where it stood (0, 0: nowhere). */
void input_take_mark(char *text, int *line, int *column);

/* Asserts that `errors` holds one error, the case's, at that place. */
void input_expect(const input_case *expected, const nrw_errors *errors, int line, int column);

/* Parses a good scenario; asserts that it is good. */
nrw_scenario *input_scenario(const char *text);

/* Asserts that a good text, once changed, yields the error of each case (n). */
void input_expect_scenario_cases(const char *good, const input_case *cases, size_t n);

#endif
