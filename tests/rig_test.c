#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rig.h"
#include "sampled_setup.h"

/* The rig of the contract's example (section 2). */
static nrw_rig example_rig(void)
{
    nrw_rig rig = {.present = true,
                   .field_max_mT = 12.0,
                   .frequency_max_Hz = 100.0,
                   .sample_rate_Hz = 10000.0};
    for (int i = 0; i < 3; i++)
        rig.axes[i] = (nrw_rig_axis){.present = true,
                                     .mT_per_A = 2.0,
                                     .resistance_ohm = 3.0,
                                     .inductance_mH = 10.0,
                                     .current_max_A = 8.0,
                                     .voltage_max_V = 60.0};
    return rig;
}

static nrw_drive_setting rotating(double field_mT, double frequency_Hz, double tilt_deg)
{
    nrw_drive_setting setting = nrw_drive_setting_defaults();
    setting.field_mT = field_mT;
    setting.frequency_Hz = frequency_Hz;
    setting.tilt_deg = tilt_deg;
    setting.heading_kind = NRW_HEADING_CENTRELINE;
    return setting;
}

static nrw_schedule one_leg(nrw_leg *leg, nrw_drive_setting setting)
{
    *leg = nrw_leg_defaults();
    strcpy(leg->name, "only");
    leg->drive.main = setting;
    return (nrw_schedule){.legs = leg, .n_legs = 1};
}

static bool mentions(const nrw_errors *errors, const char *text)
{
    char line[1600];
    for (size_t i = 0; i < errors->n_items; i++) {
        nrw_error_format(&errors->items[i], line, sizeof line);
        if (strstr(line, text))
            return true;
    }
    return false;
}

Test(rig, without_one_nothing_is_limited)
{
    const nrw_rig rig = {0};
    const nrw_drive_setting setting = rotating(500.0, 1e4, 30.0);
    nrw_rig_binding binding;
    cr_assert(isinf(nrw_rig_available_field_mT(&rig, &setting, &binding)));
    cr_assert_eq(binding.limit, NRW_RIG_NOTHING);
    cr_assert_eq(nrw_rig_ramp_s(&rig, (nrw_vec3){0}, (nrw_vec3){10, 0, 0}), 0.0);
    nrw_scenario scenario = {.rig = rig};
    nrw_leg leg;
    nrw_schedule schedule = one_leg(&leg, setting);
    cr_assert_eq(nrw_rig_check_schedule(&scenario, &schedule, NULL), NRW_OK);
}

Test(rig, field_and_currents_are_inverse_for_a_turned_rig)
{
    nrw_rig rig = example_rig();
    rig.rotation_deg = 30.0;
    rig.axes[1].mT_per_A = -1.5;
    nrw_rig_model model;
    cr_assert_eq(nrw_rig_model_init(&model, &rig, NULL), NRW_OK);
    const double wanted[3] = {3.0, -4.0, 5.0};
    double currents[NRW_COILS_MAX], field[3];
    nrw_rig_currents_A(&model, wanted, currents);
    nrw_rig_field_mT(&model, currents, field);
    for (int i = 0; i < 3; i++)
        cr_assert_float_eq(field[i], wanted[i], 1e-12, "rounding of a 3 x 3 inverse");
    /* by hand: the part along the coil's x axis at 30 degrees, over 2 mT/A */
    const double by_hand = (3.0 * cos(NRW_PI / 6) - 4.0 * sin(NRW_PI / 6)) / 2.0;
    cr_assert_float_eq(currents[0], by_hand, 1e-12, "the same in other order");
}

Test(rig, field_max_binds_where_coils_could_give_more)
{
    const nrw_rig rig = example_rig();
    const nrw_drive_setting setting = rotating(1.0, 50.0, 0.0);
    nrw_rig_binding binding;
    /* currents alone: 16 mT; voltage at 50 Hz: 60/4.344 = 13.8 A */
    cr_assert_float_eq(nrw_rig_available_field_mT(&rig, &setting, &binding), 12.0, 1e-8,
                       "peak search stops at 1e-9");
    cr_assert_eq(binding.limit, NRW_RIG_FIELD);
}

Test(rig, voltage_binds_at_high_frequency_as_the_impedance_says)
{
    nrw_rig rig = example_rig();
    rig.frequency_max_Hz = 1000.0;
    const nrw_drive_setting setting = rotating(1.0, 400.0, 0.0);
    nrw_rig_binding binding;
    const double reachable = nrw_rig_available_field_mT(&rig, &setting, &binding);
    const double impedance = sqrt(9.0 + pow(2 * NRW_PI * 400.0 * 0.01, 2));
    const double expected = 2.0 * 60.0 * (1.0 - NRW_RIG_JOIN_RESERVE) / impedance;
    cr_assert_float_eq(reachable, expected, 1e-8 * expected, "peak search stops at 1e-9");
    cr_assert_eq(binding.limit, NRW_RIG_COIL);
    cr_assert_eq(binding.quantity, NRW_RIG_PEAK_V);
}

Test(rig, weak_z_coil_limits_by_the_sine_of_the_tilt)
{
    nrw_rig rig = example_rig();
    rig.axes[2].current_max_A = 1.0; /* 2 mT */
    for (double tilt = 15.0; tilt <= 90.0; tilt += 15.0) {
        const nrw_drive_setting setting = rotating(1.0, 10.0, tilt);
        nrw_rig_binding binding;
        const double expected = 2.0 / sin(tilt * NRW_DEGREE);
        cr_assert_float_eq(nrw_rig_available_field_mT(&rig, &setting, &binding), expected,
                           1e-8 * expected, "peak search stops at 1e-9");
        cr_assert_eq(binding.limit, NRW_RIG_COIL);
        cr_assert_eq(binding.quantity, NRW_RIG_PEAK_A);
        cr_assert_eq(binding.coil, 2);
    }
}

Test(rig, feedback_heading_takes_the_worst_direction_and_a_fixed_one_its_own)
{
    nrw_rig rig = example_rig();
    rig.axes[1].current_max_A = 2.0; /* 4 mT along y */
    nrw_drive_setting setting = rotating(1.0, 10.0, 0.0);
    setting.mode = NRW_DRIVE_OSCILLATING;
    cr_assert_float_eq(nrw_rig_available_field_mT(&rig, &setting, NULL), 4.0, 1e-8,
                       "peak search stops at 1e-9");
    setting.heading_kind = NRW_HEADING_FIXED;
    setting.heading_deg = 30.0;
    cr_assert_float_eq(nrw_rig_available_field_mT(&rig, &setting, NULL), 8.0, 1e-8,
                       "4 mT over sin 30");
    setting.wobble_deg = 60.0;
    setting.wobble_period_s = 5.0;
    cr_assert_float_eq(nrw_rig_available_field_mT(&rig, &setting, NULL), 4.0, 1e-8,
                       "the wobble reaches 90 degrees");
}

Test(rig, worst_heading_agrees_with_brute_force)
{
    nrw_rig rig = example_rig();
    rig.rotation_deg = 17.0;
    rig.axes[0].mT_per_A = 1.3;
    rig.axes[2].inductance_mH = 25.0;
    nrw_drive_setting setting = rotating(10.0, 60.0, 35.0);
    setting.mode = NRW_DRIVE_PRECESSING;
    setting.axis = NRW_AXIS_ACROSS;
    setting.cone_deg = 40.0;
    nrw_rig_model model;
    cr_assert_eq(nrw_rig_model_init(&model, &rig, NULL), NRW_OK);
    const nrw_rig_demand demand = nrw_rig_demand_of(&model, &setting);
    double current[3] = {0}, voltage[3] = {0};
    const double omega = 2.0 * NRW_PI * setting.frequency_Hz;
    for (int i = 0; i < 720; i++) {
        const nrw_field field = nrw_drive_field(&setting, i * 0.5 * NRW_DEGREE, 35.0);
        for (int j = 0; j < 720; j++) {
            const double phase = j * 0.5 * NRW_DEGREE;
            const nrw_vec3 b = nrw_field_at(&field, phase);
            const double rate[3] = {omega * (field.sin.x * cos(phase) - field.cos.x * sin(phase)),
                                    omega * (field.sin.y * cos(phase) - field.cos.y * sin(phase)),
                                    omega * (field.sin.z * cos(phase) - field.cos.z * sin(phase))};
            double amperes[NRW_COILS_MAX], rates[NRW_COILS_MAX], volts[NRW_COILS_MAX];
            nrw_rig_currents_A(&model, (const double[3]){b.x, b.y, b.z}, amperes);
            nrw_rig_currents_A(&model, rate, rates);
            nrw_rig_voltages_V(&model, amperes, rates, volts);
            for (int k = 0; k < 3; k++) {
                current[k] = fmax(current[k], fabs(amperes[k]));
                voltage[k] = fmax(voltage[k], fabs(volts[k]));
            }
        }
    }
    for (int k = 0; k < 3; k++) {
        /* half-degree steps in two angles miss a quadratic peak by at most
         * (0.25 degrees)² = 2e-5 of it, never exceed it */
        cr_assert_float_eq(demand.largest[NRW_RIG_PEAK_A][k], current[k], 3e-5 * current[k]);
        cr_assert_float_eq(demand.largest[NRW_RIG_PEAK_V][k], voltage[k], 3e-5 * voltage[k]);
        cr_assert_geq(demand.largest[NRW_RIG_PEAK_A][k], current[k] * (1.0 - 1e-9));
        cr_assert_geq(demand.largest[NRW_RIG_PEAK_V][k], voltage[k] * (1.0 - 1e-9));
    }
}

Test(rig, bias_keeps_its_size_when_the_field_is_fitted)
{
    nrw_rig rig = example_rig();
    rig.field_max_mT = 5.0;
    nrw_drive_setting setting = rotating(1.0, 10.0, 0.0);
    setting.mode = NRW_DRIVE_OSCILLATING;
    setting.bias_mT = 3.0;
    cr_assert_float_eq(nrw_rig_available_field_mT(&rig, &setting, NULL), 4.0, 1e-7,
                       "3-4-5; bisection stops at 1e-9");
    setting.bias_mT = 6.0;
    cr_assert_eq(nrw_rig_available_field_mT(&rig, &setting, NULL), 0.0);
}

Test(rig, two_axes_do_for_a_flat_drive_and_refuse_a_tilted_one)
{
    nrw_scenario scenario = {.rig = example_rig()};
    scenario.rig.axes[2].present = false;
    nrw_leg leg;
    nrw_schedule schedule = one_leg(&leg, rotating(10.0, 50.0, 0.0));
    cr_assert_eq(nrw_rig_check_schedule(&scenario, &schedule, NULL), NRW_OK);
    schedule = one_leg(&leg, rotating(10.0, 50.0, 10.0));
    nrw_errors errors;
    nrw_errors_init(&errors);
    cr_assert_eq(nrw_rig_check_schedule(&scenario, &schedule, &errors), NRW_REFUSED);
    cr_assert(mentions(&errors, "no z axis"));
    cr_assert(mentions(&errors, "only"));
    nrw_errors_clear(&errors);
    cr_assert_eq(nrw_rig_available_field_mT(&scenario.rig, &leg.drive.main, NULL), 0.0);
}

Test(rig, refusal_names_every_limit_and_what_would_be_enough)
{
    nrw_scenario scenario = {.rig = example_rig()};
    nrw_leg leg;
    nrw_schedule schedule = one_leg(&leg, rotating(40.0, 120.0, 0.0));
    nrw_errors errors;
    nrw_errors_init(&errors);
    cr_assert_eq(nrw_rig_check_schedule(&scenario, &schedule, &errors), NRW_REFUSED);
    cr_assert(mentions(&errors, "frequency_max_Hz of 100"));
    cr_assert(mentions(&errors, "field_max_mT of 12"));
    cr_assert(mentions(&errors, "coil x would need current 20 A"));
    cr_assert(mentions(&errors, "coil y would need voltage"));
    cr_assert(mentions(&errors, "up to 12 mT at 100 Hz"));
    nrw_errors_clear(&errors);
}

Test(rig, alternate_drive_is_checked_too)
{
    nrw_scenario scenario = {.rig = example_rig()};
    nrw_leg leg;
    nrw_schedule schedule = one_leg(&leg, rotating(10.0, 50.0, 0.0));
    leg.drive.alternate_share = 0.3;
    leg.drive.alternate_period_s = 0.4;
    leg.drive.other = rotating(13.0, 50.0, 60.0);
    nrw_errors errors;
    nrw_errors_init(&errors);
    cr_assert_eq(nrw_rig_check_schedule(&scenario, &schedule, &errors), NRW_REFUSED);
    cr_assert(mentions(&errors, "alternate drive"));
    nrw_errors_clear(&errors);
}

Test(rig, what_is_offered_is_accepted_and_a_little_more_is_not)
{
    nrw_scenario scenario = {.rig = example_rig()};
    scenario.rig.field_max_mT = 1000.0;
    scenario.rig.frequency_max_Hz = 1000.0;
    scenario.rig.axes[0].voltage_max_V = 20.0;
    nrw_drive_setting setting = rotating(1.0, 300.0, 25.0);
    setting.wobble_deg = 30.0;
    setting.wobble_period_s = 0.5;
    setting.field_mT = nrw_rig_available_field_mT(&scenario.rig, &setting, NULL);
    nrw_leg leg;
    nrw_schedule schedule = one_leg(&leg, setting);
    cr_assert_eq(nrw_rig_check_schedule(&scenario, &schedule, NULL), NRW_OK);
    leg.drive.main.field_mT *= 1.0001 / (1.0 - NRW_RIG_JOIN_RESERVE);
    cr_assert_eq(nrw_rig_check_schedule(&scenario, &schedule, NULL), NRW_REFUSED);
}

Test(rig, offered_frequency_meets_the_voltage)
{
    nrw_rig rig = example_rig();
    rig.frequency_max_Hz = 1000.0;
    const nrw_drive_setting setting = rotating(10.0, 900.0, 0.0);
    const double reactance = sqrt(pow(60.0 * (1.0 - NRW_RIG_JOIN_RESERVE) / 5.0, 2) - 9.0);
    const double expected = reactance / (2.0 * NRW_PI * 0.01);
    cr_assert_float_eq(nrw_rig_available_frequency_Hz(&rig, &setting), expected, 1e-5,
                       "30 halvings of 1000 Hz leave 1e-6");
}

Test(rig, easing_tilt_needs_the_flat_drive_as_well)
{
    nrw_rig rig = example_rig();
    rig.axes[1].current_max_A = 2.0; /* 4 mT along y */
    nrw_drive_setting setting = rotating(1.0, 10.0, 60.0);
    setting.heading_kind = NRW_HEADING_FIXED; /* along x: y gets cos 60 */
    cr_assert_float_eq(nrw_rig_available_field_mT(&rig, &setting, NULL), 8.0, 1e-8);
    setting.ease_um = 10.0;
    cr_assert_float_eq(nrw_rig_available_field_mT(&rig, &setting, NULL), 4.0, 1e-8,
                       "tilt 0 at the node");
}

Test(rig, ramp_is_as_fast_as_the_voltage_allows)
{
    const nrw_rig rig = example_rig();
    /* 0 to 10 mT: 5 A through 10 mH with 60 - 15 V to spare */
    cr_assert_float_eq(nrw_rig_ramp_s(&rig, (nrw_vec3){0}, (nrw_vec3){10, 0, 0}), 0.05 / 45.0,
                       1e-12, "rounding");
    nrw_rig weak = rig;
    weak.axes[0].voltage_max_V = 15.0;
    cr_assert(isinf(nrw_rig_ramp_s(&weak, (nrw_vec3){0}, (nrw_vec3){10, 0, 0})));
}

Test(rig, coil_without_sense_is_bad_input)
{
    nrw_rig rig = example_rig();
    rig.axes[0].mT_per_A = 0.0;
    nrw_rig_model model;
    nrw_errors errors;
    nrw_errors_init(&errors);
    cr_assert_eq(nrw_rig_model_init(&model, &rig, &errors), NRW_BAD_INPUT);
    cr_assert_not(model.present);
    cr_assert_eq(errors.n_items, 1);
    nrw_errors_clear(&errors);
}

Test(rig, surroundings_are_cancelled_and_take_their_share_of_the_current)
{
    nrw_rig rig = example_rig();
    rig.ambient_uT[0] = 2000.0; /* 1 A of coil x */
    nrw_rig_model model;
    cr_assert_eq(nrw_rig_model_init(&model, &rig, NULL), NRW_OK);
    double currents[NRW_COILS_MAX], field[3];
    nrw_rig_currents_A(&model, (const double[3]){4.0, 0.0, 0.0}, currents);
    cr_assert_float_eq(currents[0], 1.0, 1e-12, "2 of the 4 mT are there already");
    nrw_rig_field_mT(&model, currents, field);
    cr_assert_float_eq(field[0], 4.0, 1e-12);
    rig.field_max_mT = 100.0;
    nrw_drive_setting setting = rotating(1.0, 1.0, 0.0);
    cr_assert_float_eq(nrw_rig_available_field_mT(&rig, &setting, NULL), 14.0, 1e-6,
                       "8 A less 1; bisection stops at 1e-9");
    setting.mode = NRW_DRIVE_STEADY;
    setting.heading_kind = NRW_HEADING_FIXED;
    cr_assert_float_eq(nrw_rig_available_field_mT(&rig, &setting, NULL), 18.0, 1e-6,
                       "along it the surroundings help");
}

Test(rig, slew_and_continuous_current_limit_too)
{
    nrw_rig rig = example_rig();
    nrw_rig_binding binding;
    nrw_drive_setting setting = rotating(1.0, 50.0, 0.0);
    rig.axes[0].extras.slew_max_A_s = 2.0 * NRW_PI * 50.0 * 3.0;
    cr_assert_float_eq(nrw_rig_available_field_mT(&rig, &setting, &binding), 6.0, 1e-8);
    cr_assert_eq(binding.quantity, NRW_RIG_SLEW_A_S);
    rig.axes[1].extras.current_rms_max_A = sqrt(2.0);
    cr_assert_float_eq(nrw_rig_available_field_mT(&rig, &setting, &binding), 4.0, 1e-8);
    cr_assert_eq(binding.quantity, NRW_RIG_RMS_A);
    cr_assert_eq(binding.coil, 1);
}

Test(rig, coupled_coils_need_the_voltage_of_each_others_change)
{
    nrw_rig rig = example_rig();
    rig.mutual_mH[0][1] = rig.mutual_mH[1][0] = 5.0;
    nrw_rig_model model;
    cr_assert_eq(nrw_rig_model_init(&model, &rig, NULL), NRW_OK);
    nrw_drive_setting setting = rotating(10.0, 50.0, 0.0);
    setting.heading_kind = NRW_HEADING_FIXED;
    const nrw_rig_demand demand = nrw_rig_demand_of(&model, &setting);
    /* x: cos, y: sin, 5 A each: V_x = R cos − ωL sin + ωM cos */
    const double omega = 2.0 * NRW_PI * 50.0;
    const double by_hand = 5.0 * hypot(3.0 + omega * 0.005, omega * 0.01);
    cr_assert_float_eq(demand.largest[NRW_RIG_PEAK_V][0], by_hand, 1e-9 * by_hand);
}

Test(rig, redundant_coils_share_the_field_with_the_least_heat)
{
    nrw_rig rig = {.present = true, .field_max_mT = 10, .frequency_max_Hz = 100, .n_coils = 4};
    const double columns[4][3] = {{2, 0, 0}, {0, 2, 0}, {0, 0, 2}, {1, 0.5, 0.2}};
    for (int k = 0; k < 4; k++) {
        nrw_rig_coil *coil = &rig.coils[k];
        memcpy(coil->mT_per_A, columns[k], sizeof columns[k]);
        coil->current_max_A = coil->voltage_max_V = 100.0;
    }
    nrw_rig_model model;
    cr_assert_eq(nrw_rig_model_init(&model, &rig, NULL), NRW_OK);
    const double wanted[3] = {3, -1, 2};
    double currents[NRW_COILS_MAX], field[3];
    nrw_rig_currents_A(&model, wanted, currents);
    nrw_rig_field_mT(&model, currents, field);
    /* the null direction of the matrix: any step along it keeps the field */
    const double null[4] = {-0.5, -0.25, -0.1, 1.0};
    double slope = 0.0;
    for (int k = 0; k < 4; k++)
        slope += currents[k] * null[k];
    for (int r = 0; r < 3; r++)
        cr_assert_float_eq(field[r], wanted[r], 1e-12);
    cr_assert_float_eq(slope, 0.0, 1e-12, "least norm: no way down along it");
}

/* --- samples --------------------------------------------------------------------- */

Test(rig, samples_of_a_drive_ask_what_the_drive_asks)
{
    const nrw_rig rig = example_rig();
    nrw_rig_model model;
    cr_assert_eq(nrw_rig_model_init(&model, &rig, NULL), NRW_OK);
    nrw_drive_setting setting = rotating(10.0, 50.0, 35.0);
    setting.heading_kind = NRW_HEADING_FIXED;
    setting.heading_deg = 20.0;
    const nrw_field field = nrw_drive_field(&setting, 20.0 * NRW_DEGREE, 35.0);
    nrw_samples *samples = sampled_copy(&field, 10000.0, 2001);
    nrw_drive_setting played = nrw_drive_setting_defaults();
    played.mode = NRW_DRIVE_SAMPLED;
    played.samples = samples;
    const nrw_rig_demand drive = nrw_rig_demand_of(&model, &setting);
    const nrw_rig_demand copy = nrw_rig_demand_of(&model, &played);
    cr_assert_float_eq(copy.peak_field_mT, drive.peak_field_mT, 1e-5);
    cr_assert_eq(copy.missing_mT, 0.0);
    /* 200 samples a cycle: peaks fall between samples, slopes are those of chords */
    for (int q = 0; q < NRW_RIG_N_QUANTITIES; q++)
        for (int k = 0; k < 3; k++)
            cr_assert_float_eq(copy.largest[q][k], drive.largest[q][k], 3e-4 * drive.largest[q][k],
                               "quantity %d, coil %d", q, k);
    nrw_samples_destroy(samples);
}

Test(rig, samples_beyond_the_rig_are_refused_with_their_time)
{
    nrw_scenario scenario = {.rig = example_rig()};
    float(*field)[3] = calloc(5, sizeof *field);
    for (int k = 0; k < 3; k++)
        field[3][k] = 8.0f; /* 13.9 mT; 4 A in 1 ms need 40 V for L alone */
    nrw_samples *samples = nrw_samples_create("s.csv", "s.csv", 1000.0, 5, field);
    nrw_drive_setting played = nrw_drive_setting_defaults();
    played.mode = NRW_DRIVE_SAMPLED;
    played.samples = samples;
    nrw_leg leg;
    const nrw_schedule schedule = one_leg(&leg, played);
    nrw_errors errors;
    nrw_errors_init(&errors);
    cr_assert_eq(nrw_rig_check_schedule(&scenario, &schedule, &errors), NRW_REFUSED);
    cr_assert_eq(errors.n_items, 1);
    cr_assert(mentions(&errors, "13.8564 mT peak is above the rig's field_max_mT of 12"));
    cr_assert(mentions(&errors, "samples of a schedule within this rig"));
    nrw_errors_clear(&errors);
    nrw_errors_init(&errors);
    scenario.rig.field_max_mT = 20.0;
    scenario.rig.axes[1].voltage_max_V = 45.0; /* R 2 A + L 4 A/ms = 46 V */
    scenario.rig.axes[2].present = false;
    cr_assert_eq(nrw_rig_check_schedule(&scenario, &schedule, &errors), NRW_REFUSED);
    cr_assert(mentions(&errors, "coil y would need voltage 46 V at 0.002 s of its samples"));
    cr_assert(mentions(&errors, "the rig has no z axis"));
    nrw_errors_clear(&errors);
    nrw_samples_destroy(samples);
}
