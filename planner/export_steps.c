/* steps.json and waveform.json: what a controller reads (docs/export.md). */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include <jansson.h>

#include "export_parts.h"

/* jansson's *_new calls take NULL values and fail then, so that a lack of memory
 * anywhere leaves NULL at the top. */
static json_t *number(double value)
{
    return isfinite(value) ? json_real(value) : json_null();
}

static void put(json_t **object, const char *key, json_t *value)
{
    if (!*object) {
        json_decref(value);
    } else if (json_object_set_new(*object, key, value) != 0) {
        json_decref(*object);
        *object = NULL;
    }
}

static void push(json_t **array, json_t *value)
{
    if (!*array) {
        json_decref(value);
    } else if (json_array_append_new(*array, value) != 0) {
        json_decref(*array);
        *array = NULL;
    }
}

static json_t *numbers(const double *values, size_t n)
{
    json_t *array = json_array();
    for (size_t i = 0; i < n; i++)
        push(&array, number(values[i]));
    return array;
}

static json_t *vector(nrw_vec3 v)
{
    const double values[3] = {v.x, v.y, v.z};
    return numbers(values, 3);
}

static nrw_status dump(json_t *root, char **text, nrw_errors *errors)
{
    char *body = root ? json_dumps(root, JSON_INDENT(2) | JSON_REAL_PRECISION(17)) : NULL;
    json_decref(root);
    *text = NULL;
    if (body) {
        const size_t length = strlen(body);
        *text = realloc(body, length + 2);
        if (*text)
            memcpy(*text + length, "\n", 2);
        else
            free(body);
    }
    return *text ? NRW_OK : nrw_errors_add(errors, NRW_NO_MEMORY, NULL, "out of memory");
}

/* --- steps.json -------------------------------------------------------------------- */

static json_t *heading(const nrw_export *export, const nrw_drive_setting *setting)
{
    json_t *object = json_object();
    const nrw_map *map = &export->config.scenario->map;
    switch (setting->heading_kind) {
    case NRW_HEADING_FIXED:
        put(&object, "kind", json_string("fixed"));
        put(&object, "deg", number(setting->heading_deg));
        break;
    case NRW_HEADING_NODE:
        put(&object, "kind", json_string("node"));
        put(&object, "node", json_string(setting->heading_name));
        put(&object, "at_um", numbers(map->nodes[setting->heading_node].at_um, 2));
        put(&object, "ease_um", number(setting->ease_um));
        break;
    case NRW_HEADING_CENTRELINE:
        put(&object, "kind", json_string("centreline"));
        put(&object, "lookahead_um",
            number(setting->lookahead_um > 0.0
                       ? setting->lookahead_um
                       : nrw_scenario_gathered_diameter_um(export->config.scenario)));
        break;
    }
    put(&object, "steer_by", json_string(setting->steer_by_rear ? "rear" : "centroid"));
    put(&object, "wobble_deg", number(setting->wobble_deg));
    put(&object, "wobble_period_s", number(setting->wobble_period_s));
    return object;
}

static json_t *samples_json(const nrw_samples *samples)
{
    json_t *object = json_object();
    put(&object, "file", json_string(samples->file));
    put(&object, "samples", json_integer((json_int_t)samples->n));
    put(&object, "sample_rate_Hz", number(samples->rate_Hz));
    put(&object, "peak_mT", number(samples->peak_mT));
    return object;
}

/* A setting as field in the frame of its heading (x along it, y across), or in
 * the map's frame in mode general; samples by their file. */
static json_t *setting_json(const nrw_export *export, const nrw_drive_setting *setting)
{
    const nrw_field field = nrw_drive_field(setting, 0.0, setting->tilt_deg);
    json_t *object = json_object();
    put(&object, "mode", json_string(nrw_drive_mode_name(setting->mode)));
    const bool of_map = setting->mode == NRW_DRIVE_GENERAL || setting->mode == NRW_DRIVE_SAMPLED;
    put(&object, "frame", json_string(of_map ? "map" : "heading"));
    put(&object, "frequency_Hz", number(field.frequency_Hz));
    put(&object, "steady_mT", vector(field.steady));
    put(&object, "cos_mT", vector(field.cos));
    put(&object, "sin_mT", vector(field.sin));
    put(&object, "tilt_deg", number(setting->tilt_deg));
    put(&object, "heading", heading(export, setting));
    if (setting->mode == NRW_DRIVE_SAMPLED)
        put(&object, "samples", samples_json(setting->samples));
    return object;
}

static json_t *drive_json(const nrw_export *export, const nrw_drive *drive)
{
    json_t *object = json_object(), *alternate = json_null();
    put(&object, "main", setting_json(export, &drive->main));
    if (drive->alternate_share > 0.0) {
        alternate = json_object();
        put(&alternate, "share", number(drive->alternate_share));
        put(&alternate, "period_s", number(drive->alternate_period_s));
        put(&alternate, "drive", setting_json(export, &drive->other));
    }
    put(&object, "alternate", alternate);
    return object;
}

static json_t *place_json(const nrw_export *export, const nrw_place_condition *place,
                          const char *distance_key)
{
    json_t *object = json_object();
    const nrw_channel *channel = export->config.channel;
    put(&object, "node", json_string(place->name));
    put(&object, "at_um", numbers(export->config.scenario->map.nodes[place->node].at_um, 2));
    put(&object, distance_key, number(place->distance_um));
    if (channel)
        put(&object, "route_um", number(nrw_channel_route_node_um(channel, place->node)));
    return object;
}

static json_t *until_json(const nrw_export *export, const nrw_condition *until)
{
    const struct {
        unsigned bit;
        const char *key;
        double value;
    } plain[] = {
        {NRW_UNTIL_SPREAD_BELOW, "spread_below_um", until->spread_below_um},
        {NRW_UNTIL_WIDTH_BELOW, "width_below_um", until->width_below_um},
        {NRW_UNTIL_ASPECT_ABOVE, "aspect_above", until->aspect_above},
        {NRW_UNTIL_ASPECT_BELOW, "aspect_below", until->aspect_below},
        {NRW_UNTIL_CLUSTER_ABOVE, "cluster_above", until->cluster_above},
        {NRW_UNTIL_ELAPSED, "elapsed_s", until->elapsed_s},
    };
    json_t *object = json_object();
    for (size_t i = 0; i < sizeof plain / sizeof *plain; i++)
        if (until->present & plain[i].bit)
            put(&object, plain[i].key, number(plain[i].value));
    if (until->present & NRW_UNTIL_CENTROID_WITHIN)
        put(&object, "centroid_within", place_json(export, &until->centroid_within, "distance_um"));
    if (until->present & NRW_UNTIL_CENTROID_PAST)
        put(&object, "centroid_past", place_json(export, &until->centroid_past, "beyond_um"));
    if (until->present & NRW_UNTIL_TAIL_PAST)
        put(&object, "tail_past", place_json(export, &until->tail_past, "beyond_um"));
    put(&object, "dwell_s", number(until->dwell_s));
    return object;
}

static json_t *leg_name(const nrw_schedule *schedule, size_t index)
{
    return index < schedule->n_legs ? json_string(schedule->legs[index].name) : json_null();
}

static json_t *segments_json(const nrw_leg_segments *made)
{
    json_t *object = json_object();
    for (int kind = 0; kind < NRW_N_SEGMENT_KINDS; kind++) {
        json_t *one = json_object();
        put(&one, "first_sample", json_integer((json_int_t)made->first[kind]));
        put(&one, "samples", json_integer((json_int_t)made->samples[kind]));
        put(&object, nrw_segment_kind_name((nrw_segment_kind)kind), one);
    }
    put(&object, "loops", made->loops < 0 ? json_null() : json_integer(made->loops));
    put(&object, "largest_shift", number(made->largest_shift));
    return object;
}

static json_t *step_json(const nrw_export *export, const nrw_leg_segments *made, size_t index)
{
    const nrw_schedule *schedule = export->config.schedule;
    const nrw_leg *leg = &schedule->legs[index];
    json_t *object = json_object(), *stall = json_null();
    put(&object, "name", json_string(leg->name));
    put(&object, "drive", drive_json(export, &leg->drive));
    put(&object, "until", until_json(export, &leg->until));
    put(&object, "timeout_s", number(leg->timeout_s));
    put(&object, "next", leg_name(schedule, index + 1));
    put(&object, "on_timeout",
        leg_name(schedule, leg->on_timeout_leg >= 0 ? (size_t)leg->on_timeout_leg : index + 1));
    if (leg->stall_after_s > 0.0) {
        stall = json_object();
        put(&stall, "after_s", number(leg->stall_after_s));
        put(&stall, "min_um", number(leg->stall_min_um));
        put(&stall, "leg", leg_name(schedule, (size_t)leg->stall_leg));
    }
    put(&object, "on_stall", stall);
    put(&object, "max_visits", json_integer(leg->max_visits));
    put(&object, "segments", segments_json(made));
    return object;
}

static json_t *rig_json(const nrw_export *export)
{
    const nrw_rig_model *model = &export->model;
    json_t *object = json_object(), *names = json_array(), *inverse = json_array();
    for (int k = 0; k < model->n_coils; k++) {
        push(&names, json_string(model->names[k]));
        push(&inverse, numbers(model->A_per_mT[k], 3));
    }
    put(&object, "coils", names);
    put(&object, "A_per_mT", inverse);
    put(&object, "offset_A", numbers(model->offset_A, (size_t)model->n_coils));
    put(&object, "current_max_A", numbers(model->allowed[NRW_RIG_PEAK_A], (size_t)model->n_coils));
    return object;
}

/* The route's polyline, for headings along it and places on it. */
static json_t *route_json(const nrw_export *export)
{
    enum { POINTS = 200 };
    const nrw_channel *channel = export->config.channel;
    json_t *array = json_array();
    if (!channel)
        return array;
    const double length = nrw_channel_route_length_um(channel);
    for (int i = 0; i <= POINTS; i++) {
        double at[2];
        nrw_channel_route_point(channel, length * i / POINTS, at, NULL);
        push(&array, numbers(at, 2));
        if (length == 0.0)
            break;
    }
    return array;
}

nrw_status nrw_export_steps(const nrw_export *export, const nrw_segments *segments, char **text,
                            nrw_errors *errors)
{
    const nrw_scenario *scenario = export->config.scenario;
    json_t *root = json_object(), *steps = json_array();
    put(&root, "format", json_string("narrows-steps/1"));
    put(&root, "scenario_sha256", json_string(scenario->sha256));
    put(&root, "deadline_s", number(scenario->deadline_s));
    put(&root, "frame_rate_Hz", number(scenario->imaging.frame_rate_Hz));
    put(&root, "sample_rate_Hz", number(segments->sample_rate_Hz));
    put(&root, "segments_file", json_string("segments.npy"));
    put(&root, "rig", rig_json(export));
    put(&root, "route_um", route_json(export));
    for (size_t i = 0; i < segments->n_legs; i++)
        push(&steps, step_json(export, &segments->legs[i], i));
    put(&root, "steps", steps);
    return dump(root, text, errors);
}

/* --- waveform.json -------------------------------------------------------------------- */

static json_t *visits_json(const nrw_export *export)
{
    const nrw_timeline *timeline = &export->timeline;
    json_t *array = json_array();
    for (size_t i = 0; i < timeline->n_items;) {
        const nrw_timeline_item *item = &timeline->items[i];
        size_t next = i + 1;
        while (next < timeline->n_items && timeline->items[next].leg == item->leg &&
               timeline->items[next].leg_start_s == item->leg_start_s)
            next++;
        json_t *visit = json_object();
        put(&visit, "leg", json_string(export->config.schedule->legs[item->leg].name));
        put(&visit, "start_s", number(item->time_s));
        put(&visit, "end_s",
            number(next < timeline->n_items ? timeline->items[next].time_s : timeline->end_s));
        push(&array, visit);
        i = next;
    }
    return array;
}

static json_t *coil_names(const nrw_rig_model *model)
{
    json_t *array = json_array();
    for (int k = 0; k < model->n_coils; k++)
        push(&array, json_string(model->names[k]));
    return array;
}

nrw_status nrw_export_waveform_json(const nrw_export *export, size_t data_offset,
                                    size_t segments_offset, char **text, nrw_errors *errors)
{
    const bool from_run = export->times == NRW_EXPORT_TIMES_RUN;
    json_t *root = json_object(), *allowed = json_array();
    put(&root, "format", json_string("narrows-waveform/1"));
    put(&root, "scenario_sha256", json_string(export->config.scenario->sha256));
    put(&root, "samples", json_integer((json_int_t) export->samples));
    put(&root, "sample_rate_Hz", number(nrw_wave_sample_rate_Hz(export->wave)));
    put(&root, "duration_s", number(export->duration_s));
    put(&root, "coils", coil_names(&export->model));
    put(&root, "type", json_string("float32, little-endian, row after row"));
    put(&root, "currents_offset_bytes", json_integer((json_int_t)data_offset));
    put(&root, "segments_offset_bytes", json_integer((json_int_t)segments_offset));
    put(&root, "times_from", json_string(from_run ? "run" : "clock"));
    put(&root, "seed",
        from_run && export->config.seed <= INT64_MAX
            ? json_integer((json_int_t) export->config.seed)
            : json_null());
    for (int i = 0; i < NRW_N_ALLOWANCES; i++)
        if (export->config.allowed & 1U << i)
            push(&allowed, json_string(nrw_export_allowance_name(i)));
    put(&root, "allowed_by_name", allowed);
    put(&root, "joins", json_integer((json_int_t) export->n_joins));
    put(&root, "longest_join_s", number(export->longest_join_s));
    put(&root, "visits", visits_json(export));
    return dump(root, text, errors);
}
