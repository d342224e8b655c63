/* What each unsure ingredient does to the demo: demo_validate SCENARIO PAGE [TRIALS].
 *
 * The demo is planned once, as it is; the schedule found then runs on the same trials with
 * one ingredient changed at a time. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "validate.h"

/* One change of the scenario. */
typedef struct ingredient {
    const char *what, *changed, *why;
    void (*change)(nrw_scenario *scenario, double value);
    double value;
    nrw_model model;
} ingredient;

static void brake(nrw_scenario *scenario, double value)
{
    scenario->model.contact_brake_factor = value;
}

static void sliding(nrw_scenario *scenario, double value)
{
    scenario->model.contact_sliding = value > 0.0;
}

static void rolling(nrw_scenario *scenario, double value)
{
    scenario->model.rolling_factor = value;
}

static void pair_flow(nrw_scenario *scenario, double value)
{
    scenario->model.pair_flow = value > 0.0;
    scenario->model.pair_flow_factor = value;
}

static void screening(nrw_scenario *scenario, double value)
{
    scenario->model.wall_screening = value > 0.0;
}

static void stiffness(nrw_scenario *scenario, double value)
{
    scenario->model.contact_stiffness_pN_um = value;
}

static void induction(nrw_scenario *scenario, double value)
{
    scenario->model.mutual_induction = value > 0.0;
}

static void depth(nrw_scenario *scenario, double value)
{
    scenario->map.depth_um = value;
}

static void as_it_is(nrw_scenario *scenario, double value)
{
    (void)scenario;
    (void)value;
}

static const ingredient ingredients[] = {
    {"as it is", "", "", as_it_is, 0, NRW_MODEL_AUTO},
    {"contact braking", "none", "the largest single effect on speeds", brake, 0.0, NRW_MODEL_AUTO},
    {"contact braking", "half", "", brake, 0.5, NRW_MODEL_AUTO},
    {"contact braking", "one and a half times", "", brake, 1.5, NRW_MODEL_AUTO},
    {"drag against sliding", "none", "as contact braking, of pairs that turn", sliding, 0.0,
     NRW_MODEL_AUTO},
    {"rolling", "half", "measured rollers reach about half of theory", rolling, 0.5,
     NRW_MODEL_AUTO},
    {"rolling", "none", "what is left is pair flow's", rolling, 0.0, NRW_MODEL_AUTO},
    {"pair flow", "half", "point torques overstate it near contact", pair_flow, 0.5,
     NRW_MODEL_AUTO},
    {"pair flow", "one and a half times", "", pair_flow, 1.5, NRW_MODEL_AUTO},
    {"pair flow", "none", "", pair_flow, 0.0, NRW_MODEL_AUTO},
    {"screening by side walls", "none", "speeds in the throat", screening, 0.0, NRW_MODEL_AUTO},
    {"height", "ceiling at 12 µm", "the sheet stands up to 40 µm; here it can't", depth, 12.0,
     NRW_MODEL_AUTO},
    {"height", "ceiling at 6.5 µm", "two layers at most", depth, 6.5, NRW_MODEL_AUTO},
    {"contact stiffness", "60 pN/µm", "softer, larger overlaps", stiffness, 60.0, NRW_MODEL_AUTO},
    {"contact stiffness", "300 pN/µm", "", stiffness, 300.0, NRW_MODEL_AUTO},
    {"mutual induction", "on", "bonds along the field 5 % stronger", induction, 1.0,
     NRW_MODEL_AUTO},
    {"model", "averaged in every leg", "outside its range in the throat", as_it_is, 0,
     NRW_MODEL_AVERAGED},
};
enum { N = sizeof ingredients / sizeof *ingredients, TRIALS_MOST = 64 };

static _Noreturn void fail(const char *what, const nrw_errors *errors)
{
    (void)fprintf(stderr, "demo_validate: %s\n", what);
    for (size_t i = 0; errors && i < errors->n_items; i++)
        (void)fprintf(stderr, "  %s\n", errors->items[i].what);
    exit(1);
}

static nrw_scenario *load(const char *path)
{
    nrw_errors errors;
    nrw_scenario *scenario = NULL;
    nrw_errors_init(&errors);
    if (nrw_scenario_load(path, &scenario, &errors) != NRW_OK)
        fail(path, &errors);
    nrw_errors_clear(&errors);
    return scenario;
}

static nrw_channel *channel_of(const nrw_scenario *scenario)
{
    nrw_errors errors;
    nrw_channel *channel = NULL;
    nrw_errors_init(&errors);
    if (nrw_channel_create(scenario, &channel, &errors) != NRW_OK)
        fail("no channel", &errors);
    nrw_errors_clear(&errors);
    return channel;
}

/* The schedule that the demo's plan finds. */
static nrw_schedule planned(const nrw_scenario *scenario)
{
    nrw_errors errors;
    nrw_plan_result plan;
    nrw_plan_config config = nrw_plan_config_defaults();
    nrw_channel *channel = channel_of(scenario);
    nrw_errors_init(&errors);
    config.seed = 1;
    if (nrw_plan(scenario, channel, &config, &plan, &errors) != NRW_OK)
        fail("the demo has no plan", &errors);
    const nrw_schedule schedule = plan.schedule;
    memset(&plan.schedule, 0, sizeof plan.schedule);
    nrw_plan_result_clear(&plan);
    nrw_channel_destroy(channel);
    nrw_errors_clear(&errors);
    return schedule;
}

/* Delivered fractions and times to target of the trials; false: it can't run so. */
static bool measure(const char *path, const nrw_schedule *schedule, const ingredient *of,
                    size_t n_trials, double *delivered, double *times)
{
    nrw_errors errors;
    nrw_estimate estimate;
    nrw_scenario *scenario = load(path);
    of->change(scenario, of->value);
    nrw_channel *channel = channel_of(scenario);
    nrw_estimate_config config = nrw_estimate_config_defaults();
    config.n_trials = n_trials;
    nrw_trial_record *records = nrw_trial_records_create(n_trials);
    const nrw_series series = {
        .scenario = scenario, .channel = channel, .seed = 1, .model = of->model};
    nrw_errors_init(&errors);
    const nrw_status status =
        nrw_estimate_run(&series, schedule, &config, records, &estimate, &errors);
    for (size_t k = 0; status == NRW_OK && k < n_trials; k++) {
        delivered[k] = records[k].outcome.delivered;
        times[k] = records[k].outcome.time_to_target_s;
    }
    for (size_t i = 0; status != NRW_OK && i < errors.n_items; i++)
        (void)fprintf(stderr, "    %s\n", errors.items[i].what);
    nrw_estimate_clear(&estimate);
    nrw_trial_records_destroy(n_trials, records);
    nrw_errors_clear(&errors);
    nrw_channel_destroy(channel);
    nrw_scenario_destroy(scenario);
    return status == NRW_OK;
}

static int compare_doubles(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Over the trials that arrived, or a dash. */
static void put_median(FILE *file, size_t n, const double *times)
{
    double sorted[TRIALS_MOST];
    size_t arrived = 0;
    for (size_t k = 0; k < n; k++)
        if (isfinite(times[k]))
            sorted[arrived++] = times[k];
    if (2 * arrived <= n) {
        (void)fprintf(file, "–");
        return;
    }
    qsort(sorted, arrived, sizeof *sorted, compare_doubles);
    (void)fprintf(file, "%.0f s", sorted[arrived / 2]);
}

/* Whether runs know mutual induction: the reader of scenarios refuses what is not built. */
static bool knows_induction(void)
{
    static const char text[] =
        "format: narrows-scenario/1\nfluid: {medium: water, temperature_C: 25}\nparticles: "
        "{count: 2, diameter_um: 3, density_kg_m3: 1800, magnetics: {kind: induced, "
        "susceptibility: 0.3}}\nchannel: {open: true}\nrelease: {at_um: [0, 0], radius_um: "
        "20}\ntarget: {at_um: [0, 0], radius_um: 20}\ndeadline_s: 1\nmodel: {mutual_induction: "
        "true}\n";
    nrw_errors errors;
    nrw_scenario *scenario = NULL;
    nrw_errors_init(&errors);
    const bool known =
        nrw_scenario_parse(text, strlen(text), "probe", &scenario, &errors) == NRW_OK;
    nrw_scenario_destroy(scenario);
    nrw_errors_clear(&errors);
    return known;
}

static void put_row(FILE *file, const ingredient *of, size_t n, const double *delivered,
                    const double *times, const double *base)
{
    double difference[TRIALS_MOST], least = 1.0;
    for (size_t k = 0; k < n; k++) {
        difference[k] = delivered[k] - base[k];
        least = fmin(least, delivered[k]);
    }
    const validate_mean mean = validate_mean_of(n, delivered);
    const validate_mean change = validate_mean_of(n, difference);
    (void)fprintf(file, "| %s | %s | %.1f ± %.1f %% | %.0f %% | ", of->what, of->changed,
                  100.0 * mean.mean, 100.0 * mean.half, 100.0 * least);
    if (of->change == as_it_is && of->model == NRW_MODEL_AUTO)
        (void)fprintf(file, " | ");
    else
        (void)fprintf(file, "%+.1f ± %.1f | ", 100.0 * change.mean, 100.0 * change.half);
    put_median(file, n, times);
    (void)fprintf(file, " | %s |\n", of->why);
}

int main(int argc, char **argv)
{
    if (argc < 3) {
        (void)fprintf(stderr, "use: demo_validate SCENARIO PAGE [TRIALS [INGREDIENT]]\n");
        return 2;
    }
    const size_t n = argc > 3 ? (size_t)strtoul(argv[3], NULL, 10) : 8;
    if (n < 2 || n > TRIALS_MOST)
        fail("2 to 64 trials", NULL);
    nrw_scenario *scenario = load(argv[1]);
    (void)fprintf(stderr, "  plan\n");
    nrw_schedule schedule = planned(scenario);
    double base[TRIALS_MOST], delivered[TRIALS_MOST], times[TRIALS_MOST];
    char *text = NULL;
    size_t size = 0;
    FILE *file = open_memstream(&text, &size);
    if (!file)
        fail("out of memory", NULL);
    (void)fprintf(file,
                  "| ingredient | changed to | delivered | worst trial | difference, points | "
                  "median time to target | |\n| --- | --- | --- | --- | --- | --- | --- |\n");
    for (size_t k = 0; k < N; k++) {
        if (k > 0 && argc > 4 && strcmp(argv[4], ingredients[k].what) != 0)
            continue;
        (void)fprintf(stderr, "  %s %s\n", ingredients[k].what, ingredients[k].changed);
        if (ingredients[k].change == induction && !knows_induction()) {
            (void)fprintf(file, "| mutual induction | on | not built | | | | |\n");
            continue;
        }
        if (!measure(argv[1], &schedule, &ingredients[k], n, delivered, times)) {
            (void)fprintf(file, "| %s | %s | can't run so | | | | |\n", ingredients[k].what,
                          ingredients[k].changed);
            continue;
        }
        if (k == 0)
            memcpy(base, delivered, sizeof base);
        put_row(file, &ingredients[k], n, delivered, times, base);
    }
    (void)fprintf(file,
                  "\n(%zu trials with the demo's uncertain properties, the same for every "
                  "line; ± is half the 95 %% interval over trials, of the difference within "
                  "trials.)\n",
                  n);
    if (fclose(file) != 0)
        fail("out of memory", NULL);
    if (argc > 4)
        (void)fputs(text, stdout); /* one alone, to look at */
    else
        validate_insert(argv[2], "ingredients", text);
    free(text);
    nrw_schedule_clear(&schedule);
    nrw_scenario_destroy(scenario);
    return 0;
}
