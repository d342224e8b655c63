#include "limit.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "yaml_read.h"

#define LIMITS_MAX 1000

typedef struct law_entry {
    const char *name, *unit;
    const char *level_key; /* NULL: pieces */
} law_entry;

static const law_entry laws[NRW_N_LIMIT_LAWS] = {
    [NRW_LIMIT_REFERENCE_LEVEL] = {"reference_level", "", NULL},
    [NRW_LIMIT_STATIC_LEVEL] = {"static_level", "mT", "static_mT"},
    [NRW_LIMIT_FIELD_LEVEL] = {"field_level", "mT", "field_mT"},
    [NRW_LIMIT_NERVE_STIMULATION] = {"nerve_stimulation", "T/s", "rheobase_T_s"},
    [NRW_LIMIT_FIELD_FREQUENCY] = {"field_frequency", "A/(m s)", "product_A_m_s"},
    [NRW_LIMIT_STORED_ENERGY] = {"stored_energy", "J", "energy_J"},
    [NRW_LIMIT_TOUCH_VOLTAGE] = {"touch_voltage", "V", "peak_V"},
    [NRW_LIMIT_COIL_TEMPERATURE] = {"coil_temperature", "°C", "temperature_C"},
    [NRW_LIMIT_SAMPLE_HEATING] = {"sample_heating", "K", "rise_K"},
};

const char *nrw_limit_law_name(nrw_limit_law law)
{
    return laws[law].name;
}

const char *nrw_limit_law_unit(nrw_limit_law law)
{
    return laws[law].unit;
}

/* --- reading ------------------------------------------------------------------ */

static void read_text(nrw_yaml_doc *doc, const nrw_yaml_node *map, const char *key, char *text,
                      size_t size)
{
    const nrw_yaml_node *node = nrw_yaml_get(map, key);
    if (node)
        (void)nrw_yaml_name(doc, node, text, size);
}

static void read_pieces(nrw_yaml_doc *doc, const nrw_yaml_node *map, nrw_limit *limit)
{
    static const char expected[] =
        "a list of [from Hz, below Hz, level in mT at 1 Hz, power of the frequency], rising";
    static const nrw_yaml_range any = {-1e15, 1e15, false, false};
    const nrw_yaml_node *list = nrw_yaml_get(map, "rms_mT");
    if (!list || !nrw_yaml_is_list(doc, list, expected))
        return;
    if (list->n_children < 1 || list->n_children > NRW_LIMIT_PIECES_MAX) {
        (void)nrw_yaml_error(doc, list, expected, "is a list of %u", list->n_children);
        return;
    }
    for (const nrw_yaml_node *child = list->first; child; child = child->next) {
        double v[4] = {0.0, 0.0, 0.0, 0.0};
        if (!nrw_yaml_vector(doc, child, 4, 4, any, expected, v, NULL))
            continue;
        const double before = child->index ? limit->pieces[child->index - 1].below_Hz : 0.0;
        if (!(v[0] >= before && v[1] > v[0] && v[2] > 0.0 && fabs(v[3]) <= 10.0))
            (void)nrw_yaml_error(doc, child, expected, "is no such piece, or overlaps the last");
        limit->pieces[child->index] = (nrw_limit_piece){v[0], v[1], v[2], v[3]};
    }
    limit->n_pieces = list->n_children;
}

static nrw_limit_law read_law(nrw_yaml_doc *doc, const nrw_yaml_node *map)
{
    const char *names[NRW_N_LIMIT_LAWS];
    for (int i = 0; i < NRW_N_LIMIT_LAWS; i++)
        names[i] = laws[i].name;
    const nrw_yaml_node *node = nrw_yaml_get(map, "law");
    const int law = node ? nrw_yaml_choice(doc, node, names, NRW_N_LIMIT_LAWS) : -1;
    return law < 0 ? NRW_N_LIMIT_LAWS : (nrw_limit_law)law;
}

static void read_limit(nrw_yaml_doc *doc, const nrw_yaml_node *map, nrw_limit *limit)
{
    if (!nrw_yaml_is_map(doc, map))
        return;
    limit->law = read_law(doc, map);
    if (limit->law == NRW_N_LIMIT_LAWS) {
        if (!nrw_yaml_get(map, "law"))
            (void)nrw_yaml_error_missing(doc, map, "law", "the law that the limit follows");
        return; /* which keys belong here is not known */
    }
    const char *level_key = laws[limit->law].level_key;
    const bool nerve = limit->law == NRW_LIMIT_NERVE_STIMULATION;
    nrw_yaml_field fields[10] = {NRW_REQUIRED_OTHER("name"),   NRW_REQUIRED_OTHER("law"),
                                 NRW_REQUIRED_OTHER("who"),    NRW_REQUIRED_OTHER("where"),
                                 NRW_REQUIRED_OTHER("source"), NRW_OPTIONAL_OTHER("date"),
                                 NRW_REQUIRED_OTHER("action")};
    size_t n = 7;
    if (level_key)
        fields[n++] = (nrw_yaml_field)NRW_REQUIRED("", NRW_YAML_DOUBLE, nrw_limit, level,
                                                   NRW_ABOVE_TO(0.0, 1e18));
    else
        fields[n++] = (nrw_yaml_field)NRW_REQUIRED_OTHER("rms_mT");
    if (level_key)
        fields[n - 1].key = level_key;
    if (nerve) {
        fields[n++] = (nrw_yaml_field)NRW_REQUIRED("chronaxie_ms", NRW_YAML_DOUBLE, nrw_limit,
                                                   chronaxie_ms, NRW_ABOVE_TO(0.0, 1e6));
        fields[n++] = (nrw_yaml_field)NRW_REQUIRED("share", NRW_YAML_DOUBLE, nrw_limit, share,
                                                   NRW_ABOVE_TO(0.0, 10.0));
    }
    (void)nrw_yaml_fields(doc, map, fields, n, limit);
    read_text(doc, map, "name", limit->name, sizeof limit->name);
    read_text(doc, map, "who", limit->who, sizeof limit->who);
    read_text(doc, map, "where", limit->where, sizeof limit->where);
    read_text(doc, map, "source", limit->source, sizeof limit->source);
    read_text(doc, map, "date", limit->date, sizeof limit->date);
    read_text(doc, map, "action", limit->action, sizeof limit->action);
    if (!level_key)
        read_pieces(doc, map, limit);
}

static void refuse_twins(nrw_yaml_doc *doc, const nrw_yaml_node *list, const nrw_limits *limits)
{
    for (const nrw_yaml_node *child = list->first; child; child = child->next)
        for (unsigned i = 0; i < child->index; i++)
            if (limits->items[i].name[0] &&
                strcmp(limits->items[i].name, limits->items[child->index].name) == 0)
                (void)nrw_yaml_error(doc, child, "a name of its own", "has the name '%s' again",
                                     limits->items[i].name);
}

static void read_limits(nrw_yaml_doc *doc, const nrw_yaml_node *root, nrw_limits *limits)
{
    static const nrw_yaml_field fields[] = {NRW_REQUIRED_OTHER("format"),
                                            NRW_REQUIRED_OTHER("limits")};
    if (!nrw_yaml_format(doc, root, "narrows-limits", "narrows-scenario"))
        return;
    (void)nrw_yaml_fields(doc, root, fields, sizeof fields / sizeof *fields, limits);
    const nrw_yaml_node *list = nrw_yaml_get(root, "limits");
    if (!list || !nrw_yaml_is_list(doc, list, "a list of limits"))
        return;
    if (list->n_children > LIMITS_MAX) {
        (void)nrw_yaml_error(doc, list, "at most 1000 limits", "is a list of %u", list->n_children);
        return;
    }
    limits->items = calloc(list->n_children ? list->n_children : 1, sizeof *limits->items);
    if (!limits->items) {
        (void)nrw_yaml_no_memory(doc);
        return;
    }
    limits->n_items = list->n_children;
    for (const nrw_yaml_node *child = list->first; child; child = child->next)
        read_limit(doc, child, &limits->items[child->index]);
    refuse_twins(doc, list, limits);
}

nrw_status nrw_limits_parse(const char *text, size_t size, const char *name, nrw_limits *limits,
                            nrw_errors *errors)
{
    nrw_yaml_doc *doc = NULL;
    memset(limits, 0, sizeof *limits);
    nrw_status status = nrw_yaml_create(text, size, name, errors, &doc);
    if (status != NRW_OK)
        return status;
    const nrw_yaml_node *root = nrw_yaml_root(doc);
    if (root)
        read_limits(doc, root, limits);
    status = nrw_yaml_finish(doc);
    nrw_yaml_destroy(doc);
    if (status != NRW_OK)
        nrw_limits_clear(limits);
    return status;
}

nrw_status nrw_limits_load(const char *path, nrw_limits *limits, nrw_errors *errors)
{
    char *text = NULL;
    size_t size = 0;
    memset(limits, 0, sizeof *limits);
    nrw_status status = nrw_yaml_load_text(path, &text, &size, errors);
    if (status == NRW_OK)
        status = nrw_limits_parse(text, size, path, limits, errors);
    free(text);
    return status;
}

nrw_status nrw_limits_default(nrw_limits *limits, nrw_errors *errors)
{
    memset(limits, 0, sizeof *limits);
    char *text = nrw_limits_default_text();
    if (!text)
        return nrw_errors_add(errors, NRW_NO_MEMORY, NULL, "out of memory");
    const nrw_status status =
        nrw_limits_parse(text, strlen(text), "docs/limits.yaml", limits, errors);
    free(text);
    return status;
}

void nrw_limits_clear(nrw_limits *limits)
{
    free(limits->items);
    memset(limits, 0, sizeof *limits);
}

/* --- laws --------------------------------------------------------------------- */

double nrw_limit_reference_mT(const nrw_limit *limit, double frequency_Hz)
{
    for (size_t i = 0; i < limit->n_pieces; i++) {
        const nrw_limit_piece *piece = &limit->pieces[i];
        if (frequency_Hz >= piece->from_Hz && frequency_Hz < piece->below_Hz)
            return piece->level_mT * pow(frequency_Hz, piece->power);
    }
    return INFINITY;
}

double nrw_limit_rate_T_s(const nrw_limit *limit, double duration_ms)
{
    return limit->share * limit->level * (1.0 + limit->chronaxie_ms / duration_ms);
}
