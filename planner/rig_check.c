/* A schedule against the rig, with reasons. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "rig.h"

#define MISSING_SHARE 1e-6
#define ROUNDING 1e-9
#define SAMPLES_ROUNDING 2e-5 /* of samples in float; their joins are planned to 1e-6 */

typedef struct checked_drive {
    const nrw_scenario *scenario;
    const nrw_rig_model *model;
    const nrw_drive_setting *setting;
    const char *leg;
    const char *part; /* "" or which of two alternating drives */
    nrw_errors *errors;
} checked_drive;

/* What this rig would give instead, for the hint behind a refusal. */
static void describe_enough(const checked_drive *drive, char *text, size_t size)
{
    const nrw_rig *rig = &drive->scenario->rig;
    if (drive->setting->mode == NRW_DRIVE_SAMPLED) {
        (void)snprintf(text, size, "samples of a schedule within this rig, as export makes them");
        return;
    }
    nrw_drive_setting slower = *drive->setting;
    slower.frequency_Hz = fmin(slower.frequency_Hz, rig->frequency_max_Hz);
    const double field_mT = nrw_rig_available_field_mT(rig, &slower, NULL);
    const double frequency_Hz = nrw_rig_available_frequency_Hz(rig, drive->setting);
    if (!(field_mT > 0.0))
        (void)snprintf(text, size, "no field of this shape can be had on this rig");
    else if (frequency_Hz > 0.0 && frequency_Hz < drive->setting->frequency_Hz)
        (void)snprintf(text, size,
                       "this rig gives up to %.4g mT at %.4g Hz, or %.4g mT up to %.4g Hz",
                       field_mT, slower.frequency_Hz, drive->setting->field_mT, frequency_Hz);
    else
        (void)snprintf(text, size, "this rig gives up to %.4g mT at %.4g Hz in this shape",
                       field_mT, slower.frequency_Hz);
}

static void refuse(const checked_drive *drive, const char *what)
{
    char enough[200];
    describe_enough(drive, enough, sizeof enough);
    (void)nrw_errors_add(drive->errors, NRW_REFUSED, enough, "leg \"%s\"%s: %s", drive->leg,
                         drive->part, what);
}

static void refuse_axis(const checked_drive *drive, const nrw_rig_demand *demand)
{
    const nrw_rig_axis *axes = drive->scenario->rig.axes;
    const char *axis = !axes[2].present   ? "the rig has no z axis"
                       : !axes[1].present ? "the rig has no y axis"
                       : !axes[0].present ? "the rig has no x axis"
                                          : "the coils don't span this direction";
    (void)nrw_errors_add(drive->errors, NRW_REFUSED, "a drive that does without it",
                         "leg \"%s\"%s: %.4g mT of the field can't be made, %s", drive->leg,
                         drive->part, demand->missing_mT, axis);
}

static bool over(const checked_drive *drive, double value, double allowed)
{
    const bool sampled = drive->setting->mode == NRW_DRIVE_SAMPLED;
    return value > allowed * (1.0 + (sampled ? SAMPLES_ROUNDING : ROUNDING));
}

static void refuse_coil(const checked_drive *drive, const nrw_rig_demand *demand,
                        const nrw_rig_binding *exceeded)
{
    const char *unit = nrw_rig_quantity_unit(exceeded->quantity);
    const double at_s = demand->at_s[exceeded->quantity][exceeded->coil];
    char what[200], where[40];
    if (drive->setting->mode != NRW_DRIVE_SAMPLED)
        (void)snprintf(where, sizeof where, "heading %.0f deg", exceeded->heading_deg);
    else
        (void)snprintf(where, sizeof where, "%.6g s of its samples", at_s);
    (void)snprintf(what, sizeof what,
                   "coil %.24s would need %s %.4g %s at %s, its limit is %.4g %s",
                   drive->model->names[exceeded->coil], nrw_rig_binding_name(exceeded),
                   exceeded->value, unit, where, exceeded->allowed, unit);
    refuse(drive, what);
}

static bool check_drive(const checked_drive *drive)
{
    const nrw_drive_setting *setting = drive->setting;
    const nrw_rig_model *model = drive->model;
    if (setting->mode == NRW_DRIVE_OFF)
        return true;
    const nrw_rig_demand demand = nrw_rig_demand_of(model, setting);
    char what[200];
    bool fits = true;
    if (demand.missing_mT > MISSING_SHARE * demand.peak_field_mT) {
        refuse_axis(drive, &demand);
        fits = false;
    }
    if (setting->mode != NRW_DRIVE_STEADY &&
        over(drive, setting->frequency_Hz, model->frequency_max_Hz)) {
        (void)snprintf(what, sizeof what, "%.6g Hz is above the rig's frequency_max_Hz of %.6g",
                       setting->frequency_Hz, model->frequency_max_Hz);
        refuse(drive, what);
        fits = false;
    }
    if (over(drive, demand.peak_field_mT, model->field_max_mT)) {
        (void)snprintf(what, sizeof what, "%.6g mT peak is above the rig's field_max_mT of %.6g",
                       demand.peak_field_mT, model->field_max_mT);
        refuse(drive, what);
        fits = false;
    }
    for (int q = 0; q < NRW_RIG_N_QUANTITIES; q++) {
        for (int k = 0; k < model->n_coils; k++) {
            if (!over(drive, demand.largest[q][k], model->allowed[q][k]))
                continue;
            const nrw_rig_binding exceeded = {
                NRW_RIG_COIL,         (nrw_rig_quantity)q,  k,
                demand.largest[q][k], model->allowed[q][k], demand.heading_deg[q][k]};
            refuse_coil(drive, &demand, &exceeded);
            fits = false;
        }
    }
    return fits;
}

nrw_status nrw_rig_check_schedule(const nrw_scenario *scenario, const nrw_schedule *schedule,
                                  nrw_errors *errors)
{
    nrw_rig_model model;
    nrw_status status = nrw_rig_model_init(&model, &scenario->rig, errors);
    if (status != NRW_OK || !model.present)
        return status;
    bool fits = true;
    for (size_t i = 0; i < schedule->n_legs; i++) {
        const nrw_leg *leg = &schedule->legs[i];
        const bool alternates = leg->drive.alternate_share > 0.0;
        checked_drive drive = {scenario, &model, &leg->drive.main, leg->name, "", errors};
        fits = check_drive(&drive) && fits;
        if (alternates) {
            drive.setting = &leg->drive.other;
            drive.part = " (alternate drive)";
            fits = check_drive(&drive) && fits;
        }
    }
    return fits ? NRW_OK : NRW_REFUSED;
}
