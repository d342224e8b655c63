#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include <gsl/gsl_fft_complex.h>

#include "waveform.h"

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

static nrw_leg timed_leg(const char *name, double seconds, double field_mT, double frequency_Hz,
                         double tilt_deg)
{
    nrw_leg leg = nrw_leg_defaults();
    strcpy(leg.name, name);
    leg.drive.main.field_mT = field_mT;
    leg.drive.main.frequency_Hz = frequency_Hz;
    leg.drive.main.tilt_deg = tilt_deg;
    leg.until.present = NRW_UNTIL_ELAPSED;
    leg.until.elapsed_s = seconds;
    leg.drive.other = leg.drive.main;
    return leg;
}

typedef struct played {
    nrw_rig rig;
    nrw_leg legs[4];
    nrw_schedule schedule;
    nrw_timeline timeline;
    nrw_wave *wave;
    nrw_wave_sample *samples;
    size_t n;
} played;

static void play(played *p)
{
    nrw_errors errors;
    nrw_errors_init(&errors);
    p->schedule.legs = p->legs;
    char text[1000] = "";
    nrw_status status = NRW_OK;
    if (!p->timeline.n_items)
        status = nrw_timeline_of_schedule(&p->schedule, 100.0, &p->timeline, &errors);
    if (status == NRW_OK)
        status = nrw_wave_create(&p->rig, &p->schedule, &p->timeline, p->rig.sample_rate_Hz,
                                 &p->wave, &errors);
    if (errors.n_items)
        nrw_error_format(&errors.items[0], text, sizeof text);
    cr_assert_eq(status, NRW_OK, "%s", text);
    nrw_errors_clear(&errors);
    p->n = nrw_wave_n_samples(p->wave);
    p->samples = calloc(p->n, sizeof *p->samples);
    for (size_t i = 0; i < p->n; i++)
        cr_assert(nrw_wave_next(p->wave, &p->samples[i]));
    nrw_wave_sample none;
    cr_assert_not(nrw_wave_next(p->wave, &none));
}

static void clear(played *p)
{
    free(p->samples);
    nrw_wave_destroy(p->wave);
    nrw_timeline_clear(&p->timeline);
}

/* Complex spectrum of Bx + i By over n samples from `first`: positive
 * frequencies turn left (anticlockwise from above), negative ones right. */
static void in_plane_spectrum(const played *p, size_t first, size_t n, double *data)
{
    for (size_t i = 0; i < n; i++) {
        data[2 * i] = p->samples[first + i].field_mT[0];
        data[2 * i + 1] = p->samples[first + i].field_mT[1];
    }
    gsl_fft_complex_wavetable *table = gsl_fft_complex_wavetable_alloc(n);
    gsl_fft_complex_workspace *work = gsl_fft_complex_workspace_alloc(n);
    gsl_fft_complex_forward(data, 1, n, table, work);
    gsl_fft_complex_wavetable_free(table);
    gsl_fft_complex_workspace_free(work);
}

static double amplitude(const double *data, size_t n, long bin)
{
    const size_t k = bin >= 0 ? (size_t)bin : n - (size_t)-bin;
    return hypot(data[2 * k], data[2 * k + 1]) / (double)n;
}

Test(waveform, spectrum_shows_each_legs_frequency_and_sense)
{
    played p = {.rig = example_rig(), .schedule = {.n_legs = 2}};
    p.legs[0] = timed_leg("left", 1.5, 10.0, 50.0, 0.0);
    p.legs[1] = timed_leg("right", 1.5, 8.0, 80.0, 0.0);
    p.legs[1].drive.main.sense = NRW_SENSE_RIGHT;
    play(&p);
    cr_assert_eq(p.n, 30001);
    enum { N = 10000 }; /* 1 s: bins of 1 Hz, away from the joins */
    static double data[2 * N];
    in_plane_spectrum(&p, 2000, N, data);
    /* rounding of the transform: nothing but the one line */
    cr_assert_float_eq(amplitude(data, N, 50), 10.0, 1e-9);
    cr_assert_float_eq(amplitude(data, N, -50), 0.0, 1e-9);
    cr_assert_float_eq(amplitude(data, N, 80), 0.0, 1e-9);
    in_plane_spectrum(&p, 18000, N, data);
    cr_assert_float_eq(amplitude(data, N, -80), 8.0, 1e-9);
    cr_assert_float_eq(amplitude(data, N, 80), 0.0, 1e-9);
    clear(&p);
}

Test(waveform, starts_and_ends_without_current)
{
    played p = {.rig = example_rig(), .schedule = {.n_legs = 1}};
    p.rig.ambient_uT[1] = 300.0;
    p.legs[0] = timed_leg("only", 0.5, 10.0, 50.0, 20.0);
    play(&p);
    for (int k = 0; k < 3; k++) {
        cr_assert_float_eq(p.samples[0].current_A[k], 0.0, 1e-12);
        cr_assert_float_eq(p.samples[p.n - 1].current_A[k], 0.0, 1e-12);
    }
    cr_assert_float_eq(p.samples[p.n - 1].time_s, 0.5, 1e-12);
    clear(&p);
}

Test(waveform, phase_counts_from_the_legs_start)
{
    played p = {.rig = example_rig(), .schedule = {.n_legs = 2}};
    p.legs[0] = timed_leg("a", 0.333, 10.0, 50.0, 0.0);
    p.legs[1] = timed_leg("b", 0.5, 10.0, 50.0, 35.0);
    p.legs[1].drive.main.heading_deg = 40.0;
    play(&p);
    for (size_t i = 3330 + 500; i < p.n - 200; i += 37) {
        const nrw_field field = nrw_drive_field(&p.legs[1].drive.main, 40.0 * NRW_DEGREE, 35.0);
        const nrw_vec3 b = nrw_field_at(&field, 2 * NRW_PI * 50.0 * (p.samples[i].time_s - 0.333));
        cr_assert_float_eq(p.samples[i].field_mT[0], b.x, 1e-9);
        cr_assert_float_eq(p.samples[i].field_mT[1], b.y, 1e-9);
        cr_assert_float_eq(p.samples[i].field_mT[2], b.z, 1e-9);
        cr_assert_eq(p.samples[i].leg, 1);
    }
    clear(&p);
}

/* The promises at every sample: limits, and no step above what the voltage can
 * change; rates checked against the samples themselves. */
static void assert_within_the_rig(const played *p)
{
    const nrw_rig_model *model = nrw_wave_rig(p->wave);
    const double rate = nrw_wave_sample_rate_Hz(p->wave);
    double worst_voltage = 0.0;
    for (size_t i = 0; i < p->n; i++) {
        const nrw_wave_sample *s = &p->samples[i];
        for (int k = 0; k < model->n_coils; k++) {
            cr_assert_leq(fabs(s->current_A[k]), model->allowed[NRW_RIG_PEAK_A][k] * (1 + 1e-9));
            /* what an export allows; the plan finds peaks between its points to a tenth of it */
            cr_assert_leq(fabs(s->voltage_V[k]), model->allowed[NRW_RIG_PEAK_V][k] * (1 + 1e-5),
                          "%g V at %g s", s->voltage_V[k], s->time_s);
            worst_voltage = fmax(worst_voltage, fabs(s->voltage_V[k]));
            if (i == 0)
                continue;
            /* L dI/dt <= V + R I */
            const double step = fabs(s->current_A[k] - p->samples[i - 1].current_A[k]);
            const double fastest = (model->allowed[NRW_RIG_PEAK_V][k] * (1 + 1e-5) +
                                    model->resistance_ohm[k] * model->allowed[NRW_RIG_PEAK_A][k]) /
                                   model->inductance_H[k][k];
            cr_assert_leq(step * rate,
                          fmin(fastest, model->allowed[NRW_RIG_SLEW_A_S][k] * (1 + 1e-5)));
        }
    }
    cr_assert_gt(worst_voltage, 0.0);
}

Test(waveform, joins_keep_within_current_voltage_and_slew)
{
    played p = {.rig = example_rig(), .schedule = {.n_legs = 4}};
    p.rig.axes[2].voltage_max_V = 25.1; /* 0.3 % above what leg 1 needs */
    p.rig.axes[0].extras.slew_max_A_s = 2500.0;
    p.legs[0] = timed_leg("flat", 0.41, 12.0, 60.0, 0.0);
    p.legs[1] = timed_leg("tilted", 0.43, 12.0, 60.0, 60.0);
    p.legs[1].drive.main.heading_deg = 170.0;
    p.legs[2] = timed_leg("two", 0.8, 11.0, 50.0, 10.0);
    p.legs[2].drive.alternate_share = 0.3;
    p.legs[2].drive.alternate_period_s = 0.1;
    p.legs[2].drive.other.tilt_deg = 90.0;
    p.legs[2].drive.main.wobble_deg = p.legs[2].drive.other.wobble_deg = 30.0;
    p.legs[2].drive.main.wobble_period_s = p.legs[2].drive.other.wobble_period_s = 0.5;
    p.legs[3] = timed_leg("steady", 0.2, 10.0, 0.0, 0.0);
    p.legs[3].drive.main.mode = NRW_DRIVE_STEADY;
    p.legs[3].drive.main.elevation_deg = -50.0;
    play(&p);
    size_t n_joins;
    (void)nrw_wave_joins(p.wave, &n_joins);
    /* 4 legs, 8 periods with one switch inside and 7 between them, the end */
    cr_assert_eq(n_joins, 4 + 8 + 7 + 1);
    assert_within_the_rig(&p);
    clear(&p);
}

Test(waveform, rates_are_those_of_the_samples)
{
    played p = {.rig = example_rig(), .schedule = {.n_legs = 2}};
    p.rig.sample_rate_Hz = 1e6;
    p.legs[0] = timed_leg("a", 0.03, 12.0, 60.0, 0.0);
    p.legs[1] = timed_leg("b", 0.03, 12.0, 60.0, 60.0);
    play(&p);
    for (size_t i = 1; i + 1 < p.n; i += 7) {
        const double by_hand =
            (p.samples[i + 1].current_A[1] - p.samples[i - 1].current_A[1]) * 1e6 / 2;
        /* curvature of the currents jumps at both ends of a fade: (Δt/T)² of ω I,
         * with Δt 1 µs and T above 1 ms */
        cr_assert_float_eq(p.samples[i].rate_A_s[1], by_hand, 3.0, "at %g s", p.samples[i].time_s);
        const double volts = 3.0 * p.samples[i].current_A[1] + 0.01 * p.samples[i].rate_A_s[1];
        cr_assert_float_eq(p.samples[i].voltage_V[1], volts, 1e-9);
    }
    clear(&p);
}

Test(waveform, feedback_headings_turn_smoothly_by_the_shorter_side)
{
    played p = {.rig = example_rig(), .schedule = {.n_legs = 1}};
    p.legs[0] = timed_leg("fed", 1.0, 2.0, 400.0, 30.0);
    p.timeline.items = calloc(11, sizeof *p.timeline.items);
    p.timeline.n_items = 10;
    p.timeline.end_s = 1.0;
    for (int i = 0; i < 10; i++) {
        const double heading = i % 2 ? -3.0 : 3.0; /* across the cut at 180 degrees */
        p.timeline.items[i] = (nrw_timeline_item){i * 0.1, 0, 0.0, {heading, 0.0}, {30.0 - i, 0.0}};
    }
    play(&p);
    assert_within_the_rig(&p);
    for (int i = 0; i < 10; i++) {
        /* settled well before the next frame */
        const size_t at = (size_t)(1000 * i + 900);
        const nrw_field field =
            nrw_drive_field(&p.legs[0].drive.main, i % 2 ? -3.0 : 3.0, 30.0 - i);
        const nrw_vec3 b = nrw_field_at(&field, 2 * NRW_PI * 400.0 * p.samples[at].time_s);
        cr_assert_float_eq(p.samples[at].field_mT[0], b.x, 1e-9);
        cr_assert_float_eq(p.samples[at].field_mT[2], b.z, 1e-9);
    }
    /* The longer way round would pass heading 0, where B points to +x at every
     * full turn of the phase (25 samples, two in the middle of a turn of 5 ms);
     * turning by 0.28 rad about 180 degrees it never does. */
    for (size_t i = 100; i < 9900; i += 25)
        cr_assert_lt(p.samples[i].field_mT[0], -1.9, "at %g s", p.samples[i].time_s);
    clear(&p);
}

/* About a place headings may turn by half a circle between frames: the steepest turns,
 * whose peaks of the voltage fall between the points at which a trial looks. */
Test(waveform, sharp_turns_keep_to_the_voltage_between_the_points_of_a_trial)
{
    enum { N = 40 };
    played p = {.rig = example_rig(), .schedule = {.n_legs = 1}};
    p.rig.sample_rate_Hz = 40000.0;
    p.legs[0] = timed_leg("home", 4.0, 12.0, 100.0, 15.0);
    p.timeline.items = calloc(N, sizeof *p.timeline.items);
    p.timeline.n_items = N;
    p.timeline.end_s = 0.1 * N;
    for (int i = 0; i < N; i++)
        p.timeline.items[i] = (nrw_timeline_item){
            i * 0.1, 0, 0.0, {2.6 * i - 0.03 * i * i, 0.0}, {i % 2 ? 15.0 : 6.0, 0.0}};
    play(&p);
    assert_within_the_rig(&p);
    clear(&p);
}

Test(waveform, no_voltage_left_is_refused_with_leg_and_coil)
{
    nrw_rig rig = example_rig();
    nrw_leg leg = timed_leg("held", 5.0, 10.0, 0.0, 0.0);
    leg.drive.main.mode = NRW_DRIVE_STEADY;
    rig.axes[0].voltage_max_V = 15.0; /* just what 5 A need */
    rig.axes[0].inductance_mH = 1e6;
    nrw_schedule schedule = {.legs = &leg, .n_legs = 1};
    nrw_timeline timeline;
    nrw_errors errors;
    nrw_wave *wave;
    nrw_errors_init(&errors);
    cr_assert_eq(nrw_timeline_of_schedule(&schedule, 10.0, &timeline, &errors), NRW_OK);
    cr_assert_eq(nrw_wave_create(&rig, &schedule, &timeline, 1000.0, &wave, &errors), NRW_REFUSED);
    cr_assert_null(wave);
    cr_assert_eq(errors.n_items, 1);
    cr_assert_not_null(strstr(errors.items[0].what, "held"));
    cr_assert_not_null(strstr(errors.items[0].what, "coil x"));
    nrw_errors_clear(&errors);
    nrw_timeline_clear(&timeline);
}

Test(waveform, winding_warms_toward_its_steady_state_and_needs_more_voltage)
{
    played p = {.rig = example_rig(), .schedule = {.n_legs = 1}};
    p.rig.sample_rate_Hz = 1000.0;
    p.rig.axes[0].extras.thermal_resistance_K_W = 0.5;
    p.rig.axes[0].extras.thermal_capacity_J_K = 4.0; /* 2 s */
    p.legs[0] = timed_leg("hot", 30.0, 10.0, 0.0, 0.0);
    p.legs[0].drive.main.mode = NRW_DRIVE_STEADY;
    play(&p);
    const nrw_wave_sample *late = &p.samples[p.n - 100];
    /* ΔT = R_th R (1 + α ΔT) I²: 0.5 · 75 / (1 − 0.00393 · 37.5) */
    const double above = 37.5 / (1.0 - 0.00393 * 37.5);
    cr_assert_float_eq(late->temperature_C[0], 20.0 + above, 0.01, "15 time constants");
    cr_assert_float_eq(late->voltage_V[0], 15.0 * (1.0 + 0.00393 * above), 0.01);
    cr_assert(isnan(late->temperature_C[1]));
    clear(&p);
}

Test(waveform, amplifiers_answer_is_undone_in_the_command)
{
    played p = {.rig = example_rig(), .schedule = {.n_legs = 1}};
    p.rig.gains[0] = (nrw_rig_gain){0.0, 1.0, 0.0};
    p.rig.gains[1] = (nrw_rig_gain){100.0, 0.8, -20.0};
    p.rig.n_gains = 2;
    p.legs[0] = timed_leg("only", 0.5, 10.0, 50.0, 0.0);
    play(&p);
    for (size_t i = 1000; i < 4000; i += 11) {
        /* at 50 Hz: gain 0.9, 10 degrees late */
        const double phase = 2 * NRW_PI * 50.0 * p.samples[i].time_s;
        cr_assert_float_eq(p.samples[i].command_A[0], 5.0 / 0.9 * cos(phase + 10 * NRW_DEGREE),
                           1e-9);
        cr_assert_float_eq(p.samples[i].current_A[0], 5.0 * cos(phase), 1e-9);
    }
    clear(&p);
}

Test(timeline, legs_that_need_imaging_are_named)
{
    nrw_leg legs[2] = {timed_leg("timed", 1.0, 10, 50, 0), timed_leg("fed", 1.0, 10, 50, 0)};
    legs[1].drive.main.heading_kind = NRW_HEADING_CENTRELINE;
    nrw_schedule schedule = {.legs = legs, .n_legs = 2};
    nrw_timeline timeline;
    nrw_errors errors;
    nrw_errors_init(&errors);
    cr_assert_eq(nrw_timeline_of_schedule(&schedule, 10.0, &timeline, &errors), NRW_REFUSED);
    cr_assert_eq(errors.n_items, 1);
    cr_assert_not_null(strstr(errors.items[0].what, "fed"));
    nrw_errors_clear(&errors);
}

Test(timeline, timeouts_go_where_they_aim_as_often_as_allowed)
{
    nrw_leg legs[2] = {timed_leg("a", 1.0, 10, 50, 0), timed_leg("b", 2.0, 10, 50, 0)};
    legs[1].until.present = 0;
    legs[1].timeout_s = 2.0;
    legs[1].on_timeout_leg = 0;
    legs[0].max_visits = 2;
    legs[1].max_visits = 2;
    nrw_schedule schedule = {.legs = legs, .n_legs = 2};
    nrw_timeline timeline;
    cr_assert_eq(nrw_timeline_of_schedule(&schedule, 100.0, &timeline, NULL), NRW_OK);
    /* a b a b, then both are used up */
    cr_assert_eq(timeline.n_items, 4);
    cr_assert_float_eq(timeline.end_s, 6.0, 1e-12);
    nrw_timeline_clear(&timeline);
}

Test(timeline, deadline_cuts)
{
    nrw_leg leg = timed_leg("a", 10.0, 10, 50, 0);
    nrw_schedule schedule = {.legs = &leg, .n_legs = 1};
    nrw_timeline timeline;
    cr_assert_eq(nrw_timeline_of_schedule(&schedule, 4.0, &timeline, NULL), NRW_OK);
    cr_assert_float_eq(timeline.end_s, 4.0, 0.0);
    nrw_timeline_clear(&timeline);
}
