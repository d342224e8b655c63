/* Good files, changed at random but the same way every time: whatever comes out,
 * the readers must say yes, or no with a place. tests/fuzz/ does the same without
 * end and with coverage. */
#include <criterion/criterion.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "input_case.h"
#include "input_check.h"
#include "random.h"

#define SIZE_MAX_TEXT 16384

enum { N_ROUNDS = 6000 };

/* What a file might hold by accident or malice. */
static const char *const TOKENS[] = {
    "[",
    "]",
    "{",
    "}",
    ":",
    ",",
    "- ",
    "\n",
    "#",
    "&a ",
    "*a",
    "!!str ",
    "<<: ",
    "? ",
    "| ",
    "> ",
    "---\n",
    "...\n",
    "%YAML 1.2\n",
    "'",
    "\"",
    "\\",
    "\t",
    "\r\n",
    "~",
    "null",
    "true",
    "off",
    "y",
    "-1",
    "0",
    "1e400",
    ".nan",
    "-.inf",
    "0x1F",
    "1_000",
    "010",
    "1:30",
    "1e-400",
    "9999999999999999999",
    "mode: general",
    "centreline",
    "mouth",
    "end",
    "\xC3\xA4",
    "\xFF",
    "\xE2\x80\xA8",
    "\xEF\xBB\xBF",
    "\"\\0\"",
    "  ",
};

typedef struct mutation {
    char text[SIZE_MAX_TEXT];
    size_t size;
    uint32_t round, draw;
} mutation;

/* A number from 0 to n - 1. */
static size_t pick(mutation *m, size_t n)
{
    double u = nrw_uniform(2024, NRW_STREAM_SEARCH, m->draw++, m->round);
    size_t i = (size_t)(u * (double)n);
    return i < n ? i : n - 1;
}

static void replace(mutation *m, size_t at, size_t removed, const char *bytes, size_t n)
{
    if (m->size - removed + n > SIZE_MAX_TEXT)
        return;
    memmove(m->text + at + n, m->text + at + removed, m->size - at - removed);
    memcpy(m->text + at, bytes, n);
    m->size += n - removed;
}

/* A stretch of the text, mostly short. */
static void pick_span(mutation *m, size_t *at, size_t *n)
{
    *at = pick(m, m->size + 1);
    size_t longest = pick(m, 4) == 0 ? 400 : 12;
    *n = pick(m, longest);
    if (*n > m->size - *at)
        *n = m->size - *at;
}

static void mutate(mutation *m)
{
    char copy[512];
    size_t at, n, token = pick(m, sizeof TOKENS / sizeof *TOKENS);
    pick_span(m, &at, &n);
    switch (pick(m, 7)) {
    case 0: /* drop a stretch */
        replace(m, at, n, "", 0);
        break;
    case 1: /* double it somewhere else */
        memcpy(copy, m->text + at, n);
        replace(m, pick(m, m->size + 1), 0, copy, n);
        break;
    case 2: /* put a token in */
        replace(m, at, 0, TOKENS[token], strlen(TOKENS[token]));
        break;
    case 3: /* or in place of a stretch */
        replace(m, at, n, TOKENS[token], strlen(TOKENS[token]));
        break;
    case 4: /* flip a bit */
        if (at < m->size)
            m->text[at] = (char)(m->text[at] ^ (1 << pick(m, 8)));
        break;
    case 5: /* in place of a value, which ends at ',', ']', '}' or the line's end */
        while (at < m->size && !strchr(" [", m->text[at]))
            at++;
        at += at < m->size;
        for (n = 0; at + n < m->size && !strchr(",]}\n", m->text[at + n]);)
            n++;
        replace(m, at, n, TOKENS[token], strlen(TOKENS[token]));
        break;
    default: /* cut the end off, now and then */
        if (pick(m, 8) == 0)
            m->size = at;
        break;
    }
}

static void start(mutation *m, const char *text, uint32_t round)
{
    m->size = strlen(text);
    memcpy(m->text, text, m->size);
    m->round = round;
    m->draw = 0;
    for (size_t n = 1 + pick(m, 4); n > 0; n--)
        mutate(m);
}

/* The reader gets a block of just that size, so that the sanitizers see every
 * step beyond it. */
static char *exact_copy(const mutation *m)
{
    char *text = malloc(m->size > 0 ? m->size : 1);
    cr_assert_not_null(text);
    memcpy(text, m->text, m->size);
    return text;
}

Test(input_mutation, changed_scenarios_are_read_or_refused_with_a_place)
{
    static mutation m;
    size_t n_taken = 0;
    for (uint32_t round = 0; round < N_ROUNDS; round++) {
        start(&m, round % 2 ? INPUT_EXAMPLE_SCENARIO : INPUT_GATE, round);
        char *text = exact_copy(&m);
        const char *fault = input_check_scenario(text, m.size, &n_taken);
        cr_assert_null(fault, "round %u: %s:\n%.*s", round, fault, (int)m.size, m.text);
        free(text);
    }
    /* both answers occur, or nothing was tested */
    cr_assert(n_taken > N_ROUNDS / 50 && n_taken < N_ROUNDS - N_ROUNDS / 10, "%zu were taken",
              n_taken);
}

Test(input_mutation, changed_schedules_are_read_or_refused_with_a_place)
{
    static const char rich[] =
        "format: narrows-schedule/1\n"
        "legs:\n"
        "- name: a\n"
        "  drive: {mode: rotating, tilt_deg: 26, sense: right, field_mT: 11.6, frequency_Hz: 84,\n"
        "    heading: centreline, lookahead_um: 52, steer_by: rear, wobble: {deg: 33, period_s: "
        "8},\n"
        "    alternate: {share: 0.48, period_s: 0.7, drive: {tilt_deg: 58, heading: end}}}\n"
        "  until: {tail_past: {node: mouth, beyond_um: -3}, aspect_below: 2, dwell_s: 5}\n"
        "  timeout_s: 60\n"
        "  on_timeout: b\n"
        "- name: b\n"
        "  drive: {mode: general, cos_mT: [1, 0, 2], steady_mT: [0, 0, 1], frequency_Hz: 3}\n"
        "  on_stall: {after_s: 5, min_um: 3, leg: a}\n"
        "  max_visits: 7\n"
        "- {name: c, drive: {mode: precessing, axis: across, cone_deg: 35, field_mT: 3,\n"
        "    frequency_Hz: 3, heading: end, ease_um: 10}, until: {elapsed_s: 3}}\n";
    static mutation m;
    nrw_scenario *scenario = input_scenario(INPUT_EXAMPLE_SCENARIO);
    size_t n_taken = 0;
    for (uint32_t round = 0; round < N_ROUNDS; round++) {
        start(&m, round % 2 ? INPUT_EXAMPLE_SCHEDULE : rich, round);
        char *text = exact_copy(&m);
        const char *fault = input_check_schedule(scenario, text, m.size, &n_taken);
        cr_assert_null(fault, "round %u: %s:\n%.*s", round, fault, (int)m.size, m.text);
        free(text);
    }
    cr_assert(n_taken > N_ROUNDS / 50 && n_taken < N_ROUNDS - N_ROUNDS / 10, "%zu were taken",
              n_taken);
    nrw_scenario_destroy(scenario);
}
