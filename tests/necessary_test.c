#include "necessary.h"

#include <criterion/criterion.h>
#include <string.h>

#include "small_setup.h"

/* A gate of the reference particle; the parts in %…% are replaced by a case. */
#define GATE(throat, deadline, field, magnetics, axes)                                             \
    "format: narrows-scenario/1\n"                                                                 \
    "title: gate\n"                                                                                \
    "fluid: {medium: water, temperature_C: 25}\n"                                                  \
    "particles:\n"                                                                                 \
    "  count: 40\n"                                                                                \
    "  diameter_um: 3\n"                                                                           \
    "  density_kg_m3: 1800\n"                                                                      \
    "  magnetics: " magnetics "\n"                                                                 \
    "channel:\n"                                                                                   \
    "  depth_um: 40\n"                                                                             \
    "  nodes: {a: {at_um: [-60, 0]}, b: {at_um: [0, 0]}, c: {at_um: [200, 0]}, d: {at_um: [260, "  \
    "0]}}\n"                                                                                       \
    "  vessels:\n"                                                                                 \
    "  - {from: a, to: b, width_um: 80}\n"                                                         \
    "  - {from: b, to: c, width_um: [[0, 80], [0.4, " throat "], [0.6, " throat "], [1, 80]]}\n"   \
    "  - {from: c, to: d, width_um: 80}\n"                                                         \
    "release: {node: b, radius_um: 18}\n"                                                          \
    "target: {node: c, radius_um: 30}\n"                                                           \
    "deadline_s: " deadline "\n"                                                                   \
    "rig:\n"                                                                                       \
    "  field_max_mT: " field "\n"                                                                  \
    "  frequency_max_Hz: 100\n"                                                                    \
    "  axes:\n"                                                                                    \
    "    x: {mT_per_A: 2, resistance_ohm: 3, inductance_mH: 1, current_max_A: 8, voltage_max_V: "  \
    "60}\n"                                                                                        \
    "    y: {mT_per_A: 2, resistance_ohm: 3, inductance_mH: 1, current_max_A: 8, voltage_max_V: "  \
    "60}\n" axes

#define INDUCED "{kind: induced, susceptibility: 0.3, relaxation_time_s: 1.0e-5}"
#define Z_AXIS                                                                                     \
    "    z: {mT_per_A: 2, resistance_ohm: 3, inductance_mH: 1, current_max_A: 8, voltage_max_V: "  \
    "60}\n"

static nrw_necessary judged(const char *yaml)
{
    small_setup setup = small_setup_of(yaml);
    nrw_necessary necessary = nrw_necessary_of(setup.scenario, setup.channel);
    small_setup_clear(&setup);
    return necessary;
}

static void expect_failure(const char *yaml, nrw_necessary_kind kind, const char *words)
{
    nrw_necessary necessary = judged(yaml);
    const nrw_necessary_check *failure = nrw_necessary_failure(&necessary);
    cr_assert_not_null(failure, "nothing fails, though '%s' should", words);
    cr_expect_eq(failure->kind, kind, "%s fails instead: %s", nrw_necessary_name(failure->kind),
                 failure->text);
    cr_expect(strstr(failure->text, words), "'%s' is not in: %s", words, failure->text);
    cr_expect(strlen(failure->change) > 0, "nothing is said to change it");
}

Test(necessary, a_feasible_gate_fails_nothing)
{
    nrw_necessary necessary = judged(GATE("10", "300", "12", INDUCED, Z_AXIS));
    const nrw_necessary_check *failure = nrw_necessary_failure(&necessary);
    cr_expect_null(failure, "%s", failure ? failure->text : "");
    cr_expect_gt(necessary.fastest_um_s, 5.0);
    /* the coils' voltage suffices up to the rig's frequency: speed grows with it */
    cr_expect_float_eq(necessary.best_frequency_Hz, 100.0, 1e-9);
}

Test(necessary, a_throat_narrower_than_a_particle_is_named)
{
    expect_failure(GATE("2.5", "300", "12", INDUCED, Z_AXIS), NRW_NEED_GEOMETRY, "throat 1 near");
}

Test(necessary, a_throat_of_just_a_particle_is_not_refused)
{
    nrw_necessary necessary = judged(GATE("3.2", "300", "12", INDUCED, Z_AXIS));
    cr_expect(necessary.checks[NRW_NEED_GEOMETRY].holds);
}

Test(necessary, a_deadline_too_short_for_the_way_is_the_reason)
{
    expect_failure(GATE("10", "3", "12", INDUCED, Z_AXIS), NRW_NEED_SPEED,
                   "the deadline is too short");
}

Test(necessary, a_rig_that_heat_overcomes_is_too_weak)
{
    /* attraction grows with the square of the field: 610 kT at 12 mT, 0.4 at 0.3 */
    expect_failure(GATE("10", "300", "0.3", INDUCED, Z_AXIS), NRW_NEED_GATHER,
                   "the rig is too weak");
}

Test(necessary, a_rig_that_gathers_but_hardly_moves_is_too_weak)
{
    expect_failure(GATE("10", "300", "0.8", INDUCED, Z_AXIS), NRW_NEED_SPEED,
                   "the rig is too weak");
}

Test(necessary, without_a_vertical_axis_nothing_rolls)
{
    expect_failure(GATE("10", "300", "12", INDUCED, ""), NRW_NEED_AXIS, "lacks the z axis");
}

#define STREAM "flow: {inlets: [{node: a, rate_nl_min: 60}], outlets: [{node: d}]}\n"

Test(necessary, where_a_flow_carries_particles_need_not_roll)
{
    static const char *const cases[] = {
        STREAM GATE("10", "300", "12", INDUCED, ""),
        STREAM GATE("10", "300", "12", "{kind: induced, susceptibility: 0.3}", Z_AXIS),
        /* 60 nl/min through 80 x 40 um is 310 um/s in the mean, more in the throat */
        STREAM GATE("10", "3", "12", INDUCED, Z_AXIS)};
    for (size_t k = 0; k < sizeof cases / sizeof *cases; k++) {
        nrw_necessary necessary = judged(cases[k]);
        const nrw_necessary_check *failure = nrw_necessary_failure(&necessary);
        cr_expect_null(failure, "case %zu: %s", k, failure ? failure->text : "");
    }
}

Test(necessary, a_moment_without_lag_feels_no_torque)
{
    expect_failure(GATE("10", "300", "12", "{kind: induced, susceptibility: 0.3}", Z_AXIS),
                   NRW_NEED_TORQUE, "no torque");
}
