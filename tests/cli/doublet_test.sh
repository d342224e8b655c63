# Fused doublets: every command works with them, or says why not.
. "$(dirname "$0")/claims.sh"

scenario() { # particles' own lines
    cat <<YAML
format: narrows-scenario/1
title: Six doublets in a pond
fluid: {medium: water, temperature_C: 25}
particles:
  count: 6
  diameter_um: 3.0
  density_kg_m3: 1800
$1
channel:
  depth_um: 60
  nodes: {z: {at_um: [-60, 0]}, a: {at_um: [0, 0]}, b: {at_um: [60, 0]}}
  vessels: [{from: z, to: a, width_um: 60}, {from: a, to: b, width_um: 60}]
release: {node: a, radius_um: 10}
target: {node: b, radius_um: 14}
deadline_s: 1
rig:
  field_max_mT: 12
  frequency_max_Hz: 100
  sample_rate_Hz: 5000
  axes:
    x: {mT_per_A: 2, resistance_ohm: 3, inductance_mH: 10, current_max_A: 8, voltage_max_V: 60}
    y: {mT_per_A: 2, resistance_ohm: 3, inductance_mH: 10, current_max_A: 8, voltage_max_V: 60}
    z: {mT_per_A: 2, resistance_ohm: 3, inductance_mH: 10, current_max_A: 8, voltage_max_V: 60}
uncertainty: {moment_cv: 0.1}
sweep:
  drive: {mode: rotating, field_mT: 10, frequency_Hz: 20}
  vary: {tilt_deg: [0, 30]}
  seconds: 0.5
  repeats: 1
YAML
}
induced='  magnetics: {kind: induced, susceptibility: 0.30, relaxation_time_s: 1.0e-5}
  shape: {kind: doublet, aspect: 2}'
permanent='  magnetics: {kind: permanent, moment_fAm2: 30}
  shape: {kind: doublet, aspect: 2, moment: across}'
scenario "$induced" >induced.yaml
scenario "$permanent" >permanent.yaml
cat >go.yaml <<'YAML'
format: narrows-schedule/1
legs:
  - name: go
    drive: {mode: rotating, tilt_deg: 30, field_mT: 10, frequency_Hz: 20, heading: 0}
    until: {elapsed_s: 1}
YAML

narrows check permanent.yaml --schedule go.yaml
claim "check says why doublets are resolved" says "doublets are followed one by one"
# mB/(2π 8πηa³ 0.8067) at 12 mT
claim "check prints the step-out of the spin about the axis" says "step-out               940.9 Hz"

narrows run permanent.yaml --schedule go.yaml --out run
claim "run works with permanent doublets" exits 0
dots() { grep -o "M[0-9.-]* [0-9.-]*h0" run/report.html | wc -l; }
claim "its report draws two lobes a particle" [ "$(($(dots) % 12))" = 0 -a "$(dots)" -gt 0 ]
claim "its replay holds them too" grep -q '"n":12,' run/report.html
narrows report run
claim "report makes the page anew from the folder" exits 0
claim "with the lobes" grep -q '"n":12,' run/report.html

narrows run induced.yaml --schedule go.yaml --model averaged
claim "the averaged model is refused" exits 1
claim "with the reason" complains "each has its own axis"

narrows plan induced.yaml
claim "plan refuses" exits 1
claim "with the reason and what to do instead" says "schedules are not searched for doublets"

narrows estimate induced.yaml --schedule go.yaml --trials 2 --quiet
claim "estimate works" exits 0
narrows compare induced.yaml --schedule go.yaml --schedule go.yaml --trials 2 --quiet
claim "compare works" exits 0
narrows sweep induced.yaml --quiet
claim "sweep works" exits 0
narrows export run --out waves
claim "export works" exits 0

claims_end
