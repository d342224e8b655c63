/* Drives, conditions and losses in words. */
#include "report_parts.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

const char *nrw_report_fate_word(nrw_fate fate)
{
    switch (fate) {
    case NRW_FATE_WALL:
        return "stuck to a wall";
    case NRW_FATE_WASHED_OUT:
        return "washed out";
    case NRW_FATE_DELIVERED:
        return "delivered";
    case NRW_FATE_LEFT_BEHIND:
        return "left behind";
    case NRW_FATE_IN_TRANSIT:
        return "on the way with the swarm";
    case NRW_FATE_SCATTERED:
    case NRW_N_FATES:
        break;
    }
    return "scattered";
}

const char *nrw_report_cause_word(nrw_loss_cause cause)
{
    switch (cause) {
    case NRW_LOSS_PLUGGED:
        return "the swarm plugged the way before the mouth";
    case NRW_LOSS_POCKET:
        return "left in a pocket beside the mouth";
    case NRW_LOSS_IN_THROAT:
        return "still in the throat at the end";
    case NRW_LOSS_WRONG_BRANCH:
        return "in a branch off the route";
    case NRW_LOSS_PAST_BUT_APART:
        return "past the throat, but apart from the swarm";
    case NRW_LOSS_STUCK:
        return "stuck to a wall";
    case NRW_LOSS_SWEPT:
        return "swept away by the flow";
    case NRW_LOSS_OTHER:
    case NRW_N_LOSS_CAUSES:
        break;
    }
    return "for another reason";
}

const char *nrw_report_cause_advice(nrw_loss_cause cause)
{
    switch (cause) {
    case NRW_LOSS_PLUGGED:
        return "Soften the swarm before the mouth: more tilt, a heading that swings, or two tilts "
               "in quick alternation; or fewer particles at a time.";
    case NRW_LOSS_POCKET:
        return "Sweep along the shoulders: a wider or slower swing of the heading, or steer by "
               "the rear of the swarm; a tapered mouth helps more than any drive.";
    case NRW_LOSS_IN_THROAT:
        return "Give the passage more time: a longer time limit, a dwell after the tail has "
               "passed, or a higher frequency.";
    case NRW_LOSS_WRONG_BRANCH:
        return "Keep the swarm shorter at the fork: gather again before it, and look less far "
               "ahead.";
    case NRW_LOSS_PAST_BUT_APART:
        return "Collect: drive back for some seconds and home again, twice; waiting does not "
               "help, since a uniform field moves all pieces alike.";
    case NRW_LOSS_STUCK:
        return "Check the adhesion that was assumed; pass faster and farther from the walls.";
    case NRW_LOSS_SWEPT:
        return "The flow is beyond what the swarm can hold: less flow, or more tilt and "
               "frequency.";
    case NRW_LOSS_OTHER:
    case NRW_N_LOSS_CAUSES:
        break;
    }
    return "Look at the pictures of these particles.";
}

nrw_fate nrw_report_fate_named(const char *name)
{
    int fate = 0;
    while (fate < NRW_N_FATES && (!name || strcmp(name, nrw_fate_name((nrw_fate)fate)) != 0))
        fate++;
    return (nrw_fate)fate;
}

nrw_loss_cause nrw_report_cause_named(const char *name)
{
    int cause = 0;
    while (cause < NRW_LOSS_OTHER &&
           (!name || strcmp(name, nrw_loss_cause_name((nrw_loss_cause)cause)) != 0))
        cause++;
    return (nrw_loss_cause)cause;
}

/* --- sentences of other parts ------------------------------------------------ */

static bool in_word(char c)
{
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '_';
}

void nrw_report_units(nrw_markup *out, const char *text)
{
    const char *from = text;
    char piece[256];
    for (const char *at = text; at && *at; at++) {
        bool unit = at[0] == 'u' && at[1] == 'm' && !in_word(at[2]) && at > text && at[-1] == ' ';
        if (!unit && (size_t)(at - from) < sizeof piece - 1)
            continue;
        (void)snprintf(piece, sizeof piece, "%.*s", (int)(at - from), from);
        nrw_markup_put(out, unit ? "%sµm" : "%s", piece);
        at += unit ? 2 : 0;
        from = at;
        if (*at == '\0')
            return;
    }
    if (from)
        nrw_markup_put(out, "%s", from);
}

void nrw_report_sentence(nrw_markup *out, const char *text)
{
    if (!text || !*text)
        return;
    size_t length = strlen(text);
    char first[2] = {text[0], '\0'};
    if (text[0] >= 'a' && text[0] <= 'z' && !(length > 1 && text[1] == '_'))
        first[0] = (char)(text[0] - 'a' + 'A');
    nrw_markup_put(out, "%s", first);
    nrw_report_units(out, text + 1);
    if (!strchr(".!?", text[length - 1]))
        nrw_markup_put(out, ".");
}

/* --- drives ----------------------------------------------------------------- */

static void put_mode(nrw_markup *out, const nrw_drive_setting *setting)
{
    static const char *const axes[] = {"the heading", "the line across the heading",
                                       "the vertical"};
    switch (setting->mode) {
    case NRW_DRIVE_ROTATING:
        if (setting->tilt_deg > 0)
            nrw_markup_put(out, "rotating, tilted %n°", setting->tilt_deg);
        else
            nrw_markup_put(out, "rotating in the plane");
        if (setting->sense == NRW_SENSE_RIGHT)
            nrw_markup_put(out, ", clockwise");
        break;
    case NRW_DRIVE_PRECESSING:
        nrw_markup_put(out, "precessing on a cone of %n° about %r", setting->cone_deg,
                       axes[setting->axis]);
        break;
    case NRW_DRIVE_OSCILLATING:
        nrw_markup_put(out, "oscillating along the heading");
        if (fabs(setting->bias_mT) > 0)
            nrw_markup_put(out, ", with a steady %n mT across", setting->bias_mT);
        break;
    case NRW_DRIVE_STEADY:
        nrw_markup_put(out, "steady, raised by %n°", setting->elevation_deg);
        break;
    case NRW_DRIVE_OFF:
        nrw_markup_put(out, "no field");
        break;
    case NRW_DRIVE_GENERAL:
        nrw_markup_put(out,
                       "general: steady (%n, %n, %n), cosine (%n, %n, %n), sine (%n, %n, %n) "
                       "mT",
                       setting->steady_mT.x, setting->steady_mT.y, setting->steady_mT.z,
                       setting->cos_mT.x, setting->cos_mT.y, setting->cos_mT.z, setting->sin_mT.x,
                       setting->sin_mT.y, setting->sin_mT.z);
        break;
    case NRW_DRIVE_SAMPLED:
        nrw_markup_put(out, "%z samples of “%s”, %n s at %n Hz, up to %n mT", setting->samples->n,
                       setting->samples->file, nrw_samples_duration_s(setting->samples),
                       setting->samples->rate_Hz, setting->samples->peak_mT);
        return;
    }
    if (setting->mode != NRW_DRIVE_OFF && setting->mode != NRW_DRIVE_GENERAL)
        nrw_markup_put(out, ", %n mT", setting->field_mT);
    if (setting->mode != NRW_DRIVE_OFF && setting->mode != NRW_DRIVE_STEADY)
        nrw_markup_put(out, " at %n Hz", setting->frequency_Hz);
}

static void put_heading(nrw_markup *out, const nrw_drive_setting *setting)
{
    if (setting->mode == NRW_DRIVE_OFF || setting->mode == NRW_DRIVE_GENERAL ||
        setting->mode == NRW_DRIVE_SAMPLED)
        return;
    switch (setting->heading_kind) {
    case NRW_HEADING_FIXED:
        nrw_markup_put(out, "; heading %n°", setting->heading_deg);
        break;
    case NRW_HEADING_NODE:
        nrw_markup_put(out, "; toward “%s”", setting->heading_name);
        if (setting->ease_um > 0)
            nrw_markup_put(out, ", tilt easing off within %n µm", setting->ease_um);
        break;
    case NRW_HEADING_CENTRELINE:
        nrw_markup_put(out, "; along the centreline");
        if (setting->lookahead_um > 0)
            nrw_markup_put(out, ", looking %n µm ahead", setting->lookahead_um);
        break;
    }
    if (setting->steer_by_rear)
        nrw_markup_put(out, ", steered by the rear of the swarm");
    if (setting->wobble_deg > 0)
        nrw_markup_put(out, ", swinging ±%n° in %n s", setting->wobble_deg,
                       setting->wobble_period_s);
}

static bool same_heading(const nrw_drive_setting *a, const nrw_drive_setting *b)
{
    nrw_markup one = {0}, other = {0};
    put_heading(&one, a);
    put_heading(&other, b);
    bool same =
        one.size == other.size && (one.size == 0 || memcmp(one.text, other.text, one.size) == 0);
    nrw_markup_clear(&one);
    nrw_markup_clear(&other);
    return same;
}

void nrw_report_drive_words(nrw_markup *out, const nrw_drive *drive)
{
    put_mode(out, &drive->main);
    put_heading(out, &drive->main);
    if (drive->alternate_share > 0) {
        nrw_markup_put(out, "; for the last %p of every %n s instead ", drive->alternate_share,
                       drive->alternate_period_s);
        put_mode(out, &drive->other);
        if (!same_heading(&drive->main, &drive->other))
            put_heading(out, &drive->other);
    }
}

/* --- conditions ------------------------------------------------------------- */

static void put_part(nrw_markup *out, int *n_parts, const char *text, double value,
                     const char *unit)
{
    nrw_markup_put(out, "%r%r %n%r", (*n_parts)++ ? " and " : "", text, value, unit);
}

static void put_past(nrw_markup *out, int *n_parts, const char *who,
                     const nrw_place_condition *place)
{
    nrw_markup_put(out, "%r%r is past “%s”", (*n_parts)++ ? " and " : "", who, place->name);
    if (place->distance_um > 0)
        nrw_markup_put(out, " by %n µm", place->distance_um);
    else if (place->distance_um < 0)
        nrw_markup_put(out, " less %n µm", -place->distance_um);
}

void nrw_report_until_words(nrw_markup *out, const nrw_leg *leg)
{
    const nrw_condition *until = &leg->until;
    int n = 0;
    if (until->present & NRW_UNTIL_SPREAD_BELOW)
        put_part(out, &n, "spread is below", until->spread_below_um, " µm");
    if (until->present & NRW_UNTIL_WIDTH_BELOW)
        put_part(out, &n, "width is below", until->width_below_um, " µm");
    if (until->present & NRW_UNTIL_ASPECT_ABOVE)
        put_part(out, &n, "aspect is above", until->aspect_above, "");
    if (until->present & NRW_UNTIL_ASPECT_BELOW)
        put_part(out, &n, "aspect is below", until->aspect_below, "");
    if (until->present & NRW_UNTIL_CLUSTER_ABOVE)
        put_part(out, &n, "the largest cluster holds more than", 100 * until->cluster_above,
                 "\u00a0%");
    if (until->present & NRW_UNTIL_CENTROID_WITHIN) {
        nrw_markup_put(out, "%rthe centroid is within %n µm of “%s”", n++ ? " and " : "",
                       until->centroid_within.distance_um, until->centroid_within.name);
    }
    if (until->present & NRW_UNTIL_CENTROID_PAST)
        put_past(out, &n, "the centroid", &until->centroid_past);
    if (until->present & NRW_UNTIL_TAIL_PAST)
        put_past(out, &n, "the tail", &until->tail_past);
    if (until->present & NRW_UNTIL_ELAPSED)
        put_part(out, &n, "", until->elapsed_s, " s have passed");
    if (n == 0)
        nrw_markup_put(out, "its time is over");
    else if (until->dwell_s > 0)
        nrw_markup_put(out, ", and %n s longer", until->dwell_s);
}

void nrw_report_exit_words(nrw_markup *out, const nrw_schedule *schedule, const nrw_leg *leg)
{
    bool timed = isfinite(leg->timeout_s);
    if (timed)
        nrw_markup_put(out, "at most %n s", leg->timeout_s);
    if (timed && leg->on_timeout_leg >= 0)
        nrw_markup_put(out, ", then “%s”", schedule->legs[leg->on_timeout_leg].name);
    if (leg->stall_after_s > 0)
        nrw_markup_put(out, "%rto “%s” after less than %n µm of advance in %n s", timed ? "; " : "",
                       schedule->legs[leg->stall_leg].name, leg->stall_min_um, leg->stall_after_s);
}
