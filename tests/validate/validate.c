#include "validate.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static _Noreturn void fail(const char *what, const nrw_errors *errors)
{
    (void)fprintf(stderr, "validate: %s\n", what);
    for (size_t i = 0; errors && i < errors->n_items; i++)
        (void)fprintf(stderr, "  %s: %s\n", errors->items[i].key, errors->items[i].what);
    exit(1);
}

validate_case validate_make(const char *scenario, const char *schedule)
{
    validate_case it;
    nrw_errors errors;
    memset(&it, 0, sizeof it);
    nrw_errors_init(&errors);
    if (nrw_scenario_parse(scenario, strlen(scenario), "scenario.yaml", &it.scenario, &errors) !=
        NRW_OK)
        fail(scenario, &errors);
    if (nrw_channel_create(it.scenario, &it.channel, &errors) != NRW_OK)
        fail(scenario, &errors);
    if (nrw_schedule_parse(schedule, strlen(schedule), "schedule.yaml", it.scenario, &it.schedule,
                           &errors) != NRW_OK)
        fail(schedule, &errors);
    nrw_errors_clear(&errors);
    return it;
}

void validate_clear(validate_case *it)
{
    nrw_schedule_clear(&it->schedule);
    nrw_channel_destroy(it->channel);
    nrw_scenario_destroy(it->scenario);
    memset(it, 0, sizeof *it);
}

nrw_run_result validate_run(const validate_case *it, nrw_model model, uint64_t seed, bool record)
{
    nrw_run_config config = nrw_run_config_defaults();
    nrw_run_result result;
    nrw_errors errors;
    nrw_errors_init(&errors);
    config.model = model;
    config.seed = seed;
    config.record = record;
    config.trajectory_every_s = 0.0;
    if (nrw_run(it->scenario, it->channel, &it->schedule, &config, &result, &errors) != NRW_OK)
        fail("a run failed", &errors);
    nrw_errors_clear(&errors);
    return result;
}

/* Student's quantile at 0.975 for 1 to 11 degrees of freedom; beyond, the normal one. */
static double quantile(size_t freedom)
{
    static const double t[] = {12.706, 4.303, 3.182, 2.776, 2.571, 2.447,
                               2.365,  2.306, 2.262, 2.228, 2.201};
    return freedom == 0 ? 0.0 : freedom <= sizeof t / sizeof *t ? t[freedom - 1] : 1.96;
}

validate_mean validate_mean_of(size_t n, const double *values)
{
    double sum = 0.0, squares = 0.0;
    for (size_t i = 0; i < n; i++)
        sum += values[i];
    const double mean = sum / (double)n;
    for (size_t i = 0; i < n; i++)
        squares += (values[i] - mean) * (values[i] - mean);
    const double error = n > 1 ? sqrt(squares / (double)(n - 1) / (double)n) : 0.0;
    return (validate_mean){mean, quantile(n - 1) * error};
}

void validate_means(size_t n_points, size_t n, size_t stride, const double *values, double *mean,
                    double *half)
{
    for (size_t k = 0; k < n_points; k++) {
        const validate_mean of = validate_mean_of(n, values + k * stride);
        mean[k] = of.mean;
        half[k] = of.half;
    }
}

validate_mean validate_log_slope(size_t n, const double *x, const double *y)
{
    double mx = 0.0, my = 0.0, xx = 0.0, xy = 0.0, rest = 0.0;
    for (size_t i = 0; i < n; i++) {
        mx += log(x[i]) / (double)n;
        my += log(y[i]) / (double)n;
    }
    for (size_t i = 0; i < n; i++) {
        xx += (log(x[i]) - mx) * (log(x[i]) - mx);
        xy += (log(x[i]) - mx) * (log(y[i]) - my);
    }
    const double slope = xy / xx;
    for (size_t i = 0; i < n; i++) {
        const double off = log(y[i]) - my - slope * (log(x[i]) - mx);
        rest += off * off;
    }
    const double error = n > 2 ? sqrt(rest / (double)(n - 2) / xx) : 0.0;
    return (validate_mean){slope, n > 2 ? quantile(n - 2) * error : 0.0};
}

static void visit(size_t n, const float *at, double reach, size_t from, bool *seen)
{
    seen[from] = true;
    for (size_t j = 0; j < n; j++) {
        const double dx = (double)at[3 * j] - (double)at[3 * from];
        const double dy = (double)at[3 * j + 1] - (double)at[3 * from + 1];
        const double dz = (double)at[3 * j + 2] - (double)at[3 * from + 2];
        if (!seen[j] && dx * dx + dy * dy + dz * dz < reach * reach)
            visit(n, at, reach, j, seen);
    }
}

size_t validate_clusters(size_t n, const float *at, double reach)
{
    bool *seen = calloc(n, sizeof *seen);
    size_t count = 0;
    if (!seen)
        fail("out of memory", NULL);
    for (size_t i = 0; i < n; i++) {
        if (seen[i])
            continue;
        count++;
        visit(n, at, reach, i, seen);
    }
    free(seen);
    return count;
}

/* --- pages ------------------------------------------------------------------------------ */

static char *read_all(const char *path)
{
    FILE *file = fopen(path, "rb");
    if (!file)
        fail(path, NULL);
    char *text = NULL;
    size_t size = 0, got;
    do {
        text = realloc(text, size + 65537);
        if (!text)
            fail("out of memory", NULL);
        got = fread(text + size, 1, 65536, file);
        size += got;
    } while (got > 0);
    text[size] = '\0';
    (void)fclose(file);
    return text;
}

void validate_insert(const char *page, const char *name, const char *text)
{
    char begins[128], ends[128];
    (void)snprintf(begins, sizeof begins, "<!-- %s begins -->\n", name);
    (void)snprintf(ends, sizeof ends, "<!-- %s ends -->", name);
    char *old = read_all(page);
    char *from = strstr(old, begins), *to = from ? strstr(from, ends) : NULL;
    if (!to)
        fail("the page has no place for the table", NULL);
    from += strlen(begins);
    FILE *file = fopen(page, "wb");
    if (!file)
        fail(page, NULL);
    (void)fprintf(file, "%.*s%s%s", (int)(from - old), old, text, to);
    if (fclose(file) != 0)
        fail(page, NULL);
    free(old);
}
