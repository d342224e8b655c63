#include "drive.h"

#include <math.h>
#include <string.h>

#include "vec3.h"

nrw_drive_setting nrw_drive_setting_defaults(void)
{
    nrw_drive_setting setting;
    memset(&setting, 0, sizeof setting);
    setting.mode = NRW_DRIVE_ROTATING;
    setting.heading_node = -1;
    return setting;
}

/* The modes in the frame of heading h, across p = z × h, and z; the heading is
 * applied afterwards by turning about z. Contract section 3. */
static nrw_field field_along_x(const nrw_drive_setting *setting, double tilt_deg)
{
    const double b = setting->field_mT;
    nrw_field field;
    memset(&field, 0, sizeof field);
    field.frequency_Hz = setting->frequency_Hz;
    switch (setting->mode) {
    case NRW_DRIVE_ROTATING: {
        const double c = cos(tilt_deg * NRW_DEGREE), s = sin(tilt_deg * NRW_DEGREE);
        const double side = setting->sense == NRW_SENSE_RIGHT ? -c : c;
        field.cos = (nrw_vec3){b, 0.0, 0.0};
        field.sin = (nrw_vec3){0.0, b * side, -b * s};
        break;
    }
    case NRW_DRIVE_PRECESSING: {
        const double c = b * cos(setting->cone_deg * NRW_DEGREE);
        const double s = b * sin(setting->cone_deg * NRW_DEGREE);
        if (setting->axis == NRW_AXIS_ALONG) {
            field.steady = (nrw_vec3){c, 0.0, 0.0};
            field.cos = (nrw_vec3){0.0, s, 0.0};
            field.sin = (nrw_vec3){0.0, 0.0, s};
        } else if (setting->axis == NRW_AXIS_ACROSS) {
            /* h × (−z) = p: the moments turn so that particles roll toward h */
            field.steady = (nrw_vec3){0.0, c, 0.0};
            field.cos = (nrw_vec3){s, 0.0, 0.0};
            field.sin = (nrw_vec3){0.0, 0.0, -s};
        } else {
            field.steady = (nrw_vec3){0.0, 0.0, c};
            field.cos = (nrw_vec3){s, 0.0, 0.0};
            field.sin = (nrw_vec3){0.0, s, 0.0};
        }
        break;
    }
    case NRW_DRIVE_OSCILLATING:
        field.cos = (nrw_vec3){b, 0.0, 0.0};
        field.steady = (nrw_vec3){0.0, setting->bias_mT, 0.0};
        break;
    case NRW_DRIVE_STEADY: {
        const double e = setting->elevation_deg * NRW_DEGREE;
        field.steady = (nrw_vec3){b * cos(e), 0.0, b * sin(e)};
        field.frequency_Hz = 0.0;
        break;
    }
    case NRW_DRIVE_OFF:
        field.frequency_Hz = 0.0;
        break;
    case NRW_DRIVE_GENERAL:
        field.steady = setting->steady_mT;
        field.cos = setting->cos_mT;
        field.sin = setting->sin_mT;
        break;
    case NRW_DRIVE_SAMPLED:
        field.frequency_Hz = 0.0;
        break;
    }
    return field;
}

nrw_field nrw_drive_field(const nrw_drive_setting *setting, double heading_rad, double tilt_deg)
{
    nrw_field field = field_along_x(setting, tilt_deg);
    field.steady = nrw_vec3_turn(field.steady, heading_rad);
    field.cos = nrw_vec3_turn(field.cos, heading_rad);
    field.sin = nrw_vec3_turn(field.sin, heading_rad);
    return field;
}

nrw_vec3 nrw_field_at(const nrw_field *field, double phase_rad)
{
    const double c = cos(phase_rad), s = sin(phase_rad);
    return nrw_vec3_add(field->steady,
                        nrw_vec3_add(nrw_vec3_scale(field->cos, c), nrw_vec3_scale(field->sin, s)));
}

static double size_at(const nrw_field *field, double phase_rad)
{
    return nrw_vec3_norm(nrw_field_at(field, phase_rad));
}

/* Largest size between two phases around one maximum, by golden section. */
static double refined_peak(const nrw_field *field, double low, double high)
{
    const double golden = 0.6180339887498949;
    for (int i = 0; i < 40; i++) {
        double a = high - golden * (high - low), b = low + golden * (high - low);
        if (size_at(field, a) > size_at(field, b))
            high = b;
        else
            low = a;
    }
    return size_at(field, 0.5 * (low + high));
}

double nrw_field_peak_mT(const nrw_field *field)
{
    /* |B|² is a trigonometric polynomial of degree 2: at most two maxima, so a
     * grid of 64 phases brackets each. Both are refined: between two of nearly
     * the same height the grid can't tell which is the larger. */
    enum { N_PHASES = 64 };
    const double spacing = 2.0 * NRW_PI / N_PHASES;
    double sizes[N_PHASES], largest = 0.0;
    for (int i = 0; i < N_PHASES; i++) {
        sizes[i] = size_at(field, spacing * i);
        largest = fmax(largest, sizes[i]);
    }
    for (int i = 0; i < N_PHASES; i++) {
        const double before = sizes[(i + N_PHASES - 1) % N_PHASES];
        const double after = sizes[(i + 1) % N_PHASES];
        if (sizes[i] > before && sizes[i] >= after)
            largest = fmax(largest, refined_peak(field, spacing * (i - 1), spacing * (i + 1)));
    }
    return largest;
}

double nrw_drive_wobble_rad(const nrw_drive_setting *setting, double t_s)
{
    if (setting->wobble_deg == 0.0 || !(setting->wobble_period_s > 0.0))
        return 0.0;
    return setting->wobble_deg * NRW_DEGREE * sin(2.0 * NRW_PI * t_s / setting->wobble_period_s);
}

/* Position inside the alternation period, in [0, period). */
static double time_in_period(const nrw_drive *drive, double t_s)
{
    double into = fmod(t_s, drive->alternate_period_s);
    /* a step that lands on a switch by adding up times may fall short of it by
     * rounding; such a time belongs to what comes next */
    if (drive->alternate_period_s - into < 1e-9 * drive->alternate_period_s)
        into = 0.0;
    return into;
}

static double switch_in_period_s(const nrw_drive *drive)
{
    return (1.0 - drive->alternate_share) * drive->alternate_period_s;
}

const nrw_drive_setting *nrw_drive_at(const nrw_drive *drive, double t_s)
{
    if (!(drive->alternate_share > 0.0))
        return &drive->main;
    double into = time_in_period(drive, t_s);
    double tolerance = 1e-9 * drive->alternate_period_s;
    return into < switch_in_period_s(drive) - tolerance ? &drive->main : &drive->other;
}

double nrw_drive_next_switch_s(const nrw_drive *drive, double t_s)
{
    if (!(drive->alternate_share > 0.0))
        return INFINITY;
    double into = time_in_period(drive, t_s), first = switch_in_period_s(drive);
    double tolerance = 1e-9 * drive->alternate_period_s;
    double begin = drive->alternate_period_s * floor((t_s + tolerance) / drive->alternate_period_s);
    return into < first - tolerance ? begin + first : begin + drive->alternate_period_s;
}

const char *nrw_drive_too_quick(const nrw_drive *drive, double relaxation_time_s, double *time_s)
{
    const double least = NRW_SLOW_TIMES * relaxation_time_s;
    const nrw_drive_setting *const other = drive->alternate_share > 0.0 ? &drive->other : NULL;
    *time_s = drive->main.wobble_period_s;
    if (drive->main.wobble_deg > 0.0 && *time_s < least)
        return "wobble.period_s";
    if (!other)
        return NULL;
    *time_s =
        drive->alternate_period_s * fmin(drive->alternate_share, 1.0 - drive->alternate_share);
    if (*time_s < least)
        return "alternate.period_s";
    *time_s = other->wobble_period_s;
    return other->wobble_deg > 0.0 && *time_s < least ? "alternate.drive.wobble.period_s" : NULL;
}

const char *nrw_drive_mode_name(nrw_drive_mode mode)
{
    switch (mode) {
    case NRW_DRIVE_ROTATING:
        return "rotating";
    case NRW_DRIVE_PRECESSING:
        return "precessing";
    case NRW_DRIVE_OSCILLATING:
        return "oscillating";
    case NRW_DRIVE_STEADY:
        return "steady";
    case NRW_DRIVE_OFF:
        return "off";
    case NRW_DRIVE_GENERAL:
        return "general";
    case NRW_DRIVE_SAMPLED:
        return "sampled";
    }
    return "unknown";
}
