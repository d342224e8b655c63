/* What a plan leaves behind: figures of result.json, and search.csv. */
#include <math.h>

#include "../sim/csv.h"
#include "plan.h"

nrw_status nrw_plan_search_csv(nrw_store *store, const nrw_plan_result *plan, nrw_errors *errors)
{
    static const char name[] = "search.csv";
    FILE *file;
    nrw_csv csv;
    nrw_status status = nrw_store_file_open(store, name, &file, errors);
    if (status != NRW_OK)
        return status;
    nrw_csv_begin(&csv, file,
                  "stage,recipe,trials,delivered_mean,delivered_least,time_s,diverged,field_mT,"
                  "frequency_Hz,tilt_deg,other_tilt_deg,share,period_s,wobble_deg,wobble_period_s,"
                  "lookahead_um,steer_by,dwell_s,home_tilt_deg,collects,passed_by");
    for (size_t k = 0; k < plan->n_rows; k++) {
        const nrw_plan_row *row = &plan->rows[k];
        const nrw_recipe *recipe = &row->recipe;
        const bool alternates = recipe->share > 0.0, wobbles = recipe->wobble_deg > 0.0;
        nrw_csv_text(&csv, row->stage);
        nrw_csv_text(&csv, recipe->name);
        nrw_csv_integer(&csv, (int64_t)row->n_trials);
        nrw_csv_number(&csv, row->mean);
        nrw_csv_number(&csv, row->least);
        nrw_csv_number(&csv, row->time_s);
        nrw_csv_integer(&csv, (int64_t)row->n_failed);
        nrw_csv_number(&csv, recipe->field_mT);
        nrw_csv_number(&csv, recipe->frequency_Hz);
        nrw_csv_number(&csv, recipe->tilt_deg);
        nrw_csv_number(&csv, alternates ? recipe->other_tilt_deg : NAN);
        nrw_csv_number(&csv, recipe->share);
        nrw_csv_number(&csv, alternates ? recipe->period_s : NAN);
        nrw_csv_number(&csv, recipe->wobble_deg);
        nrw_csv_number(&csv, wobbles ? recipe->wobble_period_s : NAN);
        nrw_csv_number(&csv, recipe->lookahead_um);
        nrw_csv_text(&csv, recipe->steer_by_rear ? "rear" : "centroid");
        nrw_csv_number(&csv, recipe->dwell_s);
        nrw_csv_number(&csv, recipe->home_tilt_deg);
        nrw_csv_integer(&csv, recipe->collects);
        nrw_csv_text(&csv, recipe->leave_by_centroid ? "centroid" : "tail");
        nrw_csv_end_record(&csv);
    }
    return nrw_store_file_close(store, name, file, errors);
}

static void add_conditions(nrw_result *result, const nrw_necessary *necessary)
{
    nrw_result_open_array(result, "conditions");
    for (int k = 0; k < NRW_N_NEEDS; k++) {
        const nrw_necessary_check *check = &necessary->checks[k];
        nrw_result_open_object(result, NULL);
        nrw_result_string(result, "condition", nrw_necessary_name(check->kind));
        nrw_result_bool(result, "holds", check->holds);
        nrw_result_number(result, "value", check->value);
        nrw_result_number(result, "needed", check->needed);
        nrw_result_string(result, "unit", check->unit);
        nrw_result_string(result, "text", check->text);
        nrw_result_close(result);
    }
    nrw_result_close(result);
}

static void add_text(nrw_result *result, const char *key, const char *text)
{
    if (text[0] != '\0')
        nrw_result_string(result, key, text);
    else
        nrw_result_null(result, key);
}

static void add_trials(nrw_result *result, const nrw_plan_result *plan)
{
    nrw_result_open_array(result, "verification");
    for (size_t k = 0; k < plan->n_verification; k++) {
        const nrw_outcome *outcome = &plan->verification[k];
        nrw_result_open_object(result, NULL);
        nrw_result_integer(result, "trial", (int64_t)k);
        nrw_result_number(result, "delivered_fraction", outcome->delivered);
        nrw_result_number(result, "time_s", outcome->time_s);
        nrw_result_number(result, "time_to_target_s", outcome->time_to_target_s);
        nrw_result_number(result, "without_reshaping", plan->simple[k].delivered);
        nrw_result_close(result);
    }
    nrw_result_close(result);
}

/* Means over the verification trials; none without trials. */
static void add_lost(nrw_result *result, const nrw_plan_result *plan)
{
    double fates[NRW_N_FATES] = {0}, causes[NRW_N_LOSS_CAUSES] = {0};
    const double n = (double)plan->n_verification;
    if (plan->n_verification == 0)
        return;
    for (size_t k = 0; k < plan->n_verification; k++) {
        for (int f = 0; f < NRW_N_FATES; f++)
            fates[f] += plan->verification[k].fate[f] / n;
        for (int c = 0; c < NRW_N_LOSS_CAUSES; c++)
            causes[c] += plan->verification[k].loss[c] / n;
    }
    nrw_result_open_object(result, "lost");
    for (int f = 0; f < NRW_N_FATES; f++)
        if (f != NRW_FATE_DELIVERED)
            nrw_result_number(result, nrw_fate_name((nrw_fate)f), fates[f]);
    nrw_result_close(result);
    nrw_result_open_object(result, "lost_by_cause");
    for (int c = 0; c < NRW_N_LOSS_CAUSES; c++)
        nrw_result_number(result, nrw_loss_cause_name((nrw_loss_cause)c), causes[c]);
    nrw_result_close(result);
}

void nrw_plan_figures(nrw_result *result, const nrw_plan_result *plan)
{
    nrw_result_bool(result, "found", plan->found);
    nrw_result_number(result, "delivered_fraction", plan->delivered);
    nrw_result_number(result, "delivered_low", plan->low);
    nrw_result_number(result, "delivered_high", plan->high);
    nrw_result_number(result, "time_s", plan->time_s);
    nrw_result_integer(result, "legs", (int64_t)plan->schedule.n_legs);
    nrw_result_integer(result, "candidates_tried", (int64_t)plan->n_candidates);
    nrw_result_number(result, "best_without_reshaping", plan->baseline);
    add_text(result, "reason", plan->reason);
    add_text(result, "nearest_change", plan->nearest_change);
    if (plan->searched) {
        char text[256];
        nrw_recipe_describe(&plan->recipe, text, sizeof text);
        nrw_result_string(result, "recipe", text);
        nrw_recipe_describe(&plan->baseline_recipe, text, sizeof text);
        nrw_result_string(result, "baseline_recipe", text);
    }
    add_lost(result, plan);
    add_trials(result, plan);
    add_conditions(result, &plan->necessary);
}
