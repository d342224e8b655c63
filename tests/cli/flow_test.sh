# Flow and maps from pictures through the whole program.
. "$(dirname "$0")/claims.sh"

# scenario POSITIONS DEADLINE FLOW [CHANNEL KEYS]: a straight vessel of 220 x 60 um
scenario() {
    cat <<END_OF_SCENARIO
format: narrows-scenario/1
title: A probe in a flow
fluid: {medium: custom, viscosity_mPa_s: 1.0, density_kg_m3: 1000, temperature_C: 25}
particles:
  positions_um: $1
  diameter_um: 3.0
  density_kg_m3: 1800
  magnetics: {kind: induced, susceptibility: 0.3, relaxation_time_s: 1.0e-5}
  surface: {gap_um: 0.1}
channel:
  depth_um: 60
  nodes: {in: {at_um: [-300, 0]}, out: {at_um: [300, 0]}}
  ${4:-vessels: [{from: in, to: out, width_um: 220\}]}
target: {at_um: [200, 0], radius_um: 30}
deadline_s: $2
${3:+flow: {inlets: [{node: in, $3\}], outlets: [{node: out\}]\}}
model: {brownian: false, pair_flow: false}
END_OF_SCENARIO
}
schedule() { # DRIVE SECONDS
    printf 'format: narrows-schedule/1\nlegs:\n  - name: probe\n    drive: %s\n    until: {elapsed_s: %s}\n' "$1" "$2"
}
x_of() { sed -n 2p "$1/final.csv" | cut -d, -f2; }

# At rest on the floor, centre 1.6 um high: between wide plates the flow there is
# 6 Q z (h - z)/(w h^3), and the floor of a duct with w/h = 220/60 carries 1/0.8281 of
# that in the middle (Bruus 2008, eq. 3.48: 1 - 0.63 h/w). A free sphere 0.1 um above
# the floor goes at 0.694 of it (Goldman, Cox & Brenner 1967 II, between the table's
# 0.654 at h/a = 1.045 and 0.767 at 1.128). 1 % for the two factors' digits.
scenario '[[0, 0]]' 20 'rate_nl_min: 5' >carried.yaml
schedule '{mode: "off"}' 20 >off.yaml
narrows run carried.yaml --schedule off.yaml --out carried --json
out="{\"x\": $(x_of carried)}"
claim "a sphere on the floor is carried by the shear there" near .x \
    "20 * 0.694 * 6 * (5e6 / 60) * 1.6 * (60 - 1.6) / (220 * 60 * 60 * 60) / 0.8281" 0.01

narrows check carried.yaml --json
claim "check tells the rate" near '.figures.flow.vessels[0].rate_nl_min' 5 1e-9
claim "and the mean velocity" near '.figures.flow.vessels[0].mean_um_s' '5e6 / 60 / (220 * 60)' 1e-9
# Bruus 2008, eq. 3.48: 12 eta L Q / (w h^3) over 0.8281, L from in to out and the ends
claim "and the pressure" near '.figures.flow.nodes | map(.pressure_Pa) | max' \
    '12 * 0.001 * 600e-6 * (5e-12 / 60) / (220e-6 * 60e-6 * 60e-6 * 60e-6) / 0.8281' 0.01
narrows check carried.yaml
claim "in words, too" says "5 nl/min"
sed '/^flow/d' carried.yaml >resting.yaml
narrows check resting.yaml --json
claim "a fluid at rest has no such figures" figure '.figures | has("flow") and .flow == null'

# A roller with, against and without the flow: the flow's part adds up.
schedule '{mode: rotating, tilt_deg: 90, field_mT: 10, frequency_Hz: 50, heading: 0}' 20 >roll.yaml
for rate in -5 0 5; do
    scenario '[[0, 0]]' 20 "rate_nl_min: $rate" >roll_$rate.scenario.yaml
    narrows run roll_$rate.scenario.yaml --schedule roll.yaml --out roll$rate --json
    claim "a roller's run in a flow of $rate nl/min is done" exits 0
done
out="{\"with\": $(x_of roll5), \"against\": $(x_of roll-5), \"alone\": $(x_of roll0), \"carried\": $(x_of carried)}"
claim "a helpful flow adds what it carries" near '.with - .alone' .carried 0.02
claim "an adverse flow takes as much" near '.alone - .against' .carried 0.02
claim "and this one is as strong as the roller" figure '.against < 0.3 * .alone'

# Mid-height is 17 um/s fast: out at 300 within 4 s.
scenario '[[0, 0, 30], [250, 0, 30]]' 4 'rate_nl_min: 8' |
    sed 's/brownian: false/&, gravity: false/; /surface/d' >washed.yaml
schedule '{mode: "off"}' 4 >off4.yaml
narrows run washed.yaml --schedule off4.yaml --out washed --json
claim "one past the outlet is washed out" figure '.figures.lost.washed_out == 0.5'
# the other one's way, less the frame in which the first left
claim "which is no move of the swarm" near .figures.centroid_path_um '.figures.centroid_um[0]' 0.05
claim "the fractions sum to one" near '.figures.delivered_fraction + ([.figures.lost[]] | add)' 1 1e-12
claim "and it is told where" figure '.figures.lost_by_place | map(.cause) | index("swept")'
claim "final.csv says so, row by row" [ "$(cut -d, -f8 washed/final.csv | tr -d '\r' | tail -1)" = washed_out ]

# A pulse of one whole period gives back what it took.
scenario '[[0, 0]]' 10 'rate_nl_min: 0, amplitude_nl_min: 20, frequency_Hz: 0.1' >pulse.yaml
schedule '{mode: "off"}' 10 >off10.yaml
narrows run pulse.yaml --schedule off10.yaml --out pulse --json
out="{\"x\": $(x_of pulse)}"
claim "a pulse without a mean goes there and back" figure '.x > -0.05 and .x < 0.05'
schedule '{mode: "off"}' 5 >off5.yaml
narrows run pulse.yaml --schedule off5.yaml --out half --json
# half a period: amplitude/(pi f) of the steady rate's way
out="{\"x\": $(x_of half), \"carried\": $(x_of carried)}"
claim "half of it goes 2/pi of the way of its peak" near .x \
    '.carried / 20 * (20 / 5) * 5 * 2 / 3.141592653589793' 0.02

scenario '[[0, 0]]' 10 'rate_nl_min: 1' | sed 's/{node: out}/{node: out, rate_nl_min: 2}/' >unbalanced.yaml
narrows check unbalanced.yaml
claim "rates that don't balance are refused at their place" complains 'unbalanced.yaml:16:7: flow: what flows in'
claim "with status 2" exits 2

# The same vessel drawn, 600 x 220 um at 2 um: as a plain PGM.
mkdir -p scenes/pictures
{
    echo "P2 310 120 1"
    awk 'BEGIN { for (j = 0; j < 120; j++) { line = ""
        for (i = 0; i < 310; i++) line = line (i >= 5 && i < 305 && j >= 5 && j < 115 ? "1 " : "0 ")
        print line } }'
} >scenes/pictures/vessel.pgm
picture='mask: {file: pictures/vessel.pgm, pixel_um: 2, origin_um: [-310, -120]}'
scenario '[[0, 0]]' 20 'rate_nl_min: 5' "$picture" >scenes/drawn.yaml
narrows run scenes/drawn.yaml --schedule off.yaml --out drawn --json
claim "a run on a map from a picture is done" exits 0
out="{\"x\": $(x_of drawn), \"carried\": $(x_of carried)}"
claim "the flow through a drawn vessel is that of the same vessel" near .x .carried 0.02
claim "its picture is kept with the result" cmp -s scenes/pictures/vessel.pgm drawn/vessel.pgm
narrows check drawn/scenario.yaml --json
claim "with which the result's scenario is whole" near .figures.narrowest_um 220 0.005
scenario '[[0, 0]]' 20 '' 'mask: {file: nowhere.png, pixel_um: 2}' >missing.yaml
narrows check missing.yaml
claim "a missing picture is told at its place" complains "missing.yaml:13:16: channel.mask.file: can't read 'nowhere.png'"
claim "with status 2 as well" exits 2

claims_end
