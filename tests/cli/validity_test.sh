# What the model assumes, in every command that simulates: figures, terminal, report.
. "$(dirname "$0")/claims.sh"

# A few particles in a wide pond; the second leg spins harder than bonds hold.
cat >pond.yaml <<'END'
format: narrows-scenario/1
title: A pond
fluid: {medium: water, temperature_C: 25}
particles:
  count: 12
  diameter_um: 3.0
  density_kg_m3: 1800
  magnetics: {kind: induced, susceptibility: 0.3, relaxation_time_s: 1.0e-5}
channel:
  depth_um: 60
  nodes: {z: {at_um: [-100, 0]}, a: {at_um: [0, 0]}, b: {at_um: [150, 0]}, c: {at_um: [250, 0]}}
  vessels:
    - {from: z, to: a, width_um: 150}
    - {from: a, to: b, width_um: 150}
    - {from: b, to: c, width_um: 150}
release: {node: a, radius_um: 20}
target: {node: b, radius_um: 40}
deadline_s: 6
END
cat >schedule.yaml <<'END'
format: narrows-schedule/1
legs:
  - name: gather
    drive: {mode: rotating, field_mT: 10, frequency_Hz: 50}
    until: {elapsed_s: 2}
  - name: roll hard
    drive: {mode: rotating, tilt_deg: 80, field_mT: 10, frequency_Hz: 100, heading: b}
    timeout_s: 1
END
shed='[.figures.validity[] | .assumptions[] | select(.assumption == "shedding_number") | .state]'

narrows run pond.yaml --schedule schedule.yaml --out run
claim "run tells of each assumption, with its bounds" says "at most 0.1"
claim "run tells what is outside, and where" says "in leg 'roll hard': Particles may be shed"
claim "what is outside is a warning too" says "warning: outside the model's range: Spin against"
claim "the report says so at its top" grep -q "Outside the range of the model" run/report.html
cp run/report.html first.html
narrows report run
claim "the report made again is the same" cmp -s first.html run/report.html

narrows run pond.yaml --schedule schedule.yaml --json
claim "each leg has its list" figure '[.figures.validity[].leg] == ["gather", "roll hard"]'
claim "each number has state, bounds, sentence and source" figure \
    '[.figures.validity[].assumptions[] | (.state | IN("ok", "marginal", "outside")) and
      (.value | type) == "number" and (.text | length) > 20 and (.source | length) > 5 and
      (.bound | IN("at most", "at least")) and has("marginal") and has("outside")] | all'
claim "states are those of the drives" figure "$shed == [\"ok\", \"outside\"]"
claim "what only a run can tell is there" figure \
    '[.figures.validity[0].assumptions[].assumption] | contains(["largest_overlap", "area_fraction"])'

narrows run pond.yaml --schedule schedule.yaml --model averaged --json
claim "the model asked for is the one judged" figure '[.figures.validity[].model] | unique == ["averaged"]'

narrows check pond.yaml --schedule schedule.yaml --json
claim "check judges what can be known before a run" figure "$shed == [\"ok\", \"outside\"]"
claim "check has nothing that only a run can tell" figure \
    '[.figures.validity[].assumptions[].assumption] | index("largest_overlap") == null'

narrows estimate pond.yaml --schedule schedule.yaml --trials 2 --json
claim "estimate has the list" figure "$shed == [\"ok\", \"outside\"]"
claim "estimate warns" figure '[.warnings[] | select(startswith("outside the model"))] | length >= 1'

cp schedule.yaml other.yaml
narrows compare pond.yaml --schedule schedule.yaml --schedule other.yaml --trials 2 --out both
claim "compare names the strategy" says "'roll hard' of other"
claim "compare's report has the list" grep -q "“roll hard” of schedule" both/report.html
claims_end
