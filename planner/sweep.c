#include "sweep.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "drive_key.h"
#include "race.h"
#include "rig.h"

/* The standard gathering. */
#define GATHER_FRACTION 0.9
#define GATHER_DWELL_S 2.0
#define GATHER_TIMEOUT_S 60.0
#define GATHER_FIELD_MT 10.0
#define GATHER_FREQUENCY_HZ 50.0
#define STEP_OUT_SHARE 0.8
/* Features are those of this last share of a setting's time. */
#define WATCHED_SHARE 0.5
/* Positions are stored so many times in a setting's time, fewer if they were more
 * than this many bytes. */
#define STORED_PER_SETTING 40.0
#define STORED_BYTES_MAX 32e6

/* One run: a line through the grid (both ways) or a point of it. */
typedef struct sweep_line {
    nrw_schedule schedule;
    size_t *rows;          /* (n_legs - 1) row of each leg after the gathering */
    nrw_outcome *outcomes; /* (n_repeats) */
} sweep_line;

typedef struct sweep_work {
    const nrw_sweep_config *config;
    nrw_scenario open; /* borrows all that it points to */
    nrw_channel *channel;
    nrw_sweep_map *map;
    sweep_line *lines; /* (n_lines) */
    size_t n_lines;
    nrw_errors *errors;
} sweep_work;

nrw_sweep_config nrw_sweep_config_defaults(void)
{
    nrw_sweep_config config;
    memset(&config, 0, sizeof config);
    config.seed = 1;
    config.limits = nrw_state_limits_defaults();
    return config;
}

static nrw_status no_memory(const sweep_work *work)
{
    return nrw_errors_add(work->errors, NRW_NO_MEMORY, "", "no memory for the sweep");
}

/* --- the grid ------------------------------------------------------------------- */

static size_t count_points(const nrw_sweep *sweep)
{
    size_t n = 1;
    for (size_t k = 0; k < sweep->n_keys; k++)
        n *= sweep->keys[k].n_values;
    return n;
}

static void lay_out_rows(nrw_sweep_map *map)
{
    const size_t ways = map->both_ways ? 2 : 1;
    for (size_t r = 0; r < map->n_rows; r++) {
        map->rows[r].point = r / ways;
        map->rows[r].way = !map->both_ways ? NRW_SWEEP_ALONE
                           : r % 2 == 0    ? NRW_SWEEP_UP
                                           : NRW_SWEEP_DOWN;
    }
}

/* --- drives -------------------------------------------------------------------------- */

/* There is no map to head for a node of. */
static void fix_heading(nrw_drive_setting *setting)
{
    if (setting->heading_kind == NRW_HEADING_FIXED)
        return;
    setting->heading_kind = NRW_HEADING_FIXED;
    setting->heading_deg = 0.0;
    setting->heading_node = -1;
    setting->heading_name[0] = '\0';
    setting->ease_um = 0.0;
}

static nrw_drive drive_at(const nrw_sweep *sweep, size_t point)
{
    nrw_drive drive = sweep->drive;
    for (size_t k = 0; k < sweep->n_keys; k++)
        (void)nrw_drive_set_key(&drive, sweep->keys[k].key, nrw_sweep_value(sweep, point, k));
    fix_heading(&drive.main);
    fix_heading(&drive.other);
    return drive;
}

/* The largest field that the sweep's own drive has, 0 if it has none. */
static double own_field_mT(const nrw_sweep *sweep)
{
    double largest = sweep->drive.main.field_mT;
    for (size_t k = 0; k < sweep->n_keys; k++)
        for (size_t v = 0;
             strcmp(sweep->keys[k].key, "field_mT") == 0 && v < sweep->keys[k].n_values; v++)
            largest = fmax(largest, sweep->keys[k].values[v]);
    return largest;
}

/* Flat and turning, the same for all points; slow enough that the rig can give it
 * and permanent moments follow. */
static nrw_drive gathering(const nrw_scenario *scenario)
{
    const double own = own_field_mT(&scenario->sweep);
    nrw_drive drive;
    memset(&drive, 0, sizeof drive);
    nrw_drive_setting *flat = &drive.main;
    *flat = nrw_drive_setting_defaults();
    flat->field_mT = own > 0.0 ? own : GATHER_FIELD_MT;
    flat->frequency_Hz = GATHER_FREQUENCY_HZ;
    if (scenario->rig.present)
        flat->frequency_Hz = fmin(flat->frequency_Hz, scenario->rig.frequency_max_Hz);
    const double step_out_Hz = nrw_regime_of(scenario, flat, NULL).step_out_Hz;
    if (step_out_Hz > 0.0)
        flat->frequency_Hz = fmin(flat->frequency_Hz, STEP_OUT_SHARE * step_out_Hz);
    flat->field_mT = fmin(flat->field_mT, nrw_rig_available_field_mT(&scenario->rig, flat, NULL));
    drive.other = drive.main;
    return drive;
}

static double heading_of(const nrw_drive *drive)
{
    return drive->main.mode == NRW_DRIVE_GENERAL ? 0.0 : drive->main.heading_deg * NRW_DEGREE;
}

/* --- schedules -------------------------------------------------------------------------- */

static void set_gather_leg(nrw_leg *leg, const nrw_scenario *scenario)
{
    *leg = nrw_leg_defaults();
    (void)snprintf(leg->name, sizeof leg->name, "gather");
    leg->drive = gathering(scenario);
    leg->until.present = NRW_UNTIL_CLUSTER_ABOVE;
    leg->until.cluster_above = GATHER_FRACTION;
    leg->until.dwell_s = GATHER_DWELL_S;
    leg->timeout_s = GATHER_TIMEOUT_S;
}

static bool within_rig(const sweep_work *work, const nrw_leg *leg, nrw_errors *errors)
{
    const nrw_schedule one = {.legs = (nrw_leg *)leg, .n_legs = 1};
    return nrw_rig_check_schedule(&work->open, &one, errors) == NRW_OK;
}

/* Adds the leg of a row, unless the rig can't give it. */
static void add_row_leg(sweep_work *work, sweep_line *line, size_t row)
{
    const nrw_sweep *sweep = &work->open.sweep;
    nrw_sweep_row *at = &work->map->rows[row];
    nrw_leg *leg = &line->schedule.legs[line->schedule.n_legs];
    *leg = nrw_leg_defaults();
    (void)snprintf(leg->name, sizeof leg->name, "point %zu %s", at->point,
                   nrw_sweep_way_name(at->way));
    leg->drive = drive_at(sweep, at->point);
    leg->until.present = NRW_UNTIL_ELAPSED;
    leg->until.elapsed_s = sweep->seconds;
    nrw_errors ignored;
    nrw_errors_init(&ignored);
    at->beyond_rig = !within_rig(work, leg, &ignored);
    nrw_errors_clear(&ignored);
    if (at->beyond_rig)
        return;
    line->rows[line->schedule.n_legs - 1] = row;
    line->schedule.n_legs++;
}

static nrw_status make_line(sweep_work *work, size_t index)
{
    nrw_sweep_map *map = work->map;
    sweep_line *line = &work->lines[index];
    const size_t n = map->both_ways ? nrw_sweep_per_line(&work->open.sweep) : 1;
    const size_t most = 2 + 2 * n;
    line->schedule.legs = calloc(most, sizeof *line->schedule.legs);
    line->rows = calloc(most, sizeof *line->rows);
    line->outcomes = calloc(map->n_repeats, sizeof *line->outcomes);
    if (!line->schedule.legs || !line->rows || !line->outcomes)
        return no_memory(work);
    set_gather_leg(&line->schedule.legs[0], &work->open);
    line->schedule.n_legs = 1;
    if (!map->both_ways) {
        add_row_leg(work, line, index);
        return NRW_OK;
    }
    for (size_t k = 0; k < n; k++)
        add_row_leg(work, line, 2 * (index * n + k));
    for (size_t k = n; k-- > 0;)
        add_row_leg(work, line, 2 * (index * n + k) + 1);
    return NRW_OK;
}

static nrw_status make_lines(sweep_work *work)
{
    nrw_sweep_map *map = work->map;
    work->n_lines = map->n_points / (map->both_ways ? nrw_sweep_per_line(&work->open.sweep) : 1);
    work->lines = calloc(work->n_lines, sizeof *work->lines);
    if (!work->lines)
        return no_memory(work);
    nrw_leg gather;
    set_gather_leg(&gather, &work->open);
    if (!within_rig(work, &gather, work->errors))
        return NRW_REFUSED;
    nrw_status status = NRW_OK;
    for (size_t k = 0; status == NRW_OK && k < work->n_lines; k++)
        status = make_line(work, k);
    if (status != NRW_OK)
        return status;
    for (size_t r = 0; r < map->n_rows; r++)
        map->n_beyond_rig += map->rows[r].beyond_rig;
    if (map->n_beyond_rig == map->n_rows)
        return nrw_errors_add(work->errors, NRW_REFUSED, "a weaker field or a lower frequency",
                              "the rig can't give any point of the sweep");
    return NRW_OK;
}

/* --- the open copy ------------------------------------------------------------------------ */

/* The same floor, fluid and particles without side walls, released about the
 * origin; silhouettes are measured whatever their size. */
static nrw_status open_copy(sweep_work *work, const nrw_scenario *scenario)
{
    nrw_scenario *open = &work->open;
    *open = *scenario;
    open->map.open = true;
    open->map.nodes = NULL;
    open->map.vessels = NULL;
    open->map.n_nodes = open->map.n_vessels = 0;
    open->route_nodes = NULL;
    open->n_route_nodes = 0;
    open->flow.ports = NULL;
    open->flow.n_ports = 0;
    open->goal.no_go = NULL;
    open->goal.n_no_go = 0;
    open->release.node = open->target.node = -1;
    if (open->has_release && !open->particles.positions_um)
        open->release.at_um[0] = open->release.at_um[1] = 0.0;
    open->target.at_um[0] = 1000.0;
    open->target.at_um[1] = 0.0;
    open->target.radius_um = 10.0;
    open->imaging.smallest_visible_um2 = 1e-9;
    open->imaging.centroid_noise_um = 0.0;
    const size_t legs = work->map->both_ways ? 2 * nrw_sweep_per_line(&open->sweep) : 1;
    open->deadline_s = GATHER_TIMEOUT_S + GATHER_DWELL_S + (double)legs * open->sweep.seconds + 1.0;
    return nrw_channel_create(open, &work->channel, work->errors);
}

/* --- runs ------------------------------------------------------------------------------------ */

static double gather_time_s(const nrw_run_result *run)
{
    if (run->n_visits == 0 || run->visits[0].end != NRW_LEG_CONDITION)
        return NAN;
    return run->visits[0].end_s - run->visits[0].start_s - GATHER_DWELL_S;
}

/* Features of each leg that was gone through to its end. `failure` is what stopped
 * the run, NULL if nothing did. */
static nrw_status measure_run(sweep_work *work, size_t index, size_t repeat, const char *failure,
                              const nrw_run_result *run)
{
    nrw_sweep_map *map = work->map;
    const sweep_line *line = &work->lines[index];
    for (size_t leg = 1; leg < line->schedule.n_legs; leg++) {
        nrw_sweep_repeat *at = &map->repeats[line->rows[leg - 1] * map->n_repeats + repeat];
        const nrw_leg_visit *visit = leg < run->n_visits ? &run->visits[leg] : NULL;
        memset(at, 0, sizeof *at);
        at->done = true;
        at->gather_s = gather_time_s(run);
        at->failed = !visit || visit->end == NRW_LEG_STOPPED;
        if (at->failed && !failure)
            return nrw_errors_add(work->errors, NRW_DIVERGED, "", "a run of the sweep ended early");
        if (at->failed) {
            at->failure = strdup(failure);
            continue;
        }
        const double from_s = visit->end_s - WATCHED_SHARE * (visit->end_s - visit->start_s);
        nrw_status status = nrw_state_measure(
            run, from_s, visit->end_s, heading_of(&line->schedule.legs[leg].drive),
            map->scenario->imaging.smallest_visible_um2, &at->seen);
        if (status != NRW_OK)
            return no_memory(work);
        at->state =
            nrw_state_of(&at->seen, &work->config->limits, work->open.particles.diameter_um);
    }
    return NRW_OK;
}

static void name_unit(size_t line, size_t repeat, char *unit, size_t size)
{
    (void)snprintf(unit, size, "sweep/%zu/%zu", line, repeat);
}

static nrw_status save(sweep_work *work, size_t index, size_t repeat)
{
    const nrw_sweep_map *map = work->map;
    const sweep_line *line = &work->lines[index];
    char unit[64], *text = NULL;
    size_t size = 0;
    FILE *file = open_memstream(&text, &size);
    if (!file)
        return no_memory(work);
    const char *failure = NULL;
    for (size_t leg = 1; leg < line->schedule.n_legs; leg++) {
        nrw_sweep_repeat at = map->repeats[line->rows[leg - 1] * map->n_repeats + repeat];
        nrw_word_integer(file, at.failed);
        nrw_word_number(file, at.gather_s);
        for (int k = 0; k < NRW_N_FEATURES; k++)
            nrw_word_number(file, *nrw_state_feature(&at.seen, k));
        failure = at.failed ? at.failure : failure;
    }
    if (failure)
        (void)fprintf(file, " |%s", failure);
    name_unit(index, repeat, unit, sizeof unit);
    nrw_status status = fclose(file) == 0
                            ? nrw_checkpoint_add(work->config->checkpoint, unit, text, work->errors)
                            : no_memory(work);
    free(text);
    return status;
}

static bool known(void *context, size_t index, size_t repeat, nrw_outcome *outcome)
{
    sweep_work *work = context;
    nrw_sweep_map *map = work->map;
    const sweep_line *line = &work->lines[index];
    char unit[64];
    name_unit(index, repeat, unit, sizeof unit);
    nrw_words words = {nrw_checkpoint_find(work->config->checkpoint, unit), false};
    if (!words.at)
        return false;
    const char *bar = strchr(words.at, '|'), *tail = bar ? bar + 1 : "";
    for (size_t leg = 1; leg < line->schedule.n_legs; leg++) {
        nrw_sweep_repeat *at = &map->repeats[line->rows[leg - 1] * map->n_repeats + repeat];
        at->failed = nrw_words_bounded(&words, 0, 1) != 0;
        at->gather_s = nrw_words_number(&words);
        for (int k = 0; k < NRW_N_FEATURES; k++)
            *nrw_state_feature(&at->seen, k) = nrw_words_number(&words);
        at->failure = at->failed && !words.bad ? strdup(tail) : NULL;
        at->state =
            nrw_state_of(&at->seen, &work->config->limits, work->open.particles.diameter_um);
        at->done = !words.bad;
    }
    memset(outcome, 0, sizeof *outcome);
    return !words.bad;
}

static nrw_status keep(void *context, size_t index, size_t repeat, const nrw_outcome *outcome,
                       const nrw_run_result *run, const nrw_errors *errors)
{
    sweep_work *work = context;
    const bool failed = outcome->status == NRW_DIVERGED;
    const char *failure = failed && errors->n_items > 0 ? errors->items[errors->n_items - 1].what
                          : failed                      ? "it failed"
                                                        : NULL;
    nrw_status status = measure_run(work, index, repeat, failure, run);
    if (status == NRW_OK && work->config->checkpoint)
        status = save(work, index, repeat);
    return status;
}

static bool tell(void *context, size_t done, size_t of)
{
    const nrw_sweep_config *config = ((sweep_work *)context)->config;
    const bool stop = config->progress && config->progress(config->context, done, of);
    return stop || (config->interrupted && config->interrupted());
}

static double stored_every_s(const sweep_work *work)
{
    const nrw_scenario *open = &work->open;
    const double frame_s = 1.0 / open->imaging.frame_rate_Hz;
    const double bytes = (double)open->particles.count * 3.0 * sizeof(float);
    const double wanted =
        fmax(open->sweep.seconds / STORED_PER_SETTING, open->deadline_s * bytes / STORED_BYTES_MAX);
    /* a whole number of frames, and at least some moments in the time watched */
    return fmin(fmax(1.0, round(wanted / frame_s)) * frame_s, 0.2 * open->sweep.seconds);
}

static nrw_status race_lines(sweep_work *work, const nrw_trial *trials, nrw_race_lane *lanes)
{
    const size_t n_repeats = work->map->n_repeats;
    for (size_t r = 0; r < n_repeats; r++)
        work->map->seeds[r] = trials[r].seed;
    for (size_t k = 0; k < work->n_lines; k++) {
        const sweep_line *line = &work->lines[k];
        /* a line of which the rig gives nothing has nothing to run */
        const size_t runs = line->schedule.n_legs > 1 ? n_repeats : 0;
        lanes[k] = (nrw_race_lane){&line->schedule, 0, runs, line->outcomes};
    }
    nrw_race race;
    memset(&race, 0, sizeof race);
    race.scenario = &work->open;
    race.channel = work->channel;
    race.trials = trials;
    race.model = work->config->model;
    race.progress = tell;
    race.context = work;
    race.interrupted = work->config->interrupted;
    race.keep = keep;
    race.known = work->config->checkpoint ? known : NULL;
    race.record = true;
    race.trajectory_every_s = stored_every_s(work);
    return nrw_race_run(&race, work->n_lines, lanes, work->errors);
}

static nrw_status run_lines(sweep_work *work)
{
    const size_t n_repeats = work->map->n_repeats;
    nrw_trial *trials = calloc(n_repeats + 1, sizeof *trials);
    nrw_race_lane *lanes = calloc(work->n_lines + 1, sizeof *lanes);
    /* nominal particles: repeats differ by chance alone */
    const nrw_uncertainty none = {0.0, 0.0, 0.0, 0.0};
    nrw_status status = NRW_NO_MEMORY;
    if (trials && lanes)
        status = nrw_trials_draw(&none, work->config->seed, NRW_TRIALS_SWEEP, 0, n_repeats, trials);
    status = status == NRW_OK ? race_lines(work, trials, lanes) : no_memory(work);
    free(trials);
    free(lanes);
    return status;
}

/* --- the whole ------------------------------------------------------------- */

static nrw_status begin(sweep_work *work, const nrw_scenario *scenario)
{
    nrw_sweep_map *map = work->map;
    map->scenario = scenario;
    map->both_ways = work->config->both_ways;
    map->n_points = count_points(&scenario->sweep);
    map->n_repeats = (size_t)scenario->sweep.repeats;
    map->n_rows = map->n_points * (map->both_ways ? 2 : 1);
    map->rows = calloc(map->n_rows, sizeof *map->rows);
    map->repeats = calloc(map->n_rows * map->n_repeats, sizeof *map->repeats);
    map->seeds = calloc(map->n_repeats, sizeof *map->seeds);
    if (!map->rows || !map->repeats || !map->seeds)
        return no_memory(work);
    lay_out_rows(map);
    nrw_status status = open_copy(work, scenario);
    return status == NRW_OK ? make_lines(work) : status;
}

nrw_status nrw_sweep_run(const nrw_scenario *scenario, const nrw_sweep_config *config,
                         nrw_sweep_map *map, nrw_errors *errors)
{
    memset(map, 0, sizeof *map);
    map->scenario = scenario;
    if (!scenario->sweep.present)
        return nrw_errors_add(errors, NRW_BAD_INPUT, "a sweep block with drive and vary",
                              "%s has no sweep", scenario->path);
    sweep_work work;
    memset(&work, 0, sizeof work);
    work.config = config;
    work.map = map;
    work.errors = errors;
    nrw_status status = begin(&work, scenario);
    if (status == NRW_OK)
        status = run_lines(&work);
    if (map->rows && map->repeats)
        nrw_sweep_summarise(map);
    size_t n_good = 0;
    for (size_t r = 0; r < map->n_rows && map->rows; r++)
        n_good += map->rows[r].n_done;
    if (status == NRW_OK && n_good == 0)
        status = nrw_errors_add(errors, NRW_DIVERGED, "", "every run failed; the first: %s",
                                map->failure);
    for (size_t k = 0; work.lines && k < work.n_lines; k++) {
        nrw_schedule_clear(&work.lines[k].schedule);
        free(work.lines[k].rows);
        free(work.lines[k].outcomes);
    }
    free(work.lines);
    nrw_channel_destroy(work.channel);
    return status;
}
