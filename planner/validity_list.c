#include "validity_list.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "../sim/leg_watch.h"
#include "rig_curve.h"

enum { WARNING_SIZE = 700, PLACES_SIZE = 300 };

/* --- the list ------------------------------------------------------------------------- */

/* Half the diagonal of the map, whose middle is taken to lie in the coils' middle. */
static double field_error(const nrw_scenario *scenario, const nrw_channel *channel)
{
    double bounds[4];
    nrw_rig_uniformity uniformity;
    if (!channel)
        return NAN;
    nrw_channel_bounds(channel, bounds);
    const double reach_mm = 0.5e-3 * hypot(bounds[2] - bounds[0], bounds[3] - bounds[1]);
    return nrw_rig_uniformity_at(scenario, reach_mm, &uniformity) ? uniformity.field_error : NAN;
}

static nrw_validity_entry *append(nrw_validity_list *list, const char *strategy, const char *leg)
{
    nrw_validity_entry *entries = realloc(list->entries, (list->n + 1) * sizeof *entries);
    if (!entries) {
        list->failed = true;
        return NULL;
    }
    list->entries = entries;
    nrw_validity_entry *entry = &entries[list->n++];
    memset(entry, 0, sizeof *entry);
    (void)snprintf(entry->strategy, sizeof entry->strategy, "%s", strategy ? strategy : "");
    (void)snprintf(entry->leg, sizeof entry->leg, "%s", leg);
    return entry;
}

/* What all visits of a leg saw, and the model that they used; false: never entered. */
static bool seen_of_leg(const nrw_run_result *run, size_t leg, nrw_leg_seen *seen, nrw_model *model)
{
    bool entered = false;
    for (size_t k = 0; k < run->n_visits; k++) {
        if (run->visits[k].leg != (int)leg)
            continue;
        *seen = entered ? nrw_leg_seen_merge(*seen, run->visits[k].seen) : run->visits[k].seen;
        *model = run->visits[k].model;
        entered = true;
    }
    return entered;
}

void nrw_validity_list_add(nrw_validity_list *list, const nrw_scenario *scenario,
                           const nrw_channel *channel, const nrw_schedule *schedule,
                           const char *strategy, nrw_model model, const nrw_draw *draw,
                           const nrw_run_result *run)
{
    const bool ran = run && run->n_visits > 0;
    const double error = field_error(scenario, channel);
    for (size_t k = 0; k < schedule->n_legs; k++) {
        nrw_leg_seen seen;
        nrw_model used = model;
        if (ran && !seen_of_leg(run, k, &seen, &used))
            continue;
        nrw_validity_entry *entry = append(list, strategy, schedule->legs[k].name);
        if (!entry)
            return;
        nrw_validity_of_leg(scenario, channel, &schedule->legs[k], used, draw, ran ? &seen : NULL,
                            &entry->validity);
        nrw_validity_add(&entry->validity, NRW_ASSUME_UNIFORM_FIELD, error);
    }
}

void nrw_validity_list_clear(nrw_validity_list *list)
{
    free(list->entries);
    memset(list, 0, sizeof *list);
}

/* --- one assumption over all entries ------------------------------------------------------ */

static const nrw_validity_item *item_of(const nrw_validity_entry *entry, nrw_assumption assumption)
{
    for (size_t k = 0; k < entry->validity.n_items; k++)
        if (entry->validity.items[k].assumption == assumption)
            return &entry->validity.items[k];
    return NULL;
}

/* Worse state, or in the same state the value further toward the bounds. */
static bool worse(const nrw_validity_item *a, const nrw_validity_item *b)
{
    const bool least = nrw_assumption_words_of(a->assumption).least;
    if (a->state != b->state)
        return a->state > b->state;
    return least ? a->value < b->value : a->value > b->value;
}

static const nrw_validity_item *worst_of(const nrw_validity_list *list, nrw_assumption assumption)
{
    const nrw_validity_item *worst = NULL;
    for (size_t k = 0; k < list->n; k++) {
        const nrw_validity_item *item = item_of(&list->entries[k], assumption);
        if (item && (!worst || worse(item, worst)))
            worst = item;
    }
    return worst;
}

/* Names of the legs in that state, or how many; "every leg" where there is no other. */
static void put_places(const nrw_validity_list *list, nrw_assumption assumption,
                       nrw_validity_state state, char *text, size_t size)
{
    size_t n = 0, used = 0;
    for (size_t k = 0; k < list->n; k++) {
        const nrw_validity_item *item = item_of(&list->entries[k], assumption);
        n += item && item->state == state;
    }
    if (n == list->n && n > 1) {
        (void)snprintf(text, size, "every leg");
        return;
    }
    if (n > 6) {
        (void)snprintf(text, size, "%zu of %zu legs", n, list->n);
        return;
    }
    used = (size_t)snprintf(text, size, "leg%s ", n > 1 ? "s" : "");
    const char *comma = "";
    for (size_t k = 0; k < list->n && used < size; k++) {
        const nrw_validity_entry *entry = &list->entries[k];
        const nrw_validity_item *item = item_of(entry, assumption);
        if (!item || item->state != state)
            continue;
        used += (size_t)snprintf(text + used, size - used, "%s'%s'%s%s", comma, entry->leg,
                                 entry->strategy[0] ? " of " : "", entry->strategy);
        comma = ", ";
    }
}

/* --- figures ------------------------------------------------------------------------------- */

static void add_item(nrw_result *result, const nrw_validity_item *item)
{
    const nrw_assumption_words words = nrw_assumption_words_of(item->assumption);
    nrw_result_open_object(result, NULL);
    nrw_result_string(result, "assumption", words.key);
    nrw_result_string(result, "name", words.name);
    nrw_result_string(result, "state", nrw_validity_state_name(item->state));
    nrw_result_number(result, "value", item->value);
    nrw_result_string(result, "unit", words.unit);
    nrw_result_string(result, "bound", words.least ? "at least" : "at most");
    nrw_result_number(result, "marginal", item->marginal);
    nrw_result_number(result, "outside", item->outside);
    nrw_result_string(result, "text", item->text);
    nrw_result_string(result, "source", words.source);
    nrw_result_close(result);
}

static void warn(nrw_result *result, const nrw_validity_list *list)
{
    for (int k = 0; k < NRW_N_ASSUMPTIONS; k++) {
        const nrw_validity_item *item = worst_of(list, (nrw_assumption)k);
        if (!item || item->state != NRW_VALIDITY_OUTSIDE)
            continue;
        const nrw_assumption_words words = nrw_assumption_words_of(item->assumption);
        char text[WARNING_SIZE], places[PLACES_SIZE];
        put_places(list, item->assumption, item->state, places, sizeof places);
        (void)snprintf(text, sizeof text,
                       "outside the model's range: %s is %.3g, %s %.3g, in %s: %s", words.name,
                       item->value, words.least ? "below" : "above", item->outside, places,
                       item->text);
        nrw_result_warn(result, text);
    }
}

void nrw_validity_figures(nrw_result *result, const nrw_validity_list *list)
{
    nrw_result_open_array(result, "validity");
    for (size_t k = 0; k < list->n; k++) {
        const nrw_validity_entry *entry = &list->entries[k];
        nrw_result_open_object(result, NULL);
        nrw_result_string(result, "strategy", entry->strategy[0] ? entry->strategy : NULL);
        nrw_result_string(result, "leg", entry->leg);
        nrw_result_string(result, "model", nrw_model_name(entry->validity.model));
        nrw_result_string(result, "state",
                          nrw_validity_state_name(nrw_validity_worst(&entry->validity)));
        nrw_result_open_array(result, "assumptions");
        for (size_t i = 0; i < entry->validity.n_items; i++)
            add_item(result, &entry->validity.items[i]);
        nrw_result_close(result);
        nrw_result_close(result);
    }
    nrw_result_close(result);
    if (list->failed)
        nrw_result_warn(result, "memory was short: the list of what the model assumes is not "
                                "complete");
    warn(result, list);
}

/* --- words ----------------------------------------------------------------------------------- */

void nrw_validity_describe(const nrw_validity_list *list, FILE *stream)
{
    if (list->n == 0)
        return;
    (void)fprintf(stream, "\nWhat the model assumes, where it is furthest from holding\n");
    for (int k = 0; k < NRW_N_ASSUMPTIONS; k++) {
        const nrw_validity_item *item = worst_of(list, (nrw_assumption)k);
        if (!item)
            continue;
        const nrw_assumption_words words = nrw_assumption_words_of(item->assumption);
        (void)fprintf(stream, "  %-8s  %-60s %8.3g  ", nrw_validity_state_name(item->state),
                      words.name, item->value);
        if (isfinite(item->marginal))
            (void)fprintf(stream, "%s %.3g", words.least ? "at least" : "at most", item->marginal);
        else
            (void)fprintf(stream, "any");
        if (isfinite(item->outside))
            (void)fprintf(stream, "; outside %s %.3g", words.least ? "below" : "above",
                          item->outside);
        (void)fprintf(stream, "\n");
        if (item->state == NRW_VALIDITY_OK)
            continue;
        char places[PLACES_SIZE];
        put_places(list, item->assumption, item->state, places, sizeof places);
        (void)fprintf(stream, "            in %s: %s\n", places, item->text);
    }
}
