# narrows sweep: grid, states, both ways, threads, interruption.
. "$(dirname "$0")/claims.sh"

cat >pond.yaml <<'END'
format: narrows-scenario/1
title: Ten particles in a pond
fluid: {medium: water, temperature_C: 25}
particles:
  count: 10
  diameter_um: 3.0
  density_kg_m3: 1800
  magnetics: {kind: induced, susceptibility: 0.30, relaxation_time_s: 1.0e-5}
channel:
  depth_um: 60
  nodes: {z: {at_um: [-60, 0]}, a: {at_um: [0, 0]}, b: {at_um: [60, 0]}, c: {at_um: [100, 0]}}
  vessels:
    - {from: z, to: a, width_um: 60}
    - {from: a, to: b, width_um: 60}
    - {from: b, to: c, width_um: 60}
release: {node: a, radius_um: 11}
target: {node: b, radius_um: 20}
deadline_s: 5
sweep:
  drive: {mode: rotating, field_mT: 10, frequency_Hz: 50}
  vary: {frequency_Hz: [20, 50], tilt_deg: [0, 30, 80]}
  seconds: 3
  repeats: 2
END

narrows sweep pond.yaml --out whole --threads 1 --json
claim "a completed sweep exits 0" exits 0
claim "nothing but progress is told aside" only_progress
claim "every point of the grid is there" figure '.figures.points == 6'
claim "states are counted over the points" figure '[.figures.states[]] | add == 6'
claim "sweep.csv has the keys first, a row for each point" \
    [ "$(head -n 1 whole/sweep.csv | cut -d, -f1-7)" = "frequency_Hz,tilt_deg,way,state,agreement,repeats,failed" -a "$(wc -l <whole/sweep.csv)" = 7 ]
claim "repeats.csv has a row for each repeat" [ "$(wc -l <whole/repeats.csv)" = 13 ]
column() { head -n 1 whole/sweep.csv | tr -d '\r' | tr , '\n' | grep -n "^$1$" | cut -d: -f1; }
speed() { grep "^$1,$2," whole/sweep.csv | cut -d, -f"$(column speed_along_um_s)"; }
# Speed goes with frequency x sin(tilt); walls or chance could not turn this around.
out="{\"slow\": $(speed 20 30), \"fast\": $(speed 50 30), \"flat\": $(speed 50 0)}"
claim "a tilted drive carries, faster at a higher frequency" figure '.fast > 1.5 * .slow and .slow > 2 * .flat'

narrows sweep pond.yaml --out two --threads 2 --quiet
same=true
for file in sweep.csv repeats.csv; do cmp -s "whole/$file" "two/$file" || same=false; done
claim "two threads give the same files as one, to the last byte" $same
claim "two threads give the same figures as one" \
    [ "$(jq -S .figures whole/result.json)" = "$(jq -S .figures two/result.json)" ]

narrows sweep pond.yaml --both-ways --out ways --json
claim "both ways has a row for each way" figure '.figures.points == 12 and .figures.grid_points == 6'
claim "the rows say which way" [ "$(grep -c ,up, ways/sweep.csv) $(grep -c ,down, ways/sweep.csv)" = "6 6" ]
claim "hysteresis is told" figure '.figures.hysteresis | type == "array"'

# 4000 repeats take minutes; those of the first seconds are common with 2 repeats.
sed 's/repeats: 2/repeats: 4000/' pond.yaml >long.yaml
stopped INT 'listens && sleep 1' sweep long.yaml --out cut --json
claim "an interrupted sweep exits 130" exits 130
claim "its folder says that it is partial" jq -e .figures.partial cut/result.json >.jq
narrows sweep pond.yaml --out cut --resume --quiet
claim "--resume with another scenario is wrong usage" exits 2
narrows sweep pond.yaml --out cut --force --quiet
claim "--force starts anew" cmp -s whole/sweep.csv cut/sweep.csv

# Killed in the middle of the sweep itself: a slower copy of it.
sed 's/seconds: 3/seconds: 30/; s/count: 10/count: 40/; s/radius_um: 11/radius_um: 25/' pond.yaml >slow.yaml
narrows sweep slow.yaml --out slow --quiet
stopped KILL '[ -s .slow2.checkpoint ]' sweep slow.yaml --out slow2 --quiet
narrows sweep slow.yaml --out slow2 --resume --quiet
same=true
for file in sweep.csv repeats.csv; do cmp -s "slow/$file" "slow2/$file" || same=false; done
claim "a sweep resumed after a kill gives the same files" $same

narrows sweep pond.yaml
claim "the readable result has the map" says "tilt_deg 30"
sed '/^sweep:/,$d' pond.yaml >none.yaml
narrows sweep none.yaml
claim "a scenario without a sweep exits 2" exits 2
claim "and is told what is missing" complains "sweep: is missing"

claims_end
