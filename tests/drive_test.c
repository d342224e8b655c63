#include <criterion/criterion.h>
#include <math.h>
#include <stdint.h>
#include <string.h>

#include "drive.h"
#include "vec3.h"

/* Sines and cosines of numbers of order 10. */
#define ROUNDING 1e-13

static const double headings_rad[] = {0.0, 0.9, -2.3, 3.0};
enum { N_HEADINGS = sizeof headings_rad / sizeof *headings_rad };

static nrw_vec3 h_of(double heading)
{
    return (nrw_vec3){cos(heading), sin(heading), 0.0};
}

/* p = z × h */
static nrw_vec3 p_of(double heading)
{
    return (nrw_vec3){-sin(heading), cos(heading), 0.0};
}

static const nrw_vec3 up = {0.0, 0.0, 1.0};

static nrw_vec3 sum_of(double a, nrw_vec3 x, double b, nrw_vec3 y)
{
    return nrw_vec3_add(nrw_vec3_scale(x, a), nrw_vec3_scale(y, b));
}

static void assert_near(nrw_vec3 a, nrw_vec3 b)
{
    cr_assert_leq(nrw_vec3_norm(sum_of(1.0, a, -1.0, b)), ROUNDING,
                  "(%g, %g, %g) against (%g, %g, %g)", a.x, a.y, a.z, b.x, b.y, b.z);
}

static nrw_drive_setting rotating(double tilt_deg, nrw_sense sense)
{
    nrw_drive_setting setting = nrw_drive_setting_defaults();
    setting.field_mT = 10.0;
    setting.frequency_Hz = 50.0;
    setting.tilt_deg = tilt_deg;
    setting.sense = sense;
    return setting;
}

static nrw_drive_setting precessing(nrw_cone_axis axis, double cone_deg)
{
    nrw_drive_setting setting = nrw_drive_setting_defaults();
    setting.mode = NRW_DRIVE_PRECESSING;
    setting.field_mT = 10.0;
    setting.frequency_Hz = 50.0;
    setting.axis = axis;
    setting.cone_deg = cone_deg;
    return setting;
}

/* --- rotating ---------------------------------------------------------------- */

/* Constant size, in the plane of h and `second`, B along h at the start, then
 * toward `second`. */
static void assert_turns(const nrw_field *field, nrw_vec3 h, nrw_vec3 second)
{
    assert_near(nrw_field_at(field, 0.0), nrw_vec3_scale(h, 10.0));
    assert_near(nrw_field_at(field, NRW_PI / 2.0), nrw_vec3_scale(second, 10.0));
    const nrw_vec3 normal = nrw_vec3_cross(h, second);
    for (int k = 0; k < 12; k++) {
        const nrw_vec3 b = nrw_field_at(field, 2.0 * NRW_PI * k / 12.0);
        cr_assert_float_eq(nrw_vec3_norm(b), 10.0, ROUNDING);
        cr_assert_float_eq(nrw_vec3_dot(b, normal), 0.0, ROUNDING);
    }
}

Test(drive, left_rotation_turns_from_h_toward_the_lowered_across)
{
    for (int k = 0; k < N_HEADINGS; k++) {
        for (double tilt = 0.0; tilt <= 90.0; tilt += 15.0) {
            const double heading = headings_rad[k], delta = tilt * NRW_DEGREE;
            const nrw_drive_setting setting = rotating(tilt, NRW_SENSE_LEFT);
            const nrw_field field = nrw_drive_field(&setting, heading, tilt);
            assert_turns(&field, h_of(heading), sum_of(cos(delta), p_of(heading), -sin(delta), up));
        }
    }
}

Test(drive, right_rotation_turns_from_h_toward_minus_the_raised_across)
{
    for (int k = 0; k < N_HEADINGS; k++) {
        for (double tilt = 0.0; tilt <= 90.0; tilt += 15.0) {
            const double heading = headings_rad[k], delta = tilt * NRW_DEGREE;
            const nrw_drive_setting setting = rotating(tilt, NRW_SENSE_RIGHT);
            const nrw_field field = nrw_drive_field(&setting, heading, tilt);
            assert_turns(&field, h_of(heading),
                         sum_of(-cos(delta), p_of(heading), -sin(delta), up));
        }
    }
}

Test(drive, spin_axis_is_that_of_the_contract_for_both_senses)
{
    for (int k = 0; k < N_HEADINGS; k++) {
        const double heading = headings_rad[k], tilt = 30.0, delta = tilt * NRW_DEGREE;
        for (int sense = 0; sense < 2; sense++) {
            const nrw_drive_setting setting = rotating(tilt, (nrw_sense)sense);
            const nrw_field field = nrw_drive_field(&setting, heading, tilt);
            const double side = sense == NRW_SENSE_LEFT ? 1.0 : -1.0;
            /* B turns from the cosine part to the sine part */
            assert_near(nrw_vec3_scale(nrw_vec3_cross(field.cos, field.sin), 0.01),
                        sum_of(side * cos(delta), up, sin(delta), p_of(heading)));
        }
    }
}

Test(drive, a_wheel_that_turns_with_any_tilted_drive_rolls_toward_h)
{
    /* on a floor below, a wheel of spin Ω goes toward Ω × z */
    const nrw_drive_setting drives[] = {
        rotating(20.0, NRW_SENSE_LEFT), rotating(20.0, NRW_SENSE_RIGHT),
        rotating(90.0, NRW_SENSE_LEFT), precessing(NRW_AXIS_ACROSS, 35.0)};
    for (int k = 0; k < N_HEADINGS; k++) {
        for (size_t d = 0; d < sizeof drives / sizeof *drives; d++) {
            const nrw_field field =
                nrw_drive_field(&drives[d], headings_rad[k], drives[d].tilt_deg);
            const nrw_vec3 rolls = nrw_vec3_cross(nrw_vec3_cross(field.cos, field.sin), up);
            const double size = nrw_vec3_norm(rolls);
            cr_assert_gt(size, 1.0);
            assert_near(nrw_vec3_scale(rolls, 1.0 / size), h_of(headings_rad[k]));
        }
    }
}

Test(drive, at_tilt_90_left_and_right_are_one)
{
    const nrw_drive_setting left = rotating(90.0, NRW_SENSE_LEFT);
    const nrw_drive_setting right = rotating(90.0, NRW_SENSE_RIGHT);
    const nrw_field a = nrw_drive_field(&left, 0.4, 90.0), b = nrw_drive_field(&right, 0.4, 90.0);
    assert_near(a.cos, b.cos);
    assert_near(a.sin, b.sin);
}

Test(drive, the_tilt_given_counts_and_not_the_setting_s_own)
{
    const nrw_drive_setting setting = rotating(30.0, NRW_SENSE_LEFT);
    const nrw_field eased = nrw_drive_field(&setting, 0.0, 12.0);
    const double ratio = -eased.sin.z / eased.sin.y;
    cr_assert_float_eq(ratio, tan(12.0 * NRW_DEGREE), ROUNDING);
}

/* --- the other modes --------------------------------------------------------- */

Test(drive, precession_keeps_its_angle_to_its_axis)
{
    const double heading = 0.9, cone = 35.0;
    const nrw_vec3 axes[] = {h_of(heading), p_of(heading), up};
    for (int k = 0; k < 3; k++) {
        const nrw_drive_setting setting = precessing((nrw_cone_axis)k, cone);
        const nrw_field field = nrw_drive_field(&setting, heading, 0.0);
        for (int phase = 0; phase < 12; phase++) {
            const nrw_vec3 b = nrw_field_at(&field, 2.0 * NRW_PI * phase / 12.0);
            cr_assert_float_eq(nrw_vec3_norm(b), 10.0, ROUNDING);
            cr_assert_float_eq(nrw_vec3_dot(b, axes[k]), 10.0 * cos(cone * NRW_DEGREE), ROUNDING);
        }
    }
}

Test(drive, precession_about_the_vertical_starts_along_h_and_turns_left)
{
    const nrw_drive_setting setting = precessing(NRW_AXIS_VERTICAL, 90.0);
    const nrw_field field = nrw_drive_field(&setting, 0.9, 0.0);
    assert_near(nrw_field_at(&field, 0.0), nrw_vec3_scale(h_of(0.9), 10.0));
    assert_near(nrw_field_at(&field, NRW_PI / 2.0), nrw_vec3_scale(p_of(0.9), 10.0));
}

Test(drive, precession_about_the_across_starts_along_h)
{
    const nrw_drive_setting setting = precessing(NRW_AXIS_ACROSS, 90.0);
    const nrw_field field = nrw_drive_field(&setting, 0.9, 0.0);
    assert_near(nrw_field_at(&field, 0.0), nrw_vec3_scale(h_of(0.9), 10.0));
}

Test(drive, oscillation_swings_along_h_over_a_steady_bias_across)
{
    nrw_drive_setting setting = nrw_drive_setting_defaults();
    setting.mode = NRW_DRIVE_OSCILLATING;
    setting.field_mT = 8.0;
    setting.bias_mT = 3.0;
    setting.frequency_Hz = 20.0;
    const nrw_field field = nrw_drive_field(&setting, 0.9, 0.0);
    for (int k = 0; k < 8; k++) {
        const double phase = 2.0 * NRW_PI * k / 8.0;
        assert_near(nrw_field_at(&field, phase),
                    sum_of(8.0 * cos(phase), h_of(0.9), 3.0, p_of(0.9)));
    }
}

Test(drive, a_steady_field_rises_by_its_elevation_and_has_no_frequency)
{
    nrw_drive_setting setting = nrw_drive_setting_defaults();
    setting.mode = NRW_DRIVE_STEADY;
    setting.field_mT = 8.0;
    setting.frequency_Hz = 20.0; /* left over; means nothing here */
    setting.elevation_deg = 25.0;
    const nrw_field field = nrw_drive_field(&setting, 0.9, 0.0);
    cr_assert_eq(field.frequency_Hz, 0.0);
    assert_near(nrw_field_at(&field, 1.2),
                sum_of(8.0 * cos(25.0 * NRW_DEGREE), h_of(0.9), 8.0 * sin(25.0 * NRW_DEGREE), up));
}

Test(drive, off_is_no_field)
{
    nrw_drive_setting setting = rotating(20.0, NRW_SENSE_LEFT);
    setting.mode = NRW_DRIVE_OFF;
    const nrw_field field = nrw_drive_field(&setting, 0.9, 20.0);
    cr_assert_eq(field.frequency_Hz, 0.0);
    assert_near(nrw_field_at(&field, 0.7), (nrw_vec3){0.0, 0.0, 0.0});
}

Test(drive, every_mode_is_a_case_of_general)
{
    nrw_drive_setting oscillating = nrw_drive_setting_defaults();
    oscillating.mode = NRW_DRIVE_OSCILLATING;
    oscillating.field_mT = 8.0;
    oscillating.bias_mT = 3.0;
    oscillating.frequency_Hz = 20.0;
    const nrw_drive_setting modes[] = {
        rotating(30.0, NRW_SENSE_LEFT),      rotating(30.0, NRW_SENSE_RIGHT),
        precessing(NRW_AXIS_ALONG, 35.0),    precessing(NRW_AXIS_ACROSS, 35.0),
        precessing(NRW_AXIS_VERTICAL, 35.0), oscillating};
    for (size_t k = 0; k < sizeof modes / sizeof *modes; k++) {
        const double heading = 0.9, wobble = 0.2;
        const nrw_field expansion = nrw_drive_field(&modes[k], heading, modes[k].tilt_deg);
        nrw_drive_setting general = nrw_drive_setting_defaults();
        general.mode = NRW_DRIVE_GENERAL;
        general.frequency_Hz = modes[k].frequency_Hz;
        general.steady_mT = expansion.steady;
        general.cos_mT = expansion.cos;
        general.sin_mT = expansion.sin;
        const nrw_field a = nrw_drive_field(&general, wobble, 0.0);
        const nrw_field b = nrw_drive_field(&modes[k], heading + wobble, modes[k].tilt_deg);
        for (int phase = 0; phase < 8; phase++)
            assert_near(nrw_field_at(&a, 0.8 * phase), nrw_field_at(&b, 0.8 * phase));
        cr_assert_eq(a.frequency_Hz, b.frequency_Hz);
    }
}

Test(drive, modes_have_the_names_of_the_files)
{
    cr_assert_str_eq(nrw_drive_mode_name(NRW_DRIVE_ROTATING), "rotating");
    cr_assert_str_eq(nrw_drive_mode_name(NRW_DRIVE_PRECESSING), "precessing");
    cr_assert_str_eq(nrw_drive_mode_name(NRW_DRIVE_OSCILLATING), "oscillating");
    cr_assert_str_eq(nrw_drive_mode_name(NRW_DRIVE_STEADY), "steady");
    cr_assert_str_eq(nrw_drive_mode_name(NRW_DRIVE_OFF), "off");
    cr_assert_str_eq(nrw_drive_mode_name(NRW_DRIVE_GENERAL), "general");
    cr_assert_str_eq(nrw_drive_mode_name(NRW_DRIVE_SAMPLED), "sampled");
}

/* --- peak -------------------------------------------------------------------- */

static double uniform(uint64_t *state)
{
    *state = *state * 6364136223846793005u + 1442695040888963407u;
    return (double)(*state >> 11) * 0x1p-53;
}

static nrw_vec3 random_vector(uint64_t *state, double size)
{
    return (nrw_vec3){size * (2.0 * uniform(state) - 1.0), size * (2.0 * uniform(state) - 1.0),
                      size * (2.0 * uniform(state) - 1.0)};
}

static double brute_force_peak(const nrw_field *field)
{
    /* missed by at most (π/6000)² of half its curvature, which is up to 4 of it: 6e-7 */
    double largest = 0.0;
    for (int i = 0; i < 6000; i++)
        largest = fmax(largest, nrw_vec3_norm(nrw_field_at(field, 2.0 * NRW_PI * i / 6000.0)));
    return largest;
}

Test(drive, peak_is_the_largest_size_over_the_period)
{
    uint64_t state = 5;
    for (int trial = 0; trial < 60; trial++) {
        const double steady = trial % 3 == 0 ? 0.05 : trial % 3 == 1 ? 1.0 : 8.0;
        const nrw_field field = {random_vector(&state, steady), random_vector(&state, 10.0),
                                 random_vector(&state, 10.0), 50.0};
        const double expected = brute_force_peak(&field);
        /* 1e-6 of it is what the header promises */
        cr_assert_float_eq(nrw_field_peak_mT(&field), expected, 1e-6 * expected);
    }
}

Test(drive, peak_is_found_where_two_maxima_are_nearly_equal)
{
    /* the lower one lies nearer to a round phase: a coarse search picks it, 7e-4 low */
    const nrw_field field = {{-0.4, 0.1, 0.1}, {-2.2, -4.4, -9.6}, {-4.3, -3.2, -1.4}, 50.0};
    const double expected = brute_force_peak(&field);
    cr_assert_float_eq(nrw_field_peak_mT(&field), expected, 1e-6 * expected);
}

Test(drive, peak_of_the_named_modes_is_plain)
{
    const nrw_drive_setting tilted = rotating(30.0, NRW_SENSE_LEFT);
    const nrw_field turning = nrw_drive_field(&tilted, 0.3, 30.0);
    cr_assert_float_eq(nrw_field_peak_mT(&turning), 10.0, ROUNDING);
    nrw_drive_setting setting = nrw_drive_setting_defaults();
    setting.mode = NRW_DRIVE_OSCILLATING;
    setting.field_mT = 8.0;
    setting.bias_mT = 6.0;
    setting.frequency_Hz = 20.0;
    const nrw_field swinging = nrw_drive_field(&setting, 0.3, 0.0);
    cr_assert_float_eq(nrw_field_peak_mT(&swinging), 10.0, ROUNDING);
}

/* --- wobble and alternation --------------------------------------------------- */

Test(drive, wobble_swings_from_zero_by_its_angle_and_period)
{
    nrw_drive_setting setting = rotating(30.0, NRW_SENSE_LEFT);
    setting.wobble_deg = 30.0;
    setting.wobble_period_s = 3.0;
    cr_assert_eq(nrw_drive_wobble_rad(&setting, 0.0), 0.0);
    cr_assert_float_eq(nrw_drive_wobble_rad(&setting, 0.75), 30.0 * NRW_DEGREE, ROUNDING);
    cr_assert_float_eq(nrw_drive_wobble_rad(&setting, 2.25), -30.0 * NRW_DEGREE, ROUNDING);
    cr_assert_float_eq(nrw_drive_wobble_rad(&setting, 3.25), 30.0 * NRW_DEGREE * sin(NRW_PI / 6.0),
                       ROUNDING);
}

Test(drive, without_wobble_the_heading_does_not_move)
{
    nrw_drive_setting setting = rotating(30.0, NRW_SENSE_LEFT);
    cr_assert_eq(nrw_drive_wobble_rad(&setting, 1.3), 0.0);
    setting.wobble_period_s = 3.0;
    cr_assert_eq(nrw_drive_wobble_rad(&setting, 1.3), 0.0);
}

static nrw_drive alternating(double share, double period_s)
{
    nrw_drive drive;
    memset(&drive, 0, sizeof drive);
    drive.main = rotating(10.0, NRW_SENSE_LEFT);
    drive.other = rotating(90.0, NRW_SENSE_LEFT);
    drive.alternate_share = share;
    drive.alternate_period_s = period_s;
    return drive;
}

Test(drive, the_other_drive_takes_its_share_at_the_end_of_each_period)
{
    const nrw_drive drive = alternating(0.3, 0.4);
    for (int period = 0; period < 5; period++) {
        const double begin = 0.4 * period;
        cr_assert_eq(nrw_drive_at(&drive, begin + 0.01), &drive.main);
        cr_assert_eq(nrw_drive_at(&drive, begin + 0.279), &drive.main);
        cr_assert_eq(nrw_drive_at(&drive, begin + 0.281), &drive.other);
        cr_assert_eq(nrw_drive_at(&drive, begin + 0.399), &drive.other);
    }
}

Test(drive, without_alternation_nothing_ever_switches)
{
    const nrw_drive drive = alternating(0.0, 0.0);
    cr_assert_eq(nrw_drive_at(&drive, 17.0), &drive.main);
    cr_assert_eq(nrw_drive_next_switch_s(&drive, 17.0), INFINITY);
}

/* Goes from switch to switch as a run does: every switch must change the setting
 * and be later than the last. */
static void walk(const nrw_drive *drive, double leg_start_s, int n_switches)
{
    double now = leg_start_s; /* time of the run */
    const nrw_drive_setting *last = nrw_drive_at(drive, 0.0);
    for (int k = 1; k <= n_switches; k++) {
        const double next = nrw_drive_next_switch_s(drive, now - leg_start_s);
        const double at = leg_start_s + next;
        cr_assert_gt(at, now, "switch %d at %.17g", k, at);
        now = at;
        const double in_period = k % 2 == 1 ? 1.0 - drive->alternate_share : 1.0;
        const double expected =
            drive->alternate_period_s * ((double)((k - 1) / 2) + in_period) + leg_start_s;
        cr_assert_float_eq(now, expected, 1e-8 * drive->alternate_period_s, "switch %d", k);
        const nrw_drive_setting *setting = nrw_drive_at(drive, now - leg_start_s);
        cr_assert_neq(setting, last, "switch %d at %.17g", k, now);
        last = setting;
    }
}

Test(drive, switches_are_found_whatever_the_rounding_of_times)
{
    /* neither 0.4 nor 0.28 is exact in binary, and the run's clock adds its own
     * rounding through the start of the leg */
    const double starts[] = {0.0, 1.0 / 3.0, 61.7, 288.8000000000001};
    const double shares[] = {0.3, 1.0 / 3.0, 0.5, 0.9};
    const double periods[] = {0.4, 0.1, 1.0 / 7.0, 4.0};
    for (int i = 0; i < 4; i++)
        for (int j = 0; j < 4; j++)
            for (int k = 0; k < 4; k++) {
                const nrw_drive drive = alternating(shares[j], periods[k]);
                walk(&drive, starts[i], 1000);
            }
}

Test(drive, the_share_of_time_is_as_asked)
{
    const nrw_drive drive = alternating(0.3, 0.4);
    double time = 0.0, of_other = 0.0;
    while (time < 39.99) {
        const double next = nrw_drive_next_switch_s(&drive, time);
        if (nrw_drive_at(&drive, time) == &drive.other)
            of_other += next - time;
        time = next;
    }
    cr_assert_float_eq(of_other / time, 0.3, 1e-9);
}
