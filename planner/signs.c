#include "signs.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "particle.h"
#include "rig.h"
#include "run.h"

#define SLOW_HZ 0.5
#define SHARE_OF_RANGE 0.5 /* of the rig's field, current and frequency: gentle */
#define ROLL_SHARE 0.9     /* of the rig's field: rolling is slow, and must outrun diffusion */
#define SURE 3.0           /* drift over the standard deviation of diffusion */

typedef struct sign_list {
    const nrw_scenario *scenario;
    nrw_rig_model model;
    nrw_sign_check *checks;
    size_t n;
} sign_list;

static void put(char *text, size_t size, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

static void put(char *text, size_t size, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    (void)vsnprintf(text, size, format, arguments);
    va_end(arguments);
}

#define WHAT(check, ...) put((check)->what, sizeof(check)->what, __VA_ARGS__)
#define HOW(check, ...) put((check)->how, sizeof(check)->how, __VA_ARGS__)
#define EXPECT(check, ...) put((check)->expect, sizeof(check)->expect, __VA_ARGS__)
#define OTHERWISE(check, ...) put((check)->otherwise, sizeof(check)->otherwise, __VA_ARGS__)

static nrw_sign_check *next(sign_list *list)
{
    nrw_sign_check *check = &list->checks[list->n++];
    memset(check, 0, sizeof *check);
    return check;
}

/* Where a field points, for people. */
static void direction(const double field_mT[3], char *text, size_t size)
{
    const double in_plane = hypot(field_mT[0], field_mT[1]);
    const double whole = hypot(in_plane, field_mT[2]);
    const char *rises = field_mT[2] > 0.0 ? "up, away from the floor" : "down, into the floor";
    /* + 0.0: no "-0" */
    const double angle = round(atan2(field_mT[1], field_mT[0]) / NRW_DEGREE) + 0.0;
    if (in_plane < 0.01 * whole)
        put(text, size, "straight %s", rises);
    else if (fabs(field_mT[2]) < 0.01 * whole)
        put(text, size, "in the plane, at %.0f degrees from the map's +x (anticlockwise)", angle);
    else
        put(text, size, "at %.0f degrees from the map's +x and %.0f degrees %s", angle,
            fabs(atan2(field_mT[2], in_plane)) / NRW_DEGREE, rises);
}

static void list_coil(sign_list *list, int k)
{
    const nrw_rig_model *model = &list->model;
    const double most = model->allowed[NRW_RIG_PEAK_A][k];
    const double current = fmin(1.0, SHARE_OF_RANGE * most);
    double field[3], size2 = 0.0;
    char where[160];
    for (int r = 0; r < 3; r++) {
        field[r] = model->mT_per_A[r][k] * current;
        size2 += field[r] * field[r];
    }
    direction(field, where, sizeof where);
    nrw_sign_check *check = next(list);
    WHAT(check, "Coil %.40s", model->names[k]);
    HOW(check,
        "Send a steady +%.3g A through coil %.40s alone and hold a field meter in the middle.",
        current, model->names[k]);
    EXPECT(check, "%.4g mT, %s.", sqrt(size2), where);
    OTHERWISE(check,
              "The opposite direction: swap the coil's leads or turn the sign of mT_per_A. "
              "Another size: calibrate. Another direction: rotation_deg, or crossed cables.");
}

/* The drive that the observations use: within the rig at any heading. */
static nrw_drive_setting part_of_range(const sign_list *list, double frequency_Hz, double tilt_deg,
                                       double share)
{
    nrw_drive_setting setting = nrw_drive_setting_defaults();
    setting.tilt_deg = tilt_deg;
    setting.frequency_Hz = fmin(frequency_Hz, SHARE_OF_RANGE * list->model.frequency_max_Hz);
    setting.heading_kind = NRW_HEADING_CENTRELINE;
    setting.field_mT = share * nrw_rig_available_field_mT(&list->scenario->rig, &setting, NULL);
    setting.heading_kind = NRW_HEADING_FIXED;
    return setting;
}

/* Time after which drift at a speed is SURE times the spread of free diffusion:
 * v t = SURE √(2 D t). The floor slows diffusion, so that it is an upper one. */
static double sure_after_s(const nrw_scenario *scenario, double speed_um_s)
{
    const double drag =
        3.0 * NRW_PI * scenario->fluid.viscosity_Pa_s * scenario->particles.diameter_um;
    const double diffusion =
        scenario->model.brownian ? nrw_thermal_energy_pN_um(scenario) / drag : 0.0;
    return fmax(1.0, 2.0 * SURE * SURE * diffusion / (speed_um_s * speed_um_s));
}

static void list_axis(sign_list *list)
{
    nrw_drive_setting setting = part_of_range(list, SLOW_HZ, 0.0, SHARE_OF_RANGE);
    const double field[3] = {setting.field_mT, 0.0, 0.0};
    double currents[NRW_COILS_MAX];
    char amperes[200] = "";
    nrw_rig_currents_A(&list->model, field, currents);
    for (int k = 0; k < list->model.n_coils; k++)
        put(amperes + strlen(amperes), sizeof amperes - strlen(amperes), "%s%.20s %.3g A",
            k ? ", " : "", list->model.names[k], currents[k] + 0.0);
    nrw_sign_check *check = next(list);
    WHAT(check, "Axis of the map");
    HOW(check,
        "Drive {mode: steady, field_mT: %.3g, heading: 0}: %s. Look at a few particles that "
        "touch.",
        setting.field_mT, amperes);
    EXPECT(check, "Chains line up along the map's x axis, level in the picture.");
    OTHERWISE(check,
              "Chains at another angle a: add a to rotation_deg, or turn the camera. A mirror "
              "image doesn't show here; the next checks do.");
}

static void list_rolling(sign_list *list, double heading_deg)
{
    const nrw_scenario *scenario = list->scenario;
    nrw_drive_setting setting = part_of_range(list, INFINITY, 90.0, ROLL_SHARE);
    if (!(setting.field_mT > 0.0))
        return; /* no vertical coil: nothing can roll */
    setting.heading_deg = heading_deg;
    const nrw_regime regime = nrw_regime_of(scenario, &setting, NULL);
    const bool rolls = regime.lone_speed_um_s > 0.0;
    const bool along_x = heading_deg == 0.0;
    nrw_sign_check *check = next(list);
    WHAT(check, "Rolling toward heading %.0f", heading_deg);
    HOW(check,
        "Drive {mode: rotating, tilt_deg: 90, field_mT: %.3g, frequency_Hz: %.3g, heading: %.0f}. "
        "Follow a lone particle far from walls, for %.2g s at least.",
        setting.field_mT, setting.frequency_Hz, heading_deg,
        rolls ? sure_after_s(scenario, regime.lone_speed_um_s) : 10.0);
    if (rolls)
        EXPECT(check,
               "It rolls toward the map's %s at about %.2g um/s by theory (real ones reach about "
               "half), %s.",
               along_x ? "+x" : "+y", regime.lone_speed_um_s,
               along_x ? "to the right in a picture that is not flipped"
                       : "upward in a picture whose top is the largest y");
    else
        EXPECT(check, "Nothing: a moment that follows the field without lag makes no sphere roll. "
                      "Give the particles a relaxation_time_s, or expect chains only.");
    if (along_x)
        OTHERWISE(check, "To -x: the vertical coil has the wrong sign, or x and z are out of phase "
                         "the other way round. Sideways: rotation_deg.");
    else
        OTHERWISE(check, "Downward though +x was right: the picture is flipped top to bottom, or "
                         "coil y has the wrong sign; the coil's own check tells which.");
}

static void list_sense(sign_list *list)
{
    const nrw_drive_setting setting = part_of_range(list, SLOW_HZ, 0.0, SHARE_OF_RANGE);
    nrw_sign_check *check = next(list);
    WHAT(check, "Left or right");
    HOW(check,
        "Drive {mode: rotating, tilt_deg: 0, field_mT: %.3g, frequency_Hz: %.3g, sense: left}. "
        "Look at a short chain.",
        setting.field_mT, setting.frequency_Hz);
    EXPECT(check,
           "Seen from above it turns anticlockwise, once in %.3g s, from the map's +x over +y. "
           "An inverted microscope looks from below: its raw picture shows clockwise.",
           1.0 / setting.frequency_Hz);
    OTHERWISE(check,
              "Clockwise in a picture that shows the view from above: x and y are swapped or "
              "one has the wrong sign.");
}

static void list_scale(sign_list *list)
{
    const nrw_scenario *scenario = list->scenario;
    const double *from = scenario->release.at_um, *to = scenario->target.at_um;
    const double distance = hypot(to[0] - from[0], to[1] - from[1]);
    const double pixel = scenario->imaging.pixel_um;
    if (!(distance > 0.0))
        return;
    nrw_sign_check *check = next(list);
    WHAT(check, "Scale and place of the map");
    HOW(check, "Mark release (%.4g, %.4g) and target (%.4g, %.4g) um in the picture.", from[0],
        from[1], to[0], to[1]);
    if (pixel > 0.0)
        EXPECT(check,
               "They lie %.4g um apart, %.4g pixels of %.4g um, the target at %.0f degrees "
               "from +x as seen from the release.",
               distance, distance / pixel, pixel,
               atan2(to[1] - from[1], to[0] - from[0]) / NRW_DEGREE);
    else
        EXPECT(check, "They lie %.4g um apart, the target at %.0f degrees from +x.", distance,
               atan2(to[1] - from[1], to[0] - from[0]) / NRW_DEGREE);
    OTHERWISE(check, "Another distance: pixel_um. Another angle: the picture is turned or flipped "
                     "against the map.");
}

static void list_ambient(sign_list *list)
{
    const double *ambient = list->model.ambient_mT;
    const double size =
        sqrt(ambient[0] * ambient[0] + ambient[1] * ambient[1] + ambient[2] * ambient[2]);
    nrw_sign_check *check = next(list);
    WHAT(check, "Field of the surroundings");
    if (size > 0.0) {
        HOW(check, "Drive {mode: off}, so that the coils only cancel the surroundings' %.3g uT.",
            1e3 * size);
        EXPECT(check, "A meter in the middle reads less than a tenth of that; chains drift apart "
                      "without a direction of their own.");
        OTHERWISE(check, "More: measure ambient_uT again with the coils off, in the map's frame.");
    } else {
        HOW(check, "Coils off, read a meter in the middle along x, y and z of the map.");
        EXPECT(check,
               "Some tens of microtesla, the Earth's. Put them into rig.ambient_uT to have "
               "them cancelled; against %.3g mT they are %.2g %%.",
               list->model.field_max_mT, 5.0 / list->model.field_max_mT);
        OTHERWISE(check, "Much more: look for magnets and iron nearby.");
    }
}

nrw_status nrw_signs_list(const nrw_scenario *scenario, nrw_sign_check *checks, size_t *n,
                          nrw_errors *errors)
{
    sign_list list = {.scenario = scenario, .checks = checks};
    *n = 0;
    nrw_status status = nrw_rig_model_init(&list.model, &scenario->rig, errors);
    if (status == NRW_OK && !list.model.present)
        status = nrw_errors_add(errors, NRW_BAD_INPUT, "a rig in the scenario",
                                "there is no rig whose signs could be checked");
    if (status != NRW_OK)
        return status;
    for (int k = 0; k < list.model.n_coils; k++)
        if (isfinite(list.model.allowed[NRW_RIG_PEAK_A][k])) /* else nothing is known of it */
            list_coil(&list, k);
    list_ambient(&list);
    list_axis(&list);
    list_sense(&list);
    list_rolling(&list, 0.0);
    list_rolling(&list, 90.0);
    list_scale(&list);
    *n = list.n;
    return NRW_OK;
}
