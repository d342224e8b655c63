#include "schedule_file.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "../sim/drive_file.h"
#include "../sim/scenario_file.h"
#include "schedule_samples.h"

#define N(array) (sizeof(array) / sizeof *(array))

#define N_LEGS_MAX 10000
#define TIMEOUT_MAX_S 1e7

/* --- conditions -------------------------------------------------------------- */

/* Conditions that are one number, in the order in which they are written. */
static const struct {
    nrw_yaml_field field;
    unsigned bit;
} NUMBERS[] = {
    {NRW_OPTIONAL("spread_below_um", NRW_YAML_DOUBLE, nrw_condition, spread_below_um, NRW_LENGTHS),
     NRW_UNTIL_SPREAD_BELOW},
    {NRW_OPTIONAL("width_below_um", NRW_YAML_DOUBLE, nrw_condition, width_below_um, NRW_LENGTHS),
     NRW_UNTIL_WIDTH_BELOW},
    {NRW_OPTIONAL("aspect_above", NRW_YAML_DOUBLE, nrw_condition, aspect_above,
                  NRW_FROM_TO(0.0, 1e6)),
     NRW_UNTIL_ASPECT_ABOVE},
    /* an ellipse is never rounder than 1 */
    {NRW_OPTIONAL("aspect_below", NRW_YAML_DOUBLE, nrw_condition, aspect_below,
                  NRW_ABOVE_TO(1.0, 1e6)),
     NRW_UNTIL_ASPECT_BELOW},
    {NRW_OPTIONAL("cluster_above", NRW_YAML_DOUBLE, nrw_condition, cluster_above,
                  NRW_FROM_BELOW(0.0, 1.0)),
     NRW_UNTIL_CLUSTER_ABOVE},
    {NRW_OPTIONAL("elapsed_s", NRW_YAML_DOUBLE, nrw_condition, elapsed_s, NRW_ABOVE_TO(0.0, 1e7)),
     NRW_UNTIL_ELAPSED},
};

/* Conditions about a node. */
static const struct {
    const char *key, *distance_key;
    size_t offset; /* in nrw_condition */
    unsigned bit;
} PLACES[] = {
    {"centroid_within", "distance_um", offsetof(nrw_condition, centroid_within),
     NRW_UNTIL_CENTROID_WITHIN},
    {"centroid_past", "beyond_um", offsetof(nrw_condition, centroid_past), NRW_UNTIL_CENTROID_PAST},
    {"tail_past", "beyond_um", offsetof(nrw_condition, tail_past), NRW_UNTIL_TAIL_PAST},
};

static bool read_place(nrw_yaml_doc *doc, const nrw_yaml_node *node, const nrw_map *map,
                       bool within, nrw_place_condition *place)
{
    static const nrw_yaml_field within_fields[] = {
        NRW_REQUIRED_OTHER("node"),
        NRW_REQUIRED("distance_um", NRW_YAML_DOUBLE, nrw_place_condition, distance_um, NRW_LENGTHS),
    };
    static const nrw_yaml_field past_fields[] = {
        NRW_REQUIRED_OTHER("node"),
        NRW_REQUIRED("beyond_um", NRW_YAML_DOUBLE, nrw_place_condition, distance_um,
                     NRW_COORDINATES),
    };
    bool good = nrw_yaml_fields(doc, node, within ? within_fields : past_fields, 2, place);
    const nrw_yaml_node *name = nrw_yaml_get(node, "node");
    return name && nrw_scenario_read_node(doc, name, map, &place->node, place->name) && good;
}

static void read_until(nrw_yaml_doc *doc, const nrw_yaml_node *node, const nrw_map *map,
                       nrw_condition *until)
{
    nrw_yaml_field fields[N(NUMBERS) + N(PLACES) + 1] = {
        NRW_OPTIONAL("dwell_s", NRW_YAML_DOUBLE, nrw_condition, dwell_s, NRW_FROM_TO(0.0, 1e7))};
    for (size_t i = 0; i < N(NUMBERS); i++) {
        fields[1 + i] = NUMBERS[i].field;
        if (nrw_yaml_get(node, NUMBERS[i].field.key))
            until->present |= NUMBERS[i].bit;
    }
    for (size_t i = 0; i < N(PLACES); i++)
        fields[1 + N(NUMBERS) + i] = (nrw_yaml_field)NRW_OPTIONAL_OTHER(PLACES[i].key);
    (void)nrw_yaml_fields(doc, node, fields, N(fields), until);
    for (size_t i = 0; i < N(PLACES); i++) {
        const nrw_yaml_node *place = nrw_yaml_get(node, PLACES[i].key);
        void *target = (char *)until + PLACES[i].offset;
        if (!place)
            continue;
        until->present |= PLACES[i].bit;
        (void)read_place(doc, place, map, PLACES[i].bit == NRW_UNTIL_CENTROID_WITHIN, target);
    }
    const unsigned both = NRW_UNTIL_ASPECT_ABOVE | NRW_UNTIL_ASPECT_BELOW;
    if ((until->present & both) == both && until->aspect_above >= until->aspect_below)
        (void)nrw_yaml_error(doc, nrw_yaml_get(node, "aspect_above"), "less than aspect_below",
                             "%g can't hold together with aspect_below", until->aspect_above);
    if (until->present == 0 && node->kind == NRW_YAML_MAP)
        (void)nrw_yaml_error_at_key(doc, node, "at least one condition, or no until",
                                    "holds no condition");
}

/* --- samples ----------------------------------------------------------------- */

/* A leg of samples ends with them, unless it says otherwise. */
static void end_with_samples(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_leg *leg)
{
    const nrw_samples *samples = leg->drive.main.samples;
    if (!samples || nrw_yaml_get(node, "timeout_s"))
        return;
    leg->timeout_s = nrw_samples_duration_s(samples);
    if (leg->timeout_s > TIMEOUT_MAX_S)
        (void)nrw_yaml_error(doc, node, "at most 1e7 s, or a timeout_s", "the samples last %g s",
                             leg->timeout_s);
}

/* --- legs -------------------------------------------------------------------- */

/* Index of the leg that a value names; its own name counts. -1: reported. */
static int read_leg_name(nrw_yaml_doc *doc, const nrw_yaml_node *node, const nrw_schedule *schedule)
{
    enum { N_GUESSES = 100 };
    const char *words[N_GUESSES];
    char expected[384], is[96];
    const char *text = nrw_yaml_text(doc, node, "a leg's name");
    if (!text)
        return -1;
    size_t n = 0;
    for (size_t i = 0; i < schedule->n_legs; i++) {
        if (strcmp(schedule->legs[i].name, text) == 0)
            return (int)i;
        if (schedule->legs[i].name[0] && n < N_GUESSES)
            words[n++] = schedule->legs[i].name;
    }
    nrw_yaml_expect_word(text, words, n, expected, sizeof expected);
    (void)nrw_yaml_error(doc, node, expected, "%s is no leg of the schedule",
                         nrw_yaml_describe(node, is));
    return -1;
}

static void read_stall(nrw_yaml_doc *doc, const nrw_yaml_node *node, const nrw_schedule *schedule,
                       nrw_leg *leg)
{
    static const nrw_yaml_field fields[] = {
        NRW_REQUIRED("after_s", NRW_YAML_DOUBLE, nrw_leg, stall_after_s, NRW_ABOVE_TO(0.0, 1e7)),
        NRW_REQUIRED("min_um", NRW_YAML_DOUBLE, nrw_leg, stall_min_um, NRW_LENGTHS),
        NRW_REQUIRED_OTHER("leg"),
    };
    (void)nrw_yaml_fields(doc, node, fields, N(fields), leg);
    const nrw_yaml_node *name = nrw_yaml_get(node, "leg");
    if (name)
        leg->stall_leg = read_leg_name(doc, name, schedule);
}

/* Names come first: legs name each other, later ones too. */
static void read_names(nrw_yaml_doc *doc, const nrw_yaml_node *list, nrw_schedule *schedule)
{
    for (const nrw_yaml_node *child = list->first; child; child = child->next) {
        nrw_leg *leg = &schedule->legs[child->index];
        const nrw_yaml_node *name = nrw_yaml_get(child, "name");
        *leg = nrw_leg_defaults();
        if (!name || !nrw_yaml_name(doc, name, leg->name, sizeof leg->name))
            continue;
        for (unsigned i = 0; i < child->index; i++)
            if (strcmp(schedule->legs[i].name, leg->name) == 0) {
                (void)nrw_yaml_error(doc, name, "another name for every leg",
                                     "'%s' is the name of legs[%u] too", leg->name, i);
                break;
            }
    }
}

static void read_leg(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_samples_context *context,
                     nrw_leg *leg)
{
    const nrw_map *map = &context->scenario->map;
    const nrw_schedule *schedule = context->schedule;
    const nrw_samples_source source = {nrw_schedule_open_samples, context};

    static const nrw_yaml_field fields[] = {
        NRW_REQUIRED_OTHER("name"),
        NRW_REQUIRED_OTHER("drive"),
        NRW_OPTIONAL_OTHER("until"),
        NRW_OPTIONAL("timeout_s", NRW_YAML_DOUBLE, nrw_leg, timeout_s,
                     NRW_ABOVE_TO(0.0, TIMEOUT_MAX_S)),
        NRW_OPTIONAL_OTHER("on_timeout"),
        NRW_OPTIONAL_OTHER("on_stall"),
        NRW_OPTIONAL("max_visits", NRW_YAML_INT, nrw_leg, max_visits, NRW_FROM_TO(1, 1000000)),
    };
    if (!nrw_yaml_is_map(doc, node))
        return;
    (void)nrw_yaml_fields(doc, node, fields, N(fields), leg);
    const nrw_yaml_node *drive = nrw_yaml_get(node, "drive"), *until = nrw_yaml_get(node, "until");
    const nrw_yaml_node *on_timeout = nrw_yaml_get(node, "on_timeout");
    const nrw_yaml_node *on_stall = nrw_yaml_get(node, "on_stall");
    if (drive)
        (void)(nrw_drive_read(doc, drive, map, NULL, &source, &leg->drive) &&
               nrw_drive_check_lag(doc, drive, &leg->drive, &context->scenario->particles));
    if (until)
        read_until(doc, until, map, &leg->until);
    if (on_timeout)
        leg->on_timeout_leg = read_leg_name(doc, on_timeout, schedule);
    if (on_timeout && !nrw_yaml_get(node, "timeout_s"))
        (void)nrw_yaml_error_at_key(doc, on_timeout, "timeout_s with it", "has no timeout");
    if (on_stall)
        read_stall(doc, on_stall, schedule, leg);
    end_with_samples(doc, node, leg);
}

static void read_legs(nrw_yaml_doc *doc, const nrw_yaml_node *list, nrw_samples_context *context)
{
    nrw_schedule *schedule = context->schedule;
    if (!nrw_yaml_is_list(doc, list, "a list of legs"))
        return;
    if (list->n_children == 0 || list->n_children > N_LEGS_MAX) {
        (void)nrw_yaml_error(doc, list, "1 to 10,000 legs", "is a list of %u", list->n_children);
        return;
    }
    schedule->legs = calloc(list->n_children, sizeof *schedule->legs);
    if (!schedule->legs) {
        (void)nrw_yaml_no_memory(doc);
        return;
    }
    schedule->n_legs = list->n_children;
    read_names(doc, list, schedule);
    for (const nrw_yaml_node *child = list->first; child; child = child->next)
        read_leg(doc, child, context, &schedule->legs[child->index]);
}

static void read_root(nrw_yaml_doc *doc, const nrw_yaml_node *root, nrw_samples_context *context)
{
    static const nrw_yaml_field fields[] = {
        NRW_OPTIONAL_OTHER("format"),
        NRW_REQUIRED_OTHER("legs"),
    };
    /* Of a file of another format nothing else can be judged. */
    if (!nrw_yaml_format(doc, root, "narrows-schedule", "narrows-scenario") &&
        nrw_yaml_get(root, "format"))
        return;
    (void)nrw_yaml_fields(doc, root, fields, N(fields), NULL);
    const nrw_yaml_node *legs = nrw_yaml_get(root, "legs");
    if (legs)
        read_legs(doc, legs, context);
}

nrw_status nrw_schedule_parse(const char *text, size_t size, const char *name,
                              const nrw_scenario *scenario, nrw_schedule *schedule,
                              nrw_errors *errors)
{
    nrw_yaml_doc *doc;
    nrw_samples_context context = {name, scenario, schedule};
    memset(schedule, 0, sizeof *schedule);
    nrw_status status = nrw_yaml_create(text, size, name, errors, &doc);
    if (status != NRW_OK)
        return status;
    if (nrw_yaml_root(doc))
        read_root(doc, nrw_yaml_root(doc), &context);
    status = nrw_yaml_finish(doc);
    nrw_yaml_destroy(doc);
    if (status != NRW_OK)
        nrw_schedule_clear(schedule);
    return status;
}

nrw_status nrw_schedule_load_text(const char *path, const nrw_scenario *scenario,
                                  nrw_schedule *schedule, char **text, size_t *size,
                                  nrw_errors *errors)
{
    memset(schedule, 0, sizeof *schedule);
    nrw_status status = nrw_yaml_load_text(path, text, size, errors);
    if (status == NRW_OK)
        status = nrw_schedule_parse(*text, *size, path, scenario, schedule, errors);
    if (status != NRW_OK) {
        free(*text);
        *text = NULL;
    }
    return status;
}

nrw_status nrw_schedule_load(const char *path, const nrw_scenario *scenario, nrw_schedule *schedule,
                             nrw_errors *errors)
{
    char *text;
    size_t size;
    nrw_status status = nrw_schedule_load_text(path, scenario, schedule, &text, &size, errors);
    free(text);
    return status;
}

/* --- writing ----------------------------------------------------------------- */

static void write_until(nrw_yaml_out *out, const nrw_condition *until)
{
    nrw_yaml_out_key(out, "until");
    nrw_yaml_out_begin_map(out, true);
    for (size_t i = 0; i < N(NUMBERS); i++) {
        double value;
        memcpy(&value, (const char *)until + NUMBERS[i].field.offset, sizeof value);
        if (until->present & NUMBERS[i].bit)
            nrw_yaml_out_pair(out, NUMBERS[i].field.key, value);
    }
    for (size_t i = 0; i < N(PLACES); i++) {
        const void *at = (const char *)until + PLACES[i].offset;
        const nrw_place_condition *place = at;
        if (!(until->present & PLACES[i].bit))
            continue;
        nrw_yaml_out_key(out, PLACES[i].key);
        nrw_yaml_out_begin_map(out, true);
        nrw_yaml_out_word(out, "node", place->name);
        nrw_yaml_out_pair(out, PLACES[i].distance_key, place->distance_um);
        nrw_yaml_out_end_map(out);
    }
    if (until->dwell_s > 0.0)
        nrw_yaml_out_pair(out, "dwell_s", until->dwell_s);
    nrw_yaml_out_end_map(out);
}

static void write_leg(nrw_yaml_out *out, const nrw_schedule *schedule, const nrw_leg *leg)
{
    nrw_yaml_out_begin_map(out, false);
    nrw_yaml_out_word(out, "name", leg->name);
    nrw_yaml_out_key(out, "drive");
    nrw_drive_write(out, &leg->drive);
    if (leg->until.present != 0)
        write_until(out, &leg->until);
    if (isfinite(leg->timeout_s))
        nrw_yaml_out_pair(out, "timeout_s", leg->timeout_s);
    if (isfinite(leg->timeout_s) && leg->on_timeout_leg >= 0)
        nrw_yaml_out_word(out, "on_timeout", schedule->legs[leg->on_timeout_leg].name);
    if (leg->stall_after_s > 0.0 && leg->stall_leg >= 0) {
        nrw_yaml_out_key(out, "on_stall");
        nrw_yaml_out_begin_map(out, true);
        nrw_yaml_out_pair(out, "after_s", leg->stall_after_s);
        nrw_yaml_out_pair(out, "min_um", leg->stall_min_um);
        nrw_yaml_out_word(out, "leg", schedule->legs[leg->stall_leg].name);
        nrw_yaml_out_end_map(out);
    }
    if (leg->max_visits != nrw_leg_defaults().max_visits)
        nrw_yaml_out_pair(out, "max_visits", leg->max_visits);
    nrw_yaml_out_end_map(out);
}

nrw_status nrw_schedule_text(const nrw_schedule *schedule, char **text, nrw_errors *errors)
{
    *text = NULL;
    nrw_yaml_out *out = nrw_yaml_out_create();
    nrw_status status = out ? NRW_OK : NRW_NO_MEMORY;
    if (out) {
        nrw_yaml_out_begin_map(out, false);
        nrw_yaml_out_word(out, "format", "narrows-schedule/1");
        nrw_yaml_out_key(out, "legs");
        nrw_yaml_out_begin_list(out, false);
        for (size_t i = 0; i < schedule->n_legs; i++)
            write_leg(out, schedule, &schedule->legs[i]);
        nrw_yaml_out_end_list(out);
        nrw_yaml_out_end_map(out);
        status = nrw_yaml_out_finish(out, text);
    }
    return status == NRW_OK ? NRW_OK
                            : nrw_errors_add(errors, status, NULL, "no memory to write a schedule");
}

nrw_status nrw_schedule_write(const nrw_schedule *schedule, FILE *stream, nrw_errors *errors)
{
    char *text;
    nrw_status status = nrw_schedule_text(schedule, &text, errors);
    if (status == NRW_OK && (fputs(text, stream) == EOF || fflush(stream) != 0))
        status = nrw_errors_add(errors, NRW_IO_FAILED, NULL, "the schedule can't be written");
    free(text);
    return status;
}
