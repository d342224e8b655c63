#include "report_case.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "tag_balance.h"
#include "temporary_folder.h"

void report_case_init(report_case *it, const char *scenario, const char *command,
                      const char *figures)
{
    char *json = malloc(strlen(figures) + 512);
    memset(it, 0, sizeof *it);
    nrw_errors_init(&it->errors);
    cr_assert_eq(
        nrw_scenario_parse(scenario, strlen(scenario), "scenario.yaml", &it->scenario, &it->errors),
        NRW_OK, "%s", it->errors.n_items ? it->errors.items[0].what : "");
    (void)nrw_channel_create(it->scenario, &it->channel, &it->errors);
    (void)sprintf(json,
                  "{\"format\": \"narrows-result/1\", \"command\": \"%s\", \"provenance\": "
                  "{\"version\": \"0.1.0\", \"seed\": 7, \"threads\": 2, \"model\": \"auto\"}, "
                  "\"figures\": %s, \"warnings\": []}",
                  command, figures);
    cr_assert_eq(nrw_result_parse(json, strlen(json), "result.json", &it->result, &it->errors),
                 NRW_OK, "%s", it->errors.n_items ? it->errors.items[0].what : "");
    free(json);
    temporary_folder_make(it->dir);
    it->input = (nrw_report_input){.scenario = it->scenario,
                                   .channel = it->channel,
                                   .schedule = &it->schedule,
                                   .result = it->result,
                                   .dir = it->dir};
}

void report_case_file(const report_case *it, const char *name, const char *text)
{
    char path[512];
    file_write(path_join(path, it->dir, name), text);
}

void report_case_clear(report_case *it)
{
    temporary_folder_remove(it->dir);
    nrw_result_destroy(it->result);
    nrw_channel_destroy(it->channel);
    nrw_scenario_destroy(it->scenario);
    nrw_errors_clear(&it->errors);
}

char *report_case_make(report_case *it)
{
    char *html, problem[256];
    size_t size;
    cr_assert_eq(nrw_report_make(&it->input, &html, &size, &it->errors), NRW_OK);
    cr_assert_eq(strlen(html), size);
    cr_assert_str_empty(tag_balance(html, problem), "%s", problem);
    return html;
}

static size_t count(const char *html, const char *text)
{
    size_t n = 0;
    for (const char *at = html; (at = strstr(at, text)) != NULL; at += strlen(text))
        n++;
    return n;
}

void expect_text(const char *html, const char *text)
{
    cr_assert(strstr(html, text), "the report lacks: %s", text);
}

void expect_none(const char *html, const char *text)
{
    const char *found = strstr(html, text);
    cr_assert(found == NULL, "the report has: %.100s", found);
}

void expect_times(const char *html, const char *text, size_t n)
{
    cr_assert_eq(count(html, text), n, "%zu times: %s", count(html, text), text);
}

void expect_order(const char *html, const char *first, const char *second)
{
    const char *one = strstr(html, first), *other = strstr(html, second);
    cr_assert(one && other && one < other, "not before: %s", second);
}

char *section_of(const char *html, const char *id)
{
    char open[64];
    (void)snprintf(open, sizeof open, "<section id='%s'", id);
    const char *from = strstr(html, open), *to = from ? strstr(from, "</section>") : NULL;
    cr_assert(to != NULL, "there is no section %s", id);
    char *text = strndup(from, (size_t)(to - from));
    cr_assert(text != NULL);
    return text;
}
