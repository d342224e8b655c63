/* What the list of assumptions says: names, bounds, sentences, sources
 * (docs/validity.md has the same with more words). */
#include "validity_words.h"

static const nrw_assumption_row rows[NRW_N_ASSUMPTIONS] = {
    [NRW_ASSUME_NO_INERTIA] =
        {{"reynolds_number", "Reynolds number of a particle", "", false,
          "Proudman & Pearson 1957: the drag grows by 3/8 of it"},
         0.1,
         1.0,
         {"The fluid's inertia plays no part.",
          "The fluid's inertia changes drags by some per cent, which the model leaves out.",
          "The fluid's inertia matters; the model has none, so speeds and flows are wrong."}},
    [NRW_ASSUME_BONDS_BEAT_HEAT] =
        {{"thermal_coupling", "Bond energy over thermal energy (lambda)", "", true,
          "our own runs: gathers from 11, not below 2 (docs/physics.md, section 7)"},
         11.0,
         2.0,
         {"Attraction is far above the thermal energy: a swarm gathers and stays.",
          "Attraction is not far above the thermal energy: a swarm may not gather.",
          "Heat wins over attraction: a swarm is not expected to gather or to stay together."}},
    [NRW_ASSUME_PAIRS_REST] =
        {{"cycle_displacement", "Way of a touching pair in one turn (N_b)", "diameters", false,
          "our own runs: averaged and resolved agree up to 2 (docs/physics.md, section 7)"},
         2.0,
         4.0,
         {"Pairs hardly move within one turn of the field, or turns are followed one by one.",
          "Pairs move within one turn of the field: averaging over turns is rough.",
          "Pairs move far within one turn of the field: its average is wrong. Use --model "
          "resolved."}},
    [NRW_ASSUME_COHESION] =
        {{"shedding_number", "Spin against attraction (Lambda)", "", false,
          "our own runs: cohesive below 0.3, models differ above 0.5 (docs/physics.md, section 7)"},
         0.3,
         0.5,
         {"Bonds pull particles back faster than spin sheds them.",
          "Spin comes near to what bonds hold: some particles may be shed.",
          "Particles may be shed faster than bonds pull them back: predictions there are the "
          "least sure."}},
    [NRW_ASSUME_MANY_TURNS] =
        {{"turns_within_a_swing", "Turns of the field in one alternation or wobble", "", true,
          "common practice, no source"},
         10.0,
         3.0,
         {"The field turns often within each alternation or wobble: averages hold.",
          "The field turns only a few times within an alternation or wobble.",
          "The field hardly turns within an alternation or wobble: averaging over turns means "
          "nothing. Use --model resolved."}},
    [NRW_ASSUME_IN_STEP] =
        {{"step_out_ratio", "Field's frequency over step-out near the floor", "", false,
          "Adler 1946: a moment follows up to 1; the 0.9 leaves 10 % for the particles' spread"},
         0.9,
         1.0,
         {"Moments keep up with the field.",
          "Moments are near losing step, or beyond it and followed one by one.",
          "Moments slip behind the field: their averages depend on orbits that nobody knows."}},
    [NRW_ASSUME_ALIGNED] =
        {{"field_energy_over_heat", "Moment times field over thermal energy", "", true,
          "Langevin 1905: the mean moment falls short by 1 over it: 5 % and 20 %"},
         20.0,
         5.0,
         {"Heat hardly turns moments away from the field.",
          "Heat turns moments away from the field by some degrees, which averages leave out.",
          "Heat turns moments away from the field; averages take them as aligned. Use --model "
          "resolved."}},
    [NRW_ASSUME_ONE_LAG] =
        {{"lag_angle", "Field's angular frequency times relaxation time", "", false,
          "common practice, no source"},
         0.1,
         1.0,
         {"Moments lag little, so that one relaxation time describes the torque.",
          "Moments lag by many degrees: the spread of relaxation times in real particles starts "
          "to matter.",
          "The field outruns the relaxation: torques hang on its spread, which the model does "
          "not have."}},
    [NRW_ASSUME_MAGNETISATION] =
        {{"magnetisation_law", "Moment by one law of magnetisation over another's, less 1", "",
          false,
          "Langevin 1905 against Froehlich and Kennelly, or a linear law; common practice, no "
          "source for the bounds"},
         0.1,
         0.3,
         {"Any law of magnetisation gives about the same moment at this field.",
          "The moment depends on the law of magnetisation: measure it at this field.",
          "The moment hangs on the law of magnetisation: forces may be wrong by half."}},
    [NRW_ASSUME_POINT_DIPOLES] =
        {{"neglected_induction", "What touching spheres add to each other's pull", "", false,
          "two touching spheres, docs/physics.md section 4; common practice, no source for the "
          "bounds"},
         0.1,
         0.25,
         {"Spheres hardly magnetise each other: point dipoles do.",
          "Touching spheres magnetise each other: bonds along the field are stronger than "
          "predicted.",
          "Strongly magnetic spheres attract much more at contact than point dipoles do."}},
    [NRW_ASSUME_THIN_DOUBLE_LAYER] =
        {{"radius_over_debye", "Radius over Debye length", "", true,
          "Derjaguin's approximation: Russel, Saville & Schowalter 1989, from memory"},
         20.0,
         5.0,
         {"The double layer is thin against the particle.",
          "The double layer is not thin against the particle: the gap is an estimate.",
          "The double layer is as thick as the particle: the gap above the floor is a guess."}},
    [NRW_ASSUME_FAR_DOUBLE_LAYERS] =
        {{"gap_over_debye", "Gap above the floor over Debye length", "", true,
          "linear superposition: Gregory 1975; Israelachvili 2011, from memory"},
         2.0,
         1.0,
         {"The double layers of floor and particle overlap little.",
          "The double layers of floor and particle overlap: their repulsion is an estimate.",
          "The double layers of floor and particle lie in each other: their repulsion is a "
          "guess, and with it rolling."}},
    [NRW_ASSUME_NO_ATTRACTION] =
        {{"van_der_waals_over_weight", "Pull of the floor (van der Waals) over weight", "", false,
          "Gregory 1981 with a Hamaker constant of 1e-20 J; it equals the weight at 1"},
         0.3,
         1.0,
         {"Attraction by the floor is small beside the weight.",
          "Attraction by the floor lowers the gap, which the model leaves out.",
          "The floor attracts more than the particle weighs: particles may stick to it, which "
          "the model leaves out."}},
    [NRW_ASSUME_FREE_OF_SIDES] =
        {{"side_wall_drag", "Drag by side walls at the narrowest place, of Stokes' drag", "", false,
          "Faxen 1922, midway between plates: 1.004 a/l; common practice, no source for the "
          "bounds"},
         0.05,
         0.2,
         {"Side walls are too far to slow a particle.",
          "Side walls slow particles in the narrowest place, which the model leaves out.",
          "Side walls hold particles back in the narrowest place: speeds there are too high."}},
    [NRW_ASSUME_FREE_OF_CEILING] =
        {{"ceiling_drag", "Drag by the ceiling on the highest particle, of Stokes' drag", "", false,
          "Lorentz 1907: 9/16 a/h; common practice, no source for the bounds"},
         0.05,
         0.2,
         {"The ceiling is too far to slow a particle.",
          "The ceiling slows the highest particles, which the model leaves out.",
          "The swarm reaches the ceiling, whose drag and rolling the model leaves out."}},
    [NRW_ASSUME_DEEP_CHANNEL] =
        {{"swarm_over_depth", "Gathered swarm's width over the channel's depth", "", false,
          "common practice, no source"},
         1.0,
         3.0,
         {"The channel is deep against the swarm: its flows close above it.",
          "The channel is as shallow as the swarm is wide: the ceiling weakens its flows.",
          "The channel is shallow against the swarm: the ceiling changes its flows, and speeds "
          "are too high."}},
    [NRW_ASSUME_OPEN_PAIR_FLOW] =
        {{"width_over_diameter", "Narrowest place over a particle's diameter", "", true,
          "common practice, no source"},
         20.0,
         5.0,
         {"Side walls are too far to weaken the particles' flow.",
          "Side walls weaken the particles' flow in the narrowest place: speeds there are upper "
          "estimates.",
          "Side walls do not slow the particles' flow in this model: speeds inside narrow "
          "throats are upper estimates."}},
    [NRW_ASSUME_NO_RETURN_FLOW] =
        {{"return_flow", "Flow back in the closed channel over the particles' own", "", false,
          "reciprocity with the duct's profile (docs/validity.md); common practice, no source for "
          "the bounds"},
         0.1,
         0.5,
         {"What the rollers pump flows back far above them.",
          "What the rollers pump flows back over them where the channel's ends are closed, which "
          "the model leaves out: speeds are upper estimates.",
          "Where the channel's ends are closed, flow back takes half of the rollers' speed or "
          "more, which the model leaves out."}},
    [NRW_ASSUME_PAIR_FLOW_CONTACT] =
        {{"speed_over_rolling", "Swarm's speed over rolling without slip", "", false,
          "a wheel does not outrun its rim; 0.5: common practice, no source"},
         0.5,
         1.0,
         {"The swarm is well below the speed of its particles' rims.",
          "The swarm moves at a good part of its particles' rims: flow near contact decides, "
          "which is regularised, not resolved.",
          "The swarm is predicted to outrun its particles' rims: flow near contact is "
          "overstated."}},
    [NRW_ASSUME_THIN_SWARM] =
        {{"area_fraction", "Area of the particles over the swarm's, seen from above", "", false,
          "0.1: flows of pairs add up, common practice, no source; 1.8: two close-packed layers, "
          "Thue 1910"},
         0.1,
         1.8,
         {"Particles are far apart: their flows add up by pairs.",
          "Particles are close, and their flows add up by pairs only roughly: speeds are less "
          "sure than shapes.",
          "More than two particles lie over one another: flow inside such a pile is rough."}},
    [NRW_ASSUME_HARD_CONTACTS] =
        {{"largest_overlap", "Largest overlap of two particles", "diameters", false,
          "our own runs: drift changes with stiffness (docs/physics.md, section 6)"},
         0.03,
         0.05,
         {"Contacts are as good as hard.",
          "Contacts give way a little: speeds may be off by some per cent.",
          "Contacts give way: raise model.contact_stiffness_pN_um."}},
    [NRW_ASSUME_SLOW_FLOW] =
        {{"flow_reynolds_number", "Reynolds number of the flow", "", false,
          "common practice, no source"},
         0.3,
         1.0,
         {"The flow has no inertia.", "Inertia starts to bend the flow at tapers and bends.",
          "The flow's inertia matters at tapers and bends; it is computed without."}},
    [NRW_ASSUME_STEADY_FLOW] =
        {{"flow_womersley_number", "Womersley number of the flow's pulses", "", false,
          "Womersley 1955: the profile is that of steady flow well below 1"},
         0.5,
         1.0,
         {"Pulses are slow: the profile is that of steady flow at every instant.",
          "Pulses are almost too fast for a profile that is steady at every instant.",
          "Pulses are too fast for a profile that is steady at every instant."}},
    [NRW_ASSUME_FLOW_CELLS] = {{"flow_cells_across",
                                "Cells of the flow across the narrowest vessel", "", true,
                                "our own runs (docs/flow.md)"},
                               8.0,
                               4.0,
                               {"The flow's profile is well resolved.",
                                "The flow's profile is coarse in the narrowest vessel.",
                                "The flow's profile is too coarse in the narrowest vessel."}},
    [NRW_ASSUME_UNIFORM_FIELD] =
        {{"field_error", "Largest error of the field over the map", "", false,
          "common practice, no source"},
         0.01,
         0.05,
         {"The field is uniform over the map, if it lies in the coils' middle.",
          "The field changes by some per cent over the map.",
          "The field is not uniform over the map: directions, spins and the pull of gradients "
          "are not those predicted."}},
};

const nrw_assumption_row *nrw_assumption_row_of(nrw_assumption assumption)
{
    return &rows[assumption];
}

nrw_assumption_words nrw_assumption_words_of(nrw_assumption assumption)
{
    return rows[assumption].words;
}

const char *nrw_validity_state_name(nrw_validity_state state)
{
    static const char *const names[] = {"ok", "marginal", "outside"};
    return (unsigned)state < sizeof names / sizeof *names ? names[state] : "unknown";
}
